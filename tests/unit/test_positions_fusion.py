"""Fusion of candidate times: weights, contradictions, order, confidence."""

from __future__ import annotations

import math

import pytest

from overlay.errors import DataError
from overlay.positions.fusion import Candidate, chance_within, combine, fuse
from overlay.terms import POSITION_NAMES

TIMES = {name: 1.0 + 0.2 * i for i, name in enumerate(POSITION_NAMES)}


def everything(**changes: Candidate) -> list[Candidate]:
    return [changes.get(name, Candidate(name, time_s, 0.01)) for name, time_s in TIMES.items()]


def test_inverse_variance_by_hand() -> None:
    # Weights 1/0.02² : 1/0.01² = 1 : 4, so the mean is 1.008 and the variance 1/(2500 + 10000).
    joined = combine([Candidate("impact", 1.000, 0.02), Candidate("impact", 1.010, 0.01, "sound")])
    assert joined.time_s == pytest.approx(1.008)
    assert joined.sd_s == pytest.approx(math.sqrt(1 / 12500))
    assert joined.source == "sound"


def test_contradicting_sources_are_not_averaged() -> None:
    joined = combine([Candidate("impact", 1.0, 0.01), Candidate("impact", 1.2, 0.002, "ball")])
    assert (joined.time_s, joined.source) == (1.2, "ball")


def test_combining_nothing_is_an_error() -> None:
    with pytest.raises(DataError, match="exactly one position"):
        combine([])
    with pytest.raises(DataError, match="exactly one position"):
        combine([Candidate("top", 1.0, 0.1), Candidate("impact", 1.2, 0.1)])


@pytest.mark.parametrize("bad", [math.nan, math.inf, 0.0, -0.1])
def test_a_candidate_needs_a_positive_uncertainty(bad: float) -> None:
    with pytest.raises(DataError, match="positive uncertainty"):
        Candidate("top", 1.0, bad)


def test_a_candidate_needs_a_name_of_the_trade() -> None:
    with pytest.raises(DataError, match="not a position"):
        Candidate("p4", 1.0, 0.1)


def test_chance_within_one_and_two_standard_deviations() -> None:
    # The 68–95 rule of the normal distribution.
    assert chance_within(0.01, 0.01) == pytest.approx(0.6827, abs=1e-4)
    assert chance_within(0.02, 0.01) == pytest.approx(0.9545, abs=1e-4)


def test_everything_found_in_order() -> None:
    positions = fuse(everything(), {}, frame_s=1 / 60)
    assert positions.times() == pytest.approx(TIMES)
    assert dict(positions.missing) == {}


def test_the_less_sure_of_two_out_of_order_is_left_out_with_a_reason() -> None:
    wrong = Candidate("shaft_level_down", 5.0, 0.05)
    positions = fuse(everything(shaft_level_down=wrong), {}, frame_s=1 / 60)
    assert set(positions.missing) == {"shaft_level_down"}
    assert "order" in positions.missing["shaft_level_down"]


def test_too_unsure_is_absent() -> None:
    vague = Candidate("finish", 2.6, 3.0)
    positions = fuse(everything(finish=vague), {}, frame_s=1 / 60)
    assert "too poorly" in positions.missing["finish"]


def test_reasons_are_kept_and_confidence_falls_with_uncertainty() -> None:
    some = [c for c in everything(top=Candidate("top", TIMES["top"], 0.03)) if c.name != "address"]
    positions = fuse(some, {"address": "the clip starts later"}, frame_s=1 / 60, swing_s=1.2)
    assert positions.missing["address"] == "the clip starts later"
    top, impact = positions.get("top"), positions.get("impact")
    assert top is not None
    assert impact is not None
    assert top.confidence < impact.confidence
    # 1.2 s / 30 = 40 ms of tolerance at an uncertainty of 10 ms: four standard deviations.
    assert impact.confidence == pytest.approx(chance_within(0.04, 0.01), abs=1e-3)
