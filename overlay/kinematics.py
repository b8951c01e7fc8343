"""Body geometry over time: lengths, angles, speeds and the path of the hands.

Everything works on pixel tracks in picture axes (x right, y down) and on NaN: a missing joint makes the values
that need it missing and nothing else. Speeds are central differences over the true frame times, never over an
assumed frame rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import AnyArray, BoolArray, FloatArray
from overlay.data import PoseTrack
from overlay.errors import DataError
from overlay.landmarks import INDEX

FAR_APART = 0.6
"""Wrists further apart than this many torso lengths are not both on one grip: one of them is a wrong guess."""

FAR_REACH = 1.9
"""A wrist further from its shoulder than this many torso lengths is not a wrist (arm without hand ÷ torso is 1.15 in
Drillis & Contini's proportions; a torso bent towards the camera looks shorter)."""

LEAST_WEIGHT = 0.02
"""Weight of a wrist the pose model says it cannot see: used only where the other one is no better."""


def angle_deg(first: FloatArray, vertex: FloatArray, last: FloatArray) -> FloatArray:
    """Angle at ``vertex`` between the rays to ``first`` and ``last``.

    Parameters
    ----------
    first, vertex, last : (..., D) float, same shape

    Returns
    -------
    (...) float, degrees, 0–180; NaN where a point is missing or two of them fall together.

    Raises
    ------
    DataError
        The shapes differ.
    """
    if not first.shape == vertex.shape == last.shape:
        raise DataError(
            f"The three points of an angle have shapes {first.shape}, {vertex.shape} and {last.shape}.",
            "Give three arrays of one shape.",
        )
    a, b = first - vertex, last - vertex
    length = np.linalg.norm(a, axis=-1) * np.linalg.norm(b, axis=-1)
    with np.errstate(invalid="ignore", divide="ignore"):
        cosine = np.sum(a * b, axis=-1) / np.where(length > 0, length, np.nan)
    return np.asarray(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0))), np.float64)


def direction_deg(start: FloatArray, end: FloatArray) -> FloatArray:
    """Direction from ``start`` to ``end``, degrees clockwise from the picture's +x axis, in (−180, 180].

    Parameters
    ----------
    start, end : (..., 2) float, px
    """
    delta = end - start
    return np.asarray(np.degrees(np.arctan2(delta[..., 1], delta[..., 0])), np.float64)


def unwrap_deg(angles_deg: FloatArray) -> FloatArray:
    """Continuous version of a (T,) series of directions; NaN stay NaN and do not break the series."""
    result = np.asarray(angles_deg, np.float64).copy()
    seen = np.isfinite(result)
    result[seen] = np.unwrap(result[seen], period=360.0)
    return result


def derivative(values: FloatArray, time_s: FloatArray) -> FloatArray:
    """Rate of change per second along the first axis.

    Central differences on uneven times: the slope of the parabola through a frame and its neighbours, so a
    quadratic is differentiated exactly. One-sided at the ends. A frame whose neighbour is missing gets NaN.

    Parameters
    ----------
    values : (T, ...) float
    time_s : (T,) float, strictly increasing

    Raises
    ------
    DataError
        Fewer than two frames, or lengths differ.
    """
    values = np.asarray(values, np.float64)
    if len(values) != len(time_s) or len(values) < 2:
        raise DataError(
            f"A rate of change needs as many values as times and at least two, not {len(values)} and {len(time_s)}.",
            "Give one value a frame.",
        )
    return np.asarray(np.gradient(values, time_s, axis=0), np.float64)


def speed(points: FloatArray, time_s: FloatArray) -> FloatArray:
    """Length of the velocity of ``points`` (T, ..., D), units of the points per second, (T, ...)."""
    return np.asarray(np.linalg.norm(derivative(points, time_s), axis=-1), np.float64)


def midpoint(track: PoseTrack, joint: str) -> FloatArray:
    """(T, 2) px midway between the left and right ``joint``."""
    return np.asarray((track.joint(f"left_{joint}") + track.joint(f"right_{joint}")) / 2, np.float64)


def torso_lengths(track: PoseTrack) -> FloatArray:
    """(T,) px from the midpoint of the shoulders to the midpoint of the hips, as seen in the picture."""
    return np.asarray(np.linalg.norm(midpoint(track, "shoulder") - midpoint(track, "hip"), axis=-1), np.float64)


