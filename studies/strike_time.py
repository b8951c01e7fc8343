"""How well the strike is timed on rendered clips, and whether rehearsals are told from strikes.

    python studies/strike_time.py [--quick] [--windows FOLDER] [--clips FOLDER] [--set tune|test]

Three parts. (1) Short windows around impact are rendered for players, cameras and rates drawn at random, with a ball
that is struck, one that stays, and none; the pose is the true one with a pose model's errors, which spares the pose
model. Each window is judged silent, with the sound of a range, of a busy range, with sound that runs early or late, and
with a shaft track. (2) ``--clips`` names a folder of studies/filmed_clips.py: whole clips, with the pose model, the
tracked movement of the picture and the tracked club. (3) Clicks alone: how near the strike is found in the sound.
Writes docs/studies/strike_time.md. ``--windows`` keeps the rendered windows for another run; ``--set tune`` draws the
players that thresholds were chosen on, and writes only where ``--out`` says. ``--quick`` does six windows of each kind.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from overlay.club import track_club
from overlay.data import CameraMotion, ClubTrack, Strike, Swing
from overlay.errors import OverlayError
from overlay.files import write_text
from overlay.golfer import CameraSpec, Motion, NoiseSpec, SoundSpec, range_sound, render_clip, true_club, truth_track
from overlay.golfer.render import Film
from overlay.positions import find_swings
from overlay.steady import camera_motion
from overlay.strike import clicks, find_strike
from overlay.video import Reader, Sound, open_clip

sys.path.insert(0, str(Path(__file__).resolve().parent))
from filmed_clips import Filmed, plan, saved

PAGE = Path(__file__).resolve().parent.parent / "docs" / "studies" / "strike_time.md"
RATES = ((30.0, 1 / 1000), (60.0, 1 / 500), (30.0, 1 / 250), (60.0, 1 / 1000), (120.0, 1 / 1000), (240.0, 1 / 2000))
NUMBERS = {"tune": 1_000, "test": 2_000}
LIGHTS = ("day", "overcast", "evening")
BALLS: dict[str, Any] = {"struck": True, "stays": "stays", "none": False}
SPANS = ((100.0, 0.36, 0.34), (math.inf, 0.22, 0.20))
"""Up to how many frames a second: seconds before and after impact that are rendered. Fast clips need less."""
SIZE = (360, 640)


@dataclass(frozen=True)
class Window:
    """A rendered part of a swing and what it was made from; its clock begins at ``start_s`` of the motion."""

    filmed: Filmed
    motion: Motion
    camera: CameraSpec
    kind: str
    start_s: float

    @property
    def stop_s(self) -> float:
        return self.start_s + sum(span_of(self.filmed.rate_hz))

    @property
    def impact_s(self) -> float:
        return self.motion.position_times["impact"] - self.start_s

    @property
    def ball_in_picture(self) -> bool:
        """Whether the whole ball is in the picture all the time."""
        spots = self.motion.ball_rest + 0.03 * np.array([[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]])
        times = np.linspace(self.start_s, self.stop_s, 8)
        seen = np.stack([self.camera.at(float(t)).project(spots) for t in times])
        return bool(np.all(seen > 0) and np.all(seen < np.array([self.camera.width_px, self.camera.height_px])))


def span_of(rate_hz: float) -> tuple[float, float]:
    return next((before, after) for most, before, after in SPANS if rate_hz <= most)


def windows(name: str, count: int, folder: Path, kind: str = "struck", first: int = 0) -> Iterator[tuple[Window, Path]]:
    """Render the windows that are not there yet, one after the other."""
    for number in range(first, first + count):
        filmed = plan(name, NUMBERS[name] + number, folder)
        rate_hz, shutter_s = RATES[(number // 2) % len(RATES)]
        filmed = dataclasses.replace(filmed, rate_hz=rate_hz, shutter_s=shutter_s)
        motion = filmed.motion()
        camera = dataclasses.replace(filmed.camera, width_px=SIZE[0], height_px=SIZE[1])
        phase = float(np.random.default_rng([number, 5]).uniform(0, 1 / rate_hz))
        start_s = motion.position_times["impact"] - span_of(rate_hz)[0] - phase
        window = Window(filmed, motion, camera, kind, start_s)
        light = LIGHTS[(number // 12) % len(LIGHTS)]
        path = folder / f"{name}-{number:03d}-{camera.view}-{rate_hz:.0f}-{light}-{kind}.mp4"
        if not path.exists():
            render_clip(
                motion, camera, path, rate_hz=rate_hz, shutter_s=shutter_s, look=filmed.look, threads=1,
                start_s=start_s, stop_s=window.stop_s, ball=BALLS[kind],
                film=Film(light=light, seed=number),
            )  # fmt: skip
        yield window, path


def swing_of(window: Window) -> Swing | None:
    """What the pose would say of the swing, on the clock of the window; None when it finds no swing."""
    noise = NoiseSpec()
    track = truth_track(window.motion, window.camera, window.filmed.rate_hz, noise=noise, seed=window.motion.spec.seed)
    try:
        swing = find_swings(track, None, view=window.camera.view, handedness=window.motion.spec.handedness)[0]  # type: ignore[arg-type]
    except OverlayError:
        return None
    by = window.start_s
    found = tuple(dataclasses.replace(one, time_s=one.time_s - by) for one in swing.positions.found)
    positions = dataclasses.replace(swing.positions, found=found, missing=dict(swing.positions.missing))
    return dataclasses.replace(
        swing, pose=dataclasses.replace(swing.pose, time_s=swing.pose.time_s - by), positions=positions
    )


def sound_of(window: Window, seed: int, **changes: Any) -> Sound:
    struck = window.kind == "struck"
    impact = (window.motion.position_times["impact"],)
    from_s, to_s = window.start_s - 0.6, window.stop_s + 0.4
    sound = range_sound(
        SoundSpec(seed=seed, **changes),
        start_s=from_s,
        stop_s=to_s,
        impacts_s=impact if struck else (),
        passes_s=() if struck else impact,
        distance_m=float(np.linalg.norm(window.camera.position - window.motion.ball_rest)),
        club=window.motion.spec.club,
    )
    return Sound(sound.samples, sound.rate, from_s - window.start_s)


def club_of(window: Window, swing: Swing, seed: int) -> ClubTrack:
    """A shaft track with errors of 1.5° and a third of the frames near impact hidden."""
    rng = np.random.default_rng([seed, 9])
    times = swing.pose.time_s[(swing.pose.time_s >= -0.2) & (swing.pose.time_s <= 1.0)]
    true = true_club(window.motion, window.camera, times + window.start_s)
    hidden = (np.abs(times - window.impact_s) < 0.08) & (rng.random(len(times)) < 1 / 3)
    return dataclasses.replace(
        true,
        time_s=times,
        angle_deg=np.where(hidden, np.nan, true.angle_deg + rng.normal(0, 1.5, len(times))),
        state=tuple("hidden" if value else "measured" for value in hidden),
    )


SOUNDS: dict[str, dict[str, Any]] = {
    "range": {},
    "busy range": {"others_per_s": 2.0, "others_m": (4.0, 40.0), "wind": 3.0},
    "sound 10 ms late": {"offset_s": 0.010},
    "sound 10 ms early": {"offset_s": -0.010},
}


def judge(window: Window, path: Path, number: int) -> list[dict[str, Any]]:
    """One row a condition: what ``find_strike`` says of the window."""
    swing = swing_of(window)
    if swing is None:
        return []
    rows: list[dict[str, Any]] = []
    conditions: dict[str, Sound | None] = {"silent": None}
    conditions |= {name: sound_of(window, number, **changes) for name, changes in SOUNDS.items()}
    if window.kind != "struck":
        conditions["brushed"] = sound_of(window, number, brush=1.0)
    pose_s = swing.positions.time("impact")
    with open_clip(path) as reader:
        motion = motion_of(window, reader, swing)
        for name, sound in conditions.items():
            strike = find_strike(reader, swing, None, club=None, sound=sound, motion=motion)
            rows.append(_row(window, strike, name, pose_s))
        if window.kind == "struck":
            club = club_of(window, swing, number)
            for name, sound in (("club", None), ("club and range", conditions["range"])):
                strike = find_strike(reader, swing, None, club=club, sound=sound, motion=motion)
                rows.append(_row(window, strike, name, pose_s))
    return rows


def motion_of(window: Window, reader: Reader, swing: Swing) -> CameraMotion | None:
    """The movement of the picture as it is tracked; a tripod's is not asked for, to save time."""
    if not window.camera.shake_deg:
        return None
    times = reader.clip.times_s
    # The pose has the window's rate but not its frames: the nearest row stands for each.
    rows = np.abs(swing.pose.time_s[:, None] - times).argmin(axis=0)
    pose = swing.pose
    near = dataclasses.replace(
        pose,
        points=pose.points[rows],
        depth=pose.depth[rows],
        visibility=pose.visibility[rows],
        filled=pose.filled[rows],
        time_s=times,
    )
    part = dataclasses.replace(swing, pose=near)
    return camera_motion(reader, part, None, reference_s=float(times[0]))


