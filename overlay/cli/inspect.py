"""``overlay inspect``: what is in one clip."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from overlay.cli.options import CLIP, clip_options, read_clip_options, shared_options
from overlay.cli.show import console, progress_display
from overlay.data import Swing
from overlay.terms import POSITION_NAMES, SOURCE_WORDS, VIEW_WORDS, words


@click.command("inspect")
@click.argument("clip", type=CLIP)
@click.option("--sheet", type=click.Path(path_type=Path), help="Write a PNG with a still of every position here.")
@clip_options()
@shared_options
def command(
    clip: Path, sheet: Path | None, as_json: bool, quiet: bool, no_cache: bool, allow_others: bool, **values: Any
) -> None:
    """Find the swings of CLIP, their positions, the camera view and the player's hand.

    CLIP is a video, a folder of stills, or a saved track (CSV or NPZ).
    """
    from overlay import compose, documents
    from overlay.pipeline import check_outputs, inspect_clip, source_of

    options = read_clip_options(values, use_cache=not no_cache, allow_others=allow_others)
    if sheet is not None:
        check_outputs([sheet], [clip])
    with progress_display(quiet) as progress:
        inspection = inspect_clip(clip, options, progress=progress)
        if sheet is not None:
            compose.inspect_sheet(inspection.chosen(options.swing), sheet, source=source_of(inspection, clip.stem))
    chosen = inspection.swings if options.swing is None else (inspection.chosen(options.swing),)
    if as_json:
        document = documents.inspect_document(
            inspection.clip, str(clip), [documents.Looked(swing) for swing in chosen], inspection.notes
        )
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
    for swing in chosen:
        _print_swing(swing)
    for note in inspection.notes:
        out.print(f"note: {note}", markup=False)
    if sheet is not None:
        out.print(f"stills: {sheet}", markup=False)


def _print_swing(swing: Swing) -> None:
    from rich.table import Table

    out = console()
    out.print(
        f"\nSwing {swing.swing_number}: {VIEW_WORDS[swing.view]} ({swing.view_confidence:.0%} sure), "
        f"{swing.handedness}-handed ({swing.handedness_confidence:.0%} sure)",
        markup=False,
    )
    table = Table("position", "time, s", "confidence", "from", box=None, pad_edge=False)
    for name in POSITION_NAMES:
        position = swing.positions.get(name)
        if position is None:
            table.add_row(words(name), "–", "–", f"not found: {swing.positions.missing[name]}")
        else:
            table.add_row(
                words(name), f"{position.time_s:.3f}", f"{position.confidence:.0%}", SOURCE_WORDS[position.source]
            )
    out.print(table)
    if swing.tempo_ratio is not None:
        out.print(f"Tempo ratio (backswing ÷ downswing): {swing.tempo_ratio:.2f}", markup=False)
    for note in swing.notes:
        out.print(f"note: {note}", markup=False)
