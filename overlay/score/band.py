"""How much the swings behind a template vary: the band, part by part and phase by phase.

The spread is that of the number which the score tests, the phase mean of a part's offset, taken from every swing in
the way it is taken from a student's: aligned to the template, own address pose off, along-path share down. So it holds
all that varies from swing to swing, the pose model's noise included.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Band, Spread, Swing, TimeMap
from overlay.errors import DataError
from overlay.score.measure import measure_cells
from overlay.score.parts import figure_of
from overlay.settings.score import ScoreSettings
from overlay.terms import PARTS, PHASES

CELLS: tuple[tuple[str, str], ...] = tuple((phase.name, part) for phase in PHASES for part in PARTS)
"""Phase and part of every cell, in their fixed order."""


def cell_offsets(
    template: Swing, swings: Sequence[Swing], maps: Sequence[TimeMap], *, settings: ScoreSettings | None = None
) -> FloatArray:
    """(n, 54, 2) torso lengths: swing − template in every cell, NaN where a cell cannot be compared.

    Parameters
    ----------
    maps : sequence of TimeMap
        Template time to each swing's own time.

    Raises
    ------
    DataError
        There is not one map a swing.
    """
    settings = settings or ScoreSettings()
    if len(swings) != len(maps):
        raise DataError(f"{len(swings)} swings come with {len(maps)} time maps.", "Give one map a swing.")
    mine = figure_of(template, settings)
    return np.array(
        [
            [-cell.offset for cell in measure_cells(mine, figure_of(swing, settings), time_map, settings)]
            for swing, time_map in zip(swings, maps)
        ]
    ).reshape(len(swings), len(CELLS), 2)


def band_of(offsets: FloatArray, *, of: str = "", settings: ScoreSettings | None = None) -> Band:
    """The band from ``cell_offsets``.

    A cell's SD is that of one coordinate, both coordinates pooled, on (swings that show it − 1) degrees of freedom; the
    second coordinate's are not counted, which is on the safe side where the two vary together. A cell that fewer than
    ``band_share`` of the swings show is left out.

    Raises
    ------
    DataError
        Fewer than two swings.
    """
    settings = settings or ScoreSettings()
    n = len(offsets)
    if n < 2 or offsets.shape[1:] != (len(CELLS), 2):
        raise DataError(f"A band cannot be measured from offsets of shape {offsets.shape}.", "Give two swings or more.")
    spreads = {}
    for k, cell in enumerate(CELLS):
        seen = offsets[np.isfinite(offsets[:, k, 0]), k]
        if len(seen) < max(2.0, settings.band_share * n):
            continue
        df = len(seen) - 1
        sd = float(np.sqrt(np.sum((seen - seen.mean(axis=0)) ** 2) / (2 * df)))
        if sd > 0:
            spreads[cell] = Spread(sd, float(df))
    return Band(n, spreads, of)
