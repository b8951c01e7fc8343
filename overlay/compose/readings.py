"""Small stills of the moments at which the checklist was read, each with the guide lines it was read from."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.arrays import Image
from overlay.data import Check, Checklist, Measure, Swing

READ_FROM: dict[str, tuple[str, ...]] = {
    "hand_depth_back": ("hand_depth",),
    "club_head_over_hands_back": ("hand_depth",),
    "hand_height_back": (),
    "shaft_pointing_back": ("ball_line",),
    "lead_arm_to_spine_top": (),
    "shoulders_to_spine_top": (),
    "hands_over_heels_top": ("heel_line",),
    "shaft_direction_top": ("ball_line", "heel_line"),
    "shaft_to_plane_down": ("shaft_plane",),
    "shaft_to_spine_down": (),
    "shaft_pointing_down": ("ball_line",),
    "hips_line_release": ("hip_line",),
    "head_line_release": ("head_line",),
    "hand_path_release": ("hand_corridor",),
    "shaft_pointing_release": ("ball_line",),
    "pelvis_push_back": ("trail_leg_line",),
    "pelvis_gap_top": ("trail_leg_line",),
    "spine_side_bend_top": ("spine_line",),
    "head_offset_top": ("head_line",),
    "pelvis_travel_down": ("trail_leg_line", "lead_foot_line"),
    "shaft_to_trail_arm_through": (),
    "hands_ahead_impact": ("ball_line",),
}
"""Measure → the guide lines it is read from. Angles inside the body need none."""

WITH_PATH = ("hand_path_release",)
"""Measures of the way of the hands, which is drawn for them."""

WITH_POINTING = ("shaft_pointing_back", "shaft_pointing_down", "shaft_pointing_release")
"""Measures of where the shaft's line meets the ground, which is drawn on to there for them."""


@dataclass(frozen=True)
class ReadAt:
    """When a measure was read and what is drawn for it."""

    time_s: float
    guides: frozenset[str]
    paths: bool
    pointing: bool = False


def read_at(measure: Measure | None, swing: Swing) -> ReadAt | None:
    """The moment at which a measure was read; None when it belongs to no instant or could not be read."""
    if measure is None:
        return None
    time_s = measure.time_s if measure.time_s is not None else swing.positions.time(measure.position)
    if time_s is None or not measure.valid:
        return None
    names = READ_FROM.get(measure.name, ())
    return ReadAt(float(time_s), frozenset(names), measure.name in WITH_PATH, measure.name in WITH_POINTING)


@dataclass(frozen=True)
class Reading:
    """The stills of one check: the student's and, in a comparison, the reference's; None where there is none."""

    check: Check
    student: Image | None
    reference: Image | None = None


def wanted(checklist: Checklist | None, swing: Swing, *, reference: bool = False) -> list[ReadAt | None]:
    """One moment a check, of the student's measures or of the reference's."""
    if checklist is None:
        return []
    return [read_at(check.reference if reference else check.measure, swing) for check in checklist.checks]
