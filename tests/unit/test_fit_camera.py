"""Camera, lengths and the fitted swing, from clips of players with known truth."""

from __future__ import annotations

import dataclasses
import functools
from typing import Any

import numpy as np
import pytest

from overlay.align import align
from overlay.clean import clean
from overlay.data import (
    Ball,
    FilmingFinding,
    FilmingReport,
    PoseTrack,
    Positions,
    ReferenceFit,
    SpaceTrack,
    Strike,
    Swing,
)
from overlay.errors import ContentError, DataError, MismatchError
from overlay.fit import SEGMENTS, estimate_camera, fit_in_space, lens
from overlay.fit.habits import N_NODES, as_reported, node_times, pose_habits
from overlay.fit.skeleton import Skeleton, outward
from overlay.golfer import (
    BodySpec,
    CameraSpec,
    GolferSpec,
    Motion,
    NoiseSpec,
    TempoSpec,
    simulate,
    space_track,
    truth_track,
)
from overlay.golfer.tracks import landmark_points
from overlay.landmarks import INDEX, MIRROR
from overlay.positions import find_swings
from overlay.score import score
from overlay.settings.fit import FIT, RETARGET
from overlay.terms import PARTS, POSITION_NAMES, View

TEMPO = TempoSpec(pre_s=0.9, relax_s=0.4, post_s=0.0)
BODY = BodySpec(
    stature_m=1.66, arm=0.93, forearm=1.08, thigh=0.92, shank=1.07, trunk=1.09, hips=0.95, head=0.96, foot=1.06
)


@functools.cache
def model() -> tuple[Motion, SpaceTrack]:
    motion = simulate(GolferSpec(tempo=TEMPO))
    return motion, space_track(motion)


@functools.cache
def student(view: View, hand: str = "right", fault: str = "") -> tuple[Motion, CameraSpec, Swing]:
    """A player of other proportions before a camera that stands beside its place, tracked with noise."""
    spec = GolferSpec(body=BODY, tempo=TEMPO, handedness=hand, faults={fault: 2.0} if fault else {})  # type: ignore[arg-type]
    motion = simulate(spec)
    usual = CameraSpec.for_motion(motion, view)
    camera = dataclasses.replace(
        usual,
        height_m=usual.height_m + 0.12,
        offset_m=-0.1,
        yaw_deg=3.0,
        distance_m=1.15 * usual.distance_m,
        fov_deg=44.0,
    )
    track = truth_track(motion, camera, 60.0, noise=NoiseSpec(), seed=5)
    swing = find_swings(clean(track), None, view=view, handedness=spec.handedness)[-1]
    place = camera.project(motion.ball_rest)
    strike = Strike(motion.position_times["impact"], 0.01, True, Ball((float(place[0]), float(place[1])), 8.0, 1.0))
    return motion, camera, dataclasses.replace(swing, strike=strike)


@functools.cache
def fitted(view: View, hand: str = "right") -> ReferenceFit:
    return fit_in_space(model()[1], student(view, hand)[2])


def apart(fit: ReferenceFit, motion: Motion, camera: CameraSpec) -> np.ndarray[Any, Any]:
    """(T, 33) torso lengths between fitted and true joints at truly mapped times."""
    times = np.linspace(motion.position_times["address"], motion.position_times["finish"], 80)
    true = camera.project(landmark_points(motion.state(times), motion.spec.body.stature_m))
    mapped = model()[0].time_of(motion.phase(times))
    pose = fit.swing.pose
    flat = pose.points.reshape(len(pose), -1)
    ghost = np.stack([np.interp(mapped, pose.time_s, column) for column in flat.T], -1).reshape(true.shape)
    middle = [0.5 * (true[0, INDEX[f"left_{name}"]] + true[0, INDEX[f"right_{name}"]]) for name in ("shoulder", "hip")]
    return np.asarray(np.linalg.norm(ghost - true, axis=-1) / np.linalg.norm(middle[0] - middle[1]))


@pytest.mark.parametrize(("view", "hand"), [("dtl", "right"), ("fo", "right"), ("dtl", "left"), ("fo", "left")])
def test_the_fitted_joints_are_the_students(view: View, hand: str) -> None:
    motion, camera, swing = student(view, hand)
    fit = fitted(view, hand)
    off = apart(fit, motion, camera)
    joints = [
        INDEX[f"{side}_{name}"]
        for side in ("left", "right")
        for name in ("shoulder", "hip", "knee", "ankle", "elbow", "wrist")
    ]
    assert np.median(off[:, joints]) < 0.04
    assert np.median(off[:, [INDEX["left_ankle"], INDEX["right_ankle"]]]) < 0.02  # it stands in the student's shoes
    assert fit.residual < 0.04
    assert (fit.swing.view, fit.swing.handedness) == (swing.view, hand)
    assert fit.swing.pose.image_size == swing.pose.image_size
    assert fit.swing.positions.times() == model()[1].positions.times()
    assert set(fit.sd) == set(PARTS)
    assert fit.reported is None  # no habits are known of a synthetic track
    assert fit.scored is fit.swing


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_the_same_movement_is_no_difference(view: View) -> None:
    _, _, swing = student(view)
    fit = fitted(view)
    told = score(swing, fit.scored, align(swing, fit.scored), fit_sd=fit.sd)
    rows = [row for row in told.differences if row.words != "not scored"]
    assert len(rows) > 40
    assert np.mean([row.words == "no difference detected" for row in rows]) >= 0.9


