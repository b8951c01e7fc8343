"""The club as it moves through an exposure: shaft ends, head frames, the shapes of the heads."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Sequence

import numpy as np

from overlay.arrays import FloatArray
from overlay.golfer.looks import Look
from overlay.golfer.render_body import Builder

if TYPE_CHECKING:
    from overlay.golfer.motion import Posture

SHAFT_RADII_M = {"mid_iron": (0.0072, 0.0048), "driver": (0.0072, 0.0044)}
"""Under the grip and at the head; common practice (a butt of 0.6 in, a tip of 0.35–0.37 in)."""
HEAD_REACH_M = 0.135


@dataclass(frozen=True)
class ClubPath:
    """Samples of the club over the exposure: shaft ends (n, 2, 3) m and head frames (n, 12)."""

    ends: FloatArray
    frames: FloatArray


def _unit(v: FloatArray) -> FloatArray:
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-9))


@lru_cache(maxsize=2)
def head_shapes(kind: str) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Primitives, loft tables and materials of a club head.

    Axes: x towards where the face looks, y from heel to toe, z up the shaft; the shaft's end is the origin.
    """
    build = Builder(1.0, 0)
    if kind == "driver":
        lie = np.array([[1.0, 0, 0], [0, 0.82, 0.57], [0, -0.57, 0.82]])
        centre = lie @ np.array([-0.040, 0.055, -0.026])
        build.ellipsoid(centre, lie, (0.056, 0.060, 0.032), 0, 0.012, "cap")
        build.ellipsoid(centre + lie @ np.array([0.022, 0.004, -0.002]), lie, (0.034, 0.060, 0.031), 0, 0.02, "cap")
        build.box(centre + lie @ np.array([0.048, 0.002, -0.002]), lie, (0.006, 0.050, 0.027), 0.005, 0, 0.004, "steel")
        build.limb(
            np.array([-0.004, 0.0, 0.03]), lie @ np.array([-0.012, 0.012, -0.018]), (0.0068, 0.0085), 0, 0.012, "cap"
        )
    else:
        lie = np.array([[0.92, 0.0, -0.38], [0, 1.0, 0], [0.38, 0, 0.92]])
        tilt = np.array([[1.0, 0, 0], [0, 0.86, 0.51], [0, -0.51, 0.86]])
        face = tilt @ lie
        middle = tilt @ np.array([0.006, 0.044, -0.004])
        build.box(middle, face, (0.0065, 0.036, 0.021), 0.006, 0, 0.008, "steel")
        build.box(
            middle + tilt @ np.array([-0.003, 0.012, 0.006]), face, (0.0060, 0.026, 0.022), 0.006, 0, 0.008, "steel"
        )
        build.box(
            middle + tilt @ np.array([-0.002, 0.000, -0.018]), face, (0.010, 0.036, 0.006), 0.005, 0, 0.006, "steel"
        )
        build.limb(
            np.array([0.0, 0.0, 0.055]), tilt @ np.array([0.0, 0.008, -0.008]), (0.0068, 0.0075), 0, 0.010, "steel"
        )
    rows = np.array(build.rows)
    look = Look(name="club", cap="#34343c")
    return rows, np.zeros((1, 7, 9)), look.materials()


def club_path(postures: Sequence[Posture], n: int, mirrored: bool) -> ClubPath:
    """The club at ``n`` equal steps of the exposure that the postures span.

    The grip moves and the shaft turns between postures by a polynomial through up to three of them, by straight
    steps through more; the shaft keeps its length.
    """
    values: Any = postures
    grip = np.array([np.asarray(p.grip, float) for p in values])
    head = np.array([np.asarray(p.club_head, float) for p in values])
    axis = _unit(head - grip)
    length = np.linalg.norm(head - grip, axis=1)
    if len(values) == 1:
        at_grip, at_axis, at_length = (np.repeat(x, n, axis=0) for x in (grip, axis, length))
    else:
        knots = np.linspace(0.0, 1.0, len(values))
        at = (np.arange(n) + 0.5) / n
        at_grip = _between(knots, grip, at)
        at_axis = _unit(_between(knots, axis, at))
        at_length = np.interp(at, knots, length)
    end = at_grip + at_axis * at_length[:, None]
    return ClubPath(np.stack([at_grip, end], axis=1), _frames(end, at_axis, mirrored))


def _between(knots: FloatArray, values: FloatArray, at: FloatArray) -> FloatArray:
    if len(knots) == 3:
        a, b, c = ((at - k)[:, None] for k in knots)
        return np.asarray(2 * b * c * values[0] - 4 * a * c * values[1] + 2 * a * b * values[2])
    return np.stack([np.interp(at, knots, values[:, k]) for k in range(values.shape[1])], axis=1)


def _frames(end: FloatArray, axis: FloatArray, mirrored: bool) -> FloatArray:
    """Head frames whose face stays square to the arc: it looks along the swing direction at address and impact.

    The swing's plane is taken as one that leans 55° from the ground and holds the target line.
    """
    target = np.array([-1.0 if mirrored else 1.0, 0.0, 0.0])
    lean = np.radians(55.0)
    into = np.array([0.0, -np.cos(lean), np.sin(lean)])  # up the plane, towards the player
    normal = np.cross(target, into)
    up = -axis
    face = np.cross(np.broadcast_to(normal, up.shape), up)
    at_address = np.cross(normal, into)
    face *= 1.0 if float(at_address @ target) > 0 else -1.0
    face = _unit(face - up * np.sum(face * up, axis=1, keepdims=True))
    toe = np.cross(up, face)
    # At address the toe points away from the player, whatever the chirality of the axes.
    reference = np.cross(into, target)
    toe *= 1.0 if reference[1] > 0 else -1.0
    return np.concatenate([end, face, toe, up], axis=1)
