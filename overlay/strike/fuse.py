"""One instant from an interval and several times with their spread."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from overlay.data import StrikeClue
from overlay.settings.strike import StrikeSettings


def fuse(
    clues: Sequence[StrikeClue], interval: tuple[float, float] | None, settings: StrikeSettings
) -> tuple[float, float]:
    """Mean and standard deviation of the strike's time, s; NaN when there is nothing to go by.

    The likelihoods are multiplied on a grid: even over the interval in which the ball left, with soft ends; normal
    for each clue, over a small floor for the chance that it is wrong altogether. For two normal clues that agree the
    mean is the one weighted by inverse variance; one that contradicts the others loses its say.

    Parameters
    ----------
    clues : times with their SD; the ball is the interval and is not among them
    interval : (last seen, gone) or None
    """
    clues = [clue for clue in clues if math.isfinite(clue.time_s) and clue.sd_s > 0]
    ends = [(clue.time_s - 5 * clue.sd_s, clue.time_s + 5 * clue.sd_s) for clue in clues]
    if interval is not None:
        soft = 6 * settings.edge_sd_s
        ends.append((interval[0] - soft, interval[1] + soft))
    if not ends:
        return math.nan, math.nan
    low, high = min(end[0] for end in ends), max(end[1] for end in ends)
    grid = np.linspace(low, high, settings.grid)
    log = np.zeros(len(grid))
    span = high - low
    if interval is not None:
        from scipy.special import ndtr

        edge = settings.edge_sd_s
        width = max(interval[1] - interval[0], edge)
        inside = (ndtr((grid - interval[0]) / edge) - ndtr((grid - interval[1]) / edge)) / width
        log += np.log(inside + 1e-4 * settings.outlier / span)
    for clue in clues:
        normal = np.exp(-0.5 * ((grid - clue.time_s) / clue.sd_s) ** 2) / (clue.sd_s * math.sqrt(2 * math.pi))
        log += np.log((1 - settings.outlier) * normal + settings.outlier / span)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    mean = float(weight @ grid)
    return mean, float(math.sqrt(max(weight @ (grid - mean) ** 2, (span / len(grid)) ** 2)))
