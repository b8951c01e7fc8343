"""The band of a template in the score: algebra of the noise, and what is told and refused."""

from __future__ import annotations

import math

import comparison_factory as factory
import numpy as np
import pytest

from overlay import stats
from overlay.data import Band, Spread, TimeMap
from overlay.errors import DataError, InputError
from overlay.score import score
from overlay.score.band import CELLS, band_of
from overlay.score.measure import CellDifference
from overlay.score.noise import cell_noise
from overlay.settings.score import ScoreSettings

SETTINGS = ScoreSettings()
PRIOR = SETTINGS.prior("pelvis", "backswing")
CELL = CellDifference("backswing", "pelvis", np.zeros(2), 1, 1, 0.0, 0)


def band(sd: float, n: int, of: str = "one player", cell: tuple[str, str] = ("backswing", "pelvis")) -> Band:
    return Band(n, {cell: Spread(sd, float(n - 1))}, of)


def test_variances_add_and_their_certainty_does_too() -> None:
    """Welch's example form: V₁ = 2 on 4, V₂ = 1 on 8 degrees: 3 on 9 / (4/4 + 1/8) = 8."""
    assert stats.summed_variance([2.0, 1.0], [4.0, 8.0]) == pytest.approx((3.0, 8.0))
    with pytest.raises(DataError, match="do not fit"):
        stats.summed_variance([1.0, 2.0], [3.0])
    with pytest.raises(DataError, match="do not fit"):
        stats.summed_variance([0.0], [3.0])


def test_without_band_or_fit_nothing_changes() -> None:
    noise = cell_noise(CELL, SETTINGS)
    assert noise.variance == pytest.approx(2 * PRIOR**2)
    assert (noise.df, noise.own_df) == (SETTINGS.prior_df, 0.0)


def test_the_band_takes_the_place_of_the_prior_on_its_own_side() -> None:
    """Student: one swing with the prior. Template of 10: (4·prior² + 9·sd²)/13 over 10 swings."""
    sd = 0.5 * PRIOR
    noise = cell_noise(CELL, SETTINGS, band(sd, 10))
    nu = SETTINGS.band_prior_df
    theirs = (nu * PRIOR**2 + 9 * sd**2) / (nu + 9) / 10
    assert noise.variance == pytest.approx(PRIOR**2 + theirs)
    assert noise.sd == pytest.approx(PRIOR)
    df = (PRIOR**2 + theirs) ** 2 / (PRIOR**4 / SETTINGS.prior_df + theirs**2 / (nu + 9))
    assert noise.df == pytest.approx(df)
    assert 0 < noise.own_df < noise.df


def test_a_band_of_his_own_swings_tells_of_the_student_too() -> None:
    sd = 0.5 * PRIOR
    own = cell_noise(CELL, SETTINGS, band(sd, 10), same_player=True)
    s2 = (SETTINGS.prior_df * PRIOR**2 + 9 * sd**2) / (SETTINGS.prior_df + 9)
    assert own.sd == pytest.approx(math.sqrt(s2))
    assert own.variance < cell_noise(CELL, SETTINGS, band(sd, 10)).variance


def test_a_student_within_the_spread_of_several_players_does_not_differ() -> None:
    """Players three times as far apart as one player's swings: what the student's side carries is that spread."""
    noise = cell_noise(CELL, SETTINGS, band(3 * PRIOR, 20, "several players"))
    assert noise.sd == pytest.approx(3 * PRIOR)
    between = SETTINGS.players_variance * 8 * PRIOR**2
    theirs = (SETTINGS.band_prior_df * PRIOR**2 + 19 * 9 * PRIOR**2) / (SETTINGS.band_prior_df + 19) / 20
    assert noise.variance == pytest.approx(PRIOR**2 + between + theirs)
    assert noise.df < 19, "surer of the spread between players than half of its swings say"
    one = cell_noise(CELL, SETTINGS, band(3 * PRIOR, 20, "one player"))
    assert one.variance < 2 * PRIOR**2
    narrow = cell_noise(CELL, SETTINGS, band(0.5 * PRIOR, 20, "several players"))
    assert narrow.sd == pytest.approx(PRIOR), "never less than one player's own"


def test_a_cell_the_band_says_nothing_of_has_the_prior_on_both_sides() -> None:
    noise = cell_noise(CELL, SETTINGS, band(0.01, 10, cell=("takeaway", "head")))
    assert noise.variance == pytest.approx(2 * PRIOR**2)


def test_what_the_fit_may_be_wrong_by_is_added() -> None:
    plain, fitted = cell_noise(CELL, SETTINGS), cell_noise(CELL, SETTINGS, fit_sd=0.03)
    assert fitted.variance - plain.variance == pytest.approx(0.03**2)
    one, other = (cell_noise(CELL, SETTINGS, band(0.01, 5), fit_sd=sd) for sd in (0.0, 0.03))
    assert other.variance - one.variance == pytest.approx(0.03**2)
    assert fitted.sd == plain.sd, "the unit of small and large is the player's own spread"


