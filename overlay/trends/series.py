"""A series cut into sessions, and the sessions into baseline and later: plain functions over the record's types."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from overlay.data import Aim, MeasureSeries, Session, SessionMean
from overlay.holding import Within
from overlay.settings.holding import HoldingSettings

DEFAULTS = HoldingSettings()


def session_means(series: MeasureSeries, *, settings: HoldingSettings = DEFAULTS) -> tuple[SessionMean, ...]:
    """Mean, spread and t interval of each session with a valid value, oldest first.

    The interval is of this session's mean by its own spread; that of one swing is NaN.
    """
    from scipy.special import stdtrit

    if not len(series.value):
        return ()
    ids, place = np.unique(series.session_id, return_inverse=True)
    count = np.bincount(place)
    mean = np.bincount(place, series.value) / count
    # About each session's own mean: a sum of squares less a squared sum loses its digits for values far from 0.
    square = np.bincount(place, (series.value - mean[place]) ** 2)
    mean += np.bincount(place, series.value - mean[place]) / count
    several = count > 1
    with np.errstate(invalid="ignore", divide="ignore"):
        sd = np.where(several, np.sqrt(square / np.maximum(count - 1, 1)), math.nan)
        quantile = stdtrit(np.maximum(count - 1, 1), (1 + settings.interval) / 2)
        half = np.where(several, quantile * sd / np.sqrt(count), math.nan)
    row = {int(key): i for i, key in enumerate(ids)}
    found = []
    for session in sorted(series.sessions, key=lambda session: (session.date, session.id)):
        i = row.get(session.id)
        if i is not None:
            value = float(mean[i])
            interval = (value - float(half[i]), value + float(half[i]))
            found.append(SessionMean(session.id, session.date, int(count[i]), value, float(sd[i]), interval))
    return tuple(found)


def club_key(club: str) -> str:
    """A club's name as it is compared: case and spaces do not count."""
    return " ".join(club.split()).casefold()


def clubs_of(series: MeasureSeries) -> tuple[tuple[str, int], ...]:
    """(club as it was told last, swings with a valid value), most swings first."""
    of_session = {session.id: session for session in series.sessions}
    counts: dict[str, int] = {}
    names: dict[str, str] = {}
    for session in series.sessions:
        names[club_key(session.club)] = session.club
    ids, numbers = np.unique(series.session_id, return_counts=True)
    for key, n in zip(ids, numbers):
        if int(key) in of_session:
            club = club_key(of_session[int(key)].club)
            counts[club] = counts.get(club, 0) + int(n)
    return tuple((names[club], n) for club, n in sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])))


def one_club(series: MeasureSeries, club: str | None = None) -> tuple[MeasureSeries, str]:
    """The series of one club, and a sentence where that was a choice.

    Clubs are not mixed: another club is another swing. Without ``club`` it is the one with most swings.
    """
    found = clubs_of(series)
    note = ""
    if club is None:
        if not found:
            return series, ""
        club = found[0][0]
        if len(found) > 1:
            others = ", ".join(f"{name or 'no club told'} ({n})" for name, n in found[1:])
            told = f"with the {club}" if club else "for which no club was told"
            note = f"Only swings {told} count ({found[0][1]}); left out: {others}."
    wanted = club_key(club)
    sessions = tuple(session for session in series.sessions if club_key(session.club) == wanted)
    keep = np.isin(series.session_id, np.array([session.id for session in sessions], np.int64))
    return (
        replace(
            series,
            swing_id=series.swing_id[keep],
            session_id=series.session_id[keep],
            value=series.value[keep],
            low=series.low[keep],
            high=series.high[keep],
            sessions=sessions,
        ),
        note,
    )


def first_day_of(sessions: Sequence[Session], measure: str) -> datetime.date | None:
    """The day of the first session whose declared focus is this measure; None when there is none."""
    return min((session.date for session in sessions if session.focus == measure), default=None)


def declared_focus(sessions: Sequence[Session], measure: str | None = None) -> tuple[str, Aim]:
    """The focus that was declared last and its aim; with ``measure`` the aim that was declared last with it.

    ("", "either") where nothing was declared.
    """
    told = [session for session in sessions if session.focus and measure in (None, session.focus)]
    newest = max(told, key=lambda session: (session.date, session.id), default=None)
    return ("", "either") if newest is None else (newest.focus, newest.aim)


def split(
    means: Sequence[SessionMean], since: datetime.date
) -> tuple[tuple[SessionMean, ...], tuple[SessionMean, ...]]:
    """Baseline (before ``since``) and later sessions (from that day on)."""
    return tuple(mean for mean in means if mean.date < since), tuple(mean for mean in means if mean.date >= since)


def within_sessions(baseline: Sequence[SessionMean], later: Sequence[SessionMean]) -> Within | None:
    """Spread of the swings about their session's mean, pooled over all sessions, and how many swings each has.

    None where no session has two swings.
    """
    squares = [(mean.sd**2 * (mean.n - 1), mean.n - 1) for mean in (*baseline, *later) if mean.n > 1]
    df = sum(n for _, n in squares)
    if not df:
        return None
    sd = math.sqrt(sum(square for square, _ in squares) / df)
    return Within(sd, df, [mean.n for mean in baseline], [mean.n for mean in later])


def drift(means: Sequence[SessionMean]) -> tuple[float, float]:
    """Slope a session of a straight line through the session means in their order, and its two-sided p.

    NaN with fewer than four sessions, or where they lie on the line.
    """
    from scipy.special import stdtr

    n = len(means)
    if n < 4:
        return math.nan, math.nan
    x = np.arange(n) - (n - 1) / 2
    y = np.array([mean.mean for mean in means])
    slope = float(np.sum(x * y) / np.sum(x * x))
    left = float(np.sum((y - y.mean() - slope * x) ** 2))
    if left <= 1e-24 * float(np.sum(y * y)):
        return math.nan, math.nan
    t = slope / math.sqrt(left / (n - 2) / float(np.sum(x * x)))
    return slope, float(2 * stdtr(n - 2, -abs(t)))
