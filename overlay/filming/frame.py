"""Findings on what the frame holds: view, whole body, club, other people, distance, size, steadiness, frame rate."""

from __future__ import annotations

import math

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import FilmingFinding, FilmingVerdict
from overlay.errors import InputError
from overlay.filming.geometry import CameraFound
from overlay.filming.place import cut_at_address, graded, in_cm
from overlay.filming.scene import FEET, HANDS, Scene
from overlay.landmarks import INDEX
from overlay.pose.people import distinct
from overlay.settings.pose import PeopleSettings, PoseSettings
from overlay.terms import VIEW_WORDS

HEAD = tuple(INDEX[name] for name in ("nose", "left_ear", "right_ear"))
BODY = (*HEAD, *FEET, *HANDS)
CUT_WORDS = {
    "top": "The head is cut off by the picture's upper edge.",
    "bottom": "The feet are below the picture.",
    "left": "The body leaves the picture on the left.",
    "right": "The body leaves the picture on the right.",
}
ROOM_WORDS = {"top": "above the head", "bottom": "below the feet", "left": "on the left", "right": "on the right"}


def not_seen(name: str, unit: str, why: str) -> FilmingFinding:
    """A finding that could not be made, and why."""
    return FilmingFinding(name, math.nan, unit, None, "not seen", why)


def view_finding(scene: Scene) -> FilmingFinding:
    """Which view it is; the value is how sure that is, %."""
    if scene.swing is None:
        return not_seen("view", "%", "The view cannot be told: no swing was found in the clip.")
    sure = 100.0 * scene.swing.view_confidence
    seen = f"Filmed {VIEW_WORDS[scene.view]}, {scene.handedness}-handed player"
    advice = "Stand behind the player on the hand line (down the line), or opposite the chest (face on)."
    if scene.view == "other":
        return FilmingFinding("view", sure, "%", None, "fail", "Filmed neither down the line nor face on.", advice)
    if scene.swing.view_confidence < scene.settings.view_sure:
        return FilmingFinding("view", sure, "%", None, "warn", f"{seen}, but that is not clear.", advice)
    return FilmingFinding("view", sure, "%", None, "pass", f"{seen}.")


def _rooms(scene: Scene) -> dict[str, float]:
    """Least room between the body and each side of the picture over the swing, torso lengths; − is outside."""
    width, height = scene.image_size
    torso = scene.torso_px
    points = np.where(scene.track.filled[..., None], np.nan, scene.track.points)
    body = points[:, list(BODY)]
    if not np.any(np.isfinite(body[..., 0])):
        return {}
    settings = scene.settings

    def extreme(rows: FloatArray, share: float) -> float:
        seen = rows[np.isfinite(rows)]
        return float(np.percentile(seen, share)) if len(seen) else math.nan

    head = points[:, list(HEAD), 1]
    feet = points[:, list(FEET), 1]
    x = body[..., 0]
    # One guess in a hundred is left out: a hand the model could not see.
    return {
        "top": extreme(head, 1) / torso - settings.head_above_face,
        "bottom": (height - extreme(feet, 99)) / torso - settings.sole_below_feet,
        "left": extreme(x, 1) / torso,
        "right": (width - extreme(x, 99)) / torso,
    }


def whole_body_finding(scene: Scene) -> FilmingFinding:
    """Room around the body at the tightest side, torso lengths; negative when it is cut."""
    settings = scene.settings
    rooms = _rooms(scene) if math.isfinite(scene.torso_px) else {}
    rooms = {side: room for side, room in rooms.items() if math.isfinite(room)}
    if not rooms:
        return not_seen("whole_body", "torso", "No player is seen.")
    cut = cut_at_address(scene) & set(rooms)
    side = min(rooms, key=lambda name: rooms[name])
    value = rooms[side]
    if cut:
        side = min(cut, key=lambda name: rooms[name])
        value = min(rooms[side], 0.0)
    advice = "Step back or turn the camera until the whole body is inside, with a hand's breadth to spare."
    if side == "bottom" and (cut or value < settings.room_warn):
        advice = "Show the feet: step back, or tilt the camera down a little."
    if cut or value < settings.room_fail:
        return FilmingFinding("whole_body", value, "torso", None, "fail", CUT_WORDS[side], advice)
    if value < settings.room_warn:
        sentence = f"The body is whole, but there is hardly any room {ROOM_WORDS[side]}."
        return FilmingFinding("whole_body", value, "torso", None, "warn", sentence, advice)
    return FilmingFinding("whole_body", value, "torso", None, "pass", "The whole body is in the picture throughout.")


