"""Body-frame features: what is left of a pose track when place, size and side of the player are taken out.

Every joint is taken relative to the middle of the hips, in units of the clip's own median torso length, as the
difference to the player's own address pose. Left-handed players are mirrored first, so that every series shows a
right-hander. Times are *real* seconds (playback seconds ÷ slow factor) from the start of the series.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import PoseTrack, Swing
from overlay.errors import ContentError, DataError
from overlay.kinematics import torso_length
from overlay.landmarks import INDEX
from overlay.settings.align import FeatureSettings

JOINT_WEIGHTS: dict[str, float] = {
    "nose": 0.5,
    "left_shoulder": 1.0,
    "right_shoulder": 1.0,
    "left_elbow": 1.0,
    "right_elbow": 1.0,
    "left_wrist": 1.0,
    "right_wrist": 1.0,
    "left_hip": 1.0,
    "right_hip": 1.0,
    "left_knee": 1.0,
    "right_knee": 1.0,
    "left_ankle": 0.5,
    "right_ankle": 0.5,
}
"""The joints that are aligned, and how much each counts."""

JOINTS: tuple[str, ...] = tuple(JOINT_WEIGHTS)


@dataclass(frozen=True)
class Features:
    """The motion of one swing on a regular grid of real time.

    Attributes
    ----------
    start_s : float
        Clip time of the first grid point.
    slow_factor : float
        Clip seconds per real second.
    step_s : float
        Grid step, real seconds.
    place : (G, J, 2) float, torso lengths
        Joints of ``JOINTS`` relative to the hips and to the address pose; never NaN: gaps are bridged, a joint that
        is never seen is 0 with weight 0.
    velocity : (G, J, 2) float, torso lengths per real second
    weight : (G, J) float, 0–1
        How far each value rests on joints that were seen.
    """

    start_s: float
    slow_factor: float
    step_s: float
    place: FloatArray
    velocity: FloatArray
    weight: FloatArray

    def __len__(self) -> int:
        return len(self.place)

    @property
    def time_s(self) -> FloatArray:
        """(G,) real seconds from ``start_s``."""
        return np.asarray(np.arange(len(self)) * self.step_s, np.float64)

    def clip_time(self, real_s: FloatArray) -> FloatArray:
        """Clip seconds of real seconds on the grid's clock."""
        return np.asarray(self.start_s + np.asarray(real_s) * self.slow_factor, np.float64)

    def real_time(self, clip_s: FloatArray | float) -> FloatArray:
        """Real seconds on the grid's clock of clip seconds."""
        return np.asarray((np.asarray(clip_s) - self.start_s) / self.slow_factor, np.float64)


def real_slow_factor(swing: Swing, settings: FeatureSettings) -> float:
    """Clip seconds per real second: as told, else judged from the swing's own tempo; 1 when it could be real time.

    The geometric mean of downswing and backswing over those of real-time swings, the downswing counting double, since
    it varies half as much between players. Where top or impact are missing, 1: only the low-pass and the weight of
    velocity depend on it.
    """
    if swing.clip is not None and swing.clip.capture_rate is not None:
        return swing.slow_factor
    address, top, impact = (swing.positions.time(name) for name in ("address", "top", "impact"))
    if top is None or impact is None:
        return 1.0
    logs = [math.log((impact - top) / settings.downswing_s)] * 2
    if address is not None:
        logs.append(math.log((top - address) / settings.backswing_s))
    factor = math.exp(sum(logs) / len(logs))
    return 1.0 if settings.real_time_low <= factor <= settings.real_time_high else factor


def swing_span(swing: Swing, slow_factor: float, settings: FeatureSettings) -> tuple[float, float]:
    """Clip times between which a swing is aligned: its address and finish with a lead-in, or the track's ends."""
    lead_in = settings.lead_in_s * slow_factor
    address, finish = swing.positions.time("address"), swing.positions.time("finish")
    start = swing.start_s if address is None else max(swing.start_s, address - lead_in)
    stop = swing.stop_s if finish is None else min(swing.stop_s, finish + lead_in)
    return start, stop


