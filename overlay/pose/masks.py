"""Where the person is in each frame: low-resolution masks, kept compressed, so that a figure can be cut out later."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from overlay.arrays import FloatArray
from overlay.errors import DataError

Mask = NDArray[np.uint8]
"""uint8 (h, w), 0 background … 255 person."""


GAP_S, GAP_SPACINGS = 0.5, 5.0
"""Masks further apart than both, seconds and usual spacings, belong to different stretches."""


def pack(mask: Mask) -> bytes:
    """The mask, compressed; about 3 kB for one of 320 px."""
    return zlib.compress(np.ascontiguousarray(mask).tobytes(), 1)


@dataclass(frozen=True)
class MaskTrack:
    """One person mask per frame.

    Attributes
    ----------
    time_s : (T,) float
        Presentation times, strictly increasing.
    size : (width, height)
        Of each mask, px. A mask covers the whole picture.
    image_size : (width, height)
        Of the displayed picture, px.
    packed : tuple of T bytes
        Compressed masks; empty where there is no person.
    """

    time_s: FloatArray
    size: tuple[int, int]
    image_size: tuple[int, int]
    packed: tuple[bytes, ...]

    def __post_init__(self) -> None:
        if len(self.packed) != len(self.time_s):
            raise DataError(
                f"{len(self.packed)} masks do not fit {len(self.time_s)} frames.", "Give one mask for each frame."
            )
        times = np.array(self.time_s, np.float64)
        times.setflags(write=False)
        object.__setattr__(self, "time_s", times)

    def __len__(self) -> int:
        return len(self.packed)

    @property
    def n_bytes(self) -> int:
        """What the masks take in memory."""
        return sum(len(content) for content in self.packed)

    def frame(self, index: int) -> Mask:
        """The mask of one frame, uint8 (h, w); all 0 where there is no person."""
        width, height = self.size
        content = self.packed[index]
        if not content:
            return np.zeros((height, width), np.uint8)
        return np.frombuffer(zlib.decompress(content), np.uint8).reshape(height, width)

    def at(self, time_s: float) -> Mask:
        """The mask of the frame shown at ``time_s``, uint8 (h, w) 0–255.

        The frame shown is the last one that has begun; before the first frame it is the first. Between two stretches
        that were looked at nobody is known to be: all 0.

        Raises
        ------
        DataError
            There are no masks, or the time is not finite.
        """
        if not len(self) or not np.isfinite(time_s):
            raise DataError(f"There is no mask at {time_s} s.", "Ask for a time inside the clip.")
        # Half a microsecond: times that went through a file must find their own frame again.
        index = int(np.searchsorted(self.time_s, time_s + 5e-7, side="right")) - 1
        if 0 <= index < len(self) - 1 and time_s - self.time_s[index] > GAP_S:
            usual = float(np.median(np.diff(self.time_s)))
            if self.time_s[index + 1] - self.time_s[index] > GAP_SPACINGS * usual:
                return np.zeros((self.size[1], self.size[0]), np.uint8)
        return self.frame(max(0, index))


def joined_masks(tracks: Sequence[MaskTrack]) -> MaskTrack:
    """Masks of several stretches of one recording, one after the other.

    Raises
    ------
    DataError
        None are given, or they are not of one size.
    """
    if not tracks or len({(track.size, track.image_size) for track in tracks}) != 1:
        raise DataError("These masks are not of one recording.", "Give masks of one size.")
    if len(tracks) == 1:
        return tracks[0]
    times = np.concatenate([track.time_s for track in tracks])
    packed = tuple(content for track in tracks for content in track.packed)
    return MaskTrack(times, tracks[0].size, tracks[0].image_size, packed)
