"""Measures of one swing: the numbers behind the checklist, each with its interval or the reason why not.

Every measure is defined in ``definitions``, read by ``reading`` and carries a 95 % interval made of what the pose
model and the shaft are unsure by, how fast the value changes where the position's time is unsure, and what a guide
line is unsure by. docs/measures.md says in words what each is, and what a picture can and cannot say.
"""

from __future__ import annotations

import math
from typing import Sequence

import numpy as np

from overlay.arrays import BoolArray, FloatArray, IntArray
from overlay.data import Guide, Measure, Swing
from overlay.errors import DataError
from overlay.kinematics import median_seen
from overlay.measure.definitions import DEFINITIONS, Definition
from overlay.measure.geometry import normal_quantile
from overlay.measure.reading import Reading, read_at, stretch
from overlay.measure.scene import Scene, scene_of
from overlay.settings.measure import MeasureSettings
from overlay.terms import words

__all__ = ["DEFINITIONS", "Definition", "MeasureSettings", "measure_swing"]

MEASURES = MeasureSettings()
"""The defaults."""


class _NotMeasured(Exception):
    """Why a measure has no value; only used inside this package."""


def measure_swing(
    swing: Swing,
    guides: Sequence[Guide],
    *,
    stature_cm: float | None = None,
    settings: MeasureSettings = MEASURES,
) -> tuple[Measure, ...]:
    """Every measure of the swing's view.

    Parameters
    ----------
    swing : Swing
        With ``club``, ``strike`` and ``camera_motion`` where they are known.
    guides : sequence of Guide
        From the player's own address, px of the address frame.
    stature_cm : float or None
        Checked only: all measures are in torso lengths, degrees or shares, which need no scale.
    settings : MeasureSettings

    Returns
    -------
    tuple of Measure
        In the order in which they are looked at; empty for a view from another angle. Lengths are torso lengths.

    Raises
    ------
    DataError
        The stature is not that of a person.
    """
    if stature_cm is not None and not (math.isfinite(stature_cm) and 80 <= stature_cm <= 250):
        raise DataError(f"A stature of {stature_cm} cm is not possible.", "Give the player's height in centimetres.")
    wanted = [definition for definition in DEFINITIONS if definition.view == swing.view]
    if not wanted:
        return ()
    scene = scene_of(swing, guides, settings)
    return tuple(_measure(definition, scene, settings) for definition in wanted)


def _measure(definition: Definition, scene: Scene, settings: MeasureSettings) -> Measure:
    position = definition.position
    time_s = _time(definition, scene)
    try:
        value, sd, time_s = _value(definition, scene, settings)
        _believe(definition, value, sd, settings)
    except _NotMeasured as why:
        return Measure(
            definition.name, math.nan, definition.unit, None, False, str(why), position=position, time_s=time_s
        )
    half = normal_quantile(settings.level) * sd
    return Measure(
        definition.name, value, definition.unit, (value - half, value + half), position=position, time_s=time_s
    )


def _believe(definition: Definition, value: float, sd: float, settings: MeasureSettings) -> None:
    degrees = definition.unit == "deg"
    farthest = settings.farthest_deg if degrees else settings.farthest
    if not math.isfinite(value) or not math.isfinite(sd) or abs(value) > farthest:
        raise _NotMeasured("what was read is further off than any swing goes")
    half = normal_quantile(settings.level) * sd
    if half > (settings.widest_deg if degrees else settings.widest):
        unit = "°" if degrees else "" if definition.unit == "fraction" else " torso lengths"
        raise _NotMeasured(
            f"too unsure to say anything: ±{half:.0f}{unit}" if degrees else f"too unsure: ±{half:.2f}{unit}"
        )


def _time(definition: Definition, scene: Scene) -> float | None:
    """Where the still is, as far as it is known without a value."""
    name = definition.position or definition.stop
    return scene.swing.positions.time(name)


def _found(name: str, scene: Scene) -> float:
    time_s = scene.swing.positions.time(name)
    if time_s is None:
        raise _NotMeasured(f"{words(name)} was not found: {scene.swing.positions.missing[name]}")
    return time_s


