"""The arithmetic of the verdict, against SciPy, algebra and simulated seasons."""

from __future__ import annotations

import math

import numpy as np
import pytest

from overlay import stats
from overlay.errors import DataError
from overlay.holding import Within, weigh
from overlay.holding.weigh import detectable
from overlay.settings.holding import HoldingSettings

SETTINGS = HoldingSettings()
BASE = [0.10, 0.14, 0.12, 0.11, 0.13]
LATER = [0.02, 0.05, 0.01, 0.04]


def test_the_test_is_students_on_session_means() -> None:
    from scipy.stats import ttest_ind

    weighed = weigh(BASE, LATER, SETTINGS)
    second = ttest_ind(LATER, BASE, equal_var=True)
    interval = second.confidence_interval(0.95)
    assert weighed.p == pytest.approx(second.pvalue, rel=1e-9)
    assert weighed.change == pytest.approx(-0.09)
    assert weighed.interval == pytest.approx((interval.low, interval.high))
    assert weighed.df == 7
    assert weighed.last == (True, True)


def test_the_last_sessions_are_held_against_half_of_the_change() -> None:
    """Baseline 0 on average, later mean 1.0: half is 0.5, and what lies at 0.5 is not beyond it."""
    weighed = weigh([-0.1, 0.0, 0.1], [1.5, 1.5, 0.5, 0.5], SETTINGS)
    assert weighed.change == pytest.approx(1.0)
    assert weighed.last == (False, False)
    assert weigh([-0.1, 0.0, 0.1], [1.5, 1.48, 0.51, 0.51], SETTINGS).last == (True, True)


def test_a_change_of_either_sign_is_the_mirror_image() -> None:
    up, down = weigh(BASE, LATER, SETTINGS), weigh([-x for x in BASE], [-x for x in LATER], SETTINGS)
    assert (down.change, down.p, down.last) == (pytest.approx(-up.change), pytest.approx(up.p), up.last)
    assert down.interval == pytest.approx((-up.interval[1], -up.interval[0]))


def test_unit_and_origin_do_not_matter() -> None:
    plain = weigh(BASE, [*LATER, 0.12, 0.11], SETTINGS)
    other = weigh([1e4 + 90 * x for x in BASE], [1e4 + 90 * x for x in [*LATER, 0.12, 0.11]], SETTINGS)
    assert other.p == pytest.approx(plain.p, rel=1e-6)
    assert other.last == plain.last
    assert plain.gone is not None
    assert other.gone is not None
    assert other.gone.p == pytest.approx(plain.gone.p, rel=1e-6)


def test_what_was_there_and_is_gone() -> None:
    """Four sessions changed by 1, two back at 0: of three groups F and the t test with their common spread, by hand."""
    base, first, rest = [0.1, -0.1, 0.0], [1.1, 0.9, 1.05, 0.95], [0.05, -0.05]
    gone = weigh(base, [*first, *rest], SETTINGS).gone
    assert gone is not None
    assert (gone.n, gone.shown) == (4, 4)
    assert gone.change == pytest.approx(1.0)
    table = stats.one_way_anova([base, first, rest])
    t = 1.0 / (table.residual_sd * math.sqrt(1 / 3 + 1 / 4))
    from scipy.stats import t as student

    by_hand = max(table.p, 2 * student.sf(t, table.within_df))
    # Cuts after four and after two sessions were tried.
    assert gone.p == pytest.approx(2 * by_hand, rel=1e-9)


@pytest.mark.parametrize(
    ("later", "why"),
    [
        ([1.0, 1.0, 1.1, 0.9], "it is still there"),
        ([2.0, 0.1, -0.1, 0.0, 0.05, 0.1], "one session is a good day, no change"),
        ([1.0, 0.0, 0.0], "one session before the last two"),
        ([1.0, 1.1, 0.9, 0.0, 1.0], "the newest shows it"),
    ],
)
def test_what_has_not_faded(later: list[float], why: str) -> None:
    weighed = weigh([0.1, -0.1, 0.0, 0.05, -0.05], later, SETTINGS)
    assert weighed.gone is None or weighed.gone.p > 0.05, why


