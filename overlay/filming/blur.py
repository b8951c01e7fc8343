"""How far the shutter smears the club near impact.

In a picture the shaft is a line; while it turns, the open shutter draws a fan. The width of that fan over the speed of
the shaft is the time the shutter was open. It is measured wherever the club was followed while it turned fast, and told
for the speed the club has near impact, so that a clip is not called sharp because its fast pictures are missing.
"""

from __future__ import annotations

import math

import numpy as np

from overlay.arrays import AnyArray, FloatArray, IntArray, sorted_planes
from overlay.data import ClubTrack, FilmingFinding
from overlay.errors import InputError
from overlay.filming.place import graded
from overlay.filming.scene import Scene

STEP_DEG = 0.25


def shutter_finding(scene: Scene) -> FilmingFinding:
    """Degrees over which the shaft is smeared near impact."""
    settings = scene.settings
    open_s = shutter_times(scene)
    if len(open_s) < settings.least_fans:
        why = "The shaft is not seen while it turns fast."
        if scene.reader is None:
            why = "Not looked at: there are no pictures."
        elif scene.view == "dtl":
            why = "Down the line the shaft hardly turns in the picture, so it does not tell the shutter."
        return FilmingFinding("shutter_blur", math.nan, "deg", None, "not seen", why)
    time_s = float(np.median(open_s))
    spread = 1.4826 * float(np.median(np.abs(open_s - time_s))) / math.sqrt(len(open_s))
    value = time_s * settings.impact_deg_s
    half = 1.96 * max(spread, settings.shutter_doubt * time_s, settings.shutter_floor_s) * settings.impact_deg_s
    interval = (max(0.0, value - half), value + half)
    verdict = graded(value, settings.smear_warn_deg, settings.smear_fail_deg)
    if time_s < 2 * settings.shutter_floor_s:
        return FilmingFinding(
            "shutter_blur", value, "deg", interval, verdict, "The shutter is short: the shaft is a line."
        )
    sentence = (
        f"The shutter is open about 1/{_round(1 / time_s)} s: near impact the shaft is smeared over {value:.0f}°."
    )
    if verdict == "pass":
        return FilmingFinding("shutter_blur", value, "deg", interval, verdict, sentence)
    return FilmingFinding(
        "shutter_blur", value, "deg", interval, verdict, sentence,
        "Shorten the shutter to 1/1000 s (a sports or manual setting), or film in brighter light.",
    )  # fmt: skip


def _round(value: float) -> int:
    """To one digit, as shutters are named."""
    size = 10 ** math.floor(math.log10(max(value, 1.0)))
    return int(size * round(value / size * 2) / 2)


def shutter_times(scene: Scene) -> FloatArray:
    """(N,) real seconds the shutter was open, one for each picture that tells."""
    club = None if scene.swing is None else scene.swing.club
    rows, speed = fast_rows(scene)
    if scene.reader is None or club is None or not len(rows):
        return np.zeros(0)
    behind = _background(scene)
    if behind is None:
        return np.zeros(0)
    told = []
    for row in sorted(rows):
        try:
            image = scene.reader.frame_at(float(club.time_s[row]), max_side=scene.settings.picture_side_px).image
        except InputError:
            continue
        width = fan_width_deg(image, behind, club, int(row), scene)
        if math.isfinite(width):
            told.append(width / abs(float(speed[row])))
    return np.array(told)


def fast_rows(scene: Scene) -> tuple[IntArray, FloatArray]:
    """Rows of the club's track whose pictures may tell the shutter, the fastest first, and its speed (T,) deg/s."""
    club = None if scene.swing is None else scene.swing.club
    top_s, impact_s = scene.time("top"), scene.time("impact")
    if club is None or top_s is None or impact_s is None or len(club.time_s) < 3:
        return np.zeros(0, np.int64), np.zeros(0)
    speed = _turning(club, scene.slow_factor)
    fast = (
        club.scored
        & (np.abs(speed) >= scene.settings.fast_deg_s)
        & (club.length_px >= scene.settings.long_torso * scene.torso_px)
        & (club.time_s > top_s)
        & (club.time_s < impact_s + scene.settings.after_impact_s * scene.slow_factor)
    )
    rows = np.flatnonzero(fast)
    if not len(rows):
        return rows, speed
    rows = rows[np.abs(speed[rows]) >= 0.5 * np.max(np.abs(speed[rows]))]
    return rows[np.argsort(-np.abs(speed[rows]))][: scene.settings.most_fans], speed