def _value(definition: Definition, scene: Scene, settings: MeasureSettings) -> tuple[float, float, float]:
    """Value, its standard deviation and its time."""
    places = [_found(name, scene) for name in (definition.position, definition.start, definition.stop) if name]
    if not (math.isfinite(scene.torso_px) and scene.torso_px > 0):
        raise _NotMeasured("shoulders and hips are not seen together, so there is no scale")
    if definition.shaft and not scene.has_club:
        raise _NotMeasured("the club was not followed in this clip")
    for name in definition.lines:
        if name not in scene.lines:
            reason = scene.no_lines.get(name, "it was not asked for")
            raise _NotMeasured(f"the {words(name)}{'' if 'line' in name else ' line'} is missing: {reason}")
    if definition.name == "shaft_direction_top":
        if not math.isfinite(scene.shaft_torsos):
            raise _NotMeasured("the shaft's full length is not known: it is not seen at address")
        if not np.all(np.isfinite(scene.hands_at_address)):
            raise _NotMeasured("the hands are not seen at address")
    series = definition.formula(scene.rows, scene, settings)
    if definition.how == "at":
        return _at(definition, scene, series, places[0], definition.position, settings)
    if definition.how == "change":
        start, stop = (
            _at(definition, scene, series, time_s, name, settings)
            for time_s, name in zip(places, (definition.start, definition.stop))
        )
        return stop[0] - start[0], math.hypot(start[1], stop[1]), stop[2]
    return _over(definition, scene, series, places[0], places[1], settings)


def _at(
    definition: Definition, scene: Scene, series: FloatArray, time_s: float, name: str, settings: MeasureSettings
) -> tuple[float, float, float]:
    reading = read_at(
        scene.time_s,
        series,
        time_s,
        window_s=settings.window_s * scene.slow,
        slope_window_s=settings.slope_window_s * scene.slow,
        bridge_s=settings.bridge_s * scene.slow,
        edge_s=settings.edge_s * scene.slow,
    )
    if reading is None:
        near = np.abs(scene.time_s - time_s) <= max(settings.bridge_s * scene.slow, 1.5 * scene.frame_s)
        raise _NotMeasured(_why(definition, scene, near, f"at {words(name)}"))
    return reading.value, _sd(definition, scene, reading, name, settings), time_s


def _sd(definition: Definition, scene: Scene, reading: Reading, name: str, settings: MeasureSettings) -> float:
    """Everything a reading at a position is unsure by, as one standard deviation."""
    position = scene.position(name)
    assert position is not None
    parts = [
        reading.slope * scene.position_sd_s(position, settings),
        reading.scatter / math.sqrt(max(1, len(reading.frames))),
        0.15 * reading.slope * reading.gap_s,
        *_input_sds(definition, scene, reading.frames, settings),
    ]
    return _floored(definition, math.sqrt(sum(part * part for part in parts)), settings)


def _floored(definition: Definition, sd: float, settings: MeasureSettings) -> float:
    """No angle that a joint takes part in is finer than what a picture allows."""
    joints = [name for name in definition.points if name != "grip"]
    return max(sd, settings.angle_sd_deg) if definition.unit == "deg" and joints else sd


