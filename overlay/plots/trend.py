"""One measure over a season: every swing, the session means with their intervals, and where a change is judged from."""

from __future__ import annotations

import math
from typing import Any

from overlay.data.change import ChangeAnswer
from overlay.plots.canvas import DESKTOP, Canvas, Form, Size, drawing, lines_of, points, theme_of, wide
from overlay.plots.panel import Panel
from overlay.plots.season import Trend, axis_words, looking_lines, tick_words, ticks_between, value_range
from overlay.plots.words import bare
from overlay.settings.plots import PLOTS, PlotSettings


def trend_chart(
    trend: Trend | ChangeAnswer,
    *,
    form: Form = "png",
    size: Size = DESKTOP,
    looking: bool = True,
    heading: bool = True,
    salt: str = "",
    settings: PlotSettings = PLOTS,
) -> bytes:
    """Draw one measure over all sessions.

    Parameters
    ----------
    trend : Trend or ChangeAnswer
    form : "svg", "png" or "dark png"
    size : Size
        ``PHONE`` or ``DESKTOP``.
    looking : bool
        Whether the running mean and the usual range are drawn too: for looking, never for deciding.
    heading : bool
        False where the page says the words above the chart.
    salt : str
        Makes the ids of an SVG different from those of other figures on the page.

    Returns
    -------
    bytes
        An ``<svg>`` element as UTF-8, or a PNG.

    Raises
    ------
    DataError
        The form is not known.
    """
    shown = Trend.of(trend) if isinstance(trend, ChangeAnswer) else trend
    with drawing(theme_of(form), salt):
        margin = 0.033 * size.width if size is not DESKTOP else 24.0
        inside = size.width - 2 * margin
        top: float = margin / 2
        words: list[tuple[str, int, bool, float, int]] = []
        if heading:
            large, medium = round(1.35 * size.text), round(1.1 * size.text)
            words = [
                (shown.verdict, large, True, 1.0, 1),
                (shown.title, medium, True, 1.0, 2),
                (shown.summary, size.text, False, 1.0, 3),
            ]
        words.append((axis_words(shown), size.small, False, 0.75, 2))
        tall = sum(1.35 * px * lines_of(said, px, inside, most, bold) for said, px, bold, _, most in words)
        legend = _legend_lines(shown, size, inside, looking, settings)
        foot = 1.3 * size.small * 2 + 14 + 1.5 * size.small * len(legend) + 6
        canvas = Canvas(size.width, top + tall + 8 + _plot_height(size) + foot, form, size)
        for said, px, bold, alpha, most in words:
            top = canvas.paragraph(said, margin, top, inside, px, lines=most, bold=bold, alpha=alpha)
        right = _label_room(shown, size)
        left = margin + _tick_room(shown, size, settings)
        box = (left, top + 8, size.width - left - right - margin / 2, _plot_height(size))
        axes = canvas.axes(*box)
        Panel(canvas, axes, shown, box[2], box[3], settings).draw(looking=looking)
        _write_legend(canvas, legend, margin, top + 8 + _plot_height(size) + 1.3 * size.small * 2 + 14)
        return canvas.written(salt)


def _plot_height(size: Size) -> float:
    return 0.62 * size.height


def _tick_room(trend: Trend, size: Size, settings: PlotSettings) -> float:
    low, high = value_range(trend, settings)
    return max(wide(end, size.small) for end in tick_words(ticks_between(low, high, 5), trend.unit)) + 10.0


def _label_room(trend: Trend, size: Size) -> float:
    """What stands right of the chart: names and values of the levels."""
    names = [] if trend.since is None else ["before", "since"]
    names += [trend.reference_name] if trend.series.reference is not None else []
    if not names:
        return 0.0
    values = [mean.mean for mean in trend.means] + list(trend.series.reference or ())
    said = names + [bare(value, trend.unit) for value in values if math.isfinite(value)]
    return max(wide(text, size.small, True) for text in said) + 12.0


Entry = tuple[str, str]
"""A sign and its words."""


def _legend_lines(trend: Trend, size: Size, width: float, looking: bool, settings: PlotSettings) -> list[list[Entry]]:
    """What the marks mean, in as many rows as fit."""
    single = all(mean.n == 1 for mean in trend.means)
    entries: list[Entry] = [] if single else [("dot", "one swing")]
    entries.append(("mean", "one swing a session" if single else "session mean, 95 %"))
    lines = looking_lines(trend, settings) if looking else None
    if lines is not None:
        low, high = value_range(trend, settings)
        entries.append(("ewma", "running mean, for looking"))
        if any(low <= limit <= high for limit in lines[1:]):
            entries.append(("limits", "usual range, for looking"))
    known = {mean.session_id for mean in trend.means}
    if any(session.id not in known for session in trend.series.sessions):
        entries.append(("none", "session without a value"))
    rows: list[list[Entry]] = [[]]
    left = 0.0
    for entry in entries:
        room = 30 + wide(entry[1], size.small) + 16
        if rows[-1] and left + room - 16 > width:
            rows.append([])
            left = 0.0
        rows[-1].append(entry)
        left += room
    return rows


def _write_legend(canvas: Canvas, rows: list[list[Entry]], left: float, top: float) -> None:
    from matplotlib.lines import Line2D

    size, theme = canvas.size, canvas.theme
    for row in rows:
        x = left
        for kind, said in row:
            y = 1 - (top + 0.7 * size.small) / canvas.height
            start, middle, stop = ((x + at) / canvas.width for at in (0, 11, 22))
            style: dict[str, Any] = {"color": theme.ink, "transform": canvas.figure.transFigure}
            marks: list[Any] = []
            if kind == "dot":
                marks = [Line2D([middle], [y], marker="o", markersize=points(5), alpha=0.55, linestyle="none", **style)]
            elif kind == "mean":
                marks = [
                    Line2D([middle, middle], [y - 7 / canvas.height, y + 7 / canvas.height], linewidth=1.6, **style),
                    Line2D([middle], [y], marker="o", markersize=points(8), markerfacecolor=theme.paper, **style),
                ]
            elif kind == "ewma":
                marks = [Line2D([start, stop], [y, y], linewidth=1.2, alpha=0.7, **style)]
            elif kind == "limits":
                marks = [Line2D([start, stop], [y, y], linewidth=1.2, alpha=0.7, linestyle=(0, (1, 2)), **style)]
            for mark in marks:
                canvas.figure.add_artist(mark)
            if kind == "none":
                canvas.text("×", x + 11, top, size.small, across="center")
            canvas.text(said, x + 30, top, size.small, alpha=0.8)
            x += 30 + wide(said, size.small) + 16
        top += 1.5 * size.small
