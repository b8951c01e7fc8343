"""The movement itself: key values over canonical time, changed by style, faults and human variation.

Canonical time runs 0 at the start of the movement, ``TOP``, ``IMPACT``, ``END`` (end position reached), ``DOWN``
(end of the hold), ``REST`` (club let down). Event times follow the medians of the GolfDB labels; amounts are
common practice unless a source stands beside them.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from overlay.arrays import FloatArray
from overlay.golfer import controls as c
from overlay.golfer.skeleton import shaft_direction
from overlay.golfer.spec import GolferSpec

TOP, IMPACT, END, DOWN, REST = c.TOP, c.IMPACT, 1.64, c.DOWN, c.REST
SLB, LAL, LALD, SLD, SLT = c.SLB, c.LAL, c.LALD, c.SLD, c.SLT
START = -2.2
LOWER = 2.25

Keys = dict[str, list[tuple[float, float]]]

SLOW, FAST = 0.030, 0.012
"""Gaussian smoothing of trunk and leg curves, and of arm and club curves, canonical seconds."""

ACROSS_DEG = 25.0
"""Turn of the shaft at the top, seen from above, that a club across the line or laid off of size 1 means."""

STRIKE: tuple[tuple[float, float], ...] = ((-0.016, 34.0), (0.016, -33.0))
"""Around impact: (canonical time, degrees of shaft angle) from impact."""

FAST_CURVES = frozenset({"arm_x", "arm_y", "arm_z", "psi", "delta", "lead_arm"})


def base_keys() -> Keys:
    """Key values (canonical time, value) of the usual good swing; metres, degrees, shares."""
    return {
        "pelvis_turn": [(0, 0), (SLB, 20), (0.70, 42), (0.83, 48), (0.90, 45), (LALD, 12), (SLD, -18), (IMPACT, -40),
                        (SLT, -60), (1.36, -84), (1.60, -97), (DOWN, -97), (REST, -80)],
        "pelvis_x": [(0, 0), (0.32, -0.025), (0.66, -0.022), (TOP, 0.005), (LALD, 0.09), (IMPACT, 0.135),
                     (1.36, 0.165), (1.60, 0.18), (DOWN, 0.18), (REST, 0.15)],
        "pelvis_y": [(0, 0), (TOP, -0.005), (IMPACT, 0.0), (1.36, 0.06), (1.60, 0.085), (DOWN, 0.085), (REST, 0.08)],
        "pelvis_tilt": [(0, 20), (TOP, 19), (LALD, 18), (IMPACT, 10), (1.36, 1), (1.60, -3), (DOWN, -3), (REST, 1)],
        "pelvis_roll": [(0, -1), (TOP, -6), (LALD, 0), (IMPACT, 6), (1.36, 4), (1.60, 1), (DOWN, 1), (REST, 0)],
        "pelvis_lift": [(0, 0), (REST, 0)],
        "lead_leg": [(0, 0.974), (SLB, 0.964), (TOP, 0.940), (0.95, 0.937), (LALD, 0.942), (IMPACT, 0.973),
                     (SLT, 0.985), (1.36, 0.993), (1.60, 0.993), (DOWN, 0.993), (REST, 0.990)],
        "lead_knee_out": [(0, 0.25), (TOP, 0.55), (LALD, 0.35), (IMPACT, 0.3), (1.60, 0.35), (DOWN, 0.35), (REST, 0.3)],
        "trail_knee_out": [(0, 0.25), (TOP, 0.25), (LALD, 0.45), (IMPACT, 0.75), (1.60, 0.9), (DOWN, 0.9), (REST, 0.9)],
        "lead_foot_turn": [(0, 0), (IMPACT, 0), (1.60, 6), (DOWN, 6), (REST, 6)],
        "trail_lift": [(0, 0), (0.97, 0), (SLD, 8), (IMPACT, 18), (SLT, 30), (1.36, 52), (1.60, 70), (DOWN, 70),
                       (REST, 52)],
        "trail_foot_turn": [(0, 0), (LALD, 0), (IMPACT, 8), (1.36, 28), (1.60, 40), (DOWN, 40), (REST, 40)],
        "bend": [(0, 32), (TOP, 32), (LALD, 34), (IMPACT, 31), (SLT, 25), (1.36, 15), (1.60, 3), (DOWN, 3), (REST, 4)],
        "lean": [(0, -9), (SLB, -7), (TOP, -6), (LALD, -9), (IMPACT, -10), (SLT, -11), (1.36, -11), (1.60, -7),
                 (DOWN, -7), (REST, -2)],
        "thorax_turn": [(0, -3), (SLB, 36), (LAL, 68), (0.75, 93), (0.86, 104), (0.93, 97), (LALD, 62), (SLD, 14),
                        (IMPACT, -28), (SLT, -58), (1.36, -92), (1.60, -115), (DOWN, -115), (REST, -88)],
        "thorax_tilt": [(0, 0), (REST, 0)],
        "lead_protract": [(0, 18), (SLB, 22), (TOP, 26), (LALD, 22), (IMPACT, 12), (1.36, 2), (REST, 5)],
        "trail_protract": [(0, 30), (SLB, 14), (TOP, -8), (LALD, -2), (IMPACT, 6), (SLT, 14), (1.36, 26), (1.60, 18),
                           (DOWN, 18), (REST, 10)],
        "lead_shrug": [(0, -4), (TOP, 2), (IMPACT, 2), (1.60, 6), (DOWN, 6), (REST, -2)],
        "trail_shrug": [(0, -14), (TOP, 6), (LALD, 4), (IMPACT, 2), (SLT, 4), (1.60, 10), (DOWN, 10), (REST, -2)],
        "head_turn": [(0, 4), (TOP, 20), (LALD, 14), (IMPACT, 8), (SLT, 0), (1.36, -45), (1.60, -84), (DOWN, -84),
                      (REST, -86)],
        "head_pitch": [(0, 40), (TOP, 40), (IMPACT, 42), (SLT, 38), (1.36, 18), (1.60, 2), (DOWN, 2), (REST, 2)],
        "head_roll": [(0, 2), (TOP, 6), (IMPACT, 16), (SLT, 18), (1.36, 12), (1.60, 3), (DOWN, 3), (REST, 0)],
        "arm_x": [(SLB, -0.58), (LAL, -0.90), (0.75, -0.72), (TOP, -0.50), (0.93, -0.58), (LALD, -0.87),
                  (SLD, -0.62), (SLT, 0.40), (1.28, 0.76), (1.36, 0.66), (1.48, 0.36), (1.62, 0.00), (DOWN, 0.00),
                  (LOWER, 0.40), (2.55, 0.72), (REST, 0.62)],
        "arm_y": [(SLB, -0.12), (LAL, -0.40), (0.75, -0.55), (TOP, -0.60), (0.93, -0.58), (LALD, -0.44),
                  (SLD, 0.00), (SLT, 0.24), (1.28, 0.18), (1.36, 0.10), (1.48, 0.10), (1.62, 0.26), (DOWN, 0.26),
                  (LOWER, 0.10), (2.55, 0.14), (REST, 0.28)],
        "arm_z": [(SLB, -0.80), (LAL, 0.0), (0.75, 0.42), (TOP, 0.60), (0.93, 0.52), (LALD, 0.0),
                  (SLD, -0.76), (SLT, -0.87), (1.28, -0.42), (1.36, 0.18), (1.48, 0.62), (1.62, 0.66), (DOWN, 0.66),
                  (LOWER, 0.62), (2.55, 0.05), (REST, -0.62)],
        "lead_arm": [(0, 0.982), (0.25, 0.992), (SLB, 0.9965), (SLT, 0.9965), (1.28, 0.975), (1.36, 0.86),
                     (1.48, 0.56), (1.62, 0.36), (DOWN, 0.36),
                     (LOWER, 0.58), (2.55, 0.72), (REST, 0.72)],
        "psi": [(0.20, 19), (SLB, 90), (LAL, 168), (0.75, 236), (TOP, 263), (0.93, 254), (LALD, 192), (SLD, 90),
                (SLT, -90), (1.28, -160), (1.36, -204), (1.48, -268), (1.62, -337), (DOWN, -337),
                (LOWER, -268), (2.55, -185), (REST, -150)],
        "delta": [(0, 0), (SLB, -3), (LAL, -14), (0.75, -9), (TOP, 0), (LALD, -7), (SLD, 0), (SLT, -6), (1.28, -16),
                  (1.36, -28), (1.48, -46), (1.62, -24), (DOWN, -24), (LOWER, -46), (2.55, -18),
                  (REST, -10)],
        "lead_elbow_l": [(0, 0.6), (TOP, 0.2), (IMPACT, 0.6), (1.36, 0.6), (1.62, 0.5), (REST, 0.5)],
        "lead_elbow_f": [(0, -0.5), (TOP, 0.1), (IMPACT, -0.4), (1.36, 0.2), (1.62, 0.5), (REST, 0.0)],
        "lead_elbow_u": [(0, -0.4), (TOP, -0.8), (IMPACT, -0.4), (1.36, -0.7), (1.62, -0.7), (REST, -0.8)],
        "trail_elbow_l": [(0, -0.5), (LAL, -0.5), (TOP, -0.35), (LALD, -0.2), (IMPACT, -0.4), (SLT, -0.5), (1.48, -0.2),
                          (1.62, 0.1), (REST, -0.5)],
        "trail_elbow_f": [(0, -0.6), (LAL, -0.1), (TOP, 0.2), (LALD, 0.3), (IMPACT, -0.5), (SLT, -0.5), (1.48, 0.5),
                          (1.62, 0.7), (REST, 0.0)],
        "trail_elbow_u": [(0, -0.5), (LAL, -0.85), (TOP, -0.9), (LALD, -0.9), (IMPACT, -0.5), (SLT, -0.5), (1.48, -0.8),
                          (1.62, -0.6), (REST, -0.8)],
    }  # fmt: skip


def bump(keys: Keys, name: str, shape: Mapping[float, float] | list[tuple[float, float]], size: float) -> None:
    """Add ``size`` × a shape (canonical time → share, linear between, zero outside) to the keys of one curve."""
    points = sorted(dict(shape).items())
    x, y = np.array(points).T
    keys[name] = [(t, value + size * float(np.interp(t, x, y, left=0.0, right=0.0))) for t, value in keys[name]]


def refine(keys: Keys, name: str, times: tuple[float, ...]) -> None:
    """Put keys at ``times`` without changing the curve much, so that a bump between old keys has a hold."""
    have = dict(keys[name])
    x, y = np.array(sorted(have.items())).T
    for t in times:
        if t not in have:
            have[t] = float(np.interp(t, x, y))
    keys[name] = sorted(have.items())


def apply_style(keys: Keys, spec: GolferSpec) -> None:
    """Shift the keys by what the style and the club ask for."""
    s = spec.style
    upright = 5.0 if spec.club == "driver" else 1.0  # a longer club is swung standing taller
    back = {0.0: 0.0, SLB: 0.5, 0.75: 1.0, TOP: 1.0, 0.93: 0.9, LALD: 0.5, IMPACT: 0.0}
    at_top = {LAL: 0.0, 0.75: 0.8, TOP: 1.0, 0.93: 0.8, LALD: 0.0}
    bump(keys, "thorax_turn", back, s.shoulder_turn_deg)
    bump(keys, "pelvis_turn", {0.0: 0.0, SLB: 0.5, 0.70: 0.9, 0.83: 1.0, 0.90: 0.9, LALD: 0.2}, s.pelvis_turn_deg)
    bump(keys, "arm_z", at_top, s.hands_height)
    bump(keys, "arm_y", at_top, -s.hands_depth)
    bump(keys, "psi", at_top, s.shaft_top_deg)
    bump(keys, "delta", {0.0: 0.0, LAL: 1.0, TOP: 0.5, LALD: 1.0, IMPACT: 0.0}, -s.plane_deg)
    for name, share in (("bend", 1.0), ("pelvis_tilt", 0.6)):
        bump(keys, name, {-9.0: 1.0, IMPACT: 1.0, 1.36: 0.3, 1.6: 0.0}, share * (s.forward_bend_deg - upright))
    bump(keys, "lead_leg", {-9.0: 1.0, LALD: 1.0, IMPACT: 0.25, SLT: 0.0}, -0.0022 * s.knee_flex_deg)
    bump(keys, "pelvis_x", {TOP: 0.0, LALD: 0.8, IMPACT: 1.0, DOWN: 1.0, REST: 1.0}, s.shift_m)
    bump(keys, "psi", {0.93: 0.3, LALD: 0.8, SLD: 0.5, IMPACT: 0.0}, s.lag_deg)
    bump(keys, "arm_z", {1.36: 0.3, 1.48: 1.0, 1.62: 1.0, DOWN: 1.0, REST: 0.0}, s.finish_height)
    bump(keys, "trail_lift", {IMPACT: 0.2, 1.36: 0.8, 1.60: 1.0, DOWN: 1.0, REST: 0.7}, s.trail_foot_lift_deg)


def apply_controls(keys: Keys, spec: GolferSpec) -> None:
    """Add the shapes of the controls that are set."""
    for name, size in spec.controls.items():
        for curve, shape, unit in c.MOVES.get(name, ()):
            if size:
                refine(keys, curve, tuple(t for t in shape if keys[curve][0][0] < t < keys[curve][-1][0]))
                bump(keys, curve, shape, size * unit)


def apply_faults(keys: Keys, spec: GolferSpec) -> None:
    """Plant the faults."""
    size = spec.fault("sway")
    bump(keys, "pelvis_x", {0.0: 0.0, 0.32: 0.7, 0.66: 1.0, TOP: 0.9, LALD: 0.3, IMPACT: 0.0}, -0.09 * size)
    # The upper body follows the pelvis half-way, as a swaying player's does.
    bump(keys, "lean", {0.0: 0.0, SLB: 0.8, TOP: 0.9, LALD: 0.3, IMPACT: 0.0}, 5.0 * size)
    size = spec.fault("over_the_top")
    bump(keys, "arm_y", {TOP: 0.0, 0.93: 0.55, LALD: 1.0, SLD: 0.55, IMPACT: 0.0}, 0.17 * size)
    bump(keys, "delta", {TOP: 0.0, 0.93: 0.6, LALD: 1.0, SLD: 0.6, IMPACT: 0.0}, -14.0 * size)
    bump(keys, "thorax_turn", {TOP: 0.0, 0.93: 0.8, LALD: 1.0, SLD: 0.5, IMPACT: 0.0}, -12.0 * size)
    size = spec.fault("early_release")
    bump(keys, "psi", {TOP: 0.0, 0.93: 0.5, LALD: 1.0, SLD: 0.6, IMPACT: 0.0}, -42.0 * size)
    # After the ball the club runs on while the hands stall: it is level before the arms have come as far.
    bump(keys, "psi", {IMPACT: 0.0, SLT: 1.0, 1.28: 0.5, 1.36: 0.0}, -28.0 * size)
    bump(keys, "arm_x", {IMPACT: 0.0, SLT: 1.0, 1.28: 0.5, 1.36: 0.0}, -0.25 * size)
    size = spec.fault("reverse_spine")
    bump(keys, "lean", {0.0: 0.0, SLB: 0.5, TOP: 1.0, LALD: 0.4, IMPACT: 0.0}, 14.0 * size)
    size = spec.fault("flat_shoulder_turn")
    bump(keys, "thorax_tilt", {0.0: 0.0, SLB: 0.5, LAL: 0.8, TOP: 1.0, LALD: 0.6, IMPACT: 0.0}, 20.0 * size)
    bump(keys, "arm_z", {LAL: 0.0, 0.75: 0.8, TOP: 1.0, 0.93: 0.8, LALD: 0.0}, -0.12 * size)
    size = spec.fault("posture_loss")
    late = {TOP: 0.0, LALD: 0.5, SLD: 0.8, IMPACT: 1.0, SLT: 0.9, 1.36: 0.3, 1.6: 0.0}
    bump(keys, "pelvis_y", late, 0.08 * size)
    bump(keys, "pelvis_lift", late, 0.02 * size)
    bump(keys, "bend", late, -14.0 * size)
    bump(keys, "pelvis_tilt", late, -8.0 * size)


def turn_shaft(keys: Keys, plane_deg: float, size_deg: float) -> None:
    """Turn the shaft at the top by ``size_deg``, seen from above, towards the ball line (+, across the line).

    How far the shaft must leave the swing plane for that depends on the plane's slope, so it is solved: the heading
    of the shaft grows with every degree out of the plane.
    """
    if size_deg == 0.0:
        return
    psi, delta = (dict(keys[name])[TOP] for name in ("psi", "delta"))

    def heading(added: float) -> float:
        arrays = (np.array([value]) for value in (psi, delta + added, plane_deg))
        x, y, _ = shaft_direction(*arrays)[0]
        return float(np.degrees(np.arctan2(y, x)))

    wanted = heading(0.0) + size_deg
    low, high = (-85.0 - delta, 0.0) if size_deg > 0 else (0.0, 85.0 - delta)
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if heading(middle) > wanted else (low, middle)
    bump(keys, "delta", {LAL: 0.0, 0.75: 0.6, TOP: 1.0, 0.93: 0.8, LALD: 0.0}, 0.5 * (low + high))


REFINED: dict[str, tuple[float, ...]] = {
    "pelvis_x": (SLD, SLT),
    "pelvis_y": (LALD, SLD, SLT),
    "pelvis_lift": (TOP, LALD, SLD, IMPACT, SLT, 1.36, 1.6),
    "bend": (SLB, SLD),
    "pelvis_tilt": (SLD, SLT),
    "lean": (SLD,),
    "thorax_tilt": (SLB, LAL, TOP, LALD, IMPACT),
    "delta": (0.93,),
    "lead_leg": (SLD,),
}


def apply_variation(keys: Keys, spec: GolferSpec) -> None:
    """Small smooth differences from swing to swing, drawn from the seed; none at address and little at impact."""
    if spec.variation == 0.0:
        return
    rng = np.random.default_rng([spec.seed, 20])
    spread = {
        "pelvis_turn": 1.6, "pelvis_x": 0.006, "pelvis_y": 0.004, "thorax_turn": 2.2, "bend": 0.7, "lean": 0.7,
        "arm_x": 0.018, "arm_y": 0.022, "arm_z": 0.018, "psi": 2.6, "delta": 1.6, "head_turn": 1.5,
        "lead_leg": 0.002, "trail_lift": 1.5, "pelvis_tilt": 0.7,
    }  # fmt: skip
    for name, size in spread.items():
        centres = np.array([0.0, 0.45, TOP, 1.05, 1.25, 1.6])
        draws = rng.normal(0.0, 1.0, len(centres)) * np.array([0.3, 1.0, 1.0, 0.9, 1.0, 1.0])
        if name == "trail_lift":
            draws[:4] = 0.0  # the heel cannot go under the ground before it rises
        wave = {float(c): float(d) for c, d in zip(centres, draws)}
        wave = {-9.0: wave[0.0], **wave, 9.0: wave[1.6]}
        bump(keys, name, wave, size * spec.variation)


def keys_of(spec: GolferSpec) -> Keys:
    """Key values of one swing, address and impact of arm and club still to be solved."""
    keys = base_keys()
    for name, times in REFINED.items():
        refine(keys, name, times)
    apply_style(keys, spec)
    apply_controls(keys, spec)
    apply_faults(keys, spec)
    apply_variation(keys, spec)
    height = spec.body.stature_m / 1.78
    keys["pelvis_x"] = [(t, value * height) for t, value in keys["pelvis_x"]]
    return keys


def waggle(grid: FloatArray, size: float) -> FloatArray:
    """Degrees of shaft angle added before address, over canonical time: two small moves of the club head."""
    value: FloatArray = np.zeros_like(grid)
    for centre, height in ((-1.30, 14.0), (-0.85, 9.0)):
        value = value + height * np.exp(-0.5 * ((grid - centre) / 0.085) ** 2)
    return size * value
