"""A recording and what is tracked in it frame by frame: clip, joints, club, movement of the picture."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Literal

import numpy as np

from overlay.arrays import BoolArray, FloatArray, Image
from overlay.data.checks import frozen, increasing
from overlay.errors import DataError
from overlay.landmarks import INDEX, MIRROR, N_LANDMARKS


@dataclass(frozen=True)
class Clip:
    """What is known of a recording without looking at its pictures.

    Attributes
    ----------
    path : Path
    content_hash : str
        Hex SHA-256 of the file (of the concatenated files for a folder of stills).
    width, height : int
        Displayed size in px, after rotation.
    rotation_deg : int
        Clockwise rotation already applied by the reader: 0, 90, 180, 270.
    mirrored : bool
        Whether the reader flips left and right on request, on top of any flip the file itself asks for. Opening the
        file again with this and ``rotation_deg`` shows the same.
    times_s : (N,) float
        Presentation times, strictly increasing, first is 0.
    nominal_rate : Fraction
        Playback frames per second as the container states it.
    capture_rate : Fraction or None
        Frames per second when filmed, if told or found in the file; None when not known.
    is_variable_rate : bool
        Whether frame spacing differs from the nominal one by more than a rounding step.
    has_audio : bool
    codec, pixel_format : str
    bit_depth : int
    warnings : tuple of str
        Sentences a user should see ("10-bit colour …").
    """

    path: Path
    content_hash: str
    width: int
    height: int
    rotation_deg: int
    mirrored: bool
    times_s: FloatArray
    nominal_rate: Fraction
    capture_rate: Fraction | None
    is_variable_rate: bool
    has_audio: bool
    codec: str = ""
    pixel_format: str = ""
    bit_depth: int = 8
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "times_s", frozen(self.times_s, np.float64, (None,), "times_s"))
        increasing(self.times_s, "times_s")
        if self.width < 1 or self.height < 1:
            raise DataError(f"A clip of {self.width}×{self.height} px has no picture.", "Check the file.")

    @property
    def n_frames(self) -> int:
        return len(self.times_s)

    @property
    def duration_s(self) -> float:
        """From the first presentation time to the end of the last frame."""
        return float(self.times_s[-1] - self.times_s[0]) + 1.0 / float(self.nominal_rate) if self.n_frames else 0.0

    @property
    def slow_factor(self) -> float:
        """Playback seconds per real second: 8.0 for 240 frames/s played at 30; 1.0 when nothing is known."""
        return float(self.capture_rate / self.nominal_rate) if self.capture_rate else 1.0


@dataclass(frozen=True)
class Frame:
    """One picture. ``index`` only fetches pixels; ``time_s`` says when it was."""

    index: int
    time_s: float
    image: Image


@dataclass(frozen=True)
class PoseTrack:
    """Joints of one person over time, in ``landmarks.LANDMARKS`` order (J = 33).

    Attributes
    ----------
    points : (T, J, 2) float, px, NaN where missing
    depth : (T, J) float, px, towards the camera is negative, NaN where missing (a guess of the pose model)
    visibility : (T, J) float, 0–1, 0 where missing
    time_s : (T,) float, strictly increasing
    image_size : (width, height) px
    source : str
        Name of the backend or file kind.
    model : str
        Model name and version, part of the cache key.
    filled : (T, J) bool
        True where the value was filled in by cleaning; never scored.
    log : tuple of str
        What was done to the track, in order.
    """

    points: FloatArray
    depth: FloatArray
    visibility: FloatArray
    time_s: FloatArray
    image_size: tuple[int, int]
    source: str
    model: str = ""
    filled: BoolArray = field(default_factory=lambda: np.zeros((0, 0), bool))
    log: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.time_s)
        fill = object.__setattr__
        fill(self, "points", frozen(self.points, np.float64, (n, N_LANDMARKS, 2), "points"))
        fill(self, "depth", frozen(self.depth, np.float64, (n, N_LANDMARKS), "depth"))
        fill(self, "visibility", frozen(self.visibility, np.float64, (n, N_LANDMARKS), "visibility"))
        fill(self, "time_s", frozen(self.time_s, np.float64, (n,), "time_s"))
        filled = self.filled if np.size(self.filled) else np.zeros((n, N_LANDMARKS), bool)
        fill(self, "filled", frozen(filled, bool, (n, N_LANDMARKS), "filled"))
        increasing(self.time_s, "time_s")
        if np.any(np.isinf(self.points)):
            raise DataError("points holds infinite values.", "Missing joints are NaN.")

    def __len__(self) -> int:
        return len(self.time_s)

    def joint(self, name: str) -> FloatArray:
        """(T, 2) px of one landmark."""
        return self.points[:, INDEX[name]]

    def mirrored(self) -> PoseTrack:
        """The track as seen in a mirror: x flipped, left and right swapped."""
        points = self.points[:, list(MIRROR)].copy()
        points[..., 0] = self.image_size[0] - points[..., 0]
        swap = list(MIRROR)
        return replace(
            self,
            points=points,
            depth=self.depth[:, swap],
            visibility=self.visibility[:, swap],
            filled=self.filled[:, swap],
            log=(*self.log, "mirrored"),
        )

    def between(self, start_s: float, stop_s: float) -> PoseTrack:
        """The frames with start_s ≤ time ≤ stop_s."""
        keep = (self.time_s >= start_s) & (self.time_s <= stop_s)
        return replace(
            self,
            points=self.points[keep],
            depth=self.depth[keep],
            visibility=self.visibility[keep],
            time_s=self.time_s[keep],
            filled=self.filled[keep],
        )


ClubState = Literal["measured", "marked", "interpolated", "hidden"]
CLUB_STATES: tuple[ClubState, ...] = ("measured", "marked", "interpolated", "hidden")


@dataclass(frozen=True)
class ClubTrack:
    """The shaft over time.

    Attributes
    ----------
    time_s : (T,) float
    grip : (T, 2) float, px
    angle_deg : (T,) float
        Clockwise from the picture's +x axis, grip towards club head; NaN where hidden.
    length_px : (T,) float
    state : tuple of T words: measured, marked, interpolated, hidden
    angle_sd_deg : (T,) float
        Standard deviation of the angle; NaN where nothing is known. Left out: NaN throughout.
    """

    time_s: FloatArray
    grip: FloatArray
    angle_deg: FloatArray
    length_px: FloatArray
    state: tuple[ClubState, ...]
    angle_sd_deg: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        n = len(self.time_s)
        fill = object.__setattr__
        fill(self, "time_s", frozen(self.time_s, np.float64, (n,), "time_s"))
        fill(self, "grip", frozen(self.grip, np.float64, (n, 2), "grip"))
        fill(self, "angle_deg", frozen(self.angle_deg, np.float64, (n,), "angle_deg"))
        fill(self, "length_px", frozen(self.length_px, np.float64, (n,), "length_px"))
        spread = self.angle_sd_deg if np.size(self.angle_sd_deg) else np.full(n, np.nan)
        fill(self, "angle_sd_deg", frozen(spread, np.float64, (n,), "angle_sd_deg"))
        if len(self.state) != n or any(word not in CLUB_STATES for word in self.state):
            raise DataError("Club states do not fit the club track.", f"Use {', '.join(CLUB_STATES)}, one a frame.")
        increasing(self.time_s, "time_s")

    @property
    def scored(self) -> BoolArray:
        """(T,) where the shaft was seen or marked; only there is it measured from."""
        return np.array([word in ("measured", "marked") for word in self.state], bool)

    @property
    def head(self) -> FloatArray:
        """(T, 2) px of the visible end of the club, NaN where hidden."""
        angle = np.radians(self.angle_deg)
        return np.asarray(
            self.grip + self.length_px[:, None] * np.stack([np.cos(angle), np.sin(angle)], -1), np.float64
        )


@dataclass(frozen=True)
class CameraMotion:
    """How the picture moved between frames, from what stands still around the player.

    Attributes
    ----------
    time_s : (T,) float, strictly increasing
    matrices : (T, 2, 3) float
        Similarity that brings picture px of a frame to those of the reference frame (the address); identity on a
        tripod; NaN where it could not be told.
    """

    time_s: FloatArray
    matrices: FloatArray

    def __post_init__(self) -> None:
        n = len(self.time_s)
        object.__setattr__(self, "time_s", frozen(self.time_s, np.float64, (n,), "time_s"))
        object.__setattr__(self, "matrices", frozen(self.matrices, np.float64, (n, 2, 3), "matrices"))
        increasing(self.time_s, "time_s")

    def at(self, time_s: float) -> FloatArray:
        """(2, 3) of the nearest frame that is known; identity when none is."""
        known = np.flatnonzero(np.all(np.isfinite(self.matrices), axis=(1, 2)))
        if not len(known):
            return np.eye(2, 3)
        return np.asarray(self.matrices[known[np.argmin(np.abs(self.time_s[known] - time_s))]], np.float64)

    def to_reference(self, points: FloatArray, time_s: float) -> FloatArray:
        """Points (…, 2) px of the frame at ``time_s`` in px of the reference frame."""
        matrix = self.at(time_s)
        return np.asarray(points @ matrix[:, :2].T + matrix[:, 2], np.float64)

    def from_reference(self, points: FloatArray, time_s: float) -> FloatArray:
        """Points (…, 2) px of the reference frame where they lie in the frame at ``time_s``."""
        matrix = self.at(time_s)
        return np.asarray((points - matrix[:, 2]) @ np.linalg.inv(matrix[:, :2]).T, np.float64)
