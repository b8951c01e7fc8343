"""Layers that draw one player on a picture: skeleton, hand path, club, filled figure.

Each layer holds only its style. ``draw(image, moment)`` changes ``image`` (H, W, 3) RGB in place and returns it,
so layers stack in any order. All lengths come from ``unit``, 1/100 of the picture's shorter side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal, Protocol, Sequence

import numpy as np

from overlay.arrays import AnyArray, BoolArray, FloatArray, Image
from overlay.draw.palette import INK, STUDENT, Colour, Family
from overlay.errors import DataError
from overlay.landmarks import EDGES, INDEX, N_LANDMARKS
from overlay.settings.draw import DRAW, DrawSettings
from overlay.terms import Handedness

SHIFT = 4
ONE = 1 << SHIFT
"""OpenCV draws at 1/16 px with this shift: without it lines jitter from frame to frame."""

ClubLook = Literal["measured", "marked", "interpolated", "hidden"]


@dataclass(frozen=True)
class ClubLine:
    """The shaft at an instant: two ends in px and how it is known."""

    grip: tuple[float, float]
    head: tuple[float, float]
    state: ClubLook


@dataclass(frozen=True)
class Moment:
    """One player at one instant, in pixels of the picture that is drawn on.

    Attributes
    ----------
    points : (33, 2) float, NaN where missing
    guessed : (33,) bool
        Filled in or hardly visible: drawn hollow and dashed.
    handedness : "right" or "left"
    path : (N, 2) float
        Where the hands were, oldest first, NaN breaks the line.
    path_age_s : (N,) float
        Real seconds ago, ≥ 0.
    path_guessed : (N,) bool
        Where the hands were hardly seen: drawn thin. Empty: nowhere.
    club : ClubLine or None
    trail : (N, 2) float
        Where the club head was measured, oldest first, NaN breaks the line.
    trail_age_s : (N,) float
        Real seconds ago, ≥ 0.
    size_px : float or None
        The player's torso length, by which head and limbs are sized. None: as it looks at this instant, which
        shrinks when he bends towards the camera.
    time_s : float
        On the player's own clock, for what moves with the camera; NaN when not told.
    """

    points: FloatArray
    guessed: BoolArray
    handedness: Handedness
    path: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
    path_age_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    path_guessed: BoolArray = field(default_factory=lambda: np.zeros(0, bool))
    club: ClubLine | None = None
    trail: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
    trail_age_s: FloatArray = field(default_factory=lambda: np.zeros(0))
    size_px: float | None = None
    time_s: float = math.nan
    depth: FloatArray | None = None
    """(33,) float: how far from the camera, px, towards it is negative; None or NaN where not known."""
    path_band_px: FloatArray = field(default_factory=lambda: np.zeros(0))
    """(N,) float: half width of a band about the path; empty without one."""

    @property
    def torso_px(self) -> float:
        """The length to size by, px; NaN when not known."""
        return torso_px(self.points) if self.size_px is None else self.size_px

    def __post_init__(self) -> None:
        if self.points.shape != (N_LANDMARKS, 2) or self.guessed.shape != (N_LANDMARKS,):
            raise DataError(
                f"A figure has {self.points.shape} points and {self.guessed.shape} marks.",
                f"Give ({N_LANDMARKS}, 2) points and ({N_LANDMARKS},) marks.",
            )
        if len(self.path) != len(self.path_age_s):
            raise DataError("The hand path and its ages differ in length.", "Give one age for each point.")
        if len(self.trail) != len(self.trail_age_s):
            raise DataError("The club's trail and its ages differ in length.", "Give one age for each point.")


class Layer(Protocol):
    """Anything that can be drawn on a frame."""

    def draw(self, image: Image, moment: Moment) -> Image:
        """Draw in place on ``image`` (H, W, 3) RGB and return it."""


@dataclass(frozen=True)
class Stack:
    """Several layers as one, the first at the bottom."""

    layers: Sequence[Layer]

    def draw(self, image: Image, moment: Moment) -> Image:
        for layer in self.layers:
            layer.draw(image, moment)
        return image


def unit_px(image: Image) -> float:
    """The drawing unit: 1/100 of the shorter side."""
    return min(image.shape[:2]) / 100.0


def _fixed(point: AnyArray) -> tuple[int, int]:
    # Far outside the picture is cut to a number OpenCV's fixed point can hold. Plain numbers: this runs for every
    # end of every line, and numpy's own clip costs ten times as much on two values.
    x, y = float(point[0]), float(point[1])
    return round(min(max(x, -4000.0), 12000.0) * ONE), round(min(max(y, -4000.0), 12000.0) * ONE)


def _known(point: AnyArray) -> bool:
    return math.isfinite(point[0]) and math.isfinite(point[1])


def line(image: Image, start: AnyArray, end: AnyArray, colour: Colour | int, width_px: float) -> None:
    """One smooth line with round ends. Nothing is drawn when an end is missing."""
    import cv2

    if _known(start) and _known(end):
        cv2.line(image, _fixed(start), _fixed(end), colour, max(1, round(width_px)), cv2.LINE_AA, SHIFT)


def fixed_points(points: AnyArray) -> AnyArray:
    """(N, 2) finite points as OpenCV's fixed point numbers, int32."""
    return np.rint(np.clip(points, -4000.0, 12000.0) * ONE).astype(np.int32)


