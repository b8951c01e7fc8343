"""What is kept of a season: players, their sessions, clips and swings, and what was read of each."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

import numpy as np

from overlay.arrays import FloatArray, IntArray
from overlay.data.answers import FilmingReport, Measure, PhaseDifference
from overlay.data.checks import frozen
from overlay.data.swing import Positions
from overlay.errors import DataError
from overlay.terms import PARTS, PHASES, Handedness, View

Aim = Literal["lower", "higher", "either"]
"""Which way the focus measure is meant to go. ``either``: any change counts."""

AIMS: tuple[Aim, ...] = ("lower", "higher", "either")


@dataclass(frozen=True)
class Player:
    """A player of the library.

    Attributes
    ----------
    id : int
    name : str
        Names that differ in case or spaces alone are the same player.
    handedness : Handedness or None
    stature_cm : float or None
    reference : str
        What his swings are compared with unless another is chosen: a model's name, "best", or "".
    """

    id: int
    name: str
    handedness: Handedness | None = None
    stature_cm: float | None = None
    reference: str = ""


@dataclass(frozen=True)
class Session:
    """One player, one day, one club: the unit of every statement about change.

    Attributes
    ----------
    id : int
    player_id : int
    player : str
    date : date
        The player's local day.
    club : str
        In the user's words; "" when not told.
    place, worked_on : str
    focus : str
        Name of the one measure that was declared, "" for none.
    aim : Aim
    n_clips, n_failed : int
        Clips that were read, and clips that could not be.
    n_swings : int
    tags : tuple of str
    """

    id: int
    player_id: int
    player: str
    date: datetime.date
    club: str = ""
    place: str = ""
    worked_on: str = ""
    focus: str = ""
    aim: Aim = "either"
    n_clips: int = 0
    n_failed: int = 0
    n_swings: int = 0
    tags: tuple[str, ...] = ()


@dataclass(frozen=True)
class KeptClip:
    """A clip of the library.

    Attributes
    ----------
    id, session_id : int
    content_hash : str
        Hex SHA-256 of the file: what the clip is known by.
    path : Path
        Where it was seen last.
    size_bytes : int
    recorded_at : float or None
        Seconds since 1970, as the file says or, failing that, as it was last changed.
    problem, hint : str
        Why nothing could be read from it and what to do; "" when it was read.
    inputs : str
        Digest of what was told about the clip and marked in it; with ``engine`` it decides whether to read it again.
    engine : str
        Which state of the code read it.
    n_swings : int
    told : str
        What was told about the clip when it was read, as JSON text (``ClipOptions``): how to read it again.
    """

    id: int
    session_id: int
    content_hash: str
    path: Path
    size_bytes: int
    recorded_at: float | None
    problem: str
    hint: str
    inputs: str
    engine: str
    n_swings: int
    told: str = ""


@dataclass(frozen=True)
class KeptSwing:
    """A swing of the library, as a table shows it.

    Attributes
    ----------
    id, clip_id, session_id : int
    player : str
    date : date
    club : str
    path : Path
        Of its clip, where it was seen last.
    number : int
        In its recording, from 1.
    view : View
    handedness : Handedness
    impact_s : float
        On the clip's playback clock; NaN when missing.
    slow_factor : float
        Playback seconds per second of the clock of the kept track (1 where the capture rate was not known).
    tempo_ratio : float
        Backswing ÷ downswing; NaN when missing.
    first : str
        Focus measure of what the checklist puts first; "" for nothing.
    filming : str
        Verdict of the filming check.
    is_best : bool
    tags : tuple of str
    values : mapping measure → value
        Of the measures that were asked for, valid ones alone.
    """

    id: int
    clip_id: int
    session_id: int
    player: str
    date: datetime.date
    club: str
    path: Path
    number: int
    view: View
    handedness: Handedness
    impact_s: float
    slow_factor: float
    tempo_ratio: float
    first: str = ""
    filming: str = ""
    is_best: bool = False
    tags: tuple[str, ...] = ()
    values: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Note:
    """A remark: whose it is, when it was written, what it says.

    ``target`` is "player", "session", "clip" or "swing", ``target_id`` the id of it; ``made_at`` is ISO 8601.
    """

    id: int
    target: Literal["player", "session", "clip", "swing"]
    target_id: int
    made_at: str
    text: str


@dataclass(frozen=True)
class SwingComparison:
    """How one swing differs from a kept reference.

    Attributes
    ----------
    reference_key : str
        Hex SHA-256 of the reference's model file: what the difference is to.
    reference_name : str
    engine : str
    differences : tuple of PhaseDifference
    first : str
        The first sentence of the answer.
    sharpness : str
    """

    reference_key: str
    reference_name: str
    engine: str
    differences: tuple[PhaseDifference, ...]
    first: str = ""
    sharpness: str = ""


@dataclass(frozen=True)
class SwingRead:
    """Everything that was read of one swing, ready to be kept.

    Attributes
    ----------
    number : int
    view, handedness
    positions : Positions
        On the clip's playback clock.
    model : bytes
        The swing as the content of a model file (``models.model_bytes``): its track, club, strike and positions.
    measures : tuple of Measure
        Of ``measure_swing``, and ``tempo_ratio``, ``backswing_s`` and ``downswing_s``.
    filming : FilmingReport
    first_focus, first_sentence : str
        What the checklist puts first; "" for nothing.
    slow_factor : float
    comparison : SwingComparison or None
    """

    number: int
    view: View
    handedness: Handedness
    positions: Positions
    model: bytes
    measures: tuple[Measure, ...]
    filming: FilmingReport
    first_focus: str = ""
    first_sentence: str = ""
    slow_factor: float = 1.0
    comparison: SwingComparison | None = None


@dataclass(frozen=True)
class ClipRead:
    """Everything that was read of one clip, or why nothing could be.

    Attributes
    ----------
    content_hash : str
    path : Path
    size_bytes : int
    recorded_at : float or None
    inputs, engine : str
        As ``KeptClip``.
    width, height : int
        Displayed size in px; 0 when it could not be opened.
    duration_s, rate_hz : float
        Of playback.
    swings : tuple of SwingRead
    notes : tuple of str
    problem, hint : str
        The two lines of the error; "" when it was read.
    problem_code : int
        Exit code of that error; 0 when it was read.
    told : str
        As ``KeptClip``.
    marks : str
        What was marked by hand on the clip when it was read, as its marks file has it; "" for nothing.
    """

    content_hash: str
    path: Path
    size_bytes: int
    recorded_at: float | None
    inputs: str
    engine: str
    width: int = 0
    height: int = 0
    duration_s: float = 0.0
    rate_hz: float = 0.0
    swings: tuple[SwingRead, ...] = ()
    notes: tuple[str, ...] = ()
    problem: str = ""
    hint: str = ""
    problem_code: int = 0
    told: str = ""
    marks: str = ""

    def __post_init__(self) -> None:
        if bool(self.problem) == bool(self.swings):
            raise DataError("A clip that was read has swings, and one that was not has a problem.", "Say which it is.")


DIFFERENCE_SUFFIXES = ("", "x", "y")


@dataclass(frozen=True)
class DifferenceName:
    """A phase difference as a measure: ``hands.backswing`` (its size), ``hands.backswing.x`` and ``.y`` (signed).

    >>> DifferenceName.parse("hands.backswing.x")
    DifferenceName(part='hands', phase='backswing', axis='x')
    """

    part: str
    phase: str
    axis: str = ""

    def __post_init__(self) -> None:
        if self.part not in PARTS or self.phase not in {phase.name for phase in PHASES}:
            raise DataError(f"{self.part}.{self.phase} is no part and phase.", "Use names such as hands.backswing.")
        if self.axis not in DIFFERENCE_SUFFIXES:
            raise DataError(f"{self.axis!r} is no direction of a difference.", "Use .x, .y or none.")

    def __str__(self) -> str:
        return ".".join(word for word in (self.part, self.phase, self.axis) if word)

    @classmethod
    def parse(cls, text: str) -> DifferenceName | None:
        """None when ``text`` is no such name but may be a measure's."""
        words = text.strip().split(".")
        if len(words) not in (2, 3):
            return None
        return cls(*words)


