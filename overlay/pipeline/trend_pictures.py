"""Pictures of a player's season from the library: one measure, all measures of a view, what he repeats."""

from __future__ import annotations

import dataclasses
import datetime
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from overlay.data import ChangeAnswer, KeptSwing, SpaceTrack
from overlay.errors import ContentError, InputError, SetupError
from overlay.pipeline.references import usual_swing
from overlay.terms import PARTS, PHASES, VIEW_WORDS, View, words

if TYPE_CHECKING:
    from overlay.library import Store
    from overlay.plots import Form, Repeat, Size, Trend


@dataclass(frozen=True)
class TrendPicture:
    """A picture and what it shows.

    Attributes
    ----------
    content : bytes
        A PNG, or an ``<svg>`` element.
    trends : tuple of Trend
        Empty for a picture of what repeats.
    answers : tuple of ChangeAnswer
        Empty where no change was declared.
    sentence : str
        The picture in words.
    """

    content: bytes
    trends: tuple[Trend, ...] = ()
    answers: tuple[ChangeAnswer, ...] = ()
    sentence: str = ""


def trend_picture(
    store: Store,
    player: str,
    measure: str,
    *,
    since: datetime.date | None = None,
    view: View | None = None,
    club: str | None = None,
    form: Form = "png",
    size: Size | None = None,
) -> TrendPicture:
    """One measure over all sessions, with the verdict where a change was declared or a day is told.

    Raises
    ------
    InputError
        There is no such player or measure, or nothing of it is kept.
    """
    from overlay.plots import DESKTOP, caption, trend_chart
    from overlay.trends.answers import known_measure

    who = store.player(player)
    name = known_measure(store, who.name, measure)
    trends, answers = _trends(store, who.name, [name], since, view, club)
    if not trends:
        raise InputError(
            f"No valid value of {name} is kept of {who.name} that way.", "Choose another view, club or measure."
        )
    content = trend_chart(trends[0], form=form, size=size or DESKTOP)
    return TrendPicture(content, trends[:1], answers, caption(trends[0]))


def sheet_picture(
    store: Store,
    player: str,
    *,
    since: datetime.date | None = None,
    view: View | None = None,
    club: str | None = None,
    form: Form = "png",
    size: Size | None = None,
) -> TrendPicture:
    """All measures of one view over all sessions. Raises as ``trend_picture``."""
    from overlay.plots import DESKTOP, trend_sheet
    from overlay.plots.season import counted, day_words

    who = store.player(player)
    rows = store.measure_names(who.name)
    if not rows:
        raise InputError(
            f"No measure of {who.name} is kept.",
            f"`overlay add CLIPS --player '{who.name}'` reads clips and keeps them.",
        )
    seen: View = view or max(rows, key=lambda row: row[3])[2]
    names = [name for name, _, of, _ in rows if of == seen]
    if not names:
        raise InputError(
            f"No swing of {who.name} filmed {VIEW_WORDS[seen]} is measured.", "Leave out --view, or choose the other."
        )
    trends, answers = _trends(store, who.name, names, since, seen, club)
    if not trends:
        raise InputError(f"No measure of {who.name} is kept with that club.", "`overlay sessions` lists the clubs.")
    sessions = trends[0].series.sessions
    days = sorted(session.date for session in sessions)
    clubs = list(dict.fromkeys(session.club for session in sessions if session.club))
    title = ", ".join([who.name, VIEW_WORDS[seen], *clubs[:1]])
    note = f"{counted(len(sessions), 'session')}, {day_words(days[0], 0)} to {day_words(days[-1], 0)}."
    note += " A dot is a swing, a larger mark a session's mean with its 95 % interval."
    if trends[0].since is not None:
        note += f" Shaded: since {day_words(trends[0].since, 0)}."
    content = trend_sheet(trends, title, form=form, size=size or DESKTOP, note=note)
    told = Counter(trend.holding.word for trend in trends if trend.holding is not None)
    said = ", ".join(f"{n} {word}" for word, n in told.most_common())
    sentence = f"{counted(len(trends), 'measure')} of {title}" + (f": {said}." if said else ".")
    return TrendPicture(content, tuple(trends), answers, sentence)


