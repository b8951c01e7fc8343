"""How much moves in each small picture, once what moves the whole picture is taken off.

Two figures tell a swing from other movement. *Swept* is the share of the picture that differs from the picture before
and from the one after in the same sense: something was there at that moment only, so it moved by more than its own
width within one step. Arms and club do that in a downswing; a walking body, a waggle and a bending back hardly do.
*Moved* is the share that differs from the picture some steps earlier: anything that moves at all, which tells when the
player stands still.

The common movement of a hand-held camera (an affine flow) and of the light (gain and offset) is fitted to brightness
differences by least squares from the picture's gradients (the gradient constraint of Horn & Schunck 1981, solved for
few parameters as by Lucas & Kanade 1981), what does not agree counting less from round to round.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from overlay.arrays import AnyArray, FloatArray
from overlay.settings.activity import ActivitySettings

if TYPE_CHECKING:
    from overlay.video import Glance

ROUNDS = 5
"""Of fitting, each with the weights (Geman & McClure 1985) that the one before it gives."""

EVERY_PX = 4
"""The common movement is fitted to every fourth pixel in both directions: eight numbers need no more."""


@dataclass(frozen=True)
class Activity:
    """Movement over time.

    Attributes
    ----------
    time_s : (N,) float, strictly increasing
    swept : (N,) float
        Share of the picture, 0–1, that something crossed within one step; NaN where a neighbour is missing.
    moved : (N,) float
        Share of the picture, 0–1, that differs from some steps before; NaN where there was none.
    """

    time_s: FloatArray
    swept: FloatArray
    moved: FloatArray

    def __len__(self) -> int:
        return len(self.time_s)


def measure(glances: Iterable[Glance], step_s: float, settings: ActivitySettings) -> Activity:
    """Both figures of every picture of a stream that has neighbours.

    The pictures lie about ``step_s`` apart; a handful of them is held at a time.
    """
    rows = list(_measured(glances, step_s, settings))
    table = np.array(rows, np.float64).reshape(-1, 3)
    return Activity(table[:, 0], table[:, 1], table[:, 2])


def _measured(
    glances: Iterable[Glance], step_s: float, settings: ActivitySettings
) -> Iterator[tuple[float, float, float]]:
    """(time, swept, moved) of every picture that has one before and one after it."""
    s = settings
    held: deque[tuple[float, _Picture]] = deque(maxlen=s.moved_steps + 1)
    moved = math.nan
    for number, glance in enumerate(glances):
        held.append((glance.time_s, _Picture(glance.grey)))
        if len(held) == held.maxlen and number % s.moved_steps == 0:
            away = without_common(held[-1][1], held[0][1])
            moved = share_marked(np.abs(away), _noise(away), s)
        if len(held) < 3:
            continue
        (before_s, before), (now_s, now), (after_s, after) = held[-3], held[-2], held[-1]
        swept = math.nan
        if after_s - before_s <= s.longest_gap_steps * step_s:
            earlier, later = without_common(now, before), without_common(now, after)
            both = np.where(earlier * later > 0, np.minimum(np.abs(earlier), np.abs(later)), np.float32(0.0))
            swept = share_marked(both, max(_noise(earlier), _noise(later)), s)
        yield now_s, swept, moved


class _Picture:
    """A small picture, and what the common movement is fitted with, made when first asked for."""

    def __init__(self, grey: AnyArray) -> None:
        import cv2

        # Slightly soft, so that a gradient holds for a pixel's way.
        self.grey: AnyArray = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), 0.8)
        self._basis: AnyArray | None = None

    @property
    def basis(self) -> AnyArray:
        """(h, w, 8): brightness differences made by an affine flow, by more light, and by a higher gain."""
        import cv2

        if self._basis is None:
            height, width = self.grey.shape
            x = np.linspace(-1.0, 1.0, width, dtype=np.float32)[None]
            y = np.linspace(-1.0, 1.0, height, dtype=np.float32)[:, None]
            gx = cv2.Sobel(self.grey, cv2.CV_32F, 1, 0, scale=1 / 8)
            gy = cv2.Sobel(self.grey, cv2.CV_32F, 0, 1, scale=1 / 8)
            light = (self.grey - 128.0) / 128.0
            self._basis = np.stack([gx, gx * x, gx * y, gy, gy * x, gy * y, np.ones_like(gx), light], axis=-1)
        return self._basis


def without_common(now: _Picture, other: _Picture) -> AnyArray:
    """(h, w) levels by which ``other`` differs from ``now`` beyond a movement of the whole picture and of its light."""
    difference = other.grey - now.grey
    basis = now.basis
    part = basis[::EVERY_PX, ::EVERY_PX].reshape(-1, basis.shape[-1])
    value = difference[::EVERY_PX, ::EVERY_PX].reshape(-1)
    factors = np.zeros(basis.shape[-1], np.float32)
    ridge = 1e-3 * len(value) * np.eye(basis.shape[-1], dtype=np.float32)
    # What moves on its own must not draw the common movement after it, so it counts the less, the less it agrees. The
    # first guess is that nothing is common.
    for _ in range(ROUNDS):
        away = value - part @ factors
        unit = max(1.5, 2.0 * float(np.median(np.abs(away))))
        weighted = part * (1.0 / (1.0 + (away / unit) ** 2) ** 2)[:, None]
        factors = np.linalg.solve(weighted.T @ part + ridge, weighted.T @ value)
    return np.asarray(difference - basis @ factors, np.float32)


def _noise(away: AnyArray) -> float:
    return 1.4826 * float(np.median(np.abs(away[::EVERY_PX, ::EVERY_PX])))


def share_marked(size: AnyArray, noise: float, settings: ActivitySettings) -> float:
    """Share of the pixels (h, w) whose ``size`` is beyond the noise, together with enough neighbours."""
    import cv2

    s = settings
    over = (size > max(s.level, s.noise * noise)).astype(np.uint8)
    if not over.any():
        return 0.0
    around = cv2.boxFilter(over, -1, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT)
    return float(np.mean((over > 0) & (around > s.neighbours)))
