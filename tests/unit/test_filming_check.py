"""The filming check as a whole, on swings whose camera is known."""

from __future__ import annotations

import dataclasses
import functools
import math
from typing import Any

import numpy as np
import pytest

from overlay.data import CameraMotion, FilmingFinding, FilmingReport, PoseTrack, Position, Positions, Swing
from overlay.errors import DataError
from overlay.filming import check_filming, match_cameras
from overlay.filming.check import ORDER
from overlay.golfer import CameraSpec, GolferSpec, Motion, NoiseSpec, TempoSpec, simulate, truth_track
from overlay.kinematics import torso_length
from overlay.landmarks import INDEX
from overlay.terms import POSITION_NAMES


@functools.cache
def motion_of(hand: str) -> Motion:
    return simulate(GolferSpec(handedness=hand, tempo=TempoSpec(pre_s=0.8, relax_s=0.5, post_s=0.0)))  # type: ignore[arg-type]


@functools.cache
def filmed(view: str, hand: str = "right", rate_hz: float = 30.0, **changes: float) -> Swing:
    """A swing seen by a camera that is well placed but for the changes; ``raised_m`` is against the hands."""
    motion = motion_of(hand)
    hands = float(motion.state(np.array([motion.position_times["address"]]))["grip"][0, 2])
    changed: dict[str, Any] = dict(changes)
    changed["height_m"] = hands + changed.pop("raised_m", 0.0)
    camera = CameraSpec.for_motion(motion, view, **changed)
    track = truth_track(motion, camera, rate_hz, noise=NoiseSpec(dropout=0.0, hip_swap=0.0), seed=2)
    return swing_of(track, view, hand, motion.position_times)


def swing_of(track: PoseTrack, view: str, hand: str, times: dict[str, float]) -> Swing:
    return Swing(
        clip=None,
        pose=track,
        view=view,  # type: ignore[arg-type]
        view_confidence=1.0,
        handedness=hand,  # type: ignore[arg-type]
        handedness_confidence=1.0,
        positions=Positions(tuple(Position(name, times[name], 1.0) for name in POSITION_NAMES)),
        torso_px=torso_length(track),
    )


def report_of(swing: Swing, **options: Any) -> FilmingReport:
    return check_filming(None, swing.pose, swing, None, **options)


def finding(report: FilmingReport, name: str) -> FilmingFinding:
    told = report.get(name)
    assert told is not None
    return told


def test_every_finding_is_there_once_and_the_worst_come_first() -> None:
    report = report_of(filmed("dtl", raised_m=0.3))
    assert sorted(one.name for one in report.findings) == sorted(ORDER)
    assert report.findings[0].name == "camera_height"
    ranks = [("fail", "warn", "not seen", "pass").index(one.verdict) for one in report.findings]
    assert ranks == sorted(ranks)
    assert report.verdict == "fail"


@pytest.mark.parametrize("hand", ["right", "left"])
@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_a_well_placed_camera_is_good(view: str, hand: str) -> None:
    report = report_of(filmed(view, hand))
    for name in ("view", "whole_body", "camera_height", "camera_offset", "yaw", "roll", "distance", "player_size_px"):
        told = finding(report, name)
        assert told.verdict == "pass", told
        assert told.advice == ""