@dataclass(frozen=True)
class MeasureSeries:
    """One measure of one player over time, oldest first; what is not valid is left out.

    Attributes
    ----------
    name, unit : str
    view : View
    swing_id, session_id : (N,) int
    value : (N,) float
    low, high : (N,) float
        95 % interval of one value; NaN where not told.
    sessions : tuple of Session
        All sessions asked for, in time order, also those without a valid value.
    reference : (value, low, high) or None
        The same measure of the chosen reference, and its band where there is one.
    """

    name: str
    unit: str
    view: View
    swing_id: IntArray
    session_id: IntArray
    value: FloatArray
    low: FloatArray
    high: FloatArray
    sessions: tuple[Session, ...]
    reference: tuple[float, float, float] | None = None

    def __post_init__(self) -> None:
        n = len(self.value)
        for name in ("swing_id", "session_id"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.int64, (n,), name))
        for name in ("value", "low", "high"):
            object.__setattr__(self, name, frozen(getattr(self, name), np.float64, (n,), name))
        if not np.all(np.isfinite(self.value)):
            raise DataError(f"The series of {self.name} holds a value that is not finite.", "Leave it out.")

    def of_session(self, session_id: int) -> FloatArray:
        """(n,) values of one session."""
        return self.value[self.session_id == session_id]


@dataclass(frozen=True)
class SessionCamera:
    """How the clips of one session and view were filmed, taken together.

    Attributes
    ----------
    session_id : int
    view : View
    n_clips : int
    values, sds : mapping finding → value
        Mean over the clips of ``camera_height`` (cm), ``camera_offset`` (cm), ``yaw`` (deg), ``roll`` (deg),
        ``camera_distance`` (m), and the standard error of that mean; what was not seen is absent.
    """

    session_id: int
    view: View
    n_clips: int
    values: Mapping[str, float] = field(default_factory=dict)
    sds: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if set(self.values) != set(self.sds) or any(not math.isfinite(value) for value in self.values.values()):
            raise DataError("A session's camera has values without uncertainty.", "Leave out what was not seen.")
        for name in ("values", "sds"):
            object.__setattr__(self, name, MappingProxyType(dict(getattr(self, name))))

    def __reduce__(self) -> Any:
        return SessionCamera, (self.session_id, self.view, self.n_clips, dict(self.values), dict(self.sds))
