"""From the path and the lines of each frame to a club track: what is believed, what is bridged, what stays hidden."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import BoolArray, FloatArray, IntArray
from overlay.club.look import Seen
from overlay.club.path import Path
from overlay.club.rays import Line
from overlay.settings.club import ClubSettings

BRIDGE_TORSO_S = 4.0
"""Error of the vector of a bridged row, torso lengths per second (real) from the nearest known frame, and"""
BRIDGE_SHARE = 0.15
"""in the middle of a gap as a share of its way across: with both, 93 % of bridged rows of clips for tuning lie within
1.96 standard deviations, those that point at the camera included."""


@dataclass
class Rows:
    """One value a frame, px of the clip.

    Attributes
    ----------
    angle : (T,) deg, unwrapped along the path
    sd : (T,) deg, of the fit alone; NaN where there is no line
    offset : (T,) px, of the line from the hands along its normal
    length : (T,) px, NaN where there is no line
    believed : (T,) bool
    """

    angle: FloatArray
    sd: FloatArray
    offset: FloatArray
    length: FloatArray
    believed: BoolArray


def read_rows(seen: Seen, path: Path, settings: ClubSettings) -> Rows:
    """The refined line nearest the path in each frame that the path calls seen."""
    s = settings
    n = len(path.bins)
    factor = float(seen.factor.mean())
    angle = path.turned * s.angle_step_deg
    sd, length = np.full(n, np.nan), np.full(n, np.nan)
    offset, believed = np.zeros(n), np.zeros(n, bool)
    for t, frame in enumerate(seen.frames):
        if frame is None or not path.seen[t]:
            continue
        line = _nearest(frame.lines, angle[t], 2.5 * s.angle_step_deg)
        if line is None:
            continue
        angle[t] += wrapped(line.angle_deg - angle[t])
        offset[t], length[t], sd[t] = line.offset_px * factor, line.stop_px * factor, line.sd_deg
        score = float(frame.score[path.bins[t]])
        strong = score > s.least_score and (line.evidence > s.least_evidence or path.margin[t] > s.clear_margin)
        short = score > s.short_score and line.evidence > s.short_evidence
        believed[t] = path.margin[t] > s.least_margin and (strong or short)
    return Rows(angle, sd, offset, length, believed)


def _nearest(lines: tuple[Line, ...], angle_deg: float, reach_deg: float) -> Line | None:
    """The best line within reach of the path; a better score is worth 1° in 0.02 T."""
    near = [(abs(wrapped(line.angle_deg - angle_deg)), line) for line in lines]
    near = [pair for pair in near if pair[0] <= reach_deg]
    return max(near, key=lambda pair: pair[1].score - 0.02 * pair[0])[1] if near else None


def wrapped(deg: float) -> float:
    """An angle as −180 … 180.

    >>> wrapped(350.0), wrapped(-190.0)
    (-10.0, 170.0)
    """
    return (deg + 180.0) % 360.0 - 180.0


@dataclass(frozen=True)
class Bridge:
    """Rows between known ones: angle (T,) deg, length (T,) px, standard deviation (T,) deg, gap (T,) s.

    Rows before the first or after the last known one keep its values; their gap is twice the way to it.
    """

    angle: FloatArray
    length: FloatArray
    sd: FloatArray
    gap_s: FloatArray


def bridge(
    times_s: FloatArray, angle_deg: FloatArray, length_px: FloatArray, known: BoolArray, torso_px: float
) -> Bridge:
    """Fill between known rows by the vector from grip to head, not by its angle.

    A shaft that swings through the line of sight shrinks and comes out on the other side: its vector in the picture
    goes smoothly through nothing while its angle jumps. Each component follows a shape-preserving cubic (Fritsch &
    Carlson 1980).

    Parameters
    ----------
    times_s : (T,) real seconds
    known : (T,) bool, at least one
    """
    from scipy.interpolate import PchipInterpolator

    rows = np.flatnonzero(known)
    n = len(times_s)
    index = np.arange(n)
    after = np.clip(np.searchsorted(rows, index), 0, len(rows) - 1)
    before = np.clip(np.searchsorted(rows, index, side="right") - 1, 0, len(rows) - 1)
    left, right = rows[before], rows[after]
    gap = np.where(left == right, 2.0 * np.abs(times_s - times_s[left]), times_s[right] - times_s[left])
    a = np.radians(angle_deg)
    vector = np.where(known[:, None], length_px[:, None] * np.stack([np.cos(a), np.sin(a)], -1), 0.0)
    if len(rows) >= 2:
        filled = np.asarray(PchipInterpolator(times_s[rows], vector[rows], axis=0, extrapolate=False)(times_s))
    else:
        filled = np.full((n, 2), np.nan)
    outside = ~np.all(np.isfinite(filled), axis=1)
    filled[outside] = vector[left[outside]]
    filled[known] = vector[known]
    length = np.linalg.norm(filled, axis=1)
    angle = np.degrees(np.arctan2(filled[:, 1], filled[:, 0]))
    return Bridge(angle, length, _bridge_sd(times_s, filled, length, left, right, torso_px), gap)


def _bridge_sd(
    times_s: FloatArray, vector: FloatArray, length: FloatArray, left: IntArray, right: IntArray, torso_px: float
) -> FloatArray:
    """The vector of a bridged row is wrong by a share of how far it goes across its gap; the shorter, the worse."""
    way = np.linalg.norm(vector[right] - vector[left], axis=1) + 0.02 * torso_px
    span = np.maximum(times_s[right] - times_s[left], 1e-9)
    inner = np.clip((times_s - times_s[left]) / span, 0.0, 1.0)
    sag = np.where(left == right, 0.5, np.sqrt(inner * (1.0 - inner)))
    from_known = np.minimum(np.abs(times_s - times_s[left]), np.abs(times_s[right] - times_s))
    across = np.hypot(BRIDGE_SHARE * way * sag, BRIDGE_TORSO_S * torso_px * from_known)
    return np.asarray(np.degrees(np.arctan2(across, np.maximum(length, 1e-6))), np.float64)


def settle_still(
    times_s: FloatArray, values: FloatArray, rate_of: FloatArray, known: BoolArray, settings: ClubSettings
) -> tuple[FloatArray, IntArray]:
    """Medians over the frames about each row at which the shaft rests.

    Parameters
    ----------
    times_s : (T,) real seconds
    values : (T, K), of which each column is smoothed alone
    rate_of : (T,) deg
        Angle that must keep still: its range within the window stays under ``settings.still_deg``.
    known : (T,) bool

    Returns
    -------
    (T, K) values, and (T,) how many frames each is the median of (1 where the shaft moves).
    """
    s = settings
    out, count = values.copy(), np.ones(len(times_s), np.int64)
    rows = np.flatnonzero(known)
    times = times_s[rows]
    for k, row in enumerate(rows):
        low = int(np.searchsorted(times, times[k] - s.still_s, side="left"))
        high = int(np.searchsorted(times, times[k] + s.still_s, side="right"))
        # Even on both sides, so that a slow drift is not shifted.
        reach = min(k - low, high - 1 - k)
        window = rows[k - reach : k + reach + 1]
        while len(window) >= 3 and np.ptp(rate_of[window]) > s.still_deg:
            window = window[1:-1]
        if len(window) >= 3:
            out[row] = np.median(values[window], axis=0)
            count[row] = len(window)
    return out, count
