"""Which frame is shown when."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import comparison_factory as factory
import numpy as np
import pytest

from overlay.compose.sources import nearest_times
from overlay.compose.timing import output_rate, phase_at, plan_video, title_at
from overlay.data import Clip
from overlay.errors import InputError


def clip(rate: Fraction | int) -> Clip:
    return Clip(Path("x.mp4"), "0", 240, 320, 0, False, np.arange(100) / 30.0, Fraction(rate), None, False, False)


@pytest.mark.parametrize(
    ("nominal", "wanted"),
    [(30, Fraction(30)), (240, Fraction(60)), (Fraction(30000, 1001), Fraction(30000, 1001)), (60, Fraction(60))],
)
def test_the_output_plays_at_the_clip_s_own_rate_up_to_sixty(nominal: Fraction | int, wanted: Fraction) -> None:
    assert output_rate(replace(factory.make_swing(), clip=clip(nominal))) == wanted


def test_a_track_without_a_clip_plays_at_its_own_spacing() -> None:
    assert float(output_rate(factory.make_swing(rate=25))) == pytest.approx(25.0)


def test_the_student_plays_in_his_own_time_and_the_reference_follows() -> None:
    comparison = factory.make_comparison()
    plan = plan_video(comparison, hold_s=0.0)
    assert np.diff(plan.student_s) == pytest.approx(1 / float(plan.rate))
    assert plan.reference_s == pytest.approx(comparison.time_map.to_reference(plan.student_s))
    assert plan.student_s[0] == comparison.student.start_s
    assert plan.student_s[-1] == pytest.approx(comparison.student.stop_s)
    assert set(plan.held) == {None}


def test_the_other_way_round_the_reference_leads() -> None:
    comparison = factory.make_comparison()
    plan = plan_video(comparison, lead="reference", hold_s=0.0)
    assert np.diff(plan.reference_s) == pytest.approx(1 / float(plan.rate))
    assert comparison.time_map.to_reference(plan.student_s) == pytest.approx(plan.reference_s, abs=1e-5)


@pytest.mark.parametrize("speed", [0.125, 0.25, 1.0])
def test_speed_stretches_the_swing_but_not_the_holds(speed: float) -> None:
    comparison = factory.make_comparison()
    plan = plan_video(comparison, speed=speed, hold_s=0.4)
    moving = sum(name is None for name in plan.held)
    length_s = comparison.student.stop_s - comparison.student.start_s
    assert moving == pytest.approx(length_s * float(plan.rate) / speed, abs=1.5)
    assert len(plan) - moving == 9 * round(0.4 * float(plan.rate))


def test_holds_stand_at_the_positions_and_nowhere_else() -> None:
    comparison = factory.make_comparison(factory.make_swing(missing=("top",)))
    plan = plan_video(comparison, hold_s=0.5)
    times = comparison.student.positions.times()
    assert "top" not in set(plan.held)
    for name, time_s in times.items():
        at = [i for i, held in enumerate(plan.held) if held == name]
        assert len(at) == round(0.5 * float(plan.rate))
        assert at == list(range(at[0], at[0] + len(at)))
        assert plan.student_s[at] == pytest.approx(time_s)
        assert plan.reference_s[at] == pytest.approx(float(comparison.time_map.to_reference(time_s)))
    assert np.all(np.diff(plan.student_s) >= 0)
    assert np.all(np.diff(plan.reference_s) >= 0)


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [({"speed": 0.0}, "speed"), ({"hold_s": -1.0}, "held"), ({"speed": float("nan")}, "speed")],
)
def test_senseless_wishes_are_refused(changes: dict[str, float], complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        plan_video(factory.make_comparison(), **changes)


def test_the_nearest_frame_is_shown() -> None:
    frames = np.array([0.0, 0.1, 0.25, 0.3, 0.5])
    wanted = np.array([-5.0, 0.04, 0.06, 0.17, 0.18, 0.29, 9.0])
    assert nearest_times(frames, wanted, 0.0, 1.0) == pytest.approx([0.0, 0.0, 0.1, 0.1, 0.25, 0.3, 0.5])
    # Never a frame from before or after the swing.
    assert nearest_times(frames, wanted, 0.1, 0.3) == pytest.approx([0.1, 0.1, 0.1, 0.1, 0.25, 0.3, 0.3])
    assert nearest_times(np.array([0.2]), wanted, 0.0, 1.0) == pytest.approx([0.2] * 7)


def test_the_heading_follows_the_swing() -> None:
    swing = factory.make_swing()
    times = swing.positions.times()
    assert title_at(swing, 0.0) == "Before the swing"
    assert title_at(swing, times["address"] + 0.01) == "Takeaway"
    assert title_at(swing, times["top"], "top") == "Top"
    assert title_at(swing, times["top"] + 0.01) == "Downswing"
    assert title_at(swing, times["impact"] + 0.01) == "Release"
    assert title_at(swing, times["finish"] + 0.1) == "After the finish"
    assert phase_at(swing, times["lead_arm_level_back"]) == "backswing"
    # A held position shows what led to it.
    assert phase_at(swing, times["impact"], "impact") == "delivery"
    assert phase_at(swing, times["address"], "address") is None


def test_a_missing_position_leaves_its_phases_unnamed() -> None:
    swing = factory.make_swing(missing=("shaft_level_down", "finish"))
    times = swing.positions.times()
    assert phase_at(swing, times["top"] + 0.01) is None
    assert title_at(swing, times["top"] + 0.01) == "Top to lead arm level down"
    assert title_at(swing, times["shaft_level_through"] + 0.2) == "After shaft level through"
