"""From movement values to joints: forward kinematics of the trunk, inverse kinematics of arms and legs.

Everything here is for a right-handed player in the axes (X to the target, Y towards the ball line, Z up), with
segment axes as columns lead, forward, up. Distances between joined joints are exact by construction.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.golfer.spec import BodySpec

Values = Mapping[str, FloatArray]

GRIP_FROM_BUTT_M = 0.11
HALF_GRIP_M = 0.042
HAND_SHARE = 0.42
"""Wrist to the middle of the closed hand, as a share of the hand's length."""
SOFT_M = 0.006
TRAIL_REACH = 0.990
"""The trail arm is never straighter than this share of its length: about 16 degrees of bend."""


def unit(v: FloatArray) -> FloatArray:
    """Unit vectors along the last axis."""
    result: FloatArray = v / np.linalg.norm(v, axis=-1, keepdims=True)
    return result


def dot(a: FloatArray, b: FloatArray) -> FloatArray:
    """(T, 1) scalar products."""
    result: FloatArray = np.sum(a * b, axis=-1, keepdims=True)
    return result


def stack(*parts: FloatArray) -> FloatArray:
    """(T, n) from n curves."""
    return np.stack(parts, axis=-1)


def soft_excess(x: FloatArray, width: float = SOFT_M) -> FloatArray:
    """A smooth max(0, x) with a knee of ``width``."""
    result: FloatArray = width * np.logaddexp(0.0, x / width)
    return result


def two_bone(root: FloatArray, end: FloatArray, first: float, second: float, pole: FloatArray) -> FloatArray:
    """Middle joint of two bones of given lengths from ``root`` to ``end`` (T, 3), bent towards ``pole``.

    When the end is out of reach the bones lie on the line, as far as they go.
    """
    gap = end - root
    far = np.linalg.norm(gap, axis=-1, keepdims=True)
    along = gap / far
    reach = np.clip(far, abs(first - second) + 1e-6, (first + second) - 1e-9)
    a = (first**2 - second**2 + reach**2) / (2 * reach)
    side = np.sqrt(np.maximum(first**2 - a**2, 0.0))
    across = unit(pole - dot(pole, along) * along)
    return root + a * along + side * across


def yaw_pitch_roll(yaw_deg: FloatArray, pitch_deg: FloatArray, roll_deg: FloatArray) -> FloatArray:
    """(T, 3, 3) axes (columns lead, forward, up) after a turn about Z, a forward tilt and a lift of the lead side.

    Yaw + takes the lead side towards the ball line (as in the backswing), pitch + bends forward.
    """
    y, p, r = np.radians(yaw_deg), np.radians(pitch_deg), np.radians(roll_deg)
    lead0 = stack(np.cos(y), np.sin(y), np.zeros_like(y))
    forward0 = stack(-np.sin(y), np.cos(y), np.zeros_like(y))
    up0 = np.broadcast_to(np.array([0.0, 0.0, 1.0]), lead0.shape)
    forward = np.cos(p)[:, None] * forward0 - np.sin(p)[:, None] * up0
    up1 = np.cos(p)[:, None] * up0 + np.sin(p)[:, None] * forward0
    lead = np.cos(r)[:, None] * lead0 + np.sin(r)[:, None] * up1
    up = np.cos(r)[:, None] * up1 - np.sin(r)[:, None] * lead0
    return np.stack([lead, forward, up], axis=-1)


def about_axis(bend_deg: FloatArray, lean_deg: FloatArray, turn_deg: FloatArray, tilt_deg: FloatArray) -> FloatArray:
    """(T, 3, 3) axes of the chest: the trunk axis bent to the ball line and leant to the target, turned about itself.

    ``tilt_deg`` lifts the lead side about the chest's forward axis, which makes a turn flatter or steeper.
    """
    up = unit(stack(np.tan(np.radians(lean_deg)), np.tan(np.radians(bend_deg)), np.ones_like(bend_deg)))
    x = np.zeros_like(up)
    x[:, 0] = 1.0
    lead0 = unit(x - dot(x, up) * up)
    forward0 = np.cross(up, lead0)
    c, s = np.cos(np.radians(turn_deg))[:, None], np.sin(np.radians(turn_deg))[:, None]
    lead1, forward = c * lead0 + s * forward0, -s * lead0 + c * forward0
    ct, st = np.cos(np.radians(tilt_deg))[:, None], np.sin(np.radians(tilt_deg))[:, None]
    return np.stack([ct * lead1 + st * up, forward, ct * up - st * lead1], axis=-1)


@dataclass(frozen=True)
class Build:
    """Numbers of one player that do not change over the swing, metres."""

    lengths: Mapping[str, float]
    arm: float
    leg: float
    hand: float
    shaft: float
    stance: float
    lead_flare_deg: float
    trail_flare_deg: float
    plane_deg: float

    @classmethod
    def of(cls, body: BodySpec, club_m: float, stance: float, flare_deg: float, plane_deg: float) -> Build:
        lengths = body.lengths_m()
        return cls(
            lengths=lengths,
            arm=lengths["upper_arm"] + lengths["forearm"],
            leg=lengths["thigh"] + lengths["shank"],
            hand=HAND_SHARE * lengths["hand"],
            shaft=club_m - GRIP_FROM_BUTT_M,
            stance=stance,
            lead_flare_deg=22.0 + flare_deg,
            trail_flare_deg=6.0,
            plane_deg=plane_deg,
        )


