"""One pass over a stretch of a clip for several readers of it: pictures of the sizes they will ask for are kept.

Decoding is most of what a picture costs. Where it is known beforehand which pictures will be asked for, they are made
while the first of their readers streams through the stretch, exactly as they would be made for each alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from overlay.arrays import Image
from overlay.data import Frame
from overlay.video.reader import TIME_SLACK_S, Reader, fitted_size, index_at


@dataclass(frozen=True)
class Wanted:
    """Frames with start_s ≤ time ≤ stop_s, and the one shown at start_s, with a longer side of ``max_side`` px."""

    start_s: float
    stop_s: float
    max_side: int


class SharedReader(Reader):
    """A reader that keeps what is wanted, once it has been passed; everything else it reads as the one it is made of.

    Parameters
    ----------
    reader : Reader
        Stays open, and is closed by whoever opened it.
    wanted : sequence of Wanted
        The most important first: those that no longer find room in ``limit_mb`` are not kept.
    limit_mb : float
        Most that may be kept.
    """

    def __init__(self, reader: Reader, wanted: Sequence[Wanted], limit_mb: float) -> None:
        self.clip = reader.clip
        self._reader = reader
        self._kept: dict[int, dict[int, Image]] = {}
        self._ranges: dict[int, list[tuple[int, int]]] = {}
        self._passed: tuple[int, int] | None = None
        room = limit_mb * 1e6
        for one in wanted if reader.makes_sizes else ():
            span = self._span(one)
            width, height = fitted_size(self.clip.width, self.clip.height, one.max_side)
            size = 3.0 * width * height * (span[1] - span[0] + 1)
            if span[1] >= span[0] and size <= room:
                room -= size
                self._ranges.setdefault(one.max_side, []).append(span)
                self._kept.setdefault(one.max_side, {})

    def _span(self, wanted: Wanted) -> tuple[int, int]:
        """(first, last) frame; never after the clip's end."""
        times = self.clip.times_s
        last = int(np.searchsorted(times, wanted.stop_s + TIME_SLACK_S, side="right")) - 1
        first = index_at(self.clip, wanted.start_s)
        return first, max(last, first)

    @property
    def _hull(self) -> tuple[int, int] | None:
        spans = [span for spans in self._ranges.values() for span in spans]
        return (min(span[0] for span in spans), max(span[1] for span in spans)) if spans else None

    def read(self) -> None:
        """Pass over all that is wanted now, rather than with the first who streams through it."""
        hull = self._hull
        if hull is not None and self._passed is None:
            for _ in self._pass(*hull, None):
                pass

    def _wants(self, side: int, index: int) -> bool:
        return any(first <= index <= last for first, last in self._ranges.get(side, ()))

    def _pass(self, first: int, last: int, side: int | None) -> Iterator[Frame]:
        """Stream through a stretch, keeping what is wanted of it; yields the frames at ``side``, if there is one."""

        def sides_at(index: int) -> list[int]:
            sides = [kept for kept in self._ranges if self._wants(kept, index)]
            return sides if side is None or side in sides else [*sides, side]

        self._passed = (first, first - 1)
        for index, images in self._reader.in_sizes(first, last, sides_at):
            for kept in self._ranges:
                if kept in images and self._wants(kept, index):
                    self._kept[kept][index] = images[kept]
            self._passed = (first, index)
            if side is not None:
                yield Frame(index, float(self.clip.times_s[index]), images[side].copy())
        self._passed = (first, last)

    def _stream(self, first: int, last: int, max_side: int | None) -> Iterator[Frame]:
        hull = self._hull
        if last < first:
            return
        if hull is not None and self._passed is None and max_side is not None and first <= hull[0] and hull[1] <= last:
            yield from self._pass(first, last, max_side)
            return
        index = first
        while index <= last and max_side is not None and self._has(max_side, index):
            image = self._kept[max_side].get(index)
            # A picture that could not be decoded is left out, here as there.
            if image is not None:
                yield Frame(index, float(self.clip.times_s[index]), image.copy())
            index += 1
        if index <= last:
            yield from self._reader._stream(index, last, max_side)

    def _has(self, side: int, index: int) -> bool:
        return self._passed is not None and self._passed[0] <= index <= self._passed[1] and self._wants(side, index)

    def frame_at(self, time_s: float, *, max_side: int | None = None) -> Frame:
        index = index_at(self.clip, time_s)
        image = None
        if max_side is not None and self._has(max_side, index):
            image = self._kept[max_side].get(index)
        if image is None:
            return self._reader.frame_at(time_s, max_side=max_side)
        return Frame(index, float(self.clip.times_s[index]), image.copy())
