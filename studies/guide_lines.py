"""How near the guide lines come to those of the golfer's true address.

    python studies/guide_lines.py [--players N] [--quick] [--out FILE]      joints and shaft with realistic errors
    python studies/guide_lines.py --filmed FOLDER [--quick]                 clips of filmed_clips.py, whole pipeline

The true line is that of ``guide_lines`` itself on the exact joints, shaft and ball at the true address, seen by the
same camera. The distance of a line is that of its ends from the true line, across it; of the corridor that of its
middle. With ``--filmed`` pose model, club tracker and ball finder work on pictures as they do for a user, on the set
"test" that no threshold was chosen on. Each run writes its own part of the page.

The corridor of the hands is where good swings keep them: the table under it says where the hands of players without a
fault are between the strike and shaft level through.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from overlay.data import Ball, Guide, Position, Positions, Strike, Swing
from overlay.errors import OverlayError
from overlay.golfer import CameraSpec, Motion, true_club, truth_track
from overlay.guides import VIEW_GUIDES, guide_lines
from overlay.kinematics import torso_length
from overlay.terms import POSITION_NAMES

sys.path.insert(0, str(Path(__file__).resolve().parent))
from measures_truth import cases

PAGE = Path(__file__).resolve().parent.parent / "docs" / "studies" / "guide_lines.md"
HEAD = "# Guide lines against the golfer's true address\n"
Errors = dict[tuple[str, str], list[float]]
"""(view, guide) → distances in torso lengths, NaN where the guide was not drawn."""


def true_guides(motion: Motion, camera: CameraSpec, view: str, reference_s: float) -> tuple[dict[str, Guide], float]:
    """The exact guides in the picture of the camera as it points at ``reference_s``, and the torso length in px."""
    still = camera.at(reference_s)
    track = truth_track(motion, still, 120.0)
    times = motion.position_times
    found = tuple(Position(name, times[name], 1.0) for name in POSITION_NAMES)
    place = still.project(motion.ball_rest)
    torso = torso_length(track)
    swing = Swing(
        None,
        track,
        view,  # type: ignore[arg-type]
        1.0,
        motion.spec.handedness,
        1.0,
        Positions(found),
        club=true_club(motion, still, track.time_s),
        torso_px=torso,
        strike=Strike(times["impact"], 0.001, True, Ball((float(place[0]), float(place[1])), 8.0, 1.0)),
    )
    return {guide.name: guide for guide in guide_lines(swing)}, torso


def distance(found: Guide, true: Guide, torso_px: float) -> float:
    """How far a guide lies from the true one, torso lengths; NaN when it was not drawn."""
    if found.reason or true.reason:
        return math.nan
    if found.kind == "zone":
        return float(np.hypot(*(found.points.mean(axis=0) - true.points.mean(axis=0)))) / torso_px
    (x, y) = true.points[1] - true.points[0]
    away = found.points - true.points[0]
    across = (x * away[:, 1] - y * away[:, 0]) / math.hypot(x, y)
    return float(np.sqrt(np.mean(across**2))) / torso_px


def tally(swings: Iterator[tuple[Swing, Motion, CameraSpec]]) -> tuple[Errors, int]:
    errors: Errors = {}
    count = 0
    for swing, motion, camera in swings:
        address_s = swing.positions.time("address")
        reference_s = motion.position_times["address"] if address_s is None else address_s
        true, torso = true_guides(motion, camera, swing.view, reference_s)
        count += 1
        for guide in guide_lines(swing):
            errors.setdefault((swing.view, guide.name), []).append(distance(guide, true[guide.name], torso))
    return errors, count


def rows_of(errors: Errors) -> list[str]:
    rows = ["| view | guide | swings | drawn | median | p95 |", "|---|---|---|---|---|---|"]
    for view, names in VIEW_GUIDES.items():
        for name in names:
            found = np.array(errors.get((view, name), []))
            seen = found[np.isfinite(found)]
            told = "– | –" if not len(seen) else f"{np.median(seen):.3f} | {np.percentile(seen, 95):.3f}"
            share = f"{len(seen) / len(found):.0%}" if len(found) else "–"
            rows.append(f"| {view} | {name} | {len(found)} | {share} | {told} |")
    return rows


def noisy(players: int) -> Iterator[tuple[Swing, Motion, CameraSpec]]:
    for case in cases(players):
        yield case.swing, case.motion, case.camera


def filmed(folder: Path, most: int) -> Iterator[tuple[Swing, Motion, CameraSpec]]:
    from filmed_clips import saved

    from overlay.pipeline import inspect_clip
    from overlay.pipeline.closer import look_closer

    for path in sorted(folder.glob("test-*.mp4"))[:most]:
        clip = saved(path)
        motion = clip.motion()
        try:
            inspection = look_closer(inspect_clip(path))
        except OverlayError as error:
            print(f"{path.name}: {error.message}")
            continue
        swing = inspection.chosen(None)
        if swing.view != clip.camera.view or swing.handedness != motion.spec.handedness:
            print(f"{path.name}: taken as {swing.view}, {swing.handedness}-handed")
            continue
        print(path.name, flush=True)
        yield swing, motion, clip.camera


def corridor(players: int) -> list[str]:
    """Where the hands are beside the hand depth line, of players without a fault; + towards the ball."""
    shares = (0.0, 0.25, 0.5, 0.75, 1.0)
    found: list[list[float]] = [[] for _ in shares]
    for case in cases(players):
        if case.view != "dtl" or case.motion.spec.faults:
            continue
        times = case.motion.position_times
        still = dataclasses.replace(case.camera, shake_deg=0.0)
        guides, torso = true_guides(case.motion, still, "dtl", times["address"])
        side = 1.0 if case.motion.spec.handedness == "right" else -1.0
        x = guides["hand_depth"].points[0, 0]
        at_s = times["impact"] + np.array(shares) * (times["shaft_level_through"] - times["impact"])
        state = case.motion.state(np.concatenate([[times["address"]], at_s]))
        hands = still.project(state["grip"])[:, 0]
        # The line stands at the wrists, the grip is a little further out: both as they move from address.
        assert np.isfinite(x)
        for values, hand in zip(found, hands[1:]):
            values.append(side * float(hand - hands[0]) / torso)
    rows = ["| share of impact → shaft level through | p5 | median | p95 |", "|---|---|---|---|"]
    for share, values in zip(shares, found):
        low, middle, high = np.percentile(values, (5, 50, 95))
        rows.append(f"| {share:.0%} | {low:+.2f} | {middle:+.2f} | {high:+.2f} |")
    return rows


def write_part(page: Path, title: str, text: str) -> None:
    """Replace one part of the page and leave the others."""
    old = page.read_text(encoding="utf-8") if page.exists() else HEAD
    parts = {part.split("\n", 1)[0]: part for part in re.split(r"(?m)^## ", old)[1:]}
    parts[title] = f"{title}\n\n{text}\n"
    page.write_text(HEAD + "".join(f"\n## {parts[name].rstrip()}\n" for name in sorted(parts)), encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--players", type=int, default=100)
    parser.add_argument("--filmed", type=Path, metavar="FOLDER")
    parser.add_argument("--quick", action="store_true", help="few swings, writes nothing")
    parser.add_argument("--out", type=Path, default=PAGE)
    options = parser.parse_args()
    if options.filmed is not None:
        errors, count = tally(filmed(options.filmed, 2 if options.quick else 10_000))
        title = "Filmed: pose model, club tracker and ball finder on pictures"
        command = "python studies/guide_lines.py --filmed FOLDER"
    else:
        players = 6 if options.quick else options.players
        errors, count = tally(noisy(players))
        title = "Joints and shaft with realistic errors"
        command = f"python studies/guide_lines.py --players {players}"
    text = f"Made by `{command}`: {count} swings. Distances in torso lengths.\n\n" + "\n".join(rows_of(errors))
    print(text)
    if options.filmed is None:
        rows = "\n".join(corridor(players))
        print(rows)
        text += f"\n\nHands beside the hand depth line, players without a fault, + towards the ball, torso:\n\n{rows}"
    if not options.quick:
        write_part(options.out, title, text)


if __name__ == "__main__":
    main()
