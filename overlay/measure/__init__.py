"""Measures of one swing: the numbers behind the checklist, each with its interval or the reason why not.

Every measure is defined in ``definitions``, read by ``reading`` and carries a 95 % interval made of what the pose
model and the shaft are unsure by, how fast the value changes where the position's time is unsure, and what a guide
line is unsure by. docs/measures.md says in words what each is, and what a picture can and cannot say.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from typing import Sequence

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import Guide, Measure, Swing
from overlay.errors import DataError
from overlay.kinematics import median_seen
from overlay.measure.definitions import DEFINITIONS, Definition
from overlay.measure.geometry import normal_quantile
from overlay.measure.reading import Reading, read_at, stretch, theil_sen
from overlay.measure.scene import Rows, Scene, scene_of
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
        value -= _bias(definition, scene, settings)
        inner = _inner_sd(definition, scene, settings, sd)
        surely_over = inner < sd and abs(value) - normal_quantile(settings.level) * inner > settings.widest_deg
        _believe(definition, value, 0.0 if surely_over else inner, settings)
    except _NotMeasured as why:
        return Measure(
            definition.name, math.nan, definition.unit, None, False, str(why), position=position, time_s=time_s
        )
    half, inner = (normal_quantile(settings.level) * part for part in (sd, inner))
    interval = (value - inner, value + half) if value > 0 else (value - half, value + inner)
    return Measure(definition.name, value, definition.unit, interval, position=position, time_s=time_s)


def _inner_sd(definition: Definition, scene: Scene, settings: MeasureSettings, sd: float) -> float:
    """Standard deviation towards 0.

    A direction read from foreshortening is not as unsure to both sides: of a shaft that lies nearly across, a little
    more length turns it any way round, a little less turns it back by little. That it lies far over is known all the
    same.
    """
    if not (definition.length and definition.how == "at"):
        return sd
    # Read at the edge of the interval itself, where it has bent: a straight line through it would promise less.
    quantile = normal_quantile(settings.level)
    others, at_edge = (
        _value(definition, scene, replace(settings, shaft_length_sd=share * settings.shaft_length_sd))[1]
        for share in (0.0, -quantile)
    )
    return min(sd, math.sqrt(others**2 + max(0.0, at_edge**2 - others**2) / quantile**2))


def _bias(definition: Definition, scene: Scene, settings: MeasureSettings) -> float:
    return settings.bias.get(definition.name, 0.0) if scene.is_biased(settings) else 0.0


def _believe(definition: Definition, value: float, sd: float, settings: MeasureSettings) -> None:
    degrees = definition.unit == "deg"
    farthest = settings.farthest_deg if degrees else settings.farthest
    if not math.isfinite(value) or not math.isfinite(sd) or abs(value) > farthest:
        raise _NotMeasured("what was read is further off than any swing goes")
    half = normal_quantile(settings.level) * sd
    widest = {"deg": settings.widest_deg, "torso": settings.widest, "fraction": settings.widest_share}
    if half > widest[definition.unit]:
        told = {"deg": f"{half:.0f}°", "torso": f"{half:.2f} torso lengths", "fraction": f"{half:.2f}"}
        raise _NotMeasured(f"too unsure to say anything: ±{told[definition.unit]}")


def _time(definition: Definition, scene: Scene) -> float | None:
    """Where the still is, as far as it is known without a value."""
    name = definition.position if definition.how in ("at", "level") else definition.stop
    return scene.swing.positions.time(name)


def _found(name: str, scene: Scene) -> float:
    time_s = scene.swing.positions.time(name)
    if time_s is None:
        raise _NotMeasured(f"{words(name)} was not found: {scene.swing.positions.missing[name]}")
    return time_s


def _value(definition: Definition, scene: Scene, settings: MeasureSettings) -> tuple[float, float, float]:
    """Value, its standard deviation and its time."""
    single = definition.how in ("at", "level")
    names = (definition.position,) if single else (definition.start, definition.stop)
    places = [_found(name, scene) for name in names]
    if not (math.isfinite(scene.torso_px) and scene.torso_px > 0):
        raise _NotMeasured("shoulders and hips are not seen together, so there is no scale")
    if definition.shaft and not scene.has_club:
        raise _NotMeasured("the club was not followed in this clip")
    for name in definition.lines:
        if name not in scene.lines:
            reason = scene.no_lines.get(name, "it was not drawn")
            raise _NotMeasured(f"the {words(name)}{'' if 'line' in name else ' line'} is missing: {reason}")
    if definition.name == "shaft_direction_top":
        if not math.isfinite(scene.shaft_torsos):
            raise _NotMeasured("the shaft's full length is not known: it is not seen at address")
        if not np.all(np.isfinite(scene.hands_at_address)):
            raise _NotMeasured("the hands are not seen at address")
    if definition.how == "level":
        return _at_level(definition, scene, places[0], settings)
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
        raise _NotMeasured(_why(definition, scene, near, f"at {words(name)}", settings))
    return reading.value, _sd(definition, scene, reading, name, settings), time_s


def _sd(definition: Definition, scene: Scene, reading: Reading, name: str, settings: MeasureSettings) -> float:
    """Everything a reading at a position is unsure by, as one standard deviation."""
    parts = [
        reading.slope * _position_sd_s(name, scene, settings),
        reading.scatter / math.sqrt(max(1, len(reading.frames))),
        0.15 * reading.slope * reading.gap_s,
        *_input_sds(
            definition, scene, scene.rows.at(reading.frames), scene.shaft_sd_of(reading.frames, settings), settings
        ),
    ]
    return _root(definition, parts, settings)


def _root(definition: Definition, parts: Sequence[float], settings: MeasureSettings) -> float:
    """Root of the summed squares; no angle that a joint takes part in is finer than what a picture allows."""
    sd = math.sqrt(sum(part * part for part in parts))
    joints = [name for name in definition.points if name != "grip"]
    return max(sd, settings.angle_sd_deg) if definition.unit == "deg" and joints else sd


def _input_sds(
    definition: Definition, scene: Scene, rows: Rows, shaft_sd_deg: FloatArray, settings: MeasureSettings
) -> list[float]:
    """How far the value moves when each thing it is made of moves by its standard deviation, from the chosen rows."""

    def moved(other: FloatArray) -> float:
        change = np.abs(other - base)
        return float(median_seen(change[:, None])[0]) if np.any(np.isfinite(change)) else 0.0

    base = definition.formula(rows, scene, settings)
    parts: list[float] = []
    for name in definition.points:
        sd = settings.point_sd.get(name, settings.point_sd.get(name.split("_")[-1], math.nan))
        if name == "grip":
            continue  # an error of the grip along the shaft moves nothing; across it is the shaft's own
        if definition.fast and (name == "hands" or name.endswith("wrist")):
            sd *= settings.fast_factor
        for shift in ((sd, 0.0), (0.0, sd)):
            parts.append(moved(definition.formula(rows.moved(name, np.array(shift) * scene.torso_px), scene, settings)))
    if definition.shaft:
        spread = float(np.median(shaft_sd_deg))
        parts.append(moved(definition.formula(rows.turned(spread), scene, settings)))
    if definition.length:
        parts.append(moved(definition.formula(rows.stretched(1.0 + settings.shaft_length_sd), scene, settings)))
    if definition.lines and definition.unit == "torso":
        parts.extend(settings.guide_sds.get(line, settings.guide_sd) for line in definition.lines)
    if definition.name == "shaft_direction_top":
        parts.append(settings.azimuth_sd_deg)
    parts.append(_bias(definition, scene, settings) / 2)
    if "shaft_plane" in definition.lines:
        parts.append(settings.least_shaft_sd_deg)
    return parts


def _over(
    definition: Definition, scene: Scene, series: FloatArray, start_s: float, stop_s: float, settings: MeasureSettings
) -> tuple[float, float, float]:
    """The median, or the largest value, of a stretch between two positions."""
    first, last = (start_s + share * (stop_s - start_s) for share in definition.part)
    inside = stretch(scene.time_s, first, last)
    where = f"between {words(definition.start)} and {words(definition.stop)}"
    if definition.how == "largest":
        seen = inside & np.isfinite(series)
        if 2 * np.count_nonzero(seen) < np.count_nonzero(inside) or not np.any(seen):
            raise _NotMeasured(_why(definition, scene, inside, where, settings))
        smooth = _running_mean(scene.time_s, np.where(seen, series, np.nan), settings.smooth_s * scene.slow)
        best = int(np.flatnonzero(seen)[np.argmax(smooth[seen])])
        frame = np.array([best])
        parts = _input_sds(definition, scene, scene.rows.at(frame), scene.shaft_sd_of(frame, settings), settings)
        return float(smooth[best]), _root(definition, parts, settings), float(scene.time_s[best])
    # Equal steps, not frames: a few frames at 30 a second and many at 240 then say the same.
    times = np.linspace(first, last, settings.stretch_steps)
    steps = scene.interpolated(times, bridge_s=settings.bridge_s * scene.slow, edge_s=settings.edge_s * scene.slow)
    values = definition.formula(steps, scene, settings)
    read = np.flatnonzero(np.isfinite(values))
    if 2 * len(read) < len(times):
        raise _NotMeasured(_why(definition, scene, inside, where, settings))
    parts = _input_sds(definition, scene, steps.at(read), _shaft_sd_near(scene, times, settings), settings)
    # The stretch shifts by its ends' errors, each by its share, and the median with it along the value's own trend.
    middle = (definition.part[0] + definition.part[1]) / 2
    start, stop = (_position_sd_s(name, scene, settings) for name in (definition.start, definition.stop))
    trend = theil_sen(times[read], values[read])
    parts.append(trend * math.hypot((1 - middle) * start, middle * stop))
    return float(np.median(values[read])), _root(definition, parts, settings), float(np.median(times[read]))


def _shaft_sd_near(scene: Scene, times: FloatArray, settings: MeasureSettings) -> FloatArray:
    known = np.flatnonzero(np.isfinite(scene.rows.shaft_deg))
    if not len(known):
        return np.full(len(times), settings.shaft_sd_deg)
    nearest = known[np.argmin(np.abs(scene.time_s[known][None] - times[:, None]), axis=1)]
    return scene.shaft_sd_of(nearest, settings)


def _position_sd_s(name: str, scene: Scene, settings: MeasureSettings) -> float:
    position = scene.position(name)
    assert position is not None
    return scene.position_sd_s(position, settings)


def _at_level(
    definition: Definition, scene: Scene, time_s: float, settings: MeasureSettings
) -> tuple[float, float, float]:
    """The club head beside the hands where the shaft crosses level in the picture.

    Down the line a level shaft is seen end-on, just when it is asked for; a little earlier and later it is long
    enough. A parabola of the sideways over the upright part of the shaft through these rows is read where the upright
    part is nothing. Level in the picture needs no exact time.
    """
    across, up = scene.rows.shaft[:, 0] / scene.torso_px, -scene.rows.shaft[:, 1] / scene.torso_px
    near = np.abs(scene.time_s - time_s) <= max(settings.level_s * scene.slow, 4.05 * scene.frame_s)
    seen = near & np.isfinite(across) & (np.abs(up) <= settings.level_reach)
    if not np.any(seen & (up > 0)) or not np.any(seen & (up <= 0)) or np.count_nonzero(seen) < 4:
        if not np.any(seen):
            raise _NotMeasured(_why(definition, scene, near, f"around {words(definition.position)}", settings))
        raise _NotMeasured(f"the shaft is not seen on both sides of {words(definition.position)}")
    frames = np.flatnonzero(seen)
    # Rows near level count more; each is unsure by its angle over the sideways lever, and by how the path bends.
    x, y = up[frames], across[frames]
    angle_sd = np.radians(scene.shaft_sd_of(frames, settings))
    nearest = max(float(np.min(x[x > 0])), float(np.min(-x[x <= 0])), 0.5)
    bend_sd = settings.level_sd * nearest / 0.5
    row_sd = np.hypot(angle_sd * np.abs(x), settings.shaft_length_sd * np.abs(y)) + bend_sd
    weight = 1.0 / (row_sd * (0.3 + np.abs(x)))
    terms = np.stack([np.ones_like(x), x, x * x], axis=1)
    solution, *_ = np.linalg.lstsq(terms * weight[:, None], y * weight, rcond=None)
    left = y - terms @ solution
    spread = 1.4826 * float(np.median(np.abs(left)))
    inverse = np.linalg.pinv((terms * weight[:, None]).T @ (terms * weight[:, None]))
    carried = inverse @ (terms * weight[:, None] ** 2).T
    sd = math.sqrt(float(np.sum((carried[0] * np.maximum(row_sd - bend_sd, spread)) ** 2)))
    return float(solution[0]), _root(definition, (sd, bend_sd), settings), time_s


def _running_mean(time_s: FloatArray, values: FloatArray, half_s: float) -> FloatArray:
    near = np.abs(time_s[:, None] - time_s[None, :]) <= half_s
    seen = near & np.isfinite(values)[None, :]
    total = np.where(seen, np.nan_to_num(values)[None, :], 0.0).sum(axis=1)
    return np.asarray(np.where(seen.any(axis=1), total / np.maximum(seen.sum(axis=1), 1), np.nan), np.float64)


def _why(definition: Definition, scene: Scene, near: BoolArray, where: str, settings: MeasureSettings) -> str:
    """What was not seen in the chosen frames, or why what was seen says nothing."""
    if not np.any(near):
        return f"the clip does not show the moment {where}"
    if not np.any(scene.followed[near]):
        return f"the camera moves and how is not known {where}"
    for name in definition.points:
        if name != "grip" and not np.any(np.isfinite(scene.rows[name][near][:, 0])):
            return f"{_seen_as(name)} not seen {where}"
    if definition.shaft and not np.any(np.isfinite(scene.rows.shaft_deg[near])):
        return f"the shaft is not seen clearly {where}"
    # Something is seen, not enough of it: what is lacking in most of the frames that say nothing.
    lacking: Counter[str] = Counter()
    silent = np.flatnonzero(near & ~np.isfinite(definition.formula(scene.rows, scene, settings)))
    for frame in silent:
        gone = [name for name in definition.points if name != "grip" and np.isnan(scene.rows[name][frame, 0])]
        if gone:
            lacking[f"{_seen_as(gone[0])} not seen well enough"] += 1
        elif definition.shaft and np.isnan(scene.rows.shaft_deg[frame]):
            lacking["the shaft is not seen clearly enough"] += 1
        else:
            lacking[definition.degenerate] += 1
    return f"{lacking.most_common(1)[0][0] if lacking else 'too few frames show what is needed'} {where}"


def _seen_as(name: str) -> str:
    return {"hands": "the hands are", "trail_hip_held": "the trail hip is"}.get(name, f"the {words(name)} is")
