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
from overlay.data import Ball, Comparison, FilmingReport, ReferenceFit, SpaceTrack, Strike, Swing, TimeMap
from overlay.errors import ContentError, InputError
from overlay.files import write_text
from overlay.fit import SEGMENTS, estimate_camera, fit_in_space
from overlay.fit.habits import TABLE, node_times
from overlay.golfer import FAULTS, BodySpec, CameraSpec, GolferSpec, Motion, NoiseSpec, TempoSpec, simulate, space_track
from overlay.golfer.tracks import landmark_points
from overlay.landmarks import INDEX, MIRROR, N_LANDMARKS
from overlay.score import score
from overlay.score.measure import measure_cells
from overlay.score.parts import figure_of
from overlay.settings.score import ScoreSettings
from overlay.terms import PARTS, View, words

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
    """(part, phase) → (2,) difference of the student's exact joints from the fitted swing: the fit's own error."""
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


# The page.


@dataclass
class Sums:
    """What one group of students gave."""

    errors: list[dict[str, float]] = dataclasses.field(default_factory=list)
    cells: dict[str, list[FloatArray]] = dataclasses.field(default_factory=dict)
    told: int = 0
    alike: int = 0
    alike_bare: int = 0
    """As ``alike``, had the fit's own error not been allowed for and no habits been known."""
    wrong: dict[str, int] = dataclasses.field(default_factory=dict)
    seconds: list[float] = dataclasses.field(default_factory=list)

    def add(self, filmed: Filmed, second: Swing | None = None) -> None:
        reference, space = reference_of(filmed.motion)
        started = time.process_time()
        fit = fit_in_space(space, filmed.swing, second=second, filming=filmed.filming)
        self.seconds.append(time.process_time() - started)
        self.errors.append(joint_errors(fit, filmed, reference))
        for (part, _), offset in fit_cells(fit, filmed, reference).items():
            self.cells.setdefault(part, []).append(offset)
        comparison = compared(filmed, fit)
        self.told += scored(comparison)
        names = detected(comparison)
        self.alike += scored(comparison) - len(names)
        for phase, part in names:
            self.wrong[f"{part} in {phase}"] = self.wrong.get(f"{part} in {phase}", 0) + 1
        bare = score(filmed.swing, fit.swing, align(filmed.swing, fit.swing))
        self.alike_bare += scored(comparison) - len(detected(bare))

    def row(self) -> str:
        middle = {name: np.mean([error[name] for error in self.errors]) for name in (*GROUPS, "all")}
        worst = max(error["all"] for error in self.errors)
        figures = " | ".join(f"{100 * value:.1f}" for value in middle.values())
        return f"{len(self.errors)} | {figures} | {100 * worst:.1f}"


def synthetic_part(n: int) -> list[str]:
    sums: dict[tuple[View, bool], Sums] = {(view, both): Sums() for view in VIEWS for both in (False, True)}
    factors: dict[str, list[FloatArray]] = {view: [] for view in VIEWS}
    cameras: dict[tuple[str, str], list[tuple[float, float]]] = {}
    for seed in range(n):
        rng = np.random.default_rng([61, seed])
        motion = drawn_student(rng)
        filmed = {view: synthetic(motion, view, rng, seed) for view in VIEWS}
        for view, other in (("dtl", "fo"), ("fo", "dtl")):
            sums[view, False].add(filmed[view])  # type: ignore[index]
            sums[view, True].add(filmed[view], filmed[other].swing)  # type: ignore[index]
            told = estimate_camera(reference_of(motion)[1], filmed[view].swing)
            factors[view].append(_factor_errors(motion, told.factors))
            for name, true in _true_camera(motion, filmed[view].camera).items():
                cameras.setdefault((view, name), []).append((told.values[name] - true, told.sd[name]))
        print(f"  {seed + 1} of {n} students", flush=True)
    lines = [
        "## Joints",
        "",
        "Median distance of the fitted joints from the student's true ones at truly mapped times, address to finish, "
        "% of torso length, mean over the students; last column: the worst student.",
        "",
        "| view | students | " + " | ".join((*GROUPS, "all")) + " | worst |",
        "|---" * (len(GROUPS) + 4) + "|",
    ]
    for (view, both), total in sums.items():
        lines.append(f"| {view}{', with the other view' if both else ''} | {total.row()} |")
    lines += ["", "To be reached: 6 % (median).", "", *_lengths_and_cameras(factors, cameras)]
    lines += [
        "## False alarms",
        "",
        *_alarms({f"{view}, both" if both else view: s for (view, both), s in sums.items()}),
    ]
    return lines


