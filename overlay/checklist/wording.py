"""Values, tolerances and verdicts in a coach's words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from overlay.checklist.spec import MeasureSpec, Side
from overlay.data import FilmingFinding, Measure, Verdict

_DECIMALS = {"torso": 2, "deg": 0, "fraction": 2}


def number(value: float, unit: str) -> str:
    """The bare number as it is read: 2 decimals of a torso length, whole degrees, per cent of a fraction."""
    if unit == "fraction":
        return f"{round(100 * value) + 0} %".replace("-", "−")
    decimals = _DECIMALS.get(unit, 2)
    text = f"{round(value, decimals) + 0.0:.{decimals}f}"
    return (text + "°" if unit == "deg" else text).replace("-", "−")


def amount(value: float, unit: str) -> str:
    """The number with its unit: "0.12 torso lengths", "14°", "60 %"."""
    return number(value, unit) + (" torso lengths" if unit == "torso" else "")


def vanishes(value: float, unit: str) -> bool:
    """The value is read as nothing."""
    return round(value, _DECIMALS.get(unit, 2)) == 0


def reading(spec: MeasureSpec, value: float) -> str:
    """The value as a sentence without its full stop."""
    if spec.zero and vanishes(value, spec.unit):
        return spec.zero
    if not spec.plus:
        return spec.reading.format(value=amount(value, spec.unit), side="")
    return spec.reading.format(value=amount(abs(value), spec.unit), side=spec.plus if value > 0 else spec.minus)


def end(spec: MeasureSpec, value: float, *, unit: bool = False) -> str:
    """A value in a range: "0.25 inside", "80°"."""
    form = amount if unit else number
    if not spec.plus or vanishes(value, spec.unit):
        return form(value, spec.unit)
    return f"{form(abs(value), spec.unit)} {spec.plus if value > 0 else spec.minus}"


def span(spec: MeasureSpec, low: float, high: float) -> str:
    """A range of values: "from 0.25 torso lengths inside to 0.10 outside"; open where an end is infinite."""
    if math.isinf(low) and math.isinf(high):
        return "any value"
    if math.isinf(low):
        return f"up to {end(spec, high, unit=True)}"
    if math.isinf(high):
        return f"from {end(spec, low, unit=True)} on"
    if spec.plus and (low > 0) == (high > 0) and not (vanishes(low, spec.unit) or vanishes(high, spec.unit)):
        near, far = sorted((abs(low), abs(high)))
        return f"from {number(near, spec.unit)} to {end(spec, math.copysign(far, low), unit=True)}"
    return f"from {end(spec, low, unit=True)} to {end(spec, high)}"


def against_tolerance(spec: MeasureSpec, measure: Measure, verdict: Verdict, side: Side | None) -> str:
    """The verdict of one measure against its tolerance, as a sentence."""
    if verdict == "not measured":
        return f"Not measured: {_lower(measure.reason or 'no reason was told')}"
    said = reading(spec, measure.value)
    if verdict == "in":
        return f"{said}: {spec.inside}."
    good = f"the good picture is {spec.good} ({span(spec, spec.low, spec.high)})"
    if verdict == "out":
        meant = spec.above if side == "above" else spec.below
        sentence = f"{said}: {meant}; {good}."
        return f"{sentence} {spec.caution(side)}" if side and spec.caution(side) else sentence
    if measure.interval is None:
        between = "how sure that is was not told"
    else:
        between = f"it may lie anywhere {span(spec, *measure.interval)}"
    if side is None:
        return f"{said}: {spec.inside}, as far as this clip can tell; {between}."
    return f"{said}, too near the edge of the good picture to call: {between}; {good}."


def against_reference(
    spec: MeasureSpec,
    measure: Measure,
    reference: Measure | None,
    difference: Measure,
    differs: bool,
    beyond: float,
    verdict: Verdict,
    side: Side | None,
) -> str:
    """One measure beside the reference's, as a sentence. ``beyond`` is the difference that noise alone may give.

    Where the reference gives no value the verdict against the tolerance is said.
    """
    if not measure.valid:
        return f"Not measured: {_lower(measure.reason or 'no reason was told')}"
    said = reading(spec, measure.value)
    if reference is None or not difference.valid:
        judged = against_tolerance(spec, measure, verdict, side) if verdict == "out" else f"{said}."
        return f"{judged} {stop(difference.reason)}"
    beside = f"{said}; your reference has {end(spec, reference.value)}"
    size = amount(abs(difference.value), spec.unit)
    if not differs:
        return f"{beside}. No difference beyond the noise, which is up to {amount(beyond, spec.unit)} here."
    which = spec.more if difference.value > 0 else spec.less
    return f"{beside}. It differs from your reference by {size}: {which}."


STANDS_WELL = "The camera stands as it should."
"""Of a camera with nothing to be said about it."""


def filming(findings: Sequence[FilmingFinding]) -> str:
    """What is wrong with the camera, and what to do about it, in sentences."""
    return " ".join(" ".join(part for part in (stop(f.sentence), stop(f.advice)) if part) for f in findings)


def stop(text: str) -> str:
    """The text as a sentence with its full stop."""
    text = text.strip()
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".!?" else ".")


def _lower(text: str) -> str:
    """The text going on after a colon; abbreviations and names keep their capitals."""
    text = stop(text)
    return text[0].lower() + text[1:] if len(text) > 1 and text[1].islower() else text


def listed(items: Sequence[str]) -> str:
    """ "a", "a and b", "a, b and c"."""
    return items[0] if len(items) == 1 else f"{', '.join(items[:-1])} and {items[-1]}" if items else ""