def shaft_direction(psi_deg: FloatArray, delta_deg: FloatArray, plane_deg: FloatArray) -> FloatArray:
    """(T, 3) unit vector grip → head from angles (T,).

    ``psi`` turns in the plane through the target line that rises at ``plane`` (0 at the ball, 90 straight back),
    ``delta`` leaves the plane, + downwards.
    """
    psi, delta, plane = np.radians(psi_deg), np.radians(delta_deg), np.radians(plane_deg)
    zero = np.zeros_like(psi)
    down = stack(zero, np.cos(plane), -np.sin(plane))
    normal = stack(zero, -np.sin(plane), -np.cos(plane))
    back = np.array([-1.0, 0.0, 0.0])
    psi, delta = psi[:, None], delta[:, None]
    result: FloatArray = np.cos(delta) * (np.cos(psi) * down + np.sin(psi) * back) + np.sin(delta) * normal
    return result


def _foot(
    x: float, out_deg: float, lift_deg: FloatArray, turn_deg: FloatArray, lengths: Mapping[str, float]
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Ankle, heel, toe (T, 3) and the foot's forward direction; the toe stays where it is, the heel may rise."""
    size, high = lengths["foot"], lengths["ankle_height"]
    out = np.radians(out_deg)
    base = np.array([np.sin(out), np.cos(out), 0.0])
    toe_place = np.array([x, -0.5 * size, 0.0]) + size * base
    # The foot turns about its toe with the lift, and about the vertical through the toe.
    angle = out + np.radians(turn_deg)
    flat = stack(np.sin(angle), np.cos(angle), np.zeros_like(angle))
    up = np.broadcast_to(np.array([0.0, 0.0, 1.0]), flat.shape)
    lift = np.radians(lift_deg)[:, None]
    forward = np.cos(lift) * flat - np.sin(lift) * up
    normal = np.cos(lift) * up + np.sin(lift) * flat
    toe = np.broadcast_to(toe_place, flat.shape) + 0.0
    heel = toe - size * forward
    ankle = heel + 0.27 * size * forward + high * normal
    return ankle, heel, toe, flat


def _wrist(shoulder: FloatArray, hand: FloatArray, shaft: FloatArray, size: float) -> FloatArray:
    """Wrist so that the closed hand holds the shaft: the hand points between the arm and the club."""
    return hand - size * unit(unit(hand - shoulder) + 0.42 * shaft)


def pose(v: Values, build: Build) -> dict[str, FloatArray]:
    """Joints (T, 3) in lead/trail names and segment axes (T, 3, 3) from movement values.

    Parameters
    ----------
    v : name → (T,)
        See ``keys.CURVES``.
    build : Build

    Returns
    -------
    dict
        Joints; ``pelvis_axes``, ``thorax_axes``, ``head_axes`` with columns lead, forward, up; ``grip``,
        ``club_head``, ``shaft`` (unit).
    """
    lengths = build.lengths
    out: dict[str, FloatArray] = {}
    half_stance = 0.5 * build.stance
    zero = np.zeros_like(v["pelvis_x"])
    for side, x, flare, lift, turn in (
        ("lead", half_stance, build.lead_flare_deg, zero, v["lead_foot_turn"]),
        ("trail", -half_stance, -build.trail_flare_deg, v["trail_lift"], v["trail_foot_turn"]),
    ):
        ankle, heel, toe, direction = _foot(x, flare, lift, turn, lengths)
        if f"{side}_step_x" in v:  # walking: the whole foot is elsewhere
            step = stack(*(v[f"{side}_step_{axis}"] for axis in "xyz"))
            ankle, heel, toe = ankle + step, heel + step, toe + step
        out[f"{side}_ankle"], out[f"{side}_heel"], out[f"{side}_toe"] = ankle, heel, toe
        out[f"{side}_foot_forward"] = direction

    pelvis_axes = yaw_pitch_roll(v["pelvis_turn"], v["pelvis_tilt"], v["pelvis_roll"])
    half_hip = 0.5 * lengths["hip_width"]
    offset = half_hip * pelvis_axes[..., 0]
    flat = stack(v["pelvis_x"], v["pelvis_y"], zero)

    def height(side: str, sign: float, stretch: FloatArray) -> FloatArray:
        hip = flat + sign * offset
        across = hip - out[f"{side}_ankle"]
        square = (stretch * build.leg) ** 2 - across[:, 0] ** 2 - across[:, 1] ** 2
        level: FloatArray = out[f"{side}_ankle"][:, 2] + np.sqrt(np.maximum(square, 1e-4)) - sign * offset[:, 2]
        return level

    wanted = height("lead", 1.0, v["lead_leg"]) + v["pelvis_lift"]
    for side, sign in (("lead", 1.0), ("trail", -1.0)):
        wanted = wanted - soft_excess(wanted - height(side, sign, zero + 0.996), 0.004)
    pelvis = stack(v["pelvis_x"], v["pelvis_y"], wanted)
    out["pelvis"] = pelvis
    out["pelvis_axes"] = pelvis_axes
    for side, sign in (("lead", 1.0), ("trail", -1.0)):
        hip = pelvis + sign * offset
        share = v[f"{side}_knee_out"][:, None]
        pole = (1 - share) * out[f"{side}_foot_forward"] + share * pelvis_axes[..., 1]
        out[f"{side}_hip"] = hip
        out[f"{side}_knee"] = two_bone(hip, out[f"{side}_ankle"], lengths["thigh"], lengths["shank"], pole)

    # A tilt of the chest about its own front is a matter of the shoulders: the spine's line stays.
    spine = about_axis(v["bend"], v["lean"], v["thorax_turn"], zero)[..., 2]
    chest = about_axis(v["bend"], v["lean"], v["thorax_turn"], v["thorax_tilt"])
    out["thorax_axes"] = chest
    # The loin bends between pelvis and chest, the chest itself does not.
    low = unit(0.35 * pelvis_axes[..., 2] + 0.65 * spine)
    out["thorax"] = pelvis + 0.45 * lengths["trunk"] * low
    out["neck"] = out["thorax"] + 0.55 * lengths["trunk"] * spine
    half_width = 0.5 * lengths["shoulder_width"]
    for side, sign in (("lead", 1.0), ("trail", -1.0)):
        forward = np.radians(v[f"{side}_protract"])[:, None]
        rise = np.radians(v[f"{side}_shrug"])[:, None]
        direction = (
            np.cos(rise) * (sign * np.cos(forward) * chest[..., 0] + np.sin(forward) * chest[..., 1])
            + np.sin(rise) * chest[..., 2]
        )
        out[f"{side}_shoulder"] = out["neck"] + half_width * direction

    head = yaw_pitch_roll(v["head_turn"], v["head_pitch"], v["head_roll"])
    out["head_axes"] = head
    out["head"] = out["neck"] + lengths["neck_to_head"] * unit(0.55 * spine + 0.45 * head[..., 2])

    shaft = shaft_direction(v["psi"], v["delta"], v["plane"] if "plane" in v else zero + build.plane_deg)
    middle = _hands(v, build, out["lead_shoulder"], out["trail_shoulder"], shaft)
    out["shaft"] = shaft
    out["grip"] = middle
    out["club_head"] = middle + build.shaft * shaft
    for side, sign in (("lead", -1.0), ("trail", 1.0)):
        shoulder = out[f"{side}_shoulder"]
        hand = middle + sign * HALF_GRIP_M * shaft
        wrist = _wrist(shoulder, hand, shaft, build.hand)
        pole = np.einsum("tij,tj->ti", chest, stack(*(v[f"{side}_elbow_{axis}"] for axis in "lfu")))
        out[f"{side}_hand"] = hand
        out[f"{side}_wrist"] = wrist
        out[f"{side}_elbow"] = two_bone(shoulder, wrist, lengths["upper_arm"], lengths["forearm"], pole)
    return out


def _hands(v: Values, build: Build, lead: FloatArray, trail: FloatArray, shaft: FloatArray) -> FloatArray:
    """Middle of both hands.

    They lie on the keyed direction from the lead shoulder, as far out as the lead arm is keyed to be straight. Where
    the trail arm would not reach, the direction turns towards the trail shoulder; the lead arm keeps its length.
    """
    keyed = unit(stack(v["arm_x"], v["arm_y"], v["arm_z"]))
    lead_far = v["lead_arm"][:, None] * build.arm
    trail_far = TRAIL_REACH * build.arm

    def gap(shoulder: FloatArray, middle: FloatArray, sign: float) -> FloatArray:
        wrist = _wrist(shoulder, middle + sign * HALF_GRIP_M * shaft, shaft, build.hand)
        return np.linalg.norm(wrist - shoulder, axis=-1, keepdims=True)

    between = trail - lead
    wide = np.linalg.norm(between, axis=-1, keepdims=True)
    between = between / wide
    along = dot(keyed, between)
    across = unit(keyed - along * between)
    angle = np.arccos(np.clip(along, -1.0, 1.0))
    # Distances are keyed to the wrists; the middle of the hands lies beyond them by an amount that depends on the
    # direction, so both are found together.
    far, reach = lead_far + build.hand, trail_far + build.hand
    middle = lead + far * keyed
    for _ in range(8):
        cosine = np.clip((wide**2 + far**2 - reach**2) / (2 * wide * far), -1.0, 1.0)
        turned = angle - soft_excess(angle - np.arccos(cosine), 0.02)
        middle = lead + far * (np.cos(turned) * between + np.sin(turned) * across)
        far = far + lead_far - gap(lead, middle, -1.0)
        reach = np.linalg.norm(middle - trail, axis=-1, keepdims=True) + trail_far - gap(trail, middle, 1.0)
    return middle
