"""How well a swing in space is brought to a student's body and camera.

    python studies/body_fit.py [--quick]                     synthetic tracks: build, camera, false alarms, faults
    python studies/body_fit.py --rendered FOLDER [--quick]   the same players as the pose model sees them: the set
                                                             "test" of studies/filmed_clips.py
    python studies/body_fit.py --habits FOLDER TRACKS        makes overlay/fit/pose_habits.json from the set "tune" and
                                                             from the tracks of studies/positions_synthetic.py

The reference is the student's own movement on a body of usual proportions: whatever a comparison then tells is an
error of the fit, of the pose or of the alignment.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
import time
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from overlay.align import align
from overlay.arrays import FloatArray
from overlay.clean import clean
from overlay.data import Ball, Comparison, FilmingReport, ReferenceFit, SpaceTrack, Strike, Swing, TimeMap
from overlay.errors import ContentError, InputError
from overlay.fit import estimate_camera, fit_in_space
from overlay.fit.habits import N_NODES, TABLE, node_times
from overlay.golfer import FAULTS, BodySpec, CameraSpec, GolferSpec, Motion, NoiseSpec, TempoSpec, simulate, space_track
from overlay.golfer.tracks import landmark_points
from overlay.landmarks import INDEX, MIRROR, N_LANDMARKS
from overlay.score import score
from overlay.score.measure import measure_cells
from overlay.score.parts import figure_of
from overlay.settings.fit import FIT
from overlay.settings.score import ScoreSettings
from overlay.terms import PARTS, PHASES, POSITION_NAMES, View

sys.path.insert(0, str(Path(__file__).resolve().parent))
from score_bed import Recorded, detected, found_swing, track_of, true_swing

DOCS = Path(__file__).resolve().parent.parent / "docs" / "studies"
VIEWS: tuple[View, ...] = ("dtl", "fo")
BODY_NAMES = ("arm", "forearm", "hand", "thigh", "shank", "trunk", "shoulders", "hips", "head", "foot")
TEMPO = TempoSpec(pre_s=0.9, relax_s=0.4, post_s=0.0)
GROUPS: dict[str, tuple[str, ...]] = {
    "shoulders": ("left_shoulder", "right_shoulder"),
    "elbows": ("left_elbow", "right_elbow"),
    "wrists": ("left_wrist", "right_wrist"),
    "hips": ("left_hip", "right_hip"),
    "knees": ("left_knee", "right_knee"),
    "feet": ("left_ankle", "right_ankle", "left_heel", "right_heel", "left_foot_index", "right_foot_index"),
    "head": ("nose", "left_ear", "right_ear"),
}
SCORE = ScoreSettings()


def drawn_student(rng: np.random.Generator, **golfer: Any) -> Motion:
    """A player whose every proportion lies within ±12 % of the usual, 1.60 to 1.95 m tall."""
    while True:
        body = {name: float(rng.uniform(0.88, 1.12)) for name in BODY_NAMES}
        spec = GolferSpec(body=BodySpec(stature_m=float(rng.uniform(1.6, 1.95)), **body), tempo=TEMPO, **golfer)  # type: ignore[arg-type]
        try:
            return simulate(spec)
        except InputError:
            continue  # This body cannot reach the ball with this swing: draw another.


def drawn_camera(motion: Motion, view: View, rng: np.random.Generator) -> CameraSpec:
    """A camera that stands as well as people set one up."""
    usual = CameraSpec.for_motion(motion, view)
    return dataclasses.replace(
        usual,
        height_m=usual.height_m + float(rng.uniform(-0.2, 0.2)),
        offset_m=float(rng.uniform(-0.2, 0.2)),
        yaw_deg=float(rng.uniform(-5, 5)),
        distance_m=usual.distance_m * float(rng.uniform(0.85, 1.3)),
        fov_deg=float(rng.uniform(34, 52)),
        pitch_deg=float(rng.uniform(-1, 1)),
        roll_deg=float(rng.uniform(-1.5, 1.5)),
    )


def reference_of(motion: Motion) -> tuple[Motion, SpaceTrack]:
    """The same movement on a body of usual proportions, 1.78 m tall, right-handed, as a swing in space."""
    spec = dataclasses.replace(motion.spec, body=BodySpec(), handedness="right", variation=0.0, seed=0, faults={})
    reference = simulate(spec)
    return reference, space_track(reference)


@dataclass(frozen=True)
class Filmed:
    """A student before a camera, and what was read of him."""

    motion: Motion
    camera: CameraSpec
    swing: Swing
    filming: FilmingReport | None = None

    @property
    def view(self) -> View:
        return self.swing.view

    @property
    def scene(self) -> Recorded:
        return Recorded(self.motion, dataclasses.replace(self.camera, shake_deg=0.0), self.view)


def synthetic(motion: Motion, view: View, rng: np.random.Generator, seed: int) -> Filmed:
    """A noisy track at 60 frames a second, positions found from it, the ball seen."""
    camera = drawn_camera(motion, view, rng)
    scene = Recorded(motion, camera, view)
    swing = found_swing(scene, track_of(scene, noise=NoiseSpec(), seed=seed))
    place = camera.project(motion.ball_rest) + rng.normal(0, 1.0, 2)
    ball = Ball((float(place[0]), float(place[1])), 8.0, 1.0)
    return Filmed(
        motion, camera, dataclasses.replace(swing, strike=Strike(motion.position_times["impact"], 0.01, True, ball))
    )


def joint_errors(fit: ReferenceFit, filmed: Filmed, reference: Motion) -> dict[str, float]:
    """Group → median distance of the fitted joints from the student's true ones at mapped times, torso lengths."""
    motion = filmed.motion
    times = np.linspace(motion.position_times["address"], motion.position_times["finish"], 120)
    true = filmed.scene.camera.project(landmark_points(motion.state(times), motion.spec.body.stature_m))
    pose = fit.swing.pose
    mapped = reference.time_of(motion.phase(times))
    flat = pose.points.reshape(len(pose), -1)
    ghost = np.stack([np.interp(mapped, pose.time_s, column) for column in flat.T], -1).reshape(true.shape)
    torso = figure_of(filmed.swing, SCORE).torso_px
    apart = np.linalg.norm(ghost - true, axis=-1) / torso
    out = {name: float(np.median(apart[:, [INDEX[joint] for joint in group]])) for name, group in GROUPS.items()}
    out["all"] = float(np.median(apart[:, [INDEX[joint] for group in GROUPS.values() for joint in group]]))
    return out


