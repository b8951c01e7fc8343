"""Measures that need both views: turns, planes and lengths in space, each with a 95 % interval.

Every value is read from the points that both cameras place in space (``space``). Its interval comes from random draws:
the cameras as they may stand, the joints as they may be off, the positions' times as unsure as they are.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import FilmingReport, Measure, Position, Positions, ViewPair
from overlay.pair.clock import clock_of, sd_real
from overlay.pair.lines import Arm, line_in_space
from overlay.pair.positions import fused_positions
from overlay.pair.space import (
    POINTS,
    ROW,
    Cameras,
    Instant,
    Picture,
    cameras_at,
    instant,
    lens_of,
    picture_of,
    still,
    with_shaft,
)
from overlay.settings.pair import PairSettings, SpaceSettings
from overlay.terms import View, words

Space = Mapping[str, FloatArray]
"""Point → (N, 3) torso lengths, one row a draw."""

Formula = Callable[[Space, Space], FloatArray]
"""Points at the position and at address → (N,) value."""


def _turn(space: Space, joint: str) -> FloatArray:
    """(N,) degrees the line trail → lead is turned off the target line, seen from above; + as in the backswing."""
    line = space[f"lead_{joint}"] - space[f"trail_{joint}"]
    return np.degrees(np.arctan2(line[:, 1], line[:, 0]))


def shoulder_turn(at: Space, address: Space) -> FloatArray:
    """The line of the shoulder joints off the target line, degrees from above."""
    return _turn(at, "shoulder")


def pelvis_turn(at: Space, address: Space) -> FloatArray:
    """The line of the hip joints off the target line, degrees from above."""
    return _turn(at, "hip")


def trunk_rotation(at: Space, address: Space) -> FloatArray:
    """Shoulder turn less pelvis turn, degrees."""
    return _wrapped(_turn(at, "shoulder") - _turn(at, "hip"))


def shoulders_open(at: Space, address: Space) -> FloatArray:
    """Degrees the line of the shoulder joints is turned towards the target, from above."""
    return -_turn(at, "shoulder")


def pelvis_open(at: Space, address: Space) -> FloatArray:
    """Degrees the line of the hip joints is turned towards the target, from above."""
    return -_turn(at, "hip")


def shaft_direction(at: Space, address: Space) -> FloatArray:
    """Degrees right of the target of a right-hander, seen from above."""
    shaft = at["club_head"] - at["grip"]
    return np.degrees(np.arctan2(shaft[:, 1], shaft[:, 0]))


def shaft_plane(at: Space, address: Space) -> FloatArray:
    """Degrees over the ground of the plane that holds the shaft and the target line."""
    shaft = at["club_head"] - at["grip"]
    return np.degrees(np.arctan2(-shaft[:, 2], shaft[:, 1]))


def shaft_plane_down(at: Space, address: Space) -> FloatArray:
    """The same with the club above the hands."""
    shaft = at["grip"] - at["club_head"]
    return np.degrees(np.arctan2(-shaft[:, 2], shaft[:, 1]))


def shaft_lean(at: Space, address: Space) -> FloatArray:
    """Degrees the grip leans towards the target, along the target line."""
    shaft = at["grip"] - at["club_head"]
    return np.degrees(np.arctan2(shaft[:, 0], shaft[:, 2]))


def _middle(space: Space, joint: str) -> FloatArray:
    return np.asarray((space[f"lead_{joint}"] + space[f"trail_{joint}"]) / 2, np.float64)


def spine_inclination(at: Space, address: Space) -> FloatArray:
    """Degrees the line mid-hip → mid-shoulder is off the vertical, whichever way."""
    spine = _middle(at, "shoulder") - _middle(at, "hip")
    return np.degrees(np.arctan2(np.hypot(spine[:, 0], spine[:, 1]), spine[:, 2]))


def _hands(space: Space) -> FloatArray:
    return space["hands"]


def hands_depth(at: Space, address: Space) -> FloatArray:
    """Torso lengths the hands are further from the ball line than at address."""
    return np.asarray(_hands(address)[:, 1] - _hands(at)[:, 1], np.float64)


def hands_height(at: Space, address: Space) -> FloatArray:
    """Torso lengths the hands are higher than at address."""
    return np.asarray(_hands(at)[:, 2] - _hands(address)[:, 2], np.float64)


def stance_width(at: Space, address: Space) -> FloatArray:
    """Torso lengths between the ankles on the ground, at address."""
    gap = address["lead_ankle"] - address["trail_ankle"]
    return np.hypot(gap[:, 0], gap[:, 1])


def _wrapped(deg: FloatArray) -> FloatArray:
    return np.asarray((deg + 180.0) % 360.0 - 180.0, np.float64)


_SHOULDERS = ("lead_shoulder", "trail_shoulder")
_HIPS = ("lead_hip", "trail_hip")
_CLUB = ("grip", "club_head")


@dataclass(frozen=True)
class PairDefinition:
    """One measure of both views: its formula, where it is read, the points it needs there and at address."""

    name: str
    title: str
    unit: str
    position: str
    formula: Formula
    points: tuple[str, ...]
    at_address: tuple[str, ...] = ()


DEFINITIONS: tuple[PairDefinition, ...] = (
    PairDefinition("stance_width_space", "stance width", "torso", "address", stance_width, (),
                   ("lead_ankle", "trail_ankle")),
    PairDefinition("spine_inclination_address", "spine inclination", "deg", "address", spine_inclination,
                   _SHOULDERS + _HIPS),
    PairDefinition("shaft_plane_address", "shaft plane over the ground", "deg", "address", shaft_plane, _CLUB),
    PairDefinition("shaft_lean_address", "shaft lean to the target", "deg", "address", shaft_lean, _CLUB),
    PairDefinition("shoulder_turn_top", "shoulder turn", "deg", "top", shoulder_turn, _SHOULDERS),
    PairDefinition("pelvis_turn_top", "pelvis turn", "deg", "top", pelvis_turn, _HIPS),
    PairDefinition("trunk_rotation_top", "shoulders against pelvis", "deg", "top", trunk_rotation,
                   _SHOULDERS + _HIPS),
    PairDefinition("hands_depth_top", "hands behind their place at address", "torso", "top", hands_depth,
                   ("hands",), ("hands",)),
    PairDefinition("hands_height_top", "hands above their place at address", "torso", "top", hands_height,
                   ("hands",), ("hands",)),
    PairDefinition("shaft_direction_space_top", "shaft right of the target line", "deg", "top", shaft_direction,
                   _CLUB),
    PairDefinition("shaft_plane_lead_arm_down", "shaft plane over the ground", "deg", "lead_arm_level_down",
                   shaft_plane_down, _CLUB),
    PairDefinition("pelvis_open_impact", "pelvis open to the target", "deg", "impact", pelvis_open, _HIPS),
    PairDefinition("shoulders_open_impact", "shoulders open to the target", "deg", "impact", shoulders_open,
                   _SHOULDERS),
    PairDefinition("spine_inclination_impact", "spine inclination", "deg", "impact", spine_inclination,
                   _SHOULDERS + _HIPS),
)  # fmt: skip
"""In the order in which they are told. Definitions: common practice; what each means in words: docs/both-views.md."""

NAMES = tuple(definition.name for definition in DEFINITIONS)


class _NotMeasured(Exception):
    """Why a measure has no value; only used inside this module."""


def pair_measures(
    pair: ViewPair,
    *,
    filming: tuple[FilmingReport | None, FilmingReport | None] = (None, None),
    settings: PairSettings | None = None,
) -> tuple[Measure, ...]:
    """Every measure of ``DEFINITIONS``, in that order.

    Parameters
    ----------
    pair : ViewPair
        Of one swing; of two swings each view is read at its own positions, the intervals are wider, and ``reason``
        says so although the measure is valid.
    filming : two FilmingReport or None
        Of the down-the-line and the face-on clip.
    settings : PairSettings or None
    """
    settings = settings or PairSettings()
    own = settings.space
    pictures = picture_of(pair.dtl, own), picture_of(pair.fo, own)
    positions: Mapping[View, Positions] = (
        fused_positions(pair, settings) if pair.one_swing else {"dtl": pair.dtl.positions, "fo": pair.fo.positions}
    )
    rng = np.random.default_rng(20_240)  # the same clips give the same intervals
    reader = _Reader(pair, pictures, positions, rng, settings)
    found = []
    problem = ""
    cameras: Cameras | None = None
    try:
        stills = reader.stills()
        cameras = cameras_at(
            *stills,
            (pictures[0].size, pictures[1].size),
            (lens_of(filming[0], own), lens_of(filming[1], own)),
            own,
            rng,
            own.draws,
        )
        if cameras is None:
            problem = "shoulders, hips, ankles and hands are not all seen at address in both views"
    except _NotMeasured as why:
        problem = str(why)
    for definition in DEFINITIONS:
        time_s = positions["dtl"].time(definition.position)
        try:
            if cameras is None:
                raise _NotMeasured(problem)
            found.append(_measure(definition, reader, cameras, time_s, settings))
        except _NotMeasured as why:
            found.append(
                Measure(
                    definition.name, math.nan, definition.unit, None, False, str(why),
                    position=definition.position, time_s=time_s,
                )
            )  # fmt: skip
    return tuple(found)


class _Reader:
    """Reads both pictures at the positions, once, with draws of what every reading may be off by."""

    def __init__(
        self,
        pair: ViewPair,
        pictures: tuple[Picture, Picture],
        positions: Mapping[View, Positions],
        rng: np.random.Generator,
        settings: PairSettings,
    ) -> None:
        self.pair, self.pictures, self.positions = pair, pictures, positions
        self.rng, self.settings = rng, settings
        self._stills: tuple[FloatArray, FloatArray] | None = None
        self._spaces: dict[str, dict[str, FloatArray]] = {}

    def position(self, view: View, name: str) -> Position:
        found = self.positions[view].get(name)
        if found is None:
            where = "" if self.pair.one_swing else f" {VIEWS[view]}"
            raise _NotMeasured(f"{words(name)} was not found{where}: {self.positions[view].missing[name]}")
        return found

    def stills(self) -> tuple[FloatArray, FloatArray]:
        if self._stills is None:
            at = [self.position(view, "address") for view in ("dtl", "fo")]
            own = self.settings.space
            one, other = (still(picture, where.time_s, own) for picture, where in zip(self.pictures, at))
            self._stills = (
                one + bias_px(0, "address", self.pictures[0], rough_px(one), own),
                other + bias_px(1, "address", self.pictures[1], rough_px(other), own),
            )
        return self._stills

    def space(self, name: str, cameras: Cameras) -> dict[str, FloatArray]:
        """Point → (N, 3) at a position; at address that of the still moment."""
        if name not in self._spaces:
            self._spaces[name] = self._placed(name, cameras)
        return self._spaces[name]

    def _placed(self, name: str, cameras: Cameras) -> dict[str, FloatArray]:
        own = self.settings.space
        n = len(cameras)
        shift = self.rng.normal(size=(n, 2))
        seen, plain = [], []
        for which, view in enumerate(("dtl", "fo")):
            position = self.position(view, name)  # type: ignore[arg-type]
            picture = self.pictures[which]
            if name == "address":
                points = self.stills()[which]  # their biases are taken off already
                at = Instant(points, np.zeros_like(points), _shaft_sd(picture, position.time_s, own))
            else:
                at = instant(picture, position.time_s, own)
                at = replace(at, points=at.points + bias_px(which, name, picture, float(cameras.px[which][0]), own))
            clock = clock_of(self.pair.dtl if which == 0 else self.pair.fo)
            sd_s = sd_real(position, clock, self.settings)
            # One swing: the position is off by the same in both views, and the map by a little more in one of them.
            off = shift[:, 0] * sd_s
            if not self.pair.one_swing:
                off = shift[:, which] * sd_s
            elif which == 1:
                off = off + shift[:, 1] * self.pair.sd_s
            off[0] = 0.0
            off_s = off * clock.slow
            plain.append(at.points[None] + np.nan_to_num(at.slope)[None] * off_s[:, None, None])
            seen.append(self._drawn(at, which, name, cameras, off_s, own))
        placed = with_shaft(cameras, seen[0], seen[1], own)
        space = {point: placed[:, i] for i, point in enumerate(POINTS)}
        if name != "address":
            self._put_lines(space, name, cameras, plain)
        return space

    def _put_lines(self, space: dict[str, FloatArray], name: str, cameras: Cameras, plain: list[FloatArray]) -> None:
        """Shoulders and hips from what each view shows well, in place; as triangulated where the line is not found."""
        address = self.space("address", cameras)
        own = self.settings.space
        for joint in ("shoulder", "hip"):
            width = float(np.linalg.norm(address[f"lead_{joint}"][0] - address[f"trail_{joint}"][0]))
            arm = None
            if joint == "shoulder" and name == "top" and np.all(np.isfinite(space["hands"])):
                away = address["lead_shoulder"] - address["hands"]
                if np.all(np.isfinite(away)):
                    arm = Arm(space["hands"], np.full(len(cameras), float(np.linalg.norm(away[0]))))
            found = line_in_space(cameras, plain[0], plain[1], joint, name, width, own.line, self.rng, arm)
            if found is not None:
                space[f"lead_{joint}"], space[f"trail_{joint}"] = found

    def _drawn(
        self, at: Instant, which: int, name: str, cameras: Cameras, off_s: FloatArray, own: SpaceSettings
    ) -> FloatArray:
        """(N, P, 2) px: the reading in every draw, the first as read."""
        n = len(cameras)
        sds = np.array([point_sd(point, which, name, own) for point in POINTS])
        if not self.pair.one_swing:
            sds = np.hypot(sds, own.two_swings)
        # What is taken off was found on rendered players only: half of it counts as an error of its own.
        px = float(cameras.px[which][0])
        habit = bias_px(which, name, self.pictures[which], px, own) / 2
        noise = self.rng.normal(size=(n, len(POINTS), 2)) * np.hypot(sds[:, None] * px, habit)
        noise[0] = 0.0
        base = at.points
        points = base[None] + noise + np.nan_to_num(at.slope)[None] * off_s[:, None, None]
        # The shaft turns about the grip by its own error, and its far end fades.
        grip, head = ROW["grip"], ROW["club_head"]
        along = base[head] - base[grip]
        turn = np.radians(at.shaft_sd_deg) * self.rng.normal(size=n)
        stretch = own.club_length_sd * self.rng.normal(size=n)
        turn[0] = stretch[0] = 0.0
        turned = np.stack(
            [along[0] * np.cos(turn) - along[1] * np.sin(turn), along[0] * np.sin(turn) + along[1] * np.cos(turn)], -1
        )
        points[:, head] = points[:, grip] + turned * (1.0 + stretch)[:, None]
        points[:, head] += np.nan_to_num(at.slope[head] - at.slope[grip])[None] * off_s[:, None]
        return points


VIEWS: Mapping[str, str] = {"dtl": "down the line", "fo": "face on"}


def _shaft_sd(picture: Picture, time_s: float, own: SpaceSettings) -> float:
    return instant(picture, time_s, own).shaft_sd_deg


def point_sd(point: str, which: int, position: str, own: SpaceSettings) -> float:
    """Error of one coordinate of a point in one picture, torso lengths."""
    part = point.split("_")[-1]
    sds = own.point_sd_dtl if which == 0 else own.point_sd_fo
    return float(sds.get(f"{part}:{position}", sds.get(part, 0.03)))


def rough_px(points: FloatArray) -> float:
    """Px per torso length from ankles to shoulders, before the cameras are known."""
    rows = [ROW[f"{side}_{joint}"] for joint in ("ankle", "shoulder") for side in ("lead", "trail")]
    return float((points[rows[:2], 1].mean() - points[rows[2:], 1].mean()) / STANDING)


STANDING = 2.55
"""Shoulders over ankles at address, torso lengths: (.818 − .10) ÷ .288 of stature (Drillis & Contini 1966)."""


def bias_px(which: int, position: str, picture: Picture, px: float, own: SpaceSettings) -> FloatArray:
    """(P, 2) px that are added to a reading of the pose model whose habits are known."""
    out = np.zeros((len(POINTS), 2))
    if picture.source != own.biased_model:
        return out
    table = own.bias_dtl if which == 0 else own.bias_fo
    for key, (right, up) in table.items():
        point, _, where = key.partition(":")
        if where == position:
            out[ROW[point]] = np.array([-right, up]) * px
    return out


def _measure(
    definition: PairDefinition, reader: _Reader, cameras: Cameras, time_s: float | None, settings: PairSettings
) -> Measure:
    own = settings.space
    address = reader.space("address", cameras)
    at = address if definition.position == "address" else reader.space(definition.position, cameras)
    for where, space, points in (
        (definition.position, at, definition.points),
        ("address", address, definition.at_address),
    ):
        lost = [point for point in points if not np.all(np.isfinite(space[point][0]))]
        if lost:
            raise _NotMeasured(f"{_unseen(lost[0])} is not seen in both views at {words(where)}")
    values = definition.formula(at, address)
    value = float(values[0])
    off = values - value
    if definition.unit == "deg":
        off = _wrapped(off)
    off = off[np.isfinite(off)]
    if not math.isfinite(value) or len(off) < 0.8 * len(values):
        raise _NotMeasured("what both views show does not fit together")
    tail = 100.0 * (1.0 - own.level) / 2.0
    low, high = (float(edge) for edge in np.percentile(off, [tail, 100.0 - tail]))
    if definition.unit == "deg":
        body = any(point not in _CLUB for point in definition.points)
        least = 1.96 * (own.angle_sd_deg if body else own.least_shaft_sd_deg)
        more = 0.0 if reader.pair.one_swing else 1.96 * own.two_swings_deg
        low, high = -math.hypot(max(-low, least), more), math.hypot(max(high, least), more)
    widest = own.widest_deg if definition.unit == "deg" else own.widest
    if 0.5 * (high - low) > widest:
        told = f"{0.5 * (high - low):.0f}°" if definition.unit == "deg" else f"{0.5 * (high - low):.2f} torso lengths"
        raise _NotMeasured(f"too unsure to say anything: ±{told}")
    note = "" if reader.pair.one_swing else "from two swings of the player, read each at its own position"
    return Measure(
        definition.name, value, definition.unit, (value + low, value + high), True, note,
        position=definition.position, time_s=time_s,
    )  # fmt: skip


def _unseen(point: str) -> str:
    return {"grip": "the shaft", "club_head": "the shaft"}.get(point, f"the {words(point)}")
