"""Turning vectors in space, many at a time."""

from __future__ import annotations

import numpy as np

from overlay.arrays import FloatArray


def unit(v: FloatArray) -> FloatArray:
    """Unit vectors along the last axis; zero stays zero."""
    return np.asarray(v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-12), np.float64)


def dot(a: FloatArray, b: FloatArray) -> FloatArray:
    """(…, 1) scalar products."""
    return np.asarray(np.sum(a * b, axis=-1, keepdims=True), np.float64)


def soft_excess(x: FloatArray, width: float) -> FloatArray:
    """A smooth max(0, x) with a knee of ``width``."""
    return np.asarray(width * np.logaddexp(0.0, x / width), np.float64)


def smoothstep(x: FloatArray) -> FloatArray:
    """0 below 0, 1 above 1, with two continuous derivatives between."""
    x = np.clip(x, 0.0, 1.0)
    return np.asarray(x**3 * (10.0 - 15.0 * x + 6.0 * x**2), np.float64)


def rotation_vector(start: FloatArray, end: FloatArray) -> FloatArray:
    """(…, 3) rad: the least turn that takes direction ``start`` to direction ``end``."""
    a, b = unit(start), unit(end)
    axis = np.cross(a, b)
    sine = np.linalg.norm(axis, axis=-1, keepdims=True)
    angle = np.arctan2(sine, dot(a, b))
    return np.asarray(axis / np.maximum(sine, 1e-12) * angle, np.float64)


def turned(v: FloatArray, rotation: FloatArray) -> FloatArray:
    """Vectors (…, 3) turned by rotation vectors (…, 3) rad: Rodrigues' formula."""
    angle = np.linalg.norm(rotation, axis=-1, keepdims=True)
    axis = rotation / np.maximum(angle, 1e-12)
    c, s = np.cos(angle), np.sin(angle)
    return np.asarray(c * v + s * np.cross(axis, v) + (1.0 - c) * dot(axis, v) * axis, np.float64)


def about_z(v: FloatArray, deg: float) -> FloatArray:
    """Vectors (…, 3) turned about the vertical by ``deg``: from X (target) towards Y (ball line)."""
    c, s = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    x, y = v[..., 0], v[..., 1]
    return np.stack([c * x - s * y, s * x + c * y, v[..., 2]], axis=-1)


def two_bone(root: FloatArray, end: FloatArray, first: FloatArray, second: FloatArray, pole: FloatArray) -> FloatArray:
    """(T, 3) middle joint of two bones of lengths (T, 1) from ``root`` to ``end``, bent towards ``pole``.

    Where the end is out of reach the bones lie on the line; callers keep it in reach.
    """
    gap = end - root
    far = np.linalg.norm(gap, axis=-1, keepdims=True)
    along = gap / np.maximum(far, 1e-9)
    reach = np.clip(far, np.abs(first - second) + 1e-6, first + second - 1e-9)
    a = (first**2 - second**2 + reach**2) / (2 * reach)
    side = np.sqrt(np.maximum(first**2 - a**2, 0.0))
    return np.asarray(root + a * along + side * unit(pole - dot(pole, along) * along), np.float64)
