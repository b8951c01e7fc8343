"""Swings and positions on the synthetic golfer, whose true times are known."""

from __future__ import annotations

import warnings
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from overlay.clean import clean
from overlay.data import Clip, PoseTrack
from overlay.errors import ContentError
from overlay.golfer import Act, CameraSpec, GolferSpec, NoiseSpec, TempoSpec, record, simulate, truth_track
from overlay.kinematics import Pass
from overlay.landmarks import INDEX, N_LANDMARKS
from overlay.positions import _without_overlap, find_swings
from overlay.positions.cues import crossing, vertex
from overlay.positions.estimate import ANCHORS, RULES, Calibration, calibrations
from overlay.positions.signals import tremble
from overlay.settings.positions import PositionSettings
from overlay.terms import POSITION_NAMES

SPEC = GolferSpec(tempo=TempoSpec(pre_s=1.0, hold_s=0.5), variation=1.0, seed=5)


def cleaned(spec: GolferSpec, view: str, rate_hz: float, seed: int = 1) -> tuple[PoseTrack, dict[str, float]]:
    motion = simulate(spec)
    camera = CameraSpec.for_motion(motion, view)
    return clean(truth_track(motion, camera, rate_hz, noise=NoiseSpec(), seed=seed)), motion.position_times


@pytest.fixture(scope="module")
def face_on() -> tuple[PoseTrack, dict[str, float]]:
    return cleaned(SPEC, "fo", 60.0)


@pytest.mark.parametrize(
    ("view", "hand", "rate_hz"),
    [("dtl", "right", 60.0), ("dtl", "left", 30.0), ("fo", "left", 60.0), ("fo", "right", 120.0)],
)
def test_nine_positions_within_the_published_tolerance(view: str, hand: str, rate_hz: float) -> None:
    track, truth = cleaned(replace(SPEC, handedness=hand), view, rate_hz)  # type: ignore[arg-type]
    (swing,) = find_swings(track)
    assert (swing.view, swing.handedness) == (view, hand)
    assert set(swing.positions.times()) == set(POSITION_NAMES)
    # GolfDB's rule: one thirtieth of address → impact, at least one frame.
    tolerance_s = max((truth["impact"] - truth["address"]) / 30, 1 / rate_hz)
    for name in POSITION_NAMES[:-1]:
        assert abs(swing.positions.times()[name] - truth[name]) <= 1.2 * tolerance_s, name
    for name in ("top", "impact"):
        assert abs(swing.positions.times()[name] - truth[name]) <= 0.016, name
    # The end of the hold is the least certain of the nine, and says so.
    assert abs(swing.positions.times()["finish"] - truth["finish"]) < 0.15
    assert swing.positions.get("finish").confidence < swing.positions.get("impact").confidence  # type: ignore[union-attr]
    assert swing.start_s == pytest.approx(swing.positions.times()["address"] - 0.5, abs=1.5 / rate_hz)
    assert swing.quality["slow_factor_estimate"] == 1.0
    assert swing.notes == ()


def test_surer_positions_are_better_ones() -> None:
    # The small version of studies/positions_synthetic.py: error and confidence of 8 swings, all positions together.
    told = []
    for seed in range(4):
        for view in ("dtl", "fo"):
            track, truth = cleaned(replace(SPEC, seed=seed), view, 30.0, seed)
            (swing,) = find_swings(track)
            told += [(p.confidence, abs(p.time_s - truth[p.name])) for p in swing.positions.found]
    confidence, error_s = np.array(told).T
    sure, unsure = error_s[confidence > 0.9], error_s[confidence < 0.7]
    assert len(sure) >= 40
    assert len(unsure) >= 6
    assert np.median(sure) < 0.5 * np.median(unsure)
    # Tolerance at 30 frames per second is 38 ms here.
    assert np.mean(sure < 0.038) >= 0.95


