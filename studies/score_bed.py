"""The test bed of the score studies: swings of the synthetic golfer with known truth, at the level of tracks.

Nothing runs when this file is run by itself; ``score_false_alarms.py`` and ``score_planted_faults.py`` use it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from overlay import golfer
from overlay.align import align
from overlay.clean import clean
from overlay.data import Comparison, PoseTrack, Position, Positions, Swing, TimeMap
from overlay.golfer import CameraSpec, GolferSpec, Motion, NoiseSpec, TempoSpec, simulate, truth_track
from overlay.positions import find_swings
from overlay.score import score
from overlay.score.measure import CellDifference, measure_cells
from overlay.score.parts import figure_of
from overlay.settings.score import ScoreSettings
from overlay.terms import PHASES, POSITION_NAMES, View

RATE_HZ = 60.0


@dataclass(frozen=True)
class Recorded:
    """A motion as one camera sees it."""

    motion: Motion
    camera: CameraSpec
    view: View


def recorded(spec: GolferSpec, view: View, **camera: Any) -> Recorded:
    """Simulate a golfer before a camera of this view."""
    motion = simulate(spec)
    return Recorded(motion, CameraSpec.for_motion(motion, view, **camera), view)


def track_of(scene: Recorded, *, noise: NoiseSpec | None, seed: int = 0, rate_hz: float = RATE_HZ) -> PoseTrack:
    """The joints as the pose model would hand them over, (T, 33, 2) px."""
    return truth_track(scene.motion, scene.camera, rate_hz, noise=noise, seed=seed)


def true_swing(scene: Recorded, track: PoseTrack) -> Swing:
    """The swing with its true positions, trimmed as the finder trims."""
    times = scene.motion.position_times
    found = tuple(Position(name, times[name], 1.0) for name in POSITION_NAMES)
    trimmed = track.between(times["address"] - 0.5, times["finish"] + 0.5)
    hand = scene.motion.spec.handedness
    return Swing(None, trimmed, scene.view, 1.0, hand, 1.0, Positions(found))


def found_swing(scene: Recorded, track: PoseTrack) -> Swing:
    """The swing as the tool finds it: cleaned, positions from the pose alone."""
    swings = find_swings(clean(track), None, view=scene.view, handedness=scene.motion.spec.handedness)
    true_top = scene.motion.position_times["top"]
    return min(swings, key=lambda swing: abs((swing.positions.time("top") or 1e9) - true_top))


def true_map(student: Recorded, reference: Recorded) -> TimeMap:
    """The true time map: the same stage of the swing, every 10 ms."""
    times = student.motion.position_times
    mine = np.arange(times["address"] - 0.6, times["finish"] + 0.6, 0.01)
    return TimeMap(mine, golfer.true_map(student.motion, reference.motion)(mine))


def truth_cells(student: Recorded, reference: Recorded, settings: ScoreSettings) -> tuple[CellDifference, ...]:
    """Every cell's true difference: 3D joints projected without noise at 240 frames/s, true positions, true map."""
    one, other = (
        figure_of(true_swing(scene, track_of(scene, noise=None, rate_hz=240.0)), settings)
        for scene in (student, reference)
    )
    return measure_cells(one, other, true_map(student, reference), settings)


def truth_multiples(cells: tuple[CellDifference, ...], settings: ScoreSettings) -> dict[tuple[str, str], float]:
    """(phase, part) → true difference in multiples of the part's SD, the unit in which "largest" is meant."""
    return {
        (cell.phase, cell.part): float(np.hypot(*cell.offset)) / settings.prior(cell.part, cell.phase)
        for cell in cells
        if not cell.reason
    }


def compare(
    student: Recorded,
    reference: Recorded,
    seed: int,
    *,
    noise: NoiseSpec,
    found: bool = True,
    settings: ScoreSettings | None = None,
) -> Comparison:
    """One noisy comparison.

    With ``found`` everything runs as for a clip from the pose track on (clean, positions, alignment); without, true
    positions and the true map are used.
    """
    tracks = [track_of(scene, noise=noise, seed=2 * seed + i) for i, scene in enumerate((student, reference))]
    if found:
        one, other = found_swing(student, tracks[0]), found_swing(reference, tracks[1])
        return score(one, other, align(one, other), settings=settings)
    one, other = (true_swing(scene, clean(track)) for scene, track in zip((student, reference), tracks))
    return score(one, other, true_map(student, reference), settings=settings)


def short_spec(fault: str = "", size: float = 1.0) -> GolferSpec:
    """The plain swing with little before and after it, or with a fault."""
    return GolferSpec(tempo=TempoSpec(pre_s=0.9, relax_s=0.4, post_s=0.0), faults={fault: size} if fault else {})


def rendered_track(view: View, number: int, folder: Path, fault: str = "", size: float = 1.0) -> PoseTrack:
    """The raw pose track of one rendering of a swing; kept in ``folder``, so that a run can be taken up again.

    Looks change every second clip; the camera stands within ±1° and ±5 % of its place, 3 cm up or down.
    """
    from overlay.golfer import LOOKS, render_clip
    from overlay.pose import load_track, save_track, track_clip

    name = f"{view}{number}{fault}{size if fault else ''}"
    saved = folder / f"{name}.npz"
    if saved.exists():
        return load_track(saved).track
    motion = simulate(short_spec(fault, size))
    usual = CameraSpec.for_motion(motion, view)
    rng = np.random.default_rng(number)
    camera = replace(
        usual,
        yaw_deg=rng.uniform(-1, 1),
        distance_m=usual.distance_m * rng.uniform(0.95, 1.05),
        height_m=usual.height_m + rng.uniform(-0.03, 0.03),
        width_px=360,
        height_px=640,
    )
    looks = sorted(LOOKS)
    clip = render_clip(motion, camera, folder / f"{name}.mp4", look=looks[number // 2 % len(looks)], seed=number)
    track = track_clip(clip, use_cache=False, masks=False).track
    clip.unlink()
    save_track(saved, track)
    return track


def with_seed(spec: GolferSpec, seed: int, variation: float = 1.0) -> GolferSpec:
    """Another swing of the same player."""
    return replace(spec, seed=seed, variation=variation)


def detected(comparison: Comparison) -> list[tuple[str, str]]:
    """(phase, part) of every difference that was detected."""
    return [
        (row.phase, row.part)
        for row in comparison.differences
        if row.words not in ("no difference detected", "not scored")
    ]


PHASE_NAMES = tuple(phase.name for phase in PHASES)
