"""One player in a pane: his picture in the common framing, and everything that is drawn on it at a time."""

from __future__ import annotations

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.compose.framing import transformed
from overlay.compose.sources import PersonMasks, Source
from overlay.data import Swing
from overlay.draw import Club, ClubLine, Family, HandPath, Moment, Silhouette, Skeleton, Stack, alpha_of, soft_mask
from overlay.draw.figure import figure_mask, torso_px
from overlay.draw.palette import GROUND, PAPER, mixed
from overlay.kinematics import hand_path
from overlay.settings.compose import COMPOSE, ComposeSettings
from overlay.settings.draw import DRAW, DrawSettings

SMALL = 0.6
"""Below this scale a picture is first reduced by area averaging: bilinear sampling alone would flicker."""


class Player:
    """A swing brought into a pane.

    Parameters
    ----------
    swing : Swing
    source : Source
    family : Family
        His colours.
    matrix : (2, 3) float
        Picture pixels → pane pixels.
    pane_size : (width, height)
    feet_y : float
        Pane row of the ankles, where the drawn ground begins.
    """

    def __init__(
        self,
        swing: Swing,
        source: Source,
        family: Family,
        matrix: FloatArray,
        pane_size: tuple[int, int],
        feet_y: float,
        *,
        style: DrawSettings = DRAW,
        settings: ComposeSettings = COMPOSE,
    ) -> None:
        self.swing = swing
        self.source = source
        self.family = family
        self.matrix = matrix
        self.pane_size = pane_size
        self._settings = settings
        track = swing.pose
        self._points = transformed(track.points, matrix)
        self._guessed = track.filled | (track.visibility < style.guess_visibility)
        self._hands = transformed(hand_path(track).points, matrix)
        self._time_s = track.time_s
        self._slow = swing.slow_factor
        if swing.clip is None or swing.clip.capture_rate is None:
            self._slow = max(1.0, float(swing.quality.get("slow_factor_estimate", 1.0)))
        address_s = swing.positions.time("address")
        self._path_from_s = swing.start_s if address_s is None else address_s
        self._torso_px = float(np.nanmedian([torso_px(points) for points in self._points]))
        self._layers = Stack((HandPath(family, style), Club(family, style), Skeleton(family, style)))
        self._silhouette = Silhouette(family)
        self._ground = plain_ground(pane_size, feet_y)

    def moment(self, time_s: float) -> Moment:
        """The player at a time of his own clock, interpolated between the frames of the track."""
        times = self._time_s
        at = float(np.clip(time_s, times[0], times[-1]))
        after = int(np.clip(np.searchsorted(times, at), 1, max(1, len(times) - 1))) if len(times) > 1 else 0
        before = max(0, after - 1)
        span = times[after] - times[before]
        share = 0.0 if span <= 0 else (at - times[before]) / span
        nearest = before if share < 0.5 else after
        if share < 1e-3 or share > 1 - 1e-3:
            points = self._points[nearest]
        else:
            points = self._points[before] + share * (self._points[after] - self._points[before])
        shown = (times >= self._path_from_s) & (times <= at + 1e-6)
        return Moment(
            points=points,
            guessed=self._guessed[nearest],
            handedness=self.swing.handedness,
            path=self._hands[shown],
            path_age_s=(at - times[shown]) / self._slow,
            club=self._club(at),
        )

    def _club(self, time_s: float) -> ClubLine | None:
        club = self.swing.club
        if club is None or not len(club.time_s):
            return None
        i = int(np.argmin(np.abs(club.time_s - time_s)))
        if not (np.isfinite(club.angle_deg[i]) and np.isfinite(club.length_px[i])):
            return None
        angle = np.radians(club.angle_deg[i])
        head = club.grip[i] + club.length_px[i] * np.array([np.cos(angle), np.sin(angle)])
        grip, head = transformed(np.array([club.grip[i], head]), self.matrix)
        return ClubLine((float(grip[0]), float(grip[1])), (float(head[0]), float(head[1])), club.state[i])

    def clean(self, picture: Image | None, moment: Moment) -> Image:
        """The pane without drawings (height, width, 3): the framed picture, or a drawn figure on plain ground."""
        if picture is None:
            return self._silhouette.draw(self._ground.copy(), moment)
        return framed(picture, self.matrix, self.pane_size)

    def annotate(self, pane: Image, moment: Moment) -> Image:
        """Hand path, club and skeleton on the pane, in place."""
        return self._layers.draw(pane, moment)

    def alpha(self, picture: Image | None, pane: Image, time_s: float, moment: Moment) -> Image:
        """Where the player is in his pane, (height, width) uint8."""
        masks = self.source.masks
        if picture is not None and masks is not None:
            return self._cut_out(masks, picture, pane, time_s)
        return figure_mask((pane.shape[0], pane.shape[1]), moment.points, size_px=self._torso_px)

    def _cut_out(self, masks: PersonMasks, picture: Image, pane: Image, time_s: float) -> Image:
        mask = masks.at(time_s)
        soft = soft_mask(mask, picture, self._settings)
        scale = np.array([picture.shape[1] / mask.shape[1], picture.shape[0] / mask.shape[0]])
        # Pixel centres: mask pixel i covers the picture from i·scale to (i + 1)·scale.
        matrix = self.matrix.copy()
        matrix[:, :2] = self.matrix[:, :2] * scale
        matrix[:, 2] = self.matrix[:, :2] @ (0.5 * scale - 0.5) + self.matrix[:, 2]
        return alpha_of(soft, pane, matrix, self._settings)


def framed(picture: Image, matrix: FloatArray, pane_size: tuple[int, int]) -> Image:
    """A picture brought into a pane by a (2, 3) matrix; outside the picture lies plain ground."""
    import cv2

    scale = abs(float(matrix[1, 1]))
    matrix = np.asarray(matrix, np.float64)
    if scale < SMALL:
        height, width = picture.shape[:2]
        size = (max(1, round(width * scale / 0.8)), max(1, round(height * scale / 0.8)))
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        grow = np.array([width / size[0], height / size[1]])
        shift = matrix[:, :2] @ (0.5 * grow - 0.5)
        matrix = np.column_stack([matrix[:, :2] * grow, matrix[:, 2] + shift])
    # Enlarging by cubic keeps small clips crisp; elsewhere bilinear is enough and twice as fast.
    flags = cv2.INTER_CUBIC if scale > 1.25 else cv2.INTER_LINEAR
    return cv2.warpAffine(picture, matrix, pane_size, flags=flags, borderMode=cv2.BORDER_CONSTANT, borderValue=GROUND)


def plain_ground(pane_size: tuple[int, int], feet_y: float) -> Image:
    """A quiet background for a drawn figure: wall and floor in two greys."""
    width, height = pane_size
    image = np.empty((height, width, 3), np.uint8)
    image[:] = mixed(GROUND, PAPER, 0.06)
    floor = int(np.clip(feet_y - 0.03 * height, 0, height))
    image[floor:] = mixed(GROUND, PAPER, 0.16)
    image[floor : floor + 2] = mixed(GROUND, PAPER, 0.3)
    return image
