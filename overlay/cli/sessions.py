"""``overlay sessions``: the sessions of the record, newest first."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from overlay.cli.record_options import (
    check_days,
    date_options,
    no_library,
    opened_for_listing,
    plain,
    record_options,
)
from overlay.cli.record_show import Head, listed, print_rows, say
from overlay.terms import words

if TYPE_CHECKING:
    from overlay.data.record import Session
    from overlay.terms import View

HEADS = (
    Head("id", number=True),
    Head("date", plain=True),
    Head("player", words=True, most=40, plain=True),
    Head("club", words=True, most=30, plain=True),
    Head("place", words=True, most=40, spare=4, plain=True),
    Head("clips", number=True),
    Head("dtl", number=True),
    Head("fo", number=True),
    Head("other", number=True, spare=2),
    Head("failed", number=True),
    Head("worked on", words=True, spare=3),
    Head("focus", words=True),
    Head("tags", words=True, spare=5),
)
VIEWS: tuple[View, ...] = ("dtl", "fo", "other")


@click.command("sessions")
@click.argument("player", required=False, metavar="[PLAYER]")
@date_options
@click.option("--club", help="Only this club, as it was told.")
@record_options
def command(
    player: str | None,
    since: datetime.date | None,
    until: datetime.date | None,
    club: str | None,
    library: Path | None,
    as_json: bool,
) -> None:
    """List the sessions, newest first, of all players or of PLAYER: one player, one day, one club each."""
    from overlay import record_documents as documents
    from overlay.library.counting import swings_by_view

    check_days(since, until)
    with opened_for_listing(library) as store:
        found: tuple[Session, ...] = ()
        views: dict[int, dict[View, int]] = {}
        every: tuple[Session, ...] = ()
        if store is not None:
            name = None if player is None else store.player(player).name
            found = store.sessions(name, since=since, until=until, club=club)
            views = swings_by_view(store, [session.id for session in found])
            every = found or store.sessions(name)
    found = tuple(sorted(found, key=lambda session: (session.date, session.id), reverse=True))
    if as_json:
        rows = [documents.session_document(session, views[session.id]) for session in found]
        click.echo(documents.to_json(documents.headed("sessions", {"sessions": rows})), nl=False)
        return
    if store is None:
        say(no_library())
    elif not found:
        say(_nothing(every, player))
    else:
        several = len({session.player_id for session in found}) > 1 or player is None
        print_rows(HEADS, [_row(session, views[session.id], several) for session in found])


def _nothing(every: tuple[Session, ...], player: str | None) -> str:
    whose = f" of {plain(player, 60)}" if player else ""
    if not every:
        return f"No sessions{whose} yet: `overlay add CLIP --player NAME` reads clips and keeps what was found."
    days = [session.date for session in every]
    clubs = sorted({session.club for session in every if session.club})
    told = f" Clubs are: {listed(clubs)}." if clubs else ""
    return f"No session{whose} is so: there are {len(every)}, from {min(days)} to {max(days)}.{told}"


def _row(session: Session, views: dict[View, int], several: bool) -> tuple[str, ...]:
    aim = "" if session.aim == "either" or not session.focus else f", {session.aim}"
    return (
        str(session.id),
        session.date.isoformat(),
        session.player if several else "",
        session.club,
        session.place,
        str(session.n_clips),
        *(str(views.get(view) or "") for view in VIEWS),
        str(session.n_failed or ""),
        session.worked_on,
        words(session.focus) + aim,
        ", ".join(session.tags),
    )
