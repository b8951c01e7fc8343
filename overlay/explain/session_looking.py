"""Usual swings as the cameras of two groups of sessions see them, read by the very code that reads a clip.

The camera is that which the filming check's findings describe: level but for its roll, its lens so far above the hands,
its optical axis so far beside them (face on: beside the middle of the body), turned by the yaw. Focal length and pan
within the picture cancel out of everything that is measured in torso lengths and degrees.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Camera, Positions, SpaceTrack, Swing, TimeMap
from overlay.errors import OverlayError
from overlay.explain.session_shift import FINDINGS
from overlay.filming.shape import LANDMARK_ROWS
from overlay.fit.figure import projected
from overlay.guides import guide_lines
from overlay.measure import measure_swing
from overlay.positions import club_candidates, find_swings, refine
from overlay.score.measure import measure_cells
from overlay.score.parts import figure_of
from overlay.settings.score import ScoreSettings
from overlay.terms import View

SIZE = (854, 854)
FOCAL_PX = 1100.0
"""A phone's usual lens for a picture of this size; nothing depends on it."""

DISTANCE_STATURES = 2.4
"""Usual distance of a camera, in statures (4.1 m): for where it was never seen, as the filming check assumes."""

STEPS = (0.03, 0.03, 2.0, 1.0, 0.2)
"""How far each finding is moved for its sensitivity: shares of stature and degrees."""

GRID = (0.15, 0.15, 10.0, 5.0, 0.8)
"""Between the cameras at which sensitivities are worked out: nearly all well placed ones share one."""

LIMITS = ((-1.0, 1.0), (-1.0, 1.0), (-35.0, 35.0), (-20.0, 20.0), (1.0, 10.0))
"""Cameras beyond film no such view of a swing: nothing is worked out for them."""

_IN_PICTURE = (
    "shaft_level_back",
    "lead_arm_level_back",
    "lead_arm_level_down",
    "shaft_level_down",
    "shaft_level_through",
)
"""Level means level in the picture: these moments are found anew for each camera."""

Values = tuple[float, ...]
"""Height, offset, yaw, roll, distance: shares of stature and degrees, in the order of ``FINDINGS``."""


class Held:
    """A swing in space that may be a key: it is known by what it is, not by its numbers."""

    def __init__(self, space: SpaceTrack) -> None:
        self.space = space

    def __hash__(self) -> int:
        return id(self.space)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Held) and other.space is self.space


def films_the_view(values: Values) -> bool:
    """Whether a camera stands where a swing is filmed from."""
    return all(low <= value <= high for value, (low, high) in zip(values, LIMITS))


def camera_of(space: SpaceTrack, view: View, values: Values) -> Camera:
    """The camera that the findings describe, looking at a right-hander."""
    told = dict(zip(FINDINGS, values))
    size = space.stature_m
    time_s = space.positions.time("address")
    i = 0 if time_s is None else int(np.argmin(np.abs(space.time_s - time_s)))
    grip = space.grip[i]
    yaw, roll = math.radians(told["yaw"]), math.radians(told["roll"])
    distance = told["camera_distance"] * size
    if view == "dtl":
        middle, ground = grip[:2], np.array([1.0, 0.0])
    else:
        # The filming check's middle of the body: shoulders to toes.
        middle, ground = space.points[i, list(LANDMARK_ROWS[:12])].mean(axis=0)[:2], np.array([0.0, -1.0])
    right = np.array([-ground[1], ground[0]])
    # + yaw carries the viewing direction towards the picture's right; the axis passes ``offset`` beside the middle.
    beside = told["camera_offset"] * size - math.tan(yaw) * distance
    place = middle - distance * ground + beside * right
    forward = math.cos(yaw) * ground + math.sin(yaw) * right
    across = math.cos(yaw) * right - math.sin(yaw) * ground
    level, down = np.array([*across, 0.0]), np.array([0.0, 0.0, -1.0])
    c, s = math.cos(roll), math.sin(roll)
    axes = np.stack([c * level + s * down, c * down - s * level, np.array([*forward, 0.0])])
    position = np.array([*place, grip[2] + told["camera_height"] * size])
    return Camera(position, axes, FOCAL_PX, (SIZE[0] / 2, SIZE[1] / 2))