def segments(image: Image, pieces: Sequence[AnyArray], colour: Colour | int, width_px: float) -> None:
    """Several smooth lines of one look, each (N, 2) from ``fixed_points``, in one call."""
    import cv2

    cv2.polylines(image, pieces, False, colour, max(1, round(width_px)), cv2.LINE_AA, SHIFT)


def dashes(start: AnyArray, end: AnyArray, dash_px: float, gap_px: float) -> list[tuple[FloatArray, FloatArray]]:
    """The drawn pieces of a dashed line; starts and ends with a dash. Both lengths are stretched alike to fit."""
    start, end = np.asarray(start, np.float64), np.asarray(end, np.float64)
    length = float(np.linalg.norm(end - start))
    if not math.isfinite(length):
        return []
    n = max(1, round((length + gap_px) / (dash_px + gap_px)))
    stretch = length / (n * dash_px + (n - 1) * gap_px) if length > 0 else 0.0
    along = (end - start) / length if length > 0 else np.zeros(2)
    first = np.arange(n) * (dash_px + gap_px) * stretch
    return [(start + along * at, start + along * (at + dash_px * stretch)) for at in first]


def disc(image: Image, centre: AnyArray, radius_px: float, colour: Colour | int, width_px: int = -1) -> None:
    """A smooth filled circle, or a ring of ``width_px``."""
    import cv2

    if _known(centre):
        cv2.circle(image, _fixed(centre), round(radius_px * ONE), colour, width_px, cv2.LINE_AA, SHIFT)


def is_lead(joint: str, handedness: Handedness) -> bool:
    """Whether a sided landmark is on the lead side."""
    return joint.startswith("left") == (handedness == "right")


HEAD = ("nose", "left_ear", "right_ear")
JOINTS = tuple(name for name in INDEX if name.split("_")[-1] in ("shoulder", "elbow", "wrist", "hip", "knee", "ankle"))


def torso_px(points: FloatArray) -> float:
    """Shoulder midpoint to hip midpoint, px; NaN when a joint is missing."""
    shoulders = (points[INDEX["left_shoulder"]] + points[INDEX["right_shoulder"]]) / 2
    hips = (points[INDEX["left_hip"]] + points[INDEX["right_hip"]]) / 2
    return float(np.linalg.norm(shoulders - hips))


def head_circle(points: FloatArray, size_px: float) -> tuple[FloatArray, float] | None:
    """Centre and radius of the head, from nose and ears; None when none of them is known."""
    known = points[[INDEX[name] for name in HEAD]]
    known = known[np.isfinite(known[:, 0])]
    if not len(known) or not np.isfinite(size_px):
        return None
    # Half a head's height (0.13 of stature, Drillis & Contini) is 0.23 of the shoulder–hip length of 0.288.
    return np.asarray(known.mean(axis=0), np.float64), 0.23 * size_px