def smooth(
    values: FloatArray, weights: FloatArray, time_s: FloatArray, grid_s: FloatArray, cutoff_hz: float
) -> tuple[FloatArray, FloatArray]:
    """Weighted zero-lag low-pass onto a regular grid, bridging gaps.

    The discrete cubic smoothing spline: its frequency response 1 / (1 + (f / f_c)⁴) is that of a second-order
    Butterworth filter run forwards and backwards (Craven & Wahba 1979; Eilers 2003), and unlike the filter it takes
    a weight per value, uneven times and gaps.

    Parameters
    ----------
    values : (T, C) float, NaN where missing
    weights : (T, C) float, ≥ 0
    time_s : (T,) float, increasing
    grid_s : (G,) float, regular, G ≥ 3
    cutoff_hz : float
        Frequency of half gain.

    Returns
    -------
    smoothed : (G, C) float, NaN in columns without any value
    support : (G, C) float
        Mean weight of the values near each grid point, 0 in gaps.

    Raises
    ------
    DataError
        Shapes do not fit, or the cut-off is not positive.
    """
    from scipy.linalg import solveh_banded

    values, weights = np.asarray(values, np.float64), np.asarray(weights, np.float64)
    n, g = len(time_s), len(grid_s)
    if values.shape != weights.shape or len(values) != n or g < 3:
        raise DataError(
            f"Cannot smooth {values.shape} values with {weights.shape} weights at {n} times on {g} grid points.",
            "Give one weight a value, one time a row and three grid points or more.",
        )
    if not cutoff_hz > 0:
        raise DataError(f"A cut-off of {cutoff_hz} Hz is not positive.", "Give a frequency in Hz.")
    step = float(grid_s[1] - grid_s[0])
    seen = np.isfinite(values) & (weights > 0)
    weights = np.where(seen, weights, 0.0)
    filled = np.where(seen, values, 0.0)
    # Each value lies between two grid points and counts for the time it stands for, so that the cut-off does not
    # depend on the frame rate.
    spacing = np.gradient(time_s) if n > 1 else np.ones(1)
    place = np.clip((time_s - grid_s[0]) / step, 0.0, g - 1.0 - 1e-9)
    left = place.astype(int)
    right_share = place - left
    shares = np.stack([1.0 - right_share, right_share])
    share = spacing / step
    inside = (time_s >= grid_s[0] - 1e-9) & (time_s <= grid_s[-1] + 1e-9)
    mass = weights * (share * inside)[:, None]
    # Banded normal equations, upper form: row 2 diagonal, row 1 first, row 0 second off-diagonal.
    diagonal = np.zeros((g, values.shape[1]))
    off = np.zeros((g, values.shape[1]))
    right_side = np.zeros((g, values.shape[1]))
    np.add.at(diagonal, left, mass * (shares[0] ** 2)[:, None])
    np.add.at(diagonal, left + 1, mass * (shares[1] ** 2)[:, None])
    np.add.at(off, left + 1, mass * (shares[0] * shares[1])[:, None])
    np.add.at(right_side, left, mass * filled * shares[0][:, None])
    np.add.at(right_side, left + 1, mass * filled * shares[1][:, None])
    penalty = curvature_bands(g) * (1.0 / (2.0 * math.pi * cutoff_hz * step)) ** 4
    result = np.full((g, values.shape[1]), np.nan)
    for column in range(values.shape[1]):
        count = int(seen[inside, column].sum())
        if count == 0:
            continue
        if count < 3:
            result[:, column] = np.average(values[inside & seen[:, column], column])
            continue
        bands = penalty.copy()
        bands[2] += diagonal[:, column] + 1e-12 * penalty[2]
        bands[1] += off[:, column]
        result[:, column] = solveh_banded(bands, right_side[:, column], check_finite=False)
    return result, _support(weights, time_s, grid_s, float(np.median(spacing)))


def curvature_bands(size: int) -> FloatArray:
    """(3, size): DᵀD of the second difference in the upper banded form of ``scipy.linalg.solveh_banded``."""
    bands = np.zeros((3, size))
    inner = size - 2
    for offset, value in enumerate((1.0, -2.0, 1.0)):
        bands[2, offset : offset + inner] += value * value
    bands[1, 1 : 1 + inner] += -2.0
    bands[1, 2 : 2 + inner] += -2.0
    bands[0, 2 : 2 + inner] += 1.0
    return bands


