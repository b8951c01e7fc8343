"""Findings on where the camera stands: height, sideways place, yaw, roll."""

from __future__ import annotations

import math

import numpy as np

from overlay.data import FilmingFinding, FilmingVerdict
from overlay.filming.geometry import CameraFound, Seen, Told, find_camera
from overlay.filming.scene import FEET, Scene
from overlay.filming.shape import JOINTS, LANDMARK_ROWS, address_shape
from overlay.pose.backends import Detection
from overlay.pose.people import cut_sides
from overlay.settings.pose import PeopleSettings

PLACE_NAMES = ("camera_height", "camera_offset", "yaw", "roll")


def locate(scene: Scene, roll: Told | None = None) -> CameraFound | None:
    """The camera in the player's frame; None when the view is neither of the two or too little is seen.

    Parameters
    ----------
    scene : Scene
    roll : Told or None
        Tilt of the picture read from the background, clockwise camera roll, in the picture as it is.
    """
    if scene.view == "other" or scene.address_s is None or not math.isfinite(scene.torso_px):
        return None
    pose, visibility = scene.right_handed_pose()
    points = pose[list(LANDMARK_ROWS)].copy()
    seen = visibility[list(LANDMARK_ROWS)]
    shape = address_shape()
    settings = scene.settings
    habits = None
    if scene.track.source == settings.biased_source:
        habits = shape.pose_habits[scene.view] * scene.torso_px
    hidden = np.array(["wrist" in name for name in JOINTS]) & (seen < settings.hidden_visibility)
    points[hidden] = np.nan
    if "bottom" in cut_at_address(scene):
        points[[row in FEET for row in LANDMARK_ROWS]] = np.nan
    background, background_sd = math.nan, math.nan
    if roll is not None:
        background, background_sd = roll.value, roll.sd
        if scene.handedness == "left":
            background = -background
    return find_camera(
        Seen(
            points,
            shape.pose_covariance[scene.view] * scene.torso_px**2,
            scene.image_size,
            scene.view,
            habits,
            background,
            background_sd,
        ),
        settings,
    )


def cut_at_address(scene: Scene) -> set[str]:
    """Sides of the picture past which the standing body goes."""
    if not np.all(np.isfinite(scene.pose)):
        return set()
    person = Detection(points=scene.pose, depth=np.zeros(len(scene.pose)), visibility=scene.visibility)
    return cut_sides(person, scene.image_size, PeopleSettings())


def place_findings(scene: Scene, found: CameraFound | None) -> list[FilmingFinding]:
    """Height, offset, yaw and roll; "not seen" with the reason when the camera could not be placed."""
    if found is None:
        reason = _why_not(scene)
        units = ("cm", "cm", "deg", "deg")
        return [
            FilmingFinding(name, math.nan, unit, None, "not seen", reason) for name, unit in zip(PLACE_NAMES, units)
        ]
    return [_height(scene, found), _offset(scene, found), _yaw(scene, found), _roll(scene, found)]


def _why_not(scene: Scene) -> str:
    if scene.swing is None:
        return "Cannot be told: no swing was found in the clip."
    if scene.view == "other":
        return "Cannot be told: the camera stands neither down the line nor face on."
    if scene.address_s is None:
        return "Cannot be told: the address was not found."
    return "Cannot be told: too little of the player is seen at address."


def in_cm(told: Told, scene: Scene, more_sd_cm: float = 0.0) -> tuple[float, tuple[float, float]]:
    """A length in cm with its 95 % interval, the doubt about the stature included."""
    stature, stature_sd = scene.stature
    value = told.value * stature
    sd = math.hypot(told.sd * stature, told.value * stature_sd, more_sd_cm)
    return value, (value - 1.96 * sd, value + 1.96 * sd)


def graded(size: float, warn: float, fail: float) -> FilmingVerdict:
    """Pass, warn or fail by the size of an error."""
    return "fail" if size >= fail else "warn" if size >= warn else "pass"


def about_cm(value: float) -> str:
    """Rounded as a person would say it: to 1 below 10, to 5 above."""
    size = abs(value)
    return f"{5 * round(size / 5):.0f} cm" if size >= 10 else f"{size:.0f} cm"


def _height(scene: Scene, found: CameraFound) -> FilmingFinding:
    settings = scene.settings
    value, interval = in_cm(found.height, scene)
    low, high = 0.0, 0.0
    if scene.has_stature:
        # Where the ground is known: hand height, or the band that is advised whatever the player's height.
        hands = found.hands_height.value * scene.stature[0]
        low, high = min(0.0, settings.low_lens_cm - hands), max(0.0, settings.high_lens_cm - hands)
    error = value - min(max(value, low), high)
    if (interval[1] - interval[0]) / 2 > settings.height_doubt_cm:
        return FilmingFinding(
            "camera_height", value, "cm", interval, "not seen", "The camera's height cannot be told from this picture."
        )
    verdict = graded(abs(error), settings.height_warn_cm, settings.height_fail_cm)
    side = "above" if value > 0 else "below"
    sentence = (
        "The lens is at the height of the hands."
        if abs(value) < 3
        else f"The lens is about {about_cm(value)} {side} the hands at address."
    )
    if found.tilted > 0.5:
        sentence += f" The camera seems tilted {'up' if found.pitch_deg.value > 0 else 'down'}."
    else:
        sentence += " The camera is taken as level."
    advice = ""
    if verdict != "pass":
        advice = f"{'Lower' if error > 0 else 'Raise'} the camera about {about_cm(error)}, and keep it level."
    return FilmingFinding("camera_height", value, "cm", interval, verdict, sentence, advice)


