"""Posing a movement on another body: lengths, feet, hands, club, smoothness."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from overlay.data import SpaceTrack
from overlay.errors import DataError, InputError
from overlay.fit import SEGMENTS, Stance, posed
from overlay.fit.retarget import foot_places
from overlay.fit.skeleton import SIDES, Skeleton
from overlay.fit.vectors import rotation_vector, soft_excess, turned, two_bone
from overlay.golfer import GolferSpec, simulate, space_track
from overlay.landmarks import INDEX
from overlay.settings.fit import RETARGET


@pytest.fixture(scope="module")
def space() -> SpaceTrack:
    return space_track(simulate(GolferSpec()))


def bodies() -> list[dict[str, float]]:
    rng = np.random.default_rng(4)
    drawn = [{name: float(rng.uniform(0.8, 1.2)) for name in SEGMENTS} for _ in range(4)]
    # The corners: short arms on long legs, and the other way round.
    corner = dict.fromkeys(SEGMENTS, 1.2) | {"upper_arm": 0.8, "forearm": 0.8, "shoulder_width": 0.8}
    return [*drawn, corner, {name: 2.0 - factor for name, factor in corner.items()}]


@pytest.mark.parametrize("factors", bodies())
def test_every_bone_has_its_factor_at_every_time(space: SpaceTrack, factors: dict[str, float]) -> None:
    old = Skeleton.of(space, RETARGET)
    new = dataclasses.replace(old, space=posed(space, factors))
    for side in SIDES:
        for segment, root, end in (("upper_arm", "shoulder", "elbow"), ("thigh", "hip", "knee")):
            ends = f"{side}_{end}"
            before = np.linalg.norm(old.root(side, root) - old.joint(ends), axis=-1)
            after = np.linalg.norm(new.root(side, root) - new.joint(ends), axis=-1)
            np.testing.assert_allclose(after, factors[segment] * before, rtol=1e-9)
        for segment, one, other in (
            ("forearm", "elbow", "wrist"),
            ("shank", "knee", "ankle"),
            ("foot", "heel", "foot_index"),
            ("hand", "wrist", "index"),
        ):
            before = np.linalg.norm(old.joint(f"{side}_{one}") - old.joint(f"{side}_{other}"), axis=-1)
            after = np.linalg.norm(new.joint(f"{side}_{one}") - new.joint(f"{side}_{other}"), axis=-1)
            np.testing.assert_allclose(after, factors[segment] * before, rtol=1e-9)


@pytest.mark.parametrize("factors", bodies())
def test_both_hands_hold_one_club_of_one_length_above_the_ground(space: SpaceTrack, factors: dict[str, float]) -> None:
    new = posed(space, factors)
    club = np.linalg.norm(new.club_head - new.grip, axis=-1)
    np.testing.assert_allclose(club, club[0], rtol=1e-9)
    for side in SIDES:
        wrist = INDEX[f"{side}_wrist"]
        before = np.linalg.norm(space.points[:, wrist] - space.grip, axis=-1)
        after = np.linalg.norm(new.points[:, wrist] - new.grip, axis=-1)
        np.testing.assert_allclose(after, factors["hand"] * before, atol=1e-6)
    assert new.points[..., 2].min() > 0.0
    assert new.club_head[:, 2].min() > 0.0


@pytest.mark.parametrize("factors", bodies())
def test_no_joint_jumps_where_the_model_moves_smoothly(space: SpaceTrack, factors: dict[str, float]) -> None:
    new = posed(space, factors)
    for track, other in ((new.points, space.points), (new.club_head, space.club_head), (new.grip, space.grip)):
        assert np.abs(np.diff(track, 2, axis=0)).max() < 1.7 * np.abs(np.diff(other, 2, axis=0)).max()


def test_factors_of_one_change_next_to_nothing(space: SpaceTrack) -> None:
    new = posed(space, {})
    assert np.linalg.norm(new.points - space.points, axis=-1).max() < 0.01
    assert np.linalg.norm(new.club_head - space.club_head, axis=-1).max() < 0.004
    assert new.positions == space.positions
    assert new.stature_m == pytest.approx(space.stature_m)


def test_directions_of_trunk_and_shoulder_line_stay(space: SpaceTrack) -> None:
    new = posed(space, {"trunk": 1.1, "shoulder_width": 0.9, "thigh": 1.1})
    before_impact = space.time_s < (space.positions.time("top") or 0.0)
    for one, other in (("left_shoulder", "right_shoulder"), ("left_hip", "right_hip")):
        old_line = (space.points[:, INDEX[one]] - space.points[:, INDEX[other]])[before_impact]
        line = (new.points[:, INDEX[one]] - new.points[:, INDEX[other]])[before_impact]
        cosine = np.sum(old_line * line, -1) / np.linalg.norm(old_line, axis=-1) / np.linalg.norm(line, axis=-1)
        np.testing.assert_allclose(cosine, 1.0, atol=1e-9)


def test_feet_stand_where_they_are_put_and_knees_bend_as_the_models(space: SpaceTrack) -> None:
    skeleton = Skeleton.of(space, RETARGET)
    wide = 1.25 * foot_places(skeleton)[:, :2] + np.array([0.02, -0.01])
    new = dataclasses.replace(skeleton, space=posed(space, {}, stance=Stance(wide, (10.0, 0.0))))
    np.testing.assert_allclose(foot_places(new)[:, :2], wide, atol=1e-9)
    first = skeleton.address

    def flare(one: Skeleton) -> float:
        gap = (one.joint("left_foot_index") - one.joint("left_heel"))[first]
        return float(np.degrees(np.arctan2(gap[0], gap[1])))

    assert flare(new) - flare(skeleton) == pytest.approx(10.0, abs=1e-6)
    # A wider stance lowers the pelvis instead of stretching the legs.
    assert new.joint("left_hip")[first, 2] < skeleton.joint("left_hip")[first, 2] - 0.005


def test_the_club_lies_at_the_ball_and_comes_back_to_it(space: SpaceTrack) -> None:
    skeleton = Skeleton.of(space, RETARGET)
    place = space.club_head[skeleton.address] + np.array([-0.03, 0.05, 0.0])
    new = posed(space, {"trunk": 1.06, "upper_arm": 0.95, "thigh": 0.94}, head_place=place)
    np.testing.assert_allclose(new.club_head[skeleton.address], place, atol=0.002)
    between = space.club_head[skeleton.impact] - space.club_head[skeleton.address]
    np.testing.assert_allclose(new.club_head[skeleton.impact], place + between, atol=0.01)
    assert new.ball is not None
    assert space.ball is not None
    moved = new.club_head[skeleton.address] - space.club_head[skeleton.address]
    np.testing.assert_allclose(new.ball - space.ball, moved, atol=1e-3)


def test_the_posed_swing_is_that_of_the_other_body() -> None:
    """The synthetic golfer moves by joint angles, so it knows how the same movement looks on another body."""
    from overlay.golfer import BodySpec

    space = space_track(simulate(GolferSpec()))
    body = BodySpec(thigh=1.10, shank=1.05, trunk=0.92, arm=1.07, forearm=0.96, head=1.08, foot=0.95)
    other = space_track(simulate(GolferSpec(body=body)))
    mine, theirs = Skeleton.of(space, RETARGET), Skeleton.of(other, RETARGET)
    factors = {name: theirs.segment_lengths()[name] / value for name, value in mine.segment_lengths().items()}
    new = posed(space, factors, stance=Stance(foot_places(theirs)[:, :2]), head_place=other.club_head[theirs.address])
    flat = other.points.reshape(len(other), -1)
    at = np.stack([np.interp(space.time_s, other.time_s, column) for column in flat.T], -1).reshape(space.points.shape)
    torso = mine.segment_lengths()["trunk"]
    apart = np.linalg.norm(new.points - at, axis=-1) / torso
    unposed = np.linalg.norm(space.points - at, axis=-1) / torso
    assert np.median(apart) < 0.04
    assert np.percentile(apart, 95) < 0.09
    assert np.median(apart) < 0.5 * np.median(unposed)


def test_a_left_hander_is_the_mirror_image(space: SpaceTrack) -> None:
    factors = {"trunk": 1.1, "forearm": 0.9}
    np.testing.assert_allclose(posed(space.mirrored(), factors).points, posed(space, factors).mirrored().points)


@pytest.mark.parametrize(
    ("factors", "said"),
    [({"tail": 1.0}, "not a segment"), ({"trunk": 3.0}, "no person"), ({"trunk": -1.0}, "no person")],
)
def test_what_is_no_body_is_refused(space: SpaceTrack, factors: dict[str, float], said: str) -> None:
    with pytest.raises(InputError, match=said):
        posed(space, factors)


def test_a_swing_without_impact_cannot_be_posed(space: SpaceTrack) -> None:
    from overlay.data import Positions

    found = tuple(position for position in space.positions.found if position.name != "impact")
    lost = dataclasses.replace(space, positions=Positions(found, {"impact": "not told"}))
    with pytest.raises(DataError, match="no impact"):
        posed(lost, {})


def test_two_bones_make_a_right_angle_of_3_4_5() -> None:
    """Pythagoras: bones of 3 and 4 to an end 5 away; the middle lies 9/5 along and 12/5 across."""
    root, end = np.zeros((1, 3)), np.array([[5.0, 0.0, 0.0]])
    got = two_bone(root, end, np.array([[3.0]]), np.array([[4.0]]), np.array([[1.0, 7.0, 0.0]]))
    np.testing.assert_allclose(got, [[1.8, 2.4, 0.0]], atol=1e-12)


def test_the_least_turn_takes_one_direction_to_the_other() -> None:
    """A quarter turn about Z takes X to Y and leaves Z."""
    turn = rotation_vector(np.array([2.0, 0.0, 0.0]), np.array([0.0, 3.0, 0.0]))
    np.testing.assert_allclose(turn, [0.0, 0.0, np.pi / 2])
    np.testing.assert_allclose(
        turned(np.eye(3), np.broadcast_to(turn, (3, 3))), [[0, 1, 0], [-1, 0, 0], [0, 0, 1]], atol=1e-12
    )


def test_a_soft_limit_is_ln2_of_its_width_at_the_limit() -> None:
    """log(1 + e⁰) = ln 2."""
    np.testing.assert_allclose(soft_excess(np.array([-10.0, 0.0, 10.0]), 0.1), [0.0, 0.1 * np.log(2), 10.0], atol=1e-12)
