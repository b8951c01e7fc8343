"""How far the alignment is from the truth on known warps.

    python studies/alignment_warps.py [--quick]

Pairs of synthetic swings with a known time map (``alignment_bed``), aligned as a user's clips are. Writes
docs/studies/alignment_warps.md. The seeds are none of those on which settings were chosen.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
import time
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from alignment_bed import Case, Kind, Summary, make_cases, measure, summarise

from overlay.align import align
from overlay.data import Position, Positions, Swing
from overlay.settings.align import AlignSettings

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "alignment_warps.md"
FIRST_SEED = 5000


@dataclass(frozen=True)
class Row:
    """One line of the table; ``reach`` is mean, p95, downswing, impact in ms, where a figure is asked for."""

    name: str
    kind: Kind
    reach: tuple[float, float, float, float] | None = None
    measured_impact: bool = False


SAME, SAME_30 = (12.0, 40.0, 6.0, 6.0), (15.0, 45.0, 9.0, 9.0)
OTHER, OTHER_30 = (21.0, 60.0, 8.0, 8.0), (24.0, 65.0, 11.0, 11.0)

ROWS: tuple[Row, ...] = (
    Row("same style, 60 fps", Kind(), SAME),
    Row("same style, 120 fps", Kind(rate_hz=120.0), SAME),
    Row("same style, 30 fps", Kind(rate_hz=30.0), SAME_30),
    Row("other style, 60 fps", Kind(True), OTHER),
    Row("other style, 120 fps", Kind(True, 120.0), OTHER),
    Row("other style, 30 fps", Kind(True, 30.0), OTHER_30),
    Row("same style, 60 fps, errors of the pose model", Kind(noise="model"), SAME),
    Row("other style, 60 fps, errors of the pose model", Kind(True, noise="model"), OTHER),
    Row("other style, 60 fps, positions with random errors instead of found", Kind(True, found=False), OTHER),
    Row("other style, 60 fps, left-handed reference", Kind(True, mirrored=True), OTHER),
    Row("other style, 30 fps against 240 fps", Kind(True, 30.0, 240.0), OTHER_30),
    Row("other style, 240 fps played at 30, told, against 60 fps", Kind(True, 240.0, 60.0, slow_factor=8.0), OTHER),
    Row("the same, not told", Kind(True, 240.0, 60.0, slow_factor=8.0, told=False), OTHER),
    Row("other style, 60 fps, impact measured in both clips", Kind(True), OTHER, measured_impact=True),
)


def with_measured_impact(swing: Swing, truth_s: float) -> Swing:
    """The swing with its impact known from the ball, exactly."""
    found = tuple(
        Position("impact", truth_s, 1.0, "ball") if position.name == "impact" else position
        for position in swing.positions.found
    )
    return dataclasses.replace(
        swing, positions=Positions(tuple(sorted(found, key=lambda p: p.time_s)), swing.positions.missing)
    )


def run(cases: tuple[Case, ...], settings: AlignSettings, measured_impact: bool = False) -> Summary:
    errors = []
    for case in cases:
        student, reference = case.student, case.reference
        if measured_impact:
            student = with_measured_impact(student, case.impact_s)
            reference = with_measured_impact(reference, case.reference_impact_s)
        errors.append(measure(case, align(student, reference, settings=settings)))
    return summarise(errors)


def pre_roll(count: int) -> tuple[Summary, Summary, Summary, Summary]:
    """Without and with 2 s of waggling in the recording; then with it let in by a wrong address, and that put right."""
    settings = AlignSettings()
    usual = run(make_cases(Kind(), count, FIRST_SEED), settings)
    longer = run(make_cases(Kind(pre_roll_s=2.0), count, FIRST_SEED), settings)
    let_in = make_cases(Kind(pre_roll_s=2.0, found=False), count, FIRST_SEED)
    trimmed = []
    for case in let_in:
        first, *others = case.student.positions.found
        moved = dataclasses.replace(first, time_s=min(first.time_s + 2.0, others[0].time_s - 0.002))
        student = dataclasses.replace(case.student, positions=Positions((moved, *others)))
        trimmed.append(dataclasses.replace(case, student=student))
    return usual, longer, run(let_in, settings), run(tuple(trimmed), settings)


def line(row: Row, result: Summary) -> str:
    figures = (result.mean, result.p95, result.downswing, result.impact)
    wanted = "/".join(f"{value:.0f}" for value in row.reach) if row.reach else ""
    reached = ""
    if row.reach:
        reached = "yes" if all(a <= b for a, b in zip(figures, row.reach)) and result.stutter <= 1.0 else "no"
    return (
        f"| {row.name} | {result.mean:.1f} | {result.p95:.1f} | {result.p95_of_pairs:.1f} | {result.downswing:.1f} | "
        f"{result.impact:.1f} | {wanted} | {reached} | {result.stutter:+.1f} | {result.slope_low:.2f}–"
        f"{result.slope_high:.2f} | {result.worst:.0f} |"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="6 pairs a row instead of 40, nothing is written")
    quick = parser.parse_args().quick
    count = 6 if quick else 40
    head = (
        "| pairs | mean ms | p95 ms | p95, mean of pairs | downswing ms | impact ms | asked for | reached | "
        "stutter, points | slopes | worst pair's mean ms |\n|---|---|---|---|---|---|---|---|---|---|---|"
    )
    text = [
        "# Alignment on known warps",
        "",
        f"`python studies/alignment_warps.py`, {count} pairs a row, half down the line, half face on. Mean and p95 of",
        "the absolute error from address to finish; p95 over all moments of all pairs, and the mean of the pairs' own",
        "p95; mean error from top to impact; error at impact. Stutter: percent of output steps that repeat a frame or",
        "jump by more than two, minus that of the true map. How the pairs are made, and what truth means for two",
        "different styles: `studies/alignment_bed.py`.",
        "",
        head,
    ]
    print("\n".join(text), flush=True)
    started = time.process_time()
    for row in ROWS:
        result = run(make_cases(row.kind, count, FIRST_SEED), AlignSettings(), row.measured_impact)
        text.append(line(row, result))
        print(text[-1], flush=True)
    usual, longer, let_in, trimmed = pre_roll(count)
    text += [
        "",
        "## Two seconds more of waggling before address (same style, 60 fps; asked for: at most 3 ms more)",
        "",
        "| | mean ms without | with | adds | impact ms without | with |",
        "|---|---|---|---|---|---|",
        f"| recording as in use: the swing is found and trimmed | {usual.mean:.1f} | {longer.mean:.1f} | "
        f"{longer.mean - usual.mean:+.1f} | {usual.impact:.1f} | {longer.impact:.1f} |",
        f"| address wrongly placed before the wait, none trimmed | {trimmed.mean:.1f} | {let_in.mean:.1f} | "
        f"{let_in.mean - trimmed.mean:+.1f} | {trimmed.impact:.1f} | {let_in.impact:.1f} |",
        "",
        "## What each step gives (mean / p95 / downswing / impact, ms)",
        "",
        "| steps | same style, 60 fps | other style, 60 fps |",
        "|---|---|---|",
    ]
    full = AlignSettings()
    for name, settings in (
        ("path alone", dataclasses.replace(full, rounds=1, refine=False)),
        ("all but the hints of found positions", dataclasses.replace(full, hint_names=())),
        ("path and refinement", dataclasses.replace(full, rounds=1)),
        ("path and adaptation to the pair", dataclasses.replace(full, refine=False)),
        ("all", full),
    ):
        cells = []
        for other in (False, True):
            r = run(make_cases(Kind(other), count, FIRST_SEED), settings)
            cells.append(f"{r.mean:.1f} / {r.p95:.1f} / {r.downswing:.1f} / {r.impact:.1f}")
        text.append(f"| {name} | {' | '.join(cells)} |")
    print("\n".join(text[-18:]))
    print(f"{time.process_time() - started:.0f} s of CPU")
    if not quick:
        OUT.parent.mkdir(parents=True, exist_ok=True)
        OUT.write_text("\n".join(text) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
