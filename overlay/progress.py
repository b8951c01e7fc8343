"""How long work reports that it is alive. The library never prints; the command line draws what it is told."""

from __future__ import annotations

import threading
from typing import Protocol


class Progress(Protocol):
    """Receiver of progress. ``stage`` opens a new line, ``advance`` moves it, ``done`` closes it.

    A receiver may be told from several threads at once; each thread's stages are its own.
    """

    def stage(self, name: str, total: float | None = None) -> None:
        """Open a stage called ``name`` with ``total`` units of work (None: not known)."""

    def advance(self, amount: float = 1.0) -> None:
        """Move the open stage forward by ``amount`` units."""

    def done(self) -> None:
        """Close the open stage."""


class Silent:
    """A receiver that ignores everything."""

    def stage(self, name: str, total: float | None = None) -> None:
        return None

    def advance(self, amount: float = 1.0) -> None:
        return None

    def done(self) -> None:
        return None


SILENT: Progress = Silent()


class Stopped(Exception):
    """Raised inside long work that has been told to stop."""


class Stoppable:
    """Passes progress on, and ends the work at its next step once ``stop`` is set."""

    def __init__(self, inner: Progress, stop: threading.Event) -> None:
        self._inner = inner
        self._stop = stop

    def stage(self, name: str, total: float | None = None) -> None:
        self._check()
        self._inner.stage(name, total)

    def advance(self, amount: float = 1.0) -> None:
        self._check()
        self._inner.advance(amount)

    def done(self) -> None:
        self._inner.done()

    def _check(self) -> None:
        if self._stop.is_set():
            raise Stopped
