"""One swing: its positions, its strike, and what a person corrected by hand."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Mapping

from overlay.data.recording import CameraMotion, Clip, ClubTrack, PoseTrack
from overlay.errors import DataError
from overlay.terms import POSITION_NAMES, Handedness, Source, View


@dataclass(frozen=True)
class Ball:
    """The ball at rest before the strike.

    Attributes
    ----------
    place : (x, y) px, at address
    diameter_px : float
    confidence : float, 0–1
    last_seen_s, gone_s : float
        Last frame that shows it at its place, and first that does not; NaN when it never leaves.
    """

    place: tuple[float, float]
    diameter_px: float
    confidence: float
    last_seen_s: float = float("nan")
    gone_s: float = float("nan")


@dataclass(frozen=True)
class StrikeClue:
    """What one source says of the strike: source, s and its standard deviation."""

    source: Source
    time_s: float
    sd_s: float


@dataclass(frozen=True)
class Strike:
    """When the club met the ball, fused from all clues, and whether it did.

    Attributes
    ----------
    time_s, sd_s : float
        NaN when there is no clue.
    struck : bool or None
        False: the ball stayed where it lay, or there is none, and nothing was heard: a rehearsal. None: cannot be told.
    ball : Ball or None
    clues : tuple of StrikeClue
        Those used; the pose's own is not among them.
    reason : str
        A sentence: what was seen and heard, or why nothing can be told.
    """

    time_s: float
    sd_s: float
    struck: bool | None
    ball: Ball | None = None
    clues: tuple[StrikeClue, ...] = ()
    reason: str = ""


@dataclass(frozen=True)
class ClubMark:
    """Grip and club head as a person clicked them on the frame at ``time_s``, px of the displayed picture."""

    time_s: float
    grip: tuple[float, float]
    head: tuple[float, float]

    def __post_init__(self) -> None:
        if not all(math.isfinite(value) for value in (self.time_s, *self.grip, *self.head)):
            raise DataError("A club mark has a time or a point that is not finite.", "Give seconds and pixels.")
        if math.dist(self.grip, self.head) < 1.0:
            raise DataError(
                f"Grip and club head of the mark at {self.time_s:.3f} s fall together.", "Mark two different points."
            )


@dataclass(frozen=True)
class PositionMark:
    """The time of a position as a person set it; it belongs to the swing whose stretch of the clip holds it."""

    name: str
    time_s: float

    def __post_init__(self) -> None:
        if self.name not in POSITION_NAMES:
            raise DataError(f"{self.name!r} is not a position.", f"Use one of {', '.join(POSITION_NAMES)}.")
        if not math.isfinite(self.time_s):
            raise DataError(f"The mark of {self.name} has no finite time.", "Give seconds.")


@dataclass(frozen=True)
class Marks:
    """Everything a person corrected by hand on one clip."""

    view: View | None = None
    handedness: Handedness | None = None
    positions: tuple[PositionMark, ...] = ()
    club: tuple[ClubMark, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.view or self.handedness or self.positions or self.club)


@dataclass(frozen=True)
class Position:
    """One of the nine positions: when, how sure (0–1), and what it was found from.

    ``sd_s`` is the standard deviation of the time, s of playback; None when not told.
    """

    name: str
    time_s: float
    confidence: float
    source: Source = "pose"
    sd_s: float | None = None

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
    strike: Strike | None = None
    camera_motion: CameraMotion | None = None
    """None: taken as standing still."""

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
