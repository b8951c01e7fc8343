"""Where the guide lines begin and end, and what counts as seen at address. Lengths in torso lengths."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class GuideSettings:
    """How guide lines are taken from the address and how far they reach."""

    still_s: float = setting(0.25, "s", "real time before address over which the address pose is a median")
    club_still_s: float = setting(
        0.40, "s", "real time before address in which rows of the shaft count: it is seen in fewer frames than the body"
    )
    least_visibility: float = setting(
        0.3, "fraction", "of the two sides' joints the one seen worse than this is left out where the other is better"
    )
    least_rows: int = setting(3, "count", "measured rows of the shaft at address; fewer may be one mistake")
    most_spread_deg: float = setting(
        4.0, "deg", "half the interquartile range of the shaft's angles at address: more is a club that moves"
    )
    flattest_deg: float = setting(18.0, "deg", "shaft to the ground at address down the line; a flatter one is no club")
    steepest_deg: float = setting(80.0, "deg", "shaft to the ground at address; a steeper one is a leg or a tripod")
    ground: float = setting(0.18, "torso", "soles under the ankles: ankle height .039 of stature, with the shoe")
    above_head: float = setting(0.45, "torso", "a vertical line ends this far above the middle of the head")
    plane_up: float = setting(2.0, "torso", "the shaft plane line goes this far beyond the grip: past the far shoulder")
    plane_down: float = setting(0.12, "torso", "the shaft plane line goes this far beyond the club head")
    depth_up: float = setting(1.0, "torso", "the hand depth line ends this far above the hands: at the chest")
    head_down: float = setting(0.55, "torso", "the head line ends this far under the middle of the head: at the chest")
    least_leg: float = setting(0.8, "torso", "ankle under hip; half a leg: a shorter one is a joint in a wrong place")
    hip_up: float = setting(0.55, "torso", "the hip line ends this far above the hips")
    hip_down: float = setting(0.75, "torso", "the hip line ends this far under the hips: above the knees")
    spine_up: float = setting(0.75, "torso", "the spine line goes this far beyond the shoulders: over the head")
    spine_down: float = setting(0.25, "torso", "the spine line goes this far under the hips")
    corridor_in: float = setting(
        0.15,
        "torso",
        "towards the heels from the hand depth line: the default checklist's range; docs/guides.md, Corridor",
    )
    corridor_out: float = setting(0.35, "torso", "towards the ball from the hand depth line: as corridor_in")
    corridor_up: float = setting(
        0.45, "torso", "the corridor ends this far above the hands: half-way through they are 0.3–0.4"
    )
    corridor_down: float = setting(0.35, "torso", "the corridor begins this far under the hands")


GUIDES = GuideSettings()
"""The defaults."""
