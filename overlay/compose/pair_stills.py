"""Stills of both views at the positions, and the sheet that shows them with what both views measure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from overlay.arrays import Image
from overlay.compose.options import ComposeOptions
from overlay.compose.sources import Source
from overlay.compose.stills import Still, comparison_stills, inspection_stills
from overlay.compose.wording import short_first
from overlay.data import Comparison, FirstThing, Measure, Swing, ViewPair
from overlay.draw import STUDENT, FirstStrip, Notice, put_text
from overlay.draw.palette import INK, PANEL, PAPER, QUIET, REFERENCE
from overlay.draw.panels import panel
from overlay.draw.text import fitted, wrapped
from overlay.errors import MismatchError
from overlay.pair import fused_positions
from overlay.pair.wording import both_views_rows, pair_sentence
from overlay.settings.draw import DrawSettings
from overlay.terms import POSITION_NAMES, VIEW_WORDS, View, words

VIEWS: tuple[View, View] = ("dtl", "fo")


def shown_swings(pair: ViewPair) -> dict[View, Swing]:
    """The swings with the positions that are shown: those found from both views where it is one swing."""
    if not pair.one_swing:
        return {"dtl": pair.dtl, "fo": pair.fo}
    fused = fused_positions(pair)
    return {"dtl": replace(pair.dtl, positions=fused["dtl"]), "fo": replace(pair.fo, positions=fused["fo"])}


def check_views(comparisons: Mapping[View, Comparison], sources: Mapping[View, Sequence[Source]]) -> None:
    """Refuse sources and comparisons that do not belong together.

    Raises
    ------
    MismatchError
    """
    for view in VIEWS:
        if view not in sources or not 1 <= len(sources[view]) <= 2:
            raise MismatchError(
                f"There are no pictures of the student {VIEW_WORDS[view]}.", "Give a source for each of both views."
            )
    for view, comparison in comparisons.items():
        if view not in VIEWS or comparison.student.view != view:
            raise MismatchError(
                f"A comparison filmed {VIEW_WORDS[comparison.student.view]} was given as one filmed "
                f"{VIEW_WORDS.get(view, view)}.",
                "Give each comparison under its own view.",
            )


@dataclass(frozen=True)
class PairRow:
    """One position in both views: each view's stills (student, and with a reference its ghost) and what was read."""

    name: str
    cells: tuple[tuple[str, Still | None, Image | None, str], ...]
    """(view words, still, ghost or None, why there is no picture)"""
    measures: tuple[Measure, ...]


@dataclass(frozen=True)
class PairStills:
    """The stills of both views: (width, height) px of each view's pane, rows in time order."""

    sizes: tuple[tuple[int, int], tuple[int, int]]
    rows: tuple[PairRow, ...]


def pair_stills(
    comparisons: Mapping[View, Comparison],
    sources: Mapping[View, Sequence[Source]],
    pair: ViewPair,
    *,
    options: ComposeOptions | None = None,
    height_px: int | None = None,
) -> PairStills:
    """Stills of both views at the positions: of one swing both at one instant. Reads every clip once."""
    options = options or ComposeOptions()
    check_views(comparisons, sources)
    height = options.settings.still_px if height_px is None else height_px
    swings = shown_swings(pair)
    found: dict[View, dict[str, tuple[Still, Image | None]]] = {}
    sizes = []
    for view in VIEWS:
        comparison = comparisons.get(view)
        if comparison is not None and len(sources[view]) > 1:
            shown = replace(
                comparison,
                student=replace(comparison.student, positions=swings[view].positions),
                checklist=None,
            )
            stills = comparison_stills(
                shown, student=sources[view][0], reference=sources[view][1], options=options, height_px=height
            )
            found[view] = {row.name: (row.student, row.ghost) for row in stills.rows}
            sizes.append(stills.pane_size)
        else:
            alone = inspection_stills(swings[view], source=sources[view][0], options=options, height_px=height)
            found[view] = {still.name: (still, None) for still in alone.stills}
            sizes.append(alone.pane_size)
    rows = []
    for name in POSITION_NAMES:
        cells = tuple(
            (VIEW_WORDS[view], found[view][name][0], found[view][name][1], found[view][name][0].reason)
            for view in VIEWS
        )
        rows.append(PairRow(name, cells, tuple(m for m in pair.measures if m.position == name)))
    return PairStills((sizes[0], sizes[1]), tuple(rows))


