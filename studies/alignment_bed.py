"""Pairs of synthetic swings whose true time map is known, for measuring the alignment.

A pair is two players of different build filmed by two cameras that stand 5–12° off, drift and zoom; the student's
clock is bent by a random smooth monotone warp. *Same style*: both make the same swing, so the truth is exact. *Other
style*: the two swings differ in turn, plane, hand path, lag, shift, stance and finish. There the truth is defined:
the nine positions coincide (each swing's own, found on its movement), and between two positions the stages of the
swing (the golfer's canonical time) correspond in order, joined by a monotone cubic; no definition is finer than
what "the same moment of two different swings" means, so part of the error of that row is the definition's.
"""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np

from overlay.arrays import FloatArray
from overlay.clean import clean
from overlay.data import Clip, Position, Positions, Swing, TimeMap
from overlay.errors import InputError
from overlay.golfer import BodySpec, CameraSpec, GolferSpec, Motion, NoiseSpec, StyleSpec, simulate, truth_track
from overlay.kinematics import torso_length
from overlay.positions import find_swings
from overlay.terms import POSITION_NAMES

STYLE_SPREAD: dict[str, float] = {
    "shoulder_turn_deg": 12.0,
    "pelvis_turn_deg": 7.0,
    "hands_height": 0.12,
    "hands_depth": 0.12,
    "shaft_top_deg": 18.0,
    "plane_deg": 4.0,
    "forward_bend_deg": 4.0,
    "knee_flex_deg": 6.0,
    "stance_width": 0.17,
    "arm_hang_deg": 4.0,
    "shift_m": 0.04,
    "lag_deg": 15.0,
    "shaft_lean_m": 0.03,
    "finish_height": 0.1,
    "trail_foot_lift_deg": 7.0,
    "flare_deg": 7.0,
}
"""Standard deviation of each style value; twice that is about the golfer's limit."""

SEGMENTS = ("arm", "forearm", "hand", "thigh", "shank", "trunk", "shoulders", "hips", "head", "foot")

POSE_ERROR_S = {"address": 0.05, "finish": 0.08}
"""Standard deviation of the times that trim the swing; the others, 12 ms."""


@dataclass(frozen=True)
class Kind:
    """What a pair is like.

    Attributes
    ----------
    other_style : bool
    rate_hz, reference_rate_hz : float
        Real frames per second.
    noise : "white" or "model"
        White: 3 % of torso length on every joint in every frame, 5 % of all values missing. Model: what the pose
        model was seen to do (drifting errors, guessed far arm, swapped hips), 5 % of hand frames missing.
    mirrored : bool
        The reference is left-handed.
    slow_factor : float
        The student's clip plays that much slower than life.
    told : bool
        Whether the clip says so.
    pre_roll_s : float
        Extra standing and waggling before address that address finding has let through.
    found : bool
        Positions are found from the track, as in use; else they are the true ones with an error.
    """

    other_style: bool = False
    rate_hz: float = 60.0
    reference_rate_hz: float = 0.0
    noise: str = "white"
    mirrored: bool = False
    slow_factor: float = 1.0
    told: bool = True
    pre_roll_s: float = 0.0
    found: bool = True


@dataclass(frozen=True)
class Case:
    """A pair and its truth, sampled every 5 ms from the student's address to finish, clip seconds."""

    student: Swing
    reference: Swing
    at_s: FloatArray
    true_s: FloatArray
    top_s: float
    impact_s: float
    reference_impact_s: float
    slow_factor: float
    rate_hz: float


def random_style(rng: np.random.Generator) -> StyleSpec:
    return StyleSpec(**{name: float(np.clip(rng.normal(0, sd), -2 * sd, 2 * sd)) for name, sd in STYLE_SPREAD.items()})


def random_body(rng: np.random.Generator) -> BodySpec:
    scales = {name: float(rng.uniform(0.88, 1.12)) for name in SEGMENTS}
    return BodySpec(stature_m=float(rng.uniform(1.60, 1.95)), **scales)


def random_pair(rng: np.random.Generator, other_style: bool, mirrored: bool) -> tuple[Motion, Motion]:
    """Two motions; drawn again where a body cannot make the swing."""
    while True:
        first = random_style(rng)
        styles = first, random_style(rng) if other_style else first
        seed = int(rng.integers(1 << 30))
        seeds = seed, int(rng.integers(1 << 30)) if other_style else seed
        try:
            student, reference = (
                simulate(GolferSpec(body=random_body(rng), style=style, seed=s, handedness=hand))
                for style, s, hand in zip(styles, seeds, ("right", "left" if mirrored else "right"))
            )
        except InputError:
            continue
        return student, reference


