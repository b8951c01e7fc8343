"""Frames as streams: the one shown at each of a sequence of times, and reading ahead on a thread."""

from __future__ import annotations

import math
import queue
import threading
from collections.abc import Iterable, Iterator
from types import TracebackType
from typing import Any, Generic, TypeVar

from overlay.data import Frame
from overlay.errors import DataError
from overlay.settings.video import ReaderSettings
from overlay.video.reader import TIME_SLACK_S, Reader, index_at
from overlay.video.threads import most_threads

T = TypeVar("T")


def follow(reader: Reader, times_s: Iterable[float], *, max_side: int | None = None) -> Iterator[Frame]:
    """The frame shown at each of a sequence of times, in one streaming pass.

    Parameters
    ----------
    reader : Reader
    times_s : iterable of float
        Seconds, not decreasing. Times before the start give the first frame, after the end the last one.
    max_side : int or None
        As for ``Reader.frames``.

    Yields
    ------
    Frame
        The last frame whose time is not later. A repeated frame is the same object: copy its image before
        drawing on it.

    Raises
    ------
    DataError
        A time is not a number or earlier than the one before.
    InputError
        No picture can be decoded.
    """
    pictures: Iterator[Frame] | None = None
    shown: Frame | None = None
    coming: Frame | None = None
    before = -math.inf
    try:
        for time_s in times_s:
            time_s = float(time_s)
            if not time_s >= before:
                raise DataError(f"Time {time_s} s comes after {before} s.", "Sort the times before following a clip.")
            before = time_s
            if pictures is None:
                first = index_at(reader.clip, time_s)
                pictures = reader.frames(float(reader.clip.times_s[first]), max_side=max_side)
                coming = next(pictures, None)
                if coming is not None and coming.index == first:
                    shown, coming = coming, next(pictures, None)
                else:
                    # The picture of that very time cannot be decoded; the one before it stays on the screen.
                    shown = reader.frame_at(time_s, max_side=max_side)
            while coming is not None and coming.time_s <= time_s + TIME_SLACK_S:
                shown = coming
                coming = next(pictures, None)
            assert shown is not None
            yield shown
    finally:
        _close(pictures)


def _close(iterable: Any) -> None:
    close = getattr(iterable, "close", None)
    if close is not None:
        close()


class _Failure:
    """An exception on its way from the reading thread."""

    def __init__(self, error: BaseException) -> None:
        self.error = error


_END = object()


class Prefetch(Generic[T]):
    """See ``prefetch``."""

    def __init__(self, iterable: Iterable[T], depth: int) -> None:
        self._queue: queue.Queue[Any] = queue.Queue(depth)
        self._stop = threading.Event()
        # The thread must not hold this object, or forgetting it would never end the thread.
        self._thread = threading.Thread(
            target=_read_ahead, args=(iterable, self._queue, self._stop), name="overlay-prefetch", daemon=True
        )
        self._done = False
        self._thread.start()

    def __iter__(self) -> Iterator[T]:
        return self

    def __next__(self) -> T:
        if self._done:
            raise StopIteration
        item = self._queue.get()
        if item is _END or isinstance(item, _Failure):
            self._done = True
            self._thread.join()
            if isinstance(item, _Failure):
                raise item.error
            raise StopIteration
        return item

    def close(self) -> None:
        """Stop reading, close the source and end the thread. Safe to call twice."""
        self._done = True
        self._stop.set()
        while self._thread.is_alive():
            # A thread that waits for room in the queue wakes up when some is made.
            _drain(self._queue)
            self._thread.join(0.02)

    def __enter__(self) -> Prefetch[T]:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def __del__(self) -> None:
        self._stop.set()
        _drain(self._queue)


class _InStep(Prefetch[T]):
    """The same without a thread: each item is read when it is asked for."""

    def __init__(self, iterable: Iterable[T]) -> None:
        self._source = iterable
        self._items = iter(iterable)
        self._done = False

    def __next__(self) -> T:
        if self._done:
            raise StopIteration
        try:
            return next(self._items)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        self._done = True
        _close(self._source)

    def __del__(self) -> None:
        return None


def _drain(items: queue.Queue[Any]) -> None:
    try:
        while True:
            items.get_nowait()
    except queue.Empty:
        return


def _read_ahead(iterable: Iterable[Any], items: queue.Queue[Any], stop: threading.Event) -> None:
    last: Any = _END
    try:
        for item in iterable:
            if stop.is_set():
                break
            items.put(item)
            if stop.is_set():
                break
    except BaseException as error:  # the consumer's thread raises it again
        last = _Failure(error)
    finally:
        _close(iterable)
        if not stop.is_set():
            items.put(last)


def prefetch(iterable: Iterable[T], depth: int = ReaderSettings().prefetch_frames) -> Prefetch[T]:
    """Read ``iterable`` ahead on a thread of its own, at most ``depth`` items.

    The items come in order; an exception in the source is raised here, after the items before it. Closing (or
    leaving the with-block, or forgetting the iterator) stops the thread and closes a generator source. Where threads
    are limited to one (``limit_threads``) nothing is read ahead, and each item is read when it is asked for.

    Parameters
    ----------
    iterable : iterable
    depth : int, ≥ 1
    """
    if depth < 1:
        raise DataError(f"A queue of {depth} items cannot hold anything.", "Use a depth of at least 1.")
    return _InStep(iterable) if most_threads() == 1 else Prefetch(iterable, depth)
