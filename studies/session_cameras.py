"""Cameras between sessions: how often a change that only the camera made is stopped, and a real one is not.

    python studies/session_cameras.py [--quick] [--players N] [--draws N]
    python studies/session_cameras.py --rendered FOLDER

Synthetic players of many styles, bodies and both clubs; five baseline and four later sessions of each in each view,
ten swings a session. Every session has its own camera: the tripod on the same marks, give or take 5 cm of height and
place, 2° of direction, 0.5° of lean and 15 cm of distance (uniform). In the later sessions the marks lie elsewhere by a
set amount, to either side. What the camera shows of a player is read from his own swing in space, through the session's
true camera, by the measures' and the score's own code. The session's mean then carries the scatter of ten swings and a
session's own, half as large as one swing's (standard deviations; those of one swing are in the table). What the
filming check says of the session is the true place with errors as it makes them on rendered pictures: what it always
gets wrong with a player (docs/studies/filming_errors.md), what changes with the picture
(docs/studies/session_cameras_rendered.md), anew each session, and how much of a turn it sees of a player (92 ± 18 %).
His feet are aimed anew each session (1°, standard deviation), and face on the phone's tilt (0.5°) looks like 3.5 cm of
height. ``overlay.holding.judge`` decides as it does for a declared focus; ``camera_shift`` gets the usual swing and
those findings alone.

- *Called*: the word is "holding". *After the cameras*: it is, and the cameras do not veto it.
- *Stopped*: share of the called ones that the cameras veto. Where the camera moves a measure by less than its scatter,
  what is called is the ordinary 1 in 20 of the test, which no camera explains and which need not be stopped.
- *A real change* is two standard deviations of one swing, in the direction in which a higher value lies.
- *Bound*: the part of the change that the cameras' true means make is no larger than ``could_explain``.
"""

from __future__ import annotations

import argparse
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from measures_truth import player

from overlay.arrays import FloatArray
from overlay.data import DifferenceName, SessionCamera, SpaceTrack
from overlay.explain.session_looking import Held, cells, readings
from overlay.explain.session_shift import FINDINGS, UNITS
from overlay.explain.sessions import camera_shift, usual_swings
from overlay.files import write_text
from overlay.filming import check_filming
from overlay.golfer import space_track
from overlay.holding import judge
from overlay.measure import DEFINITIONS, Definition
from overlay.pipeline.references import usual_swing
from overlay.settings.filming import FilmingSettings
from overlay.terms import View, words

RENDERED = Path(__file__).resolve().parent.parent / "docs" / "studies" / "session_cameras_rendered.md"
OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "session_cameras.md"
N_BASELINE, N_LATER, N_SWINGS, N_CLIPS = 5, 4, 10, 3
STATURE_CM = FilmingSettings().stature_cm

MEASURES: dict[View, dict[str, float]] = {
    "dtl": {
        "hand_depth_back": 0.04,
        "shaft_to_plane_down": 2.5,
        "hips_line_release": 0.04,
        "shaft_pointing_release": 0.08,
        "hands.backswing.x": 0.04,
    },
    "fo": {
        "spine_side_bend_top": 2.0,
        "hands_ahead_impact": 0.05,
        "pelvis_travel_down": 0.04,
        "hands.backswing.x": 0.04,
    },
}
"""Measure → standard deviation of one swing within a session: the score's usual spread, 3.5 to 4 % of a torso, and
angles of about the size that this turns a trunk or a shaft; measures with a longer lever more."""

PLACE = np.array([5.0, 5.0, 2.0, 0.5, 0.15])
"""Half-widths of a tripod on its marks: cm, cm, deg, deg, m, in the order of ``FINDINGS``."""

HABITS: dict[View, FloatArray] = {
    "dtl": np.array([1.8, 0.4, 1.2, 0.2, 0.3]),
    "fo": np.array([3.4, 0.3, 1.3, 0.1, 0.3]),
}
"""Standard deviations between players, docs/studies/filming_errors.md; of the distance a judgement."""

