"""How long backswing and downswing take, and their ratio, as measures with what they are unsure by."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from overlay.data import Measure, Position, Swing
from overlay.terms import words

NAMES = ("tempo_ratio", "backswing_s", "downswing_s")


def tempo_measures(swing: Swing) -> tuple[Measure, ...]:
    """``tempo_ratio`` (backswing ÷ downswing), ``backswing_s`` (address → top), ``downswing_s`` (top → impact).

    Parameters
    ----------
    swing : Swing

    Returns
    -------
    tuple of Measure
        In this order. Durations are real seconds and invalid where the clip's clock is not one of real seconds. The
        interval (95 %) is that of normal, independent errors of the positions, to first order; None where one of them
        does not say how sure it is.
    """
    from overlay.score.timing import speed_doubt
    from overlay.settings.score import ScoreSettings

    settings = ScoreSettings()
    doubt = speed_doubt(swing, "the swing", settings)
    ends = {name: swing.positions.get(name) for name in ("address", "top", "impact")}
    address, top, impact = ends.values()
    if address is None or top is None or impact is None:
        ratio = _absent("tempo_ratio", "", ends)
    else:
        back, down = top.time_s - address.time_s, impact.time_s - top.time_s
        if not settings.min_tempo <= back / down <= settings.max_tempo:
            ratio = _missing("tempo_ratio", "", doubt)
        else:
            # By each of the three times, to first order.
            slopes = (-1.0 / down, 1.0 / down + back / down**2, -back / down**2)
            ratio = _measure("tempo_ratio", back / down, "", _sd(swing, (address, top, impact), slopes))
    slow = swing.slow_factor
    durations = []
    for name, first, last in (("backswing_s", "address", "top"), ("downswing_s", "top", "impact")):
        start, end = ends[first], ends[last]
        if start is None or end is None:
            durations.append(_absent(name, "s", {first: start, last: end}))
        elif doubt:
            durations.append(_missing(name, "s", doubt))
        else:
            sd = _sd(swing, (start, end), (-1.0 / slow, 1.0 / slow))
            durations.append(_measure(name, (end.time_s - start.time_s) / slow, "s", sd))
    return (ratio, *durations)


def _sd(swing: Swing, found: tuple[Position, ...], slopes: tuple[float, ...]) -> float | None:
    parts = []
    for position, slope in zip(found, slopes, strict=True):
        sd_s = position.sd_s
        if sd_s is None and position.source == "marked" and len(swing.pose) > 1:
            # A person sets a mark on a frame: the moment lies within half a frame of it.
            sd_s = 0.5 * float(np.median(np.diff(swing.pose.time_s)))
        if sd_s is None or not math.isfinite(sd_s):
            return None
        parts.append(slope * sd_s)
    return math.hypot(*parts)


def _measure(name: str, value: float, unit: str, sd: float | None) -> Measure:
    from overlay.measure.geometry import normal_quantile

    half = None if sd is None else normal_quantile(0.95) * sd
    return Measure(name, value, unit, None if half is None else (value - half, value + half))


def _missing(name: str, unit: str, reason: str) -> Measure:
    return Measure(name, math.nan, unit, None, False, reason)


def _absent(name: str, unit: str, ends: Mapping[str, Position | None]) -> Measure:
    missing = [words(end) for end, position in ends.items() if position is None]
    return _missing(name, unit, f"{' and '.join(missing)} not found")