def fit_cells(fit: ReferenceFit, filmed: Filmed, reference: Motion) -> dict[tuple[str, str], FloatArray]:
    """(part, phase) → (2,) difference of the student's exact joints from the fitted swing: the error of the fit alone."""
    exact = true_swing(filmed.scene, track_of(filmed.scene, noise=None, rate_hz=120.0))
    times = filmed.motion.position_times
    mine = np.arange(times["address"] - 0.6, times["finish"] + 0.6, 0.01)
    clock = TimeMap(mine, reference.time_of(filmed.motion.phase(mine)))
    cells = measure_cells(figure_of(exact, SCORE), figure_of(fit.swing, SCORE), clock, SCORE)
    return {(cell.part, cell.phase): cell.offset for cell in cells if not cell.reason}


def compared(filmed: Filmed, fit: ReferenceFit) -> Comparison:
    return score(filmed.swing, fit.scored, align(filmed.swing, fit.scored), fit_sd=fit.sd)


def scored(comparison: Comparison) -> int:
    return sum(row.words != "not scored" for row in comparison.differences)


def rms(values: Any) -> float:
    return float(np.sqrt(np.mean(np.square(np.asarray(list(values), np.float64)))))


# Habits of the pose model.


def tracked_players(tune: Path, tracks: Path) -> Iterator[Filmed]:
    """Rendered players as the pose model saw them: the clips "tune", and the tracks of the study of positions."""
    from positions_synthetic import cases

    from overlay.pose import load_track

    yield from filmed_clips(tune, "tune-*.mp4")
    for case in cases(1):
        path = tracks / f"{case.name}-60.npz"
        if not path.exists():
            continue
        motion = case.motion()
        camera = case.camera(motion)
        scene = Recorded(motion, camera, camera.view)  # type: ignore[arg-type]
        try:
            yield Filmed(motion, camera, found_swing(scene, load_track(path).track))
        except (ContentError, ValueError):
            print(f"  {case.name}: no swing found, left out", flush=True)


