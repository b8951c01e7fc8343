"""What the picture looks like without the player: the median of many frames, and how much each place flickers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Callable

import numpy as np

from overlay.arrays import AnyArray, FloatArray, IntArray, sorted_planes
from overlay.settings.club import ClubSettings

if TYPE_CHECKING:
    from overlay.video import Reader


@dataclass(frozen=True)
class Background:
    """Of the reference frame, at the small size.

    Attributes
    ----------
    picture : (h, w, 3) uint8
    spread : (h, w) uint8
        Flicker plus the noise floor, levels.
    known : (h, w) uint8
        255 where the place was seen often enough without the player.
    """

    picture: AnyArray
    spread: AnyArray
    known: AnyArray


def spaced_by_path(path: FloatArray, count: int) -> IntArray:
    """Rows spread evenly along the way of the hands (T, 2): a club that rests does not become background.

    A little is added for time, so that a clip in which the hands stand still gives rows too.
    """
    n = len(path)
    if n <= count:
        return np.arange(n)
    step = np.linalg.norm(np.diff(np.nan_to_num(path), axis=0), axis=1)
    total = float(step.sum())
    way = np.concatenate([[0.0], np.cumsum(step + 0.15 * max(total, 1e-6) / n)])
    rows = np.searchsorted(way, np.linspace(0.0, way[-1], count))
    return np.unique(np.clip(rows, 0, n - 1))


def learn(
    reader: Reader,
    times_s: FloatArray,
    max_side: int,
    person: Callable[[float, tuple[int, int]], AnyArray],
    to_reference: Callable[[float], FloatArray] | None,
    settings: ClubSettings,
) -> Background | None:
    """Median of the frames at ``times_s``, the player left out of each.

    Parameters
    ----------
    person : (time, (h, w)) → (h, w) uint8, 255 where the player may be
    to_reference : time → (2, 3) px of the small frame to the reference's; None when the picture stands still

    Returns
    -------
    Background or None when fewer than three frames can be decoded.
    """
    import cv2

    from overlay.video import follow

    pictures: list[AnyArray] = []
    free: list[AnyArray] = []
    for frame in follow(reader, times_s, max_side=max_side):
        image = frame.image
        height, width = image.shape[:2]
        here = cv2.bitwise_not(person(frame.time_s, (height, width)))
        if to_reference is not None:
            matrix = to_reference(frame.time_s)
            image = cv2.warpAffine(image, matrix, (width, height), flags=cv2.INTER_LINEAR)
            here = cv2.warpAffine(here, matrix, (width, height), flags=cv2.INTER_NEAREST)
        pictures.append(np.asarray(image))
        free.append(np.asarray(here))
    if len(pictures) < 3:
        return None
    return _median(np.stack(pictures), np.stack(free) > 127, settings)


def _median(stack: AnyArray, free: AnyArray, settings: ClubSettings) -> Background:
    """Median and spread over the free views; by sorting bytes, since masked medians are slow."""
    _, height, width, _ = stack.shape
    count = free.sum(axis=0)
    use_all = count < settings.background_least
    # Where the player always stands all views are taken, only to have a picture there; it does not count as known.
    usable = free | use_all[None]
    total = usable.sum(axis=0)
    low = np.maximum((total - 1) // 2, 0)
    picture = np.empty((height, width, 3), np.uint8)
    spread = np.zeros((height, width), np.float32)
    for channel in range(3):
        values = sorted_planes(np.where(usable, stack[..., channel], np.uint8(255)))
        middle = np.take_along_axis(values, low[None], axis=0)[0]
        picture[..., channel] = middle
        light = stack[..., channel]
        away = sorted_planes(np.where(usable, np.maximum(light, middle) - np.minimum(light, middle), np.uint8(255)))
        spread = np.maximum(spread, 1.4826 * np.take_along_axis(away, low[None], axis=0)[0].astype(np.float32))
    whole = np.clip(spread + settings.noise_floor, 0, 255).astype(np.uint8)
    return Background(picture, whole, np.where(use_all, 0, 255).astype(np.uint8))
