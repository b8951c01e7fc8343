"""The alignment's parts by algebra, and its properties on whole swings."""

from __future__ import annotations

import dataclasses
import functools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from overlay.align import Anchor, OpenEnds, align, align_features, dtw_path, measured_anchors, without_wait
from overlay.align.anchors import bend
from overlay.align.dtw import Path, open_path, run_share
from overlay.align.refine import Hint, adapted, explained_share, first_trust, found_trust, refine
from overlay.align.warp import increasing, path_warp
from overlay.data import Position, Positions, Swing
from overlay.errors import DataError
from overlay.golfer import BodySpec, CameraSpec, GolferSpec, NoiseSpec, TempoSpec, simulate, truth_track
from overlay.landmarks import INDEX
from overlay.normalise import Features, swing_features
from overlay.settings.align import AlignSettings
from overlay.terms import POSITION_NAMES

DEFAULT = AlignSettings()


@functools.cache
def golfer_swing(
    seed: int = 0,
    *,
    view: str = "fo",
    rate_hz: float = 60.0,
    tempo: float = 1.0,
    left: bool = False,
    noise: bool = True,
) -> Swing:
    """A synthetic swing with its true positions."""
    motion = simulate(
        GolferSpec(
            body=BodySpec(stature_m=1.7 + 0.05 * (seed % 4), arm=1.0 + 0.03 * (seed % 3)),
            tempo=TempoSpec(backswing_s=0.87 * tempo, downswing_s=0.27 * tempo),
            handedness="left" if left else "right",
        )
    )
    camera = CameraSpec.for_motion(motion, view, yaw_deg=4.0 * (seed % 3) - 4.0)
    track = truth_track(motion, camera, rate_hz, noise=NoiseSpec(dropout=0.0, hip_swap=0.0), seed=seed)
    positions = Positions(tuple(Position(name, motion.position_times[name], 0.9) for name in POSITION_NAMES))
    start, stop = positions.time("address"), positions.time("finish")
    assert start is not None
    assert stop is not None
    return Swing(None, track.between(start - 0.5, stop + 0.5), view, 1.0, "left" if left else "right", 1.0, positions)  # type: ignore[arg-type]


def bump_features(centres: list[float], n: int = 200, *, weight: float = 1.0) -> Features:
    """Thirteen joints that rise and fall around given times."""
    time = np.arange(n) * 0.01
    place = np.zeros((n, 13, 2))
    for k, centre in enumerate(centres):
        place[:, k % 13, k % 2] += np.exp(-0.5 * ((time - centre) / 0.12) ** 2)
    return Features(0.0, 1.0, 0.01, place, np.gradient(place, 0.01, axis=0), np.full((n, 13), weight))


CENTRES = [0.3, 0.45, 0.6, 0.75, 0.9, 1.05, 1.2, 1.35, 1.5, 1.65]


def test_path_of_equal_series_is_the_diagonal() -> None:
    series = np.random.default_rng(0).normal(size=(30, 4))
    path = dtw_path(series, series)
    assert path.cost == 0.0
    assert np.array_equal(path.steps, np.repeat(np.arange(30)[:, None], 2, axis=1))


def test_path_of_a_repeated_series_stands_still_where_it_repeats() -> None:
    series = np.arange(6.0)[:, None]
    path = dtw_path(np.repeat(series, 3, axis=0), series)
    assert path.cost == 0.0
    assert path.steps[:, 1].tolist() == np.repeat(np.arange(6), 3).tolist()
    assert run_share(path, 1, 2) == pytest.approx(12 / 17)
    assert run_share(path, 1, 3) == 0.0
    assert run_share(path, 0, 2) == 0.0


@pytest.mark.parametrize(
    ("a", "b", "message"),
    [
        (np.ones((3, 2)), np.ones((3, 3)), "cannot be warped"),
        (np.ones((0, 2)), np.ones((3, 2)), "cannot be warped"),
        (np.ones((3, 2)), np.full((3, 2), np.nan), "not finite"),
    ],
)
def test_series_that_do_not_fit(a: np.ndarray, b: np.ndarray, message: str) -> None:
    with pytest.raises(DataError, match=message):
        dtw_path(a, b)


