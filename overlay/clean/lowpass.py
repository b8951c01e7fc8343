"""Smoothing without lag: a Butterworth low-pass run forwards and backwards, by region, in real Hz.

Source: D. A. Winter, Biomechanics and Motor Control of Human Movement, 4th ed. 2009, ch. 3: the filter run both ways
has no phase shift; its cut-off falls by the factor (2^(1/passes) − 1)^(1/4) for a second-order filter, which is made
good beforehand; the residual analysis for choosing a cut-off.
"""

from __future__ import annotations

import numpy as np

from overlay.arrays import FloatArray
from overlay.clean.jumps import runs
from overlay.clean.work import REGIONS, Work
from overlay.errors import DataError
from overlay.settings.clean import CleanSettings

ORDER = 2
BOTH_WAYS = (2.0**0.5 - 1.0) ** 0.25
"""0.802: what running a second-order filter both ways multiplies its cut-off by."""

HIGHEST = 0.95
"""Of half the sampling rate. A cut-off above it leaves nothing to remove: the values stay as they are."""

FEWEST = 5
"""Frames. A shorter stretch cannot tell movement from noise."""


def smooth(work: Work, settings: CleanSettings) -> None:
    """Low-pass every joint, each stretch without gaps on its own, so that a gap never spreads."""
    cutoffs = {
        "hand": settings.hand_cutoff_hz,
        "elbow": settings.elbow_cutoff_hz,
        "leg": settings.body_cutoff_hz,
        "trunk": settings.body_cutoff_hz,
    }
    rate = 1.0 / work.step_s
    for region, joints in REGIONS.items():
        for joint in joints:
            for first, after in runs(np.isfinite(work.points[:, joint, 0])):
                stretch = slice(first, after)
                work.points[stretch, joint] = low_pass(
                    work.points[stretch, joint], work.real_s[stretch], cutoffs[region], settings.uneven_share
                )
    done = {name: hz for name, hz in cutoffs.items() if hz / BOTH_WAYS < HIGHEST * rate / 2}
    if done:
        words = ", ".join(f"{name} {hz:g} Hz" for name, hz in done.items())
        work.log.append(f"low-pass without lag at {rate:.0f} frames per real second: {words}")
    for name in (name for name in cutoffs if name not in done):
        work.log.append(f"low-pass: {name} left as it is, {rate:.0f} frames per real second are too few")


def low_pass(values: FloatArray, time_s: FloatArray, cutoff_hz: float, uneven_share: float = 0.05) -> FloatArray:
    """Zero-lag low-pass of a stretch without gaps.

    Parameters
    ----------
    values : (T, ...) float, all finite
    time_s : (T,) float, strictly increasing, seconds
        Uneven times are resampled to an even grid by a cubic spline and back.
    cutoff_hz : float
        Where the amplitude is 1/√2 after both passes.
    uneven_share : float
        Spacing that differs by more than this share counts as uneven.

    Returns
    -------
    (T, ...) float
        Unchanged when there are fewer than ``FEWEST`` frames or the cut-off is above what the rate can show.

    Raises
    ------
    DataError
        A value is missing, the cut-off is not positive, or the lengths differ.
    """
    values = np.asarray(values, np.float64)
    if len(values) != len(time_s):
        raise DataError(f"{len(values)} values do not fit {len(time_s)} times.", "Give one time for each frame.")
    if not cutoff_hz > 0:
        raise DataError(f"A cut-off of {cutoff_hz} Hz is not positive.", "Give a frequency in Hz.")
    if not np.all(np.isfinite(values)):
        raise DataError("Values to be smoothed are missing.", "Smooth each stretch between gaps on its own.")
    if len(values) < FEWEST:
        return values
    steps = np.diff(time_s)
    step = float(np.mean(steps))
    if np.max(np.abs(steps - np.median(steps))) <= uneven_share * np.median(steps):
        return _filtered(values, 1.0 / step, cutoff_hz)

    from scipy.interpolate import CubicSpline, PchipInterpolator

    # Twice as fine as the typical spacing: what the spline adds stays far above the cut-off.
    fine = float(np.median(steps)) / 2
    grid = np.linspace(time_s[0], time_s[-1], max(FEWEST, round((time_s[-1] - time_s[0]) / fine) + 1))
    even_step = float(grid[1] - grid[0])
    if cutoff_hz / BOTH_WAYS >= HIGHEST * 0.5 / float(np.median(steps)):
        return values
    # A long frame in between lets a plain spline overshoot.
    kind = PchipInterpolator if np.max(steps) > 3 * np.median(steps) else CubicSpline
    even = _filtered(kind(time_s, values, axis=0)(grid), 1.0 / even_step, cutoff_hz)
    return np.asarray(CubicSpline(grid, even, axis=0)(time_s), np.float64)


def _filtered(values: FloatArray, rate_hz: float, cutoff_hz: float) -> FloatArray:
    from scipy.signal import butter, sosfiltfilt

    corrected = cutoff_hz / BOTH_WAYS
    if corrected >= HIGHEST * rate_hz / 2:
        return values
    sections = butter(ORDER, corrected, fs=rate_hz, output="sos")
    # The ends are mirrored for as long as the filter remembers.
    ahead = min(len(values) - 1, max(9, round(1.5 * rate_hz / cutoff_hz)))
    return np.asarray(sosfiltfilt(sections, values, axis=0, padtype="odd", padlen=ahead), np.float64)


def residuals(values: FloatArray, time_s: FloatArray, cutoffs_hz: FloatArray) -> FloatArray:
    """(K,) root mean square of what each cut-off removes; all axes after the first are pooled.

    Raises
    ------
    DataError
        As ``low_pass``.
    """
    return np.array([float(np.sqrt(np.mean((values - low_pass(values, time_s, float(hz))) ** 2))) for hz in cutoffs_hz])


def chosen_cutoff_hz(values: FloatArray, time_s: FloatArray, lowest_hz: float = 1.0, step_hz: float = 0.5) -> float:
    """A cut-off by residual analysis (Winter 2009, section 3.4.4.3).

    Above the movement's own frequencies the residual falls along a straight line, the noise. That line, drawn back
    to 0 Hz, is the size of the noise; the cut-off is where the residual has come down to it.

    Parameters
    ----------
    values : (T, ...) float, all finite
    time_s : (T,) float
    lowest_hz, step_hz : float
        The cut-offs tried: from lowest to 0.8 of what the rate can show.

    Raises
    ------
    DataError
        The stretch is too short or too coarse to try at least ten cut-offs.
    """
    rate = 1.0 / float(np.median(np.diff(time_s)))
    tried = np.arange(lowest_hz, 0.8 * HIGHEST * BOTH_WAYS * rate / 2, step_hz)
    if len(tried) < 10 or len(values) < 3 * FEWEST:
        raise DataError(
            f"{len(values)} frames at {rate:.0f} per second are too few for a residual analysis.",
            "Use a longer stretch or a higher frame rate.",
        )
    residual = residuals(values, time_s, tried)
    tail = slice(len(tried) * 6 // 10, None)
    slope, intercept = np.polyfit(tried[tail], residual[tail], 1)
    below = np.flatnonzero(residual <= intercept)
    return float(tried[below[0]]) if slope < 0 and len(below) else float(tried[0])
