"""The page of a session, gathered from the library: counts, measures, cameras, the focus over time, a swing to see."""

from __future__ import annotations

import dataclasses
import math
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from overlay.data import ChangeAnswer, KeptSwing, Session
from overlay.errors import InputError, OverlayError
from overlay.files import check_writable, write_text
from overlay.pipeline.kept import kept_entry
from overlay.pipeline.then_now import found_clip
from overlay.pipeline.trend_pictures import part_repeats, usual_or_none, with_best
from overlay.progress import SILENT, Progress
from overlay.settings.compose import COMPOSE
from overlay.settings.plots import PLOTS
from overlay.terms import VIEW_WORDS, View

if TYPE_CHECKING:
    from overlay.library import Store
    from overlay.plots import Trend
    from overlay.report.sessions import MeasureLine, SeenPart, SessionPage, ShownSwing

MOST_FINDINGS = 4
"""Things wrong with the filming that are told; more are not read."""


def write_session_page(
    store: Store, session_id: int, folder: Path, *, progress: Progress = SILENT
) -> tuple[Path, Path]:
    """Write the page of a session as self-contained HTML and as one picture.

    Parameters
    ----------
    store : Store
    session_id : int
    folder : Path
        Made when it is missing.
    progress : Progress

    Returns
    -------
    (html, png) : Path

    Raises
    ------
    InputError
        There is no such session.
    OutputError
        The folder cannot be written.
    """
    from overlay.report.sessions import session_html, session_picture
    from overlay.video import write_png

    session = store.session(session_id)
    name = f"session-{session.date.isoformat()}-{session.id}"
    html, png = folder / f"{name}.html", folder / f"{name}.png"
    check_writable((html, png))
    progress.stage("gathering the session")
    page = session_page(store, session)
    progress.done()
    progress.stage("drawing the page")
    write_text(html, session_html(page))
    write_png(png, session_picture(page))
    progress.done()
    return html, png


def session_page(store: Store, session: Session) -> SessionPage:
    """Everything that the page of a session says. Raises InputError as the library does."""
    from overlay.library import SwingFilter
    from overlay.report.sessions import SessionPage

    swings = store.swings(SwingFilter(sessions=(session.id,)), sort="date", descending=False)
    earlier = store.sessions(session.player, until=session.date, club=session.club)
    before = [one for one in earlier if (one.date, one.id) < (session.date, session.id)]
    views = [view for view in ("dtl", "fo", "other") if any(swing.view == view for swing in swings)]
    trend, answer, note = _focus(store, session)
    return SessionPage(
        session,
        firsts=tuple(Counter(swing.first for swing in swings).most_common()),
        failed=tuple((clip.path.name, clip.problem, clip.hint) for clip in store.clips(session.id) if clip.problem),
        seen=tuple(_seen(store, session, before, view, [s for s in swings if s.view == view]) for view in views),  # type: ignore[arg-type]
        trend=trend,
        answer=answer,
        trend_note=note,
        swing=_shown_swing(store, swings),
        notes=_notes(store, session, swings),
    )


# --- the focus --------------------------------------------------------------------------------------------------


def _focus(store: Store, session: Session) -> tuple[Trend | None, ChangeAnswer | None, str]:
    """The focus measure over all sessions kept, with the verdict where one can be given."""
    from overlay.plots import Trend
    from overlay.trends import change_answer, session_means

    if not session.focus:
        how = f"overlay session {session.id} --focus MEASURE"
        return None, None, f"No focus measure was declared for this session. Once one is ({how}), its change is judged."
    try:
        answer = change_answer(store, session.player, session.focus, club=session.club, space=usual_or_none())
    except InputError as error:
        note = f"No verdict yet: {error.message}"
        try:
            series = store.series(session.player, session.focus, club=session.club)
        except InputError:
            return None, None, note
        means = session_means(series)
        if not means:
            return None, None, note
        return with_best(store, Trend.of_series(series, means), session.club), None, note
    return with_best(store, Trend.of(answer), session.club), answer, ""


# --- one view ---------------------------------------------------------------------------------------------------


def _seen(
    store: Store, session: Session, before: Sequence[Session], view: View, swings: Sequence[KeptSwing]
) -> SeenPart:
    from overlay.library import SwingFilter
    from overlay.report.sessions import SeenPart

    last = next(
        (
            one
            for one in sorted(before, key=lambda one: (one.date, one.id), reverse=True)
            if store.count_swings(SwingFilter(sessions=(one.id,), views=(view,)))
        ),
        None,
    )
    best = next(iter(store.best(session.player, view=view, club=session.club)), None)
    lines = _measures(store, session, last, best, view)
    repeats = part_repeats(store, swings)
    findings, verdicts = _filming(store, swings)
    return SeenPart(
        view,
        len(swings),
        lines,
        None if last is None or not any(math.isfinite(line.last) for line in lines) else last.date,
        "" if best is None else f"swing {best.id} of {best.date.day} {best.date:%B}",
        verdicts,
        findings,
        _camera(store, session, last, view),
        repeats or tuple(line.repeat for line in lines if line.repeat is not None),
    )