def test_open_start_finds_where_a_late_recording_begins() -> None:
    whole = np.stack([np.sin(np.linspace(0, 9, 200)), np.linspace(0, 3, 200)], axis=1)
    late = whole[60:]
    shares = (0.0, 0.1, 0.2, 0.3, 0.4)
    path = open_path(late, whole, OpenEnds(student_starts_late=True), shares, 50)
    assert path.steps[0].tolist() == [0, 60]
    assert path.cost == pytest.approx(0.0, abs=1e-12)
    back = open_path(whole, late, OpenEnds(reference_starts_late=True), shares, 50)
    assert back.steps[0].tolist() == [60, 0]
    early = open_path(whole[:140], whole, OpenEnds(student_stops_early=True), shares, 50)
    assert early.steps[-1].tolist() == [139, 139]
    closed = open_path(late, whole, OpenEnds(), shares, 50)
    assert closed.steps[0].tolist() == [0, 0]


def test_found_positions_speak_against_a_cheap_but_wrong_cut() -> None:
    # Two equal humps: without marks either may be the one that is left; the mark says which.
    hump = np.exp(-0.5 * (np.linspace(-3, 3, 100)) ** 2)[:, None]
    two, one = np.concatenate([hump, hump]), hump
    marks = np.array([[150.0, 50.0]])
    path = open_path(two, one, OpenEnds(reference_starts_late=True), (0.0, 0.25, 0.5), 50, marks)
    assert path.steps[0].tolist() == [100, 0]
    off = np.interp(150.0, path.steps[:, 0], path.steps[:, 1])
    assert off == pytest.approx(50.0)


def test_warp_through_a_straight_staircase_is_straight() -> None:
    a, b = bump_features(CENTRES, 100), bump_features(CENTRES, 199)
    steps = np.stack([np.repeat(np.arange(100), 2)[:-1], np.arange(199)], axis=1)
    warp = path_warp(Path(steps, 0.0), a, b, DEFAULT)
    # Two reference points a student point: slope 2, through the middle of each pair.
    np.testing.assert_allclose(warp[10:90], 0.02 * np.arange(10, 90) + 0.005, atol=1e-3)


def test_increasing_is_the_least_squares_projection() -> None:
    # Pool-adjacent-violators by hand: 2 and 1 pool at 1.5, then slope ≥ 0.5 is kept exactly.
    result = increasing(np.array([0.0, 2.0, 1.0, 3.0]), np.ones(3), 0.5, 5.0)
    np.testing.assert_allclose(result, [0.0, 1.25, 1.75, 3.0])


@given(st.lists(st.floats(-5, 5), min_size=2, max_size=40), st.floats(0.1, 0.9), st.floats(1.1, 6.0))
@settings(max_examples=60)
def test_increasing_keeps_its_limits(values: list[float], low: float, high: float) -> None:
    steps = np.full(len(values) - 1, 0.1)
    slopes = np.diff(increasing(np.array(values), steps, low, high)) / steps
    assert slopes.min() >= low * (1 - 1e-6)
    assert slopes.max() <= high * (1 + 1e-6)
    kept = np.cumsum(np.full(len(values), 0.1 * (low + high) / 2))
    np.testing.assert_array_equal(increasing(kept, steps, low, high), kept)


def test_increasing_refuses_limits_out_of_order() -> None:
    with pytest.raises(DataError, match="do not fit"):
        increasing(np.zeros(3), np.ones(2), 2.0, 1.0)


def test_refinement_finds_a_known_smooth_warp() -> None:
    student = bump_features(CENTRES)
    true = student.time_s + 0.03 * np.sin(2 * np.pi * student.time_s / 2.0)
    moved = [float(np.interp(c, student.time_s, true)) for c in CENTRES]
    place = np.zeros((230, 13, 2))
    # The reference is the student on the warped clock: b(w(t)) = a(t).
    grid = np.arange(230) * 0.01
    back = np.interp(grid, true, student.time_s, right=student.time_s[-1])
    for k in range(13):
        for d in range(2):
            place[:, k, d] = np.interp(back, student.time_s, student.place[:, k, d])
    reference = Features(0.0, 1.0, 0.01, place, np.gradient(place, 0.01, axis=0), np.ones((230, 13)))
    trust = first_trust(np.ones(13), dataclasses.replace(DEFAULT, first_sigma=0.01))
    warp = refine(student.time_s.copy(), student, reference, trust, DEFAULT)
    busy = (student.time_s > 0.25) & (student.time_s < 1.7)
    np.testing.assert_allclose(warp[busy], true[busy], atol=0.003)
    assert explained_share(warp, student, reference) > 0.99
    assert len(moved) == len(CENTRES)


