"""Guide lines come from the player's own address, each where its definition puts it, or say why they cannot."""

from __future__ import annotations

import math
from dataclasses import replace

import comparison_factory as factory
import numpy as np
import pytest

from overlay.data import Ball, CameraMotion, ClubTrack, Guide, Positions, Strike, Swing
from overlay.errors import DataError
from overlay.guides import VIEW_GUIDES, find_address, guide_lines
from overlay.kinematics import hand_path
from overlay.landmarks import INDEX
from overlay.terms import GUIDE_NAMES


def with_shaft(swing: Swing, angle_deg: float = 55.0, *, state: str = "measured", length: float = 70.0) -> Swing:
    """The swing with a shaft from the wrists at one angle in all frames, clockwise from the picture's right."""
    track = swing.pose
    n = len(track)
    grip = np.nan_to_num(hand_path(track).points, nan=100.0)
    club = ClubTrack(track.time_s, grip, np.full(n, angle_deg), np.full(n, length), (state,) * n)  # type: ignore[arg-type]
    return replace(swing, club=club)


def by_name(swing: Swing) -> dict[str, Guide]:
    return {guide.name: guide for guide in guide_lines(swing)}


def test_every_guide_belongs_to_a_view_and_every_view_gets_all_of_its_own() -> None:
    assert set().union(*VIEW_GUIDES.values()) == set(GUIDE_NAMES)
    for view in ("dtl", "fo", "other"):
        swing = factory.make_swing(view=view)  # type: ignore[arg-type]
        assert tuple(guide.name for guide in guide_lines(swing)) == VIEW_GUIDES[view]  # type: ignore[index]


def test_the_shaft_plane_runs_through_the_shaft_and_on_through_the_body() -> None:
    # Algebra: a line of 55° through the grip; its ends lie 0.12 torso under the head and 2 torso above the grip.
    swing = with_shaft(factory.make_swing(torso=60.0), 55.0)
    guide = by_name(swing)["shaft_plane"]
    assert guide.reason == ""
    at = find_address(swing)
    assert at is not None
    along = np.array([math.cos(math.radians(55.0)), math.sin(math.radians(55.0))])
    assert guide.points[0] == pytest.approx(at.grip + (70.0 + 0.12 * 60.0) * along, abs=0.01)
    assert guide.points[1] == pytest.approx(at.grip - 2.0 * 60.0 * along, abs=0.01)


def test_the_shaft_plane_is_never_guessed() -> None:
    swing = factory.make_swing()
    assert "not looked for" in by_name(swing)["shaft_plane"].reason
    assert "not seen at address" in by_name(with_shaft(swing, state="interpolated"))["shaft_plane"].reason
    assert "down to the ball" in by_name(with_shaft(swing, angle_deg=-40.0))["shaft_plane"].reason
    assert len(by_name(swing)["shaft_plane"].points) == 0
    moving = with_shaft(swing)
    assert moving.club is not None
    waved = replace(moving.club, angle_deg=55.0 + 15.0 * (-1.0) ** np.arange(len(moving.club.time_s)))
    assert "not still" in by_name(replace(moving, club=waved))["shaft_plane"].reason


def test_a_mark_at_address_outranks_what_was_measured() -> None:
    swing = with_shaft(factory.make_swing(), 55.0)
    club = swing.club
    assert club is not None
    i = int(np.argmin(np.abs(club.time_s - swing.positions.times()["address"])))
    angle = club.angle_deg.copy()
    angle[i] = 47.0
    state = list(club.state)
    state[i] = "marked"
    marked = by_name(replace(swing, club=replace(club, angle_deg=angle, state=tuple(state))))["shaft_plane"]
    low, high = marked.points
    assert math.degrees(math.atan2(low[1] - high[1], low[0] - high[0])) == pytest.approx(47.0, abs=1e-6)


def test_lines_stand_where_their_joints_are() -> None:
    swing = factory.make_swing()
    guides = by_name(swing)
    still = swing.pose.points[0]
    hips = (still[INDEX["left_hip"]] + still[INDEX["right_hip"]]) / 2
    for name, x in (
        ("hand_depth", hand_path(swing.pose).points[0, 0]),
        ("heel_line", (still[INDEX["left_heel"], 0] + still[INDEX["right_heel"], 0]) / 2),
        ("head_line", (still[INDEX["left_ear"], 0] + still[INDEX["right_ear"], 0]) / 2),
        ("hip_line", hips[0]),
    ):
        assert guides[name].points[:, 0] == pytest.approx([x, x], abs=1e-6), name
        assert guides[name].points[0, 1] > guides[name].points[1, 1], name
    low, high = guides["spine_line"].points
    neck = (still[INDEX["left_shoulder"]] + still[INDEX["right_shoulder"]]) / 2
    cross = (high - low)[0] * (neck - hips)[1] - (high - low)[1] * (neck - hips)[0]
    assert cross == pytest.approx(0.0, abs=1e-6)
    zone = guides["hand_corridor"]
    assert zone.kind == "zone"
    hands = hand_path(swing.pose).points[0]
    assert zone.points[:, 0].min() < hands[0] < zone.points[:, 0].max()


