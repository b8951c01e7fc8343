"""What the checklist may hold, and how sure it is before it says something."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Mapping, NamedTuple

from overlay.settings import setting


class MeasureKind(NamedTuple):
    """One measure that a checklist can ask for.

    Attributes
    ----------
    view : "dtl" or "fo"
        Where it can be seen.
    unit : str
        "torso" (torso lengths), "deg" or "fraction".
    repeat_sd : float
        Standard deviation from one swing of a player to the next, camera and tracking left out; unit of the measure.
    """

    view: str
    unit: str
    repeat_sd: float


MEASURES: Mapping[str, MeasureKind] = MappingProxyType(
    {
        "hand_depth_back": MeasureKind("dtl", "torso", 0.035),
        "club_head_over_hands_back": MeasureKind("dtl", "torso", 0.11),
        "hand_height_back": MeasureKind("dtl", "fraction", 0.06),
        "shaft_pointing_back": MeasureKind("dtl", "torso", 0.08),
        "lead_arm_to_spine_top": MeasureKind("dtl", "deg", 2.0),
        "shoulders_to_spine_top": MeasureKind("dtl", "deg", 2.0),
        "hands_over_heels_top": MeasureKind("dtl", "torso", 0.035),
        "shaft_direction_top": MeasureKind("dtl", "deg", 2.5),
        "pelvis_push_back": MeasureKind("fo", "torso", 0.02),
        "pelvis_gap_top": MeasureKind("fo", "torso", 0.02),
        "spine_side_bend_top": MeasureKind("fo", "deg", 2.0),
        "head_offset_top": MeasureKind("fo", "torso", 0.03),
        "shaft_to_plane_down": MeasureKind("dtl", "deg", 2.0),
        "shaft_to_spine_down": MeasureKind("dtl", "deg", 2.0),
        "shaft_pointing_down": MeasureKind("dtl", "torso", 0.09),
        "pelvis_travel_down": MeasureKind("fo", "torso", 0.02),
        "hips_line_release": MeasureKind("dtl", "torso", 0.02),
        "head_line_release": MeasureKind("dtl", "torso", 0.03),
        "hand_path_release": MeasureKind("dtl", "torso", 0.03),
        "shaft_pointing_release": MeasureKind("dtl", "torso", 0.04),
        "shaft_to_trail_arm_through": MeasureKind("fo", "deg", 2.5),
        "hands_ahead_impact": MeasureKind("fo", "torso", 0.02),
    }
)
"""Name → what is known of it before any clip is seen."""


@dataclass(frozen=True)
class ChecklistSettings:
    """How sure a check is before it is called out or different."""

    level: float = setting(
        0.10,
        "fraction",
        "chance of any false finding among all checks of one swing (Holm 1979): asked for is that nine good swings in "
        "ten are left in peace; measured 99 in 100, since the intervals are wide",
    )
    interval: float = setting(0.95, "fraction", "share of cases an interval of a measure covers; contract of Measure")
    repeat_sd: Mapping[str, float] = field(
        default_factory=lambda: {name: kind.repeat_sd for name, kind in MEASURES.items()},
        metadata={
            "unit": "of the measure",
            "reason": "from swing to swing: exact values of 40 synthetic players rounded up, body angles at least 2°, "
            "since spines of real players vary by 2.6–4.2° in single pictures, tracking included; docs/checklist.md",
        },
    )
    named: int = setting(
        3, "count", "measures spelled out where several could not be read; more is not read on a phone"
    )