@pytest.mark.parametrize(
    ("view", "fault", "part"),
    [("fo", "sway", "pelvis"), ("dtl", "posture_loss", "pelvis"), ("dtl", "flat_shoulder_turn", "shoulders")],
)
def test_a_fault_is_still_found(view: View, fault: str, part: str) -> None:
    _, _, swing = student(view, fault=fault)
    fit = fit_in_space(model()[1], swing)
    told = score(swing, fit.scored, align(swing, fit.scored), fit_sd=fit.sd)
    assert part in {row.part for row in told.differences if row.words not in ("no difference detected", "not scored")}


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_the_camera_is_found_within_what_is_said(view: View) -> None:
    motion, camera, swing = student(view)
    told = estimate_camera(model()[1], swing)
    size = 1.78 / motion.spec.body.stature_m  # lengths are told for a player as tall as the model
    true = {
        "height_m": size * camera.height_m,
        "yaw_deg": camera.yaw_deg,
        "distance_m": size * camera.distance_m,
        "fov_deg": 44.0,
    }
    for name, value in true.items():
        assert abs(told.values[name] - value) < 3 * told.sd[name], name
    assert abs(told.values["height_m"] - true["height_m"]) < 0.15
    assert abs(told.values["yaw_deg"] - 3.0) < 3.0
    assert len(told.draws) == FIT.n_draws
    heights = [draw.position[2] for draw in told.draws]
    assert 0.4 * told.sd["height_m"] < np.std(heights) < 2.0 * told.sd["height_m"]


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_lengths_that_are_seen_are_told_and_others_stay_at_the_prior(view: View) -> None:
    told = estimate_camera(model()[1], student(view)[2])
    # Relative to the trunk, since only ratios can be seen.
    for name, own in (("thigh", BODY.thigh), ("shank", BODY.shank), ("foot", BODY.foot)):
        assert told.factors[name] / told.factors["trunk"] == pytest.approx(own / BODY.trunk, rel=0.07), name
    assert set(told.factors) == set(SEGMENTS)
    assert told.certainty["trunk"] > told.certainty["hip_width"]


def test_both_views_tell_of_one_body() -> None:
    _, space = model()
    (motion, camera, dtl), (_, _, fo) = student("dtl"), student("fo")
    both = fit_in_space(space, dtl, second=fo)
    assert np.median(apart(both, motion, camera)) < 0.04
    one, two = estimate_camera(space, dtl), estimate_camera(space, dtl, second=fo)
    assert all(two.certainty[name] >= one.certainty[name] - 0.02 for name in SEGMENTS)
    assert np.mean(list(two.certainty.values())) > np.mean(list(one.certainty.values()))


def test_what_the_filming_check_says_of_the_direction_is_used() -> None:
    _, space = model()
    _, _, swing = student("fo")
    plain = estimate_camera(space, swing)
    report = FilmingReport((FilmingFinding("roll", 4.0, "deg", (3.6, 4.4), "warn", "The camera leans."),))
    told = estimate_camera(space, swing, filming=report)
    assert told.values["roll_deg"] > plain.values["roll_deg"] + 1.5
    assert told.sd["roll_deg"] < plain.sd["roll_deg"]


def _without(swing: Swing, *names: str) -> Swing:
    missing = {**swing.positions.missing, **dict.fromkeys(names, "not found")}
    found = tuple(position for position in swing.positions.found if position.name not in names)
    return dataclasses.replace(swing, positions=Positions(found, missing))


def _hidden(swing: Swing, *ends: str) -> Swing:
    points = swing.pose.points.copy()
    points[:, [i for name, i in INDEX.items() if name.endswith(ends)]] = np.nan
    return dataclasses.replace(swing, pose=dataclasses.replace(swing.pose, points=points))


def test_without_address_the_next_position_serves_and_is_said() -> None:
    motion, camera, swing = student("dtl")
    fit = fit_in_space(model()[1], _without(swing, "address"))
    assert np.median(apart(fit, motion, camera)) < 0.06
    assert any("Address was not found" in note for note in fit.notes)
    assert all(fit.sd[part] > fitted("dtl").sd[part] for part in PARTS)