def background_times(scene: Scene) -> FloatArray:
    """(N,) s: pictures whose median is the background."""
    start, stop = float(scene.track.time_s[0]), float(scene.track.time_s[-1])
    return np.linspace(start, stop, scene.settings.background_pictures)


def _turning(club: ClubTrack, slow: float) -> FloatArray:
    """(T,) degrees a real second, NaN where a neighbour was not seen."""
    n = len(club.time_s)
    speed = np.full(n, np.nan)
    known = club.scored & np.isfinite(club.angle_deg)
    for row in range(1, n - 1):
        if not (known[row - 1] and known[row] and known[row + 1]):
            continue
        before = _between(club.angle_deg[row - 1], club.angle_deg[row])
        after = _between(club.angle_deg[row], club.angle_deg[row + 1])
        if before * after > 0 and 0.4 < before / after < 2.5:
            speed[row] = (before + after) / (club.time_s[row + 1] - club.time_s[row - 1]) * slow
    return speed


def _between(one: float, other: float) -> float:
    return (other - one + 180.0) % 360.0 - 180.0


def _background(scene: Scene) -> FloatArray | None:
    """(h, w) brightness without the moving club: the median of pictures spread over the swing."""
    assert scene.reader is not None
    pictures = []
    for time_s in background_times(scene):
        try:
            image = scene.reader.frame_at(float(time_s), max_side=scene.settings.picture_side_px).image
        except InputError:
            continue
        pictures.append(_sum(image))
    if len(pictures) < 5:
        return None
    planes = sorted_planes(np.array(pictures))
    low, high = (np.asarray(planes[at] / 3.0, np.float32) for at in ((len(planes) - 1) // 2, len(planes) // 2))
    return np.asarray((low + high) / np.float32(2.0), np.float64)


def _sum(image: AnyArray) -> AnyArray:
    """(h, w) uint16: the three colours together."""
    return np.asarray(image[..., 0].astype(np.uint16) + image[..., 1] + image[..., 2], np.uint16)


def _brightness(image: AnyArray) -> FloatArray:
    return np.asarray(_sum(image) / 3.0, np.float64)


def fan_width_deg(image: AnyArray, behind: FloatArray, club: ClubTrack, row: int, scene: Scene) -> float:
    """Width of the fan at half its height in one picture, degrees, the shaft's own thickness taken off; NaN if unclear.

    Parameters
    ----------
    image : (h, w, 3) uint8
    behind : (h, w) brightness of the background
    club : ClubTrack
    row : int
        The frame of ``club``.
    scene : Scene
    """
    import cv2

    settings = scene.settings
    scale = image.shape[1] / scene.image_size[0]
    grip, angle, length = club.grip[row] * scale, float(club.angle_deg[row]), float(club.length_px[row]) * scale
    radii = np.linspace(settings.fan_from * length, settings.fan_to * length, 40)
    angles = angle + np.arange(-60.0, 60.01, STEP_DEG)
    x = (grip[0] + radii[:, None] * np.cos(np.radians(angles))).astype(np.float32)
    y = (grip[1] + radii[:, None] * np.sin(np.radians(angles))).astype(np.float32)
    inside = (x >= 0) & (y >= 0) & (x < image.shape[1] - 1) & (y < image.shape[0] - 1)
    middle, reach = len(angles) // 2, int(12.0 / STEP_DEG)
    if inside[:, middle - reach : middle + reach + 1].mean() < 0.8:
        return math.nan
    change = np.abs(_brightness(image) - behind).astype(np.float32)
    fan = cv2.remap(change, x, y, cv2.INTER_LINEAR)
    # The median along the radius keeps what is there all along the shaft: neither the body's edge nor the ball.
    fan[~inside] = np.nan
    profile = np.full(len(angles), np.nan)
    covered = inside.mean(axis=0) >= 0.6
    profile[covered] = np.nanmedian(fan[:, covered], axis=0)
    floor = float(np.nanpercentile(profile, 25))
    near = profile[middle - reach : middle + reach + 1]
    peak = middle - reach + int(np.nanargmax(near))
    height = float(profile[peak]) - floor
    if not height > settings.fan_least_levels:
        return math.nan
    half = floor + height / 2
    low, high = peak, peak
    while low > 0 and not profile[low - 1] <= half:
        low -= 1
    while high < len(profile) - 1 and not profile[high + 1] <= half:
        high += 1
    if low == 0 or high == len(profile) - 1:
        return math.nan
    width = (high - low + 1) * STEP_DEG
    own = math.degrees(settings.shaft_px * scale / float(np.mean(radii)))
    # A wide fan is as wide as the smear, a narrow one as wide as the shaft.
    return math.sqrt(max(0.0, width**2 - own**2))