def random_warp(
    rng: np.random.Generator, motion: Motion, spread: float = 0.2, overall: float = 0.15, knot_s: float = 0.35
) -> Motion:
    """The motion on a clock whose logarithmic speed is a smooth random curve, kept within 0.55–1.8."""
    from scipy.interpolate import PchipInterpolator

    knots = np.arange(-1.5, 2.0 * motion.duration_s + 2.0, knot_s)
    logs = rng.normal(0, overall) + rng.normal(0, spread, len(knots))
    speed = PchipInterpolator(knots, np.clip(logs, math.log(0.55), math.log(1.8)))
    new = np.arange(-1.0, 1.9 * motion.duration_s + 1.0, 0.002)
    old = np.cumsum(np.exp(speed(new))) * 0.002
    old -= np.interp(0.0, new, old)
    return motion.warped(lambda t: np.interp(t, new, old), float(np.interp(motion.duration_s, old, new)))


def true_map(student: Motion, reference: Motion) -> Callable[[FloatArray], FloatArray]:
    """Student's real time → reference's: positions coincide, the swing's stages in between (module docstring)."""
    from scipy.interpolate import PchipInterpolator

    mine, theirs = (
        m.phase(np.array([m.position_times[name] for name in POSITION_NAMES])) for m in (student, reference)
    )
    far = 3.0
    joined = PchipInterpolator(
        np.concatenate([[mine[0] - far], mine, [mine[-1] + far]]),
        np.concatenate([[theirs[0] - far], theirs, [theirs[-1] + far]]),
    )
    return lambda times_s: reference.time_of(joined(student.phase(times_s)))


def film(motion: Motion, rng: np.random.Generator, kind: Kind, view: str, rate_hz: float, *, student: bool) -> Swing:
    """The swing as a drifting, zooming camera 5–12° off and the pose model see it."""
    camera = CameraSpec.for_motion(
        motion,
        view,
        yaw_deg=float(rng.choice([-1, 1]) * rng.uniform(5.0, 12.0)),
        distance_m=float(rng.uniform(3.4, 5.5)),
    )
    seed = int(rng.integers(1 << 30))
    noise = NoiseSpec(dropout=0.05) if kind.noise == "model" else None
    track = truth_track(motion, camera, rate_hz, noise=noise, seed=seed)
    size = torso_length(track)
    points = np.array(track.points)
    time = track.time_s[:, None, None]
    middle = np.array(track.image_size) / 2
    points = middle + (points - middle) * (1.0 + 0.02 * np.sin(1.3 * time + rng.uniform(0, 6.28)))
    points += time * rng.normal(0.0, 0.02 * size, 2)
    visibility = np.array(track.visibility)
    if kind.noise == "white":
        points += rng.normal(0.0, 0.03 * size, points.shape)
        lost = rng.random(visibility.shape) < 0.05
        points[lost], visibility[lost] = np.nan, 0.0
    slow = kind.slow_factor if student else 1.0
    times = track.time_s * slow
    track = dataclasses.replace(track, points=points, visibility=visibility, time_s=times)
    told = None if slow == 1.0 or not kind.told else Fraction(rate_hz).limit_denominator(1000)
    clip = Clip(
        path=Path("synthetic.mp4"),
        content_hash="0" * 64,
        width=track.image_size[0],
        height=track.image_size[1],
        rotation_deg=0,
        mirrored=False,
        times_s=times,
        nominal_rate=Fraction(rate_hz / slow).limit_denominator(1000),
        capture_rate=told,
        is_variable_rate=False,
        has_audio=False,
    )
    track = clean(track, slow_factor=clip.slow_factor)
    if kind.found:
        return find_swings(track, clip)[0]
    found: list[Position] = []
    for name in POSITION_NAMES:
        moment = motion.position_times[name] + rng.normal(0.0, POSE_ERROR_S.get(name, 0.012))
        if name == "address":
            moment -= kind.pre_roll_s
        earliest = found[-1].time_s / slow + 0.002 if found else 0.0
        found.append(Position(name, max(moment, earliest) * slow, 0.9))
    start, stop = found[0].time_s - 0.5 * slow, found[-1].time_s + 0.5 * slow
    return Swing(
        clip=clip,
        pose=track.between(start, stop),
        view="dtl" if view == "dtl" else "fo",
        view_confidence=1.0,
        handedness=motion.spec.handedness,
        handedness_confidence=1.0,
        positions=Positions(tuple(found)),
        torso_px=torso_length(track),
    )


