"""From two swings and a time map to one difference vector per phase and part."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Mapping

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import TimeMap
from overlay.score.parts import (
    PART_POINTS,
    Figure,
    Part,
    arm_ratio,
    base_poses,
    base_times,
    relative,
    sample,
)
from overlay.settings.score import ScoreSettings
from overlay.terms import PARTS, PHASES, POSITION_NAMES, Phase, words


@dataclass(frozen=True)
class CellDifference:
    """One part in one phase, before any statistics.

    Attributes
    ----------
    phase, part : str
    offset : (2,) float
        Mean signed difference student − reference, torso lengths.
    n_student, n_reference : int
        Swings that entered on each side.
    sum_of_squares : float
        Σ over swings of the squared distance to their own player's mean, divided by 2: per coordinate.
    df : int
        Degrees of freedom of ``sum_of_squares``.
    reason : str
        Why there is no offset; "" when there is.
    """

    phase: str
    part: str
    offset: FloatArray
    n_student: int = 0
    n_reference: int = 0
    sum_of_squares: float = 0.0
    df: int = 0
    reason: str = ""


@dataclass(frozen=True)
class _Sampled:
    """One swing at the steps of one phase: joints at the steps and a moment before and after, for the direction."""

    points: FloatArray
    before: FloatArray
    after: FloatArray
    real_s: float
    """Real seconds between before and after."""
    figure: Figure
    base: Mapping[str, FloatArray]
    """Part → (K, 2) torso lengths: the still moment."""


def anchor_position(student: Figure, reference: Figure) -> str | None:
    """The earliest position found in both; movement is measured from the pose there. Address, unless it is missing."""
    for name in POSITION_NAMES:
        if student.positions.time(name) is not None and reference.positions.time(name) is not None:
            return name
    return None


def repeat_map(main: Figure, repeat: Figure) -> TimeMap | None:
    """Times of another swing of the same player from those of the main one, through the positions both have."""
    pairs = [
        (time_s, other)
        for name, time_s in main.positions.times().items()
        if (other := repeat.positions.time(name)) is not None
    ]
    if len(pairs) < 2:
        return None
    mine, theirs = (np.array(column) for column in zip(*pairs))
    return TimeMap(mine, theirs, outer_slope=repeat.slow_factor / main.slow_factor)


def measure_cells(
    student: Figure,
    reference: Figure,
    time_map: TimeMap,
    settings: ScoreSettings,
    student_repeats: Sequence[Figure] = (),
    reference_repeats: Sequence[Figure] = (),
) -> tuple[CellDifference, ...]:
    """Difference of every part in every phase, phases and parts in their fixed order.

    A phase runs between the student's own positions; the reference is taken at the mapped times, so both show the
    same moment of the movement even where a position was found a frame off. Repeats are taken at times that the
    positions map.
    """
    anchor = anchor_position(student, reference)
    ratio = arm_ratio(student, reference, settings)
    cells: list[CellDifference] = []
    # The still moment is mapped too: where one address was found late, both bases still show the same moment.
    anchor_s = student.positions.time(anchor) if anchor else None
    still = base_times(student, anchor_s if anchor_s is not None else student.time_s[0], settings)
    mapped_still = time_map.to_reference(still)
    my_base, their_base = base_poses(student, still, settings), base_poses(reference, mapped_still, settings)
    mine = [
        (figure, own_map, base_poses(figure, own_map.to_reference(still), settings))
        for figure in student_repeats
        if (own_map := repeat_map(student, figure)) is not None
    ]
    theirs = [
        (figure, own_map, base_poses(figure, own_map.to_reference(mapped_still), settings))
        for figure in reference_repeats
        if (own_map := repeat_map(reference, figure)) is not None
    ]
    for phase in PHASES:
        reason = _missing(phase, student, anchor)
        if reason:
            cells.extend(CellDifference(phase.name, part, np.full(2, np.nan), reason=reason) for part in PARTS)
            continue
        assert anchor is not None
        start, stop = student.positions.time(phase.start), student.positions.time(phase.end)
        assert start is not None
        assert stop is not None
        times = np.linspace(start, stop, settings.steps)
        mapped = time_map.to_reference(times)
        group_a = [_sampled(student, times, my_base, settings)]
        group_b = [_sampled(reference, mapped, their_base, settings)]
        for group, repeats, at in ((group_a, mine, times), (group_b, theirs, mapped)):
            group.extend(
                _sampled(figure, own_map.to_reference(at), base, settings)
                for figure, own_map, base in repeats
                if _has(figure, phase, anchor)
            )
        cells.extend(_cell(phase, part, group_a, group_b, anchor, ratio, settings) for part in PARTS)
    return tuple(cells)


def _missing(phase: Phase, student: Figure, anchor: str | None) -> str:
    if anchor is None:
        return "no position was found in both swings"
    for name in (phase.start, phase.end):
        if student.positions.time(name) is None:
            return f"{words(name)} was not found in the student's swing: {student.positions.missing[name]}"
    if POSITION_NAMES.index(phase.start) < POSITION_NAMES.index(anchor):
        return f"it begins before {words(anchor)}, the first position found in both swings"
    return ""


def _has(figure: Figure, phase: Phase, anchor: str) -> bool:
    return all(figure.positions.time(name) is not None for name in (phase.start, phase.end, anchor))


def _sampled(figure: Figure, times_s: FloatArray, base: Mapping[str, FloatArray], settings: ScoreSettings) -> _Sampled:
    # Half a frame, and at least 4 ms, to each side: the direction of movement, not its noise.
    half_s = max(0.5 * figure.frame_s, 0.004)
    clip_s = half_s * figure.slow_factor
    points, _ = sample(figure, times_s, settings)
    before, _ = sample(figure, times_s - clip_s, settings)
    after, _ = sample(figure, times_s + clip_s, settings)
    return _Sampled(points, before, after, 2 * half_s, figure, base)


def _cell(
    phase: Phase,
    part_name: str,
    group_a: Sequence[_Sampled],
    group_b: Sequence[_Sampled],
    anchor: str,
    ratio: float,
    settings: ScoreSettings,
) -> CellDifference:
    part = PART_POINTS[part_name]
    scale = ratio if part.limb == "arm" else 1.0
    swings = [*group_a, *group_b]
    factors = [1.0] * len(group_a) + [scale] * len(group_b)
    bases = [swing.base[part_name] * factor for swing, factor in zip(swings, factors)]
    based = np.all([np.isfinite(base[:, 0]) for base in bases], axis=0)
    if np.any(based):
        # A hand that was hidden at address takes the set-up of the points that were not: they sit together, and what
        # is constant between them cancels in the difference.
        bases = [np.where(based[:, None], base, base[based].mean(axis=0)) for base in bases]
    elif part.origin:
        # Seen from another joint the part means something by itself: compare the poses, not the movements.
        bases = [np.zeros_like(base) for base in bases]
    else:
        return CellDifference(phase.name, part_name, np.full(2, np.nan), reason=f"hidden at {words(anchor)}")
    values = np.stack(
        [
            relative(swing.points, part, swing.figure.torso_px) * factor - base
            for swing, factor, base in zip(swings, factors, bases)
        ]
    )
    seen = np.isfinite(values[..., 0])
    n_a = len(group_a)
    # The two main swings decide what is comparable; a repeat that misses too much of it is left out of this cell.
    steps_seen = np.any(seen[0] & seen[n_a], axis=-1)
    if np.mean(steps_seen) < settings.min_share:
        return CellDifference(phase.name, part_name, np.full(2, np.nan), reason=_hidden(seen[0], seen[n_a], settings))
    velocity = _velocity(group_a[0], part, 1.0), _velocity(group_b[0], part, scale)
    weight, direction = _along(velocity, settings.prior(part_name, phase.name), settings)

    keep_a = [i for i in range(n_a) if i == 0 or _enough(seen[0] & seen[n_a], seen[i], settings)]
    keep_b = [i for i in range(n_a, len(swings)) if i == n_a or _enough(seen[0] & seen[n_a], seen[i], settings)]
    # Every swing minus the two main swings' mean, so that each uses the points all have in common with them.
    middle = (values[0] + values[n_a]) / 2
    means = {i: _phase_mean(values[i] - middle, weight, direction) for i in (*keep_a, *keep_b)}
    a, b = np.array([means[i] for i in keep_a]), np.array([means[i] for i in keep_b])
    squares = float(np.sum((a - a.mean(axis=0)) ** 2) + np.sum((b - b.mean(axis=0)) ** 2)) / 2
    return CellDifference(
        phase.name, part_name, a.mean(axis=0) - b.mean(axis=0), len(a), len(b), squares, len(a) + len(b) - 2
    )


def _enough(wanted: BoolArray, seen: BoolArray, settings: ScoreSettings) -> bool:
    return bool(np.mean(np.any(wanted & seen, axis=-1)) >= settings.min_share)


def _hidden(student: BoolArray, reference: BoolArray, settings: ScoreSettings) -> str:
    shares = {
        "the student": float(np.mean(np.any(student, axis=-1))),
        "the reference": float(np.mean(np.any(reference, axis=-1))),
    }
    short = {who: share for who, share in shares.items() if share < settings.min_share}
    if not short:
        return f"seen in both swings together in less than {settings.min_share:.0%} of the phase"
    return " and ".join(f"seen in {share:.0%} of the phase in {who}" for who, share in short.items())


def _velocity(swing: _Sampled, part: Part, factor: float) -> FloatArray:
    """(N, 2) torso lengths per real second: the part's mean point."""
    torso = swing.figure.torso_px
    moved = relative(swing.after, part, torso) - relative(swing.before, part, torso)
    with np.errstate(invalid="ignore"):
        count = np.sum(np.isfinite(moved[..., 0]), axis=-1)
        total = np.nansum(moved, axis=-2)
    return np.asarray(
        np.where(count[:, None] > 0, total / np.maximum(count, 1)[:, None], 0.0) * factor / swing.real_s, np.float64
    )


