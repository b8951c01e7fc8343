"""Body-frame features: the low-pass by its known frequency response, invariances by algebra."""

from __future__ import annotations

import dataclasses
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from overlay.data import Clip, PoseTrack, Position, Positions, Swing
from overlay.errors import ContentError, DataError
from overlay.landmarks import INDEX, N_LANDMARKS
from overlay.normalise import (
    JOINTS,
    banded_product,
    curvature_bands,
    joint_weights,
    real_slow_factor,
    smooth,
    smooth_evenly,
    swing_features,
    swing_span,
)
from overlay.settings.align import FeatureSettings
from overlay.terms import POSITION_NAMES

SETTINGS = FeatureSettings()
TIMES = {
    "address": 0.6,
    "shaft_level_back": 0.95,
    "lead_arm_level_back": 1.15,
    "top": 1.47,
    "lead_arm_level_down": 1.6,
    "shaft_level_down": 1.68,
    "impact": 1.74,
    "shaft_level_through": 1.81,
    "finish": 2.4,
}


def make_track(rate_hz: float = 60.0, duration_s: float = 3.0, slow: float = 1.0) -> PoseTrack:
    """An upright figure whose hands swing on a smooth curve."""
    time = np.arange(0.0, duration_s, 1.0 / rate_hz)
    points = np.zeros((len(time), N_LANDMARKS, 2))
    base = {"nose": (0, -150), "shoulder": (20, -100), "elbow": (30, -50), "wrist": (12, 0), "hip": (15, 0)}
    base |= {"knee": (18, 60), "ankle": (20, 120)}
    phase = 1.0 / (1.0 + np.exp(-(time - 1.5) / 0.15))
    for name in JOINTS:
        joint = name.split("_")[-1]
        x, y = base[joint]
        sign = -1.0 if name.startswith("left") else 1.0
        points[:, INDEX[name], 0] = 200 + (sign * x if joint != "nose" else x)
        points[:, INDEX[name], 1] = 250 + y
        if joint in ("wrist", "elbow"):
            points[:, INDEX[name], 0] += 60 * np.sin(2 * np.pi * phase)
            points[:, INDEX[name], 1] -= 80 * np.sin(np.pi * phase)
    visibility = np.full(points.shape[:2], 0.9)
    return PoseTrack(points, np.full(visibility.shape, np.nan), visibility, time * slow, (400, 500), "test")


def make_swing(track: PoseTrack, times: dict[str, float] | None = None, **changes: object) -> Swing:
    times = TIMES if times is None else times
    found = tuple(Position(name, times[name], 0.9) for name in POSITION_NAMES if name in times)
    missing = {name: "not seen" for name in POSITION_NAMES if name not in times}
    swing = Swing(None, track, "fo", 1.0, "right", 1.0, Positions(found, missing))
    return dataclasses.replace(swing, **changes)


def make_clip(rate: int, capture: int | None) -> Clip:
    return Clip(Path("x.mp4"), "0", 400, 500, 0, False, np.arange(3) / rate, Fraction(rate),
                None if capture is None else Fraction(capture), False, False)  # fmt: skip


@pytest.mark.parametrize("frequency_hz", [1.0, 4.0, 8.0, 16.0])
def test_low_pass_has_the_response_of_a_butterworth_filter_run_both_ways(frequency_hz: float) -> None:
    # Algebra: the cubic smoothing spline's response is 1 / (1 + (f / fc)^4), that of |H|^2 of a second-order
    # Butterworth filter. Checked in the middle of a long record, where the ends are not felt.
    time = np.arange(0.0, 8.0, 0.01)
    wave = np.cos(2 * np.pi * frequency_hz * (time - 4.0))[:, None]
    result, support = smooth(wave, np.ones_like(wave), time, time, 8.0)
    middle = slice(300, 500)
    gain = float(result[middle, 0] @ wave[middle, 0] / (wave[middle, 0] @ wave[middle, 0]))
    assert gain == pytest.approx(1.0 / (1.0 + (frequency_hz / 8.0) ** 4), abs=0.015)
    # The second difference on a grid of 10 ms in place of the second derivative, exactly:
    ratio = 2.0 * np.sin(np.pi * frequency_hz * 0.01) / (2.0 * np.pi * 8.0 * 0.01)
    assert gain == pytest.approx(1.0 / (1.0 + ratio**4), abs=0.001)
    assert np.all(support == 1.0)
    np.testing.assert_allclose(smooth_evenly(wave, 0.01, 8.0), result, atol=1e-6)


