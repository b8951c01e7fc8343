"""The data types refuse contradictions, and the time map is monotone and invertible."""

from __future__ import annotations

import itertools
import pickle
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from overlay.data import Clip, ClubTrack, PhaseDifference, PoseTrack, Position, Positions, TimeMap
from overlay.errors import ContentError, DataError
from overlay.landmarks import INDEX, LANDMARKS, MIRROR
from overlay.terms import PHASES, POSITION_NAMES


def a_track(n: int = 4, **changes: object) -> PoseTrack:
    values: dict[str, object] = {
        "points": np.random.default_rng(0).uniform(0, 480, (n, 33, 2)),
        "depth": np.zeros((n, 33)),
        "visibility": np.ones((n, 33)),
        "time_s": np.arange(n) / 60,
        "image_size": (480, 854),
        "source": "made",
    }
    return PoseTrack(**{**values, **changes})  # type: ignore[arg-type]


def test_mirroring_twice_is_the_same() -> None:
    track = a_track()
    twice = track.mirrored().mirrored()
    np.testing.assert_allclose(twice.points, track.points)
    left = track.mirrored().joint("left_wrist")
    np.testing.assert_allclose(left[:, 0], 480 - track.joint("right_wrist")[:, 0])


def test_the_mirror_table_is_an_involution() -> None:
    assert [MIRROR[MIRROR[i]] for i in range(33)] == list(range(33))
    assert LANDMARKS[MIRROR[INDEX["mouth_left"]]] == "mouth_right"


def test_arrays_cannot_be_changed() -> None:
    track = a_track()
    with pytest.raises(ValueError, match="read-only"):
        track.points[0, 0, 0] = 1.0


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"time_s": np.array([0.0, 0.1, 0.1, 0.2])}, "strictly increasing"),
        ({"time_s": np.array([0.0, np.nan, 0.1, 0.2])}, "not finite"),
        ({"points": np.zeros((4, 32, 2))}, "wanted"),
        ({"points": np.full((4, 33, 2), np.inf)}, "infinite"),
    ],
)
def test_bad_tracks_are_refused(changes: dict[str, object], match: str) -> None:
    with pytest.raises(DataError, match=match):
        a_track(**changes)


def test_positions_are_found_or_missing_with_a_reason() -> None:
    top, impact = Position("top", 1.0, 0.9), Position("impact", 1.3, 0.9)
    others = {name: "not seen" for name in POSITION_NAMES if name not in ("top", "impact")}
    assert Positions((top, impact), others).times() == {"top": 1.0, "impact": 1.3}
    with pytest.raises(DataError, match="time order"):
        Positions((impact, top), others)
    with pytest.raises(DataError, match="time order"):
        Positions((top, Position("impact", 0.9, 0.9)), others)
    with pytest.raises(DataError, match="missing with a reason"):
        Positions((top, impact), {})
    with pytest.raises(DataError, match="confidence"):
        Position("top", 1.0, 1.5)
    with pytest.raises(DataError, match="not a position"):
        Position("halfway", 1.0, 0.5)


def test_positions_survive_a_process_pool() -> None:
    others = {name: "not seen" for name in POSITION_NAMES if name != "top"}
    positions = Positions((Position("top", 1.0, 0.9),), others)
    assert pickle.loads(pickle.dumps(positions)) == positions
    error = pickle.loads(pickle.dumps(ContentError("No swing.", "Film one.")))
    assert (error.message, error.hint) == ("No swing.", "Film one.")


def test_slow_factor() -> None:
    clip = Clip(Path("a.mp4"), "", 10, 10, 0, False, np.arange(3) / 30, Fraction(30), Fraction(240), False, False)
    assert clip.slow_factor == 8.0
    assert clip.duration_s == pytest.approx(0.1)


def test_phases_join_positions_in_order() -> None:
    for before, after in itertools.pairwise(PHASES):
        assert before.end == after.start
    assert [PHASES[0].start, PHASES[-1].end] == ["address", "finish"]


increments = st.lists(st.tuples(st.floats(0.01, 2.0), st.floats(0.01, 2.0)), min_size=1, max_size=12)


@given(increments, st.floats(0.1, 8.0), st.floats(-3.0, 30.0))
def test_a_time_map_is_monotone_and_invertible(steps: list[tuple[float, float]], outer: float, at: float) -> None:
    knots = np.cumsum(np.array([(0.0, 0.0), *steps]), axis=0)
    time_map = TimeMap(knots[:, 0], knots[:, 1], outer_slope=outer)
    assert abs(float(time_map.to_student(time_map.to_reference(at))) - at) < 1e-6
    dense = time_map.to_reference(np.linspace(-1, knots[-1, 0] + 1, 400))
    assert np.all(np.diff(dense) > 0)


def test_bad_maps_and_rows_are_refused() -> None:
    with pytest.raises(DataError, match="two knots"):
        TimeMap(np.array([0.0]), np.array([0.0]))
    with pytest.raises(DataError, match="strictly increasing"):
        TimeMap(np.array([0.0, 1.0]), np.array([0.0, 0.0]))
    with pytest.raises(DataError, match="outer slope"):
        TimeMap(np.array([0.0, 1.0]), np.array([0.0, 1.0]), outer_slope=0.0)
    with pytest.raises(DataError, match="not a phase"):
        PhaseDifference("waggle", "hands", 0, (0, 0), (0, 0), "small", 0, (0, 0), 0)
    with pytest.raises(DataError, match="Club states"):
        ClubTrack(np.array([0.0]), np.zeros((1, 2)), np.zeros(1), np.zeros(1), ("seen",))  # type: ignore[arg-type]
