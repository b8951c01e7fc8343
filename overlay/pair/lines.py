"""The shoulder and the hip line in space, from what each view shows well.

A pose model does not show a body past side-on: face on at the top the shoulders are marked as if they still faced the
camera, sides exchanged or drawn apart, whatever the turn. Down the line the same line is seen across its full length
and marked well, and its own length is known from address. So the direction of the line is searched that explains both
pictures, with that length: the face-on place counts as one that may be wrong altogether, and the lead arm, which keeps
its length, helps to say on which side of the body the lead shoulder is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.pair.space import ROW, Cameras, triangulated
from overlay.settings.pair import LineSettings

GRID_DEG = np.arange(-180.0, 180.0, 1.5)


@dataclass(frozen=True)
class Arm:
    """Hands (N, 3) and how far the lead shoulder is from them at address (N,), torso lengths."""

    hands: FloatArray
    length: FloatArray


def line_in_space(
    cameras: Cameras,
    dtl: FloatArray,
    fo: FloatArray,
    joint: str,
    position: str,
    width: float,
    settings: LineSettings,
    rng: np.random.Generator,
    arm: Arm | None = None,
) -> tuple[FloatArray, FloatArray] | None:
    """(N, 3) of the lead and of the trail end, one draw each, the first the most likely one; None when it is not seen.

    Parameters
    ----------
    cameras : Cameras
        N draws.
    dtl, fo : (1 or N, P, 2) px
    joint : "shoulder" or "hip"
    position : name
    width : float
        Length of the line, torso lengths.
    settings : LineSettings
    rng : Generator
    arm : Arm or None
        Of the shoulder line.
    """
    n = len(cameras)
    lead, trail = ROW[f"lead_{joint}"], ROW[f"trail_{joint}"]
    ends = [points[:, [lead, trail]] for points in (dtl, fo)]
    if not all(np.all(np.isfinite(end)) for end in ends) or not (math.isfinite(width) and width > 0):
        return None
    middles = [end.mean(axis=1, keepdims=True) for end in ends]
    middle = triangulated(cameras, middles[0], middles[1])[:, 0]
    # Across and up of the line in each view, at the distance of its middle; where the middle is in that view.
    seen, where, forward = [], [], []
    for which in (0, 1):
        own = cameras.seen(which, ends[which])
        ahead = cameras.axes(which)[1]
        place, _ = cameras.place(which)
        depth = ((middle[:, :2] - place) * ahead).sum(-1)
        seen.append((own[:, 0] - own[:, 1]) * (depth / cameras.distance[which])[:, None])
        off = own.mean(axis=1) / cameras.distance[which][:, None]
        where.append(off)
        forward.append(ahead)
    key = f"{joint}:{position}"
    spread = settings.across_sd.get(key, settings.across_sd_other)
    raised = seen[0][:, 1] + _noise(rng, n, settings.up_sd)
    size = width * np.exp(_noise(rng, n, settings.width_sd))
    turn = np.radians(GRID_DEG)
    # (N, G) how far the line reaches away from each lens in each direction: its nearer end looks larger, so a line
    # that is level in space slopes in the picture.
    level = np.sqrt(size**2 - np.clip(raised, -0.9 * size, 0.9 * size) ** 2)[:, None]
    up = np.repeat(raised[:, None], len(turn), axis=1)
    for _ in range(2):
        up = raised[:, None] + where[0][:, 1:] * level * _along(forward[0], turn)
        up = np.clip(up, -0.9 * size[:, None], 0.9 * size[:, None])
        level = np.sqrt(size[:, None] ** 2 - up**2)
    right = [cameras.axes(which)[0] for which in (0, 1)]
    shown = [
        level * (_along(right[which], turn) - where[which][:, :1] * _along(forward[which], turn)) for which in (0, 1)
    ]
    cost = 0.5 * ((seen[0][:, :1] - shown[0]) / spread[0]) ** 2
    lost, swapped = settings.lost.get(key, settings.lost_other), settings.swapped.get(key, 0.0)
    near = _normal(seen[1][:, :1] - shown[1], spread[1])
    # Past side-on its ends are marked the other way round, as if the chest still faced the camera.
    turned = np.where(shown[1] < 0, _normal(seen[1][:, :1] + shown[1], spread[1]), 0.0)
    cost = cost - np.log((1.0 - lost - swapped) * near + swapped * turned + lost / (2.4 * width))
    if arm is not None:
        half = np.stack(
            [
                0.5 * level * np.cos(turn)[None],
                0.5 * level * np.sin(turn)[None],
                0.5 * up,
            ],
            axis=-1,
        )
        reach = np.linalg.norm(middle[:, None] + half - arm.hands[:, None], axis=-1)
        wanted = settings.arm_share * arm.length[:, None]
        cost = cost + 0.5 * ((reach - wanted) / (settings.arm_sd * wanted)) ** 2
    usual = settings.usual_deg.get(key)
    if usual is not None:
        off = (GRID_DEG - usual[0] + 180.0) % 360.0 - 180.0
        cost = cost + 0.5 * (off / usual[1])[None] ** 2
    chance = np.exp(-(cost - cost.min(axis=1, keepdims=True)))
    total = np.cumsum(chance, axis=1)
    draw = rng.random(n) * total[:, -1]
    chosen = np.minimum((total < draw[:, None]).sum(axis=1), len(GRID_DEG) - 1)
    found = GRID_DEG[chosen] + rng.uniform(-0.75, 0.75, n)
    found[0] = _middle_of(found[1:]) if n > 1 else GRID_DEG[int(np.argmax(chance[0]))]
    chosen[0] = int(np.argmin(np.abs((GRID_DEG - found[0] + 180.0) % 360.0 - 180.0)))
    angle, rows = np.radians(found), np.arange(n)
    flat = level[rows, chosen]
    line = np.stack([flat * np.cos(angle), flat * np.sin(angle), up[rows, chosen]], -1)
    return middle + line / 2, middle - line / 2


def _along(axis: FloatArray, turn: FloatArray) -> FloatArray:
    """(N, G) share of a line in each direction (G,) along a ground axis (N, 2)."""
    return axis[:, :1] * np.cos(turn)[None] + axis[:, 1:] * np.sin(turn)[None]


def _normal(off: FloatArray, sd: float) -> FloatArray:
    return np.asarray(np.exp(-0.5 * (off / sd) ** 2) / (sd * math.sqrt(2 * math.pi)), np.float64)


def _noise(rng: np.random.Generator, n: int, sd: float) -> FloatArray:
    out = rng.normal(0.0, sd, n)
    out[0] = 0.0
    return out


def _middle_of(deg: FloatArray) -> float:
    """Median of directions about their mean direction."""
    mean = math.degrees(math.atan2(float(np.sin(np.radians(deg)).mean()), float(np.cos(np.radians(deg)).mean())))
    off = (deg - mean + 180.0) % 360.0 - 180.0
    return float(mean + np.median(off))
