"""The copy of a track that the cleaning steps work on, one after the other."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import PoseTrack
from overlay.errors import DataError
from overlay.kinematics import local_scale, torso_lengths
from overlay.landmarks import INDEX, LANDMARKS, N_LANDMARKS

HAND_JOINTS = ("wrist", "pinky", "index", "thumb")
HANDS = tuple(INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in HAND_JOINTS)
ELBOWS = tuple(INDEX[f"{side}_elbow"] for side in ("left", "right"))
LEGS = tuple(
    INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in ("knee", "ankle", "heel", "foot_index")
)
REGIONS: dict[str, tuple[int, ...]] = {
    "hand": HANDS,
    "elbow": ELBOWS,
    "leg": LEGS,
    "trunk": tuple(i for i in range(N_LANDMARKS) if i not in {*HANDS, *ELBOWS, *LEGS}),
}
"""Every joint is in exactly one region: the regions differ in how fast they can move."""

SCALE_WINDOW_S = 3.0


@dataclass
class Work:
    """A track being cleaned.

    Attributes
    ----------
    points : (T, J, 2) px; depth, visibility : (T, J)
    real_s : (T,) float
        Real seconds: playback time divided by the slow factor.
    scale_px : (T,) float
        Torso length around each frame, px; NaN when the torso is never seen.
    filled : (T, J) bool
    image_size : (width, height) px
    log : what was done, in order
    """

    points: FloatArray
    depth: FloatArray
    visibility: FloatArray
    real_s: FloatArray
    scale_px: FloatArray
    filled: BoolArray
    image_size: tuple[int, int]
    log: list[str] = field(default_factory=list)

    @property
    def step_s(self) -> float:
        """Typical time from frame to frame, real seconds."""
        return float(np.median(np.diff(self.real_s))) if len(self.real_s) > 1 else 1.0

    @property
    def has_scale(self) -> bool:
        return bool(np.all(np.isfinite(self.scale_px)))

    def drop(self, where: BoolArray) -> None:
        """Make values missing; ``where`` is (T, J)."""
        self.points[where] = np.nan
        self.depth[where] = np.nan

    def seen(self) -> BoolArray:
        """(T, J)"""
        return np.asarray(np.isfinite(self.points[..., 0]), bool)


def begin(track: PoseTrack, slow_factor: float) -> Work:
    """A working copy of ``track``.

    Raises
    ------
    DataError
        ``slow_factor`` is not a positive number.
    """
    if not (np.isfinite(slow_factor) and slow_factor > 0):
        raise DataError(f"A slow factor of {slow_factor} is not positive.", "Give playback seconds per real second.")
    real_s = track.time_s / slow_factor
    if len(track) > 1 and np.any(np.isfinite(torso_lengths(track))):
        window = max(1, round(SCALE_WINDOW_S / float(np.median(np.diff(real_s)))))
        scale = local_scale(track, window)
    else:
        scale = np.full(len(track), np.nan)
    # A point with one coordinate is no point.
    whole = np.all(np.isfinite(track.points), axis=2, keepdims=True)
    points = np.where(whole, track.points, np.nan)
    return Work(
        points=points,
        depth=track.depth.copy(),
        visibility=track.visibility.copy(),
        real_s=real_s,
        scale_px=scale,
        filled=track.filled.copy(),
        image_size=track.image_size,
        log=list(track.log),
    )


def finish(work: Work, track: PoseTrack) -> PoseTrack:
    """The cleaned track; times, size and source are those of ``track``."""
    return replace(
        track,
        points=work.points,
        depth=work.depth,
        visibility=work.visibility,
        filled=work.filled & work.seen(),
        log=tuple(work.log),
    )


def counted(where: BoolArray, most: int = 4) -> str:
    """``where`` (T, J) in words: how many values, and of which joints mostly."""
    per_joint = where.sum(axis=0)
    order = np.argsort(-per_joint, kind="stable")[:most]
    names = ", ".join(f"{LANDMARKS[j]} {per_joint[j]}" for j in order if per_joint[j])
    return f"{int(where.sum())} values" + (f" ({names})" if names else "")