@pytest.mark.parametrize("rate_hz", [30.0, 120.0, 240.0])
def test_low_pass_does_not_depend_on_the_frame_rate(rate_hz: float) -> None:
    time = np.arange(0.0, 8.0, 1.0 / rate_hz)
    grid = np.arange(0.0, 7.9, 0.01)
    wave = np.cos(2 * np.pi * 4.0 * (time - 4.0))[:, None]
    wanted = np.cos(2 * np.pi * 4.0 * (grid - 4.0)) / (1.0 + 0.5**4)
    result, _ = smooth(wave, np.ones_like(wave), time, grid, 8.0)
    np.testing.assert_allclose(result[300:500, 0], wanted[300:500], atol=0.03)


def test_low_pass_keeps_a_straight_line_through_gaps_and_uneven_times() -> None:
    rng = np.random.default_rng(3)
    time = np.sort(rng.uniform(0.0, 2.0, 80))
    line = np.stack([3.0 * time - 1.0, np.full(80, 2.0)], axis=1)
    line[30:40, 0] = np.nan
    grid = np.arange(0.05, 1.95, 0.01)
    result, support = smooth(line, np.ones_like(line), time, grid, 8.0)
    np.testing.assert_allclose(result[:, 0], 3.0 * grid - 1.0, atol=1e-6)
    np.testing.assert_allclose(result[:, 1], 2.0, atol=1e-6)
    gap = (grid > time[31]) & (grid < time[38])
    assert np.all(support[gap, 0] == 0.0)
    assert np.all(support[gap, 1] == 1.0)


def test_low_pass_follows_the_weights() -> None:
    time = np.arange(0.0, 2.0, 0.02)
    values = np.where(np.arange(100) % 2 == 0, 1.0, 0.0)[:, None]
    weights = np.where(np.arange(100) % 2 == 0, 9.0, 1.0)[:, None]
    result, _ = smooth(values, weights, time, time, 4.0)
    assert float(result[50, 0]) == pytest.approx(0.9, abs=0.02)


def test_a_column_never_seen_is_nan_and_two_values_give_their_mean() -> None:
    time = np.arange(10) / 10
    values = np.full((10, 2), np.nan)
    values[[2, 5], 1] = 1.0, 3.0
    result, _ = smooth(values, np.ones((10, 2)), time, np.arange(0.0, 0.9, 0.05), 4.0)
    assert np.all(np.isnan(result[:, 0]))
    np.testing.assert_allclose(result[:, 1], 2.0)


def test_smoothing_refuses_what_does_not_fit() -> None:
    time = np.arange(10) / 10
    with pytest.raises(DataError, match="Cannot smooth"):
        smooth(np.ones((10, 2)), np.ones((10, 3)), time, time, 4.0)
    with pytest.raises(DataError, match="not positive"):
        smooth(np.ones((10, 2)), np.ones((10, 2)), time, time, 0.0)


def test_curvature_bands_are_the_second_difference_squared() -> None:
    d = np.diff(np.eye(9), n=2, axis=0)
    full = d.T @ d
    bands = curvature_bands(9)
    for offset in range(3):
        np.testing.assert_array_equal(bands[2 - offset, offset:], np.diag(full, offset))
    x = np.random.default_rng(0).normal(size=9)
    np.testing.assert_allclose(banded_product(bands, x), full @ x)


def test_features_do_not_know_place_size_or_drift() -> None:
    track = make_track()
    swing = make_swing(track)
    drift = track.time_s[:, None, None] * np.array([15.0, -4.0])
    other = dataclasses.replace(track, points=1.7 * track.points + np.array([55.0, -20.0]) + drift)
    a, b = swing_features(swing), swing_features(make_swing(other))
    np.testing.assert_allclose(a.place, b.place, atol=1e-6)
    np.testing.assert_allclose(a.velocity, b.velocity, atol=1e-5)
    assert np.ptp(a.place[:, JOINTS.index("left_wrist")]) > 0.5


def test_a_left_hander_is_the_mirror_of_a_right_hander() -> None:
    track = make_track()
    a = swing_features(make_swing(track))
    b = swing_features(make_swing(track.mirrored(), handedness="left"))
    np.testing.assert_allclose(a.place, b.place, atol=1e-9)


