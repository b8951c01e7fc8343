"""A club far across the line at the top: how far is unsure, that it is far is not."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from overlay.checklist import check_swing, load_checklist
from overlay.data import Ball, Measure, Position, Positions, Strike, Swing
from overlay.golfer import CameraSpec, GolferSpec, simulate, true_club, truth_track
from overlay.guides import guide_lines
from overlay.measure import measure_swing
from overlay.terms import POSITION_NAMES


def _direction(fault: str, size: float) -> tuple[Measure, float, tuple[Measure, ...]]:
    """The measure, the true heading, and all measures, of an exact swing."""
    motion = simulate(GolferSpec(faults={fault: size}))
    camera = CameraSpec.for_motion(motion, "dtl", width_px=854)
    times = motion.position_times
    pose = truth_track(motion, camera, 120.0).between(times["address"] - 0.4, times["finish"] + 0.2)
    found = tuple(Position(name, times[name], 1.0, "marked", 0.0) for name in POSITION_NAMES)
    x, y = (float(v) for v in camera.project(motion.ball_rest))
    swing = Swing(None, pose, "dtl", 1.0, "right", 1.0, Positions(found), true_club(motion, camera, pose.time_s))
    swing = dataclasses.replace(swing, strike=Strike(times["impact"], 0.0, True, Ball((x, y), 8.0, 1.0)))
    measures = measure_swing(swing, guide_lines(swing))
    shaft = motion.state(np.array([times["top"]]))["shaft"][0]
    return (
        next(m for m in measures if m.name == "shaft_direction_top"),
        math.degrees(math.atan2(shaft[1], shaft[0])),
        measures,
    )


@pytest.mark.parametrize(("fault", "sign"), [("laid_off", -1), ("across_the_line", 1)])
def test_gross_shaft_faults_are_surely_far_over(fault: str, sign: int) -> None:
    direction, true_deg, measures = _direction(fault, 2.0)
    assert direction.valid, direction.reason
    assert direction.interval is not None
    low, high = direction.interval
    assert low < true_deg < high
    # Towards the line it is known better than away from it, where a little more length turns it any way round.
    inner, outer = direction.value - low, high - direction.value
    if sign < 0:
        inner, outer = outer, inner
    assert inner < outer
    first = check_swing(measures, "dtl", load_checklist()).first
    assert first.focus == "shaft_direction_top"
