"""What the movement itself says of the time between two views: a level camera sees the same heights from any side.

A joint's height over time is the same curve down the line and face on, but for a scale, an offset and a little
perspective. Stretch by stretch the shift is searched at which the curves of all joints fit best. For one swing under
two cameras all stretches say the same; two swings of one player differ in tempo from stretch to stretch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from overlay.arrays import AnyArray, BoolArray, FloatArray
from overlay.data import Swing
from overlay.landmarks import INDEX
from overlay.pair.clock import Clock, Shared, clock_of
from overlay.settings.pair import MovementSettings

_ARMS = ("left_elbow", "right_elbow", "left_wrist", "right_wrist")
JOINTS = ("nose", "left_shoulder", "right_shoulder", "left_hip", "right_hip", "left_knee", "right_knee", *_ARMS)
"""Whose heights are compared; a hand's are told by its wrist."""

STRETCHES: tuple[tuple[str, str], ...] = (
    ("address", "lead_arm_level_back"),
    ("lead_arm_level_back", "top"),
    ("top", "impact"),
    ("impact", "finish"),
)


@dataclass(frozen=True)
class Shift:
    """What one stretch says: face-on time minus down-the-line time of the same instant, real s."""

    start: str
    stop: str
    middle_s: float
    """Of the stretch, on the down-the-line clock, real s."""
    offset_s: float
    sd_s: float
    joints: int


@dataclass(frozen=True)
class Heights:
    """Heights of the joints over time, real s and torso lengths, up positive; NaN where not measured."""

    time_s: FloatArray
    values: FloatArray = field(repr=False)


def heights_of(swing: Swing, clock: Clock, settings: MovementSettings) -> Heights:
    """(T, J) heights in the frame of the address, measured points only."""
    track = swing.pose
    rows = [INDEX[name] for name in JOINTS]
    points = track.points[:, rows].copy()
    hidden = track.filled[:, rows].copy()
    arms = np.array([name in _ARMS for name in JOINTS])
    hidden |= arms[None] & (track.visibility[:, rows] < settings.least_visibility)
    points[hidden] = np.nan
    if swing.camera_motion is not None:
        points = np.stack([swing.camera_motion.to_reference(p, float(t)) for p, t in zip(points, track.time_s)])
    # The size in the picture: from feet to nose, which no turn shortens.
    ankles = track.points[:, [INDEX["left_ankle"], INDEX["right_ankle"]], 1].mean(axis=1)
    tall = ankles - track.points[:, INDEX["nose"], 1]
    address = swing.positions.time("address")
    near = np.isfinite(tall)
    if address is not None:
        near &= np.abs(track.time_s - address) <= 0.25 * clock.slow
    if not np.any(near):
        near = np.isfinite(tall)
    size = float(np.median(tall[near])) / STANDING if np.any(near) else float("nan")
    if not (math.isfinite(size) and size > 0):
        size = swing.torso_px
    return Heights(clock.real(track.time_s), -points[..., 1] / size)


STANDING = 2.75
"""Nose over ankles at address, torso lengths in space: (.93 − .06) ÷ .288 of stature less the bend (Drillis & Contini
1966); only the size of the noise hangs on it."""


def shifts(dtl: Swing, fo: Swing, shared: Shared, expected_s: float, settings: MovementSettings) -> tuple[Shift, ...]:
    """What each stretch of the swing says of the time between the views.

    Parameters
    ----------
    dtl, fo : Swing
    shared : Shared
        Positions of both.
    expected_s : float
        Face-on minus down-the-line time as the positions have it, real s.
    settings : MovementSettings

    Returns
    -------
    tuple of Shift
        Stretches in which too little is seen in both pictures are left out.
    """
    one, other = heights_of(dtl, clock_of(dtl), settings), heights_of(fo, clock_of(fo), settings)
    at = {name: (float(d), float(f)) for name, d, f in zip(shared.names, shared.dtl_s, shared.fo_s)}
    found = []
    for start, stop in STRETCHES:
        if start not in at or stop not in at:
            continue
        first = 0.5 * (at[start][0] + at[start][1] - expected_s)
        last = 0.5 * (at[stop][0] + at[stop][1] - expected_s)
        if start == "impact":
            # The finish drifts; the hands have done their way well before.
            last = first + 0.7 * (last - first)
        shift = _shift(one, other, first, last, expected_s, settings)
        if shift is not None:
            found.append(Shift(start, stop, 0.5 * (first + last), *shift))
    return tuple(found)


