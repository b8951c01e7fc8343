"""A season of an invented player, made by hand: sessions, swings, means and verdicts, for what draws and tells them."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence

import numpy as np

from overlay.data.change import ChangeAnswer, Holding, HoldingWord, SessionMean
from overlay.data.record import MeasureSeries, Session
from overlay.stats import t_interval
from overlay.terms import View

FIRST_DAY = datetime.date(2031, 3, 4)


def season(n_sessions: int, days: Sequence[int] = (5,), first: datetime.date = FIRST_DAY) -> tuple[Session, ...]:
    """``n_sessions`` sessions of Robin with these pauses, taken in turn."""
    found, day = [], first
    for i in range(n_sessions):
        found.append(Session(i + 1, 1, "Robin Sparrow", day, "7 iron", "Larkspur Range", n_swings=10))
        day += datetime.timedelta(days=days[i % len(days)])
    return tuple(found)


def series_of(
    sessions: Sequence[Session],
    levels: Sequence[float],
    *,
    n: int = 12,
    sd: float = 0.04,
    between: float = 0.012,
    name: str = "hips_line_release",
    unit: str = "torso",
    view: View = "dtl",
    reference: tuple[float, float, float] | None = None,
    silent: Sequence[int] = (),
    seed: int = 1,
) -> MeasureSeries:
    """``n`` swings a session about its level; sessions whose place is in ``silent`` have none."""
    rng = np.random.default_rng(seed)
    owner, values = [], []
    for i, (session, level) in enumerate(zip(sessions, levels, strict=True)):
        if i in silent:
            continue
        owner += [session.id] * n
        values.append(level + rng.normal(0, between) + rng.normal(0, sd, n))
    value = np.concatenate(values) if values else np.zeros(0)
    nan = np.full(len(value), np.nan)
    return MeasureSeries(
        name,
        unit,
        view,
        np.arange(len(value)) + 1,
        np.array(owner, np.int64),
        value,
        nan,
        nan,
        tuple(sessions),
        reference,
    )


def means_of(series: MeasureSeries) -> tuple[SessionMean, ...]:
    """The session means with their 95 % intervals."""
    found = []
    for session in series.sessions:
        values = series.of_session(session.id)
        if len(values) == 1:
            found.append(SessionMean(session.id, session.date, 1, float(values[0]), math.nan, (math.nan, math.nan)))
        elif len(values):
            mean, low, high = t_interval(values)
            found.append(
                SessionMean(session.id, session.date, len(values), mean, float(values.std(ddof=1)), (low, high))
            )
    return tuple(found)


def verdict(word: HoldingWord, change: float = -0.12, half: float = 0.05, *, is_focus: bool = True) -> Holding:
    """A verdict as its word would have it."""
    few = word == "not enough sessions"
    nan = math.nan
    return Holding(
        word,
        nan if few else change,
        (nan, nan) if few else (change - half, change + half),
        nan if few else 0.004,
        nan if few else 0.004,
        2 if few else 5,
        1 if few else 4,
        1 if few else 0,
        1 if few else 0,
        0.06,
        () if few else (True, word == "holding"),
        "lower",
        is_focus,
        f"The change is {word}.",
        "Made by hand.",
    )


def answer_of(
    series: MeasureSeries,
    word: HoldingWord,
    since: datetime.date,
    *,
    title: str = "Hips on their line, release",
    change: float = -0.12,
    half: float = 0.05,
    is_focus: bool = True,
) -> ChangeAnswer:
    """An answer about a series."""
    holding = verdict(word, change, half, is_focus=is_focus)
    return ChangeAnswer("Robin Sparrow", series.name, title, series.unit, since, series, means_of(series), holding)


def holding_answer(word: HoldingWord = "holding", **more: object) -> ChangeAnswer:
    """Five sessions before, four since, a change of 0.12 torso lengths."""
    sessions = season(9, (4, 7, 5))
    series = series_of(sessions, [0.16] * 5 + [0.04] * 4, reference=(0.02, -0.03, 0.07), **more)  # type: ignore[arg-type]
    return answer_of(series, word, sessions[5].date)
