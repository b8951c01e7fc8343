"""The ghost: a figure cut out of one picture, tinted, laid translucent over another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.draw.figure import unit_px
from overlay.draw.palette import REFERENCE, Family, tint_table
from overlay.errors import DataError
from overlay.settings.compose import COMPOSE, ComposeSettings
from overlay.settings.draw import DRAW, DrawSettings


@dataclass(frozen=True)
class SoftMask:
    """A person mask that follows the edges of its picture: alpha = slope · brightness + level, per mask pixel.

    Attributes
    ----------
    slope, level : (h, w) float32
        At the mask's own resolution; both are smooth, so they can be enlarged without steps.
    """

    slope: FloatArray
    level: FloatArray


def soft_mask(mask: Image, picture: Image, settings: ComposeSettings = COMPOSE) -> SoftMask:
    """Fit a low-resolution person mask to the edges of its picture.

    Parameters
    ----------
    mask : (h, w) uint8
        0 background … 255 person, covering the whole picture.
    picture : (H, W, 3) uint8
    settings : ComposeSettings

    Notes
    -----
    Fast guided filter (He & Sun 2015, "Fast Guided Filter", arXiv 1505.00996): the linear model is solved at the
    mask's resolution and applied at the picture's.

    Raises
    ------
    DataError
        The mask is not two-dimensional or empty.
    """
    import cv2

    if mask.ndim != 2 or mask.size == 0:
        raise DataError(f"A person mask has shape {mask.shape}.", "Give a picture with one channel.")
    height, width = mask.shape
    small = cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA)
    guide = cv2.cvtColor(small, cv2.COLOR_RGB2GRAY).astype(np.float32) / 255
    alpha = mask.astype(np.float32) / 255
    reach = max(1, round(settings.guide_radius * max(height, width)))
    window = (2 * reach + 1, 2 * reach + 1)

    def mean(values: FloatArray) -> FloatArray:
        return cv2.boxFilter(values, -1, window, borderType=cv2.BORDER_REFLECT)

    mean_guide, mean_alpha = mean(guide), mean(alpha)
    variance = mean(guide * guide) - mean_guide * mean_guide
    covariance = mean(guide * alpha) - mean_guide * mean_alpha
    slope = covariance / (variance + settings.guide_eps)
    level = mean_alpha - slope * mean_guide
    return SoftMask(mean(slope), mean(level))


@dataclass(frozen=True)
class Ghost:
    """Lays a tinted, translucent figure over a picture, with a thin outline in its strong colour."""

    family: Family = REFERENCE
    opacity: float | None = None
    settings: DrawSettings = DRAW

    def draw(self, image: Image, picture: Image, alpha: Image) -> Image:
        """Draw on ``image`` in place.

        Parameters
        ----------
        image : (H, W, 3) uint8
            Drawn on.
        picture : (H, W, 3) uint8
            The picture that holds the figure, already brought to the same framing.
        alpha : (H, W) uint8
            Where the figure is; see ``alpha_of``.
        """
        import cv2

        x, y, width, height = cv2.boundingRect(alpha)
        if width == 0 or height == 0:
            return image
        part = (slice(y, y + height), slice(x, x + width))
        grey = cv2.cvtColor(np.ascontiguousarray(picture[part]), cv2.COLOR_RGB2GRAY)
        tinted = cv2.LUT(cv2.merge((grey, grey, grey)), tint_table(self.family, self.settings.ghost_tint))
        opacity = self.settings.ghost_opacity if self.opacity is None else self.opacity
        weight = cv2.multiply(alpha[part], opacity / 255, dtype=cv2.CV_32F)
        under = np.ascontiguousarray(image[part])
        image[part] = cv2.blendLinear(tinted, under, weight, 1 - weight)
        self._outline(image, alpha[part], x, y)
        return image

    def _outline(self, image: Image, alpha: Image, x: int, y: int) -> None:
        import cv2

        inside = cv2.threshold(alpha, 127, 255, cv2.THRESH_BINARY)[1]
        contours, _ = cv2.findContours(inside, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE, offset=(x, y))
        # Specks of a few pixels are mistakes of the mask, not limbs.
        least = (4 * unit_px(image)) ** 2
        large = [contour for contour in contours if cv2.contourArea(contour) > least]
        width = max(1, round(self.settings.ghost_edge * unit_px(image)))
        cv2.drawContours(image, large, -1, self.family.strong, width, cv2.LINE_AA)


def alpha_of(soft: SoftMask, picture: Image, matrix: FloatArray, settings: ComposeSettings = COMPOSE) -> Image:
    """The mask at the resolution and framing of a pane, (H, W) uint8.

    Parameters
    ----------
    soft : SoftMask
        Fitted to the unframed picture.
    picture : (H, W, 3) uint8
        The picture as framed in the pane.
    matrix : (2, 3) float
        Mask pixels → pane pixels.
    """
    import cv2

    height, width = picture.shape[:2]
    size = (width, height)
    slope = cv2.warpAffine(soft.slope, matrix, size, flags=cv2.INTER_LINEAR, borderValue=0)
    level = cv2.warpAffine(soft.level, matrix, size, flags=cv2.INTER_LINEAR, borderValue=0)
    grey = cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)
    alpha = cv2.multiply(slope, grey, scale=1 / 255, dtype=cv2.CV_32F)
    alpha += level
    low, high = settings.mask_soft_low, settings.mask_soft_high
    return cv2.convertScaleAbs(np.clip(alpha - low, 0.0, high - low), alpha=255 / (high - low))