CHANGING: dict[View, FloatArray] = {
    "dtl": np.array([1.2, 0.7, 1.3, 0.3, 0.25]),
    "fo": np.array([2.0, 0.9, 1.0, 0.3, 0.35]),
}
"""Standard deviations of one player's findings from picture to picture, docs/studies/session_cameras_rendered.md."""

FIRST_PLAYER = 300
"""Those before were looked at while the settings were chosen."""

SEEN_TURN = (0.92, 0.18)
AIM_DEG = 1.0
TILT_CM = 3.5

MOVES: dict[str, tuple[float, float, float, float, float]] = {
    "same marks": (0, 0, 0, 0, 0),
    "5 cm beside": (0, 5, 0, 0, 0),
    "15 cm beside": (0, 15, 0, 0, 0),
    "30 cm beside": (0, 30, 0, 0, 0),
    "15 cm of height": (15, 0, 0, 0, 0),
    "30 cm of height": (30, 0, 0, 0, 0),
    "2° round": (0, 0, 2, 0, 0),
    "5° round": (0, 0, 5, 0, 0),
    "10° round": (0, 0, 10, 0, 0),
    "15 cm of height, 10 beside, 4° round, 1 m off": (15, 10, 4, 0, 1.0),
}


@dataclass
class Tally:
    """What became of one measure under one move of the camera."""

    n: int = 0
    called: int = 0
    after: int = 0
    effects: list[float] = field(default_factory=list)
    within: int = 0
    weighed: int = 0

    def row(self) -> str:
        stopped = f"{100 * (self.called - self.after) / self.called:.0f} %" if self.called else "–"
        bound = f"{100 * self.within / self.weighed:.0f} %" if self.weighed else "–"
        return f"{share(self.called, self.n)} | {stopped} | {share(self.after, self.n)} | {bound}"


def share(part: int, whole: int) -> str:
    return f"{100 * part / max(1, whole):.0f} %"


@dataclass(frozen=True)
class Changed:
    change: float
    interval: tuple[float, float]


class Filmed:
    """One player in one view under one move: his sessions' true cameras and what they show."""

    def __init__(
        self, held: Held, view: View, marks: FloatArray, move: Sequence[float], rng: np.random.Generator
    ) -> None:
        self.view = view
        sides = np.array([0] * N_BASELINE + [1] * N_LATER)
        shift = np.array(move) * np.where(rng.random() < 0.5, 1.0, -1.0)
        shift[4] = abs(shift[4])
        self.cameras = marks + PLACE * rng.uniform(-1, 1, (len(sides), len(FINDINGS))) + sides[:, None] * shift
        kept = marks + PLACE * rng.uniform(-1, 1, len(FINDINGS))
        self.exact = {name: self._read(held, name, kept) for name in MEASURES[view]}

    def _read(self, held: Held, name: str, kept: FloatArray) -> FloatArray:
        """(sessions,) what each session's camera shows of the unchanged swing."""
        parsed = DifferenceName.parse(name)
        found = []
        for camera in self.cameras:
            if parsed is None:
                found.append(readings(held, self.view, values_of(camera)).get(name, math.nan))
                continue
            seen = cells(held, self.view, values_of(camera), values_of(kept)).get((parsed.part, parsed.phase))
            found.append(math.nan if seen is None else seen["xy".index(parsed.axis)])
        return np.array(found)

    def told(self, rng: np.random.Generator) -> list[SessionCamera]:
        """What the filming check says of every session."""
        habit = HABITS[self.view] * rng.normal(size=len(FINDINGS))
        sd = CHANGING[self.view]
        seen_turn = rng.normal(*SEEN_TURN)
        sessions = []
        for i, camera in enumerate(self.cameras):
            day = sd * rng.normal(size=len(FINDINGS))
            day[FINDINGS.index("yaw")] += AIM_DEG * rng.normal()
            if self.view == "fo":
                day[FINDINGS.index("camera_height")] += TILT_CM * rng.normal()
            clips = 0.5 * sd / math.sqrt(N_CLIPS)
            found = camera * np.where(np.array(FINDINGS) == "yaw", seen_turn, 1.0) + habit + day
            found = found + clips * rng.normal(size=len(FINDINGS))
            sessions.append(
                SessionCamera(
                    i, self.view, N_CLIPS, dict(zip(FINDINGS, found.tolist())), dict(zip(FINDINGS, clips.tolist()))
                )
            )
        return sessions


