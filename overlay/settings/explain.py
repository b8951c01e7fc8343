"""Thresholds of what the cameras could explain."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from overlay.settings import setting


@dataclass(frozen=True)
class ExplainSettings:
    """How the share of the cameras in a difference is worked out and told."""

    draws: int = setting(
        30, "count", "pairs of cameras drawn within their uncertainty: the bound's own scatter stays under 15 %"
    )
    level: float = setting(0.95, "fraction", "one-sided bound of what the cameras could explain; common practice")
    movement_share: float = setting(
        0.25,
        "fraction",
        "of the cameras' effect: how far it differs between this player's movement and the generic one; "
        "docs/studies/progress_comparison.md",
    )
    whole_share: float = setting(
        0.999, "fraction", "from here on the cameras could explain all of a difference; below 1 for rounding alone"
    )
    told: int = setting(3, "count", "differences named in the summary; the table holds the others")
    build_told: float = setting(0.01, "fraction", "changes of a segment's length below this are not told")
    day_to_day: float = setting(
        0.6,
        "fraction",
        "of the spread between players: how one player's stance and posture at address change from day to day; "
        "a judgement, 3 deg of turn and 2.5 cm of an open stance; face on, less was too sure of the hands",
    )
    habit: float = setting(
        0.7, "fraction", "of the pose model's error at address that stays the same with one player; docs/progress.md"
    )
    grave_share: float = setting(
        0.5, "fraction", "of the first difference: from here on what the cameras could explain is shown as a warning"
    )


@dataclass(frozen=True)
class SessionCameraSettings:
    """What is taken to be usual of cameras between sessions; keys are the filming check's findings.

    Where the two views differ the table holds both.
    """

    spread: Mapping[str, float] = field(
        default_factory=lambda: {
            "camera_height": 12.0,
            "camera_offset": 12.0,
            "yaw": 4.0,
            "roll": 2.0,
            "camera_distance": 1.2,
        },
        metadata={
            "unit": "cm, cm, deg, deg, m",
            "reason": "SD of the difference between two placements that each lie anywhere within ±15 cm, ±5° and 3–6 m "
            "(docs/studies/progress_comparison.md); a stand on uneven ground leans by 1.4°",
        },
    )
    scatter_dtl: Mapping[str, float] = field(
        default_factory=lambda: {
            "camera_height": 1.5,
            "camera_offset": 1.0,
            "yaw": 1.6,
            "roll": 0.3,
            "camera_distance": 0.3,
        },
        metadata={
            "unit": "cm, cm, deg, deg, m",
            "reason": "of a session's finding about where the camera was, beside its standard error: one player's "
            "rendered clips from different places, docs/studies/session_cameras_rendered.md, and 1° of how his feet "
            "are aimed that day (a judgement)",
        },
    )
    scatter_fo: Mapping[str, float] = field(
        default_factory=lambda: {
            "camera_height": 4.0,
            "camera_offset": 1.0,
            "yaw": 1.4,
            "roll": 0.3,
            "camera_distance": 0.35,
        },
        metadata={
            "unit": "cm, cm, deg, deg, m",
            "reason": "as down the line; face on a stand level within 0.5° leaves 4 cm of height that nothing tells",
        },
    )
    habit: float = setting(
        0.7,
        "fraction",
        "of the variance of a session's mean as its clips' intervals tell it: stays the same with one player, as above",
    )
    size_shares: Mapping[str, float] = field(
        default_factory=lambda: {
            "camera_height": 0.1,
            "camera_offset": 0.03,
            "yaw": 0.2,
            "roll": 0.1,
            "camera_distance": 0.3,
        },
        metadata={
            "unit": "fraction",
            "reason": "of a shift, from player to player: docs/studies/session_cameras_rendered.md; distance and lens "
            "go together, a judgement",
        },
    )
    movement_share: float = setting(
        0.25,
        "fraction",
        "of the effect: how far it differs between this player's swing and the usual ones; "
        "docs/studies/session_cameras.md",
    )
    movement_shares: Mapping[str, float] = field(
        default_factory=lambda: {
            "club_head_over_hands_back": 0.35,
            "hand_height_back": 1.8,
            "shoulders_to_spine_top": 1.5,
            "shaft_to_plane_down": 1.0,
            "shaft_to_spine_down": 0.7,
            "shaft_pointing_down": 1.2,
            "head_line_release": 0.3,
            "pelvis_push_back": 0.5,
            "pelvis_gap_top": 0.35,
            "hands_ahead_impact": 0.35,
            "shaft_to_trail_arm_through": 0.4,
        },
        metadata={
            "unit": "fraction",
            "reason": "as movement_share, of measures that differ more from swing to swing; "
            "docs/studies/session_cameras.md",
        },
    )
    bound: float = setting(0.95, "fraction", "one-sided bound of what the cameras could explain; common practice")
    level: float = setting(0.95, "fraction", "of the interval of what is left; common practice")
    agree: Mapping[str, float] = field(
        default_factory=lambda: {
            "camera_height": 5.0,
            "camera_offset": 5.0,
            "yaw": 2.0,
            "roll": 1.0,
            "camera_distance": 0.5,
        },
        metadata={"unit": "cm, cm, deg, deg, m", "reason": "a tripod on the same marks; smaller shifts are not named"},
    )
    told: int = setting(3, "count", "shifts named in the sentence, those that move the measure most")
