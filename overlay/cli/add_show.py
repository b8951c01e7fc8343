"""What ``overlay add`` and ``overlay watch`` draw: one progress line while clips are read, and the table at the end."""

from __future__ import annotations

import dataclasses
import shlex
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from overlay.cli.record_options import plain
from overlay.cli.record_show import Head, print_rows, say
from overlay.terms import words

if TYPE_CHECKING:
    from rich.progress import Progress as RichProgress
    from rich.progress import TaskID

    from overlay.batch import AddReport, AddRow

VIEW_SHORT = {"dtl": "down the line", "fo": "face on", "other": "other angle"}
STYLES = {"failed": "bold red", "skipped": "yellow", "known": "dim", "moved": "dim"}
FILE_TIME = "*"
"""Behind a day that only the file's time of change tells."""


class AddDisplay:
    """Receiver of progress: how many clips of how many, which are being read and what is done with them, time left."""

    def __init__(self, quiet: bool, workers: int) -> None:
        self.rows: list[AddRow] = []
        self._quiet = quiet
        self._workers = max(1, workers)
        self._bars: RichProgress | None = None
        self._task: TaskID | None = None
        self._total = 0
        self._done = 0
        self._running: dict[Path, str] = {}
        self._seconds: list[float] = []

    # --- the Progress protocol ---

    def stage(self, name: str, total: float | None = None) -> None:
        if total is not None and name == "reading clips":
            self._begin(int(total))
        elif not self._quiet and self._bars is None:
            sys.stderr.write(f"{name} …\n")
            sys.stderr.flush()
        self._draw("" if name == "reading clips" else name)

    def _begin(self, total: int) -> None:
        """A new count; what was finished before no longer is."""
        self._total, self._done = total, 0
        if self._bars is not None and self._task is not None:
            self._bars.reset(self._task, total=total or None)

    def advance(self, amount: float = 1.0) -> None:
        self._done += int(amount)

    def done(self) -> None:
        self._draw("")

    # --- what the run tells ---

    def running(self, path: Path, stage: str) -> None:
        self._running[path] = stage
        self._draw("")

    def told(self, row: AddRow) -> None:
        self.forget(row)
        line = row_line(row)
        if self._bars is not None:
            self._bars.console.print(line, markup=False, style=STYLES.get(row.state, ""), highlight=False)
        elif not self._quiet:
            of = f" of {self._total}" if self._total else ""
            sys.stderr.write(f"[{self._done}{of}] {line}\n")
            sys.stderr.flush()

    def forget(self, row: AddRow) -> None:
        """The clip is no longer being read."""
        self._running.pop(row.path, None)
        if row.seconds:
            self._seconds.append(row.seconds)
        self.rows.append(dataclasses.replace(row, read=None))
        self._draw("")

    def _draw(self, name: str) -> None:
        if self._bars is None or self._task is None:
            return
        said = name or ", ".join(
            f"{clip_name(path, 24)}{f' ({stage})' if stage else ''}" for path, stage in self._running.items()
        )
        # What else the line holds: spinner, count, bar, time left.
        room = self._bars.console.width - 2 - (2 * len(str(self._total)) + 5) - 11 - (len(self.left) + 1) - 2
        if len(said) > room:
            said = f"{said[: room - 1]}…" if room >= 8 else ""
        self._bars.update(
            self._task,
            description=said,
            total=self._total or None,
            completed=self._done,
            left=self.left,
            count=f"{self._done} of {self._total}" if self._total else "",
        )

    @property
    def left(self) -> str:
        """How long the rest may take, from the clips that were read; "" before the first."""
        if not self._seconds or not self._total:
            return ""
        rest_s = (self._total - self._done) * sum(self._seconds) / len(self._seconds) / self._workers
        return f"about {duration(rest_s)} left" if rest_s >= 1 else ""

    @contextmanager
    def shown(self) -> Iterator[AddDisplay]:
        if self._quiet or not sys.stderr.isatty():
            yield self
            return
        from rich.console import Console
        from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn
        from rich.table import Column

        columns = (
            SpinnerColumn(),
            TextColumn("{task.fields[count]}", table_column=Column(no_wrap=True)),
            BarColumn(bar_width=10),
            TextColumn("{task.fields[left]}", table_column=Column(no_wrap=True)),
            TextColumn("{task.description}", markup=False, table_column=Column(no_wrap=True, overflow="ellipsis")),
        )
        with Progress(*columns, console=Console(stderr=True)) as bars:
            self._bars = bars
            self._task = bars.add_task("", total=None, left="", count="")
            try:
                yield self
            finally:
                self._bars, self._task = None, None


