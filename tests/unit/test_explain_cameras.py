"""Cameras carried and turned, and drawn within their uncertainty."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from overlay.data import Camera
from overlay.explain.cameras import camera_draws, moved, uncertainty
from overlay.golfer import CameraSpec

PLACES = [
    {"yaw_deg": 5.0},
    {"height_m": 0.15},
    {"pitch_deg": 3.0},
    {"roll_deg": -4.0},
    {"pan_deg": 2.0},
]


def as_camera(spec: CameraSpec) -> Camera:
    return Camera(spec.position, spec.axes, spec.focal_px, spec.principal_px)


@pytest.mark.parametrize("change", PLACES, ids=lambda change: next(iter(change)))
@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_a_moved_camera_sees_what_one_that_was_set_up_there_sees(view: str, change: dict[str, float]) -> None:
    """The golfer's camera is an independent construction of the same seven numbers."""
    usual = CameraSpec(view=view, hand_line_m=0.0)
    there = CameraSpec(view=view, hand_line_m=0.0, **{n: v + getattr(usual, n) for n, v in change.items()})
    got, wanted = moved(as_camera(usual), **change), as_camera(there)
    assert np.allclose(got.axes, wanted.axes, atol=1e-12)
    # Face on the golfer's camera walks round a point 10 cm before the stance; here it is the stance itself.
    if "yaw_deg" not in change or view == "dtl":
        assert np.allclose(got.position, wanted.position, atol=1e-12)


def test_walking_round_keeps_the_player_in_place() -> None:
    camera = as_camera(CameraSpec(view="dtl", hand_line_m=0.0))
    there = moved(camera, yaw_deg=7.0)
    middle = np.array([0.0, 0.0, 0.8])
    assert np.allclose(camera.project(middle), there.project(middle))
    assert math.isclose(np.linalg.norm(there.position - middle), np.linalg.norm(camera.position - middle))
    turned = math.degrees(math.acos(float(camera.axes[2] @ there.axes[2])))
    assert turned == pytest.approx(7.0)


def test_aside_and_away_follow_the_picture() -> None:
    camera = as_camera(CameraSpec(view="fo"))
    point = np.array([0.0, 0.0, 1.0])
    assert moved(camera, offset_m=0.2).coordinates(point)[0] == pytest.approx(camera.coordinates(point)[0] - 0.2)
    assert moved(camera, distance_m=0.5).coordinates(point)[2] == pytest.approx(camera.coordinates(point)[2] + 0.5)


def test_draws_scatter_as_told() -> None:
    camera = as_camera(CameraSpec())
    estimate = SimpleNamespace(camera=camera, camera_sd={"height_m": 0.04, "yaw_deg": 1.5, "focal_px": 30.0})
    assert uncertainty(estimate) == {"height_m": 0.04, "yaw_deg": 1.5}
    draws = camera_draws(estimate, 400, np.random.default_rng(1))
    heights = np.array([draw.position[2] for draw in draws])
    yaw = [math.degrees(math.atan2(draw.axes[2, 1], draw.axes[2, 0])) for draw in draws]
    assert np.std(heights) == pytest.approx(0.04, rel=0.12)
    assert np.std(yaw) == pytest.approx(1.5, rel=0.12)


def test_own_draws_are_used_and_repeated_evenly() -> None:
    cameras = tuple(as_camera(CameraSpec(height_m=h)) for h in (0.6, 0.7, 0.8))
    estimate = SimpleNamespace(camera=cameras[1], draws=cameras)
    draws = camera_draws(estimate, 6, np.random.default_rng(0))
    assert sorted(draw.position[2] for draw in draws) == pytest.approx([0.6, 0.6, 0.7, 0.7, 0.8, 0.8])


def test_without_a_camera_there_are_no_draws() -> None:
    assert camera_draws(SimpleNamespace(camera=None), 5, np.random.default_rng(0)) == ()
