"""Guide lines on a picture: where they lie, whose they are, and names that hide nothing."""

from __future__ import annotations

import math

import numpy as np
import pytest

from overlay.draw import REFERENCE, STUDENT, ClubTrail, DrawnGuide, Guides, Moment
from overlay.draw.guides import NAMES
from overlay.errors import DataError
from overlay.landmarks import N_LANDMARKS
from overlay.terms import GUIDE_NAMES

GREY = (90, 110, 90)


def canvas(width: int = 480, height: int = 854) -> np.ndarray:
    image = np.empty((height, width, 3), np.uint8)
    image[:] = GREY
    return image


def line_of(name: str, x: float, low: float = 800.0, high: float = 60.0) -> DrawnGuide:
    return DrawnGuide(name, "line", np.array([[x, low], [x, high]]))


def touched(image: np.ndarray) -> np.ndarray:
    return np.any(image != np.array(GREY, np.uint8), axis=-1)


def test_every_guide_has_a_short_name() -> None:
    assert set(NAMES) == set(GUIDE_NAMES)
    assert max(map(len, NAMES.values())) <= 12


def test_a_line_lies_where_it_was_put_and_is_thinner_than_a_bone() -> None:
    image = Guides().draw(canvas(), [line_of("hand_depth", 240.0)])
    columns = np.flatnonzero(touched(image)[400])
    assert abs(columns.mean() - 240.0) <= 1.0
    assert 3 <= len(columns) <= 7
    middle = image[400, 240].astype(int)
    # Nearly white in its middle: a bone is coloured there.
    assert middle.min() > 200
    rows = np.flatnonzero(touched(image)[:, 240])
    assert abs(rows.min() - 60) <= 3
    assert abs(rows.max() - 800) <= 3


@pytest.mark.parametrize(("family", "other"), [(STUDENT, REFERENCE), (REFERENCE, STUDENT)])
def test_the_edge_tells_whose_line_it_is(family: object, other: object) -> None:
    image = Guides(family).draw(canvas(), [line_of("hand_depth", 240.0)])  # type: ignore[arg-type]
    row = image[400].astype(int)
    near = [int(np.abs(row - np.array(colours.strong)).sum(axis=-1).min()) for colours in (family, other)]  # type: ignore[attr-defined]
    assert near[0] < 100
    assert near[1] > 150


def test_a_zone_is_a_veil_inside_its_corners_only() -> None:
    corners = np.array([[100.0, 300.0], [200.0, 300.0], [200.0, 200.0], [100.0, 200.0]])
    image = Guides().draw(canvas(), [DrawnGuide("hand_corridor", "zone", corners)])
    inside, outside = image[250, 150].astype(int), image[250, 250]
    assert np.array_equal(outside, GREY)
    # The picture still shows: a fifth of the veil's colour.
    assert 10 < np.abs(inside - np.array(GREY)).max() < 60


def test_nothing_chosen_changes_nothing() -> None:
    assert not touched(Guides().draw(canvas(), [])).any()


def test_lines_far_outside_do_no_harm() -> None:
    far = DrawnGuide("shaft_plane", "line", np.array([[-9000.0, 100.0], [9000.0, 200.0]]))
    zone = DrawnGuide("hand_corridor", "zone", np.array([[-90.0, 30.0], [-20.0, 30.0], [-20.0, 10.0], [-90.0, 10.0]]))
    assert touched(Guides().draw(canvas(), [far, zone])).any()


def boxes_of(drawing: Guides, placed: tuple[DrawnGuide, ...]) -> list[tuple[slice, slice]]:
    boxes = []
    for guide in placed:
        assert guide.label is not None
        sprite = drawing.name_sprite(guide.name)
        left, top = guide.label
        assert left >= 0
        assert top >= 0
        assert left + sprite.width <= 480
        assert top + sprite.height <= 854
        boxes.append((slice(int(top), int(top) + sprite.height), slice(int(left), int(left) + sprite.width)))
    return boxes