def make_case(kind: Kind, seed: int) -> Case:
    """One pair; even seeds down the line, odd ones face on."""
    rng = np.random.default_rng([seed, 29])
    view = ("dtl", "fo")[seed % 2]
    student, reference = random_pair(rng, kind.other_style, kind.mirrored)
    if kind.pre_roll_s:
        spec = student.spec
        longer = dataclasses.replace(spec.tempo, pre_s=spec.tempo.pre_s + kind.pre_roll_s)
        student = simulate(dataclasses.replace(spec, tempo=longer))
    student = random_warp(rng, student)
    slow = kind.slow_factor
    one = film(student, rng, kind, view, kind.rate_hz, student=True)
    other = film(
        reference,
        rng,
        dataclasses.replace(kind, pre_roll_s=0.0),
        view,
        kind.reference_rate_hz or kind.rate_hz,
        student=False,
    )
    moments = student.position_times
    at = np.arange(moments["address"], moments["finish"], 0.005)
    return Case(
        student=one,
        reference=other,
        at_s=at * slow,
        true_s=true_map(student, reference)(at),
        top_s=moments["top"] * slow,
        impact_s=moments["impact"] * slow,
        reference_impact_s=reference.position_times["impact"],
        slow_factor=slow,
        rate_hz=kind.rate_hz,
    )


@functools.cache
def make_cases(kind: Kind, count: int, first_seed: int) -> tuple[Case, ...]:
    return tuple(make_case(kind, first_seed + i) for i in range(count))


@dataclass(frozen=True)
class Errors:
    """Of one pair, real ms of the reference; stutter in percent points above the true warp's."""

    mean: float
    p95: float
    downswing: float
    impact: float
    stutter: float
    slope_low: float
    slope_high: float
    all_errors: FloatArray
    signed: FloatArray


def stutter(reference_s: FloatArray, rate_hz: float) -> float:
    """Percent of steps in which the reference's frame repeats or jumps by more than two."""
    steps = np.diff(np.round(reference_s * rate_hz))
    return 100.0 * float(np.mean((steps < 1) | (steps > 2)))


def measure(case: Case, time_map: TimeMap) -> Errors:
    """Compare a map with the truth."""
    signed = 1000.0 * (time_map.to_reference(case.at_s) - case.true_s)
    error = np.abs(signed)
    down = (case.at_s >= case.top_s) & (case.at_s <= case.impact_s)
    frames = np.arange(case.at_s[0], case.at_s[-1], case.slow_factor / case.rate_hz)
    slopes = np.diff(time_map.to_reference(case.at_s[::4])) / np.diff(case.at_s[::4]) * case.slow_factor
    return Errors(
        mean=float(error.mean()),
        p95=float(np.percentile(error, 95)),
        downswing=float(error[down].mean()),
        impact=float(np.interp(case.impact_s, case.at_s, error)),
        stutter=stutter(time_map.to_reference(frames), case.rate_hz)
        - stutter(np.interp(frames, case.at_s, case.true_s), case.rate_hz),
        slope_low=float(slopes.min()),
        slope_high=float(slopes.max()),
        all_errors=error,
        signed=signed,
    )


@dataclass(frozen=True)
class Summary:
    """Over many pairs: means of the pairs' figures, p95 over all moments of all pairs."""

    mean: float
    p95: float
    p95_of_pairs: float
    downswing: float
    impact: float
    stutter: float
    slope_low: float
    slope_high: float
    worst: float
    count: int


def summarise(errors: list[Errors]) -> Summary:
    return Summary(
        mean=float(np.mean([e.mean for e in errors])),
        p95=float(np.percentile(np.concatenate([e.all_errors for e in errors]), 95)),
        p95_of_pairs=float(np.mean([e.p95 for e in errors])),
        downswing=float(np.mean([e.downswing for e in errors])),
        impact=float(np.mean([e.impact for e in errors])),
        stutter=float(np.mean([e.stutter for e in errors])),
        slope_low=min(e.slope_low for e in errors),
        slope_high=max(e.slope_high for e in errors),
        worst=max(e.mean for e in errors),
        count=len(errors),
    )
