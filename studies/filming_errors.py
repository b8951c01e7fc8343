"""How well the filming check sees planted camera errors, and how often it cries wolf.

    python studies/filming_errors.py [--players N] [--quick]             joints with a pose model's errors
    python studies/filming_errors.py --rendered FOLDER [--quick]         and pictures seen by the pose model
    python studies/filming_errors.py --shape FOLDER                      makes overlay/filming/address_shape.json again

Players differ in body (segment lengths, breadths), style, club and hand; cameras in distance and lens. A well-placed
camera stands within a hand's breadth of its place. Each planted error is one that a coach would want to be told; it is
detected when its own finding is not "pass", its size is right within 30 % of what was planted.

The rendered clips show the still moment before the swing: that is what the camera's place is read from. Clips and
tracks stay in FOLDER, and a second run goes on where the first one stopped. Players of ``--shape`` are never used for
figures.
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import math
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import FilmingReport, PoseTrack, Position, Positions, Swing
from overlay.errors import InputError
from overlay.filming import check_filming
from overlay.filming.scene import gather
from overlay.filming.second_look import with_second_look
from overlay.filming.shape import JOINTS, LANDMARK_ROWS, TABLE
from overlay.golfer import (
    BodySpec,
    CameraSpec,
    GolferSpec,
    Motion,
    NoiseSpec,
    TempoSpec,
    simulate,
    truth_track,
)
from overlay.golfer.tracks import landmark_points
from overlay.landmarks import MIRROR
from overlay.settings.filming import FilmingSettings
from overlay.terms import POSITION_NAMES

sys.path.insert(0, str(Path(__file__).resolve().parent))
from positions_synthetic import drawn_style

PAGE = Path(__file__).resolve().parent.parent / "docs" / "studies" / "filming_errors.md"
VIEWS = ("dtl", "fo")
LOOKS = ("rowan", "mara", "idris", "tobin", "wren")
BODY_SPREAD = {
    "arm": 0.03, "forearm": 0.03, "hand": 0.03, "thigh": 0.03, "shank": 0.03, "trunk": 0.03, "shoulders": 0.05,
    "hips": 0.05, "head": 0.04, "foot": 0.04,
}  # fmt: skip
"""Standard deviation of segment lengths between people of one stature, share of the segment; no source."""

FIRST_PLAYER = {"shape": 100_000, "tune": 200_000, "test": 300_000}


@dataclass(frozen=True)
class Planted:
    """An error of the camera: the finding it belongs to, its size, and the change of the camera."""

    name: str
    finding: str
    size: float
    height_m: float = 0.0
    offset_m: float = 0.0
    yaw_deg: float = 0.0
    roll_deg: float = 0.0
    pitch_deg: float = 0.0


GOOD = Planted("well placed", "", 0.0)
ERRORS = (
    *(Planted(f"height {cm:+d} cm", "camera_height", cm, height_m=cm / 100) for cm in (-30, -15, 15, 30)),
    *(Planted(f"offset {cm:+d} cm", "camera_offset", cm, offset_m=cm / 100) for cm in (-30, -15, 15, 30)),
    *(Planted(f"yaw {deg:+d}°", "yaw", deg, yaw_deg=deg) for deg in (-10, -5, 5, 10)),
    *(Planted(f"roll {deg:+d}°", "roll", deg, roll_deg=deg) for deg in (-3, 3)),
)
TILTED = (
    Planted("tilted 3° up", "", 0.0, pitch_deg=3.0),
    Planted("tilted 3° down", "", 0.0, pitch_deg=-3.0),
    Planted("30 cm low, tilted 4° up", "camera_height", -30, height_m=-0.30, pitch_deg=4.0),
    Planted("30 cm high, tilted 4° down", "camera_height", 30, height_m=0.30, pitch_deg=-4.0),
)


def player(number: int) -> Motion:
    """An invented player, the same for the same number."""
    rng = np.random.default_rng([number, 77])
    while True:
        style = drawn_style(rng)
        scales = {key: float(np.clip(rng.normal(1, sd), 0.85, 1.15)) for key, sd in BODY_SPREAD.items()}
        golfer = GolferSpec(
            body=BodySpec(
                stature_m=float(rng.uniform(1.58, 1.93)),
                build=str(rng.choice(("slim", "medium", "broad"))),  # type: ignore[arg-type]
                **scales,
            ),
            tempo=TempoSpec(
                pre_s=1.0,
                backswing_s=float(rng.uniform(0.70, 1.15)),
                downswing_s=float(rng.uniform(0.22, 0.31)),
                relax_s=0.5,
                post_s=0.0,
                waggle=0.5,
            ),
            style=style,
            handedness="left" if rng.random() < 0.3 else "right",
            club="driver" if rng.random() < 0.4 else "mid_iron",
            seed=int(rng.integers(1 << 30)),
            variation=1.0,
        )
        try:
            return simulate(golfer)
        except InputError:
            continue  # This style cannot reach the ball with these proportions: draw another.


def camera_of(motion: Motion, view: str, planted: Planted, number: int) -> CameraSpec:
    """A camera set up by a careful hand, and the planted error."""
    rng = np.random.default_rng([number, *map(ord, view)])
    good = CameraSpec.for_motion(motion, view)
    farther = float(rng.uniform(0.85, 1.4))
    # The lens is chosen so that the player is about as large as from the usual place.
    narrow = math.tan(math.radians(good.fov_deg / 2)) / farther / float(rng.uniform(0.9, 1.1))
    side = -1.0 if motion.spec.handedness == "left" else 1.0
    return dataclasses.replace(
        good,
        distance_m=good.distance_m * farther,
        fov_deg=math.degrees(2 * math.atan(narrow)),
        height_m=_hands_height(motion) + float(rng.normal(0, 0.015)) + planted.height_m,
        offset_m=float(rng.normal(0, 0.015)) + planted.offset_m * (side if view == "fo" else 1.0),
        yaw_deg=float(rng.normal(0, 0.5)) + side * planted.yaw_deg,
        roll_deg=float(rng.normal(0, 0.3)) + side * planted.roll_deg,
        pitch_deg=float(rng.normal(0, 0.3)) + planted.pitch_deg,
    )


def _hands_height(motion: Motion) -> float:
    return float(motion.state(np.array([motion.position_times["address"]]))["grip"][0, 2])


def truth_of(motion: Motion, camera: CameraSpec) -> dict[str, float]:
    """Finding → what it should say, cm and degrees of a right-hander's picture."""
    at = motion.state(np.array([motion.position_times["address"]]))
    side = -1.0 if motion.spec.handedness == "left" else 1.0
    return {
        "camera_height": 100 * (camera.height_m - float(at["grip"][0, 2])),
        "camera_offset": 100 * camera.offset_m * (side if camera.view == "fo" else 1.0),
        "yaw": side * camera.yaw_deg,
        "roll": side * camera.roll_deg,
        "camera_distance": camera.distance_m,
    }


