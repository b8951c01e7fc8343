"""Reading a series of frames at one time, or over a stretch, and what that reading is unsure by.

One way of reading serves slow and fast positions alike: through the few frames around the time a straight line is
laid whose slope is the median of all pairwise slopes and whose height is the median of the frames taken along it to
that time (Theil 1950, Sen 1968). Where the body stands nearly still this is a median over the frames; where the club
is fast it interpolates to the position's exact time; a single bad frame moves neither.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import BoolArray, FloatArray, IntArray
from overlay.errors import DataError


@dataclass(frozen=True)
class Reading:
    """A value at a time.

    Attributes
    ----------
    value : float
    slope : float
        Rate of change per playback second.
    frames : (K,) int
        Rows it was read from.
    scatter : float
        Median distance of these rows from the line, as a standard deviation; 0 with fewer than three rows.
    gap_s : float
        Unmeasured stretch that was bridged, playback s; 0 when the frames beside the time are measured.
    """

    value: float
    slope: float
    frames: IntArray
    scatter: float
    gap_s: float


def theil_sen(x: FloatArray, y: FloatArray) -> float:
    """Median of the slopes between all pairs of points (Theil 1950, Sen 1968); 0 for a single point.

    Raises
    ------
    DataError
        Lengths differ, no points, or x is not strictly increasing.
    """
    if len(x) != len(y) or not len(x):
        raise DataError(f"A slope needs as many values as times, not {len(y)} and {len(x)}.", "Give one value a time.")
    if np.any(np.diff(x) <= 0):
        raise DataError("The times of a slope are not increasing.", "Sort them and drop doubles.")
    if len(x) == 1:
        return 0.0
    i, j = np.triu_indices(len(x), 1)
    return float(np.median((y[j] - y[i]) / (x[j] - x[i])))


def read_at(
    time_s: FloatArray,
    values: FloatArray,
    at_s: float,
    *,
    window_s: float,
    slope_window_s: float,
    bridge_s: float,
    edge_s: float,
) -> Reading | None:
    """The value of a series (T,) at a time, or None when it was not measured around it.

    Parameters
    ----------
    time_s, values : (T,) float
        NaN where not measured.
    at_s : float
    window_s : float
        To each side; at least one frame.
    slope_window_s : float
        To each side, for the rate of change.
    bridge_s : float
        Longest stretch without measured frames around the time that is bridged, from both sides.
    edge_s : float
        How far beyond the last measured frame a value is still told.
    """
    seen = np.flatnonzero(np.isfinite(values))
    if not len(seen) or len(time_s) < 2:
        return None
    step_s = float(np.median(np.diff(time_s)))
    before, after = seen[time_s[seen] <= at_s], seen[time_s[seen] > at_s]
    nearest_s = float(np.min(np.abs(time_s[seen] - at_s)))
    spare_s = max(edge_s, 0.51 * step_s)
    if not len(before) or not len(after):
        if nearest_s > spare_s:
            return None
        gap_s = 0.0
    else:
        gap_s = float(time_s[after[0]] - time_s[before[-1]])
        if gap_s > 1.5 * step_s and gap_s > bridge_s and nearest_s > spare_s:
            return None
        gap_s = gap_s if gap_s > 1.5 * step_s else 0.0
    reach_s = max(window_s, 1.05 * step_s)
    rows = seen[np.abs(time_s[seen] - at_s) <= reach_s]
    if gap_s:
        # The two measured frames nearest to the gap on either side carry the line across it.
        rows = np.union1d(rows, np.concatenate([before[-2:], after[:2]]))
        rows = rows[np.abs(time_s[rows] - at_s) <= max(reach_s, gap_s)]
    x, y = time_s[rows] - at_s, values[rows]
    slope = theil_sen(x, y)
    along = y - slope * x
    value = float(np.median(along))
    scatter = 1.4826 * float(np.median(np.abs(along - value))) if len(rows) >= 3 else 0.0
    wide = seen[np.abs(time_s[seen] - at_s) <= max(slope_window_s, 2.05 * step_s)]
    rate = theil_sen(time_s[wide], values[wide]) if len(wide) > 1 else slope
    return Reading(value, rate, np.asarray(rows, np.int64), scatter, gap_s)


def interpolated(
    time_s: FloatArray, values: FloatArray, at_s: FloatArray, *, bridge_s: float, edge_s: float
) -> FloatArray:
    """A series (T,) on straight lines between its measured frames, at times (N,).

    NaN where the measured frames to both sides are further apart than ``bridge_s`` (or two frames, if that is more),
    unless one of them is within half a frame; and where the time lies more than ``edge_s`` (or half a frame) before
    the first or after the last of them.
    """
    seen = np.flatnonzero(np.isfinite(values))
    if not len(seen) or len(time_s) < 2:
        return np.full(len(at_s), np.nan)
    step_s = float(np.median(np.diff(time_s)))
    t, x = time_s[seen], values[seen]
    after = np.clip(np.searchsorted(t, at_s), 1, max(1, len(t) - 1))
    good = np.ones(len(at_s), bool) if len(t) == 1 else t[after] - t[after - 1] <= max(bridge_s, 2.05 * step_s)
    nearest = np.min(np.abs(at_s[:, None] - t[None, :]), axis=1)
    outside = (at_s < t[0]) | (at_s > t[-1])
    good = np.where(outside, nearest <= max(edge_s, 0.51 * step_s), good | (nearest <= 0.51 * step_s))
    return np.where(good, np.interp(at_s, t, x), np.nan)


def stretch(time_s: FloatArray, start_s: float, stop_s: float) -> BoolArray:
    """(T,) frames within a stretch of time, with half a frame to spare at either end."""
    step_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 0.0
    return np.asarray((time_s >= start_s - 0.5 * step_s) & (time_s <= stop_s + 0.5 * step_s), np.bool_)
