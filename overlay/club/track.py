"""``track_club``: the shaft on every frame of a swing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from overlay.arrays import FloatArray
from overlay.club.hands import hand_path
from overlay.club.look import look
from overlay.club.path import find_path
from overlay.club.settle import Rows, bridge, read_rows, settle_still, wrapped
from overlay.data import CameraMotion, ClubMark, ClubState, ClubTrack, Swing
from overlay.errors import DataError
from overlay.progress import SILENT, Progress
from overlay.settings.club import ClubSettings

if TYPE_CHECKING:
    from overlay.pose import MaskTrack
    from overlay.video import Reader

SLOWED = 1.5
"""An estimated slow factor below this is the spread of human tempo."""


def real_factor(swing: Swing) -> float:
    """Playback seconds per real second, as told or as estimated from the swing's tempo."""
    if swing.slow_factor != 1.0:
        return swing.slow_factor
    estimate = float(swing.quality.get("slow_factor_estimate", 1.0))
    return estimate if estimate > SLOWED else 1.0


def track_club(
    reader: Reader,
    swing: Swing,
    masks: MaskTrack | None,
    *,
    marks: Sequence[ClubMark] = (),
    motion: CameraMotion | None = None,
    settings: ClubSettings | None = None,
    progress: Progress = SILENT,
) -> ClubTrack:
    """Follow the shaft through one swing.

    Parameters
    ----------
    reader : Reader
        Of the swing's own clip, turned as the pose was.
    swing : Swing
    masks : MaskTrack or None
        Where the person is; without it an area about the joints is used.
    marks : sequence of ClubMark
        Grip and club head clicked by a person. The frame nearest to each keeps them exactly, and the path is found
        anew through them.
    motion : CameraMotion or None
        None: the picture stands still.
    settings : ClubSettings
    progress : Progress

    Returns
    -------
    ClubTrack
        One row a frame of ``swing.pose``.

    Raises
    ------
    DataError
        The swing has no size (torso length).
    """
    s = settings or ClubSettings()
    if not np.isfinite(swing.torso_px) or swing.torso_px <= 0:
        raise DataError("The swing has no torso length, so the club has no scale.", "Find the swing's size first.")
    pose = swing.pose
    times = pose.time_s
    hands = hand_path(pose)
    marked = {int(np.argmin(np.abs(times - mark.time_s))): mark for mark in marks if _inside(times, mark.time_s)}
    for row, mark in marked.items():
        hands[row] = mark.grip
    seen = look(reader, swing, masks, hands, motion, s, progress)
    score = np.stack([np.zeros(len(seen.rays.angles_deg)) if f is None else f.score for f in seen.frames])
    for row, mark in marked.items():
        away = np.abs((seen.rays.angles_deg - _mark_angle(mark) + 180.0) % 360.0 - 180.0)
        score[row] = np.where(away <= s.mark_deg, 1.0, -np.inf)
    slow = real_factor(swing)
    steps = np.diff(times, prepend=times[0]) / slow
    hand_step = np.concatenate([[0.0], np.linalg.norm(np.diff(hands, axis=0), axis=1)]) / swing.torso_px
    path = find_path(score, steps, np.nan_to_num(hand_step), s)
    rows = read_rows(seen, path, s)
    return _assemble(swing, hands, rows, marked, motion, slow, s)


def _inside(times: FloatArray, time_s: float) -> bool:
    slack = 0.5 * float(np.median(np.diff(times))) if len(times) > 1 else 0.0
    return bool(times[0] - slack <= time_s <= times[-1] + slack)


def _mark_angle(mark: ClubMark) -> float:
    dx, dy = mark.head[0] - mark.grip[0], mark.head[1] - mark.grip[1]
    return float(np.degrees(np.arctan2(dy, dx)))


def _mark_length(mark: ClubMark) -> float:
    return float(np.hypot(mark.head[0] - mark.grip[0], mark.head[1] - mark.grip[1]))


def _assemble(
    swing: Swing,
    hands: FloatArray,
    rows: Rows,
    marked: dict[int, ClubMark],
    motion: CameraMotion | None,
    slow: float,
    settings: ClubSettings,
) -> ClubTrack:
    s = settings
    times = swing.pose.time_s
    real = times / slow
    angle, length = rows.angle.copy(), rows.length.copy()
    trusted = rows.believed.copy()
    for row, mark in marked.items():
        angle[row] += wrapped(_mark_angle(mark) - angle[row])
        length[row], rows.offset[row], trusted[row] = _mark_length(mark), 0.0, True
    grip = _on_line(hands, angle, rows.offset)
    sd = np.hypot(rows.sd, s.floor_sd_deg)
    steady = trusted.copy()
    steady[list(marked)] = False
    if steady.any():
        fixed = grip if motion is None else _moved(motion, grip, times, back=False)
        values, count = settle_still(real, np.column_stack([angle, length, fixed]), angle, steady, s)
        many = count > 1
        angle[many], length[many] = values[many, 0], values[many, 1]
        settled = values[:, 2:] if motion is None else _moved(motion, values[:, 2:], times, back=True)
        grip[many] = settled[many]
    state: list[ClubState] = ["hidden"] * len(times)
    if trusted.any():
        filled = bridge(real, angle, length, trusted, swing.torso_px)
        usable = (filled.gap_s <= s.longest_gap_s) & (filled.sd <= s.longest_sd_deg) & ~trusted
        angle[usable], length[usable], sd[usable] = filled.angle[usable], filled.length[usable], filled.sd[usable]
        offset = np.interp(times, times[trusted], rows.offset[trusted])
        grip[usable] = _on_line(hands, angle, offset)[usable]
        for index in range(len(times)):
            if trusted[index] or usable[index]:
                state[index] = "measured" if trusted[index] else "interpolated"
    for row, mark in marked.items():
        state[row], grip[row] = "marked", mark.grip
        sd[row] = np.degrees(np.arctan2(np.sqrt(2.0) * s.mark_px, length[row]))
    hidden = np.array([word == "hidden" for word in state])
    grip[hidden] = hands[hidden]
    angle[hidden], length[hidden], sd[hidden] = np.nan, np.nan, np.nan
    return ClubTrack(times, grip, (angle + 180.0) % 360.0 - 180.0, length, tuple(state), sd)


def _on_line(hands: FloatArray, angle_deg: FloatArray, offset_px: FloatArray) -> FloatArray:
    """(T, 2) px: the point of each line nearest to the hands."""
    a = np.radians(angle_deg)
    return np.asarray(hands + offset_px[:, None] * np.stack([-np.sin(a), np.cos(a)], -1), np.float64)


def _moved(motion: CameraMotion, points: FloatArray, times: FloatArray, *, back: bool) -> FloatArray:
    """Points (T, 2) brought to the reference frame, or back from it."""
    change = motion.from_reference if back else motion.to_reference
    return np.stack([change(point, float(time_s)) for point, time_s in zip(points, times)])
