"""``overlay model list|show|remove|export|import``: the library of models."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from overlay.cli.model_options import FILE, kept_sentence, library_of, models_option, size_words
from overlay.terms import POSITION_NAMES, SOURCE_WORDS, VIEW_WORDS, View, words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from rich.table import Table

    from overlay.data import Band, Measure, Model, Swing
    from overlay.models import Facts

KIND_WORDS = {"swing": "swing", "template": "template", "space": "in space"}
HEADS = ("name", "kind", "views", "hand", "of 9", "club", "player", "cut-outs", "made", "size")
VIEW_SHORT = {"dtl": "dtl", "fo": "fo", "other": "other"}

AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON (docs/models.md).")


@click.command("list")
@models_option
@AS_JSON
def list_models(folder: Path | None, as_json: bool) -> None:
    """List your models and those that come with overlay."""
    from overlay.cli.show import console

    library = library_of(folder)
    models = library.list()
    if as_json:
        from overlay import documents
        from overlay.pipeline.model_documents import library_document

        click.echo(documents.to_json(library_document(str(library.folder), models)), nl=False)
        return
    from rich.table import Table

    from overlay.models import tidy

    out = console()
    if not any(not facts.shipped for facts in models):
        out.print(f"No models of your own in {library.folder} yet: overlay model save CLIP --name …", markup=False)
    if not models:
        return
    rows = [_row(facts) for facts in models]
    # What nobody told takes no room.
    shown = [i for i in range(len(HEADS)) if any(row[i] for row in rows)]
    table = Table(box=None, pad_edge=False)
    for i in shown:
        table.add_column(HEADS[i], no_wrap=HEADS[i] not in ("club", "player"), overflow="fold")
    for row in rows:
        table.add_row(*(row[i] for i in shown))
    _print_table(table)
    damaged = [facts for facts in models if facts.problem]
    for facts in damaged:
        out.print(f"note: {tidy(facts.path.name)} cannot be used: {facts.problem}", markup=False)


def _print_table(table: Table) -> None:
    from overlay.cli.show import console

    out = console()
    if not out.is_terminal:
        # A pipe has no width: nothing is folded there.
        out.width = 200
    out.print(table)


def _row(facts: Facts) -> tuple[str, ...]:
    from rich.markup import escape

    from overlay.models import tidy

    # The names are those of files, which anybody may have put there.
    name = escape(tidy(facts.name, 60))
    if facts.problem:
        return name, "damaged", *[""] * 7, size_words(facts.n_bytes)
    kind = KIND_WORDS[facts.kind] + (f" of {facts.n_swings}" if facts.kind == "template" else "")
    positions = "/".join(dict.fromkeys(str(count) for count in (facts.positions or {}).values()))
    pictures = sum((facts.pictures or {}).values())
    return (
        name,
        kind,
        "+".join(VIEW_SHORT[view] for view in facts.views),
        facts.handedness,
        positions,
        escape(facts.club_kind),
        escape(facts.player),
        str(pictures or ""),
        "overlay" if facts.shipped else facts.made_at[:10],
        size_words(facts.n_bytes),
    )


@click.command("show")
@click.argument("name", metavar="NAME")
@click.option("--out", type=FILE, help="Write a PNG with its nine positions, in every view it has, here.")
@models_option
@AS_JSON
def show(name: str, out: Path | None, folder: Path | None, as_json: bool) -> None:
    """Show the model NAME, or the model file of that name: positions, tempo, measures, variation, where it came from.

    The picture shows the drawn figure, or the cut-outs that were kept.
    """
    from overlay.files import check_writable
    from overlay.pipeline.models import find_model, measured, seen_swings

    library = library_of(folder)
    model = find_model(name, library)
    if out is not None:
        if out.suffix.lower() != ".png":
            raise click.UsageError(f"{out.name} is no PNG; end it in .png.")
        check_writable([out])
    seen = seen_swings(model)
    measures = {view: measured(swing) for view, swing in seen.items()}
    if out is not None:
        from overlay.pipeline.model_pictures import write_model_sheet

        write_model_sheet(model, seen, out)
    if as_json:
        from overlay import documents
        from overlay.pipeline.model_documents import model_document

        click.echo(documents.to_json(model_document(model, seen, measures)), nl=False)
        return
    _print(model, seen, measures)
    if out is not None:
        click.echo(f"stills: {out}")


def _print(model: Model, seen: Mapping[View, Swing], measures: Mapping[View, Sequence[Measure]]) -> None:
    from overlay.cli.show import console, print_filming

    out = console()
    made = model.provenance
    out.print(f"{model.name}: {_what(model)}", style="bold", markup=False)
    if made.label:
        out.print(made.label, markup=False)
    for label, text in (("Player", model.player), ("Club", model.club_kind)):
        if text:
            out.print(f"{label}: {text}", markup=False)
    for view, swing in seen.items():
        shown = f", {len(model.pictures[view].times_s)} cut-outs of the player" if view in model.pictures else ""
        out.print(f"\n{VIEW_WORDS[view].capitalize()}, {swing.handedness}-handed{shown}", markup=False)
        _print_swing(swing, found=model.space is None)
        _print_measures(measures[view])
        _print_band(model.bands.get(view), simulated=model.kind == "space")
        if view in model.filming:
            print_filming(model.filming[view])
    if model.pair_map is not None:
        out.print("\nBoth views are paired.", markup=False)
        for line in model.pair_map.notes:
            out.print(f"pair: {line}", markup=False)
    out.print("", markup=False)
    for label, lines in (
        ("Made", (f"{made.made_at} by {made.made_by}",) if made.made_at else ()),
        ("From", made.sources),
        ("Left out", made.left_out),
        ("Note", made.notes),
    ):
        for line in lines:
            out.print(f"{label}: {line}", markup=False)


def _what(model: Model) -> str:
    if model.kind == "space":
        assert model.space is not None
        return f"a swing in space, {model.space.stature_m:.2f} m tall; each student sees it posed on his own body"
    if model.kind == "template":
        n = max((band.n_swings for band in model.bands.values()), default=1)
        return f"the middle of {n} swings"
    return "one swing"


def _print_swing(swing: Swing, *, found: bool) -> None:
    """Positions and tempo; how sure and from what only where they were found in a clip."""
    from rich.table import Table

    from overlay.cli.show import console

    out = console()
    table = Table("position", "time, s", *(("confidence", "from") if found else ()), box=None, pad_edge=False)
    for name in POSITION_NAMES:
        position = swing.positions.get(name)
        if position is None:
            missing = f"not found: {swing.positions.missing[name]}"
            table.add_row(words(name), "–", *(("–", missing) if found else ()))
        else:
            sure = (f"{position.confidence:.0%}", SOURCE_WORDS[position.source]) if found else ()
            table.add_row(words(name), f"{position.time_s:.3f}", *sure)
    _print_table(table)
    if swing.tempo_ratio is not None:
        out.print(f"Tempo ratio (backswing ÷ downswing): {swing.tempo_ratio:.2f}", markup=False)
    for note in swing.notes:
        out.print(f"note: {note}", markup=False)


def _print_measures(measures: Sequence[Measure]) -> None:
    from rich.table import Table

    from overlay.checklist.wording import number

    valid = [measure for measure in measures if measure.valid]
    if not valid:
        return
    table = Table("measure", "value", "at", box=None, pad_edge=False)
    for measure in valid:
        value = number(measure.value, measure.unit) + (" torso" if measure.unit == "torso" else "")
        table.add_row(words(measure.name), value, words(measure.position))
    _print_table(table)


def _print_band(band: Band | None, *, simulated: bool) -> None:
    from rich.table import Table

    from overlay.cli.show import console
    from overlay.terms import PARTS, PHASES

    if band is None:
        return
    out = console()
    of = f" of {band.of}" if band.of else ""
    kind = "simulated swings" if simulated else "swings"
    out.print(
        f"Variation between {band.n_swings} {kind}{of}, % of a torso length (SD of one coordinate):", markup=False
    )
    table = Table("phase", *(words(part) for part in PARTS), box=None, pad_edge=False)
    for phase in PHASES:
        spreads = [band.get(phase.name, part) for part in PARTS]
        table.add_row(words(phase.name), *("–" if spread is None else f"{100 * spread.sd:.1f}" for spread in spreads))
    _print_table(table)


@click.command("remove")
@click.argument("name", metavar="NAME")
@models_option
def remove(name: str, folder: Path | None) -> None:
    """Remove one of your own models. Nothing is asked; the file is gone."""
    path = library_of(folder).remove(name)
    click.echo(f"Removed {path.stem}: {path}")


@click.command("export")
@click.argument("name", metavar="NAME")
@click.argument("file", type=FILE)
@click.option("--replace", is_flag=True, help="Replace FILE if it is there.")
@click.option("--no-pictures", is_flag=True, help="Leave out the cut-outs of the player.")
@click.option(
    "--anonymous",
    is_flag=True,
    help="Leave out the cut-outs, the player's name, your remarks and the names of the clips.",
)
@models_option
def export(name: str, file: Path, replace: bool, no_pictures: bool, anonymous: bool, folder: Path | None) -> None:
    """Write the model NAME to FILE (ending in .swing, or a folder): one file with everything that was kept."""
    from overlay import models

    change = models.anonymous if anonymous else models.without_pictures if no_pictures else None
    path = library_of(folder).export(name, file, replace, change)
    facts = models.load_facts(path)
    click.echo(f"Exported {facts.name}: {kept_sentence(facts)}")
    if facts.pictures:
        click.echo("note: The model shows the player; ask before you pass it on, for a minor the parents.")
    click.echo(f"file: {path}")


@click.command("import")
@click.argument("file", type=FILE)
@click.option("--name", help="What it is called here. Default: as it calls itself.")
@click.option("--replace", is_flag=True, help="Replace your model of that name, if there is one.")
@models_option
def import_(file: Path, name: str | None, replace: bool, folder: Path | None) -> None:
    """Take the model file FILE into your library. It is checked throughout, and nothing in it is run."""
    from overlay.models import load_facts

    facts = load_facts(library_of(folder).import_(file, name, replace))
    click.echo(f"Imported {facts.name}: {kept_sentence(facts)}")
    click.echo(f"file: {facts.path}")