def test_without_feet_it_is_less_sure_and_said() -> None:
    motion, camera, swing = student("fo")
    fit = fit_in_space(model()[1], _hidden(swing, "ankle", "heel", "foot_index"))
    assert np.median(apart(fit, motion, camera)) < 0.08
    assert any("feet are not all seen" in note for note in fit.notes)
    assert any("feet could not be seen" in note for note in fit.notes)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda swing: dataclasses.replace(swing, view="other"), "neither"),
        (lambda swing: _without(swing, *POSITION_NAMES), "No position"),
        (lambda swing: _hidden(swing, *(name for name in INDEX if "shoulder" not in name)), "joints are seen"),
    ],
)
def test_what_cannot_be_fitted_is_said(change: Any, said: str) -> None:
    with pytest.raises(ContentError, match=said):
        fit_in_space(model()[1], change(student("dtl")[2]))


def test_two_views_of_different_hands_are_refused() -> None:
    with pytest.raises(MismatchError, match="different hands"):
        fit_in_space(model()[1], student("dtl")[2], second=student("fo", "left")[2])


def test_a_pinhole_camera_by_hand() -> None:
    """A camera 4 m down the line at 1 m height with focal length 2 × the longer side of 100 px: a point 0.5 m out and
    0.25 m above the axis, 4 m away, lies 200 / 4 · (0.5, −0.25) = (25, −12.5) px from the middle."""
    values = np.zeros(lens.N_CAMERA)
    values[lens.LOG_DISTANCE], values[lens.HEIGHT], values[lens.LOG_FOCAL] = np.log(4.0), 1.0, np.log(2.0)
    got = lens.project(values[None], np.array([[[0.0, 0.5, 1.25]]]), "dtl", (80, 100))[0, 0]
    np.testing.assert_allclose(got, [40 + 25, 50 - 12.5])
    camera = lens.camera_of(values, "dtl", (80, 100))
    np.testing.assert_allclose(camera.project(np.array([0.0, 0.5, 1.25])), got)
    mirrored = lens.mirrored(camera, (80, 100)).project(np.array([0.0, 0.5, 1.25]))
    np.testing.assert_allclose(mirrored, [80 - got[0], got[1]])


def test_limbs_turn_where_their_bones_keep_their_length() -> None:
    """Marks 0.1 m apart, legs of 0.4 m that turn 0.075 m from the middle: half as far out again as the marks."""
    angle = np.linspace(-0.5, 0.5, 40)
    points = np.zeros((40, 33, 3))
    for side, sign in (("left", 1.0), ("right", -1.0)):
        points[:, INDEX[f"{side}_hip"]] = [sign * 0.05, 0, 0]
        points[:, INDEX[f"{side}_knee"], 0] = sign * 0.075 + 0.4 * np.sin(angle)
        points[:, INDEX[f"{side}_knee"], 2] = -0.4 * np.cos(angle)
    assert outward(points, "hip", "knee", 0.9) == pytest.approx(0.5, abs=0.011)


def test_bones_are_those_of_a_right_hander() -> None:
    with pytest.raises(DataError, match="right-hander"):
        Skeleton.of(model()[1].mirrored(), RETARGET)


def test_habits_of_the_pose_model_are_added_for_it_alone() -> None:
    swing = fitted("dtl").swing
    assert as_reported(swing, "a.csv", 100.0) is None
    told = as_reported(swing, pose_habits().source, 100.0)
    assert told is not None
    assert told.pose.source == pose_habits().source  # so that its measures are freed of the same biases
    nodes = node_times(swing.positions)
    assert nodes is not None
    assert len(nodes) == N_NODES
    moved = told.pose.points - swing.pose.points
    at_top = np.argmin(np.abs(swing.pose.time_s - nodes[6]))
    np.testing.assert_allclose(moved[at_top], 100.0 * pose_habits().offsets["dtl"][6], atol=1.5)
    np.testing.assert_allclose(moved[0], 0.0, atol=1e-9)  # nothing up to address
    left = as_reported(dataclasses.replace(swing, handedness="left"), pose_habits().source, 100.0)
    assert left is not None
    mirrored = (left.pose.points - swing.pose.points)[:, list(MIRROR)] * np.array([-1.0, 1.0])
    np.testing.assert_allclose(mirrored, moved, atol=1e-9)


def test_a_track_of_the_pose_model_is_scored_with_its_habits() -> None:
    _, _, swing = student("dtl")
    pose: PoseTrack = dataclasses.replace(swing.pose, source=pose_habits().source)
    fit = fit_in_space(model()[1], dataclasses.replace(swing, pose=pose))
    assert fit.reported is not None
    assert fit.scored is fit.reported
    np.testing.assert_allclose(fit.swing.pose.points, fitted("dtl").swing.pose.points)