@pytest.mark.parametrize(
    ("view", "hand", "changes", "name", "value", "advice"),
    [
        ("dtl", "right", {"raised_m": 0.3}, "camera_height", 30, "Lower the camera about 30 cm"),
        ("dtl", "left", {"raised_m": -0.3}, "camera_height", -30, "Raise the camera about 30 cm"),
        ("fo", "right", {"raised_m": 0.15}, "camera_height", 15, "Lower the camera about 15 cm"),
        ("dtl", "right", {"offset_m": -0.15}, "camera_offset", -15, "Move the camera about 15 cm towards the toe line"),
        ("dtl", "left", {"offset_m": 0.3}, "camera_offset", 30, "Move the camera about 30 cm towards the heel line"),
        ("fo", "right", {"offset_m": 0.3}, "camera_offset", 30, "Move the camera about 30 cm away from the target"),
        ("fo", "left", {"offset_m": 0.3}, "camera_offset", -30, "Move the camera about 30 cm towards the target"),
        (
            "dtl",
            "right",
            {"yaw_deg": 7.0},
            "yaw",
            7,
            "towards the toe line and turn it until the hands are in the middle",
        ),
        ("dtl", "left", {"yaw_deg": 7.0}, "yaw", -7, "towards the heel line and turn it until the hands"),
        (
            "fo",
            "right",
            {"yaw_deg": -7.0},
            "yaw",
            -7,
            "away from the target and turn it until the body is in the middle",
        ),
        ("dtl", "right", {"roll_deg": 4.0}, "roll", 4, "Tilt the camera about 4° to the left"),
        ("dtl", "left", {"roll_deg": 4.0}, "roll", -4, "Tilt the camera about 4° to the left"),
    ],
)
def test_a_planted_error_is_told_with_its_size_and_the_way_out(
    view: str, hand: str, changes: dict[str, float], name: str, value: float, advice: str
) -> None:
    report = report_of(filmed(view, hand, **changes))
    told = finding(report, name)
    assert told.verdict in ("warn", "fail")
    assert told.value == pytest.approx(value, abs=0.3 * abs(value))
    assert told.interval is not None
    assert told.interval[0] <= value <= told.interval[1]
    assert advice in told.advice


def test_a_turn_on_the_stand_is_told_as_a_turn() -> None:
    """Panned 6° to the right on its line, the lens looks past the hands: moving it would be wrong."""
    report = report_of(filmed("dtl", pan_deg=6.0))
    assert finding(report, "camera_offset").advice.startswith("Turn the camera on its stand to the left")
    assert "on its stand" in finding(report, "yaw").advice


def test_a_told_stature_narrows_centimetres_and_scales_them() -> None:
    swing = filmed("dtl", raised_m=0.3)
    usual, tall = report_of(swing), report_of(swing, stature_cm=190.0)
    one, other = finding(usual, "camera_height"), finding(tall, "camera_height")
    assert other.value / one.value == pytest.approx(190.0 / 173.0)
    assert finding(report_of(swing, stature_cm=178.0), "camera_distance").value == pytest.approx(3.8, rel=0.2)


def test_a_lens_in_the_advised_band_is_good_though_the_hands_hang_lower() -> None:
    """71–81 cm (28–32 in, common practice) holds where the stature, and so the ground, is known."""
    motion = motion_of("right")
    hands = float(motion.state(np.array([motion.position_times["address"]]))["grip"][0, 2])
    assert hands < 0.70
    swing = filmed("dtl", raised_m=0.80 - hands)
    assert finding(report_of(swing), "camera_height").verdict == "warn"
    assert finding(report_of(swing, stature_cm=178.0), "camera_height").verdict == "pass"


def test_without_pictures_what_needs_them_is_not_seen() -> None:
    report = report_of(filmed("fo"))
    for name in ("other_people", "shutter_blur", "exposure", "contrast"):
        told = finding(report, name)
        assert told.verdict == "not seen"
        assert math.isnan(told.value)
        assert "pictures" in told.sentence


def test_without_a_swing_size_and_frame_are_still_told() -> None:
    swing = filmed("fo")
    report = check_filming(None, swing.pose, None, None)
    assert finding(report, "view").verdict == "not seen"
    assert finding(report, "camera_height").verdict == "not seen"
    assert "no swing" in finding(report, "yaw").sentence
    assert finding(report, "player_size_px").verdict == "pass"
    assert finding(report, "frame_rate").verdict == "warn"


def moved(track: PoseTrack, shift: tuple[float, float]) -> PoseTrack:
    return dataclasses.replace(track, points=track.points + np.array(shift))


