"""How much a player varies from swing to swing within a session, part by part: what repeats best and what least."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.draw.text import fitted
from overlay.errors import DataError
from overlay.plots.canvas import DESKTOP, Canvas, Form, Size, drawing, lines_of, points, theme_of, wide
from overlay.plots.words import unit_words
from overlay.settings.plots import PLOTS, PlotSettings
from overlay.stats import smallest_detectable_change


@dataclass(frozen=True)
class Repeat:
    """How well one thing repeats within sessions.

    Attributes
    ----------
    row : str
        The body part, or the measure's title.
    column : str
        The phase; "" for a measure.
    unit : str
    sd : float
        Within-session standard deviation, pooled over the sessions; of a part in one coordinate of its phase mean.
        What the camera and the reading add is in it.
    low, high : float
        95 % interval of ``sd``.
    df : int
        Degrees of freedom: swings minus sessions.
    detectable : float
        Smallest difference of two single swings that noise alone gives in 5 % of cases, 1.96·√2·sd.
    """

    row: str
    column: str
    unit: str
    sd: float
    low: float
    high: float
    df: int
    detectable: float

    @classmethod
    def of(
        cls,
        row: str,
        column: str,
        unit: str,
        groups: Iterable[Sequence[float] | FloatArray],
        settings: PlotSettings = PLOTS,
    ) -> Repeat | None:
        """From the values of each session; None with too few repeats.

        ``groups`` holds one (n,) list a session; for a part, x and y may both be given, each as groups of its own.
        Interval of a standard deviation: s·√(ν/χ²), the usual one for normal values.
        """
        from scipy.special import chdtri

        samples = [np.asarray(group, np.float64) for group in groups]
        samples = [sample[np.isfinite(sample)] for sample in samples]
        df = sum(max(0, len(sample) - 1) for sample in samples)
        if df < settings.least_repeats:
            return None
        squares = sum(float(np.sum((sample - sample.mean()) ** 2)) for sample in samples if len(sample))
        sd = math.sqrt(squares / df)
        rest = (1 - settings.repeat_level) / 2
        low, high = (sd * math.sqrt(df / float(chdtri(df, p))) for p in (rest, 1 - rest))
        change = float(smallest_detectable_change(2 * sd**2, level=settings.repeat_level))
        return cls(row, column, unit, sd, low, high, df, change)


def extremes(repeats: Sequence[Repeat]) -> tuple[Repeat, Repeat] | None:
    """The most and the least repeatable of one unit; None where there are not two."""
    if len(repeats) < 2:
        return None
    ordered = sorted(repeats, key=lambda repeat: repeat.sd)
    return ordered[0], ordered[-1]


def spread_words(sd: float, unit: str) -> str:
    """A spread as a bare number, one digit finer than a value: it is a mean over many swings."""
    if not math.isfinite(sd):
        return "–"
    if unit == "deg":
        return f"{sd:.1f}°"
    if unit == "fraction":
        return f"{100 * sd:.1f} %"
    if unit in ("torso", "s"):
        return f"{sd:.3f}" if sd < 0.1 else f"{sd:.2f}"
    return f"{sd:.2f}"


def name_of(repeat: Repeat) -> str:
    """ "hands in the backswing", or the measure."""
    row = repeat.row[:1].lower() + repeat.row[1:] if repeat.column else repeat.row
    return f"{row} in the {repeat.column}" if repeat.column else row


def repeatability_sentence(repeats: Sequence[Repeat]) -> str:
    """Names the most and the least repeatable, a sentence a unit; says whether they can be told apart at all."""
    said = []
    for unit in dict.fromkeys(repeat.unit for repeat in repeats):
        found = extremes([repeat for repeat in repeats if repeat.unit == unit])
        if found is None:
            continue
        best, worst = found
        in_unit = f" {unit_words(unit)}" if unit in ("torso", "s", "ms", "cm") else ""
        said.append(
            f"Most repeatable: {name_of(best)} (varies by {spread_words(best.sd, unit)}{in_unit}). "
            f"Least: {name_of(worst)} ({spread_words(worst.sd, unit)}).{'' if told_apart(found) else f' {UNSURE}'}"
        )
    return " ".join(said)


UNSURE = "With so few swings these two cannot be told apart."


def told_apart(found: tuple[Repeat, Repeat]) -> bool:
    """Whether the intervals of the most and the least repeatable leave a gap."""
    return found[0].high < found[1].low


NOTE = (
    "How far one swing lies from the next within a session (standard deviation); what the camera and the reading add "
    "is in it. Two single swings differ by chance by up to 2.8 times as much."
)


def repeatability_chart(
    repeats: Sequence[Repeat],
    title: str = "What repeats",
    *,
    form: Form = "png",
    size: Size = DESKTOP,
    heading: bool = True,
    salt: str = "",
) -> bytes:
    """Parts against phases as a table of shaded cells, or measures as dots with intervals, a block a unit.

    Raises
    ------
    DataError
        There is nothing to draw.
    """
    if not repeats:
        raise DataError("Nothing was repeated often enough.", "Keep more swings of one session.")
    with drawing(theme_of(form), salt):
        if any(repeat.column for repeat in repeats):
            return _matrix([repeat for repeat in repeats if repeat.column], title, form, size, heading, salt)
        return _dots(repeats, title, form, size, heading, salt)


Words = list[tuple[str, float, bool, float, int]]
"""Paragraphs: text, px, bold, alpha, most lines."""


def _heading(title: str, sentence: str, size: Size, heading: bool) -> Words:
    words: Words = [(title, round(1.25 * size.text), True, 1.0, 2)] if heading else []
    words += [(sentence, size.text, False, 1.0, 6)] if sentence else []
    return [*words, (NOTE, size.small, False, 0.75, 6)]


def _tall(words: Words, inside: float) -> float:
    return sum(1.35 * px * lines_of(said, px, inside, most, bold) for said, px, bold, _, most in words)


def _matrix(repeats: Sequence[Repeat], title: str, form: Form, size: Size, heading: bool, salt: str) -> bytes:
    from matplotlib.patches import Rectangle

    rows = list(dict.fromkeys(repeat.row for repeat in repeats))
    columns = list(dict.fromkeys(repeat.column for repeat in repeats))
    number_px = size.small - 2 if size.width < 600 else size.small
    mean = {row: float(np.mean([r.sd for r in repeats if r.row == row])) for row in rows}
    rows.sort(key=lambda row: mean[row])
    margin, inside = 14.0, size.width - 28.0
    words = _heading(title, repeatability_sentence(repeats), size, heading)
    narrow = size.width < 600
    head_px = max(wide(column, size.small) for column in columns) + 10 if narrow else 1.8 * size.small
    cell_px = 2.3 * size.small
    top = 8 + _tall(words, inside) + 6
    canvas = Canvas(size.width, top + head_px + cell_px * len(rows) + 14 + 2.8 * size.small, form, size)
    y = 8.0
    for said, px, bold, alpha, most in words:
        y = canvas.paragraph(said, margin, y, inside, px, lines=most, bold=bold, alpha=alpha)
    left = max(wide(row, size.small) for row in rows) + 10
    axes = canvas.axes(margin + left, top + head_px, inside - left, cell_px * len(rows))
    axes.spines["bottom"].set_visible(False)
    axes.set_xlim(0, len(columns))
    axes.set_ylim(len(rows), 0)
    most_sd = max(repeat.sd for repeat in repeats)
    found = extremes(repeats)
    for repeat in repeats:
        i, j = rows.index(repeat.row), columns.index(repeat.column)
        share = repeat.sd / most_sd if most_sd > 0 else 0.0
        axes.add_patch(
            Rectangle((j + 0.03, i + 0.05), 0.94, 0.9, color=canvas.theme.player, alpha=0.08 + 0.5 * share, linewidth=0)
        )
        marked = found is not None and repeat in found
        axes.text(
            j + 0.5, i + 0.53, _short(repeat), ha="center", va="center", fontsize=points(number_px),
            fontweight="bold" if marked else "normal", color=canvas.theme.ink,
        )  # fmt: skip
        if marked:
            best = found is not None and repeat is found[0]
            axes.add_patch(
                Rectangle(
                    (j + 0.05, i + 0.08),
                    0.9,
                    0.84,
                    fill=False,
                    edgecolor=canvas.theme.ink,
                    linewidth=2.0,
                    linestyle="-" if not best else (0, (3, 1.5)),
                )
            )
    axes.set_yticks([i + 0.5 for i in range(len(rows))], rows)
    axes.set_xticks([j + 0.5 for j in range(len(columns))], columns, rotation=90 if narrow else 0)
    axes.xaxis.tick_top()
    axes.tick_params(length=0, labelsize=points(size.small))
    foot = "Solid frame: least repeatable. Dashed frame: most. Empty: too few swings."
    canvas.paragraph(foot, margin, top + head_px + cell_px * len(rows) + 10, inside, size.small, lines=2, alpha=0.75)
    return canvas.written(salt)


def _short(repeat: Repeat) -> str:
    return spread_words(repeat.sd, repeat.unit)


def _dots(repeats: Sequence[Repeat], title: str, form: Form, size: Size, heading: bool, salt: str) -> bytes:
    from overlay.plots.season import tick_words, ticks_between

    units = list(dict.fromkeys(repeat.unit for repeat in repeats))
    margin, inside = 14.0, size.width - 28.0
    words = _heading(title, "", size, heading)
    narrow = size.width < 600
    row_px = (3.1 if narrow else 1.9) * size.small
    blocks = [sorted((r for r in repeats if r.unit == unit), key=lambda r: r.sd) for unit in units]
    told = [_named(block) for block in blocks]
    foot = 1.9 * size.small + 16
    tall = [
        sum(1.35 * size.text * lines_of(line, size.text, inside, 3, True) for line in lines) + 1.5 * size.small
        for lines in told
    ]
    top = 8 + _tall(words, inside) + 10
    height = top + sum(row_px * len(block) + head + foot for block, head in zip(blocks, tall))
    canvas = Canvas(size.width, height, form, size)
    y = 8.0
    for said, px, bold, alpha, most in words:
        y = canvas.paragraph(said, margin, y, inside, px, lines=most, bold=bold, alpha=alpha)
    y = top
    name_px = 0.0 if narrow else min(0.45 * inside, max(wide(r.row, size.small, True) for r in repeats) + 12)
    number_px = wide("0.000", size.small, True) + 14
    for unit, block, lines in zip(units, blocks, told):
        for line in lines:
            y = canvas.paragraph(line, margin, y, inside, size.text, lines=3, bold=line != UNSURE)
        canvas.text(f"in {unit_words(unit) or 'its own unit'}", margin, y, size.small, alpha=0.75)
        y += 1.5 * size.small
        box = (margin + name_px, y, inside - name_px - number_px, row_px * len(block))
        axes = canvas.axes(*box)
        axes.set_ylim(len(block) - 0.5, -0.5)
        most_sd = max(repeat.sd for repeat in block)
        axes.set_xlim(0, 1.04 * max(min(repeat.high, 2.5 * most_sd) for repeat in block))
        found = extremes(block)
        for i, repeat in enumerate(block):
            marked = found is not None and repeat in found
            row = 0.22 if narrow else 0.0
            axes.hlines(i + row, 0, repeat.sd, color=canvas.theme.player, linewidth=3.2, alpha=0.35, zorder=2)
            axes.hlines(i + row, repeat.low, repeat.high, color=canvas.theme.player, linewidth=1.4, zorder=3)
            axes.plot([repeat.sd], [i + row], marker="o", markersize=points(9), color=canvas.theme.player, zorder=4)
            middle = y + (i + 0.5) * row_px
            room, up = (inside, 0.5 * row_px) if narrow else (name_px - 8, 0.62 * size.small)
            name = fitted(repeat.row, size.small, round(room), marked)
            canvas.text(name, margin, middle - up, size.small, bold=marked)
            down = row * row_px - 0.62 * size.small
            canvas.text(_short(repeat), margin + inside, middle + down, size.small, bold=marked, across="right")
        ticks = ticks_between(0.0, float(axes.get_xlim()[1]), 4)
        axes.set_xticks(ticks, tick_words(ticks, unit))
        if narrow:
            axes.get_xticklabels()[0].set_ha("left")
        axes.set_yticks([])
        for tick in ticks:
            axes.axvline(tick, color=canvas.theme.ink, alpha=0.13, linewidth=0.8, zorder=0.5)
        y += row_px * len(block) + foot
    return canvas.written(salt)


def _named(block: Sequence[Repeat]) -> list[str]:
    """The most and the least repeatable of one unit, a line each."""
    found = extremes(block)
    if found is None:
        return []
    lines = [f"Most repeatable: {name_of(found[0])}", f"Least repeatable: {name_of(found[1])}"]
    return lines if told_apart(found) else [*lines, UNSURE]
