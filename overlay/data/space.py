"""A swing in space: joints and club in metres, and the pinhole camera that looks at it.

World axes, as everywhere in the project: X towards the target of a right-hander, Y from the player towards the ball
line, Z up; the ground is Z = 0 and the origin lies midway between the feet. Seen by the usual textbook rule the triad
is left-handed, so sides are taken from a camera's own axes. A left-hander is the mirror image in X.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from overlay.arrays import FloatArray
from overlay.data.checks import frozen, increasing
from overlay.data.swing import Positions
from overlay.errors import DataError
from overlay.landmarks import MIRROR, N_LANDMARKS
from overlay.terms import Handedness


@dataclass(frozen=True)
class Camera:
    """A pinhole camera.

    Attributes
    ----------
    position : (3,) m
        The lens.
    axes : (3, 3)
        Rows: the picture's right, down and forward directions in world axes; orthonormal.
    focal_px : float
    principal_px : (x, y) px
        Where the optical axis meets the picture.
    """

    position: FloatArray
    axes: FloatArray
    focal_px: float
    principal_px: tuple[float, float]

    def __post_init__(self) -> None:
        object.__setattr__(self, "position", frozen(self.position, np.float64, (3,), "position"))
        object.__setattr__(self, "axes", frozen(self.axes, np.float64, (3, 3), "axes"))
        if not np.allclose(self.axes @ self.axes.T, np.eye(3), atol=1e-6):
            raise DataError("The axes of the camera are not orthonormal.", "Give right, down and forward directions.")
        if not (np.isfinite(self.focal_px) and self.focal_px > 0) or not np.all(np.isfinite(self.position)):
            raise DataError("The camera has no finite place or focal length.", "Give metres and pixels.")

    def coordinates(self, points: FloatArray) -> FloatArray:
        """(…, 3) m right, down, forward of world points (…, 3)."""
        return np.asarray((np.asarray(points, np.float64) - self.position) @ self.axes.T, np.float64)

    def project(self, points: FloatArray) -> FloatArray:
        """(…, 2) px of world points (…, 3) m; NaN behind the camera."""
        local = self.coordinates(points)
        with np.errstate(invalid="ignore"):
            ahead = np.where(local[..., 2:] > 0.05, local[..., 2:], np.nan)
        return np.asarray(self.focal_px * local[..., :2] / ahead + np.array(self.principal_px), np.float64)


@dataclass(frozen=True)
class SpaceTrack:
    """One swing in space.

    Attributes
    ----------
    time_s : (T,) float, strictly increasing, real seconds
    points : (T, 33, 3) float, m
        In ``landmarks.LANDMARKS`` order, each where the pose model would place it on the body.
    grip, club_head : (T, 3) float, m
    ball : (3,) float, m, at rest; None without a ball
    positions : Positions
    handedness : right or left
    stature_m : float
    club_kind : str
        What was swung, in words: "mid iron", "driver"; "" when not known.
    """

    time_s: FloatArray
    points: FloatArray
    grip: FloatArray
    club_head: FloatArray
    ball: FloatArray | None
    positions: Positions
    handedness: Handedness = "right"
    stature_m: float = 1.78
    club_kind: str = ""

    def __post_init__(self) -> None:
        n = len(self.time_s)
        fill = object.__setattr__
        fill(self, "time_s", frozen(self.time_s, np.float64, (n,), "time_s"))
        fill(self, "points", frozen(self.points, np.float64, (n, N_LANDMARKS, 3), "points"))
        fill(self, "grip", frozen(self.grip, np.float64, (n, 3), "grip"))
        fill(self, "club_head", frozen(self.club_head, np.float64, (n, 3), "club_head"))
        if self.ball is not None:
            fill(self, "ball", frozen(self.ball, np.float64, (3,), "ball"))
        increasing(self.time_s, "time_s")
        if not all(np.all(np.isfinite(values)) for values in (self.points, self.grip, self.club_head)):
            raise DataError("A swing in space has values that are not finite.", "Every joint is known at every time.")
        if self.handedness not in ("right", "left"):
            raise DataError(f"{self.handedness!r} is not a hand.", "Use right or left.")
        if not (np.isfinite(self.stature_m) and 0.5 < self.stature_m < 2.6):
            raise DataError(f"A stature of {self.stature_m} m is no person's.", "Give metres.")

    def __len__(self) -> int:
        return len(self.time_s)

    def mirrored(self) -> SpaceTrack:
        """The same swing of the other hand: X flipped, left and right swapped."""
        flip = np.array([-1.0, 1.0, 1.0])
        return replace(
            self,
            points=self.points[:, list(MIRROR)] * flip,
            grip=self.grip * flip,
            club_head=self.club_head * flip,
            ball=None if self.ball is None else self.ball * flip,
            handedness="left" if self.handedness == "right" else "right",
        )
