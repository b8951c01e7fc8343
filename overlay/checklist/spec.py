"""What a checklist is: rows in the order in which they are worked on, each with its measures and tolerances."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

RowView = Literal["dtl", "fo", "both"]
Side = Literal["below", "above"]

CAMERA = "camera_setup"
"""Name of the measure that stands for the filming check."""


@dataclass(frozen=True)
class MeasureSpec:
    """A measure of a row: its tolerance and its words.

    Attributes
    ----------
    name : one of ``settings.checklist.MEASURES``
    title : str
        Two or three words for tables.
    on : bool
    low, high : float
        Tolerance in ``unit``; an end may be infinite.
    unit : str
    reading : str
        Sentence of the value. ``{value}`` is the size with its unit, ``{side}`` is ``plus`` or ``minus``.
    zero : str
        Sentence of a value that rounds to nothing; "" where the reading serves.
    plus, minus : str
        What a positive and a negative value mean ("outside", "inside"); "" where the sign means nothing by itself.
    more, less : str
        What a larger and a smaller value than the reference's mean ("further outside"); "more" and "less" otherwise.
    good : str
        The good picture.
    below, inside, above : str
        What such a value means.
    look_for_below, look_for_above : str
        What to look for in the next rep.
    caution_below, caution_above : str
        What is said for the player's safety; "" nothing.
    source : str
        Where the tolerance comes from.
    """

    name: str
    title: str
    low: float
    high: float
    unit: str
    reading: str
    good: str
    below: str
    inside: str
    above: str
    look_for_below: str
    look_for_above: str
    on: bool = True
    zero: str = ""
    plus: str = ""
    minus: str = ""
    more: str = "more"
    less: str = "less"
    caution_below: str = ""
    caution_above: str = ""
    source: str = "common practice, no source"

    def look_for(self, side: Side) -> str:
        return self.look_for_above if side == "above" else self.look_for_below

    def caution(self, side: Side) -> str:
        return self.caution_above if side == "above" else self.caution_below


@dataclass(frozen=True)
class RowSpec:
    """A row of the checklist.

    Attributes
    ----------
    key : str
        By which a coach's own file names it.
    number : int
        Place in the order, from 1; a row that is switched off keeps its number.
    title : str
    view : "dtl", "fo" or "both"
    position : str
        A position or phase of ``overlay.terms``.
    why : str
        Why it comes before later rows.
    measures : tuple of MeasureSpec
        Empty for the filming check.
    on : bool
    filming : bool
        The row is the filming check.
    ignore : tuple of str
        Findings of the filming check that do not count.
    """

    key: str
    number: int
    title: str
    view: RowView
    position: str
    why: str
    measures: tuple[MeasureSpec, ...]
    on: bool = True
    filming: bool = False
    ignore: tuple[str, ...] = ()


@dataclass(frozen=True)
class ChecklistSpec:
    """A whole checklist, and where it came from ("default" or a file name)."""

    rows: tuple[RowSpec, ...]
    source: str = "default"

    def get(self, key: str) -> RowSpec | None:
        return next((row for row in self.rows if row.key == key), None)
