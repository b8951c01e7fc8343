"""How the picture moves: corner points around the player followed from frame to frame, and what most of them agree on.

Corners are Shi & Tomasi's (1994), followed by the pyramidal Lucas–Kanade method (Bouguet 2001) straight from the
reference frame, so that nothing adds up over a clip; the common movement is the similarity most of them share (RANSAC,
Fischler & Bolles 1981). Only when too few of the reference's corners are still seen is the chain lengthened by a frame.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from overlay.arrays import AnyArray, BoolArray, FloatArray
from overlay.data import CameraMotion, Swing
from overlay.errors import DataError
from overlay.landmarks import INDEX
from overlay.progress import SILENT, Progress
from overlay.settings.steady import SteadySettings

if TYPE_CHECKING:
    from overlay.pose import MaskTrack
    from overlay.video import Reader

_PARTS: tuple[tuple[tuple[str, ...], float], ...] = (
    (("left_shoulder", "left_elbow", "left_wrist", "left_index"), 0.19),
    (("right_shoulder", "right_elbow", "right_wrist", "right_index"), 0.19),
    (("left_hip", "left_knee", "left_ankle", "left_heel", "left_foot_index"), 0.28),
    (("right_hip", "right_knee", "right_ankle", "right_heel", "right_foot_index"), 0.28),
    (("left_ear", "right_ear"), 0.42),
    (("nose", "left_ear"), 0.40),
    (("left_shoulder", "right_shoulder"), 0.30),
    (("left_hip", "right_hip"), 0.42),
)
"""Chains of joints and how thick the body is about them, torso lengths, clothes included (by eye)."""
MOST_WAITING = 400
"""Small grey pictures held at most until the reference is met, 50 MB."""

_TRUNK = ("left_shoulder", "right_shoulder", "right_hip", "left_hip")


def camera_motion(
    reader: Reader,
    swing: Swing,
    masks: MaskTrack | None,
    *,
    reference_s: float | None = None,
    settings: SteadySettings | None = None,
    progress: Progress = SILENT,
) -> CameraMotion:
    """The movement of the picture over one swing.

    Parameters
    ----------
    reader : Reader
        Of the swing's own clip, turned as the pose was.
    swing : Swing
    masks : MaskTrack or None
        Where the person is; without it, an area about the joints is left out.
    reference_s : float or None
        The frame all others are brought to; None: the address, or the first frame where there is none.
    settings : SteadySettings
    progress : Progress

    Returns
    -------
    CameraMotion
        One row a frame of ``swing.pose``. All rows are exactly the identity when the picture stands still; NaN where
        the movement could not be told (too few corners, an undecodable frame), which on a bare wall may be all.

    Raises
    ------
    DataError
        ``reference_s`` is not finite.
    InputError
        No picture can be decoded.
    """
    settings = settings or SteadySettings()
    times = swing.pose.time_s
    if reference_s is None:
        address = swing.positions.time("address")
        reference_s = float(times[0]) if address is None else address
    if not np.isfinite(reference_s):
        raise DataError(f"A reference at {reference_s} s is not possible.", "Give a time inside the clip.")
    area = PersonArea(swing, masks, settings.person_margin)
    small = np.full((len(times), 3, 3), np.nan)
    progress.stage("how the picture moves", len(times))
    shape = (1, 1)
    for row, time_s, grey, chain in _followed(reader, times, reference_s, area, settings):
        small[row] = chain.follow(grey, area.at(time_s, grey.shape[:2]))
        shape = grey.shape[:2]
        progress.advance()
    progress.done()
    height, width = shape
    if stands_still(small, (width, height), settings):
        return CameraMotion(times, np.tile(np.eye(2, 3), (len(times), 1, 1)))
    clip = reader.clip
    scale = np.diag([clip.width / width, clip.height / height, 1.0])
    full = scale @ small @ np.linalg.inv(scale)
    return CameraMotion(times, full[:, :2])


def _followed(
    reader: Reader, times: FloatArray, reference_s: float, area: PersonArea, settings: SteadySettings
) -> Iterator[tuple[int, float, AnyArray, _Chain]]:
    """(row, time, grey picture, chain) of every frame of the swing, in one pass.

    The frames before the reference wait until it is met, so that nothing is decoded twice for it.
    """

    def begun(time_s: float, grey: AnyArray) -> _Chain:
        return _Chain(grey, area.at(time_s, (grey.shape[0], grey.shape[1])), settings)

    wanted = max(0, int(np.searchsorted(reader.clip.times_s, reference_s + 1e-6, side="right")) - 1)
    chain: _Chain | None = None
    waiting: list[tuple[int, float, AnyArray]] = []
    if not float(times[0]) <= float(reader.clip.times_s[wanted]) <= float(times[-1]):
        outside = reader.frame_at(reference_s, max_side=settings.picture_px)
        chain = begun(outside.time_s, _grey(outside.image))
    for frame in reader.frames(float(times[0]), float(times[-1]), max_side=settings.picture_px):
        row = row_of(times, frame.time_s)
        grey = _grey(frame.image)
        if chain is None and frame.index == wanted:
            chain = begun(frame.time_s, grey)
        elif chain is None and (frame.index > wanted or len(waiting) >= MOST_WAITING):
            # It cannot be decoded, or lies far into the swing.
            other = reader.frame_at(reference_s, max_side=settings.picture_px)
            chain = begun(other.time_s, _grey(other.image))
        if row is not None:
            waiting.append((row, frame.time_s, grey))
        if chain is not None:
            for held in waiting:
                yield *held, chain
            waiting.clear()
    if chain is None:
        other = reader.frame_at(reference_s, max_side=settings.picture_px)
        chain = begun(other.time_s, _grey(other.image))
        for held in waiting:
            yield *held, chain


def row_of(times_s: FloatArray, time_s: float) -> int | None:
    """Row of the frame at ``time_s`` among ``times_s`` (T,), None when it is none of them."""
    row = int(np.searchsorted(times_s, time_s - 1e-4))
    return row if row < len(times_s) and abs(float(times_s[row]) - time_s) <= 1e-4 else None


def stands_still(matrices: FloatArray, size: tuple[int, int], settings: SteadySettings | None = None) -> bool:
    """Whether matrices (T, 3, 3) move a picture of ``size`` by no more than they can be measured.

    The largest movement of the picture's corners, median of five frames against single wrong ones, is compared with
    ``settings.still_px``.
    """
    settings = settings or SteadySettings()
    known = np.all(np.isfinite(matrices), axis=(1, 2))
    if known.mean() < settings.least_known:
        return False
    width, height = size
    corners = np.array([[0, 0, 1], [width, 0, 1], [0, height, 1], [width, height, 1]], float)
    moved = matrices[known] @ corners.T
    shift = moved[:, :2] - corners[:, :2].T
    n = len(shift)
    around = np.clip(np.arange(n)[:, None] + np.arange(-2, 3), 0, n - 1)
    steady = np.median(shift[around], axis=1)
    return bool(np.max(np.linalg.norm(steady, axis=1)) < settings.still_px)


class PersonArea:
    """The part of a picture that the player covers, from the masks, or about the joints where there are none."""

    def __init__(self, swing: Swing, masks: MaskTrack | None, margin_torso: float) -> None:
        self._swing = swing
        self._masks = masks if masks is not None and len(masks) else None
        self._margin = margin_torso
        self._parts = [([INDEX[name] for name in names], thick) for names, thick in _PARTS]
        self._trunk = [INDEX[name] for name in _TRUNK]

    def body(self, time_s: float, shape: tuple[int, int]) -> AnyArray:
        """(h, w) uint8, 255 on the player, for a picture of ``shape`` (h, w)."""
        import cv2

        height, width = shape
        if self._masks is not None:
            mask = self._masks.at(time_s)
            if np.any(mask):
                large = cv2.resize(mask, (width, height), interpolation=cv2.INTER_LINEAR)
                return np.asarray(np.where(large > 127, 255, 0), np.uint8)
        return self._drawn(time_s, shape)

    def at(self, time_s: float, shape: tuple[int, int]) -> AnyArray:
        """As ``body``, grown by the margin and about the joints too, so that hardly any of the player is outside."""
        import cv2

        drawn = self._drawn(time_s, shape)
        area = drawn if self._masks is None else cv2.bitwise_or(drawn, self.body(time_s, shape))
        size = 2 * max(2, round(self._margin * self._torso(shape))) + 1
        return np.asarray(cv2.dilate(area, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))), np.uint8)

    def _torso(self, shape: tuple[int, int]) -> float:
        width, height = self._swing.pose.image_size
        torso = self._swing.torso_px if np.isfinite(self._swing.torso_px) else 0.18 * height
        return float(torso * 0.5 * (shape[1] / width + shape[0] / height))

    def _drawn(self, time_s: float, shape: tuple[int, int]) -> AnyArray:
        import cv2

        pose, torso = self._swing.pose, self._torso(shape)
        area = np.zeros(shape, np.uint8)
        row = int(np.argmin(np.abs(pose.time_s - time_s)))
        scale = np.array([shape[1] / pose.image_size[0], shape[0] / pose.image_size[1]])
        points = np.clip(pose.points[row] * scale, -1e4, 1e4)
        known = np.all(np.isfinite(points), axis=1)
        for joints, thick in self._parts:
            seen = np.round(points[[j for j in joints if known[j]]]).astype(np.int32)
            if len(seen):
                cv2.polylines(area, [seen[:, None]], False, 255, max(1, round(thick * torso)))
        if known[self._trunk].all():
            cv2.fillConvexPoly(area, cv2.convexHull(np.round(points[self._trunk]).astype(np.int32)), 255)
        return area


def _grey(image: AnyArray) -> AnyArray:
    import cv2

    return np.asarray(cv2.cvtColor(image, cv2.COLOR_RGB2GRAY), np.uint8)


@dataclass
class _Key:
    """A frame whose corners are followed, and the (3, 3) matrix that brings its px to the reference's."""

    grey: AnyArray
    points: AnyArray
    to_reference: FloatArray


