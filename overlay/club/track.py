"""``track_club``: the shaft on every frame of a swing."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from overlay.arrays import AnyArray, BoolArray, FloatArray
from overlay.club.hands import hand_path
from overlay.club.look import Seen, look
from overlay.club.path import find_path
from overlay.club.settle import Rows, read_rows
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
    return _assemble(times, hands, rows, marked, seen, slow, s)


def _inside(times: FloatArray, time_s: float) -> bool:
    slack = 0.5 * float(np.median(np.diff(times))) if len(times) > 1 else 0.0
    return bool(times[0] - slack <= time_s <= times[-1] + slack)


def _mark_angle(mark: ClubMark) -> float:
    dx, dy = mark.head[0] - mark.grip[0], mark.head[1] - mark.grip[1]
    return float(np.degrees(np.arctan2(dy, dx)))


def _assemble(
    times: FloatArray,
    hands: FloatArray,
    rows: Rows,
    marked: dict[int, ClubMark],
    seen: Seen,
    slow: float,
    settings: ClubSettings,
) -> ClubTrack:
    n = len(times)
    factor = float(seen.factor.mean())
    angle, sd, length = rows.angle.copy(), rows.sd.copy(), rows.length * factor
    offset = rows.offset * factor
    trusted = rows.believed.copy()
    for row, mark in marked.items():
        angle[row] += (_mark_angle(mark) - angle[row] + 180.0) % 360.0 - 180.0
        sd[row], length[row], offset[row], trusted[row] = (
            1.0,
            float(np.hypot(mark.head[0] - mark.grip[0], mark.head[1] - mark.grip[1])),
            0.0,
            True,
        )
    state: list[ClubState] = ["hidden"] * n
    known = np.flatnonzero(trusted)
    if len(known):
        bridged = _bridge(times, angle, rows, trusted)
        reach = _gap(times, known) / slow
        for t in range(n):
            if trusted[t]:
                state[t] = "marked" if t in marked else "measured"
            elif reach[t] <= settings.longest_gap_s or rows.followed[t]:
                state[t] = "interpolated"
                angle[t] = bridged[t]
                sd[t] = 6.0
        length = np.where(trusted, length, np.interp(times, times[known], length[known]))
        offset = np.where(trusted, offset, np.interp(times, times[known], offset[known]))
    hidden = np.array([word == "hidden" for word in state])
    a = np.radians(angle)
    grip = hands + offset[:, None] * np.stack([-np.sin(a), np.cos(a)], -1)
    angle = (angle + 180.0) % 360.0 - 180.0
    for row, mark in marked.items():
        grip[row] = mark.grip
    angle[hidden], length[hidden], sd[hidden] = np.nan, np.nan, np.nan
    grip[hidden] = hands[hidden]
    return ClubTrack(times, grip, angle, length, tuple(state), sd)


def _gap(times: FloatArray, known: AnyArray) -> FloatArray:
    """(T,) s: length of the gap between known rows that each row lies in; infinite beyond the ends."""
    after = np.searchsorted(known, np.arange(len(times)))
    out = np.full(len(times), np.inf)
    inner = (after > 0) & (after < len(known))
    out[inner] = times[known[after[inner]]] - times[known[after[inner] - 1]]
    out[known] = 0.0
    return out


def _bridge(times: FloatArray, angle: FloatArray, rows: Rows, trusted: BoolArray) -> FloatArray:
    """Angles of rows that are not believed: the path where it was followed, smoothly between otherwise."""
    from scipy.interpolate import PchipInterpolator

    anchor = trusted | rows.followed
    if anchor.sum() < 2:
        return angle
    smooth = PchipInterpolator(times[anchor], angle[anchor], extrapolate=False)(times)
    smooth = np.where(np.isfinite(smooth), smooth, np.interp(times, times[anchor], angle[anchor]))
    return np.asarray(smooth, np.float64)
