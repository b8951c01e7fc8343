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
class Within:
    """What the swings within the sessions say about how sure the session means are.

    Attributes
    ----------
    sd : float
        SD of one swing about its session's mean, pooled over sessions.
    df : float
        Its degrees of freedom.
    baseline, later : (N,), (M,) sequence of int
        Swings of each session, in the order of the session means and as many.
    """

    sd: float
    df: float
    baseline: Sequence[int]
    later: Sequence[int]


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
    error : float
        Standard error of the change; NaN when unknown.
    widened : float
        By what factor it was widened since the side with fewer sessions is also the one with fewer swings in them.
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
    error: float = math.nan
    widened: float = 1.0


@dataclass(frozen=True)
class _Side:
    """Some sessions: their means, and what each owes to its few swings (within variance over swings; 0 if unknown)."""

    means: FloatArray
    owed: FloatArray

    def __len__(self) -> int:
        return len(self.means)

    def __getitem__(self, part: slice) -> _Side:
        return _Side(self.means[part], self.owed[part])

    @property
    def mean(self) -> float:
        return float(self.means.mean())


def _side(values: Sequence[float] | FloatArray, name: str, swings: Sequence[int] | None, variance: float) -> _Side:
    """The sessions that have a mean.

    Raises
    ------
    DataError
        Something that is not a row of numbers, an infinite one, or counts of swings that do not fit.
    """
    try:
        array = np.asarray(values, np.float64)
    except (TypeError, ValueError):
        array = np.zeros((1, 1))
    if array.ndim != 1:
        raise DataError(f"{name} is not a row of numbers.", "Give one mean a session.")
    if np.any(np.isinf(array)):
        raise DataError(f"{name} holds an infinite value.", "Give one mean a session, NaN where there is none.")
    keep = ~np.isnan(array)
    if swings is None:
        return _Side(array[keep], np.zeros(int(keep.sum())))
    counts = np.asarray(swings, np.float64)
    if counts.shape != array.shape or np.any(counts[keep] < 1):
        raise DataError(f"{name} and its numbers of swings do not fit.", "Give how many swings each mean is of.")
    return _Side(array[keep], variance / counts[keep])


def weigh(
    baseline: Sequence[float] | FloatArray,
    later: Sequence[float] | FloatArray,
    settings: HoldingSettings,
    within: Within | None = None,
) -> Weighed:
    """Weigh the later sessions against the baseline's.

    Student's two-sample t test with pooled variance, on session means: swings of one session resemble each other, so
    that pooled swings would find a change in one season of three where there is none (docs/holding.md). With
    ``within`` the standard error is widened where it has to be, see ``_error``.

    Raises
    ------
    DataError
        Something that is not a row of numbers, an infinite one, or counts of swings that do not fit.
    """
    variance = within.sd**2 if within is not None and math.isfinite(within.sd) else 0.0
    counts = (None, None) if within is None else (within.baseline, within.later)
    a = _side(baseline, "The baseline", counts[0], variance)
    b = _side(later, "The list of later sessions", counts[1], variance)
    sd, df = _scatter(a, b)
    nan = (math.nan, math.nan)
    if not len(a) or not len(b):
        return Weighed(a.means, b.means, math.nan, nan, math.nan, sd, df, (), None)
    change = b.mean - a.mean
    if _is_nothing(change, a, b):
        change = 0.0
    error = _error(sd, a, b, (a, b)) if df else math.nan
    plain = sd * math.sqrt(1 / len(a) + 1 / len(b))
    widened = error / plain if plain > 0 else 1.0
    interval = _interval(change, error, df, settings)
    if len(a) < settings.least_baseline or len(b) < settings.least_later:
        return Weighed(a.means, b.means, change, interval, math.nan, sd, df, (), None, error, widened)
    last = _beyond(b.means[-settings.last :], a.mean, change, settings)
    return Weighed(
        a.means,
        b.means,
        change,
        interval,
        _p_value(change, error, df),
        sd,
        df,
        last,
        _gone(a, b, settings),
        error,
        widened,
    )


def _scatter(*groups: _Side) -> tuple[float, int]:
    """SD of single session means about their group's mean, and its degrees of freedom."""
    df = sum(max(0, len(group) - 1) for group in groups)
    if df == 0:
        return math.nan, 0
    total = sum(float(np.sum((group.means - group.mean) ** 2)) for group in groups if len(group))
    largest = max(float(np.max(np.abs(group.means))) for group in groups if len(group))
    sd = math.sqrt(total / df)
    # Equal numbers whose mean is rounded do not scatter.
    return (0.0 if sd <= 1e-12 * largest else sd), df


def _error(sd: float, first: _Side, second: _Side, groups: Sequence[_Side]) -> float:
    """Standard error of the difference of two means, with the spread of all ``groups``.

    The pooled test takes all session means to scatter alike: by σ² between sessions and, each, by its swings' share
    w/n. Where the side with fewer sessions has fewer swings in them, the pooled spread is too small for it: by
    w·[h₁/k₁ + h₂/k₂ − h·(1/k₁ + 1/k₂)], with k sessions, h the mean of 1/n on a side and of the pooled spread. That is
    added where it is positive; where it is negative the plain error stays, which is then on the safe side.
    """
    sizes = 1 / len(first) + 1 / len(second)
    df = sum(max(0, len(group) - 1) for group in groups)
    pooled = sum((len(group) - 1) * float(group.owed.mean()) for group in groups if len(group) > 1) / df
    owed = float(first.owed.mean()) / len(first) + float(second.owed.mean()) / len(second) - pooled * sizes
    return math.sqrt(sd**2 * sizes + max(0.0, owed))


