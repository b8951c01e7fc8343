"""The words of the verdict and what is said with them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from overlay import stats
from overlay.data import Holding
from overlay.errors import DataError
from overlay.holding import Case, Telling, Within, judge, judge_together, p_words, weigh, word_of
from overlay.settings.holding import HoldingSettings

BASE = [0.10, 0.14, 0.12, 0.11, 0.13]
CHANGED = [0.02, 0.05, 0.01, 0.04]


def told(later: list[float], **options: object) -> Holding:
    return judge(BASE, later, unit="torso", more="further outside", less="further inside", **options)  # type: ignore[arg-type]


def test_holding() -> None:
    holding = told(CHANGED, aim="lower")
    assert holding.word == "holding"
    assert holding.sentence == "Holding: 0.09 torso lengths further inside (95 %: 0.06 to 0.12)."
    assert "5 + 4 session means" in holding.reason
    assert holding.last_two == (True, True)
    assert (holding.n_baseline, holding.n_later, holding.more_baseline, holding.more_later) == (5, 4, 0, 0)


def test_the_wrong_way_is_no_success() -> None:
    holding = told(CHANGED, aim="higher")
    assert holding.word == "not holding"
    assert holding.sentence.startswith("Not holding: it went the wrong way, 0.09 torso lengths further inside")
    assert "meant to get further outside" in holding.reason


def test_no_change() -> None:
    holding = told([0.12, 0.14, 0.10, 0.13])
    assert holding.word == "not holding"
    assert "no change beyond the scatter" in holding.sentence
    assert f"A change of less than {holding.detectable:.2f} torso lengths could have been missed." in holding.reason


def test_a_change_that_the_last_sessions_do_not_both_show() -> None:
    holding = told([0.02, 0.05, 0.01, 0.04, 0.03, 0.12, 0.02])
    assert holding.word == "not holding"
    assert holding.p < 0.05
    assert holding.last_two == (False, True)
    assert "1 of the last 2 sessions shows it" in holding.sentence


def test_faded() -> None:
    holding = told([0.02, 0.05, 0.01, 0.12, 0.11])
    assert holding.word == "faded"
    assert holding.sentence.startswith("Faded: the first 3 sessions since had it 0.09 torso lengths further inside")
    # What was never wanted cannot fade.
    other = told([0.02, 0.05, 0.01, 0.12, 0.11], aim="higher")
    assert other.word == "not holding"
    assert "wrong way for a while" in other.sentence


@pytest.mark.parametrize(
    ("base", "later", "more"),
    [
        ([1.0, 2.0], [3.0], (1, 1)),
        ([1.0, 2.0, 1.5], [3.0], (0, 1)),
        ([1.0], [3.0, 2.0], (2, 0)),
        ([], [], (3, 2)),
        ([math.nan, 1.0], [math.nan], (2, 2)),
    ],
)
def test_not_enough_sessions(base: list[float], later: list[float], more: tuple[int, int]) -> None:
    holding = judge(base, later, unit="deg")
    assert holding.word == "not enough sessions"
    assert (holding.more_baseline, holding.more_later) == more
    assert math.isnan(holding.p)
    for n, when in zip(more, ("before the change", "since")):
        assert (f"{n} more" in holding.sentence and when in holding.sentence) or not n
    assert "5 + 3 with 10 swings each are better" in holding.sentence


def test_what_could_have_been_missed_is_told_with_its_doubt() -> None:
    one = judge([4.0], [7.0], unit="deg", within=Within(2.0, 18, [10], [10]))
    assert one.detectable == pytest.approx(stats.detectable_difference(2 / math.sqrt(10), 1, 1, df=18))
    assert "optimistic" in one.reason
    assert "optimistic" not in judge([4.0, 5.0], [7.0], unit="deg").reason


def test_sessions_that_do_not_scatter_are_told() -> None:
    assert "every session gives the same value" in judge([0.1] * 3, [0.1] * 3).sentence
    holding = judge([0.1] * 3, [0.3] * 3)
    assert holding.word == "holding"
    assert "do not scatter at all" in holding.reason


def test_hundreds_of_sessions_and_swings_in_odd_units() -> None:
    rng = np.random.default_rng(2)
    holding = judge(rng.normal(3.0, 0.2, 300), rng.normal(3.8, 0.1, 200), unit="ratio")
    assert holding.word == "holding"
    assert "nan" not in holding.sentence + holding.reason


def test_the_word_by_itself_is_the_verdicts() -> None:
    rng = np.random.default_rng(6)
    settings = HoldingSettings()
    seen = set()
    for _ in range(400):
        values = rng.normal(0, 0.5, 9) + np.repeat([0.0, rng.choice([0.0, 1.5]), rng.choice([0.0, 1.5])], [5, 2, 2])
        weighed = weigh(values[:5], values[5:], settings)
        word = word_of(weighed, weighed.p, math.nan if weighed.gone is None else weighed.gone.p, settings=settings)
        holding = judge(values[:5], values[5:])
        assert holding.word == word
        assert holding.sentence.lower().startswith(word)
        seen.add(word)
    assert seen == {"holding", "not holding", "faded"}


def test_other_measures_are_held_together() -> None:
    """Of three measures with p = .02, .04 and .5 by themselves, Holm leaves none; the focus is not asked to wait."""
    rng = np.random.default_rng(1)
    base = rng.normal(0, 1, 5)
    base -= base.mean()

    def later(p: float) -> list[float]:
        low, high = 0.0, 20.0
        shape = np.array([0.3, -0.3, 0.2, -0.2])
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if weigh(base, shape + middle, HoldingSettings()).p > p else (low, middle)
        return list(shape + high)

    cases = [Case(base, later(p), is_focus=False) for p in (0.02, 0.04, 0.5)]
    together = judge_together(cases)
    assert [round(holding.p, 4) for holding in together] == [0.02, 0.04, 0.5]
    assert [round(holding.p_adjusted, 4) for holding in together] == [0.06, 0.08, 0.5]
    assert {holding.word for holding in together} == {"not holding"}
    assert "expected by chance" in together[0].reason
    assert "among 3 measures" in together[0].reason
    focus, *others = judge_together([Case(base, later(0.04)), *cases])
    assert focus.word == "holding"
    assert focus.p_adjusted == focus.p
    assert [round(holding.p_adjusted, 4) for holding in others] == [0.06, 0.08, 0.5]
    # By itself the first would do.
    assert judge(base, later(0.02)).word == "holding"


def test_measures_without_enough_sessions_make_the_others_no_harder() -> None:
    cases = [Case(BASE, CHANGED, is_focus=False), *[Case([1.0], [2.0], is_focus=False)] * 9]
    first, *rest = judge_together(cases)
    assert first.p_adjusted == first.p
    assert {holding.word for holding in rest} == {"not enough sessions"}
    assert judge_together([]) == ()


def test_what_faded_is_held_together_too() -> None:
    faded = [0.05, 0.08, 0.055, 0.13, 0.115]
    alone = judge(BASE, faded, is_focus=False)
    assert alone.word == "faded"
    rng = np.random.default_rng(9)
    many = [Case(rng.normal(0, 1, 5), rng.normal(0, 1, 5), is_focus=False) for _ in range(30)]
    assert judge_together([Case(BASE, faded, is_focus=False), *many])[0].word == "not holding"


def test_an_adjusted_p_from_elsewhere_decides() -> None:
    assert told(CHANGED, is_focus=False, p_adjusted=0.2).word == "not holding"
    assert told(CHANGED, is_focus=False, p_adjusted=0.01).word == "holding"


def test_bad_input() -> None:
    with pytest.raises(DataError, match="no aim"):
        told(CHANGED, aim="sideways")
    with pytest.raises(DataError, match="no probability"):
        told(CHANGED, p_adjusted=1.5)
    with pytest.raises(DataError, match="More than one measure"):
        judge_together([Case(BASE, CHANGED), Case(BASE, CHANGED)])


@pytest.mark.parametrize(
    ("unit", "half", "value", "expected"),
    [
        ("torso", 0.031, -0.1234, "0.12 torso lengths lower"),
        ("torso", 0.0004, -0.1234, "0.1234 torso lengths lower"),
        ("deg", 2.4, 4.26, "4.3° higher"),
        ("deg", 14.0, 31.3, "31° higher"),
        ("fraction", 0.05, 0.113, "11.3 percentage points higher"),
        ("s", 0.012, -0.0312, "31 ms lower"),
        ("ratio", 0.2, 0.311, "0.31 higher"),
        ("torso", 0.05, -0.0004, "0.00 torso lengths"),
        ("furlong", 0.5, 2.0, "2.00 furlong higher"),
    ],
)
def test_changes_are_told_as_finely_as_they_are_known(unit: str, half: float, value: float, expected: str) -> None:
    assert Telling.of(unit, (value - half, value + half), math.nan).change(value) == expected


def test_intervals_and_p_values_in_words() -> None:
    telling = Telling("deg", 0)
    assert telling.interval(-3.0, 5.0) == "from 3° lower to 5° higher"
    assert telling.interval(2.0, 5.0) == "2 to 5"
    assert telling.interval(-5.0, -2.0) == "2 to 5"
    assert (telling.signed(3.0), telling.signed(-3.0), telling.signed(0.1)) == ("+3", "−3", "0")
    assert [p_words(p) for p in (0.0001, 0.0412, 0.5, 1.0)] == ["p < .001", "p = .041", "p = .500", "p = 1"]
