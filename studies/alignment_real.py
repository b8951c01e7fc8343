# ruff: noqa: E402
"""Every real swing aligned to every other of its view.

    OVERLAY_REAL_DATA=<folder> python studies/alignment_real.py [--quick] [--plots FOLDER]

Hand-labelled tracks at about 30 frames per second that are not part of the project. There is no truth; what can be
seen is whether the maps are sane (slopes within 1/4–4, no failure), whether going there and back comes home, and how
far the maps carry one swing's positions from the other's, which were found independently of them. Writes
docs/studies/alignment_real.md (numbers only).
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from real_tracks import load_fifteen, load_thirteen, real_folder

from overlay.align import align
from overlay.clean import clean
from overlay.data import Swing
from overlay.errors import ContentError
from overlay.kinematics import hand_path
from overlay.positions import find_swings
from overlay.terms import POSITION_NAMES

OUT = ROOT / "docs" / "studies" / "alignment_real.md"


def load_swings(folder: Path) -> dict[str, dict[str, Swing]]:
    """View → key → swing; recordings in which no full swing is found are left out (the position study counts them)."""
    groups: dict[str, dict[str, Swing]] = {"dtl": {}, "fo": {}}
    for real in [*load_thirteen(folder), *load_fifteen(folder)]:
        try:
            swing = find_swings(clean(real.track))[0]
        except ContentError:
            continue
        view = {"back": "dtl", "right": "fo"}.get(real.label, swing.view)
        if view in groups:
            groups[view][real.key] = swing
    return groups


def span(swing: Swing) -> tuple[float, float]:
    """Address to finish, the track's ends where they are missing."""
    address, finish = swing.positions.time("address"), swing.positions.time("finish")
    return swing.start_s if address is None else address, swing.stop_s if finish is None else finish


def plot(pairs: list[tuple[str, Swing, Swing]], path: Path) -> None:
    """Height of the hands of both, the reference's at synced times, and the map."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(4 * len(pairs), 6), layout="constrained")
    axes = figure.subplots(2, len(pairs), squeeze=False)
    for column, (name, student, reference) in enumerate(pairs):
        time_map = align(student, reference)
        curves = []
        for swing in (student, reference):
            hands = hand_path(swing.pose).points[:, 1]
            curves.append(-(hands - np.nanmedian(hands[:5])) / swing.torso_px)
        at = time_map.to_reference(student.pose.time_s)
        synced = np.interp(at, reference.pose.time_s, curves[1], left=np.nan, right=np.nan)
        axes[0, column].plot(student.pose.time_s, curves[0], "k", label="student")
        axes[0, column].plot(student.pose.time_s, synced, "tab:orange", label="reference, synced")
        axes[0, column].plot(reference.pose.time_s, curves[1], ":", color="tab:orange", label="reference, own time")
        axes[0, column].set_title(name)
        axes[1, column].plot(student.pose.time_s, at)
        for position in POSITION_NAMES:
            mine, theirs = student.positions.time(position), reference.positions.time(position)
            if mine is not None and theirs is not None:
                axes[1, column].plot(mine, theirs, "o", color="tab:red", markersize=4)
    axes[0, 0].legend()
    axes[0, 0].set_ylabel("hand height, torso lengths")
    axes[1, 0].set_ylabel("reference s")
    figure.savefig(path, dpi=80)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="every third swing only, nothing is written")
    parser.add_argument("--plots", type=Path, help="folder for plots of some pairs; outside the project")
    options = parser.parse_args()
    folder = real_folder()
    if folder is None:
        print("OVERLAY_REAL_DATA names no folder of real swings; nothing to do.")
        return
    groups = load_swings(folder)
    text = [
        "# Alignment of real swings",
        "",
        "`OVERLAY_REAL_DATA=… python studies/alignment_real.py`: every swing against every other of its view, about 30",
        "frames per second, joints labelled by hand or found. Slopes are sampled every 20 ms from address to finish.",
        "There and back: mean distance from home. Positions: median of how far the map carries the student's found",
        "position from the reference's (errors of both findings and of the map together).",
        "",
        "| view | swings | pairs | failures | slopes outside 1/4–4 | slopes | there and back ms | called doubtful | "
        "explained, 5 % and median | ms of CPU each |",
        "|---|---|---|---|---|---|---|---|---|---|",
    ]
    carried: dict[str, list[list[float]]] = {}
    for view, swings in groups.items():
        keys = list(swings)[:: 3 if options.quick else 1]
        maps, failures = {}, 0
        started = time.process_time()
        for one in keys:
            for other in keys:
                if one != other:
                    try:
                        maps[one, other] = align(swings[one], swings[other])
                    except Exception as error:  # a failure is what is counted here
                        failures += 1
                        print(one, other, error)
        each = 1000 * (time.process_time() - started) / max(len(maps), 1)
        slopes, home, rows = [], [], []
        for (one, other), time_map in maps.items():
            times = np.arange(*span(swings[one]), 0.02)
            reference = time_map.to_reference(times)
            slopes.append(np.diff(reference) / 0.02)
            home.append(float(np.mean(np.abs(maps[other, one].to_reference(reference) - times))))
            row = []
            for name in POSITION_NAMES:
                mine, theirs = swings[one].positions.time(name), swings[other].positions.time(name)
                both = mine is not None and theirs is not None
                row.append(abs(float(time_map.to_reference(mine)) - theirs) if both else np.nan)  # type: ignore[arg-type]
            rows.append(row)
        carried[view] = rows
        outside = sum(bool(s.min() < 0.25 or s.max() > 4.0) for s in slopes)
        explained = [time_map.diagnostics["explained_share"] for time_map in maps.values()]
        text.append(
            f"| {view} | {len(keys)} | {len(maps) + failures} | {failures} | {outside} | "
            f"{min(s.min() for s in slopes):.2f}–{max(s.max() for s in slopes):.2f} | {1000 * np.mean(home):.0f} | "
            f"{sum(bool(m.notes) for m in maps.values())} | {np.percentile(explained, 5):.2f}, "
            f"{np.median(explained):.2f} | {each:.0f} |"
        )
        print(text[-1], flush=True)
        if options.plots:
            options.plots.mkdir(parents=True, exist_ok=True)
            order = sorted(maps, key=lambda pair: maps[pair].diagnostics["explained_share"])
            chosen = [order[0], order[len(order) // 4], order[len(order) // 2], order[-1]]
            plot([(f"{a} to {b}", swings[a], swings[b]) for a, b in chosen], options.plots / f"{view}.png")
    text += ["", "| position | " + " | ".join(f"{view}, ms" for view in groups) + " |", "|---|---|---|"]
    for k, name in enumerate(POSITION_NAMES):
        cells = [f"{1000 * np.nanmedian(np.array(carried[view])[:, k]):.0f}" for view in groups]
        text.append(f"| {name.replace('_', ' ')} | {' | '.join(cells)} |")
    print("\n".join(text[-9:]))
    if not options.quick:
        OUT.parent.mkdir(parents=True, exist_ok=True)
        OUT.write_text("\n".join(text) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
