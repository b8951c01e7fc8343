"""From a staircase path to a smooth, strictly monotone warp.

A warp here is w (N,): the reference's real time for each grid point of the student's real time, both in s.
"""

from __future__ import annotations

import numpy as np

from overlay.align.dtw import Path
from overlay.arrays import FloatArray
from overlay.errors import DataError
from overlay.normalise import Features
from overlay.settings.align import AlignSettings


def path_warp(path: Path, student: Features, reference: Features, settings: AlignSettings) -> FloatArray:
    """The warp through the middles of the path at knots every ``knot_s``, PCHIP between them (N,).

    Outside the path (a recording that lacks an end) it goes on at slope 1.
    """
    from scipy.interpolate import PchipInterpolator

    i, j = path.steps[:, 0], path.steps[:, 1]
    # One row may meet many columns and the other way: the middle of every run is a point of the path.
    first, last = int(i[0]), int(i[-1])
    met = np.bincount(i - first)
    x = np.asarray(np.arange(first, last + 1) * student.step_s, np.float64)
    y = np.asarray(np.bincount(i - first, weights=j) / met * reference.step_s, np.float64)
    if len(x) < 2:
        return np.asarray(student.time_s - x[0] + y[0], np.float64)
    knots = np.linspace(x[0], x[-1], max(2, round((x[-1] - x[0]) / settings.knot_s) + 1))
    values = np.interp(knots, x, y)
    for k in range(1, len(knots) - 1):
        near = np.abs(x - knots[k]) <= settings.knot_s / 2
        if near.sum() > 2:
            # A straight line through the neighbourhood: the staircase's own corners are not information.
            away, height = x[near] - knots[k], y[near]
            centred = away - away.mean()
            values[k] = height.mean() - (centred @ height / (centred @ centred)) * away.mean()
    values = increasing(values, np.diff(knots), settings.slope_low, settings.slope_high)
    time = student.time_s
    inside = PchipInterpolator(knots, values)(np.clip(time, knots[0], knots[-1]))
    outside = np.minimum(time - knots[0], 0.0) + np.maximum(time - knots[-1], 0.0)
    return np.asarray(inside + outside, np.float64)


def increasing(values: FloatArray, steps: FloatArray, low: float, high: float) -> FloatArray:
    """The nearest series (least squares) whose slopes lie within low … high.

    Isotonic regression of values − low·x, then of high·x − values, in turn until both hold (pool-adjacent-violators
    inside Dykstra's alternating projections; Boyle & Dykstra 1986).

    Parameters
    ----------
    values : (N,) float
    steps : (N − 1,) float, > 0
        Distance between the points on the other axis.
    low, high : float, 0 < low < high

    Raises
    ------
    DataError
        The limits or steps are not positive and in order.

    Examples
    --------
    >>> increasing(np.array([0.0, 2.0, 1.0, 3.0]), np.ones(3), 0.5, 2.0).tolist()
    [0.0, 1.25, 1.75, 3.0]
    """
    from scipy.optimize import isotonic_regression

    if not 0 < low < high or len(values) != len(steps) + 1 or np.any(steps <= 0):
        raise DataError(
            f"Slopes from {low} to {high} over {len(steps)} steps do not fit {len(values)} values.",
            "Give one positive step between each two values, and limits with 0 < low < high.",
        )
    x = np.concatenate([[0.0], np.cumsum(steps)])
    result = np.asarray(values, np.float64)
    correction_low, correction_high = np.zeros_like(result), np.zeros_like(result)
    for _ in range(50):
        slopes = np.diff(result) / steps
        if np.all(slopes >= low * (1 - 1e-9)) and np.all(slopes <= high * (1 + 1e-9)):
            return result
        trial = result + correction_low
        result = isotonic_regression(trial - low * x).x + low * x
        correction_low = trial - result
        trial = result + correction_high
        result = high * x - isotonic_regression(high * x - trial).x
        correction_high = trial - result
    # What rounding leaves over is cut off step by step, which holds both limits exactly.
    rises = np.clip(np.diff(result), low * steps, high * steps)
    return np.asarray(np.concatenate([[0.0], np.cumsum(rises)]) + result[0], np.float64)
