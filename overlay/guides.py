"""Guide lines and zones from the player's own address: what a coach draws on the picture before the swing.

Everything comes from the last still moment before the club moves away: the median of the frames in which a joint was
measured, brought to the address frame where the camera moved. The shaft plane comes from the shaft itself, measured or
marked; it is never guessed from the arms. What cannot be drawn says why.

Definitions: common practice among golf coaches, no single published source; see docs/guides.md.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Callable

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Guide, Swing
from overlay.kinematics import hand_path, median_seen, torso_length
from overlay.landmarks import INDEX, side_index
from overlay.settings.guides import GUIDES, GuideSettings
from overlay.terms import View

VIEW_GUIDES: dict[View, tuple[str, ...]] = {
    "dtl": (
        "shaft_plane",
        "hand_depth",
        "ball_line",
        "heel_line",
        "spine_line",
        "head_line",
        "hip_line",
        "hand_corridor",
    ),
    "fo": ("trail_leg_line", "lead_foot_line", "head_line", "spine_line", "ball_line"),
    "other": (),
}
"""Which guides belong to a view. From another angle none of them means what its name says."""


class _Unseen(Exception):
    """Why a guide cannot be drawn; only used inside this module."""


@dataclass(frozen=True)
class Address:
    """The player as he stands at address, px of the address frame.

    Attributes
    ----------
    points : (33, 2) float
        NaN where a joint was never measured.
    visibility : (33,) float
    hands : (2,) float
        Middle of the hands, as ``kinematics.hand_path`` takes it.
    grip, head : (2,) float
        Ends of the shaft; NaN where it was not seen.
    shaft_reason : str
        Why the shaft is not known, "" when it is.
    ball : (2,) float
        Place of the ball; the club head's where there is no ball; NaN when neither is known.
    torso_px : float
    side : float
        +1 when the ball (down the line) or the target (face on) lies to the right of the picture, −1 to the left.
    """

    points: FloatArray
    visibility: FloatArray
    hands: FloatArray
    grip: FloatArray
    head: FloatArray
    shaft_reason: str
    ball: FloatArray
    torso_px: float
    side: float

    def joints(self, *names: str, least: float = 0.0) -> FloatArray:
        """(2,) mean of the joints that are known; one seen worse than ``least`` counts only when all are."""
        rows = [INDEX[name] for name in names]
        known = [i for i in rows if np.isfinite(self.points[i, 0])]
        better = [i for i in known if self.visibility[i] >= least]
        chosen = better or known
        return np.mean(self.points[chosen], axis=0) if chosen else np.full(2, np.nan)

    def both(self, joint: str, least: float = 0.0) -> FloatArray:
        return self.joints(f"left_{joint}", f"right_{joint}", least=least)


def slow_factor(swing: Swing) -> float:
    """Playback seconds per real second: the clip's own, or the estimate from the swing where that is not known."""
    if swing.clip is not None and swing.clip.capture_rate is not None:
        return swing.slow_factor
    return max(1.0, float(swing.quality.get("slow_factor_estimate", 1.0)))


def find_address(swing: Swing, settings: GuideSettings = GUIDES) -> Address | None:
    """The address of a swing; None when the position was not found."""
    address_s = swing.positions.time("address")
    if address_s is None:
        return None
    track, slow = swing.pose, slow_factor(swing)
    step_s = float(np.median(np.diff(track.time_s))) if len(track) > 1 else 0.0
    window = (track.time_s >= address_s - settings.still_s * slow) & (track.time_s <= address_s + 0.51 * step_s)
    if not np.any(window):
        window[int(np.argmin(np.abs(track.time_s - address_s)))] = True
    rows = np.flatnonzero(window)
    measured = np.where(track.filled[rows][..., None], np.nan, track.points[rows])
    points = median_seen(_to_address(swing, measured, track.time_s[rows]))
    hands = hand_path(track).points[rows]
    torso = swing.torso_px
    if not (math.isfinite(torso) and torso > 0):
        torso = torso_length(track)
    grip, head, reason = _shaft(swing, address_s, slow, step_s, settings)
    ball = np.full(2, np.nan)
    if swing.strike is not None and swing.strike.ball is not None:
        ball = np.asarray(swing.strike.ball.place, np.float64)
    elif not reason:
        # A rehearsal has no ball: it would lie where the club head rests.
        ball = head
    return Address(
        points,
        np.median(track.visibility[rows], axis=0),
        median_seen(_to_address(swing, hands[:, None], track.time_s[rows]))[0],
        grip,
        head,
        reason,
        ball,
        torso,
        1.0 if swing.handedness == "right" else -1.0,
    )


