"""Worked examples behind the verdict on a change: t test, power, Holm, control chart constants."""

from __future__ import annotations

import itertools
import re
from pathlib import Path

import numpy as np
import pytest

from overlay import stats
from overlay.arrays import FloatArray


def sample(n: int, mean: float, sd: float, seed: int) -> FloatArray:
    """Some n numbers with exactly this mean and SD: a t test sees nothing else of them."""
    values = np.random.default_rng(seed).normal(size=n)
    return np.asarray(mean + sd * (values - values.mean()) / values.std(ddof=1), np.float64)


def test_two_sample_t_of_the_nist_handbook() -> None:
    """NIST/SEMATECH e-Handbook 1.3.5.3, miles per gallon of 249 U.S. and 79 Japanese cars.

    Sizes, means and SDs as printed there give the printed T, pooled SD and degrees of freedom; the printed digits of
    the summary bind T to five decimals. SciPy's test from the same summary is the second witness.
    """
    from scipy.stats import t, ttest_ind_from_stats

    us, japan = sample(249, 20.14458, 6.414700, 1), sample(79, 30.48101, 6.107710, 2)
    test = stats.two_sample_t(japan, us)
    assert f"{test.t:.5f}" == "-12.62059"
    assert test.df == 326
    pooled = test.difference / test.t / np.sqrt(1 / 249 + 1 / 79)
    assert f"{pooled:.5f}" == "6.34260"
    assert f"{t.ppf(0.975, test.df):.4f}" == "1.9673"
    second = ttest_ind_from_stats(20.14458, 6.414700, 249, 30.48101, 6.107710, 79)
    assert (test.t, test.p) == pytest.approx((second.statistic, second.pvalue), rel=1e-9)


def test_two_sample_t_of_a_nist_reference_set() -> None:
    """NIST StRD, AtmWtAg: two instruments, 24 readings each. Of two groups the certified F is t squared.

    The file ships inside SciPy's wheel.
    """
    import scipy.stats

    path = Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova" / "AtmWtAg.dat"
    if not path.exists():
        pytest.skip("this build of SciPy ships without its test data")
    text = path.read_text(encoding="ascii")
    found = re.search(r"^Between.*?(\S+)\s*$", text, re.M)
    assert found is not None
    rows = np.array([line.split() for line in text.splitlines()[60:] if line.strip()], float)
    first, second = (rows[rows[:, 0] == level, 1] for level in (1, 2))
    test = stats.two_sample_t(first, second)
    assert test.t**2 == pytest.approx(float(found.group(1)), rel=1e-9)
    assert f"{test.t**2:.7f}" == "15.9467336"
    assert test.df == 46


@pytest.mark.parametrize(("effect", "n"), [(0.20, 393), (0.50, 64), (0.80, 26)])
def test_sizes_of_cohens_power_primer(effect: float, n: int) -> None:
    """Cohen 1992, Psychological Bulletin 112:155, table 2: N a group for power .80 at α = .05, two means.

    Small, medium and large effects. The table's power is rounded to two digits: n gives .80, one fewer does not reach
    it.
    """
    assert stats.two_sample_t_power(effect, 1.0, n, n) > 0.795
    assert stats.two_sample_t_power(effect, 1.0, n - 1, n - 1) < 0.80
    assert stats.detectable_difference(1.0, n, n, chance=0.80) == pytest.approx(effect, rel=0.01)


@pytest.mark.parametrize("df", [1, 3, 7, 20, 200])
@pytest.mark.parametrize("shift", [0.0, 1.0, 4.0])
def test_power_is_that_of_scipy(df: int, shift: float) -> None:
    from scipy.stats import nct, t

    limit = t.ppf(0.975, df)
    # Two samples of one value each have an error of √2.
    power = stats.two_sample_t_power(shift * np.sqrt(2), 1.0, 1, 1, df=df)
    expected = nct.sf(limit, df, shift) + nct.cdf(-limit, df, shift) if shift else 0.05
    assert power == pytest.approx(expected, abs=1e-9)


def closed_testing(p: list[float]) -> list[float]:
    """Adjusted p values of the closure of Bonferroni's test (Marcus, Peritz & Gabriel 1976, Biometrika 63:655).

    A hypothesis is rejected when every set of hypotheses that holds it is; of a set the test is |S| times its least p.
    """
    every = range(len(p))
    sets = [s for size in range(1, len(p) + 1) for s in itertools.combinations(every, size)]
    return [min(1.0, max(len(s) * min(p[j] for j in s) for s in sets if i in s)) for i in every]


def test_holm_is_the_closure_of_bonferroni() -> None:
    """Holm 1979 by another road than his steps, over p values with ties, noughts and ones."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        p = [float(round(value, 2)) for value in rng.uniform(0, 1, 6) ** 3]
        assert stats.holm(p) == pytest.approx(closed_testing(p), abs=1e-12)


# Factors of control charts for n = 2…10, as printed in tables of Shewhart charts (ISO 7870-2): three-sigma limits of
# single values from a mean range, E₂ = 3/d₂ (of the printed d₂), and of means of n, A₂ = 3/(d₂√n).
E2_PRINTED = "2.660 1.772 1.457 1.290 1.184 1.109 1.054 1.010 0.975"
A2_PRINTED = "1.880 1.023 0.729 0.577 0.483 0.419 0.373 0.337 0.308"


def test_factors_of_shewhart_charts() -> None:
    assert " ".join(f"{3 / round(stats.d2(n), 3):.3f}" for n in range(2, 11)) == E2_PRINTED
    assert " ".join(f"{3 / (stats.d2(n) * np.sqrt(n)):.3f}" for n in range(2, 11)) == A2_PRINTED


def test_individuals_limits_are_the_printed_factor_times_the_moving_range() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2: x̄ ± 2.66·MR̄."""
    chart = stats.individuals_chart([49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1])
    assert f"{(chart.upper - chart.centre) / chart.mean_moving_range:.2f}" == "2.66"


def test_ewma_of_one_weight_is_the_chart_of_single_values() -> None:
    """ISO 7870-6: λ = 1 forgets everything before; the limits are then those of single values."""
    chart = stats.ewma_chart([52.0, 47.0, 53.0], weight=1.0, centre=50.0, sd=2.0)
    assert chart.points == pytest.approx([52.0, 47.0, 53.0])
    assert (chart.lower, chart.upper) == (44.0, 56.0)