def test_the_spread_is_that_of_one_coordinate() -> None:
    """Four swings at the corners of a square of side 2a: Σ|d|² = 8a², over 2·3: sd = a·√(4/3)."""
    a = 0.02
    offsets = np.full((4, len(CELLS), 2), np.nan)
    offsets[:, 0] = a * np.array([[1, 1], [1, -1], [-1, 1], [-1, -1]]) + 0.3
    offsets[0, 1] = 0.1
    found = band_of(offsets)
    assert set(found.spreads) == {CELLS[0]}, "a part that one of four swings shows has no spread"
    assert found.spreads[CELLS[0]].sd == pytest.approx(a * math.sqrt(4 / 3))
    assert found.spreads[CELLS[0]].df == 3.0
    with pytest.raises(DataError, match="cannot be measured"):
        band_of(offsets[:1])


def test_spreads_of_drawn_swings_come_out_as_drawn() -> None:
    rng = np.random.default_rng(5)
    sds = [
        band_of(rng.normal(0, 0.02, (5, len(CELLS), 2))).spreads[cell].sd ** 2 for _ in range(40) for cell in CELLS[:9]
    ]
    assert math.sqrt(np.mean(sds)) == pytest.approx(0.02, rel=0.04)


@pytest.mark.parametrize("n", [3, 5, 10])
def test_tables_against_a_template_hold_their_errors(n: int) -> None:
    """One swing against the mean of n of the same kind, all cells drawn with players' SDs straying as χ² with 12
    degrees about 0.85 of the prior: any finding in at most 5 % of 700 tables."""
    rng = np.random.default_rng(n)
    tables, cells = 700, len(CELLS)
    prior = np.array([SETTINGS.prior(part, phase) for phase, part in CELLS])
    sd = 0.85 * prior * np.sqrt(12 / rng.chisquare(12, (tables, cells)))
    swings = rng.normal(0, 1, (n, tables, cells, 2)) * sd[..., None]
    student = rng.normal(0, 1, (tables, cells, 2)) * sd[..., None]
    norm = np.linalg.norm(student - swings.mean(axis=0), axis=-1)
    own = np.sqrt(np.sum((swings - swings.mean(axis=0)) ** 2, axis=(0, 3)) / (2 * (n - 1)))
    alarms = 0
    for t in range(tables):
        made = Band(n, {cell: Spread(float(own[t, k]), n - 1.0) for k, cell in enumerate(CELLS)}, "one player")
        noises = [cell_noise(CellDifference(*cell, np.zeros(2), 1, 1), SETTINGS, made) for cell in CELLS]
        p = stats.norm_p_value(norm[t], np.array([x.variance for x in noises]), np.array([x.df for x in noises]))
        alarms += bool(np.any(stats.benjamini_hochberg(p) <= SETTINGS.level))
    assert alarms / tables <= 0.05


def comparison(**given: object):  # type: ignore[no-untyped-def]
    student, reference = factory.make_swing(rate=60), factory.make_swing(rate=60, length_s=1.5)
    mine, theirs = (np.array(list(s.positions.times().values())) for s in (student, reference))
    return score(student, reference, TimeMap(mine, theirs), **given)  # type: ignore[arg-type]


def test_a_template_is_sharper_than_a_swing_and_says_so() -> None:
    spreads = {cell: Spread(0.5 * SETTINGS.prior(cell[1], cell[0]), 9.0) for cell in CELLS}
    alone = comparison()
    against = comparison(band=Band(10, spreads, "one player"))
    own = comparison(band=Band(10, spreads, "one player"), same_player=True)
    several = comparison(band=Band(10, spreads, "several players"))
    rows = [
        {(d.phase, d.part): d.detectable for d in c.differences if d.words != "not scored"}
        for c in (alone, against, own)
    ]
    for cell, value in rows[0].items():
        assert rows[2][cell] < rows[1][cell] < 0.8 * value
    assert against.sharpness.startswith("1 swing against a template of 10: a difference in one place is named")
    assert "only what lies beyond that is named" in several.sharpness
    space = comparison(band=Band(24, spreads, "one player"), simulated=True)
    assert space.sharpness.startswith("1 swing against an on-model swing: a difference")
    fitted = comparison(fit_sd={"pelvis": 0.05})
    wider = {(d.phase, d.part): d.detectable for d in fitted.differences if d.words != "not scored"}
    for cell, value in rows[0].items():
        assert wider[cell] > 1.3 * value if cell[1] == "pelvis" else wider[cell] == pytest.approx(value)


def test_what_cannot_be_used_is_refused() -> None:
    swing = factory.make_swing(rate=60)
    with pytest.raises(InputError, match="template comes with repeats"):
        comparison(band=band(0.01, 5), reference_repeats=(swing,))
    with pytest.raises(InputError, match="fit SD of -1"):
        comparison(fit_sd={"pelvis": -1.0})
    with pytest.raises(InputError, match="'tail'"):
        comparison(fit_sd={"tail": 0.01})
