"""From a staircase path to a smooth, strictly monotone warp, and its refinement below the grid.

A warp here is w (N,): the reference's real time for each grid point of the student's real time, both in s.
"""

from __future__ import annotations

import math

import numpy as np

from overlay.align.dtw import Path
from overlay.arrays import FloatArray
from overlay.normalise import Features, curvature_bands
from overlay.settings.align import AlignSettings


def path_warp(path: Path, student: Features, reference: Features, settings: AlignSettings) -> FloatArray:
    """The warp through the middles of the path at knots every ``knot_s``, PCHIP between them (N,).

    Outside the path (open ends) it goes on at slope 1.
    """
    from scipy.interpolate import PchipInterpolator

    i, j = path.steps[:, 0], path.steps[:, 1]
    # One row may meet many columns and the other way: the middle of every run is a point of the path.
    rows = np.unique(i)
    middle = np.array([j[i == row].mean() for row in rows])
    x, y = rows * student.step_s, middle * reference.step_s
    count = max(2, round((x[-1] - x[0]) / settings.knot_s) + 1)
    knots = np.linspace(x[0], x[-1], count) if x[-1] > x[0] else np.array([x[0], x[0] + student.step_s])
    values = np.interp(knots, x, y)
    half = settings.knot_s / 2
    for k in range(1, count - 1):
        near = np.abs(x - knots[k]) <= half
        if near.sum() > 2:
            # A straight line through the neighbourhood: the staircase's own corners are not information.
            away, height = x[near] - knots[k], y[near]
            middle_away = away - away.mean()
            slope = middle_away @ height / (middle_away @ middle_away)
            values[k] = height.mean() - slope * away.mean()
    values = increasing(values, np.diff(knots), settings.slope_low, settings.slope_high)
    time = student.time_s
    inside = PchipInterpolator(knots, values)(np.clip(time, knots[0], knots[-1]))
    outside = np.minimum(time - knots[0], 0.0) + np.maximum(time - knots[-1], 0.0)
    return np.asarray(inside + outside, np.float64)


def increasing(values: FloatArray, steps: FloatArray, low: float, high: float) -> FloatArray:
    """The nearest series (least squares) whose slopes lie within low … high.

    Parameters
    ----------
    values : (N,) float
    steps : (N − 1,) float, > 0
        Distance between the points on the other axis.
    low, high : float, 0 < low < high

    Notes
    -----
    Isotonic regression of values − low·x, then of high·x − values, in turn until both hold (Dykstra's alternating
    projections; pool-adjacent-violators).
    """
    from scipy.optimize import isotonic_regression

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


def refine(
    warp: FloatArray, student: Features, reference: Features, joint_weight: FloatArray, settings: AlignSettings
) -> FloatArray:
    """Gauss-Newton on the warp itself: weighted squared feature differences plus its curvature.

    Minimises  Σᵢ h Σⱼ ωᵢⱼ (|aⱼ(tᵢ) − bⱼ(wᵢ)|² + v² |a'ⱼ(tᵢ) − b'ⱼ(wᵢ)|²)  +  λ ∫ w''²,  with ω the product of the
    joint's weight and of both sides' support, so that a guessed joint decides nothing where others are seen. Each
    step solves a banded system of bandwidth 5 and keeps the slopes within their limits.

    Parameters
    ----------
    warp : (N,) float, s, strictly increasing
    joint_weight : (J,) float

    Returns
    -------
    (N,) float, s, strictly increasing
    """
    from scipy.linalg import solveh_banded

    h = student.step_s
    penalty = curvature_bands(len(warp)) * (settings.stiffness / h**3)
    a = _stacked(student, settings)
    b = _stacked(reference, settings)
    slope_of_b = np.gradient(b, reference.step_s, axis=0)
    reference_time = reference.time_s
    current = np.asarray(warp, np.float64)
    energy = math.inf
    for _ in range(settings.refine_steps):
        position = np.clip(current, 0.0, reference_time[-1]) / reference.step_s
        there, rate = _at(b, position), _at(slope_of_b, position)
        inside = (current >= 0.0) & (current <= reference_time[-1])
        omega = joint_weight * student.weight * _at(reference.weight, position) * inside[:, None]
        weight = np.repeat(omega, a.shape[1] // omega.shape[1], axis=1)
        residual = a - there
        new_energy = h * float(np.sum(weight * residual**2)) + _quadratic(penalty, current)
        if new_energy > energy * (1 - 1e-6):
            break
        energy = new_energy
        bands = penalty.copy()
        bands[2] += h * np.sum(weight * rate**2, axis=1) + 1e-9 * penalty[2].max()
        pull = h * np.sum(weight * rate * residual, axis=1) - _banded_product(penalty, current)
        step = solveh_banded(bands, pull, check_finite=False)
        size = float(np.max(np.abs(step)))
        step *= min(1.0, 0.05 / size) if size > 0 else 1.0
        current = increasing(current + step, np.full(len(warp) - 1, h), settings.slope_low, settings.slope_high)
        if size < 1e-5:
            break
    return current


def _stacked(features: Features, settings: AlignSettings) -> FloatArray:
    # (G, J·4), the joint running slowest, so that one weight a joint repeats over its four columns.
    both = np.concatenate([features.place, features.velocity * settings.features.velocity_s], axis=2)
    return np.asarray(both.reshape(len(features), -1), np.float64)


def _at(series: FloatArray, position: FloatArray) -> FloatArray:
    left = np.minimum(position.astype(int), len(series) - 2)
    share = (position - left)[:, None]
    return np.asarray(series[left] * (1.0 - share) + series[left + 1] * share, np.float64)


def _banded_product(bands: FloatArray, x: FloatArray) -> FloatArray:
    result = bands[2] * x
    for offset in (1, 2):
        values = bands[2 - offset, offset:]
        result[:-offset] += values * x[offset:]
        result[offset:] += values * x[:-offset]
    return np.asarray(result, np.float64)


def _quadratic(bands: FloatArray, x: FloatArray) -> float:
    return float(x @ _banded_product(bands, x))
