"""Where the pictures of a player come from, and a common way to walk through them."""

from __future__ import annotations

from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Iterator, Protocol, Sequence

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.data import Frame, KeptPictures, Swing
from overlay.settings.compose import COMPOSE, ComposeSettings

if TYPE_CHECKING:
    from overlay.video import Reader


class PersonMasks(Protocol):
    """Where the person is in each frame."""

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of each mask, px; a mask covers the whole picture."""

    def at(self, time_s: float) -> Image:
        """(height, width) uint8, 0 background … 255 person, of the frame shown at ``time_s``."""


@dataclass(frozen=True)
class Source:
    """Where the pictures of one player come from.

    Attributes
    ----------
    clip_path : Path or None
        None for a saved track: a drawn figure stands in for the picture.
    masks : PersonMasks or None
        None: the drawn figure stands in for the cut-out.
    mirrored, rotation_deg
        As the clip was opened for the pose.
    label : str
        How the player is called in the video.
    kept : KeptPictures or None
        Without a clip: cut-outs kept with a model, which stand in for its pictures where there are any.
    """

    clip_path: Path | None = None
    masks: PersonMasks | None = None
    mirrored: bool = False
    rotation_deg: int | None = None
    label: str = ""
    kept: KeptPictures | None = None


class KeptFrames:
    """The kept cut-outs of one swing, decoded when asked for.

    Parameters
    ----------
    kept : KeptPictures
    swing : Swing
    settings : ComposeSettings
    """

    def __init__(self, kept: KeptPictures, swing: Swing, settings: ComposeSettings = COMPOSE) -> None:
        self._kept = kept
        slow = slow_factor(swing)
        self._tolerance_s = settings.kept_tolerance_s * slow
        address, finish = swing.positions.time("address"), swing.positions.time("finish")
        start = swing.start_s if address is None else address
        stop = swing.stop_s if finish is None else finish
        inside = kept.times_s[(kept.times_s > start) & (kept.times_s < stop)]
        gaps = np.diff(np.concatenate([[start], inside, [stop]]))
        self.dense = bool(len(inside)) and float(gaps.max()) <= settings.kept_gap_s * slow
        """Whether they show the movement, and not its positions alone."""
        self._decoded: tuple[int, tuple[Image, Image]] | None = None

    @property
    def times_s(self) -> FloatArray:
        return self._kept.times_s

    def at(self, time_s: float) -> tuple[Image, Image] | None:
        """Picture (H, W, 3) and alpha (H, W) of the nearest moment; None where none is near."""
        from overlay.models import kept_picture

        i = int(np.argmin(np.abs(self._kept.times_s - time_s)))
        if abs(float(self._kept.times_s[i]) - time_s) > self._tolerance_s:
            return None
        if self._decoded is None or self._decoded[0] != i:
            self._decoded = i, kept_picture(self._kept, i)
        return self._decoded[1]


def slow_factor(swing: Swing) -> float:
    """Clip seconds per real second: as told, else as judged from the swing, at least 1."""
    if swing.clip is None or swing.clip.capture_rate is None:
        return max(1.0, float(swing.quality.get("slow_factor_estimate", 1.0)))
    return swing.slow_factor


class Pictures:
    """The frames of one source; without a clip the times of the swing's track and no picture."""

    def __init__(self, source: Source, swing: Swing) -> None:
        self._source = source
        self._swing = swing
        self._stack = ExitStack()
        self._reader: Reader | None = None

    def __enter__(self) -> Pictures:
        if self._source.clip_path is not None:
            from overlay.video import open_clip

            self._reader = self._stack.enter_context(
                open_clip(
                    self._source.clip_path, mirrored=self._source.mirrored, rotation_deg=self._source.rotation_deg
                )
            )
        return self

    def __exit__(self, *exception: object) -> None:
        self._stack.close()

    @property
    def times_s(self) -> FloatArray:
        """Times of all frames that can be shown, s."""
        if self._reader is not None:
            return self._reader.clip.times_s
        if self._source.kept is not None:
            kept = KeptFrames(self._source.kept, self._swing)
            if kept.dense:
                # Joints and cut-out of one and the same moment; before and after them the joints go on alone.
                times = self._swing.pose.time_s
                outside = (times < kept.times_s[0]) | (times > kept.times_s[-1])
                return np.asarray(np.sort(np.concatenate([kept.times_s, times[outside]])), np.float64)
        return self._swing.pose.time_s

    def nearest(self, times_s: FloatArray) -> FloatArray:
        """The time of the frame nearest to each time, within the swing (T,), s."""
        return nearest_times(self.times_s, times_s, self._swing.start_s, self._swing.stop_s)

    def walk(
        self, times_s: Sequence[float] | FloatArray, *, max_side: int | None = None, depth: int = 4
    ) -> Iterator[tuple[float, Image | None]]:
        """Time and picture shown at each of the non-decreasing frame times, in one pass over the clip.

        ``max_side``: pictures with a longer side come reduced to it, which costs less than reducing them later.
        """
        if self._reader is None:
            for time_s in times_s:
                yield float(time_s), None
            return
        from overlay.video import follow, prefetch

        # Half a microsecond: a frame time must find its own frame whatever rounding it went through.
        asked = [float(time_s) + 5e-7 for time_s in times_s]
        frames: Iterator[Frame] = prefetch(follow(self._reader, asked, max_side=max_side), depth=depth)
        for frame in frames:
            yield frame.time_s, frame.image


def nearest_times(frame_times_s: FloatArray, times_s: FloatArray, start_s: float, stop_s: float) -> FloatArray:
    """The frame time nearest to each time, among the frames from ``start_s`` to ``stop_s``.

    Parameters
    ----------
    frame_times_s : (N,) float, strictly increasing
    times_s : (T,) float
    start_s, stop_s : float

    Returns
    -------
    (T,) float, s
    """
    shown = frame_times_s[(frame_times_s >= start_s - 1e-6) & (frame_times_s <= stop_s + 1e-6)]
    if not len(shown):
        shown = frame_times_s
    right = np.clip(np.searchsorted(shown, times_s), 1, max(1, len(shown) - 1))
    if len(shown) == 1:
        return np.full(len(times_s), shown[0])
    before, after = shown[right - 1], shown[right]
    return np.where(times_s - before <= after - times_s, before, after)
