"""A still with rulers and a grid in the clip's own pixels, so that a person can read where something is."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from overlay.arrays import Image
from overlay.draw.figure import disc, line
from overlay.draw.palette import HELD, INK, PANEL, PAPER, QUIET
from overlay.draw.text import put_text, text_width
from overlay.errors import InputError

STEPS_PX = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
LEAST_STEP_PX = 56
"""Distance of the grid's lines on the still, px: a number of four digits fits between two."""
LONG_SIDE_PX = 1600
"""Small pictures are enlarged by a whole factor to at most this, so that one pixel can be told from the next."""
MOST_ENLARGED = 12
TEXT_PX = 17
GRID_SHARE = 0.30
"""How much of the grid's colour lies over the picture."""

Line = tuple[tuple[float, float], tuple[float, float]]


def ruled(
    image: Image,
    title: str,
    *,
    window: tuple[float, float, float, float] | None = None,
    lines: Iterable[Line] = (),
) -> Image:
    """The picture, or a window of it, enlarged, with rulers at its edges and a grid.

    Parameters
    ----------
    image : (H, W, 3) uint8 RGB
        The whole picture at its full size.
    title : str
        Written on top.
    window : (left, top, right, bottom) px or None
        The part to show; what reaches over the picture's edge is cut off.
    lines : iterable of (start, end), px
        Drawn over it with a ring at each end: what is marked already.

    Returns
    -------
    (H', W', 3) uint8 RGB

    Raises
    ------
    InputError
        The window shows nothing of the picture.
    """
    import cv2

    height, width = image.shape[:2]
    left, top, right, bottom = (0, 0, width, height) if window is None else _whole(window, width, height)
    part = image[top:bottom, left:right]
    scale = int(np.clip(LONG_SIDE_PX // max(part.shape[:2]), 1, MOST_ENLARGED))
    shown = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_NEAREST)
    gutter = text_width(f"{bottom}", TEXT_PX) + 14
    head = 3 * TEXT_PX + 14
    canvas = np.empty((head + shown.shape[0] + 8, gutter + shown.shape[1] + gutter // 2 + 8, 3), np.uint8)
    canvas[:] = PANEL
    view = canvas[head : head + shown.shape[0], gutter : gutter + shown.shape[1]]
    view[:] = shown
    step = next((s for s in STEPS_PX if s * scale >= LEAST_STEP_PX), STEPS_PX[-1])
    columns = range(-(-left // step) * step, right + 1, step)
    rows = range(-(-top // step) * step, bottom + 1, step)
    _grid(view, [(x - left) * scale for x in columns], [(y - top) * scale for y in rows])
    for start, end in lines:
        points = [((x - left) * scale, (y - top) * scale) for x, y in (start, end)]
        line(view, np.array(points[0]), np.array(points[1]), INK, 4)
        line(view, np.array(points[0]), np.array(points[1]), HELD, 2)
        for point in points:
            disc(view, np.array(point), 8, INK, 4)
            disc(view, np.array(point), 8, HELD, 2)
    for x in columns:
        put_text(canvas, str(x), gutter + (x - left) * scale, head - TEXT_PX / 2 - 4, TEXT_PX, anchor="centre")
    for y in rows:
        put_text(canvas, str(y), gutter - 8, head + (y - top) * scale, TEXT_PX, anchor="right")
    put_text(canvas, title, 8, TEXT_PX, TEXT_PX, colour=PAPER, bold=True)
    put_text(canvas, "px", gutter - 8, head - 1.5 * TEXT_PX - 2, TEXT_PX, colour=QUIET, anchor="right")
    return canvas


def _whole(window: tuple[float, float, float, float], width: int, height: int) -> tuple[int, int, int, int]:
    left, top, right, bottom = window
    inside = (max(int(left), 0), max(int(top), 0), min(int(np.ceil(right)), width), min(int(np.ceil(bottom)), height))
    if inside[2] - inside[0] < 2 or inside[3] - inside[1] < 2:
        raise InputError(
            f"The window {left:g}, {top:g} to {right:g}, {bottom:g} shows nothing of a picture of {width}×{height} px.",
            "Give left, top, right and bottom in px of the picture.",
        )
    return inside


def _grid(view: Image, columns: list[int], rows: list[int]) -> None:
    """Dark and light hairlines side by side: seen on any ground, and the picture stays readable."""
    for offset, colour in ((-1, INK), (0, PAPER)):
        ink = np.array(colour, np.float64) * GRID_SHARE
        for x in columns:
            if 0 <= x + offset < view.shape[1]:
                view[:, x + offset] = (view[:, x + offset] * (1 - GRID_SHARE) + ink).astype(np.uint8)
        for y in rows:
            if 0 <= y + offset < view.shape[0]:
                view[y + offset] = (view[y + offset] * (1 - GRID_SHARE) + ink).astype(np.uint8)
