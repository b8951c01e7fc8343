"""What a clip shows of the student, in a right-hander's picture: the pose at address, ball and club there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import PoseTrack, Positions, Swing
from overlay.errors import ContentError
from overlay.landmarks import INDEX, N_LANDMARKS
from overlay.normalise import real_slow_factor
from overlay.settings.align import FeatureSettings
from overlay.settings.fit import FitSettings
from overlay.terms import POSITION_NAMES, Handedness, View, words

JOINTS: tuple[str, ...] = (
    *(
        f"{side}_{joint}"
        for joint in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle", "heel", "foot_index", "ear")
        for side in ("left", "right")
    ),
    "nose",
)
"""Joints the camera is found from."""
ROWS: tuple[int, ...] = tuple(INDEX[name] for name in JOINTS)


@dataclass(frozen=True)
class Seen:
    """One clip of the student, mirrored for a left-hander.

    Attributes
    ----------
    track : PoseTrack
    positions : Positions
    view : "dtl" or "fo"
    handedness : right or left
        Before mirroring.
    anchor : str
        The position at which the camera is found: address, unless it is missing.
    points : (J, 2) px
        The joints of ``JOINTS`` there; NaN where not seen.
    torso_px : float
    head_px : (2,) px or None
        The club head at address.
    ball_px : (2,) px or None
    image_size : (width, height) px
    """

    track: PoseTrack
    positions: Positions
    view: View
    handedness: Handedness
    anchor: str
    points: FloatArray
    torso_px: float
    head_px: FloatArray | None
    ball_px: FloatArray | None
    image_size: tuple[int, int]


def look(swing: Swing, settings: FitSettings) -> Seen:
    """Read the clip.

    Raises
    ------
    ContentError
        A view from another angle, no position that could serve, or too few joints there.
    """
    if swing.view not in ("dtl", "fo"):
        raise ContentError(
            "A swing in space is fitted to clips filmed down the line or face on; this one is neither.",
            "Film from one of the two places, or compare without fitting.",
        )
    track = swing.pose.mirrored() if swing.handedness == "left" else swing.pose
    anchor = next((name for name in POSITION_NAMES[:-1] if swing.positions.time(name) is not None), None)
    if anchor is None:
        raise ContentError(
            "No position of the swing was found, so the model cannot be put in the student's place.",
            "Mark the address by hand, or film the whole swing.",
        )
    time_s = swing.positions.time(anchor)
    assert time_s is not None
    slow = real_slow_factor(swing, FeatureSettings())
    points = _mean_pose(track, time_s, settings.still_s * slow if anchor == "address" else 0.0, settings)
    known = np.isfinite(points[list(ROWS), 0])
    shoulders = 0.5 * (points[INDEX["left_shoulder"]] + points[INDEX["right_shoulder"]])
    hips = 0.5 * (points[INDEX["left_hip"]] + points[INDEX["right_hip"]])
    torso_px = float(np.hypot(*(shoulders - hips)))
    where = words(anchor)
    if known.sum() < settings.least_joints:
        raise ContentError(
            f"Only {int(known.sum())} of {len(ROWS)} joints are seen at {where}, so the model cannot be put there.",
            "Film the whole body from before the swing begins.",
        )
    if not (math.isfinite(torso_px) and torso_px > settings.least_torso_px):
        raise ContentError(
            f"Shoulders and hips are not all seen well enough at {where}, so the model cannot be put there.",
            "Film the whole body from before the swing begins.",
        )
    head_px, ball_px = _club_and_ball(swing, time_s) if anchor == "address" else (None, None)
    return Seen(
        track, swing.positions, swing.view, swing.handedness, anchor, points[list(ROWS)], torso_px, head_px, ball_px,
        track.image_size,
    )  # fmt: skip


def _mean_pose(track: PoseTrack, time_s: float, still_s: float, settings: FitSettings) -> FloatArray:
    """(33, 2) px median over the still moment before ``time_s``; NaN where hidden, missing or outside the picture."""
    frame = float(np.median(np.diff(track.time_s))) if len(track) > 1 else 0.0
    window = (track.time_s >= time_s - max(still_s, 0.51 * frame)) & (track.time_s <= time_s + 0.51 * frame)
    if not np.any(window):
        window[int(np.argmin(np.abs(track.time_s - time_s)))] = True
    points = np.where(track.filled[window][..., None], np.nan, track.points[window])
    visibility = np.nanmean(track.visibility[window], axis=0)
    seen = np.mean(np.isfinite(points[..., 0]), axis=0) >= 0.5
    mean = np.full((N_LANDMARKS, 2), np.nan)
    if np.any(seen):
        mean[seen] = np.nanmedian(points[:, seen], axis=0)
    for name, i in INDEX.items():
        if name.endswith(("elbow", "wrist")) and visibility[i] < settings.hidden_visibility:
            mean[i] = np.nan
    width, height = track.image_size
    outside = (mean[:, 0] < 0) | (mean[:, 0] > width) | (mean[:, 1] < 0) | (mean[:, 1] > height)
    mean[outside] = np.nan
    return mean


def _club_and_ball(swing: Swing, time_s: float) -> tuple[FloatArray | None, FloatArray | None]:
    """Club head and ball at address, px of a right-hander's picture."""

    def right(point: tuple[float, float] | FloatArray) -> FloatArray:
        x, y = float(point[0]), float(point[1])
        return np.array([swing.pose.image_size[0] - x if swing.handedness == "left" else x, y])

    ball = None
    if swing.strike is not None and swing.strike.ball is not None and swing.strike.ball.confidence >= 0.5:
        ball = right(swing.strike.ball.place)
    head = None
    club = swing.club
    if club is not None and len(club.time_s):
        near = np.abs(club.time_s - time_s)
        frame = float(np.median(np.diff(club.time_s))) if len(club.time_s) > 1 else 1.0
        i = int(np.argmin(near))
        if near[i] <= 2 * frame and club.scored[i] and np.all(np.isfinite(club.head[i])):
            head = right(club.head[i])
    return head, ball


def mapped_times(seen: Seen, positions: Positions) -> tuple[FloatArray, FloatArray]:
    """Times of the clip's frames between the first and last position common with ``positions``, and those there."""
    pairs = [
        (time_s, other)
        for name, time_s in seen.positions.times().items()
        if (other := positions.time(name)) is not None
    ]
    if len(pairs) < 2:
        return np.zeros(0), np.zeros(0)
    mine, theirs = (np.array(column) for column in zip(*pairs))
    inside = (seen.track.time_s >= mine[0]) & (seen.track.time_s <= mine[-1])
    times = seen.track.time_s[inside]
    return times, np.asarray(np.interp(times, mine, theirs), np.float64)
