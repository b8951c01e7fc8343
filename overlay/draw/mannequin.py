"""The drawn figure: a player of whom there is no picture, with volume, clothes, a cap and a club.

It is drawn from the joints alone, part over part from the far to the near side, so that an arm passes before or behind
the chest as it does in the swing. Lead and trail side differ in tone, and the lead hand wears the glove.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Sequence

import numpy as np

from overlay.arrays import AnyArray, FloatArray, Image
from overlay.draw.figure import ONE, SHIFT, ClubLine, Moment, blend, is_lead
from overlay.draw.palette import INK, PAPER, STUDENT, Colour, Family, mixed
from overlay.landmarks import INDEX
from overlay.settings.draw import DRAW, DrawSettings

Taper = tuple[FloatArray, FloatArray, float, float]
"""Two ends (2,) px and the half widths there, px: a round cone."""


@dataclass
class _Shape:
    """Some of a part in one colour."""

    colour: Colour
    tapers: list[Taper] = field(default_factory=list)
    flat: list[Taper] = field(default_factory=list)
    """Further round cones, without a light of their own."""
    hull: FloatArray | None = None
    """(N, 2) px that are filled between the tapers."""


@dataclass
class _Part:
    """What is drawn at once, with one dark rim that parts it from what lies behind."""

    depth: float
    shapes: list[_Shape]
    rim: bool = True
    hand: bool = False


@dataclass(frozen=True)
class FigureDrawing:
    """A drawn figure ready to be laid over pictures of one size.

    Attributes
    ----------
    place : rows and columns of the picture
    colour : (h, w, 3) uint8
    alpha : (h, w) uint8
    """

    place: tuple[slice, slice]
    colour: Image
    alpha: Image

    def lay(self, image: Image, opacity: float = 1.0) -> Image:
        """Lay it over ``image`` (H, W, 3), in place."""
        blend(image[self.place], self.colour, self.alpha, opacity)
        return image

    def mask(self, shape: tuple[int, int]) -> Image:
        """(H, W) uint8: its alpha in the whole picture."""
        whole = np.zeros(shape, np.uint8)
        whole[self.place] = self.alpha
        return whole


@dataclass(frozen=True)
class Mannequin:
    """Draws the figure in the colours of a family."""

    family: Family
    settings: DrawSettings = DRAW

    def drawing(self, shape: tuple[int, int], moment: Moment, *, club: bool = True) -> FigureDrawing | None:
        """The figure at a moment for pictures of (height, width); None where nothing of it is seen in them.

        ``club``: whether the club is part of it.
        """
        import cv2

        size = moment.torso_px
        if not (np.isfinite(size) and size >= 1):
            return None
        parts = self._parts(moment, float(size), club)
        box = _box(parts, shape)
        if box is None:
            return None
        left, top, right, bottom = box
        origin = np.array([left, top], np.float64)
        rim = mixed(self.family.dark, INK, 0.55)
        colour = np.asarray(
            cv2.merge([np.full((bottom - top, right - left), tone, np.uint8) for tone in rim]), np.uint8
        )
        alpha = np.zeros((bottom - top, right - left), np.uint8)
        edge = max(1.0, self.settings.figure_edge * size)
        outlines = _Outlines(parts, origin, edge)
        for part in parts:
            shapes = [outlines.of(shape) for shape in part.shapes]
            for rings in shapes:
                outline = rings.grown if part.rim else rings.full
                _fill(alpha, outline, 255)
                if part.rim:
                    _fill(colour, outline, rim)
            for rings in shapes:
                _fill(colour, rings.full, mixed(rings.colour, self.family.dark, 0.24))
            for level, (_, _, share) in enumerate(LIGHT):
                for rings in shapes:
                    _fill(colour, rings.lit[level], mixed(rings.colour, PAPER, share))
        return FigureDrawing((slice(top, bottom), slice(left, right)), _softened(colour, float(size)), alpha)

    def _parts(self, moment: Moment, size: float, club: bool) -> list[_Part]:
        f = self.family
        shirt, trousers = mixed(f.strong, PAPER, 0.06), mixed(f.dark, f.strong, 0.42)
        skin, shoe, cloth = mixed(f.pale, PAPER, 0.35), mixed(f.pale, f.dark, 0.12), mixed(PAPER, f.pale, 0.25)
        body = _Body(moment, size)
        parts: list[_Part] = []
        for side in ("left", "right"):
            lead = is_lead(side, moment.handedness)

            def tone(colour: Colour, lead: bool = lead) -> Colour:
                return mixed(colour, PAPER, 0.16) if lead else mixed(colour, f.dark, 0.38)

            parts += body.leg(side, tone(trousers), tone(shoe))
            parts += body.arm(side, tone(shirt), tone(skin))
            parts += body.hand(side, cloth if lead else tone(skin))
        parts += body.trunk(shirt, trousers)
        parts += body.head(skin, cloth)
        parts.sort(key=lambda part: -part.depth)
        if club:
            parts = body.club(mixed(PAPER, f.pale, 0.4), mixed(f.dark, INK, 0.4), parts)
        return parts


LIGHT: tuple[tuple[float, FloatArray, float], ...] = tuple(
    (scale, shift * np.array([-0.45, -0.9]), share)
    for scale, shift, share in ((0.80, 0.13, 0.0), (0.50, 0.26, 0.17), (0.24, 0.36, 0.34))
)
"""Steps from the shade to the light: half width left, shift towards the light in half widths, share of white."""


class _Body:
    """Joints of one moment and what is built upon them."""

    def __init__(self, moment: Moment, size: float) -> None:
        self._points = moment.points
        self._club = moment.club
        self._size = size
        depth = moment.depth
        if depth is None or not np.any(np.isfinite(depth)) or np.nanmax(np.abs(depth)) <= 0:
            # Nothing is known of depth: the trail side lies behind the trunk and the lead side before it.
            depth = np.zeros(len(INDEX))
            for name, i in INDEX.items():
                if name.startswith(("left", "right")):
                    depth[i] = -0.3 * size if is_lead(name, moment.handedness) else 0.3 * size
        self._depth = depth

    def _at(self, name: str) -> FloatArray:
        return np.asarray(self._points[INDEX[name]], np.float64)

    def _mean(self, *names: str) -> FloatArray:
        return np.asarray(np.mean([self._at(name) for name in names], axis=0), np.float64)

    def _far(self, *names: str) -> float:
        values = [float(self._depth[INDEX[name]]) for name in names]
        known = [value for value in values if math.isfinite(value)]
        return sum(known) / len(known) if known else 0.0

    def _taper(self, a: str, b: str, at_a: float, at_b: float, until: float = 1.0) -> list[Taper]:
        """The round cone between two joints, half widths in torso lengths; none where one of them is missing."""
        start, end = self._at(a), self._at(b)
        if not (np.all(np.isfinite(start)) and np.all(np.isfinite(end))):
            return []
        return [(start, start + until * (end - start), at_a * self._size, at_b * self._size)]

    def leg(self, side: str, trousers: Colour, shoe: Colour) -> list[_Part]:
        hip, knee, ankle, heel, toe = (f"{side}_{name}" for name in ("hip", "knee", "ankle", "heel", "foot_index"))
        foot = self._taper(heel, toe, 0.072, 0.052) + self._taper(ankle, heel, 0.06, 0.062)
        sole = np.stack([self._at(ankle), self._at(heel), self._at(heel) + 0.6 * (self._at(toe) - self._at(heel))])
        leg = self._taper(hip, knee, 0.155, 0.108) + self._taper(knee, ankle, 0.108, 0.072)
        parts = (
            [_Part(self._far(ankle, heel, toe), [_Shape(shoe, foot, hull=sole if np.all(np.isfinite(sole)) else None)])]
            if foot
            else []
        )
        return parts + ([_Part(self._far(hip, knee, ankle), [_Shape(trousers, leg)])] if leg else [])

    def arm(self, side: str, sleeve: Colour, skin: Colour) -> list[_Part]:
        shoulder, elbow, wrist = (f"{side}_{name}" for name in ("shoulder", "elbow", "wrist"))
        bare = self._taper(elbow, wrist, 0.068, 0.050) + self._taper(shoulder, elbow, 0.085, 0.068)
        cloth = self._taper(shoulder, elbow, 0.104, 0.088, until=0.68)
        shapes = ([_Shape(skin, bare)] if bare else []) + ([_Shape(sleeve, cloth)] if cloth else [])
        return [_Part(self._far(shoulder, elbow, wrist), shapes)] if shapes else []

    def hand(self, side: str, colour: Colour) -> list[_Part]:
        wrist = self._at(f"{side}_wrist")
        if not np.all(np.isfinite(wrist)):
            return []
        fingers = [self._at(f"{side}_{name}") for name in ("index", "pinky", "thumb")]
        fingers = [point for point in fingers if np.all(np.isfinite(point))]
        way = np.mean(fingers, axis=0) - wrist if fingers else np.zeros(2)
        reach = float(np.hypot(*way))
        end = wrist + way * min(1.0, 0.35 * self._size / max(reach, 1e-9))
        # A hand lies on its own forearm: a little nearer than the arm.
        depth = self._far(f"{side}_shoulder", f"{side}_elbow", f"{side}_wrist") - 0.02 * self._size
        return [_Part(depth, [_Shape(colour, [(wrist, end, 0.058 * self._size, 0.072 * self._size)])], hand=True)]

    def trunk(self, shirt: Colour, trousers: Colour) -> list[_Part]:
        s = self._size
        corners = [self._at(name) for name in ("left_shoulder", "right_shoulder", "right_hip", "left_hip")]
        if not np.all(np.isfinite(corners)):
            return []
        neck, waist = (corners[0] + corners[1]) / 2, (corners[2] + corners[3]) / 2
        belts = [corners[3] + 0.16 * (corners[0] - corners[3]), corners[2] + 0.16 * (corners[1] - corners[2])]
        belt = (belts[0] + belts[1]) / 2
        chest = _Shape(
            shirt,
            [
                # From the side shoulders and hips fall together: the trunk keeps a depth of its own.
                (neck + 0.1 * (waist - neck), belt, 0.20 * s, 0.17 * s),
            ],
            [
                (corners[0], corners[1], 0.125 * s, 0.125 * s),
                (corners[0], belts[0], 0.125 * s, 0.105 * s),
                (corners[1], belts[1], 0.125 * s, 0.105 * s),
            ],
            np.stack([corners[0], corners[1], belts[1], belts[0]]),
        )
        seat = [(corners[2], corners[3], 0.155 * s, 0.155 * s), (waist, belt, 0.17 * s, 0.16 * s)]
        depth = self._far("left_shoulder", "right_shoulder", "left_hip", "right_hip")
        return [_Part(depth, [chest]), _Part(depth + 1e-3, [_Shape(trousers, seat)])]

    def head(self, skin: Colour, cap: Colour) -> list[_Part]:
        s = self._size
        shoulders = self._mean("left_shoulder", "right_shoulder")
        ears = [ear for ear in (self._at("left_ear"), self._at("right_ear")) if np.all(np.isfinite(ear))]
        nose = self._at("nose")
        has_nose = bool(np.all(np.isfinite(nose)))
        if not ears and not has_nose:
            return []
        middle = np.mean(ears, axis=0) if ears else nose
        facing = (nose - middle) if has_nose and ears else np.zeros(2)
        centre = np.asarray(middle + 0.30 * facing, np.float64)
        up = _unit(centre - shoulders, np.array([0.0, -1.0]))
        mouth, eyes = self._mean("mouth_left", "mouth_right"), self._mean("left_eye", "right_eye")
        # The face's own upright, as far as it is seen; the neck's keeps it steady.
        up = _unit(up + 0.8 * _unit(eyes - mouth, np.zeros(2)), up)
        across = np.array([-up[1], up[0]])
        depth = self._far("nose", "left_ear", "right_ear")
        trunk = self._far("left_shoulder", "right_shoulder")
        r = 0.195 * s
        parts = []
        if np.all(np.isfinite(shoulders)):
            parts.append(_Part(max(depth, trunk) + 1.0, [_Shape(skin, [(shoulders, centre, 0.085 * s, 0.09 * s)])]))
        skull = centre + 0.045 * s * up
        chin = centre - 0.09 * s * up + 0.25 * facing
        parts.append(_Part(depth, [_Shape(skin, [(skull, chin, r, 0.72 * r)])]))
        # The cap: the upper half of the skull, and a peak that points where the face looks.
        angles = np.linspace(-0.5 * math.pi, 0.5 * math.pi, 13)
        dome = [skull + 1.06 * r * (math.cos(a) * up + math.sin(a) * across) for a in angles]
        parts.append(_Part(depth - 1e-3, [_Shape(cap, hull=np.stack([*dome, skull + 0.08 * r * up]))]))
        length = float(np.hypot(*facing))
        ahead = _unit(facing, -up)
        reach = min(1.5 * length, 0.42 * s) * ahead
        # As broad as the head where the face looks at the camera, thin where it is seen from the side.
        beside, turned = np.array([-ahead[1], ahead[0]]), abs(float(ahead @ up))
        half = 0.92 * r * turned
        root = skull + 0.12 * r * up + 0.45 * r * (1.0 - turned) * ahead
        tip = root + reach * (0.65 + 0.35 * turned)
        corners = [root - half * beside, root + half * beside, tip + 0.72 * half * beside, tip - 0.72 * half * beside]
        sides = [(corners[0], corners[3], 0.045 * s, 0.028 * s), (corners[1], corners[2], 0.045 * s, 0.028 * s)]
        hull = np.stack(corners) if half > 0.02 * s else None
        parts.append(_Part(depth - 5e-4, [_Shape(cap, flat=sides, hull=hull)]))
        return parts

    def club(self, shaft: Colour, grip_colour: Colour, parts: list[_Part]) -> list[_Part]:
        """The parts with the club laid under the hand that is drawn first."""
        club, s = self._club, self._size
        if club is None or not is_solid(club):
            return parts
        grip, end = np.asarray(club.grip, np.float64), np.asarray(club.head, np.float64)
        way = end - grip
        length = float(np.hypot(*way))
        if not length >= 1.0:
            return parts
        along = way / length
        across = np.array([-along[1], along[0]])
        if across[1] < 0:
            across = -across
        handle = grip + min(0.45 * length, 0.30 * s) * along
        heel = end - 0.02 * s * along
        made = [
            _Part(0.0, [_Shape(shaft, [(grip, end, 0.023 * s, 0.017 * s)])]),
            _Part(0.0, [_Shape(grip_colour, [(grip - 0.06 * s * along, handle, 0.026 * s, 0.022 * s)])], rim=False),
            _Part(0.0, [_Shape(shaft, [(heel, heel + 0.10 * s * across, 0.034 * s, 0.05 * s)])]),
        ]
        at = min((i for i, part in enumerate(parts) if part.hand), default=len(parts))
        return [*parts[:at], *made, *parts[at:]]


def is_solid(club: ClubLine) -> bool:
    """Whether the figure holds the club: where it was only bridged it is left to the dashed line."""
    return club.state in ("measured", "marked")


def _unit(vector: FloatArray, otherwise: FloatArray) -> FloatArray:
    length = float(np.hypot(*vector))
    return np.asarray(vector / length if length > 1e-6 else otherwise, np.float64)


def _box(parts: Sequence[_Part], shape: tuple[int, int]) -> tuple[int, int, int, int] | None:
    ends: list[FloatArray] = []
    for piece in (piece for part in parts for piece in part.shapes):
        for a, b, at_a, at_b in (*piece.tapers, *piece.flat):
            ends += [a - at_a, a + at_a, b - at_b, b + at_b]
        if piece.hull is not None:
            ends += list(piece.hull)
    if not ends:
        return None
    points = np.clip(np.array(ends), -1e5, 1e5)
    low, high = np.floor(points.min(axis=0)).astype(int) - 6, np.ceil(points.max(axis=0)).astype(int) + 7
    left, top = max(0, int(low[0])), max(0, int(low[1]))
    right, bottom = min(shape[1], int(high[0])), min(shape[0], int(high[1]))
    return (left, top, right, bottom) if right - left >= 2 and bottom - top >= 2 else None


@dataclass
class _Rings:
    """The outlines of one shape: polygons (P, 2) in OpenCV's fixed point."""

    colour: Colour
    grown: list[AnyArray]
    full: list[AnyArray]
    lit: list[list[AnyArray]]


