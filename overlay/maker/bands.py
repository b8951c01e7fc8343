"""How much a player who swings like the model would vary, from swing to swing and as a pose model sees it.

The model's own swing is repeated with the golfer's human variation, whose size is set so that the peak separation of
shoulders and pelvis varies by the published 7.4 % from swing to swing (Meister et al. 2011, J Appl Biomech 27:242).
Each repeat is seen by a well set up camera through the errors of a pose model, cleaned like any clip, and measured part
by part and phase by phase as the score does.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from overlay.clean import clean
from overlay.data import Band, Position, Positions, SpaceTrack, Spread, Swing
from overlay.errors import InputError
from overlay.golfer import CameraSpec, GolferSpec, Motion, NoiseSpec, simulate, truth_track
from overlay.landmarks import INDEX
from overlay.progress import SILENT, Progress
from overlay.score.measure import measure_cells, repeat_map
from overlay.score.parts import figure_of
from overlay.settings.maker import BANDS, BandSettings
from overlay.settings.score import ScoreSettings
from overlay.terms import POSITION_NAMES, VIEW_WORDS, View


def band_of(spec: GolferSpec, view: View, *, settings: BandSettings = BANDS, progress: Progress = SILENT) -> Band:
    """The spread of every part in every phase between repeats of this swing.

    Parameters
    ----------
    spec : GolferSpec
        Of the model, without variation.
    view : "dtl" or "fo"
    """
    motions = repeats(spec, settings)
    progress.stage(f"Swinging again, {VIEW_WORDS[view]}", len(motions))
    swings = []
    for number, motion in enumerate(motions):
        swings.append(_seen(motion, view, number, settings))
        progress.advance()
    progress.done()
    return Band(len(swings), spreads_of(swings), "one player")


def repeats(spec: GolferSpec, settings: BandSettings = BANDS) -> list[Motion]:
    """Swings of the same player, none alike; a draw that is no swing is left out for the next."""
    found: list[Motion] = []
    for seed in range(4 * settings.swings):
        try:
            found.append(simulate(dataclasses.replace(spec, variation=settings.variation, seed=settings.seed + seed)))
        except InputError:
            continue
        if len(found) == settings.swings:
            return found
    raise InputError(
        "This swing lies at the edge of what is possible: most repeats of it are no swing.",
        "Go nearer to the shipped model.",
    )


def separation_deg(space: SpaceTrack) -> float:
    """Peak of the turn of the shoulders against the pelvis, seen from above, before impact."""
    impact = space.positions.time("impact")
    assert impact is not None
    back = space.time_s <= impact

    def heading(joint: str) -> np.ndarray:
        line = space.points[back][:, INDEX[f"left_{joint}"]] - space.points[back][:, INDEX[f"right_{joint}"]]
        return np.degrees(np.unwrap(np.arctan2(line[:, 1], line[:, 0])))

    return float(np.max(heading("shoulder") - heading("hip")))


def _seen(motion: Motion, view: View, seed: int, settings: BandSettings) -> Swing:
    camera = CameraSpec.for_motion(motion, view, width_px=854)
    at = motion.position_times
    noise = NoiseSpec(hip_swap=0.0, dropout=0.0)
    track = clean(truth_track(motion, camera, settings.rate_hz, noise=noise, seed=settings.seed + seed))
    pose = track.between(at["address"] - 0.35, at["finish"] + 0.1)
    found = Positions(tuple(Position(name, at[name], 1.0) for name in POSITION_NAMES))
    return Swing(None, pose, view, 1.0, motion.spec.handedness, 1.0, found)


def spreads_of(swings: Sequence[Swing]) -> dict[tuple[str, str], Spread]:
    """Spread of each cell between the swings of one player in one view, as far as it was measured."""
    settings = ScoreSettings()
    figures = [figure_of(swing, settings) for swing in swings]
    time_map = repeat_map(figures[0], figures[1])
    assert time_map is not None
    cells = measure_cells(figures[0], figures[1], time_map, settings, figures[2:])
    return {
        (cell.phase, cell.part): Spread(float(np.sqrt(cell.sum_of_squares / cell.df)), float(cell.df))
        for cell in cells
        if not cell.reason and cell.df >= 1 and cell.sum_of_squares > 0
    }
