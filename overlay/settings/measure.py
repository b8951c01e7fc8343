"""How measures are read, when they are believed, and what their intervals are made of."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Mapping

from overlay.settings import setting

POINT_SD: Mapping[str, float] = MappingProxyType(
    {
        "hands": 0.030,
        "head": 0.030,
        "shoulder": 0.045,
        "elbow": 0.035,
        "wrist": 0.040,
        "trail_wrist": 0.030,
        "hip": 0.030,
        "trail_hip_held": 0.040,
    }
)
"""Error of one coordinate of a point of the body against its own place at address, torso lengths."""

GUIDE_SD: Mapping[str, float] = MappingProxyType({"heel_line": 0.030})
"""Error of the place of a guide line where it is not the usual one, torso lengths: a heel is the middle of a shoe."""

BIAS: Mapping[str, float] = MappingProxyType(
    {"shoulders_to_spine_top": 7.0, "head_offset_top": 0.065, "pelvis_push_back": 0.035}
)
"""What the pose model adds to a measure, in the measure's unit.

The largest of many unsure values is too large. Face on at the top it draws the half-hidden ears away from the target;
down the line it draws the line through the shoulders too flat. Found on rendered clips only, so half of it counts as a
standard deviation of its own.
"""


@dataclass(frozen=True)
class MeasureSettings:
    """Lengths are torso lengths of the player at address; times are real seconds, slowed clips are scaled."""

    # Reading.
    still_s: float = setting(0.25, "s", "before address over which the torso's length is a median; as in the score")
    club_still_s: float = setting(0.40, "s", "before address over which the shaft's length is a median")
    window_s: float = setting(
        0.020, "s", "to each side of a position, at least one frame: a straight line through these frames is read at it"
    )
    slope_window_s: float = setting(0.045, "s", "to each side of a position, over which its rate of change is taken")
    bridge_s: float = setting(
        0.070, "s", "unmeasured stretch around a position that is bridged from measured frames on both sides"
    )
    edge_s: float = setting(0.012, "s", "a position this far outside the measured frames is still read at their end")
    least_visibility: float = setting(
        0.5, "fraction", "below it 88 % of arm errors over 40 px lie; only used for arms and hands"
    )
    smooth_s: float = setting(
        0.06, "s", "to each side: mean before the largest value is taken, which noise would push up"
    )

    stretch_steps: int = setting(9, "count", "equal steps over a stretch whose median is taken; more change nothing")

    motion_gap_s: float = setting(
        0.1, "s", "a frame whose movement is only known further off is left out: a hand moves a torso's tenth in it"
    )
    level_s: float = setting(
        0.24, "s", "to each side of shaft level back: rows of the shaft through which its crossing of level is read"
    )
    level_reach: float = setting(
        1.7, "torso", "rows with the club head further above or below the hands are left out: their path bends"
    )
    level_sd: float = setting(
        0.05,
        "torso",
        "of the parabola at level through exact rows half a torso to both sides; in proportion further off",
    )
    turned_least: float = setting(
        0.82, "ratio", "trail hip to mid-hip face on at the top over address: a pelvis turned by 35°, the least usual"
    )
    turned_most: float = setting(0.57, "ratio", "the same for a pelvis turned by 55°, the most usual (common practice)")
    head_behind_ball: float = setting(
        1.4, "ratio", "middle of the club head behind the middle of the ball at impact, over the ball's radius"
    )

    # What must be seen.
    least_arm: float = setting(0.10, "torso", "trail elbow to shoulder upright: a shorter one divides by its own error")
    least_line: float = setting(0.25, "torso", "an arm or shoulder line seen shorter than this has no direction")
    least_shaft: float = setting(0.45, "torso", "a shaft seen shorter than this points nearly at the camera")
    least_slope_deg: float = setting(
        22.0, "deg", "a shaft flatter than this in the picture meets the ground too far away to be told"
    )
    camera_torsos: float = setting(
        7.8, "torso", "camera to player where not known: 3.8–4.1 m at a torso of .288 of stature (common practice)"
    )
    top_nearer: float = setting(
        0.5, "torso", "hands at the top nearer to a camera down the line than at address; docs/measures.md"
    )

    # Intervals.
    level: float = setting(0.95, "fraction", "common practice")
    point_sd: Mapping[str, float] = field(
        default_factory=lambda: dict(POINT_SD),
        metadata={"unit": "torso", "reason": "the pose model on rendered clips; docs/studies/measures_truth.md"},
    )
    fast_factor: float = setting(1.65, "ratio", "hands of a fast club: 3.3 against 2 % of a torso in the trials")
    biased_model: str = setting(
        "mediapipe",
        "",
        "``bias`` and ``shoulder_low`` are this pose model's; joints from elsewhere are taken as they are",
    )
    bias: Mapping[str, float] = field(
        default_factory=lambda: dict(BIAS),
        metadata={"unit": "of the measure", "reason": "of the pose model on rendered clips, taken off"},
    )
    shoulder_low: float = setting(
        0.08, "torso", "down the line at lead arm level back the trail shoulder is marked this much too low (SD 0.011)"
    )
    azimuth_sd_deg: float = setting(
        3.0,
        "deg",
        "of a shaft direction out of foreshortening: camera distance and depth of the hands are taken as usual",
    )
    guide_sds: Mapping[str, float] = field(
        default_factory=lambda: dict(GUIDE_SD),
        metadata={"unit": "torso", "reason": "the pose model on rendered clips; docs/studies/measures_truth.md"},
    )
    guide_sd: float = setting(0.015, "torso", "a line drawn at address from many still frames")
    shaft_sd_deg: float = setting(2.0, "deg", "of the shaft where its tracker does not say")
    least_shaft_sd_deg: float = setting(1.0, "deg", "the tracker's median error is 0.5°, its accepted worst 1.7°")
    shaft_length_sd: float = setting(0.10, "fraction", "visible length of the shaft: its thin end fades")
    angle_sd_deg: float = setting(2.55, "deg", "no angle of the body from a picture is finer than ±5° at 95 %")
    position_sd_s: float = setting(0.012, "s", "of a position that does not say how sure it is")

    # What is believed.
    widest_share: float = setting(1.0, "fraction", "half an interval wider than this says nothing")
    widest_deg: float = setting(25.0, "deg", "half an interval wider than this says nothing")
    widest: float = setting(0.5, "torso", "half an interval wider than this says nothing")
    farthest_deg: float = setting(180.0, "deg", "beyond it nothing is an angle")
    farthest: float = setting(2.0, "torso", "no part of a player and no shaft line ends up further off")
