""" "Then and now": a player's best swing of an older session beside the best of today, as one film and one sheet."""

from __future__ import annotations

import dataclasses
import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from overlay.data import Comparison, KeptSwing, Swing
from overlay.errors import InputError, MismatchError
from overlay.files import has_content
from overlay.pipeline.clips import Inspection, inspect_clip
from overlay.pipeline.closer import look_closer
from overlay.pipeline.comparing import compare_inspections
from overlay.pipeline.kept import KeptEntry, kept_entry
from overlay.pipeline.outputs import check_outputs, source_of
from overlay.pipeline.references import as_inspection
from overlay.progress import SILENT, Progress
from overlay.settings.plots import PLOTS
from overlay.terms import VIEW_WORDS, View

if TYPE_CHECKING:
    from overlay.compose import Source
    from overlay.compose.options import Layout
    from overlay.library import Store

CALLED = ("the newer swing", "the older swing")
"""How the two are called in sentences."""

SEARCHED = 5000
"""Files of a folder that are looked through for a clip that has moved."""


@dataclass(frozen=True)
class ThenAndNow:
    """What was compared and written.

    Attributes
    ----------
    then, now : KeptSwing
    comparison : Comparison
        ``now`` as the student, ``then`` as the reference.
    video, sheet : Path
    notes : tuple of str
        What stood in for what was missing.
    """

    then: KeptSwing
    now: KeptSwing
    comparison: Comparison
    video: Path
    sheet: Path
    notes: tuple[str, ...] = ()


def then_and_now(
    store: Store,
    player: str,
    out: Path,
    *,
    view: View | None = None,
    club: str | None = None,
    then: int | None = None,
    now: int | None = None,
    layout: Layout = "both",
    speed: float = 1.0,
    progress: Progress = SILENT,
) -> ThenAndNow:
    """Film an older best swing of a player beside his newest best.

    Parameters
    ----------
    store : Store
    player : str
    out : Path
        The film, ends in ``.mp4``; the sheet of stills lies beside it, ``-stills.png``.
    view, club : optional
        Of both swings; those of the newer one when left out.
    then, now : int, optional
        Ids of swings. Left out: ``now`` is the newest swing marked as best, ``then`` the oldest one so marked in an
        earlier session, else the last swing of the first session.
    layout, speed
        As ``compose.ComposeOptions``.
    progress : Progress

    Raises
    ------
    InputError
        There are no two such swings, or ``out`` is no film.
    MismatchError
        The two swings are of different views.
    OutputError
        The files cannot be written, or would be written over a clip.
    """
    if out.suffix.lower() != ".mp4":
        raise InputError(f"{out.name} is no name of a film.", "Give a name that ends in .mp4.")
    newer, older, notes = chosen_swings(store, player, view=view, club=club, then=then, now=now)
    sheet = out.with_name(f"{out.stem}-stills.png")
    entries = [_found(store, kept_entry(store, swing)) for swing in (newer, older)]
    check_outputs((out, sheet), [entry.clip for entry in entries if entry.clip is not None])
    inspections, numbers, more = _inspected(entries, progress)
    notes += more
    comparison = compare_inspections(
        inspections[0],
        inspections[1],
        student_swing=numbers[0],
        reference_swing=numbers[1],
        same_player=True,
        progress=progress,
    )
    # The checklist speaks of a reference to reach; here two days of one player are shown.
    comparison = dataclasses.replace(
        comparison, checklist=None, notes=tuple(dict.fromkeys((*notes, *comparison.notes)))
    )
    names = day_names(older.date, newer.date)
    sources = source_of(inspections[0], names[1]), source_of(inspections[1], names[0])
    _write(comparison, sources, out, sheet, layout, speed, progress)
    return ThenAndNow(older, newer, comparison, out, sheet, tuple(notes))


def chosen_swings(
    store: Store,
    player: str,
    *,
    view: View | None = None,
    club: str | None = None,
    then: int | None = None,
    now: int | None = None,
) -> tuple[KeptSwing, KeptSwing, list[str]]:
    """The newer and the older swing, and what has to be told of the choice. Raises as ``then_and_now``."""
    from overlay.library import SwingFilter

    who = store.player(player)
    notes: list[str] = []
    given = {name: _given(store, who.name, id) for name, id in (("then", then), ("now", now)) if id is not None}
    if "now" in given:
        newer = given["now"]
    else:
        known = given.get("then")
        wanted = view or (None if known is None else known.view)
        marked = store.best(who.name, view=wanted, club=club)
        marked = tuple(swing for swing in marked if known is None or _is_before(known, swing))
        if not marked:
            where = f" filmed {VIEW_WORDS[wanted]}" if wanted else ""
            when = "" if known is None else f" in a session after {known.date.isoformat()}"
            raise InputError(
                f"No swing of {who.name}{where}{when} is marked as best.",
                "Mark one with `overlay best` or name it with --now; `overlay swings` lists the ids.",
            )
        newer = marked[0]
    if "then" in given:
        older = given["then"]
    else:
        seen = view or newer.view
        same_club = newer.club if club is None else club
        marked = store.best(who.name, view=seen, club=same_club)
        before = [swing for swing in marked if _is_before(swing, newer)]
        if before:
            older = before[-1]
        else:
            older, said = _of_first_session(
                store, SwingFilter(players=(who.name,), views=(seen,), clubs=(same_club,)), newer
            )
            notes.append(said)
    if newer.id == older.id:
        raise InputError(f"Swing {newer.id} would be compared with itself.", "Give two different swings.")
    if (newer.date, newer.id) < (older.date, older.id):
        # Given the wrong way round: then is what came first.
        newer, older = older, newer
    if newer.view != older.view:
        raise MismatchError(
            f"Swing {older.id} is filmed {VIEW_WORDS[older.view]}, swing {newer.id} {VIEW_WORDS[newer.view]}.",
            "Choose two swings of one view.",
        )
    if newer.club.casefold().split() != older.club.casefold().split():
        notes.append(f"Then with the {older.club or 'club not told'}, now with the {newer.club or 'club not told'}.")
    if newer.handedness != older.handedness:
        notes.append("The two swings are of different hands; one of them may be filmed in a mirror.")
    return newer, older, notes


