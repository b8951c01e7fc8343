"""Positions of both views on one clock, and the time map between two swings that are shown in step."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping
from statistics import NormalDist

import numpy as np

from overlay.data import Position, Positions, Swing, TimeMap, ViewPair
from overlay.errors import MismatchError
from overlay.pair.clock import Clock, Shared, clock_of, sd_real
from overlay.settings.pair import PairSettings
from overlay.terms import POSITION_NAMES, View

STEEPEST = 4.0
"""Slopes of a map between two swings stay within 1/4 to 4."""


def stepped_map(
    dtl: Swing, fo: Swing, clocks: tuple[Clock, Clock], shared: Shared, settings: PairSettings
) -> tuple[TimeMap, float]:
    """Down-the-line time → face-on time through the positions of both, and its uncertainty at impact, real s.

    Positions that are unsure are drawn towards the line through the others: a second difference of slopes is paid for
    like an error of a position, so that two positions a few hundredths apart do not bend the map wildly.
    """
    slope = clocks[1].slow / clocks[0].slow
    n = len(shared.names)
    if n == 0:
        ends = np.array([dtl.start_s, dtl.stop_s])
        there = fo.start_s + (ends - dtl.start_s) * slope
        return TimeMap(ends, there, outer_slope=slope, notes=("No position is shown by both clips.",)), math.inf
    at, gap, sd = shared.dtl_s, shared.gap_s, shared.gap_sd_s
    if n > 1:
        # Another tempo as a whole is a straight line; what strays from it between two positions has its price.
        weight = sd**-2
        middle = float(np.sum(weight * at) / weight.sum())
        level = float(np.sum(weight * gap) / weight.sum())
        tilt = float(np.sum(weight * (at - middle) * (gap - level)) / np.sum(weight * (at - middle) ** 2))
        line = level + tilt * (at - middle)
        stray = 5.0 * settings.tempo_sd * np.maximum(np.diff(at), 0.02) + 0.004
        step = np.diff(np.eye(n), axis=0) / stray[:, None]
        normal = np.diag(weight) + step.T @ step
        gap = line + np.asarray(np.linalg.solve(normal, (gap - line) * weight), np.float64)
        spread = np.sqrt(np.diag(np.linalg.inv(normal)))
    else:
        spread = sd
    there = at + gap
    for i in range(1, n):
        least = (at[i] - at[i - 1]) / STEEPEST
        there[i] = np.clip(there[i], there[i - 1] + least, there[i - 1] + (at[i] - at[i - 1]) * STEEPEST)
    chosen = shared.names.index("impact") if "impact" in shared.names else int(np.argmin(spread))
    knots, values = clocks[0].playback(at), clocks[1].playback(there)
    if n == 1:
        knots = np.array([float(knots[0]), float(knots[0]) + 1.0])
        values = np.array([float(values[0]), float(values[0]) + slope])
    return TimeMap(knots, values, outer_slope=slope), float(spread[chosen])


def fused_positions(pair: ViewPair, settings: PairSettings | None = None) -> Mapping[View, Positions]:
    """The positions found from both views, on each view's own clock.

    A position that both views found is averaged by how sure each is; one that only one view found is carried over to
    the other. What a person marked in either view counts as sure. The source is that of the surer view. Positions that
    were put together before stay as they are.

    Parameters
    ----------
    pair : ViewPair
        Of one swing.
    settings : PairSettings or None

    Returns
    -------
    mapping view → Positions
        ``dtl`` and ``fo``, on their clips' own clocks.

    Raises
    ------
    MismatchError
        The pair is of two swings, whose positions have nothing to say of each other.
    """
    if not pair.one_swing:
        raise MismatchError(
            "The positions of two different swings cannot be put together.", "Use each swing's own positions."
        )
    settings = settings or PairSettings()
    if _already(pair):
        return {"dtl": pair.dtl.positions, "fo": pair.fo.positions}
    clocks = clock_of(pair.dtl), clock_of(pair.fo)
    found: list[tuple[Position, Position, float, float]] = []
    missing: dict[str, str] = {}
    for name in POSITION_NAMES:
        one, other = pair.dtl.positions.get(name), pair.fo.positions.get(name)
        if one is None and other is None:
            missing[name] = pair.dtl.positions.missing.get(name, "not found")
            continue
        rows = []
        trust = settings.trust.get(name, settings.trust_other)
        if one is not None:
            rows.append((one.time_s, trust[0] * sd_real(one, clocks[0], settings), one))
        if other is not None:
            at = float(pair.time_map.to_student(other.time_s))
            rows.append((at, math.hypot(trust[1] * sd_real(other, clocks[1], settings), pair.sd_s), other))
        time_s, sd_s, best = _fused(rows, clocks[0].slow, 1 if name == "finish" else None)
        found.append((best, best, time_s, sd_s))
    kept = _in_order(found)
    for _, _, time_s, _ in found:
        if not any(time_s == entry[2] for entry in kept):
            name = next(entry[0].name for entry in found if entry[2] == time_s)
            missing[name] = "the two views contradict each other on its time"
    swing_s = _address_to_impact(kept)
    result: dict[View, Positions] = {}
    for view, clock in (("dtl", clocks[0]), ("fo", clocks[1])):
        out = []
        for best, _, time_s, sd_s in kept:
            own = time_s if view == "dtl" else float(pair.time_map.to_reference(time_s))
            out.append(_position(best, own, sd_s, swing_s / clocks[0].slow, clock))
        result[view] = Positions(tuple(out), dict(missing))  # type: ignore[index]
    return result


def _already(pair: ViewPair) -> bool:
    """Whether the swings of the pair carry positions that were put together before: doing it again would count the
    same evidence twice."""
    one, other = pair.dtl.positions, pair.fo.positions
    names = [position.name for position in one.found]
    if len(names) < 2 or names != [position.name for position in other.found]:
        return False
    there = pair.time_map.to_reference(np.array([position.time_s for position in one.found]))
    return bool(np.all(np.abs(there - np.array([position.time_s for position in other.found])) < 1e-6))


def _fused(
    rows: list[tuple[float, float, Position]], slow: float, trusted: int | None
) -> tuple[float, float, Position]:
    """Time (playback s down the line), sd (real s) and the surer view's position.

    ``trusted`` is the row that counts when both contradict each other, None for the surer one: down the line the hands
    are behind the body at the finish.
    """
    marked = [row for row in rows if row[2].source == "marked"]
    rows = marked or rows
    best = min(rows, key=lambda row: row[1])
    if len(rows) == 1:
        return rows[0]
    apart = abs(rows[0][0] - rows[1][0]) / slow
    joint = math.hypot(rows[0][1], rows[1][1])
    if apart > 3.0 * joint:
        # They contradict each other: one of them, and no surer than that.
        best = best if trusted is None else rows[trusted]
        return best[0], math.hypot(best[1], 0.25 * apart), best[2]
    weight = np.array([row[1] ** -2 for row in rows])
    time_s = float(np.sum(weight * np.array([row[0] for row in rows])) / weight.sum())
    return time_s, float(weight.sum() ** -0.5) * max(1.0, apart / joint), best[2]


def _in_order(
    found: list[tuple[Position, Position, float, float]],
) -> list[tuple[Position, Position, float, float]]:
    """Strictly increasing times: of two that contradict the order the less sure is left out."""
    kept = list(found)
    while True:
        wrong = [pair for pair in itertools.pairwise(range(len(kept))) if kept[pair[1]][2] <= kept[pair[0]][2] + 1e-6]
        if not wrong:
            return kept
        a, b = wrong[0]
        del kept[a if kept[a][3] > kept[b][3] else b]


def _address_to_impact(kept: list[tuple[Position, Position, float, float]]) -> float:
    times = {entry[0].name: entry[2] for entry in kept}
    return times["impact"] - times["address"] if {"impact", "address"} <= set(times) else math.nan


def _position(best: Position, time_s: float, sd_s: float, swing_s: float, clock: Clock) -> Position:
    """The fused position on one clock; its confidence is the chance to lie within a thirtieth of address → impact."""
    tolerance = max(clock.frame_s, swing_s / 30 if math.isfinite(swing_s) else 0.0)
    chance = 2.0 * NormalDist().cdf(tolerance / sd_s) - 1.0
    confidence = 1.0 if best.source == "marked" else round(float(np.clip(chance, 0.0, 1.0)), 3)
    return Position(best.name, time_s, confidence, best.source, round(sd_s * clock.slow, 6))