def values_of(camera: FloatArray) -> tuple[float, ...]:
    """Findings in cm, deg and m as shares of stature and degrees; of a player of the usual stature."""
    height, offset, yaw, roll, distance = camera.tolist()
    return height / STATURE_CM, offset / STATURE_CM, yaw, roll, 100 * distance / STATURE_CM


def tried(
    filmed: Filmed,
    name: str,
    real: float,
    rng: np.random.Generator,
    told: list[SessionCamera],
    space: SpaceTrack,
    tally: Tally,
) -> None:
    """One draw of the swings' scatter and its verdict."""
    spread = MEASURES[filmed.view][name]
    exact = filmed.exact[name]
    if not np.all(np.isfinite(exact)):
        return
    means = exact + rng.normal(size=len(exact)) * math.hypot(0.5 * spread, spread / math.sqrt(N_SWINGS))
    means[N_BASELINE:] += 2 * spread * real
    holding = judge(means[:N_BASELINE], means[N_BASELINE:])
    true = float(exact[N_BASELINE:].mean() - exact[:N_BASELINE].mean())
    tally.n += 1
    tally.effects.append(abs(true))
    if holding.word != "holding":
        return
    tally.called += 1
    shift = camera_shift(
        name, filmed.view, Changed(holding.change, holding.interval), told[:N_BASELINE], told[N_BASELINE:], space=space
    )
    tally.after += not shift.vetoes
    tally.weighed += 1
    along = true * math.copysign(1.0, holding.change)
    tally.within += min(max(0.0, along), abs(holding.change)) <= shift.could_explain + 1e-9


def run(players: int, draws: int) -> dict[tuple[View, str, str, float], Tally]:
    """(view, measure, move, real change) → tally."""
    space = usual_swing()
    tallies: dict[tuple[View, str, str, float], Tally] = {}
    for number in range(players):
        held = Held(space_track(player(FIRST_PLAYER + number)))
        for view, names in MEASURES.items():
            rng = np.random.default_rng([number, ord(view[0])])
            marks = np.array(
                [rng.normal(-2.0, 6.0), rng.normal(0.0, 6.0), rng.normal(0.0, 2.5), 0.0, rng.uniform(3.4, 5)]
            )
            for move, amounts in MOVES.items():
                filmed = Filmed(held, view, marks, amounts, rng)
                for _ in range(draws):
                    told = filmed.told(rng)
                    for name in names:
                        for real in (0.0, 1.0):
                            tally = tallies.setdefault((view, name, move, real), Tally())
                            tried(filmed, name, real, rng, told, space, tally)
        print(f"player {number + 1} of {players}", flush=True)
    return tallies


def lines_of(tallies: dict[tuple[View, str, str, float], Tally]) -> list[str]:
    lines = []
    for real, title in ((0.0, "Nothing changed but the camera"), (1.0, "A real change of two standard deviations")):
        lines += ["", f"## {title}", ""]
        lines += [
            "| view | measure | camera | its effect, in SD of one swing | called | stopped by the cameras | "
            "after the cameras | within the bound |",
            "|---|---|---|---|---|---|---|---|",
        ]
        for (view, name, move, changed), tally in tallies.items():
            if changed == real:
                size = float(np.median(tally.effects)) / MEASURES[view][name] if tally.effects else math.nan
                lines.append(f"| {view} | `{name}` | {move} | {size:.1f} | {tally.row()} |")
    return lines