def test_features_are_zero_at_address_in_torso_lengths_and_real_seconds() -> None:
    features = swing_features(make_swing(make_track()))
    at = int(np.argmin(np.abs(features.clip_time(features.time_s) - TIMES["address"])))
    np.testing.assert_allclose(features.place[at], 0.0, atol=0.02)
    # The hands rise by 80 px; the torso is 100 px.
    assert features.place[:, JOINTS.index("left_wrist"), 1].min() == pytest.approx(-0.8, abs=0.03)
    assert features.clip_time(features.time_s)[0] == pytest.approx(TIMES["address"] - SETTINGS.lead_in_s)
    assert features.real_time(features.clip_time(np.array([0.7])))[0] == pytest.approx(0.7)


def test_slow_motion_gives_the_features_of_real_time() -> None:
    real = swing_features(make_swing(make_track(240.0)))
    slow_times = {name: 8 * value for name, value in TIMES.items()}
    told = make_swing(make_track(240.0, slow=8.0), slow_times, clip=make_clip(30, 240))
    guessed = make_swing(make_track(240.0, slow=8.0), slow_times)
    for swing in (told, guessed):
        slow = swing_features(swing)
        n = min(len(slow), len(real))
        np.testing.assert_allclose(slow.place[: n - 20], real.place[: n - 20], atol=0.02)
    assert swing_features(told).slow_factor == 8.0
    assert 7.0 < swing_features(guessed).slow_factor < 9.0


@pytest.mark.parametrize(
    ("times", "wanted"),
    [
        (TIMES, 1.0),
        ({"address": 0.0, "top": 4 * 0.87, "impact": 4 * (0.87 + 0.27)}, 4.0),
        ({"top": 1.0, "impact": 1.0 + 8 * 0.27}, 8.0),
        ({"address": 0.0, "top": 5.0}, 1.0),
    ],
)
def test_slow_factor_from_tempo(times: dict[str, float], wanted: float) -> None:
    assert real_slow_factor(make_swing(make_track(), times), SETTINGS) == pytest.approx(wanted)


def test_the_span_is_the_swing_or_the_track() -> None:
    track = make_track()
    assert swing_span(make_swing(track), 1.0, SETTINGS) == pytest.approx((0.3, 2.7))
    cut = {name: value for name, value in TIMES.items() if name not in ("address", "finish")}
    assert swing_span(make_swing(track, cut), 1.0, SETTINGS) == pytest.approx((track.time_s[0], track.time_s[-1]))


def test_weights_follow_visibility_and_filling() -> None:
    track = make_track()
    points, visibility, filled = np.array(track.points), np.array(track.visibility), np.array(track.filled)
    wrist, column = INDEX["left_wrist"], JOINTS.index("left_wrist")
    points[10, wrist] = np.nan
    visibility[20, wrist] = 0.3
    filled[30, wrist] = True
    weight = joint_weights(dataclasses.replace(track, points=points, visibility=visibility, filled=filled), SETTINGS)
    np.testing.assert_allclose(weight[[5, 10, 20, 30], column], [0.81, 0.0, 0.09, 0.081])


def test_missing_joints_are_bridged_and_a_joint_never_seen_counts_nothing() -> None:
    track = make_track()
    points, visibility = np.array(track.points), np.array(track.visibility)
    points[60:66, INDEX["left_wrist"]] = np.nan
    points[:, INDEX["right_knee"]] = np.nan
    visibility[:, INDEX["right_knee"]] = 0.0
    features = swing_features(make_swing(dataclasses.replace(track, points=points, visibility=visibility)))
    whole = swing_features(make_swing(track))
    assert np.all(np.isfinite(features.place))
    np.testing.assert_allclose(features.place[:, 5], whole.place[:, 5], atol=0.1)
    assert np.all(features.weight[:, JOINTS.index("right_knee")] == 0.0)
    assert np.all(features.place[:, JOINTS.index("right_knee")] == 0.0)


def test_no_torso_and_no_frames_are_errors() -> None:
    track = make_track()
    points = np.array(track.points)
    points[:, [INDEX["left_shoulder"], INDEX["right_shoulder"]]] = np.nan
    with pytest.raises(ContentError, match="never seen together"):
        swing_features(make_swing(dataclasses.replace(track, points=points)))
    with pytest.raises(ContentError, match="only 2 frames"):
        swing_features(make_swing(make_track(rate_hz=1.0), {"address": 0.9, "finish": 2.1, "top": 1.5}))