def test_adaptation_undoes_an_affine_map_of_a_joint() -> None:
    rng = np.random.default_rng(1)
    student = bump_features(CENTRES)
    place = np.cumsum(rng.normal(size=(200, 13, 2)), axis=0) * 0.1
    student = dataclasses.replace(student, place=place, velocity=np.gradient(place, 0.01, axis=0))
    matrix = np.array([[1.2, 0.1], [-0.1, 0.8]])
    other_place = (place - 0.3) @ np.linalg.inv(matrix)
    reference = dataclasses.replace(student, place=other_place, velocity=np.gradient(other_place, 0.01, axis=0))
    sharp = dataclasses.replace(DEFAULT, ridge=1e-9, ridge_offset=1e-9)
    fitted = adapted(student.time_s, student, reference, sharp)
    np.testing.assert_allclose(fitted.place, student.place, atol=1e-5)
    # A strong ridge changes nothing.
    stiff = adapted(student.time_s, student, reference, dataclasses.replace(DEFAULT, ridge=1e9, ridge_offset=1e9))
    np.testing.assert_allclose(stiff.place, reference.place, atol=1e-6)


def test_a_joint_that_does_not_fit_is_trusted_less() -> None:
    student = bump_features(CENTRES)
    place = student.place.copy()
    place[:, 3] += 0.3 * np.sin(np.arange(200) * 0.15)[:, None]
    reference = dataclasses.replace(student, place=place, velocity=np.gradient(place, 0.01, axis=0))
    trust = found_trust(student.time_s, student, reference, np.ones(13), DEFAULT)
    assert np.argmin(trust.place) == 3
    assert trust.place[3] < 0.5 * np.median(trust.place)


def test_an_anchor_is_weighed_against_the_pose() -> None:
    # Algebra: with one anchor, the bend at it is s_pose² / (s_pose² + s_anchor²) of the gap (Gaussian conditioning),
    # and falls off as exp(−½ (Δt / reach)²).
    time = np.arange(0.0, 2.0, 0.01)
    half = dataclasses.replace(DEFAULT, pose_sigma_s=0.01, anchor_reach_s=0.2)
    one = np.array([1.0])
    bent = bend(time, time.copy(), one, one + 0.012, np.array([0.01]), half)
    assert bent[100] - time[100] == pytest.approx(0.006, abs=1e-6)
    assert bent[120] - time[120] == pytest.approx(0.006 * np.exp(-0.5), abs=1e-6)
    sure = bend(time, time.copy(), one, one + 0.012, np.array([1e-5]), half)
    assert sure[100] - time[100] == pytest.approx(0.012, abs=1e-5)
    far = bend(time, time.copy(), one, one + 0.2, np.array([0.01]), half)
    assert far[100] - time[100] > 0.19
    assert np.array_equal(bend(time, time, one[:0], one[:0], one[:0], half), time)


def test_an_anchor_needs_an_uncertainty() -> None:
    with pytest.raises(DataError, match="uncertainty of 0"):
        Anchor("impact", 1.0, 1.0, 0.0)


def with_source(swing: Swing, name: str, source: str, *, by_s: float = 0.0, confidence: float = 1.0) -> Swing:
    found = tuple(
        Position(name, p.time_s + by_s, confidence, source) if p.name == name else p for p in swing.positions.found
    )  # type: ignore[arg-type]
    return dataclasses.replace(swing, positions=Positions(found))


def test_anchors_are_the_positions_measured_by_more_than_the_pose() -> None:
    a, b = golfer_swing(1), golfer_swing(2)
    assert measured_anchors(a, b, DEFAULT) == ()
    both = measured_anchors(with_source(a, "impact", "ball"), with_source(b, "impact", "sound"), DEFAULT)
    assert [anchor.name for anchor in both] == ["impact"]
    assert both[0].sigma_s == pytest.approx(DEFAULT.measured_sigma_s * np.sqrt(2))
    one = measured_anchors(with_source(a, "impact", "ball", confidence=0.5), b, DEFAULT)
    assert one[0].sigma_s == pytest.approx(np.hypot(2 * DEFAULT.measured_sigma_s, DEFAULT.posed_sigma_s / 0.9))


