"""How long work reports that it is alive. The library never prints; the command line draws what it is told."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Receiver of progress. ``stage`` opens a new line, ``advance`` moves it, ``done`` closes it."""

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
