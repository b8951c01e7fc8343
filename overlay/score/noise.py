"""How much noise a cell carries: of the student's swings, of the reference's, of the fit between them."""

from __future__ import annotations

import math
from dataclasses import dataclass

from overlay import stats
from overlay.data import Band
from overlay.score.measure import CellDifference
from overlay.settings.score import ScoreSettings


@dataclass(frozen=True)
class Noise:
    """Of one cell; NaN where it is not scored.

    Attributes
    ----------
    sd : float, torso lengths
        From one swing to the next on the student's side: the unit in which a difference is called small or large.
    variance : float
        Of one coordinate of the difference.
    df : float
        Degrees of freedom of ``variance``.
    own_df : float
        How many of them were measured here; the others are the prior's.
    """

    sd: float
    variance: float
    df: float
    own_df: float


def cell_noise(
    cell: CellDifference,
    settings: ScoreSettings,
    band: Band | None = None,
    same_player: bool = False,
    fit_sd: float = 0.0,
) -> Noise:
    """Noise of one cell. Method and figures: docs/scores.md, "Noise" and "Band".

    Without a band both sides share one variance, the repeats' drawn to the prior. With a band the student's side has
    the prior and his repeats (and the band, when it is of his own swings), the template's side the band's variance over
    the number of its swings, drawn to the prior by ``band_prior_df``. A template of several players has besides the
    variance between players on the student's side, who is one more player. The fit's variance is added as it is.
    """
    if cell.reason:
        return Noise(math.nan, math.nan, math.nan, math.nan)
    prior = settings.prior(cell.part, cell.phase)
    spread = None if band is None else band.get(cell.phase, cell.part)
    squares, own_df = cell.sum_of_squares, float(cell.df)
    if spread is not None and same_player:
        squares, own_df = squares + spread.df * spread.sd**2, own_df + spread.df
    s2, df = (float(value) for value in stats.shrunk_variance(squares, own_df, prior, settings.prior_df))
    if spread is None:
        # Without a band, or where it says nothing of this cell, the reference is as unsure as one swing of its kind.
        return Noise(math.sqrt(s2), s2 * (1 / cell.n_student + 1 / cell.n_reference) + fit_sd**2, df, own_df)
    assert band is not None
    theirs, their_df = (
        float(value)
        for value in stats.shrunk_variance(spread.df * spread.sd**2, spread.df, prior, settings.band_prior_df)
    )
    between = max(0.0, spread.sd**2 - s2) if band.of == "several players" else 0.0
    parts = [(s2 / cell.n_student, df, own_df), (theirs / (spread.df + 1), their_df, spread.df)]
    if between > 0:
        # Players differ more in one direction than in the other and some by far more than most: leave-one-out on real
        # swings shows what a round normal spread would miss.
        between_df = max(1.0, settings.players_df * spread.df)
        parts.append((settings.players_variance * between, between_df, between_df))
    variance, total = stats.summed_variance([part for part, _, _ in parts], [nu for _, nu, _ in parts])
    share = sum(part * own / nu for part, nu, own in parts) / variance
    return Noise(math.sqrt(s2 + between), variance + fit_sd**2, total, min(total, share * total))