def _input_sds(definition: Definition, scene: Scene, frames: IntArray, settings: MeasureSettings) -> list[float]:
    """How far the value moves when each thing it is made of moves by its standard deviation, from the chosen rows."""
    rows = scene.rows.at(frames)

    def moved(other: FloatArray) -> float:
        change = np.abs(other - base)
        return float(median_seen(change[:, None])[0]) if np.any(np.isfinite(change)) else 0.0

    base = definition.formula(rows, scene, settings)
    parts: list[float] = []
    for name in definition.points:
        sd = settings.point_sd.get(name, settings.point_sd.get(name.split("_")[-1], math.nan))
        if name == "grip":
            continue  # an error of the grip along the shaft moves nothing; across it is the shaft's own
        if definition.fast and name in ("hands", "lead_wrist", "trail_wrist"):
            sd *= settings.fast_factor
        for shift in ((sd, 0.0), (0.0, sd)):
            parts.append(moved(definition.formula(rows.moved(name, np.array(shift) * scene.torso_px), scene, settings)))
    if definition.shaft:
        told = scene.shaft_sd_deg[frames]
        spread = float(np.median(told[np.isfinite(told)])) if np.any(np.isfinite(told)) else settings.shaft_sd_deg
        spread = max(spread, settings.least_shaft_sd_deg)
        parts.append(moved(definition.formula(rows.turned(spread), scene, settings)))
    if definition.length:
        parts.append(moved(definition.formula(rows.stretched(1.0 + settings.shaft_length_sd), scene, settings)))
    if definition.lines and definition.unit == "torso":
        parts.append(settings.guide_sd)
    if "shaft_plane" in definition.lines:
        parts.append(settings.least_shaft_sd_deg)
    return parts


def _over(
    definition: Definition, scene: Scene, series: FloatArray, start_s: float, stop_s: float, settings: MeasureSettings
) -> tuple[float, float, float]:
    """The median, or the largest value, of a stretch between two positions."""
    first, last = (start_s + share * (stop_s - start_s) for share in definition.part)
    inside = stretch(scene.time_s, first, last)
    seen = inside & np.isfinite(series)
    frames = np.asarray(np.flatnonzero(seen), np.int64)
    if not len(frames) or 2 * len(frames) < np.count_nonzero(inside):
        where = f"between {words(definition.start)} and {words(definition.stop)}"
        raise _NotMeasured(_why(definition, scene, inside, where))
    if definition.how == "largest":
        smooth = _running_mean(scene.time_s, np.where(seen, series, np.nan), settings.smooth_s * scene.slow)
        best = int(frames[np.argmax(smooth[frames])])
        value, time_s = float(smooth[best]), float(scene.time_s[best])
        frames = np.array([best], np.int64)
    else:
        value, time_s = float(np.median(series[frames])), (first + last) / 2
    parts = _input_sds(definition, scene, frames, settings)
    if definition.how == "median":
        # The ends of the stretch are as unsure as its positions: they shift the median along the value's own trend.
        ends = [
            scene.position_sd_s(position, settings)
            for name in (definition.start, definition.stop)
            if (position := scene.position(name)) is not None
        ]
        trend = (series[frames[-1]] - series[frames[0]]) / max(scene.time_s[frames[-1]] - scene.time_s[frames[0]], 1e-9)
        parts.append(float(trend) * max(ends) if len(frames) > 1 else 0.0)
    return value, _floored(definition, math.sqrt(sum(part * part for part in parts)), settings), time_s


def _running_mean(time_s: FloatArray, values: FloatArray, half_s: float) -> FloatArray:
    near = np.abs(time_s[:, None] - time_s[None, :]) <= half_s
    seen = near & np.isfinite(values)[None, :]
    total = np.where(seen, np.nan_to_num(values)[None, :], 0.0).sum(axis=1)
    return np.asarray(np.where(seen.any(axis=1), total / np.maximum(seen.sum(axis=1), 1), np.nan), np.float64)


_SEEN_AS = {"hands": "the hands are", "head": "the head is"}


def _why(definition: Definition, scene: Scene, near: BoolArray, where: str) -> str:
    """What was not seen in the chosen frames, or why what was seen says nothing."""
    if not np.any(near):
        return f"the clip does not show the moment {where}"
    for name in definition.points:
        if name != "grip" and not np.any(np.isfinite(scene.rows[name][near][:, 0])):
            return f"{_SEEN_AS.get(name, f'the {words(name)} is')} not seen {where}"
    if definition.shaft and not np.any(np.isfinite(scene.rows.shaft_deg[near])):
        return f"the shaft is not seen clearly {where}"
    series = definition.formula(scene.rows, scene, MEASURES)[near]
    if not np.any(np.isfinite(series)):
        return f"{definition.degenerate} {where}"
    return f"too little is seen {where}"
