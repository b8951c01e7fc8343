"""What is measured on a swing in space, by moving a swing's parts by known amounts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from overlay.data import Positions, SpaceTrack
from overlay.errors import DataError
from overlay.golfer import GolferSpec, TempoSpec, simulate, space_track
from overlay.landmarks import INDEX
from overlay.maker import PARAMETERS, measured
from overlay.maker.measured import interpolated


@pytest.fixture(scope="module")
def space() -> SpaceTrack:
    return space_track(simulate(GolferSpec(tempo=TempoSpec(waggle=0.0))))


def after(space: SpaceTrack, name: str) -> np.ndarray:
    """(T,) 0 before a position and 1 at it and after it, so early that no interpolation reaches back."""
    time_s = space.positions.time(name)
    assert time_s is not None
    return (space.time_s > time_s - 0.03).astype(float)


def about_z(points: np.ndarray, deg: np.ndarray) -> np.ndarray:
    """Turned about the upright through the middle of the points, + from X to Y."""
    middle = points.mean(axis=1, keepdims=True)
    c, s = np.cos(np.radians(deg))[:, None], np.sin(np.radians(deg))[:, None]
    x, y, z = np.moveaxis(points - middle, -1, 0)
    return middle + np.stack([c * x - s * y, s * x + c * y, z], axis=-1)


def moved(space: SpaceTrack, joints: list[str], change: Callable[[np.ndarray], np.ndarray]) -> SpaceTrack:
    rows = [INDEX[name] for name in joints]
    points = space.points.copy()
    points[:, rows] = change(points[:, rows])
    return replace(space, points=points)


SHOULDERS, HIPS = ["left_shoulder", "right_shoulder"], ["left_hip", "right_hip"]


def test_everything_a_file_can_ask_for_is_measured(space: SpaceTrack) -> None:
    found = measured(space)
    assert {parameter.name for parameter in PARAMETERS} <= set(found)
    assert found["length_cm"] == pytest.approx(94.0, abs=1e-6)  # the golfer's mid iron
    assert found["lead_foot_out_deg"] == pytest.approx(22.0, abs=1e-6)


def test_turns_are_read_in_full(space: SpaceTrack) -> None:
    turned = moved(space, SHOULDERS, lambda p: about_z(p, 11.0 * after(space, "top")))
    assert measured(turned)["shoulder_turn_deg"] - measured(space)["shoulder_turn_deg"] == pytest.approx(11.0, abs=1e-6)
    assert measured(turned)["shoulders_open_deg"] - measured(space)["shoulders_open_deg"] == pytest.approx(
        -11, abs=1e-6
    )
    turned = moved(space, HIPS, lambda p: about_z(p, 7.0 * after(space, "top")))
    assert measured(turned)["pelvis_turn_deg"] - measured(space)["pelvis_turn_deg"] == pytest.approx(7.0, abs=1e-6)


def test_a_shift_is_read_in_centimetres(space: SpaceTrack) -> None:
    base = measured(space)
    late = moved(space, HIPS, lambda p: p + np.array([0.03, 0, 0]) * after(space, "impact")[:, None, None])
    assert measured(late)["shift_cm"] - base["shift_cm"] == pytest.approx(3.0, abs=1e-6)
    whole = moved(space, HIPS, lambda p: p + np.array([0.03, 0.0, 0.0]))
    assert measured(whole)["shift_cm"] == pytest.approx(base["shift_cm"], abs=1e-9)


def test_the_shaft_points_where_its_line_meets_the_ground(space: SpaceTrack) -> None:
    """A shaft from 1 m above the ball's level and 0.5 m inside the ball that falls outwards: similar triangles."""
    assert space.ball is not None
    grip = np.tile(space.ball + np.array([0.1, -0.5, 1.0]), (len(space), 1))
    for out, wanted in ((0.5, 0.0), (0.4, -10.0), (0.7, 20.0)):
        straight = replace(space, grip=grip, club_head=grip + 0.8 * np.array([0.3, out, -1.0]))
        assert measured(straight)["points_back_cm"] == pytest.approx(wanted, abs=1e-6)
        assert measured(straight)["points_through_cm"] == pytest.approx(wanted, abs=1e-6)
        assert measured(straight)["lean_impact_deg"] == pytest.approx(-np.degrees(np.arctan(0.3)), abs=1e-6)


def test_posture_of_a_figure_made_by_hand(space: SpaceTrack) -> None:
    """Hips over the ankles, knees bent to a right angle, the trunk at 30° forward and 10° to the trail side."""
    points = space.points.copy()
    for side, x in (("left", 0.2), ("right", -0.2)):
        points[:, INDEX[f"{side}_ankle"]] = [x, 0.0, 0.1]
        points[:, INDEX[f"{side}_knee"]] = [x, 0.4, 0.5]
        points[:, INDEX[f"{side}_hip"]] = [x, 0.0, 0.9]
        lean = [-np.tan(np.radians(10.0)), np.tan(np.radians(30.0)), 1.0]
        points[:, INDEX[f"{side}_shoulder"]] = np.array([x, 0.0, 0.9]) + 0.5 * np.array(lean)
    found = measured(replace(space, points=points))
    assert found["forward_bend_deg"] == pytest.approx(30.0, abs=1e-6)
    assert found["side_bend_deg"] == pytest.approx(10.0, abs=1e-6)
    assert found["knee_flex_deg"] == pytest.approx(90.0, abs=1e-6)
    assert found["stance_cm"] == pytest.approx(40.0, abs=1e-6)


def test_a_left_hander_measures_the_same(space: SpaceTrack) -> None:
    assert measured(space.mirrored()) == pytest.approx(measured(space), abs=1e-9)


def test_interpolation_is_exact_for_a_cubic() -> None:
    t = np.array([0.0, 0.1, 0.25, 0.3, 0.5, 0.6])
    at = np.array([0.0, 0.07, 0.28, 0.44, 0.6])

    def cubic(x: np.ndarray) -> np.ndarray:
        return np.stack([1 - 2 * x + 3 * x**2 - 4 * x**3, x**3], axis=-1)

    assert np.allclose(interpolated(t, cubic(t), at), cubic(at), atol=1e-12)


def test_a_swing_without_a_position_is_not_measured(space: SpaceTrack) -> None:
    found = tuple(one for one in space.positions.found if one.name != "top")
    with pytest.raises(DataError, match="no top"):
        measured(replace(space, positions=Positions(found, {"top": "hidden"})))
