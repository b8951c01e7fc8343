"""``overlay note``: remarks and tags on a player, a session, a clip or a swing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.record_options import ID, Target, TargetType, opened, plain, record_options
from overlay.cli.record_show import say
from overlay.errors import InputError

if TYPE_CHECKING:
    from overlay.library import Store


@click.command("note")
@click.argument("target", type=TargetType(), metavar="TARGET")
@click.argument("text", nargs=-1, metavar="[TEXT]…")
@click.option("--tag", "tags", multiple=True, metavar="WORD", help="Put this tag on a session, clip or swing.")
@click.option("--untag", "untags", multiple=True, metavar="WORD", help="Take this tag off again.")
@click.option("--remove", "removed", type=ID, multiple=True, metavar="NOTE", help="Remove this note (its number).")
@record_options
def command(
    target: Target,
    text: tuple[str, ...],
    tags: tuple[str, ...],
    untags: tuple[str, ...],
    removed: tuple[int, ...],
    library: Path | None,
    as_json: bool,
) -> None:
    """Write TEXT as a note on TARGET: player:NAME, session:12, clip:7 or swing:431. Without TEXT, show its notes."""
    from overlay import record_documents as documents

    said = " ".join(text).strip()
    if text and not said:
        raise click.UsageError("The note is empty.")
    if target.kind == "player" and (tags or untags):
        raise click.UsageError("Tags go on a session, a clip or a swing; write a note on a player.")
    if empty := next((word for word in (*tags, *untags) if not plain(word)), None):
        raise click.UsageError(f"{empty!r} is no tag.")
    with opened(library) as store:
        target_id, kept = _find(store, target)
        here = {note.id for note in store.notes(_kind(target), target_id)}
        for number in removed:
            if number not in here:
                raise InputError(
                    f"{target.shown} has no note {number}.", f"`overlay note {target.shown}` shows its notes."
                )
        for number in removed:
            store.remove_note(number)
        for word in untags:
            store.untag(_kind(target), target_id, word)
        for word in tags:
            store.tag(_kind(target), target_id, word)
        if said:
            store.add_note(_kind(target), target_id, said)
        notes = store.notes(_kind(target), target_id)
        words = () if target.kind == "player" else store.tags(_kind(target), target_id)
    if as_json:
        fields = {
            "target": target.kind,
            "target_id": target_id,
            "tags": list(words),
            "notes": [documents.note_document(note) for note in notes],
        }
        click.echo(documents.to_json(documents.headed("notes", fields)), nl=False)
        return
    say(kept, bold=True)
    if words:
        say(f"Tags: {plain(', '.join(words), 1000)}")
    for note in notes:
        say(f"note {note.id}, {note.made_at[:10]}: {plain(note.text, 5000)}")
    if not notes and not words:
        say(f"No notes yet: `overlay note {target.shown} TEXT` writes one.")


def _kind(target: Target) -> Any:
    return target.kind


def _find(store: Store, target: Target) -> tuple[int, str]:
    """The id of the target, and what it is in words."""
    if target.kind == "player":
        player = store.player(target.key)
        return player.id, f"Player {plain(player.name, 80)}"
    number = int(target.key)
    if target.kind == "session":
        session = store.session(number)
        club = f", {plain(session.club, 60)}" if session.club else ""
        return number, f"Session {number}: {plain(session.player, 60)}, {session.date.isoformat()}{club}"
    if target.kind == "clip":
        clip = store.clip(number)
        return number, f"Clip {number}: {plain(clip.path.name, 80)}"
    swing = store.swing(number)
    return number, f"Swing {number}: {plain(swing.player, 60)}, {swing.date.isoformat()}, {plain(swing.path.name, 80)}"