def _row(window: Window, strike: Strike, condition: str, pose_s: float | None) -> dict[str, Any]:
    off = strike.time_s - window.impact_s
    place = window.camera.at(window.motion.position_times["impact"]).project(window.motion.ball_rest[None])[0]
    apart = math.nan if strike.ball is None else math.dist(strike.ball.place, place)
    diameter = 2 * 0.02135 * window.camera.focal_px
    diameter /= float(window.camera.camera_coordinates(window.motion.ball_rest)[2])
    return {
        "name": window.filmed.path.name,
        "view": window.camera.view,
        "rate": window.filmed.rate_hz,
        "kind": window.kind,
        "condition": condition,
        "in": window.ball_in_picture,
        "struck": strike.struck,
        "off_s": off,
        "sd_s": strike.sd_s,
        "frames": off * window.filmed.rate_hz,
        "place": apart / diameter,
        "size": math.nan if strike.ball is None else strike.ball.diameter_px / diameter,
        "score": math.nan if strike.ball is None else strike.ball.confidence,
        "sources": "+".join(clue.source for clue in strike.clues),
        "pose_s": math.nan if pose_s is None else pose_s - window.impact_s,
    }


def filmed_clips(folder: Path, pattern: str) -> list[dict[str, Any]]:
    """Whole clips through the pose model, the movement of the picture and, where there is one, the club track."""
    from overlay.pipeline import inspect_clip

    rows = []
    for path in sorted(folder.glob(f"{pattern}-*.mp4")):
        if not path.with_suffix(".json").exists():
            continue
        filmed = saved(path)
        motion = filmed.motion()
        inspection = inspect_clip(path)
        swing, masks = inspection.swings[-1], inspection.masks
        pose_s = swing.positions.time("impact")
        window = Window(filmed, motion, filmed.camera, "struck", 0.0)
        with open_clip(path) as reader:
            moved = camera_motion(reader, swing, masks)
            club = track_club(reader, swing, masks, motion=moved)
            for name, shaft in (("ball", None), ("ball and tracked club", club)):
                strike = find_strike(reader, swing, masks, club=shaft, sound=None, motion=moved)
                rows.append(_row(window, strike, name, pose_s) | {"name": path.stem})
        print(path.stem, flush=True)
    return rows


