"""Every swing in one common frame, so that they can be averaged joint by joint.

The common frame shows a right-hander whose torso is ``TORSO_PX`` long, the feet at address where the first swing's
are; times are real seconds. A picture that moved is brought to rest first.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Ball, ClubTrack, PoseTrack, Position, Positions, Swing
from overlay.errors import ContentError
from overlay.landmarks import INDEX
from overlay.models.keeping import REAL_TIME
from overlay.normalise import JOINTS, real_slow_factor
from overlay.score.parts import Figure, figure_of, still_window
from overlay.segments import fit_in_picture
from overlay.settings.template import TemplateSettings
from overlay.terms import POSITION_NAMES

TORSO_PX = 100.0
"""Torso length of the common frame."""

FEET = tuple(INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in ("ankle", "heel", "foot_index"))
BODY = tuple(INDEX[name] for name in JOINTS)


@dataclass(frozen=True)
class Member:
    """One swing that may enter the template.

    Attributes
    ----------
    index : int
        Its place among the swings that were given.
    label : str
    given : Swing
        As it came.
    swing : Swing
        In the common frame: right-handed, real seconds, no clip, camera at rest.
    slow_factor : float
        Clip seconds per real second.
    clock_known : bool
        The capture rate was told, or the clip plays as real swings do.
    scale, shift : float, (2,) px
        Common frame = scale × the player's own right-handed picture + shift.
    """

    index: int
    label: str
    given: Swing
    swing: Swing
    slow_factor: float
    clock_known: bool
    scale: float
    shift: FloatArray

    def moved(self, scale: float, shift: FloatArray) -> Member:
        """The same swing, its place in the common frame changed: new = scale × old + shift."""
        return replace(
            self,
            swing=placed(self.swing, scale, shift),
            scale=self.scale * scale,
            shift=np.asarray(scale * self.shift + shift, np.float64),
        )


def slow_factor(swing: Swing, settings: TemplateSettings) -> tuple[float, bool]:
    """Clip seconds per real second, and whether the clip's own clock is known to be that fast."""
    if swing.clip is not None and swing.clip.capture_rate is not None:
        return swing.slow_factor, True
    if swing.clip is None and swing.quality.get(REAL_TIME) == 1.0:
        return 1.0, True
    estimate = float(swing.quality.get("slow_factor_estimate", float("nan")))
    if not (math.isfinite(estimate) and estimate > 0):
        estimate = real_slow_factor(swing, settings.align.features)
    return estimate, abs(math.log(estimate)) < 1e-6


def at_rest(swing: Swing) -> Swing:
    """The swing as a camera on a tripod would have seen it: everything in px of the address frame."""
    motion = swing.camera_motion
    if motion is None:
        return swing
    track = swing.pose
    points = np.stack([motion.to_reference(frame, float(t)) for frame, t in zip(track.points, track.time_s)])
    club = swing.club
    if club is not None and len(club.time_s):
        ends = np.stack([club.grip, club.head], axis=1)
        # A hidden shaft has a grip and no head: the grip is moved by itself.
        moved = np.stack([motion.to_reference(pair, float(t)) for pair, t in zip(ends, club.time_s)])
        along = moved[:, 1] - moved[:, 0]
        club = replace(
            club,
            grip=moved[:, 0],
            angle_deg=np.degrees(np.arctan2(along[:, 1], along[:, 0])),
            length_px=np.where(np.isfinite(along[:, 0]), np.hypot(along[:, 0], along[:, 1]), club.length_px),
        )
    return replace(swing, pose=replace(track, points=points), club=club, camera_motion=None)


def mirrored(swing: Swing) -> Swing:
    """The swing as seen in a mirror: the other hand, everything flipped."""
    width = swing.pose.image_size[0]
    club, strike = swing.club, swing.strike
    if club is not None:
        grip = club.grip.copy()
        grip[:, 0] = width - grip[:, 0]
        club = replace(club, grip=grip, angle_deg=180.0 - club.angle_deg)
    if strike is not None and strike.ball is not None:
        ball = strike.ball
        strike = replace(strike, ball=replace(ball, place=(width - ball.place[0], ball.place[1])))
    other = "left" if swing.handedness == "right" else "right"
    return replace(swing, pose=swing.pose.mirrored(), club=club, strike=strike, handedness=other)  # type: ignore[arg-type]


def placed(swing: Swing, scale: float, shift: FloatArray) -> Swing:
    """Everything of the swing that lies in the picture, moved: new = scale × old + shift."""
    club, strike = swing.club, swing.strike
    if club is not None:
        club = replace(club, grip=club.grip * scale + shift, length_px=club.length_px * scale)
    if strike is not None and strike.ball is not None:
        x, y = np.array(strike.ball.place) * scale + shift
        ball = replace(strike.ball, place=(float(x), float(y)), diameter_px=strike.ball.diameter_px * scale)
        strike = replace(strike, ball=ball)
    pose = replace(swing.pose, points=swing.pose.points * scale + shift, depth=swing.pose.depth * scale)
    quality = dict(swing.quality)
    if "person_height_px" in quality:
        quality["person_height_px"] *= scale
    return replace(swing, pose=pose, club=club, strike=strike, torso_px=swing.torso_px * scale, quality=quality)