def _is_nothing(change: float, *groups: _Side) -> bool:
    """Of groups without scatter: their means differ by rounding alone."""
    return abs(change) <= 1e-12 * max(float(np.max(np.abs(group.means))) for group in groups)


def _p_value(change: float, error: float, df: float) -> float:
    from scipy.special import stdtr

    if error == 0.0:
        return 0.0 if change else 1.0
    return float(2 * stdtr(df, -abs(change) / error))


def _interval(change: float, error: float, df: int, settings: HoldingSettings) -> tuple[float, float]:
    from scipy.special import stdtrit

    if df == 0:
        return math.nan, math.nan
    half = float(stdtrit(df, (1 + settings.interval) / 2)) * error
    return change - half, change + half


def _beyond(
    sessions: FloatArray | Sequence[float], baseline: float, change: float, settings: HoldingSettings
) -> tuple[bool, ...]:
    """Whether each session lies further than its share of the change from the baseline, on the change's side."""
    way = math.copysign(1.0, change)
    return tuple(bool(way * (value - baseline) > settings.share * abs(change)) for value in sessions)


def _gone(a: _Side, b: _Side, settings: HoldingSettings) -> Gone | None:
    """The clearest change of the first later sessions that the last ones no longer show.

    The later sessions are cut in two: the first n, which showed a change, and the rest. n is all but the last two, half
    as many, a quarter …, since a change may have gone long ago; each is paid for (Bonferroni). Of the three groups
    first an F test that anything differs, then the t test of the first n against the baseline with the spread of all
    three: Fisher's protected comparisons, which for three groups hold the chance of any false finding (Hayter 1986,
    J Am Stat Assoc 81:1000). And the last ones must lie below the first n by more than chance, by a one-sided t test.
    """
    cuts = []
    n = len(b) - settings.last
    while n >= max(2, settings.least_shown):
        cuts.append(n)
        n //= 2
    newest = b.means[-settings.last :]
    found: list[Gone] = []
    for n in cuts:
        groups = (a, b[:n], b[n:])
        change = groups[1].mean - a.mean
        if _is_nothing(change, a, b):
            continue
        shown = sum(_beyond(groups[1].means, a.mean, change, settings))
        # Both by themselves may stray; their mean and the newest one must be back.
        back = _beyond([float(newest.mean()), float(newest[-1])], a.mean, change, settings)
        if shown < settings.least_shown or any(back):
            continue
        sd, df = _scatter(*groups)
        # That the last ones are back must be more than their scatter, or a small change that lasts would often "fade".
        lost = math.copysign(1.0, change) * (groups[1].mean - float(newest.mean()))
        if _p_value(lost, _error(sd, groups[1], b[-settings.last :], groups), df) / 2 > settings.level or lost <= 0:
            continue
        error = _error(sd, a, groups[1], groups)
        p = max(_p_value(change, error, df), _any_differs(groups, sd, df))
        found.append(Gone(n, change, _interval(change, error, df, settings), min(1.0, p * len(cuts)), shown))
    return min(found, key=lambda gone: gone.p, default=None)


def _any_differs(groups: Sequence[_Side], sd: float, df: int) -> float:
    """p of the one-way F test; 0 where groups without scatter differ."""
    from scipy.special import fdtrc

    if sd == 0.0:
        return 0.0
    grand = float(np.mean(np.concatenate([group.means for group in groups])))
    between = sum(len(group) * (group.mean - grand) ** 2 for group in groups) / (len(groups) - 1)
    return float(fdtrc(len(groups) - 1, df, between / sd**2))


def detectable(weighed: Weighed, settings: HoldingSettings, within: Within | None = None) -> float:
    """Smallest change that so many sessions would have found with the chance of the settings; NaN when unknown.

    Where sides are so small that no test is made it is told for what there is; an empty side counts as if its least
    number had been filmed. One session a side shows no scatter: then the swings within them stand for it, which is
    optimistic, since sessions scatter by more than their swings make them.
    """
    n_first = len(weighed.baseline) or settings.least_baseline
    n_second = len(weighed.later) or settings.least_later
    limits = {"p_limit": settings.level, "chance": settings.chance}
    if weighed.df > 0:
        found = stats.detectable_difference(weighed.sd, n_first, n_second, df=weighed.df, **limits)
        return found * weighed.widened
    if within is None or not math.isfinite(within.sd) or within.df < settings.least_within_df:
        return math.nan
    counts = [*within.baseline, *within.later]
    sd = within.sd * math.sqrt(sum(1 / count for count in counts) / len(counts)) if counts else math.nan
    if not math.isfinite(sd):
        return math.nan
    return stats.detectable_difference(sd, n_first, n_second, df=within.df, **limits)
