"""A swing in space as a well set up camera sees it.

The joints, club and positions of the result are exact: it is what a pose model and a shaft tracker without any error
would report.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Camera, SpaceTrack, Swing
from overlay.errors import InputError
from overlay.fit.figure import projected
from overlay.settings.maker import PLACE, CameraPlace
from overlay.terms import Handedness, View


def well_placed_camera(
    space: SpaceTrack, view: View, size: tuple[int, int] = (854, 854), *, place: CameraPlace = PLACE
) -> Camera:
    """A camera set up as advised: level, at hand height, down the line on the hand line or face on to the chest.

    Parameters
    ----------
    space : SpaceTrack
        Of either hand: the camera stands on the player's trail side, or in front of him.
    view : "dtl" or "fo"
    size : (width, height) px
    place : CameraPlace

    Returns
    -------
    Camera
        Its focal length is that of a phone, less where body or club would leave the frame.

    Raises
    ------
    InputError
        The view is another one, or the picture is smaller than 16 px.
    """
    if view not in ("dtl", "fo"):
        raise InputError(f"{view!r} is no view a swing in space can be shown in.", "Use dtl or fo.")
    width, height = size
    if width < 16 or height < 16:
        raise InputError(f"A picture of {width}×{height} px shows nothing.", "Give at least 16 px each way.")
    target = 1.0 if space.handedness == "right" else -1.0
    grip, head = _at_address(space)
    lens_m = float(np.clip(grip[2], place.lowest_m, place.highest_m))
    far = place.longer_m if float(np.linalg.norm(head - grip)) + 0.11 > place.long_club_m else 0.0
    if view == "dtl":
        aim, forward, away = np.array([0.0, grip[1], lens_m]), np.array([target, 0.0]), place.dtl_m + far
    else:
        aim, forward, away = np.array([0.0, place.chest_m, lens_m]), np.array([0.0, -1.0]), place.fo_m + far
    # The world's triad is left-handed by the textbook rule: the picture's right is (−f_y, f_x).
    axes = np.array([[-forward[1], forward[0], 0.0], [0.0, 0.0, -1.0], [forward[0], forward[1], 0.0]])
    position = aim - away * np.array([forward[0], forward[1], 0.0])
    focal = 0.5 * height / math.tan(math.radians(place.view_deg) / 2)
    camera = Camera(position, axes, focal, (0.5 * width, 0.5 * height))
    everything = np.concatenate([space.points, space.grip[:, None], space.club_head[:, None]], axis=1)
    off = np.abs(camera.project(everything) - np.array(camera.principal_px)) / (0.5 * np.array([width, height]))
    return replace(camera, focal_px=focal * min(1.0, (1.0 - 2 * place.margin) / float(np.nanmax(off))))


def seen_from(
    space: SpaceTrack,
    view: View,
    handedness: Handedness | None = None,
    size: tuple[int, int] = (854, 854),
    *,
    camera: Camera | None = None,
) -> Swing:
    """The swing as one camera sees it, exact in joints, club and positions.

    Parameters
    ----------
    space : SpaceTrack
    view : "dtl" or "fo"
    handedness : right or left, optional
        The swing is mirrored when it was made for the other hand; as it is when left out.
    size : (width, height) px
    camera : Camera, optional
        Looks at the swing of ``handedness``; ``well_placed_camera`` when left out.

    Returns
    -------
    Swing
        Real seconds on the clock of ``space``; every joint visible, the shaft measured in every frame, the ball and
        the strike known.

    Raises
    ------
    InputError
        The view is another one, the picture too small, or the camera stands inside the swing.
    """
    if handedness is not None and handedness != space.handedness:
        space = space.mirrored()
    if view not in ("dtl", "fo"):
        raise InputError(f"{view!r} is no view a swing in space can be shown in.", "Use dtl or fo.")
    if camera is None:
        camera = well_placed_camera(space, view, size)
    parts = (space.points, space.grip, space.club_head)
    if not all(np.all(np.isfinite(camera.project(part))) for part in parts):
        raise InputError("The camera stands so near that part of the swing is behind it.", "Move it further off.")
    swing = projected(space, camera, view, size)
    pose = replace(
        swing.pose,
        visibility=np.ones(swing.pose.visibility.shape),
        model="space",
        log=("projected from a swing in space",),
    )
    return replace(swing, pose=pose)


def _at_address(space: SpaceTrack) -> tuple[FloatArray, FloatArray]:
    """Grip and club head (3,) at address, or at the first moment where that is not known."""
    time_s = space.positions.time("address")
    i = 0 if time_s is None else int(np.argmin(np.abs(space.time_s - time_s)))
    return space.grip[i], space.club_head[i]