def _along(
    velocity: tuple[FloatArray, FloatArray], sd: float, settings: ScoreSettings
) -> tuple[FloatArray, FloatArray]:
    """Share of the along-path difference that counts at each step, (N,), and the direction of the path, (N, 2).

    A time error of σ seconds moves a point that travels at v by vσ along its path and not across it. The along-path
    part therefore carries noise s² + (vσ)² instead of s², and counts with the share s²/(s² + (vσ)²): all of it where
    the part is slow, next to nothing for the hands in the downswing.
    """
    mean = (velocity[0] + velocity[1]) / 2
    speed = np.hypot(mean[:, 0], mean[:, 1])
    direction = mean / np.maximum(speed, 1e-12)[:, None]
    weight = sd**2 / (sd**2 + (speed * settings.timing_sd_s) ** 2)
    return np.asarray(weight, np.float64), np.asarray(direction, np.float64)


def _phase_mean(difference: FloatArray, weight: FloatArray, direction: FloatArray) -> FloatArray:
    """(N, K, 2) → (2,): mean over the points seen, then over the steps, with the along-path share taken down."""
    count = np.sum(np.isfinite(difference[..., 0]), axis=-1)
    step = np.nansum(difference, axis=-2) / np.maximum(count, 1)[:, None]
    along = np.sum(step * direction, axis=-1, keepdims=True) * direction
    kept = step - (1 - weight)[:, None] * along
    return np.asarray(np.mean(kept[count > 0], axis=0), np.float64)
