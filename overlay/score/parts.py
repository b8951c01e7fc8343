"""What of a swing stands for each body part, in numbers that survive another body and another camera.

Each part is one or more points of the body seen from an origin:

- *hands* from the middle of the shoulders; *arms* (elbow) from their own shoulder; *shoulders* as the line from the
  trail to the lead shoulder; *spine* as the line from mid-hip to mid-shoulder. These do not move when the whole body
  does, so a sway shows in the pelvis alone.
- *pelvis* (mid-hip), *head* and *legs* (knee) from the ground, which a standing camera keeps in place: this is what a
  line drawn at address shows.

Every point is taken minus its own address pose, so camera position, stance and body proportions, which are there at
address already, cancel; lengths are divided by the clip's own torso.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import Positions, Swing
from overlay.landmarks import INDEX, sided
from overlay.settings.score import ScoreSettings
from overlay.terms import View

# In the canonical right-handed picture lead is left.
_LEAD, _TRAIL = "left", "right"
_ARM_JOINTS = ("elbow", "wrist", "pinky", "index", "thumb")


@dataclass(frozen=True)
class Part:
    """Points and the joints whose mean is their origin; an empty origin is the ground."""

    points: tuple[tuple[str, ...], ...]
    """Each point is the mean of these joints."""
    origin: tuple[str, ...] = ()
    limb: str = ""
    """The limb whose length scales the part ("arm") when the players' proportions differ."""


_SHOULDERS = ("left_shoulder", "right_shoulder")
_HIPS = ("left_hip", "right_hip")

PART_POINTS: dict[str, Part] = {
    "hands": Part(
        tuple((f"{side}_{joint}",) for joint in ("wrist", "pinky", "index") for side in (_LEAD, _TRAIL)),
        _SHOULDERS,
        "arm",
    ),
    "lead_arm": Part(((f"{_LEAD}_elbow",),), (f"{_LEAD}_shoulder",), "arm"),
    "trail_arm": Part(((f"{_TRAIL}_elbow",),), (f"{_TRAIL}_shoulder",), "arm"),
    "shoulders": Part(((f"{_LEAD}_shoulder",),), (f"{_TRAIL}_shoulder",)),
    "head": Part((("nose",), ("left_ear",), ("right_ear",))),
    "spine": Part((_SHOULDERS,), _HIPS),
    "pelvis": Part((_HIPS,)),
    "lead_leg": Part(((f"{_LEAD}_knee",),)),
    "trail_leg": Part(((f"{_TRAIL}_knee",),)),
}


@dataclass(frozen=True)
class Figure:
    """One swing in the canonical right-handed picture.

    Attributes
    ----------
    time_s : (T,) float
    points : (T, J, 2) float, px
    measured : (T, J) bool
        Seen by the pose model: not missing, not filled in, and, for arms, not below the visibility limit.
    torso_px : float
    slow_factor : float
        Clip seconds per real second.
    positions : Positions
    """

    time_s: FloatArray
    points: FloatArray
    measured: BoolArray
    torso_px: float
    slow_factor: float
    positions: Positions

    @property
    def frame_s(self) -> float:
        """Median frame interval, real seconds."""
        return float(np.median(np.diff(self.time_s))) / self.slow_factor


def joint_mean(points: FloatArray, names: tuple[str, ...]) -> FloatArray:
    """(…, J, 2) → (…, 2): mean of the named joints, NaN when one is missing."""
    return np.asarray(np.mean(points[..., [INDEX[name] for name in names], :], axis=-2), np.float64)


def torso_lengths(points: FloatArray) -> FloatArray:
    """(…, J, 2) px → (…) px: shoulder midpoint to hip midpoint."""
    vector = joint_mean(points, _SHOULDERS) - joint_mean(points, _HIPS)
    return np.asarray(np.hypot(vector[..., 0], vector[..., 1]), np.float64)


