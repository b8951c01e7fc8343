"""Which differences are left when the cameras are taken into account."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from overlay import stats
from overlay.data import CameraPart, Comparison, PhaseDifference
from overlay.settings.explain import ExplainSettings
from overlay.settings.score import ScoreSettings
from overlay.terms import PHASES


def part_of(comparison: Comparison, row: PhaseDifference) -> CameraPart | None:
    """The cameras' part of one difference, None when it was not worked out."""
    return next((part for part in comparison.camera_parts if (part.phase, part.part) == (row.phase, row.part)), None)


def is_known(part: CameraPart) -> bool:
    """Whether both cameras could be estimated."""
    return math.isfinite(part.sd)


def found(comparison: Comparison) -> tuple[PhaseDifference, ...]:
    """The differences that were detected, in their order."""
    return tuple(row for row in comparison.differences if row.words not in ("no difference detected", "not scored"))


def beyond(
    comparison: Comparison,
    *,
    settings: ExplainSettings | None = None,
    score_settings: ScoreSettings | None = None,
) -> tuple[PhaseDifference, ...]:
    """The detected differences that stay detected when the cameras' part is taken off.

    From every difference D of the table the cameras' offset c is subtracted, and their uncertainty is added to the
    noise: the F test is that of |D − c|² / 2(V + sd²), held together over the table as the score does it. A difference
    of which the cameras could explain all is never beyond them. Without estimates of the cameras nothing can be told
    apart, and the result is empty.
    """
    settings = settings or ExplainSettings()
    score_settings = score_settings or ScoreSettings()
    parts = {(part.phase, part.part): part for part in comparison.camera_parts if is_known(part)}
    rows = [row for row in comparison.differences if row.words != "not scored" and (row.phase, row.part) in parts]
    if not rows:
        return ()
    p_values = [
        _p_value(row, parts[row.phase, row.part], _df(comparison, row, score_settings), score_settings) for row in rows
    ]
    adjusted = stats.benjamini_hochberg(p_values)
    left = {
        (row.phase, row.part)
        for row, p in zip(rows, adjusted)
        if p <= score_settings.level and parts[row.phase, row.part].share < settings.whole_share
    }
    return tuple(row for row in found(comparison) if (row.phase, row.part) in left)


def _df(comparison: Comparison, row: PhaseDifference, settings: ScoreSettings) -> float:
    """Degrees of freedom of a row's noise: those of the prior, and no more than a template's own spread has."""
    model = comparison.reference_model
    band = None if model is None else model.bands.get(comparison.student.view)
    spread = None if band is None else band.get(row.phase, row.part)
    return settings.prior_df if spread is None else min(settings.prior_df, spread.df)


def _p_value(row: PhaseDifference, part: CameraPart, df: float, settings: ScoreSettings) -> float:
    if row.value <= 0:
        return 1.0
    # The score's value is √(|D|² − 2V), so the noise it had, with repeats, band and fit, can be taken from the row.
    variance = (math.hypot(*row.offset) ** 2 - row.value**2) / 2
    if variance <= 0:
        variance = 2 * settings.prior(row.part, row.phase) ** 2
    rest = float(np.hypot(row.offset[0] - part.offset[0], row.offset[1] - part.offset[1]))
    return float(stats.norm_p_value(rest, variance + part.sd**2, df))


def beyond_camera(
    comparison: Comparison,
    *,
    settings: ExplainSettings | None = None,
    score_settings: ScoreSettings | None = None,
) -> Comparison:
    """The comparison with ``first`` and ``largest`` among what the cameras do not explain, and a note that says so.

    No number changes. Where nothing stays beyond the cameras, or nothing is known of them, ``first`` and ``largest``
    stay as they are and the note says what they are worth. Without ``camera_parts``, the comparison as it is.
    """
    from overlay.explain.wording import cameras_note

    if not comparison.camera_parts or not found(comparison):
        return comparison
    left = beyond(comparison, settings=settings, score_settings=score_settings)
    note = cameras_note(comparison, left)
    notes = comparison.notes if note in comparison.notes or not note else (*comparison.notes, note)
    if not left:
        return replace(comparison, notes=notes)
    score_settings = score_settings or ScoreSettings()
    # As the score chooses, but by what is left of each.
    multiples = {
        (row.phase, row.part): _left_over(row, part_of(comparison, row)) / score_settings.prior(row.part, row.phase)
        for row in left
    }
    order = [phase.name for phase in PHASES]
    earliest = min((row.phase for row in left), key=order.index)
    first = max((row for row in left if row.phase == earliest), key=lambda row: multiples[row.phase, row.part])
    largest = max(left, key=lambda row: multiples[row.phase, row.part])
    return replace(comparison, first=first, largest=largest, notes=notes)


def _left_over(row: PhaseDifference, part: CameraPart | None) -> float:
    """Length of the difference with the cameras' offset taken off."""
    if part is None or not is_known(part):
        return row.value
    return math.hypot(row.offset[0] - part.offset[0], row.offset[1] - part.offset[1])
