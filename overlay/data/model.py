"""What a student is compared with, when it is more than a second clip: kept swings, templates, swings in space."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Literal, Mapping

import numpy as np

from overlay.arrays import FloatArray
from overlay.data.answers import FilmingReport, Measure, TimeMap
from overlay.data.checks import frozen, increasing
from overlay.data.space import Camera, SpaceTrack
from overlay.data.swing import Swing
from overlay.errors import DataError
from overlay.terms import PARTS, PHASES, View

ModelKind = Literal["swing", "template", "space"]
"""One kept swing; the middle of several; a swing in space that is posed on the student's body."""

_PHASE_NAMES = frozenset(phase.name for phase in PHASES)


@dataclass(frozen=True)
class Spread:
    """Spread of one part in one phase: SD of one coordinate of its phase mean between swings, and its certainty.

    Attributes
    ----------
    sd : float, torso lengths, > 0
    df : float
        Degrees of freedom, ≥ 1.
    """

    sd: float
    df: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.sd) and self.sd > 0 and math.isfinite(self.df) and self.df >= 1):
            raise DataError(f"A spread of {self.sd} with {self.df} degrees of freedom.", "Leave the part out.")


@dataclass(frozen=True)
class Band:
    """How much the swings behind a template vary.

    Attributes
    ----------
    n_swings : int
        Swings that entered the template.
    spreads : mapping (phase, part) → Spread
        What is absent was not measured often enough.
    of : "one player", "several players" or ""
    """

    n_swings: int
    spreads: Mapping[tuple[str, str], Spread] = field(default_factory=dict)
    of: str = ""

    def __post_init__(self) -> None:
        if self.n_swings < 1:
            raise DataError(f"A band of {self.n_swings} swings.", "A template has at least one swing.")
        for phase, part in self.spreads:
            if phase not in _PHASE_NAMES or part not in PARTS:
                raise DataError(f"{phase}/{part} is not a phase and part.", "Use the names of overlay.terms.")
        object.__setattr__(self, "spreads", MappingProxyType(dict(self.spreads)))

    def __reduce__(self) -> Any:
        return Band, (self.n_swings, dict(self.spreads), self.of)

    def get(self, phase: str, part: str) -> Spread | None:
        return self.spreads.get((phase, part))


@dataclass(frozen=True)
class KeptPictures:
    """Cut-outs of the player that are kept with a model, each an encoded picture.

    Attributes
    ----------
    times_s : (N,) float, strictly increasing, on the clock of the model's swing
    size : (width, height) px
        Of the decoded cut-outs; they cover the whole picture of the swing's track, at a scale.
    colours : tuple of N bytes
        JPEG, RGB once decoded; what does not belong to the person is black.
    alphas : tuple of N bytes
        PNG, 8-bit grey, 0 background … 255 person.
    """

    times_s: FloatArray
    size: tuple[int, int]
    colours: tuple[bytes, ...]
    alphas: tuple[bytes, ...]

    def __post_init__(self) -> None:
        n = len(self.times_s)
        object.__setattr__(self, "times_s", frozen(self.times_s, np.float64, (n,), "times_s"))
        increasing(self.times_s, "times_s")
        if len(self.colours) != n or len(self.alphas) != n:
            raise DataError("Kept pictures and their times differ in number.", "Give one of each.")