@pytest.mark.parametrize(
    ("view", "shift", "words"),
    [("dtl", (0, 215), "feet are below"), ("dtl", (0, -130), "head is cut off"), ("fo", (-190, 0), "on the left")],
)
def test_a_cut_body_is_told_and_the_rest_still_judged(view: str, shift: tuple[float, float], words: str) -> None:
    swing = filmed(view)
    cut = dataclasses.replace(swing, pose=moved(swing.pose, shift))
    report = report_of(cut)
    told = finding(report, "whole_body")
    assert told.verdict == "fail"
    assert words in told.sentence
    assert told.value < 0
    assert report.findings[0].name == "whole_body"
    assert finding(report, "camera_offset").verdict != "not seen"


def test_little_room_is_a_warning() -> None:
    swing = filmed("dtl")
    lowest = float(swing.pose.points[:, INDEX["right_heel"], 1].max())
    near = dataclasses.replace(swing, pose=moved(swing.pose, (0, 854 - lowest - 0.20 * swing.torso_px)))
    told = finding(report_of(near), "whole_body")
    assert told.verdict in ("pass", "warn")
    nearer = dataclasses.replace(swing, pose=moved(swing.pose, (0, 854 - lowest - 0.11 * swing.torso_px)))
    assert finding(report_of(nearer), "whole_body").verdict == "warn"


def test_a_club_that_leaves_the_picture_at_the_top() -> None:
    swing = filmed("fo")
    assert finding(report_of(swing), "club_in_frame").verdict == "pass"
    top = swing.positions.time("top")
    assert top is not None
    row = int(np.argmin(np.abs(swing.pose.time_s - top)))
    hands = float(swing.pose.points[row, INDEX["left_wrist"], 0])
    aside = dataclasses.replace(swing, pose=moved(swing.pose, (480 - hands - 0.2 * swing.torso_px, 0)))
    told = finding(report_of(aside), "club_in_frame")
    assert told.verdict == "warn"
    assert "as far as the hands tell" in told.sentence


def motion_with(swing: Swing, shift: np.ndarray) -> CameraMotion:
    matrices = np.tile(np.eye(2, 3), (len(swing.pose), 1, 1))
    matrices[:, :, 2] = shift
    return CameraMotion(swing.pose.time_s, matrices)


def test_camera_movement_by_algebra() -> None:
    """A picture that swings by ±a in x has a root mean square of a/√2 about its middle."""
    swing = filmed("dtl", rate_hz=120.0)
    start, stop = (swing.positions.time(name) for name in ("address", "impact"))
    assert start is not None
    assert stop is not None
    phase = 2 * np.pi * 3 * (swing.pose.time_s - start) / (stop - start)
    shift = np.stack([6.0 * np.sin(phase), np.zeros_like(phase)], -1)
    told = finding(report_of(swing, motion=motion_with(swing, shift)), "steadiness")
    assert told.value == pytest.approx(100 * 6.0 / math.sqrt(2) / swing.torso_px, rel=0.03)
    assert told.verdict == "warn"
    assert "stand" in told.advice
    still = finding(report_of(swing, motion=motion_with(swing, np.zeros_like(shift))), "steadiness")
    assert (still.verdict, still.value) == ("pass", 0.0)


def test_without_pictures_the_feet_tell_of_a_trembling_camera() -> None:
    assert finding(report_of(filmed("dtl")), "steadiness").verdict == "pass"
    shaken = finding(report_of(filmed("dtl", shake_deg=0.3)), "steadiness")
    assert shaken.verdict == "warn"
    assert "feet" in shaken.sentence


def test_frame_rate_is_that_of_real_time() -> None:
    slow = filmed("dtl", rate_hz=30.0)
    told = finding(report_of(slow), "frame_rate")
    assert (told.verdict, round(told.value)) == ("warn", 30)
    assert "60 frames" in told.advice
    eight = dataclasses.replace(slow, quality={"slow_factor_estimate": 8.0})
    told = finding(report_of(eight), "frame_rate")
    assert (told.verdict, round(told.value)) == ("pass", 240)
    assert told.sentence == "Filmed at about 240 frames a second."


def test_a_small_player_is_told_to_be_filmed_larger() -> None:
    far = report_of(filmed("fo", distance_m=14.0))
    assert finding(far, "distance").verdict == "fail"
    assert "closer" in finding(far, "distance").advice
    assert finding(far, "player_size_px").verdict in ("warn", "fail")