def _given(store: Store, player: str, id: int) -> KeptSwing:
    swing = store.swing(id)
    if swing.player != player:
        raise InputError(
            f"Swing {id} is of {swing.player}, not of {player}.", f"`overlay swings --player '{player}'` lists the ids."
        )
    return swing


def _is_before(swing: KeptSwing, other: KeptSwing) -> bool:
    return swing.session_id != other.session_id and (swing.date, swing.id) < (other.date, other.id)


def _of_first_session(store: Store, filter: object, newer: KeptSwing) -> tuple[KeptSwing, str]:
    """The last swing of the first session before ``newer``'s, and the sentence that says so."""
    swings = [
        swing
        for swing in store.swings(filter, sort="date", descending=False)  # type: ignore[arg-type]
        if _is_before(swing, newer)
    ]
    if not swings:
        raise InputError(
            f"No session of {newer.player} before {newer.date.isoformat()} has a swing of that view and club.",
            "Name an older swing with --then; `overlay swings` lists the ids.",
        )
    last = [swing for swing in swings if swing.session_id == swings[0].session_id][-1]
    return last, (
        f"No swing of an earlier session is marked as best: shown is the last one of the first session, "
        f"swing {last.id}."
    )


# --- clips ------------------------------------------------------------------------------------------------------


def found_clip(store: Store, swing: KeptSwing) -> Path | None:
    """The clip of a swing where it lies now: where it was seen last, else in a folder of its session's clips.

    A file counts only with the content that was read.
    """
    clip = store.clip(swing.clip_id)
    folders = dict.fromkeys(other.path.parent for other in (clip, *store.clips(swing.session_id)))
    tried = [clip.path]
    for folder in folders:
        try:
            around = sorted(folder.iterdir())[:SEARCHED]
        except OSError:
            continue
        tried += [path for path in around if path.suffix.lower() == clip.path.suffix.lower() and path != clip.path]
    return next((path for path in tried if has_content(path, clip.content_hash, clip.size_bytes)), None)


def _found(store: Store, entry: KeptEntry) -> KeptEntry:
    """The entry with its clip, found again where it has moved."""
    if entry.clip is not None:
        return entry
    return dataclasses.replace(entry, clip=found_clip(store, entry.swing))


def _inspected(
    entries: list[KeptEntry], progress: Progress
) -> tuple[list[Inspection], tuple[int | None, int | None], list[str]]:
    """Both swings, each from its clip, or from what was kept where the clip is gone."""
    notes: list[str] = []
    shown: list[Inspection] = []
    for entry in entries:
        inspection = None if entry.clip is None else _read_again(entry.clip, entry, progress)
        if inspection is not None:
            shown.append(inspection)
            continue
        shown.append(as_inspection(entry.model, entry.model.swings[entry.swing.view]))
        name = entry.swing.path.name
        why = f"{name} is no longer there" if entry.clip is None else f"the swing was not found in {name} again"
        notes.append(
            f"The swing of {entry.swing.date.isoformat()} is shown as a drawn figure from what was kept of it: {why}."
        )
    numbers = [inspection.swings[0].swing_number for inspection in shown]
    return shown, (numbers[0], numbers[1]), notes


def _read_again(path: Path, entry: KeptEntry, progress: Progress) -> Inspection | None:
    """The clip with the one swing that was kept, looked at closely; None where it is not found again."""
    inspection = inspect_clip(path, entry.options, progress=progress)
    swing = _same_swing(inspection.swings, entry.swing)
    if swing is None:
        return None
    looked = look_closer(inspection, swing.swing_number, entry.options, progress=progress)
    # One swing against one: the others of the recording are no repeats of the best.
    return dataclasses.replace(looked, swings=(looked.chosen(swing.swing_number),))


def _same_swing(swings: Sequence[Swing], kept: KeptSwing) -> Swing | None:
    """The swing whose impact is where it was when it was kept."""
    slack_s = PLOTS.same_swing_s * max(1.0, kept.slow_factor)
    for swing in swings:
        at = swing.positions.time("impact")
        if swing.view != kept.view:
            continue
        if at is None or not math.isfinite(kept.impact_s):
            if swing.swing_number == kept.number:
                return swing
        elif abs(at - kept.impact_s) <= slack_s:
            return swing
    return None


# --- what is written --------------------------------------------------------------------------------------------


def day_names(then: datetime.date, now: datetime.date) -> tuple[str, str]:
    """ "Then, 3 May" and "Now, 20 June", with the years where they differ."""
    years = then.year != now.year
    said = [f"{day.day} {day:%B}" + (f" {day.year}" if years else "") for day in (then, now)]
    return f"Then, {said[0]}", f"Now, {said[1]}"


def _write(
    comparison: Comparison,
    sources: tuple[Source, Source],
    out: Path,
    sheet: Path,
    layout: Layout,
    speed: float,
    progress: Progress,
) -> None:
    from overlay.compose import ComposeOptions, render_sheet, render_video

    options = ComposeOptions(layout=layout, speed=speed, called=CALLED)
    progress.stage("drawing the stills")
    render_sheet(comparison, sheet, student=sources[0], reference=sources[1], options=options)
    progress.done()
    render_video(comparison, out, student=sources[0], reference=sources[1], options=options, progress=progress)