def torso_length(track: PoseTrack) -> float:
    """Median of ``torso_lengths`` over the frames in which it is seen, px; NaN when never seen."""
    lengths = torso_lengths(track)
    return float(np.median(lengths[np.isfinite(lengths)])) if np.any(np.isfinite(lengths)) else float("nan")


def segment_length(track: PoseTrack, start: str, end: str) -> FloatArray:
    """(T,) px between two landmarks."""
    return np.asarray(np.linalg.norm(track.joint(start) - track.joint(end), axis=-1), np.float64)


def body_height(track: PoseTrack) -> FloatArray:
    """(T,) px from the nose to the midpoint of the ankles, vertically."""
    return np.asarray(midpoint(track, "ankle")[:, 1] - track.joint("nose")[:, 1], np.float64)


def interpolated(values: FloatArray, time_s: FloatArray) -> FloatArray:
    """A (T,) series with its gaps bridged by straight lines and its ends held; all NaN stays all NaN."""
    seen = np.isfinite(values)
    if not np.any(seen):
        return np.asarray(values, np.float64)
    return np.asarray(np.interp(time_s, time_s[seen], values[seen]), np.float64)


def mean_seen(values: FloatArray, axis: int = 0) -> FloatArray:
    """Mean over the finite values along an axis; NaN, without a warning, where there are none."""
    seen = np.isfinite(values)
    count = seen.sum(axis=axis)
    total = np.where(seen, values, 0.0).sum(axis=axis)
    return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan), np.float64)


def median_seen(values: FloatArray) -> FloatArray:
    """Median over the finite values along the first axis; NaN, without a warning, where there are none.

    >>> median_seen(np.array([[1.0, np.nan], [4.0, np.nan], [np.nan, np.nan], [2.0, np.nan]]))
    array([ 2., nan])
    """
    if not len(values):
        return np.full(values.shape[1:], np.nan)
    ranked = np.sort(np.where(np.isfinite(values), values, np.nan), axis=0)  # NaN sort last
    count = np.isfinite(ranked).sum(axis=0)
    low, high = np.maximum(count - 1, 0) // 2, count // 2
    low, high = (np.minimum(index, len(ranked) - 1)[None] for index in (low, high))
    middle = (np.take_along_axis(ranked, low, axis=0) + np.take_along_axis(ranked, high, axis=0))[0] / 2
    return np.asarray(np.where(count > 0, middle, np.nan), np.float64)


@dataclass(frozen=True)
class HandPath:
    """Where the two hands on the grip are.

    Attributes
    ----------
    points : (T, 2) float, px
        The middle of the wrists, leaning to the one that is better seen; NaN where neither is.
    trust : (T,) float, 0–1
        Visibility of the better wrist; 0 where missing or only filled in.
    """

    points: FloatArray
    trust: FloatArray


def hand_path(track: PoseTrack) -> HandPath:
    """The path of the grip, from both wrists.

    Each wrist counts by the square of its visibility, so that a far arm the model only guesses does not pull the
    hands off the near one. Wrists further apart than ``FAR_APART`` torso lengths cannot both hold the club: there
    the better seen one is taken alone.
    """
    scale = torso_length(track)
    names = ("left_wrist", "right_wrist")
    points = np.stack([track.joint(name) for name in names], axis=1)
    visibility = np.stack([track.visibility[:, INDEX[name]] for name in names], axis=1)
    filled = np.stack([track.filled[:, INDEX[name]] for name in names], axis=1)
    visibility = np.where(filled, 0.3 * visibility, visibility)
    weight = np.clip(visibility, LEAST_WEIGHT, 1.0) ** 2
    shoulders = np.stack([track.joint(name) for name in ("left_shoulder", "right_shoulder")], axis=1)
    too_far = np.linalg.norm(points - shoulders, axis=-1) > FAR_REACH * scale
    weight = np.where(too_far, LEAST_WEIGHT**3, weight)
    weight = _smoothed_weights(weight)
    gap = np.linalg.norm(points[:, 0] - points[:, 1], axis=-1)
    better = np.argmax(weight, axis=1)
    alone = np.zeros_like(weight)
    alone[np.arange(len(weight)), better] = 1.0
    weight = np.where((gap > FAR_APART * scale)[:, None], alone, weight)
    seen = np.isfinite(points[..., 0])
    weight = np.where(seen, weight, 0.0)
    total = weight.sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        path = np.where(
            (total > 0)[:, None], (weight[..., None] * np.nan_to_num(points)).sum(axis=1) / total[:, None], np.nan
        )
    trust = np.max(np.where(seen, visibility, 0.0), axis=1)
    return HandPath(np.asarray(path, np.float64), np.asarray(np.clip(trust, 0.0, 1.0), np.float64))


