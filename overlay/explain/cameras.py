"""The cameras that could have filmed a clip, given what the estimate of its camera leaves open."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Protocol

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Camera


class Estimated(Protocol):
    """Anything that holds the camera of a clip with its uncertainty: a fit of a reference, or an estimate by itself."""

    @property
    def camera(self) -> Camera | None: ...


DRAWN = ("height_m", "offset_m", "distance_m", "yaw_deg", "pan_deg", "pitch_deg", "roll_deg")
"""Uncertainties that move or turn a camera; its focal length only scales the picture, which scores divide out."""


def moved(camera: Camera, **changes: float) -> Camera:
    """The camera carried and turned.

    Parameters
    ----------
    camera : Camera
    height_m, offset_m, distance_m : float
        Up; to the picture's right; away from the player.
    yaw_deg : float
        The camera walks round the middle of the stance, + turns its viewing direction clockwise seen from above.
    pan_deg, pitch_deg, roll_deg : float
        The camera turns where it stands: to its right, up, clockwise.
    """
    told = {name: changes.get(name, 0.0) for name in DRAWN}
    forward, right = _on_ground(camera)
    # In the project's world triad "clockwise seen from above" carries forward towards right.
    turn = _turning(forward, right, told["yaw_deg"])
    position = turn @ camera.position
    forward, right = turn @ forward, turn @ right
    axes = camera.axes @ turn.T
    position = position + told["offset_m"] * right - told["distance_m"] * forward
    position = position + np.array([0.0, 0.0, told["height_m"]])
    axes = axes @ _turning(forward, right, told["pan_deg"]).T
    axes = _mixed(axes, 2, 1, -told["pitch_deg"])
    axes = _mixed(axes, 0, 1, told["roll_deg"])
    return Camera(position, axes, camera.focal_px, camera.principal_px)


def _on_ground(camera: Camera) -> tuple[FloatArray, FloatArray]:
    """Viewing direction and the picture's right, both level and of length 1."""
    forward = np.array([*camera.axes[2, :2], 0.0])
    forward = forward / max(float(np.linalg.norm(forward)), 1e-12)
    right = np.array([-forward[1], forward[0], 0.0])
    if right @ camera.axes[0] < 0:
        right = -right
    return np.asarray(forward, np.float64), np.asarray(right, np.float64)


def _turning(forward: FloatArray, right: FloatArray, deg: float) -> FloatArray:
    """(3, 3) turning about the vertical that carries ``forward`` towards ``right``."""
    up = np.array([0.0, 0.0, 1.0])
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    carried = np.stack([c * forward + s * right, c * right - s * forward, up], axis=1)
    return np.asarray(carried @ np.stack([forward, right, up]), np.float64)


def _mixed(axes: FloatArray, first: int, second: int, deg: float) -> FloatArray:
    """Axes with two rows turned into each other: the first towards the second."""
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    result = axes.copy()
    result[first] = c * axes[first] + s * axes[second]
    result[second] = c * axes[second] - s * axes[first]
    return result


def uncertainty(estimate: Estimated) -> dict[str, float]:
    """Name → SD of what of the camera is uncertain."""
    table: Mapping[str, float] = getattr(estimate, "camera_sd", None) or getattr(estimate, "sd", None) or {}
    return {name: float(table[name]) for name in DRAWN if name in table and math.isfinite(table[name])}


def camera_draws(estimate: Estimated, count: int, rng: np.random.Generator) -> tuple[Camera, ...]:
    """``count`` cameras that fit what is known.

    The estimate's own draws where it holds some, which keeps how its errors go together; else each uncertainty is
    drawn by itself, which can only make the spread larger.
    """
    camera = estimate.camera
    if camera is None:
        return ()
    own: Sequence[Camera] = tuple(getattr(estimate, "draws", ()) or ())
    if own:
        # Repeats of short lists are shuffled anew, so that two clips' draws do not run in step.
        order = np.concatenate([rng.permutation(len(own)) for _ in range(-(-count // len(own)))])[:count]
        return tuple(own[i] for i in order)
    sds = uncertainty(estimate)
    return tuple(
        moved(camera, **{name: sd * float(rng.standard_normal()) for name, sd in sds.items()}) for _ in range(count)
    )


def drawn_pairs(
    student: Estimated, reference: Estimated, count: int, rng: np.random.Generator
) -> tuple[tuple[Camera, ...], tuple[Camera, ...]]:
    """``count`` pairs of cameras: in step where both were found together (``together``), else drawn by themselves."""
    mine = getattr(student, "together", None)
    if mine is not None and mine is getattr(reference, "together", None):
        one, other = (tuple(estimate.draws)[:count] for estimate in (student, reference))  # type: ignore[attr-defined]
        return one, other
    return camera_draws(student, count, rng), camera_draws(reference, count, rng)
