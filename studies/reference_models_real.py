# ruff: noqa: E402
"""The shipped swings in space beside real players: how far the hand-labelled swings lie from them.

    OVERLAY_REAL_DATA=<folder> python studies/reference_models_real.py

Hand-labelled tracks that are not part of the project. Every swing of a view is aligned to the model as a well set-up
camera sees it, and each part's offset in each phase is taken as the score takes it. Bodies are not fitted and cameras
are as they were, so single swings say little; the median over players says whether the model is one of them. Writes
docs/studies/reference_models_real.md (numbers only).
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests"))
sys.path.insert(0, str(ROOT / "studies"))

from alignment_real import load_swings
from real_tracks import real_folder

from overlay.align import align
from overlay.data import SpaceTrack
from overlay.errors import OverlayError
from overlay.files import write_text
from overlay.golfer import GolferSpec, simulate, space_track
from overlay.maker import seen_from
from overlay.models import load_model
from overlay.score.measure import measure_cells
from overlay.score.parts import figure_of
from overlay.settings.score import ScoreSettings
from overlay.shipped import shipped_folder
from overlay.terms import PARTS, PHASES, VIEW_WORDS, words

OUT = ROOT / "docs" / "studies" / "reference_models_real.md"


def references() -> dict[str, SpaceTrack]:
    """The shipped models, and the synthetic golfer as he is without anybody's numbers."""
    shipped = {name: load_model(shipped_folder("reference_models") / f"{name}.swing").space for name in MODELS}
    return {**{name: space for name, space in shipped.items() if space is not None}, "golfer": ordinary()}


MODELS = ("mid_iron", "driver")


def ordinary() -> SpaceTrack:
    return space_track(simulate(GolferSpec()))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.parse_args()
    folder = real_folder()
    if folder is None:
        print("OVERLAY_REAL_DATA names no folder of real swings; nothing to do.")
        return
    settings = ScoreSettings()
    names = [phase.name for phase in PHASES]
    text = [
        "# The shipped swings in space beside real players",
        "",
        "`OVERLAY_REAL_DATA=… python studies/reference_models_real.py`: median of real − model over hand-labelled",
        "swings, % of a torso length (x towards the lead side of a right-hander's picture, y down), and the spread of",
        "the swings (SD of one coordinate). *golfer*: the synthetic player without anybody's numbers, for comparison.",
        "Clubs, bodies and cameras of the real swings are not known, and some cameras pan: pelvis, head and legs,",
        "which are read against the ground, tell least. The finish, where the through-swing ends, differs most",
        "between players.",
    ]
    for view, swings in load_swings(folder).items():
        for name, space in references().items():
            model = seen_from(space, view)  # type: ignore[arg-type]
            found: dict[tuple[str, str], list[np.ndarray]] = {}
            count = 0
            for swing in swings.values():
                swing = replace(swing, view=view)  # type: ignore[arg-type]
                try:
                    time_map = align(swing, model)
                except OverlayError as error:
                    print(view, name, error.message)
                    continue
                count += 1
                for cell in measure_cells(figure_of(swing, settings), figure_of(model, settings), time_map, settings):
                    if not cell.reason:
                        found.setdefault((cell.phase, cell.part), []).append(cell.offset)
            text += [
                "",
                f"## {VIEW_WORDS[view].capitalize()}, {count} swings against {name}",
                "",
                "| part | " + " | ".join(words(phase) for phase in names) + " |",
                "|---" * (len(names) + 1) + "|",
            ]
            for part in PARTS:
                cells = []
                for phase in names:
                    rows = np.array(found.get((phase, part), []))
                    if len(rows) < 5:
                        cells.append("–")
                        continue
                    x, y = 100 * np.median(rows, axis=0)
                    spread = 100 * float(np.sqrt(rows.var(axis=0, ddof=1).mean()))
                    cells.append(f"{x:+.0f}, {y:+.0f} ({spread:.0f})")
                text.append(f"| {words(part)} | {' | '.join(cells)} |")
    print("\n".join(text))
    write_text(OUT, "\n".join(text) + "\n")


if __name__ == "__main__":
    main()