def _ranked(handedness: Handedness) -> tuple[tuple[int, int, int], ...]:
    """Rank, joint, joint of every bone: 0 trail side, 1 across the body, 2 lead side; in that order."""
    rows = []
    for a, b in EDGES:
        sides = is_lead(a, handedness), is_lead(b, handedness)
        rows.append((1 if sides[0] != sides[1] else 2 if sides[0] else 0, INDEX[a], INDEX[b]))
    return tuple(sorted(rows))


RANKED: dict[Handedness, tuple[tuple[int, int, int], ...]] = {"right": _ranked("right"), "left": _ranked("left")}


@dataclass(frozen=True)
class Skeleton:
    """Bones and joints. Lead side: strong colour, full width. Trail side: light colour, thinner.

    A bone with a guessed end is dashed, a guessed joint hollow, a missing joint is not drawn.
    """

    family: Family = STUDENT
    settings: DrawSettings = DRAW
    width: float = 1.0
    """Factor on all widths."""
    head: bool = True

    def draw(self, image: Image, moment: Moment) -> Image:
        unit = unit_px(image) * self.width
        style = self.settings
        points, guessed = moment.points, moment.guessed
        # Trail first, so that the lead side lies on top; the cross-bones lie between. Bones of one look are one call.
        groups: dict[tuple[int, bool], list[AnyArray]] = {}
        known: BoolArray = np.isfinite(points[:, 0]) & np.isfinite(points[:, 1])
        fixed = fixed_points(np.where(known[:, None], points, 0.0))
        for rank, i, j in RANKED[moment.handedness]:
            if not (known[i] and known[j]):
                continue
            guess = bool(guessed[i] or guessed[j])
            pieces = groups.setdefault((rank, guess), [])
            if guess:
                pieces.extend(
                    fixed_points(np.array(ends))
                    for ends in dashes(points[i], points[j], style.dash * unit, style.gap * unit)
                )
            else:
                pieces.append(fixed[[i, j]])
        casing = 2 * style.casing * unit
        looks = [
            (pieces, rank, max(LEAST_BONE_PX, (style.thin_bone if rank == 0 or guess else style.bone) * unit))
            for (rank, guess), pieces in groups.items()
        ]
        for pieces, _, width in looks:
            segments(image, pieces, INK, width + min(casing, width))
        for pieces, rank, width in looks:
            segments(image, pieces, self.family.light if rank == 0 else self.family.strong, width)
        if self.head:
            circle = head_circle(points, moment.torso_px)
            if circle is not None:
                width = max(LEAST_BONE_PX, style.thin_bone * unit)
                disc(image, *circle, INK, round(width + min(casing, width)))
                disc(image, *circle, self.family.strong, round(width))
        for name in JOINTS:
            i = INDEX[name]
            if not np.isfinite(points[i, 0]):
                continue
            lead = is_lead(name, moment.handedness)
            colour = self.family.strong if lead else self.family.light
            radius = style.joint * unit * (1.0 if lead else 0.85)
            disc(image, points[i], radius + style.casing * unit, INK)
            if guessed[i]:
                disc(image, points[i], radius, colour, max(1, round(0.4 * unit)))
            else:
                disc(image, points[i], radius, colour)
        return image


LEAST_BONE_PX = 2.0
"""A thinner line loses its colour to its casing and to the encoder."""

FADE_STEPS = 10
"""The fading path is drawn in this many strengths: finer steps are not seen, and each costs a call."""


@dataclass(frozen=True)
class PathLayer:
    """A drawn hand path: where it lies, its colours (h, w, 3) and its opacity (h, w) uint8."""

    place: tuple[slice, slice]
    colour: Image
    opacity: Image

    def lay(self, image: Image) -> Image:
        """Lay it over ``image``, in place."""
        blend(image[self.place], self.colour, self.opacity)
        return image