def _towards(scene: Scene, positive: bool) -> str:
    """The direction + (outside, or towards the target) or − in words."""
    if scene.view == "dtl":
        return "towards the toe line" if positive else "towards the heel line"
    return "towards the target" if positive else "away from the target"


def _offset(scene: Scene, found: CameraFound) -> FilmingFinding:
    settings = scene.settings
    value, interval = in_cm(found.offset, scene, settings.middle_sd_cm)
    verdict = graded(abs(value), settings.offset_warn_cm, settings.offset_fail_cm)
    if scene.view == "dtl":
        if verdict == "pass":
            sentence = "The lens looks along the hand line."
        else:
            side = "outside" if value > 0 else "inside"
            sentence = f"The lens looks about {about_cm(value)} {side} the hand line."
    elif verdict == "pass":
        sentence = "The body is in the middle of the picture."
    else:
        side = "the target side of" if value > 0 else "the trail side of"
        sentence = f"The lens looks about {about_cm(value)} to {side} the body's middle."
    advice = ""
    if verdict != "pass":
        advice = f"Move the camera about {about_cm(value)} {_towards(scene, value < 0)}, looking the same way as now."
        if _turned_on_its_stand(scene, found):
            _, turn = _sides(scene, found.yaw_deg.value > 0)
            middle = "the hands are" if scene.view == "dtl" else "the body is"
            advice = f"Turn the camera on its stand to the {turn} until {middle} in the middle of the picture."
    return FilmingFinding("camera_offset", value, "cm", interval, verdict, sentence, advice)


def _sides(scene: Scene, positive: bool) -> tuple[str, str]:
    """The side of a + (or −) angle of a right-hander's picture, and the other one, in the picture as it is."""
    return ("right", "left") if positive == (scene.handedness == "right") else ("left", "right")


def _turned_on_its_stand(scene: Scene, found: CameraFound) -> bool:
    """Offset and yaw come from one turn of the camera, the lens itself is at its place."""
    settings = scene.settings
    if abs(found.yaw_deg.value) < settings.yaw_warn_deg:
        return False
    beside = found.offset.value - found.distance.value * math.tan(math.radians(found.yaw_deg.value))
    return abs(beside * scene.stature[0]) < 0.5 * abs(found.offset.value * scene.stature[0])


def _yaw(scene: Scene, found: CameraFound) -> FilmingFinding:
    settings = scene.settings
    value = found.yaw_deg.value
    low, high = sorted((value - 1.96 * found.yaw_deg.sd, value + 1.96 * found.yaw_deg.sd))
    if high - low > 2 * settings.yaw_doubt_deg:
        return FilmingFinding(
            "yaw",
            value,
            "deg",
            (low, high),
            "not seen",
            "Which way the camera points cannot be told.",
        )
    verdict = graded(abs(value), settings.yaw_warn_deg, settings.yaw_fail_deg)
    line = "the line of the player's feet, hips and shoulders"
    if verdict == "pass":
        sentence = f"The camera looks along {line}." if scene.view == "dtl" else f"The camera looks square to {line}."
        return FilmingFinding("yaw", value, "deg", (low, high), verdict, sentence)
    side, back = _sides(scene, value > 0)
    along = "" if scene.view == "dtl" else "square to "
    sentence = (
        f"The camera points about {abs(value):.0f}° to the {side} of {along}{line}. If that line was not aimed at the "
        "target, it is the stance that is turned."
    )
    walk = found.distance.value * scene.stature[0] * math.sin(math.radians(abs(value)))
    middle = "the hands are" if scene.view == "dtl" else "the body is"
    # Turned to the right of a right-hander's picture, the lens stands inside (dtl), or on the trail side (fo).
    advice = (
        f"Carry the camera about {about_cm(walk)} {_towards(scene, value > 0)} and turn it until {middle} in the "
        "middle again."
    )
    if _turned_on_its_stand(scene, found):
        advice = f"Turn the camera about {abs(value):.0f}° to the {back} on its stand."
    return FilmingFinding("yaw", value, "deg", (low, high), verdict, sentence, advice)


def _roll(scene: Scene, found: CameraFound) -> FilmingFinding:
    settings = scene.settings
    value = found.roll_deg.value
    interval = (value - 1.96 * found.roll_deg.sd, value + 1.96 * found.roll_deg.sd)
    if 1.96 * found.roll_deg.sd > settings.roll_doubt_deg:
        return FilmingFinding(
            "roll", value, "deg", interval, "not seen", "Whether the camera is tilted sideways cannot be told."
        )
    verdict = graded(abs(value), settings.roll_warn_deg, settings.roll_fail_deg)
    if verdict == "pass":
        return FilmingFinding("roll", value, "deg", interval, verdict, "The camera stands upright.")
    lean, back = _sides(scene, value > 0)
    return FilmingFinding(
        "roll",
        value,
        "deg",
        interval,
        verdict,
        f"The camera leans about {abs(value):.0f}° to the {lean}, so upright things lean to the {back} in the picture.",
        f"Tilt the camera about {abs(value):.0f}° to the {back}; a post or wall shows when it is upright.",
    )
