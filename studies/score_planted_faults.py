"""Whether a planted fault is named: the part and phase called largest against the truth.

    python studies/score_planted_faults.py [--quick]

Each fault of the synthetic golfer, in each view and at three sizes, is compared with the same player without it. The
truth is the largest difference of the projected 3D joints without noise, at true positions with the true time map, in
multiples of the part's SD (the unit in which "largest" is meant). A fault counts as visible in a view when that truth
is at least as large as a single comparison can find (see ``VISIBLE``); the others are listed, since no score can see
them there.
"""

from __future__ import annotations

import argparse
from collections import Counter
from pathlib import Path

import score_bed as bed

from overlay.files import write_text
from overlay.golfer import GolferSpec, NoiseSpec
from overlay.golfer.spec import FAULTS
from overlay.settings.score import ScoreSettings
from overlay.terms import words

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "score_planted_faults.md"
SIZES = (0.5, 1.0, 1.5)
VISIBLE = 6.0
"""Multiples of the SD: 6·s = 4.2·√V, which one swing against one finds in nearly all cases."""


def name(cell: tuple[str, str]) -> str:
    return f"{words(cell[1])}, {words(cell[0])}"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="3 seeds, size 1 only")
    arguments = parser.parse_args()
    seeds = 3 if arguments.quick else 20
    settings, noise = ScoreSettings(), NoiseSpec()
    lines = [
        "# Planted faults",
        "",
        (__doc__ or "").split("\n\n")[2],
        "",
        "| fault | size | view | true largest (multiples of SD) | next part | named right | same part | said instead |",
        "|---|---|---|---|---|---|---|---|",
    ]
    right = total = 0
    for fault in FAULTS:
        for size in SIZES if not arguments.quick else (1.0,):
            for view in ("dtl", "fo"):
                student = bed.recorded(GolferSpec(faults={fault: size}), view)
                reference = bed.recorded(GolferSpec(), view)
                truth = bed.truth_multiples(bed.truth_cells(student, reference, settings), settings)
                order = sorted(truth, key=lambda key: -truth[key])
                best = order[0]
                second = next(cell for cell in order if cell[1] != best[1])
                shown = f"{name(best)} ({truth[best]:.1f})", f"{name(second)} ({truth[second]:.1f})"
                if truth[best] < VISIBLE:
                    lines.append(f"| {fault} | {size} | {view} | {shown[0]} | {shown[1]} | not visible | | |")
                    continue
                said: Counter[tuple[str, str] | None] = Counter()
                for seed in range(seeds):
                    largest = bed.compare(student, reference, seed, noise=noise).largest
                    said[None if largest is None else (largest.phase, largest.part)] += 1
                same_part = sum(n for cell, n in said.items() if cell is not None and cell[1] == best[1])
                others = ", ".join(
                    f"{'nothing' if cell is None else name(cell)} {n}"
                    for cell, n in said.most_common(3)
                    if cell != best
                )
                right += said[best]
                total += seeds
                lines.append(
                    f"| {fault} | {size} | {view} | {shown[0]} | {shown[1]} | {said[best]}/{seeds} "
                    f"| {same_part}/{seeds} | {others} |"
                )
                print(lines[-1], flush=True)
    lines += ["", f"Part and phase named right in {right} of {total} comparisons ({right / max(1, total):.0%})."]
    text = "\n".join(lines) + "\n"
    print(text)
    if not arguments.quick:
        write_text(OUT, text)


if __name__ == "__main__":
    main()
