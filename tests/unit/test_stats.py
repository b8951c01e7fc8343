"""Statistics against algebra, SciPy and simulation."""

from __future__ import annotations

import numpy as np
import pytest

from overlay import stats
from overlay.errors import DataError


def test_debiased_norm_by_algebra() -> None:
    """|(3, 4)|² = 25; minus 2 × 8 leaves 9; noise larger than the length leaves 0."""
    assert stats.debiased_norm(np.array([3.0, 4.0]), 8.0) == pytest.approx(3.0)
    assert stats.debiased_norm(np.array([3.0, 4.0]), 20.0) == 0.0
    both = stats.debiased_norm(np.array([[3.0, 4.0], [0.0, 0.0]]), np.array([0.0, 1.0]))
    assert both == pytest.approx([5.0, 0.0])


def test_debiased_norm_is_unbiased_in_its_square_where_the_plain_one_is_not() -> None:
    rng = np.random.default_rng(1)
    d = np.array([3.0, 0.0]) + rng.normal(0, 1, (200_000, 2))
    assert np.mean(stats.debiased_norm(d, 1.0) ** 2) == pytest.approx(9.0, rel=0.01)
    assert np.mean(np.sum(d**2, axis=1)) == pytest.approx(11.0, rel=0.01)


def test_norm_p_value_is_the_f_test() -> None:
    """For two coordinates P(F > f) = (1 + 2f/ν)^(−ν/2) in closed form."""
    norm, variance, df = 3.0, 0.8, 8.0
    f = norm**2 / (2 * variance)
    assert stats.norm_p_value(norm, variance, df) == pytest.approx((1 + 2 * f / df) ** (-df / 2))


def test_norm_p_value_is_uniform_under_no_difference() -> None:
    rng = np.random.default_rng(2)
    norm = np.hypot(*rng.normal(0, 1, (2, 20_000)))
    variance = rng.chisquare(8, 20_000) / 8
    p = stats.norm_p_value(norm, variance, 8.0)
    for level in (0.05, 0.5):
        assert np.mean(p <= level) == pytest.approx(level, abs=4 * np.sqrt(level * (1 - level) / 20_000))


@pytest.mark.parametrize("true", [0.0, 1.0, 3.0, 8.0])
def test_norm_interval_covers(true: float) -> None:
    """95 % intervals hold the true length in 95 % of 4,000 simulated comparisons (97.5 % when it is 0)."""
    rng = np.random.default_rng(3)
    norm = np.hypot(true + rng.normal(0, 1, 4000), rng.normal(0, 1, 4000))
    low, high = stats.norm_interval(norm, rng.chisquare(8, 4000) / 8, 8.0)
    covered = np.mean((low <= true) & (true <= high))
    assert 0.94 <= covered <= 0.98


def test_norm_interval_starts_at_zero_exactly_when_zero_is_not_rejected() -> None:
    norms = np.linspace(0.1, 6.0, 60)
    low, _ = stats.norm_interval(norms, 1.0, 8.0)
    p = stats.norm_p_value(norms, 1.0, 8.0)
    assert np.array_equal(low > 1e-6, p < 0.025)


def test_norm_interval_becomes_the_t_interval_for_long_vectors() -> None:
    """At |d| = 200√V the interval is |d| ± t(.975, 8)√V, t = 2.3060 in printed tables."""
    low, high = stats.norm_interval(200.0, 1.0, 8.0)
    assert (low, high) == (pytest.approx(200 - 2.306, abs=0.05), pytest.approx(200 + 2.306, abs=0.05))


def test_detection_chance_against_simulation_and_its_inverse() -> None:
    rng = np.random.default_rng(4)
    norm = np.hypot(2.5 + rng.normal(0, 1, 40_000), rng.normal(0, 1, 40_000))
    estimated = (8 + rng.chisquare(8, 40_000)) / 16
    for own_df, variance in ((0.0, 1.0), (8.0, estimated)):
        found = np.mean(stats.norm_p_value(norm, variance, 8.0 + own_df) <= 0.05)
        assert stats.detection_chance(2.5, 1.0, own_df, 8.0, 0.05) == pytest.approx(found, abs=0.01)
    length = stats.detectable_length(4.0, 8.0, 8.0, 0.05, chance=0.9)
    assert stats.detection_chance(length, 4.0, 8.0, 8.0, 0.05) == pytest.approx(0.9, abs=1e-5)


def test_smallest_detectable_change_is_1_96_root_v() -> None:
    assert stats.smallest_detectable_change(4.0) == pytest.approx(2 * 1.959964, rel=1e-6)


def test_shrunk_variance_by_algebra() -> None:
    """8 degrees at 2² and 4 at SS = 10: (32 + 10)/12 on 12 degrees; alone, the prior."""
    variance, df = stats.shrunk_variance(10.0, 4.0, 2.0, 8.0)
    assert (variance, df) == (pytest.approx(3.5), 12.0)
    variance, df = stats.shrunk_variance(0.0, 0.0, 2.0, 8.0)
    assert (variance, df) == (4.0, 8.0)


