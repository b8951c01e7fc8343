"""Tables and sentences of the record on the terminal. Names and remarks are anybody's: nothing in them acts on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from overlay.cli.record_options import plain

if TYPE_CHECKING:
    from rich.console import Console

GAP = 2
LEAST = 12
"""Characters that a column of words keeps on a narrow terminal; with less, a row is shown line by line."""


@dataclass(frozen=True)
class Head:
    """A column: its heading, whether it holds words that may be folded, and whether it is a number."""

    name: str
    words: bool = False
    number: bool = False
    most: int = 60
    """Characters of one cell."""


def say(text: str, *, bold: bool = False, out: Console | None = None) -> None:
    """One paragraph of our own words, in which what others wrote went through ``plain``."""
    from rich.text import Text

    from overlay.cli.show import console

    (out or console()).print(Text(text, style="bold" if bold else ""))


def print_rows(heads: Sequence[Head], rows: Sequence[Sequence[str]], *, out: Console | None = None) -> None:
    """A table; columns that are empty throughout take no room.

    On a terminal too narrow for it, columns of words are folded, and if that is not enough each row is shown as lines.
    """
    from rich.cells import cell_len
    from rich.table import Table
    from rich.text import Text

    from overlay.cli.show import console

    out = out or console()
    cells = [[plain(cell, head.most) for cell, head in zip(row, heads)] for row in rows]
    shown = [i for i in range(len(heads)) if i == 0 or any(row[i] for row in cells)]
    widths = {i: max(cell_len(text) for text in (heads[i].name, *(row[i] for row in cells))) for i in shown}
    full = sum(widths.values()) + GAP * (len(shown) - 1)
    least = sum(min(widths[i], LEAST) if heads[i].words else widths[i] for i in shown) + GAP * (len(shown) - 1)
    if out.is_terminal and least > out.width:
        for row in cells:
            _print_lines([(heads[i].name, row[i]) for i in shown if row[i]], out)
        return
    if not out.is_terminal:
        # A pipe has no width: nothing is folded there.
        out.width = max(full, 20)
    table = Table(box=None, pad_edge=False, padding=(0, GAP, 0, 0))
    for i in shown:
        head = heads[i]
        table.add_column(
            Text(head.name),
            justify="right" if head.number else "left",
            no_wrap=not head.words,
            overflow="fold",
            min_width=min(widths[i], LEAST) if head.words else widths[i],
        )
    for row in cells:
        table.add_row(*(Text(row[i]) for i in shown))
    out.print(table)


def _print_lines(pairs: Sequence[tuple[str, str]], out: Console) -> None:
    from rich.text import Text

    for i, (name, text) in enumerate(pairs):
        out.print(Text(("" if i == 0 else "  ") + f"{name} {text}"), soft_wrap=False, overflow="fold")


def counted(n: int, one: str, several: str | None = None) -> str:
    """``1 clip``, ``2 clips``, ``1,234 swings``."""
    return f"{n:,} {one if n == 1 else several or one + 's'}"


def listed(names: Sequence[str], most: int = 8) -> str:
    """Names in a row, the rest counted."""
    shown = ", ".join(plain(name, 60) for name in names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