def _true_camera(motion: Motion, camera: CameraSpec) -> dict[str, float]:
    """As ``estimate_camera`` tells it: for a player as tall as the model."""
    size = 1.78 / motion.spec.body.stature_m
    return {
        "height_m": size * camera.height_m,
        "distance_m": size * camera.distance_m,
        "yaw_deg": camera.yaw_deg,
        "pitch_deg": camera.pitch_deg,
        "roll_deg": camera.roll_deg,
        "fov_deg": camera.fov_deg,
    }


def _factor_errors(motion: Motion, factors: Any) -> FloatArray:
    """Log of told ÷ true length, for the segments whose marks move with the body's own scales."""
    from overlay.fit.skeleton import Skeleton
    from overlay.settings.fit import RETARGET

    own = Skeleton.of(space_track(motion), RETARGET).segment_lengths()
    model = Skeleton.of(reference_of(motion)[1], RETARGET).segment_lengths()
    size = motion.spec.body.stature_m / 1.78
    return np.array([np.log(factors[name] / (own[name] / model[name] / size)) for name in SEGMENTS])


def _lengths_and_cameras(
    factors: dict[str, list[FloatArray]], cameras: dict[tuple[str, str], list[tuple[float, float]]]
) -> list[str]:
    lines = [
        "## Lengths and cameras",
        "",
        "Standard deviation of the error of a segment's length, %, against a player of usual proportions (what is not "
        "seen would be wrong by 7 %).",
        "",
        "| view | " + " | ".join(words(name) for name in SEGMENTS) + " |",
        "|---" * (len(SEGMENTS) + 1) + "|",
    ]
    for view, rows in factors.items():
        lines.append(f"| {view} | " + " | ".join(f"{100 * value:.1f}" for value in np.std(rows, axis=0)) + " |")
    names = list(dict.fromkeys(name for _, name in cameras))
    lines += [
        "",
        "Root mean square error of the camera, and in brackets the error in multiples of what was said (1 when rightly "
        "said; less is cautious: these players all stand square, real ones do not).",
        "",
        "| view | " + " | ".join(names) + " |",
        "|---" * (len(names) + 1) + "|",
    ]
    for view in factors:
        cells = []
        for name in names:
            pairs = cameras[view, name]
            cells.append(f"{rms(error for error, _ in pairs):.2f} ({rms(error / sd for error, sd in pairs):.1f})")
        lines.append(f"| {view} | " + " | ".join(cells) + " |")
    return [*lines, ""]


def _alarms(sums: dict[str, Sums]) -> list[str]:
    lines = [
        'The student moves as the reference does. Share of parts × phases that say "no difference detected"; and what '
        "it would be had the fit's own error not been allowed for and the pose model's habits not been known.",
        "",
        "| students | parts × phases | no difference | without | what was told |",
        "|---|---|---|---|---|",
    ]
    for name, total in sums.items():
        told = (
            ", ".join(f"{what} {n}×" for what, n in sorted(total.wrong.items(), key=lambda pair: -pair[1])[:4]) or "–"
        )
        lines.append(
            f"| {name} | {total.told} | {total.alike / total.told:.1%} | {total.alike_bare / total.told:.1%} | {told} |"
        )
    lines += [
        "",
        "The fit's own error of a part (root mean square over phases and coordinates, % of torso length; exact joints "
        "of the student against the fitted swing):",
        "",
        "| students | " + " | ".join(words(part) for part in PARTS) + " |",
        "|---" * (len(PARTS) + 1) + "|",
    ]
    for name, total in sums.items():
        row = " | ".join(f"{100 * rms(np.concatenate(total.cells[part])):.1f}" for part in PARTS)
        lines.append(f"| {name} | {row} |")
    return [*lines, ""]


