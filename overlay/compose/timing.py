"""Which frames are shown when: one player in his own time, the other following, with holds at the positions."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Comparison, Swing
from overlay.errors import InputError
from overlay.settings.compose import COMPOSE, ComposeSettings
from overlay.terms import PHASES, words

Lead = Literal["student", "reference"]


@dataclass(frozen=True)
class Plan:
    """The shots of the video, one each output frame.

    Attributes
    ----------
    lead : "student" or "reference"
    rate : Fraction
        Output frames per second.
    student_s, reference_s : (N,) float, non-decreasing
        Wanted times on both clocks.
    held : tuple of N names or None
        The position at which the picture is held.
    """

    lead: Lead
    rate: Fraction
    student_s: FloatArray
    reference_s: FloatArray
    held: tuple[str | None, ...]

    def __len__(self) -> int:
        return len(self.student_s)

    @property
    def lead_s(self) -> FloatArray:
        return self.student_s if self.lead == "student" else self.reference_s


def output_rate(swing: Swing, settings: ComposeSettings = COMPOSE) -> Fraction:
    """The clip's own rate, at most ``fastest_rate``; for a track without a clip its median spacing."""
    fastest = Fraction(settings.fastest_rate).limit_denominator(1001)
    if swing.clip is not None:
        return min(swing.clip.nominal_rate, fastest)
    spacing = float(np.median(np.diff(swing.pose.time_s))) if len(swing.pose) > 1 else 1 / 30
    return min(Fraction(1 / spacing).limit_denominator(1001), fastest)


def plan_video(
    comparison: Comparison,
    *,
    lead: Lead = "student",
    speed: float = 1.0,
    hold_s: float = 0.4,
    settings: ComposeSettings = COMPOSE,
) -> Plan:
    """Lay out the video.

    Parameters
    ----------
    comparison : Comparison
    lead : who plays in his own time
    speed : float, > 0
        Clip seconds per video second.
    hold_s : float, ≥ 0
        Video seconds the picture stands still at each position of the leading player.

    Raises
    ------
    InputError
        A speed that is not positive or a negative hold.
    """
    if not (np.isfinite(speed) and speed > 0):
        raise InputError(f"A speed of {speed} cannot be played.", "Give a number above 0, for example 0.25.")
    if not (np.isfinite(hold_s) and hold_s >= 0):
        raise InputError(f"The picture cannot be held for {hold_s} s.", "Give 0 for no holds, or some seconds.")
    swing = comparison.student if lead == "student" else comparison.reference
    rate = output_rate(swing, settings)
    step_s = speed / float(rate)
    n = max(2, int(np.floor((swing.stop_s - swing.start_s) / step_s + 1e-6)) + 1)
    times = [(swing.start_s + k * step_s, None) for k in range(n)]
    n_held = round(hold_s * float(rate))
    marks: list[tuple[float, str | None]] = [
        (position.time_s, position.name) for position in swing.positions.found for _ in range(n_held)
    ]
    shots = sorted([*times, *marks], key=lambda shot: shot[0])
    lead_s = np.array([time_s for time_s, _ in shots])
    held = tuple(name for _, name in shots)
    if lead == "student":
        return Plan(lead, rate, lead_s, comparison.time_map.to_reference(lead_s), held)
    return Plan(lead, rate, comparison.time_map.to_student(lead_s), lead_s, held)


def phase_at(swing: Swing, time_s: float, held: str | None = None) -> str | None:
    """The phase a time lies in; for a held position the phase that it ends. None outside and across gaps."""
    if held is not None:
        for phase in PHASES:
            if phase.end == held and swing.positions.get(phase.start) is not None:
                return phase.name
        if held == "address":
            return None
    for phase in PHASES:
        start_s, end_s = swing.positions.time(phase.start), swing.positions.time(phase.end)
        if start_s is not None and end_s is not None and start_s <= time_s < end_s:
            return phase.name
    return None


def title_at(swing: Swing, time_s: float, held: str | None = None) -> str:
    """What the heading says: the held position, the phase, or between which positions the time lies."""
    if held is not None:
        return words(held).capitalize()
    phase = phase_at(swing, time_s)
    if phase is not None:
        return words(phase).capitalize()
    found = swing.positions.found
    before = [position for position in found if position.time_s <= time_s]
    after = [position for position in found if position.time_s > time_s]
    if not before:
        return "Before the swing"
    if not after:
        return "After the finish" if before[-1].name == "finish" else f"After {words(before[-1].name)}"
    return f"{words(before[-1].name)} to {words(after[0].name)}".capitalize()