def test_a_change_that_went_long_ago_is_found() -> None:
    rng = np.random.default_rng(5)
    later = np.concatenate([rng.normal(1.0, 0.1, 4), rng.normal(0.0, 0.1, 12)])
    gone = weigh(rng.normal(0.0, 0.1, 5), later, SETTINGS).gone
    assert gone is not None
    assert gone.n == 3
    assert gone.p < 1e-3


def test_one_session_among_many_is_a_good_day() -> None:
    """So far off that the mean of the first two is, by any test: only one of them shows it."""
    base = np.random.default_rng(8).normal(0.0, 0.05, 40)
    assert weigh(base, [3.0, 0.0, 0.02, -0.02], SETTINGS).gone is None
    assert weigh(base, [3.0, 3.1, 0.02, -0.02], SETTINGS).gone is not None


def test_that_the_last_ones_are_back_must_be_more_than_chance() -> None:
    """A change of one SD in 38 of 40 sessions; the last two lie 0.9 SD lower, which two sessions often do."""
    scatter = np.tile([-1.0, 1.0], 20)
    later = 1.0 + scatter
    later[-2:] = [0.2, 0.0]
    assert weigh(scatter, later, SETTINGS).gone is None
    later[-2:] = [-0.9, -1.1]
    assert weigh(scatter, later, SETTINGS).gone is not None


def test_sessions_without_a_value_are_left_out() -> None:
    assert weigh([*BASE, math.nan], [math.nan, *LATER], SETTINGS).p == weigh(BASE, LATER, SETTINGS).p
    within = Within(0.03, 60, [9, 9, 9, 9, 9, 1], [1, 9, 9, 9, 9])
    assert weigh([*BASE, math.nan], [math.nan, *LATER], SETTINGS, within).widened == pytest.approx(1.0)


def test_sessions_that_do_not_scatter() -> None:
    same = weigh([0.1] * 3, [0.1] * 2, SETTINGS)
    assert (same.change, same.p, same.sd) == (0.0, 1.0, 0.0)
    other = weigh([0.1] * 3, [0.3] * 2, SETTINGS)
    assert (other.p, other.last) == (0.0, (True, True))
    assert other.interval == pytest.approx((0.2, 0.2))
    assert detectable(other, SETTINGS) == 0.0


def test_hundreds_of_sessions() -> None:
    rng = np.random.default_rng(1)
    weighed = weigh(rng.normal(0, 1, 400), rng.normal(0.5, 1, 300), SETTINGS)
    assert weighed.p < 1e-6
    assert len(weighed.last) == 2


def test_few_sessions_are_not_tested() -> None:
    for base, later in (([1.0, 2.0], [1.0, 2.0]), ([1.0, 2.0, 3.0], [1.0]), ([], [1.0, 2.0]), ([], [])):
        weighed = weigh(base, later, SETTINGS)
        assert math.isnan(weighed.p)
        assert weighed.last == ()
    assert weigh([1.0, 2.0], [4.0], SETTINGS).change == pytest.approx(2.5)


def test_the_error_is_widened_where_few_sessions_have_few_swings() -> None:
    """w = 1, 8 sessions of 20 swings, 3 of 2: 1/20/8 + 1/2/3 − (7/20 + 2/2)/9·(1/8 + 1/3) is added to the pooled."""
    rng = np.random.default_rng(2)
    base, later = rng.normal(0, 0.5, 8), rng.normal(0, 0.8, 3)
    plain = weigh(base, later, SETTINGS)
    wide = weigh(base, later, SETTINGS, Within(1.0, 150, [20] * 8, [2] * 3))
    owed = 1 / 20 / 8 + 1 / 2 / 3 - (7 / 20 + 2 / 2) / 9 * (1 / 8 + 1 / 3)
    assert owed > 0
    assert wide.error**2 == pytest.approx(plain.error**2 + owed)
    assert wide.p > plain.p
    assert detectable(wide, SETTINGS) == pytest.approx(detectable(plain, SETTINGS) * wide.widened)
    # The other way round nothing is taken off.
    assert weigh(base, later, SETTINGS, Within(1.0, 150, [2] * 8, [20] * 3)).error == plain.error
    # Nor where sessions are alike.
    assert weigh(base, later, SETTINGS, Within(1.0, 150, [5] * 8, [5] * 3)).error == pytest.approx(plain.error)


