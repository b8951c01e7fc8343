"""Many clips on the cores of this machine: worker processes that may die without taking a clip along."""

from __future__ import annotations

import contextlib
import os
import queue
import signal
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Self

from overlay.batch.jobs import ReadJob, Told, unread
from overlay.batch.wire import receive, send
from overlay.data.record import ClipRead
from overlay.errors import SetupError
from overlay.settings.batch import PoolSettings

THREAD_VARIABLES = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
    "NUMBA_NUM_THREADS",
)

UNEXPECTED = 70
"""EX_SOFTWARE of sysexits.h."""


def usable_cores() -> int:
    """Cores that this process may use."""
    try:
        return max(1, len(os.sched_getaffinity(0)))  # type: ignore[attr-defined, unused-ignore]
    except AttributeError:  # macOS, Windows
        return max(1, os.cpu_count() or 1)


@dataclass
class _Task:
    job: ReadJob
    deaths: int = 0


class _Worker:
    """A worker process, and the thread that listens to it."""

    def __init__(
        self, inbox: queue.SimpleQueue[tuple[_Worker, Any]], settings: PoolSettings, added: Mapping[str, str]
    ) -> None:
        self.task: _Task | None = None
        self.ready = False
        self.heard_at = time.monotonic()
        self.process = _start(settings, added)
        self._inbox = inbox
        self._said: deque[str] = deque(maxlen=30)
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        assert self.process.stderr is not None
        self._orders: IO[bytes] = self.process.stdin
        self._threads = (
            threading.Thread(target=self._listen, args=(self.process.stdout,), daemon=True),
            threading.Thread(target=self._overhear, args=(self.process.stderr,), daemon=True),
        )
        for thread in self._threads:
            thread.start()

    def order(self, task: _Task, threads: int) -> None:
        self.task = task
        self.heard_at = time.monotonic()
        # A worker that is gone says so through the other pipe.
        with contextlib.suppress(OSError, ValueError):
            send(self._orders, (task.job, threads))

    def leave(self) -> None:
        """Ask it to end: it leaves its work in order, as it does when this process dies."""
        with contextlib.suppress(OSError, ValueError):
            self._orders.close()

    def end(self, within_s: float) -> None:
        """Make sure that it has ended."""
        self.leave()
        try:
            self.process.wait(max(0.0, within_s))
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        for thread in self._threads:
            thread.join(1.0)
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe is not None:
                with contextlib.suppress(OSError, ValueError):
                    pipe.close()

    def how_it_ended(self) -> str:
        """In words, for a person."""
        code = self.process.wait()
        if code == -signal.SIGTERM or (os.name == "posix" and code == -signal.SIGKILL):
            return "the system ended it, most likely for lack of memory"
        if code < 0:
            with contextlib.suppress(ValueError):
                return f"it crashed ({signal.Signals(-code).name})"
            return f"it crashed (signal {-code})"
        return f"it ended with code {code}"

    @property
    def last_words(self) -> str:
        return next((line for line in reversed(self._said) if line.strip()), "").strip()

    def _listen(self, pipe: IO[bytes]) -> None:
        try:
            while True:
                self._inbox.put((self, receive(pipe)))
        except Exception:  # the pipe's end, or a message that was cut off or spoilt: the worker is of no use any more
            self._inbox.put((self, None))

    def _overhear(self, pipe: IO[bytes]) -> None:
        # Read all the time: a full pipe would stop the worker.
        with contextlib.suppress(OSError, ValueError):
            for line in pipe:
                self._said.append(line.decode("utf-8", "replace")[:400])


def _start(settings: PoolSettings, added: Mapping[str, str]) -> subprocess.Popen[bytes]:
    import overlay

    environment = {**os.environ, **added}
    for name in THREAD_VARIABLES:
        environment[name] = str(settings.threads)
    # The same code as here, wherever this process found it; and nothing from the folder the user is in.
    home = str(Path(overlay.__file__).resolve().parent.parent)
    environment["PYTHONPATH"] = os.pathsep.join(part for part in (home, environment.get("PYTHONPATH", "")) if part)
    try:
        return subprocess.Popen(
            [sys.executable, "-P", "-m", "overlay.batch.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment,
            # Ctrl-C is for the parent, which then stops its workers in order.
            start_new_session=os.name == "posix",
            creationflags=getattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 0),
        )
    except OSError as error:
        raise SetupError(
            f"No worker process can be started: {error.strerror or error}.", "Close other programs, or run --workers 1."
        ) from error