def club_finding(scene: Scene, found: CameraFound | None) -> FilmingFinding:
    """Room between the club at the top and the nearest side of the picture, torso lengths."""
    settings = scene.settings
    top_s = scene.time("top")
    if scene.swing is None or top_s is None:
        return not_seen("club_in_frame", "torso", "The top of the swing was not found.")
    head, seen = _head_at(scene, top_s), True
    if head is None:
        head, seen = _head_guessed(scene, top_s, found), False
    if head is None:
        return not_seen("club_in_frame", "torso", "The club is not seen at the top.")
    width, height = scene.image_size
    room = min(head[0], width - head[0], head[1], height - head[1]) / scene.torso_px
    how = "" if seen else " as far as the hands tell"
    if room < settings.club_room_fail:
        return FilmingFinding(
            "club_in_frame", room, "torso", None, "fail" if seen else "warn",
            f"The club leaves the picture at the top{how}.",
            "Step back, or turn the camera, until the club stays inside at the top.",
        )  # fmt: skip
    if room < settings.club_room_warn:
        return FilmingFinding(
            "club_in_frame", room, "torso", None, "warn", f"The club comes near the picture's edge at the top{how}.",
            "Leave a little more room above the player.",
        )  # fmt: skip
    return FilmingFinding(
        "club_in_frame", room, "torso", None, "pass", f"The club stays in the picture at the top{how}."
    )


def _head_at(scene: Scene, time_s: float) -> FloatArray | None:
    """The measured club head nearest to a moment, px; None when it was not seen around it."""
    club = None if scene.swing is None else scene.swing.club
    if club is None:
        return None
    near = np.flatnonzero(club.scored & (np.abs(club.time_s - time_s) <= scene.settings.near_top_s * scene.slow_factor))
    if not len(near):
        return None
    row = near[np.argmin(np.abs(club.time_s[near] - time_s))]
    head = club.head[row]
    return np.asarray(head, np.float64) if np.all(np.isfinite(head)) else None


def _head_guessed(scene: Scene, top_s: float, found: CameraFound | None) -> FloatArray | None:
    """Where the club ends at the top: face on about level towards the target, down the line end-on near the hands."""
    hands = hands_at(scene, top_s)
    if hands is None:
        return None
    if scene.view != "fo":
        return hands
    stature_px = found.px_per_stature if found is not None else scene.torso_px / scene.settings.torso_of_stature
    side = 1.0 if scene.handedness == "right" else -1.0
    return hands + np.array([side * scene.settings.club_of_stature * stature_px, 0.0])


def hands_at(scene: Scene, time_s: float) -> FloatArray | None:
    """(2,) px: mean of the hand landmarks seen nearest to a moment."""
    row = int(np.argmin(np.abs(scene.track.time_s - time_s)))
    points = scene.track.points[row, list(HANDS)]
    trusted = np.isfinite(points[:, 0]) & (scene.track.visibility[row, list(HANDS)] > 0.3)
    if not trusted.any():
        trusted = np.isfinite(points[:, 0])
    return np.asarray(points[trusted].mean(axis=0), np.float64) if trusted.any() else None


