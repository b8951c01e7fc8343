"""Where the hands hold the club, from the joints."""

from __future__ import annotations

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import PoseTrack
from overlay.landmarks import INDEX

_KNUCKLES = tuple(INDEX[f"{side}_{name}"] for side in ("left", "right") for name in ("index", "pinky"))
_WRISTS = (INDEX["left_wrist"], INDEX["right_wrist"])


def hand_path(pose: PoseTrack) -> FloatArray:
    """(T, 2) px: the middle of both hands' knuckles, each weighted by how well it is seen; gaps bridged straight.

    On rendered clips this lies 0.02 T beside the shaft (median; 0.05 at the 90th percentile), the mean of all hand
    joints 0.05. NaN throughout when no hand is ever seen.
    """
    path = _weighted(pose, _KNUCKLES)
    missing = ~np.all(np.isfinite(path), axis=1)
    if missing.any():
        wrists = _weighted(pose, _WRISTS)
        path[missing] = wrists[missing]
    known = np.all(np.isfinite(path), axis=1)
    if not known.any():
        return path
    for axis in range(2):
        path[:, axis] = np.interp(pose.time_s, pose.time_s[known], path[known, axis])
    return path


def hands_seen(pose: PoseTrack) -> FloatArray:
    """(T,) 0–1: visibility of the better seen hand."""
    there = np.isfinite(pose.points[:, list(_KNUCKLES), 0])
    seen = np.where(there, pose.visibility[:, list(_KNUCKLES)], 0.0)
    return np.asarray(np.maximum(seen[:, :2].mean(axis=1), seen[:, 2:].mean(axis=1)), np.float64)


def _weighted(pose: PoseTrack, joints: tuple[int, ...]) -> FloatArray:
    points = pose.points[:, list(joints)]
    seen = np.all(np.isfinite(points), axis=-1)
    weight = np.where(seen, pose.visibility[:, list(joints)] + 1e-3, 0.0)
    total = weight.sum(axis=1, keepdims=True)
    summed = np.sum(np.where(seen[..., None], points, 0.0) * weight[..., None], axis=1)
    return np.asarray(np.where(total > 0, summed / np.maximum(total, 1e-9), np.nan), np.float64)


def forearms(pose: PoseTrack) -> FloatArray:
    """(T, 2, 2, 2) px: elbow and wrist of both arms, NaN where missing."""
    rows = [[INDEX[f"{side}_{name}"] for name in ("elbow", "wrist")] for side in ("left", "right")]
    return np.asarray(pose.points[:, rows], np.float64)
