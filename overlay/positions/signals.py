"""One swing as smooth series on a fine grid of time, the same way round for every player.

A left-handed player's track is mirrored first, so lead is always the joint labelled left. Lengths are torso lengths,
heights point up, and all places are relative to where the hips stand around the swing, fixed in the picture: the
hips' own movement must not look like movement of the hands.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import PoseTrack
from overlay.kinematics import (
    hand_path,
    interpolated,
    mean_seen,
    median_seen,
    midpoint,
    torso_length,
    torso_lengths,
)
from overlay.landmarks import INDEX
from overlay.settings.positions import PositionSettings

BODY: tuple[str, ...] = (
    "nose",
    "left_ear",
    "right_ear",
    *(
        f"{side}_{joint}"
        for joint in ("shoulder", "elbow", "wrist", "index", "pinky", "thumb", "hip", "knee")
        for side in ("left", "right")
    ),
)
"""Joints that move when the body starts or stops; feet hardly do."""

HELD_STILL = np.array([joint.endswith(("nose", "shoulder", "elbow", "hip", "knee")) for joint in BODY])
"""The joints by which the noise of a track is measured: no hands, which are often hidden, and no face."""

STILLEST = 20.0
"""Percentile over all short windows that stands for the body at rest; address and finish are more than that."""

Fine = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class SwingSignals:
    """Series over one window around one swing.

    Attributes
    ----------
    time_s : (G,) float
        The fine grid.
    hands : (G, 2) float
        Grip; x right, y up, torso lengths from the hips' place.
    lead_wrist, lead_shoulder : (G, 2) float
        The same axes.
    arm : (G,) float
        Elevation of the lead arm (shoulder → wrist), degrees: −90 hanging, 0 level.
    arm_direction : (G,) float
        Direction of the lead arm in the picture, unwrapped degrees, 0 = hanging, positive towards picture left.
    turn : (G,) float
        Left minus right shoulder along x.
    club_hint : (G,) float
        Elevation of the hands' own direction (wrists → knuckles), degrees; NaN when the track has no knuckles.
    speed, body_speed : (G,) float
        Of the hands, and the mean over hands, shoulders and head, torso lengths per second.
    seen : (G,) float
        How well the hands are seen, 0–1.
    gap_s : (G,) float
        Length of the stretch without hands that a time lies in, 0 where they are seen.
    frame_time_s : (F,) float
        The window's frames as filmed.
    body : (F, K, 2) float
        Joints of arms, trunk and head at the frames, the axes of ``hands``; NaN where not seen.
    tremble : float
        How much joints that stand still seem to move, torso lengths: the noise of this track.
    scale_px : float
    frame_s : float
        Median spacing of the frames.
    downswing_s : float
        Coarse time from highest to lowest hands, the swing's own unit of time.
    starts_with_clip, ends_with_clip : bool
        Whether the window is cut by the recording's start or end.
    """

    time_s: FloatArray
    hands: FloatArray
    lead_wrist: FloatArray
    lead_shoulder: FloatArray
    arm: FloatArray
    arm_direction: FloatArray
    turn: FloatArray
    club_hint: FloatArray
    speed: FloatArray
    body_speed: FloatArray
    seen: FloatArray
    gap_s: FloatArray
    frame_time_s: FloatArray
    body: FloatArray
    tremble: float
    scale_px: float
    frame_s: float
    downswing_s: float
    starts_with_clip: bool
    ends_with_clip: bool

    @property
    def step_s(self) -> float:
        return float(self.time_s[1] - self.time_s[0])

    @property
    def height(self) -> FloatArray:
        """(G,) height of the hands over the hips' place, torso lengths."""
        return self.hands[:, 1]

    def index(self, time_s: float) -> int:
        """Grid index nearest to a time."""
        return int(np.clip(round((time_s - float(self.time_s[0])) / self.step_s), 0, len(self) - 1))

    def __len__(self) -> int:
        return len(self.time_s)