def figure_of(swing: Swing, settings: ScoreSettings) -> Figure:
    """The swing in the canonical right-handed picture, with what was measured and its torso length.

    The torso is the median over the still moment before address, when the body does not turn; the swing's own
    ``torso_px`` serves when that moment was not seen.
    """
    track = swing.pose.mirrored() if swing.handedness == "left" else swing.pose
    measured = np.all(np.isfinite(track.points), axis=-1) & ~track.filled
    arms = [INDEX[sided(joint, side, "right")] for joint in _ARM_JOINTS for side in ("lead", "trail")]  # type: ignore[arg-type]
    measured[:, arms] &= track.visibility[:, arms] >= settings.min_visibility
    slow_factor = likely_slow_factor(swing, settings)
    figure = Figure(track.time_s, track.points, measured, float("nan"), slow_factor, swing.positions)
    torso_px = float("nan")
    address = swing.positions.time("address")
    if address is not None:
        window = still_window(figure, address, settings)
        lengths = torso_lengths(np.where(measured[..., None], track.points, np.nan))[window]
        if np.any(np.isfinite(lengths)):
            torso_px = float(np.nanmedian(lengths))
    if not np.isfinite(torso_px):
        torso_px = swing.torso_px
    if not np.isfinite(torso_px):
        lengths = torso_lengths(track.points)
        torso_px = float(np.nanmedian(lengths)) if np.any(np.isfinite(lengths)) else float("nan")
    return Figure(track.time_s, track.points, measured, torso_px, slow_factor, swing.positions)


def likely_slow_factor(swing: Swing, settings: ScoreSettings) -> float:
    """Clip seconds per real second; guessed from the downswing when the clip's own clock cannot be real time.

    The guess only sets how fast the body is taken to move (which differences a time error explains) and how long the
    still moment lasts; no time in ms is ever given from it.
    """
    top, impact = swing.positions.time("top"), swing.positions.time("impact")
    if top is None or impact is None:
        return swing.slow_factor
    downswing_s = (impact - top) / swing.slow_factor
    if downswing_s <= settings.max_downswing_s:
        return swing.slow_factor
    return swing.slow_factor * downswing_s / settings.typical_downswing_s


def torso_share_of_stature(figure: Figure, view: View, settings: ScoreSettings) -> float:
    """The torso length that is seen, as a fraction of stature.

    Down the line the bent torso lies in the picture's plane and is .288 of stature. Face on it is bent towards the
    camera and looks shorter, so it is measured against the legs (hip to ankle, .491 of stature), which are not.
    """
    address = figure.positions.time("address")
    if view == "dtl" or address is None:
        return settings.torso_of_stature
    window = still_window(figure, address, settings)
    points = np.where(figure.measured[window][..., None], figure.points[window], np.nan)
    legs = []
    for side in (_LEAD, _TRAIL):
        hip, knee, ankle = (points[:, INDEX[f"{side}_{joint}"]] for joint in ("hip", "knee", "ankle"))
        legs.append(np.hypot(*(knee - hip).T) + np.hypot(*(ankle - knee).T))
    seen = np.array(legs)[np.isfinite(legs)]
    if not len(seen):
        return settings.torso_of_stature
    return figure.torso_px / float(np.median(seen)) * settings.leg_of_stature


def still_window(figure: Figure, time_s: float, settings: ScoreSettings) -> BoolArray:
    """(T,) bool: the frames of the still moment that ends at ``time_s``; at least the nearest frame."""
    spare = 0.51 * figure.frame_s * figure.slow_factor
    window = (figure.time_s >= time_s - settings.still_s * figure.slow_factor) & (figure.time_s <= time_s + spare)
    if not np.any(window):
        window[int(np.argmin(np.abs(figure.time_s - time_s)))] = True
    return np.asarray(window, np.bool_)


def sample(figure: Figure, times_s: FloatArray, settings: ScoreSettings) -> tuple[FloatArray, BoolArray]:
    """All joints at any times: (N, J, 2) px, and (N, J) whether both neighbouring frames were measured.

    Cubic Hermite through the frames with three-point slopes: a straight line between frames would cut the corner of a
    fast hand path by 6 % of a torso at 30 frames/s, and so make a 30 and a 240 frames/s clip differ.
    """
    t = figure.time_s
    n = len(t)
    if n < 2:
        return np.full((len(times_s), figure.points.shape[1], 2), np.nan), np.zeros(
            (len(times_s), figure.points.shape[1]), bool
        )
    spare = 0.51 * figure.frame_s * figure.slow_factor
    inside = (times_s >= t[0] - spare) & (times_s <= t[-1] + spare)
    at = np.clip(times_s, t[0], t[-1])
    i = np.clip(np.searchsorted(t, at, side="right") - 1, 0, n - 2)
    step = (t[i + 1] - t[i])[:, None, None]
    u = ((at - t[i])[:, None, None]) / step
    p0, p1 = figure.points[i], figure.points[i + 1]
    m0, m1 = _slopes(figure, i) * step, _slopes(figure, i + 1) * step
    values = (
        (2 * u**3 - 3 * u**2 + 1) * p0 + (u**3 - 2 * u**2 + u) * m0 + (3 * u**2 - 2 * u**3) * p1 + (u**3 - u**2) * m1
    )
    close = (t[i + 1] - t[i]) <= settings.max_gap_s * figure.slow_factor
    # A time on a frame (to a hundredth of an interval) needs that frame alone.
    left, right = u[:, 0, 0] < 0.01, u[:, 0, 0] > 0.99
    seen0 = figure.measured[i] | right[:, None]
    seen1 = figure.measured[i + 1] | left[:, None]
    ok = seen0 & seen1 & (inside & (close | left | right))[:, None]
    values = np.where(left[:, None, None], p0, np.where(right[:, None, None], p1, values))
    return np.where(ok[..., None], values, np.nan), ok


