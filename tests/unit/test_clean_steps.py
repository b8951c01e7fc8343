"""Cleaning on motion whose answer is known: planted swaps, jumps, gaps and hidden joints are mended, the rest kept."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from overlay.clean import clean
from overlay.clean.jumps import runs
from overlay.data import PoseTrack
from overlay.errors import DataError
from overlay.landmarks import INDEX, LANDMARKS, N_LANDMARKS
from overlay.settings.clean import CleanSettings

TORSO = 100.0
IMPACT_S = 1.2


def player(rate_hz: float = 60.0, duration_s: float = 2.4, noise: float = 0.0, seed: int = 0) -> PoseTrack:
    """A swing-like motion in closed form: hands on a circle, hips and shoulders turning so that they cross."""
    t = np.arange(round(duration_s * rate_hz)) / rate_hz
    points = np.full((len(t), N_LANDMARKS, 2), np.nan)

    def put(name: str, x: np.ndarray | float, y: np.ndarray | float) -> None:
        points[:, INDEX[name], 0] = x
        points[:, INDEX[name], 1] = y

    # The hands go once round in a smooth burst about impact: 20 torso/s at most, as a fast player's.
    turn = 2.4 * np.tanh((t - IMPACT_S) / 0.12)
    reach = 1.0 * TORSO
    # Hips and shoulders turn by about 150° in half a second: seen from behind, left and right cross.
    body = 1.3 * np.tanh((t - IMPACT_S) / 0.18)
    for name, y, half in (
        ("shoulder", 200.0, 0.35),
        ("hip", 300.0, 0.25),
        ("knee", 380.0, 0.22),
        ("ankle", 460.0, 0.2),
    ):
        share = {"shoulder": 1.0, "hip": 0.8, "knee": 0.5, "ankle": 0.2}[name]
        offset = half * TORSO * np.sin(share * body)
        put(f"left_{name}", 240 - offset, y + 4.0)
        put(f"right_{name}", 240 + offset, y - 4.0)
    for side, sign in (("left", -1.0), ("right", 1.0)):
        put(f"{side}_wrist", 240 + reach * np.sin(turn) + sign * 4, 210 + reach * np.cos(turn))
        for finger in ("pinky", "index", "thumb"):
            put(f"{side}_{finger}", 240 + 1.1 * reach * np.sin(turn) + sign * 3, 210 + 1.1 * reach * np.cos(turn))
        put(f"{side}_elbow", 240 + 0.5 * reach * np.sin(turn) + sign * 15, 205 + 0.5 * reach * np.cos(turn))
        put(f"{side}_heel", 240 + sign * 20, 468)
        put(f"{side}_foot_index", 255 + sign * 20, 470)
    for name in LANDMARKS[:11]:
        put(name, 250.0 + 6 * np.sin(2 * np.pi * 0.7 * t), 150.0)
    points += np.random.default_rng(seed).normal(0.0, noise, points.shape) if noise else 0.0
    shape = (len(t), N_LANDMARKS)
    return PoseTrack(points, np.zeros(shape), np.ones(shape), t, (480, 560), source="made")


def changed(track: PoseTrack, **values: np.ndarray) -> PoseTrack:
    return dataclasses.replace(track, **values)


def off(track: PoseTrack, truth: PoseTrack) -> np.ndarray:
    """(T, J) distance in torso lengths."""
    return np.linalg.norm(track.points - truth.points, axis=2) / TORSO


def frames(track: PoseTrack, start_s: float, stop_s: float) -> np.ndarray:
    return np.flatnonzero((track.time_s >= start_s) & (track.time_s <= stop_s))


def swap_sides(track: PoseTrack, rows: np.ndarray, joints: tuple[str, ...]) -> PoseTrack:
    points = track.points.copy()
    for joint in joints:
        left, right = INDEX[f"left_{joint}"], INDEX[f"right_{joint}"]
        points[rows, left], points[rows, right] = track.points[rows, right], track.points[rows, left]
    return changed(track, points=points)


# --- clean data stays as it is ---


@pytest.mark.parametrize("rate_hz", [30.0, 60.0, 120.0, 240.0])
def test_clean_motion_is_nearly_unchanged(rate_hz: float) -> None:
    truth = player(rate_hz)
    cleaned = clean(truth)
    assert np.isfinite(cleaned.points).all()
    assert not cleaned.filled.any()
    assert not any("put back" in line or "dropped" in line for line in cleaned.log)
    away = off(cleaned, truth)
    assert away.max() < 0.06
    assert np.median(away) < 0.002


def test_peak_hand_speed_is_kept_at_60_frames() -> None:
    truth = player(60.0)
    fine = player(960.0)
    wrist = INDEX["left_wrist"]

    def peak(track: PoseTrack) -> float:
        return float(np.linalg.norm(np.gradient(track.points[:, wrist], track.time_s, axis=0), axis=1).max())

    assert peak(fine) / TORSO > 19.0
    # 0.3 % is lost; central differences at 60 frames are the same in both.
    assert peak(clean(truth)) > 0.97 * peak(truth)
    # The bound bites: a cut-off of 6 Hz loses far more.
    assert peak(clean(truth, settings=CleanSettings(hand_cutoff_hz=6.0))) < 0.94 * peak(truth)


def test_noise_falls_and_bias_stays_away() -> None:
    truth = player(120.0)
    noisy = changed(truth, points=player(120.0, noise=2.0, seed=1).points)
    before, after = off(noisy, truth), off(clean(noisy), truth)
    trunk = [INDEX["left_hip"], INDEX["right_hip"], INDEX["left_shoulder"], INDEX["right_shoulder"]]
    assert np.sqrt(np.mean(after[:, trunk] ** 2)) < 0.55 * np.sqrt(np.mean(before[:, trunk] ** 2))


def test_times_and_size_are_untouched() -> None:
    truth = player()
    cleaned = clean(truth)
    assert np.array_equal(cleaned.time_s, truth.time_s)
    assert cleaned.image_size == truth.image_size
    assert len(cleaned.log) > len(truth.log)


# --- swaps ---


@pytest.mark.parametrize("rate_hz", [30.0, 60.0, 240.0])
@pytest.mark.parametrize(
    ("start_s", "stop_s", "joints"),
    [
        (IMPACT_S + 0.12, IMPACT_S + 0.30, ("hip",)),
        (0.4, 0.5, ("shoulder",)),
        (IMPACT_S + 0.3, IMPACT_S + 0.42, ("knee", "ankle", "heel", "foot_index")),
    ],
)
def test_planted_swaps_are_put_back(rate_hz: float, start_s: float, stop_s: float, joints: tuple[str, ...]) -> None:
    truth = player(rate_hz, noise=1.0, seed=2)
    rows = frames(truth, start_s, stop_s)
    cleaned = clean(swap_sides(truth, rows, joints))
    expected = clean(truth)
    assert any("put back" in line for line in cleaned.log)
    at = [INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in joints]
    assert off(cleaned, expected)[:, at].max() < 0.05
    assert not cleaned.filled[:, at].any()


@pytest.mark.parametrize("seed", range(5))
def test_a_crossing_by_rotation_is_no_swap(seed: int) -> None:
    cleaned = clean(player(60.0, noise=1.0, seed=seed))
    assert not any("put back" in line for line in cleaned.log)


@pytest.mark.parametrize("rate_hz", [60.0, 120.0])
def test_legs_seen_in_the_middle_for_a_moment_exchange_nothing_between(rate_hz: float) -> None:
    """Both legs pulled to the middle and a little past it, twice: what lies between is right as it is."""
    legs = ("knee", "ankle", "heel", "foot_index")
    points = player(rate_hz, noise=1.0, seed=2).points.copy()
    for joint in legs:  # a stance as it is seen face on
        points[:, INDEX[f"left_{joint}"], 0] += 0.6 * TORSO
        points[:, INDEX[f"right_{joint}"], 0] -= 0.6 * TORSO
    truth = changed(player(rate_hz), points=points)
    points = truth.points.copy()
    for start_s in (0.80, 0.95):
        row = frames(truth, start_s, start_s + 1.0)[0]
        for joint in legs:
            left, right = INDEX[f"left_{joint}"], INDEX[f"right_{joint}"]
            points[row, left] += 0.6 * (truth.points[row, right] - truth.points[row, left])
            points[row, right] += 0.6 * (truth.points[row, left] - truth.points[row, right])
    cleaned, expected = clean(changed(truth, points=points)), clean(truth)
    at = [INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in legs]
    between = frames(truth, 0.84, 0.93)
    assert off(cleaned, expected)[between][:, at].max() < 0.05


def test_swap_of_a_single_frame() -> None:
    truth = player()
    cleaned = clean(swap_sides(truth, frames(truth, 0.5, 0.51), ("hip",)))
    assert off(cleaned, truth)[:, INDEX["left_hip"]].max() < 0.03


# --- jumps ---


def test_a_spike_is_dropped_and_filled() -> None:
    truth = player(60.0, noise=0.5, seed=3)
    points = truth.points.copy()
    row = int(frames(truth, 0.6, 0.62)[0])
    points[row, INDEX["right_wrist"]] += (45.0, -20.0)
    cleaned = clean(changed(truth, points=points))
    assert cleaned.filled[row, INDEX["right_wrist"]]
    assert off(cleaned, truth)[row, INDEX["right_wrist"]] < 0.06
    assert cleaned.filled.sum() == 1


def test_a_small_spike_of_the_hip_is_dropped_too() -> None:
    truth = player(60.0, noise=0.3, seed=3)
    points = truth.points.copy()
    row = int(frames(truth, 0.6, 0.62)[0])
    points[row, INDEX["right_hip"]] += (16.0, 0.0)
    cleaned = clean(changed(truth, points=points))
    assert cleaned.filled[row, INDEX["right_hip"]]
    assert cleaned.filled.sum() == 1


def test_an_excursion_of_a_few_frames_is_dropped() -> None:
    truth = player(120.0, noise=0.5, seed=3)
    points = truth.points.copy()
    rows = frames(truth, 0.5, 0.56)
    for joint in ("wrist", "pinky", "index", "thumb"):
        points[rows, INDEX[f"left_{joint}"]] += (60.0, 10.0)
    cleaned = clean(changed(truth, points=points))
    wrist = INDEX["left_wrist"]
    assert cleaned.filled[rows, wrist].all()
    assert off(cleaned, truth)[rows, wrist].max() < 0.1


def test_wrists_apart_lose_the_one_that_left() -> None:
    truth = player(60.0)
    points = truth.points.copy()
    rows = frames(truth, 0.5, 0.75)
    # Drifts away and back, too slowly for the jump tests.
    bulge = 90.0 * np.sin(np.linspace(0, np.pi, len(rows)))
    points[rows, INDEX["right_wrist"], 0] += bulge
    cleaned = clean(changed(truth, points=points))
    wide = rows[bulge > 70]
    bad = ~np.isfinite(cleaned.points[wide, INDEX["right_wrist"], 0]) | cleaned.filled[wide, INDEX["right_wrist"]]
    assert bad.all()
    assert not cleaned.filled[:, INDEX["left_wrist"]].any()
    assert np.isfinite(cleaned.points[:, INDEX["left_wrist"]]).all()


def test_hands_that_leave_the_club_for_long_are_kept() -> None:
    truth = player(60.0, duration_s=4.0)
    points = truth.points.copy()
    rows = frames(truth, 2.0, 3.5)
    points[rows, INDEX["right_wrist"], 0] += 90.0 * np.sin(np.linspace(0, np.pi, len(rows)))
    cleaned = clean(changed(truth, points=points))
    assert np.isfinite(cleaned.points[rows, INDEX["right_wrist"]]).all()


def test_a_collapsed_torso_is_dropped_for_the_whole_body() -> None:
    truth = player(60.0)
    points = truth.points.copy()
    row = int(frames(truth, 1.05, 1.07)[0])
    points[row] = 240 + 0.3 * (points[row] - 240)
    cleaned = clean(changed(truth, points=points))
    seen = np.isfinite(truth.points[row, :, 0])
    assert cleaned.filled[row, seen].all()
    hips = [INDEX["left_hip"], INDEX["right_hip"]]
    assert off(cleaned, truth)[row, hips].max() < 0.03
    assert any("collapsed" in line for line in cleaned.log)


def test_slow_motion_is_judged_in_real_time() -> None:
    truth = player(240.0)
    slow = changed(truth, time_s=truth.time_s * 8.0)
    assert np.allclose(clean(slow, slow_factor=8.0).points, clean(truth).points, atol=1e-9)
    assert not np.allclose(clean(slow).points, clean(truth).points, atol=1e-3)


# --- hidden and outside ---


def test_a_hidden_wrist_is_missing_unless_it_lies_at_a_seen_one() -> None:
    truth = player(60.0)
    visibility = truth.visibility.copy()
    rows = frames(truth, 0.2, 0.7)
    visibility[rows, INDEX["left_wrist"]] = 0.1
    linked = clean(changed(truth, visibility=visibility))
    assert np.isfinite(linked.points[rows, INDEX["left_wrist"]]).all()
    points = truth.points.copy()
    points[rows, INDEX["left_wrist"], 0] -= 40.0
    away = clean(changed(truth, points=points, visibility=visibility))
    # Too long to be filled: it stays missing, and nothing else goes with it.
    inner = rows[3:-3]
    assert np.isnan(away.points[inner, INDEX["left_wrist"]]).all()
    assert np.isfinite(
        np.delete(away.points, [INDEX[f"left_{j}"] for j in ("wrist", "pinky", "index", "thumb")], 1)
    ).all()


def test_visibility_of_the_hips_is_not_asked() -> None:
    truth = player(60.0)
    visibility = truth.visibility.copy()
    visibility[:, INDEX["left_hip"]] = 0.0
    assert np.isfinite(clean(changed(truth, visibility=visibility)).points).all()


def test_joints_outside_the_picture_are_missing() -> None:
    truth = player(60.0)
    points = truth.points.copy()
    points[:, INDEX["left_ankle"], 1] = 600.0
    cleaned = clean(changed(truth, points=points))
    assert np.isnan(cleaned.points[:, INDEX["left_ankle"]]).all()
    assert np.isfinite(cleaned.points[:, INDEX["right_ankle"]]).all()


# --- gaps ---


@pytest.mark.parametrize("joint", ["left_wrist", "right_hip"])
def test_short_gaps_are_filled_long_ones_stay(joint: str) -> None:
    truth = player(60.0)
    points = truth.points.copy()
    at = INDEX[joint]
    short, long = frames(truth, 0.3, 0.36), frames(truth, 1.6, 2.0)
    points[short, at] = np.nan
    points[long, at] = np.nan
    cleaned = clean(changed(truth, points=points))
    assert cleaned.filled[short, at].all()
    assert off(cleaned, truth)[short, at].max() < 0.05
    assert np.isnan(cleaned.points[long, at]).all()
    # One missing stretch spreads to no other frame and no other joint.
    others = np.ones(cleaned.points.shape[:2], bool)
    others[long, at] = False
    assert np.isfinite(cleaned.points[others]).all()
    assert cleaned.filled.sum() == len(short)


def test_gaps_are_measured_in_real_seconds() -> None:
    at = INDEX["left_wrist"]
    for rate_hz, n_missing, filled in ((30.0, 3, True), (30.0, 4, False), (240.0, 24, True), (240.0, 26, False)):
        truth = player(rate_hz)
        points = truth.points.copy()
        first = round(0.3 * rate_hz)
        points[first : first + n_missing, at] = np.nan
        cleaned = clean(changed(truth, points=points))
        assert cleaned.filled[first, at] == filled, (rate_hz, n_missing)


def test_gap_in_the_fast_part_is_bridged_within_a_tenth_of_a_torso() -> None:
    truth = player(60.0)
    points = truth.points.copy()
    rows = frames(truth, IMPACT_S - 0.02, IMPACT_S + 0.02)
    for joint in ("wrist", "pinky", "index", "thumb"):
        points[rows, INDEX[f"left_{joint}"]] = np.nan
    cleaned = clean(changed(truth, points=points))
    assert off(cleaned, truth)[rows, INDEX["left_wrist"]].max() < 0.10


def test_uneven_times() -> None:
    truth = player(120.0)
    keep = np.sort(np.random.default_rng(5).choice(len(truth), int(0.6 * len(truth)), replace=False))
    picked = changed(
        truth,
        points=truth.points[keep],
        depth=truth.depth[keep],
        visibility=truth.visibility[keep],
        time_s=truth.time_s[keep],
        filled=truth.filled[keep],
    )
    cleaned = clean(picked)
    assert np.isfinite(cleaned.points).all()
    away = np.linalg.norm(cleaned.points - picked.points, axis=2) / TORSO
    assert np.percentile(away, 99) < 0.05


# --- degenerate input ---


def test_frames_without_anyone() -> None:
    truth = player(60.0)
    points = np.full_like(truth.points, np.nan)
    cleaned = clean(changed(truth, points=points))
    assert np.isnan(cleaned.points).all()
    points = truth.points.copy()
    points[:60] = np.nan
    assert np.isnan(clean(changed(truth, points=points)).points[:60]).all()


@pytest.mark.parametrize("n", [1, 2, 3, 4])
def test_very_short_tracks(n: int) -> None:
    truth = player(60.0)
    short = truth.between(0.0, (n - 0.5) / 60)
    assert len(short) == n
    assert np.isfinite(clean(short).points).all()


def test_a_track_of_hands_alone() -> None:
    truth = player(60.0)
    points = np.full_like(truth.points, np.nan)
    points[:, INDEX["left_wrist"]] = truth.points[:, INDEX["left_wrist"]]
    cleaned = clean(changed(truth, points=points))
    assert np.isfinite(cleaned.points[:, INDEX["left_wrist"]]).all()
    assert any("torso is never seen" in line for line in cleaned.log)


@pytest.mark.parametrize("factor", [0.0, -1.0, float("nan"), float("inf")])
def test_bad_slow_factor(factor: float) -> None:
    with pytest.raises(DataError, match="slow factor"):
        clean(player(), slow_factor=factor)


def test_runs() -> None:
    assert runs(np.array([1, 1, 0, 0, 1], bool)) == [(0, 2), (4, 5)]
    assert runs(np.zeros(3, bool)) == []


def test_settings_have_units_and_reasons() -> None:
    for item in dataclasses.fields(CleanSettings):
        assert item.metadata["unit"], item.name
        assert len(item.metadata["reason"]) > 10, item.name