@dataclass(frozen=True)
class Provenance:
    """Where a model came from, as far as its maker wished to say.

    Attributes
    ----------
    made_at : str
        ISO 8601 date and time.
    made_by : str
        "overlay" and its version.
    pose_model : str
    sources : tuple of str
        File names (no folders) or words, one a swing.
    left_out : tuple of str
        Swings that were given and left out, each with the reason.
    label : str
        A sentence that is shown wherever the model is ("Illustrative template, not a norm.").
    notes : tuple of str
        Sources of its numbers, a coach's remarks.
    """

    made_at: str = ""
    made_by: str = ""
    pose_model: str = ""
    sources: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    label: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Model:
    """A reference that is kept under a name.

    Attributes
    ----------
    name : str
    kind : ModelKind
    swings : mapping view → Swing
        Of a kept swing or a template: one or both views. Their ``clip`` is None and their times are real seconds where
        the capture rate was known. Empty for a swing in space.
    bands : mapping view → Band
    space : SpaceTrack or None
        Of a swing in space, always right-handed as kept.
    pictures : mapping view → KeptPictures
    filming : mapping view → FilmingReport
        How the kept clip was filmed.
    pair_map : TimeMap or None
        Down-the-line time → face-on time, where both views are of one swing or were paired.
    club_kind : str
        "mid iron", "driver", or the user's own words; "" when not told.
    player : str
        As the user names the player; "" when not told.
    provenance : Provenance
    """

    name: str
    kind: ModelKind
    swings: Mapping[View, Swing] = field(default_factory=dict)
    bands: Mapping[View, Band] = field(default_factory=dict)
    space: SpaceTrack | None = None
    pictures: Mapping[View, KeptPictures] = field(default_factory=dict)
    filming: Mapping[View, FilmingReport] = field(default_factory=dict)
    pair_map: TimeMap | None = None
    club_kind: str = ""
    player: str = ""
    provenance: Provenance = field(default_factory=Provenance)

    def __post_init__(self) -> None:
        if self.kind not in ("swing", "template", "space"):
            raise DataError(f"{self.kind!r} is not a kind of model.", "Use swing, template or space.")
        if (self.kind == "space") != (self.space is not None) or (self.kind == "space") == bool(self.swings):
            raise DataError(f"The model {self.name} does not hold what a {self.kind} model holds.", "Make it again.")
        for table in ("swings", "bands", "pictures", "filming"):
            object.__setattr__(self, table, MappingProxyType(dict(getattr(self, table))))
        if any(view != swing.view for view, swing in self.swings.items()):
            raise DataError(f"A view of the model {self.name} holds a swing of another view.", "Make it again.")

    @property
    def views(self) -> tuple[View, ...]:
        """The views it can be compared in."""
        return ("dtl", "fo") if self.kind == "space" else tuple(self.swings)


@dataclass(frozen=True)
class ReferenceFit:
    """A reference brought to the student's build, and for a swing in space into his picture.

    Attributes
    ----------
    kind : "space" or "picture"
        A swing in space that was posed and projected; or another clip whose segments were scaled in the picture.
    swing : Swing
        The fitted reference: what is scored and drawn. "space": in px of the student's address frame. "picture": in px
        of the reference's own picture, feet where they were.
    factors : mapping segment → student's length ÷ reference's
        1 where it was not changed.
    sd : mapping part → torso lengths
        What the fit itself may be wrong by in one coordinate of a phase mean; enters the noise of the scores.
    residual : float
        Median distance of fitted and student's joints at address, torso lengths.
    camera : Camera or None
        The student's camera as estimated; with "space" only.
    camera_sd : mapping name → SD
        ``height_m``, ``distance_m``, ``offset_m``, ``yaw_deg``, …, as far as estimated.
    notes : tuple of str
        What could not be fitted, for the user.
    reported : Swing or None
        ``swing`` as the student's pose model would report it: its habits are in the student's joints and must be in
        what they are compared with. None where they are not known or in both already.
    """

    kind: Literal["space", "picture"]
    swing: Swing
    factors: Mapping[str, float] = field(default_factory=dict)
    sd: Mapping[str, float] = field(default_factory=dict)
    residual: float = float("nan")
    camera: Camera | None = None
    camera_sd: Mapping[str, float] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    reported: Swing | None = None

    @property
    def scored(self) -> Swing:
        """What alignment and scores are against."""
        return self.swing if self.reported is None else self.reported

    @property
    def in_student_picture(self) -> bool:
        """Whether the fitted swing lies in px of the student's picture."""
        return self.kind == "space"


@dataclass(frozen=True)
class CameraPart:
    """What of one difference the two cameras could explain.

    Attributes
    ----------
    phase, part : str
    offset : (x, y), torso lengths
        The difference that one and the same movement would show between the two cameras.
    sd : float, torso lengths
        Uncertainty of ``offset`` in one coordinate.
    could_explain : float, torso lengths
        How much of the measured difference the cameras could account for at most (95 %).
    share : float, 0–1
        ``could_explain`` ÷ the measured difference.
    """

    phase: str
    part: str
    offset: tuple[float, float]
    sd: float
    could_explain: float
    share: float


@dataclass(frozen=True)
class ViewPair:
    """The down-the-line and the face-on picture of one swing, or of two swings of one player.

    Attributes
    ----------
    dtl, fo : Swing
    time_map : TimeMap
        Down-the-line clip time → face-on clip time.
    one_swing : bool
        True: one swing under two cameras; False: two swings of the same player, shown in step.
    sd_s : float
        Uncertainty of the map at impact, real s.
    evidence : tuple of str
        Sentences: what the pairing rests on ("The strike is heard 0.412 s apart …").
    measures : tuple of Measure
        Those that need both views.
    """

    dtl: Swing
    fo: Swing
    time_map: TimeMap
    one_swing: bool
    sd_s: float
    evidence: tuple[str, ...] = ()
    measures: tuple[Measure, ...] = ()