class _Chain:
    """Follows corners frame by frame; holds two pictures at a time."""

    def __init__(self, grey: AnyArray, person: AnyArray, settings: SteadySettings) -> None:
        self._settings = settings
        self._key = _Key(grey, self._corners(grey, person), np.eye(3))
        self._guess: FloatArray = np.eye(3)
        """Key px → px of the latest frame."""

    def _corners(self, grey: AnyArray, person: AnyArray) -> AnyArray:
        import cv2

        s = self._settings
        found = cv2.goodFeaturesToTrack(
            grey, s.most_corners, s.corner_quality, s.corner_spacing_px, mask=cv2.bitwise_not(person), blockSize=5
        )
        if found is None:
            return np.zeros((0, 1, 2), np.float32)
        return np.asarray(cv2.cornerSubPix(grey, found, (3, 3), (-1, -1), (3, 20, 0.02)), np.float32)

    def follow(self, grey: AnyArray, person: AnyArray) -> FloatArray:
        """(3, 3) that brings px of this frame to the reference's; NaN where it cannot be told."""
        s = self._settings
        found = self._from_key(grey, person)
        if found is None:
            # A sudden jump: what was guessed from the frame before does not hold.
            self._guess = _jump(self._key.grey, grey)
            found = self._from_key(grey, person)
        if found is None:
            return np.full((3, 3), np.nan)
        to_key, share = found
        self._guess = np.asarray(np.linalg.inv(to_key), np.float64)
        matrix = np.asarray(self._key.to_reference @ to_key, np.float64)
        if share < s.rekey_share:
            points = self._corners(grey, person)
            if len(points) >= 2 * s.least_inliers:
                self._key = _Key(grey, points, matrix)
                self._guess = np.eye(3)
        return matrix

    def _from_key(self, grey: AnyArray, person: AnyArray) -> tuple[FloatArray, float] | None:
        """The (3, 3) from this frame to the key frame, and the share of the key's corners that agree."""
        import cv2

        s = self._settings
        start = self._key.points
        if len(start) < s.least_inliers:
            return None
        guess = (start @ self._guess[:2, :2].T + self._guess[:2, 2]).astype(np.float32)
        criteria = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 20, 0.01)
        now, status, _ = cv2.calcOpticalFlowPyrLK(
            self._key.grey, grey, start, guess, winSize=(s.window_px, s.window_px), maxLevel=s.pyramid_levels,
            criteria=criteria, flags=cv2.OPTFLOW_USE_INITIAL_FLOW, minEigThreshold=1e-4,
        )  # fmt: skip
        good = _inside(now[:, 0], grey.shape) & (status[:, 0] == 1)
        place = np.clip(np.nan_to_num(np.round(now[:, 0])), 0, [grey.shape[1] - 1, grey.shape[0] - 1]).astype(int)
        good &= person[place[:, 1], place[:, 0]] == 0
        if good.sum() < s.least_inliers:
            return None
        here, there = now[good, 0].astype(np.float64), start[good, 0].astype(np.float64)
        _, agree = cv2.estimateAffinePartial2D(
            here, there, method=cv2.RANSAC, ransacReprojThreshold=s.inlier_px, maxIters=500, confidence=0.995
        )
        if agree is None:
            return None
        kept = agree[:, 0].astype(bool)
        if kept.sum() < s.least_inliers or kept.mean() < s.least_share:
            return None
        matrix = np.eye(3)
        matrix[:2] = fit_similarity(here[kept], there[kept])
        return matrix, float(kept.sum()) / len(start)


