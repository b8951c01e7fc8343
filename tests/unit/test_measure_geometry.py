"""Geometry of the measures: values from plane and pinhole algebra."""

from __future__ import annotations

import math

import numpy as np
import pytest

from overlay.errors import DataError
from overlay.measure.geometry import (
    azimuth_deg,
    beside_line,
    between_deg,
    half_turn,
    meets_level,
    normal_quantile,
    steepness_deg,
    turn_deg,
)


def rows(*points: tuple[float, float]) -> np.ndarray:  # type: ignore[type-arg]
    return np.array(points, np.float64)


def test_beside_an_upright_and_a_slanted_line() -> None:
    assert beside_line(rows((130.0, 50.0)), rows((100.0, 200.0), (100.0, 0.0))) == pytest.approx([30.0])
    # From (0, 100) up to (50, 0): at height 20 the line is at x = 40.
    assert beside_line(rows((30.0, 20.0)), rows((0.0, 100.0), (50.0, 0.0))) == pytest.approx([-10.0])


def test_a_level_line_has_no_side() -> None:
    with pytest.raises(DataError, match="level line"):
        beside_line(rows((0.0, 0.0)), rows((0.0, 5.0), (9.0, 5.0)))


def test_angle_between_directions() -> None:
    first = rows((1.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 0.0))
    second = rows((0.0, 3.0), (-2.0, 0.0), (2.0, 0.0), (1.0, 0.0))
    found = between_deg(first, second)
    assert found[:3] == pytest.approx([90.0, 180.0, 45.0])
    assert math.isnan(found[3])


def test_a_turn_up_the_picture_is_anticlockwise() -> None:
    # From straight down to the right of the picture: a quarter turn anticlockwise, as a club goes through the ball.
    assert turn_deg(rows((0.0, 1.0)), rows((1.0, 0.0))) == pytest.approx([90.0])
    assert turn_deg(rows((1.0, 0.0)), rows((0.0, 1.0))) == pytest.approx([-90.0])


def test_steepness_is_that_of_the_line_in_both_senses() -> None:
    down_right = (math.cos(math.radians(60)), math.sin(math.radians(60)))
    both = rows(down_right, (-down_right[0], -down_right[1]))
    assert steepness_deg(both) == pytest.approx([60.0, 60.0])
    # 100° is an upright line that has gone 10° over: 55° steeper than a plane of 45°, not 125° flatter.
    assert half_turn(np.array([100.0 - 45.0, 170.0, -170.0])) == pytest.approx([55.0, -10.0, 10.0])


def test_where_a_line_meets_the_ground() -> None:
    found = meets_level(rows((0.0, 0.0), (0.0, 0.0)), rows((1.0, 2.0), (1.0, 0.0)), 10.0)
    assert found[0] == pytest.approx(5.0)
    assert math.isnan(found[1])


@pytest.mark.parametrize("azimuth", [-35.0, -10.0, 0.0, 8.0, 40.0])
@pytest.mark.parametrize("rise", [-10.0, 0.0, 25.0])
def test_direction_of_a_foreshortened_shaft(azimuth: float, rise: float) -> None:
    # A pinhole camera looks along z at a shaft of two torso lengths; all lengths in torso lengths, f = camera · torso.
    camera, nearer, shaft, torso_px = 7.5, 0.5, 2.0, 100.0
    grip = np.array([-0.9, -1.8, camera - nearer])
    a, r = math.radians(azimuth), math.radians(rise)
    head = grip + shaft * np.array([math.cos(r) * math.sin(a), -math.sin(r), math.cos(r) * math.cos(a)])
    vanishing = np.array([240.0, 400.0])
    picture = [vanishing + camera * torso_px * point[:2] / point[2] for point in (grip, head)]
    found = azimuth_deg(
        picture[0][None], picture[1][None], vanishing, shaft=shaft, camera=camera, nearer=nearer, torso_px=torso_px
    )
    assert found == pytest.approx([azimuth], abs=1e-6)


def test_a_shaft_longer_than_itself_has_no_direction() -> None:
    found = azimuth_deg(
        rows((0.0, 0.0)), rows((300.0, 0.0)), np.zeros(2), shaft=2.0, camera=7.5, nearer=0.5, torso_px=100.0
    )
    assert math.isnan(found[0])


def test_normal_quantile() -> None:
    # NIST/SEMATECH e-Handbook 1.3.6.7.1: the standard normal's upper 2.5 % begins at 1.96, its upper 5 % at 1.645.
    assert normal_quantile(0.95) == pytest.approx(1.95996, abs=1e-5)
    assert normal_quantile(0.90) == pytest.approx(1.64485, abs=1e-5)
    with pytest.raises(DataError, match="not between 0 and 1"):
        normal_quantile(1.0)
