"""Angles, speeds and the hand path against algebra."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from overlay.data import PoseTrack
from overlay.errors import DataError
from overlay.kinematics import (
    angle_deg,
    body_height,
    body_signals,
    crossing_times,
    derivative,
    direction_deg,
    find_passes,
    hand_path,
    interpolated,
    mean_seen,
    median_seen,
    midpoint,
    segment_length,
    speed,
    torso_length,
    torso_lengths,
    unwrap_deg,
)
from overlay.landmarks import INDEX, N_LANDMARKS


def standing(n: int = 40, rate_hz: float = 50.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Points, visibility and times of a figure with torso length 100 px that does not move."""
    points = np.full((n, N_LANDMARKS, 2), np.nan)
    for name, place in {
        "nose": (200, 60),
        "left_shoulder": (230, 100),
        "right_shoulder": (170, 100),
        "left_hip": (220, 200),
        "right_hip": (180, 200),
        "left_wrist": (204, 210),
        "right_wrist": (196, 210),
        "left_ankle": (220, 380),
        "right_ankle": (180, 380),
    }.items():
        points[:, INDEX[name]] = place
    visibility = np.where(np.isfinite(points[..., 0]), 0.9, 0.0)
    return points, visibility, np.arange(n) / rate_hz


def track_of(points: np.ndarray, visibility: np.ndarray, time_s: np.ndarray, **more: object) -> PoseTrack:
    return PoseTrack(points, np.full(points.shape[:2], np.nan), visibility, time_s, (400, 400), "test", **more)  # type: ignore[arg-type]


def test_angles_of_a_known_triangle() -> None:
    # 3-4-5 triangle: the angle at the origin is right, the one at (4, 0) is atan(3/4).
    a, b, c = np.array([0.0, 3.0]), np.array([0.0, 0.0]), np.array([4.0, 0.0])
    assert angle_deg(a, b, c) == pytest.approx(90.0)
    assert angle_deg(a, c, b) == pytest.approx(np.degrees(np.arctan2(3, 4)))
    assert np.isnan(angle_deg(a, a, c))
    assert np.isnan(angle_deg(np.array([np.nan, 0.0]), b, c))


def test_angle_wants_one_shape() -> None:
    with pytest.raises(DataError, match="three points of an angle"):
        angle_deg(np.zeros((3, 2)), np.zeros(2), np.zeros(2))


def test_direction_is_clockwise_from_x_with_y_down() -> None:
    origin = np.zeros((3, 2))
    ends = np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0]])
    assert direction_deg(origin, ends) == pytest.approx([0.0, 90.0, 180.0])


def test_unwrap_runs_past_half_a_turn_and_over_gaps() -> None:
    turning = np.array([170.0, np.nan, -170.0, -150.0])
    assert unwrap_deg(turning)[[0, 2, 3]] == pytest.approx([170.0, 190.0, 210.0])
    assert np.isnan(unwrap_deg(turning)[1])


def test_derivative_is_exact_on_a_parabola_with_uneven_times() -> None:
    time_s = np.array([0.0, 0.1, 0.25, 0.3, 0.6])
    values = 3.0 * time_s**2 - 2.0 * time_s
    assert derivative(values, time_s)[1:-1] == pytest.approx(6.0 * time_s[1:-1] - 2.0)
    gap = values.copy()
    gap[2] = np.nan
    assert np.isnan(derivative(gap, time_s)[[1, 3]]).all()


def test_derivative_wants_one_value_a_time() -> None:
    with pytest.raises(DataError, match="as many values as times"):
        derivative(np.zeros(3), np.arange(4.0))


def test_speed_of_uniform_rotation_is_radius_times_rate() -> None:
    time_s = np.arange(0.0, 1.0, 0.002)
    circle = 5.0 * np.stack([np.cos(4 * time_s), np.sin(4 * time_s)], axis=1)
    assert speed(circle, time_s)[1:-1] == pytest.approx(20.0, rel=1e-4)


def test_lengths_of_the_standing_figure() -> None:
    track = track_of(*standing())
    assert torso_length(track) == pytest.approx(100.0)
    assert torso_lengths(track) == pytest.approx(np.full(40, 100.0))
    assert body_height(track) == pytest.approx(np.full(40, 320.0))
    assert segment_length(track, "left_shoulder", "right_shoulder") == pytest.approx(np.full(40, 60.0))
    assert midpoint(track, "hip")[0] == pytest.approx([200.0, 200.0])


