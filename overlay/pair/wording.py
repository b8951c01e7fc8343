"""What a pair says of itself and of its measures, in the same words in video, sheet, report and JSON."""

from __future__ import annotations

import math
from collections.abc import Iterable

from overlay.data import Measure, ViewPair
from overlay.pair.measures import DEFINITIONS

TITLES = {definition.name: definition.title for definition in DEFINITIONS}


def pair_sentence(pair: ViewPair) -> str:
    """What is shown, and what it rests on."""
    return " ".join(pair.evidence) if pair.evidence else ""


def value_words(measure: Measure) -> str:
    """Value with its unit: 47°, 0.62 torso."""
    if not measure.valid or not math.isfinite(measure.value):
        return ""
    return _number(measure.value, measure.unit) + ("°" if measure.unit == "deg" else "\N{NO-BREAK SPACE}torso")


def interval_words(measure: Measure) -> str:
    """The 95 % interval: 38 to 56."""
    if not measure.valid or measure.interval is None:
        return ""
    low, high = (_number(edge, measure.unit) for edge in measure.interval)
    return f"{low} to {high}"


def _number(value: float, unit: str) -> str:
    text = f"{value:.0f}" if unit == "deg" else f"{value:.2f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "\N{MINUS SIGN}")


def title_of(measure: Measure) -> str:
    """What is measured, as a person reads it, beginning with a capital."""
    title = TITLES.get(measure.name, measure.name.replace("_", " "))
    return title[:1].upper() + title[1:]


def both_views_rows(measures: Iterable[Measure]) -> tuple[str, ...]:
    """One line a measure: title, value and interval; those without a value are left out."""
    return tuple(
        f"{title_of(measure)}: {value_words(measure)} ({interval_words(measure)})"
        for measure in measures
        if measure.valid
    )
