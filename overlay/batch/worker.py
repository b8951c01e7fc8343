"""A worker process: reads one clip after another until the pool's end of the pipe closes.

It is a program of its own (``python -m overlay.batch.worker``), started anew and never forked, so that no lock or
thread of the parent comes along. When the parent is gone, however it went, the pipe closes, and the worker leaves.
"""

from __future__ import annotations

import os
import queue
import signal
import threading
import time
from typing import IO, Any

from overlay.batch.wire import receive, send
from overlay.progress import Stopped
from overlay.settings.batch import PoolSettings


class _Forward:
    """Progress that tells the pool the stage, and once a second that the work goes on."""

    def __init__(self, out: IO[bytes], stop: threading.Event) -> None:
        self._out = out
        self._stop = stop
        self._last = 0.0
        # Some steps report from threads of their own.
        self._lock = threading.Lock()

    def stage(self, name: str, total: float | None = None) -> None:
        self._say(name)

    def advance(self, amount: float = 1.0) -> None:
        if time.monotonic() - self._last > 1.0:
            self._say("")
        elif self._stop.is_set():
            raise Stopped

    def done(self) -> None:
        return None

    def _say(self, name: str) -> None:
        if self._stop.is_set():
            raise Stopped
        with self._lock:
            self._last = time.monotonic()
            send(self._out, ("stage", name))


def main() -> int:
    """Read clips as they are ordered through standard input, and answer through standard output."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent is asked to stop, and then stops its workers
    # The pipe is taken away from standard input and output: a library that prints must not break into a message.
    inward, outward = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, 0)
    os.dup2(2, 1)
    os.close(nowhere)
    jobs: queue.SimpleQueue[Any] = queue.SimpleQueue()
    stop, left = threading.Event(), threading.Event()
    threading.Thread(target=_listen, args=(inward, jobs, stop, left), daemon=True).start()
    try:
        from overlay.batch.reading import read_clip

        send(outward, ("ready", None))
        while (order := jobs.get()) is not None:
            job, threads = order
            _limit(threads)
            send(outward, ("read", read_clip(job, _Forward(outward, stop))))
    except (Stopped, BrokenPipeError):
        pass
    finally:
        left.set()
    return 0


def _listen(inward: IO[bytes], jobs: queue.SimpleQueue[Any], stop: threading.Event, left: threading.Event) -> None:
    """Take orders; when the parent is gone, ask the work to stop, and end the process if it does not in time."""
    from overlay.files import remove_temporaries

    try:
        while True:
            jobs.put(receive(inward))
    except EOFError:
        pass
    stop.set()
    jobs.put(None)
    left.wait(PoolSettings().stop_s * 0.7)
    remove_temporaries()
    os._exit(0)


def _limit(threads: int) -> None:
    """Threads of OpenCV and of the decoder; those of the numeric libraries were set in the environment before they
    were loaded. A worker that decoded beside its pose model would take its neighbour's core."""
    import cv2

    from overlay.video import limit_threads

    cv2.setNumThreads(threads)
    limit_threads(threads)


if __name__ == "__main__":
    raise SystemExit(main())
