"""One swing made ready for measuring: right-handed picture, address frame, only what was measured.

A left-handed player is mirrored, so that everywhere here the ball (down the line) and the target (face on) lie towards
+x and lead is left. All points are brought to the picture of the address frame first, where the camera moved. What
was filled in, or is an arm the pose model does not see, is NaN.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Mapping, Sequence

import numpy as np

from overlay.arrays import AnyArray, BoolArray, FloatArray
from overlay.data import CameraMotion, Guide, PoseTrack, Position, Swing
from overlay.kinematics import hand_path, median_seen, torso_length, unwrap_deg
from overlay.landmarks import INDEX, side_index
from overlay.measure.reading import interpolated
from overlay.settings.measure import MeasureSettings

JOINTS: tuple[str, ...] = tuple(
    f"{side}_{joint}" for joint in ("shoulder", "elbow", "wrist", "hip") for side in ("lead", "trail")
)
POINTS: tuple[str, ...] = (*JOINTS, "trail_hip_held", "hands", "head", "grip")
_ARM = ("elbow", "wrist")


@dataclass(frozen=True)
class Rows:
    """What a measure is computed from, one row a frame: px of the mirrored address frame, y down.

    Attributes
    ----------
    points : name in ``POINTS`` → (T, 2) float
        ``head`` is the middle of the ears, ``grip`` the shaft's upper end, ``hands`` the middle of the wrists as
        ``kinematics.hand_path`` takes it. Down the line the lead wrist is hidden at address and comes into view later,
        so that ``hands`` moves by half their distance on its own: what is held against address takes the trail wrist.
        ``trail_hip_held`` is the trail hip, face on within what a turning pelvis allows.
    shaft_deg : (T,) float
        Grip → club head, clockwise from +x; NaN where the shaft was neither measured nor marked.
    shaft_px : (T,) float
        Visible length.
    """

    points: Mapping[str, FloatArray]
    shaft_deg: FloatArray
    shaft_px: FloatArray

    def __getitem__(self, name: str) -> FloatArray:
        return self.points[name]

    @property
    def hip_middle(self) -> FloatArray:
        return np.asarray((self.points["lead_hip"] + self.points["trail_hip"]) / 2, np.float64)

    @property
    def spine(self) -> FloatArray:
        """(T, 2) px from mid-hip to mid-shoulder."""
        shoulders = (self.points["lead_shoulder"] + self.points["trail_shoulder"]) / 2
        return np.asarray(shoulders - self.hip_middle, np.float64)

    @property
    def shaft(self) -> FloatArray:
        """(T, 2) px from grip to club head."""
        turn = np.radians(self.shaft_deg)
        return np.asarray(self.shaft_px[:, None] * np.stack([np.cos(turn), np.sin(turn)], -1), np.float64)

    def at(self, frames: AnyArray) -> Rows:
        """The chosen rows (indices or a mask)."""
        return Rows({k: v[frames] for k, v in self.points.items()}, self.shaft_deg[frames], self.shaft_px[frames])

    def moved(self, name: str, shift: FloatArray) -> Rows:
        """With one point shifted by (2,) px."""
        return replace(self, points={**self.points, name: self.points[name] + shift})

    def turned(self, deg: float) -> Rows:
        """With the shaft turned by an angle."""
        return replace(self, shaft_deg=self.shaft_deg + deg)

    def stretched(self, factor: float) -> Rows:
        """With the shaft's visible length scaled."""
        return replace(self, shaft_px=self.shaft_px * factor)


