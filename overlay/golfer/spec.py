"""What a synthetic golfer is: body, tempo, style, faults. Checked when made; to and from plain dictionaries."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Literal, Mapping

from overlay.errors import InputError
from overlay.golfer.controls import LIMITS
from overlay.terms import Handedness

Build = Literal["slim", "medium", "broad"]
ClubKind = Literal["mid_iron", "driver"]

FAULTS: Mapping[str, str] = MappingProxyType(
    {
        "sway": "pelvis 8 cm further away from the target through the backswing, upper body half of that",
        "over_the_top": "hands 9 cm further out towards the ball line at lead arm level down, shaft 14° steeper",
        "early_release": (
            "shaft 40° further released at lead arm level down, hands 7 cm back at impact, club 13 to 16° further "
            "ahead of the trail arm at shaft level through"
        ),
        "reverse_spine": "upper body leaning 14° more towards the target at the top",
        "flat_shoulder_turn": "shoulders turning 20° flatter at the top",
        "laid_off": "shaft turned 25° to the left at the top, seen from above (right-hander)",
        "across_the_line": "shaft turned 25° to the right at the top, seen from above (right-hander)",
        "posture_loss": "pelvis 8 cm towards the ball and head 4 cm higher at impact",
    }
)
"""Name → what size 1 means."""

CLUB_LENGTH_M: Mapping[str, float] = MappingProxyType({"mid_iron": 0.94, "driver": 1.14})
"""Common practice: a mid iron of about 37 in, a driver of about 45 in."""


def _in_range(owner: object, name: str, low: float, high: float) -> None:
    value = getattr(owner, name)
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise InputError(
            f"{name} of the golfer is {value!r}, not a number.", f"Give a number from {low:g} to {high:g}."
        )
    if not low <= value <= high:
        raise InputError(f"{name} of the golfer is {value:g}.", f"Give a number from {low:g} to {high:g}.")


@dataclass(frozen=True)
class BodySpec:
    """Stature and proportions.

    Segment lengths are stature × the fractions of Drillis & Contini 1966 (in Winter 2009, fig. 4.1) × the scale of
    that segment.

    Attributes
    ----------
    stature_m : float
    build : slim, medium or broad
        Thickness only; used where the body is drawn.
    arm, forearm, hand, thigh, shank, trunk, shoulders, hips, head, foot : float
        Scale factors, 1 = the table's value.
    """

    stature_m: float = 1.78
    build: Build = "medium"
    arm: float = 1.0
    forearm: float = 1.0
    hand: float = 1.0
    thigh: float = 1.0
    shank: float = 1.0
    trunk: float = 1.0
    shoulders: float = 1.0
    hips: float = 1.0
    head: float = 1.0
    foot: float = 1.0

    def __post_init__(self) -> None:
        _in_range(self, "stature_m", 1.2, 2.2)
        if self.build not in ("slim", "medium", "broad"):
            raise InputError(f"build of the golfer is {self.build!r}.", "Use slim, medium or broad.")
        for name in ("arm", "forearm", "hand", "thigh", "shank", "trunk", "shoulders", "hips", "head", "foot"):
            _in_range(self, name, 0.8, 1.2)

    def lengths_m(self) -> dict[str, float]:
        """Segment name → metres."""
        h = self.stature_m
        return {
            "upper_arm": 0.186 * h * self.arm,
            "forearm": 0.146 * h * self.forearm,
            "hand": 0.108 * h * self.hand,
            "thigh": (0.530 - 0.285) * h * self.thigh,
            "shank": (0.285 - 0.039) * h * self.shank,
            "ankle_height": 0.039 * h * self.foot,
            "foot": 0.152 * h * self.foot,
            "trunk": (0.818 - 0.530) * h * self.trunk,
            "shoulder_width": 0.259 * h * self.shoulders,
            "hip_width": 0.191 * h * self.hips,
            "neck_to_head": (0.936 - 0.818) * h * self.head,
        }


@dataclass(frozen=True)
class TempoSpec:
    """Durations in seconds. Defaults: medians of the GolfDB event labels (McNally et al. 2019).

    Attributes
    ----------
    pre_s : float
        Before the club moves away: standing, waggle, stillness.
    backswing_s, downswing_s : float
        Address → top, top → impact.
    through_s : float
        Impact → the end position is reached.
    hold_s : float
        The end position is held; its last moment is the position "finish".
    relax_s : float
        Letting the club down.
    post_s : float
        Standing afterwards.
    waggle : float
        Size of the waggle before address, 0 none, 1 usual.
    """

    pre_s: float = 1.6
    backswing_s: float = 0.87
    downswing_s: float = 0.27
    through_s: float = 0.50
    hold_s: float = 0.17
    relax_s: float = 1.3
    post_s: float = 0.3
    waggle: float = 1.0

    def __post_init__(self) -> None:
        _in_range(self, "pre_s", 0.3, 600.0)
        _in_range(self, "backswing_s", 0.3, 20.0)
        _in_range(self, "downswing_s", 0.1, 10.0)
        _in_range(self, "through_s", 0.25, 20.0)
        _in_range(self, "hold_s", 0.05, 600.0)
        _in_range(self, "relax_s", 0.4, 60.0)
        _in_range(self, "post_s", 0.0, 600.0)
        _in_range(self, "waggle", 0.0, 3.0)


STYLE_LIMITS: Mapping[str, float] = MappingProxyType(
    {
        "shoulder_turn_deg": 25.0,
        "pelvis_turn_deg": 15.0,
        "hands_height": 0.25,
        "hands_depth": 0.25,
        "shaft_top_deg": 40.0,
        "plane_deg": 8.0,
        "forward_bend_deg": 8.0,
        "knee_flex_deg": 12.0,
        "stance_width": 0.35,
        "arm_hang_deg": 8.0,
        "shift_m": 0.08,
        "lag_deg": 30.0,
        "shaft_lean_m": 0.06,
        "finish_height": 0.2,
        "trail_foot_lift_deg": 15.0,
        "flare_deg": 15.0,
    }
)
"""Field of ``StyleSpec`` → how far it may lie from the usual swing, either way."""


@dataclass(frozen=True)
class StyleSpec:
    """How good players differ from each other; every value is an offset from the usual swing, 0 = usual.

    Attributes
    ----------
    shoulder_turn_deg, pelvis_turn_deg : float
        More (+) or less turn at the top.
    hands_height, hands_depth : float
        At the top, fraction of arm length: higher (+), deeper behind (+).
    shaft_top_deg : float
        Longer (+, past parallel) or shorter swing.
    plane_deg : float
        Steeper (+) or flatter swing of the shaft.
    forward_bend_deg : float
        More (+) bend from the hips at address.
    knee_flex_deg : float
        More (+) knee flex.
    stance_width : float
        Fraction of the usual width, + wider.
    arm_hang_deg : float
        Hands further (+) from or nearer to the body at address.
    shift_m : float
        More (+) pelvis shift towards the target in the downswing.
    lag_deg : float
        More (+) wrist angle kept in the downswing.
    shaft_lean_m : float
        Hands further (+) ahead of the ball at impact.
    finish_height : float
        Higher (+) hands at the finish, fraction of arm length.
    trail_foot_lift_deg : float
        More (+) heel lift at the finish.
    flare_deg : float
        Lead foot turned out more (+).
    """

    shoulder_turn_deg: float = 0.0
    pelvis_turn_deg: float = 0.0
    hands_height: float = 0.0
    hands_depth: float = 0.0
    shaft_top_deg: float = 0.0
    plane_deg: float = 0.0
    forward_bend_deg: float = 0.0
    knee_flex_deg: float = 0.0
    stance_width: float = 0.0
    arm_hang_deg: float = 0.0
    shift_m: float = 0.0
    lag_deg: float = 0.0
    shaft_lean_m: float = 0.0
    finish_height: float = 0.0
    trail_foot_lift_deg: float = 0.0
    flare_deg: float = 0.0

    def __post_init__(self) -> None:
        for name, limit in STYLE_LIMITS.items():
            _in_range(self, name, -limit, limit)


@dataclass(frozen=True)
class GolferSpec:
    """One swing of one invented player.

    Attributes
    ----------
    body, tempo, style
    faults : name → size
        See ``FAULTS``; 0 none, 1 clearly visible, 2 gross.
    handedness : right or left
    club : mid_iron or driver
    seed : int
        Human variation from swing to swing; the same seed gives the same swing.
    variation : float
        Size of that variation, 0 none, 1 usual: hands 3 % of torso length in space (2.6 % in a picture), tempo 2 %.
    controls : name → size
        Finer changes of the movement, see ``controls``; those of a reference model are solved for by its maker.
    """

    body: BodySpec = field(default_factory=BodySpec)
    tempo: TempoSpec = field(default_factory=TempoSpec)
    faults: Mapping[str, float] = field(default_factory=dict)
    handedness: Handedness = "right"
    club: ClubKind = "mid_iron"
    style: StyleSpec = field(default_factory=StyleSpec)
    seed: int = 0
    variation: float = 0.0
    controls: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for name, size in self.controls.items():
            if name not in LIMITS:
                raise InputError(f"{name!r} is not a control.", f"Use {', '.join(LIMITS)}.")
            number = isinstance(size, (int, float)) and not isinstance(size, bool)
            if not number or not abs(size) <= LIMITS[name]:
                raise InputError(f"Control {name} has size {size!r}.", f"Give a number up to ±{LIMITS[name]:g}.")
        object.__setattr__(self, "controls", MappingProxyType(dict(self.controls)))
        for name, size in self.faults.items():
            if name not in FAULTS:
                raise InputError(f"{name!r} is not a fault.", f"Use {', '.join(FAULTS)}.")
            if isinstance(size, bool) or not isinstance(size, (int, float)) or not 0.0 <= size <= 2.0:
                raise InputError(f"Fault {name} has size {size!r}.", "Give a size from 0 to 2.")
        if self.handedness not in ("right", "left"):
            raise InputError(f"handedness of the golfer is {self.handedness!r}.", "Use right or left.")
        if self.club not in CLUB_LENGTH_M:
            raise InputError(f"club of the golfer is {self.club!r}.", f"Use {', '.join(CLUB_LENGTH_M)}.")
        if isinstance(self.seed, bool) or not isinstance(self.seed, int) or self.seed < 0:
            raise InputError(f"seed of the golfer is {self.seed!r}.", "Give a whole number from 0.")
        _in_range(self, "variation", 0.0, 5.0)
        object.__setattr__(self, "faults", MappingProxyType(dict(self.faults)))

    def __reduce__(self) -> Any:
        # A read-only mapping does not survive a process pool by itself.
        return GolferSpec.from_dict, (self.to_dict(),)

    def fault(self, name: str) -> float:
        """Size of a fault, 0 when absent."""
        return float(self.faults.get(name, 0.0))

    def control(self, name: str) -> float:
        """Size of a control, 0 when absent."""
        return float(self.controls.get(name, 0.0))

    def to_dict(self) -> dict[str, Any]:
        """Plain nested dictionary, as a TOML file would hold it."""
        return {
            "handedness": self.handedness,
            "club": self.club,
            "seed": self.seed,
            "variation": self.variation,
            "body": dataclasses.asdict(self.body),
            "tempo": dataclasses.asdict(self.tempo),
            "style": dataclasses.asdict(self.style),
            "faults": dict(self.faults),
            "controls": dict(self.controls),
        }

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> GolferSpec:
        """Inverse of ``to_dict``; what is left out keeps its default.

        Raises
        ------
        InputError
            Unknown names, wrong types, values out of range.
        """
        kinds: dict[str, Any] = {"body": BodySpec, "tempo": TempoSpec, "style": StyleSpec}
        own = {f.name for f in dataclasses.fields(cls)}
        unknown = set(values) - own
        if unknown:
            raise InputError(f"A golfer has no {', '.join(sorted(unknown))}.", f"Use {', '.join(sorted(own))}.")
        made: dict[str, Any] = {}
        for name, value in values.items():
            if name in kinds:
                if not isinstance(value, Mapping):
                    raise InputError(f"{name} of the golfer is not a table.", f"Write a table called {name}.")
                known = {f.name for f in dataclasses.fields(kinds[name])}
                wrong = set(value) - known
                if wrong:
                    raise InputError(
                        f"{name} of the golfer has no {', '.join(sorted(wrong))}.", f"Use {', '.join(sorted(known))}."
                    )
                made[name] = kinds[name](**value)
            elif name in ("faults", "controls"):
                if not isinstance(value, Mapping):
                    raise InputError(f"{name} of the golfer is not a table.", "Write name = size pairs.")
                made[name] = dict(value)
            else:
                made[name] = value
        return cls(**made)