def retimed(swing: Swing, factor: float, shift_s: float = 0.0) -> Swing:
    """Every time of the swing times ``factor``, plus ``shift_s``."""

    def new(time_s: float) -> float:
        return time_s * factor + shift_s

    found = tuple(
        replace(p, time_s=new(p.time_s), sd_s=None if p.sd_s is None else p.sd_s * factor)
        for p in swing.positions.found
    )
    club, strike = swing.club, swing.strike
    if club is not None:
        club = replace(club, time_s=club.time_s * factor + shift_s)
    if strike is not None:
        ball: Ball | None = strike.ball
        if ball is not None:
            ball = replace(ball, last_seen_s=new(ball.last_seen_s), gone_s=new(ball.gone_s))
        clues = tuple(replace(clue, time_s=new(clue.time_s), sd_s=clue.sd_s * factor) for clue in strike.clues)
        strike = replace(strike, time_s=new(strike.time_s), sd_s=strike.sd_s * factor, ball=ball, clues=clues)
    return replace(
        swing,
        pose=replace(swing.pose, time_s=swing.pose.time_s * factor + shift_s),
        positions=Positions(found, swing.positions.missing),
        club=club,
        strike=strike,
    )


def still_pose(swing: Swing, settings: TemplateSettings) -> FloatArray:
    """(J, 2) px: the pose before the club moves away, NaN where it was not seen; the first position without one."""
    figure = figure_of(swing, settings.score)
    time_s = swing.positions.time("address")
    if time_s is None:
        time_s = swing.positions.found[0].time_s if swing.positions.found else swing.start_s
    window = still_window(figure, time_s, settings.score)
    points = np.where(figure.measured[window][..., None], figure.points[window], np.nan)
    seen = np.any(np.isfinite(points[..., 0]), axis=0)
    pose = np.full(points.shape[1:], np.nan)
    pose[seen] = np.nanmean(points[:, seen], axis=0)
    return pose


def member_of(index: int, label: str, given: Swing, settings: TemplateSettings) -> Member:
    """One swing in the common frame, its hips at address in the origin until ``put_together`` places it.

    Raises
    ------
    ContentError
        Shoulders and hips are never seen together, or too few frames or positions to go by.
    """
    if len(given.pose) < 8:
        raise ContentError(f"has only {len(given.pose)} frames", "Film the whole swing.")
    if len(given.positions.found) < 3:
        raise ContentError("has fewer than three of its positions found", "Film the whole swing, uncovered.")
    swing = at_rest(given)
    if swing.handedness == "left":
        swing = mirrored(swing)
    slow, known = slow_factor(given, settings)
    swing = replace(retimed(swing, 1.0 / slow), clip=None)
    quality = {name: value for name, value in swing.quality.items() if name != "slow_factor_estimate"}
    swing = replace(swing, quality=quality)
    torso_px = figure_of(swing, settings.score).torso_px
    if not (math.isfinite(torso_px) and torso_px > 0):
        raise ContentError("shows no torso to measure by", "Film the whole body, shoulders and hips uncovered.")
    scale = TORSO_PX / torso_px
    swing = placed(swing, scale, np.zeros(2))
    pose = still_pose(swing, settings)
    hips = pose[[INDEX["left_hip"], INDEX["right_hip"]]].mean(axis=0)
    shift = -hips if np.all(np.isfinite(hips)) else -np.nanmean(pose, axis=0)
    return Member(index, label, given, placed(swing, 1.0, shift), slow, known, scale, np.asarray(shift, np.float64))


def put_together(member: Member, pose: FloatArray, settings: TemplateSettings) -> Member:
    """The member scaled and moved so that its address stands where ``pose`` (J, 2) does.

    Its size is that of the whole figure (least squares over the joints both show), which many joints tell better than
    the torso alone; the feet are put on the feet, because they are what stays where it is.
    """
    mine = still_pose(member.swing, settings)
    both = [i for i in BODY if np.isfinite(mine[i, 0]) and np.isfinite(pose[i, 0])]
    if len(both) < 4:
        return member
    a, b = mine[both] - mine[both].mean(axis=0), pose[both] - pose[both].mean(axis=0)
    scale = float(np.sum(a * b) / max(float(np.sum(a * a)), 1e-12))
    if not 0.5 < scale < 2.0:
        return member
    feet = [i for i in FEET if np.isfinite(mine[i, 0]) and np.isfinite(pose[i, 0])] or both
    shift = pose[feet].mean(axis=0) - scale * mine[feet].mean(axis=0)
    return member.moved(scale, shift)


def fitted_to(middle: Member, member: Member, settings: TemplateSettings) -> Member:
    """The member with the segment lengths of the swing in the middle, as far as both show that they differ."""
    if not settings.fit_bodies or member.index == middle.index:
        return member
    return replace(member, swing=fit_in_picture(member.swing, middle.swing).swing)


def sampling_figure(track: PoseTrack) -> Figure:
    """The track for interpolation: every value that is there counts, filled ones by their weight."""
    return Figure(
        track.time_s,
        track.points,
        np.isfinite(track.points[..., 0]),
        TORSO_PX,
        1.0,
        Positions((), dict.fromkeys(POSITION_NAMES, "")),
    )


def joint_weight(track: PoseTrack, settings: TemplateSettings) -> FloatArray:
    """(T, J): visibility squared, as below one half most places are guesses; less where filled, 0 where missing."""
    weight = np.clip(track.visibility, settings.least_weight, 1.0) ** 2
    weight = np.where(track.filled, settings.filled_weight * weight, weight)
    return np.asarray(np.where(np.isfinite(track.points[..., 0]), weight, 0.0), np.float64)


def positions_of(members: Sequence[Member], name: str) -> list[tuple[int, Position]]:
    """(place in ``members``, position) of those that have it."""
    pairs = [(i, member.swing.positions.get(name)) for i, member in enumerate(members)]
    return [(i, position) for i, position in pairs if position is not None]


def club_of(member: Member) -> ClubTrack | None:
    """The member's shaft, None when there is none to speak of."""
    club = member.swing.club
    return club if club is not None and len(club.time_s) > 1 else None
