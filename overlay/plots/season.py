"""What is said and shown of one measure over a season, before anything is drawn: words, axis, dates, lines."""

from __future__ import annotations

import datetime
import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.data.change import ChangeAnswer, Holding, SessionMean
from overlay.data.record import MeasureSeries
from overlay.plots.canvas import wide
from overlay.plots.words import MeasureWords, bare, change_words, measure_words, unit_of, unit_words, with_unit
from overlay.settings.plots import PLOTS, PlotSettings
from overlay.stats import ewma_chart, individuals_chart

SIGNS = {"holding": "●", "not holding": "○", "faded": "◐", "not enough sessions": "…", "cameras differ": "◇"}
"""A verdict as a sign beside its word."""


@dataclass(frozen=True)
class Trend:
    """What a trend chart shows.

    Attributes
    ----------
    title, unit : str
    series : MeasureSeries
    means : tuple of SessionMean
        Oldest first.
    since : date or None
        First day of the later sessions; None: nothing was declared to change.
    holding : Holding or None
    words : MeasureWords
        Which way is which.
    reference_name : str
        What the reference of the series is, in one short word.
    """

    title: str
    unit: str
    series: MeasureSeries
    means: tuple[SessionMean, ...]
    since: datetime.date | None = None
    holding: Holding | None = None
    words: MeasureWords | None = None
    reference_name: str = "reference"

    @classmethod
    def of(cls, answer: ChangeAnswer) -> Trend:
        """The chart of an answer."""
        words = measure_words(answer.measure, answer.series.view)
        unit = unit_of(answer.measure, answer.unit)
        return cls(answer.title, unit, answer.series, answer.means, answer.since, answer.holding, words)

    @classmethod
    def of_series(cls, series: MeasureSeries, means: tuple[SessionMean, ...]) -> Trend:
        """The chart of a measure for which no change was declared."""
        words = measure_words(series.name, series.view)
        title = f"{words.title} ({words.where})" if words.where else words.title
        return cls(title, unit_of(series.name, series.unit), series, means, words=words)

    @property
    def spoken(self) -> MeasureWords:
        return self.words or measure_words(self.series.name, self.series.view)

    @property
    def is_later(self) -> list[bool]:
        """Of each session, whether it counts as later."""
        return [self.since is not None and session.date >= self.since for session in self.series.sessions]

    @property
    def verdict(self) -> str:
        """The verdict's word with its sign, as a heading; "" where nothing was judged."""
        if self.holding is None:
            return ""
        word = self.holding.word
        return f"{SIGNS.get(word, '')} {word[:1].upper()}{word[1:]}".strip()

    @property
    def summary(self) -> str:
        """One sentence under the title: what changed, by how much, how sure."""
        holding = self.holding
        if holding is None or self.since is None:
            n, swings = len(self.means), sum(mean.n for mean in self.means)
            return f"{counted(n, 'session')}, {counted(swings, 'swing')}"
        day = self.day(self.since)
        if holding.word == "not enough sessions":
            # What lies before the change cannot be filmed any more: what there is and what it takes, nothing else.
            needs = holding.n_baseline + holding.more_baseline, holding.n_later + holding.more_later
            return (
                f"{counted(holding.n_baseline, 'session')} before {day} and {holding.n_later} since: a verdict takes "
                f"{needs[0]} and {needs[1]}"
            )
        change = change_words(holding.change, self.unit, self.spoken)
        if not change:
            return holding.sentence
        low, high = sorted(abs(end) for end in holding.interval)
        if holding.interval[0] * holding.interval[1] > 0:
            sure = f" (95 %: {bare(low, self._spread_unit)} to {bare(high, self._spread_unit)})"
        elif all(math.isfinite(end) for end in holding.interval):
            low, high = holding.interval
            sure = f" (95 %: {signed(low, self._spread_unit)} to {signed(high, self._spread_unit)})"
        else:
            sure = ""
        return f"Since {day}: {change}{sure}"

    def day(self, day: datetime.date) -> str:
        """A day, with its year where the sessions lie in several."""
        years = {session.date.year for session in self.series.sessions}
        return day_words(day, None if len(years) <= 1 else 0)

    @property
    def _spread_unit(self) -> str:
        return "" if self.unit == "ratio" else self.unit


def signed(value: float, unit: str) -> str:
    """The number with its sign, "+0.04"."""
    return f"+{bare(value, unit)}" if value > 0 else bare(value, unit)


def counted(n: int, what: str) -> str:
    """ "1 session", "3 sessions"."""
    return f"{n:,} {what}{'' if n == 1 else 's'}"


def day_words(day: datetime.date, year: int | None = None) -> str:
    """ "12 May", with the year where it is another one than ``year``."""
    said = f"{day.day} {day:%b}"
    return said if year is None or day.year == year else f"{said} {day.year}"


def axis_words(trend: Trend, *, short: bool = False) -> str:
    """Which way is which, and in what; ``short``: only what the numbers on the axis do not tell."""
    words, unit = trend.spoken, unit_words(trend.unit)
    if short:
        unit = {"torso": "torso", "deg": "", "fraction": ""}.get(trend.unit, unit)
    up, down = (words.plus, words.minus) if words.plus else (words.more, words.less)
    if words.of and unit and not short:
        unit = f"{unit} {words.of}"
    return " · ".join(part for part in (f"↑ {up}", f"↓ {down}", unit) if part)


