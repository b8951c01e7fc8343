"""How much of each difference the two cameras could account for.

One and the same movement is looked at through the student's and through the reference's camera, and the very code of
the score measures the two pictures against each other: what comes out is what the cameras alone would show.
"""

from __future__ import annotations

import math

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Camera, CameraPart, Comparison, PhaseDifference, SpaceTrack
from overlay.explain.cameras import Estimated, drawn_pairs
from overlay.explain.looking import Movement, movement_of, seen_by
from overlay.settings.explain import ExplainSettings
from overlay.settings.score import ScoreSettings

Cell = tuple[str, str]


def camera_parts(
    comparison: Comparison,
    space: SpaceTrack,
    *,
    student_fit: Estimated | None,
    reference_fit: Estimated | None,
    settings: ExplainSettings | None = None,
    score_settings: ScoreSettings | None = None,
    seed: int = 0,
) -> tuple[CameraPart, ...]:
    """What of every scored difference the cameras could explain, phases and parts in their order.

    Parameters
    ----------
    comparison : Comparison
        Two clips of one view. Against a swing in space there is nothing to explain: it is looked at through the
        student's own camera, and the result is empty.
    space : SpaceTrack
        A movement of the kind that was filmed, on the player's body. Either hand.
    student_fit, reference_fit : ReferenceFit or CameraEstimate
        With the camera of the student's and of the reference's clip and its uncertainty. None, or without a camera:
        it could not be estimated, and then nothing can be ruled out: every ``could_explain`` is the whole difference,
        and ``offset`` and ``sd`` are NaN.
    seed : int
        Of the draws from the uncertainty.

    Returns
    -------
    tuple of CameraPart
        One for each difference that was scored. ``offset`` is the mean over the draws; ``sd`` holds the cameras'
        uncertainty and how far another movement of the kind would show another effect; ``could_explain`` is the upper
        bound of the part of ``offset`` that lies along the measured difference, from 0 to the whole.
    """
    settings = settings or ExplainSettings()
    score_settings = score_settings or ScoreSettings()
    if comparison.fit is not None and comparison.fit.in_student_picture:
        return ()
    rows = [row for row in comparison.differences if row.words != "not scored"]
    offsets = _offsets(comparison, space, student_fit, reference_fit, settings, score_settings, seed)
    return tuple(_part(row, offsets.get((row.phase, row.part)), settings) for row in rows)


def _offsets(
    comparison: Comparison,
    space: SpaceTrack,
    student_fit: Estimated | None,
    reference_fit: Estimated | None,
    settings: ExplainSettings,
    score_settings: ScoreSettings,
    seed: int,
) -> dict[Cell, FloatArray]:
    """(phase, part) → (draws, 2) torso lengths."""
    if student_fit is None or reference_fit is None:
        return {}
    rng = np.random.default_rng([seed, 1904])
    mine, theirs = drawn_pairs(student_fit, reference_fit, settings.draws, rng)
    movement = movement_of(comparison, space, score_settings)
    if not mine or not theirs or movement is None:
        return {}
    drawn: dict[Cell, list[FloatArray]] = {}
    for cameras in zip(mine, theirs):
        for cell, offset in _once(movement, cameras, comparison, score_settings).items():
            drawn.setdefault(cell, []).append(offset)
    # A camera among the draws that loses sight of a part says nothing about it.
    return {cell: np.stack(values) for cell, values in drawn.items() if len(values) >= settings.draws / 2}


def _once(
    movement: Movement, cameras: tuple[Camera, Camera], comparison: Comparison, settings: ScoreSettings
) -> dict[Cell, FloatArray]:
    cells = seen_by(movement, cameras, comparison, settings, all_seen=False)
    found = {(cell.phase, cell.part): cell.offset for cell in cells if not cell.reason}
    wanted = {(row.phase, row.part) for row in comparison.differences if row.words != "not scored"}
    if not wanted <= set(found):
        # At the edge of what is seen enough the real cell may be scored and this one not: then with all joints.
        cells = seen_by(movement, cameras, comparison, settings, all_seen=True)
        found = {(cell.phase, cell.part): cell.offset for cell in cells if not cell.reason} | found
    return found


def _part(row: PhaseDifference, drawn: FloatArray | None, settings: ExplainSettings) -> CameraPart:
    whole = max(0.0, row.value)
    if drawn is None:
        nan = float("nan")
        return CameraPart(row.phase, row.part, (nan, nan), nan, whole, 1.0 if whole > 0 else 0.0)
    mean = drawn.mean(axis=0)
    spread = drawn.var(axis=0, ddof=1) if len(drawn) > 1 else np.zeros(2)
    other_movement = settings.movement_share * float(np.hypot(*mean))
    sd = math.sqrt(float(spread.mean()) + other_movement**2)
    could = could_explain(row, drawn, settings)
    return CameraPart(
        row.phase, row.part, (float(mean[0]), float(mean[1])), sd, could, could / whole if whole > 0 else 0.0
    )


def could_explain(row: PhaseDifference, drawn: FloatArray, settings: ExplainSettings) -> float:
    """Upper bound of the cameras' share along the measured difference, torso lengths, from 0 to the whole.

    ``drawn`` (draws, 2) are the cameras' offsets. The bound is mean + z·SD of their part along the difference; the SD
    is that of the draws and of the effect on another movement of the kind, both squared.
    """
    from scipy.special import ndtri

    length = math.hypot(*row.offset)
    if not (length > 0 and row.value > 0):
        return 0.0
    along = drawn @ (np.array(row.offset) / length)
    spread = float(along.var(ddof=1)) if len(along) > 1 else 0.0
    sd = math.hypot(math.sqrt(spread), settings.movement_share * float(np.hypot(*drawn.mean(axis=0))))
    upper = float(along.mean()) + float(ndtri(settings.level)) * sd
    return min(max(0.0, upper), row.value)
