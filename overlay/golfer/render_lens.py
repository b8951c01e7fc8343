"""The camera as the kernels need it, recovered from what the camera says about itself: where points land."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import DataError

if TYPE_CHECKING:
    from overlay.golfer.camera import CameraSpec


@dataclass(frozen=True)
class Lens:
    """A pinhole camera without skew.

    Attributes
    ----------
    position : (3,) m
    axes : (3, 3)
        Rows: picture right, picture down, forward; orthonormal.
    focal : (2,) px
    centre : (2,) px
    width, height : px
    """

    position: FloatArray
    axes: FloatArray
    focal: tuple[float, float]
    centre: tuple[float, float]
    width: int
    height: int

    def packed(self) -> FloatArray:
        """(16,): position, axes row by row, focal lengths, centre."""
        return np.array([*self.position, *self.axes.ravel(), *self.focal, *self.centre])

    def matrix(self) -> FloatArray:
        """(3, 3): focal lengths and centre."""
        return np.array([[self.focal[0], 0.0, self.centre[0]], [0.0, self.focal[1], self.centre[1]], [0.0, 0.0, 1.0]])

    def widened(self, margin: int) -> Lens:
        """The same camera with a picture ``margin`` px larger on every side."""
        centre = (self.centre[0] + margin, self.centre[1] + margin)
        return replace(self, centre=centre, width=self.width + 2 * margin, height=self.height + 2 * margin)

    def project(self, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(…, 2) px and (…,) depth in m of world points (…, 3)."""
        seen = (np.asarray(points) - self.position) @ self.axes.T
        depth = seen[..., 2]
        safe = np.maximum(depth, 1e-3)
        return np.stack(
            [
                self.centre[0] + self.focal[0] * seen[..., 0] / safe,
                self.centre[1] + self.focal[1] * seen[..., 1] / safe,
            ],
            axis=-1,
        ), depth

    def rays(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """(…, 3) world directions of picture points, forward part 1."""
        u = (np.asarray(x) - self.centre[0]) / self.focal[0]
        v = (np.asarray(y) - self.centre[1]) / self.focal[1]
        return u[..., None] * self.axes[0] + v[..., None] * self.axes[1] + self.axes[2]


def lens_of(camera: CameraSpec) -> Lens:
    """The pinhole whose picture of 27 points around the player is the camera's own (direct linear transform).

    Taking the camera by its projection and not by its numbers means that picture and truth cannot disagree.

    Source: Hartley & Zisserman, Multiple View Geometry, 2nd ed., section 7.1.

    Raises
    ------
    DataError
        The projection is not that of a pinhole with square axes.
    """
    line = np.array([-0.6, 0.1, 0.9])
    points = np.array([[x, y, z] for x in line for y in line for z in line + 0.6])
    seen = np.asarray(camera.project(points), float)
    size = float(max(camera.width_px, camera.height_px))
    pixels = (seen - [camera.width_px / 2, camera.height_px / 2]) / size
    rows = []
    for (x, y, z), (u, v) in zip(points, pixels):
        p = np.array([x, y, z, 1.0])
        rows.append(np.concatenate([p, np.zeros(4), -u * p]))
        rows.append(np.concatenate([np.zeros(4), p, -v * p]))
    _, spectrum, basis = np.linalg.svd(np.array(rows))
    matrix = basis[-1].reshape(3, 4)
    if spectrum[-1] > 1e-6 * spectrum[0]:
        raise DataError("The camera does not project like a pinhole.", "Use a camera without lens distortion.")
    matrix = matrix / np.linalg.norm(matrix[2, :3])
    if np.mean(points @ matrix[2, :3] + matrix[2, 3]) < 0:
        matrix = -matrix
    square, forward = matrix[:, :3], matrix[2, :3]
    centre = square[:2] @ forward
    across = square[:2] - centre[:, None] * forward
    focal = np.linalg.norm(across, axis=1)
    axes = np.stack([across[0] / focal[0], across[1] / focal[1], forward])
    position = -np.linalg.solve(square, matrix[:, 3])
    if abs(float(axes[0] @ axes[1])) > 1e-5:
        raise DataError("The camera projects with skewed axes.", "Use a camera with square pixels.")
    return Lens(
        position, axes, (float(focal[0] * size), float(focal[1] * size)),
        (float(centre[0] * size + camera.width_px / 2), float(centre[1] * size + camera.height_px / 2)),
        int(camera.width_px), int(camera.height_px),
    )  # fmt: skip
