"""``overlay inspect``: what is in one clip."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.options import (
    CLIP,
    check_options,
    clip_options,
    picture_options,
    read_clip_options,
    second_offset_option,
    shared_options,
)
from overlay.cli.show import console, print_checklist, print_filming, print_first, print_pair, progress_display
from overlay.data import Swing
from overlay.errors import InputError
from overlay.pipeline import Seen
from overlay.terms import POSITION_NAMES, SOURCE_WORDS, VIEW_WORDS, words

if TYPE_CHECKING:
    from overlay.checklist import ChecklistSpec
    from overlay.documents import Looked


@click.command("inspect")
@click.argument("clip", type=CLIP)
@click.option("--sheet", type=click.Path(path_type=Path), help="Write a PNG with a still of every position here.")
@click.option("--report", type=click.Path(path_type=Path), help="Write the swing's own report (HTML) here.")
@click.option("--second", type=CLIP, help="The other view of the swing: face on beside down the line.")
@second_offset_option
@picture_options
@check_options
@clip_options()
@clip_options("second", "the second clip")
@shared_options
def command(
    clip: Path,
    sheet: Path | None,
    report: Path | None,
    second: Path | None,
    second_offset: float | None,
    guides: frozenset[str] | None,
    hide: tuple[str, ...],
    checklist: Path | None,
    stature_cm: float | None,
    as_json: bool,
    quiet: bool,
    no_cache: bool,
    allow_others: bool,
    **values: Any,
) -> None:
    """Find the swings of CLIP and go through the checklist: positions, club, strike, filming, what to work on first.

    CLIP is a video, a folder of stills, or a saved track (CSV or NPZ). Pictures and report are of the chosen swing.

    With --second both views are brought together and shown beside each other, with what only both can measure.
    """
    from overlay import documents
    from overlay.checklist import load_checklist
    from overlay.pipeline import check_outputs, inspect_clip, look_closer, looked_of, write_inspection

    options = read_clip_options(values, use_cache=not no_cache, allow_others=allow_others, stature_cm=stature_cm)
    # Told now, not after minutes of work.
    spec = load_checklist(checklist)
    wanted = [path for path in (sheet, report) if path is not None]
    check_outputs(wanted, [path for path in (clip, second, checklist) if path is not None])
    if second_offset is not None and second is None:
        raise InputError("--second-offset goes with --second, the other view.", "Give the second clip with --second.")
    if second is not None:
        other = read_clip_options(
            values, "second", use_cache=not no_cache, allow_others=allow_others, stature_cm=stature_cm
        )
        pictures = {"sheet": sheet, "report": report, "guides": guides, "hidden": hide}
        _both_views(Seen((clip, second), (options, other), second_offset), spec, pictures, as_json, quiet)
        return
    with progress_display(quiet) as progress:
        inspection = inspect_clip(clip, options, progress=progress)
        numbers = [inspection.chosen(options.swing).swing_number]
        if options.swing is None:
            numbers = [swing.swing_number for swing in inspection.swings]
        for number in numbers:
            inspection = look_closer(inspection, number, options, progress=progress)
        looked = [looked_of(inspection, number, spec) for number in numbers]
        if wanted:
            write_inspection(
                inspection, looked[-1], sheet=sheet, report=report, guides=guides, hidden=hide, progress=progress
            )
    if as_json:
        document = documents.inspect_document(inspection.clip, str(clip), looked, inspection.notes)
        click.echo(documents.to_json(document), nl=False)
        return
    out = console()
    if inspection.clip is not None:
        known = inspection.clip
        out.print(
            f"{clip.name}: {known.width}×{known.height}, {float(known.nominal_rate):.2f} frames/s, "
            f"{known.duration_s:.1f} s, {known.codec}",
            markup=False,
        )
    for one in looked:
        _print_swing(one)
    for note in inspection.notes:
        out.print(f"note: {note}", markup=False)
    _print_files(sheet, report)


def _print_files(sheet: Path | None, report: Path | None) -> None:
    for label, path in (("stills", sheet), ("report", report)):
        if path is not None:
            console().print(f"{label}: {path}", markup=False)


def _both_views(seen: Seen, spec: ChecklistSpec, pictures: dict[str, Any], as_json: bool, quiet: bool) -> None:
    """``overlay inspect CLIP --second OTHER``."""
    from overlay import documents
    from overlay.pipeline import inspect_both_views, write_both_inspections

    with progress_display(quiet) as progress:
        found, looked, first = inspect_both_views(seen, spec, progress=progress)
        write_both_inspections(found, looked, first, progress=progress, **pictures)
    if as_json:
        views = {
            view: documents.inspect_document(each.clip, str(each.path), [looked[view]], each.notes)
            for view, each in found.inspections.items()
        }
        click.echo(documents.to_json(documents.both_views_document(views, found.pair, first)), nl=False)
        return
    print_first(first)
    print_pair(found.pair)
    for view, one in looked.items():
        console().print(f"\n{found.inspections[view].path.name}", style="bold", markup=False)
        _print_swing(one, first=False)
        for note in found.inspections[view].notes:
            console().print(f"note: {note}", markup=False)
    _print_files(pictures["sheet"], pictures["report"])


def _print_swing(looked: Looked, *, first: bool = True) -> None:
    swing = looked.swing
    out = console()
    out.print(
        f"\nSwing {swing.swing_number}: {VIEW_WORDS[swing.view]} ({swing.view_confidence:.0%} sure), "
        f"{swing.handedness}-handed ({swing.handedness_confidence:.0%} sure)",
        markup=False,
    )
    if looked.checklist is not None:
        print_checklist(looked.checklist, first=first)
    _print_positions(swing)
    if swing.tempo_ratio is not None:
        out.print(f"Tempo ratio (backswing ÷ downswing): {swing.tempo_ratio:.2f}", markup=False)
    if swing.strike is not None and swing.strike.reason:
        out.print(f"Strike: {swing.strike.reason}", markup=False)
    if looked.filming is not None:
        print_filming(looked.filming)
    for note in swing.notes:
        out.print(f"note: {note}", markup=False)


def _print_positions(swing: Swing) -> None:
    from rich.table import Table

    table = Table("position", "time, s", "confidence", "from", box=None, pad_edge=False)
    for name in POSITION_NAMES:
        position = swing.positions.get(name)
        if position is None:
            table.add_row(words(name), "–", "–", f"not found: {swing.positions.missing[name]}")
        else:
            table.add_row(
                words(name), f"{position.time_s:.3f}", f"{position.confidence:.0%}", SOURCE_WORDS[position.source]
            )
    console().print(table)