@lru_cache(maxsize=64)
def look(held: Held, view: View, values: Values) -> Swing:
    """The swing in that camera's picture, its level positions found there as in a clip."""
    space = held.space if held.space.handedness == "right" else _mirrored(held)
    camera = camera_of(space, view, values)
    swing = projected(space, camera, view, SIZE, hides=False)
    return replace(swing, positions=_positions(swing))


@lru_cache(maxsize=8)
def _mirrored(held: Held) -> SpaceTrack:
    return held.space.mirrored()


def _positions(swing: Swing) -> Positions:
    try:
        found = find_swings(swing.pose, view=swing.view, handedness=swing.handedness)[0]
    except OverlayError:
        return swing.positions
    found = replace(found, club=swing.club, strike=swing.strike, pose=swing.pose)
    try:
        found = refine(found, candidates=club_candidates(found))
    except OverlayError:
        return swing.positions
    times = {name: at for name in _IN_PICTURE if (at := found.positions.time(name)) is not None}
    moved = tuple(replace(one, time_s=times.get(one.name, one.time_s)) for one in swing.positions.found)
    if any(one.time_s >= other.time_s for one, other in pairwise(moved)):
        return swing.positions
    return Positions(moved, swing.positions.missing)


@lru_cache(maxsize=1024)
def readings(held: Held, view: View, values: Values) -> Mapping[str, float]:
    """Measure → value, of those that can be read."""
    swing = look(held, view, values)
    return {measure.name: measure.value for measure in measure_swing(swing, guide_lines(swing)) if measure.valid}


@lru_cache(maxsize=1024)
def cells(held: Held, view: View, values: Values, base: Values) -> Mapping[tuple[str, str], tuple[float, float]]:
    """(part, phase) → difference between the pictures of two cameras, as the score measures it, torso lengths."""
    settings = ScoreSettings()
    swing, other = look(held, view, values), look(held, view, base)
    # Both pictures show one movement at the same moments: its positions are those of the base.
    swing = replace(swing, positions=other.positions)
    ends = swing.pose.time_s[[0, -1]]
    found = measure_cells(figure_of(swing, settings), figure_of(other, settings), TimeMap(ends, ends), settings)
    return {
        (cell.part, cell.phase): (float(cell.offset[0]), float(cell.offset[1])) for cell in found if not cell.reason
    }


@dataclass(frozen=True)
class Moved:
    """What a shift of the camera does to one number of one swing.

    Attributes
    ----------
    effect : (D,) float
        At the later camera less at the baseline's. One number for a measure, right and down for a difference.
    slopes : (5, D) float
        Per share of stature or degree of each finding, near the baseline's camera.
    """

    effect: FloatArray
    slopes: FloatArray


Less = Callable[[Values, Values], FloatArray | None]
"""What is read with one camera less what is read with another."""


def measure_moved(held: Held, view: View, name: str, base: Values, later: Values) -> Moved | None:
    """None where the measure cannot be read from this swing's picture."""

    def less(at: Values, other: Values) -> FloatArray | None:
        one, two = readings(held, view, at).get(name), readings(held, view, other).get(name)
        return None if one is None or two is None else np.array([one - two])

    return _moved(less, base, later)


def cell_moved(held: Held, view: View, part: str, phase: str, base: Values, later: Values) -> Moved | None:
    """None where the phase or part is not in this swing's picture."""

    def less(at: Values, other: Values) -> FloatArray | None:
        found = cells(held, view, at, other).get((part, phase))
        return None if found is None else np.array(found)

    return _moved(less, base, later)


def _moved(less: Less, base: Values, later: Values) -> Moved | None:
    effect = less(later, base)
    if effect is None:
        return None
    # A sensitivity changes slowly with the place: taken at the nearest point of a grid it is there for the next call.
    near = tuple(step * round(at / step) for at, step in zip(base, GRID))
    slopes = []
    for k, step in enumerate(STEPS):
        ends = [(*near[:k], near[k] + sign * step, *near[k + 1 :]) for sign in (1.0, -1.0)]
        gap = less(ends[0], ends[1])
        if gap is None:
            return None
        slopes.append(gap / (2 * step))
    return Moved(effect, np.stack(slopes))