CAP_POINTS = 11
"""Corners of each rounded end: the sides of the polygon stray from the circle by 1 % of its radius."""


class _Outlines:
    """All outlines of a figure, made at once: one call of numpy for a hundred of them."""

    def __init__(self, parts: Sequence[_Part], origin: FloatArray, edge: float) -> None:
        shapes = [shape for part in parts for shape in part.shapes]
        self._rings: dict[int, _Rings] = {}
        tapers = [taper for shape in shapes for taper in (*shape.tapers, *shape.flat)]
        ends = np.array([[a, b] for a, b, _, _ in tapers], np.float64).reshape(-1, 2, 2) - origin
        half = np.array([[at_a, at_b] for _, _, at_a, at_b in tapers], np.float64).reshape(-1, 2)
        grown, full = _capsules(ends, half + edge), _capsules(ends, half)
        lit = [_capsules(ends + half[..., None] * shift, half * scale) for scale, shift, _ in LIGHT]
        at = 0
        for shape in shapes:
            n, flat = len(shape.tapers), len(shape.flat)
            own = slice(at, at + n + flat)
            rings = _Rings(shape.colour, list(grown[own]), list(full[own]), [])
            for level, capsules in enumerate(lit):
                # What is flat takes its light from the shape's own tapers.
                rings.lit.append(list(capsules[own] if level == 0 else capsules[at : at + n]))
            if shape.hull is not None:
                self._with_hull(rings, shape.hull - origin, edge, alone=n == 0)
            at += n + flat
            self._rings[id(shape)] = rings

    @staticmethod
    def _with_hull(rings: _Rings, hull: FloatArray, edge: float, alone: bool) -> None:
        import cv2

        middle = hull.mean(axis=0)
        way = hull - middle
        reach = np.maximum(np.hypot(way[:, 0], way[:, 1]), 1e-9)[:, None]
        rings.full.append(cv2.convexHull(_fixed(hull)))
        rings.grown.append(cv2.convexHull(_fixed(hull + way / reach * edge)))
        for level, (scale, shift, _) in enumerate(LIGHT):
            if level == 0 or alone:
                rings.lit[level].append(
                    cv2.convexHull(
                        _fixed(middle + way * (0.92 if level == 0 else scale) + shift * 0.15 * float(reach.max()))
                    )
                )

    def of(self, shape: _Shape) -> _Rings:
        return self._rings[id(shape)]


