"""What the command line draws: progress and tables, on standard error and standard output."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from overlay.progress import SILENT, Progress

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Progress as RichProgress
    from rich.progress import TaskID


class RichStages:
    """``Progress`` drawn by rich: one line a stage, with a bar where the total is known."""

    def __init__(self, bars: RichProgress) -> None:
        self._bars = bars
        self._own = threading.local()

    @property
    def _open(self) -> list[TaskID]:
        # Two clips are read at once; each thread closes the stage it opened itself.
        if not hasattr(self._own, "stages"):
            self._own.stages = []
        stages: list[TaskID] = self._own.stages
        return stages

    def stage(self, name: str, total: float | None = None) -> None:
        self._open.append(self._bars.add_task(name, total=total))

    def advance(self, amount: float = 1.0) -> None:
        if self._open:
            self._bars.advance(self._open[-1], amount)

    def done(self) -> None:
        if self._open:
            task = self._open.pop()
            known = self._bars.tasks[self._bars.task_ids.index(task)].total
            self._bars.update(task, total=known or 1, completed=known or 1)


class PlainStages:
    """``Progress`` for a log or a pipe: a line when a stage starts."""

    def stage(self, name: str, total: float | None = None) -> None:
        print(f"{name} …", file=sys.stderr, flush=True)

    def advance(self, amount: float = 1.0) -> None:
        return None

    def done(self) -> None:
        return None


@contextmanager
def progress_display(quiet: bool) -> Iterator[Progress]:
    """Progress on standard error: bars on a terminal, lines elsewhere, nothing when quiet."""
    if quiet:
        yield SILENT
        return
    if not sys.stderr.isatty():
        yield PlainStages()
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn, TimeRemainingColumn

    columns = (
        SpinnerColumn(),
        TextColumn("{task.description}"),
        BarColumn(),
        TimeElapsedColumn(),
        TextColumn("left"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(stderr=True)) as bars:
        yield RichStages(bars)


def console() -> Console:
    """Standard output, plain when it is not a terminal."""
    from rich.console import Console

    return Console(highlight=False, soft_wrap=not sys.stdout.isatty())
