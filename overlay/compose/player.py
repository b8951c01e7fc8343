"""One player in a pane: his picture in the common framing, and everything that is drawn on it at a time."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.compose.framing import Placement, inverted, transformed
from overlay.compose.guiding import GuideDrawing, stands_still
from overlay.compose.options import ComposeOptions
from overlay.compose.sources import KeptFrames, PersonMasks, Source, slow_factor
from overlay.data import Band, ClubTrack, Swing
from overlay.draw import (
    Club,
    ClubLine,
    ClubTrail,
    Family,
    FigureDrawing,
    Ghost,
    HandBand,
    HandPath,
    Mannequin,
    Moment,
    Pointer,
    Skeleton,
    Stack,
    person_alpha,
)
from overlay.draw.figure import PathLayer, blend, torso_px
from overlay.draw.mannequin import is_solid
from overlay.draw.palette import GROUND, PAPER, Colour, mixed
from overlay.kinematics import hand_path
from overlay.terms import PHASES

SMALL = 0.6
"""Below this scale a picture is reduced by area averaging: bilinear sampling would skip pixels and flicker."""


@dataclass(frozen=True)
class GhostPart:
    """What a ghost is made of.

    Attributes
    ----------
    alpha : (H, W) uint8
        Where it is.
    picture : (H, W, 3) or None
        What it is cut from; None for a drawn figure.
    figure : FigureDrawing or None
        The drawn figure; None where there is a picture, or nothing of the figure is seen.
    """

    alpha: Image
    picture: Image | None
    figure: FigureDrawing | None = None

    def lay(self, pane: Image, ghost: Ghost) -> Image:
        """Lay it over ``pane`` (H, W, 3), in place."""
        if self.figure is not None:
            return ghost.draw_figure(pane, self.figure)
        if self.picture is None:
            return ghost.draw_flat(pane, self.alpha)
        return ghost.draw(pane, self.picture, self.alpha)


class Player:
    """A swing brought into a pane.

    Parameters
    ----------
    swing : Swing
    source : Source
    family : Family
        His colours.
    place : Placement
        Of his picture in the pane.
    feet_y : float
        Pane row of the ankles, where the drawn ground begins.
    options : ComposeOptions
        What is drawn, and how.
    text_px : int
        Size of the names of the guide lines.
    band : Band or None
        How far the swings behind a template stray, for a veil about the hand path.
    written_px : (top, foot)
        Heights of what is written at the top and at the foot of the pane, which names of guide lines keep clear of.
    stills : bool
        Whether stills are made: then cut-outs kept at the positions alone are shown too.
    """

    def __init__(
        self,
        swing: Swing,
        source: Source,
        family: Family,
        place: Placement,
        feet_y: float,
        options: ComposeOptions | None = None,
        *,
        text_px: int = 13,
        band: Band | None = None,
        written_px: tuple[int, int] = (0, 0),
        stills: bool = False,
    ) -> None:
        options = options or ComposeOptions()
        style = options.style
        self.swing = swing
        self.source = source
        self.family = family
        self.place = place
        self.matrix = matrix = place.matrix
        self._options = options
        track = swing.pose
        self._points = transformed(track.points, matrix)
        self._guessed = track.filled | (track.visibility < style.guess_visibility)
        hands = hand_path(track)
        self._hands = transformed(hands.points, matrix)
        self._hands_guessed = hands.trust < style.guess_visibility
        self._time_s = track.time_s
        self._depth = track.depth * place.scale
        self._slow = slow_factor(swing)
        address_s = swing.positions.time("address")
        self._path_from_s = swing.start_s if address_s is None else address_s
        lengths = np.array([torso_px(points) for points in self._points])
        lengths = lengths[np.isfinite(lengths)]
        self._torso_px = float(np.median(lengths)) if len(lengths) else swing.torso_px * place.scale
        self._hand_path = HandPath(family, style)
        self._ghost_path = HandPath(family, replace(style, trace=style.trace * options.settings.ghost_path))
        self._hand_band = HandBand(family, style)
        self.band = band
        self._band_px = self._band_widths(band)
        self._stands_still = stands_still(swing.camera_motion)
        self._trail = ClubTrail(family, style)
        self._pointer = Pointer(family, style)
        self._heads, self._heads_s = self._measured_heads()
        self._path_layer: tuple[Moment, PathLayer | None] | None = None
        club = [Club(family, style)] if options.club else []
        self._ghost_club = Stack(tuple(club))
        kept = None if source.kept is None or source.clip_path is not None else source.kept
        frames = None if kept is None else KeptFrames(kept, swing, options.settings)
        self._kept = frames if frames is not None and (stills or frames.dense) else None
        # A drawn figure shows its bones by itself and has a face: thin lines, and no circle over the cap.
        self._drawn = source.clip_path is None and self._kept is None
        bones = Skeleton(family, style, width=style.over_figure, head=False) if self._drawn else Skeleton(family, style)
        self._layers = Stack((*club, *([bones] if options.skeleton else [])))
        fine = [Skeleton(family, style, width=style.over_ghost)] if options.skeleton else []
        self._fine_layers = Stack((*club, *fine))
        self._guides = GuideDrawing(swing, self._points, place, family, options, text_px, written_px)
        self._figure: tuple[Moment, FigureDrawing | None] | None = None
        self._mannequin = Mannequin(family, style)
        self._kept_pane: tuple[float, tuple[Image, Image] | None] | None = None
        self._ground = plain_ground(place.pane_size, feet_y)

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
        depth = self._depth[nearest]
        shown = (times >= self._path_from_s) & (times <= at + 1e-6)
        since_s = max(self._path_from_s, at - self._options.style.trail_s * self._slow)
        followed = (self._heads_s >= since_s) & (self._heads_s <= at + 1e-6)
        return Moment(
            points=points,
            guessed=self._guessed[nearest],
            handedness=self.swing.handedness,
            path=self._carried(self._hands[shown], times[shown], at),
            path_age_s=(at - times[shown]) / self._slow,
            path_guessed=self._hands_guessed[shown],
            club=self._club(at),
            trail=self._carried(self._heads[followed], self._heads_s[followed], at),
            trail_age_s=(at - self._heads_s[followed]) / self._slow,
            size_px=self._torso_px,
            time_s=at,
            depth=depth,
            path_band_px=self._band_px[shown] if len(self._band_px) else self._band_px,
        )

    def _band_widths(self, band: Band | None) -> FloatArray:
        """(T,) px of the pane: half width of the veil about the hands; empty without a band."""
        if band is None or not self._options.band:
            return np.zeros(0)
        at, widths = [], []
        for phase in PHASES:
            start, stop = self.swing.positions.time(phase.start), self.swing.positions.time(phase.end)
            spread = band.get(phase.name, "hands")
            if start is not None and stop is not None and spread is not None:
                at.append((start + stop) / 2)
                widths.append(self._options.style.band_sds * spread.sd * self._torso_px)
        return np.interp(self._time_s, at, widths) if at else np.zeros(0)

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
        """The pane without drawings (height, width, 3): the framed picture, or a figure on plain ground."""
        if picture is not None:
            return framed(picture, self.place, self.swing.pose.image_size)
        kept = self._kept_at(moment.time_s)
        if kept is None:
            figure = self._drawn_figure((self._ground.shape[0], self._ground.shape[1]), moment)
            return self._ground.copy() if figure is None else figure.lay(self._ground.copy())
        pane = self._ground.copy()
        blend(pane, kept[0], kept[1])
        return pane

    def _kept_at(self, time_s: float) -> tuple[Image, Image] | None:
        """The kept cut-out brought into the pane and where it is, (H, W, 3) and (H, W); None without one."""
        if self._kept is None:
            return None
        if self._kept_pane is None or self._kept_pane[0] != time_s:
            kept = self._kept.at(time_s)
            size = self.swing.pose.image_size
            pane = None if kept is None else tuple(framed(image, self.place, size, 0) for image in kept)
            self._kept_pane = time_s, None if pane is None else (pane[0], pane[1])
        return self._kept_pane[1]

    def _carried(self, path: FloatArray, seen_s: FloatArray, time_s: float) -> FloatArray:
        """Points (N, 2) px of the pane, each of its own frame, where they lie in the frame at ``time_s``."""
        motion = self.swing.camera_motion
        if self._stands_still or motion is None or not len(path):
            return path
        to_picture = inverted(self.matrix)
        picture = transformed(path, to_picture)
        address = np.stack([motion.to_reference(point, float(t)) for point, t in zip(picture, seen_s)])
        return transformed(motion.from_reference(address, time_s), self.matrix)

    def _measured_heads(self) -> tuple[FloatArray, FloatArray]:
        """(N, 2) px of the pane and (N,) s of the club head, NaN where it was neither measured nor marked."""
        club = self.swing.club
        if club is None or not (self._options.club and self._options.club_trail):
            return np.zeros((0, 2)), np.zeros(0)
        heads, seen_s = head_path(club)
        return transformed(heads, self.matrix), seen_s

    def annotate(
        self,
        pane: Image,
        moment: Moment,
        *,
        fine: bool = False,
        guides: frozenset[str] | None = None,
        paths: bool = True,
    ) -> Image:
        """Guide lines, paths, club and skeleton on the pane, in place; ``fine`` leaves more of a ghost to be seen.

        The guide lines lie as in the frame at the moment's time. ``guides`` draws others than the options choose;
        without ``paths`` neither the way of the hands nor that of the club head is drawn.
        """
        self._guides.lay(pane, moment.time_s, guides)
        layers = self._fine_layers if fine else self._layers
        held = _without_held_club(moment) if self._drawn else moment
        if not paths:
            return layers.draw(pane, held)
        # The path is the same in both panes of one moment: it is drawn once and laid over twice.
        if self._path_layer is None or self._path_layer[0] is not moment:
            path = self._hand_path.layer((pane.shape[0], pane.shape[1]), moment) if self._options.hand_path else None
            self._path_layer = moment, path
        self._hand_band.draw(pane, moment)
        self._trail.draw(pane, moment)
        if self._path_layer[1] is not None:
            self._path_layer[1].lay(pane)
        return layers.draw(pane, held)

    def point(self, pane: Image, moment: Moment) -> Image:
        """The shaft's line drawn on to the ground the ball lies on, with a ring where it meets it, in place."""
        ground_y, club = self._guides.ground_y(moment.time_s), moment.club
        if ground_y is None or club is None or not self._options.club:
            return pane
        upper, lower = sorted((np.array(club.grip), np.array(club.head)), key=lambda end: float(end[1]))
        down = lower - upper
        if not down[1] > 0.05 * float(np.hypot(*down)):
            # All but level: it meets the ground far outside the picture.
            return pane
        meets = lower + down * (ground_y - lower[1]) / down[1]
        return self._pointer.draw(pane, lower, meets)

    @property
    def max_side(self) -> int | None:
        """The longest side a picture needs to have for this pane; None for all there is."""
        if self.place.scale > 0.9:
            return None
        return int(np.ceil(max(self.swing.pose.image_size) * self.place.scale))

    def ghost_of(self, clean: Image, time_s: float, moment: Moment) -> GhostPart:
        """This player as a ghost: cut out of his pane without drawings where there is a mask, drawn otherwise."""
        masks = self.source.masks
        if self.source.clip_path is not None and masks is not None:
            alpha = self._cut_out(masks, clean, time_s)
            if alpha.any():
                return GhostPart(alpha, clean)
        kept = self._kept_at(moment.time_s)
        if kept is not None and kept[1].any():
            return GhostPart(kept[1], kept[0])
        return self.drawn_ghost((clean.shape[0], clean.shape[1]), moment)

    def drawn_ghost(self, shape: tuple[int, int], moment: Moment) -> GhostPart:
        """The drawn figure as a ghost for a pane of (height, width)."""
        figure = self._drawn_figure(shape, moment)
        return GhostPart(np.zeros(shape, np.uint8) if figure is None else figure.mask(shape), None, figure)

    def _drawn_figure(self, shape: tuple[int, int], moment: Moment) -> FigureDrawing | None:
        # The same in his own pane and in the ghost's, where nothing is carried: it is drawn once.
        if self._figure is None or self._figure[0] is not moment:
            self._figure = moment, self._mannequin.drawing(shape, moment, club=self._options.club)
        return self._figure[1]

    def annotate_ghost(self, pane: Image, moment: Moment, part: GhostPart) -> Image:
        """What goes with this player's ghost, in place: the way of his hands, and his club where it is not drawn."""
        self._hand_band.draw(pane, moment)
        if self._options.hand_path:
            self._ghost_path.draw(pane, moment)
        return self._ghost_club.draw(pane, _without_held_club(moment) if part.figure is not None else moment)

    def _cut_out(self, masks: PersonMasks, clean: Image, time_s: float) -> Image:
        mask = masks.at(time_s)
        width, height = self.swing.pose.image_size
        grow = np.array([width / mask.shape[1], height / mask.shape[0]])
        matrix = np.column_stack([self.matrix[:, :2] * grow, self.matrix[:, 2]])
        return person_alpha(mask, clean, matrix, self._options.settings)


