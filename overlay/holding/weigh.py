"""The arithmetic of the verdict: session means on both sides, the change, its test, and what the last sessions show."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from overlay import stats
from overlay.arrays import FloatArray
from overlay.errors import DataError
from overlay.settings.holding import HoldingSettings


@dataclass(frozen=True)
class Gone:
    """A change that the first of the later sessions showed, and the last ones do not.

    Attributes
    ----------
    n : int
        How many of the later sessions it is told for, from the first one on.
    change : float
        Their mean minus the baseline's.
    interval : (low, high)
    p : float
        That there was no such change; the choice among several ``n`` is paid for.
    shown : int
        How many of the ``n`` lie beyond half of the change.
    """

    n: int
    change: float
    interval: tuple[float, float]
    p: float
    shown: int


@dataclass(frozen=True)
class Weighed:
    """Everything the verdict is made of.

    Attributes
    ----------
    baseline, later : (N,), (M,) float
        Session means, oldest first, missing ones left out.
    change, interval, p : float
        Later minus baseline, its t interval and the p value of the pooled t test; NaN where a test cannot be made.
    sd, df : float
        Scatter of session means about their side's mean, pooled, and its degrees of freedom; NaN and 0 when unknown.
    last : tuple of bool
        Whether each of the last sessions lies beyond its share of the change, oldest first.
    gone : Gone or None
        None where there are too few later sessions, or the last ones do show the change.
    """

    baseline: FloatArray
    later: FloatArray
    change: float
    interval: tuple[float, float]
    p: float
    sd: float
    df: int
    last: tuple[bool, ...]
    gone: Gone | None


def session_means(values: Sequence[float] | FloatArray, name: str) -> FloatArray:
    """(N,) float without the missing ones.

    Raises
    ------
    DataError
        Something that is not a row of numbers, or an infinite one.
    """
    try:
        array = np.asarray(values, np.float64)
    except (TypeError, ValueError):
        array = np.zeros((1, 1))
    if array.ndim != 1:
        raise DataError(f"{name} is not a row of numbers.", "Give one mean a session.")
    if np.any(np.isinf(array)):
        raise DataError(f"{name} holds an infinite value.", "Give one mean a session, NaN where there is none.")
    return array[~np.isnan(array)]


def weigh(
    baseline: Sequence[float] | FloatArray, later: Sequence[float] | FloatArray, settings: HoldingSettings
) -> Weighed:
    """Weigh the later sessions against the baseline's.

    Student's two-sample t test with pooled variance, on session means: swings of one session resemble each other, so
    that pooled swings would find a change in one season of three where there is none (docs/holding.md).
    """
    a, b = session_means(baseline, "The baseline"), session_means(later, "The list of later sessions")
    sd, df = _scatter(a, b)
    nan = (math.nan, math.nan)
    if not len(a) or not len(b):
        return Weighed(a, b, math.nan, nan, math.nan, sd, df, (), None)
    change = float(b.mean() - a.mean())
    if _is_nothing(change, (a, b)):
        change = 0.0
    if len(a) < settings.least_baseline or len(b) < settings.least_later:
        return Weighed(a, b, change, _interval(change, sd, df, len(a), len(b), settings), math.nan, sd, df, (), None)
    p = _p_value(change, sd, df, len(a), len(b))
    last = _beyond(b[-settings.last :], float(a.mean()), change, settings)
    interval = _interval(change, sd, df, len(a), len(b), settings)
    return Weighed(a, b, change, interval, p, sd, df, last, _gone(a, b, settings))


def _scatter(*groups: FloatArray) -> tuple[float, int]:
    """SD of single session means about their group's mean, and its degrees of freedom."""
    df = sum(max(0, len(group) - 1) for group in groups)
    if df == 0:
        return math.nan, 0
    total = sum(float(np.sum((group - group.mean()) ** 2)) for group in groups if len(group))
    largest = max(float(np.max(np.abs(group))) for group in groups if len(group))
    sd = math.sqrt(total / df)
    # Equal numbers whose mean is rounded do not scatter.
    return (0.0 if sd <= 1e-12 * largest else sd), df


def _error(sd: float, n_first: int, n_second: int) -> float:
    return sd * math.sqrt(1 / n_first + 1 / n_second)


def _is_nothing(change: float, groups: Sequence[FloatArray]) -> bool:
    """Of groups without scatter: their means differ by rounding alone."""
    return abs(change) <= 1e-12 * max(float(np.max(np.abs(group))) for group in groups)


