"""The guide lines of one player in his pane: placed once, carried along where the camera moved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from overlay.arrays import BoolArray, FloatArray, Image
from overlay.compose.framing import Placement, transformed
from overlay.compose.options import ComposeOptions
from overlay.data import CameraMotion, Guide, Swing
from overlay.draw import DrawnGuide, Family, Guides
from overlay.draw.figure import figure_mask, line
from overlay.guides import guide_lines

LARGER = 1.5
"""Names in stills that are shown small, against those in other stills."""


def stands_still(motion: CameraMotion | None) -> bool:
    """Whether the picture stood still, as far as is known."""
    if motion is None or not len(motion.time_s):
        return True
    known = motion.matrices[np.all(np.isfinite(motion.matrices), axis=(1, 2))]
    return bool(np.allclose(known, np.eye(2, 3)[None], rtol=0.0, atol=1e-9))


class GuideDrawing:
    """Draws the chosen guide lines of a swing on the frames of its pane.

    Parameters
    ----------
    swing : Swing
    points : (T, 33, 2) float
        His joints in px of the pane, which the names of the lines keep clear of.
    place : Placement
    family : Family
    options : ComposeOptions
    text_px : int
    written_px : (top, foot)
        Heights of what is written at the top of the pane beside his name, and at its foot.
    """

    def __init__(
        self,
        swing: Swing,
        points: FloatArray,
        place: Placement,
        family: Family,
        options: ComposeOptions,
        text_px: int,
        written_px: tuple[int, int] = (0, 0),
    ) -> None:
        self._swing = swing
        self._points = points
        self._place = place
        self._written_px = written_px
        self._wanted = options.guides
        self._still = stands_still(swing.camera_motion)
        self._drawing = Guides(family, text_px, options.style)
        # Stills with one or two lines of their own are shown small: their names must still be read.
        self._large = Guides(family, round(LARGER * text_px), options.style)
        self._guides: tuple[Guide, ...] | None = None
        self._placed: dict[tuple[tuple[int, int], frozenset[str], int], tuple[DrawnGuide, ...]] = {}

    def lay(self, pane: Image, time_s: float, only: frozenset[str] | None = None) -> Image:
        """Draw on ``pane`` in place as the lines lie in the frame at ``time_s``; ``only`` some of the chosen ones."""
        names = self._wanted if only is None else only
        if not names:
            return pane
        shape = (pane.shape[0], pane.shape[1])
        drawing = self._drawing if only is None else self._large
        return drawing.draw(pane, self.drawn(shape, time_s, names, drawing))

    def ground_y(self, time_s: float) -> float | None:
        """Row of the pane at which the ball lies; None where neither ball nor club head was seen at address."""
        for guide in self._found():
            if guide.name == "ball_line":
                return float(self._in_pane(guide, time_s).points[0, 1])
        return None

    def _found(self) -> tuple[Guide, ...]:
        if self._guides is None:
            self._guides = tuple(guide for guide in guide_lines(self._swing) if not guide.reason)
        return self._guides

    def drawn(
        self, shape: tuple[int, int], time_s: float, names: frozenset[str], drawing: Guides
    ) -> tuple[DrawnGuide, ...]:
        """The guides of these names in px of the pane at ``time_s``, with the places of their names."""
        chosen = [guide for guide in self._found() if guide.name in names]
        key = shape, names, drawing.text_px
        if key not in self._placed:
            address_s = self._swing.positions.time("address")
            at_address = [self._in_pane(guide, time_s if address_s is None else address_s) for guide in chosen]
            self._placed[key] = drawing.labelled(shape, at_address, self._taken(shape))
        placed = self._placed[key]
        if self._still:
            return placed
        return tuple(self._carried(self._in_pane(guide, time_s), there) for guide, there in zip(chosen, placed))

    @staticmethod
    def _carried(here: DrawnGuide, at_address: DrawnGuide) -> DrawnGuide:
        # A name keeps its place beside its line while the camera moves: it must not jump about.
        if at_address.label is None:
            return here
        shift = here.points[0] - at_address.points[0]
        return replace(here, label=(at_address.label[0] + float(shift[0]), at_address.label[1] + float(shift[1])))

    def _in_pane(self, guide: Guide, time_s: float) -> DrawnGuide:
        points = guide.points
        if not self._still and self._swing.camera_motion is not None:
            points = self._swing.camera_motion.from_reference(points, time_s)
        return DrawnGuide(guide.name, guide.kind, transformed(points, self._place.matrix))

    def _taken(self, shape: tuple[int, int]) -> BoolArray:
        """(H, W) where player and club are at his positions, and the top of the pane, where its caption stands."""
        import cv2

        taken = np.zeros(shape, np.uint8)
        times, club = self._swing.pose.time_s, self._swing.club
        for position in self._swing.positions.found:
            points = self._points[int(np.argmin(np.abs(times - position.time_s)))]
            taken |= figure_mask(shape, points)
            if club is not None and len(club.time_s):
                i = int(np.argmin(np.abs(club.time_s - position.time_s)))
                ends = transformed(np.stack([club.grip[i], club.head[i]]), self._place.matrix)
                line(taken, ends[0], ends[1], 255, 0.02 * min(shape))
        # Clothes and shoes reach beyond the joints that the figure is made of.
        reach = max(1, round(0.02 * min(shape)))
        taken = cv2.dilate(taken, np.ones((2 * reach + 1, 2 * reach + 1), np.uint8))
        top, foot = self._written_px
        taken[: max(round(3.0 * self._drawing.text_px), top)] = 255
        if foot:
            taken[-foot:] = 255
        return np.asarray(taken > 0, np.bool_)
