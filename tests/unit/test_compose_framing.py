"""Both players come into one framing: same size, feet together, mirrored where the hands differ."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import comparison_factory as factory
import numpy as np
import pytest

from overlay.compose.framing import Window, frame_one, frame_players, measure_body, picture_window, transformed
from overlay.compose.player import framed
from overlay.draw.palette import GROUND
from overlay.errors import DataError
from overlay.landmarks import INDEX

LIMITS = {"least_px": 600, "most_px": 600}


def ankles(swing: Any, place: Any, time_s: float) -> np.ndarray:
    i = int(np.argmin(np.abs(swing.pose.time_s - time_s)))
    points = transformed(swing.pose.points[i], place.matrix)
    return (points[INDEX["left_ankle"]] + points[INDEX["right_ankle"]]) / 2


def torso(swing: Any, place: Any) -> float:
    points = transformed(swing.pose.points[0], place.matrix)
    middle = [(points[INDEX[f"left_{name}"]] + points[INDEX[f"right_{name}"]]) / 2 for name in ("shoulder", "hip")]
    return float(np.linalg.norm(middle[0] - middle[1]))


def test_size_does_not_depend_on_posture() -> None:
    upright, bent = factory.make_swing(lean=-20.0), factory.make_swing(lean=15.0)
    assert measure_body(upright).torso_px == pytest.approx(measure_body(bent).torso_px, rel=0.01)
    twice = factory.make_swing(torso=120.0, feet=(300, 520), size=(480, 640))
    assert measure_body(twice).torso_px == pytest.approx(2 * measure_body(upright).torso_px, rel=0.01)


def test_feet_and_sizes_meet() -> None:
    student = factory.make_swing()
    reference = factory.make_swing(start_s=3.0, torso=97.0, feet=(420.0, 500.0), size=(960, 540))
    framing = frame_players(student, reference, with_pictures=(True, True), **LIMITS)
    one = ankles(student, framing.places[0], student.positions.time("address"))
    other = ankles(reference, framing.places[1], reference.positions.time("address"))
    # A crop in whole pixels: half a picture pixel each way.
    assert one == pytest.approx(other, abs=2 * framing.places[0].scale)
    assert one[1] == pytest.approx(framing.feet_y, abs=framing.places[0].scale)
    assert torso(student, framing.places[0]) == pytest.approx(torso(reference, framing.places[1]), rel=0.02)
    assert framing.pane_size[0] % 2 == framing.pane_size[1] % 2 == 0
    assert not framing.mirrored


def test_a_left_hander_lies_on_a_right_hander() -> None:
    student = factory.make_swing()
    reference = factory.make_swing(handedness="left")
    framing = frame_players(student, reference, with_pictures=(False, False), **LIMITS)
    assert framing.mirrored
    top = student.positions.time("top")
    i = int(np.argmin(np.abs(student.pose.time_s - top)))
    lead = transformed(student.pose.points[i], framing.places[0].matrix)[INDEX["left_wrist"]]
    mirrored = transformed(reference.pose.points[i], framing.places[1].matrix)[INDEX["right_wrist"]]
    assert lead == pytest.approx(mirrored, abs=1.5 * framing.places[0].scale)


def test_the_whole_body_is_inside_the_pane() -> None:
    student = factory.make_swing()
    reference = factory.make_swing(torso=80.0, feet=(200.0, 360.0), size=(400, 420), lean=10.0)
    for pictures in ((True, True), (False, True), (False, False)):
        framing = frame_players(student, reference, with_pictures=pictures, **LIMITS)
        for swing, place in zip((student, reference), framing.places):
            points = transformed(swing.pose.points, place.matrix).reshape(-1, 2)
            inside = (points >= -1) & (points <= np.asarray(framing.pane_size) + 1)
            known = np.isfinite(points[:, 0])
            assert np.mean(inside[known].all(axis=1)) > 0.99


def test_pane_shape_is_bounded() -> None:
    wide = factory.make_swing(feet=(640.0, 500.0), torso=90.0, size=(1280, 720))
    framing = frame_players(wide, wide, with_pictures=(True, True), **LIMITS)
    assert 0.55 <= framing.pane_size[0] / framing.pane_size[1] <= 0.81
    one = frame_one(wide, with_picture=True, least_px=300, most_px=300)
    assert one.pane_size[1] == 300


def test_growing_a_window_goes_where_there_is_picture() -> None:
    window = Window(0.0, 0.0, 1.0, 4.0)
    # 0.5 · 4 = 2 wide: one more, all of it to the right, where there is room.
    grown = window.with_aspect(0.5, 0.8, Window(0.0, 0.0, 3.0, 4.0))
    assert (grown.left, grown.right) == pytest.approx((0.0, 2.0))
    even = window.with_aspect(0.5, 0.8, Window(-9.0, 0.0, 9.0, 4.0))
    assert (even.left, even.right) == pytest.approx((-0.5, 1.5))
    tall = Window(0.0, 0.0, 4.0, 1.0).with_aspect(0.5, 0.8, Window(0.0, -9.0, 4.0, 1.0))
    assert (tall.top, tall.bottom) == pytest.approx((-4.0, 1.0))


def test_the_picture_and_what_is_drawn_go_through_the_same_numbers() -> None:
    # A white square in the picture must appear where the matrix sends its corners, flipped or not.
    for flip_hand in ("right", "left"):
        student, reference = factory.make_swing(), factory.make_swing(handedness=flip_hand)
        framing = frame_players(student, reference, with_pictures=(True, True), **LIMITS)
        place = framing.places[1]
        picture = np.zeros((320, 240, 3), np.uint8)
        picture[200:220, 120:150] = 255
        pane = framed(picture, place, (240, 320))
        bright = np.argwhere(pane[..., 0] > 127)
        corners = transformed(np.array([[120.0, 200.0], [150.0, 220.0]]), place.matrix)
        assert bright[:, 0].min() == pytest.approx(corners[:, 1].min(), abs=1.5)
        assert bright[:, 0].max() == pytest.approx(corners[:, 1].max(), abs=1.5)
        assert bright[:, 1].min() == pytest.approx(corners[:, 0].min(), abs=1.5)
        assert bright[:, 1].max() == pytest.approx(corners[:, 0].max(), abs=1.5)


def test_outside_the_picture_is_plain_ground() -> None:
    swing = factory.make_swing()
    place = replace(frame_one(swing, with_picture=True, **LIMITS).places[0], left=-50, top=-20, width=340, height=300)
    pane = framed(np.full((320, 240, 3), 255, np.uint8), place, (240, 320))
    assert tuple(pane[300, 2]) == GROUND
    assert tuple(pane[300, 200]) == (255, 255, 255)
    away = replace(place, left=5000)
    assert np.all(framed(np.full((320, 240, 3), 255, np.uint8), away, (240, 320)) == GROUND)


def test_a_body_without_ankles_or_trunk() -> None:
    swing = factory.make_swing()
    points = swing.pose.points.copy()
    points[:, [INDEX["left_ankle"], INDEX["right_ankle"]]] = np.nan
    body = measure_body(replace(swing, pose=replace(swing.pose, points=points)))
    assert body.feet[1] == pytest.approx(260.0, abs=8.0)
    points[:] = np.nan
    with pytest.raises(DataError, match="size of the player"):
        measure_body(replace(swing, pose=replace(swing.pose, points=points), torso_px=float("nan")))


def test_the_picture_s_window_flips_with_the_mirror() -> None:
    body = measure_body(factory.make_swing())
    plain, flipped = picture_window((240, 320), body, False), picture_window((240, 320), body, True)
    assert (flipped.left, flipped.right) == pytest.approx((-plain.right, -plain.left))


def test_a_picture_reduced_while_reading_lands_at_the_same_place() -> None:
    import cv2

    swing = factory.make_swing(torso=240.0, feet=(600.0, 1040.0), size=(960, 1280))
    place = frame_one(swing, with_picture=True, **LIMITS).places[0]
    picture = np.zeros((1280, 960, 3), np.uint8)
    picture[700:900, 500:640] = 255
    small = cv2.resize(picture, (480, 640), interpolation=cv2.INTER_AREA)
    whole, reduced = framed(picture, place, (960, 1280)), framed(small, place, (960, 1280))
    assert whole.shape == reduced.shape
    boxes = [np.argwhere(pane[..., 0] > 127) for pane in (whole, reduced)]
    assert boxes[0].min(axis=0) == pytest.approx(boxes[1].min(axis=0), abs=1.5)
    assert boxes[0].max(axis=0) == pytest.approx(boxes[1].max(axis=0), abs=1.5)


def test_a_narrow_picture_of_one_does_not_cut_the_other() -> None:
    student = factory.make_swing(feet=(300.0, 260.0), size=(600, 320))
    # The reference stands at the left edge: there is no picture where the student's hands go at the top.
    reference = factory.make_swing(feet=(45.0, 260.0), size=(200, 320))
    framing = frame_players(student, reference, with_pictures=(True, True), **LIMITS)
    points = transformed(student.pose.points, framing.places[0].matrix).reshape(-1, 2)
    points = points[np.isfinite(points[:, 0])]
    edge = picture_window((200, 320), measure_body(reference), False).left
    reach = (student.pose.points[..., 0] - 300.0) / measure_body(student).torso_px
    assert np.nanmin(reach) < edge - 0.1
    assert np.mean((points[:, 0] >= 0) & (points[:, 0] <= framing.pane_size[0])) > 0.99
    assert points[:, 0].min() > -0.02 * framing.pane_size[0]
