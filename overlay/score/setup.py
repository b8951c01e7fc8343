"""How the two stand at address, told apart from how they move, and whether the camera stood still."""

from __future__ import annotations

import math

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Measure
from overlay.landmarks import INDEX
from overlay.score.parts import Figure, joint_mean, still_window
from overlay.settings.score import ScoreSettings
from overlay.terms import View

_SHOULDERS = ("left_shoulder", "right_shoulder")
_HIPS = ("left_hip", "right_hip")
_LEAD_FOOT = ("left_ankle", "left_heel", "left_foot_index")

SETUP_WORDS: dict[str, tuple[str, str]] = {
    "spine_bend": ("more bent forward", "more upright"),
    "spine_side_bend": ("tilted more away from the target", "tilted more towards the target"),
    "knee_bend": ("with more bent knees", "with straighter knees"),
    "stance_width": ("wider", "narrower"),
    "hand_distance": ("with the hands further from the body", "with the hands closer to the body"),
}
"""How a note says a positive and a negative difference."""


def still_pose(figure: Figure, time_s: float, settings: ScoreSettings) -> FloatArray:
    """(J, 2) px: median of the measured frames of the still moment before ``time_s``; NaN where never measured."""
    window = still_window(figure, time_s, settings)
    points = np.where(figure.measured[window][..., None], figure.points[window], np.nan)
    seen = np.any(np.isfinite(points[..., 0]), axis=0)
    pose = np.full(points.shape[1:], np.nan)
    pose[seen] = np.nanmedian(points[:, seen], axis=0)
    return pose


def _bend_deg(a: FloatArray, b: FloatArray, c: FloatArray) -> float:
    """How far the joint ``b`` is bent: 0 when a, b and c lie on a line."""
    first, second = b - a, c - b
    cosine = float(first @ second) / max(float(np.hypot(*first) * np.hypot(*second)), 1e-12)
    return math.degrees(math.acos(min(1.0, max(-1.0, cosine))))


def setup_numbers(figure: Figure, view: View, settings: ScoreSettings) -> dict[str, tuple[float, str]]:
    """Name → (value, unit) of the address pose as this view shows it; empty when address was not found."""
    address = figure.positions.time("address")
    if address is None or view == "other":
        return {}
    pose = still_pose(figure, address, settings)
    spine = joint_mean(pose, _SHOULDERS) - joint_mean(pose, _HIPS)
    if view == "dtl":
        # The canonical right-hander faces the right of the picture.
        hands = np.stack([pose[INDEX[name]] for name in ("left_wrist", "right_wrist")])
        seen = np.isfinite(hands[:, 0])
        hand_x = float(np.mean(hands[seen, 0])) if np.any(seen) else float("nan")
        hip, knee, ankle = (pose[INDEX[f"right_{joint}"]] for joint in ("hip", "knee", "ankle"))
        return {
            "spine_bend": (math.degrees(math.atan2(float(spine[0]), -float(spine[1]))), "deg"),
            "knee_bend": (_bend_deg(hip, knee, ankle), "deg"),
            "hand_distance": ((hand_x - float(joint_mean(pose, _HIPS)[0])) / figure.torso_px, "torso"),
        }
    # Face on the target is on the right of the canonical picture.
    width = pose[INDEX["left_ankle"]] - pose[INDEX["right_ankle"]]
    return {
        "spine_side_bend": (math.degrees(math.atan2(-float(spine[0]), -float(spine[1]))), "deg"),
        "stance_width": (float(np.hypot(*width)) / figure.torso_px, "torso"),
    }


def setup_measures(student: Figure, reference: Figure, view: View, settings: ScoreSettings) -> tuple[Measure, ...]:
    """Student − reference at address, with the interval that a picture of this kind allows."""
    mine, theirs = (setup_numbers(figure, view, settings) for figure in (student, reference))
    measures = []
    for name, (value, unit) in mine.items():
        if name not in theirs:
            return ()
        difference = value - theirs[name][0]
        if not math.isfinite(difference):
            measures.append(Measure(name, float("nan"), unit, None, False, "hidden at address"))
            continue
        if abs(difference) > (settings.max_setup_deg if unit == "deg" else settings.max_setup):
            measures.append(Measure(name, float("nan"), unit, None, False, "no two players stand so far apart"))
            continue
        sd = settings.angle_sd_deg if unit == "deg" else settings.setup_sd
        half = 1.96 * math.sqrt(2) * sd
        measures.append(Measure(name, difference, unit, (difference - half, difference + half)))
    return tuple(measures)


def setup_notes(measures: tuple[Measure, ...]) -> tuple[str, ...]:
    """A sentence for each set-up difference whose interval leaves out zero."""
    notes = []
    for measure in measures:
        if measure.interval is None or measure.interval[0] <= 0 <= measure.interval[1]:
            continue
        how = SETUP_WORDS[measure.name][0 if measure.value > 0 else 1]
        size = f"{abs(measure.value):.0f}°" if measure.unit == "deg" else f"{abs(measure.value):.2f} torso lengths"
        notes.append(
            f"At address the student stands {how} ({size}) than the reference; this is set-up and counts in no phase."
        )
    return tuple(notes)


def camera_note(figure: Figure, who: str, settings: ScoreSettings) -> str:
    """A sentence when the lead foot is elsewhere at impact than at address; "" when it stayed or was not seen."""
    address, impact = figure.positions.time("address"), figure.positions.time("impact")
    if address is None or impact is None:
        return ""
    before = still_pose(figure, address, settings)
    near = np.abs(figure.time_s - impact) <= 0.06 * figure.slow_factor
    if not np.any(near):
        return ""
    points = np.where(figure.measured[near][..., None], figure.points[near], np.nan)
    shifts = [points[:, INDEX[name]] - before[INDEX[name]] for name in _LEAD_FOOT]
    seen = np.concatenate([shift[np.isfinite(shift[:, 0])] for shift in shifts])
    if len(seen) < 3:
        return ""
    moved = float(np.hypot(*np.median(seen, axis=0))) / figure.torso_px
    if moved <= settings.camera_shift:
        return ""
    return (
        f"The {who}'s lead foot lies {moved:.2f} torso lengths elsewhere at impact than at address: the camera or the "
        "foot moved, so pelvis, head and legs are less sure."
    )
