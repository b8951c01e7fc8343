"""Measures in a coach's words: what they are called, which way is which, and how their numbers are written."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from overlay.checklist import load_checklist
from overlay.checklist.wording import number
from overlay.data.record import DifferenceName
from overlay.terms import View, words

UNITS = {
    "torso": "torso lengths",
    "deg": "degrees",
    "fraction": "per cent",
    "s": "seconds",
    "ms": "milliseconds",
    "cm": "cm",
    "ratio": "backswing to downswing",
    "": "",
}
"""A unit as an axis says it."""

_TIMES = {
    "tempo_ratio": (
        "Tempo, backswing to downswing",
        "ratio",
        "higher",
        "lower",
    ),
    "backswing_s": ("Time of the backswing", "s", "longer", "shorter"),
    "downswing_s": ("Time of the downswing", "s", "longer", "shorter"),
}


@dataclass(frozen=True)
class MeasureWords:
    """How one measure is spoken of.

    Attributes
    ----------
    title : str
        Starts with a capital letter.
    where : str
        The row of the checklist; "" for none.
    plus, minus : str
        What up and down mean on an axis; "" where the number speaks for itself.
    more, less : str
        What a rise and a fall are.
    order : int
        Place in the checklist; what is not on it comes later.
    """

    title: str
    where: str = ""
    plus: str = ""
    minus: str = ""
    more: str = "higher"
    less: str = "lower"
    order: int = 1000
    of: str = ""
    """What a share is of."""


@lru_cache(maxsize=1)
def _listed() -> dict[str, MeasureWords]:
    found: dict[str, MeasureWords] = {}
    for row in load_checklist().rows:
        for spec in row.measures:
            title = spec.title[:1].upper() + spec.title[1:]
            of = spec.reading.partition("{value}")[2].strip() if spec.unit == "fraction" else ""
            found[spec.name] = MeasureWords(
                title, row.title, spec.plus, spec.minus, spec.more, spec.less, order=len(found), of=of
            )
    return found


def measure_words(name: str, view: View | None = None) -> MeasureWords:
    """The words of a measure, a time, or a difference such as ``hands.backswing.x``; of any other name its own words.

    ``view`` says which way the picture's x axis is for a difference.
    """
    listed = _listed().get(name)
    if listed is not None:
        return listed
    if name in _TIMES:
        title, _, more, less = _TIMES[name]
        return MeasureWords(title, more=more, less=less, order=900 + list(_TIMES).index(name))
    difference = DifferenceName.parse(name) if "." in name else None
    if difference is None:
        text = words(name)
        return MeasureWords(text[:1].upper() + text[1:])
    part, phase = words(difference.part), words(difference.phase)
    title = f"{part[:1].upper()}{part[1:]} in the {phase}"
    where = "against the reference"
    if difference.axis == "y":
        return MeasureWords(f"{title}, height", where, "lower", "higher", "lower", "higher")
    if difference.axis == "x":
        plus, minus = {
            "fo": ("towards the target", "away from the target"),
            "dtl": ("towards the ball", "away from the ball"),
        }.get(view or "other", ("to the right", "to the left"))
        return MeasureWords(f"{title}, sideways", where, plus, minus, f"further {plus}", f"further {minus}")
    return MeasureWords(
        f"{title}: distance from the reference", where, more="further from the reference", less="nearer"
    )


def named_so(said: str, names: Iterable[str]) -> tuple[str, ...]:
    """Those of ``names`` that are called ``said`` where they are shown, with the row of the checklist or without it."""

    def plain(text: str) -> str:
        return " ".join("".join(sign if sign.isalnum() else " " for sign in text.casefold()).split())

    wanted = plain(said)
    found = []
    for name in dict.fromkeys(names):
        spoken = measure_words(name)
        if wanted and wanted in (plain(spoken.title), plain(f"{spoken.title} {spoken.where}")):
            found.append(name)
    return tuple(found)


def unit_of(name: str, unit: str) -> str:
    """The unit a measure is written in: a tempo is a ratio, whether that was kept with it or not."""
    return "ratio" if name == "tempo_ratio" else unit


def unit_words(unit: str) -> str:
    """The unit as an axis says it."""
    return UNITS.get(unit, unit)


def bare(value: float, unit: str) -> str:
    """The number as it is read; "–" where there is none."""
    if not math.isfinite(value):
        return "–"
    if unit == "ratio":
        return f"{value:.1f} : 1"
    if unit == "ms":
        return f"{value:.0f}".replace("-", "−")
    return number(value, unit)


def with_unit(value: float, unit: str) -> str:
    """The number with its unit, "0.12 torso lengths", "14°", "3.1 : 1"; "–" where there is none."""
    said = bare(value, unit)
    if said == "–" or unit in ("deg", "fraction", "ratio", ""):
        return said
    return f"{said} {UNITS.get(unit, unit)}"


def size_with_unit(value: float, unit: str) -> str:
    """A difference or spread with its unit: of a ratio the bare number."""
    if unit == "ratio":
        return f"{value:.1f}" if math.isfinite(value) else "–"
    return with_unit(value, unit)


def change_words(change: float, unit: str, measure: MeasureWords) -> str:
    """A change in words: "0.09 torso lengths further from the ball"; "" where there is none."""
    if not math.isfinite(change):
        return ""
    return f"{size_with_unit(abs(change), unit)} {measure.more if change > 0 else measure.less}"
