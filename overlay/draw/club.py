"""The club on the picture: the shaft as it is known, and the trail of its head."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import AnyArray, Image
from overlay.draw.figure import (
    FADE_STEPS,
    Moment,
    PathLayer,
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
    """The shaft: solid when measured, solid with a dot at the head when marked by a person, dashed when
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
            disc(image, head, (style.joint + style.casing) * unit, INK)
            disc(image, head, style.joint * unit, colour)
        return image


@dataclass(frozen=True)
class ClubTrail:
    """The way of the club head over the last moments, faint and thin, where it was measured or marked."""

    family: Family = STUDENT
    settings: DrawSettings = DRAW

    def layer(self, shape: tuple[int, int], moment: Moment) -> PathLayer | None:
        """The trail ready to be laid over pictures of one (height, width); None when there is nothing to draw."""
        style = self.settings
        age = moment.trail_age_s
        known = np.isfinite(moment.trail[:, 0]) & (age <= style.trail_s) if len(age) else np.zeros(0, bool)
        drawn = known[:-1] & known[1:] if len(known) else known
        if not np.any(drawn):
            return None
        height, width = shape
        thick = max(1.0, style.trail * min(shape) / 100.0)
        ends = moment.trail[known]
        low = np.floor(ends.min(axis=0) - thick - 2).astype(int)
        high = np.ceil(ends.max(axis=0) + thick + 2).astype(int) + 1
        left, top = max(0, int(low[0])), max(0, int(low[1]))
        right, bottom = min(width, int(high[0])), min(height, int(high[1]))
        if right - left < 2 or bottom - top < 2:
            return None
        opacity = np.zeros((bottom - top, right - left), np.uint8)
        fixed = fixed_points(np.where(known[:, None], moment.trail - np.array([left, top], np.float64), 0.0))
        strength = np.rint(np.clip(1 - age / style.trail_s, 0.0, 1.0) * FADE_STEPS).astype(int)
        groups: dict[int, list[AnyArray]] = {}
        for i in np.flatnonzero(drawn):
            groups.setdefault(int(strength[i + 1]), []).append(fixed[i : i + 2])
        # Weak first: where two strengths meet, the newer one stays.
        for level in sorted(groups):
            segments(opacity, groups[level], round(255 * style.trail_opacity * level / FADE_STEPS), thick)
        colour = np.empty((bottom - top, right - left, 3), np.uint8)
        colour[:] = mixed(self.family.light, PAPER, 0.35)
        return PathLayer((slice(top, bottom), slice(left, right)), colour, opacity)

    def draw(self, image: Image, moment: Moment) -> Image:
        layer = self.layer((image.shape[0], image.shape[1]), moment)
        return image if layer is None else layer.lay(image)
