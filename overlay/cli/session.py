"""``overlay session``: everything about one session, changing it, its summary page, removing it."""

from __future__ import annotations

import datetime
import os
from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.record_options import ID, PastDay, ask, check_focus, opened, plain, record_options
from overlay.cli.record_show import Head, counted, print_rows, say
from overlay.cli.show import progress_display
from overlay.data.record import AIMS
from overlay.errors import InputError, OutputError
from overlay.terms import VIEW_WORDS, words

if TYPE_CHECKING:
    from overlay.data.record import KeptClip, KeptSwing, Note, Session
    from overlay.library import Store

CLIP_HEADS = (
    Head("clip", number=True),
    Head("file", words=True, plain=True),
    Head("state", plain=True),
    Head("swings", number=True, spare=1),
    Head("why, and what to do", words=True, most=400, plain=True),
)
SWING_HEADS = (
    Head("swing", number=True),
    Head("clip", number=True, spare=4),
    Head("no.", number=True, spare=5),
    Head("view", plain=True),
    Head("tempo", number=True),
    Head("first", words=True),
    Head("filming", spare=3),
    Head("best", plain=True),
    Head("tags", words=True, spare=2),
)


@click.command("session")
@click.argument("session_id", type=ID, metavar="ID")
@click.option("--place", help='Where it was; "" for not told.')
@click.option("--club", help='The club; "" for not told.')
@click.option("--date", "day", type=PastDay(), help="The day, the player's own: 2026-05-03.")
@click.option("--worked-on", help="What was worked on, in your words.")
@click.option("--focus", metavar="MEASURE", help='The one measure that is declared; "" for none.')
@click.option("--aim", type=click.Choice(AIMS), help="Which way the focus measure is meant to go.")
@click.option(
    "--page",
    type=click.Path(path_type=Path, file_okay=False),
    help="Write its summary page and picture into this folder.",
)
@click.option(
    "--remove-clip", "clips", type=ID, multiple=True, help="Remove this clip (its id) as it was read; its file stays."
)
@click.option("--remove", is_flag=True, help="Remove the session with everything that was read; the clips stay.")
@click.option("--yes", is_flag=True, help="Remove without asking.")
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
@record_options
def command(
    session_id: int,
    place: str | None,
    club: str | None,
    day: datetime.date | None,
    worked_on: str | None,
    focus: str | None,
    aim: Any,
    page: Path | None,
    clips: tuple[int, ...],
    remove: bool,
    yes: bool,
    quiet: bool,
    library: Path | None,
    as_json: bool,
) -> None:
    """Show one session: its clips with what could not be read and why, its swings, what came first, the notes."""
    changes = {"place": place, "club": club, "date": day, "worked_on": worked_on, "focus": focus, "aim": aim}
    changes = {name: value for name, value in changes.items() if value is not None}
    if remove and (changes or page or clips):
        raise click.UsageError("--remove goes alone: nothing of the session is left to change or to show.")
    if yes and not remove:
        raise click.UsageError("--yes belongs to --remove.")
    with opened(library) as store:
        session = store.session(session_id)
        if remove:
            _remove(store, session, yes, as_json)
            return
        _check_clips(store, session_id, clips)
        if focus is not None:
            changes["focus"] = check_focus(store, focus)
        if changes:
            session = store.change_session(session_id, **changes)
        for clip in dict.fromkeys(clips):
            store.remove_clip(clip)
        if clips:
            session = store.session(session_id)
        pages = _write_page(store, session_id, page, quiet)
        _show(store, session, pages, as_json)


def _check_clips(store: Store, session_id: int, clips: tuple[int, ...]) -> None:
    here = {clip.id for clip in store.clips(session_id)} if clips else set()
    for clip in clips:
        if clip not in here:
            raise InputError(f"Session {session_id} has no clip {clip}.", f"`overlay session {session_id}` lists them.")


def _write_page(store: Store, session_id: int, folder: Path | None, quiet: bool) -> list[Path]:
    if folder is None:
        return []
    from overlay.pipeline.session_pages import write_session_page

    with progress_display(quiet) as progress:
        return list(write_session_page(store, session_id, folder, progress=progress))


def _title(session: Session) -> str:
    club = f", {plain(session.club, 60)}" if session.club else ""
    return f"Session {session.id}: {plain(session.player, 60)}, {session.date.isoformat()}{club}"


