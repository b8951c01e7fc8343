"""What the filming check looks at, gathered once: the clip, the swing, the moment of address and the pose there."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import CameraMotion, PoseTrack, Swing
from overlay.kinematics import torso_length
from overlay.landmarks import INDEX, MIRROR, N_LANDMARKS
from overlay.settings.filming import FilmingSettings
from overlay.terms import Handedness, View

if TYPE_CHECKING:
    from overlay.pose import MaskTrack
    from overlay.video import Reader

FEET = tuple(INDEX[f"{side}_{joint}"] for joint in ("ankle", "heel", "foot_index") for side in ("left", "right"))
HANDS = tuple(INDEX[f"{side}_{joint}"] for joint in ("wrist", "index", "pinky", "thumb") for side in ("left", "right"))


@dataclass(frozen=True)
class Scene:
    """Inputs of every part of the check, and what they share.

    Attributes
    ----------
    reader : Reader or None
        None: no pictures.
    track : PoseTrack
        Of the swing where there is one, else of the whole recording.
    swing : Swing or None
        None: no swing was found, and only what needs none is told.
    masks : MaskTrack or None
    motion : CameraMotion or None
    stature_cm : float or None
    settings : FilmingSettings
    slow_factor : float
        Playback seconds per real second.
    address_s : float or None
    pose : (33, 2) float, px
        The player standing still before the swing; NaN where never seen.
    visibility : (33,) float
    torso_px : float
    image_size : (width, height) px
    """

    reader: Reader | None
    track: PoseTrack
    swing: Swing | None
    masks: MaskTrack | None
    motion: CameraMotion | None
    stature_cm: float | None
    settings: FilmingSettings
    slow_factor: float
    address_s: float | None
    pose: FloatArray
    visibility: FloatArray
    torso_px: float
    image_size: tuple[int, int]

    @property
    def view(self) -> View:
        return "other" if self.swing is None else self.swing.view

    @property
    def handedness(self) -> Handedness:
        return "right" if self.swing is None else self.swing.handedness

    @property
    def moment_s(self) -> float:
        """Where a picture of the standing player is taken: at address, else in the middle of the track."""
        return float(self.track.time_s[len(self.track) // 2]) if self.address_s is None else self.address_s

    @property
    def stature(self) -> tuple[float, float]:
        """The player's stature and its standard deviation, cm."""
        if self.stature_cm is not None:
            return self.stature_cm, self.settings.stature_told_sd_cm
        return self.settings.stature_cm, self.settings.stature_sd_cm

    @property
    def has_stature(self) -> bool:
        return self.stature_cm is not None

    def right_handed_pose(self) -> tuple[FloatArray, FloatArray]:
        """``pose`` and ``visibility`` as a right-hander's picture shows them."""
        if self.handedness == "right":
            return self.pose, self.visibility
        points = self.pose[list(MIRROR)].copy()
        points[:, 0] = self.image_size[0] - points[:, 0]
        return points, self.visibility[list(MIRROR)]

    def time(self, position: str) -> float | None:
        """Seconds of a position, None when it was not found."""
        return None if self.swing is None else self.swing.positions.time(position)


def gather(
    reader: Reader | None,
    track: PoseTrack,
    swing: Swing | None,
    masks: MaskTrack | None,
    motion: CameraMotion | None,
    stature_cm: float | None,
    settings: FilmingSettings,
) -> Scene:
    """The scene of one swing, or of a recording in which none was found."""
    pose_track = track if swing is None else swing.pose
    address_s = None if swing is None else swing.positions.time("address")
    slow = _slow_factor(swing, reader)
    pose, visibility = _still_pose(pose_track, address_s, slow, settings)
    torso = torso_length(pose_track) if len(pose_track) else math.nan
    if swing is not None and math.isfinite(swing.torso_px):
        torso = swing.torso_px
    if motion is None and swing is not None:
        motion = swing.camera_motion
    return Scene(
        reader=reader,
        track=pose_track,
        swing=swing,
        masks=masks if masks is not None and len(masks) else None,
        motion=motion,
        stature_cm=stature_cm,
        settings=settings,
        slow_factor=slow,
        address_s=address_s,
        pose=pose,
        visibility=visibility,
        torso_px=float(torso),
        image_size=pose_track.image_size,
    )


def _slow_factor(swing: Swing | None, reader: Reader | None) -> float:
    clip = swing.clip if swing is not None and swing.clip is not None else None if reader is None else reader.clip
    if clip is not None and clip.capture_rate is not None:
        return clip.slow_factor
    estimate = 1.0 if swing is None else float(swing.quality.get("slow_factor_estimate", 1.0))
    return estimate if math.isfinite(estimate) and estimate > 0 else 1.0


def _still_pose(
    track: PoseTrack, address_s: float | None, slow: float, settings: FilmingSettings
) -> tuple[FloatArray, FloatArray]:
    """Median of the frames in which the player stands still; of all frames when there is no address."""
    if not len(track):
        return np.full((N_LANDMARKS, 2), np.nan), np.zeros(N_LANDMARKS)
    if address_s is None:
        chosen: BoolArray = np.ones(len(track), bool)
    else:
        early = address_s - settings.still_s * slow
        chosen = (track.time_s >= early) & (track.time_s <= address_s + 0.02 * slow)
        if chosen.sum() < 3:
            chosen = np.zeros(len(track), bool)
            chosen[np.argsort(np.abs(track.time_s - address_s))[:3]] = True
    filled = track.filled[chosen]
    points = np.where(filled[..., None], np.nan, track.points[chosen])
    seen = np.any(np.isfinite(points[..., 0]), axis=0)
    pose = np.full((N_LANDMARKS, 2), np.nan)
    pose[seen] = np.nanmedian(points[:, seen], axis=0)
    return pose, np.median(track.visibility[chosen], axis=0)


def with_settings(scene: Scene, settings: FilmingSettings) -> Scene:
    """The same scene under other thresholds."""
    return dataclasses.replace(scene, settings=settings)