def swing_of(track: PoseTrack, motion: Motion, view: str, shift_s: float = 0.0) -> Swing:
    """A swing whose positions are the true ones; those outside the track are missing."""
    times = {name: motion.position_times[name] - shift_s for name in POSITION_NAMES}
    found = tuple(Position(name, time, 1.0) for name, time in times.items() if time <= float(track.time_s[-1]) + 0.06)
    missing = {name: "not filmed" for name in POSITION_NAMES if name not in {position.name for position in found}}
    return Swing(
        clip=None,
        pose=track,
        view=view,  # type: ignore[arg-type]
        view_confidence=1.0,
        handedness=motion.spec.handedness,
        handedness_confidence=1.0,
        positions=Positions(found, missing),
        torso_px=_torso_px(track),
    )


def _torso_px(track: PoseTrack) -> float:
    from overlay.kinematics import torso_length

    return torso_length(track)


def noisy(number: int, view: str, planted: Planted) -> tuple[FilmingReport, dict[str, float]]:
    """The report on joints that carry a pose model's random errors."""
    motion = player(number)
    camera = camera_of(motion, view, planted, number)
    track = truth_track(motion, camera, 60.0, noise=NoiseSpec(), seed=number)
    return check_filming(None, track, swing_of(track, motion, view), None), truth_of(motion, camera)


