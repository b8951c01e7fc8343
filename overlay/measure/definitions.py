"""What each measure is: the formula, where it is read, what it needs, and what makes it meaningless.

All formulas work on rows of the right-handed address picture (see ``scene``): +x is towards the ball down the line and
towards the target face on. Definitions: common practice among golf coaches, no single published source; in words, with
what the picture can and cannot say, in docs/measures.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Callable, Literal

import numpy as np

from overlay.arrays import FloatArray
from overlay.measure.geometry import (
    azimuth_deg,
    beside_line,
    between_deg,
    half_turn,
    meets_level,
    steepness_deg,
    turn_deg,
)
from overlay.measure.scene import Rows, Scene
from overlay.settings.measure import MeasureSettings
from overlay.terms import View

Formula = Callable[[Rows, Scene, MeasureSettings], FloatArray]
How = Literal["at", "level", "median", "largest", "change"]


@dataclass(frozen=True)
class Definition:
    """One measure.

    Attributes
    ----------
    name, unit : str
    view : dtl or fo
    how : at, level, median, largest or change
        Read at ``position``; where the shaft crosses level in the picture around ``position``; the median or the
        largest value between ``start`` and ``stop``; the value at ``stop`` minus that at ``start``.
    formula : rows → (T,)
    position : name
        The position it is told for; "" when it belongs to a stretch.
    start, stop : names of positions
    part : (from, to)
        Share of the stretch that counts.
    points : names in ``scene.POINTS`` that the formula uses
    shaft : bool
        It uses the shaft's direction, read where measured or marked only.
    length : bool
        It uses the shaft's visible length too.
    lines : guide lines it uses
    degenerate : str
        Why there is no value although everything was seen.
    fast : bool
        Read where the club is fast, and the hands are blurred.
    """

    name: str
    unit: str
    view: View
    formula: Formula
    how: How = "at"
    position: str = ""
    start: str = ""
    stop: str = ""
    part: tuple[float, float] = (0.0, 1.0)
    points: tuple[str, ...] = ()
    shaft: bool = False
    length: bool = False
    lines: tuple[str, ...] = ()
    degenerate: str = "what was seen does not fit together"
    fast: bool = False


def _beside(point: str, line: str, sign: float = 1.0) -> Formula:
    def formula(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
        return np.asarray(sign * beside_line(rows[point], scene.lines[line]) / scene.torso_px, np.float64)

    return formula


def _hips_beside(line: str) -> Formula:
    def formula(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
        return beside_line(rows.hip_middle, scene.lines[line]) / scene.torso_px

    return formula


def _head_over_hands(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    return np.asarray(rows.shaft[:, 0] / scene.torso_px, np.float64)


def _hand_height(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    low = settings.shoulder_low * scene.torso_px if scene.is_biased(settings) else 0.0
    elbow, shoulder = rows["trail_elbow"][:, 1], rows["trail_shoulder"][:, 1] - low
    high = elbow - shoulder
    with np.errstate(divide="ignore", invalid="ignore"):
        share = (elbow - rows["trail_wrist"][:, 1]) / high
    return np.asarray(np.where(high >= settings.least_arm * scene.torso_px, share, np.nan), np.float64)


def _pointing(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    ball = scene.lines["ball_line"][0]
    offset = (meets_level(rows["grip"], rows.shaft, float(ball[1])) - ball[0]) / scene.torso_px
    slope = np.abs(half_turn(steepness_deg(rows.shaft)))
    good = (slope >= settings.least_slope_deg) & (rows.shaft_px >= settings.least_shaft * scene.torso_px)
    return np.asarray(np.where(good, offset, np.nan), np.float64)


def _long_enough(value: FloatArray, length: FloatArray, scene: Scene, settings: MeasureSettings) -> FloatArray:
    return np.asarray(np.where(length >= settings.least_line * scene.torso_px, value, np.nan), np.float64)


def _arm_to_spine(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    arm = rows["lead_wrist"] - rows["lead_shoulder"]
    return _long_enough(between_deg(arm, rows.spine), np.hypot(*arm.T), scene, settings)


def _shoulders_to_spine(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    shoulders = rows["trail_shoulder"] - rows["lead_shoulder"]
    return _long_enough(between_deg(shoulders, rows.spine), np.hypot(*shoulders.T), scene, settings)


def _shaft_direction(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    return azimuth_deg(
        rows["grip"],
        rows["grip"] + rows.shaft,
        scene.hands_at_address,
        shaft=scene.shaft_torsos,
        camera=settings.camera_torsos,
        nearer=settings.top_nearer,
        torso_px=scene.torso_px,
    )


def _shaft_to_plane(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    low, high = scene.lines["shaft_plane"]
    plane = steepness_deg((low - high)[None])
    return half_turn(steepness_deg(rows.shaft) - plane)


def _shaft_to_spine(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    return between_deg(rows.shaft, rows.spine)


def _side_bend(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    spine = rows.spine
    return np.asarray(np.degrees(np.arctan2(-spine[:, 0], -spine[:, 1])), np.float64)


def _hips_to_target(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    return np.asarray(rows.hip_middle[:, 0] / scene.torso_px, np.float64)


def _shaft_to_arm(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    arm = rows["hands"] - rows["trail_shoulder"]
    return _long_enough(turn_deg(arm, rows.shaft), np.hypot(*arm.T), scene, settings)


def _hands_ahead(rows: Rows, scene: Scene, settings: MeasureSettings) -> FloatArray:
    # At impact the club head is at the ball, by what the word means: its middle behind the ball's by the ball's
    # radius and half a head. There the club itself is smeared, and turns by two degrees a millisecond.
    head_x = scene.lines["ball_line"][0][0] - settings.head_behind_ball * scene.ball_radius_px
    return np.asarray((rows["lead_wrist"][:, 0] - head_x) / scene.torso_px, np.float64)


_HIPS = ("lead_hip", "trail_hip")
_SPINE = ("lead_shoulder", "trail_shoulder", *_HIPS)
_AT_CAMERA = "the shaft points nearly at the camera"
_FLAT = "the shaft points nearly at the camera or lies too flat in the picture to meet the ground"

DEFINITIONS: tuple[Definition, ...] = (
    Definition(
        "hand_depth_back", "torso", "dtl", _beside("trail_wrist", "hand_depth"), position="shaft_level_back",
        points=("trail_wrist",), lines=("hand_depth",),
    ),
    Definition(
        "club_head_over_hands_back", "torso", "dtl", _head_over_hands, how="level", position="shaft_level_back",
        shaft=True, length=True,
    ),
    Definition(
        "hand_height_back", "fraction", "dtl", _hand_height, position="lead_arm_level_back",
        points=("trail_wrist", "trail_elbow", "trail_shoulder"),
        degenerate="the trail upper arm lies too flat for a height along it",
    ),
    Definition(
        "shaft_pointing_back", "torso", "dtl", _pointing, position="lead_arm_level_back",
        points=("grip",), shaft=True, lines=("ball_line",), degenerate=_FLAT,
    ),
    Definition(
        "lead_arm_to_spine_top", "deg", "dtl", _arm_to_spine, position="top",
        points=("lead_wrist", *_SPINE), degenerate="the lead arm points nearly at the camera",
    ),
    Definition(
        "shoulders_to_spine_top", "deg", "dtl", _shoulders_to_spine, position="top",
        points=_SPINE, degenerate="the line through the shoulders points nearly at the camera",
    ),
    Definition(
        "hands_over_heels_top", "torso", "dtl", _beside("hands", "heel_line"), position="top",
        points=("hands",), lines=("heel_line",),
    ),
    Definition(
        "shaft_direction_top", "deg", "dtl", _shaft_direction, position="top",
        points=("grip",), shaft=True, length=True, lines=("hand_depth",),
        degenerate="the shaft looks longer than it was at address",
    ),
    Definition(
        "shaft_to_plane_down", "deg", "dtl", _shaft_to_plane, position="lead_arm_level_down",
        shaft=True, lines=("shaft_plane",), fast=True,
    ),
    Definition(
        "shaft_to_spine_down", "deg", "dtl", _shaft_to_spine, position="lead_arm_level_down",
        points=_SPINE, shaft=True, fast=True,
    ),
    Definition(
        "shaft_pointing_down", "torso", "dtl", _pointing, how="median", position="shaft_level_down",
        start="top", stop="shaft_level_down", part=(0.72, 0.86),
        points=("grip",), shaft=True, lines=("ball_line",), degenerate=_FLAT, fast=True,
    ),
    Definition(
        "hips_line_release", "torso", "dtl", _hips_beside("hip_line"), how="median",
        start="impact", stop="shaft_level_through", points=_HIPS, lines=("hip_line",),
    ),
    Definition(
        "head_line_release", "torso", "dtl", _beside("head", "head_line"), how="median",
        start="impact", stop="shaft_level_through", points=("head",), lines=("head_line",),
    ),
    Definition(
        "hand_path_release", "torso", "dtl", _beside("trail_wrist", "hand_depth"), how="median",
        start="impact", stop="shaft_level_through", part=(0.0, 0.5), points=("trail_wrist",), lines=("hand_depth",),
        fast=True,
    ),
    Definition(
        "shaft_pointing_release", "torso", "dtl", _pointing, how="median",
        start="impact", stop="shaft_level_through", part=(0.20, 0.65), points=("grip",), shaft=True,
        lines=("ball_line",), degenerate=_FLAT, fast=True,
    ),
    Definition(
        "pelvis_push_back", "torso", "fo", _beside("trail_hip_held", "trail_leg_line", -1.0), how="largest",
        start="address", stop="top", points=("trail_hip_held",), lines=("trail_leg_line",),
    ),
    Definition(
        "pelvis_gap_top", "torso", "fo", _beside("trail_hip_held", "trail_leg_line"), position="top",
        points=("trail_hip_held",), lines=("trail_leg_line",),
    ),
    Definition("spine_side_bend_top", "deg", "fo", _side_bend, position="top", points=_SPINE),
    Definition(
        "head_offset_top", "torso", "fo", _beside("head", "head_line", -1.0), position="top",
        points=("head",), lines=("head_line",),
    ),
    Definition(
        "pelvis_travel_down", "torso", "fo", _hips_to_target, how="change", start="top", stop="impact", points=_HIPS
    ),
    Definition(
        "hands_ahead_impact", "torso", "fo", _hands_ahead, position="impact",
        points=("lead_wrist",), lines=("ball_line",), fast=True,
    ),
    Definition(
        "shaft_to_trail_arm_through", "deg", "fo", _shaft_to_arm, position="shaft_level_through",
        points=("hands", "trail_shoulder"), shaft=True, fast=True,
        degenerate="the trail arm points nearly at the camera",
    ),
)  # fmt: skip
"""In the order in which they are looked at."""