def test_an_unclear_view_is_told() -> None:
    swing = dataclasses.replace(filmed("dtl"), view="other")
    report = report_of(swing)
    assert finding(report, "view").verdict == "fail"
    assert "neither" in finding(report, "camera_offset").sentence


# Two cameras -------------------------------------------------------------------------------------------------------


def test_the_same_camera_matches_itself() -> None:
    report = report_of(filmed("dtl"))
    matched = match_cameras(report, report)
    assert {one.name for one in matched} == {
        "match_line", "match_height", "match_offset", "match_yaw", "match_roll", "match_distance",
    }  # fmt: skip
    assert all((one.verdict, one.value) == ("pass", 0.0) for one in matched)


def test_a_lens_too_far_inside_makes_the_club_look_outside() -> None:
    """Lens 40 cm inside the hand line from 3.8 m: seen atan(0.40 / 3.8) = 6.0° from inside."""
    good, inside = report_of(filmed("dtl")), report_of(filmed("dtl", offset_m=-0.40))
    told = {one.name: one for one in match_cameras(inside, good)}
    assert told["match_line"].value == pytest.approx(-6.0, abs=1.8)
    assert told["match_line"].verdict == "warn"
    assert "more outside" in told["match_line"].sentence
    assert told["match_offset"].value == pytest.approx(-40.0, abs=8.0)
    back = {one.name: one for one in match_cameras(good, inside)}
    assert "more inside" in back["match_line"].sentence


def test_walking_round_the_hands_turns_the_club_as_much() -> None:
    """A camera turned + stands inside (the golfer's camera walks round the hands): 8° of yaw are 8° of line."""
    told = {one.name: one for one in match_cameras(report_of(filmed("dtl", yaw_deg=8.0)), report_of(filmed("dtl")))}
    assert told["match_line"].value == pytest.approx(-8.0, abs=2.4)
    assert told["match_yaw"].value == pytest.approx(8.0, abs=2.4)
    assert "outside" in told["match_line"].sentence


def test_height_roll_and_size_are_compared() -> None:
    good = report_of(filmed("dtl"))
    high = {one.name: one for one in match_cameras(report_of(filmed("dtl", raised_m=0.4)), good)}
    assert high["match_height"].verdict == "fail"
    assert "40 cm higher" in high["match_height"].sentence
    assert "off level" in high["match_height"].sentence
    rolled = {one.name: one for one in match_cameras(report_of(filmed("dtl", roll_deg=4.0)), good)}
    assert rolled["match_roll"].value == pytest.approx(4.0, abs=1.0)
    far = {one.name: one for one in match_cameras(report_of(filmed("dtl", distance_m=6.0)), good)}
    assert far["match_distance"].value == pytest.approx(100 * (3.8 / 6.0 - 1), abs=4.0)
    assert far["match_distance"].verdict == "warn"


def test_what_one_clip_does_not_show_is_not_compared() -> None:
    good = report_of(filmed("dtl"))
    unseen = check_filming(None, filmed("dtl").pose, None, None)
    told = {one.name: one for one in match_cameras(unseen, good)}
    assert told["match_line"].verdict == "not seen"
    assert told["match_height"].verdict == "not seen"


def test_a_bad_position_is_refused_by_the_data_it_comes_in() -> None:
    with pytest.raises(DataError, match="strictly increasing"):
        CameraMotion(np.array([0.0, 0.0]), np.zeros((2, 2, 3)))


def test_a_head_that_is_never_seen_does_not_hide_the_rest() -> None:
    swing = filmed("dtl")
    points = swing.pose.points.copy()
    points[:, [INDEX[name] for name in ("nose", "left_ear", "right_ear")]] = np.nan
    report = report_of(dataclasses.replace(swing, pose=dataclasses.replace(swing.pose, points=points)))
    assert math.isfinite(finding(report, "whole_body").value)
    assert finding(report, "camera_offset").verdict == "pass"
    assert finding(report, "distance").verdict == "not seen"