@dataclass(frozen=True)
class Scene:
    """A swing made ready for measuring.

    Attributes
    ----------
    time_s : (T,) float, playback s
    rows : Rows
    shaft_sd_deg : (T,) float
        NaN where nothing is known.
    torso_px : float
    slow : float
        Playback seconds per real second.
    lines : name → (2, 2) px, the guide lines that can be drawn, lower end first
    no_lines : name → why a guide cannot be drawn
    followed : (T,) bool
        The movement of the picture is known at or near this frame; where it is not, nothing is measured.
    has_club : bool
    swing : Swing
    hands_at_address : (2,) px; NaN where they were not seen
    shaft_torsos : float
        Length of the shaft from grip to club head, torso lengths; NaN where it was not seen at address.
    ball_radius_px : float
        0 where there is no ball, and the club head's own place at address stands for it.
    """

    time_s: FloatArray
    rows: Rows
    shaft_sd_deg: FloatArray
    torso_px: float
    slow: float
    lines: Mapping[str, FloatArray]
    no_lines: Mapping[str, str]
    followed: BoolArray
    has_club: bool
    swing: Swing
    hands_at_address: FloatArray
    shaft_torsos: float = float("nan")
    ball_radius_px: float = 0.0

    def is_biased(self, settings: MeasureSettings) -> bool:
        """Whether the joints come from the pose model whose errors are known."""
        return self.swing.pose.source == settings.biased_model

    @property
    def frame_s(self) -> float:
        """Median frame interval, playback s."""
        return float(np.median(np.diff(self.time_s))) if len(self.time_s) > 1 else 1.0

    def shaft_sd_of(self, frames: AnyArray, settings: MeasureSettings) -> FloatArray:
        """(K,) standard deviation of the shaft's angle in these rows, degrees; the usual one where it is not told."""
        told = self.shaft_sd_deg[frames]
        return np.maximum(np.where(np.isfinite(told), told, settings.shaft_sd_deg), settings.least_shaft_sd_deg)

    def interpolated(self, at_s: FloatArray, *, bridge_s: float, edge_s: float) -> Rows:
        """The rows at any times (N,), on straight lines between measured frames; NaN across too long a gap.

        The shaft's direction and length are interpolated, not its ends: a turning shaft keeps its length. Between two
        rows on either side of end-on, where it turns over, it has no direction.
        """

        def along(values: FloatArray) -> FloatArray:
            return interpolated(self.time_s, values, at_s, bridge_s=bridge_s, edge_s=edge_s)

        points = {
            name: np.stack([along(values[:, 0]), along(values[:, 1])], axis=1)
            for name, values in self.rows.points.items()
        }
        turned = unwrap_deg(self.rows.shaft_deg)
        seen = np.flatnonzero(np.isfinite(turned))
        shaft_deg = along(turned)
        if len(seen) > 1:
            after = np.clip(np.searchsorted(self.time_s[seen], at_s), 1, len(seen) - 1)
            flips = np.abs(turned[seen[after]] - turned[seen[after - 1]]) > 90.0
            beside = np.min(np.abs(at_s[:, None] - self.time_s[seen][None, :]), axis=1) <= 0.51 * self.frame_s
            nearest = turned[seen[np.argmin(np.abs(at_s[:, None] - self.time_s[seen][None, :]), axis=1)]]
            shaft_deg = np.where(flips, np.where(beside, nearest, np.nan), shaft_deg)
        return Rows(points, shaft_deg, along(self.rows.shaft_px))

    def position(self, name: str) -> Position | None:
        return self.swing.positions.get(name)

    def position_sd_s(self, position: Position, settings: MeasureSettings) -> float:
        """Standard deviation of a position's time, playback s.

        Where it is not told, from the confidence, which is the chance to lie within a thirtieth of address → impact.
        """
        if position.sd_s is not None and math.isfinite(position.sd_s):
            return position.sd_s
        if position.source == "marked":
            return 0.5 * self.frame_s
        address, impact = (self.swing.positions.time(name) for name in ("address", "impact"))
        if address is None or impact is None or not 0.01 < position.confidence < 1.0:
            return settings.position_sd_s * self.slow
        tolerance = max((impact - address) / 30, self.frame_s)
        return tolerance / NormalDist().inv_cdf(0.5 + position.confidence / 2)


def slow_factor(swing: Swing) -> float:
    """Playback seconds per real second: told by the clip, else estimated from the swing's tempo."""
    if swing.clip is not None and swing.clip.capture_rate is not None:
        return swing.slow_factor
    estimate = float(swing.quality.get("slow_factor_estimate", 1.0))
    return estimate if math.isfinite(estimate) and estimate > 0 else 1.0


def _matrices(motion: CameraMotion, time_s: FloatArray) -> FloatArray:
    return np.stack([motion.at(float(t)) for t in time_s])