def _smoothed_weights(weight: FloatArray) -> FloatArray:
    # A weight that jumps makes the hands jump by the distance between the wrists: three frames of running mean.
    if len(weight) < 3:
        return weight
    padded = np.concatenate([weight[:1], weight, weight[-1:]])
    return np.asarray((padded[:-2] + padded[1:-1] + padded[2:]) / 3, np.float64)


def local_scale(track: PoseTrack, window_frames: int) -> FloatArray:
    """(T,) px: torso length of the upright player around each frame.

    The upper quartile over a moving window: bending down to place a ball shortens the torso in the picture, and a
    player who walks in grows with it. Never below a third of the recording's median.
    """
    from scipy.ndimage import percentile_filter

    lengths = interpolated(torso_lengths(track), track.time_s)
    typical = float(np.median(lengths))
    size = int(np.clip(window_frames, 1, len(lengths)))
    return np.asarray(np.maximum(percentile_filter(lengths, 75, size=size), typical / 3), np.float64)


@dataclass(frozen=True)
class BodySignals:
    """A recording reduced to the few series from which swings are found, in torso lengths.

    Attributes
    ----------
    time_s : (T,) float
    scale_px : (T,) float
        Torso length around each frame.
    hands : (T, 2) float
        Hands from the middle of the hips, x right and y **up**, gaps bridged.
    turn : (T,) float
        Left minus right shoulder along x: positive when the chest is seen, negative when the back is.
    hip_turn : (T,) float
        The same for the hips.
    trust : (T,) float
        How well the hands are seen.
    """

    time_s: FloatArray
    scale_px: FloatArray
    hands: FloatArray
    turn: FloatArray
    hip_turn: FloatArray
    trust: FloatArray


def body_signals(track: PoseTrack, window_s: float = 3.0) -> BodySignals:
    """Reduce a track; every value is finite when the hands, hips and shoulders are seen at least once."""
    time_s = track.time_s
    step_s = float(np.median(np.diff(time_s))) if len(time_s) > 1 else 1.0
    scale = local_scale(track, int(window_s / step_s))
    path = hand_path(track)
    hips = midpoint(track, "hip")
    hips = np.stack([interpolated(hips[:, axis], time_s) for axis in (0, 1)], axis=1)
    offset = (path.points - hips) / scale[:, None]
    hands = np.stack([interpolated(offset[:, 0], time_s), -interpolated(offset[:, 1], time_s)], axis=1)
    turn = (track.joint("left_shoulder")[:, 0] - track.joint("right_shoulder")[:, 0]) / scale
    hip_turn = (track.joint("left_hip")[:, 0] - track.joint("right_hip")[:, 0]) / scale
    return BodySignals(time_s, scale, hands, interpolated(turn, time_s), interpolated(hip_turn, time_s), path.trust)


@dataclass(frozen=True)
class Pass:
    """One sweep of the hands from high, through low, to high again, as a downswing and through-swing make it.

    Attributes
    ----------
    before_s : float
        Highest hands before the sweep.
    low_s : float
        Lowest hands.
    after_s : float
        Highest hands after it, or the last frame.
    first, low, last : int
        Frame indices of the three.
    turned : float
        Range of ``BodySignals.turn`` or ``hip_turn``, whichever is larger, from before to after, torso lengths.
    peak_speed : float
        Fastest hands between ``before_s`` and the rise, torso lengths per second.
    still_share : float
        Share of the low stretch in which the hands hardly move: near 0 in a strike, large at an address.
    rises : float
        Height of the hands at ``before_s`` and ``after_s`` above ``low_s``: the smaller, torso lengths.
    """

    before_s: float
    low_s: float
    after_s: float
    first: int
    low: int
    last: int
    turned: float
    peak_speed: float
    still_share: float
    rises: float