def test_torso_length_is_missing_when_never_seen() -> None:
    points, visibility, time_s = standing()
    points[:, INDEX["left_hip"]] = np.nan
    assert np.isnan(torso_length(track_of(points, visibility, time_s)))


def test_hands_are_midway_and_lean_to_the_seen_wrist() -> None:
    points, visibility, time_s = standing()
    assert hand_path(track_of(points, visibility, time_s)).points[5] == pytest.approx([200.0, 210.0])
    visibility[:, INDEX["left_wrist"]] = 0.0
    hidden = hand_path(track_of(points, visibility, time_s))
    assert hidden.points[5, 0] == pytest.approx(196.0, abs=0.05)
    assert hidden.trust[5] == pytest.approx(0.9)


def test_a_wrist_away_from_the_grip_is_left_out() -> None:
    points, visibility, time_s = standing()
    points[:, INDEX["left_wrist"]] = (10.0, 5.0)
    # Further from its shoulder than an arm reaches, however sure the pose model is.
    visibility[:, INDEX["left_wrist"]] = 1.0
    assert hand_path(track_of(points, visibility, time_s)).points[5] == pytest.approx([196.0, 210.0])


def test_hands_missing_on_both_sides_are_missing() -> None:
    points, visibility, time_s = standing()
    points[10, [INDEX["left_wrist"], INDEX["right_wrist"]]] = np.nan
    path = hand_path(track_of(points, visibility, time_s))
    assert np.isnan(path.points[10]).all()
    assert path.trust[10] == 0.0
    assert np.isfinite(path.points[9]).all()


def test_interpolated_bridges_and_holds_the_ends() -> None:
    values = np.array([np.nan, 2.0, np.nan, 4.0, np.nan])
    assert interpolated(values, np.arange(5.0)) == pytest.approx([2.0, 2.0, 3.0, 4.0, 4.0])
    assert np.isnan(interpolated(np.full(3, np.nan), np.arange(3.0))).all()


def test_crossings_lie_between_frames() -> None:
    time_s = np.arange(5.0)
    values = np.array([0.0, 1.0, 0.0, -1.0, 3.0])
    assert crossing_times(values, time_s, 0.5, rising=True) == pytest.approx([0.5, 3.375])
    assert crossing_times(values, time_s, 0.5, rising=False) == pytest.approx([1.5])
    with pytest.raises(DataError, match="5 values for 4 times"):
        crossing_times(values, time_s[:4], 0.5, rising=True)


def test_one_sweep_of_the_hands_is_one_pass_at_any_speed() -> None:
    for seconds in (0.3, 3.0):
        n = 120
        points, visibility, _ = standing(n)
        time_s = np.linspace(0.0, 4 * seconds, n)
        # Hands rest low, rise, fall to the strike at 2.5 × seconds and rise again: height is a raised cosine.
        height = 0.75 * (1 - np.cos(2 * np.pi * np.maximum(time_s / seconds - 0.5, 0.0) / 2))
        for side in ("left_wrist", "right_wrist"):
            points[:, INDEX[side], 1] = 200.0 - 100.0 * height
        passes = find_passes(body_signals(track_of(points, visibility, time_s)), high=0.5, rise=0.4, still=0.15)
        assert len(passes) == 1
        assert passes[0].before_s == pytest.approx(1.5 * seconds, abs=0.05 * seconds)
        assert passes[0].low_s == pytest.approx(2.5 * seconds, abs=0.05 * seconds)
        assert passes[0].after_s == pytest.approx(3.5 * seconds, abs=0.05 * seconds)


def test_still_hands_make_no_pass() -> None:
    assert find_passes(body_signals(track_of(*standing())), high=0.5, rise=0.4, still=0.15) == ()


def test_mean_and_median_of_what_is_seen_agree_with_numpy_and_do_not_warn() -> None:
    rng = np.random.default_rng(4)
    values = rng.normal(size=(7, 5, 2))
    values[rng.random(values.shape) < 0.5] = np.nan
    values[:, 4] = np.nan
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        mean, median = mean_seen(values), median_seen(values)
        assert np.all(np.isnan(median_seen(np.empty((0, 3)))))
    assert np.all(np.isnan(mean[4]))
    np.testing.assert_allclose(mean[:4], np.nanmean(values[:, :4], axis=0))
    np.testing.assert_allclose(median[:4], np.nanmedian(values[:, :4], axis=0))
    assert np.all(np.isnan(median[4]))
