"""A swing in space as a well set up camera sees it: algebra of the pinhole, both hands, the tool's own truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from overlay.data import SpaceTrack
from overlay.errors import InputError
from overlay.golfer import CameraSpec, GolferSpec, TempoSpec, simulate, space_track, truth_track
from overlay.maker import seen_from, well_placed_camera


@pytest.fixture(scope="module")
def space() -> SpaceTrack:
    return space_track(simulate(GolferSpec(tempo=TempoSpec(waggle=0.0))), 60.0)


def test_the_picture_is_that_of_a_pinhole(space: SpaceTrack) -> None:
    """x = c + f·X/Z by hand, for the ball seen face on and down the line."""
    assert space.ball is not None
    for view in ("dtl", "fo"):
        camera = well_placed_camera(space, view)
        swing = seen_from(space, view)
        x, y, z = space.ball
        if view == "dtl":
            across, ahead = y - camera.position[1], x - camera.position[0]
        else:
            across, ahead = x - camera.position[0], camera.position[1] - y
        wanted = (427 + camera.focal_px * across / ahead, 427 + camera.focal_px * (camera.position[2] - z) / ahead)
        assert swing.strike is not None
        assert swing.strike.ball is not None
        assert swing.strike.ball.place == pytest.approx(wanted, abs=1e-6)
        assert swing.strike.ball.diameter_px == pytest.approx(camera.focal_px * 0.04267 / ahead)


def test_it_agrees_with_the_golfers_own_camera() -> None:
    motion = simulate(GolferSpec(tempo=TempoSpec(waggle=0.0)))
    whole = space_track(motion, 60.0, start_s=0.0)
    for view in ("dtl", "fo"):
        track = truth_track(motion, CameraSpec.for_motion(motion, view, width_px=854), 60.0)
        swing = seen_from(whole, view)
        scale = well_placed_camera(whole, view).focal_px / CameraSpec(width_px=854).focal_px
        assert 0.7 < scale <= 1.0
        n = len(swing.pose)
        assert np.allclose(swing.pose.time_s, track.time_s[:n])
        assert np.allclose(swing.pose.points, 427 + scale * (track.points[:n] - 427), atol=1e-6)
        assert np.allclose(swing.pose.depth, scale * track.depth[:n], atol=1e-6)


def test_a_left_hander_is_the_mirror_image(space: SpaceTrack) -> None:
    for view in ("dtl", "fo"):
        right, left = seen_from(space, view, "right"), seen_from(space, view, "left")
        assert left.handedness == "left"
        assert np.allclose(left.pose.points, right.pose.mirrored().points, atol=1e-6)
        assert left.torso_px == pytest.approx(right.torso_px)


def test_body_and_club_stay_in_the_frame(space: SpaceTrack) -> None:
    for size in ((854, 854), (480, 854), (640, 360)):
        for view in ("dtl", "fo"):
            swing = seen_from(space, view, size=size)
            assert swing.club is not None
            for points in (swing.pose.points, swing.club.head[:, None]):
                assert np.all(points > 0)
                assert np.all(points < np.array(size))


def test_bad_input_is_told(space: SpaceTrack) -> None:
    with pytest.raises(InputError, match="no view"):
        seen_from(space, "other")
    with pytest.raises(InputError, match="8×8 px"):
        seen_from(space, "fo", size=(8, 8))
    camera = well_placed_camera(space, "fo")
    with pytest.raises(InputError, match="behind it"):
        seen_from(space, "fo", camera=replace(camera, position=np.array([0.0, 0.1, 0.8])))