def filmed(folder: Path, number: int, view: str, planted: Planted) -> tuple[Path, Motion, CameraSpec, float]:
    """A rendered clip of the still moment before the swing; made when it is not there."""
    from overlay.golfer import render_clip

    motion = player(number)
    camera = camera_of(motion, view, planted, number)
    start_s = motion.position_times["address"] - 0.22
    name = planted.name.replace(" ", "_").replace("°", "deg").replace(",", "")
    path = folder / f"{number}-{view}-{name}.mp4"
    beside = path.with_suffix(".json")
    if path.exists() and beside.exists():
        camera = CameraSpec.from_dict(json.loads(beside.read_text(encoding="utf-8")))
    else:
        folder.mkdir(parents=True, exist_ok=True)
        render_clip(
            motion, camera, path, rate_hz=20.0, start_s=start_s, stop_s=start_s + 0.26, look=LOOKS[number % len(LOOKS)],
            seed=number % 1000, threads=1,
        )  # fmt: skip
        beside.write_text(json.dumps(camera.to_dict()), encoding="utf-8")
    return path, motion, camera, start_s


def rendered(folder: Path, number: int, view: str, planted: Planted) -> tuple[FilmingReport, dict[str, float]]:
    """The report on pictures: joints from the pose model, roll from the background too."""
    from overlay.pose import track_clip
    from overlay.video import open_clip

    path, motion, camera, start_s = filmed(folder, number, view, planted)
    seen = track_clip(path)
    with open_clip(path) as reader:
        swing = swing_of(seen.track, motion, view, start_s)
        # Who else is in the picture is not the question here.
        report = check_filming(reader, seen.track, swing, seen.masks, settings=FilmingSettings(people_samples=1))
    return report, truth_of(motion, camera)


# The shape ---------------------------------------------------------------------------------------------------------


def shape_points(number: int) -> FloatArray:
    """(18, 3) a right-hander at address, shares of stature, with what real players add to the synthetic ones.

    Added (standard deviations; no source): feet turned against the body 1.5°, hips 2°, shoulders 2.5°, head 5°, each
    foot's flare 4°, stance width 8 %, leaning towards target or toes 0.8 % of stature at shoulder height, hands 0.8 %.
    """
    motion = player(number)
    stature = motion.spec.body.stature_m
    state = motion.state(np.array([motion.position_times["address"]]))
    marks = landmark_points(state, stature)[0]
    grip = state["grip"][0].copy()
    if motion.spec.handedness == "left":
        marks = marks[list(MIRROR)] * np.array([-1.0, 1.0, 1.0])
        grip[0] *= -1.0
    at = np.concatenate([marks[list(LANDMARK_ROWS)], grip[None]]) / stature
    rng = np.random.default_rng([number, 5])
    feet, knees, hips, shoulders = [6, 7, 8, 9, 10, 11], [4, 5], [2, 3], [0, 1]
    head, hands = [14, 15, 16], [12, 13, 17]
    turn = float(rng.normal(0, 1.5))
    at[feet] = _turned(at[feet], turn, np.zeros(3))
    at[knees] = _turned(at[knees], turn / 2, np.zeros(3))
    at[hips] = _turned(at[hips], float(rng.normal(0, 2.0)), at[hips].mean(axis=0))
    at[shoulders] = _turned(at[shoulders], float(rng.normal(0, 2.5)), at[shoulders].mean(axis=0))
    at[head] = _turned(at[head], float(rng.normal(0, 5.0)), at[head].mean(axis=0))
    for foot in ([6, 8, 10], [7, 9, 11]):
        at[foot] = _turned(at[foot], float(rng.normal(0, 4.0)), at[foot[0]])
    wider = float(rng.normal(0, 0.08))
    at[feet, 0] *= 1 + wider
    at[knees, 0] *= 1 + wider / 2
    for axis in (0, 1):
        at[:, axis] += float(rng.normal(0, 0.008)) * at[:, 2] / 0.75
    at[hands] += rng.normal(0, 0.008, 3)
    return at


