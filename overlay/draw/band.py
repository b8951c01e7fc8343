"""How far the hands of the swings behind a template stray from its path: a faint band about it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import Image
from overlay.draw.figure import Moment, fill, fixed_points, segments
from overlay.draw.palette import REFERENCE, Family, mixed
from overlay.settings.draw import DRAW, DrawSettings

STEPS = 6
"""Widths the band is drawn in: each costs a call."""


@dataclass(frozen=True)
class HandBand:
    """A veil about the way of the hands, as wide as ``Moment.path_band_px`` says."""

    family: Family = REFERENCE
    settings: DrawSettings = DRAW

    def draw(self, image: Image, moment: Moment) -> Image:
        """Draw on ``image`` (H, W, 3) in place and return it."""
        path, width = moment.path, moment.path_band_px
        if len(width) != len(path) or len(path) < 2:
            return image
        known = np.isfinite(path[:, 0]) & np.isfinite(width) & (width > 0)
        drawn = np.flatnonzero(known[:-1] & known[1:])
        if not len(drawn):
            return image
        mask = np.zeros(image.shape[:2], np.uint8)
        fixed = fixed_points(np.where(known[:, None], path, 0.0))
        # A few widths, each a run of its own: a line has one width.
        level = np.rint(STEPS * width / float(width[known].max())).astype(int)
        for step in np.unique(level[drawn]):
            rows = drawn[level[drawn] == step]
            thick = max(1.0, 2.0 * float(width[known].max()) * step / STEPS)
            segments(mask, [fixed[i : i + 2] for i in rows], 255, thick)
        fill(image, mask, mixed(self.family.light, self.family.pale, 0.5), self.settings.band_opacity)
        return image