def clicks_alone(seeds: int) -> list[str]:
    """Table of the click's error for some rates."""
    lines = [
        "| samples a second | strikes found | error ms, median | 95 % within ms | other clicks a second |",
        "|---|---|---|---|---|",
    ]
    for rate in (8_000, 16_000, 44_100, 48_000, 96_000):
        errors, others = [], 0
        for seed in range(seeds):
            rng = np.random.default_rng([seed, 3])
            at, far = float(rng.uniform(1.5, 2.5)), float(rng.uniform(3.0, 5.0))
            sound = range_sound(
                SoundSpec(rate=rate, seed=seed), start_s=0.0, stop_s=4.0, impacts_s=(at,), distance_m=far,
                club=("driver", "mid_iron")[seed % 2],
            )  # fmt: skip
            heard = clicks(sound)
            near = [one.time_s - at - far / 343.0 for one in heard if abs(one.time_s - at - far / 343.0) < 0.01]
            errors += near[:1]
            others += len(heard) - len(near[:1])
        size = np.abs(np.array(errors)) * 1e3
        lines.append(
            f"| {rate} | {len(errors)} of {seeds} | {np.median(np.array(errors)) * 1e3:+.2f} | "
            f"{np.percentile(size, 95):.2f} | {others / seeds / 4:.2f} |"
        )
    return lines


def share(values: Sequence[bool]) -> str:
    """ "57 of 60 (95 %)" """
    values = list(values)
    return f"{sum(values)} of {len(values)} ({100 * sum(values) / max(1, len(values)):.0f} %)"


