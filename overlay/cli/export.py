"""``overlay export``: what is kept, as plain tables."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import Any

import click

from overlay.cli.record_options import Limit, filter_options, opened, plain, read_filter, record_options
from overlay.cli.record_show import counted, say
from overlay.cli.show import progress_display


@click.command("export")
@click.argument("target", type=click.Path(path_type=Path), metavar="FOLDER|FILE")
@click.option("--player", "players", multiple=True, help="Only this player; may be given more than once.")
@filter_options
@click.option("--format", "form", type=click.Choice(["csv", "parquet"]), help="Default: as FILE's name ends, else csv.")
@click.option("--tracks", is_flag=True, help="Also the joints and the club of every swing, frame by frame, as CSV.")
@click.option(
    "--anonymous",
    is_flag=True,
    help="No names: players and references are numbered, places, work, tags and clips' names are left out.",
)
@click.option("--replace", is_flag=True, help="Replace an earlier export of that name.")
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
@record_options
def command(
    target: Path,
    players: tuple[str, ...],
    sessions: tuple[int, ...],
    since: datetime.date | None,
    until: datetime.date | None,
    clubs: tuple[str, ...],
    view: Any,
    tags: tuple[str, ...],
    only_best: bool,
    first: str | None,
    limits: tuple[Limit, ...],
    form: Any,
    tracks: bool,
    anonymous: bool,
    replace: bool,
    quiet: bool,
    library: Path | None,
    as_json: bool,
) -> None:
    """Write what is kept as tables: into FOLDER measures, differences, positions, swings and sessions, or the measures
    alone into FILE (ending in .csv or .parquet).

    One row of measures is one swing and one measure. docs/record.md says how to read them.
    """
    from overlay import record_documents as documents
    from overlay.library.export import export

    with opened(library) as store:
        chosen = read_filter(
            store,
            players,
            sessions=sessions,
            since=since,
            until=until,
            clubs=clubs,
            view=view,
            tags=tags,
            only_best=only_best,
            first=first,
            limits=limits,
        )
        with progress_display(quiet) as progress:
            done = export(
                store,
                target,
                chosen,
                form=form,
                tracks=tracks,
                anonymous=anonymous,
                replace=replace,
                progress=progress,
            )
    if as_json:
        fields = {
            "path": str(done.path),
            "format": done.format,
            "anonymous": anonymous,
            "rows": done.rows,
            "tracks": done.n_tracks if tracks else None,
            "without_track": [{"swing_id": swing, "reason": why} for swing, why in done.without_track],
        }
        click.echo(documents.to_json(documents.headed("export", fields)), nl=False)
        return
    say("Exported " + ", ".join(f"{table} ({counted(n, 'row')})" for table, n in done.rows.items()) + ".")
    if tracks:
        say(f"Tracks of {counted(done.n_tracks, 'swing')}.")
    for swing, why in done.without_track[:8]:
        say(f"note: no track of swing {swing}: {plain(why, 500)}")
    if len(done.without_track) > 8:
        say(f"note: and of {len(done.without_track) - 8} more swings")
    if not anonymous:
        say("note: It holds the players' names; --anonymous leaves them out.")
    say(f"{'file' if done.path.is_file() else 'folder'}: {plain(str(done.path), 1000)}")
