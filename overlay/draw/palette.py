"""Colours and contrast. Student is the orange family, reference the blue one: told apart by every kind of colour
vision, since they differ along blue–yellow for red-green blind people and in brightness for everybody else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from overlay.arrays import AnyArray
from overlay.errors import DataError

Colour = tuple[int, int, int]
"""RGB, 0–255."""

INK: Colour = (17, 20, 26)
PAPER: Colour = (247, 248, 250)
QUIET: Colour = (176, 184, 196)
PANEL: Colour = (26, 30, 38)
PANEL_EDGE: Colour = (62, 69, 82)
GROUND: Colour = (44, 49, 58)
HELD: Colour = (255, 222, 120)


@dataclass(frozen=True)
class Family:
    """The colours of one player.

    Attributes
    ----------
    strong : Colour
        Lead side, hand path.
    light : Colour
        Trail side; the same hue, much lighter.
    dark, pale : Colour
        Ends of the tint of a ghost: its shadows and its highlights.
    """

    strong: Colour
    light: Colour
    dark: Colour
    pale: Colour


STUDENT = Family(strong=(255, 149, 0), light=(255, 214, 140), dark=(92, 46, 0), pale=(255, 226, 176))
REFERENCE = Family(strong=(38, 132, 255), light=(158, 208, 255), dark=(6, 34, 98), pale=(166, 212, 255))


def relative_luminance(colour: Colour) -> float:
    """Relative luminance of an sRGB colour, 0–1. Source: WCAG 2.1, definition of relative luminance."""
    channels = []
    for value in colour:
        if not 0 <= value <= 255:
            raise DataError(f"{colour} is no colour.", "Give red, green and blue between 0 and 255.")
        share = value / 255
        channels.append(share / 12.92 if share <= 0.03928 else ((share + 0.055) / 1.055) ** 2.4)
    return 0.2126 * channels[0] + 0.7152 * channels[1] + 0.0722 * channels[2]


def contrast(first: Colour, second: Colour) -> float:
    """Contrast ratio of two colours, 1–21. Source: WCAG 2.1, success criterion 1.4.3.

    >>> round(contrast((0, 0, 0), (255, 255, 255)), 1)
    21.0
    """
    light, dark = sorted((relative_luminance(first), relative_luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def mixed(first: Colour, second: Colour, share: float) -> Colour:
    """``share`` of the second colour over the first."""
    values = [round(a + (b - a) * share) for a, b in zip(first, second)]
    return values[0], values[1], values[2]


@lru_cache(maxsize=8)
def tint_table(family: Family, share: float) -> AnyArray:
    """(1, 256, 3) uint8: brightness → colour from the dark to the pale end, with ``1 − share`` of grey."""
    ramp = np.linspace(0.0, 1.0, 256)[:, None]
    tint = np.asarray(family.dark) + ramp * (np.asarray(family.pale) - np.asarray(family.dark))
    table = share * tint + (1 - share) * 255 * ramp
    return np.clip(np.rint(table), 0, 255).astype(np.uint8)[None]