def _without_held_club(moment: Moment) -> Moment:
    """The moment without the club, where a drawn figure holds it."""
    return moment if moment.club is None or not is_solid(moment.club) else replace(moment, club=None)


TRAIL_STEP_DEG = 6.0
"""A chord over so much of a circle strays from it by 0.14 % of its radius: nobody sees it."""

MOST_TURN_DEG = 120.0
"""The club turns less between two frames of 30 a second; beyond it the way round is not known."""


def head_path(club: ClubTrack) -> tuple[FloatArray, FloatArray]:
    """The way of the club head where it was measured or marked: (N, 2) px, NaN at breaks, and (N,) s.

    Between two measured frames the head goes round the grip, as the shaft turns: straight lines would show a club that
    moves a metre a frame as a polygon. Frames that were not measured break the way.
    """
    if not len(club.time_s):
        return np.zeros((0, 2)), np.zeros(0)
    scored = club.scored
    heads, seen_s = [], []
    for i in range(len(club.time_s)):
        if not scored[i]:
            heads.append(np.full((1, 2), np.nan))
            seen_s.append(club.time_s[i : i + 1])
            continue
        j = min(i + 1, len(club.time_s) - 1)
        turn = (club.angle_deg[j] - club.angle_deg[i] + 180.0) % 360.0 - 180.0
        joined = j > i and scored[j] and abs(turn) <= MOST_TURN_DEG
        share = np.arange(max(1, int(np.ceil(abs(turn) / TRAIL_STEP_DEG)))) if joined else np.zeros(1)
        share = share / len(share)
        angle = np.radians(club.angle_deg[i] + share * turn)
        length = club.length_px[i] + share * (club.length_px[j] - club.length_px[i])
        grip = club.grip[i] + share[:, None] * (club.grip[j] - club.grip[i])
        heads.append(grip + length[:, None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1))
        seen_s.append(club.time_s[i] + share * (club.time_s[j] - club.time_s[i]))
        if j > i and scored[j] and not joined:
            heads.append(np.full((1, 2), np.nan))
            seen_s.append(np.array([(club.time_s[i] + club.time_s[j]) / 2]))
    return np.concatenate(heads), np.concatenate(seen_s)


