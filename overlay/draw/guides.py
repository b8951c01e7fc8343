"""Guide lines and zones on a picture: thin, quiet, each with a small name where it hides nothing of the player."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, Sequence

import numpy as np

from overlay.arrays import AnyArray, BoolArray, FloatArray, Image
from overlay.draw.figure import SHIFT, blend, fixed_points, segments, unit_px
from overlay.draw.palette import INK, PAPER, STUDENT, Colour, Family, mixed
from overlay.draw.text import Sprite, text_sprite
from overlay.errors import DataError
from overlay.settings.draw import DRAW, DrawSettings

NAMES: dict[str, str] = {
    "shaft_plane": "shaft plane",
    "hand_depth": "hand depth",
    "ball_line": "ball",
    "heel_line": "heels",
    "spine_line": "spine",
    "trail_leg_line": "trail leg",
    "lead_foot_line": "lead foot",
    "head_line": "head",
    "hip_line": "hips",
    "hand_corridor": "corridor",
}
"""What stands beside a line: as short as it can be told."""


@dataclass(frozen=True)
class DrawnGuide:
    """One guide in px of the picture that is drawn on.

    Attributes
    ----------
    name : one of ``terms.GUIDE_NAMES``
    kind : "line" or "zone"
    points : (N, 2) float, px
    label : (x, y) px or None
        Top left corner of its name; None writes no name.
    """

    name: str
    kind: Literal["line", "zone"]
    points: FloatArray
    label: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        least = 2 if self.kind == "line" else 3
        if self.points.ndim != 2 or self.points.shape[1:] != (2,) or len(self.points) < least:
            raise DataError(
                f"The guide {self.name} has points of shape {self.points.shape}.", f"Give ({least} or more, 2) px."
            )


@dataclass(frozen=True)
class Guides:
    """Draws guide lines nearly white with an edge in the player's strong colour, zones as a veil.

    A bone is the other way round, coloured with a dark edge, and a guess is dashed: a guide is taken for neither.
    """

    family: Family = STUDENT
    text_px: int = 13
    settings: DrawSettings = DRAW

    def draw(self, image: Image, guides: Sequence[DrawnGuide]) -> Image:
        """Draw on ``image`` (H, W, 3) in place and return it."""
        if not guides:
            return image
        style, unit = self.settings, unit_px(image)
        width = round(max(LEAST_LINE_PX, style.guide * unit))
        edges = max(1, round(2 * style.guide_casing * unit))
        light = mixed(self.family.pale, PAPER, 0.6)
        for guide in guides:
            if guide.kind == "zone":
                _veil(image, guide.points, light, style.guide_zone)
        # Opaque: a blend of its own for each line would cost ten times as much in every frame of a video.
        pieces = [fixed_points(_outline(guide)) for guide in guides]
        segments(image, pieces, self.family.strong, width + edges)
        segments(image, pieces, light, width)
        for guide in guides:
            if guide.label is not None:
                self.name_sprite(guide.name).blit(image, round(guide.label[0]), round(guide.label[1]))
        return image

    def name_sprite(self, name: str) -> Sprite:
        """The name of a guide as it stands beside it."""
        return text_sprite(NAMES[name], self.text_px, self.family.pale, bold=True, outline=INK)

    def labelled(
        self, shape: tuple[int, int], guides: Sequence[DrawnGuide], taken: BoolArray | None = None
    ) -> tuple[DrawnGuide, ...]:
        """The guides with their names placed inside the picture, off the player, off the lines and off each other.

        Parameters
        ----------
        shape : (height, width)
        guides : sequence of DrawnGuide
        taken : (height, width) bool or None
            Where the player is during the swing, and what else must stay free.
        """
        import cv2

        height, width = shape
        lines = np.zeros(shape, np.uint8)
        segments(lines, [fixed_points(_outline(guide)) for guide in guides], 1, 3.0)
        body = np.zeros(shape, np.uint8) if taken is None else taken.astype(np.uint8)
        counts = [cv2.integral(body), cv2.integral(lines)]
        placed: list[DrawnGuide] = []
        boxes: list[tuple[float, float, float, float]] = []
        for guide in guides:
            sprite = self.name_sprite(guide.name)
            size = (sprite.width, sprite.height)
            best: tuple[float, tuple[float, float]] | None = None
            for order, corner in enumerate(_corners(guide, size, 0.35 * self.text_px)):
                x, y = corner
                if x < 1 or y < 1 or x + size[0] > width - 1 or y + size[1] > height - 1:
                    continue
                area = size[0] * size[1]
                on_body, on_lines = (_count(table, x, y, size) / area for table in counts)
                over = sum(_overlap((x, y, *size), box) for box in boxes) / area
                cost = 6.0 * on_body + 8.0 * on_lines + 30.0 * over + 0.05 * order
                if best is None or cost < best[0]:
                    best = cost, corner
            if best is None:
                placed.append(guide)
                continue
            boxes.append((*best[1], *size))
            placed.append(replace(guide, label=best[1]))
        return tuple(placed)


LEAST_LINE_PX = 2.0
"""A thinner line drowns in its own edges."""


def _outline(guide: DrawnGuide) -> FloatArray:
    return guide.points if guide.kind == "line" else np.concatenate([guide.points, guide.points[:1]])


def _corners(guide: DrawnGuide, size: tuple[int, int], gap: float) -> list[tuple[float, float]]:
    """Places for the name, best first: at the ends of the guide, then beside it from its ends to its middle."""
    width, height = size
    if guide.kind == "zone":
        left, top = guide.points.min(axis=0)
        right, bottom = guide.points.max(axis=0)
        middle = (left + right - width) / 2
        return [
            (middle, bottom + gap),
            (middle, top - gap - height),
            (right + gap, bottom - height),
            (left - gap - width, bottom - height),
            (right + gap, top),
            (left - gap - width, top),
        ]
    low, high = guide.points[0], guide.points[-1]
    corners = [(high[0] - width / 2, high[1] - gap - height), (low[0] - width / 2, low[1] + gap)]
    for share in (0.98, 0.02, 0.88, 0.12, 0.76, 0.24, 0.64, 0.36, 0.5):
        x, y = low + share * (high - low)
        corners.append((x + gap, y - height / 2))
        corners.append((x - gap - width, y - height / 2))
    return [(float(x), float(y)) for x, y in corners]


def _count(table: AnyArray, x: float, y: float, size: tuple[int, int]) -> float:
    left, top = int(x), int(y)
    right, bottom = left + size[0], top + size[1]
    return float(table[bottom, right] - table[top, right] - table[bottom, left] + table[top, left])


def _overlap(first: tuple[float, float, float, float], other: tuple[float, float, float, float]) -> float:
    wide = min(first[0] + first[2], other[0] + other[2]) - max(first[0], other[0])
    tall = min(first[1] + first[3], other[1] + other[3]) - max(first[1], other[1])
    return max(0.0, wide) * max(0.0, tall)


def _veil(image: Image, corners: FloatArray, colour: Colour, opacity: float) -> None:
    """Lay a thin veil over a polygon (N, 2) px of the picture, in place."""
    import cv2

    height, width = image.shape[:2]
    left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int), 0)
    right, bottom = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 1, (width, height))
    if right <= left or bottom <= top:
        return
    mask = np.zeros((bottom - top, right - left), np.uint8)
    cv2.fillPoly(mask, [fixed_points(corners - (left, top))], 255, cv2.LINE_8, SHIFT)
    part = image[top:bottom, left:right]
    flat = np.empty_like(part)
    flat[:] = colour
    blend(part, flat, mask, opacity)
