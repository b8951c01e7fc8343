"""Who is in the picture: the decision on people found in sampled frames."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from overlay.data import Clip
from overlay.errors import ContentError
from overlay.landmarks import INDEX, N_LANDMARKS
from overlay.pose.backends import Detection
from overlay.pose.people import cut_sides, distinct, judge
from overlay.settings.pose import PeopleSettings

SIZE = (480, 640)
SETTINGS = PeopleSettings()


def person(x: float = 240.0, top: float = 120.0, height: float = 420.0) -> Detection:
    """Standing; the nose at ``top``, the ankles ``height`` below."""
    points = np.full((N_LANDMARKS, 2), (x, top))
    for name, share, half in (("shoulder", 0.15, 0.1), ("hip", 0.5, 0.07), ("knee", 0.75, 0.07), ("ankle", 1.0, 0.08)):
        points[INDEX[f"left_{name}"]] = (x + half * height, top + share * height)
        points[INDEX[f"right_{name}"]] = (x - half * height, top + share * height)
    return Detection(points, np.zeros(N_LANDMARKS), np.ones(N_LANDMARKS))


def clip(rotation_deg: int = 0, mirrored: bool = False) -> Clip:
    times = np.arange(100) / 30
    return Clip(Path("swing.mp4"), "", *SIZE, rotation_deg, mirrored, times, Fraction(30), None, False, False)


def check(samples: list[list[Detection]]) -> None:
    judge(samples, SIZE, clip(), SETTINGS)


def test_one_whole_person() -> None:
    check([[person()]] * 8)
    check([[person(x=240 + 10 * i)] for i in range(8)])


def test_somebody_walks_in_late() -> None:
    check([[]] * 5 + [[person()]] * 3)
    check([[]] * 29 + [[person()]] * 3)


@pytest.mark.parametrize("samples", [[[]] * 8, [[]] * 30 + [[person()]], [[]], []])
def test_no_person(samples: list[list[Detection]]) -> None:
    with pytest.raises(ContentError, match=r"swing\.mp4 shows no person"):
        check(samples)


def test_two_people_of_one_size() -> None:
    with pytest.raises(ContentError, match="two people") as caught:
        check([[person(150), person(350)]] * 8)
    assert "--allow-others" in caught.value.hint
    with pytest.raises(ContentError, match="two people"):
        check([[person(150), person(350, height=300)]] * 5 + [[person(150)]] * 3)


def test_passers_by_are_let_pass() -> None:
    check([[person(150), person(350)]] * 3 + [[person(150)]] * 5)
    check([[person(150), person(350, height=200)]] * 8)


def test_one_person_found_twice() -> None:
    check([[person(240), person(252, height=410)]] * 8)
    assert len(distinct([person(240), person(252), person(400)], SETTINGS)) == 2
    assert distinct([person(100, height=200), person(300)], SETTINGS)[0].points[0, 0] == 300


@pytest.mark.parametrize(
    ("made", "words"),
    [
        (person(top=-30), "head is cut off"),
        (person(top=300), "feet are below"),
        (person(x=-10), "leaves the picture on the left"),
        (person(x=500), "leaves the picture on the right"),
    ],
)
def test_a_cut_off_body(made: Detection, words: str) -> None:
    with pytest.raises(ContentError, match=words):
        check([[made]] * 5 + [[person()]] * 3)
    check([[made]] * 3 + [[person()]] * 5)


def test_ankles_squeezed_against_the_edge_are_cut() -> None:
    assert cut_sides(person(top=200, height=425), SIZE, SETTINGS) == {"bottom"}
    assert cut_sides(person(top=160, height=425), SIZE, SETTINGS) == set()


def test_one_foot_on_the_edge_is_no_cut() -> None:
    points = person().points.copy()
    points[INDEX["left_ankle"], 1] = 700.0
    assert cut_sides(Detection(points, np.zeros(33), np.ones(33)), SIZE, SETTINGS) == set()
    points[INDEX["right_ankle"], 1] = 700.0
    assert cut_sides(Detection(points, np.zeros(33), np.ones(33)), SIZE, SETTINGS) == {"bottom"}


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("stated", [0, 90, 180, 270])
@pytest.mark.parametrize("wrong", [90, 180, 270])
def test_a_wrong_rotation_is_named_with_the_right_one(stated: int, wrong: int, mirrored: bool) -> None:
    """The hint, given to a reader that rotates by ``stated + wrong`` and then flips, sets the player upright."""
    turned = person().points - np.array(SIZE) / 2
    for _ in range(wrong // 90):
        turned = np.stack([-turned[:, 1], turned[:, 0]], axis=1)  # a quarter clockwise, y down
    if mirrored:
        turned[:, 0] *= -1
    found = Detection(turned + np.array(SIZE) / 2, np.zeros(N_LANDMARKS), np.ones(N_LANDMARKS))
    with pytest.raises(ContentError, match="not upright") as caught:
        judge([[found]] * 8, SIZE, clip((stated + wrong) % 360, mirrored), SETTINGS)
    assert f"--rotate {stated}." in caught.value.hint
