"""The data that stages pass to each other: frozen dataclasses over numpy, checked when they are made.

Times are seconds on the clip's own playback clock unless a name says otherwise. Missing is NaN, never 0.
Picture coordinates are pixels of the displayed picture (after rotation and mirroring), x right, y down.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, Mapping

import numpy as np

from overlay.arrays import AnyArray, BoolArray, FloatArray, Image
from overlay.errors import DataError
from overlay.landmarks import INDEX, MIRROR, N_LANDMARKS
from overlay.terms import PARTS, PHASES, POSITION_NAMES, Handedness, Source, View


def _frozen(values: AnyArray, dtype: Any, shape: tuple[int | None, ...], name: str) -> AnyArray:
    array = np.array(values, dtype=dtype)
    if array.ndim != len(shape) or any(want is not None and want != got for want, got in zip(shape, array.shape)):
        wanted = tuple("n" if want is None else want for want in shape)
        raise DataError(f"{name} has shape {array.shape}, wanted {wanted}.", "Check how the array was built.")
    array.setflags(write=False)
    return array


def _increasing(times: AnyArray, name: str) -> None:
    if not np.all(np.isfinite(times)):
        raise DataError(f"{name} holds values that are not finite.", "Every frame needs a time in seconds.")
    if np.any(np.diff(times) <= 0):
        raise DataError(f"{name} is not strictly increasing.", "Sort the frames by time and drop repeated times.")


@dataclass(frozen=True)
class Clip:
    """What is known of a recording without looking at its pictures.

    Attributes
    ----------
    path : Path
    content_hash : str
        Hex SHA-256 of the file (of the concatenated files for a folder of stills).
    width, height : int
        Displayed size in px, after rotation.
    rotation_deg : int
        Clockwise rotation already applied by the reader: 0, 90, 180, 270.
    mirrored : bool
        Whether the reader flips left and right on request, on top of any flip the file itself asks for. Opening the
        file again with this and ``rotation_deg`` shows the same.
    times_s : (N,) float
        Presentation times, strictly increasing, first is 0.
    nominal_rate : Fraction
        Playback frames per second as the container states it.
    capture_rate : Fraction or None
        Frames per second when filmed, if told or found in the file; None when not known.
    is_variable_rate : bool
        Whether frame spacing differs from the nominal one by more than a rounding step.
    has_audio : bool
    codec, pixel_format : str
    bit_depth : int
    warnings : tuple of str
        Sentences a user should see ("10-bit colour …").
    """

    path: Path
    content_hash: str
    width: int
    height: int
    rotation_deg: int
    mirrored: bool
    times_s: FloatArray
    nominal_rate: Fraction
    capture_rate: Fraction | None
    is_variable_rate: bool
    has_audio: bool
    codec: str = ""
    pixel_format: str = ""
    bit_depth: int = 8
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "times_s", _frozen(self.times_s, np.float64, (None,), "times_s"))
        _increasing(self.times_s, "times_s")
        if self.width < 1 or self.height < 1:
            raise DataError(f"A clip of {self.width}×{self.height} px has no picture.", "Check the file.")

    @property
    def n_frames(self) -> int:
        return len(self.times_s)

    @property
    def duration_s(self) -> float:
        """From the first presentation time to the end of the last frame."""
        return float(self.times_s[-1] - self.times_s[0]) + 1.0 / float(self.nominal_rate) if self.n_frames else 0.0

    @property
    def slow_factor(self) -> float:
        """Playback seconds per real second: 8.0 for 240 frames/s played at 30; 1.0 when nothing is known."""
        return float(self.capture_rate / self.nominal_rate) if self.capture_rate else 1.0


@dataclass(frozen=True)
class Frame:
    """One picture. ``index`` only fetches pixels; ``time_s`` says when it was."""

    index: int
    time_s: float
    image: Image


@dataclass(frozen=True)
class PoseTrack:
    """Joints of one person over time, in ``landmarks.LANDMARKS`` order (J = 33).

    Attributes
    ----------
    points : (T, J, 2) float, px, NaN where missing
    depth : (T, J) float, px, towards the camera is negative, NaN where missing (a guess of the pose model)
    visibility : (T, J) float, 0–1, 0 where missing
    time_s : (T,) float, strictly increasing
    image_size : (width, height) px
    source : str
        Name of the backend or file kind.
    model : str
        Model name and version, part of the cache key.
    filled : (T, J) bool
        True where the value was filled in by cleaning; never scored.
    log : tuple of str
        What was done to the track, in order.
    """

    points: FloatArray
    depth: FloatArray
    visibility: FloatArray
    time_s: FloatArray
    image_size: tuple[int, int]
    source: str
    model: str = ""
    filled: BoolArray = field(default_factory=lambda: np.zeros((0, 0), bool))
    log: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        n = len(self.time_s)
        fill = object.__setattr__
        fill(self, "points", _frozen(self.points, np.float64, (n, N_LANDMARKS, 2), "points"))
        fill(self, "depth", _frozen(self.depth, np.float64, (n, N_LANDMARKS), "depth"))
        fill(self, "visibility", _frozen(self.visibility, np.float64, (n, N_LANDMARKS), "visibility"))
        fill(self, "time_s", _frozen(self.time_s, np.float64, (n,), "time_s"))
        filled = self.filled if np.size(self.filled) else np.zeros((n, N_LANDMARKS), bool)
        fill(self, "filled", _frozen(filled, bool, (n, N_LANDMARKS), "filled"))
        _increasing(self.time_s, "time_s")
        if np.any(np.isinf(self.points)):
            raise DataError("points holds infinite values.", "Missing joints are NaN.")

    def __len__(self) -> int:
        return len(self.time_s)

    def joint(self, name: str) -> FloatArray:
        """(T, 2) px of one landmark."""
        return self.points[:, INDEX[name]]

    def mirrored(self) -> PoseTrack:
        """The track as seen in a mirror: x flipped, left and right swapped."""
        points = self.points[:, list(MIRROR)].copy()
        points[..., 0] = self.image_size[0] - points[..., 0]
        swap = list(MIRROR)
        return replace(
            self,
            points=points,
            depth=self.depth[:, swap],
            visibility=self.visibility[:, swap],
            filled=self.filled[:, swap],
            log=(*self.log, "mirrored"),
        )

    def between(self, start_s: float, stop_s: float) -> PoseTrack:
        """The frames with start_s ≤ time ≤ stop_s."""
        keep = (self.time_s >= start_s) & (self.time_s <= stop_s)
        return replace(
            self,
            points=self.points[keep],
            depth=self.depth[keep],
            visibility=self.visibility[keep],
            time_s=self.time_s[keep],
            filled=self.filled[keep],
        )


ClubState = Literal["measured", "marked", "interpolated", "hidden"]
CLUB_STATES: tuple[ClubState, ...] = ("measured", "marked", "interpolated", "hidden")


@dataclass(frozen=True)
class ClubTrack:
    """The shaft over time.

    Attributes
    ----------
    time_s : (T,) float
    grip : (T, 2) float, px
    angle_deg : (T,) float
        Clockwise from the picture's +x axis, grip towards club head; NaN where hidden.
    length_px : (T,) float
    state : tuple of T words: measured, marked, interpolated, hidden
    """

    time_s: FloatArray
    grip: FloatArray
    angle_deg: FloatArray
    length_px: FloatArray
    state: tuple[ClubState, ...]

    def __post_init__(self) -> None:
        n = len(self.time_s)
        fill = object.__setattr__
        fill(self, "time_s", _frozen(self.time_s, np.float64, (n,), "time_s"))
        fill(self, "grip", _frozen(self.grip, np.float64, (n, 2), "grip"))
        fill(self, "angle_deg", _frozen(self.angle_deg, np.float64, (n,), "angle_deg"))
        fill(self, "length_px", _frozen(self.length_px, np.float64, (n,), "length_px"))
        if len(self.state) != n or any(word not in CLUB_STATES for word in self.state):
            raise DataError("Club states do not fit the club track.", f"Use {', '.join(CLUB_STATES)}, one a frame.")
        _increasing(self.time_s, "time_s")


@dataclass(frozen=True)
class Position:
    """One of the nine positions: when, how sure (0–1), and what it was found from."""

    name: str
    time_s: float
    confidence: float
    source: Source = "pose"

    def __post_init__(self) -> None:
        if self.name not in POSITION_NAMES:
            raise DataError(f"{self.name!r} is not a position.", f"Use one of {', '.join(POSITION_NAMES)}.")
        if not math.isfinite(self.time_s) or not 0.0 <= self.confidence <= 1.0:
            raise DataError(
                f"Position {self.name} has no finite time or a confidence outside 0–1.", "Leave it out with a reason."
            )


@dataclass(frozen=True)
class Positions:
    """The positions of one swing: found ones in time order, and why the others are absent."""

    found: tuple[Position, ...]
    missing: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        order = [POSITION_NAMES.index(position.name) for position in self.found]
        times = [position.time_s for position in self.found]
        if order != sorted(set(order)) or any(b <= a for a, b in itertools.pairwise(times)):
            raise DataError("Positions are not in time order.", "Leave out a position that cannot be placed.")
        if set(self.missing) != set(POSITION_NAMES) - {position.name for position in self.found}:
            raise DataError("Every position is either found or missing with a reason.", "Complete the table.")
        object.__setattr__(self, "missing", MappingProxyType(dict(self.missing)))

    def __reduce__(self) -> Any:
        return Positions, (self.found, dict(self.missing))

    def get(self, name: str) -> Position | None:
        return next((position for position in self.found if position.name == name), None)

    def time(self, name: str) -> float | None:
        """Seconds, or None when the position is missing."""
        position = self.get(name)
        return None if position is None else position.time_s

    def times(self) -> dict[str, float]:
        """Name → seconds of the found ones."""
        return {position.name: position.time_s for position in self.found}


@dataclass(frozen=True)
class Swing:
    """One full swing: the cleaned track from a little before address to a little after the finish.

    ``pose`` is trimmed and cleaned. ``swing_number`` counts swings in the recording from 1.
    ``person_height_px`` is nose to ankles at address.
    ``quality`` holds named numbers (share of frames with hands seen, …), ``notes`` sentences for the user.
    """

    clip: Clip | None
    pose: PoseTrack
    view: View
    view_confidence: float
    handedness: Handedness
    handedness_confidence: float
    positions: Positions
    club: ClubTrack | None = None
    swing_number: int = 1
    torso_px: float = float("nan")
    quality: Mapping[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def start_s(self) -> float:
        return float(self.pose.time_s[0])

    @property
    def stop_s(self) -> float:
        return float(self.pose.time_s[-1])

    @property
    def slow_factor(self) -> float:
        return 1.0 if self.clip is None else self.clip.slow_factor

    @property
    def tempo_ratio(self) -> float | None:
        """(top − address) ÷ (impact − top), None when one of the three is missing."""
        address, top, impact = (self.positions.time(name) for name in ("address", "top", "impact"))
        if address is None or top is None or impact is None:
            return None
        return (top - address) / (impact - top)


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
        object.__setattr__(self, "student_s", _frozen(self.student_s, np.float64, (n,), "student_s"))
        object.__setattr__(self, "reference_s", _frozen(self.reference_s, np.float64, (n,), "reference_s"))
        if n < 2:
            raise DataError("A time map needs two knots.", "Give the start and the end of both swings.")
        _increasing(self.student_s, "student_s")
        _increasing(self.reference_s, "reference_s")

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
    """A named number with its interval, or the reason why it cannot be given."""

    name: str
    value: float
    unit: str
    interval: tuple[float, float] | None = None
    valid: bool = True
    reason: str = ""


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
