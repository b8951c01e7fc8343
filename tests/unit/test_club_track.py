"""The whole shaft tracker on pictures made in memory, with marks, gaps and a moving camera; and on the golfer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from club_factory import HEIGHT, TORSO, WIDTH, Pictures, draw_shaft, swing_of, texture

from overlay.arrays import FloatArray, Image
from overlay.club import track_club
from overlay.club.track import real_factor
from overlay.data import CameraMotion, ClubMark, ClubTrack, Swing
from overlay.errors import DataError

N = 36
TIMES = np.arange(N) / 60.0
HANDS = np.stack([175.0 + 25.0 * np.sin(3.0 * TIMES), 230.0 - 40.0 * TIMES], -1)
ANGLES = 70.0 + 110.0 * np.sin(np.linspace(-0.5, 2.4, N))
GAP = range(16, 20)
SCENE = texture(11)


def stick(index: int) -> Image:
    return draw_shaft(SCENE, HANDS[index], ANGLES[index], 125.0)


def errors(club: ClubTrack, angles: FloatArray = ANGLES) -> FloatArray:
    return np.asarray(np.abs((club.angle_deg - angles + 180.0) % 360.0 - 180.0))


def words(club: ClubTrack) -> dict[str, int]:
    return {word: club.state.count(word) for word in ("measured", "marked", "interpolated", "hidden")}


def tracked(picture: Callable[[int], Image | None] = stick, swing: Swing | None = None, **options: object) -> ClubTrack:
    chosen = swing or swing_of(HANDS, TIMES)
    return track_club(Pictures(TIMES, picture, (WIDTH, HEIGHT)), chosen, None, **options)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def plain() -> ClubTrack:
    return tracked()


def test_a_turning_stick_is_followed(plain: ClubTrack) -> None:
    assert words(plain)["measured"] >= 0.95 * N
    assert np.nanmax(errors(plain)) < 1.5
    assert np.nanmedian(errors(plain)) < 0.2
    assert np.linalg.norm(plain.grip - HANDS, axis=1).max() < 4.0
    assert np.median(np.abs(plain.length_px - 125.0)) < 6.0
    assert plain.time_s == pytest.approx(TIMES)
    assert np.nanmax(errors(plain)[plain.scored] / plain.angle_sd_deg[plain.scored]) < 5.0


def test_lost_pictures_are_bridged_and_said_to_be(plain: ClubTrack) -> None:
    club = tracked(lambda i: None if i in GAP else stick(i))
    assert all(club.state[i] == "interpolated" for i in GAP)
    assert errors(club)[list(GAP)].max() < 5.0
    assert np.all(club.angle_sd_deg[list(GAP)] > np.median(plain.angle_sd_deg))
    assert not club.scored[list(GAP)].any()


def test_a_stick_that_is_gone_for_long_is_hidden() -> None:
    club = tracked(lambda i: SCENE if 8 <= i < 32 else stick(i))
    assert all(club.state[i] == "hidden" for i in range(11, 29))
    assert np.isnan(club.angle_deg[20])
    assert np.isnan(club.length_px[20])
    assert np.isnan(club.angle_sd_deg[20])
    assert np.all(np.isfinite(club.grip))


def test_no_stick_at_all_is_hidden_throughout() -> None:
    assert words(tracked(lambda _: SCENE))["hidden"] == N


def test_marks_are_kept_exactly_and_nothing_else_changes(plain: ClubTrack) -> None:
    head = plain.grip[10] + 3.0 + 120.0 * np.array([np.cos(np.radians(ANGLES[10])), np.sin(np.radians(ANGLES[10]))])
    grip = (float(plain.grip[10, 0]) + 3.0, float(plain.grip[10, 1]) + 3.0)
    club = tracked(marks=[ClubMark(float(TIMES[10]) + 0.004, grip, (float(head[0]), float(head[1])))])
    assert club.state[10] == "marked"
    assert club.scored[10]
    assert tuple(club.grip[10]) == grip
    assert club.head[10] == pytest.approx(head)
    assert np.nanmax(errors(club)) < 1.5
    assert 0.3 < club.angle_sd_deg[10] < 3.0


def test_marks_choose_between_two_sticks() -> None:
    """Two sticks turn alike, 140° apart, one of them a little bolder: two clicks say which it is."""

    def both(index: int) -> Image:
        other = draw_shaft(stick(index), HANDS[index], ANGLES[index] + 140.0, 110.0)
        return other

    first = tracked(both)
    second = ANGLES + 140.0
    marks = [
        ClubMark(float(TIMES[i]), (float(HANDS[i, 0]), float(HANDS[i, 1])), (float(head[0]), float(head[1])))
        for i in (4, 18, 32)
        for head in [HANDS[i] + 110.0 * np.array([np.cos(np.radians(second[i])), np.sin(np.radians(second[i]))])]
    ]
    led = tracked(both, marks=marks)
    assert np.nanmedian(errors(first)) < 2.0
    assert np.nanmedian(errors(led, second)) < 1.0
    assert words(led)["marked"] == 3


def test_marks_outside_the_swing_are_left_to_their_own() -> None:
    club = tracked(marks=[ClubMark(30.0, (1.0, 1.0), (50.0, 50.0))])
    assert words(club)["marked"] == 0


def test_a_moving_camera_is_allowed_for() -> None:
    """The picture swings by up to 9 px over a scene with sticks of its own; without its movement they count as seen."""
    import cv2

    scene = SCENE
    for angle in range(20, 380, 45):
        scene = draw_shaft(scene, HANDS.mean(axis=0), float(angle), 150.0)
    shift = np.stack([9.0 * np.sin(9.0 * TIMES), 7.0 * np.cos(7.0 * TIMES)], -1)

    def picture(index: int) -> Image:
        whole = draw_shaft(scene, HANDS[index], ANGLES[index], 125.0)
        matrix = np.column_stack([np.eye(2), shift[index]])
        return np.asarray(cv2.warpAffine(whole, matrix, (WIDTH, HEIGHT), borderMode=cv2.BORDER_REFLECT))

    back = np.stack([np.column_stack([np.eye(2), -s]) for s in shift])
    moved = swing_of(HANDS + shift, TIMES)
    club = tracked(picture, moved, motion=CameraMotion(TIMES, back))
    assert words(club)["measured"] >= 0.8 * N
    assert np.nanmax(errors(club)[club.scored]) < 4.0
    without = tracked(picture, moved)
    assert np.nanmean(errors(without)) > 2.0 * np.nanmean(errors(club))


def test_the_size_of_the_clip_does_not_matter(plain: ClubTrack) -> None:
    """Twice the picture is looked at as half of it."""
    import cv2

    large = swing_of(2 * HANDS, TIMES, (2 * WIDTH, 2 * HEIGHT))
    large = replace(large, torso_px=2 * TORSO, pose=replace(large.pose, points=np.where(
        np.isfinite(large.pose.points), large.pose.points, np.nan)))  # fmt: skip
    reader = Pictures(TIMES, lambda i: cv2.resize(stick(i), None, fx=2, fy=2), (2 * WIDTH, 2 * HEIGHT))
    club = track_club(reader, large, None)
    assert np.nanmedian(np.abs(club.angle_deg - plain.angle_deg)) < 0.2
    assert np.nanmedian(np.abs(club.length_px - 2 * plain.length_px)) < 8.0


def test_a_swing_without_size_is_refused() -> None:
    with pytest.raises(DataError, match="no torso length"):
        tracked(swing=replace(swing_of(HANDS, TIMES), torso_px=float("nan")))


def test_unseen_hands_leave_the_club_hidden() -> None:
    club = tracked(swing=swing_of(np.full((N, 2), np.nan), TIMES))
    assert words(club)["hidden"] == N


def test_real_time_is_told_or_estimated() -> None:
    swing = swing_of(HANDS, TIMES)
    assert real_factor(swing) == 1.0
    assert real_factor(replace(swing, quality={"slow_factor_estimate": 1.3})) == 1.0
    assert real_factor(replace(swing, quality={"slow_factor_estimate": 8.0})) == 8.0
