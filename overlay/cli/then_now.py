"""``overlay then-and-now``: an older best swing beside the newest best, as a film."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from overlay.cli.record_options import ID, opened, record_options
from overlay.cli.show import console, progress_display


@click.command("then-and-now")
@click.argument("player", metavar="PLAYER")
@click.option(
    "--then",
    "then_id",
    type=ID,
    metavar="ID",
    help="The older swing. Default: the oldest one marked as best, else the last one of the first session.",
)
@click.option("--now", "now_id", type=ID, metavar="ID", help="The newer swing. Default: the newest one marked as best.")
@click.option(
    "--view", type=click.Choice(["dtl", "fo", "other"]), help="The view of both. Default: that of the newer swing."
)
@click.option("--club", help="The club of both, as it was told. Default: that of the newer swing.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    default=Path("then-and-now.mp4"),
    show_default=True,
    help="The film; the sheet of stills lies beside it.",
)
@click.option(
    "--layout", type=click.Choice(["side by side", "ghost", "both"]), default="both", help="Which panes the film has."
)
@click.option(
    "--speed", type=click.FloatRange(0.01, 8), default=1.0, help="Clip seconds per second of the film: 0.25 is slow."
)
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
@record_options
def command(
    player: str,
    then_id: int | None,
    now_id: int | None,
    view: Any,
    club: str | None,
    out: Path,
    layout: Any,
    speed: float,
    quiet: bool,
    library: Path | None,
    as_json: bool,
) -> None:
    """Show PLAYER then and now: the best swing of an older session beside the newest best, in step.

    Where a clip is no longer there, the drawn figure from what was kept of the swing stands in for it.
    """
    from overlay import record_documents
    from overlay.compose.wording import headline
    from overlay.pipeline.then_now import CALLED, then_and_now

    with opened(library) as store, progress_display(quiet) as progress:
        made = then_and_now(
            store,
            player,
            out,
            view=view,
            club=club,
            then=then_id,
            now=now_id,
            layout=layout,
            speed=speed,
            progress=progress,
        )
    said = headline(made.comparison, CALLED[1])
    if as_json:
        fields = {
            "video": str(made.video),
            "sheet": str(made.sheet),
            "then": made.then.id,
            "now": made.now.id,
            "sentence": said,
            "notes": list(made.notes),
        }
        click.echo(record_documents.to_json(record_documents.headed("then and now", fields)), nl=False)
        return
    out_ = console()
    then, now = made.then, made.now
    out_.print(
        f"Then: swing {then.id}, {then.date.isoformat()}. Now: swing {now.id}, {now.date.isoformat()}.", markup=False
    )
    out_.print(said, markup=False)
    out_.print(made.comparison.sharpness, markup=False)
    for note in made.notes:
        out_.print(f"note: {note}", markup=False)
    out_.print(f"video: {made.video}", markup=False)
    out_.print(f"stills: {made.sheet}", markup=False)