def _shift(
    one: Heights, other: Heights, first: float, last: float, expected_s: float, settings: MovementSettings
) -> tuple[float, float, int] | None:
    """Offset, its standard deviation and the number of joints behind it."""
    times = np.arange(first, last, settings.step_s)
    if len(times) < 12:
        return None
    lags = expected_s + np.arange(-settings.reach_s, settings.reach_s + settings.step_s / 2, settings.step_s)
    cost, information, used = np.zeros(len(lags)), 0.0, 0
    per = max(1.0, settings.correlation_s / settings.step_s)
    # The face-on series once, over all that any lag asks for.
    wide = np.arange(first + lags[0], last + lags[-1] + settings.step_s, settings.step_s)
    for j in range(len(JOINTS)):
        mine, seen = resampled(one.time_s, one.values[:, j], times, settings.bridge_s)
        theirs, theirs_seen = resampled(other.time_s, other.values[:, j], wide, settings.bridge_s)
        windows = np.lib.stride_tricks.sliding_window_view(theirs, len(times))[: len(lags)]
        both = np.lib.stride_tricks.sliding_window_view(theirs_seen, len(times))[: len(lags)] & seen
        if len(windows) < len(lags) or both.mean(axis=1).min() < settings.least_share:
            continue
        mine = np.where(seen, mine, 0.0)
        if np.ptp(mine[seen]) < settings.least_range:
            continue
        n = both.sum(axis=1)
        mean_x = (both * mine).sum(axis=1) / n
        mean_y = (both * windows).sum(axis=1) / n
        x, y = both * (mine - mean_x[:, None]), both * (windows - mean_y[:, None])
        xx, yy, xy = (x * x).sum(axis=1), (y * y).sum(axis=1), (x * y).sum(axis=1)
        with np.errstate(invalid="ignore", divide="ignore"):
            r = xy / np.sqrt(xx * yy)
        best = int(np.nanargmax(np.where(np.isfinite(r), r, -2.0)))
        if not r[best] >= settings.least_correlation:
            continue
        # The scale may differ by joint: what is nearer to one lens looks larger. Residual of the line through both.
        rest = np.maximum(xx + yy - np.sqrt((xx - yy) ** 2 + 4 * xy**2), 0.0) / 2
        rest = np.where(r > 0, rest, xx + yy)
        sigma2 = settings.noise**2
        cost += rest / sigma2 / per
        information += _information(mine, seen, settings) / (2 * sigma2) / per
        used += 1
    if not used:
        return None
    i = int(np.argmin(cost))
    if i in (0, len(lags) - 1):
        return None
    around = cost[i - 1 : i + 2]
    bend = around[0] - 2 * around[1] + around[2]
    part = 0.0 if bend <= 0 else 0.5 * (around[0] - around[2]) / bend
    sd = math.hypot(settings.floor_s, 1.0 / math.sqrt(max(information, 1e-9)))
    if sd > settings.most_sd_s:
        return None
    return float(lags[i] + part * settings.step_s), sd, used


def _information(height: FloatArray, seen: BoolArray, settings: MovementSettings) -> float:
    """How sharply a curve tells a shift: its squared slope, less what an offset and a scale could do in its place."""
    slope, level = np.gradient(height, settings.step_s)[seen], height[seen] - height[seen].mean()
    slope = slope - slope.mean()
    slope = slope - level * float(slope @ level) / max(float(level @ level), 1e-12)
    return float(slope @ slope)


def resampled(time_s: FloatArray, values: AnyArray, at_s: FloatArray, bridge_s: float) -> tuple[FloatArray, BoolArray]:
    """A (T,) series at other times on straight lines between measured frames, and where those are near enough."""
    seen = np.isfinite(values)
    if np.count_nonzero(seen) < 2:
        return np.zeros(len(at_s)), np.zeros(len(at_s), bool)
    own = time_s[seen]
    spacing = float(np.median(np.diff(time_s)))
    after = np.clip(np.searchsorted(own, at_s), 1, len(own) - 1)
    gap = own[after] - own[after - 1]
    inside = (at_s >= own[0] - 0.5 * spacing) & (at_s <= own[-1] + 0.5 * spacing)
    near = inside & (gap <= max(bridge_s, 1.5 * spacing))
    return np.interp(at_s, own, values[seen]), np.asarray(near, np.bool_)