def swing_signals(
    track: PoseTrack, start_s: float, stop_s: float, top_s: float, impact_s: float, settings: PositionSettings
) -> SwingSignals:
    """Prepare the series of one swing.

    Parameters
    ----------
    track : PoseTrack
        The whole recording, already mirrored for a left-handed player.
    start_s, stop_s : float
        Window to look at.
    top_s, impact_s : float
        Coarse top and lowest hands.
    """
    downswing_s = impact_s - top_s
    keep = (track.time_s >= start_s - 1e-9) & (track.time_s <= stop_s + 1e-9)
    time_s = track.time_s[keep]
    frame_s = float(np.median(np.diff(time_s)))
    step_s = max(downswing_s / settings.grid_per_downswing, (time_s[-1] - time_s[0]) / 6000)
    grid = time_s[0] + step_s * np.arange(int((time_s[-1] - time_s[0]) / step_s + 1e-6) + 1)
    sigma_s = max(settings.smoothing * downswing_s, 0.5 * frame_s)
    near = (track.time_s >= top_s - 4 * downswing_s) & (track.time_s <= impact_s + downswing_s)
    lengths = torso_lengths(track)
    close = lengths[near & np.isfinite(lengths)]
    scale = float(np.median(close)) if len(close) else torso_length(track)
    hips = midpoint(track, "hip")[near]
    origin = median_seen(hips if np.any(np.isfinite(hips)) else midpoint(track, "hip"))

    def fine(values: FloatArray) -> FloatArray:
        return _fine(values, time_s, grid, sigma_s / step_s)

    def place(points: FloatArray) -> FloatArray:
        moved = (points[keep] - origin) / scale * np.array([1.0, -1.0])
        return np.stack([fine(moved[:, axis]) for axis in (0, 1)], axis=1)

    path = hand_path(track)
    joints = (track.points[keep][:, [INDEX[name] for name in BODY]] - origin) / scale * np.array([1.0, -1.0])
    hands = place(path.points)
    wrist, shoulder = place(track.joint("left_wrist")), place(track.joint("left_shoulder"))
    trail_shoulder, nose = place(track.joint("right_shoulder")), place(track.joint("nose"))
    wrist = _trusted_wrist(track, keep, wrist, hands, fine)
    arm_vector = wrist - shoulder
    velocity = np.gradient(hands, step_s, axis=0)
    body = [np.linalg.norm(np.gradient(p, step_s, axis=0), axis=1) for p in (hands, shoulder, trail_shoulder, nose)]
    return SwingSignals(
        time_s=grid,
        hands=hands,
        lead_wrist=wrist,
        lead_shoulder=shoulder,
        arm=_level_angle(wrist, shoulder),
        arm_direction=np.degrees(np.unwrap(np.arctan2(-arm_vector[:, 0], -arm_vector[:, 1]))),
        turn=fine((track.joint("left_shoulder")[keep, 0] - track.joint("right_shoulder")[keep, 0]) / scale),
        club_hint=_club_hint(track, keep, scale, fine),
        speed=np.linalg.norm(velocity, axis=1),
        body_speed=mean_seen(np.stack(body)),
        seen=np.interp(grid, time_s, path.trust[keep]),
        gap_s=_gaps(np.isfinite(path.points[keep, 0]) & (path.trust[keep] > 0), time_s, grid),
        frame_time_s=time_s,
        body=joints,
        tremble=tremble(joints[:, HELD_STILL], max(5, round(0.5 * downswing_s / frame_s))),
        scale_px=scale,
        frame_s=frame_s,
        downswing_s=downswing_s,
        starts_with_clip=bool(time_s[0] <= track.time_s[0] + 1e-9),
        ends_with_clip=bool(time_s[-1] >= track.time_s[-1] - 1e-9),
    )


def _fine(values: FloatArray, time_s: FloatArray, grid: FloatArray, sigma: float) -> FloatArray:
    """Bridge gaps, resample by a shape-preserving cubic, smooth; all NaN when nothing is seen."""
    from scipy.interpolate import Akima1DInterpolator
    from scipy.ndimage import gaussian_filter1d

    bridged = interpolated(values, time_s)
    if not np.all(np.isfinite(bridged)):
        return np.full(len(grid), np.nan)
    dense = np.asarray(Akima1DInterpolator(time_s, bridged)(np.minimum(grid, time_s[-1])))
    return np.asarray(gaussian_filter1d(dense, sigma, mode="nearest"), np.float64)


