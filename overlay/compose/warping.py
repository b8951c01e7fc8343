"""A cut-out moved smoothly from the joints it was filmed with to those of the fitted skeleton.

Every point of the picture goes with the segments near it: the shift of a segment changes evenly from one joint to the
other, and where two come together their shifts are weighted by the inverse square of the squared distance (moving
least squares in the sense of Schaefer et al. 2006, of degree zero). Only shifts are blended, no rotations: limbs keep
their thickness, and as the fit changes lengths and hardly directions nothing shears. It is found on a coarse grid.
"""

from __future__ import annotations

import itertools
import math

import numpy as np

from overlay.arrays import AnyArray, FloatArray, Image
from overlay.landmarks import INDEX
from overlay.settings.compose import COMPOSE, ComposeSettings

_CHAINS = tuple(
    tuple(f"{side}_{joint}" for joint in chain)
    for side in ("left", "right")
    for chain in (("shoulder", "elbow", "wrist", "index"), ("hip", "knee", "ankle"), ("heel", "foot_index"))
)
_ACROSS = (
    ("left_shoulder", "right_shoulder"), ("left_hip", "right_hip"), ("left_shoulder", "left_hip"),
    ("right_shoulder", "right_hip"),
)  # fmt: skip
_BONES = np.array(
    [
        *((INDEX[a], INDEX[b]) for chain in _CHAINS for a, b in itertools.pairwise(chain)),
        *((INDEX[a], INDEX[b]) for a, b in _ACROSS),
    ]
)
_HEAD = [INDEX[name] for name in ("nose", "left_ear", "right_ear")]
_NECK = [INDEX[name] for name in ("left_shoulder", "right_shoulder")]


def bones_of(points: FloatArray) -> FloatArray:
    """(B, 2, 2) px: both ends of every segment of joints (33, 2), the head's last; NaN where one is missing."""
    neck, head = points[_NECK].mean(axis=0), np.full(2, np.nan)
    known = points[_HEAD]
    known = known[np.isfinite(known[:, 0])]
    if len(known) == len(_HEAD):
        head = known.mean(axis=0)
    ends = points[_BONES]
    return np.concatenate([ends, np.array([[neck, head], [head, head]])])


def shifts(at: FloatArray, target: FloatArray, source: FloatArray, reach_px: float) -> FloatArray:
    """How far the source of each place lies from it.

    Parameters
    ----------
    at : (N, 2) px, places in the target picture
    target, source : (B, 2, 2) px
        Segments there and where they were filmed; those with a NaN are left out.
    reach_px : float
        How far a segment's own shift holds about it.

    Returns
    -------
    (N, 2) px, source − target; 0 where there is no segment at all
    """
    known = np.all(np.isfinite(target), axis=(1, 2)) & np.all(np.isfinite(source), axis=(1, 2))
    target, source = target[known], source[known]
    if not len(target):
        return np.zeros_like(at)
    # In single precision: it is a place in a picture.
    start = target[:, 0].astype(np.float32)
    way = (target[:, 1] - target[:, 0]).astype(np.float32)
    move = (source - target).astype(np.float32)
    places = at.astype(np.float32)
    gap = places[:, None, :] - start[None]
    length2 = np.maximum(np.sum(way * way, axis=-1), np.float32(1e-3))
    share = np.clip(np.sum(gap * way[None], axis=-1) / length2[None], 0.0, 1.0)
    gap -= share[..., None] * way[None]
    weight = 1.0 / (np.sum(gap * gap, axis=-1) + np.float32(reach_px**2)) ** 2
    weight /= weight.sum(axis=1, keepdims=True)
    first = weight * (1.0 - share)
    return np.asarray(first @ move[:, 0] + (weight * share) @ move[:, 1], np.float64)


class Warp:
    """Brings pictures of one pane from the filmed joints to the fitted ones."""

    def __init__(
        self,
        filmed: FloatArray,
        fitted: FloatArray,
        size_px: float,
        alpha: Image,
        settings: ComposeSettings = COMPOSE,
    ) -> None:
        """Joints (33, 2) px of both, the torso length, px, and where the person is in the filmed pane (H, W)."""
        import cv2

        height, width = alpha.shape
        source, target = bones_of(filmed), bones_of(fitted)
        x, y, box_width, box_height = cv2.boundingRect(alpha)
        known = np.all(np.isfinite(source), axis=(1, 2)) & np.all(np.isfinite(target), axis=(1, 2))
        if not box_width or not np.any(known):
            self.place: tuple[slice, slice] | None = None
            return
        # Where the person may come to lie: his box, moved by as much as any joint moves.
        moved = (target - source)[known].reshape(-1, 2)
        low, high = np.minimum(moved.min(axis=0), 0.0), np.maximum(moved.max(axis=0), 0.0)
        left, top = max(0, math.floor(x + low[0])), max(0, math.floor(y + low[1]))
        right = min(width, math.ceil(x + box_width + high[0]))
        bottom = min(height, math.ceil(y + box_height + high[1]))
        if right - left < 2 or bottom - top < 2:
            self.place = None
            return
        self.place = (slice(top, bottom), slice(left, right))
        step = settings.warp_grid_px
        columns = max(2, math.ceil((right - left) / step) + 1)
        rows = max(2, math.ceil((bottom - top) / step) + 1)
        # The grid's first and last nodes lie on the first and last pixels of the box.
        xs, ys = np.linspace(left, right - 1, columns), np.linspace(top, bottom - 1, rows)
        grid = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
        shift = shifts(grid, target, source, settings.warp_reach * size_px).reshape(rows, columns, 2)
        fine = _refined(shift.astype(np.float32), (right - left, bottom - top))
        self._map_x = fine[..., 0] + np.arange(left, right, dtype=np.float32)[None]
        self._map_y = fine[..., 1] + np.arange(top, bottom, dtype=np.float32)[:, None]

    def bring(self, image: Image) -> Image:
        """The pane (H, W) or (H, W, 3) with the person where the fitted joints are; 0 outside."""
        import cv2

        result = np.zeros_like(image)
        if self.place is not None:
            result[self.place] = cv2.remap(
                image, self._map_x, self._map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0
            )
        return result


def _refined(grid: AnyArray, size: tuple[int, int]) -> AnyArray:
    """A grid (R, C, 2) whose outer nodes lie on the outer pixels, at every pixel of (width, height)."""
    import cv2

    rows, columns = grid.shape[:2]
    width, height = size
    # warpAffine takes pixel centres: pixel 0 is node 0 and the last pixel the last node.
    scale = np.array([[(columns - 1) / max(width - 1, 1), 0.0, 0.0], [0.0, (rows - 1) / max(height - 1, 1), 0.0]])
    return np.asarray(
        cv2.warpAffine(
            grid, scale, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
        ),
        np.float32,
    )