def _jump(before: AnyArray, now: AnyArray) -> FloatArray:
    """(3, 3): the shift of the whole picture by phase correlation (Kuglin & Hines 1975), however far."""
    import cv2

    window = cv2.createHanningWindow((now.shape[1], now.shape[0]), cv2.CV_32F)
    shift, _ = cv2.phaseCorrelate(before.astype(np.float32), now.astype(np.float32), window)
    matrix = np.eye(3)
    matrix[:2, 2] = shift
    return matrix


def _inside(points: AnyArray, shape: tuple[int, ...]) -> BoolArray:
    height, width = shape[:2]
    return np.asarray(
        (points[:, 0] > 2) & (points[:, 1] > 2) & (points[:, 0] < width - 3) & (points[:, 1] < height - 3), bool
    )


def fit_similarity(source: FloatArray, target: FloatArray) -> FloatArray:
    """(2, 3): turn, scale and shift that bring ``source`` (N, 2) nearest to ``target`` (N, 2), least squares.

    Umeyama 1991 without reflections; in the plane it is one complex division.

    Raises
    ------
    DataError
        Fewer than two different points.
    """
    if len(source) < 2 or source.shape != target.shape:
        raise DataError("A similarity needs two or more pairs of points.", "Give as many source as target points.")
    middle, goal = source.mean(axis=0), target.mean(axis=0)
    a = (source - middle) @ np.array([1.0, 1.0j])
    b = (target - goal) @ np.array([1.0, 1.0j])
    power = float(np.sum(np.abs(a) ** 2))
    if power == 0.0:
        raise DataError("A similarity needs two or more pairs of points.", "The source points all fall together.")
    turn = complex(np.sum(np.conj(a) * b) / power)
    linear = np.array([[turn.real, -turn.imag], [turn.imag, turn.real]])
    return np.column_stack([linear, goal - linear @ middle])