def _p_value(change: float, sd: float, df: float, n_first: int, n_second: int) -> float:
    from scipy.special import stdtr

    error = _error(sd, n_first, n_second)
    if error == 0.0:
        return 0.0 if change else 1.0
    return float(2 * stdtr(df, -abs(change) / error))


def _interval(
    change: float, sd: float, df: int, n_first: int, n_second: int, settings: HoldingSettings
) -> tuple[float, float]:
    from scipy.special import stdtrit

    if df == 0:
        return math.nan, math.nan
    half = float(stdtrit(df, (1 + settings.interval) / 2)) * _error(sd, n_first, n_second)
    return change - half, change + half


def _beyond(sessions: FloatArray, baseline: float, change: float, settings: HoldingSettings) -> tuple[bool, ...]:
    """Whether each session lies further than its share of the change from the baseline, on the change's side."""
    way = math.copysign(1.0, change)
    return tuple(bool(way * (value - baseline) > settings.share * abs(change)) for value in sessions)


def _gone(a: FloatArray, b: FloatArray, settings: HoldingSettings) -> Gone | None:
    """The clearest change of the first later sessions that the last ones no longer show.

    The later sessions are cut in two: the first n, which showed a change, and the rest. n is all but the last two, half
    as many, a quarter …, since a change may have gone long ago; each is paid for (Bonferroni). Of the three groups
    first an F test that anything differs, then the t test of the first n against the baseline with the spread of all
    three: Fisher's protected comparisons, which for three groups hold the chance of any false finding (Hayter 1986,
    J Am Stat Assoc 81:1000).
    """
    cuts = []
    n = len(b) - settings.last
    while n >= max(2, settings.least_shown):
        cuts.append(n)
        n //= 2
    found: list[Gone] = []
    for n in cuts:
        first, rest = b[:n], b[n:]
        change = float(first.mean() - a.mean())
        sd, df = _scatter(a, first, rest)
        if _is_nothing(change, (a, b)):
            continue
        shown = sum(_beyond(first, float(a.mean()), change, settings))
        newest = b[-settings.last :]
        # Both by themselves may stray; their mean and the newest one must be back.
        back = _beyond(np.array([newest.mean(), newest[-1]]), float(a.mean()), change, settings)
        if shown < settings.least_shown or any(back):
            continue
        p = max(_p_value(change, sd, df, len(a), n), _any_differs((a, first, rest), sd, df))
        interval = _interval(change, sd, df, len(a), n, settings)
        found.append(Gone(n, change, interval, min(1.0, p * len(cuts)), shown))
    return min(found, key=lambda gone: gone.p, default=None)


def _any_differs(groups: Sequence[FloatArray], sd: float, df: int) -> float:
    """p of the one-way F test; 0 where groups without scatter differ."""
    from scipy.special import fdtrc

    if sd == 0.0:
        return 0.0
    grand = float(np.mean(np.concatenate(groups)))
    between = sum(len(group) * (float(group.mean()) - grand) ** 2 for group in groups) / (len(groups) - 1)
    return float(fdtrc(len(groups) - 1, df, between / sd**2))


def detectable(weighed: Weighed, settings: HoldingSettings, within: tuple[float, float, float] | None) -> float:
    """Smallest change that so many sessions would have found with the chance of the settings; NaN when unknown.

    Where a side has no session yet, or so few that no test is made, it is told for what there is; an empty side counts
    as if its least number had been filmed.

    Parameters
    ----------
    within : (SD of one side's mean, of the other's, degrees of freedom) or None
        Of the swings within the sessions; used where the sessions themselves show no scatter because there is one a
        side. Optimistic: sessions scatter more than their swings make them.
    """
    n_first = len(weighed.baseline) or settings.least_baseline
    n_second = len(weighed.later) or settings.least_later
    if weighed.df > 0:
        return stats.detectable_difference(
            weighed.sd, n_first, n_second, p_limit=settings.level, chance=settings.chance, df=weighed.df
        )
    if within is None or not all(map(math.isfinite, within)) or within[2] <= 0:
        return math.nan
    # Two means, each with its own error: as one sample a side of an SD of √((e₁² + e₂²)/2).
    sd = math.sqrt((within[0] ** 2 + within[1] ** 2) / 2)
    return stats.detectable_difference(sd, 1, 1, p_limit=settings.level, chance=settings.chance, df=within[2])
