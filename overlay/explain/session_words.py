"""What the cameras of two groups of sessions did to one measure, as a coach would say it.

Directions are told towards ball, heels and target, which are the same for either hand; left and right are not.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from overlay.data import DifferenceName
from overlay.explain.session_shift import Shift
from overlay.terms import View, words

LOOKS: Mapping[str, tuple[str, str, str]] = {
    "hand_depth_back": ("the hands going back", "further outside", "further inside"),
    "club_head_over_hands_back": ("the club head going back", "further outside", "further inside"),
    "hand_height_back": ("the hands going back", "higher", "lower"),
    "shaft_pointing_back": ("the shaft going back point", "further outside", "further inside"),
    "lead_arm_to_spine_top": ("the lead arm's angle to the spine", "wider", "narrower"),
    "shoulders_to_spine_top": ("the shoulder line's angle to the spine", "wider", "narrower"),
    "hands_over_heels_top": ("the hands at the top", "further towards the toes", "further behind"),
    "shaft_direction_top": ("the shaft at the top", "further across the line", "further laid off"),
    "shaft_to_plane_down": ("the shaft coming down", "steeper", "flatter"),
    "shaft_to_spine_down": ("the shaft's angle to the spine", "wider", "narrower"),
    "shaft_pointing_down": ("the shaft coming down point", "further outside", "further inside"),
    "hips_line_release": ("the hips", "further towards the ball", "further from the ball"),
    "head_line_release": ("the head", "further towards the ball", "further from the ball"),
    "hand_path_release": ("the hands after impact", "further towards the ball", "further from the ball"),
    "shaft_pointing_release": ("the shaft after impact point", "further outside", "further inside"),
    "pelvis_push_back": ("the trail hip", "further away from the target", "less far away from the target"),
    "pelvis_gap_top": ("the trail hip at the top", "further inside its line", "less far inside its line"),
    "spine_side_bend_top": ("the spine at the top lean", "further away from the target", "further towards the target"),
    "head_offset_top": ("the head at the top", "further away from the target", "further towards the target"),
    "pelvis_travel_down": ("the pelvis move", "further towards the target", "less far towards the target"),
    "hands_ahead_impact": ("the hands at impact", "further ahead", "less far ahead"),
    "shaft_to_trail_arm_through": ("the club", "further ahead of the trail arm", "further behind the trail arm"),
}
"""Measure → what is seen, how it looks when the value is larger, and when it is smaller; as in the checklist."""

NO_TIME = "No camera changes a time: nothing of it comes from where the camera stood."
AGAIN = "film again from the same place before believing it"


def length(value: float, unit: str, *, digits: bool = True) -> str:
    """A size with its unit: "3.1°", "0.05 torso lengths", "12 cm"."""
    size = abs(value)
    if unit == "deg":
        return f"{size:.1f}°" if digits else f"{size:.0f}°"
    if unit == "torso":
        return f"{size:.2f} torso lengths"
    if unit in ("cm", "m"):
        return f"{size:.0f} cm" if unit == "cm" else f"{size:.1f} m"
    return f"{size:.2f}"


def shift_words(shift: Shift, view: View) -> str:
    """One shift as something the camera did: "stood 21 cm higher"."""
    size = length(shift.value, shift.unit, digits=False)
    more = shift.value > 0
    down_the_line = view == "dtl"
    if shift.finding == "camera_height":
        return f"stood {size} {'higher' if more else 'lower'}"
    if shift.finding == "camera_offset":
        if down_the_line:
            return f"looked {size} further {'outside' if more else 'inside'} the hands"
        return f"looked {size} further to the {'target' if more else 'trail'} side"
    if shift.finding == "camera_distance":
        return f"stood {size} {'further away' if more else 'nearer'}"
    verb = "was turned" if shift.finding == "yaw" else "leaned"
    if down_the_line:
        return f"{verb} {size} more towards the {'ball' if more else 'heel'} side"
    return f"{verb} {size} more {'towards' if more else 'away from'} the target"


def joined(parts: Sequence[str]) -> str:
    """A list as it is spoken: "a, b and c"."""
    return parts[0] if len(parts) == 1 else f"{', '.join(parts[:-1])} and {parts[-1]}"


def unseen_words(shifts: Sequence[Shift]) -> str:
    """What of the cameras is not known, "" when all is."""
    named = {
        "camera_height": "height",
        "camera_offset": "place beside the player",
        "yaw": "direction",
        "roll": "lean",
        "camera_distance": "distance",
    }
    unseen = [named[shift.finding] for shift in shifts if not shift.is_seen]
    if len(unseen) == len(shifts):
        return "Where the camera stood was not seen on both sides of the change: it is taken to be anywhere usual."
    if not unseen:
        return ""
    return f"The camera's {joined(unseen)} was not seen on both sides and may have changed."


def agreement(shifts: Sequence[Shift]) -> str:
    """Within what the cameras agree: "within 3 cm and 1°"."""
    cm = max((abs(shift.value) for shift in shifts if shift.is_seen and shift.unit == "cm"), default=math.nan)
    deg = max((abs(shift.value) for shift in shifts if shift.is_seen and shift.unit == "deg"), default=math.nan)
    told = [f"{max(1, math.ceil(value))}{unit}" for value, unit in ((cm, " cm"), (deg, "°")) if math.isfinite(value)]
    return f"within {joined(told)}" if told else ""


def look_words(measure: str, unit: str, effect: float, name: DifferenceName | None) -> str:
    """What the cameras alone do: "makes the shaft coming down look 3.1° steeper"."""
    size = length(effect, unit)
    if name is not None:
        what = f"the {words(name.part)} in the {words(name.phase)}"
        if name.axis == "x":
            return f"moves {what} by {size} to the {'right' if effect > 0 else 'left'} of a right-hander's picture"
        if name.axis == "y":
            return f"moves {what} by {size} {'down' if effect > 0 else 'up'} in the picture"
        return f"makes the difference of {what} {size} {'larger' if effect > 0 else 'smaller'}"
    what, more, less = LOOKS.get(measure, (f"the {words(measure)}", "more", "less"))
    verb = "seem to " if what.endswith((" point", " lean", " move")) else "look "
    if verb == "seem to ":
        noun, _, act = what.rpartition(" ")
        return f"makes {noun} seem to {act} {size} {more if effect > 0 else less}"
    return f"makes {what} look {size} {more if effect > 0 else less}"


def sentence(
    measure: str,
    unit: str,
    view: View,
    shifts: Sequence[Shift],
    named: Sequence[Shift],
    change: float,
    effect: float,
    could_explain: float,
    vetoes: bool,
    name: DifferenceName | None,
) -> str:
    """Everything that is said of the cameras, in one to three sentences.

    ``named`` are the shifts worth naming, those that move the measure most first.
    """
    said = []
    small = length(effect, unit) == length(0.0, unit)
    if named:
        what = f"The camera {joined([shift_words(shift, view) for shift in named])} in the later sessions"
        if small:
            said.append(f"{what}; that does next to nothing to this measure.")
        elif not change:
            said.append(f"{what}; that alone {look_words(measure, unit, effect, name)}.")
        else:
            of = (
                f" (of {length(change, unit)})"
                if effect * change > 0
                else f", against the change of {length(change, unit)}"
            )
            said.append(f"{what}; that alone {look_words(measure, unit, effect, name)}{of}.")
    elif any(shift.is_seen for shift in shifts):
        most = (
            "nothing of it"
            if length(could_explain, unit) == length(0.0, unit)
            else f"at most {length(could_explain, unit)}"
        )
        said.append(f"The cameras agree {agreement(shifts)}: they explain {most}.")
    if unseen := unseen_words(shifts):
        said.append(unseen)
    if vetoes and not named and any(shift.is_seen for shift in shifts) and not unseen:
        said.append(f"With that taken off, too little of the change is left to be sure of: {AGAIN}.")
    elif vetoes:
        said.append(f"The cameras could explain the change: {AGAIN}.")
    elif named and change and length(could_explain, unit) != length(0.0, unit):
        said.append(f"At most {length(could_explain, unit)} of the change can come from that, and the rest stays one.")
    return " ".join(said)
