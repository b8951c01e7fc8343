"""The planted faults do what they are named for, at the places where the checklist looks for them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from overlay.golfer import GolferSpec, Motion, simulate


def _at(motion: Motion, position: str) -> dict[str, np.ndarray]:
    state = motion.state(np.array([motion.position_times[position]]))
    return {name: values[0] for name, values in state.items()}


def _heading_deg(motion: Motion) -> float:
    """Of the shaft at the top, seen from above: + towards the ball line."""
    shaft = _at(motion, "top")["shaft"]
    return math.degrees(math.atan2(shaft[1], shaft[0]))


def _club_ahead_deg(motion: Motion) -> float:
    """Of the trail arm at shaft level through, seen face on."""
    state = _at(motion, "shaft_level_through")
    arm, shaft = state["right_wrist"] - state["right_shoulder"], state["shaft"]
    return math.degrees(math.atan2(shaft[0], -shaft[2]) - math.atan2(arm[0], -arm[2]))


@pytest.mark.parametrize("club", ["mid_iron", "driver"])
@pytest.mark.parametrize(("fault", "sign"), [("laid_off", -1.0), ("across_the_line", 1.0)])
def test_shaft_turns_by_the_degrees_that_are_named(fault: str, sign: float, club: str) -> None:
    usual = simulate(GolferSpec(club=club))  # type: ignore[arg-type]
    for size in (0.5, 1.0, 2.0):
        one = simulate(GolferSpec(club=club, faults={fault: size}))  # type: ignore[arg-type]
        assert _heading_deg(one) - _heading_deg(usual) == pytest.approx(sign * 25.0 * size, abs=1.2), size


@pytest.mark.parametrize("club", ["mid_iron", "driver"])
def test_an_early_release_shows_after_the_ball_too(club: str) -> None:
    usual = _club_ahead_deg(simulate(GolferSpec(club=club)))  # type: ignore[arg-type]
    one, two = (
        _club_ahead_deg(simulate(GolferSpec(club=club, faults={"early_release": size})))  # type: ignore[arg-type]
        for size in (1.0, 2.0)
    )
    assert 11.0 < one - usual < 18.0
    assert 1.7 < (two - usual) / (one - usual) < 2.3