def test_unequal_sessions_raise_no_false_alarms() -> None:
    """10 sessions of 20 swings, then two of one swing each: the plain test calls a change in three of ten seasons."""
    rng = np.random.default_rng(7)
    blind = told = 0
    runs = 400
    within = Within(1.0, 190, [20] * 10, [1] * 2)
    for _ in range(runs):
        base = rng.normal(0, math.sqrt(0.16 + 1 / 20), 10)
        later = rng.normal(0, math.sqrt(0.16 + 1), 2)
        blind += weigh(base, later, SETTINGS).p < 0.05
        told += weigh(base, later, SETTINGS, within).p < 0.05
    assert blind / runs > 0.2
    assert told / runs < 0.07


def test_the_detectable_change_is_found_as_often_as_is_said() -> None:
    """With the true spread known, a change of that size gives p < .05 in 95 % of seasons."""
    size = stats.detectable_difference(1.0, 5, 4)
    rng = np.random.default_rng(4)
    runs = 1500
    found = sum(weigh(row[:5], row[5:] + size, SETTINGS).p < 0.05 for row in rng.normal(0, 1, (runs, 9)))
    assert found / runs == pytest.approx(0.95, abs=0.018)


def test_what_could_have_been_missed_with_few_sessions() -> None:
    """One session a side: from the swings within them; w = 4 swings of SD 2 make a mean known to 1."""
    weighed = weigh([3.0], [4.0], SETTINGS)
    assert math.isnan(detectable(weighed, SETTINGS))
    within = Within(2.0, 6, [4], [4])
    expected = stats.detectable_difference(1.0, 1, 1, df=6)
    assert detectable(weigh([3.0], [4.0], SETTINGS, within), SETTINGS, within) == pytest.approx(expected)
    # Two swings a side say next to nothing of how much swings scatter.
    few = Within(2.0, 2, [2], [2])
    assert math.isnan(detectable(weigh([3.0], [4.0], SETTINGS, few), SETTINGS, few))
    # An empty side counts as if its least number had been filmed.
    alone = weigh([1.0, 2.0, 3.0], [], SETTINGS)
    assert detectable(alone, SETTINGS) == pytest.approx(stats.detectable_difference(1.0, 3, 2, df=2))
    assert math.isnan(detectable(weigh([], [], SETTINGS), SETTINGS))


@pytest.mark.parametrize("values", [[[1.0, 2.0]], ["a"], [[1.0], [1.0, 2.0]]])
def test_what_is_no_row_of_numbers(values: list[object]) -> None:
    with pytest.raises(DataError, match="not a row of numbers"):
        weigh(values, LATER, SETTINGS)  # type: ignore[arg-type]


def test_bad_input() -> None:
    with pytest.raises(DataError, match="infinite"):
        weigh([1.0, math.inf, 2.0], LATER, SETTINGS)
    with pytest.raises(DataError, match="numbers of swings do not fit"):
        weigh(BASE, LATER, SETTINGS, Within(0.1, 10, [3] * 4, [3] * 4))
    with pytest.raises(DataError, match="numbers of swings do not fit"):
        weigh(BASE, LATER, SETTINGS, Within(0.1, 10, [3] * 5, [3, 3, 3, 0]))
    with pytest.raises(DataError, match="A power needs"):
        stats.two_sample_t_power(1.0, 1.0, 0, 3)
    with pytest.raises(DataError, match="A power needs"):
        stats.detectable_difference(math.nan, 3, 3)
    with pytest.raises(DataError, match="The chance"):
        stats.detectable_difference(1.0, 3, 3, chance=0.01)