def summary(tallies: dict[tuple[View, str, str, float], Tally]) -> list[str]:
    """What was asked for."""
    moved = [
        tally
        for (view, name, _, real), tally in tallies.items()
        if not real and float(np.median(tally.effects)) >= 0.75 * MEASURES[view][name]
    ]
    called, after = sum(t.called for t in moved), sum(t.after for t in moved)
    small = [tally for key, tally in tallies.items() if not key[3] and tally not in moved]
    same = [tally for key, tally in tallies.items() if key[3] and key[2] == "same marks"]
    everywhere = list(tallies.values())
    return [
        "| | asked | found |",
        "|---|---|---|",
        f"| only the camera changed, by 0.75 SD or more of a swing: called changes that are stopped | ≥ 90 % | "
        f"{share(called - after, called)} ({called - after} of {called}) |",
        f"| … called after the cameras, of all | | {share(after, sum(t.n for t in moved))} |",
        f"| only the camera changed, by less: called after the cameras, of all | ≤ 5 % | "
        f"{share(sum(t.after for t in small), sum(t.n for t in small))} (before: "
        f"{share(sum(t.called for t in small), sum(t.n for t in small))}) |",
        f"| a real change, the tripod on its marks: called changes that are stopped | ≤ 10 % | "
        f"{share(sum(t.called - t.after for t in same), sum(t.called for t in same))} "
        f"({sum(t.called - t.after for t in same)} of {sum(t.called for t in same)}) |",
        f"| the cameras' true part is within the bound | ≥ 95 % | "
        f"{share(sum(t.within for t in everywhere), sum(t.weighed for t in everywhere))} |",
    ]


def _effect(held: Held, definition: Definition, at: tuple[float, ...], base: tuple[float, ...]) -> float:
    one, other = (readings(held, definition.view, values).get(definition.name, math.nan) for values in (at, base))
    return one - other


def other_swings(players: int) -> list[str]:
    """How far other players' swings show another effect than the usual ones, measure by measure."""
    base = (0.0, 0.0, 0.0, 0.0, 2.4)
    shifts = {
        "21 cm of height": (0.12, 0, 0, 0, 2.4),
        "21 cm beside": (0, 0.12, 0, 0, 2.4),
        "5° round": (0, 0, 5.0, 0, 2.4),
        "2° of lean": (0, 0, 0, 2.0, 2.4),
    }
    usual = usual_swings(usual_swing())
    people = [Held(space_track(player(number))) for number in range(100, 100 + players)]
    lines = ["", "## The usual swings in place of the player's own", ""]
    lines += [
        f"The camera's effect on the usual swings, and how far it lies off on {players} other players' (root mean "
        "square).",
        "",
        f"| measure | {' | '.join(shifts)} |",
        f"|---|{'---|' * len(shifts)}",
    ]
    for definition in DEFINITIONS:
        told = []
        for values in shifts.values():
            mean = float(np.mean([_effect(held, definition, values, base) for held in usual]))
            off = np.array([_effect(held, definition, values, base) for held in people]) - mean
            digits = 1 if definition.unit == "deg" else 3
            told.append(f"{mean:+.{digits}f} off by {math.sqrt(float(np.nanmean(off**2))):.{digits}f}")
        lines.append(f"| `{definition.name}` | {' | '.join(told)} |")
    return lines


# What the filming check finds of one player from different places -----------------------------------------------------


@dataclass(frozen=True)
class Clip:
    """What was found of a rendered clip's camera and where it truly stood."""

    player: int
    view: View
    name: str
    found: dict[str, float]
    truth: dict[str, float]


def rendered_clips(folder: Path) -> list[Clip]:
    """Every clip that ``filming_errors.py --rendered FOLDER`` left there, but those planted to be tilted or cut."""
    import filming_errors

    from overlay.golfer import CameraSpec
    from overlay.pose import track_clip
    from overlay.video import open_clip

    clips = []
    for path in sorted(folder.glob("*.mp4")):
        number, view, name = path.stem.split("-", 2)
        beside = path.with_suffix(".json")
        if not beside.exists() or "tilted" in name or "cut" in name or "feet" in name:
            continue
        motion = filming_errors.player(int(number))
        camera = CameraSpec.from_dict(json.loads(beside.read_text(encoding="utf-8")))
        seen = track_clip(path)
        with open_clip(path) as reader:
            swing = filming_errors.swing_of(seen.track, motion, view, motion.position_times["address"] - 0.22)
            report = check_filming(reader, seen.track, swing, seen.masks, settings=FilmingSettings(people_samples=1))
        found = {one: finding.value for one in FINDINGS if (finding := report.get(one)) is not None}
        clips.append(Clip(int(number), view, name, found, filming_errors.truth_of(motion, camera)))  # type: ignore[arg-type]
    return clips