def test_a_measured_impact_overrides_the_pose() -> None:
    a, b = golfer_swing(1), golfer_swing(2)
    plain = align(a, b)
    impact_a, impact_b = a.positions.time("impact"), b.positions.time("impact")
    assert impact_a is not None
    assert impact_b is not None
    measured = align(with_source(a, "impact", "ball", by_s=0.06), with_source(b, "impact", "ball"))
    gap = float(measured.to_reference(impact_a + 0.06)) - impact_b
    assert abs(gap) < 0.012
    assert abs(float(plain.to_reference(impact_a + 0.06)) - impact_b) > 0.04
    assert measured.diagnostics["anchors"] == 1.0
    assert measured.diagnostics["anchor_shift_ms"] > 30.0
    assert np.all(measured.slopes() > 0)
    # Far from impact nothing changes.
    top = a.positions.time("lead_arm_level_back")
    assert top is not None
    assert abs(float(measured.to_reference(top) - plain.to_reference(top))) < 0.005


def test_a_swing_on_itself_is_the_identity() -> None:
    swing = golfer_swing(3)
    time_map = align(swing, swing)
    times = np.linspace(swing.start_s, swing.stop_s, 200)
    np.testing.assert_allclose(time_map.to_reference(times), times, atol=1e-6)
    assert time_map.diagnostics["cost_per_step"] == pytest.approx(0.0, abs=1e-9)
    assert time_map.notes == ()


@given(st.integers(0, 5), st.sampled_from([0.8, 1.0, 1.25]), st.sampled_from(["dtl", "fo"]), st.booleans())
@settings(max_examples=10)
def test_maps_are_monotone_invertible_and_turn_round(seed: int, tempo: float, view: str, left: bool) -> None:
    a = golfer_swing(seed, view=view)
    b = golfer_swing(seed + 1, view=view, tempo=tempo, left=left)
    there, back = align(a, b), align(b, a)
    times = np.linspace(a.start_s, a.stop_s, 300)
    reference = there.to_reference(times)
    assert np.all(np.diff(reference) > 0)
    np.testing.assert_allclose(there.to_student(reference), times, atol=1e-3)
    swing = np.linspace(*(a.positions.time(name) or 0.0 for name in ("lead_arm_level_back", "shaft_level_through")), 50)
    np.testing.assert_allclose(back.to_reference(there.to_reference(swing)), swing, atol=0.03)
    truth = [a.positions.time(name) or 0.0 for name in ("top", "impact")]
    np.testing.assert_allclose(
        there.to_reference(np.array(truth)), [b.positions.time(name) or 0.0 for name in ("top", "impact")], atol=0.03
    )


def test_a_mirrored_player_gives_the_same_map() -> None:
    a, b = golfer_swing(1), golfer_swing(2, tempo=1.1)
    mirrored = dataclasses.replace(b, pose=b.pose.mirrored(), handedness="left")
    times = np.linspace(a.start_s, a.stop_s, 100)
    np.testing.assert_allclose(align(a, mirrored).to_reference(times), align(a, b).to_reference(times), atol=1e-6)


def test_the_map_does_not_depend_on_the_playback_clock() -> None:
    a, b = golfer_swing(1, rate_hz=120.0), golfer_swing(2, tempo=1.1)
    slow = 4.0
    track = dataclasses.replace(a.pose, time_s=a.pose.time_s * slow)
    positions = Positions(tuple(dataclasses.replace(p, time_s=p.time_s * slow) for p in a.positions.found))
    played_slowly = dataclasses.replace(a, pose=track, positions=positions)
    times = np.linspace(*(a.positions.time(name) or 0.0 for name in ("shaft_level_back", "finish")), 100)
    slow_map, real_map = align(played_slowly, b), align(a, b)
    np.testing.assert_allclose(slow_map.to_reference(times * slow), real_map.to_reference(times), atol=0.01)
    assert slow_map.outer_slope == pytest.approx(1 / slow, rel=0.15)


def test_missing_joints_and_gaps_are_tolerated() -> None:
    a, b = golfer_swing(1), golfer_swing(2)
    points, visibility = np.array(a.pose.points), np.array(a.pose.visibility)
    rng = np.random.default_rng(0)
    lost = rng.random(visibility.shape) < 0.2
    lost[:, [INDEX["right_wrist"], INDEX["right_elbow"], INDEX["nose"]]] = True
    points[lost], visibility[lost] = np.nan, 0.0
    poor = dataclasses.replace(a, pose=dataclasses.replace(a.pose, points=points, visibility=visibility))
    times = np.linspace(*(a.positions.time(name) or 0.0 for name in ("lead_arm_level_back", "shaft_level_through")), 50)
    np.testing.assert_allclose(align(poor, b).to_reference(times), align(a, b).to_reference(times), atol=0.03)