def _measures(
    store: Store, session: Session, last: Session | None, best: KeptSwing | None, view: View
) -> tuple[MeasureLine, ...]:
    from overlay.plots import Repeat, measure_words
    from overlay.report.sessions import MeasureLine, full_title

    held = {} if best is None else {one.name: one.value for one in store.measures_of(best.id) if one.valid}
    found = []
    for name, unit, seen, _ in store.measure_names(session.player):
        if seen != view:
            continue
        # The two sessions that are told are all that is read: a library may hold thousands.
        since = session.date if last is None else last.date
        series = store.series(session.player, name, view=view, club=session.club, since=since, until=session.date)
        values = series.of_session(session.id)
        if not len(values):
            continue
        then = series.of_session(last.id) if last is not None else np.zeros(0)
        found.append(
            MeasureLine(
                name,
                unit,
                len(values),
                float(np.mean(values)),
                Repeat.of(full_title(measure_words(name)), "", unit, [values]),
                float(np.mean(then)) if len(then) else math.nan,
                float(held.get(name, math.nan)),
            )
        )
    return tuple(sorted(found, key=lambda line: measure_words(line.name).order))


def _filming(store: Store, swings: Sequence[KeptSwing]) -> tuple[tuple[tuple[str, str, str, int], ...], dict[str, int]]:
    """What was not good, each thing once with the number of swings, and the verdicts counted."""
    verdicts: Counter[str] = Counter()
    wrong: Counter[tuple[str, str]] = Counter()
    said: dict[tuple[str, str], tuple[str, str]] = {}
    for swing in swings:
        report = store.filming_of(swing.id)
        verdicts[report.verdict] += 1
        for finding in report.findings:
            if finding.verdict in ("fail", "warn"):
                key = finding.verdict, finding.name
                wrong[key] += 1
                said.setdefault(key, (finding.sentence, finding.advice))
    ordered = sorted(wrong.items(), key=lambda item: (item[0][0] != "fail", -item[1]))[:MOST_FINDINGS]
    return tuple((key[0], *said[key], n) for key, n in ordered), dict(verdicts)


def _camera(store: Store, session: Session, last: Session | None, view: View) -> tuple[str, ...]:
    """Whether the camera stood as in the session before."""
    from overlay.explain.session_shift import shifts_between
    from overlay.explain.session_words import shift_words, unseen_words
    from overlay.settings.explain import SessionCameraSettings

    if last is None:
        return (f"No session before this one was filmed {VIEW_WORDS[view]} with this club.",)
    if view == "other":
        return ()
    cameras = {one.session_id: one for one in store.session_cameras([last.id, session.id], view)}
    if len(cameras) < 2:
        return ("Where the camera stood was not seen in both sessions.",)
    shifts = shifts_between([cameras[last.id]], [cameras[session.id]], view, SessionCameraSettings())
    day = f"{last.date.day} {last.date:%B}"
    clear = [shift for shift in shifts if shift.is_seen and abs(shift.value) > PLOTS.moved_sds * shift.sd]
    lines = []
    if clear:
        said = ", ".join(shift_words(shift, view) for shift in clear)
        lines.append(f"The camera {said} than on {day}: put it back where it was, or differences may be its own.")
    elif any(shift.is_seen for shift in shifts):
        lines.append(f"The camera stood as on {day}, as far as can be seen.")
    unseen = unseen_words(shifts).replace("on both sides of the change", "in both sessions")
    return tuple(line for line in (*lines, unseen) if line)


# --- a swing to see ---------------------------------------------------------------------------------------------


def _shown_swing(store: Store, swings: Sequence[KeptSwing]) -> ShownSwing | None:
    """The best swing of the session with its nine stills, or its last one where none is marked."""
    from overlay.report.sessions import ShownSwing

    if not swings:
        return None
    marked = [swing for swing in swings if swing.is_best]
    swing = (marked or list(swings))[-1]
    title = f"Swing {swing.id}, {VIEW_WORDS[swing.view]}: " + (
        "marked as best." if marked else "the last one; none of this session is marked as best."
    )
    stills, note = _stills(store, swing)
    return ShownSwing(title, stills, note)


def _stills(store: Store, kept: KeptSwing):  # type: ignore[no-untyped-def]
    """The nine positions from the clip, or of the drawn figure where there is none, and a note about that."""
    from overlay.compose import Source, inspection_stills
    from overlay.models import slowed
    from overlay.video import open_clip

    entry = kept_entry(store, kept)
    path = entry.clip or found_clip(store, kept)
    swing = entry.model.swings[kept.view]
    height = COMPOSE.report_still_px
    note = f"{kept.path.name} is no longer where it was: the drawn figure stands in for it."
    if path is not None:
        from overlay.pose import is_saved_track

        note = ""
        if not is_saved_track(path):
            options = entry.options
            opening = {"mirrored": options.mirrored, "rotation_deg": options.rotation_deg}
            try:
                with open_clip(path, capture_rate=options.capture_rate, **opening) as reader:  # type: ignore[arg-type]
                    clip = reader.clip
                filmed = dataclasses.replace(slowed(swing, kept.slow_factor), clip=clip)
                source = Source(clip_path=path, label=kept.player, **opening)  # type: ignore[arg-type]
                return inspection_stills(filmed, source=source, height_px=height), ""
            except OverlayError as error:
                note = f"{kept.path.name} cannot be shown ({error.message}): the drawn figure stands in for it."
    return inspection_stills(swing, source=Source(label=kept.player), height_px=height), note


def _notes(store: Store, session: Session, swings: Sequence[KeptSwing]) -> tuple[tuple[str, str, str], ...]:
    found = [("The session", note) for note in store.notes("session", session.id)]
    for clip in store.clips(session.id):
        found += [(f"Clip {clip.path.name}", note) for note in store.notes("clip", clip.id)]
    for swing in swings:
        found += [(f"Swing {swing.id}", note) for note in store.notes("swing", swing.id)]
    return tuple((about, note.made_at[:16].replace("T", " "), note.text) for about, note in found)
