"""The difference score: where and when a swing departs from its reference, and how sure that is.

``docs/scores.md`` explains the choices in words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Mapping

import numpy as np

from overlay import stats
from overlay.data import Band, Comparison, PhaseDifference, Swing, TimeMap, Words
from overlay.errors import ContentError, InputError
from overlay.score.measure import CellDifference, anchor_position, measure_cells
from overlay.score.noise import Noise, cell_noise
from overlay.score.parts import Figure, figure_of, torso_share_of_stature
from overlay.score.setup import camera_note, setup_measures, setup_notes
from overlay.score.timing import phase_timings
from overlay.settings.score import ScoreSettings
from overlay.terms import PARTS, PHASES, words

__all__ = ["score", "score_of", "sharpness_sentence"]


def score_of(value: float, settings: ScoreSettings | None = None) -> float:
    """0–100 of a difference in torso lengths: 100·2^(−(E/0.20)²), NaN for NaN.

    >>> [round(score_of(e)) for e in (0.05, 0.10, 0.20, 0.40)]
    [96, 84, 50, 6]
    """
    half = (settings or ScoreSettings()).score_half
    return 100.0 * 2.0 ** -((value / half) ** 2)


def score(
    student: Swing,
    reference: Swing,
    time_map: TimeMap,
    *,
    stature_cm: float | None = None,
    student_repeats: Sequence[Swing] = (),
    reference_repeats: Sequence[Swing] = (),
    band: Band | None = None,
    simulated: bool = False,
    same_player: bool = False,
    fit_sd: Mapping[str, float] | None = None,
    settings: ScoreSettings | None = None,
) -> Comparison:
    """Score the student's swing against the reference, part by part and phase by phase.

    Parameters
    ----------
    student, reference : Swing
        Cleaned, with positions; same view. Left-handers are mirrored to the right-handed picture.
    time_map : TimeMap
        Student clip time to reference clip time.
    stature_cm : float, optional
        The student's height, for values in centimetres.
    student_repeats, reference_repeats : sequence of Swing
        More swings of the same player in the same view: they enter the means and tell how much the player varies.
    band : Band, optional
        The reference is a template: how much the swings behind it vary takes the place of the prior on its side.
    simulated : bool
        The swings behind the band were simulated, as those of a swing in space are: nobody made them.
    same_player : bool
        The swings behind the band are the student's own: they tell how much the student varies, as repeats do.
    fit_sd : mapping part → torso lengths, optional
        What fitting the reference to the student's build may be wrong by, in one coordinate of a phase mean.

    Raises
    ------
    InputError
        A band together with repeats of the reference, an unknown part, or a fit SD that is negative or not finite.
    ContentError
        One of the swings shows no torso to measure by.
    """
    settings = settings or ScoreSettings()
    if band is not None and reference_repeats:
        raise InputError("A template comes with repeats.", "Its swings are in the template: give one or the other.")
    for part, sd in (fit_sd or {}).items():
        if part not in PARTS or not (math.isfinite(sd) and sd >= 0):
            raise InputError(f"A fit SD of {sd} for {part!r} cannot be used.", "Give torso lengths a part of the body.")
    mine, theirs = figure_of(student, settings), figure_of(reference, settings)
    for figure, who in ((mine, "student"), (theirs, "reference")):
        if not (math.isfinite(figure.torso_px) and figure.torso_px > 0):
            raise ContentError(
                f"The {who}'s torso is not seen, so there is no length to measure by.",
                "Film the whole body, with shoulders and hips uncovered.",
            )
    cells = measure_cells(
        mine,
        theirs,
        time_map,
        settings,
        [figure_of(swing, settings) for swing in student_repeats],
        [figure_of(swing, settings) for swing in reference_repeats],
    )
    noises = [cell_noise(cell, settings, band, same_player, (fit_sd or {}).get(cell.part, 0.0)) for cell in cells]
    tested = _test(cells, noises, settings)
    cm = None if stature_cm is None else stature_cm * torso_share_of_stature(mine, student.view, settings)
    differences = tuple(row.as_difference(cm, settings) for row in tested)
    found = [(row, difference) for row, difference in zip(tested, differences) if row.detected]
    largest = max(found, key=lambda pair: pair[0].multiple, default=None)
    first = None
    if found:
        earliest = found[0][0].cell.phase
        first = max((pair for pair in found if pair[0].cell.phase == earliest), key=lambda pair: pair[0].multiple)
    scored = [row for row in tested if not row.cell.reason]
    setup = setup_measures(mine, theirs, student.view, settings) if student.view == reference.view else ()
    return Comparison(
        student,
        reference,
        time_map,
        differences,
        phase_timings(student, reference, settings),
        sharpness_sentence(
            max((row.cell.n_student for row in scored), default=1),
            max((row.cell.n_reference for row in scored), default=1),
            settings,
        )
        if band is None
        else template_sharpness(
            max((row.cell.n_student for row in scored), default=1),
            band,
            [row.noise for row in scored],
            settings,
            simulated,
        ),
        (*_notes(mine, theirs, time_map, settings), *setup_notes(setup)),
        None if first is None else first[1],
        None if largest is None else largest[1],
        setup,
    )


@dataclass(frozen=True)
class _Tested:
    """A cell with its noise and test."""

    cell: CellDifference
    noise: Noise
    p_limit: float
    detected: bool

    @property
    def norm(self) -> float:
        return float(np.hypot(*self.cell.offset))

    @property
    def value(self) -> float:
        return float(stats.debiased_norm(self.cell.offset, self.noise.variance))

    @property
    def multiple(self) -> float:
        """Debiased size in multiples of the SD between two swings of one player."""
        return self.value / self.noise.sd

    def as_difference(self, torso_cm: float | None, settings: ScoreSettings) -> PhaseDifference:
        cell = self.cell
        nan = float("nan")
        if cell.reason:
            return PhaseDifference(
                cell.phase,
                cell.part,
                nan,
                (nan, nan),
                (nan, nan),
                "not scored",
                nan,
                (nan, nan),
                nan,
                None,
                cell.reason,
            )
        low, high = (
            float(end)
            for end in stats.norm_interval(self.norm, self.noise.variance, self.noise.df, level=settings.interval)
        )
        value = min(max(self.value, low), high)
        detectable = stats.detectable_length(
            self.noise.variance, self.noise.own_df, self.noise.df - self.noise.own_df, self.p_limit
        )
        return PhaseDifference(
            cell.phase,
            cell.part,
            value,
            (low, high),
            (float(cell.offset[0]), float(cell.offset[1])),
            size_words(self.multiple) if self.detected else "no difference detected",
            score_of(value, settings),
            (score_of(high, settings), score_of(low, settings)),
            detectable,
            None if torso_cm is None else value * torso_cm,
        )


def size_words(multiple: float) -> Words:
    """Plain word for a detected difference in multiples of the player's own SD."""
    if multiple < 1:
        return "small"
    if multiple < 2:
        return "moderate"
    return "large" if multiple < 4 else "very large"