def _turned(points: FloatArray, deg: float, about: FloatArray) -> FloatArray:
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    return np.asarray((points - about) @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) + about, np.float64)


def pose_errors(folder: Path, view: str, numbers: range) -> tuple[FloatArray, FloatArray]:
    """Pose model − truth at address on rendered clips, of a right-hander's picture.

    (N, 17, 2) torso lengths, and (N, 4) what ``geometry.looks_from`` says of each camera.
    """
    from overlay.pose import track_clip
    from overlay.video import open_clip

    rows, angles = [], []
    for number in numbers:
        rng = np.random.default_rng([number, 9])
        wild = Planted(
            "wild", "", 0.0, height_m=float(rng.uniform(-0.4, 0.4)), offset_m=float(rng.normal(0, 0.1)),
            yaw_deg=float(rng.uniform(-12, 12)), roll_deg=float(rng.normal(0, 2)), pitch_deg=float(rng.normal(0, 2)),
        )  # fmt: skip
        path, motion, camera, start_s = filmed(folder, number, view, wild)
        track = track_clip(path).track
        state = motion.state(track.time_s + start_s)
        true = np.median(camera.project(landmark_points(state, motion.spec.body.stature_m)), axis=0)
        with open_clip(path) as reader:
            swing = swing_of(track, motion, view, start_s)
            scene = with_second_look(gather(reader, track, swing, None, None, None, FilmingSettings()))
        if not np.all(np.isfinite(scene.pose)):
            continue  # the player was not found in this clip
        exact = dataclasses.replace(scene, pose=true)
        gap = scene.right_handed_pose()[0] - exact.right_handed_pose()[0]
        rows.append(gap[list(LANDMARK_ROWS)] / scene.torso_px)
        side = -1.0 if motion.spec.handedness == "left" else 1.0
        grip = motion.state(np.array([motion.position_times["address"]]))["grip"][0] - camera.position
        grip[0] *= side
        ahead, beside = (grip[0], grip[1]) if view == "dtl" else (-grip[1], grip[0])
        bearing, rise = math.atan2(beside, ahead), math.atan2(-grip[2], ahead)
        angles.append((1.0, math.degrees(bearing), math.degrees(rise), side * camera.roll_deg))
        print(path.name, flush=True)
    return np.array(rows), np.array(angles)


