"""Loads the hand-labelled real tracks, which are not part of the project, as ``PoseTrack``.

The folder is named by the environment variable OVERLAY_REAL_DATA. Used by tests and studies that skip without it.
"""

from __future__ import annotations

import csv
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from overlay.data import PoseTrack
from overlay.landmarks import INDEX, N_LANDMARKS

RATE_HZ = 30.0
"""Not stated by the data; about right."""

PAIRS = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")

FIFTEEN = (
    None,
    None,
    "nose",
    "right_shoulder",
    "left_shoulder",
    "right_hip",
    "left_hip",
    "right_elbow",
    "left_elbow",
    "right_knee",
    "left_knee",
    "right_wrist",
    "left_wrist",
    "right_ankle",
    "left_ankle",
)


@dataclass(frozen=True)
class RealTrack:
    """One hand-labelled swing. ``label`` is the camera label: back, right, left, front, or "" when there is none."""

    key: str
    label: str
    track: PoseTrack


def real_folder() -> Path | None:
    """The folder of real swings, or None when the environment does not name one."""
    name = os.environ.get("OVERLAY_REAL_DATA")
    return Path(name) if name and Path(name).is_dir() else None


def load_thirteen(folder: Path) -> list[RealTrack]:
    """The 60 swings of 13 joints.

    The first joint of each pair is the anatomical right. One face-on track has its sides the other way round: face on
    the anatomical right stands on the left of the picture, and that settles it.

    Joints marked as not visible were still placed by hand, often far off: they are left out, but for shoulders and
    hips, whose places can be judged from the trunk.
    """
    with open(folder / "joint_tracks_13_index.csv", newline="") as source:
        rows = list(csv.DictReader(source))
    tracks = []
    with np.load(folder / "joint_tracks_13.npz", allow_pickle=False) as arrays:
        for row in rows:
            values = np.asarray(arrays[row["key"]], np.float64)
            label = row["camera_label"]
            address = values[:6, 1, 0] - values[:6, 2, 0] + values[:6, 7, 0] - values[:6, 8, 0]
            sides = ("left", "right") if label == "right" and np.median(address) > 0 else ("right", "left")
            points = np.full((len(values), N_LANDMARKS, 2), np.nan)
            visibility = np.zeros((len(values), N_LANDMARKS))
            names = ["nose", *(f"{side}_{joint}" for joint in PAIRS for side in sides)]
            for source_index, name in enumerate(names):
                points[:, INDEX[name]] = values[:, source_index, :2]
                visibility[:, INDEX[name]] = np.where(values[:, source_index, 2] > 0, 1.0, 0.1)
                if not name.endswith(("shoulder", "hip")):
                    points[values[:, source_index, 2] <= 0, INDEX[name]] = np.nan
                    visibility[values[:, source_index, 2] <= 0, INDEX[name]] = 0.0
            size = (int(row["width"]), int(row["height"]))
            tracks.append(RealTrack(row["key"], label, _track(points, visibility, size)))
    return tracks


def load_fifteen(folder: Path) -> list[RealTrack]:
    """The 12 swings of 15 joints, normalised; scaled to a picture of 400 × 400."""
    tracks = []
    with np.load(folder / "joint_tracks_15.npz", allow_pickle=False) as arrays:
        for key in sorted(arrays.files):
            values = np.asarray(arrays[key], np.float64) * 200.0 + 200.0
            points = np.full((len(values), N_LANDMARKS, 2), np.nan)
            visibility = np.zeros((len(values), N_LANDMARKS))
            for source_index, name in enumerate(FIFTEEN):
                if name is not None:
                    points[:, INDEX[name]] = values[:, source_index]
                    visibility[:, INDEX[name]] = 0.9
            tracks.append(RealTrack(key, "", _track(points, visibility, (400, 400))))
    return tracks


def _track(points: np.ndarray, visibility: np.ndarray, size: tuple[int, int]) -> PoseTrack:
    return PoseTrack(
        points=points,
        depth=np.full(points.shape[:2], np.nan),
        visibility=visibility,
        time_s=np.arange(len(points)) / RATE_HZ,
        image_size=size,
        source="hand-labelled",
    )