class LocalPool:
    """Reads clips in processes of this machine, one thread each; keeps the ``Pool`` protocol.

    Parameters
    ----------
    workers : int or None
        How many; None: one a core.
    settings : PoolSettings
    cores : int or None
        How many threads a clip may use that is read alone; None: one a core. A worker of a cluster has one: others
        read on the same machine.
    environment : mapping or None
        Variables that the workers see beside this process's own.

    Notes
    -----
    Workers are started when there is work for them and stay until ``close``. A worker that dies, or says nothing for
    very long, costs its clip a retry on a new one; a clip over which two of them ended is given back as failed.
    """

    def __init__(
        self,
        workers: int | None = None,
        settings: PoolSettings | None = None,
        *,
        cores: int | None = None,
        environment: Mapping[str, str] | None = None,
    ) -> None:
        self._settings = settings or PoolSettings()
        self._cores = usable_cores() if cores is None else max(1, cores)
        self._limit = self._cores if workers is None else max(1, workers)
        self._inbox: queue.SimpleQueue[tuple[_Worker, Any]] = queue.SimpleQueue()
        self._environment = dict(environment or {})
        self._crew: list[_Worker] = []
        self._failed_starts = 0

    @property
    def workers(self) -> int:
        return self._limit

    def processes(self) -> tuple[int, ...]:
        """Process ids of the workers that run now."""
        return tuple(worker.process.pid for worker in self._crew)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the workers; what they are at is given up."""
        self._end(self._crew)

    def run(self, jobs: Iterable[ReadJob], told: Told | None = None) -> Iterator[ClipRead]:
        """Read the clips, in order of completion. Raises as ``Pool.run``."""
        source = iter(jobs)
        waiting: deque[_Task] = deque()
        more = True
        drawn = 0
        try:
            while True:
                busy = sum(worker.task is not None for worker in self._crew)
                while more and len(waiting) + busy < self._limit + self._settings.ahead:
                    job = next(source, None)
                    more = job is not None
                    if job is not None:
                        waiting.append(_Task(job))
                        drawn += 1
                if not waiting and not busy:
                    return
                # A single clip has the machine to itself.
                alone = not more and drawn == 1
                self._assign(waiting, self._cores if alone else self._settings.threads, told)
                try:
                    worker, message = self._inbox.get(timeout=self._settings.poll_s)
                except queue.Empty:
                    self._look_at_silent()
                    continue
                done = self._heard(worker, message, waiting, told)
                if done is not None:
                    yield done
        finally:
            self._end([worker for worker in self._crew if worker.task is not None])

    def _assign(self, waiting: deque[_Task], threads: int, told: Told | None) -> None:
        for worker in self._crew:
            if waiting and worker.task is None and worker.ready:
                task = waiting.popleft()
                worker.order(task, threads)
                if told is not None:
                    told(task.job, "")
        starting = sum(not worker.ready for worker in self._crew)
        for _ in range(min(len(waiting) - starting, self._limit - len(self._crew))):
            self._crew.append(_Worker(self._inbox, self._settings, self._environment))

    def _heard(self, worker: _Worker, message: Any, waiting: deque[_Task], told: Told | None) -> ClipRead | None:
        if worker not in self._crew:
            return None  # a last word of one that was ended
        if message is None:
            return self._died(worker, waiting)
        worker.heard_at = time.monotonic()
        kind, content = message
        if kind == "ready":
            worker.ready = True
            self._failed_starts = 0
        elif kind == "stage" and content and told is not None and worker.task is not None:
            told(worker.task.job, content)
        elif kind == "read":
            worker.task = None
            assert isinstance(content, ClipRead)
            return content
        return None

    def _died(self, worker: _Worker, waiting: deque[_Task]) -> ClipRead | None:
        self._crew.remove(worker)
        # Its pipe closes a moment before it is gone.
        worker.end(self._settings.stop_s)
        task, how, said = worker.task, worker.how_it_ended(), worker.last_words
        if not worker.ready:
            self._failed_starts += 1
            if self._failed_starts >= self._settings.starts:
                raise SetupError(
                    f"The worker processes end as soon as they are started: {said or how}.",
                    "Run `overlay doctor`; it names what is missing.",
                )
        if task is None:
            return None
        task.deaths += 1
        if task.deaths < self._settings.deaths:
            waiting.appendleft(task)
            return None
        return lost(task.job, task.deaths, how)

    def _look_at_silent(self) -> None:
        now = time.monotonic()
        for worker in self._crew:
            silent_s = now - worker.heard_at
            if silent_s > (self._settings.silent_s if worker.ready else self._settings.start_s) and (
                worker.task is not None or not worker.ready
            ):
                worker.process.kill()

    def _end(self, workers: list[_Worker]) -> None:
        leaving = list(workers)
        for worker in leaving:
            worker.leave()
        until = time.monotonic() + self._settings.stop_s
        for worker in leaving:
            worker.end(until - time.monotonic())
            if worker in self._crew:
                self._crew.remove(worker)


def lost(job: ReadJob, deaths: int, how: str) -> ClipRead:
    """What is known of a clip over which its workers ended."""
    return unread(
        job,
        f"The process that read {job.path.name} ended {deaths} times before it was done: {how}.",
        "Cut the clip to the swing or export it again; with too little memory give fewer --workers.",
        UNEXPECTED,
    )