def _to_address(swing: Swing, points: FloatArray, time_s: FloatArray) -> FloatArray:
    """(T, N, 2) px of each frame in px of the address frame."""
    if swing.camera_motion is None:
        return points
    return np.stack([swing.camera_motion.to_reference(frame, float(t)) for frame, t in zip(points, time_s)])


def _shaft(
    swing: Swing, address_s: float, slow: float, step_s: float, settings: GuideSettings
) -> tuple[FloatArray, FloatArray, str]:
    """Grip and head at address from rows that were measured or marked, or the reason why not."""
    nowhere = np.full(2, np.nan)
    club = swing.club
    mark = "mark grip and club head at address by hand"
    if club is None:
        return nowhere, nowhere, f"the shaft was not looked for; {mark}"
    near = (club.time_s >= address_s - settings.club_still_s * slow) & (club.time_s <= address_s + 0.51 * step_s)
    rows = np.flatnonzero(near & club.scored & np.isfinite(club.angle_deg) & np.isfinite(club.length_px))
    marked = [i for i in rows if club.state[i] == "marked"]
    if marked:
        rows = np.array(marked)
    elif len(rows) < min(settings.least_rows, max(1, int(np.count_nonzero(near)))):
        return nowhere, nowhere, f"the shaft is not seen at address; {mark}"
    ends = _to_address(swing, np.stack([club.grip[rows], club.head[rows]], axis=1), club.time_s[rows])
    if not np.all(np.isfinite(ends)):
        return nowhere, nowhere, f"the shaft is not seen at address; {mark}"
    along = ends[:, 1] - ends[:, 0]
    angles = np.degrees(np.arctan2(along[:, 1], along[:, 0]))
    # All directions relative to one of them: a median must not tear at ±180°.
    angles = angles[0] + (angles - angles[0] + 180.0) % 360.0 - 180.0
    angle = float(np.median(angles))
    quarter, three = np.percentile(angles, (25, 75))
    if 0.5 * float(three - quarter) > settings.most_spread_deg:
        return nowhere, nowhere, "the club is not still at address"
    grip = np.median(ends[:, 0], axis=0)
    length = float(np.median(np.hypot(along[:, 0], along[:, 1])))
    turn = math.radians(angle)
    return grip, grip + length * np.array([math.cos(turn), math.sin(turn)]), ""


def guide_lines(swing: Swing, settings: GuideSettings = GUIDES) -> tuple[Guide, ...]:
    """Every guide of ``VIEW_GUIDES`` for the swing's view, from its own address.

    Parameters
    ----------
    swing : Swing
        With ``club`` and ``strike`` where they are known; ``camera_motion`` None is a camera that stands still.
    settings : GuideSettings

    Returns
    -------
    tuple of Guide
        In px of the address frame. Lines run from their lower to their upper end. One that cannot be drawn has no
        points and a reason. Empty for a view from another angle.
    """
    names = VIEW_GUIDES[swing.view]
    if not names:
        return ()
    at = find_address(swing, settings)
    return tuple(_guide(name, swing, at, settings) for name in names)


def _guide(name: str, swing: Swing, at: Address | None, settings: GuideSettings) -> Guide:
    kind = "zone" if name == "hand_corridor" else "line"
    empty = np.zeros((0, 2))
    if at is None:
        return Guide(name, kind, empty, f"address was not found: {swing.positions.missing['address']}")  # type: ignore[arg-type]
    if not (math.isfinite(at.torso_px) and at.torso_px > 0):
        return Guide(name, kind, empty, "the size of the player is not known")  # type: ignore[arg-type]
    try:
        points = MAKERS[name](at, swing, settings)
    except _Unseen as unseen:
        return Guide(name, kind, empty, str(unseen))  # type: ignore[arg-type]
    return Guide(name, kind, points)  # type: ignore[arg-type]


def _need(point: FloatArray, what: str) -> FloatArray:
    if not np.all(np.isfinite(point)):
        raise _Unseen(f"{what} not seen at address")
    return point


def _sole_y(at: Address, settings: GuideSettings) -> float:
    ankles = _need(at.both("ankle"), "the ankles are")
    return float(ankles[1] + settings.ground * at.torso_px)


def _head(at: Address) -> FloatArray:
    ears = at.both("ear")
    return _need(ears if np.isfinite(ears[0]) else at.joints("nose"), "the head is")


def _vertical(x: float, low_y: float, high_y: float) -> FloatArray:
    return np.array([[x, low_y], [x, high_y]])


