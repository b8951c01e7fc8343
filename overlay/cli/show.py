"""What the command line draws: progress and tables, on standard error and standard output."""

from __future__ import annotations

import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from overlay.progress import SILENT, Progress
from overlay.terms import words

if TYPE_CHECKING:
    from rich.console import Console
    from rich.progress import Progress as RichProgress
    from rich.progress import TaskID

    from overlay.data import Checklist, FilmingReport, FirstThing, Measure, ViewPair


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
        # Line and end in one piece: two clips are read at once, and their lines must not run into each other.
        sys.stderr.write(f"{name} …\n")
        sys.stderr.flush()

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


def print_first(first: FirstThing) -> None:
    """The one thing to work on, why it comes first, and what to look for in the next rep."""
    from overlay.checklist import CAMERA

    out = console()
    said = first.sentence
    if first.check is None:
        # The phases may differ all the same; what is said here is of the checklist alone, as in the video.
        said = f"Checklist: {said[:1].lower()}{said[1:]}"
    out.print(said, style="bold", markup=False)
    # Where it is the camera, the sentence says already what to do.
    for label, text in (("Why first", first.why), ("Next rep", "" if first.focus == CAMERA else first.look_for)):
        if text:
            out.print(f"{label}: {text}", markup=False)


def print_pair(pair: ViewPair) -> None:
    """How both views belong together, and what only both together measure."""
    from rich.table import Table

    from overlay.checklist.wording import number

    out = console()
    for sentence in pair.evidence:
        out.print(sentence, markup=False)
    if not pair.measures:
        return
    table = Table("from both views", "value", "95 %", box=None, pad_edge=False)
    for measure in pair.measures:
        if measure.valid and measure.interval is not None:
            low, high = (number(end, measure.unit) for end in measure.interval)
            table.add_row(words(measure.name), number(measure.value, measure.unit), f"{low} to {high}")
        else:
            table.add_row(words(measure.name), "–", measure.reason)
    out.print(table)


def print_checklist(checklist: Checklist, *, first: bool = True) -> None:
    """What comes first, then every check in order with its value and verdict."""
    from rich.table import Table

    from overlay.checklist.wording import number
    from overlay.draw.checks import verdict_words
    from overlay.report.checks import COUNTED

    def short(measure: Measure) -> str:
        return number(measure.value, measure.unit) + (" torso" if measure.unit == "torso" else "")

    out = console()
    if first:
        print_first(checklist.first)
    compared = any(check.reference is not None for check in checklist.checks)
    heads = ("check", "value", "reference", "difference", "verdict") if compared else ("check", "value", "verdict")
    table = Table(*heads, box=None, pad_edge=False)
    for check in checklist.checks:
        title = f"{check.row}. {words(check.measure.name)}"
        value, reference, difference = (
            "–" if measure is None or not measure.valid or measure.unit in COUNTED else short(measure)
            for measure in (check.measure, check.reference, check.difference)
        )
        said = verdict_words(check) if check.measure.valid else f"{verdict_words(check)}: {check.measure.reason}"
        table.add_row(*((title, value, reference, difference, said) if compared else (title, value, said)))
    out.print(table)
    for note in checklist.notes:
        out.print(f"note: {note}", markup=False)


def print_filming(report: FilmingReport) -> None:
    """What is wrong with the filming and what to do; one line when it is good."""
    out = console()
    faulty = [finding for finding in report.findings if finding.verdict in ("warn", "fail")]
    if not faulty:
        out.print("Filming: good.", markup=False)
    for finding in faulty:
        out.print(f"Filming, {finding.verdict}: {finding.sentence} {finding.advice}".rstrip(), markup=False)