def find_passes(signals: BodySignals, *, high: float, rise: float, still: float) -> tuple[Pass, ...]:
    """Every sweep high → low → high of the hands, in time order; what is a swing is decided by the caller.

    Parameters
    ----------
    signals : BodySignals
    high : float
        Hands count as high above this height over the hips, torso lengths.
    rise : float
        Least drop from either side to the bottom, torso lengths.
    still : float
        Hands slower than this share of the sweep's peak speed are still.
    """
    from scipy.signal import find_peaks

    height, time_s = signals.hands[:, 1], signals.time_s
    n = len(height)
    if n < 5:
        return ()
    smooth = np.convolve(np.pad(height, 1, mode="edge"), [0.25, 0.5, 0.25], "valid")
    moving = speed(signals.hands, time_s)
    lows, _ = find_peaks(-smooth, prominence=rise * 0.5)
    found: list[Pass] = []
    for low in lows:
        above = smooth > max(high, smooth[low] + rise)
        before = np.flatnonzero(above[:low])
        after = np.flatnonzero(above[low:]) + low
        if not len(before):
            continue
        left = int(before[-1])
        first = _crest(smooth, above, left, -1)
        if len(after):
            right = int(after[0])
            last = _crest(smooth, above, right, 1)
        else:
            right = last = n - 1
        if np.min(smooth[left : right + 1]) < smooth[low] - 1e-9:
            continue
        stretch = moving[left : right + 1]
        peak = float(np.max(moving[first : right + 1]))
        turned = max(float(np.ptp(series[first : last + 1])) for series in (signals.turn, signals.hip_turn))
        found.append(
            Pass(
                before_s=float(time_s[first]),
                low_s=float(time_s[low]),
                after_s=float(time_s[last]),
                first=first,
                low=int(low),
                last=last,
                turned=turned,
                peak_speed=peak,
                still_share=float(np.mean(stretch < still * peak)) if peak > 0 else 1.0,
                rises=float(min(smooth[first], smooth[last]) - smooth[low]),
            )
        )
    return tuple(found)


def _crest(height: FloatArray, above: BoolArray, edge: int, step: int) -> int:
    """Index of the highest point of the stretch of ``above`` that starts at ``edge`` and runs along ``step``."""
    stop = edge
    while 0 <= stop + step < len(height) and above[stop + step]:
        stop += step
    low, high = sorted((edge, stop))
    return low + int(np.argmax(height[low : high + 1]))


def crossing_times(values: AnyArray, time_s: FloatArray, level: float, *, rising: bool) -> FloatArray:
    """Times at which a (T,) series passes ``level`` upwards (or downwards), s, by straight lines between frames.

    Raises
    ------
    DataError
        Lengths differ.
    """
    values = np.asarray(values, np.float64)
    if len(values) != len(time_s):
        raise DataError(f"{len(values)} values for {len(time_s)} times.", "Give one value a frame.")
    side = values - level if rising else level - values
    where = np.flatnonzero((side[:-1] < 0) & (side[1:] >= 0))
    fraction = -side[where] / (side[where + 1] - side[where])
    return np.asarray(time_s[where] + fraction * (time_s[where + 1] - time_s[where]), np.float64)


def behind_bar(low: FloatArray, high: FloatArray, radius: float, points: FloatArray, eye: FloatArray) -> FloatArray:
    """How far inside the outline of a round bar, and behind it, points in space lie as seen from ``eye``.

    Parameters
    ----------
    low, high : (T, 3) float, m
        Ends of the bar's axis.
    radius : float, m
    points : (T, P, 3) float, m
    eye : (3,) float, m

    Returns
    -------
    (T, P) float
        0 in full view … 1 hidden; soft over half a radius, so that a joint does not flicker.

    Examples
    --------
    A point behind the middle of a bar, and one half a metre beside it:

    >>> low, high = np.array([[0.0, 0.0, 0.0]]), np.array([[0.0, 0.0, 1.0]])
    >>> points = np.array([[[1.0, 0.0, 0.5], [1.0, 0.5, 0.5]]])
    >>> behind_bar(low, high, 0.1, points, np.array([-3.0, 0.0, 0.5])).tolist()
    [[1.0, 0.0]]
    """
    axis = (high - low)[:, None, :]
    sight = points - eye
    far = np.linalg.norm(sight, axis=-1)
    sight = sight / far[..., None]
    # Closest approach of the sight line to the bar's axis.
    gap = low[:, None, :] - eye
    a, b = np.sum(axis * axis, -1), np.sum(axis * sight, -1)
    d, e = np.sum(axis * gap, -1), np.sum(sight * gap, -1)
    share = np.clip((b * e - d) / np.maximum(a - b * b, 1e-9), 0.0, 1.0)
    near = gap + share[..., None] * axis
    along = np.sum(near * sight, -1)
    miss = np.linalg.norm(near - along[..., None] * sight, axis=-1)
    behind = (far - along) / radius - 0.5
    return np.asarray(np.clip((radius - miss) / (0.5 * radius), 0.0, 1.0) * np.clip(behind, 0.0, 1.0), np.float64)
