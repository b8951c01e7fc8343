"""What no person could do is told of a swing in space; the golfer's controls are checked when they are set."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from overlay.data import SpaceTrack
from overlay.errors import InputError
from overlay.golfer import GolferSpec, simulate
from overlay.golfer.controls import LIMITS, MOVES, SETUP
from overlay.golfer.keys import base_keys
from overlay.landmarks import INDEX
from overlay.maker import plausibility, unlikely
from overlay.models import load_model
from overlay.shipped import shipped_folder


@pytest.fixture(scope="module")
def space() -> SpaceTrack:
    model = load_model(shipped_folder("reference_models") / "driver.swing")
    assert model.space is not None
    return model.space


def with_joint(space: SpaceTrack, name: str, change: np.ndarray) -> SpaceTrack:
    points = space.points.copy()
    points[:, INDEX[name]] += change
    return replace(space, points=points)


def test_speeds_are_those_of_straight_lines(space: SpaceTrack) -> None:
    """Hands at 6 m/s and a club head at 40 m/s along the target line: read back as such."""
    t = space.time_s[:, None]
    way = np.array([[1.0, 0.0, 0.0]])
    moving = replace(space, grip=6.0 * t * way, club_head=40.0 * t * way)
    found = plausibility(moving)
    assert found["hand_speed_m_s"] == pytest.approx(6.0)
    assert found["club_speed_m_s"] == pytest.approx(40.0)


def test_a_quicker_clock_is_no_person(space: SpaceTrack) -> None:
    times = {position.name: position.time_s / 3 for position in space.positions.found}
    found = tuple(replace(position, time_s=times[position.name]) for position in space.positions.found)
    fast = replace(space, time_s=space.time_s / 3, positions=replace(space.positions, found=found))
    assert plausibility(fast)["turn_deg_s"] == pytest.approx(3 * plausibility(space)["turn_deg_s"], rel=1e-6)
    assert any("hands move at" in line for line in unlikely(fast))
    assert any("trunk turns at" in line for line in unlikely(fast))


def test_what_is_wrong_is_named(space: SpaceTrack) -> None:
    assert unlikely(space) == ()
    ramp = np.linspace(0.0, 1.0, len(space))[:, None]
    stretched = with_joint(space, "left_wrist", 0.1 * ramp * [0.0, 0.0, 1.0])
    assert "a limb changes its length" in unlikely(stretched)[0]
    sunk = with_joint(space, "left_heel", np.array([0.0, 0.0, -0.06]))
    assert unlikely(sunk) == ("a foot or the club goes 4 cm underground",)
    risen = with_joint(
        with_joint(space, "left_heel", np.array([0, 0, 0.1])), "left_foot_index", np.array([0.0, 0.0, 0.1])
    )
    assert unlikely(risen) == ("the lead foot leaves the ground by 12 cm",)
    assert space.ball is not None
    missed = replace(space, ball=space.ball + np.array([0.0, 0.10, 0.0]))
    assert "the club head passes the ball at 10 cm" in unlikely(missed)
    longer = replace(space, club_head=space.club_head + 0.02 * ramp * [1.0, 0.0, 0.0])
    assert any("the club changes its length" in line for line in unlikely(longer))
    off = with_joint(space, "right_wrist", np.array([0.0, 0.3, 0.0]))
    assert any("cm off the club" in line for line in unlikely(off))


def test_a_left_hander_is_judged_the_same(space: SpaceTrack) -> None:
    assert plausibility(space.mirrored()) == pytest.approx(plausibility(space))


def test_controls_are_checked_and_kept() -> None:
    with pytest.raises(InputError, match="'reach' is not a control"):
        GolferSpec(controls={"reach": 1.0})
    with pytest.raises(InputError, match=r"shift_m has size 2\.0"):
        GolferSpec(controls={"shift_m": 2.0})
    with pytest.raises(InputError, match="shift_m has size True"):
        GolferSpec(controls={"shift_m": True})
    with pytest.raises(InputError, match="controls of the golfer is not a table"):
        GolferSpec.from_dict({"controls": 3})
    spec = GolferSpec(controls={"shift_m": 0.02})
    assert GolferSpec.from_dict(spec.to_dict()) == spec
    assert (spec.control("shift_m"), spec.control("push_m")) == (0.02, 0.0)
    assert {curve for move in MOVES.values() for curve, _, _ in move} <= set(base_keys())
    assert set(LIMITS) == set(MOVES) | set(SETUP)


def test_a_control_does_what_it_says_and_zero_does_nothing() -> None:
    plain, still, shifted = (
        simulate(GolferSpec(controls=controls)) for controls in ({}, {"shift_m": 0.0}, {"shift_m": 0.03})
    )
    impact = np.array([plain.position_times["impact"]])
    at = [motion.state(impact)["pelvis"][0, 0] for motion in (plain, still, shifted)]
    assert at[1] == at[0]
    assert at[2] - at[0] == pytest.approx(0.03, abs=0.003)  # smoothed in time by a few millimetres
