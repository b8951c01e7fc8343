"""Lengths of segments in the picture, a swing rebuilt with others, and what of a difference is applied."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from overlay.data import Ball, ClubTrack, PoseTrack, Position, Positions, Strike, Swing
from overlay.errors import DataError
from overlay.golfer import (
    BodySpec,
    CameraSpec,
    GolferSpec,
    NoiseSpec,
    StyleSpec,
    TempoSpec,
    simulate,
    true_club,
    truth_track,
)
from overlay.landmarks import INDEX, N_LANDMARKS
from overlay.segments import PAIRED, SEGMENT_NAMES, applied, fit_in_picture, rescaled, segment_lengths
from overlay.settings.segments import READINGS
from overlay.terms import PARTS, POSITION_NAMES, View

QUICK = TempoSpec(pre_s=0.9, relax_s=0.4, post_s=0.0)


def filmed(
    view: View,
    body: BodySpec | None = None,
    seed: int = 0,
    variation: float = 0.0,
    style: StyleSpec | None = None,
    **camera: Any,
) -> Swing:
    player = GolferSpec(
        tempo=QUICK, body=body or BodySpec(), seed=seed, variation=variation, style=style or StyleSpec()
    )
    motion = simulate(player)
    lens = CameraSpec.for_motion(motion, view, **camera)
    times = motion.position_times
    track = truth_track(motion, lens, 60.0, noise=NoiseSpec(scale=0.7), seed=seed)
    track = track.between(times["address"] - 0.3, times["finish"] + 0.1)
    found = tuple(Position(name, times[name], 1.0) for name in POSITION_NAMES)
    return Swing(None, track, view, 1.0, "right", 1.0, Positions(found), club=true_club(motion, lens, track.time_s))


def length(swing: Swing, start: str, end: str) -> Any:
    gap = swing.pose.joint(start) - swing.pose.joint(end)
    return np.hypot(gap[:, 0], gap[:, 1])


def stick(legs: float = 100.0) -> Swing:
    """An upright figure, feet together, arms hanging: every segment 50 px but the legs' 100 and the trunk's 100."""
    places = {
        "ankle": (200.0, 400.0), "knee": (200.0, 400.0 - legs), "hip": (200.0, 400.0 - 2 * legs),
        "heel": (195.0, 405.0), "foot_index": (225.0, 405.0),
    }  # fmt: skip
    top = 400.0 - 2 * legs
    places |= {"shoulder": (200.0, top - 100.0), "elbow": (200.0, top - 50.0), "wrist": (200.0, top)}
    places |= dict.fromkeys(("index", "pinky", "thumb"), (200.0, top + 20.0))
    places |= dict.fromkeys(("ear", "eye", "eye_inner", "eye_outer"), (200.0, top - 140.0))
    points = np.full((20, N_LANDMARKS, 2), np.nan)
    for name, i in INDEX.items():
        bare = name.replace("left_", "").replace("right_", "")
        points[:, i] = places.get(bare, (215.0, top - 140.0))
    times = np.arange(20) / 20.0
    pose = PoseTrack(points, np.zeros((20, N_LANDMARKS)), np.full((20, N_LANDMARKS), 0.9), times, (400, 500), "made")
    club = ClubTrack(
        times, np.full((20, 2), (200.0, top + 20.0)), np.full(20, 60.0), np.full(20, 90.0), ("measured",) * 20
    )
    found = (Position("address", 0.3, 0.9),)
    missing = {name: "not looked for" for name in POSITION_NAMES if name != "address"}
    strike = Strike(0.5, 0.01, True, Ball((245.0, top + 98.0), 6.0, 0.9))
    return Swing(
        None, pose, "fo", 1.0, "right", 1.0, Positions(found, missing), club=club, torso_px=100.0, strike=strike
    )


def test_lengths_of_a_standing_figure_are_its_own() -> None:
    read = segment_lengths(stick())
    assert read.trunk_px == pytest.approx(100.0)
    # Every frame is the same, so every percentile is: lengths in trunks are those the figure was drawn with.
    wanted = {"thigh": 1.0, "shank": 1.0, "upper_arm": 0.5, "forearm": 0.5, "foot": 0.3, "neck": 0.4}
    assert {name: read.lengths[name] for name in wanted} == pytest.approx(wanted)
    assert "shoulder_width" in read.missing  # The shoulders fall together.


def test_each_segment_is_scaled_about_the_one_below() -> None:
    swing = rescaled(stick(), {"shank": 1.2, "thigh": 0.9, "upper_arm": 1.1, "neck": 1.5, "foot": 2.0})
    at = {name: swing.pose.joint(name)[7] for name in ("left_ankle", "left_knee", "left_hip", "left_shoulder")}
    # Ankle 400; knee 400 − 120; hip 280 − 90; shoulders 100 above, elbow 55 and wrist 105 below, ear 60 above.
    assert at["left_ankle"] == pytest.approx((200, 400))
    assert at["left_knee"] == pytest.approx((200, 280))
    assert at["left_hip"] == pytest.approx((200, 190))
    assert at["left_shoulder"] == pytest.approx((200, 90))
    assert swing.pose.joint("right_elbow")[7] == pytest.approx((200, 145))
    assert swing.pose.joint("right_wrist")[7] == pytest.approx((200, 195))
    assert swing.pose.joint("left_ear")[7] == pytest.approx((200, 30))
    assert swing.pose.joint("left_foot_index")[7] == pytest.approx((255, 405))
    # The hands went from 220 to 215: club and ball go along, the club keeps its length and its direction.
    assert swing.club is not None
    assert swing.club.grip[7] == pytest.approx((200, 215))
    assert swing.club.length_px[7] == 90.0
    assert swing.club.angle_deg[7] == 60.0
    assert swing.strike is not None
    assert swing.strike.ball is not None
    assert swing.strike.ball.place == pytest.approx((245, 293))


def test_feet_stay_and_the_hands_stay_on_one_grip() -> None:
    swing = filmed("fo")
    factors = {"thigh": 1.1, "shank": 0.95, "hip_width": 1.1, "shoulder_width": 0.9, "upper_arm": 1.12, "forearm": 0.9}
    longer = rescaled(swing, factors)
    for name in ("left_ankle", "right_ankle", "left_heel"):
        assert np.array_equal(longer.pose.joint(name), swing.pose.joint(name), equal_nan=True)
    apart, before = (s.pose.joint("left_wrist") - s.pose.joint("right_wrist") for s in (longer, swing))
    assert np.allclose(apart, before, equal_nan=True)
    assert longer.club is not None
    assert swing.club is not None
    hands = (longer.pose.joint("left_index") + longer.pose.joint("right_index")) / 2
    old = (swing.pose.joint("left_index") + swing.pose.joint("right_index")) / 2
    assert np.allclose(longer.club.grip - hands, swing.club.grip - old, atol=1e-6, equal_nan=True)
    # Closing the chains costs some of the lengths, never much.
    for name, factor in factors.items():
        if name in PAIRED:
            start, end = PAIRED[name]
            got = np.nanmedian(
                length(longer, f"left_{start}", f"left_{end}") / length(swing, f"left_{start}", f"left_{end}")
            )
            assert got == pytest.approx(factor, abs=0.06), name
    assert np.allclose(
        length(longer, "left_shoulder", "right_shoulder"), 0.9 * length(swing, "left_shoulder", "right_shoulder")
    )


def test_knees_take_their_share_where_the_legs_meet() -> None:
    # Feet wider apart than the hips: longer legs would part the hips further, which keep their width. Thigh and shank,
    # alike before, stay alike.
    swing = stick()
    points = swing.pose.points.copy()
    for side, sign in (("left", 1.0), ("right", -1.0)):
        for name, x in (("hip", 20.0), ("knee", 45.0), ("ankle", 70.0)):
            points[:, INDEX[f"{side}_{name}"], 0] += sign * x
    wide = rescaled(replace(swing, pose=replace(swing.pose, points=points)), {"thigh": 1.2, "shank": 1.2})
    thigh, shank = (length(wide, f"left_{a}", f"left_{b}")[0] for a, b in (("hip", "knee"), ("knee", "ankle")))
    assert thigh == pytest.approx(shank, rel=1e-6)
    assert length(wide, "left_hip", "right_hip")[0] == pytest.approx(40.0)
    assert length(wide, "left_ankle", "right_ankle")[0] == pytest.approx(140.0)


def test_the_bend_of_the_trunk_is_not_taken_for_its_length() -> None:
    # Face on, bent 8° further to the camera at address, the trunk looks a good deal shorter there.
    bent, upright = (filmed("fo", style=StyleSpec(forward_bend_deg=bend), seed=5) for bend in (8.0, -4.0))
    at_address = [length(swing, "left_hip", "left_knee")[15] / trunk_at_address(swing) for swing in (bent, upright)]
    read = [segment_lengths(swing).lengths["thigh"] for swing in (bent, upright)]
    assert abs(math.log(at_address[0] / at_address[1])) > 0.08
    assert abs(math.log(read[0] / read[1])) < 0.03


def trunk_at_address(swing: Swing) -> float:
    middle = [(swing.pose.joint(f"left_{j}") + swing.pose.joint(f"right_{j}"))[15] / 2 for j in ("shoulder", "hip")]
    return float(np.hypot(*(middle[0] - middle[1])))


def test_a_joint_missing_for_a_moment_makes_nothing_else_jump() -> None:
    swing = stick()
    points = swing.pose.points.copy()
    points[8:12, INDEX["left_ankle"]] = np.nan
    longer = rescaled(replace(swing, pose=replace(swing.pose, points=points)), {"shank": 1.2})
    assert np.allclose(longer.pose.joint("left_hip"), (200.0, 180.0))
    assert np.all(np.isnan(longer.pose.joint("left_ankle")[8:12]))


def test_nothing_to_scale_gives_the_swing_itself() -> None:
    swing = stick()
    assert rescaled(swing, {}) is swing
    assert rescaled(swing, dict.fromkeys(SEGMENT_NAMES, 1.0)) is swing


def test_wrong_factors_are_refused() -> None:
    with pytest.raises(DataError, match="no segment 'tail'"):
        rescaled(stick(), {"tail": 1.1})
    with pytest.raises(DataError, match="makes no body"):
        rescaled(stick(), {"thigh": -1.0})
    with pytest.raises(DataError, match="makes no body"):
        rescaled(stick(), {"thigh": math.nan})


def test_what_is_applied_of_a_measured_difference() -> None:
    # Breiman's garrotte with one SD: x(1 − (sd/x)²); nothing below one SD, and less and less towards 1.5.
    assert applied(0.05, 0.06) == 1.0
    assert applied(0.10, 0.05) == pytest.approx(math.exp(0.10 * (1 - 0.25)))
    assert applied(-0.10, 0.05) == pytest.approx(math.exp(-0.075))
    assert applied(math.log(1.25), 0.001) == pytest.approx(1.25, abs=1e-4)
    assert applied(math.log(0.8), 0.001) == pytest.approx(0.8, abs=1e-4)
    # Half of the way (of the logarithm) from 1.25 to 1.5: half of ln 1.25.
    assert applied(math.log(1.25 * 1.5) / 2, 0.001) == pytest.approx(math.sqrt(1.25), abs=1e-4)
    assert applied(-2.0, 0.05) == 1.0


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_another_build_is_read_and_brought_near(view: View) -> None:
    body = BodySpec(stature_m=1.85, arm=1.1, forearm=1.08, thigh=1.12, shank=0.9, trunk=0.92, shoulders=1.05)
    student, reference = filmed(view, body, seed=1, distance_m=4.4), filmed(view, seed=2)
    fit = fit_in_picture(reference, student)
    for name, scale in (("thigh", 1.12), ("upper_arm", 1.1)):
        true = math.log(scale / 0.92)
        assert math.log(fit.factors[name]) == pytest.approx(true, abs=2.5 * READINGS[view][name].sd), name
    assert fit.residual < 0.7 * fit_in_picture(reference, reference).residual + 0.08
    before = distance(reference, student)
    assert distance(fit.swing, student) < 0.6 * before
    assert set(fit.sd) == set(PARTS)
    assert all(0.0 <= value < 0.06 for value in fit.sd.values())
    assert fit.kind == "picture"
    assert not fit.in_student_picture


def distance(one: Swing, other: Swing) -> float:
    """Median over joints and positions, torso lengths, both on their feet at address."""
    poses = []
    joints = [INDEX[f"{side}_{j}"] for side in ("left", "right") for j in ("shoulder", "elbow", "wrist", "hip", "knee")]
    for swing in (one, other):
        times = [position.time_s for position in swing.positions.found]
        rows = [int(np.argmin(np.abs(swing.pose.time_s - t))) for t in times]
        feet = (swing.pose.joint("left_ankle") + swing.pose.joint("right_ankle"))[rows[0]] / 2
        poses.append((swing.pose.points[rows][:, joints] - feet) / segment_lengths(swing).trunk_px)
    gap = poses[0] - poses[1]
    return float(np.median(np.hypot(gap[..., 0], gap[..., 1])))


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_the_same_player_is_left_alone(view: View) -> None:
    fit = fit_in_picture(filmed(view, seed=3, variation=1.0), filmed(view, seed=4, variation=1.0, distance_m=4.3))
    assert all(0.97 < factor < 1.03 for factor in fit.factors.values())


def test_what_cannot_be_seen_is_not_fitted_and_said() -> None:
    swing = filmed("dtl")
    pose = swing.pose
    visibility = pose.visibility.copy()
    visibility[:, [INDEX["left_ankle"], INDEX["right_ankle"]]] = 0.1
    hidden = replace(swing, pose=replace(pose, visibility=visibility))
    fit = fit_in_picture(hidden, filmed("dtl", BodySpec(shank=1.15)))
    assert fit.factors["shank"] == 1.0
    assert any("lower legs" in note for note in fit.notes)
    assert fit.sd["lead_leg"] > fit_in_picture(swing, filmed("dtl")).sd["lead_leg"]


def test_a_hand_that_is_seldom_seen_is_no_surer_for_it() -> None:
    swing = filmed("dtl")
    points = swing.pose.points.copy()
    points[::2, [INDEX["left_wrist"], INDEX["left_index"]]] = np.nan
    seldom = replace(swing, pose=replace(swing.pose, points=points))
    sure, unsure = (fit_in_picture(own, own).sd for own in (swing, seldom))
    assert set(unsure) == set(sure)
    assert unsure["hands"] == pytest.approx(sure["hands"], rel=0.3)


def test_other_sides_are_not_fitted() -> None:
    fit = fit_in_picture(filmed("fo"), filmed("dtl"))
    assert set(fit.factors.values()) == {1.0}
    assert any("different sides" in note for note in fit.notes)


def test_a_misplaced_joint_is_not_taken_for_a_build_and_said() -> None:
    swing = filmed("fo")
    points = swing.pose.points.copy()
    for side in ("left", "right"):
        knee, ankle = (points[:, INDEX[f"{side}_{name}"]] for name in ("knee", "ankle"))
        points[:, INDEX[f"{side}_ankle"]] = knee + 1.6 * (ankle - knee)
    fit = fit_in_picture(swing, replace(swing, pose=replace(swing.pose, points=points)))
    assert fit.factors["shank"] == 1.0
    assert any("lower legs" in note and "misplaced" in note for note in fit.notes)


def test_a_pair_that_cannot_be_two_builds_is_not_fitted() -> None:
    swing = filmed("fo")
    points = swing.pose.points.copy()
    # Squeezed to 60 % of its width and sheared, as from another side: most of it reads as no build.
    points[..., 0] = 0.5 * points[..., 0]
    for side in ("left", "right"):
        for name in ("knee", "ankle", "heel", "foot_index"):
            points[:, INDEX[f"{side}_{name}"], 1] += 90.0
    fit = fit_in_picture(swing, replace(swing, pose=replace(swing.pose, points=points)))
    assert set(fit.factors.values()) == {1.0}
    assert fit.swing is swing
    assert any("was not fitted" in note for note in fit.notes)


def test_sides_that_disagree_are_unsure() -> None:
    # One thigh a quarter longer and the other as it was: no build, so less of it is applied than of both an eighth.
    swing = filmed("fo")
    one, both = (swing.pose.points.copy() for _ in range(2))
    for points, scales in ((one, (1.25, 1.0)), (both, (1.118, 1.118))):
        for side, scale in zip(("left", "right"), scales):
            hip, knee = (points[:, INDEX[f"{side}_{name}"]] for name in ("hip", "knee"))
            moved = (scale - 1.0) * (hip - knee)
            for name in ("hip", "shoulder", "elbow", "wrist", "index", "ear"):
                points[:, INDEX[f"{side}_{name}"]] += moved
    fits = [fit_in_picture(swing, replace(swing, pose=replace(swing.pose, points=points))) for points in (one, both)]
    assert fits[1].factors["thigh"] > 1.05
    assert fits[0].factors["thigh"] < 1.0 + 0.5 * (fits[1].factors["thigh"] - 1.0)