def filmed_clips(folder: Path, pattern: str, most: int | None = None) -> Iterator[Filmed]:
    """Clips with known truth, looked at as the tool looks at a student's."""
    from filmed_clips import saved

    from overlay.pipeline import inspect_clip, look_closer

    for path in sorted(folder.glob(pattern))[:most]:
        clip = saved(path)
        inspection = look_closer(inspect_clip(path))
        swing = inspection.chosen(None)
        yield Filmed(clip.motion(), clip.camera, swing, inspection.closer[swing.swing_number].filming)


def residuals(filmed: Filmed) -> FloatArray | None:
    """(N_NODES, 33, 2) reported joints less those of the posed model, torso lengths, less the same at address."""
    reference, space = reference_of(filmed.motion)
    fit = fit_in_space(space, filmed.swing, filming=filmed.filming)
    nodes = node_times(space.positions)
    assert nodes is not None
    mine = filmed.motion.time_of(reference.phase(nodes))
    if filmed.swing.pose.time_s[-1] < mine[-1] - 0.1:
        return None
    torso = figure_of(filmed.swing, SCORE).torso_px

    def at(swing: Swing, times: FloatArray, half_s: float) -> FloatArray:
        pose = swing.pose
        guess = pose.visibility < 0.5
        arms = [i for name, i in INDEX.items() if name.endswith(("elbow", "wrist", "pinky", "index", "thumb"))]
        hidden = np.zeros_like(guess)
        hidden[:, arms] = guess[:, arms]
        points = np.where((hidden | pose.filled)[..., None], np.nan, pose.points)
        out = np.full((len(times), N_LANDMARKS, 2), np.nan)
        for k, t in enumerate(times):
            near = np.abs(pose.time_s - t) <= half_s
            if np.any(near):
                seen = np.mean(np.isfinite(points[near, :, 0]), axis=0) >= 0.5
                out[k, seen] = np.nanmean(points[near][:, seen], axis=0)
        return out

    gap = (at(filmed.swing, mine, 0.026) - at(_all_seen(fit.swing), nodes, 0.006)) / torso
    gap = gap - gap[:1]
    if filmed.swing.handedness == "left":
        gap = gap[:, list(MIRROR)] * np.array([-1.0, 1.0])
    return np.asarray(gap, np.float64)


def _all_seen(swing: Swing) -> Swing:
    pose = swing.pose
    return dataclasses.replace(swing, pose=dataclasses.replace(pose, visibility=np.ones_like(pose.visibility)))


def make_habits(tune: Path, tracks: Path) -> None:
    """Mean residuals by view; a joint seen in too few clips keeps 0."""
    found: dict[str, list[FloatArray]] = {view: [] for view in VIEWS}
    for filmed in tracked_players(tune, tracks):
        gap = residuals(filmed)
        if gap is not None:
            found[filmed.view].append(gap)
    offsets = {}
    for view, gaps in found.items():
        stacked = np.stack(gaps)
        count = np.sum(np.isfinite(stacked[..., 0]), axis=0)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # joints that no clip shows
            middle, apart = np.nanmedian(stacked, axis=0), np.nanstd(stacked, axis=0)
        # The middle of few clips is drawn to nothing.
        kept = np.where(np.isfinite(middle), middle, 0.0) * (count / (count + 1.0))[..., None]
        kept = np.where((count >= 4)[..., None], kept, 0.0)
        offsets[view] = np.round(kept, 4).tolist()
        spread = np.nanmedian(apart)
        print(f"{view}: {len(gaps)} clips, largest {np.abs(kept).max():.2f}, median spread {spread:.3f} torso lengths")
    TABLE.write_text(json.dumps({"source": "mediapipe", "offsets": offsets}), encoding="utf-8")