def pair_sheet(
    comparisons: Mapping[View, Comparison],
    sources: Mapping[View, Sequence[Source]],
    pair: ViewPair,
    out: Path,
    *,
    first: FirstThing | None = None,
    options: ComposeOptions | None = None,
    stills: PairStills | None = None,
) -> Path:
    """Write the positions as PNG: one row a position, both views beside each other (with a reference the ghost of each
    too), and under each row what both views measure there.

    ``stills`` from ``pair_stills`` spare reading the clips again.

    Raises
    ------
    InputError
        A clip cannot be read.
    MismatchError
        Sources and comparisons do not belong together.
    OutputError
        ``out`` cannot be written.
    """
    from overlay.video import write_png

    options = options or ComposeOptions()
    stills = stills or pair_stills(comparisons, sources, pair, options=options)
    write_png(out, compose_pair_sheet(stills, pair, first, options.style))
    return out


def compose_pair_sheet(stills: PairStills, pair: ViewPair, first: FirstThing | None, style: DrawSettings) -> Image:
    """The sheet as a picture, (H, W, 3)."""
    with_ghost = any(cell[2] is not None for row in stills.rows for cell in row.cells)
    columns: list[tuple[int, str, tuple[int, int]]] = []
    for which, size in enumerate(stills.sizes):
        columns.append((which, "student", size))
        if with_ghost:
            columns.append((which, "ghost", size))
    pane_height = stills.sizes[0][1]
    gap = max(4, round(0.012 * pane_height))
    wide = sum(size[0] for _, _, size in columns) + gap * (len(columns) + 1)
    size_px = round(max(style.least_text, 0.02 * wide))
    small = round(0.85 * size_px)
    blocks = []
    sentence = "" if first is None else short_first(first)
    if sentence and first is not None:
        strip = FirstStrip(size_px)
        blocks.append(strip.picture(wide, strip.needed_height(wide, sentence), sentence, first.check is not None))
    blocks.append(_paragraph(pair_sentence(pair), wide, small))
    blocks.append(_column_heads(columns, wide, gap, size_px))
    for number, row in enumerate(stills.rows, start=1):
        blocks.append(_sheet_row(number, row, columns, wide, gap, size_px, small, pane_height))
    return np.concatenate(blocks)


def _paragraph(text: str, wide: int, size_px: int) -> Image:
    lines = wrapped(text, size_px, wide - 2 * size_px, 4)
    image = panel(wide, round(size_px * (1.4 * len(lines) + 0.8)), INK)
    for i, line in enumerate(lines):
        put_text(image, line, size_px, size_px * (1.1 + 1.4 * i), size_px, colour=QUIET)
    return image


def _column_heads(columns: list[tuple[int, str, tuple[int, int]]], wide: int, gap: int, size_px: int) -> Image:
    image = panel(wide, round(2.0 * size_px), INK)
    left = gap
    for which, what, size in columns:
        text = VIEW_WORDS[VIEWS[which]].capitalize() + (", ghost" if what == "ghost" else "")
        colour = REFERENCE.strong if what == "ghost" else STUDENT.strong
        bar = max(3, size_px // 4)
        image[round(0.45 * size_px) : round(1.55 * size_px), left : left + bar] = colour
        put_text(image, fitted(text, size_px, size[0] - 3 * bar, True), left + 2 * bar, size_px, size_px, bold=True)
        left += size[0] + gap
    return image


def _sheet_row(
    number: int,
    row: PairRow,
    columns: list[tuple[int, str, tuple[int, int]]],
    wide: int,
    gap: int,
    size_px: int,
    small: int,
    pane_height: int,
) -> Image:
    title, foot = round(2.0 * size_px), round(1.9 * small)
    told = both_views_rows(row.measures)
    lines: list[str] = []
    for line in told:
        lines.extend(wrapped(line, small, wide - 2 * gap, 3))
    image = panel(wide, title + pane_height + foot + round(1.45 * small * len(lines)) + gap, INK)
    image[:title] = PANEL
    put_text(image, f"{number}  {words(row.name).capitalize()}", gap, title / 2, size_px, bold=True)
    left = gap
    for which, what, size in columns:
        _, still, ghost, reason = row.cells[which]
        picture = ghost if what == "ghost" else None if still is None else still.image
        if picture is None:
            why = "No ghost here." if what == "ghost" and not reason else f"Not found: {reason}"
            picture = Notice(size_px).picture(size[0], size[1], why)
        image[title : title + size[1], left : left + size[0]] = picture
        if what == "student" and still is not None:
            caption = fitted(still.caption, small, size[0])
            put_text(image, caption, left, title + pane_height + foot / 2, small, colour=QUIET)
        left += size[0] + gap
    for i, text in enumerate(lines):
        y = title + pane_height + foot + (0.6 + 1.45 * i) * small
        put_text(image, text, gap, y, small, colour=PAPER)
    return image
