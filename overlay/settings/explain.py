"""Thresholds of what the cameras could explain."""

from __future__ import annotations

from dataclasses import dataclass

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
