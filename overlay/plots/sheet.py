"""All measures of a view beside each other, each as a small trend."""

from __future__ import annotations

import math
from collections.abc import Sequence

from overlay.data.change import ChangeAnswer
from overlay.draw.text import fitted
from overlay.errors import DataError
from overlay.plots.canvas import DESKTOP, Canvas, Form, Size, drawing, lines_of, theme_of, wide
from overlay.plots.panel import Panel
from overlay.plots.season import Trend, axis_words, tick_words, ticks_between, value_range
from overlay.plots.words import measure_words
from overlay.settings.plots import PLOTS, PlotSettings

PLOT_PX = 120.0
"""Height of one small chart."""


def trend_sheet(
    trends: Sequence[Trend | ChangeAnswer],
    title: str,
    *,
    form: Form = "png",
    size: Size = DESKTOP,
    note: str = "",
    salt: str = "",
    settings: PlotSettings = PLOTS,
) -> bytes:
    """Draw several measures over the same sessions: the declared focus first, then in the order of the checklist.

    Parameters
    ----------
    trends : sequence of Trend or ChangeAnswer
    title : str
    note : str
        A line under the title.
    form, size, salt
        As ``trend_chart``.

    Raises
    ------
    DataError
        There is nothing to draw.
    """
    shown = [Trend.of(trend) if isinstance(trend, ChangeAnswer) else trend for trend in trends]
    if not shown:
        raise DataError("A sheet of no measures.", "Give one trend at least.")
    shown.sort(key=_order)
    with drawing(theme_of(form), salt):
        margin, gap = 16.0, 26.0
        cell = (size.width - 2 * margin - (size.columns - 1) * gap) / size.columns
        words_px = 1.35 * (size.text + 3 * size.small)
        tall = words_px + PLOT_PX + 3.0 * size.small + 14
        rows = math.ceil(len(shown) / size.columns)
        inside, large = size.width - 2 * margin, round(1.25 * size.text)
        head = 1.35 * large * lines_of(title, large, inside, 2, True)
        head += 1.35 * size.small * lines_of(note, size.small, inside, 3) + 22
        canvas = Canvas(size.width, head + rows * tall + 6, form, size)
        y = canvas.paragraph(title, margin, 8, inside, large, lines=2, bold=True)
        canvas.paragraph(note, margin, y, inside, size.small, lines=3, alpha=0.8)
        for i, trend in enumerate(shown):
            left = margin + (i % size.columns) * (cell + gap)
            _cell(canvas, trend, left, head + (i // size.columns) * tall, cell, words_px, settings)
        return canvas.written(salt)


def _order(trend: Trend) -> tuple[bool, int]:
    focus = trend.holding is not None and trend.holding.is_focus
    return not focus, measure_words(trend.series.name, trend.series.view).order


def _cell(
    canvas: Canvas, trend: Trend, left: float, top: float, width: float, words_px: float, settings: PlotSettings
) -> None:
    size, spoken = canvas.size, trend.spoken
    title, where = (spoken.title, spoken.where) if spoken.where else (trend.title, "")
    canvas.text(fitted(title, size.text, round(width), True), left, top, size.text, bold=True)
    y = top + 1.35 * size.text
    canvas.text(fitted(where, size.small, round(width)), left, y, size.small, alpha=0.8)
    y += 1.35 * size.small
    focus = trend.holding is not None and trend.holding.is_focus
    said = " · ".join(part for part in (trend.verdict or trend.summary, "the focus" if focus else "") if part)
    canvas.text(fitted(said, size.small, round(width), True), left, y, size.small, bold=True)
    y += 1.35 * size.small
    ways = axis_words(trend, short=True)
    canvas.text(fitted(ways, size.small - 1, round(width)), left, y, size.small - 1, alpha=0.75)
    ticks = tick_words(ticks_between(*value_range(trend, settings), 3), trend.unit)
    room = max([wide(tick, size.small) for tick in ticks], default=0) + 8.0
    box = (left + room, top + words_px + 6, width - room, PLOT_PX)
    axes = canvas.axes(*box)
    Panel(canvas, axes, trend, box[2], box[3], settings).draw(looking=False, small=True)
