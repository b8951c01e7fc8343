"""``overlay trend``: one measure over a season as a picture, all of a view, or what repeats."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.record_options import Day, opened, record_options
from overlay.cli.show import console

if TYPE_CHECKING:
    from overlay.plots import Form


@click.command("trend")
@click.argument("player", metavar="PLAYER")
@click.option(
    "--measure",
    metavar="NAME",
    help="A measure, or a difference to a reference such as hands.backswing.x. Default: all measures of a view, small.",
)
@click.option("--repeats", is_flag=True, help="What repeats from swing to swing instead, and what does not.")
@click.option(
    "--since",
    type=Day(),
    help="First day of the later sessions: 2026-05-03. Default: the first session with that focus. With --repeats: "
    "only swings since then.",
)
@click.option(
    "--view",
    type=click.Choice(["dtl", "fo", "other"]),
    help="Only swings of this view. Default: the one with most swings.",
)
@click.option("--club", help="Only this club, as it was told. Default: the one with most swings.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The picture: FILE.png or FILE.svg. Default: trend.png in this folder.",
)
@click.option("--screen", type=click.Choice(["desktop", "phone"]), default="desktop", help="How wide the picture is.")
@click.option("--dark", is_flag=True, help="Light on dark.")
@record_options
def command(
    player: str,
    measure: str | None,
    repeats: bool,
    since: datetime.date | None,
    view: Any,
    club: str | None,
    out: Path | None,
    screen: str,
    dark: bool,
    library: Path | None,
    as_json: bool,
) -> None:
    """Draw how a measure of PLAYER went over all sessions: every swing, the session means, and the verdict.

    The lines for looking (running mean, usual range) decide nothing; `overlay holding` tells the whole verdict.
    """
    from overlay import record_documents
    from overlay.errors import InputError
    from overlay.files import check_writable, write_bytes
    from overlay.pipeline.trend_pictures import repeats_picture, sheet_picture, trend_picture
    from overlay.plots import DESKTOP, PHONE, standalone_svg

    if repeats and measure is not None:
        raise click.UsageError("--repeats shows all measures: leave out --measure.")
    out = out or Path("repeats.png" if repeats else "trend.png")
    kind = out.suffix.lower()
    if kind not in (".png", ".svg"):
        raise InputError(f"{out.name} is no name of a picture.", "Give a name that ends in .png or .svg.")
    check_writable([out])
    form: Form = "svg" if kind == ".svg" else "dark png" if dark else "png"
    size = PHONE if screen == "phone" else DESKTOP
    told: dict[str, Any] = {"since": since, "view": view, "club": club, "form": form, "size": size}
    with opened(library) as store:
        if repeats:
            made = repeats_picture(store, player, **told)
        elif measure is None:
            made = sheet_picture(store, player, **told)
        else:
            made = trend_picture(store, player, measure, **told)
    write_bytes(out, standalone_svg(made.content, dark=dark) if kind == ".svg" else made.content)
    if as_json:
        fields = {
            "file": str(out),
            "sentence": made.sentence,
            "measures": [trend.series.name for trend in made.trends],
            "answers": [record_documents.change_document(answer) for answer in made.answers],
        }
        click.echo(record_documents.to_json(record_documents.headed("trend", fields)), nl=False)
        return
    console().print(made.sentence, markup=False)
    console().print(f"file: {out}", markup=False)
