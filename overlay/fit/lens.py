"""The camera as numbers that have priors: distance, place, direction, focal length.

For a right-hander's picture. Distance is along the view's own direction (to the target down the line, square to it
face on), ``side`` across it; direction is azimuth (+ to the picture's right), pitch (+ up) and roll (+ clockwise).
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Camera
from overlay.settings.fit import FitSettings
from overlay.terms import View

N_CAMERA = 7
LOG_DISTANCE, SIDE, HEIGHT, AZIMUTH, PITCH, ROLL, LOG_FOCAL = range(N_CAMERA)
FLIP = np.array([-1.0, 1.0, 1.0])


def camera_of(values: FloatArray, view: View, image_size: tuple[int, int]) -> Camera:
    """The pinhole camera of (7,) values."""
    lens, axes = lens_and_axes(np.asarray(values[None, :N_CAMERA], np.float64), view)
    width, height = image_size
    return Camera(lens[0], axes[0], math.exp(float(values[LOG_FOCAL])) * max(image_size), (0.5 * width, 0.5 * height))


def lens_and_axes(values: FloatArray, view: View) -> tuple[FloatArray, FloatArray]:
    """(K, 3) lens and (K, 3, 3) axes (rows right, down, forward) of (K, 7) values."""
    distance = np.exp(values[:, LOG_DISTANCE])
    if view == "dtl":
        lens = np.stack([-distance, values[:, SIDE], values[:, HEIGHT]], -1)
        ground = (1.0, 0.0)
    else:
        lens = np.stack([values[:, SIDE], distance, values[:, HEIGHT]], -1)
        ground = (0.0, -1.0)
    c, s = np.cos(values[:, AZIMUTH]), np.sin(values[:, AZIMUTH])
    x, y = c * ground[0] - s * ground[1], c * ground[1] + s * ground[0]
    zero = np.zeros_like(x)
    right = np.stack([-y, x, zero], -1)
    cp, sp = np.cos(values[:, PITCH]), np.sin(values[:, PITCH])
    forward = np.stack([x * cp, y * cp, sp], -1)
    down = np.stack([x * sp, y * sp, -cp], -1)
    cr, sr = np.cos(values[:, ROLL])[:, None], np.sin(values[:, ROLL])[:, None]
    return lens, np.stack([cr * right + sr * down, cr * down - sr * right, forward], axis=1)


def project(values: FloatArray, points: FloatArray, view: View, image_size: tuple[int, int]) -> FloatArray:
    """(K, P, 2) px of points (K, P, 3) seen by the cameras of (K, 7) values."""
    lens, axes = lens_and_axes(values, view)
    local = np.einsum("kpi,kji->kpj", points - lens[:, None], axes)
    focal = np.exp(values[:, LOG_FOCAL])[:, None, None] * max(image_size)
    centre = 0.5 * np.array(image_size, np.float64)
    return np.asarray(focal * local[..., :2] / np.maximum(local[..., 2:], 0.05) + centre, np.float64)


def priors(view: View, stature_m: float, hands: FloatArray, settings: FitSettings) -> tuple[FloatArray, FloatArray]:
    """(7,) mean and (7,) standard deviation; ``hands`` (3,) m is where the hands are at address."""
    mean, sd = np.zeros(N_CAMERA), np.zeros(N_CAMERA)
    mean[LOG_DISTANCE], sd[LOG_DISTANCE] = math.log(settings.distance * stature_m), settings.distance_spread
    mean[SIDE], sd[SIDE] = (hands[1] if view == "dtl" else 0.0), settings.side_spread * stature_m
    mean[HEIGHT], sd[HEIGHT] = settings.lens_height * stature_m, settings.lens_height_spread * stature_m
    sd[AZIMUTH] = math.radians(settings.yaw_spread_deg)
    sd[PITCH] = math.radians(settings.pitch_spread_deg)
    sd[ROLL] = math.radians(settings.roll_spread_deg)
    mean[LOG_FOCAL], sd[LOG_FOCAL] = math.log(settings.focal), settings.focal_spread
    return mean, sd


def told(values: FloatArray, view: View, hands: FloatArray) -> dict[str, float]:
    """The numbers a person asks for, from (7,) values: m and degrees.

    ``offset_m`` is where the optical axis passes the hands (dtl, + outside) or the stance's middle (fo, + to the
    target); ``distance_m`` is to the hands (dtl) or to the stance's middle (fo), along the view's direction.
    """
    distance = math.exp(values[LOG_DISTANCE])
    aim = hands if view == "dtl" else np.zeros(3)
    ahead = distance + aim[0] if view == "dtl" else distance - aim[1]
    across = aim[1] if view == "dtl" else aim[0]
    return {
        "height_m": float(values[HEIGHT]),
        "distance_m": float(ahead),
        "offset_m": float(values[SIDE] + math.tan(values[AZIMUTH]) * ahead - across),
        "side_m": float(values[SIDE]),
        "yaw_deg": math.degrees(values[AZIMUTH]),
        "pitch_deg": math.degrees(values[PITCH]),
        "roll_deg": math.degrees(values[ROLL]),
        "fov_deg": math.degrees(2 * math.atan(0.5 / math.exp(values[LOG_FOCAL]))),
    }


def told_sd(values: FloatArray, covariance: FloatArray, view: View, hands: FloatArray) -> Mapping[str, float]:
    """Standard deviations of ``told`` by linearising; covariance (≥ 7, ≥ 7)."""
    here = told(values, view, hands)
    slopes = {name: np.zeros(N_CAMERA) for name in here}
    for k in range(N_CAMERA):
        moved = values.copy()
        moved[k] += 1e-5
        for name, value in told(moved, view, hands).items():
            slopes[name][k] = (value - here[name]) / 1e-5
    block = covariance[:N_CAMERA, :N_CAMERA]
    return {name: math.sqrt(max(float(slope @ block @ slope), 0.0)) for name, slope in slopes.items()}


def mirrored(camera: Camera, image_size: tuple[int, int]) -> Camera:
    """The camera that shows the mirrored world (X flipped) in the mirrored picture."""
    axes = camera.axes * FLIP
    axes[0] = -axes[0]
    x, y = camera.principal_px
    return Camera(camera.position * FLIP, axes, camera.focal_px, (image_size[0] - x, y))