@dataclass(frozen=True)
class HandPath:
    """The way of the hands, newest part strongest; older parts fade but stay visible."""

    family: Family = STUDENT
    settings: DrawSettings = DRAW

    def draw(self, image: Image, moment: Moment) -> Image:
        layer = self.layer((image.shape[0], image.shape[1]), moment)
        return image if layer is None else layer.lay(image)

    def layer(self, shape: tuple[int, int], moment: Moment) -> PathLayer | None:
        """The path ready to be laid over pictures of one (height, width); None when there is nothing to draw."""
        path = moment.path
        inside = np.isfinite(path[:, 0]) if len(path) else np.zeros(0, bool)
        if np.count_nonzero(inside) < 2:
            return None
        height, width = shape
        style, unit = self.settings, min(shape) / 100.0
        reach = (style.trace + 2 * style.casing) * unit + 2
        low = np.floor(path[inside].min(axis=0) - reach).astype(int)
        high = np.ceil(path[inside].max(axis=0) + reach).astype(int) + 1
        left, top = max(0, int(low[0])), max(0, int(low[1]))
        right, bottom = min(width, int(high[0])), min(height, int(high[1]))
        if right - left < 2 or bottom - top < 2:
            return None
        # One layer of colour, dark at its edges, and one of opacity: a single blend for the whole path.
        opacity = np.zeros((bottom - top, right - left), np.uint8)
        colour = np.empty((bottom - top, right - left, 3), np.uint8)
        colour[:] = INK
        fixed = fixed_points(np.where(inside[:, None], path - np.array([left, top], np.float64), 0.0))
        runs = [(fixed[stretch], strength, guess) for stretch, strength, guess in self._stretches(moment)]
        thick, thin = style.trace * unit, 0.4 * style.trace * unit
        for points, strength, guess in runs:
            segments(opacity, [points], round(0.75 * strength), (thin if guess else thick) + 2 * style.casing * unit)
        for points, strength, guess in runs:
            segments(opacity, [points], strength, thin if guess else thick)
        for guess, width_px in ((False, thick), (True, thin)):
            alike = [points for points, _, guessed in runs if guessed == guess]
            if alike:
                segments(colour, alike, self.family.strong, width_px)
        return PathLayer((slice(top, bottom), slice(left, right)), colour, opacity)

    def _stretches(self, moment: Moment) -> list[tuple[slice, int, bool]]:
        """Runs of points with one opacity (0–255, in steps) and one certainty; neighbours share a point."""
        style = self.settings
        known = np.isfinite(moment.path[:, 0])
        fade = np.clip(moment.path_age_s / style.trace_fade_s, 0.0, 1.0)
        level = np.rint(fade * FADE_STEPS).astype(int)
        guessed = moment.path_guessed if len(moment.path_guessed) else np.zeros(len(known), bool)
        # A segment belongs to its newer end; it is drawn when both ends are known.
        drawn = known[:-1] & known[1:]
        key = np.where(drawn, 2 * level[1:] + guessed[1:], -1)
        edges = np.flatnonzero(np.diff(key)) + 1
        runs = []
        for first, last in zip((0, *edges), (*edges, len(key))):
            if key[first] < 0:
                continue
            share = (key[first] // 2) / FADE_STEPS
            strength = 255 * (style.trace_most + (style.trace_least - style.trace_most) * share)
            runs.append((slice(int(first), int(last) + 1), round(strength), bool(key[first] % 2)))
        return runs


LIMBS: tuple[tuple[str, str, float, float], ...] = (
    ("hip", "knee", 0.155, 0.115),
    ("knee", "ankle", 0.11, 0.07),
    ("heel", "foot_index", 0.07, 0.055),
    ("shoulder", "elbow", 0.095, 0.075),
    ("elbow", "wrist", 0.07, 0.05),
)
"""Joint, joint, half widths at both, in torso lengths. Drawn by eye: a slim person seen from the side."""


def figure_mask(
    shape: tuple[int, int],
    points: FloatArray,
    parts: Literal["all", "trail", "lead"] = "all",
    handedness: Handedness = "right",
    size_px: float | None = None,
) -> Image:
    """(H, W) uint8, 255 inside a filled figure around the joints.

    Parameters
    ----------
    shape : (H, W)
    points : (33, 2) float, px
    parts : which limbs; the torso and head belong to "all" and "lead"
    handedness : whose lead side
    size_px : float or None
        Torso length to scale widths by; taken from the points when None.
    """
    import cv2

    mask = np.zeros(shape, np.uint8)
    size = torso_px(points) if size_px is None else size_px
    if not np.isfinite(size) or size < 1:
        return mask
    for side in ("left", "right"):
        if parts != "all" and (parts == "lead") != is_lead(side, handedness):
            continue
        for a, b, at_a, at_b in LIMBS:
            _taper(mask, points[INDEX[f"{side}_{a}"]], points[INDEX[f"{side}_{b}"]], at_a * size, at_b * size)
        disc(mask, points[INDEX[f"{side}_wrist"]], 0.075 * size, 255)
    if parts == "trail":
        return mask
    corners = [
        f"{side}_{joint}"
        for side, joint in (("left", "shoulder"), ("right", "shoulder"), ("right", "hip"), ("left", "hip"))
    ]
    trunk = points[[INDEX[name] for name in corners]]
    if np.all(np.isfinite(trunk)):
        for i, half in enumerate((0.12, 0.12, 0.15, 0.15)):
            nxt = (i + 1) % 4
            _taper(mask, trunk[i], trunk[nxt], half * size, (0.12, 0.12, 0.15, 0.15)[nxt] * size)
        cv2.fillConvexPoly(mask, cv2.convexHull(np.rint(trunk * ONE).astype(np.int32)), 255, cv2.LINE_AA, SHIFT)
        neck = (trunk[0] + trunk[1]) / 2
        waist = (trunk[2] + trunk[3]) / 2
        # From the side shoulders and hips fall together: the trunk keeps a depth of its own.
        _taper(mask, neck, waist, 0.20 * size, 0.19 * size)
        circle = head_circle(points, size)
        if circle is not None:
            _taper(mask, neck, circle[0], 0.085 * size, 0.085 * size)
            disc(mask, circle[0], circle[1], 255)
    return mask


def _taper(mask: Image, start: FloatArray, end: FloatArray, at_start: float, at_end: float) -> None:
    """A round cone from one joint to another."""
    import cv2

    if not (np.all(np.isfinite(start)) and np.all(np.isfinite(end))):
        return
    disc(mask, start, at_start, 255)
    disc(mask, end, at_end, 255)
    along = end - start
    length = float(np.linalg.norm(along))
    if length < 1e-6:
        return
    across = np.array([-along[1], along[0]]) / length
    quad = np.array(
        [start + across * at_start, end + across * at_end, end - across * at_end, start - across * at_start]
    )
    quad = np.clip(quad, -4000.0, 12000.0)
    cv2.fillConvexPoly(mask, np.rint(quad * ONE).astype(np.int32), 255, cv2.LINE_AA, SHIFT)


def fill(image: Image, mask: Image, colour: Colour, opacity: float) -> None:
    """Lay a colour over the picture where ``mask`` (H, W) uint8 is set, in place."""
    import cv2

    x, y, width, height = cv2.boundingRect(mask)
    if width == 0 or height == 0:
        return
    part = image[y : y + height, x : x + width]
    flat = np.empty_like(part)
    flat[:] = colour
    blend(part, flat, mask[y : y + height, x : x + width], opacity)


def blend(part: Image, over: Image, mask: Image, opacity: float = 1.0) -> None:
    """Lay ``over`` on ``part`` (h, w, 3) in place by ``mask`` (h, w) uint8 × ``opacity``."""
    import cv2

    weight = cv2.multiply(np.ascontiguousarray(mask), opacity / 255, dtype=cv2.CV_32F)
    part[:] = cv2.blendLinear(over, np.ascontiguousarray(part), weight, 1 - weight)