def rendered_lines(clips: Sequence[Clip]) -> list[str]:
    """For each finding: how it scatters about the truth within a player, and how much of a shift it sees."""
    lines = [
        "| view | finding | clips | within a player: standard deviation of found − true | of them further off than "
        "10 | share of the shift that is seen: mean ± sd between players |",
        "|---|---|---|---|---|---|",
    ]
    for view in ("dtl", "fo"):
        for name, unit in UNITS.items():
            errors: list[float] = []
            shares = []
            for number in sorted({clip.player for clip in clips}):
                own = [clip for clip in clips if (clip.player, clip.view) == (number, view)]
                pairs = np.array(
                    [(clip.truth[name], clip.found[name]) for clip in own if math.isfinite(clip.found[name])]
                )
                if len(pairs) < 8:
                    continue
                off = pairs[:, 1] - pairs[:, 0]
                errors.extend(off - np.median(off))
                near = np.abs(off - np.median(off)) < 10
                true, seen = (pairs[near] - pairs[near].mean(axis=0)).T
                if float(np.ptp(true)) > (5.0 if unit != "m" else 1.0):
                    shares.append(float(true @ seen / (true @ true)))
            kept = np.array([error for error in errors if abs(error) < 10])
            told = f"{np.mean(shares):.2f} ± {np.std(shares, ddof=1):.2f}" if len(shares) > 1 else ""
            lines.append(
                f"| {view} | {words(name)} ({unit}) | {len(errors)} | {kept.std():.2f} | {len(errors) - len(kept)} | "
                f"{told} |"
            )
    return lines


def write_rendered(clips: Sequence[Clip]) -> None:
    """The page of ``--rendered``."""
    head = [
        "# Cameras between sessions, rendered clips",
        "",
        "What the filming check says of one player who is filmed from different places, in the same clothes: the clips "
        "of [filming_errors.md](filming_errors.md), whose cameras are planted up to 30 cm, 10° and 3° off, one thing "
        "at a time. What it always gets wrong with a player is taken off (his median), so that what is left is what "
        "differs between two placements. Heights further off than 10 cm are told apart: the camera was then taken for "
        "a tilted one.",
        "",
        "Made by `python studies/session_cameras.py --rendered FOLDER`, the folder of `filming_errors.py --rendered`.",
        "",
    ]
    lines = rendered_lines(clips)
    print("\n".join(lines))
    write_text(RENDERED, "\n".join([*head, *lines]) + "\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="1 player; nothing is written")
    parser.add_argument("--players", type=int, default=8)
    parser.add_argument(
        "--draws", type=int, default=3, help="of the swings' scatter and the findings' errors, each player"
    )
    parser.add_argument(
        "--rendered", type=Path, metavar="FOLDER", help="of filming_errors.py: one player's findings from other places"
    )
    arguments = parser.parse_args()
    if arguments.rendered:
        write_rendered(rendered_clips(arguments.rendered))
        return
    tallies = run(1 if arguments.quick else arguments.players, 2 if arguments.quick else arguments.draws)
    lines = [*summary(tallies), *lines_of(tallies), *other_swings(2 if arguments.quick else 10)]
    print("\n".join(lines))
    if arguments.quick:
        return
    head = ["# Cameras between sessions", "", (__doc__ or "").split("\n\n", 2)[2].strip(), ""]
    head += [
        f"Made by `python studies/session_cameras.py --players {arguments.players} --draws {arguments.draws}`.",
        "",
    ]
    write_text(OUT, "\n".join([*head, *lines]) + "\n")


if __name__ == "__main__":
    main()