def repeats_picture(
    store: Store,
    player: str,
    *,
    since: datetime.date | None = None,
    view: View | None = None,
    club: str | None = None,
    form: Form = "png",
    size: Size | None = None,
) -> TrendPicture:
    """What a player repeats from swing to swing within his sessions, pooled over them.

    Parts and phases where his swings were compared with one reference, the measures otherwise.

    Raises
    ------
    InputError
        There is no such player, or no swing of him that way.
    ContentError
        No session has swings enough.
    """
    from overlay.library import SwingFilter
    from overlay.plots import DESKTOP, Repeat, measure_words, repeatability_chart, repeatability_sentence

    who = store.player(player)
    swings = store.swings(
        SwingFilter(
            players=(who.name,), views=(view,) if view else (), clubs=() if club is None else (club,), since=since
        )
    )
    if not swings:
        raise InputError(f"No such swing of {who.name} is kept.", "`overlay swings` lists what is.")
    seen: View = view or Counter(swing.view for swing in swings).most_common(1)[0][0]
    swings = tuple(swing for swing in swings if swing.view == seen)
    repeats = part_repeats(store, swings)
    if not repeats:
        found = []
        for name, unit, of, _ in store.measure_names(who.name):
            if of == seen:
                series = store.series(who.name, name, view=seen, club=club, since=since)
                spoken = measure_words(name)
                title = f"{spoken.title} ({spoken.where})" if spoken.where else spoken.title
                found.append(Repeat.of(title, "", unit, [series.of_session(one.id) for one in series.sessions]))
        repeats = tuple(repeat for repeat in found if repeat is not None)
    if not repeats:
        raise ContentError(
            f"No session of {who.name} has enough swings to say what repeats.", "Keep five swings of a session or more."
        )
    title = f"What {who.name} repeats, {VIEW_WORDS[seen]}"
    content = repeatability_chart(repeats, title, form=form, size=size or DESKTOP)
    return TrendPicture(content, sentence=repeatability_sentence(repeats))


def _trends(
    store: Store,
    player: str,
    names: Sequence[str],
    since: datetime.date | None,
    view: View | None,
    club: str | None,
) -> tuple[tuple[Trend, ...], tuple[ChangeAnswer, ...]]:
    """The measures as trends, with answers where a day is told or declared."""
    from overlay.plots import Trend
    from overlay.trends import change_answers, declared_focus, first_day_of, one_club, session_means

    sessions = store.sessions(player, club=club)
    focus = names[0] if len(names) == 1 else declared_focus(sessions)[0]
    if since is not None or (focus and first_day_of(sessions, focus) is not None):
        answers = change_answers(store, player, names, since=since, view=view, club=club, space=usual_or_none())
        answers = tuple(answer for answer in answers if len(answer.series.value))
        return tuple(with_best(store, Trend.of(answer), _club(answer.series.sessions)) for answer in answers), answers
    found: list[Trend] = []
    used = club
    for name in names:
        series, _ = one_club(store.series(player, name, view=view), used)
        if len(series.value):
            used = _club(series.sessions) if used is None else used
            found.append(with_best(store, Trend.of_series(series, session_means(series)), used))
    return tuple(found), ()


def _club(sessions: Sequence[object]) -> str | None:
    return getattr(sessions[0], "club", None) if sessions else None


def with_best(store: Store, trend: Trend, club: str | None = None) -> Trend:
    """The trend with the value of the player's newest best swing of that view, and its 95 % interval, as reference.

    As it is where a reference is told already, where no swing is marked, or where the measure is itself a difference.
    """
    series = trend.series
    if series.reference is not None or not series.sessions or "." in series.name:
        return trend
    for best in store.best(series.sessions[0].player, view=series.view, club=club):
        for measure in store.measures_of(best.id):
            if measure.name == series.name and measure.valid and math.isfinite(measure.value):
                low, high = measure.interval or (math.nan, math.nan)
                shown = dataclasses.replace(series, reference=(measure.value, low, high))
                return dataclasses.replace(trend, series=shown, reference_name="best")
    return trend


def part_repeats(store: Store, swings: Sequence[KeptSwing]) -> tuple[Repeat, ...]:
    """Spread of each part in each phase within sessions, where the swings were compared with one reference.

    The difference to a fixed reference varies as the phase mean itself does; x and y are pooled into one coordinate.
    Swings of one view.
    """
    from overlay.plots import Repeat

    known = [(swing, found) for swing in swings if (found := store.comparison(swing.id)) is not None]
    if not known:
        return ()
    key, _ = Counter(found.reference_key for _, found in known).most_common(1)[0]
    offsets: dict[tuple[str, str], dict[int, list[tuple[float, float]]]] = {}
    for swing, found in known:
        if found.reference_key != key:
            continue
        for row in found.differences:
            if row.words != "not scored" and all(math.isfinite(one) for one in row.offset):
                offsets.setdefault((row.part, row.phase), {}).setdefault(swing.session_id, []).append(row.offset)
    repeats = []
    for phase in PHASES:
        for part in PARTS:
            groups = [np.array(xy, np.float64) for xy in offsets.get((part, phase.name), {}).values()]
            columns = [xy[:, axis] for xy in groups for axis in (0, 1)]
            repeat = Repeat.of(words(part), words(phase.name), "torso", columns)
            if repeat is not None:
                repeats.append(repeat)
    return tuple(repeats)


def usual_or_none() -> SpaceTrack | None:
    """Through which the cameras are looked at; without the shipped models nothing is said of them."""
    try:
        return usual_swing()
    except SetupError:
        return None