def distance_findings(scene: Scene, found: CameraFound | None) -> list[FilmingFinding]:
    """The player's share of the picture's height, and the camera's distance."""
    settings = scene.settings
    height_px = _person_px(scene)
    if not math.isfinite(height_px):
        return [
            not_seen("distance", "%", "The player's size cannot be told."),
            not_seen("camera_distance", "m", "The camera's distance cannot be told."),
        ]
    share = height_px / scene.image_size[1]
    value = 100.0 * share
    seen = f"The player takes {value:.0f} % of the picture's height, nose to ankles"
    if share < settings.share_low_warn:
        verdict: FilmingVerdict = "fail" if share < settings.share_low_fail else "warn"
        closer = share / settings.share_wanted
        advice = f"Bring the camera closer, to about {100 * closer:.0f} % of the distance, or zoom in."
        first = FilmingFinding("distance", value, "%", None, verdict, f"{seen}: small.", advice)
    elif share > settings.share_high_warn:
        farther = 100 * (share / settings.share_wanted - 1)
        advice = f"Step back by about {farther:.0f} % of the distance, so that the club has room."
        first = FilmingFinding("distance", value, "%", None, "warn", f"{seen}: tight.", advice)
    else:
        first = FilmingFinding("distance", value, "%", None, "pass", f"{seen}.")
    return [first, _camera_distance(scene, found)]


def _camera_distance(scene: Scene, found: CameraFound | None) -> FilmingFinding:
    settings = scene.settings
    if found is None:
        return not_seen("camera_distance", "m", "The camera's distance cannot be told.")
    in_centimetres, (low, high) = in_cm(found.distance, scene)
    value, interval = in_centimetres / 100, (max(low, 0.0) / 100, high / 100)
    if interval[1] < settings.near_m:
        return FilmingFinding(
            "camera_distance", value, "m", interval, "warn",
            f"The camera stands near, about {value:.1f} m away: what is closer to it looks too large.",
            f"Step back to about {settings.near_m + 1:.0f} m and zoom in.",
        )  # fmt: skip
    return FilmingFinding(
        "camera_distance", value, "m", interval, "pass", f"The camera stands about {value:.1f} m from the player."
    )


def _person_px(scene: Scene) -> float:
    ankles = scene.pose[[INDEX["left_ankle"], INDEX["right_ankle"]]]
    return float(np.linalg.norm(scene.pose[INDEX["nose"]] - ankles.mean(axis=0)))


def size_finding(scene: Scene) -> FilmingFinding:
    """The player's torso in pixels: what everything is measured in."""
    settings = scene.settings
    value = scene.torso_px
    if not math.isfinite(value):
        return not_seen("player_size_px", "px", "The player's size cannot be told.")
    if value >= settings.torso_warn_px:
        return FilmingFinding(
            "player_size_px",
            value,
            "px",
            None,
            "pass",
            f"The player is large enough (torso {value:.0f} pixels).",
        )
    times = settings.torso_warn_px / value
    return FilmingFinding(
        "player_size_px", value, "px", None, "fail" if value < settings.torso_fail_px else "warn",
        f"The player is small: the torso is {value:.0f} pixels long, {settings.torso_warn_px:.0f} are wanted.",
        f"Film at a {times:.1f} times larger picture size, or come closer.",
    )  # fmt: skip


def others_finding(scene: Scene) -> FilmingFinding:
    """How often another person of about the player's size is in the picture, % of the pictures looked at."""
    if scene.reader is None:
        return not_seen("other_people", "%", "Not looked at: there are no pictures.")
    from overlay.pose.mediapipe_backend import MediaPipeBackend

    people = PeopleSettings()
    looked, second = 0, 0
    with MediaPipeBackend().everyone(people) as everyone:
        for time_s in people_times(scene):
            try:
                image = scene.reader.frame_at(float(time_s), max_side=PoseSettings().max_side_px).image
            except InputError:
                continue
            looked += 1
            heights = [_height(person.points) for person in distinct(everyone.detect(image), people)]
            second += sum(height >= people.second_size * max(heights) for height in heights) > 1
    if not looked:
        return not_seen("other_people", "%", "No picture could be looked at.")
    value = 100.0 * second / looked
    advice = "Film the player alone, or crop the other one out."
    if second >= people.second_share * looked:
        return FilmingFinding(
            "other_people", value, "%", None, "fail", f"A second person is in {second} of {looked} pictures.", advice
        )
    if second > 1:
        return FilmingFinding(
            "other_people", value, "%", None, "warn", f"Someone passes by ({second} of {looked} pictures).", advice
        )
    return FilmingFinding("other_people", value, "%", None, "pass", "The player is alone in the picture.")