def faults_part(n: int, size: float) -> list[str]:
    """How often a planted fault is still told, against a reference of the student's own body before his own camera."""
    lines = [
        "## Planted faults",
        "",
        f"Students of other proportions with one fault of size {size:g}: share in which any difference is told, and "
        "how many; fitted, and against the best there could be (the faultless swing of this body before this camera). "
        "Some faults hardly show in the joints of one view (laid off and across the line are the club's), whatever the "
        "reference.",
        "",
        "| view | fault | fitted: found | differences | best: found | differences |",
        "|---|---|---|---|---|---|",
    ]
    kept = [0, 0]
    for view in VIEWS:
        for fault in FAULTS:
            rows = []
            for seed in range(n):
                rng = np.random.default_rng([67, seed])
                motion = drawn_student(rng, faults={fault: size})
                filmed = synthetic(motion, view, rng, seed)
                names = detected(compared(filmed, fit_in_space(reference_of(motion)[1], filmed.swing)))
                plain = simulate(dataclasses.replace(motion.spec, faults={}))
                scene = Recorded(plain, filmed.camera, view)
                best = true_swing(scene, track_of(scene, noise=None, rate_hz=120.0))
                best_names = detected(score(filmed.swing, best, align(filmed.swing, best)))
                rows.append((bool(names), len(names), bool(best_names), len(best_names)))
                if best_names:
                    kept[1] += 1
                    kept[0] += bool(names)
            mean = np.mean(rows, axis=0)
            lines.append(f"| {view} | {words(fault)} | {mean[0]:.0%} | {mean[1]:.1f} | {mean[2]:.0%} | {mean[3]:.1f} |")
            print(f"  {view} {fault}", flush=True)
    share = kept[0] / max(kept[1], 1)
    return [
        *lines,
        "",
        f"Of the students whose fault can be told at best, it is told in {share:.0%} after the fit.",
        "",
    ]


def rendered_part(folder: Path, most: int | None) -> list[str]:
    sums = {view: Sums() for view in VIEWS}
    for filmed in filmed_clips(folder, "test-*.mp4", most):
        sums[filmed.view].add(filmed)
        print(f"  {filmed.view} {filmed.motion.spec.handedness}", flush=True)
    sums = {view: total for view, total in sums.items() if total.errors}
    lines = [
        "## Rendered players, seen by the pose model",
        "",
        'Clips of the set "test" of `studies/filmed_clips.py`, inspected as a user\'s; the reference is the same swing '
        "on the usual body without the player's variation. Distances are to the true joints, so that the pose model's "
        'own habits are in them. The habits come from other clips: the set "tune" and those of the study of positions.',
        "",
        "| view | clips | " + " | ".join((*GROUPS, "all")) + " | worst |",
        "|---" * (len(GROUPS) + 4) + "|",
        *(f"| {view} | {total.row()} |" for view, total in sums.items()),
        "",
        *_alarms(dict(sums)),
    ]
    cost = np.concatenate([total.seconds for total in sums.values()])
    return [*lines, f"A fit takes {np.median(cost):.2f} s of CPU (at most {cost.max():.2f} s).", ""]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rendered", type=Path, help="folder with the clips of studies/filmed_clips.py")
    parser.add_argument("--habits", type=Path, nargs=2, metavar=("FOLDER", "TRACKS"))
    parser.add_argument("--students", type=int, default=24)
    parser.add_argument("--quick", action="store_true")
    options = parser.parse_args()
    if options.habits:
        make_habits(*options.habits)
        return
    page = DOCS / "body_fit.md"
    head = [
        "# The fit in space",
        "",
        "Made by `python studies/body_fit.py` (synthetic tracks) and `python studies/body_fit.py --rendered FOLDER`.",
        "",
        "The reference is the student's own movement on a body of usual proportions, 1.78 m tall. Students: every "
        "proportion drawn within ±12 %, 1.60 to 1.95 m tall; cameras ±20 cm in height and sideways, ±5° yaw, 0.85 to "
        "1.3 of the usual distance, 34° to 52° field of view, ±1° pitch, ±1.5° roll; 60 frames a second with the "
        "errors of a pose model; positions and alignment as the tool finds them.",
        "",
    ]
    old = page.read_text(encoding="utf-8").split("\n") if page.exists() else []
    mark = "## Rendered players, seen by the pose model"
    at = old.index(mark) if mark in old else len(old)
    first, last = old[len(head) : at], old[at:]
    if options.rendered:
        last = rendered_part(options.rendered, 2 if options.quick else None)
    else:
        n = 2 if options.quick else options.students
        first = [*synthetic_part(n), *faults_part(1 if options.quick else max(2, n // 4), 2.0)]
    text = "\n".join([*head, *first, *last]).rstrip() + "\n"
    if options.quick:
        print(text)
        return
    write_text(page, text)
    print(f"wrote {page}")


if __name__ == "__main__":
    main()