def value_range(trend: Trend, settings: PlotSettings = PLOTS) -> tuple[float, float]:
    """The ends of the value axis: all swings, means, their intervals as far as swings go, and the reference.

    Swings beyond ``outlier_sds`` robust standard deviations of the middle are left to arrows at the edge.
    """
    values = np.asarray(trend.series.value, np.float64)
    known = list(values[np.isfinite(values)])
    reference = trend.series.reference
    told = [] if reference is None else [end for end in reference if math.isfinite(end)]
    if known:
        middle = float(np.median(values))
        sd = 1.4826 * float(np.median(np.abs(values - middle)))
        # Levels before and since may lie far apart: the spread of the whole is no less than their distance.
        means = [mean.mean for mean in trend.means]
        sd = max(sd, float(np.ptp(means)) / 3 if means else 0.0)
        if sd > 0:
            inside = values[np.abs(values - middle) <= settings.outlier_sds * sd]
            known = list(inside) if len(inside) else known
        ends = [end for mean in trend.means for end in mean.interval if math.isfinite(end)]
        # With two swings the interval of a mean reaches twelve times as far as they do: the axis is not its.
        low, high = min(known), max(known)
        room = 0.25 * (high - low)
        known += [float(np.clip(end, low - room, high + room)) for end in ends] + means
    known += told
    if not known:
        return 0.0, 1.0
    low, high = min(known), max(known)
    least = settings.least_span.get(trend.unit, 0.0) or 0.02 * max(abs(low), abs(high), 1e-9)
    if high - low < least:
        low, high = (low + high - least) / 2, (low + high + least) / 2
    pad = 0.06 * (high - low)
    return low - pad, high + pad


def looking_lines(trend: Trend, settings: PlotSettings = PLOTS) -> tuple[FloatArray, float, float] | None:
    """EWMA of the session means, and the individuals limits of the sessions before; None with too few sessions.

    (ISO 7870-6:2016 and 7870-2:2023; ``overlay.stats``.) For looking, never for deciding.
    """
    means = [mean.mean for mean in trend.means if any(s.id == mean.session_id for s in trend.series.sessions)]
    before = [mean.mean for mean in trend.means if trend.since is None or mean.date < trend.since]
    if len(before) < settings.least_for_limits or len(means) <= settings.least_for_limits:
        return None
    limits = individuals_chart(before)
    sd = (limits.upper - limits.centre) / 3
    if not sd > 0:
        return None
    ewma = ewma_chart(means, weight=settings.ewma_weight, centre=limits.centre, sd=sd)
    return ewma.points, limits.lower, limits.upper


def ticks_between(low: float, high: float, most: int) -> list[float]:
    """Round values between the ends."""
    from matplotlib.ticker import MaxNLocator

    locator = MaxNLocator(most, steps=[1, 2, 2.5, 5, 10])
    return [float(tick) for tick in locator.tick_values(low, high) if low <= tick <= high]


def tick_words(ticks: list[float], unit: str) -> list[str]:
    """The ticks as they are read, with as many decimals as tell them apart."""
    if unit not in ("deg", "fraction"):
        scale, sign, decimals = 1.0, "", 2
    else:
        scale, sign, decimals = (1.0, "°", 0) if unit == "deg" else (100.0, " %", 0)
    # A tick is where its number says, to the last digit.
    while decimals < 6 and any(abs(round(scale * tick, decimals) - scale * tick) > 1e-9 for tick in ticks):
        decimals += 1
    return [f"{round(scale * tick, decimals) + 0.0:.{decimals}f}{sign}".replace("-", "−") for tick in ticks]


def dated(days: list[datetime.date], slot_px: float, text_px: float, first: int) -> list[int]:
    """Which sessions carry their date: evenly, the first of the later ones among them, and none over another."""
    room = max(wide("28 May", text_px), wide("2028", text_px)) + 10
    step = max(1, math.ceil(room / slot_px))
    even = [i for i in range(len(days)) if (i - first) % step == 0]
    # The first label does not begin left of the chart.
    at = [max((i + 0.5) * slot_px, room / 2) for i in range(len(days))]
    shown: list[int] = []
    for i in [first, 0, len(days) - 1, *even]:
        if all(abs(at[i] - at[other]) >= room for other in shown):
            shown.append(i)
    return sorted(shown)


def pause_words(days: int) -> str:
    """How long a pause is: "5 weeks", "4 months"."""
    if days < 70:
        return f"{round(days / 7)} weeks"
    return f"{round(days / 30.44)} months"


def moved_apart(values: list[float], least: float, ends: tuple[float, float]) -> list[float]:
    """The values, moved as little as needed to lie ``least`` apart and between the ends."""
    order = sorted(range(len(values)), key=lambda i: values[i])
    at = [min(max(values[i], ends[0]), ends[1]) for i in order]
    for _ in range(200):
        moved = False
        for k in range(len(at) - 1):
            short = least - (at[k + 1] - at[k])
            if short > 1e-6:
                at[k] -= short / 2
                at[k + 1] += short / 2
                moved = True
        if at and at[0] < ends[0]:
            at[0], moved = ends[0], True
        if at and at[-1] > ends[1]:
            at[-1], moved = ends[1], True
        if not moved:
            break
    result = list(values)
    for k, i in enumerate(order):
        result[i] = at[k]
    return result


def caption(trend: Trend) -> str:
    """What the chart shows, for people who cannot see it."""
    parts = [f"{trend.title} over {counted(len(trend.series.sessions), 'session')}."]
    if trend.holding is not None:
        parts.append(f"{trend.holding.word[:1].upper()}{trend.holding.word[1:]}.")
    parts.append(trend.summary)
    if trend.means:
        last = trend.means[-1]
        parts.append(f"Last session {day_words(last.date)}: mean {with_unit(last.mean, trend.unit)}.")
    return " ".join(part if part.endswith(".") else f"{part}." for part in parts)