def people_times(scene: Scene) -> FloatArray:
    """(N,) s: when others are looked for, spread evenly."""
    start, stop = float(scene.track.time_s[0]), float(scene.track.time_s[-1])
    count = scene.settings.people_samples
    return np.asarray(start + (np.arange(count) + 0.5) / count * (stop - start), np.float64)


def _height(points: FloatArray) -> float:
    return float(np.nanmax(points[:, 1]) - np.nanmin(points[:, 1]))


def steadiness_finding(scene: Scene) -> FilmingFinding:
    """How far the picture moves over the swing, % of the torso length (root mean square about its middle)."""
    settings = scene.settings
    shift, how = _picture_shift(scene)
    if shift is None or not math.isfinite(scene.torso_px):
        return not_seen("steadiness", "% torso", "Whether the camera moved cannot be told.")
    spread = float(np.sqrt(np.mean(np.sum((shift - shift.mean(axis=0)) ** 2, axis=-1))))
    value = 100.0 * spread / scene.torso_px
    verdict = graded(value, settings.shake_warn, settings.shake_fail)
    if verdict == "pass":
        return FilmingFinding("steadiness", value, "% torso", None, verdict, f"The camera stands still{how}.")
    return FilmingFinding(
        "steadiness", value, "% torso", None, verdict,
        f"The camera moves by about {spread:.1f} pixels during the swing{how}.",
        "Put the camera on a stand, a golf bag or a shelf.",
    )  # fmt: skip


def _picture_shift(scene: Scene) -> tuple[FloatArray | None, str]:
    """(T, 2) px where the picture's middle goes over the swing, and what that is known from."""
    start, stop = scene.time("address"), scene.time("impact")
    if start is None or stop is None:
        return None, ""
    if scene.motion is not None:
        inside = (scene.motion.time_s >= start) & (scene.motion.time_s <= stop)
        matrices = scene.motion.matrices[inside]
        matrices = matrices[np.all(np.isfinite(matrices), axis=(1, 2))]
        if len(matrices) >= 3:
            middle = np.array([scene.image_size[0] / 2, scene.image_size[1] / 2])
            return np.asarray(matrices[:, :, :2] @ middle + matrices[:, :, 2] - middle, np.float64), ""
    # Without pictures: what both feet do together up to the top, while they stand.
    top = scene.time("top")
    inside = (scene.track.time_s >= start) & (scene.track.time_s <= (top if top is not None else stop))
    feet = np.where(scene.track.filled[inside][..., None], np.nan, scene.track.points[inside])[:, list(FEET)]
    feet = feet[np.all(np.isfinite(feet), axis=(1, 2))]
    if len(feet) < 3:
        return None, ""
    return np.asarray(feet.mean(axis=1), np.float64), ", as far as the feet tell"


def rate_finding(scene: Scene) -> FilmingFinding:
    """Frames per real second."""
    settings = scene.settings
    times = scene.track.time_s
    if len(times) < 3:
        return not_seen("frame_rate", "frames/s", "The clip is too short.")
    value = scene.slow_factor / float(np.median(np.diff(times)))
    # What a person knows is the number on the phone.
    usual = min((24.0, 25.0, 30.0, 50.0, 60.0, 100.0, 120.0, 240.0), key=lambda rate: abs(rate / value - 1))
    said = f"{usual:.0f}" if abs(usual / value - 1) < 0.06 else f"{value:.0f}"
    known = scene.slow_factor == 1.0 or (scene.reader is not None and scene.reader.clip.capture_rate is not None)
    about = "" if known else "about "
    sentence = f"Filmed at {about}{said} frames a second"
    if value < settings.rate_warn:
        in_downswing = value * settings.downswing_s
        verdict: FilmingVerdict = "fail" if value < settings.rate_fail else "warn"
        return FilmingFinding(
            "frame_rate", value, "frames/s", None, verdict,
            f"{sentence}: the downswing is only about {in_downswing:.0f} pictures long.",
            "Set the phone to 60 frames a second or more; 120 or 240 is best.",
        )  # fmt: skip
    return FilmingFinding("frame_rate", value, "frames/s", None, "pass", f"{sentence}.")