def _followed(motion: CameraMotion | None, time_s: FloatArray, gap_s: float) -> BoolArray:
    """(T,) whether the movement of the picture is known within ``gap_s``; it stands still where nothing is known."""
    if motion is None:
        return np.ones(len(time_s), bool)
    known = motion.time_s[np.all(np.isfinite(motion.matrices), axis=(1, 2))]
    if not len(known):
        return np.ones(len(time_s), bool)
    return np.asarray(np.min(np.abs(time_s[:, None] - known[None, :]), axis=1) <= gap_s, np.bool_)


def _moved(points: FloatArray, matrices: FloatArray | None) -> FloatArray:
    """(T, N, 2) px of each frame → px of the address frame."""
    if matrices is None:
        return points
    return np.asarray(np.einsum("tij,tnj->tni", matrices[:, :, :2], points) + matrices[:, None, :, 2], np.float64)


def _flip(points: FloatArray, width: int) -> FloatArray:
    flipped = np.array(points, np.float64)
    flipped[..., 0] = width - flipped[..., 0]
    return flipped


def scene_of(swing: Swing, guides: Sequence[Guide], settings: MeasureSettings) -> Scene:
    """Make a swing ready: measured points only, brought to the address frame, then mirrored for a left-hander."""
    track, left = swing.pose, swing.handedness == "left"
    width = track.image_size[0]
    matrices = None if swing.camera_motion is None else _matrices(swing.camera_motion, track.time_s)
    followed = _followed(swing.camera_motion, track.time_s, settings.motion_gap_s * slow_factor(swing))
    measured = np.isfinite(track.points[..., 0]) & ~track.filled & followed[:, None]
    seen = replace(track, points=np.where(measured[..., None], track.points, np.nan))
    hands = _hands(seen, settings)
    stacked = _moved(np.concatenate([seen.points, hands[:, None]], axis=1), matrices)
    if left:
        stacked = _flip(stacked, width)
    points: dict[str, FloatArray] = {"hands": stacked[:, -1]}
    for name in JOINTS:
        side, joint = name.split("_")
        i = side_index(joint, "lead" if side == "lead" else "trail", swing.handedness)
        points[name] = stacked[:, i]
        if joint in _ARM:
            unseen = track.visibility[:, i] < settings.least_visibility
            points[name] = np.where(unseen[:, None], np.nan, points[name])
    points["trail_hip_held"] = points["trail_hip"]
    points["head"] = (stacked[:, INDEX["left_ear"]] + stacked[:, INDEX["right_ear"]]) / 2
    shaft_deg, shaft_px, sd, points["grip"] = _club(swing, matrices, width, left)
    shaft_deg = np.where(followed, shaft_deg, np.nan)
    lines, no_lines = _lines(guides, width, left)
    scene = Scene(
        time_s=track.time_s,
        rows=Rows(points, shaft_deg, shaft_px),
        shaft_sd_deg=sd,
        torso_px=float("nan"),
        slow=slow_factor(swing),
        lines=lines,
        no_lines=no_lines,
        followed=followed,
        has_club=swing.club is not None,
        swing=swing,
        hands_at_address=np.full(2, np.nan),
    )
    torso_px = _torso_px(scene, settings)
    if swing.view == "fo":
        scene = replace(
            scene, rows=replace(scene.rows, points={**points, "trail_hip_held": _trail_hip(scene, settings)})
        )
    ball = None if swing.strike is None else swing.strike.ball
    return replace(
        scene,
        torso_px=torso_px,
        hands_at_address=_still(scene, points["hands"], settings.still_s),
        shaft_torsos=float(_still(scene, shaft_px[:, None], settings.club_still_s)[0]) / torso_px,
        ball_radius_px=0.0 if ball is None else ball.diameter_px / 2,
    )