def test_eightfold_slow_motion_gives_eight_times_the_times(face_on: tuple[PoseTrack, dict[str, float]]) -> None:
    track, _ = face_on
    (real,) = find_swings(track)
    (slow,) = find_swings(replace(track, time_s=8.0 * track.time_s))
    for name, time_s in real.positions.times().items():
        assert slow.positions.times()[name] == pytest.approx(8.0 * time_s, abs=0.01), name
    # Default tempo is the median of real-time clips, so the factor is found to the tempo's own variation.
    assert slow.quality["slow_factor_estimate"] == pytest.approx(8.0, rel=0.1)
    assert any("slower than life" in note for note in slow.notes)
    assert slow.tempo_ratio == pytest.approx(real.tempo_ratio, rel=0.01)


def test_a_known_capture_rate_needs_no_note(face_on: tuple[PoseTrack, dict[str, float]]) -> None:
    track, _ = face_on
    slow = replace(track, time_s=4.0 * track.time_s)
    clip = Clip(Path("swing.mp4"), "", 480, 854, 0, False, slow.time_s, Fraction(15), Fraction(60), False, False)
    (swing,) = find_swings(slow, clip)
    assert swing.notes == ()
    wrong = replace(clip, capture_rate=Fraction(480))
    assert any("capture rate" in note for note in find_swings(slow, wrong)[0].notes)


def test_a_speed_ramp_is_noted(face_on: tuple[PoseTrack, dict[str, float]]) -> None:
    track, truth = face_on
    # From the top on the clip plays three times slower: backswing over downswing falls to about one.
    ramp = np.where(track.time_s > truth["top"], truth["top"] + 3.0 * (track.time_s - truth["top"]), track.time_s)
    (swing,) = find_swings(replace(track, time_s=ramp))
    assert any("speed-ramped" in note for note in swing.notes)


def test_what_the_clip_does_not_show_is_absent_with_a_reason(face_on: tuple[PoseTrack, dict[str, float]]) -> None:
    track, truth = face_on
    late = track.between(truth["shaft_level_back"] + 0.05, 99.0)
    (swing,) = find_swings(late)
    assert {"address", "shaft_level_back"} <= set(swing.positions.missing)
    assert "starts after" in swing.positions.missing["address"]
    assert abs(swing.positions.times()["impact"] - truth["impact"]) < 0.016
    early = track.between(0.0, truth["shaft_level_through"] + 0.12)
    (swing,) = find_swings(early)
    assert "ends before" in swing.positions.missing["finish"]
    assert abs(swing.positions.times()["impact"] - truth["impact"]) < 0.016


def test_a_finish_held_to_the_end_is_the_last_frame(face_on: tuple[PoseTrack, dict[str, float]]) -> None:
    track, truth = face_on
    held = track.between(0.0, truth["finish"] - 0.05)
    (swing,) = find_swings(held)
    assert swing.positions.times()["finish"] == pytest.approx(held.time_s[-1], abs=1 / 60)
    assert any("still held" in note for note in swing.notes)


def test_hands_hidden_through_the_strike_leave_it_absent(face_on: tuple[PoseTrack, dict[str, float]]) -> None:
    track, truth = face_on
    hidden = (track.time_s > truth["impact"] - 0.1) & (track.time_s < truth["impact"] + 0.1)
    points = track.points.copy()
    hands = [INDEX[f"{s}_{j}"] for s in ("left", "right") for j in ("wrist", "index", "pinky", "thumb")]
    points[np.ix_(hidden, hands)] = np.nan
    try:
        (swing,) = find_swings(replace(track, points=points))
    except ContentError:
        return  # not telling a swing at all is honest too
    impact = swing.positions.get("impact")
    assert impact is None or impact.confidence < 0.6


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_three_swings_among_everything_else(view: str) -> None:
    acts = [
        Act("walk", 3.0),
        Act("place_ball", 3.0),
        Act("rehearse", 3.0, size=1.0),
        Act("waggle", 2.0),
        Act("swing"),
        Act("walk", 3.0),
        Act("rehearse", 3.0, size=0.6),
        Act("swing"),
        Act("place_ball", 3.0),
        Act("swing"),
        Act("stand", 2.0),
    ]
    recording = record(SPEC, acts)
    camera = CameraSpec.for_motion(simulate(SPEC), view)
    swings = find_swings(clean(truth_track(recording, camera, 30.0, noise=NoiseSpec(), seed=2)))
    assert [swing.swing_number for swing in swings] == [1, 2, 3]
    for swing, truth in zip(swings, recording.swings):
        for name in ("top", "impact"):
            assert abs(swing.positions.times()[name] - truth[name]) < 0.034, name
        assert abs(swing.positions.times()["address"] - truth["address"]) < 0.1


