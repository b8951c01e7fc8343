"""What is said of a swing: time map, measures, guide lines, checks, filming, and the comparison."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal, Mapping

import numpy as np

from overlay.arrays import AnyArray, FloatArray
from overlay.data.checks import frozen, increasing
from overlay.data.swing import Swing
from overlay.errors import DataError
from overlay.terms import GUIDE_NAMES, PARTS, PHASES

if TYPE_CHECKING:
    from overlay.data.model import CameraPart, Model, ReferenceFit


@dataclass(frozen=True)
class TimeMap:
    """Strictly monotone map from the student's clip time to the reference's, with its inverse.

    Attributes
    ----------
    student_s, reference_s : (K,) float, both strictly increasing
        Knots of a shape-preserving cubic (PCHIP, Fritsch & Carlson 1980).
    outer_slope : float, > 0
        Reference seconds per student second outside the knots: 1 when both play at the same speed, the ratio
        of their slow factors otherwise.
    diagnostics : mapping
        Named numbers: DTW cost per step, slope range, what was refined.
    notes : tuple of str
        Sentences for the user where the map is doubtful.
    """

    student_s: FloatArray
    reference_s: FloatArray
    diagnostics: Mapping[str, float] = field(default_factory=dict)
    outer_slope: float = 1.0
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.student_s)
        if not (math.isfinite(self.outer_slope) and self.outer_slope > 0):
            raise DataError(f"An outer slope of {self.outer_slope} is not positive.", "Give reference s per student s.")
        object.__setattr__(self, "student_s", frozen(self.student_s, np.float64, (n,), "student_s"))
        object.__setattr__(self, "reference_s", frozen(self.reference_s, np.float64, (n,), "reference_s"))
        if n < 2:
            raise DataError("A time map needs two knots.", "Give the start and the end of both swings.")
        increasing(self.student_s, "student_s")
        increasing(self.reference_s, "reference_s")

    def to_reference(self, student_s: AnyArray | float) -> FloatArray:
        """Reference time of each student time, same shape, s."""
        return _monotone(self.student_s, self.reference_s, student_s, self.outer_slope)

    def to_student(self, reference_s: AnyArray | float) -> FloatArray:
        """Student time of each reference time, same shape, s. Inverts ``to_reference`` to < 1 µs."""
        return _inverse(self.student_s, self.reference_s, reference_s, self.outer_slope)

    def slopes(self, step_s: float = 0.02) -> FloatArray:
        """Reference seconds per student second, sampled every ``step_s`` between the outer knots."""
        times = np.arange(self.student_s[0], self.student_s[-1] + step_s / 2, step_s)
        return np.diff(self.to_reference(times)) / np.diff(times)


def _monotone(x: FloatArray, y: FloatArray, at: AnyArray | float, slope: float) -> FloatArray:
    from scipy.interpolate import PchipInterpolator

    at = np.asarray(at, np.float64)
    inside = PchipInterpolator(x, y)(np.clip(at, x[0], x[-1]))
    result = inside + slope * (np.minimum(at - x[0], 0.0) + np.maximum(at - x[-1], 0.0))
    return np.asarray(result, np.float64)


def _inverse(x: FloatArray, y: FloatArray, at: AnyArray | float, slope: float) -> FloatArray:
    at = np.asarray(at, np.float64)
    low = np.where(at < y[0], x[0] + (at - y[0]) / slope, np.where(at > y[-1], x[-1] + (at - y[-1]) / slope, 0.0))
    inside = (at >= y[0]) & (at <= y[-1])
    if not np.any(inside):
        return np.asarray(low, np.float64)
    # Bisection inside the bracketing knots: certain to converge on a monotone map, 50 halvings reach rounding.
    wanted = at[inside]
    segment = np.clip(np.searchsorted(y, wanted, side="right") - 1, 0, len(x) - 2)
    a, b = x[segment].copy(), x[segment + 1].copy()
    for _ in range(50):
        middle = (a + b) / 2
        above = _monotone(x, y, middle, slope) > wanted
        b = np.where(above, middle, b)
        a = np.where(above, a, middle)
    result = np.asarray(low, np.float64).copy()
    result[inside] = (a + b) / 2
    return result


@dataclass(frozen=True)
class Measure:
    """A named number with its interval (95 %), or the reason why it cannot be given.

    ``position`` and ``time_s`` say where it was read: the still that shows it. None when it belongs to no instant.
    """

    name: str
    value: float
    unit: str
    interval: tuple[float, float] | None = None
    valid: bool = True
    reason: str = ""
    position: str = ""
    time_s: float | None = None


@dataclass(frozen=True)
class Guide:
    """A line or zone drawn from the player's own address, in px of the address frame.

    Attributes
    ----------
    name : one of ``terms.GUIDE_NAMES``
    kind : "line" (two points, drawn between them) or "zone" (a closed polygon)
    points : (N, 2) float, px; empty when it cannot be drawn
    reason : why it cannot be drawn, "" otherwise
    """

    name: str
    kind: Literal["line", "zone"]
    points: FloatArray
    reason: str = ""

    def __post_init__(self) -> None:
        n = len(self.points)
        object.__setattr__(self, "points", frozen(np.reshape(self.points, (n, 2)), np.float64, (n, 2), "points"))
        if self.name not in GUIDE_NAMES:
            raise DataError(f"{self.name!r} is not a guide line.", f"Use one of {', '.join(GUIDE_NAMES)}.")
        if not self.reason and (n < 2 or (self.kind == "line" and n != 2) or not np.all(np.isfinite(self.points))):
            raise DataError(f"The guide line {self.name} has {n} usable points.", "Say why it cannot be drawn.")


Verdict = Literal["in", "out", "unclear", "not measured"]
"""Of a check: inside its tolerance, outside it, so near to its edge that the interval crosses it, no valid value."""


@dataclass(frozen=True)
class Check:
    """One line of the checklist: a measure held against a tolerance, and against the reference where there is one.

    Attributes
    ----------
    row : int
        Row of the checklist it belongs to, from 1; rows come in the order in which they are worked on.
    title : str
        What the row looks at, in a coach's words.
    measure : Measure
    tolerance : (low, high) in the measure's unit; an end may be infinite
    verdict : Verdict
    sentence : str
        The verdict in plain words.
    reference : Measure or None
    difference : Measure or None
        Student − reference with its interval, invalid with a reason when one of the two is.
    differs : bool
        The difference lies beyond the noise.
    """

    row: int
    title: str
    measure: Measure
    tolerance: tuple[float, float]
    verdict: Verdict
    sentence: str
    reference: Measure | None = None
    difference: Measure | None = None
    differs: bool = False


@dataclass(frozen=True)
class FirstThing:
    """The one thing to work on, or the plain statement that there is nothing.

    ``check`` is None when nothing was found. ``why`` says why it comes first, ``look_for`` what to look for in the
    next rep, ``focus`` the name of the measure to declare as focus; "" when nothing was found.
    """

    sentence: str
    check: Check | None = None
    why: str = ""
    look_for: str = ""
    focus: str = ""


@dataclass(frozen=True)
class Checklist:
    """All checks of one swing in their order, and what comes first."""

    checks: tuple[Check, ...]
    first: FirstThing
    source: str = ""
    """Where the checklist came from: "default" or a file name."""
    notes: tuple[str, ...] = ()


FilmingVerdict = Literal["pass", "warn", "fail", "not seen"]


@dataclass(frozen=True)
class FilmingFinding:
    """One thing about how the clip was filmed.

    Attributes
    ----------
    name : str
    value : float
        Measured; NaN when not seen.
    unit : str
    interval : (low, high) or None
    verdict : FilmingVerdict
    sentence : str
        What was found.
    advice : str
        What to do about it; "" when it is good.
    """

    name: str
    value: float
    unit: str
    interval: tuple[float, float] | None
    verdict: FilmingVerdict
    sentence: str
    advice: str = ""


@dataclass(frozen=True)
class FilmingReport:
    """The filming check of one clip, most important finding first."""

    findings: tuple[FilmingFinding, ...]

    @property
    def verdict(self) -> FilmingVerdict:
        """The worst verdict there is."""
        order: tuple[FilmingVerdict, ...] = ("fail", "warn", "pass")
        seen = {finding.verdict for finding in self.findings}
        return next((word for word in order if word in seen), "not seen")

    def get(self, name: str) -> FilmingFinding | None:
        return next((finding for finding in self.findings if finding.name == name), None)


Words = Literal["no difference detected", "small", "moderate", "large", "very large", "not scored"]


@dataclass(frozen=True)
class PhaseDifference:
    """How far one body part is from the reference in one phase.

    Attributes
    ----------
    phase, part : str
    value : float
        Debiased size of the difference, torso lengths; NaN when not scored.
    interval : (low, high), torso lengths
    offset : (x, y), torso lengths
        Mean signed difference, x towards the lead side of a right-hander's picture, y down.
    words : str
        "no difference detected", "small" … or "not scored".
    score : float
        0–100, NaN when not scored.
    score_interval : (low, high)
    detectable : float
        Smallest change that would have been seen 95 % of the time, torso lengths.
    value_cm : float or None
        Where stature is given.
    reason : str
        Why it is not scored, "" otherwise.
    """

    phase: str
    part: str
    value: float
    interval: tuple[float, float]
    offset: tuple[float, float]
    words: Words
    score: float
    score_interval: tuple[float, float]
    detectable: float
    value_cm: float | None = None
    reason: str = ""

    def __post_init__(self) -> None:
        if self.phase not in {phase.name for phase in PHASES} or self.part not in PARTS:
            raise DataError(f"{self.phase}/{self.part} is not a phase and part.", "Use the names of overlay.terms.")


@dataclass(frozen=True)
class PhaseTiming:
    """How long a phase took for both, real seconds when the capture rate is known, and the difference in ms.

    ``reference_s`` and ``difference_ms`` are NaN, and ``reason`` is set, when the phase is missing on a side
    or the clip's speed is not trusted.
    """

    phase: str
    student_s: float
    reference_s: float
    difference_ms: float
    uncertainty_ms: float
    reason: str = ""


@dataclass(frozen=True)
class Comparison:
    """The answer: two swings, how their times map, and where they differ."""

    student: Swing
    reference: Swing
    time_map: TimeMap
    differences: tuple[PhaseDifference, ...]
    timings: tuple[PhaseTiming, ...]
    sharpness: str
    """One sentence: how fine a difference this comparison can see."""
    notes: tuple[str, ...] = ()
    first: PhaseDifference | None = None
    """The earliest difference that was detected; None when none was."""
    largest: PhaseDifference | None = None
    """The largest difference that was detected, in multiples of its noise; None when none was."""
    setup: tuple[Measure, ...] = ()
    """Student − reference at address (angles, distances), which no phase counts."""
    checklist: Checklist | None = None
    filming: tuple[FilmingReport, FilmingReport] | None = None
    """Of the student's and the reference clip."""
    camera_match: tuple[FilmingFinding, ...] = ()
    """How the two cameras differ, and what that does to the picture."""
    reference_model: Model | None = None
    """The kept reference that ``reference`` came from; None for a clip or a saved track."""
    fit: ReferenceFit | None = None
    """How the reference was brought to the student's build. ``reference`` stays as it was filmed, but for a swing in
    space, which exists only as fitted. The differences are those to ``fit.scored``."""
    camera_parts: tuple[CameraPart, ...] = ()
    """What of the detected differences the two cameras could explain."""

    @property
    def scored_reference(self) -> Swing:
        """The reference that the differences are to."""
        return self.reference if self.fit is None else self.fit.scored