def test_face_on_the_trail_leg_line_runs_along_the_leg() -> None:
    swing = factory.make_swing(view="fo")
    guides = by_name(swing)
    still = swing.pose.points[0]
    low, high = guides["trail_leg_line"].points
    for joint in ("right_hip", "right_ankle"):
        point = still[INDEX[joint]]
        assert (high - low)[0] * (point - low)[1] == pytest.approx((high - low)[1] * (point - low)[0], abs=1e-6)
    assert guides["lead_foot_line"].points[0, 0] == pytest.approx(still[INDEX["left_ankle"], 0])


def test_a_left_hander_gets_the_mirror_image() -> None:
    right = with_shaft(factory.make_swing(), 55.0)
    left = with_shaft(factory.make_swing(handedness="left"), 125.0)
    width = right.pose.image_size[0]
    mine, theirs = by_name(right), by_name(left)
    for name, guide in mine.items():
        assert guide.reason == theirs[name].reason == "", name
        assert sorted(guide.points[:, 0]) == pytest.approx(sorted(width - theirs[name].points[:, 0]), abs=1e-6), name


def test_the_ball_line_stands_on_the_ball_and_else_where_the_club_rests() -> None:
    swing = with_shaft(factory.make_swing(), 55.0)
    at = find_address(swing)
    assert at is not None
    assert by_name(swing)["ball_line"].points[0] == pytest.approx(at.head)
    strike = Strike(1.0, 0.01, True, Ball((211.0, 255.0), 6.0, 0.9))
    assert by_name(replace(swing, strike=strike))["ball_line"].points[0] == pytest.approx([211.0, 255.0])
    assert "neither the ball nor the club head" in by_name(factory.make_swing())["ball_line"].reason


def test_only_measured_frames_count() -> None:
    swing = factory.make_swing()
    points, filled = swing.pose.points.copy(), swing.pose.filled.copy()
    i = INDEX["left_hip"]
    points[:8, i] += 50.0
    filled[:8, i] = True
    spoiled = replace(swing, pose=replace(swing.pose, points=points, filled=filled))
    assert by_name(spoiled)["hip_line"].points == pytest.approx(by_name(swing)["hip_line"].points)
    filled[:] = True
    blind = by_name(replace(swing, pose=replace(swing.pose, filled=filled)))
    assert blind["hip_line"].reason == "the hips are not seen at address"


def test_a_moving_camera_is_taken_out() -> None:
    swing = with_shaft(factory.make_swing(), 55.0)
    time_s = swing.pose.time_s
    address_s = swing.positions.times()["address"]
    shift = 40.0 * (time_s - address_s)[:, None] * np.array([1.0, -0.5])
    matrices = np.tile(np.eye(2, 3), (len(time_s), 1, 1))
    matrices[:, :, 2] = -shift
    club = swing.club
    assert club is not None
    moved = replace(
        swing,
        pose=replace(swing.pose, points=swing.pose.points + shift[:, None]),
        club=replace(club, grip=club.grip + shift),
        camera_motion=CameraMotion(time_s, matrices),
    )
    for name, guide in by_name(swing).items():
        assert by_name(moved)[name].points == pytest.approx(guide.points, abs=1e-6), name


def test_without_an_address_nothing_is_drawn() -> None:
    swing = factory.make_swing(missing=("address",))
    guides = guide_lines(swing)
    assert len(guides) == len(VIEW_GUIDES["dtl"])
    for guide in guides:
        assert guide.reason == "address was not found: the address is hidden by the body"


def test_a_slow_clip_has_its_still_moment_in_real_time() -> None:
    # 240 frames/s played at 30: 0.25 real seconds are 2 s of playback, all of the factory's 0.4 s before address.
    swing = factory.make_swing()
    points = swing.pose.points.copy()
    points[:4] += 10.0
    swing = replace(swing, pose=replace(swing.pose, points=points))
    slow = replace(swing, quality={"slow_factor_estimate": 8.0})
    assert by_name(slow)["hip_line"].points == pytest.approx(by_name(swing)["hip_line"].points)
    points[:9] += 10.0
    swing = replace(swing, pose=replace(swing.pose, points=points))
    slow = replace(swing, quality={"slow_factor_estimate": 8.0})
    assert by_name(slow)["hip_line"].points[0, 0] > by_name(swing)["hip_line"].points[0, 0] + 4.0


def test_a_guide_of_an_unknown_name_is_refused() -> None:
    with pytest.raises(DataError, match="not a guide line"):
        Guide("lucky_line", "line", np.zeros((2, 2)))


def test_positions_without_a_reason_still_give_a_sentence() -> None:
    swing = factory.make_swing()
    found = tuple(position for position in swing.positions.found if position.name != "address")
    bare = replace(swing, positions=Positions(found, {"address": "it was never still"}))
    assert guide_lines(bare)[0].reason.endswith("it was never still")


def test_the_corridor_is_as_wide_as_the_default_checklist_says() -> None:
    from overlay.checklist import load_checklist

    (spec,) = [part for row in load_checklist().rows for part in row.measures if part.name == "hand_path_release"]
    swing = factory.make_swing(torso=60.0)
    guides = by_name(swing)
    line_x, zone = guides["hand_depth"].points[0, 0], guides["hand_corridor"].points[:, 0]
    assert (zone.min() - line_x) / 60.0 == pytest.approx(spec.low)
    assert (zone.max() - line_x) / 60.0 == pytest.approx(spec.high)
