"""A sheet as one picture without a browser: headings, paragraphs, tables, charts and stills under each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from overlay.arrays import Image
from overlay.draw.palette import Colour
from overlay.draw.text import fitted, put_text, text_width, wrapped
from overlay.plots.canvas import DARK, LIGHT, PHONE, Size, Theme


@dataclass(frozen=True)
class Words:
    """A paragraph.

    Attributes
    ----------
    text : str
    large : float
        Size in multiples of the sheet's text.
    bold, quiet : bool
    lines : int
        At most; the rest is cut with an ellipsis.
    """

    text: str
    large: float = 1.0
    bold: bool = False
    quiet: bool = False
    lines: int = 12


@dataclass(frozen=True)
class Rule:
    """A line across, and the heading of what follows."""

    title: str


@dataclass(frozen=True)
class Rows:
    """A list of things, each with its name and a line of (label, value) under it."""

    rows: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]


@dataclass(frozen=True)
class Picture:
    """A chart as a PNG of the sheet's width."""

    png: bytes


@dataclass(frozen=True)
class Gallery:
    """Stills beside each other, each (H, W, 3) with its caption; None where there is no picture."""

    stills: tuple[tuple[Image | None, str], ...]
    columns: int = 3


Block = Words | Rule | Rows | Picture | Gallery


@dataclass(frozen=True)
class _Pen:
    """Sizes and colours in px of the picture."""

    size: Size
    theme: Theme
    width: int
    left: int
    paper: Colour = field(init=False)
    ink: Colour = field(init=False)
    quiet: Colour = field(init=False)

    def __post_init__(self) -> None:
        paper, ink = rgb(self.theme.paper), rgb(self.theme.ink)
        object.__setattr__(self, "paper", paper)
        object.__setattr__(self, "ink", ink)
        object.__setattr__(self, "quiet", tuple(round(a + 0.66 * (b - a)) for a, b in zip(paper, ink)))

    @property
    def inside(self) -> int:
        return self.width - 2 * self.left

    def px(self, css: float) -> int:
        return round(css * self.size.scale)

    def blank(self, height: int) -> Image:
        return np.full((height, self.width, 3), self.paper, np.uint8)


def rgb(colour: str) -> Colour:
    """ "#15181d" as (21, 24, 29)."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def draw_blocks(blocks: Sequence[Block], *, size: Size = PHONE, dark: bool = False) -> Image:
    """The blocks under each other as one picture, (H, W, 3) uint8; its width is the size's in picture px."""
    width = round(size.width * size.scale)
    pen = _Pen(size, DARK if dark else LIGHT, width, round(14 * size.scale))
    parts = [pen.blank(pen.px(12))]
    for block in blocks:
        if isinstance(block, Words):
            parts.append(_words(block, pen))
        elif isinstance(block, Rule):
            parts.append(_rule(block, pen))
        elif isinstance(block, Rows):
            parts += [_row(name, cells, pen) for name, cells in block.rows]
        elif isinstance(block, Picture):
            parts.append(_picture(block, pen))
        else:
            parts.append(_gallery(block, pen))
    parts.append(pen.blank(pen.px(16)))
    return np.concatenate(parts)


def _words(block: Words, pen: _Pen) -> Image:
    px = pen.px(block.large * pen.size.text)
    lines = wrapped(block.text, px, pen.inside, block.lines, block.bold) if block.text else []
    step = round(1.36 * px)
    part = pen.blank(step * len(lines) + pen.px(4))
    for i, line in enumerate(lines):
        colour = pen.quiet if block.quiet else pen.ink
        put_text(part, line, pen.left, step * (i + 0.5), px, colour=colour, bold=block.bold)
    return part


def _rule(block: Rule, pen: _Pen) -> Image:
    px = pen.px(1.15 * pen.size.text)
    part = pen.blank(pen.px(18) + round(1.5 * px))
    at = pen.px(10)
    part[at : at + max(1, pen.px(1)), pen.left : pen.width - pen.left] = tuple(
        round(a + 0.25 * (b - a)) for a, b in zip(pen.paper, pen.ink)
    )
    title = fitted(block.title, px, pen.inside, True)
    put_text(part, title, pen.left, pen.px(18) + 0.75 * px, px, colour=pen.ink, bold=True)
    return part


def _row(name: str, cells: Sequence[tuple[str, str]], pen: _Pen) -> Image:
    """The name, and under it as many (label, value) beside each other as fit."""
    px, small = pen.px(pen.size.text), pen.px(pen.size.small)
    names = wrapped(name, px, pen.inside, 2, True)
    lines: list[list[tuple[str, str]]] = [[]]
    left = 0
    for label, value in cells:
        room = _cell_px(label, value, small)
        if lines[-1] and left + room > pen.inside:
            lines.append([])
            left = 0
        lines[-1].append((label, value))
        left += room + pen.px(14)
    step, line_px = round(1.35 * px), round(1.45 * small)
    part = pen.blank(step * len(names) + line_px * len(lines) + pen.px(7))
    for i, line in enumerate(names):
        put_text(part, line, pen.left, step * (i + 0.5), px, colour=pen.ink, bold=True)
    y = step * len(names) + 0.5 * line_px
    for row in lines:
        x = float(pen.left)
        for label, value in row:
            start = x
            if label:
                x += put_text(part, label, x, y, small, colour=pen.quiet) + text_width("n", small)
            most = max(1, round(pen.width - pen.left - x))
            x += put_text(part, fitted(value, small, most), x, y, small, colour=pen.ink)
            x = max(x, start + _cell_px(label, value, small)) + pen.px(14)
        y += line_px
    return part


def _cell_px(label: str, value: str, px: int) -> int:
    return (text_width(label, px) + text_width("n", px) if label else 0) + text_width(value, px)


def _picture(block: Picture, pen: _Pen) -> Image:
    import cv2

    read = cv2.imdecode(np.frombuffer(block.png, np.uint8), cv2.IMREAD_COLOR)
    image = np.asarray(cv2.cvtColor(np.asarray(read, np.uint8), cv2.COLOR_BGR2RGB), np.uint8)
    part = pen.blank(image.shape[0])
    wide = min(pen.width, image.shape[1])
    part[:, :wide] = image[:, :wide]
    return part


def _gallery(block: Gallery, pen: _Pen) -> Image:
    import cv2

    known = next((image for image, _ in block.stills if image is not None), None)
    gap, small = pen.px(6), pen.px(pen.size.small - 2)
    wide = (pen.inside - (block.columns - 1) * gap) // block.columns
    tall = wide if known is None else round(wide * known.shape[0] / known.shape[1])
    foot = round(3.0 * small)
    parts = []
    for start in range(0, len(block.stills), block.columns):
        part = pen.blank(tall + foot + gap)
        for i, (image, caption) in enumerate(block.stills[start : start + block.columns]):
            left = pen.left + i * (wide + gap)
            if image is not None:
                part[:tall, left : left + wide] = cv2.resize(
                    np.ascontiguousarray(image), (wide, tall), interpolation=cv2.INTER_AREA
                )
            for k, line in enumerate(wrapped(caption, small, wide, 2)):
                put_text(part, line, left, tall + small * (0.9 + 1.3 * k), small, colour=pen.quiet)
        parts.append(part)
    return np.concatenate(parts) if parts else pen.blank(1)