def framed(picture: Image, place: Placement, image_size: tuple[int, int], outside: Colour | int = GROUND) -> Image:
    """A picture brought into its pane; outside the picture lies plain ground.

    Parameters
    ----------
    picture : (H, W, 3) or (H, W)
        May have been reduced while it was read.
    place : Placement
        In pixels of the whole picture.
    image_size : (width, height) of the whole picture
    outside : Colour or int
        What lies beyond its edges.
    """
    import cv2

    height, width = picture.shape[:2]
    if (width, height) != image_size:
        x, y = width / image_size[0], height / image_size[1]
        place = replace(
            place,
            left=round(place.left * x),
            top=round(place.top * y),
            width=max(1, round(place.width * x)),
            height=max(1, round(place.height * y)),
        )
    left, top = max(0, place.left), max(0, place.top)
    right, bottom = min(width, place.left + place.width), min(height, place.top + place.height)
    if right <= left or bottom <= top:
        return np.full((place.pane_size[1], place.pane_size[0], *picture.shape[2:]), outside, np.uint8)
    part = picture[top:bottom, left:right]
    missing = (top - place.top, place.top + place.height - bottom, left - place.left, place.left + place.width - right)
    if any(missing):
        part = cv2.copyMakeBorder(part, *missing, cv2.BORDER_CONSTANT, value=outside)
    how = cv2.INTER_AREA if place.scale < SMALL else cv2.INTER_LINEAR
    pane = cv2.resize(part, place.pane_size, interpolation=how)
    return cv2.flip(pane, 1) if place.flip else pane


def plain_ground(pane_size: tuple[int, int], feet_y: float) -> Image:
    """A quiet background for a drawn figure: wall and floor in two greys."""
    width, height = pane_size
    image = np.empty((height, width, 3), np.uint8)
    image[:] = mixed(GROUND, PAPER, 0.06)
    floor = int(np.clip(feet_y - 0.03 * height, 0, height))
    image[floor:] = mixed(GROUND, PAPER, 0.16)
    image[floor : floor + 2] = mixed(GROUND, PAPER, 0.3)
    return image
