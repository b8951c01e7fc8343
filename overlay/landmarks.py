"""Joint names, skeleton edges and the mirror table.

The 33 names are those of MediaPipe's pose landmark model, which is the joint set of every ``PoseTrack``; a
source with fewer joints leaves the others NaN.
Source of names and order: the model card of MediaPipe BlazePose GHUM 3D.
"""

from __future__ import annotations

from typing import Literal

from overlay.terms import Handedness

LANDMARKS: tuple[str, ...] = (
    "nose",
    "left_eye_inner",
    "left_eye",
    "left_eye_outer",
    "right_eye_inner",
    "right_eye",
    "right_eye_outer",
    "left_ear",
    "right_ear",
    "mouth_left",
    "mouth_right",
    "left_shoulder",
    "right_shoulder",
    "left_elbow",
    "right_elbow",
    "left_wrist",
    "right_wrist",
    "left_pinky",
    "right_pinky",
    "left_index",
    "right_index",
    "left_thumb",
    "right_thumb",
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
)

N_LANDMARKS = len(LANDMARKS)

INDEX: dict[str, int] = {name: i for i, name in enumerate(LANDMARKS)}


def _mirror_name(name: str) -> str:
    if "left" in name:
        return name.replace("left", "right")
    if "right" in name:
        return name.replace("right", "left")
    return name


MIRROR: tuple[int, ...] = tuple(INDEX[_mirror_name(name)] for name in LANDMARKS)
"""``points[:, MIRROR]`` swaps the sides."""

EDGES: tuple[tuple[str, str], ...] = (
    ("left_shoulder", "right_shoulder"),
    ("left_hip", "right_hip"),
    ("left_shoulder", "left_hip"),
    ("right_shoulder", "right_hip"),
    ("left_shoulder", "left_elbow"),
    ("left_elbow", "left_wrist"),
    ("right_shoulder", "right_elbow"),
    ("right_elbow", "right_wrist"),
    ("left_hip", "left_knee"),
    ("left_knee", "left_ankle"),
    ("right_hip", "right_knee"),
    ("right_knee", "right_ankle"),
    ("left_ankle", "left_heel"),
    ("left_heel", "left_foot_index"),
    ("right_ankle", "right_heel"),
    ("right_heel", "right_foot_index"),
)
"""The bones that are drawn."""


def sided(joint: str, side: Literal["lead", "trail"], handedness: Handedness) -> str:
    """Landmark name of ``joint`` on the lead or trail side.

    >>> sided("wrist", "lead", "right")
    'left_wrist'
    >>> sided("knee", "lead", "left")
    'right_knee'
    """
    lead_is_left = handedness == "right"
    left = lead_is_left if side == "lead" else not lead_is_left
    return f"{'left' if left else 'right'}_{joint}"


def side_index(joint: str, side: Literal["lead", "trail"], handedness: Handedness) -> int:
    """Index of ``sided(...)`` in ``LANDMARKS``."""
    return INDEX[sided(joint, side, handedness)]