def smooth_evenly(values: FloatArray, step_s: float, cutoff_hz: float) -> FloatArray:
    """``smooth`` for a regular (G, C) series without gaps or weights; one solve for all columns."""
    from scipy.linalg import solveh_banded

    bands = curvature_bands(len(values)) * (1.0 / (2.0 * math.pi * cutoff_hz * step_s)) ** 4
    bands[2] += 1.0
    return np.asarray(solveh_banded(bands, values, check_finite=False), np.float64)


def banded_product(bands: FloatArray, x: FloatArray) -> FloatArray:
    """(G,): the symmetric matrix of bandwidth 5 in upper banded form (3, G), times ``x`` (G,)."""
    result = bands[2] * x
    for offset in (1, 2):
        values = bands[2 - offset, offset:]
        result[:-offset] += values * x[offset:]
        result[offset:] += values * x[:-offset]
    return np.asarray(result, np.float64)


def _support(weights: FloatArray, time_s: FloatArray, grid_s: FloatArray, spacing: float) -> FloatArray:
    # Weight of the nearest frames, linearly; beyond the recording there is none.
    result = np.stack([np.interp(grid_s, time_s, column) for column in weights.T], axis=1)
    outside = (grid_s < time_s[0] - spacing) | (grid_s > time_s[-1] + spacing)
    result[outside] = 0.0
    return np.asarray(result, np.float64)


def joint_weights(track: PoseTrack, settings: FeatureSettings) -> FloatArray:
    """(T, J) weight of each joint of ``JOINTS`` in each frame: visibility squared, less where filled, 0 if missing.

    Squared, because below a visibility of one half most places are guesses.
    """
    columns = [INDEX[name] for name in JOINTS]
    weight = np.clip(track.visibility[:, columns], settings.least_visibility, 1.0) ** 2
    weight = np.where(track.filled[:, columns], settings.filled_weight * weight, weight)
    return np.asarray(np.where(np.isfinite(track.points[:, columns, 0]), weight, 0.0), np.float64)


def swing_features(swing: Swing, settings: FeatureSettings = FeatureSettings()) -> Features:  # noqa: B008
    """The features of one swing, trimmed to it, of a right-hander.

    Parameters
    ----------
    swing : Swing
        Its pose is cleaned; ``address`` and ``finish`` may be missing, the track's ends serve then.

    Raises
    ------
    ContentError
        No torso is ever seen, or the swing has fewer than four frames.
    """
    track = swing.pose.mirrored() if swing.handedness == "left" else swing.pose
    slow = real_slow_factor(swing, settings)
    start, stop = swing_span(swing, slow, settings)
    scale = torso_length(track.between(start, stop))
    if not math.isfinite(scale) or scale <= 0:
        raise ContentError(
            "Shoulders and hips are never seen together, so the swing cannot be aligned.",
            "Film with the whole body in the picture.",
        )
    inside = (track.time_s >= start - 1e-9) & (track.time_s <= stop + 1e-9)
    if int(inside.sum()) < 4:
        raise ContentError(
            f"The swing has only {int(inside.sum())} frames.", "Film at 30 frames per second or more, the whole swing."
        )
    columns = [INDEX[name] for name in JOINTS]
    real = (track.time_s - start) / slow
    hips = (track.joint("left_hip") + track.joint("right_hip")) / 2
    points = (track.points[:, columns] - hips[:, None]) / scale
    weight = np.where(np.isfinite(points[..., 0]), joint_weights(track, settings), 0.0)
    count = max(round((stop - start) / slow * settings.grid_hz) + 1, 5)
    grid = np.arange(count) / settings.grid_hz
    flat, support = smooth(
        points.reshape(len(points), -1), np.repeat(weight, 2, axis=1), real, grid, settings.cutoff_hz
    )
    place = flat.reshape(count, len(JOINTS), 2)
    address = swing.positions.time("address")
    still = (0.0 if address is None else (address - start) / slow) - grid
    window = (still >= -1.5 / settings.grid_hz) & (still <= settings.address_window_s)
    place = place - place[window if np.any(window) else slice(0, 1)].mean(axis=0)
    place = np.where(np.isfinite(place), place, 0.0)
    return Features(
        start_s=float(start),
        slow_factor=float(slow),
        step_s=1.0 / settings.grid_hz,
        place=np.asarray(place, np.float64),
        velocity=np.asarray(np.gradient(place, 1.0 / settings.grid_hz, axis=0), np.float64),
        weight=np.asarray(support[:, ::2], np.float64),
    )