def _trail_hip(scene: Scene, settings: MeasureSettings) -> FloatArray:
    """(T, 2) px face on, from address to top: the trail hip, held within what a turning pelvis allows.

    The middle of the hips is seen well; the half that turns away is not always. Seen from the front the trail hip
    stays on the trail side of the middle, as far as at address times the cosine of the turn, which grows to its usual
    least and most at the top.
    """
    middle, hip = scene.rows.hip_middle, scene.rows["trail_hip"]
    address, top = (scene.swing.positions.time(name) for name in ("address", "top"))
    out = middle[:, 0] - hip[:, 0]
    at_address = float(_still(scene, out[:, None], settings.still_s)[0])
    if address is None or top is None or not at_address > 0:
        return hip
    grown = np.clip((scene.time_s - address) / (top - address), 0.0, 1.0) ** 2
    widest, narrowest = 1 - (1 - settings.turned_least) * grown, 1 - (1 - settings.turned_most) * grown
    held = np.clip(out, narrowest * at_address, widest * at_address)
    return np.stack([middle[:, 0] - held, hip[:, 1]], axis=1)


def _still(scene: Scene, values: FloatArray, before_s: float) -> FloatArray:
    """(T, D) → (D,) median over the still moment before address; NaN where there is none."""
    address = scene.swing.positions.time("address")
    if address is None:
        return np.full(values.shape[1], np.nan)
    start, stop = address - before_s * scene.slow, address + 0.51 * scene.frame_s
    return median_seen(values[(scene.time_s >= start) & (scene.time_s <= stop)])


def _hands(track: PoseTrack, settings: MeasureSettings) -> FloatArray:
    """(T, 2) px; NaN where neither wrist was measured."""
    wrists = [INDEX["left_wrist"], INDEX["right_wrist"]]
    measured = np.isfinite(track.points[:, wrists, 0]) & (track.visibility[:, wrists] >= settings.least_visibility)
    return np.where(np.any(measured, axis=1)[:, None], hand_path(track).points, np.nan)


def _torso_px(scene: Scene, settings: MeasureSettings) -> float:
    """Median of the still moment before address, when the body does not turn; else the swing's own."""
    found = float(_still(scene, np.hypot(*scene.rows.spine.T)[:, None], settings.still_s)[0])
    if math.isfinite(found) and found > 0:
        return found
    if math.isfinite(scene.swing.torso_px) and scene.swing.torso_px > 0:
        return scene.swing.torso_px
    return torso_length(scene.swing.pose)


def _club(
    swing: Swing, matrices: FloatArray | None, width: int, left: bool
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Angle, visible length, sd of the angle and grip, one row a frame of the pose; NaN where not scored."""
    n = len(swing.pose)
    nothing = np.full(n, np.nan)
    club = swing.club
    if club is None or not len(club.time_s):
        return nothing, nothing.copy(), nothing.copy(), np.full((n, 2), np.nan)
    # Rows are matched by time: a track of another reading of the clip may hold other frames.
    nearest = np.clip(np.searchsorted(club.time_s, swing.pose.time_s), 1, max(1, len(club.time_s) - 1))
    if len(club.time_s) > 1:
        before = np.abs(club.time_s[nearest - 1] - swing.pose.time_s)
        row = np.where(before <= np.abs(club.time_s[nearest] - swing.pose.time_s), nearest - 1, nearest)
    else:
        row = np.zeros(n, int)
    step = float(np.median(np.diff(swing.pose.time_s))) if n > 1 else 1.0
    known = (np.abs(club.time_s[row] - swing.pose.time_s) < 0.5 * step) & club.scored[row]
    known &= np.isfinite(club.angle_deg[row]) & np.isfinite(club.length_px[row])
    ends = np.stack([club.grip[row], club.head[row]], axis=1)
    ends = _moved(ends, matrices)
    if left:
        ends = _flip(ends, width)
    ends = np.where(known[:, None, None], ends, np.nan)
    along = ends[:, 1] - ends[:, 0]
    angle = np.degrees(np.arctan2(along[:, 1], along[:, 0]))
    sd = np.where(known, club.angle_sd_deg[row], np.nan)
    return np.asarray(angle, np.float64), np.hypot(along[:, 0], along[:, 1]), sd, ends[:, 0]


def _lines(guides: Sequence[Guide], width: int, left: bool) -> tuple[dict[str, FloatArray], dict[str, str]]:
    lines: dict[str, FloatArray] = {}
    missing: dict[str, str] = {}
    for guide in guides:
        if guide.reason:
            missing[guide.name] = guide.reason
        elif guide.kind == "line":
            points = _flip(guide.points, width) if left else guide.points
            lines[guide.name] = points[np.argsort(-points[:, 1], kind="stable")]
    return lines, missing