def _test(cells: Sequence[CellDifference], noises: Sequence[Noise], settings: ScoreSettings) -> list[_Tested]:
    """The F test of every cell's offset, and which are detected with the whole table held together."""
    p_values = [
        float(stats.norm_p_value(float(np.hypot(*cell.offset)), noise.variance, noise.df))
        for cell, noise in zip(cells, noises)
        if not cell.reason
    ]
    adjusted = stats.benjamini_hochberg(p_values) if p_values else np.zeros(0)
    n_found = int(np.sum(adjusted <= settings.level))
    # What a further difference would have to pass.
    p_limit = settings.level * min(1.0, (n_found + 1) / max(1, len(p_values)))
    answers = iter(adjusted)
    return [
        _Tested(cell, noise, p_limit, not cell.reason and bool(next(answers) <= settings.level))
        for cell, noise in zip(cells, noises)
    ]


def sharpness_sentence(n_student: int, n_reference: int, settings: ScoreSettings | None = None) -> str:
    """How fine a difference this many swings can show, for a part of usual noise.

    The length is that of a difference in a single cell which the whole table, with its errors held together, names in
    nine of ten cases.
    """
    settings = settings or ScoreSettings()
    sd = float(np.median(list(settings.prior_sd.values())))

    def length(n: int, m: int) -> str:
        p_limit = settings.level / (len(PHASES) * len(PARTS))
        variance = sd**2 * (1 / n + 1 / m)
        named = stats.detectable_length(variance, n + m - 2, settings.prior_df, p_limit, chance=0.9)
        return f"about {100 * named:.0f} %"

    more = f"; with five swings each, {length(5, 5)}" if min(n_student, n_reference) < 5 else ""
    return (
        f"{n_student} swing{'s' if n_student > 1 else ''} against {n_reference}: a difference in one place is named "
        f"nine times in ten once it reaches {length(n_student, n_reference)} of a torso length{more}."
    )


def template_sharpness(
    n_student: int, band: Band, noises: Sequence[Noise], settings: ScoreSettings, simulated: bool = False
) -> str:
    """As ``sharpness_sentence`` against a template, for the cell of middling noise."""
    behind = "an on-model swing" if simulated else f"a template of {band.n_swings}"
    said = f"{n_student} swing{'s' if n_student > 1 else ''} against {behind}"
    if not noises:
        return f"{said}: nothing could be scored."
    middle = sorted(noises, key=lambda noise: noise.variance)[len(noises) // 2]
    p_limit = settings.level / (len(PHASES) * len(PARTS))
    named = stats.detectable_length(middle.variance, middle.own_df, middle.df - middle.own_df, p_limit, chance=0.9)
    among = "; the players behind it differ among themselves, and only what lies beyond that is named"
    return (
        f"{said}: a difference in one place is named nine times in ten once it reaches about {100 * named:.0f} % of a "
        f"torso length{among if band.of == 'several players' else ''}."
    )


def _notes(student: Figure, reference: Figure, time_map: TimeMap, settings: ScoreSettings) -> tuple[str, ...]:
    notes = []
    anchor = anchor_position(student, reference)
    if anchor not in (None, "address"):
        notes.append(
            f"Address was not found in both swings: movement is measured from {words(anchor or '')}, where the poses "
            "count as equal."
        )
    notes.extend(_disagreements(student, reference, time_map, settings))
    notes.extend(camera_note(figure, who, settings) for figure, who in ((student, "student"), (reference, "reference")))
    return tuple(note for note in notes if note)


def _disagreements(student: Figure, reference: Figure, time_map: TimeMap, settings: ScoreSettings) -> tuple[str, ...]:
    """Where a position and the alignment contradict each other; address and finish are vague and left out."""
    apart = {}
    for name, time_s in student.positions.times().items():
        other = reference.positions.time(name)
        if other is None or name in ("address", "finish"):
            continue
        gap_s = abs(float(time_map.to_reference(time_s)) - other) / reference.slow_factor
        if gap_s > settings.map_disagreement_s:
            apart[name] = gap_s
    if not apart:
        return ()
    said = ", ".join(f"{words(name)} ({1000 * gap_s:.0f} ms)" for name, gap_s in apart.items())
    return (
        f"Positions and alignment do not agree at {said}: the phases beside are compared as the alignment maps them, "
        "and their times are less sure.",
    )
