"""Angles and offsets in the picture, one row a frame: x right, y down, px.

Lines come as (2, 2), lower end first. A value that has no meaning (two points together, a line that never meets
another) is NaN.
"""

from __future__ import annotations

import math

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import DataError


def beside_line(points: FloatArray, line: FloatArray) -> FloatArray:
    """(T,) px by which points (T, 2) lie to the right of a line, level with them.

    Level and not square to the line: guide lines that offsets are read from stand upright, and a slanted one (along a
    leg) is read at the height of the point, as an eye does.

    Raises
    ------
    DataError
        The line is level, so that no point is beside it.
    """
    (x0, y0), (x1, y1) = line
    if abs(y1 - y0) < 1e-6 * max(1.0, abs(x1 - x0)):
        raise DataError("A level line has no side.", "Give a line that rises.")
    return np.asarray(points[:, 0] - (x0 + (points[:, 1] - y0) * (x1 - x0) / (y1 - y0)), np.float64)


def between_deg(first: FloatArray, second: FloatArray) -> FloatArray:
    """(T,) 0–180° between directions (T, 2); NaN where one has no length."""
    cross = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
    dot = np.sum(first * second, axis=1)
    angle = np.degrees(np.arctan2(np.abs(cross), dot))
    return np.asarray(np.where((cross == 0) & (dot == 0), np.nan, angle), np.float64)


def turn_deg(start: FloatArray, end: FloatArray) -> FloatArray:
    """(T,) degrees in (−180, 180] by which ``end`` (T, 2) lies anticlockwise, as seen in the picture, of ``start``."""
    cross = start[:, 0] * end[:, 1] - start[:, 1] * end[:, 0]
    # y points down: a positive cross product is a clockwise turn.
    angle = np.degrees(np.arctan2(-cross, np.sum(start * end, axis=1)))
    return np.asarray(np.where(angle <= -180.0, 180.0, angle), np.float64)


def steepness_deg(direction: FloatArray) -> FloatArray:
    """(T,) degrees in [0, 180) of a line (T, 2) from level, growing as its right end goes down.

    0 level, 45 down to the right, 90 upright, 135 down to the left; both senses of a line have the same value.
    """
    return np.asarray(np.degrees(np.arctan2(direction[:, 1], direction[:, 0])) % 180.0, np.float64)


def half_turn(angle_deg: FloatArray) -> FloatArray:
    """Differences of line directions brought to [−90, 90)."""
    return np.asarray((angle_deg + 90.0) % 180.0 - 90.0, np.float64)


def meets_level(start: FloatArray, direction: FloatArray, level_y: float) -> FloatArray:
    """(T,) x where lines through ``start`` (T, 2) along ``direction`` (T, 2) cross the level y; NaN when level."""
    with np.errstate(divide="ignore", invalid="ignore"):
        x = start[:, 0] + (level_y - start[:, 1]) * direction[:, 0] / direction[:, 1]
    return np.asarray(np.where(np.isfinite(x), x, np.nan), np.float64)


def azimuth_deg(
    grip: FloatArray,
    head: FloatArray,
    vanishing: FloatArray,
    *,
    shaft: float,
    camera: float,
    nearer: float,
    torso_px: float,
) -> FloatArray:
    """(T,) degrees by which a shaft that points away from the camera points right (+) of the line of sight.

    The shaft is foreshortened: its length is known from address, what of it is seen across the picture leaves the
    depth. In camera coordinates, depth forward and in torso lengths, the grip is at depth ``camera − nearer``; the
    club head lies on its own line of sight where it is one shaft away, on the far side:
    |z·h − z_grip·g| = shaft with h, g the directions of sight.

    Parameters
    ----------
    grip, head : (T, 2) px
    vanishing : (2,) px
        Where lines along the target line meet: the picture point straight ahead of the lens.
    shaft, camera, nearer : float, torso lengths
        Grip to club head; camera to player at address; how much nearer the grip is now.
    torso_px : float
        At address, at the distance ``camera``.

    Returns
    -------
    (T,) float
        NaN where the shaft is seen longer than it can be by more than a tenth; up to that it counts as lying across.
    """
    focal_px = torso_px * camera
    g = np.concatenate([(grip - vanishing) / focal_px, np.ones((len(grip), 1))], axis=1)
    h = np.concatenate([(head - vanishing) / focal_px, np.ones((len(head), 1))], axis=1)
    depth = camera - nearer
    start = depth * g
    # |z h − start|² = shaft²: a quadratic in z.
    a = np.sum(h * h, axis=1)
    b = np.sum(h * start, axis=1)
    c = np.sum(start * start, axis=1) - shaft**2
    room = b * b - a * c
    nearest = np.linalg.norm(b[:, None] / a[:, None] * h - start, axis=1)
    with np.errstate(invalid="ignore"):
        z = (b + np.sqrt(np.maximum(room, 0.0))) / a
        along = z[:, None] * h - start
        angle = np.degrees(np.arctan2(along[:, 0], along[:, 2]))
        return np.asarray(np.where(nearest <= 1.1 * shaft, angle, np.nan), np.float64)


def normal_quantile(level: float) -> float:
    """Half-width in standard deviations of a two-sided interval of that level: 1.96 at 0.95.

    Raises
    ------
    DataError
        The level is not between 0 and 1.
    """
    if not 0.0 < level < 1.0 or not math.isfinite(level):
        raise DataError(f"A level of {level} is not between 0 and 1.", "Use a share such as 0.95.")
    from statistics import NormalDist

    return NormalDist().inv_cdf(0.5 + level / 2)