def _slopes(figure: Figure, i: np.ndarray) -> FloatArray:  # type: ignore[type-arg]
    """(N, J, 2) px/s at frames ``i``: parabola through the neighbours, one-sided at ends and beside missing frames."""
    t, x = figure.time_s, figure.points
    before, after = np.maximum(i - 1, 0), np.minimum(i + 1, len(t) - 1)
    with np.errstate(invalid="ignore", divide="ignore"):
        h0, h1 = (t[i] - t[before])[:, None, None], (t[after] - t[i])[:, None, None]
        d0, d1 = (x[i] - x[before]) / h0, (x[after] - x[i]) / h1
        both = (h1 * d0 + h0 * d1) / (h0 + h1)
    result = np.where(np.isfinite(both), both, np.where(np.isfinite(d1), d1, d0))
    return np.asarray(np.where(np.isfinite(result), result, 0.0), np.float64)


def relative(points: FloatArray, part: Part, torso_px: float) -> FloatArray:
    """(N, J, 2) px → (N, K, 2) torso lengths: the part's points from their origin; NaN where a joint is missing."""
    stacked = np.stack([joint_mean(points, names) for names in part.points], axis=-2)
    if part.origin:
        stacked = stacked - joint_mean(points, part.origin)[..., None, :]
    return np.asarray(stacked / torso_px, np.float64)


def base_times(student: Figure, time_s: float, settings: ScoreSettings) -> FloatArray:
    """(11,) s: the still moment that ends at ``time_s``, as far as the track reaches back."""
    start = max(time_s - settings.still_s * student.slow_factor, float(student.time_s[0]))
    return np.linspace(min(start, time_s), time_s, 11)


def base_poses(figure: Figure, times_s: FloatArray, settings: ScoreSettings) -> dict[str, FloatArray]:
    """Part → (K, 2) torso lengths: its points over the still moment ``times_s``; NaN where mostly hidden.

    Times that the track does not reach are left out, but for the last.
    """
    points, _ = sample(figure, times_s, settings)
    inside = (times_s >= figure.time_s[0]) & (times_s <= figure.time_s[-1])
    inside[-1] = True
    poses = {}
    for name, part in PART_POINTS.items():
        values = relative(points[inside], part, figure.torso_px)
        seen = np.mean(np.isfinite(values[..., 0]), axis=0) >= 0.5
        pose = np.full(values.shape[1:], np.nan)
        if np.any(seen):
            pose[seen] = np.nanmedian(values[:, seen], axis=0)
        poses[name] = pose
    return poses


def arm_length(figure: Figure) -> tuple[float, float]:
    """Lead and trail arm, torso lengths: shoulder–elbow plus elbow–wrist as seen when most in the picture's plane.

    The 90th percentile over the swing of each segment; NaN when the arm was hardly measured.
    """
    points = np.where(figure.measured[..., None], figure.points, np.nan)
    lengths = []
    for side in (_LEAD, _TRAIL):
        joints = [points[:, INDEX[f"{side}_{joint}"]] for joint in ("shoulder", "elbow", "wrist")]
        segments = [np.hypot(*(b - a).T) for a, b in itertools.pairwise(joints)]
        if any(np.sum(np.isfinite(segment)) < 10 for segment in segments):
            lengths.append(float("nan"))
        else:
            lengths.append(sum(float(np.nanpercentile(segment, 90)) for segment in segments) / figure.torso_px)
    return lengths[0], lengths[1]


def arm_ratio(student: Figure, reference: Figure, settings: ScoreSettings) -> float:
    """Factor that makes the reference's arms as long as the student's, in torso lengths of each; 1 when not known."""
    pairs = [
        (mine, other)
        for mine, other in zip(arm_length(student), arm_length(reference))
        if np.isfinite(mine) and np.isfinite(other)
    ]
    if not pairs:
        return 1.0
    log = float(np.mean([np.log(mine / other) for mine, other in pairs]))
    slack = settings.proportion_slack
    return float(np.exp(np.sign(log) * max(0.0, abs(log) - slack))) if abs(log) < 0.3 else 1.0
