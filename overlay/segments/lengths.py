"""How long a player's segments are in the picture, and which frames of his swing say so."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Callable, Literal, Mapping

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import Swing
from overlay.landmarks import INDEX, sided
from overlay.settings.segments import SEGMENTS, Reading, SegmentSettings
from overlay.terms import Handedness, words

PAIRED: Mapping[str, tuple[str, str]] = {
    "upper_arm": ("shoulder", "elbow"),
    "forearm": ("elbow", "wrist"),
    "hand": ("wrist", "index"),
    "thigh": ("hip", "knee"),
    "shank": ("knee", "ankle"),
    "foot": ("heel", "foot_index"),
}
"""Segments of which there are two: between which joints."""

SEGMENT_NAMES: tuple[str, ...] = ("trunk", "shoulder_width", "hip_width", "neck", "head", *PAIRED)
"""``trunk`` is the unit of all others."""

PLURAL: Mapping[str, str] = {
    "upper_arm": "upper arms",
    "forearm": "forearms",
    "hand": "hands",
    "thigh": "thighs",
    "shank": "lower legs",
    "foot": "feet",
    "shoulder_width": "shoulder width",
    "hip_width": "hip width",
}

Side = Literal["left", "right"]
SIDES: tuple[Side, Side] = ("left", "right")


def segment_words(name: str) -> str:
    """A segment as a person reads it: ``shank`` → ``lower legs``."""
    return PLURAL.get(name, words(name))


@dataclass(frozen=True)
class SegmentLengths:
    """Lengths of a player's segments as far as his swing shows them.

    Attributes
    ----------
    trunk_px : float
        Shoulder midpoint to hip midpoint, as seen when most in the picture's plane; NaN when not seen.
    lengths : mapping segment → trunk lengths
        What could not be measured is absent.
    sd : mapping segment → SD of the natural logarithm of the length
        As a ratio to another player's in the same view: half of the variance of that ratio.
    sides : mapping segment → (lead, trail), trunk lengths
        Of the segments that are read from both sides.
    missing : mapping segment → why it was not measured
    """

    trunk_px: float
    lengths: Mapping[str, float] = field(default_factory=dict)
    sd: Mapping[str, float] = field(default_factory=dict)
    sides: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    missing: Mapping[str, str] = field(default_factory=dict)


def segment_lengths(swing: Swing, settings: SegmentSettings = SEGMENTS) -> SegmentLengths:
    """Measure a swing's segments.

    Parameters
    ----------
    swing : Swing
        Its address and finish bound what is read, where they were found.
    settings : SegmentSettings
    """
    track = swing.pose
    inside = swing_frames(swing, settings)
    measured = np.all(np.isfinite(track.points), axis=-1) & ~track.filled
    measured &= track.visibility >= settings.min_visibility
    measured &= inside[:, None]
    least = max(settings.least_frames, math.ceil(settings.least_share * np.count_nonzero(inside)))

    def read(a: tuple[str, ...], b: tuple[str, ...], percentile: float) -> float:
        joints = [INDEX[name] for name in (*a, *b)]
        seen = np.all(measured[:, joints], axis=1)
        if np.count_nonzero(seen) < least:
            return math.nan
        gap = mean_point(track.points[seen], a) - mean_point(track.points[seen], b)
        return float(np.percentile(np.hypot(gap[:, 0], gap[:, 1]), percentile))

    trunk = read(both("shoulder"), both("hip"), settings.torso_percentile)
    if not (math.isfinite(trunk) and trunk > 0):
        reason = "the trunk is not seen well enough to measure by"
        return SegmentLengths(math.nan, missing=dict.fromkeys(SEGMENT_NAMES, reason))
    lengths, spread = {"trunk": 1.0}, {"trunk": 0.0}
    sides: dict[str, tuple[float, float]] = {}
    missing: dict[str, str] = {}
    table = settings.readings.get(swing.view)
    if table is None:
        reason = "only face on and down the line is it known how the segments turn"
        return SegmentLengths(trunk, lengths, spread, missing=dict.fromkeys(SEGMENT_NAMES[1:], reason))
    for name in SEGMENT_NAMES[1:]:
        how = table.get(name)
        values = () if how is None else _read_segment(name, how, swing.handedness, read)
        # Both sides or none: one alone is turned otherwise than the mean of two.
        if how is None or not all(math.isfinite(value) and value > 0 for value in values):
            missing[name] = "not seen well enough"
            continue
        lengths[name] = math.exp(float(np.mean(np.log(values)))) / trunk
        spread[name] = how.sd / math.sqrt(2.0)
        if len(values) == 2:
            sides[name] = values[0] / trunk, values[1] / trunk
    return SegmentLengths(trunk, lengths, spread, sides, missing)


def _read_segment(
    name: str, how: Reading, handedness: Handedness, read: Callable[[tuple[str, ...], tuple[str, ...], float], float]
) -> tuple[float, ...]:
    """px of the one or two that are read, NaN where not seen."""
    if name in ("shoulder_width", "hip_width"):
        joint = name.split("_")[0]
        return (read((f"left_{joint}",), (f"right_{joint}",), how.percentile),)
    if name == "neck":
        return (read(both("shoulder"), both("ear"), how.percentile),)
    if name == "head":
        return (read(("nose",), both("ear"), how.percentile),)
    start, end = PAIRED[name]
    sides: tuple[Literal["lead", "trail"], ...] = ("lead", "trail")
    return tuple(
        read((sided(start, side, handedness),), (sided(end, side, handedness),), how.percentile)
        for side in sides
        if how.side in ("both", side)
    )


def both(joint: str) -> tuple[str, str]:
    """Landmark names of a joint on both sides."""
    return f"left_{joint}", f"right_{joint}"


def mean_point(points: FloatArray, names: tuple[str, ...]) -> FloatArray:
    """(T, 2) middle of the named joints of (T, 33, 2); NaN where one is missing."""
    return np.asarray(points[:, [INDEX[name] for name in names]].mean(axis=1), np.float64)


def real_slow_factor(swing: Swing) -> float:
    """Clip seconds per real second: as told, else as the swing's own tempo was judged."""
    if swing.clip is not None and swing.clip.capture_rate is not None:
        return swing.slow_factor
    return max(1.0, float(swing.quality.get("slow_factor_estimate", 1.0)))


def swing_frames(swing: Swing, settings: SegmentSettings) -> BoolArray:
    """(T,) the frames from the still moment before address to the finish, as far as both were found."""
    times = swing.pose.time_s
    address, finish = swing.positions.time("address"), swing.positions.time("finish")
    start = -math.inf if address is None else address - settings.still_s * real_slow_factor(swing)
    stop = math.inf if finish is None else finish
    return np.asarray((times >= start) & (times <= stop), bool)


def still_frames(swing: Swing, settings: SegmentSettings) -> BoolArray:
    """The still moment that ends at address; at least the nearest frame."""
    times = swing.pose.time_s
    address = swing.positions.time("address")
    address = swing.start_s if address is None else address
    still = (times <= address + 1e-6) & (times >= address - settings.still_s * real_slow_factor(swing))
    if not np.any(still):
        still = np.asarray(np.arange(len(times)) == int(np.argmin(np.abs(times - address))))
    return np.asarray(still, bool)
