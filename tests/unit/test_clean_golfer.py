"""Cleaning on the synthetic golfer, where the truth is known, and on the real clip where it is at hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from overlay.clean import clean
from overlay.data import PoseTrack
from overlay.golfer import CameraSpec, GolferSpec, NoiseSpec, simulate, truth_track
from overlay.kinematics import speed, torso_length
from overlay.landmarks import INDEX

HIPS = [INDEX["left_hip"], INDEX["right_hip"]]
WRISTS = [INDEX["left_wrist"], INDEX["right_wrist"]]


def exchanged(track: PoseTrack, truth: PoseTrack) -> np.ndarray:
    """(T,): frames in which the hips are nearer to each other's place, by more than noise."""
    right = np.linalg.norm(track.points[:, HIPS] - truth.points[:, HIPS], axis=2).sum(axis=1)
    wrong = np.linalg.norm(track.points[:, HIPS[::-1]] - truth.points[:, HIPS], axis=2).sum(axis=1)
    return np.asarray(right > wrong + 0.1 * torso_length(truth))


@pytest.mark.parametrize("rate_hz", [30, 60, 120])
@pytest.mark.parametrize("hand", ["right", "left"])
def test_hip_swaps_after_impact_are_repaired(rate_hz: int, hand: str) -> None:
    n_before = n_after = 0
    for seed in range(4):
        motion = simulate(GolferSpec(seed=seed, handedness=hand))  # type: ignore[arg-type]
        camera = CameraSpec.for_motion(motion, view="dtl")
        truth = truth_track(motion, camera, rate_hz)
        noisy = truth_track(motion, camera, rate_hz, noise=NoiseSpec(hip_swap=1.0), seed=seed)
        n_before += int(exchanged(noisy, truth).sum())
        n_after += int(exchanged(clean(noisy), truth).sum())
    assert n_before >= rate_hz // 6
    assert n_after == 0


@pytest.mark.parametrize("view", ["dtl", "fo"])
@pytest.mark.parametrize("rate_hz", [30, 60, 240])
def test_a_perfect_track_is_kept(view: str, rate_hz: int) -> None:
    motion = simulate(GolferSpec())
    truth = truth_track(motion, CameraSpec.for_motion(motion, view=view), rate_hz)
    cleaned = clean(truth)
    assert not any(word in line for line in cleaned.log for word in ("put back", "excursions", "spikes", "apart"))
    kept = np.isfinite(cleaned.points[..., 0]) & ~cleaned.filled
    off = np.linalg.norm(cleaned.points - truth.points, axis=2)[kept] / torso_length(truth)
    assert off.max() < 0.06
    # Hand speed, where the wrist is seen at its fastest: at most 5 % may go.
    for wrist in WRISTS:
        before, after = (speed(track.points[:, wrist], track.time_s) for track in (truth, cleaned))
        peak = int(np.argmax(before))
        if kept[max(0, peak - 4) : peak + 5, wrist].all():
            assert np.nanmax(after[max(0, peak - 4) : peak + 5]) > 0.95 * before[peak]


def test_noise_of_a_pose_model_falls() -> None:
    motion = simulate(GolferSpec())
    camera = CameraSpec.for_motion(motion, view="fo")
    truth = truth_track(motion, camera, 120)
    noisy = truth_track(motion, camera, 120, noise=NoiseSpec(correlated=0.0, dropout=0.0, far_arm=0.0), seed=1)
    cleaned = clean(noisy)
    for joints, most in ((HIPS, 0.6), (WRISTS, 0.75)):
        ok = np.isfinite(cleaned.points[:, joints, 0]) & ~cleaned.filled[:, joints]
        before, after = (
            np.sqrt(np.mean(np.linalg.norm(t.points[:, joints] - truth.points[:, joints], axis=2)[ok] ** 2))
            for t in (noisy, cleaned)
        )
        assert after < most * before


def test_a_strike_in_repeated_frames_is_kept_and_one_wrist_that_leaves_is_not() -> None:
    """30 frames a second of which every third is new: the hands stand for two frames and then jump, both at once."""
    motion = simulate(GolferSpec())
    truth = truth_track(motion, CameraSpec.for_motion(motion, view="fo"), 30)
    shown = np.arange(len(truth)) // 3 * 3
    visibility = np.ones_like(truth.visibility)
    repeated = replace(truth, points=truth.points[shown], visibility=visibility)
    strike = np.abs(truth.time_s - motion.position_times["impact"]) < 0.25
    step = np.linalg.norm(np.diff(repeated.points[strike][:, WRISTS[0]], axis=0), axis=1) / torso_length(truth)
    assert step.max() > 0.8
    assert step.min() < 0.01
    cleaned = clean(repeated)
    assert np.all(np.isfinite(cleaned.points[strike][:, WRISTS]))
    assert not np.any(cleaned.filled[strike][:, WRISTS])
    points = repeated.points.copy()
    at = np.flatnonzero(strike)[6:9]
    points[at, WRISTS[0]] += 0.9 * torso_length(truth)
    one = clean(replace(repeated, points=points))
    kept = np.isfinite(one.points[at, WRISTS[0], 0]) & ~one.filled[at, WRISTS[0]]
    assert not kept.any()
    assert np.all(np.isfinite(one.points[at, WRISTS[1], 0]))


def test_planted_hand_errors_are_found() -> None:
    """Both hands thrown 0.5 torso aside for four frames in the backswing, at full visibility."""
    motion = simulate(GolferSpec())
    camera = CameraSpec.for_motion(motion, view="fo")
    truth = truth_track(motion, camera, 60)
    noisy = truth_track(motion, camera, 60, noise=NoiseSpec(dropout=0.0), seed=2)
    size = torso_length(truth)
    first = int(np.searchsorted(truth.time_s, motion.position_times["shaft_level_back"]))
    points, visibility = noisy.points.copy(), noisy.visibility.copy()
    points[first : first + 4, WRISTS] += np.array([0.4, -0.3]) * size
    visibility[:, WRISTS] = 1.0
    planted = PoseTrack(points, noisy.depth, visibility, noisy.time_s, noisy.image_size, "made")
    cleaned = clean(planted)
    rows = slice(first, first + 4)
    for wrist in WRISTS:
        assert cleaned.filled[rows, wrist].all()
        assert np.linalg.norm(cleaned.points[rows, wrist] - truth.points[rows, wrist], axis=1).max() < 0.15 * size


@pytest.mark.real
@pytest.mark.pose
@pytest.mark.slow
def test_the_real_clip(real_data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from overlay.pose import model, track_clip
    from overlay.pose.people import check_one_person

    if model.find_model() is None:
        pytest.skip("the pose model has not been made on this machine")
    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path))
    path = real_data / "real_dtl_slow_motion.mp4"
    check_one_person(path)
    result = track_clip(path)
    seen = np.isfinite(result.track.points[..., 0]).all(axis=1)
    assert seen.all()
    assert result.masks is not None
    assert all((result.masks.frame(i) > 127).mean() > 0.03 for i in range(0, len(seen), 40))
    cleaned = clean(result.track, slow_factor=4.0)
    # The hips of this clip cross by rotation: nothing is to be exchanged.
    assert not any("put back" in line for line in cleaned.log)
    trunk = [INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in ("shoulder", "hip", "knee", "ankle")]
    assert np.isfinite(cleaned.points[:, trunk]).all()
    moved = np.linalg.norm(cleaned.points - result.track.points, axis=2)[:, trunk] / torso_length(cleaned)
    assert np.median(moved) < 0.02