def timing_table(rows: Sequence[dict[str, Any]]) -> list[str]:
    lines = [
        "| what is used | view | clips | strike found | within 1 frame | within 8 ms | error ms, median | "
        "95 % within ms | error ÷ SD, RMS |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for condition in dict.fromkeys(row["condition"] for row in rows):
        for view in ("dtl", "fo", "both"):
            part = [row for row in rows if row["condition"] == condition and view in (row["view"], "both")]
            if not part:
                continue
            found = [row for row in part if math.isfinite(row["off_s"])]
            off = np.array([row["off_s"] for row in found]) * 1e3
            pull = np.array([row["off_s"] / row["sd_s"] for row in found])
            frame = [math.isfinite(row["off_s"]) and abs(row["frames"]) <= 1 for row in part]
            close = [math.isfinite(row["off_s"]) and abs(row["off_s"]) <= 0.008 for row in part]
            lines.append(
                f"| {condition} | {view} | {len(part)} | {len(found)} | {share(frame)} | {share(close)} | "
                f"{np.median(off):+.1f} | {np.percentile(np.abs(off), 95):.1f} | {np.sqrt(np.mean(pull**2)):.2f} |"
            )
    return lines


def verdict_table(rows: Sequence[dict[str, Any]]) -> list[str]:
    lines = ["| kind | sound | clips | struck | not struck | cannot be told |", "|---|---|---|---|---|---|"]
    for kind in dict.fromkeys(row["kind"] for row in rows):
        for condition in dict.fromkeys(row["condition"] for row in rows if row["kind"] == kind):
            part = [row for row in rows if row["kind"] == kind and row["condition"] == condition]
            count = [sum(row["struck"] is value for row in part) for value in (True, False, None)]
            lines.append(f"| {kind} | {condition} | {len(part)} | {count[0]} | {count[1]} | {count[2]} |")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a few windows; written only where --out says")
    parser.add_argument("--windows", type=Path, help="folder of the rendered windows")
    parser.add_argument("--clips", type=Path, help="folder of whole clips, of studies/filmed_clips.py")
    parser.add_argument("--set", choices=tuple(NUMBERS), default="test", dest="name")
    parser.add_argument("--out", type=Path, help="file for the page instead of docs/studies/strike_time.md")
    options = parser.parse_args()
    struck, others = (6, 6) if options.quick else (48, 12)
    rows: list[dict[str, Any]] = []
    with tempfile.TemporaryDirectory() as temporary:
        folder = options.windows or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        for kind, count in (("struck", struck), ("stays", others), ("none", others)):
            for number, (window, path) in enumerate(windows(options.name, count, folder, kind)):
                rows += judge(window, path, number)
                print(rows[-1]["name"] if rows else "-", kind, flush=True)
    page = report(rows, filmed_clips(options.clips, options.name) if options.clips else [], 10 if options.quick else 60)
    print(page)
    out = options.out or (PAGE if not options.quick and options.name == "test" else None)
    if out is not None:
        write_text(out, page)


def report(rows: list[dict[str, Any]], whole: list[dict[str, Any]], seeds: int) -> str:
    hits = [row for row in rows if row["kind"] == "struck" and row["in"]]
    outside = [row for row in rows if row["kind"] == "struck" and not row["in"]]
    silent = [row for row in hits if row["condition"] == "silent"]
    lines = [
        "# When the strike was",
        "",
        "Written by `studies/strike_time.py`. Errors are found − true; a frame is that of the clip. Players, cameras, "
        "looks, lights, rates (30 to 240 frames a second) and shutters are drawn at random and were not used to choose "
        "a threshold. The last column is 1 when the stated standard deviation is honest, below 1 when it is too wide.",
        "",
        f"## Windows around impact, {SIZE[0]}×{SIZE[1]} px, ball in the picture",
        "",
        *timing_table(hits),
        "",
        f"The ball itself was found on {share([math.isfinite(row['place']) for row in silent])}, "
        f"{np.nanmedian([row['place'] for row in silent]):.2f} of its diameter from its true place (median), "
        f"{np.nanmax([row['place'] for row in silent]):.2f} at most; its diameter came out "
        f"{np.nanmedian([row['size'] for row in silent]):.2f} of the true one (median). Impact of the pose alone: "
        f"within one frame on {share([abs(row['pose_s'] * row['rate']) <= 1 for row in silent])}, within 8 ms on "
        f"{share([abs(row['pose_s']) <= 0.008 for row in silent])}.",
        "",
        "## Struck or not",
        "",
        *verdict_table([row for row in rows if row["in"]]),
        "",
        "The ball lies outside the picture, or at its very edge:",
        "",
        *(verdict_table(outside) if outside else ["none."]),
        "",
    ]
    if whole:
        lines += ["## Whole clips, pose model, no sound", "", *timing_table([row for row in whole if row["in"]]), ""]
        lines += ["| clip | ball in the picture | struck | from | error ms | frames |", "|---|---|---|---|---|---|"]
        lines += [
            f"| {row['name']} | {'yes' if row['in'] else 'no'} | {row['struck']} | {row['sources'] or '–'} | "
            + (f"{row['off_s'] * 1e3:+.1f} | {row['frames']:+.2f} |" if math.isfinite(row["off_s"]) else "– | – |")
            for row in whole
            if row["condition"] == "ball and tracked club"
        ]
        lines.append("")
    else:
        lines += ["## Whole clips, pose model, no sound", "", "Not run: `--clips` names no folder.", ""]
    lines += ["## The click in the sound alone", "", *clicks_alone(seeds), ""]
    return "\n".join(lines)


if __name__ == "__main__":
    main()