def _habits(errors: FloatArray, angles: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(4, 17, 2) least absolute errors on the angles (by reweighting), and what is left (N, 17, 2)."""
    n = len(errors)
    flat = errors.reshape(n, -1)
    told = np.zeros((angles.shape[1], flat.shape[1]))
    for k in range(flat.shape[1]):
        weight = np.ones(n)
        for _ in range(30):
            # A little ridge: a slope must earn its place.
            ridge = np.diag([0.0, 20.0, 20.0, 20.0])
            normal = angles.T @ (weight[:, None] * angles) + ridge * np.median(weight)
            told[:, k] = np.linalg.solve(normal, angles.T @ (weight * flat[:, k]))
            weight = 1.0 / np.maximum(np.abs(flat[:, k] - angles @ told[:, k]), 0.005)
    rest = flat - angles @ told
    return told.reshape(-1, *errors.shape[1:]), rest.reshape(errors.shape)


def _covariance(errors: FloatArray, sd: FloatArray) -> FloatArray:
    """(34, 34) of errors (N, 17, 2) about their middle; robust, and shrunk towards independent joints.

    N is hardly more than 34, so a share of each correlation is left out, and no joint is surer than 1 % of the torso.
    """
    sd = np.maximum(sd, 0.010)
    flat = np.clip(errors / sd, -2.5, 2.5).reshape(len(errors), -1)
    together = np.corrcoef(flat, rowvar=False)
    shrunk = 0.65 * together + 0.35 * np.eye(len(together))
    return np.asarray(shrunk * np.outer(sd.ravel(), sd.ravel()), np.float64)


def write_shape(folder: Path, players: int, clips: int) -> None:
    """Make ``address_shape.json``: posture from many players, habits of the pose model from rendered clips."""
    first = FIRST_PLAYER["shape"]
    all_of = np.array([shape_points(first + i) for i in range(players)])
    mean = all_of.mean(axis=0)
    _, spread, ways = np.linalg.svd((all_of - mean).reshape(players, -1), full_matrices=False)
    sd = spread / math.sqrt(players)
    kept = int(np.searchsorted(np.cumsum(sd**2) / np.sum(sd**2), 0.995)) + 1
    table: dict[str, object] = {
        "mean": mean.round(5).tolist(),
        "ways": (ways[:kept] * sd[:kept, None]).reshape(kept, *mean.shape).round(5).tolist(),
        "pose_habits": {},
        "pose_covariance": {},
    }
    for view in VIEWS:
        errors, angles = pose_errors(folder, view, range(first, first + clips))
        habits, rest = _habits(errors, angles)
        # Robust: a wrist that is guessed once must not make all wrists worthless.
        sd_of = 1.4826 * np.median(np.abs(rest), axis=0)
        table["pose_habits"][view] = habits.round(5).tolist()  # type: ignore[index]
        table["pose_covariance"][view] = _covariance(rest, sd_of).round(7).tolist()  # type: ignore[index]
        for i, name in enumerate(JOINTS):
            print(f"{view} {name:18s} bias {habits[0, i].round(3)} sd {sd_of[i].round(3)}")
    TABLE.write_text(json.dumps(table), encoding="utf-8")
    print(f"{kept} ways of standing, {players} players, {clips} clips a view")


# The figures -------------------------------------------------------------------------------------------------------

PLACE = ("camera_height", "camera_offset", "yaw", "roll")
CUT = Planted("feet cut off", "whole_body", 0.0, pitch_deg=11.0)


@dataclass(frozen=True)
class Row:
    """What came of one clip: finding → (value, truth, verdict, inside its interval)."""

    view: str
    planted: Planted
    told: dict[str, tuple[float, float, str, bool]]


def row_of(view: str, planted: Planted, report: FilmingReport, truth: dict[str, float]) -> Row:
    told = {}
    for name in (*PLACE, "whole_body", "steadiness"):
        finding = report.get(name)
        assert finding is not None
        right, interval = truth.get(name, math.nan), finding.interval
        inside = interval is not None and interval[0] <= right <= interval[1]
        told[name] = (finding.value, right, finding.verdict, inside)
    return Row(view, planted, told)


def share(values: list[bool]) -> str:
    return f"{100 * sum(values) / len(values):.0f} % ({sum(values)} of {len(values)})" if values else "–"


def table_of_errors(rows: list[Row], errors: tuple[Planted, ...]) -> list[str]:
    """One line a view, finding and size."""
    lines = [
        "| view | planted | detected | size within 30 % | median error | inside its 95 % interval |",
        "|---|---|---|---|---|---|",
    ]
    for view in VIEWS:
        for finding, size in dict.fromkeys((error.finding, abs(error.size)) for error in errors):
            chosen = [
                row.told[finding]
                for row in rows
                if row.view == view
                and row.planted in errors
                and row.planted.finding == finding
                and abs(row.planted.size) == size
            ]
            if not chosen:
                continue
            unit = " cm" if finding.startswith("camera") else "°"
            gaps = [value - right for value, right, _, _ in chosen]
            lines.append(
                f"| {view} | {finding.replace('_', ' ')} ±{size:g}{unit} "
                f"| {share([verdict in ('warn', 'fail') for _, _, verdict, _ in chosen])} "
                f"| {share([abs(gap) <= 0.3 * size for gap in gaps])} "
                f"| {np.median(np.abs(gaps)):.1f}{unit} | {share([inside for _, _, _, inside in chosen])} |"
            )
    return lines


def table_of_alarms(rows: list[Row]) -> list[str]:
    """Well-placed cameras that are blamed, and how far off the value is."""
    lines = ["| view | finding | blamed | error, mean ± sd |", "|---|---|---|---|"]
    for view in VIEWS:
        for name in (*PLACE, "whole_body", "steadiness"):
            chosen = [row.told[name] for row in rows if row.view == view and row.planted is GOOD]
            blamed = [verdict in ("warn", "fail") for _, _, verdict, _ in chosen if verdict != "not seen"]
            gaps = np.array([value - right for value, right, _, _ in chosen])
            size = "" if not np.all(np.isfinite(gaps)) else f"{gaps.mean():+.1f} ± {gaps.std():.1f}"
            if blamed:
                lines.append(f"| {view} | {name.replace('_', ' ')} | {share(blamed)} | {size} |")
    return lines


def noisy_rows(players: int) -> list[Row]:
    first = FIRST_PLAYER["test"]
    rows = []
    for i in range(players):
        for view in VIEWS:
            for planted in (GOOD, *ERRORS, *TILTED, CUT):
                rows.append(row_of(view, planted, *noisy(first + i, view, planted)))
        print(f"  {i + 1} of {players} players", flush=True)
    return rows


def shaken_rows(players: int) -> list[str]:
    """A camera held by hand, seen by what the feet do: shake → share that is told."""
    first = FIRST_PLAYER["test"]
    lines = ["| tremble (standard deviation) | told |", "|---|---|"]
    for shake_deg in (0.0, 0.1, 0.2, 0.3):
        told = []
        for i in range(players):
            for view in VIEWS:
                motion = player(first + i)
                camera = dataclasses.replace(
                    camera_of(motion, view, GOOD, first + i), shake_deg=shake_deg, shake_seed=i
                )
                track = truth_track(motion, camera, 60.0, noise=NoiseSpec(), seed=first + i)
                finding = check_filming(None, track, swing_of(track, motion, view), None).get("steadiness")
                assert finding is not None
                told.append(finding.verdict in ("warn", "fail"))
        lines.append(f"| {shake_deg:g}° | {share(told)} |")
    return lines


def rendered_rows(folder: Path, players: int, good: int) -> list[Row]:
    first = FIRST_PLAYER["test"]
    rows = []
    for i in range(max(players, good)):
        for view in VIEWS:
            for planted in ((GOOD,) if i < good else ()) + ((*ERRORS, CUT) if i < players else ()):
                rows.append(row_of(view, planted, *rendered(folder, first + i, view, planted)))
        print(f"  {i + 1} of {max(players, good)} players", flush=True)
    return rows


def tilted_lines(rows: list[Row]) -> list[str]:
    lines = [
        "| view | camera | height told as wrong | error of the height, median (5–95 %) | inside its interval |",
        "|---|---|---|---|---|",
    ]
    for view in VIEWS:
        for planted in TILTED:
            chosen = [row.told["camera_height"] for row in rows if row.view == view and row.planted == planted]
            gaps = [value - right for value, right, _, _ in chosen]
            low, middle, high = np.percentile(gaps, [5, 50, 95])
            lines.append(
                f"| {view} | {planted.name} | {share([one[2] in ('warn', 'fail') for one in chosen])} "
                f"| {middle:+.0f} cm ({low:+.0f} to {high:+.0f}) | {share([one[3] for one in chosen])} |"
            )
    return lines


def cut_line(rows: list[Row]) -> str:
    chosen = [row.told["whole_body"][2] for row in rows if row.planted == CUT]
    return f"Feet cut off (the camera tilted 11° up): told in {share([verdict == 'fail' for verdict in chosen])}."


INTRO = """# Planted camera errors

`python studies/filming_errors.py --rendered FOLDER --filmed 6 --players 15`. Asked for: planted errors detected ≥ 95 %,
their size within 30 %, well-placed cameras blamed ≤ 5 %. Players differ in segment lengths, breadths, stature
(158–193 cm, not told to the check), style, club and hand; cameras in distance and lens. A well-placed camera stands at
hand height within 1.5 cm, on its line within 1.5 cm and 0.5°, upright and level within 0.3° (standard deviations). None
of these players was used to choose a threshold or to make `overlay/filming/address_shape.json`.
"""


def write_page(noise: list[Row], shaken: list[str], seen: list[Row], players: tuple[int, int, int], text: str) -> None:
    parts = [INTRO]
    if seen:
        parts += [
            f"## Rendered pictures, joints from the pose model ({players[1]} players, {players[2]} well placed)",
            "\n".join(table_of_errors(seen, ERRORS)),
            "\n".join(table_of_alarms(seen)),
            cut_line(seen),
        ]
    parts += [
        f"## True joints with a pose model's random errors, no pictures ({players[0]} players)",
        "\n".join(table_of_errors(noise, ERRORS)),
        "\n".join(table_of_alarms(noise)),
        cut_line(noise),
        "### A camera held by hand, told from the feet alone",
        "\n".join(shaken),
        "### A camera that is not level",
        "\n".join(tilted_lines(noise)),
        text,
    ]
    PAGE.write_text("\n\n".join(part.strip() for part in parts) + "\n", encoding="utf-8")
    print(PAGE)


REMARKS = """## What falls short, and why
- **Yaw down the line on real pictures.** The pose model places near and far foot, hip and shoulder with errors of 2–3 %
  of the torso length that differ from player to player, and it sees a turned player as less turned. What is left after
  its habits are taken off is worth 1.5–2°: 10° is seen, 5° not always, and its size not within 30 %. With joints that
  carry only random errors the same estimate is good to about 0.5°, so a better pose model would settle it. Face on it
  is nearly reached, but two of twenty good cameras are blamed.
- **Height face on.** The cameras here are level within 0.3°, which at 4–6 m is 2–3 cm of height that nothing in the
  picture tells: most of the error is that.
- **Height of a tilted camera.** Face on, tilt and height cannot be told apart; down the line partly. Height and its
  interval hold for a level camera, and the finding says so.
- **Synthetic players stand square.** Real players do not; then yaw is that of the stance, which the finding says too.
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shape", type=Path, help="folder for the clips that the posture table is made from")
    parser.add_argument("--rendered", type=Path, help="folder for the rendered clips")
    parser.add_argument("--players", type=int, default=20, help="of the figures without pictures")
    parser.add_argument("--filmed", type=int, default=4, help="of the rendered figures")
    parser.add_argument("--good", type=int, default=20, help="of the rendered well-placed cameras")
    parser.add_argument("--quick", action="store_true", help="a few players only, nothing is written")
    options = parser.parse_args()
    if options.shape is not None:
        write_shape(options.shape, 600, 70)
        return
    players = 2 if options.quick else options.players
    filmed_players, good = (1, 1) if options.quick else (options.filmed, options.good)
    seen = [] if options.rendered is None else rendered_rows(options.rendered, filmed_players, good)
    if seen:
        print("\n".join([*table_of_errors(seen, ERRORS), *table_of_alarms(seen), cut_line(seen)]))
    noise = noisy_rows(players)
    print("\n".join([*table_of_errors(noise, ERRORS), *table_of_alarms(noise), *tilted_lines(noise)]))
    if not options.quick:
        write_page(noise, shaken_rows(players), seen, (players, filmed_players, good), REMARKS)


if __name__ == "__main__":
    main()
