"""Draws the season of one measure into axes: swings, session means, levels before and since, dates."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np

from overlay.arrays import FloatArray
from overlay.plots.canvas import Canvas, points, wide
from overlay.plots.season import (
    Trend,
    dated,
    day_words,
    looking_lines,
    moved_apart,
    pause_words,
    tick_words,
    ticks_between,
    value_range,
)
from overlay.plots.words import bare
from overlay.settings.plots import PLOTS, PlotSettings

REACH = 0.36
"""Half of what a session's dots take of its slot."""


class Panel:
    """Draws one trend into axes.

    Parameters
    ----------
    canvas : Canvas
    axes : matplotlib Axes
    trend : Trend
    width, height : float
        Of the axes, CSS px.
    """

    def __init__(
        self, canvas: Canvas, axes: Any, trend: Trend, width: float, height: float, settings: PlotSettings = PLOTS
    ) -> None:
        self.canvas, self.axes, self.trend, self.settings = canvas, axes, trend, settings
        self.width, self.height = width, height
        self.theme, self.size = canvas.theme, canvas.size
        self.place = {session.id: i for i, session in enumerate(trend.series.sessions)}
        self.later = trend.is_later
        self.n = max(1, len(trend.series.sessions))
        self.slot_px = width / self.n

    def draw(self, *, looking: bool = True, small: bool = False) -> None:
        """Everything but the heading; ``small``: without the words inside, for a sheet."""
        low, high = value_range(self.trend, self.settings)
        gaps = [] if small else self._pauses()
        silent = self._silent()
        silent_px = 0.0 if small or not silent else 1.2 * self.size.small
        lane = silent_px + (1.5 * self.size.small if gaps else 0.0)
        head = 0.0 if small else (1.5 * self.size.small if self.trend.since is not None else 4.0)
        px = (high - low) / max(1.0, self.height - lane - head)
        self.axes.set_ylim(low - lane * px, high + head * px)
        self.axes.set_xlim(-0.5, self.n - 0.5)
        self._grid(low, high, small)
        self._reference()
        self._change_day(small)
        if looking and not small:
            self._looking()
        self._levels(small)
        self._dots(low, high, small)
        self._means(low, high)
        self._pause_marks(low - lane * px + (silent_px + 0.7 * self.size.small) * px, gaps)
        for i in [] if small else silent:
            y = low - lane * px + 0.6 * silent_px * px
            self.axes.text(i, y, "×", ha="center", va="center", fontsize=points(self.size.small), color=self.theme.ink)
        self._dates(small)
        if not small:
            self._labels(low, high, px)

    # --- ground -------------------------------------------------------------------------------------------------

    def _grid(self, low: float, high: float, small: bool) -> None:
        ticks = ticks_between(low, high, 3 if small else 5)
        self.axes.set_yticks(ticks, tick_words(ticks, self.trend.unit))
        for tick in ticks:
            is_zero = abs(tick) < 1e-12 and bool(self.trend.spoken.plus)
            self.axes.axhline(tick, color=self.theme.ink, linewidth=0.8, alpha=0.45 if is_zero else 0.13, zorder=0.5)

    def _reference(self) -> None:
        if self.trend.series.reference is None:
            return
        value, low, high = self.trend.series.reference
        if math.isfinite(low) and math.isfinite(high):
            self.axes.axhspan(low, high, color=self.theme.reference, alpha=0.16, linewidth=0, zorder=0.6)
        if math.isfinite(value):
            self.axes.axhline(value, color=self.theme.reference, linewidth=1.8, linestyle=(0, (6, 2)), zorder=1.5)

    def _change_day(self, small: bool) -> None:
        """Later sessions on a light ground, a line before the first of them, and the two words above."""
        if self.trend.since is None:
            return
        first = next((i for i, later in enumerate(self.later) if later), self.n)
        at = first - 0.5
        self.axes.axvspan(at, self.n - 0.5, color=self.theme.player, alpha=0.08, linewidth=0, zorder=0.3)
        if first > 0:
            self.axes.axvline(at, color=self.theme.ink, linewidth=1.4, alpha=0.8, zorder=1.2)
        if small:
            return
        since = f"since {self.trend.day(self.trend.since)}"
        style = {"fontsize": points(self.size.small), "va": "top", "fontweight": "bold"}
        if wide(since, self.size.small, True) > (self.n - first) * self.slot_px:
            since = "since"
        for words, start, stop, colour in (
            ("before", 0, first, self.theme.ink),
            (since, first, self.n, self.theme.player),
        ):
            if wide(words, self.size.small, True) < (stop - start) * self.slot_px:
                self.axes.annotate(
                    words, ((start + stop) / 2 - 0.5, 1.0), xycoords=("data", "axes fraction"), ha="center",
                    color=colour, **style,
                )  # fmt: skip

    # --- lines --------------------------------------------------------------------------------------------------

    def _levels(self, small: bool) -> None:
        """Mean of the session means before, drawn on as where it was, and since."""
        before, since = self.levels
        first = next((i for i, later in enumerate(self.later) if later), self.n)
        ink, player = self.theme.ink, self.theme.player
        for level, start, stop in ((before, -0.5, first - 0.5), (since, first - 0.5, self.n - 0.5)):
            if math.isfinite(level) and not small:
                # Seen on a season of ten thousand dots too.
                self.axes.hlines(level, start, stop, color=self.theme.paper, linewidth=5.0, alpha=0.7, zorder=3.15)
        if math.isfinite(before):
            self.axes.hlines(before, -0.5, first - 0.5, color=ink, linewidth=2.0, alpha=0.8, zorder=3.2)
            self.axes.hlines(
                before, first - 0.5, self.n - 0.5, color=ink, linewidth=1.2, alpha=0.7, linestyle=(0, (2, 2)), zorder=3
            )
        if math.isfinite(since):
            self.axes.hlines(since, first - 0.5, self.n - 0.5, color=player, linewidth=2.6, zorder=3.2)

    @property
    def levels(self) -> tuple[float, float]:
        """Mean of the session means before and since; NaN where there is none or nothing was declared."""
        if self.trend.since is None:
            return math.nan, math.nan
        sides: tuple[list[float], list[float]] = ([], [])
        for mean in self.trend.means:
            sides[mean.date >= self.trend.since].append(mean.mean)
        before, since = (float(np.mean(side)) if side else math.nan for side in sides)
        return before, since

    def _looking(self) -> None:
        """Running mean of the session means, and the range single sessions before the change usually lie in."""
        lines = looking_lines(self.trend, self.settings)
        if lines is None:
            return
        at = [self.place[mean.session_id] for mean in self.trend.means if mean.session_id in self.place]
        self.axes.plot(at, lines[0], color=self.theme.ink, linewidth=1.0, alpha=0.55, zorder=2.5)
        for limit in lines[1:]:
            self.axes.axhline(limit, color=self.theme.ink, linewidth=0.9, alpha=0.5, linestyle=(0, (1, 3)), zorder=1)

    # --- swings and sessions ------------------------------------------------------------------------------------

    def _dots(self, low: float, high: float, small: bool) -> None:
        series = self.trend.series
        at: list[FloatArray] = []
        values: list[FloatArray] = []
        later: list[FloatArray] = []
        for session, is_later in zip(series.sessions, self.later):
            inside = series.of_session(session.id)
            if len(inside):
                n = len(inside)
                spread = (np.arange(n) + 0.5) / n * 2 - 1 if n > 1 else np.zeros(1)
                at.append(self.place[session.id] + REACH * spread)
                values.append(inside)
                later.append(np.full(n, float(is_later)))
        if not at:
            return
        x, y, since = np.concatenate(at), np.concatenate(values), np.concatenate(later) > 0
        seen = (y >= low) & (y <= high)
        busiest = max(len(one) for one in at)
        px = float(np.clip(1.5 * REACH * 2 * self.slot_px / math.sqrt(busiest * 4), 1.6, 3.6 if small else 6.0))
        # How often dots cover a place in the busiest session, whose swings mostly lie within half the height.
        cover = busiest * px**2 / max(1.0, REACH * self.slot_px * self.height)
        alpha = float(np.clip(0.6 / (1.0 + 1.6 * cover), 0.06, 0.6))
        raster = self.canvas.form == "svg" and len(x) > self.settings.most_vector_dots
        for chosen, colour in ((seen & ~since, self.theme.ink), (seen & since, self.theme.player)):
            if np.any(chosen):
                if raster and self.canvas.form == "svg":
                    # A picture cannot follow the page: a grey and an orange that are seen on light and dark.
                    colour = "#7d8592" if colour == self.theme.ink else "#d97a06"
                self.axes.scatter(
                    x[chosen], y[chosen], s=points(px) ** 2, color=colour, alpha=alpha,
                    linewidths=0, zorder=2, rasterized=raster,
                )  # fmt: skip
        if not small:
            self._beyond(x, y, since, low, high)

    def _beyond(self, x: FloatArray, y: FloatArray, since: Any, low: float, high: float) -> None:
        """An arrow at the edge for swings far outside, with the value of the furthest."""
        for outside, edge, sign in ((y > high, high, "▲"), (y < low, low, "▼")):
            for i in np.unique(np.round(x[outside])):
                here = outside & (np.round(x) == i)
                furthest = y[here][np.argmax(np.abs(y[here] - edge))]
                n = int(np.count_nonzero(here))
                words = f"{sign} {bare(float(furthest), self.trend.unit)}" + (f" ({n})" if n > 1 else "")
                self.axes.annotate(
                    words, (i, edge), ha="center", va="top" if sign == "▲" else "bottom",
                    fontsize=points(self.size.small - 2), color=self.theme.ink, alpha=0.8, zorder=5,
                )  # fmt: skip

    def _means(self, low: float, high: float) -> None:
        marker_px = float(np.clip(0.5 * self.slot_px, 4.0, 10.0))
        for mean in self.trend.means:
            if mean.session_id not in self.place:
                continue
            i = self.place[mean.session_id]
            later = self.later[i]
            colour = self.theme.player if later else self.theme.ink
            ends = [float(np.clip(end, low, high)) for end in mean.interval]
            if all(math.isfinite(end) for end in mean.interval):
                line = float(np.clip(0.12 * self.slot_px, 1.2, 2.6))
                if self.slot_px > 12:
                    self.axes.vlines(i, ends[0], ends[1], color=self.theme.paper, linewidth=line + 2, zorder=3.1)
                self.axes.vlines(i, ends[0], ends[1], color=colour, linewidth=line, zorder=4)
            self.axes.plot(
                [i], [float(np.clip(mean.mean, low, high))], marker="D" if later else "o",
                markersize=points(marker_px * (0.85 if later else 1.0)), color=colour, linestyle="none",
                markerfacecolor=colour if later else self.theme.paper, markeredgecolor=colour,
                markeredgewidth=max(0.9, 0.16 * marker_px), zorder=4.5,
            )  # fmt: skip

    # --- foot and side ------------------------------------------------------------------------------------------

    def _silent(self) -> list[int]:
        known = {mean.session_id for mean in self.trend.means}
        return [i for identity, i in self.place.items() if identity not in known]

    def _pauses(self) -> list[tuple[float, str]]:
        """Pauses between sessions that stand out: where, and how long in words."""
        days = [session.date for session in self.trend.series.sessions]
        gaps = [(after - before).days for before, after in itertools.pairwise(days)]
        if not gaps:
            return []
        usual = float(np.median(gaps)) if len(gaps) > 2 else 0.0
        found = [
            (i + 0.5, pause_words(gap))
            for i, gap in enumerate(gaps)
            if gap >= self.settings.gap_days and gap > self.settings.gap_times * usual
        ]
        shown: list[tuple[float, str]] = []
        for at, said in sorted(found, key=lambda gap: -gaps[int(gap[0])]):
            room = wide(said, self.size.small - 1) + 8
            if all(abs(at - other) * self.slot_px > room for other, _ in shown):
                shown.append((at, said))
        return shown

    def _pause_marks(self, y: float, gaps: list[tuple[float, str]]) -> None:
        from matplotlib.transforms import blended_transform_factory

        half = 0.5
        for at, said in gaps:
            room = (wide(said, self.size.small - 1) / 2 + 4) / self.slot_px
            middle = min(max(at, room - half), self.n - half - room)
            self.axes.text(
                middle, y, said, ha="center", va="center", fontsize=points(self.size.small - 1),
                color=self.theme.ink, alpha=0.75,
            )  # fmt: skip
            side = blended_transform_factory(self.axes.transData, self.axes.transAxes)
            self.axes.plot(
                [at, at], [0.0, 0.92], color=self.theme.ink, linewidth=1.0, alpha=0.25, linestyle=(0, (1, 2)),
                transform=side, zorder=0.9,
            )  # fmt: skip

    def _dates(self, small: bool) -> None:
        days = [session.date for session in self.trend.series.sessions]
        if not days:
            self.axes.set_xticks([])
            return
        first = next((i for i, later in enumerate(self.later) if later), 0)
        px = self.size.small - (1 if small else 0)
        shown = dated(days, self.slot_px, px, first)
        labels, year = [], None
        for i in shown:
            said = day_words(days[i])
            if days[i].year != year:
                said += f"\n{days[i].year}"
                year = days[i].year
            labels.append(said)
        self.axes.set_xticks(shown, labels)
        self.axes.tick_params(axis="x", labelsize=points(px), length=0, pad=4)
        if self.n > 1:
            from matplotlib.transforms import blended_transform_factory

            side = blended_transform_factory(self.axes.transData, self.axes.transAxes)
            self.axes.plot(
                range(self.n), [0.0] * self.n, marker="|", markersize=points(5), color=self.theme.ink, alpha=0.6,
                linestyle="none", transform=side, clip_on=False, zorder=1,
            )  # fmt: skip
        # The first and last date would stand half outside a narrow chart.
        ticks = self.axes.get_xticklabels()
        if len(ticks) > 1:
            for tick, i in zip(ticks, shown):
                room = wide(tick.get_text().splitlines()[0], px) / 2
                if (i + 0.5) * self.slot_px < room:
                    tick.set_ha("left")

    def _labels(self, low: float, high: float, px: float) -> None:
        """What the levels are, at the right edge, moved apart where they lie close."""
        before, since = self.levels
        said: list[tuple[float, str, str]] = []
        if math.isfinite(before):
            said.append((before, "before", self.theme.ink))
        if math.isfinite(since):
            said.append((since, "since", self.theme.player))
        reference = self.trend.series.reference
        if reference is not None and math.isfinite(reference[0]):
            said.append((reference[0], self.trend.reference_name, self.theme.reference))
        line = 1.2 * self.size.small
        apart = moved_apart([value / px for value, _, _ in said], 2.2 * line, (low / px + line, high / px - line))
        for (value, name, colour), at in zip(said, apart):
            self.axes.annotate(
                f"{name}\n{bare(value, self.trend.unit)}", (1.0, at * px), xycoords=("axes fraction", "data"),
                xytext=(points(6), 0), textcoords="offset points", va="center", ha="left", color=colour,
                fontsize=points(self.size.small), fontweight="bold", linespacing=1.1, annotation_clip=False,
            )  # fmt: skip
