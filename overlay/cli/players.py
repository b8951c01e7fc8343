"""``overlay players``: whose swings are kept."""

from __future__ import annotations

import datetime
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.options import HANDS
from overlay.cli.record_options import check_path, no_library, opened, opened_for_listing, plain, record_options
from overlay.cli.record_show import Head, counted, print_rows, say

if TYPE_CHECKING:
    from overlay.data.record import Player, Session
    from overlay.library import Store

HEADS = (
    Head("name", words=True, most=40),
    Head("hand", plain=True),
    Head("stature", number=True, spare=2),
    Head("sessions", number=True),
    Head("swings", number=True),
    Head("last"),
    Head("reference", words=True, most=40, spare=1),
)


@click.command("players")
@click.argument("name", required=False, metavar="[NAME]")
@click.option("--hand", type=HANDS, help="The hand NAME plays with.")
@click.option("--stature-cm", type=click.FloatRange(80, 240), help="NAME's body height.")
@click.option(
    "--reference",
    help="What NAME's swings are compared with unless another is chosen: a model's name or file, \"best\", "
    '"best:PLAYER", "swing:ID", or "" for nothing.',
)
@click.option("--rename", metavar="NEW", help="Call NAME this from now on; everything that is kept stays his.")
@click.option("--new", is_flag=True, help="NAME is a new player.")
@record_options
def command(
    name: str | None,
    hand: str | None,
    stature_cm: float | None,
    reference: str | None,
    rename: str | None,
    new: bool,
    library: Path | None,
    as_json: bool,
) -> None:
    """List the players of the library; with NAME and an option, change what is known of one."""
    changes: dict[str, Any] = {"handedness": hand, "stature_cm": stature_cm, "reference": reference}
    if name is None:
        if new or rename or any(value is not None for value in changes.values()):
            raise click.UsageError("Say whom to change: overlay players NAME --hand …")
        _list(library, as_json)
        return
    changed = new or rename is not None or any(value is not None for value in changes.values())
    if new and rename is not None:
        raise click.UsageError("--new and --rename do not go together.")
    if new:
        from overlay.library import default_path, open_store

        check_path(library if library is not None else default_path())
        with open_store(library) as store:
            _check_new(store, name)
            player = store.ensure_player(name, **changes)
            _show(store, player, as_json, changed, _doubt(store, reference))
        return
    with opened(library) as store:
        player = store.player(name)
        if rename is not None:
            from overlay.library.renaming import rename_player

            player = rename_player(store, player.name, rename)
        if changed:
            player = store.ensure_player(player.name, **changes)
        _show(store, player, as_json, changed, _doubt(store, reference))


def _check_new(store: Store, name: str) -> None:
    from overlay.errors import InputError, OutputError

    try:
        known = store.player(name).name
    except InputError:
        return
    raise OutputError(f"There is a player {plain(known, 60)} already.", "Change him without --new.")


def _doubt(store: Store, reference: str | None) -> str:
    """Why a reference cannot be used as things are; it may still be made later."""
    from overlay.errors import InputError
    from overlay.models import Library
    from overlay.models.checks import same_name

    if not reference or reference.casefold() in ("best", "none"):
        return ""
    word, _, rest = reference.partition(":")
    try:
        if word.casefold() == "best" and rest:
            store.player(rest.strip())
            return ""
        if word.casefold() == "swing" and rest.strip().isdigit():
            store.swing(int(rest))
            return ""
    except InputError as error:
        return plain(f"{error.message} {error.hint}")
    if os.path.exists(reference) or any(same_name(name) == same_name(reference) for name in Library().names()):
        return ""
    return f"There is no model or clip {plain(reference, 60)} yet: `overlay model list` shows those there are."


def _list(library: Path | None, as_json: bool) -> None:
    from overlay import record_documents as documents

    with opened_for_listing(library) as store:
        players = () if store is None else store.players()
        sessions = _by_player(() if store is None else store.sessions())
    rows = [(player, *_counts(sessions.get(player.id, []))) for player in players]
    if as_json:
        listed = [documents.player_document(p, sessions=n, swings=m, last=last) for p, n, m, last in rows]
        click.echo(documents.to_json(documents.headed("players", {"players": listed})), nl=False)
        return
    if store is None:
        say(no_library())
    elif not rows:
        say("No players yet: `overlay add CLIP --player NAME` makes one, or `overlay players NAME --new`.")
    else:
        print_rows(HEADS, [_row(*row) for row in rows])


def _by_player(sessions: tuple[Session, ...]) -> dict[int, list[Session]]:
    found: dict[int, list[Session]] = {}
    for session in sessions:
        found.setdefault(session.player_id, []).append(session)
    return found


def _counts(sessions: list[Session]) -> tuple[int, int, datetime.date | None]:
    return len(sessions), sum(s.n_swings for s in sessions), max((s.date for s in sessions), default=None)


def _row(player: Player, sessions: int, swings: int, last: datetime.date | None) -> tuple[str, ...]:
    return (
        player.name,
        player.handedness or "",
        "" if player.stature_cm is None else f"{player.stature_cm:g} cm",
        f"{sessions:,}",
        f"{swings:,}",
        "" if last is None else last.isoformat(),
        player.reference,
    )


def _show(store: Store, player: Player, as_json: bool, changed: bool, doubt: str) -> None:
    from overlay import record_documents as documents

    sessions = list(store.sessions(player.name))
    n_sessions, n_swings, last = _counts(sessions)
    notes = store.notes("player", player.id)
    if as_json:
        document = documents.player_document(player, sessions=n_sessions, swings=n_swings, last=last)
        listed = [documents.note_document(note) for note in notes]
        click.echo(documents.to_json(documents.headed("player", {"player": document, "notes": listed})), nl=False)
        return
    say(("Kept: " if changed else "") + plain(player.name, 80), bold=True)
    facts = [f"{player.handedness}-handed" if player.handedness else "hand not told"]
    if player.stature_cm is not None:
        facts.append(f"{player.stature_cm:g} cm tall")
    facts.append(f"compared with {plain(player.reference, 60)}" if player.reference else "no reference of his own")
    say(", ".join(facts))
    newest = f", the last on {last.isoformat()}" if last else ""
    say(f"{counted(n_sessions, 'session')}{newest}, {counted(n_swings, 'swing')}")
    for note in notes:
        say(f"note {note.id}, {note.made_at[:10]}: {plain(note.text, 2000)}")
    if doubt:
        say(f"note: {doubt}")
