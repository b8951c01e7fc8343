"""Panels around the panes: heading, time bar with the positions, scores of the phase, framed stills.

A panel is a plain picture made once for what it says and copied after that; only the time bar's cursor moves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from overlay.arrays import Image
from overlay.data import PhaseDifference
from overlay.draw.figure import disc
from overlay.draw.palette import HELD, INK, PANEL, PANEL_EDGE, PAPER, QUIET, STUDENT, Colour, mixed
from overlay.draw.text import fitted, put_text, text_width, wrapped
from overlay.terms import words

STEPS: dict[str, int] = {
    "no difference detected": 0,
    "small": 1,
    "moderate": 2,
    "large": 3,
    "very large": 4,
}
"""How many of the four dots are filled."""

CELL_EM = 17.8
"""Width of a cell in font sizes: name 5.5 + 0.35, dots 2.45, word 5.7 + 0.25, score 2.1, margins 1.4."""

SHORT_WORDS: dict[str, str] = {"no difference detected": "no difference"}


def panel(width: int, height: int, colour: Colour = PANEL) -> Image:
    """A plain picture (height, width, 3)."""
    image = np.empty((height, width, 3), np.uint8)
    image[:] = colour
    return image


@dataclass(frozen=True)
class Heading:
    """What is going on now, in the largest letters: the phase, or the position when the picture is held."""

    size_px: int
    side_px: int

    def picture(self, width: int, height: int, title: str, held: bool, right: str = "") -> Image:
        """The heading, (height, width, 3). A held position stands on a light plate."""
        image = panel(width, height)
        middle, margin = height / 2, self.size_px * 0.5
        room = width - 2 * margin
        if right:
            room -= put_text(image, right, width - margin, middle, self.side_px, colour=QUIET, anchor="right") + margin
        text = fitted(title, self.size_px, max(1, int(room - self.size_px)), True)
        if held:
            put_text(image, text, margin, middle, self.size_px, colour=INK, bold=True, plate=HELD, plate_opacity=1.0)
        else:
            put_text(image, text, margin, middle, self.size_px, bold=True)
        return image


MOST_FIRST_LINES = 3
"""More are not read while a video plays; the report holds the whole text."""


@dataclass(frozen=True)
class FirstStrip:
    """The one thing to work on first, in a strip that stays under the heading."""

    size_px: int

    def _lines(self, width: int, sentence: str) -> list[str]:
        return wrapped(sentence, self.size_px, max(1, round(width - 2.1 * self.size_px)), MOST_FIRST_LINES, bold=True)

    def needed_height(self, width: int, sentence: str) -> int:
        """Height for the wrapped sentence, px."""
        return round(self.size_px * (0.75 + 1.3 * len(self._lines(width, sentence))))

    def picture(self, width: int, height: int, sentence: str, found: bool = True) -> Image:
        """The strip, (height, width, 3). ``found``: there is something to work on, which a bright bar marks."""
        image = panel(width, height, INK)
        size = self.size_px
        margin = round(0.7 * size)
        bar = max(4, round(0.28 * size))
        top, bottom = round(0.35 * size), height - round(0.35 * size)
        image[top:bottom, margin : margin + bar] = HELD if found else PANEL_EDGE
        lines = self._lines(width, sentence)
        y = height / 2 - 0.65 * size * (len(lines) - 1)
        for text in lines:
            put_text(image, text, margin + 2 * bar, y, size, colour=PAPER if found else QUIET, bold=True)
            y += 1.3 * size
        return image


@dataclass(frozen=True)
class TimeBar:
    """The swing's time from left to right, phases as bands, positions as ticks, and where the picture is now.

    Attributes
    ----------
    start_s, stop_s : float
        Times at the ends.
    ticks : pairs (name, time_s) of the positions found
    size_px : text size
    """

    start_s: float
    stop_s: float
    ticks: tuple[tuple[str, float], ...]
    size_px: int
    colour: Colour = STUDENT.strong

    def x_of(self, time_s: float, width: int) -> float:
        """Pixel column of a time."""
        margin = self.size_px
        share = (time_s - self.start_s) / max(self.stop_s - self.start_s, 1e-9)
        return margin + float(np.clip(share, 0.0, 1.0)) * (width - 2 * margin)

    def base(self, width: int, height: int) -> Image:
        """The bar without cursor, (height, width, 3)."""
        image = panel(width, height)
        top, bottom = self._band(height)
        left, right = round(self.x_of(self.start_s, width)), round(self.x_of(self.stop_s, width))
        image[top:bottom, left:right] = mixed(PANEL, PAPER, 0.14)
        for i, ((_, start_s), (_, stop_s)) in enumerate(zip(self.ticks[:-1], self.ticks[1:])):
            a, b = round(self.x_of(start_s, width)), round(self.x_of(stop_s, width))
            image[top:bottom, a:b] = mixed(PANEL, PAPER, 0.34 if i % 2 == 0 else 0.24)
        half = max(1, round(self.size_px / 14))
        reach = round((bottom - top) * 0.55)
        for _, time_s in self.ticks:
            x = round(self.x_of(time_s, width))
            image[max(0, top - reach) : bottom + reach, max(0, x - half) : x + half] = PAPER
        return image

    def draw(self, image: Image, time_s: float, at: str | None = None) -> Image:
        """Draw the part that has passed and the cursor on a copy of ``base``, in place.

        ``at`` names the tick that is held: it becomes a filled mark.
        """
        height, width = image.shape[:2]
        top, bottom = self._band(height)
        left, x = round(self.x_of(self.start_s, width)), self.x_of(time_s, width)
        passed = image[top:bottom, left : max(left, round(x))]
        passed[:] = np.where(np.all(passed == PAPER, axis=-1, keepdims=True), PAPER, self.colour)
        middle, radius = (top + bottom) / 2, (bottom - top) * 0.8
        disc(image, np.array([x, middle]), radius + max(2, self.size_px / 10), INK)
        disc(image, np.array([x, middle]), radius, HELD if at else PAPER)
        return image

    def _band(self, height: int) -> tuple[int, int]:
        half = max(2, round(height * 0.14))
        return height // 2 - half, height // 2 + half


@dataclass(frozen=True)
class ScorePanel:
    """Each body part's difference in one phase: name, four dots, the word, and the score out of 100."""

    size_px: int

    def columns(self, width: int) -> int:
        """How many cells stand beside each other."""
        return max(1, int(width // (self.size_px * CELL_EM)))

    def needed_height(self, width: int, n_rows: int) -> int:
        """Height for ``n_rows`` parts, px."""
        lines = -(-n_rows // self.columns(width))
        return round(self.size_px * (1.9 + 1.5 * lines))

    def picture(self, width: int, height: int, phase: str, rows: Sequence[PhaseDifference]) -> Image:
        """The panel, (height, width, 3)."""
        image = panel(width, height)
        margin = self.size_px * 0.7
        size = self.size_px
        y = size * 1.15
        used = put_text(image, words(phase).capitalize(), margin, y, size, bold=True)
        note = fitted("score of 100", round(size * 0.8), int(width - 3 * margin - used))
        put_text(image, note, width - margin, y, round(size * 0.8), colour=QUIET, anchor="right")
        if not rows:
            put_text(image, "no scores for this stretch", margin, y + size * 1.6, size, colour=QUIET)
            return image
        columns = self.columns(width)
        per_column = -(-len(rows) // columns)
        step = (height - size * 2.1) / max(per_column, 1)
        step = min(step, size * 2.6)
        for i, row in enumerate(rows):
            column, place = divmod(i, per_column)
            self._cell(
                image,
                row,
                column * width / columns + margin,
                size * 2.1 + (place + 0.5) * step,
                width / columns - 2 * margin,
            )
        return image

    def _cell(self, image: Image, row: PhaseDifference, x: float, y: float, room: float) -> None:
        size = self.size_px
        steps = STEPS.get(row.words)
        strong = steps is not None and steps >= 2
        name_room = text_width("shoulders", size, True) + round(0.35 * size)
        put_text(image, words(row.part), x, y, size, bold=strong, colour=PAPER if steps else mixed(PANEL, PAPER, 0.72))
        x += name_room
        if steps is not None:
            radius = size * 0.2
            for k in range(4):
                centre = np.array([x + (k + 0.5) * size * 0.55, y + size * 0.03])
                disc(image, centre, radius, HELD if k < steps else mixed(PANEL, PAPER, 0.28))
        x += 2.45 * size
        room -= name_room + 2.45 * size
        colour = PAPER if strong else mixed(PANEL, PAPER, 0.72)
        if steps and np.isfinite(row.score):
            put_text(image, f"{row.score:.0f}", x + room, y, size, bold=strong, colour=colour, anchor="right")
            room -= text_width("100", size, True) + round(0.25 * size)
        text = SHORT_WORDS.get(row.words, row.words)
        put_text(image, fitted(text, size, max(1, int(room)), strong), x, y, size, bold=strong, colour=colour)


@dataclass(frozen=True)
class Notice:
    """Text in the middle of an empty pane: why there is nothing to see."""

    size_px: int

    def picture(self, width: int, height: int, text: str) -> Image:
        """(height, width, 3) with a frame and the wrapped text."""
        image = panel(width, height)
        image[:2], image[-2:], image[:, :2], image[:, -2:] = PANEL_EDGE, PANEL_EDGE, PANEL_EDGE, PANEL_EDGE
        lines = wrapped(text, self.size_px, max(1, round(width - 2 * self.size_px)), 9)
        step = self.size_px * 1.4
        y = height / 2 - step * (len(lines) - 1) / 2
        for text_line in lines:
            put_text(image, text_line, width / 2, y, self.size_px, colour=QUIET, anchor="centre")
            y += step
        return image
