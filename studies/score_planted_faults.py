"""Whether a planted fault is named: the part and phase called largest against the truth.

    python studies/score_planted_faults.py [--quick] [--rendered [--tracks FOLDER]]

Each fault of the synthetic golfer, in each view and at three sizes, is compared with the same player without it. The
truth is the largest difference of the projected 3D joints without noise, at true positions with the true time map, in
multiples of the part's SD s (the unit in which "largest" is meant).

A fault counts as *visible* to one swing against one when that truth is at least the multiple that such a comparison
finds in 90 % of cases, were it the only difference. Fainter ones down to half of it are run too, and counted apart;
what lies below is listed, since no score can see it. The second table compares five swings of each player, with the
usual variation from swing to swing.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from pathlib import Path

import score_bed as bed

from overlay import stats
from overlay.align import align
from overlay.data import Comparison
from overlay.files import write_text
from overlay.golfer import FAULTS, GolferSpec, NoiseSpec
from overlay.positions import find_swings
from overlay.score import score
from overlay.settings.score import ScoreSettings
from overlay.terms import View, words

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "score_planted_faults.md"
SIZES = (0.5, 1.0, 1.5)
VIEWS: tuple[View, ...] = ("dtl", "fo")
Cell = tuple[str, str]


def name(cell: Cell) -> str:
    return f"{words(cell[1])}, {words(cell[0])}"


def visible_multiple(settings: ScoreSettings) -> float:
    """Multiple of s that one swing against one finds in 90 % of cases when it is the only difference."""
    return stats.detectable_length(2.0, 0.0, settings.prior_df, settings.level / 54, chance=0.9)


def true_order(student: bed.Recorded, reference: bed.Recorded, settings: ScoreSettings) -> list[tuple[Cell, float]]:
    truth = bed.truth_multiples(bed.truth_cells(student, reference, settings), settings)
    return sorted(truth.items(), key=lambda item: -item[1])


def largest(comparison: Comparison) -> Cell | None:
    return None if comparison.largest is None else (comparison.largest.phase, comparison.largest.part)


def five_each(spec: GolferSpec, view: View, seed: int, noise: NoiseSpec) -> Comparison:
    """Five swings of the player with the fault against five without it, true positions."""
    groups = []
    for side, faults in enumerate((dict(spec.faults), {})):
        swings = []
        for i in range(5):
            number = 1 + 10 * seed + 5 * side + i
            scene = bed.recorded(GolferSpec(faults=faults, seed=number, variation=1.0), view)
            swings.append(bed.true_swing(scene, bed.clean(bed.track_of(scene, noise=noise, seed=number))))
        groups.append(swings)
    (one, *mine), (other, *theirs) = groups
    return score(one, other, align(one, other), student_repeats=mine, reference_repeats=theirs)


RENDERED: tuple[tuple[str, float, View], ...] = (
    ("sway", 1.0, "fo"),
    ("reverse_spine", 1.0, "fo"),
    ("flat_shoulder_turn", 1.0, "fo"),
    ("posture_loss", 1.0, "dtl"),
    ("over_the_top", 1.5, "dtl"),
)
"""Faults that one swing against one can see."""


def rendered(numbers: range, folder: Path) -> list[str]:
    """Rendered faults against renderings of the plain swing with other looks, through the pose model."""
    settings = ScoreSettings()
    lines = ["| fault | size | view | true largest | named right | said instead |", "|---|---|---|---|---|---|"]
    for fault, size, view in RENDERED:
        scenes = [bed.recorded(bed.short_spec(*extra), view) for extra in ((fault, size), ())]
        best, multiple = true_order(scenes[0], scenes[1], settings)[0]
        swings = [
            find_swings(bed.clean(track), None, view=view, handedness="right")[0]
            for track in (
                bed.rendered_track(view, 1, folder, fault, size),
                *(bed.rendered_track(view, number, folder) for number in numbers),
            )
        ]
        said = Counter(largest(score(swings[0], other, align(swings[0], other))) for other in swings[1:])
        head = f"| {words(fault)} | {size} | {view} | {name(best)} ({multiple:.1f} s) "
        lines.append(f"{head}| {said[best]}/{len(swings) - 1} | {told(said, best)} |")
        print(lines[-1], flush=True)
    return lines


def told(said: Counter[Cell | None], best: Cell) -> str:
    return ", ".join(
        f"{'nothing' if cell is None else name(cell)} {n}" for cell, n in said.most_common(4) if cell != best
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="3 seeds, size 1, one swing each; nothing is written")
    parser.add_argument("--rendered", action="store_true", help="through pictures and the pose model")
    parser.add_argument("--clips", nargs=2, type=int, default=(2, 6), help="first and one past the last reference")
    parser.add_argument("--tracks", help="folder in which rendered tracks are kept between runs")
    arguments = parser.parse_args()
    command = "python studies/score_planted_faults.py"
    if arguments.rendered:
        with tempfile.TemporaryDirectory() as temporary:
            folder = Path(arguments.tracks or temporary)
            folder.mkdir(parents=True, exist_ok=True)
            first, past = (2, 4) if arguments.quick else arguments.clips
            table = rendered(range(first, past), folder)
        made_by = f"Made by `{command} --rendered --clips {first} {past}`."
        text = "\n".join(["# Planted faults, rendered clips", "", made_by, "", *table]) + "\n"
        if not arguments.quick:
            write_text(OUT.with_name("score_planted_faults_rendered.md"), text)
        return
    seeds = 3 if arguments.quick else 20
    settings, noise = ScoreSettings(), NoiseSpec()
    limit = visible_multiple(settings)
    counts = {"visible": [0, 0, 0], "fainter": [0, 0, 0]}
    rows, unseen, several = [], [], []
    for view in VIEWS:
        reference = bed.recorded(GolferSpec(), view)
        for fault in FAULTS:
            for size in (1.0,) if arguments.quick else SIZES:
                spec = GolferSpec(faults={fault: size})
                student = bed.recorded(spec, view)
                order = true_order(student, reference, settings)
                best, multiple = order[0]
                other_part = next(item for item in order if item[0][1] != best[1])
                head = f"| {words(fault)} | {size} | {view} | {name(best)} ({multiple:.1f} s) "
                if multiple < limit / 2:
                    unseen.append(f"{words(fault)} {size} {view} ({name(best)} {multiple:.1f} s)")
                else:
                    kind = "visible" if multiple >= limit else "fainter"
                    said = Counter(largest(bed.compare(student, reference, seed, noise=noise)) for seed in range(seeds))
                    counts[kind][0] += said[best]
                    counts[kind][1] += said[None]
                    counts[kind][2] += seeds
                    rows.append(
                        f"{head}| {name(other_part[0])} ({other_part[1]:.1f} s) | {kind} | {said[best]}/{seeds} "
                        f"| {told(said, best)} |"
                    )
                    print(rows[-1], flush=True)
                if size == 1.0 and not arguments.quick and multiple >= 1.5:
                    many = Counter(largest(five_each(spec, view, seed, noise)) for seed in range(3))
                    several.append(f"{head}| {many[best]}/3 | {told(many, best)} |")
                    print(several[-1], flush=True)
    right, silent, total = counts["visible"]
    faint_right, faint_silent, faint_total = counts["fainter"]
    lines = [
        "# Planted faults",
        "",
        f"Made by `{command}`.",
        "",
        *(__doc__ or "").split("\n\n", 2)[2].strip().splitlines(),
        "",
        f"Visible: {limit:.1f} s and more. Part and phase named right in **{right} of {total}** comparisons "
        f"({right / max(1, total):.0%}); nothing said in {silent}.",
        f"Fainter, {limit / 2:.1f}–{limit:.1f} s: named right in {faint_right} of {faint_total}, nothing said in "
        f"{faint_silent}, something else said in {faint_total - faint_right - faint_silent}.",
        "",
        "One swing against one, 60 frames/s, noisy tracks through cleaning, positions, alignment and score:",
        "",
        "| fault | size | view | true largest | next part | | named right | said instead |",
        "|---|---|---|---|---|---|---|---|",
        *rows,
        "",
        "Not to be seen by one swing against one: " + ("; ".join(unseen) or "none") + ".",
    ]
    if several:
        lines += [
            "",
            "Five swings each, usual variation from swing to swing, size 1:",
            "",
            "| fault | size | view | true largest | named right | said instead |",
            "|---|---|---|---|---|---|",
            *several,
        ]
    text = "\n".join(lines) + "\n"
    print(text)
    if not arguments.quick:
        write_text(OUT, text)


if __name__ == "__main__":
    main()