def test_a_recording_that_starts_in_mid_takeaway_has_no_address() -> None:
    track, truth = cleaned(SPEC, "fo", 60.0, seed=4)
    (swing,) = find_swings(track.between(truth["address"] + 0.25, 99.0))
    assert swing.positions.missing.get("address") == "the clip starts after the swing has begun"
    assert abs(swing.positions.times()["top"] - truth["top"]) < 0.016


def test_rehearsals_alone_are_no_swing() -> None:
    recording = record(SPEC, [Act("walk", 3.0), Act("rehearse", 3.0, size=1.2), Act("waggle", 2.0)])
    camera = CameraSpec.for_motion(simulate(SPEC), "fo")
    with pytest.raises(ContentError, match="No full swing") as raised:
        find_swings(clean(truth_track(recording, camera, 30.0)))
    assert "Film the whole swing" in raised.value.hint


def test_a_recording_of_a_few_frames_is_too_short(face_on: tuple[PoseTrack, dict[str, float]]) -> None:
    with pytest.raises(ContentError, match="too short"):
        find_swings(face_on[0].between(0.0, 0.1))


def test_hands_never_seen(face_on: tuple[PoseTrack, dict[str, float]]) -> None:
    points = face_on[0].points.copy()
    points[:, [INDEX["left_wrist"], INDEX["right_wrist"]]] = np.nan
    with pytest.raises(ContentError, match="hands are hardly ever seen"):
        find_swings(replace(face_on[0], points=points))


def test_no_body_at_all() -> None:
    nothing = np.full((40, N_LANDMARKS, 2), np.nan)
    track = PoseTrack(nothing, nothing[..., 0], np.zeros((40, N_LANDMARKS)), np.arange(40) / 30, (100, 100), "test")
    with pytest.raises(ContentError, match="Shoulders and hips"):
        find_swings(track)


def test_view_and_hand_that_are_told_are_kept(face_on: tuple[PoseTrack, dict[str, float]]) -> None:
    (swing,) = find_swings(face_on[0], view="dtl", handedness="left")
    assert (swing.view, swing.view_confidence, swing.handedness) == ("dtl", 1.0, "left")


def test_vertex_and_crossing_lie_between_samples() -> None:
    time_s = np.arange(6.0)
    assert vertex(time_s, -((time_s - 2.3) ** 2), 2) == pytest.approx(2.3)
    assert vertex(time_s, time_s, 0) == 0.0
    wave = np.array([0.0, 1.0, 0.0, 1.0, 0.0, 0.0])
    assert crossing(time_s, wave, 0.25, 0, 5, last=False) == pytest.approx(0.25)
    assert crossing(time_s, wave, 0.25, 0, 5, last=True) == pytest.approx(2.25)
    assert np.isnan(crossing(time_s, wave, 2.0, 0, 5, last=True))


def test_calibration_by_hand() -> None:
    # Two cues expected at 1 and 2 units with spread 0.1, each weighing a half: both 0.1 late → 0.1 late.
    calibration = Calibration(("a", "b"), (1.0, 2.0), (0.1, 0.1), (0.5, 0.5), 1.5, 0.02)
    time_s, sd_s = calibration.estimate({"a": 12.2, "b": 14.2}, 10.0, 2.0)
    assert time_s == pytest.approx(10.0 + 2.0 * 1.6)
    assert sd_s == pytest.approx(0.04)
    # One of them missing: its usual place, and its weight times its spread in the uncertainty.
    time_s, sd_s = calibration.estimate({"a": 12.2}, 10.0, 2.0)
    assert time_s == pytest.approx(10.0 + 2.0 * 1.55)
    assert sd_s == pytest.approx(2.0 * np.hypot(0.02, 0.05))
    # A wild one counts like one three spreads away, and costs certainty.
    wild, wild_sd = calibration.estimate({"a": 99.0, "b": 14.0}, 10.0, 2.0)
    assert wild == pytest.approx(10.0 + 2.0 * (1.5 + 0.15))
    assert wild_sd > 2 * sd_s


