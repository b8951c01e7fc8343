"""A pinhole camera at the range.

The world triad (X to the target, Y to the ball line, Z up) is left-handed when seen by the usual textbook rule, so
the picture's right is taken from the camera's forward direction f on the ground as (−f_y, f_x): looking along +X
the ball line is on the right, looking along −Y the target is on the right.
"""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Mapping

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import InputError
from overlay.terms import Handedness

if TYPE_CHECKING:
    from overlay.golfer.motion import Motion


@dataclass(frozen=True)
class CameraSpec:
    """Where the camera stands and what it sees. Metres and degrees.

    The camera looks at an aim point at its own height: for ``dtl`` on the hand line (``hand_line_m`` +
    ``offset_m``) beside the player, for ``fo`` in front of the middle of the stance (``offset_m`` along X).

    Attributes
    ----------
    view : dtl or fo
    handedness : right or left
        Of the player: a down-the-line camera stands on the trail side.
    height_m : float
        Lens above the ground.
    offset_m : float
        dtl: lens further from the player than the hand line (+, outside); fo: along X.
    hand_line_m : float
        Y of the hands at address; ``for_motion`` sets it from the player.
    distance_m : float
        From the aim point.
    yaw_deg : float
        The camera walks round the aim point: + turns its viewing direction clockwise seen from above.
    pan_deg, pitch_deg, roll_deg : float
        The camera turns on its tripod: to its right, up, and clockwise (the picture turns anticlockwise).
    width_px, height_px : int
    fov_deg : float
        Vertical field of view at zoom 1.
    zoom : float
        Magnification.
    shake_deg : float
        Size (standard deviation) of a slow hand-held tremble, 0 for a tripod.
    shake_seed : int
    """

    view: str = "dtl"
    handedness: Handedness = "right"
    height_m: float = 0.8
    offset_m: float = 0.0
    hand_line_m: float = 0.24
    distance_m: float = 3.8
    yaw_deg: float = 0.0
    pan_deg: float = 0.0
    pitch_deg: float = 0.0
    roll_deg: float = 0.0
    width_px: int = 480
    height_px: int = 854
    fov_deg: float = 39.0
    zoom: float = 1.0
    shake_deg: float = 0.0
    shake_seed: int = 0

    def __post_init__(self) -> None:
        if self.view not in ("dtl", "fo"):
            raise InputError(f"view of the camera is {self.view!r}.", "Use dtl or fo.")
        if self.handedness not in ("right", "left"):
            raise InputError(f"handedness of the camera's player is {self.handedness!r}.", "Use right or left.")
        limits = {
            "height_m": (0.05, 5.0), "offset_m": (-3.0, 3.0), "hand_line_m": (-1.0, 1.5), "distance_m": (1.0, 50.0),
            "yaw_deg": (-180.0, 180.0), "pan_deg": (-60.0, 60.0), "pitch_deg": (-60.0, 60.0),
            "roll_deg": (-180.0, 180.0),
            "width_px": (16, 8192), "height_px": (16, 8192), "fov_deg": (5.0, 120.0), "zoom": (0.1, 20.0),
            "shake_deg": (0.0, 5.0),
        }  # fmt: skip
        for name, (low, high) in limits.items():
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, (int, float)) or not low <= value <= high:
                raise InputError(f"{name} of the camera is {value!r}.", f"Give a number from {low:g} to {high:g}.")

    @classmethod
    def for_motion(cls, motion: Motion, view: str = "dtl", **changes: Any) -> CameraSpec:
        """A camera set up well for this player: on his trail side and hand line, 0.71 to 0.81 m up."""
        at = motion.state(np.array([motion.position_times["address"]]))
        chosen: dict[str, Any] = {
            "view": view,
            "handedness": motion.spec.handedness,
            "hand_line_m": float(at["grip"][0, 1]),
            "height_m": float(np.clip(at["grip"][0, 2], 0.71, 0.81)),
            "distance_m": (3.8 if view == "dtl" else 4.2) + (0.3 if motion.spec.club == "driver" else 0.0),
        }
        return cls(**(chosen | changes))

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> CameraSpec:
        """From a plain dictionary; what is left out keeps its default.

        Raises
        ------
        InputError
            Unknown names or values out of range.
        """
        known = {f.name for f in dataclasses.fields(cls)}
        wrong = set(values) - known
        if wrong:
            raise InputError(f"A camera has no {', '.join(sorted(wrong))}.", f"Use {', '.join(sorted(known))}.")
        return cls(**values)

    def to_dict(self) -> dict[str, Any]:
        """Plain dictionary."""
        return dataclasses.asdict(self)

    @property
    def focal_px(self) -> float:
        """Focal length in px."""
        return self.zoom * 0.5 * self.height_px / math.tan(math.radians(self.fov_deg) / 2)

    @property
    def principal_px(self) -> tuple[float, float]:
        """Where the optical axis meets the picture."""
        return 0.5 * self.width_px, 0.5 * self.height_px

    @property
    def aim(self) -> FloatArray:
        """(3,) m: the point the camera walks round and looks at (before pan and pitch)."""
        if self.view == "dtl":
            return np.array([0.0, self.hand_line_m + self.offset_m, self.height_m])
        return np.array([self.offset_m, 0.1, self.height_m])

    def _forward_on_ground(self) -> FloatArray:
        if self.view == "dtl":
            start = np.array([1.0 if self.handedness == "right" else -1.0, 0.0])
        else:
            start = np.array([0.0, -1.0])
        return _turned(start, self.yaw_deg)

    @property
    def position(self) -> FloatArray:
        """(3,) m: the lens."""
        forward = self._forward_on_ground()
        return self.aim - self.distance_m * np.array([forward[0], forward[1], 0.0])

    @property
    def axes(self) -> FloatArray:
        """(3, 3): rows are the picture's right, down, and forward in world axes."""
        return _axes(self._forward_on_ground(), self.pan_deg, self.pitch_deg, self.roll_deg)

    def shake_at(self, times_s: FloatArray) -> FloatArray:
        """(T, 3) degrees of tremble (pan, pitch, roll) at ``times_s`` (T,)."""
        times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
        rng = np.random.default_rng([self.shake_seed, 31])
        speed, start = rng.uniform(0.3, 2.2, (3, 5)), rng.uniform(0, 2 * np.pi, (3, 5))
        waves = np.sin(2 * np.pi * speed[None] * times[:, None, None] + start[None]).sum(-1) * math.sqrt(2 / 5)
        result: FloatArray = self.shake_deg * waves * np.array([1.0, 1.0, 0.5])
        return result

    def at(self, time_s: float) -> CameraSpec:
        """The camera as it points at one time: tremble applied, no further shake."""
        if self.shake_deg == 0.0:
            return self
        pan, pitch, roll = self.shake_at(np.array([time_s]))[0]
        return dataclasses.replace(
            self,
            pan_deg=self.pan_deg + float(pan),
            pitch_deg=self.pitch_deg + float(pitch),
            roll_deg=self.roll_deg + float(roll),
            shake_deg=0.0,
        )

    def camera_coordinates(self, points: FloatArray) -> FloatArray:
        """(…, 3) m right, down, forward of world points (…, 3)."""
        result: FloatArray = (np.asarray(points, dtype=np.float64) - self.position) @ self.axes.T
        return result

    def project(self, points: FloatArray, times_s: FloatArray | None = None) -> FloatArray:
        """Picture coordinates of world points.

        Parameters
        ----------
        points : (…, 3) float, m
        times_s : (T,) float, optional
            With a trembling camera and points (T, …, 3): when each was seen.

        Returns
        -------
        (…, 2) px, x right and y down from the top left corner; NaN behind the camera.
        """
        points = np.asarray(points, dtype=np.float64)
        if times_s is not None and self.shake_deg > 0.0:
            return np.stack([self.at(float(t)).project(p) for t, p in zip(times_s, points)])
        local = self.camera_coordinates(points)
        ahead = np.where(local[..., 2:] > 0.05, local[..., 2:], np.nan)
        result: FloatArray = self.focal_px * local[..., :2] / ahead + np.array(self.principal_px)
        return result


def _turned(ground: FloatArray, deg: float) -> FloatArray:
    """A ground direction turned to the picture's right (−f_y, f_x) by ``deg``."""
    c, s = math.cos(math.radians(deg)), math.sin(math.radians(deg))
    return np.array([c * ground[0] - s * ground[1], c * ground[1] + s * ground[0]])


def _axes(ground: FloatArray, pan_deg: float, pitch_deg: float, roll_deg: float) -> FloatArray:
    f = _turned(ground, pan_deg)
    right = np.array([-f[1], f[0], 0.0])
    p, r = math.radians(pitch_deg), math.radians(roll_deg)
    forward = np.array([f[0] * math.cos(p), f[1] * math.cos(p), math.sin(p)])
    down = np.array([f[0] * math.sin(p), f[1] * math.sin(p), -math.cos(p)])
    return np.stack([math.cos(r) * right + math.sin(r) * down, math.cos(r) * down - math.sin(r) * right, forward])
