"""Smooth curves through key values, and smooth monotone clocks.

Key values are joined by a monotone cubic (Fritsch & Carlson 1980, SIAM J Numer Anal 17:238: it never overshoots a
key), smoothed by a Gaussian, and carried by a uniform cubic B-spline: twice continuously differentiable by build.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import DataError

GRID_S = 0.002


def monotone_cubic(x: FloatArray, y: FloatArray, at: FloatArray) -> FloatArray:
    """Monotone piecewise cubic through (x, y), constant outside.

    Parameters
    ----------
    x : (K,) float, strictly increasing
    y : (K,) float
    at : (N,) float

    Returns
    -------
    (N,) float

    Raises
    ------
    DataError
        x is not strictly increasing, or the shapes differ.
    """
    if x.shape != y.shape or x.ndim != 1 or len(x) < 2 or np.any(np.diff(x) <= 0):
        raise DataError("Key times are not strictly increasing.", "Give at least two keys in time order.")
    width = np.diff(x)
    secant = np.diff(y) / width
    slope = np.zeros_like(y)
    if len(x) > 2:
        left, right = secant[:-1], secant[1:]
        w1, w2 = 2 * width[1:] + width[:-1], width[1:] + 2 * width[:-1]
        same = left * right > 0
        safe_left, safe_right = np.where(same, left, 1.0), np.where(same, right, 1.0)
        slope[1:-1] = np.where(same, (w1 + w2) / (w1 / safe_left + w2 / safe_right), 0.0)
    # End slopes stay zero: every movement here starts and ends at rest.
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    u = np.clip((at - x[i]) / width[i], 0.0, 1.0)
    h = width[i]
    value: FloatArray = (
        y[i] * (1 + 2 * u) * (1 - u) ** 2
        + slope[i] * h * u * (1 - u) ** 2
        + y[i + 1] * u * u * (3 - 2 * u)
        + slope[i + 1] * h * u * u * (u - 1)
    )
    return value


class Curves:
    """Many named smooth curves over one variable.

    Parameters
    ----------
    start, stop : float
        Range; the curves are constant outside.
    """

    def __init__(self, start: float, stop: float) -> None:
        self.start = start
        self.grid = np.arange(start - 4 * GRID_S, stop + 6 * GRID_S, GRID_S)
        self.names: list[str] = []
        self._rows: list[FloatArray] = []
        self._table: FloatArray | None = None

    def add(
        self, name: str, keys: Sequence[tuple[float, float]], sigma: float, extra: FloatArray | None = None
    ) -> None:
        """Add a curve through ``keys`` (x, value), smoothed by a Gaussian of ``sigma`` (same unit as x)."""
        x, y = np.array(keys, dtype=np.float64).T
        row = monotone_cubic(x, y, self.grid)
        if extra is not None:
            row = row + extra
        reach = max(1, int(4 * sigma / GRID_S))
        kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * GRID_S / sigma) ** 2)
        row = np.convolve(np.pad(row, reach, mode="edge"), kernel / kernel.sum(), mode="valid")
        self.set(name, row)

    def set(self, name: str, row: FloatArray) -> None:
        """Add or replace a curve by its control points on ``grid``."""
        if name in self.names:
            self._rows[self.names.index(name)] = row
        else:
            self.names.append(name)
            self._rows.append(row)
        self._table = None

    def row(self, name: str) -> FloatArray:
        """(G,) control points of one curve."""
        return self._rows[self.names.index(name)]

    def at(self, x: FloatArray) -> dict[str, FloatArray]:
        """Values of all curves at ``x`` (N,): name → (N,)."""
        if self._table is None:
            self._table = np.array(self._rows).T
        table = self._table
        place = np.clip((x - self.grid[0]) / GRID_S, 1.0, len(self.grid) - 3.0)
        i = np.clip(np.floor(place).astype(np.int64), 1, len(self.grid) - 3)
        u = (place - i)[:, None]
        value = (
            (1 - u) ** 3 * table[i - 1]
            + (3 * u**3 - 6 * u**2 + 4) * table[i]
            + (-3 * u**3 + 3 * u**2 + 3 * u + 1) * table[i + 1]
            + u**3 * table[i + 2]
        ) / 6.0
        return {name: value[:, k] for k, name in enumerate(self.names)}


class Clock:
    """A strictly increasing, twice continuously differentiable map through given pairs, with its inverse.

    Between the knots a quintic with zero second derivative at the knots; outside, straight lines go on
    with the end slopes.

    Parameters
    ----------
    time_s : (K,) float, strictly increasing
    phase_s : (K,) float, strictly increasing

    Raises
    ------
    DataError
        Fewer than two pairs, not increasing, or so uneven that the map would run backwards.
    """

    def __init__(self, time_s: Sequence[float], phase_s: Sequence[float]) -> None:
        self.x = np.array(time_s, dtype=np.float64)
        self.y = np.array(phase_s, dtype=np.float64)
        if (
            self.x.shape != self.y.shape
            or len(self.x) < 2
            or np.any(np.diff(self.x) <= 0)
            or np.any(np.diff(self.y) <= 0)
        ):
            raise DataError("A clock needs at least two pairs, both increasing.", "Make every duration positive.")
        secant = np.diff(self.y) / np.diff(self.x)
        joined = np.concatenate([[1.0], secant, [1.0]])
        # Harmonic means stay below twice the smaller secant, which keeps the quintic monotone.
        self.slope = 2 / (1 / joined[:-1] + 1 / joined[1:])
        if np.any(self.rate(np.linspace(self.x[0], self.x[-1], 40 * len(self.x))) <= 0):
            raise DataError("The durations are too uneven for a smooth clock.", "Make neighbouring phases more alike.")

    def _piece(self, t: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
        i = np.clip(np.searchsorted(self.x, t, side="right") - 1, 0, len(self.x) - 2)
        h = self.x[i + 1] - self.x[i]
        return (t - self.x[i]) / h, h, self.y[i], self.y[i + 1] - self.y[i], self.slope[i] * h, self.slope[i + 1] * h

    def __call__(self, t: FloatArray) -> FloatArray:
        """Phase at time ``t`` (N,)."""
        t = np.asarray(t, dtype=np.float64)
        u, _, y0, d, m0, m1 = self._piece(t)
        u3 = u**3
        inside = (
            y0
            + m0 * u
            + u3 * ((10 * d - 6 * m0 - 4 * m1) + u * ((-15 * d + 8 * m0 + 7 * m1) + u * (6 * d - 3 * m0 - 3 * m1)))
        )
        before = self.y[0] + self.slope[0] * (t - self.x[0])
        after = self.y[-1] + self.slope[-1] * (t - self.x[-1])
        result: FloatArray = np.where(t < self.x[0], before, np.where(t > self.x[-1], after, inside))
        return result

    def rate(self, t: FloatArray) -> FloatArray:
        """d phase / d time at ``t`` (N,)."""
        t = np.asarray(t, dtype=np.float64)
        u, h, _, d, m0, m1 = self._piece(t)
        u2 = u * u
        slope = (
            m0
            + u2
            * (
                3 * (10 * d - 6 * m0 - 4 * m1)
                + u * (4 * (-15 * d + 8 * m0 + 7 * m1) + u * 5 * (6 * d - 3 * m0 - 3 * m1))
            )
        ) / h
        result: FloatArray = np.where(t < self.x[0], self.slope[0], np.where(t > self.x[-1], self.slope[-1], slope))
        return result

    def inverse(self, phase: FloatArray) -> FloatArray:
        """Time at ``phase`` (N,), to 1e-12 s."""
        phase = np.asarray(phase, dtype=np.float64)
        low = np.interp(phase, self.y, self.x)
        low = np.where(phase < self.y[0], self.x[0] + (phase - self.y[0]) / self.slope[0], low)
        t = np.where(phase > self.y[-1], self.x[-1] + (phase - self.y[-1]) / self.slope[-1], low)
        i = np.clip(np.searchsorted(self.y, phase, side="right") - 1, 0, len(self.y) - 2)
        floor, ceiling = self.x[i].copy(), self.x[i + 1].copy()
        outside = (phase < self.y[0]) | (phase > self.y[-1])
        for _ in range(60):
            error = self(t) - phase
            floor = np.where(error < 0, t, floor)
            ceiling = np.where(error > 0, t, ceiling)
            step = t - error / np.maximum(self.rate(t), 1e-9)
            halved = 0.5 * (floor + ceiling)
            t_new = np.where((step >= floor) & (step <= ceiling), step, halved)
            t_new = np.where(outside, t, t_new)
            if np.all(np.abs(t_new - t) < 1e-13):
                break
            t = t_new
        return t