def test_a_recording_that_starts_late_finds_its_place() -> None:
    a, b = golfer_swing(1), golfer_swing(2)
    cut_s = (a.positions.time("shaft_level_back") or 0.0) + 0.05
    found = tuple(p for p in a.positions.found if p.time_s > cut_s)
    missing = {p.name: "before the recording" for p in a.positions.found if p.time_s <= cut_s}
    late = dataclasses.replace(a, pose=a.pose.between(cut_s, a.stop_s), positions=Positions(found, missing))
    times = np.linspace(*(a.positions.time(name) or 0.0 for name in ("top", "impact")), 30)
    np.testing.assert_allclose(align(late, b).to_reference(times), align(a, b).to_reference(times), atol=0.03)
    np.testing.assert_allclose(align(b, late).to_student(times), align(b, a).to_student(times), atol=0.03)


def test_an_address_found_too_early_is_not_believed() -> None:
    a, b = golfer_swing(1), golfer_swing(2)
    address, top, impact = (a.positions.time(name) or 0.0 for name in ("address", "top", "impact"))
    wait = 2.0
    early = np.arange(address - 0.5, address - 0.5 + wait, 1 / 60)
    standing = a.pose.between(a.start_s, a.start_s + 0.01)
    keep = a.pose.time_s > a.start_s + 0.01

    def longer(values: np.ndarray) -> np.ndarray:
        return np.concatenate([np.repeat(values[:1], len(early), axis=0), values[keep]])

    times = np.concatenate([a.start_s - (len(early) - np.arange(len(early))) / 60, a.pose.time_s[keep]])
    assert len(standing) == 1
    track = dataclasses.replace(
        a.pose,
        points=longer(a.pose.points),
        depth=longer(a.pose.depth),
        visibility=longer(a.pose.visibility),
        filled=longer(a.pose.filled),
        time_s=times,
    )
    found = tuple(
        dataclasses.replace(p, time_s=p.time_s - wait) if p.name == "address" else p for p in a.positions.found
    )
    waiting = dataclasses.replace(a, pose=track, positions=Positions(found))
    trimmed = without_wait(waiting, b, DEFAULT)
    assert trimmed.positions.time("address") is None
    assert trimmed.start_s > top - 1.6 * (top - address)
    assert without_wait(a, b, DEFAULT) is a
    between = np.linspace(address + 0.3, impact, 40)
    np.testing.assert_allclose(align(waiting, b).to_reference(between), align(a, b).to_reference(between), atol=0.03)


def test_hints_pull_by_their_weight_and_a_wrong_one_does_no_harm() -> None:
    # Nothing moves: the hint is all that is known, so the warp, straight before and after, passes through it.
    still = dataclasses.replace(bump_features([]), weight=np.ones((200, 13)))
    trust = first_trust(np.ones(13), DEFAULT)
    hint = Hint(1.0, 1.04, 0.02)
    warp = refine(still.time_s.copy(), still, still, trust, DEFAULT, (hint,))
    assert warp[100] == pytest.approx(1.04, abs=1e-3)
    moving = bump_features(CENTRES)
    wrong = refine(moving.time_s.copy(), moving, moving, trust, DEFAULT, (Hint(1.0, 1.6, 0.02),))
    np.testing.assert_allclose(wrong, moving.time_s, atol=0.02)


def test_a_swing_against_something_else_is_doubted() -> None:
    a = golfer_swing(1)
    assert align(a, golfer_swing(2, tempo=0.85)).notes == ()
    still = np.repeat(np.array(a.pose.points)[:1], len(a.pose), axis=0)
    still += np.random.default_rng(0).normal(0.0, 1.0, still.shape)
    standing = dataclasses.replace(a, pose=dataclasses.replace(a.pose, points=still))
    notes = align(a, standing).notes
    assert any("doubtful" in note for note in notes)


def test_diagnostics_are_finite_numbers() -> None:
    diagnostics = align(golfer_swing(1), golfer_swing(2, tempo=1.25)).diagnostics
    assert all(np.isfinite(value) for value in diagnostics.values())
    assert 0.5 < diagnostics["slope_min"] < 1.25 < diagnostics["slope_max"] < 2.0
    assert diagnostics["explained_share"] > 0.9


def test_features_can_be_aligned_directly() -> None:
    a, b = (swing_features(golfer_swing(seed)) for seed in (1, 2))
    direct = align_features(a, b)
    whole = align(golfer_swing(1), golfer_swing(2), settings=dataclasses.replace(DEFAULT, hint_names=()))
    np.testing.assert_array_equal(direct.reference_s, whole.reference_s)