def test_every_view_and_position_is_calibrated() -> None:
    assert set(calibrations()) == {(view, name) for view in ("dtl", "fo") for name in POSITION_NAMES}
    assert set(RULES) == set(ANCHORS) == set(POSITION_NAMES)
    for calibration in calibrations().values():
        assert len(calibration.cues) == len(calibration.weights) == len(calibration.expected) == len(calibration.spread)
        assert 0 < calibration.sd < 1


def test_tremble_is_the_noise_of_the_stillest_stretch() -> None:
    # Both axes 0.01, so 0.0141 together; a drift along a line does not count, nor does the second half's movement.
    rng = np.random.default_rng(0)
    joints = rng.normal(0.0, 0.01, (600, 5, 2))
    joints += 0.001 * np.arange(600)[:, None, None]
    joints[300:] += 0.3 * np.sin(np.arange(300))[:, None, None]
    assert tremble(joints, 60) == pytest.approx(0.0141, rel=0.15)
    assert np.isnan(tremble(joints[:10], 60))
    joints[:, 2] = np.nan
    assert np.isfinite(tremble(joints, 60))


def test_a_trembling_track_makes_a_position_less_sure() -> None:
    calibration = Calibration(("a",), (0.0,), (0.1,), (1.0,), 0.0, 0.03, 10.0)
    _, quiet = calibration.estimate({"a": 5.0}, 5.0, 1.0)
    time_s, loud = calibration.estimate({"a": 5.0}, 5.0, 1.0, tremble=0.004)
    assert (time_s, quiet) == (5.0, pytest.approx(0.03))
    assert loud == pytest.approx(0.05)
    # Not known: the usual one; beyond what was calibrated: no further.
    assert calibration.estimate({"a": 5.0}, 5.0, 1.0, tremble=float("nan"))[1] == pytest.approx(0.05)
    assert calibration.estimate({"a": 5.0}, 5.0, 1.0, tremble=1.0)[1] == pytest.approx(np.hypot(0.03, 0.2))


def test_a_finish_that_is_never_held_is_the_stillest_moment_and_unsure() -> None:
    spec = replace(SPEC, tempo=replace(SPEC.tempo, hold_s=0.05, relax_s=0.4, through_s=0.3))
    track, truth = cleaned(spec, "fo", 60.0, seed=6)
    (swing,) = find_swings(track, settings=replace(PositionSettings(), held_speed=0.001))
    finish = swing.positions.get("finish")
    assert finish is not None
    assert finish.confidence < 0.5
    assert abs(finish.time_s - truth["finish"]) < 0.3
    assert any("not held" in note for note in swing.notes)


def test_the_club_let_down_is_no_second_swing() -> None:
    sweeps = [
        Pass(1.0, 1.3, 1.7, 60, 78, 102, 1.0, 13.0, 0.0, 1.4),
        Pass(1.7, 2.0, 2.6, 102, 120, 156, 0.2, 7.0, 0.0, 0.5),
    ]
    assert _without_overlap(sweeps) == sweeps[:1]
    after = replace(sweeps[1], before_s=2.2, low_s=2.4)
    assert _without_overlap([sweeps[0], after]) == [sweeps[0], after]


def test_no_warning_reaches_the_user_when_joints_are_never_seen(face_on: tuple[PoseTrack, dict[str, float]]) -> None:
    points = face_on[0].points.copy()
    points[:, [INDEX["nose"], INDEX["left_ear"], INDEX["right_elbow"]]] = np.nan
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        (swing,) = find_swings(replace(face_on[0], points=points))
    assert swing.positions.get("impact") is not None
