"""Reading ahead: order, bounds, errors, and threads that end."""

from __future__ import annotations

import gc
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from overlay.errors import DataError, InputError
from overlay.video import prefetch


def reading_threads() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name == "overlay-prefetch"]


class Source:
    """Counts what was taken and notices being closed."""

    def __init__(self, n: int, fail_at: int | None = None) -> None:
        self.taken = 0
        self.closed = threading.Event()
        self._n, self._fail_at = n, fail_at

    def items(self) -> Iterator[int]:
        try:
            for i in range(self._n):
                if i == self._fail_at:
                    raise InputError("The clip ends here.", "Trim it.")
                self.taken += 1
                yield i
        finally:
            self.closed.set()


@given(items=st.lists(st.integers()), depth=st.integers(1, 5))
def test_everything_in_order(items: list[int], depth: int) -> None:
    assert list(prefetch(items, depth)) == items


def test_it_reads_ahead_but_not_without_bound() -> None:
    source = Source(1000)
    with prefetch(source.items(), 4) as ahead:
        assert next(ahead) == 0
        # One given out, four in the queue, one in the reader's hand.
        for _ in range(200):
            if source.taken == 6:
                break
            threading.Event().wait(0.01)
        threading.Event().wait(0.05)
        assert source.taken == 6
    assert source.closed.is_set()
    assert reading_threads() == []


def test_an_error_comes_after_the_items_before_it() -> None:
    source = Source(10, fail_at=3)
    ahead = prefetch(source.items(), 8)
    seen = []
    with pytest.raises(InputError, match="ends here"):  # noqa: PT012
        for item in ahead:
            seen.append(item)
    assert seen == [0, 1, 2]
    assert list(ahead) == [], "after an error it is over"
    assert source.closed.is_set()
    assert reading_threads() == []


def test_closing_twice_and_reading_on() -> None:
    source = Source(1000)
    ahead = prefetch(source.items(), 2)
    next(ahead)
    ahead.close()
    ahead.close()
    assert list(ahead) == []
    assert source.closed.is_set()


def test_forgetting_it_ends_the_thread() -> None:
    source = Source(1000)
    ahead = prefetch(source.items(), 2)
    next(ahead)
    del ahead
    gc.collect()
    assert source.closed.wait(5)


def test_leaving_by_an_exception_ends_the_thread() -> None:
    source = Source(1000)
    with pytest.raises(ZeroDivisionError), prefetch(source.items(), 2) as ahead:  # noqa: PT012
        next(ahead)
        raise ZeroDivisionError
    assert source.closed.is_set()
    assert reading_threads() == []


def test_the_source_runs_on_one_other_thread() -> None:
    def where() -> Iterator[int]:
        for _ in range(3):
            yield threading.get_ident()

    seen = set(prefetch(where(), 1))
    assert len(seen) == 1
    assert threading.get_ident() not in seen


def test_no_room_at_all() -> None:
    with pytest.raises(DataError, match="0 items"):
        prefetch([1, 2], 0)


def test_where_threads_are_limited_nothing_is_read_ahead() -> None:
    from overlay.video import limit_threads

    asked: list[int] = []
    closed: list[str] = []

    def source() -> Iterator[int]:
        try:
            for number in range(3):
                asked.append(threading.get_ident())
                yield number
            raise ValueError("the end is spoilt")
        finally:
            closed.append("yes")

    limit_threads(1)
    try:
        with prefetch(source(), 8) as ahead:
            assert next(ahead) == 0
            assert asked == [threading.get_ident()]
            assert [next(ahead), next(ahead)] == [1, 2]
            with pytest.raises(ValueError, match="the end is spoilt"):
                next(ahead)
            with pytest.raises(StopIteration):
                next(ahead)
        assert closed == ["yes"]
        with prefetch(source(), 8) as left_early:
            next(left_early)
        assert closed == ["yes", "yes"]
        with pytest.raises(StopIteration):
            next(left_early)
    finally:
        limit_threads(None)


def test_one_thread_decodes_the_same_pictures(tmp_path: Path) -> None:
    from overlay.video import VideoWriter, limit_threads, open_clip

    path = tmp_path / "noise.mp4"
    rng = np.random.default_rng(5)
    with VideoWriter(path, 64, 48, 30) as writer:
        for _ in range(20):
            writer.write(rng.integers(0, 256, (48, 64, 3), dtype=np.uint8))

    def seen() -> list[bytes]:
        with open_clip(path) as reader:
            return [frame.image.tobytes() for frame in reader.frames()]

    usual = seen()
    limit_threads(1)
    try:
        assert seen() == usual
    finally:
        limit_threads(None)
    assert len(usual) == 20
