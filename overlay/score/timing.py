"""How long each phase took, in real time, apart from where the body was."""

from __future__ import annotations

import math

import numpy as np

from overlay.data import PhaseTiming, Position, Swing
from overlay.settings.score import ScoreSettings
from overlay.terms import PHASES, Phase, words


def speed_doubt(swing: Swing, who: str, settings: ScoreSettings) -> str:
    """Why the clip's clock cannot be taken for real seconds; "" when it can.

    A told or recorded capture rate is trusted as long as the tempo is one that people have. Without it, a swing that
    lasts far longer or shorter than swings do was filmed or exported at another speed.
    """
    ratio = swing.tempo_ratio
    if ratio is not None and not settings.min_tempo <= ratio <= settings.max_tempo:
        return (
            f"{who} has a tempo ratio of {ratio:.1f}, outside {settings.min_tempo:g}–{settings.max_tempo:g}: "
            "slow motion or a changing speed"
        )
    address, top, impact = (swing.positions.time(name) for name in ("address", "top", "impact"))
    known = swing.clip is not None and swing.clip.capture_rate is not None
    said = "at the stated capture rate" if known else "and the capture rate is not known"
    if address is not None and top is not None:
        backswing_s = (top - address) / swing.slow_factor
        if not settings.min_backswing_s <= backswing_s <= settings.max_backswing_s:
            return f"{who} takes {backswing_s:.1f} s to the top {said}: it does not play at real speed"
    if top is not None and impact is not None:
        downswing_s = (impact - top) / swing.slow_factor
        if downswing_s > settings.max_downswing_s:
            return f"{who} takes {downswing_s:.1f} s from the top to impact {said}: it does not play at real speed"
    return ""


def position_sd_s(swing: Swing, position: Position, settings: ScoreSettings) -> float:
    """SD of a position's time, real seconds.

    Its confidence is the chance that it lies within the tolerance of the event rule (address → impact ÷ 30, not finer
    than a frame); for a normal error that fixes the SD. A time read off frames is besides uniform over one: width/√12.
    """
    from scipy.special import ndtri

    frame_s = float(np.median(np.diff(swing.pose.time_s))) / swing.slow_factor if len(swing.pose) > 1 else 0.0
    address, impact = swing.positions.time("address"), swing.positions.time("impact")
    known = address is not None and impact is not None
    swing_s = (impact - address) / swing.slow_factor if known else settings.typical_swing_s  # type: ignore[operator]
    tolerance_s = max(frame_s, settings.position_tolerance * swing_s)
    chance = min(max(position.confidence, 0.05), 0.999)
    return math.hypot(tolerance_s / float(ndtri((1 + chance) / 2)), frame_s / math.sqrt(12))


def _duration(swing: Swing, phase: Phase, settings: ScoreSettings) -> tuple[float, float]:
    """Real seconds and their SD; NaN when a position is missing."""
    start, end = swing.positions.get(phase.start), swing.positions.get(phase.end)
    if start is None or end is None:
        return float("nan"), float("nan")
    sd = math.hypot(position_sd_s(swing, start, settings), position_sd_s(swing, end, settings))
    return (end.time_s - start.time_s) / swing.slow_factor, sd


def phase_timings(student: Swing, reference: Swing, settings: ScoreSettings) -> tuple[PhaseTiming, ...]:
    """Duration of each phase for both and the difference in ms, with its 95 % uncertainty.

    ``difference_ms`` is positive when the student takes longer.
    """
    nan = float("nan")
    doubts = [
        speed_doubt(swing, who, settings) for swing, who in ((student, "the student"), (reference, "the reference"))
    ]
    timings = []
    for phase in PHASES:
        mine, my_sd = _duration(student, phase, settings)
        theirs, their_sd = _duration(reference, phase, settings)
        reasons = [doubt for doubt in doubts if doubt]
        for swing, who in ((student, "the student's"), (reference, "the reference's")):
            absent = [words(name) for name in (phase.start, phase.end) if swing.positions.time(name) is None]
            if absent:
                reasons.insert(0, f"{' and '.join(absent)} not found in {who} swing")
        if doubts[0]:
            mine = nan
        if reasons:
            timings.append(PhaseTiming(phase.name, mine, nan, nan, nan, "; ".join(reasons)))
            continue
        uncertainty_s = 1.96 * math.hypot(my_sd, their_sd)
        timings.append(PhaseTiming(phase.name, mine, theirs, 1e3 * (mine - theirs), 1e3 * uncertainty_s))
    return tuple(timings)
