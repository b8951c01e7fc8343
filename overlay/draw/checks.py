"""The rows of the checklist as a picture: mark, verdict, what was found."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Sequence

import numpy as np

from overlay.arrays import Image
from overlay.checklist.wording import STANDS_WELL
from overlay.data import Check, Verdict
from overlay.draw.figure import disc
from overlay.draw.palette import HELD, PANEL, PAPER, QUIET
from overlay.draw.panels import panel
from overlay.draw.text import put_text, wrapped

VERDICT_WORDS: dict[Verdict, str] = {
    "in": "in range",
    "out": "out of range",
    "unclear": "too close to call",
    "not measured": "not measured",
}
"""A verdict as a player reads it."""

MOST_LINES = 4


def verdict_words(check: Check) -> str:
    """The verdict of a check; against a reference, whether it differs is what counts."""
    if check.measure.unit == "findings" and check.verdict in ("in", "out"):
        if check.verdict == "out":
            return "put it right"
        return "good" if check.sentence == STANDS_WELL else "could be better"
    if check.difference is None or check.verdict == "not measured":
        return VERDICT_WORDS[check.verdict]
    if check.differs:
        return "differs"
    return "alike" if check.difference.valid else VERDICT_WORDS[check.verdict]


def is_marked(check: Check) -> bool:
    """Whether the eye should rest on it: out of its tolerance, or different from the reference."""
    return check.differs if check.difference is not None and check.difference.valid else check.verdict == "out"


@dataclass(frozen=True)
class CheckRows:
    """One line or more a check: a disc that is filled where something is to be worked on, title, verdict, sentence."""

    size_px: int

    def picture(self, width: int, checks: Sequence[Check]) -> Image:
        """The rows under each other, (H, W, 3); as tall as they need."""
        size = self.size_px
        margin, left = round(0.8 * size), round(2.4 * size)
        small = round(size * 0.9)
        texts = [wrapped(check.sentence, small, width - left - margin, MOST_LINES) for check in checks]
        heights = [round(size * 1.7 + 1.35 * small * len(lines) + 0.5 * size) for lines in texts]
        image = panel(width, round(2.6 * size) + sum(heights) + margin)
        put_text(image, "Checklist", margin, 1.3 * size, round(1.15 * size), bold=True)
        y = round(2.6 * size)
        for check, lines, height in zip(checks, texts, heights):
            marked = is_marked(check)
            middle = y + 0.8 * size
            colour = HELD if marked else PAPER if check.verdict != "not measured" else QUIET
            centre = np.array([1.4 * size, middle])
            disc(image, centre, 0.38 * size, colour)
            if not marked:
                disc(image, centre, 0.27 * size, PANEL)
            used = put_text(image, verdict_words(check), width - margin, middle, size, colour=colour, anchor="right",
                            bold=marked)  # fmt: skip
            title = wrapped(f"{check.row}  {check.title}", size, width - left - used - 2 * margin, 1, True)[0]
            put_text(
                image, title, left, middle, size, bold=True, colour=PAPER if check.verdict != "not measured" else QUIET
            )
            line_y = y + 1.7 * size + 0.6 * small
            for text in lines:
                put_text(image, text, left, line_y, small, colour=PAPER if marked else QUIET)
                line_y += 1.35 * small
            y += height
        return image