def _shaft_plane(at: Address, swing: Swing, settings: GuideSettings) -> FloatArray:
    if at.shaft_reason:
        raise _Unseen(at.shaft_reason)
    along = at.head - at.grip
    length = float(np.hypot(*along))
    # Towards the ball and down: 0° would be a shaft along the ground.
    lie = math.degrees(math.atan2(along[1], along[0] * at.side))
    if not settings.flattest_deg <= lie <= settings.steepest_deg:
        raise _Unseen("what was found at address does not run from the hands down to the ball")
    along = along / length
    return np.stack(
        [
            at.head + settings.plane_down * at.torso_px * along,
            at.grip - settings.plane_up * at.torso_px * along,
        ]
    )


def _hand_depth(at: Address, swing: Swing, settings: GuideSettings) -> FloatArray:
    hands = _need(at.hands, "the hands are")
    return _vertical(hands[0], _sole_y(at, settings), hands[1] - settings.depth_up * at.torso_px)


def _ball_line(at: Address, swing: Swing, settings: GuideSettings) -> FloatArray:
    if not np.all(np.isfinite(at.ball)):
        raise _Unseen("neither the ball nor the club head is seen at address")
    return _vertical(at.ball[0], at.ball[1], _head(at)[1] - settings.above_head * at.torso_px)


def _heel_line(at: Address, swing: Swing, settings: GuideSettings) -> FloatArray:
    heels = _need(at.both("heel", settings.least_visibility), "the heels are")
    return _vertical(heels[0], heels[1], _head(at)[1] - settings.above_head * at.torso_px)


def _spine_line(at: Address, swing: Swing, settings: GuideSettings) -> FloatArray:
    hips, neck = _need(at.both("hip"), "the hips are"), _need(at.both("shoulder"), "the shoulders are")
    along = (neck - hips) / max(float(np.hypot(*(neck - hips))), 1e-9)
    return np.stack([hips - settings.spine_down * at.torso_px * along, neck + settings.spine_up * at.torso_px * along])


def _head_line(at: Address, swing: Swing, settings: GuideSettings) -> FloatArray:
    head = _head(at)
    return _vertical(head[0], head[1] + settings.head_down * at.torso_px, head[1] - settings.above_head * at.torso_px)


def _hip_line(at: Address, swing: Swing, settings: GuideSettings) -> FloatArray:
    hips = _need(at.both("hip"), "the hips are")
    return _vertical(hips[0], hips[1] + settings.hip_down * at.torso_px, hips[1] - settings.hip_up * at.torso_px)


def _hand_corridor(at: Address, swing: Swing, settings: GuideSettings) -> FloatArray:
    hands = _need(at.hands, "the hands are")
    size = at.torso_px
    inner = hands[0] - at.side * settings.corridor_in * size
    outer = hands[0] + at.side * settings.corridor_out * size
    low, high = hands[1] + settings.corridor_down * size, hands[1] - settings.corridor_up * size
    return np.array([[inner, low], [outer, low], [outer, high], [inner, high]])


def _trail_leg_line(at: Address, swing: Swing, settings: GuideSettings) -> FloatArray:
    hip = _need(at.points[side_index("hip", "trail", swing.handedness)], "the trail hip is")
    ankle = _need(at.points[side_index("ankle", "trail", swing.handedness)], "the trail foot is")
    if ankle[1] - hip[1] < settings.least_leg * at.torso_px:
        raise _Unseen("the trail leg does not stand at address")
    # Along the leg itself, so that the hip lies on it at address and its way past it is read at the hip's height.
    along = (hip - ankle) / (ankle[1] - hip[1])
    return np.stack([ankle - settings.ground * at.torso_px * along, hip + settings.hip_up * at.torso_px * along])


def _lead_foot_line(at: Address, swing: Swing, settings: GuideSettings) -> FloatArray:
    ankle = _need(at.points[side_index("ankle", "lead", swing.handedness)], "the lead foot is")
    shoulders = _need(at.both("shoulder"), "the shoulders are")
    return _vertical(ankle[0], ankle[1] + settings.ground * at.torso_px, shoulders[1])


MAKERS: dict[str, Callable[[Address, Swing, GuideSettings], FloatArray]] = {
    "shaft_plane": _shaft_plane,
    "hand_depth": _hand_depth,
    "ball_line": _ball_line,
    "heel_line": _heel_line,
    "spine_line": _spine_line,
    "head_line": _head_line,
    "hip_line": _hip_line,
    "hand_corridor": _hand_corridor,
    "trail_leg_line": _trail_leg_line,
    "lead_foot_line": _lead_foot_line,
}
