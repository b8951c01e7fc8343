"""How people stand at address: a mean posture in space and the ways in which it varies, in shares of stature.

The table is made by ``studies/filming_errors.py --shape`` from synthetic players of many bodies and styles, with more
spread added for how real players stand (see there); its lengths are those of Drillis & Contini 1966.
"""

from __future__ import annotations

import functools
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from overlay.arrays import FloatArray
from overlay.landmarks import INDEX

JOINTS: tuple[str, ...] = (
    "left_shoulder",
    "right_shoulder",
    "left_hip",
    "right_hip",
    "left_knee",
    "right_knee",
    "left_ankle",
    "right_ankle",
    "left_heel",
    "right_heel",
    "left_foot_index",
    "right_foot_index",
    "left_wrist",
    "right_wrist",
    "left_ear",
    "right_ear",
    "nose",
)
"""Joints the camera is found from; the shape has one more point, the middle of the hands on the grip."""

LANDMARK_ROWS: tuple[int, ...] = tuple(INDEX[name] for name in JOINTS)
GRIP = len(JOINTS)

TABLE = Path(__file__).resolve().parent / "address_shape.json"


@dataclass(frozen=True)
class AddressShape:
    """A right-hander at address: X to the target, Y to the ball line, Z up, origin between the feet on the ground.

    Attributes
    ----------
    mean : (18, 3) float, shares of stature
    ways : (K, 18, 3) float
        Each changes the posture by one standard deviation.
    pose_habits : view → (4, 17, 2) float, torso lengths in the picture
        Where the shipped pose model places a joint, less where the shape has it: from a camera at its place, and how
        that changes with each degree of ``geometry.looks_from``. It sees players more like the usual picture than they
        are, so a camera that is turned seems less so.
    pose_covariance : view → (34, 34) float, torso lengths squared
        How that varies between players, pictures and looks; x, y of the first joint, x, y of the second, …
    """

    mean: FloatArray
    ways: FloatArray
    pose_habits: dict[str, FloatArray]
    pose_covariance: dict[str, FloatArray]


@functools.cache
def address_shape() -> AddressShape:
    """The table that comes with the package."""
    told = json.loads(TABLE.read_text(encoding="utf-8"))
    return AddressShape(
        mean=np.array(told["mean"], np.float64),
        ways=np.array(told["ways"], np.float64),
        pose_habits={view: np.array(rows, np.float64) for view, rows in told["pose_habits"].items()},
        pose_covariance={view: np.array(rows, np.float64) for view, rows in told["pose_covariance"].items()},
    )
