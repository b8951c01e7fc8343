"""Is it one swing under two cameras, and how far are the two clocks apart? Every clue with its uncertainty.

The movement, the sound, the times of recording and what a person tells each give an offset between the clocks and log
odds for "one swing" against "two swings of one player". The odds add up, the offsets are averaged by their certainty.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.pair.clock import Shared, robust_mean
from overlay.settings.pair import PairSettings
from overlay.terms import words


@dataclass(frozen=True)
class Clue:
    """One source: what it says of the offset (real s, NaN when nothing) and of there being one swing."""

    name: str
    offset_s: float
    sd_s: float
    odds: float
    sentence: str


@dataclass(frozen=True)
class Movement:
    """What the bodies say.

    Attributes
    ----------
    offset_s, sd_s : float
        Face-on minus down-the-line time of the same instant, real s, if it is one swing.
    rate : float
        Face-on real seconds per down-the-line real second, as far as the clips' speeds are known only from the swing.
    rate_sd : float
    middle_s : float
        Down-the-line real time for which ``offset_s`` holds.
    odds : float
    chance : float
        How often two views of one swing differ as much or more.
    spread_s : float
        RMS by which the moments differ from one common offset, the sure ones counting more, real s.
    stretches : int
    """

    offset_s: float
    sd_s: float
    rate: float
    rate_sd: float
    middle_s: float
    odds: float
    chance: float
    spread_s: float
    stretches: int
    worst: str = ""


@dataclass(frozen=True)
class Points:
    """Offsets along the swing: where (down-the-line real s), what, how sure, and the name of the moment."""

    at_s: FloatArray
    offset_s: FloatArray
    sd_s: FloatArray
    names: tuple[str, ...]


def points_of(shared: Shared) -> Points:
    """The offset that each position shows. The finish is left out: one view may see it end where it is first held, the
    other where it is let go."""
    kept = [i for i, name in enumerate(shared.names) if name != "finish"]
    return Points(
        shared.dtl_s[kept], shared.gap_s[kept], shared.gap_sd_s[kept], tuple(words(shared.names[i]) for i in kept)
    )


def movement_says(
    points: Points, impact_s: float, top_s: float, rate_known: bool, settings: PairSettings
) -> Movement | None:
    """One offset against another tempo in every part of the swing; None when nothing is shown by both."""
    n = len(points.at_s)
    if n == 0:
        return None
    rate_sd = settings.same_rate_sd if rate_known else settings.rate_sd
    at = points.at_s - impact_s
    noise = np.diag(points.sd_s**2)
    ones = np.ones((n, 1))
    line = at[:, None]
    one = noise + rate_sd**2 * line @ line.T
    # Another swing: back-, down- and follow-through swing each of a slightly other tempo.
    legs = _legs(points.at_s, top_s, impact_s)
    two = one + settings.tempo_sd**2 * legs @ legs.T
    odds = _log_evidence(points.offset_s, one, ones) - _log_evidence(points.offset_s, two, ones)
    # The offset and rate that fit best under one swing.
    weight = np.linalg.inv(noise)
    design = np.concatenate([ones, line], axis=1)
    prior = np.diag([0.0, rate_sd**-2])
    covariance = np.linalg.inv(design.T @ weight @ design + prior)
    fitted = covariance @ design.T @ weight @ points.offset_s
    rest = points.offset_s - design @ fitted
    free = n - 1 - (0 if rate_known else 1)
    chi2 = float(rest @ weight @ rest + (fitted[1] / rate_sd) ** 2)
    chance = _chi2_tail(chi2, free) if free > 0 else 1.0
    if free > 0 and chance < 0.05 and n > 3:
        offset, _ = robust_mean(points.offset_s - fitted[1] * at, points.sd_s)
    else:
        offset = float(fitted[0])
    worst = points.names[int(np.argmax(np.abs(rest) / points.sd_s))] if n > 1 else ""
    return Movement(
        offset_s=offset,
        sd_s=math.sqrt(float(covariance[0, 0])) * math.sqrt(max(1.0, chi2 / max(free, 1))),
        rate=1.0 + float(fitted[1]),
        rate_sd=math.sqrt(float(covariance[1, 1])),
        middle_s=impact_s,
        odds=float(np.clip(odds, -12.0, 4.0)) if n > 1 else 0.0,
        chance=chance,
        spread_s=float(np.sqrt(np.sum(rest**2 / points.sd_s**2) / np.sum(points.sd_s**-2))),
        stretches=n,
        worst=worst,
    )


def _legs(at_s: FloatArray, top_s: float, impact_s: float) -> FloatArray:
    """(N, 3) by how many seconds of back-, down- and follow-through swing each time lies from impact."""
    before, down = np.minimum(at_s, top_s) - top_s, np.clip(at_s, top_s, impact_s) - impact_s
    return np.stack([before, down, np.maximum(at_s - impact_s, 0.0)], axis=1)


def _log_evidence(values: FloatArray, covariance: FloatArray, ones: FloatArray) -> float:
    """Log likelihood of (N,) values with this covariance and any common offset (flat prior, integrated out)."""
    inverse = np.linalg.inv(covariance)
    _, log_det = np.linalg.slogdet(covariance)
    normal = float((ones.T @ inverse @ ones).item())
    mean = float((ones.T @ inverse @ values).item()) / normal
    rest = values - mean
    return float(-0.5 * (log_det + math.log(normal) + rest @ inverse @ rest))


def _chi2_tail(value: float, df: int) -> float:
    from scipy.stats import chi2

    return float(chi2.sf(value, df))


def recorded_clue(gap_s: float, settings: PairSettings) -> Clue:
    """What the files' own times say.

    ``gap_s`` is how much later the face-on clip's strike was by the files' clocks, 0 if they are right and it is one
    swing.
    """
    own = settings.recorded
    right = math.exp(-0.5 * (gap_s / own.clock_sd_s) ** 2) / (own.clock_sd_s * math.sqrt(2 * math.pi))
    wrong = (0.5 / own.wrong_span_s) if abs(gap_s) <= own.wrong_span_s else 1e-9
    session = 0.0
    if abs(gap_s) <= own.session_s:
        # One swing after the other: within a few seconds of each other hardly anyone strikes twice.
        session = (1.02 - math.exp(-((gap_s / (0.3 * own.between_s)) ** 2))) / (2 * own.session_s)
    one = (1 - own.wrong) * right + own.wrong * wrong
    two = (1 - own.wrong) * session + own.wrong * wrong
    odds = float(np.clip(math.log(one / two), -own.most_odds, own.most_odds))
    apart = f"{abs(gap_s):.0f} s" if abs(gap_s) < 120 else f"{abs(gap_s) / 60:.0f} min"
    if abs(gap_s) <= 3 * own.clock_sd_s:
        said = "By the times in the files both strikes were at the same moment, as near as phones' clocks tell."
    else:
        said = f"By the times in the files the two strikes were {apart} apart."
    return Clue("recorded", math.nan, math.nan, odds, said)


def combined(clues: Sequence[Clue]) -> tuple[float, float, float]:
    """Offset, its standard deviation and the summed log odds of clues; NaN when no clue has an offset."""
    odds = sum(clue.odds for clue in clues)
    timed = [clue for clue in clues if math.isfinite(clue.offset_s)]
    if not timed:
        return math.nan, math.nan, odds
    weight = np.array([clue.sd_s**-2 for clue in timed])
    offset = float(np.sum(weight * np.array([clue.offset_s for clue in timed])) / weight.sum())
    return offset, float(weight.sum() ** -0.5), odds