def _capsules(ends: FloatArray, half: FloatArray) -> AnyArray:
    """(N, 2·CAP_POINTS, 2) int32: outlines of round cones between ends (N, 2, 2) with half widths (N, 2)."""
    way = ends[:, 1] - ends[:, 0]
    length = np.hypot(way[:, 0], way[:, 1])
    along = np.where(length[:, None] > 1e-6, way / np.maximum(length, 1e-6)[:, None], np.array([1.0, 0.0]))
    across = np.stack([-along[:, 1], along[:, 0]], axis=-1)
    angle = np.linspace(0.5 * math.pi, -0.5 * math.pi, CAP_POINTS)
    cap = np.cos(angle)[:, None] * along[:, None, :] + np.sin(angle)[:, None] * across[:, None, :]
    far = ends[:, None, 1] + half[:, 1, None, None] * cap
    near = ends[:, None, 0] - half[:, 0, None, None] * cap
    return _fixed(np.concatenate([far, near], axis=1))


def _fixed(points: AnyArray) -> AnyArray:
    return np.rint(np.clip(points, -4000.0, 12000.0) * ONE).astype(np.int32)


def _fill(image: Image, outlines: Sequence[AnyArray], colour: Colour | int) -> None:
    import cv2

    for outline in outlines:
        cv2.fillConvexPoly(image, outline, colour, cv2.LINE_AA, SHIFT)


def _softened(colour: Image, size: float) -> Image:
    """Round the steps of light off, less than the rims are wide."""
    import cv2

    reach = round(0.015 * size)
    return np.asarray(cv2.blur(colour, (2 * reach + 1, 2 * reach + 1)), np.uint8) if reach > 0 else colour


@dataclass(frozen=True)
class Silhouette:
    """The drawn figure as a layer, for a player of whom there is no picture."""

    family: Family = STUDENT
    opacity: float = 1.0
    club: bool = True

    def draw(self, image: Image, moment: Moment) -> Image:
        drawing = Mannequin(self.family).drawing((image.shape[0], image.shape[1]), moment, club=self.club)
        return image if drawing is None else drawing.lay(image, self.opacity)
