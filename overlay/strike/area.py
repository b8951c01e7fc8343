"""Where the ball can lie, from the feet and the club at address, and the pictures of that place around impact."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from overlay.arrays import AnyArray, FloatArray, Image
from overlay.data import CameraMotion, Clip, ClubTrack, Swing
from overlay.landmarks import INDEX
from overlay.settings.strike import BallSettings
from overlay.video import Reader

Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class Area:
    """The part of the picture at address that can show the ball.

    Attributes
    ----------
    box : (left, top, right, bottom) px of the reference (address) frame
        The area itself, not cut at the picture's border.
    ball_px : float
        Expected diameter.
    torso_px : float
    club_end : (x, y) px or None
        End of the club at address, where it was seen.
    feet : (N, 2, 2) float, px
        Heel and toe of both feet at some times around the strike; the ball lies on none of them.
    """

    box: Box
    ball_px: float
    torso_px: float
    club_end: tuple[float, float] | None = None
    feet: FloatArray = field(default_factory=lambda: np.zeros((0, 2, 2)))

    def chance(self, x: AnyArray, y: AnyArray, settings: BallSettings) -> AnyArray:
        """0–1 for places in px: 1 inside, falling off near the border; higher near the end of the club."""
        left, top, right, bottom = self.box
        depth = np.minimum(np.minimum(x - left, right - x), np.minimum(y - top, bottom - y)) / self.torso_px
        inside = np.clip(0.35 + 0.65 * depth / settings.edge, 0.0, 1.0) * (depth > 0)
        for heel, toe in self.feet:
            inside = inside * np.clip(_distance(x, y, heel, toe) / (settings.off_feet * self.torso_px) - 1.0, 0.0, 1.0)
        if self.club_end is None:
            return np.asarray(inside)
        away = np.hypot(x - self.club_end[0], y - self.club_end[1]) / (settings.club_reach * self.torso_px)
        return np.asarray(inside * (0.25 + 0.75 * np.exp(-0.5 * away**2)))


def search_area(
    swing: Swing, club: ClubTrack | None, expected_s: float, slow: float, settings: BallSettings
) -> Area | None:
    """The area, or None when the feet were not seen.

    Parameters
    ----------
    swing : Swing
    club : ClubTrack or None
    expected_s, slow : float
        Impact of the pose, and playback seconds per real second.
    """
    torso = swing.torso_px
    if not (math.isfinite(torso) and torso > 0):
        return None
    address = swing.positions.time("address")
    impact = swing.positions.time("impact")
    times = swing.pose.time_s
    until = impact if impact is not None else float(times[-1])
    since = address if address is not None else max(float(times[0]), until - 1.5 * max(swing.slow_factor, 1.0))
    first = np.flatnonzero((times >= since - 1e-6) & (times <= max(until, since + 0.1)))
    # The feet hardly move before the strike; the first third is the address and what follows it.
    rows = first[: max(5, len(first) // 3)]
    if not len(rows):
        return None
    tips = [_median(swing.pose.points[rows, INDEX[name]]) for name in ("left_foot_index", "right_foot_index")]
    ankles = [_median(swing.pose.points[rows, INDEX[name]]) for name in ("left_ankle", "right_ankle")]
    toes = np.array([foot if np.all(np.isfinite(foot)) else ankle for foot, ankle in zip(tips, ankles)])
    known = np.all(np.isfinite(toes), axis=1)
    if not known.any():
        return None
    x, y = toes[known].mean(axis=0)
    (near, far), (up, down), size = {
        "dtl": (settings.ahead_dtl, settings.below_dtl, settings.diameter_dtl),
        "fo": (settings.ahead_fo, settings.below_fo, settings.diameter_fo),
    }.get(
        swing.view,
        (settings.ahead_other, settings.below_other, math.sqrt(settings.diameter_dtl * settings.diameter_fo)),
    )
    # Down the line a right-hander faces the right of the picture; face on his target is there.
    sides = sorted((_side(swing) * near, _side(swing) * far))
    box = (x + torso * sides[0], y + torso * up, x + torso * sides[1], y + torso * down)
    feet = _feet(swing, expected_s + settings.before_s[0] * slow, expected_s + settings.after_s[1] * slow)
    return Area(box, size * torso, torso, _club_end(club, since), feet)


def _distance(x: AnyArray, y: AnyArray, a: FloatArray, b: FloatArray) -> AnyArray:
    """From places to the line between two points."""
    along = b - a
    share = np.clip(((x - a[0]) * along[0] + (y - a[1]) * along[1]) / max(1e-9, float(along @ along)), 0.0, 1.0)
    return np.asarray(np.hypot(x - a[0] - share * along[0], y - a[1] - share * along[1]))


def _feet(swing: Swing, from_s: float, to_s: float) -> FloatArray:
    """(N, 2, 2) heel and toe of both feet, twelve times from a little before the strike to a little after it."""
    rows = np.flatnonzero((swing.pose.time_s >= from_s) & (swing.pose.time_s <= to_s))
    if len(rows) > 12:
        rows = rows[np.linspace(0, len(rows) - 1, 12).round().astype(int)]
    both = [
        np.stack(
            [swing.pose.points[rows, INDEX[f"{side}_heel"]], swing.pose.points[rows, INDEX[f"{side}_foot_index"]]], 1
        )
        for side in ("left", "right")
    ]
    found = np.concatenate(both)
    return np.asarray(found[np.all(np.isfinite(found), axis=(1, 2))], np.float64)


def _side(swing: Swing) -> float:
    return 1.0 if swing.handedness == "right" else -1.0


def _median(points: FloatArray) -> FloatArray:
    if not np.isfinite(points).all(axis=1).any():
        return np.full(2, np.nan)
    return np.asarray(np.nanmedian(points, axis=0), np.float64)


def _club_end(club: ClubTrack | None, address_s: float) -> tuple[float, float] | None:
    if club is None or not len(club.time_s):
        return None
    near = np.flatnonzero(club.scored & (np.abs(club.time_s - address_s) < 0.25) & np.isfinite(club.length_px))
    if not len(near):
        return None
    end = np.nanmedian(club.head[near], axis=0)
    return (float(end[0]), float(end[1])) if np.all(np.isfinite(end)) else None


@dataclass(frozen=True)
class Stack:
    """Pictures of the area, all on one grid that stands still against the ground.

    Attributes
    ----------
    time_s : (T,) float
    images : (T, h, w, 3) uint8 RGB
    origin : (x, y) px of the reference frame at the centre of the first pixel
    step : (x, y) px of the reference frame from one pixel to the next
    known : (h, w) bool
        Pixels that lie in the picture throughout.
    """

    time_s: FloatArray
    images: Image
    origin: tuple[float, float]
    step: tuple[float, float]
    known: AnyArray

    def to_clip(self, x: float, y: float) -> tuple[float, float]:
        """Reference px of a place on the grid."""
        return self.origin[0] + x * self.step[0], self.origin[1] + y * self.step[1]


def stack_side(clip: Clip, ball_px: float, settings: BallSettings) -> int:
    """Longest side, px, of the pictures in which a ball of ``ball_px`` is ``working_px`` wide."""
    return max(16, math.ceil(max(clip.width, clip.height) * min(1.0, settings.working_px / ball_px)))


def read_stack(
    reader: Reader,
    area: Area,
    start_s: float,
    stop_s: float,
    motion: CameraMotion | None,
    settings: BallSettings,
    *,
    dense: tuple[float, float] = (-math.inf, math.inf),
) -> Stack | None:
    """The pictures from ``start_s`` to ``stop_s``, scaled so that the ball is about ``working_px`` wide.

    Of more than ``most_frames`` only some are kept outside ``dense``. None when the area lies outside the picture or no
    frame is there.
    """
    import cv2

    clip = reader.clip
    times = clip.times_s[(clip.times_s >= start_s) & (clip.times_s <= stop_s)]
    every = max(1, math.ceil(len(times) / settings.most_frames))
    side = stack_side(clip, area.ball_px, settings)
    moved = motion is not None and not np.all(motion.matrices == np.eye(2, 3))
    margin = 2.0 * area.ball_px
    pictures: list[Image] = []
    at: list[float] = []
    grid: tuple[int, int, int, int] | None = None
    step = (1.0, 1.0)
    known: AnyArray = np.ones((1, 1), bool)
    for number, frame in enumerate(reader.frames(start_s, stop_s, max_side=side)):
        if number % every and not dense[0] <= frame.time_s <= dense[1]:
            continue
        height, width = frame.image.shape[:2]
        if grid is None:
            step = (clip.width / width, clip.height / height)
            left = max(0, math.floor((area.box[0] - margin) / step[0]))
            top = max(0, math.floor((area.box[1] - margin) / step[1]))
            right = min(width, math.ceil((area.box[2] + margin) / step[0]))
            bottom = min(height, math.ceil((area.box[3] + margin) / step[1]))
            if right - left < 8 or bottom - top < 8:
                return None
            grid = (left, top, right, bottom)
            known = np.ones((bottom - top, right - left), bool)
        left, top, right, bottom = grid
        if moved:
            assert motion is not None
            back = _grid_to_frame(motion.at(frame.time_s), step, (left, top))
            size = (right - left, bottom - top)
            flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
            picture = cv2.warpAffine(frame.image, back, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
            inside = cv2.warpAffine(np.full((height, width), 255, np.uint8), back, size, flags=flags)
            known &= inside == 255
        else:
            picture = frame.image[top:bottom, left:right].copy()
        pictures.append(picture)
        at.append(frame.time_s)
    if grid is None:
        return None
    # Pixel centres lie at half pixels of the picture.
    origin = ((grid[0] + 0.5) * step[0], (grid[1] + 0.5) * step[1])
    return Stack(np.array(at), np.stack(pictures), origin, step, known)


def _grid_to_frame(matrix: FloatArray, step: tuple[float, float], corner: tuple[int, int]) -> FloatArray:
    """(2, 3): from a pixel of the grid to a pixel of a frame that ``matrix`` brings to the reference."""
    scale = np.array([[step[0], 0.0, 0.5 * step[0]], [0.0, step[1], 0.5 * step[1]], [0.0, 0.0, 1.0]])
    shift = np.array([[1.0, 0.0, corner[0]], [0.0, 1.0, corner[1]], [0.0, 0.0, 1.0]])
    whole = np.vstack([matrix, [0.0, 0.0, 1.0]])
    return np.asarray((np.linalg.inv(scale) @ np.linalg.inv(whole) @ scale @ shift)[:2], np.float64)