def _remove(store: Store, session: Session, yes: bool, as_json: bool) -> None:
    from overlay import record_documents as documents

    holds = f"{counted(session.n_clips + session.n_failed, 'clip')} and {counted(session.n_swings, 'swing')}"
    if not yes and not ask(f"{_title(session)}. Remove it with what was read of {holds}, and its notes?"):
        raise OutputError("Nothing was removed.", "Answer y, or give --yes.")
    store.remove_session(session.id)
    if as_json:
        removed = documents.headed("session removed", {"session": documents.session_document(session)})
        click.echo(documents.to_json(removed), nl=False)
        return
    say(f"Removed session {session.id} with what was read of {holds}. The clips' files were not touched.")


def _show(store: Store, session: Session, pages: list[Path], as_json: bool) -> None:
    from overlay import record_documents as documents
    from overlay.library import SwingFilter
    from overlay.library.counting import swings_by_view

    clips = store.clips(session.id)
    swings = store.swings(SwingFilter(sessions=(session.id,)), sort="id", descending=False)
    notes = _notes(store, session, clips, swings)
    if as_json:
        fields = {
            "session": documents.session_document(session, swings_by_view(store, [session.id])[session.id]),
            "clips": [documents.kept_clip_document(clip, present=os.path.exists(clip.path)) for clip in clips],
            "swings": [documents.kept_swing_document(swing) for swing in swings],
            "notes": [documents.note_document(note) for note in notes],
            "pages": [str(path) for path in pages],
        }
        click.echo(documents.to_json(documents.headed("session", fields)), nl=False)
        return
    say(_title(session), bold=True)
    focus = words(session.focus) + ("" if session.aim == "either" else f", meant to get {session.aim}")
    for label, text in (
        ("Place", session.place),
        ("Worked on", session.worked_on),
        ("Focus", focus if session.focus else ""),
        ("Tags", ", ".join(session.tags)),
    ):
        if text:
            say(f"{label}: {plain(text, 1000)}")
    if not clips:
        say("No clips yet: `overlay add CLIP` with this player, day and club puts them here.")
    else:
        print_rows(CLIP_HEADS, [_clip_row(clip) for clip in clips])
    _print_swings(swings)
    for note in notes:
        where = "" if note.target == "session" else f" on {note.target} {note.target_id}"
        say(f"note {note.id}{where}, {note.made_at[:10]}: {plain(note.text, 2000)}")
    for path in pages:
        say(f"page: {plain(str(path), 1000)}")


def _notes(
    store: Store, session: Session, clips: tuple[KeptClip, ...], swings: tuple[KeptSwing, ...]
) -> tuple[Note, ...]:
    """Those of the session first, then those of its clips and swings."""
    found = list(store.notes("session", session.id))
    for clip in clips:
        found += store.notes("clip", clip.id)
    for swing in swings:
        found += store.notes("swing", swing.id)
    return tuple(found)


def _clip_row(clip: KeptClip) -> tuple[str, ...]:
    gone = "" if os.path.exists(clip.path) else "File not there any more."
    why = " ".join(part for part in (clip.problem, clip.hint) if part)
    return (
        str(clip.id),
        clip.path.name,
        "failed" if clip.problem else "read",
        str(clip.n_swings),
        " ".join(part for part in (why, gone) if part),
    )


def _print_swings(swings: tuple[KeptSwing, ...]) -> None:
    if not swings:
        return
    say("")
    print_rows(SWING_HEADS, [_swing_row(swing) for swing in swings])
    for view, name in VIEW_WORDS.items():
        seen = [swing for swing in swings if swing.view == view]
        first = Counter(swing.first for swing in seen if swing.first)
        if first:
            top = ", ".join(f"{words(plain(measure, 60))} ({n} of {len(seen)})" for measure, n in first.most_common(3))
            say(f"First things, {name}: {top}")


def _swing_row(swing: KeptSwing) -> tuple[str, ...]:
    return (
        str(swing.id),
        str(swing.clip_id),
        str(swing.number),
        swing.view,
        f"{swing.tempo_ratio:.2f}" if swing.tempo_ratio == swing.tempo_ratio else "–",
        words(swing.first),
        swing.filming,
        "best" if swing.is_best else "",
        ", ".join(swing.tags),
    )
