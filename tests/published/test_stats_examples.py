"""Worked examples of the sources, to the printed digits."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from overlay import stats

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, individuals control chart.
INDIVIDUALS = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]

# NIST/SEMATECH e-Handbook, 6.3.2.4, EWMA control chart.
EWMA_DATA = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, *INDIVIDUALS]
EWMA_PRINTED = (
    "50.60 49.52 50.56 50.18 50.16 49.21 49.75 49.85 50.26 50.33 "
    "50.11 49.36 49.52 50.05 49.38 49.92 50.73 51.23 51.94 51.99"
)

# Bland & Altman 1986, Lancet 327:307, table 1 (first readings): peak flow in l/min by two meters.
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]

# Control chart constants, n = 2…10, as printed in tables of Shewhart charts (ISO 7870-2).
D2_PRINTED = "1.128 1.693 2.059 2.326 2.534 2.704 2.847 2.970 3.078"


def test_individuals_chart_of_the_nist_handbook() -> None:
    chart = stats.individuals_chart(INDIVIDUALS)
    assert f"{chart.centre:.2f}" == "50.81"
    assert f"{chart.mean_moving_range:.4f}" == "1.8778"
    # The handbook rounds the moving range to 1.8778 before it multiplies: 55.8041, 45.8159 are both within 0.0001.
    assert chart.upper == pytest.approx(55.8041, abs=1e-4)
    assert chart.lower == pytest.approx(45.8159, abs=1e-4)
    assert chart.outside == ()


def test_ewma_chart_of_the_nist_handbook() -> None:
    chart = stats.ewma_chart(EWMA_DATA, weight=0.3, centre=50.0, sd=2.0539)
    assert " ".join(f"{point:.2f}" for point in chart.points) == EWMA_PRINTED
    assert chart.upper == pytest.approx(52.5884, abs=1e-4)
    assert chart.lower == pytest.approx(47.4115, abs=1e-4)
    assert chart.outside == ()


def test_agreement_of_bland_and_altman() -> None:
    agreement = stats.bland_altman(WRIGHT, MINI)
    assert f"{agreement.bias:.3f}" == "-2.118"
    assert f"{agreement.sd:.3f}" == "38.765"
    # The paper prints limits of -79.7 and 75.5 (it takes 2 SD): -2.1 ± 2 × 38.8.
    assert agreement.bias - 2 * agreement.sd == pytest.approx(-79.7, abs=0.1)
    assert agreement.n == 17


def test_control_chart_constants() -> None:
    assert " ".join(f"{stats.d2(n):.3f}" for n in range(2, 11)) == D2_PRINTED


def nist_sets() -> list[Path]:
    import scipy.stats

    return sorted((Path(scipy.stats.__file__).parent / "tests" / "data" / "nist_anova").glob("*.dat"))


# Digits that double precision leaves: the certified values are for exact decimals, while the data of the higher sets
# (12 constant leading digits) already lose 1e-4 of their spread when they are stored as doubles.
NIST_DIGITS = {
    "AtmWtAg": 1e-9, "SiRstv": 1e-12, "SmLs01": 1e-13, "SmLs02": 1e-13, "SmLs03": 1e-13, "SmLs04": 1e-9,
    "SmLs05": 1e-9, "SmLs06": 1e-9, "SmLs07": 2e-3, "SmLs08": 2e-3, "SmLs09": 2e-3,
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(NIST_DIGITS))
def test_one_way_anova_of_the_nist_reference_sets(name: str) -> None:
    """NIST Statistical Reference Datasets, one-way analysis of variance; the files ship inside SciPy's wheel."""
    files = {path.stem: path for path in nist_sets()}
    if name not in files:
        pytest.skip("this build of SciPy ships without its test data")
    text = files[name].read_text(encoding="ascii")
    between_df, between_ss, _, f = map(
        float, re.search(r"^Between.*?(\S+)\s+(\S+)\s+(\S+)\s+(\S+)\s*$", text, re.M).groups()
    )  # type: ignore[union-attr]
    within_df, within_ss, _ = map(float, re.search(r"^Within.*?(\S+)\s+(\S+)\s+(\S+)\s*$", text, re.M).groups())  # type: ignore[union-attr]
    r_squared = float(re.search(r"Certified R-Squared\s+(\S+)", text).group(1))  # type: ignore[union-attr]
    residual = float(re.search(r"Standard Deviation\s+(\S+)", text).group(1))  # type: ignore[union-attr]
    rows = np.array([line.split() for line in text.splitlines()[60:] if line.strip()], float)
    groups = [rows[rows[:, 0] == level, 1] for level in np.unique(rows[:, 0])]

    table = stats.one_way_anova(groups)
    digits = NIST_DIGITS[name]
    assert (table.between_df, table.within_df) == (between_df, within_df)
    assert table.between_ss == pytest.approx(between_ss, rel=digits)
    assert table.within_ss == pytest.approx(within_ss, rel=digits)
    assert table.f == pytest.approx(f, rel=digits)
    assert table.r_squared == pytest.approx(r_squared, rel=digits)
    assert table.residual_sd == pytest.approx(residual, rel=digits)


def test_holm_of_the_papers_rule() -> None:
    """Holm 1979: the i-th smallest of m p values is compared with α/(m − i + 1); worked by hand for m = 4."""
    assert stats.holm([0.01, 0.04, 0.03, 0.005]) == pytest.approx([0.03, 0.06, 0.06, 0.02])


def test_benjamini_hochberg_of_the_paper() -> None:
    """Benjamini & Hochberg 1995, section 3.1: of these 15 p values four are rejected at q = .05 (Bonferroni: three)."""
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262, 0.5719, 0.6528,
         0.7590, 1.0000]  # fmt: skip
    assert int(np.sum(stats.benjamini_hochberg(p) <= 0.05)) == 4
    assert int(np.sum(stats.holm(p) <= 0.05)) == 3


def test_two_sample_t_of_student() -> None:
    """Student 1908, Biometrika 6:1, the sleep data: pooled t = −1.8608 on 18 degrees of freedom, p = .0792.

    Hours gained with two drugs, printed in the paper; t and p are those of R's ``t.test`` manual page [memory].
    """
    first = [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]
    second = [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]
    test = stats.two_sample_t(second, first)
    assert f"{test.t:.4f} {test.df:.0f} {test.p:.5f}" == "-1.8608 18 0.07919"