def tremble(joints: FloatArray, window: int) -> float:
    """Noise of a track, from its stillest stretches.

    Over every window of ``window`` frames each joint's spread about a straight line is taken; windows in which the
    body moves have more, so a low percentile of the windows is the noise alone. The median over the joints.

    Parameters
    ----------
    joints : (F, K, 2) float
        NaN where not seen.
    window : int
        Frames, at least 3.

    Returns
    -------
    float
        Units of ``joints``, a standard deviation over both axes together; NaN when the recording is shorter than a
        window.
    """
    if len(joints) < window:
        return float("nan")
    stacked = np.lib.stride_tricks.sliding_window_view(joints, window, axis=0)
    at = np.arange(window) - (window - 1) / 2
    slope = stacked @ at / np.sum(at**2)
    variance = np.var(stacked, axis=-1) - slope**2 * np.mean(at**2)
    spread = np.sqrt(np.maximum(variance.sum(axis=-1) * window / (window - 2), 0.0))
    per_joint = [
        float(np.percentile(values[np.isfinite(values)], STILLEST))
        for values in spread.T
        if np.any(np.isfinite(values))
    ]
    return float(np.median(per_joint)) if per_joint else float("nan")


def _gaps(seen: BoolArray, time_s: FloatArray, grid: FloatArray) -> FloatArray:
    """(G,) s between the seen frames on either side of each time where a frame between them lacks the hands."""
    result = np.zeros(len(grid))
    known = np.flatnonzero(seen)
    if not len(known):
        return np.full(len(grid), time_s[-1] - time_s[0])
    for first, last in itertools.pairwise(known):
        if last > first + 1:
            inside = (grid > time_s[first]) & (grid < time_s[last])
            result[inside] = time_s[last] - time_s[first]
    result[grid < time_s[known[0]]] = 2 * (time_s[known[0]] - time_s[0])
    result[grid > time_s[known[-1]]] = 2 * (time_s[-1] - time_s[known[-1]])
    return result


def _trusted_wrist(track: PoseTrack, keep: BoolArray, wrist: FloatArray, hands: FloatArray, fine: Fine) -> FloatArray:
    """The lead wrist, replaced by the grip in the measure in which the model cannot see it."""
    visibility = np.where(track.filled[keep, INDEX["left_wrist"]], 0.0, track.visibility[keep, INDEX["left_wrist"]])
    seen = np.clip(fine(np.clip(visibility, 0.0, 1.0)), 0.0, 1.0)
    gap = np.linalg.norm(wrist - hands, axis=1)
    share = np.clip((seen - 0.2) / 0.4, 0.0, 1.0) * np.clip((0.5 - gap) / 0.2, 0.0, 1.0)
    share = np.where(np.isfinite(share), share, 0.0)[:, None]
    return np.where(share > 0, share * np.nan_to_num(wrist) + (1 - share) * hands, hands)


def _level_angle(wrist: FloatArray, shoulder: FloatArray) -> FloatArray:
    """Elevation of shoulder → wrist, degrees: its rise in the picture over the arm's full length.

    The full length is the 95th percentile of what is seen, so an arm that points along the line of sight is not
    taken for steep. What perspective adds (down the line a level arm that points at a camera standing at hand
    height appears tilted up) is the same in every clip filmed as advised and is left to the calibration.
    """
    arm = wrist - shoulder
    length = np.linalg.norm(arm, axis=1)
    seen = length[np.isfinite(length)]
    full = float(np.percentile(seen, 95)) if len(seen) else float("nan")
    return np.asarray(np.degrees(np.arcsin(np.clip(arm[:, 1] / max(full, 1e-6), -1.0, 1.0))), np.float64)


def _club_hint(track: PoseTrack, keep: BoolArray, scale: float, fine: Fine) -> FloatArray:
    """Elevation of wrists → knuckles, degrees: the hands point roughly along the shaft."""
    vectors = []
    for side in ("left", "right"):
        knuckles = (track.joint(f"{side}_index") + track.joint(f"{side}_pinky")) / 2
        weight = np.clip(track.visibility[:, INDEX[f"{side}_wrist"]], 0.05, 1.0)[:, None]
        vectors.append((knuckles - track.joint(f"{side}_wrist")) * weight)
    both = (vectors[0] + vectors[1])[keep] / scale
    x, y = fine(both[:, 0]), -fine(both[:, 1])
    return np.asarray(np.degrees(np.arctan2(y, np.abs(x))), np.float64)
