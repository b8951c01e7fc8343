"""From joints to body shapes: the primitive table of one person (layout: ``render_kernels``).

Cross sections are those of an ordinary adult of 1.75 m and scale with the joints; they are drawn, not measured.
Nothing here depends on the chirality of the axes: sides come from the joints, directions from the segment axes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np

from overlay.arrays import FloatArray
from overlay.golfer.looks import MATERIALS, Look
from overlay.golfer.tracks import HIP_CENTRES, SHOULDER_CENTRES

if TYPE_CHECKING:
    from overlay.golfer.motion import Posture

LIMB, ELLIPSOID, BOX, LOFT = 0, 1, 2, 3
LEVELS = 48
_FIT = np.linalg.pinv(np.vander(np.linspace(-1.0, 1.0, LEVELS), 9, increasing=True))
"""Least-squares polynomial of degree 8 through the levels of a loft."""
CODE = {name: i for i, name in enumerate(MATERIALS)}
PLAIN, TRUNK, LEG, SLEEVE, FACE, CAP_PART, SHOE_PART, HAND_PART, HAIR_PART, BRIM_PART, ARM_PART = range(11)
REFERENCE_STATURE_M = 1.75
# Half the distance of the joint centres, m; a woman's shoulders are narrower.
HALF_HIPS = 0.5 * HIP_CENTRES * REFERENCE_STATURE_M
HALF_SHOULDERS = {False: 0.5 * SHOULDER_CENTRES * REFERENCE_STATURE_M, True: 0.162}
BUILDS = {"slim": 0.93, "medium": 1.0, "broad": 1.10}


@dataclass(frozen=True)
class Shapes:
    """Primitive rows (n, 31), loft curves (m, 7, 9), person rows (p, 42), material rows (p × 17, 8)."""

    primitives: FloatArray
    lofts: FloatArray
    persons: FloatArray
    materials: FloatArray


def _unit(vector: FloatArray) -> FloatArray:
    return np.asarray(vector / max(float(np.linalg.norm(vector)), 1e-9))


def _square_to(axis: FloatArray, hint: FloatArray) -> FloatArray:
    """The part of ``hint`` square to the unit ``axis``, unit length; any square direction if there is none."""
    across = hint - axis * float(hint @ axis)
    if float(across @ across) < 1e-8:
        across = np.array([axis[1], -axis[0], 0.0]) if abs(axis[2]) < 0.9 else np.array([0.0, axis[2], -axis[1]])
        across = across - axis * float(across @ axis)
    return _unit(across)


def _profile(levels: list[float], values: list[float]) -> FloatArray:
    """A smooth curve through the values, sampled at the rows of a loft (Catmull-Rom slopes, not overshooting)."""
    return _kept_profile(tuple(levels), tuple(values))


@lru_cache(maxsize=512)
def _kept_profile(levels: tuple[float, ...], values: tuple[float, ...]) -> FloatArray:
    # A look's cross sections are the same in every frame; callers only multiply them.
    x, y = np.array(levels), np.array(values)
    step = np.diff(y) / np.diff(x)
    slope = np.empty_like(y)
    slope[0], slope[-1] = step[0], step[-1]
    for k in range(1, len(y) - 1):
        slope[k] = 0.0 if step[k - 1] * step[k] <= 0 else 2.0 / (1.0 / step[k - 1] + 1.0 / step[k])
    at = np.linspace(0.0, 1.0, LEVELS)
    i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
    h = x[i + 1] - x[i]
    t = np.clip((at - x[i]) / h, 0.0, 1.0)
    a, b = 2 * t**3 - 3 * t**2 + 1, t**3 - 2 * t**2 + t
    curve = np.asarray(a * y[i] + b * h * slope[i] + (1 - a) * y[i + 1] + (t**3 - t**2) * h * slope[i + 1])
    curve.setflags(write=False)
    return curve


class Builder:
    """Collects primitives of one person; lengths given to it are for a stature of 1.75 m."""

    def __init__(self, scale: float, person: int) -> None:
        self.scale, self.person = scale, person
        self.rows: list[FloatArray] = []
        self.lofts: list[FloatArray] = []

    def _add(
        self, kind: int, group: int, blend: float, material: str, a: FloatArray, b: FloatArray, bound: float,
        frame: FloatArray, shape: list[float], part: int, tag: float,
    ) -> None:  # fmt: skip
        row = np.zeros(31)
        row[:4] = kind, self.person * 32 + group, blend * self.scale, CODE[material]
        row[4:7], row[7:10], row[10] = a, b, bound + abs(blend) * self.scale
        row[11:20] = frame.ravel()
        row[20 : 20 + len(shape)] = shape
        row[28:31] = part, self.person, tag
        self.rows.append(row)

    def limb(
        self, a: FloatArray, b: FloatArray, radii: tuple[float, ...], group: int, blend: float, material: str,
        part: int = PLAIN, *, wide: float = 0.0, side: FloatArray | None = None, tag: float = 0.0,
    ) -> None:  # fmt: skip
        """A rounded cone from a to b with radii at 0, ⅓, ⅔, 1 of its length, 1/(1 − wide) wider along ``side``."""
        s = self.scale
        length = max(float(np.linalg.norm(b - a)), 1e-4)
        axis = (b - a) / length
        u = _square_to(axis, side if side is not None else np.array([0.3, 0.5, 0.8]))
        v = np.cross(axis, u)
        r0, r1, r2, r3 = (r * s for r in (radii if len(radii) == 4 else np.linspace(radii[0], radii[1], 4)))
        c1 = -5.5 * r0 + 9 * r1 - 4.5 * r2 + r3
        c2 = 9 * r0 - 22.5 * r1 + 18 * r2 - 4.5 * r3
        c3 = -4.5 * r0 + 13.5 * r1 - 13.5 * r2 + 4.5 * r3
        bound = max(r0, r1, r2, r3) * 1.03 / (1.0 - wide)
        frame = np.array([u, v, axis])
        self._add(LIMB, group, blend, material, a, b, bound, frame, [length, r0, c1, c2, c3, wide], part, tag)

    def ellipsoid(
        self, centre: FloatArray, axes: FloatArray, radii: tuple[float, float, float], group: int, blend: float,
        material: str, part: int = PLAIN, tag: float = 0.0,
    ) -> None:  # fmt: skip
        """``axes`` (3, 3): columns are the directions of the three radii."""
        r = [x * self.scale for x in radii]
        self._add(ELLIPSOID, group, blend, material, centre, centre, max(r), axes.T, [1.0 / x for x in r], part, tag)

    def box(
        self, centre: FloatArray, axes: FloatArray, half: tuple[float, float, float], rounding: float, group: int,
        blend: float, material: str, part: int = PLAIN, bend: float = 0.0, tag: float = 0.0,
    ) -> None:  # fmt: skip
        """A rounded box of outer half sizes ``half``, its up face bent down by ``bend``·u² (1/m)."""
        s = self.scale
        h = [max(x - rounding, 1e-4) * s for x in half]
        bound = float(np.linalg.norm(h)) + rounding * s + bend / s * h[0] ** 2
        self._add(
            BOX, group, blend, material, centre, centre, bound, axes.T, [*h, rounding * s, bend / s], part, tag
        )  # fmt: skip

    def loft(
        self, a: FloatArray, axes: FloatArray, length: float, table: FloatArray, cap: float, square: float, group: int,
        blend: float, material: str, part: int = PLAIN, tag: float = 0.0,
    ) -> None:  # fmt: skip
        """Cross sections along axes[:, 2] from a; ``table`` (48, 7) and ``length`` are metres, not scaled."""
        middle = float(np.max(np.abs(table[:, 3:5]))) if len(table) else 0.0
        bound = float(np.max(table[:, :3])) * 1.25 + middle
        table = table.copy()
        table[:, :3] = 1.0 / table[:, :3]
        self.lofts.append((_FIT @ table).T)
        shape = [length, float(len(self.lofts) - 1), cap * self.scale, square]
        self._add(LOFT, group, blend, material, a, a + axes[:, 2] * length, bound, axes.T, shape, part, tag)


def _table(
    half: FloatArray, front: FloatArray, back: FloatArray, scale: float, bow: FloatArray | None = None,
    twist: FloatArray | None = None,
) -> FloatArray:  # fmt: skip
    table = np.zeros((LEVELS, 7))
    table[:, 0], table[:, 1], table[:, 2] = half * scale, front * scale, back * scale
    if bow is not None:
        table[:, 3:5] = bow
    table[:, 5] = 1.0
    if twist is not None:
        table[:, 5], table[:, 6] = np.cos(twist), np.sin(twist)
    return table


class Person:
    """One posture and look, ready to be turned into primitives."""

    def __init__(self, posture: Posture, look: Look, person: int = 0, lead: str = "left") -> None:
        self.look, self.lead = look, lead
        self.posture: Any = posture
        joints = {name: np.asarray(value, float) for name, value in posture.joints.items()}
        self.j = joints
        self.scale = float(posture.stature_m) / REFERENCE_STATURE_M
        thick = BUILDS[str(posture.build)]
        self.girth, self.limb_girth = look.girth * thick, look.limb_girth * (0.4 + 0.6 * thick)
        self.build = Builder(self.scale, person)
        self.pelvis_axes = np.asarray(posture.pelvis_axes, float)
        self.thorax_axes = np.asarray(posture.thorax_axes, float)
        self.head_axes = np.asarray(posture.head_axes, float)
        self._pull_in(look)
        self.hips = 0.5 * (joints["left_hip"] + joints["right_hip"])
        self.shoulders = 0.5 * (joints["left_shoulder"] + joints["right_shoulder"])
        self.neck_base = self._neck_base()
        self.head = self._head_centre()
        self._trunk()
        for i, side in enumerate(("left", "right")):
            self._leg(side, i)
            self._shoe(side, i)
            self._arm(side, i)
        self._neck_and_head()
        self._headwear()
        self._grip()

    def _pull_in(self, look: Look) -> None:
        """Bring hip and shoulder joints to where the centres of the joints lie in an adult.

        Segment tables give outer breadths (hips over the trochanters, shoulders over the deltoid); legs drawn from
        there stand apart like a puppet's.
        """
        for name, half in (("hip", HALF_HIPS), ("shoulder", HALF_SHOULDERS[look.woman])):
            left, right = self.j[f"left_{name}"], self.j[f"right_{name}"]
            middle = 0.5 * (left + right)
            keep = min(1.0, 2.0 * half * self.scale / max(float(np.linalg.norm(right - left)), 1e-6))
            self.j[f"left_{name}"] = middle + keep * (left - middle)
            self.j[f"right_{name}"] = middle + keep * (right - middle)

    # Where things are --------------------------------------------------------------------------------------

    def _neck_base(self) -> FloatArray:
        """C7–T1, a little above the line of the shoulder joints whatever the posture calls its neck joint."""
        return self.shoulders + self.scale * (0.072 * self.thorax_axes[:, 2] - 0.006 * self.thorax_axes[:, 1])

    def _head_centre(self) -> FloatArray:
        """Middle between crown and chin."""
        return np.asarray(self.j["head"] - 0.030 * self.scale * _unit(self.j["head"] - self.neck_base))

    def row(self) -> FloatArray:
        """The person row of the shading kernel."""
        look = self.look
        row = np.zeros(42)
        row[0:3], row[3:12] = self.hips, self.pelvis_axes.T.ravel()
        row[12:15], row[15:24] = self.head, self.head_axes.T.ravel()
        row[24:27], row[27:36] = self.shoulders - 0.03 * self.scale * self.thorax_axes[:, 2], self.thorax_axes.T.ravel()
        row[36:42] = self.scale, 0.115, 0.0, look.stubble, look.stripe_m, look.hair_style == "ponytail"
        return row

    # Parts -------------------------------------------------------------------------------------------------

    def _trunk(self) -> None:
        s, look = self.scale, self.look
        foot = self.hips - 0.085 * s * self.pelvis_axes[:, 2]
        top = self.neck_base
        length = float(np.linalg.norm(top - foot))
        axis = (top - foot) / length
        right = _square_to(axis, self.pelvis_axes[:, 0])
        forward = _square_to(axis, self.pelvis_axes[:, 1] - right * float(right @ self.pelvis_axes[:, 1]))
        upper = _square_to(axis, self.thorax_axes[:, 0])
        turn = math.atan2(float(upper @ forward), float(upper @ right))
        at = np.linspace(0.0, 1.0, LEVELS)
        ease = np.clip((at - 0.22) / 0.55, 0.0, 1.0)
        twist = turn * ease * ease * (3 - 2 * ease)
        # The spine leaves the pelvis along the pelvis and reaches the neck along the thorax: a cubic bow.
        a, b = self.pelvis_axes[:, 2], self.thorax_axes[:, 2]
        rise0, rise1 = at * (1 - at) ** 2, at**2 * (at - 1)
        slope_a = a / max(float(a @ axis), 0.5) - axis
        slope_b = b / max(float(b @ axis), 0.5) - axis
        offset = 0.8 * length * (rise0[:, None] * slope_a + rise1[:, None] * slope_b)
        bow = np.stack([offset @ right, offset @ forward], axis=1)
        g = self.girth
        belly = max(0.0, g - 1.0)
        levels = [0.0, 0.13, 0.27, 0.34, 0.46, 0.60, 0.74, 0.84, 0.92, 1.0]
        if look.woman:
            half = [0.120, 0.178, 0.158, 0.136, 0.130, 0.142, 0.152, 0.150, 0.115, 0.060]
            front = [0.075, 0.092, 0.094, 0.086, 0.088, 0.112, 0.128, 0.102, 0.070, 0.052]
            back = [0.085, 0.136, 0.116, 0.088, 0.086, 0.096, 0.102, 0.098, 0.082, 0.058]
        else:
            half = [0.120, 0.168, 0.157, 0.149, 0.147, 0.158, 0.172, 0.168, 0.130, 0.068]
            front = [0.080, 0.098, 0.104, 0.106 + belly * 0.1, 0.108 + belly * 0.12, 0.112, 0.118, 0.100, 0.074, 0.058]
            back = [0.090, 0.132, 0.108, 0.094, 0.094, 0.104, 0.112, 0.108, 0.090, 0.064]
        table = _table(
            _profile(levels, half) * (0.3 + 0.7 * g), _profile(levels, front) * g,
            _profile(levels, back) * (0.4 + 0.6 * g), s, bow, twist,
        )  # fmt: skip
        frame = np.stack([right, forward, axis], axis=1)
        self.build.loft(foot, frame, length, table, 0.035, 0.10, 1, 0.05, "shirt", TRUNK)
        up, out, ahead = self.thorax_axes[:, 2], self.thorax_axes[:, 0], self.thorax_axes[:, 1]
        middle = self.shoulders
        for sign, side in ((-1.0, "left"), (1.0, "right")):
            joint = self.j[f"{side}_shoulder"]
            girth = 0.5 + 0.5 * self.limb_girth * (0.90 if look.woman else 1.0)
            # Collar bone, trapezius from the neck, shoulder blade behind, chest muscle to the arm in front.
            root = middle + s * (sign * 0.045 * out + 0.020 * up)
            self.build.limb(root, joint + 0.002 * s * up, (0.050, 0.050, 0.047, 0.043 * girth), 1, 0.04, "shirt", TRUNK)
            nape = self.neck_base + s * (sign * 0.032 * out + 0.014 * up - 0.006 * ahead)
            self.build.limb(nape, joint + s * (0.010 * up - sign * 0.03 * out), (0.024, 0.029, 0.031, 0.030), 1, 0.05,
                            "shirt", TRUNK)  # fmt: skip
            chest = middle + s * (sign * 0.080 * out - 0.115 * up + 0.036 * ahead)
            self.build.limb(chest, joint - 0.018 * s * up, (0.058 * girth, 0.044 * girth), 1, 0.045, "shirt", TRUNK)
            blade = middle + s * (sign * 0.090 * out - 0.11 * up - 0.042 * ahead)
            self.build.limb(blade, joint - 0.018 * s * up, (0.062 * girth, 0.044 * girth), 1, 0.045, "shirt", TRUNK)
            if look.woman:
                bust = middle + s * (sign * 0.066 * out - 0.150 * up + 0.080 * ahead)
                self.build.ellipsoid(bust, self.thorax_axes, (0.052, 0.040, 0.052), 1, 0.045, "shirt", TRUNK)
        # The collar: a ring that stands off the neck, open in front.
        base = self.neck_base
        neck_axis = _unit(self.head - 0.06 * s * self.head_axes[:, 2] - base)
        ring = base + s * 0.004 * neck_axis + s * 0.006 * ahead
        wide = 0.064 if not look.woman else 0.056
        for sign in (-1.0, 1.0):
            nape_point = ring + s * (-0.040 * ahead + 0.034 * up + sign * 0.030 * out)
            side_point = ring + s * (0.012 * ahead + 0.014 * up + sign * wide * out)
            front_point = ring + s * (0.072 * ahead - 0.038 * up + sign * 0.020 * out)
            self.build.limb(nape_point, side_point, (0.014, 0.014), 2, 0.015, "shirt", PLAIN)
            self.build.limb(side_point, front_point, (0.014, 0.012), 2, 0.015, "shirt", PLAIN)

    def _leg(self, side: str, i: int) -> None:
        s, look = self.scale, self.look
        hip, knee, ankle = (self.j[f"{side}_{name}"] for name in ("hip", "knee", "ankle"))
        g = self.limb_girth * (1.04 if look.woman else 1.0)
        sideways = self.pelvis_axes[:, 0]
        sign = -1.0 if side == "left" else 1.0
        # The joint lies deep; the thigh's own middle line starts a little lower and further out.
        start = hip + s * (sign * 0.004 * sideways - 0.02 * self.pelvis_axes[:, 2])
        cloth = look.legs == "trousers"
        material = "trousers"
        seat = self.hips + s * (
            sign * 0.072 * sideways - 0.055 * self.pelvis_axes[:, 1] - 0.035 * self.pelvis_axes[:, 2]
        )
        self.build.ellipsoid(seat, self.pelvis_axes, (0.082 * g, 0.078, 0.092), 1, 0.05, material, TRUNK)
        tag = float(i)
        shin_front = _square_to(_unit(ankle - knee), self._foot_axis(side))
        if cloth:
            self.build.limb(
                start, knee, (0.088 * g, 0.085 * g, 0.068 * g, 0.051 * g), 1, 0.055, material, LEG, tag=tag + 1
            )
            # Cloth hangs from the knee, fuller over the calf, breaks on the shoe and ends in a flat hem.
            down = _unit(ankle - knee)
            top = knee - down * 0.035 * s
            length = float(np.linalg.norm(ankle - knee)) + 0.030 * s
            axes = np.stack([np.cross(down, shin_front), shin_front, down], axis=1)
            at = [0.0, 0.10, 0.30, 0.55, 0.80, 0.93, 1.0]
            full = 0.4 + 0.6 * g
            table = _table(
                _profile(at, [0.040, 0.054, 0.057, 0.054, 0.052, 0.054, 0.056]) * full,
                _profile(at, [0.042, 0.052, 0.051, 0.051, 0.054, 0.060, 0.066]) * full,
                _profile(at, [0.036, 0.050, 0.066, 0.064, 0.058, 0.056, 0.056]) * full,
                s,
            )
            self.build.loft(top, axes, length, table, 0.010, 0.0, 1, 0.045, material, LEG, tag=tag + 3)
        else:
            hem = start + (knee - start) * 0.86
            self.build.limb(
                start, hem, (0.092 * g, 0.088 * g, 0.084 * g, 0.082 * g), 1, 0.055, material, LEG, tag=tag + 1
            )
            self.build.limb(start, knee, (0.080 * g, 0.076 * g, 0.063 * g, 0.054 * g), 3 + i, 0.03, "skin")
            # The calf's frame is the shin's own: the pelvis turns against the shin, and axes that are not square to
            # one another leave a direction in which an ellipsoid has no end.
            down = _unit(ankle - knee)
            calf = knee + (ankle - knee) * 0.3 - shin_front * 0.016 * s
            calf_axes = np.stack([np.cross(shin_front, -down), shin_front, -down], axis=1)
            self.build.limb(knee, ankle, (0.051 * g, 0.047 * g, 0.036 * g, 0.034 * g), 3 + i, 0.03, "skin")
            self.build.ellipsoid(
                calf, calf_axes, (0.045 * g, 0.042 * g, 0.10), 3 + i, 0.03, "skin"
            )  # fmt: skip
            self.build.limb(ankle + (knee - ankle) * 0.12, ankle, (0.041, 0.044), 3 + i, 0.01, "sole")

    def _foot_axis(self, side: str) -> FloatArray:
        return _unit(self.j[f"{side}_toe"] - self.j[f"{side}_heel"])

    def _shoe(self, side: str, i: int) -> None:
        s, look = self.scale, self.look
        heel, toe, ankle = (self.j[f"{side}_{name}"] for name in ("heel", "toe", "ankle"))
        axis = self._foot_axis(side)
        up = _square_to(axis, ankle - heel)
        across = np.cross(up, axis)
        across = across if float(across @ self.pelvis_axes[:, 0]) >= 0 else -across
        narrow = 0.90 if look.woman else 1.0
        # Heel and toe joints are the ends of the foot at the ground; the sole adds a little all round.
        length = float(np.linalg.norm(toe - heel)) + 0.026 * s
        start = heel - 0.014 * s * axis + up * 0.022 * s
        frame = np.stack([across, up, axis], axis=1)
        levels = [0.0, 0.10, 0.28, 0.45, 0.62, 0.80, 0.93, 1.0]
        half = [0.026, 0.034, 0.036, 0.038, 0.046, 0.050, 0.040, 0.022]
        top = [0.062, 0.078, 0.080, 0.066, 0.050, 0.040, 0.034, 0.022]
        sole = [0.016, 0.018, 0.018, 0.017, 0.018, 0.018, 0.016, 0.010]
        table = _table(_profile(levels, half) * narrow, _profile(levels, top), _profile(levels, sole), s)
        self.build.loft(start, frame, length, table, 0.018, 0.16, 6 + i, 0.02, "shoe", SHOE_PART)
        self.build.limb(heel + 0.055 * s * axis + up * 0.062 * s, ankle, (0.040, 0.043), 6 + i, 0.03, "shoe")
        ridge = _profile(levels, [x + 0.004 for x in half]) * narrow
        rim = _table(ridge, np.full(LEVELS, 0.005), np.full(LEVELS, 0.017), s)
        base = start - up * 0.003 * s - axis * 0.004 * s
        self.build.loft(base, frame, length + 0.008 * s, rim, 0.006, 0.25, 8 + i, 0.004, "sole", PLAIN)

    def _arm(self, side: str, i: int) -> None:
        s, look = self.scale, self.look
        shoulder, elbow, wrist = (self.j[f"{side}_{name}"] for name in ("shoulder", "elbow", "wrist"))
        g = self.limb_girth * (0.90 if look.woman else 1.0)
        group = 10 + i
        upper = _unit(elbow - shoulder)
        hem = 0.60 if not look.woman else 0.50
        end = shoulder + (elbow - shoulder) * hem
        self.build.limb(
            shoulder - upper * 0.004 * s, end, (0.046 * g, 0.051 * g, 0.052 * g, 0.056 * g), 1, 0.03, "shirt", SLEEVE
        )
        # The sleeve is open: a hollow at its end shows the arm coming out.
        self.build.limb(shoulder, elbow, (0.046 * g, 0.049 * g, 0.045 * g, 0.039 * g), group, 0.02, "skin", ARM_PART)
        # Forearm: thick below the elbow, flat at the wrist, with the flat side across the palm.
        shaft = self._shaft()
        flat = _square_to(_unit(wrist - elbow), shaft)
        self.build.limb(elbow, wrist, (0.040 * g, 0.043 * g, 0.033 * g, 0.0262 * g), group, 0.02, "skin", ARM_PART,
                        wide=0.10, side=flat)  # fmt: skip
        self._hand(side, group)

    def _shaft(self) -> FloatArray:
        return _unit(np.asarray(self.posture.club_head, float) - np.asarray(self.posture.grip, float))

    def _hand(self, side: str, group: int) -> None:
        """A hand closed on the grip: palm from the wrist to the grip, four fingers wrapped round it, thumb along."""
        s, look = self.scale, self.look
        size = 0.92 if look.woman else 1.0
        lead = side == self.lead
        material = "glove" if lead else "skin"
        wrist = self.j[f"{side}_wrist"]
        shaft = self._shaft()
        grip = np.asarray(self.posture.grip, float)
        hand = self.j[f"{side}_hand"]
        # The middle of the fist lies on the grip, wherever the posture puts its hand joint.
        along = float((hand - grip) @ shaft)
        centre = grip + shaft * along
        out = _square_to(shaft, centre - wrist)  # from the wrist through the palm
        away = np.cross(shaft, out)
        # Palms face each other: the back of the lead hand looks to the target, of the trail hand away from it.
        thorax_right = self.thorax_axes[:, 0]
        outer = thorax_right if side == "right" else -thorax_right
        back = away if float(away @ outer) >= 0 else -away
        palm = centre + s * (0.012 * back - 0.012 * out)
        frame = np.stack([shaft, out, back], axis=1)
        self.build.limb(wrist, palm - out * 0.012 * s, (0.0265 * size, 0.029 * size, 0.032 * size, 0.032 * size), group,
                        0.02, material, HAND_PART, wide=0.12, side=shaft)  # fmt: skip
        self.build.box(palm, frame, (0.043 * size, 0.036 * size, 0.023 * size), 0.020 * size, group, 0.016, material,
                       HAND_PART)  # fmt: skip
        for k in range(4):
            at = centre + shaft * s * size * (0.0295 - 0.0195 * k)
            reach = 1.0 - 0.08 * abs(k - 1.5)
            knuckle = at + s * size * (0.026 * out * reach + 0.016 * back)
            bend = at + s * size * (0.028 * out * reach - 0.014 * back)
            tip = at + s * size * (-0.004 * out - 0.027 * back)
            self.build.limb(knuckle, bend, (0.0112 * size, 0.0105 * size), group, 0.007, material, HAND_PART)
            self.build.limb(bend, tip, (0.0105 * size, 0.0095 * size), group, 0.005, material, HAND_PART)
        root = palm + s * size * (0.030 * shaft - 0.018 * out)
        tip = centre + s * size * (0.062 * shaft - 0.006 * out - 0.010 * back)
        self.build.limb(root, tip, (0.0135 * size, 0.0105 * size), group, 0.012, material, HAND_PART)
        if lead:
            cuff = wrist + (self.j[f"{side}_elbow"] - wrist) * 0.06
            self.build.limb(cuff, wrist, (0.0285, 0.0285), group + 2, 0.004, material, HAND_PART, wide=0.10, side=shaft)

    def _neck_and_head(self) -> None:
        s, look = self.scale, self.look
        axes, c = self.head_axes, self.head

        def at(x: float, y: float, z: float) -> FloatArray:
            return np.asarray(c + s * (axes @ np.array([x, y, z])))

        woman = look.woman
        neck = 0.046 if woman else 0.054
        base = self.neck_base - 0.02 * s * self.thorax_axes[:, 2] + 0.008 * s * self.thorax_axes[:, 1]
        self.build.limb(base, at(0, -0.022, -0.055), (neck * 1.18, neck * 1.02, neck, neck), 14, 0.03, "skin")
        head = 15
        levels = [0.0, 0.10, 0.25, 0.42, 0.58, 0.75, 0.88, 1.0]
        jaw = 0.90 if woman else 1.0
        half = [0.030 * jaw, 0.044 * jaw, 0.056 * jaw, 0.065 * (0.5 + 0.5 * jaw), 0.070, 0.072, 0.070, 0.064]
        front = [0.074, 0.084, 0.086, 0.087, 0.086, 0.087, 0.084, 0.074]
        back = [0.000, 0.010, 0.040, 0.060, 0.075, 0.085, 0.088, 0.086]
        table = _table(_profile(levels, half), _profile(levels, front), np.maximum(_profile(levels, back), 0.012), s)
        self.build.loft(at(0, 0, -0.116), axes, 0.186 * s, table, 0.022, 0.10, head, 0.02, "skin", FACE)
        self.build.ellipsoid(at(0, -0.012, 0.030), axes, (0.0755, 0.099, 0.086), head, 0.03, "skin", FACE)
        for sign in (-1.0, 1.0):
            # Eye sockets are carved, then ball, iris, lids and brow go in.
            self.build.ellipsoid(
                at(sign * 0.033, 0.096, 0.005), axes, (0.020, 0.016, 0.0105), head, -0.012, "skin", FACE
            )
            self.build.ellipsoid(at(sign * 0.032, 0.0715, 0.0055), axes, (0.0135, 0.0125, 0.0115), head, 0.001, "eye")
            self.build.ellipsoid(at(sign * 0.032, 0.0790, 0.0050), axes, (0.0056, 0.0062, 0.0056), head, 0.0004, "iris")
            self.build.ellipsoid(at(sign * 0.032, 0.0712, 0.0125), axes, (0.0160, 0.0150, 0.0095), head, 0.002, "skin")
            self.build.ellipsoid(at(sign * 0.032, 0.0705, -0.0030), axes, (0.0155, 0.0145, 0.0070), head, 0.003, "skin")
            self.build.limb(at(sign * 0.012, 0.088, 0.0245), at(sign * 0.052, 0.074, 0.0215), (0.0080, 0.0065), head,
                            0.012, "skin", FACE)  # fmt: skip
            self.build.ellipsoid(at(sign * 0.047, 0.066, -0.022), axes, (0.020, 0.018, 0.016), head, 0.02, "skin", FACE)
            ear = np.stack([axes[:, 0], axes[:, 1], axes[:, 2]], axis=1)
            self.build.ellipsoid(at(sign * 0.0745, -0.014, -0.008), ear, (0.010, 0.0165, 0.028), head, 0.006, "skin")
            self.build.ellipsoid(at(sign * 0.009, 0.099, -0.034), axes, (0.009, 0.011, 0.008), head, 0.007, "skin")
        self.build.limb(at(0, 0.088, 0.014), at(0, 0.111, -0.030), (0.0085, 0.0085, 0.010, 0.0115), head, 0.010, "skin")
        self.build.ellipsoid(at(0, 0.0875, -0.058), axes, (0.0225, 0.0062, 0.0045), head, 0.003, "lips")
        self.build.ellipsoid(at(0, 0.0855, -0.067), axes, (0.0185, 0.0068, 0.0052), head, 0.003, "lips")
        self.build.ellipsoid(at(0, 0.074, -0.100), axes, (0.024 * jaw, 0.018, 0.015), head, 0.015, "skin", FACE)
        hair = 16
        if look.hair_style != "bald":
            # The hair of back and sides stands a little off the skull.
            self.build.ellipsoid(at(0, -0.024, 0.020), axes, (0.0805, 0.094, 0.088), hair, 0.012, "hair", HAIR_PART)
            self.build.limb(at(-0.03, -0.075, -0.035), at(0.03, -0.075, -0.035), (0.038, 0.038), hair, 0.03, "hair",
                            HAIR_PART)  # fmt: skip
            if look.headwear == "none":
                self.build.ellipsoid(at(0, -0.004, 0.052), axes, (0.079, 0.094, 0.073), hair, 0.015, "hair", HAIR_PART)
            # Cut free: the face, and the ears.
            self.build.box(at(0, 0.100, -0.035), axes, (0.12, 0.062, 0.105), 0.02, hair, -0.02, "hair", HAIR_PART)
            for sign in (-1.0, 1.0):
                self.build.ellipsoid(at(sign * 0.09, 0.010, -0.018), axes, (0.03, 0.032, 0.040), hair, -0.01, "hair")
        if look.hair_style == "ponytail":
            tie = at(0, -0.098, 0.004)
            down = np.array([0.0, 0.0, -1.0])
            behind = -axes[:, 1]
            bend = tie + s * (0.034 * behind + 0.022 * down)
            middle = bend + s * (0.022 * behind + 0.085 * down)
            tip = middle + s * (-0.004 * behind + 0.085 * down)
            self.build.limb(tie, bend, (0.017, 0.024), hair, 0.015, "hair", HAIR_PART)
            self.build.limb(bend, middle, (0.024, 0.023), hair, 0.02, "hair", HAIR_PART)
            self.build.limb(middle, tip, (0.023, 0.008), hair, 0.02, "hair", HAIR_PART)

    def _headwear(self) -> None:
        s, look = self.scale, self.look
        axes, c = self.head_axes, self.head
        if look.headwear == "none":
            return

        def at(x: float, y: float, z: float) -> FloatArray:
            return np.asarray(c + s * (axes @ np.array([x, y, z])))

        tilt = math.radians(6.0)
        turn = np.array([[1, 0, 0], [0, math.cos(tilt), math.sin(tilt)], [0, -math.sin(tilt), math.cos(tilt)]])
        frame = axes @ turn
        group = 17
        self.build.ellipsoid(at(0, -0.010, 0.046), frame, (0.0835, 0.107, 0.080), group, 0.01, "cap", CAP_PART)
        below = at(0, 0, 0.046) - frame[:, 2] * 0.10 * s
        self.build.box(below, frame, (0.2, 0.2, 0.10), 0.002, group, -0.003, "cap", CAP_PART)
        if look.headwear == "visor":
            above = at(0, -0.02, 0.082) + frame[:, 2] * 0.10 * s
            self.build.box(above, frame, (0.2, 0.2, 0.10), 0.002, group, -0.003, "cap", CAP_PART)
            self.build.ellipsoid(at(0, -0.016, 0.040), axes, (0.079, 0.100, 0.082), 18, 0.01, "hair", HAIR_PART)
            self.build.box(at(0, 0.02, -0.06), axes, (0.2, 0.2, 0.10), 0.002, 18, -0.003, "hair", HAIR_PART)
        dip = math.radians(-12.0)
        turn = np.array([[1, 0, 0], [0, math.cos(dip), -math.sin(dip)], [0, math.sin(dip), math.cos(dip)]])
        brim = axes @ turn
        self.build.ellipsoid(at(0, 0.090, 0.040), brim, (0.069, 0.082, 0.0085), 19, 0.004, "brim", BRIM_PART)

    def _grip(self) -> None:
        """The rubber grip as part of the body layer, so that the hands close on it."""
        grip = np.asarray(self.posture.grip, float)
        shaft = self._shaft()
        hands = [float((self.j[f"{side}_hand"] - grip) @ shaft) for side in ("left", "right")]
        butt = grip + shaft * (min(hands) - 0.066)
        end = grip + shaft * (min(hands) + 0.19)
        saved, self.build.scale = self.build.scale, 1.0
        self.build.limb(butt, end, (0.0135, 0.0125, 0.0115, 0.0095), 20, 0.002, "grip")
        self.build.scale = saved


def shapes(people: list[tuple[Posture, Look, str]]) -> Shapes:
    """The primitives of all people in the picture: (posture, look, lead side "left" or "right") each."""
    rows: list[FloatArray] = []
    lofts: list[FloatArray] = []
    persons, materials = [], []
    for i, (posture, look, lead) in enumerate(people):
        person = Person(posture, look, i, lead)
        for row in person.build.rows:
            if row[0] == LOFT:
                row[21] += len(lofts)
        rows.extend(person.build.rows)
        lofts.extend(person.build.lofts)
        persons.append(person.row())
        materials.append(look.materials())
    table = np.array(rows)
    return Shapes(
        table[np.argsort(table[:, 1], kind="stable")], np.array(lofts), np.array(persons), np.concatenate(materials)
    )