def test_names_keep_off_the_player() -> None:
    # Both ends of the line lie in the body, where the name would stand by itself.
    taken = np.zeros((854, 480), bool)
    taken[30:830, 120:322] = True
    drawing = Guides(text_px=20)
    free = drawing.labelled((854, 480), [line_of("hip_line", 320.0)])
    (box,) = boxes_of(drawing, free)
    assert taken[box].any()
    (box,) = boxes_of(drawing, drawing.labelled((854, 480), [line_of("hip_line", 320.0)], taken))
    assert not taken[box].any()


@pytest.mark.parametrize(
    "guides",
    [
        # The name above the first line's end would cross the second line.
        (line_of("hand_depth", 200.0, high=100.0), line_of("ball_line", 240.0, low=840.0, high=20.0)),
        # The names above both lines' ends would lie on each other.
        (line_of("heel_line", 200.0, high=100.0), line_of("hand_depth", 214.0, high=100.0)),
    ],
)
def test_names_keep_off_the_lines_and_each_other(guides: tuple[DrawnGuide, ...]) -> None:
    drawing = Guides(text_px=20)
    placed = drawing.labelled((854, 480), guides)
    covered = np.zeros((854, 480), int)
    for box in boxes_of(drawing, placed):
        covered[box] += 1
    assert covered.max() == 1
    for guide in placed:
        x, rows = round(float(guide.points[0, 0])), guide.points[:, 1].astype(int)
        assert covered[rows[1] : rows[0], x].sum() == 0, guide.name


def test_a_name_that_fits_nowhere_is_left_out() -> None:
    (placed,) = Guides(text_px=40).labelled((60, 50), [line_of("shaft_plane", 25.0, 50.0, 10.0)])
    assert placed.label is None


@pytest.mark.parametrize(
    ("kind", "points"), [("line", np.zeros((1, 2))), ("zone", np.zeros((2, 2))), ("line", np.zeros((2, 3)))]
)
def test_a_guide_without_its_points_is_refused(kind: str, points: np.ndarray) -> None:
    with pytest.raises(DataError, match="points of shape"):
        DrawnGuide("head_line", kind, points)  # type: ignore[arg-type]


# The trail of the club head ------------------------------------------------------------------------------------------


def moment_with(trail: np.ndarray, age_s: np.ndarray) -> Moment:
    return Moment(
        np.full((N_LANDMARKS, 2), np.nan), np.zeros(N_LANDMARKS, bool), "right", trail=trail, trail_age_s=age_s
    )


def test_the_trail_is_drawn_where_the_club_was_seen_of_late() -> None:
    x = np.linspace(40.0, 440.0, 41)
    trail = np.stack([x, np.full(41, 300.0)], axis=-1)
    trail[20:24] = np.nan
    age_s = np.linspace(0.8, 0.0, 41)
    image = ClubTrail().draw(canvas(), moment_with(trail, age_s))
    seen = np.flatnonzero(touched(image)[300])
    # 0.35 s of 0.8 s are shown: from 440 back to 265; the gap lies before 280.
    assert abs(seen.max() - 440) <= 2
    assert abs(seen.min() - 280) <= 2
    older, newer = touched(image)[:, 290].sum(), touched(image)[:, 430].sum()
    assert older <= newer


def test_an_empty_trail_draws_nothing() -> None:
    nothing = moment_with(np.zeros((0, 2)), np.zeros(0))
    assert not touched(ClubTrail().draw(canvas(), nothing)).any()
    lost = moment_with(np.full((5, 2), math.nan), np.zeros(5))
    assert not touched(ClubTrail().draw(canvas(), lost)).any()


def test_a_trail_needs_an_age_for_each_point() -> None:
    with pytest.raises(DataError, match="trail and its ages"):
        moment_with(np.zeros((3, 2)), np.zeros(2))
