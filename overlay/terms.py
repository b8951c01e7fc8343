"""The trade's fixed words: positions, phases, body parts, views, sides. One spelling for code, JSON and files.

Definitions: common practice among golf coaches, no single published source.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

View = Literal["dtl", "fo", "other"]
Handedness = Literal["right", "left"]
Source = Literal["pose", "club", "ball", "sound", "marked"]

VIEW_WORDS: dict[str, str] = {"dtl": "down the line", "fo": "face on", "other": "from another angle"}

SOURCE_WORDS: dict[str, str] = {
    "pose": "the body",
    "club": "the club",
    "ball": "the ball",
    "sound": "the sound",
    "marked": "a mark set by hand",
}
"""What a position was found from, as a person reads it."""

POSITION_NAMES: tuple[str, ...] = (
    "address",
    "shaft_level_back",
    "lead_arm_level_back",
    "top",
    "lead_arm_level_down",
    "shaft_level_down",
    "impact",
    "shaft_level_through",
    "finish",
)
"""In time order."""


class Phase(NamedTuple):
    """A stretch of the swing between two positions."""

    name: str
    start: str
    end: str


PHASES: tuple[Phase, ...] = (
    Phase("takeaway", "address", "shaft_level_back"),
    Phase("backswing", "shaft_level_back", "top"),
    Phase("downswing", "top", "shaft_level_down"),
    Phase("delivery", "shaft_level_down", "impact"),
    Phase("release", "impact", "shaft_level_through"),
    Phase("through_swing", "shaft_level_through", "finish"),
)
"""In time order. ``backswing`` as a phase starts where the takeaway ends; tempo uses address → top."""

PARTS: tuple[str, ...] = (
    "hands",
    "lead_arm",
    "trail_arm",
    "shoulders",
    "head",
    "spine",
    "pelvis",
    "lead_leg",
    "trail_leg",
)


GUIDE_NAMES: tuple[str, ...] = (
    "shaft_plane",
    "hand_depth",
    "ball_line",
    "heel_line",
    "spine_line",
    "trail_leg_line",
    "lead_foot_line",
    "head_line",
    "hip_line",
    "hand_corridor",
)
"""Lines and zones drawn from a player's own address; each is a layer of its own."""


def words(name: str) -> str:
    """The name as a person reads it: ``lead_arm_level_back`` → ``lead arm level back``."""
    return name.replace("_", " ")
