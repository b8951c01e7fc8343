"""The club on the picture: the shaft as it is known, and the trail of its head."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.draw.figure import (
    Moment,
    dashes,
    disc,
    fixed_points,
    line,
    segments,
    unit_px,
)
from overlay.draw.palette import INK, PAPER, STUDENT, Family, mixed
from overlay.settings.draw import DRAW, DrawSettings


@dataclass(frozen=True)
class Club:
    """The shaft: solid when measured, solid with a dot at both ends when marked by a person, dashed when
    interpolated, nothing when hidden."""

    family: Family = STUDENT
    settings: DrawSettings = DRAW

    def draw(self, image: Image, moment: Moment) -> Image:
        club = moment.club
        if club is None or club.state == "hidden":
            return image
        unit, style = unit_px(image), self.settings
        grip, head = np.asarray(club.grip, np.float64), np.asarray(club.head, np.float64)
        if not (np.all(np.isfinite(grip)) and np.all(np.isfinite(head))):
            return image
        pieces = (
            dashes(grip, head, style.dash * unit, style.gap * unit) if club.state == "interpolated" else [(grip, head)]
        )
        colour = mixed(self.family.strong, (255, 255, 255), 0.25)
        for start, end in pieces:
            line(image, start, end, INK, (style.club + 2 * style.casing) * unit)
        for start, end in pieces:
            line(image, start, end, colour, style.club * unit)
        if club.state == "marked":
            # At both ends: the head often lies outside the pane.
            for end in (grip, head):
                disc(image, end, (style.joint + style.casing) * unit, INK)
                disc(image, end, style.joint * unit, colour)
        return image


@dataclass(frozen=True)
class Pointer:
    """Where the shaft points: its line drawn on, dotted, to a ring on the ground."""

    family: Family = STUDENT
    settings: DrawSettings = DRAW

    def draw(self, image: Image, start: FloatArray, end: FloatArray) -> Image:
        """Draw from ``start`` to ``end`` (2,) px on ``image`` (H, W, 3) in place and return it."""
        style, unit = self.settings, unit_px(image)
        if not (np.all(np.isfinite(start)) and np.all(np.isfinite(end))):
            return image
        # Far outside the picture nothing is seen: a line cut there keeps its dots at their distance.
        reach = float(np.hypot(*(end - start)))
        cut = start + (end - start) * min(1.0, 4.0 * max(image.shape[:2]) / max(reach, 1e-9))
        width = max(1.0, style.club * unit)
        for piece in dashes(start, cut, 0.2 * style.dash * unit, style.gap * unit):
            line(image, *piece, INK, width + 2 * style.casing * unit)
        for piece in dashes(start, cut, 0.2 * style.dash * unit, style.gap * unit):
            line(image, *piece, PAPER, width)
        disc(image, end, (1.5 * style.joint + style.casing) * unit, INK, max(2, round(1.3 * style.club * unit)))
        disc(image, end, 1.5 * style.joint * unit, self.family.strong, max(2, round(0.8 * style.club * unit)))
        return image


@dataclass(frozen=True)
class ClubTrail:
    """The way of the club head over the last moments, faint and thin, where it was measured or marked."""

    family: Family = STUDENT
    settings: DrawSettings = DRAW

    def draw(self, image: Image, moment: Moment) -> Image:
        """Draw on ``image`` (H, W, 3) in place and return it."""
        age, trail = moment.trail_age_s, moment.trail
        style = self.settings
        known = np.isfinite(trail[:, 0]) & (age <= style.trail_s)
        drawn = np.flatnonzero(known[:-1] & known[1:])
        if not len(drawn):
            return image
        fixed = fixed_points(np.where(known[:, None], trail, 0.0))
        colour = mixed(self.family.light, PAPER, 0.35)
        # Its older half is a hair's width: fading by width costs a tenth of fading by opacity.
        old = age[drawn + 1] > style.trail_s / 2
        for rows, width in ((drawn[old], 1.0), (drawn[~old], style.trail * unit_px(image))):
            if len(rows):
                segments(image, [fixed[i : i + 2] for i in rows], colour, width)
        return image
