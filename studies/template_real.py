# ruff: noqa: E402
"""Templates of real swings of several players, each held against swings that are not in it.

    OVERLAY_REAL_DATA=<folder> python studies/template_real.py [--groups N] [--quick]

Hand-labelled tracks at about 30 frames per second that are not part of the project; who swings is not told, so every
recording counts as a player. Each swing of a view is aligned to and scored against a template of all the others
(``--groups N``: the swings are dealt into N groups, and a whole group is left out at a time, which is quicker). Writes
docs/studies/template_real.md (numbers only).
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

from alignment_real import load_swings, span
from real_tracks import real_folder
from score_bed import detected

from overlay.align import align
from overlay.data import Band
from overlay.errors import OverlayError
from overlay.files import write_text
from overlay.score import score
from overlay.settings.score import ScoreSettings
from overlay.template import Template, build_template
from overlay.terms import PARTS, PHASES, words

OUT = ROOT / "docs" / "studies" / "template_real.md"


def band_table(view: str, bands: list[Band]) -> list[str]:
    """Spread between players, % of a torso length: root mean square over the groups; the one-player prior beside it."""
    settings = ScoreSettings()
    names = [phase.name for phase in PHASES]
    lines = [
        f"\nSpread between players, SD of one coordinate of a phase mean, % of a torso length, {view}\n",
        "| part | " + " | ".join(words(name) for name in names) + " | prior of one player |",
        "|---" * (len(names) + 2) + "|",
    ]
    for part in PARTS:
        cells = []
        for name in names:
            found = [spread.sd for band in bands if (spread := band.get(name, part)) is not None]
            cells.append(f"{100 * float(np.sqrt(np.mean(np.square(found)))):.1f}" if found else "–")
        lines.append(f"| {words(part)} | {' | '.join(cells)} | {100 * settings.prior_sd[part]:.1f} |")
    return lines


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--groups", type=int, default=0, metavar="N", help="groups a view; default: one a swing")
    parser.add_argument("--quick", action="store_true", help="one of three groups a view; nothing is written")
    options = parser.parse_args()
    folder = real_folder()
    if folder is None:
        print("OVERLAY_REAL_DATA names no folder of real swings; nothing to do.")
        return
    text = [
        "# Templates of real swings",
        "",
        "`OVERLAY_REAL_DATA=… python studies/template_real.py`: hand-labelled joints at about 30 frames per second,",
        "every recording taken for a player. Each swing is aligned to a template in which it is not"
        + (f" ({options.groups} groups a view)." if options.groups else ": that of all the others.")
        + " Slopes every",
        "20 ms from address to finish. *Differs*: tables in which anything is named, against the template with its",
        "band (several players) and against its middle swing alone.",
        "",
        "| view | swings | templates | left out of a template | aligned | slopes outside 1/4–4 | slopes | called "
        "doubtful | explained, 5 % and median | differs from the template | from the middle swing |",
        "|---|---|---|---|---|---|---|---|---|---|---|",
    ]
    tables: list[str] = []
    for view, swings in load_swings(folder).items():
        # The label decides where the finder takes another view for it.
        swings = {key: replace(swing, view=view) for key, swing in swings.items()}  # type: ignore[arg-type]
        keys = list(swings)
        built: list[Template] = []
        out = given = outside = failed = doubtful = differs = alone = scored = 0
        slopes, explained = [], []
        groups = 3 if options.quick else options.groups or len(keys)
        for g in range(1 if options.quick else groups):
            others = [key for i, key in enumerate(keys) if i % groups != g]
            template = build_template([swings[key] for key in others], others, of="several players")
            built.append(template)
            out += len(template.left_out)
            given += len(others)
            for index, reason in template.left_out:
                print(view, g, others[index], reason, flush=True)
            for key in (key for i, key in enumerate(keys) if i % groups == g):
                try:
                    time_map = align(swings[key], template.swing)
                except OverlayError as error:
                    failed += 1
                    print(key, error.message)
                    continue
                times = np.arange(*span(swings[key]), 0.02)
                slope = np.diff(time_map.to_reference(times)) / 0.02
                slopes.append(slope)
                outside += bool(slope.min() < 0.25 or slope.max() > 4.0)
                doubtful += bool(time_map.notes)
                explained.append(time_map.diagnostics["explained_share"])
                scored += 1
                differs += bool(detected(score(swings[key], template.swing, time_map, band=template.band)))
                middle = swings[others[template.medoid]]
                alone += bool(detected(score(swings[key], middle, align(swings[key], middle))))
        text.append(
            f"| {view} | {len(keys)} | {len(built)} of {given // len(built)} | {out} of {given} | {scored} of "
            f"{scored + failed} | {outside} | {min(s.min() for s in slopes):.2f}–{max(s.max() for s in slopes):.2f} | "
            f"{doubtful} | {np.percentile(explained, 5):.2f}, {np.median(explained):.2f} | {differs} of {scored} | "
            f"{alone} of {scored} |"
        )
        print(text[-1], flush=True)
        tables += band_table(view, [template.band for template in built])
    if not options.quick:
        write_text(OUT, "\n".join([*text, *tables]) + "\n")
    else:
        print("\n".join(tables))


if __name__ == "__main__":
    main()
