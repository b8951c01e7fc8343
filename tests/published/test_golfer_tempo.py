"""Tempo and event timing of the synthetic golfer's defaults against the labels of an open data set."""

from __future__ import annotations

import pytest

from overlay.golfer import GolferSpec, Motion, simulate

# Computed from the event labels of GolfDB (McNally et al. 2019, arXiv 1903.06528), 758 real-time clips at 30 frames
# a second: 5 and 95 % of tempo, medians of event times with address = 0 and finish = 1.
RATIO = (2.57, 5.33)
BACKSWING_S = (0.67, 1.40)
DOWNSWING_S = (0.20, 0.30)
MEDIAN = {
    "shaft_level_back": 0.25,
    "lead_arm_level_back": 0.34,
    "top": 0.49,
    "lead_arm_level_down": 0.57,
    "impact": 0.64,
    "shaft_level_through": 0.68,
}


@pytest.fixture(scope="module", params=["mid_iron", "driver"])
def motion(request: pytest.FixtureRequest) -> Motion:
    return simulate(GolferSpec(club=request.param))


def test_default_tempo_is_inside_the_published_range(motion: Motion) -> None:
    p = motion.position_times
    back, down = p["top"] - p["address"], p["impact"] - p["top"]
    assert BACKSWING_S[0] <= back <= BACKSWING_S[1]
    assert DOWNSWING_S[0] <= down <= DOWNSWING_S[1]
    assert RATIO[0] <= back / down <= RATIO[1]


def test_events_lie_near_the_published_medians(motion: Motion) -> None:
    p = motion.position_times
    span = p["finish"] - p["address"]
    for name, median in MEDIAN.items():
        # One frame of the labelled clips is 0.02 of the span.
        assert (p[name] - p["address"]) / span == pytest.approx(median, abs=0.02), name


def test_the_end_position_is_held(motion: Motion) -> None:
    p = motion.position_times
    assert 0.64 <= p["finish"] - p["impact"] <= 0.75
