"""Controls: named changes of the movement, finer than style, over which a reference model is solved.

A control is a set of shapes (canonical time → share) that are added to key curves, or a change of the set-up. All are
zero in a usual swing. They say how a swing is changed, not what it then measures: ``overlay.maker`` finds the values
that give a swing with the wanted turn, plane, shift and so on.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

SLB, LAL, TOP, LALD, SLD, IMPACT, SLT = 0.444, 0.604, 0.87, 1.012, 1.091, 1.14, 1.205
"""Positions in canonical time."""
END, DOWN, REST = 1.62, 1.81, 3.11
"""Arms reach the end position, the hold ends, the club is let down."""

Shape = Mapping[float, float]

_POSTURE: Shape = {-9.0: 1.0, IMPACT: 1.0, 1.36: 0.3, 1.6: 0.0}
_AT_TOP: Shape = {LAL: 0.0, 0.75: 0.8, TOP: 1.0, 0.93: 0.8, LALD: 0.0}
_TURN: Shape = {0.0: 0.0, SLB: 0.45, LAL: 0.75, 0.75: 0.95, TOP: 1.0, 0.93: 0.9, LALD: 0.5, SLD: 0.2, IMPACT: 0.0}
_PELVIS: Shape = {0.0: 0.0, SLB: 0.5, 0.70: 0.9, 0.83: 1.0, 0.90: 0.95, LALD: 0.3, SLD: 0.0}
_STRIKE: Shape = {TOP: 0.0, LALD: 0.4, SLD: 0.8, IMPACT: 1.0, SLT: 0.8, 1.36: 0.25, 1.6: 0.0}
_CHEST_STRIKE: Shape = {TOP: 0.0, LALD: 0.4, SLD: 0.8, IMPACT: 1.0, SLT: 0.4, 1.36: 0.0}

MOVES: Mapping[str, tuple[tuple[str, Shape, float], ...]] = MappingProxyType(
    {
        "bend_deg": (("bend", _POSTURE, 1.0), ("pelvis_tilt", _POSTURE, 0.6)),
        "knee_deg": (("lead_leg", {-9.0: 1.0, LALD: 1.0, IMPACT: 0.25, SLT: 0.0}, -0.0022),),
        "lean_deg": (("lean", {-9.0: 1.0, 0.0: 1.0, SLB: 0.5, LAL: 0.0}, 1.0),),
        "trail_reach_deg": (
            ("trail_protract", {-9.0: 1.0, 0.0: 1.0, SLB: 0.3, LAL: 0.0}, 1.0),
            ("trail_shrug", {-9.0: 1.0, 0.0: 1.0, SLB: 0.3, LAL: 0.0}, -0.8),
        ),
        "set_over_m": (
            ("pelvis_x", {-9.0: 1.0, 0.0: 1.0, 0.32: 0.8, 0.66: 0.5, TOP: 0.3, LALD: 0.1, IMPACT: 0.0}, 1.0),
        ),
        "lean_top_deg": (("lean", {0.0: 0.0, SLB: 0.5, TOP: 1.0, LALD: 0.4, IMPACT: 0.0}, 1.0),),
        "shoulders_deg": (("thorax_turn", _TURN, 1.0),),
        "pelvis_deg": (("pelvis_turn", _PELVIS, 1.0),),
        "shoulders_strike_deg": (("thorax_turn", _CHEST_STRIKE, -1.0),),
        "pelvis_strike_deg": (("pelvis_turn", _STRIKE, -1.0),),
        "steep_back_deg": (
            ("thorax_tilt", {0.0: 0.0, SLB: 0.4, LAL: 1.0, 0.75: 0.8, TOP: 0.4, LALD: 0.2, IMPACT: 0.0}, -1.0),
        ),
        "arm_up": (("arm_z", _AT_TOP, 1.0),),
        "arm_deep": (("arm_y", _AT_TOP, -1.0),),
        "arm_early_deep": (("arm_y", {SLB: 0.0, LAL: 1.0, 0.75: 0.0}, -1.0),),
        "shaft_back_deg": (("delta", {SLB: 0.2, LAL: 1.0, 0.75: 0.5, TOP: 0.0}, 1.0),),
        "shaft_across_deg": (("delta", {LAL: 0.0, 0.75: 0.6, TOP: 1.0, 0.93: 0.7, LALD: 0.0}, 1.0),),
        "shaft_top_deg": (("psi", _AT_TOP, 1.0),),
        "shaft_down_deg": (("delta", {TOP: 0.0, 0.93: 0.6, LALD: 1.0, SLD: 0.3, IMPACT: 0.0}, 1.0),),
        "shaft_low_deg": (("delta", {LALD: 0.0, SLD: 1.0, IMPACT: 0.0}, 1.0),),
        "shaft_through_deg": (("delta", {IMPACT: 0.0, SLT: 1.0, 1.28: 0.7, 1.36: 0.0}, 1.0),),
        "arm_late": (
            ("arm_x", {LALD: 0.0, SLD: 1.0, IMPACT: 0.0}, -1.0),
            ("arm_z", {LALD: 0.0, SLD: 1.0, IMPACT: 0.0}, 0.8),
        ),
        "trail_long_deg": (("trail_protract", {LALD: 0.0, SLD: 0.6, IMPACT: 1.0, SLT: 0.3, 1.36: 0.0}, -1.0),),
        "elbow_under": (("trail_elbow_l", {SLB: 0.0, LAL: 0.8, TOP: 1.0, LALD: 0.6, IMPACT: 0.0}, 1.0),),
        "chest_through_deg": (("thorax_turn", {IMPACT: 0.0, SLT: 1.0, 1.36: 0.5, 1.6: 0.0}, -1.0),),
        "arm_through": (("arm_x", {IMPACT: 0.0, SLT: 1.0, 1.28: 0.6, 1.36: 0.0}, 1.0),),
        "set_deg": (("psi", {SLB: 0.0, LAL: 1.0, 0.75: 0.6, TOP: 0.0}, 1.0),),
        "lag_deg": (("psi", {TOP: 0.0, 0.93: 0.4, LALD: 1.0, SLD: 0.5, IMPACT: 0.0}, 1.0),),
        "push_m": (("pelvis_x", {0.0: 0.0, 0.32: 1.0, 0.66: 0.6, TOP: 0.0}, -1.0),),
        "top_m": (("pelvis_x", {0.32: 0.0, 0.66: 0.8, TOP: 1.0, LALD: 0.5, IMPACT: 0.0}, 1.0),),
        "shift_m": (("pelvis_x", {TOP: 0.0, LALD: 0.75, IMPACT: 1.0, DOWN: 1.0, REST: 1.0}, 1.0),),
        "chest_finish_deg": (("thorax_turn", {SLT: 0.0, 1.36: 0.5, 1.6: 1.0, DOWN: 1.0, REST: 0.3}, -1.0),),
        "hands_finish": (("lead_arm", {1.36: 0.0, 1.48: 0.5, END: 1.0, DOWN: 1.0, REST: 0.0}, 1.0),),
        "heel_finish_deg": (("trail_lift", {IMPACT: 0.2, 1.36: 0.8, 1.60: 1.0, DOWN: 1.0, REST: 0.7}, 1.0),),
    }
)
"""Control → (curve, shape, size of one unit); angles in degrees, lengths in metres, arms in shares of their length."""

SETUP: tuple[str, ...] = (
    "stance_m", "ball_m", "hands_ahead_m", "hang_deg", "hands_ahead_impact_m", "hands_out_m", "club_m",
)  # fmt: skip
"""Changes of the set-up: wider stance, ball and hands further to the target, hands ahead of the club head at address,
arms further from the body, at impact hands ahead of the club head and further out, longer club."""

LIMITS: Mapping[str, float] = MappingProxyType(
    {
        **{name: 80.0 for name in MOVES if name.endswith("_deg")},
        **{name: 0.4 for name in MOVES if name.endswith("_m")},
        **{name: 1.0 for name in MOVES if not name.endswith(("_deg", "_m"))},
        **{name: 40.0 if name.endswith("_deg") else 0.4 for name in SETUP},
    }
)
"""How far each may go, either way; most swings stop being possible long before."""