def duration(seconds: float) -> str:
    """``40 s``, ``12 min``, ``1 h 05 min``."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


def clip_name(path: Path, most: int = 60) -> str:
    """The file's name as one harmless line."""
    return plain(path.name, most) or "?"


def first_words(row: AddRow) -> str:
    """What the checklist puts first, short."""
    if row.state in ("failed", "skipped"):
        return ""
    return words(row.first) if row.first else "nothing found"


def row_line(row: AddRow) -> str:
    """A clip in one line."""
    name = clip_name(row.path)
    if row.problem:
        return f"{name}: {row.state}: {plain(row.problem, 400)}"
    views = ", ".join(VIEW_SHORT[view] for view in row.views)
    count = f"{row.n_swings} swing{'' if row.n_swings == 1 else 's'}"
    took = f", {row.seconds:.0f} s" if row.seconds >= 1 else ""
    return f"{name}: {row.state}: {count}, {views}; first: {first_words(row)}{took}"


HEADS = (
    Head("clip", words=True, most=48),
    Head("day"),
    Head("swings", number=True),
    Head("view", words=True),
    Head("first to work on", words=True),
    Head("result"),
)


def print_table(report: AddReport) -> None:
    """A row a clip, what went wrong and what to do about it, then the totals."""
    from overlay.batch.finding import natural

    # They came in as they were done; a person looks for a name.
    ordered = sorted(report.rows, key=lambda row: (str(row.path.parent), natural(row.path.name)))
    rows = []
    for row in ordered:
        day = "" if row.date is None else row.date.isoformat() + (FILE_TIME if row.dated_by == "file" else "")
        views = ", ".join(VIEW_SHORT[view] for view in row.views)
        rows.append((row.path.name, day, str(row.n_swings or "–"), views or "–", first_words(row) or "–", row.state))
    if rows:
        print_rows(HEADS, rows)
    for row in ordered:
        if row.problem:
            say(f"{clip_name(row.path)}: {plain(f'{row.problem} {row.hint}'.rstrip(), 1000)}")
        elif row.note:
            say(f"{clip_name(row.path)}: {plain(row.note, 1000)}")
    if any(row.dated_by == "file" for row in report.rows):
        say(
            f"{FILE_TIME} The clip does not say when it was recorded: taken is the day on which its file was changed, "
            "which copying may alter. Give --date where that is wrong."
        )
    for reason, n in Counter(why for _, why in report.left_out).items():
        say(f"Left out: {n} × {reason}.")
    for note in report.notes:
        say(f"note: {plain(note, 1000)}")
    say(totals(report), bold=True)


def totals(report: AddReport) -> str:
    """Everything in one line."""
    counts = report.counts
    said = ", ".join(f"{n} {state}" for state, n in counts.items()) or "nothing"
    n, swings = len(report.rows), report.n_swings
    sessions = sorted({row.session_id for row in report.rows if row.session_id is not None})
    text = f"{n} clip{'' if n == 1 else 's'}: {said}; {swings} swing{'' if swings == 1 else 's'} read."
    if sessions:
        plural = "" if len(sessions) == 1 else "s"
        text += f" Session{plural} {', '.join(map(str, sessions))}."
    if report.reference_name:
        text += f" Compared with {report.reference_name}."
    return text


def print_next(report: AddReport, player: str) -> None:
    """Commands that come next."""
    kept: Sequence[AddRow] = [row for row in report.rows if row.session_id is not None and row.n_swings]
    if not kept:
        return
    lines = [f"overlay session {kept[-1].session_id}"]
    if player:
        lines.append(f"overlay swings {shlex.quote(plain(player, 200))}")
    for label, line in zip(("Next:", "     "), lines):
        say(f"{label} {line}")


def now_words() -> str:
    """The time of day, for a line of a running watch."""
    return time.strftime("%H:%M:%S")
