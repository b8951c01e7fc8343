"""The ghost: a figure cut out of one picture, tinted, laid translucent over another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.draw.figure import blend, fill, unit_px
from overlay.draw.mannequin import FigureDrawing
from overlay.draw.palette import REFERENCE, Family, tint_table
from overlay.errors import DataError
from overlay.settings.compose import COMPOSE, ComposeSettings
from overlay.settings.draw import DRAW, DrawSettings


def person_alpha(mask: Image, pane: Image, matrix: FloatArray, settings: ComposeSettings = COMPOSE) -> Image:
    """Where the person is in a pane, fitted to the edges in it, (H, W) uint8.

    Parameters
    ----------
    mask : (h, w) uint8
        0 background … 255 person, of low resolution.
    pane : (H, W, 3) uint8
        The framed picture.
    matrix : (2, 3) float
        Mask → pane, where a pixel reaches from its number to the next.
    settings : ComposeSettings

    Notes
    -----
    Fast guided filter (He & Sun 2015, arXiv 1505.00996): in each small window alpha is a linear function of the
    picture's brightness. The two coefficients are found on half the pane's resolution, around the person only, and
    applied on the whole resolution.

    Raises
    ------
    DataError
        The mask is not two-dimensional or empty.
    """
    import cv2

    if mask.ndim != 2 or mask.size == 0:
        raise DataError(f"A person mask has shape {mask.shape}.", "Give a picture with one channel.")
    height, width = pane.shape[:2]
    result = np.zeros((height, width), np.uint8)
    x, y, box_width, box_height = cv2.boundingRect(cv2.threshold(mask, 25, 255, cv2.THRESH_BINARY)[1])
    if box_width == 0 or box_height == 0:
        return result
    reach = max(1, round(settings.guide_radius * height / 2))
    corners = np.array([[x, y], [x + box_width, y + box_height]], np.float64) @ matrix[:, :2].T + matrix[:, 2]
    low = np.floor(corners.min(axis=0)).astype(int) - 4 * reach
    high = np.ceil(corners.max(axis=0)).astype(int) + 4 * reach
    left, top = max(0, int(low[0])), max(0, int(low[1]))
    right, bottom = min(width, int(high[0])), min(height, int(high[1]))
    if right - left < 2 or bottom - top < 2:
        return result
    size = (right - left, bottom - top)
    half = ((size[0] + 1) // 2, (size[1] + 1) // 2)
    grey = cv2.cvtColor(np.ascontiguousarray(pane[top:bottom, left:right]), cv2.COLOR_RGB2GRAY)
    guide = cv2.resize(grey, half, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    shrink = np.array([half[0] / size[0], half[1] / size[1]])[:, None]
    to_half = np.column_stack([matrix[:, :2], matrix[:, 2] - (left, top)]) * shrink
    # OpenCV counts from pixel centres.
    to_half[:, 2] += to_half[:, :2] @ (0.5, 0.5) - 0.5
    alpha = cv2.warpAffine(mask, to_half, half, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    alpha = alpha.astype(np.float32) / 255
    window = (2 * reach + 1, 2 * reach + 1)

    def mean(values: FloatArray) -> FloatArray:
        return cv2.boxFilter(values, -1, window, borderType=cv2.BORDER_REFLECT)

    mean_guide, mean_alpha = mean(guide), mean(alpha)
    variance = mean(guide * guide) - mean_guide * mean_guide
    covariance = mean(guide * alpha) - mean_guide * mean_alpha
    slope = covariance / (variance + settings.guide_eps)
    level = mean_alpha - slope * mean_guide
    slope = cv2.resize(mean(slope), size, interpolation=cv2.INTER_LINEAR)
    level = cv2.resize(mean(level), size, interpolation=cv2.INTER_LINEAR)
    fitted = cv2.multiply(slope, grey, scale=1 / 255, dtype=cv2.CV_32F)
    fitted += level
    least, most = settings.mask_soft_low, settings.mask_soft_high
    fitted = np.clip(fitted - least, 0.0, most - least)
    result[top:bottom, left:right] = cv2.convertScaleAbs(fitted, alpha=255 / (most - least))
    return result


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
            Where the figure is; see ``person_alpha``.
        """
        import cv2

        x, y, width, height = cv2.boundingRect(alpha)
        if width == 0 or height == 0:
            return image
        part = (slice(y, y + height), slice(x, x + width))
        grey = cv2.cvtColor(np.ascontiguousarray(picture[part]), cv2.COLOR_RGB2GRAY)
        tinted = cv2.LUT(cv2.merge((grey, grey, grey)), tint_table(self.family, self.settings.ghost_tint))
        opacity = self.settings.ghost_opacity if self.opacity is None else self.opacity
        blend(image[part], tinted, alpha[part], opacity)
        self._outline(image, alpha[part], x, y)
        return image

    def draw_flat(self, image: Image, alpha: Image) -> Image:
        """As ``draw`` for a figure of which there is no picture: one even colour."""
        import cv2

        x, y, width, height = cv2.boundingRect(alpha)
        if width == 0 or height == 0:
            return image
        opacity = self.settings.ghost_opacity if self.opacity is None else self.opacity
        fill(image, alpha, self.family.strong, 0.8 * opacity)
        self._outline(image, alpha[y : y + height, x : x + width], x, y)
        return image

    def draw_figure(self, image: Image, figure: FigureDrawing) -> Image:
        """As ``draw`` for a drawn figure, whose own light and shade are kept."""
        opacity = self.settings.figure_opacity if self.opacity is None else self.opacity
        figure.lay(image, opacity)
        rows, columns = figure.place
        self._outline(image, figure.alpha, columns.start, rows.start)
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
