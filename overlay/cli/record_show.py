"""Tables and sentences of the record on the terminal. Names and remarks are anybody's: nothing in them acts on it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from overlay.cli.record_options import plain

if TYPE_CHECKING:
    from rich.console import Console

GAP = 2
LEAST = 9
"""Characters that a column of words keeps on a narrow terminal."""
LONG_WORD = 14
"""Words up to here are not broken."""


@dataclass(frozen=True)
class Head:
    """A column of a table.

    Attributes
    ----------
    name : str
        Its heading.
    words : bool
        Whether its cells may be folded.
    number : bool
        Whether they stand to the right.
    most : int
        Characters of one cell.
    spare : int
        0: always shown. Else it may be left out on a narrow terminal, the largest number first.
    plain : bool
        Whether a cell says of itself what it is (a date), where rows are shown without headings.
    """

    name: str
    words: bool = False
    number: bool = False
    most: int = 60
    spare: int = 0
    plain: bool = False


def say(text: str, *, bold: bool = False, out: Console | None = None) -> None:
    """One paragraph of our own words, in which what others wrote went through ``plain``."""
    from rich.text import Text

    from overlay.cli.show import console

    (out or console()).print(Text(text, style="bold" if bold else ""))


def print_rows(heads: Sequence[Head], rows: Sequence[Sequence[str]], *, out: Console | None = None) -> None:
    """A table; columns that are empty throughout take no room.

    On a terminal too narrow for it, headings and columns of words are folded, then columns that can be spared are left
    out, which is said; if that is not enough each row is shown as a paragraph.
    """
    from rich.cells import cell_len
    from rich.table import Table
    from rich.text import Text

    from overlay.cli.show import console

    out = out or console()
    cells = [[plain(cell, head.most) for cell, head in zip(row, heads)] for row in rows]
    shown = [i for i in range(len(heads)) if i == 0 or any(row[i] for row in cells)]
    widest = {i: max((cell_len(row[i]) for row in cells), default=0) for i in shown}
    full = {i: max(widest[i], cell_len(heads[i].name)) for i in shown}
    if not out.is_terminal:
        # A pipe has no width: nothing is folded there.
        for row in [[head.name for head in heads], *cells]:
            texts = ((heads[i], row[i], " " * (full[i] - cell_len(row[i]))) for i in shown)
            line = (" " * GAP).join(gap + text if head.number else text + gap for head, text, gap in texts)
            out.file.write(line.rstrip() + "\n")
        return
    least = {i: _least(heads[i], widest[i], [row[i] for row in cells]) for i in shown}
    left_out: list[int] = []
    while _wide(least) > out.width:
        spare = max(least, key=lambda i: heads[i].spare)
        if heads[spare].spare == 0:
            for row in cells:
                _print_paragraph([(heads[i], row[i]) for i in shown if row[i]], out)
            return
        left_out.append(spare)
        del least[spare]
    widths = _widths(least, full, out.width)
    table = Table(box=None, pad_edge=False, padding=(0, GAP, 0, 0))
    for i, width in widths.items():
        table.add_column(
            Text(heads[i].name), justify="right" if heads[i].number else "left", width=width, overflow="fold"
        )
    for row in cells:
        table.add_row(*(Text(row[i]) for i in widths))
    out.print(table)
    if left_out:
        names = ", ".join(heads[i].name.rstrip(".") for i in sorted(left_out))
        say(f"Left out for want of room: {names}. A wider window shows them, and so does --json.", out=out)


def _least(head: Head, widest: int, texts: Sequence[str]) -> int:
    """The least width of a column: no number is folded, and no word that is not very long."""
    from rich.cells import cell_len

    heading = max((cell_len(word) for word in head.name.split()), default=0)
    if not head.words:
        return max(widest, heading)
    longest = max((cell_len(word) for text in texts for word in text.split()), default=0)
    return max(heading, min(widest, LEAST), min(longest, LONG_WORD))


def _wide(widths: Mapping[int, int]) -> int:
    return sum(widths.values()) + GAP * (len(widths) - 1)


def _widths(least: Mapping[int, int], full: Mapping[int, int], room: int) -> dict[int, int]:
    """Widths of the columns: those that lack most get more first, as far as there is room."""
    widths = dict(least)
    for _ in range(room - _wide(least)):
        narrow = max(widths, key=lambda i: full[i] - widths[i])
        if full[narrow] <= widths[narrow]:
            break
        widths[narrow] += 1
    return widths


def _print_paragraph(cells: Sequence[tuple[Head, str]], out: Console) -> None:
    from rich.padding import Padding
    from rich.text import Text

    (first, text), *rest = cells
    out.print(Text(f"{first.name} {text}", overflow="fold"))
    told = ", ".join(text if head.plain else f"{head.name} {text}" for head, text in rest)
    if told:
        out.print(Padding(Text(told, overflow="fold"), (0, 0, 0, 2)))


def counted(n: int, one: str, several: str | None = None) -> str:
    """``1 clip``, ``2 clips``, ``1,234 swings``."""
    return f"{n:,} {one if n == 1 else several or one + 's'}"


def listed(names: Sequence[str], most: int = 8) -> str:
    """Names in a row, the rest counted."""
    shown = ", ".join(plain(name, 60) for name in names[:most])
    return shown if len(names) <= most else f"{shown} and {len(names) - most} more"