def test_t_interval_and_two_sample_t_against_scipy() -> None:
    from scipy import stats as scipy_stats

    a, b = [3.1, 4.0, 2.2, 5.9], [4.4, 6.1, 5.0, 7.2, 6.6]
    mean, low, high = stats.t_interval(a)
    expected = scipy_stats.t.interval(0.95, 3, np.mean(a), scipy_stats.sem(a))
    assert (mean, low, high) == pytest.approx((np.mean(a), *expected))
    test = stats.two_sample_t(a, b)
    theirs = scipy_stats.ttest_ind(b, a)
    assert (test.t, test.p, test.df) == pytest.approx((theirs.statistic, theirs.pvalue, theirs.df))
    interval = theirs.confidence_interval(0.95)
    assert test.interval == pytest.approx((interval.low, interval.high))


def test_benjamini_hochberg_against_scipy_and_below_holm() -> None:
    from scipy.stats import false_discovery_control

    p = np.random.default_rng(5).uniform(0, 1, 54) ** 3
    assert stats.benjamini_hochberg(p) == pytest.approx(false_discovery_control(p))
    assert np.all(stats.benjamini_hochberg(p) <= stats.holm(p) + 1e-15)


def test_anova_against_scipy() -> None:
    from scipy.stats import f_oneway

    groups = [[3.1, 4.0, 2.2], [4.4, 6.1, 5.0, 7.2], [1.0, 2.5]]
    table = stats.one_way_anova(groups)
    theirs = f_oneway(*groups)
    assert (table.f, table.p) == pytest.approx((theirs.statistic, theirs.pvalue))
    assert table.between_ms / table.within_ms == pytest.approx(table.f)


def test_repeatability_by_algebra() -> None:
    """Pairs (1, 3) and (5, 5): SS = 2 + 0 on 2 degrees, SD 1, coefficient 1.96·√2."""
    result = stats.repeatability([[1.0, 3.0], [5.0, 5.0]])
    assert (result.within_sd, result.df) == (pytest.approx(1.0), 2)
    assert result.coefficient == pytest.approx(2.7719, abs=1e-4)


def test_charts_name_what_is_outside() -> None:
    chart = stats.individuals_chart([5.0, 5.1, 4.9, 5.0, 9.0, 5.0, 5.1, 4.9, 5.0, 5.1, 4.9, 5.0])
    assert chart.outside == (4,)
    ewma = stats.ewma_chart([0.0, 0.0, 5.0], weight=0.5, centre=0.0, sd=1.0, width=3.0)
    assert ewma.points == pytest.approx([0.0, 0.0, 2.5])
    assert ewma.upper == pytest.approx(3 / np.sqrt(3))
    assert ewma.outside == (2,)


def test_d2_of_two_is_two_over_root_pi() -> None:
    assert stats.d2(2) == pytest.approx(2 / np.sqrt(np.pi), abs=1e-12)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stats.debiased_norm(np.ones(2), -1.0), "variance is negative"),
        (lambda: stats.norm_interval(1.0, 1.0, 8.0, level=1.5), "not between"),
        (lambda: stats.detection_chance(1.0, 1.0, 0.0, 8.0, 0.0), "not between"),
        (lambda: stats.detectable_length(1.0, 0.0, 8.0, 0.05, chance=1.0), "not between"),
        (lambda: stats.shrunk_variance(0.0, 0.0, 1.0, 0.0), "Degrees of freedom"),
        (lambda: stats.smallest_detectable_change(1.0, level=0.0), "not between"),
        (lambda: stats.norm_p_value(1.0, 0.0, 8.0), "variance"),
        (lambda: stats.t_interval([1.0]), "at least 2"),
        (lambda: stats.two_sample_t([1.0, 1.0], [2.0, 2.0]), "constant"),
        (lambda: stats.holm([0.5, 1.2]), "outside 0–1"),
        (lambda: stats.benjamini_hochberg([0.5, float("nan")]), "missing or infinite"),
        (lambda: stats.one_way_anova([[1.0, 2.0]]), "two groups"),
        (lambda: stats.one_way_anova([[1.0], [2.0]]), "no variation"),
        (lambda: stats.bland_altman([1.0, 2.0], [1.0, 2.0, 3.0]), "2 and 3 things"),
        (lambda: stats.repeatability([[1.0], [2.0]]), "repeat"),
        (lambda: stats.individuals_chart([1.0]), "at least 2"),
        (lambda: stats.ewma_chart([1.0], weight=0.0, centre=0.0, sd=1.0), "weight"),
        (lambda: stats.d2(1), "no spread"),
    ],
)
def test_bad_input_is_refused(call, message: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(DataError, match=message):
        call()
