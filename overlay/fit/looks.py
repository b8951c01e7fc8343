"""How much longer or shorter each segment of the student looks than the posed model's, over the whole swing.

A segment looks its length when it lies in the picture plane; out of it, its look depends on how it is turned, which is
movement. The two are told apart by the model: a frame's ratio counts the more, the nearer the segment lies to the plane
there, given that a posture may differ by ``angle_deg``.
"""

from __future__ import annotations

import math

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import Camera, SpaceTrack
from overlay.fit.lens import LOG_DISTANCE, LOG_FOCAL
from overlay.fit.probable import LengthLook
from overlay.fit.seen import Seen, mapped_times
from overlay.fit.skeleton import SIDES
from overlay.landmarks import INDEX
from overlay.settings.fit import FitSettings

_WIDTHS = {"shoulder_width": "shoulder", "hip_width": "hip"}
_LIMBS = {
    "upper_arm": ("shoulder", "elbow"),
    "forearm": ("elbow", "wrist"),
    "hand": ("wrist", "index"),
    "thigh": ("hip", "knee"),
    "shank": ("knee", "ankle"),
    "foot": ("heel", "foot_index"),
}
_ARMS = ("elbow", "wrist", "index")


def looks_of(
    seen: Seen, model: SpaceTrack, camera: Camera, values: FloatArray, factors: dict[str, float], settings: FitSettings
) -> tuple[LengthLook, ...]:
    """The looks of all segments that are seen well enough.

    Parameters
    ----------
    seen : Seen
    model : SpaceTrack
        Posed with ``factors``.
    camera : Camera
        Of the (7,) ``values``.
    """
    times, theirs = mapped_times(seen, model.positions)
    if len(times) < 4:
        return ()
    at = np.searchsorted(seen.track.time_s, times)
    mine = np.where(seen.track.filled[at][..., None], np.nan, seen.track.points[at])
    visibility = seen.track.visibility[at]
    world = _sampled(model, theirs)
    share, after = _shares(times, seen, settings)
    log_scale = float(values[LOG_FOCAL] - values[LOG_DISTANCE])
    out = []
    for segment in ("trunk", "head", *_WIDTHS, *_LIMBS):
        ratios, variances, counts = [], [], []
        for one, other, arms in _ends(segment):
            ratio, variance = _ratios(
                mine, visibility, world, camera, one, other, arms, seen.torso_px, segment in _WIDTHS, settings
            )
            ratios.append(ratio)
            variances.append(variance)
            counts.append(np.where(after, 0.0, share) if segment == "foot" else share)
        found = _robust(np.concatenate(ratios), np.concatenate(variances), np.concatenate(counts), settings)
        if found is not None:
            out.append(LengthLook(segment, math.log(factors[segment]) + log_scale + found[0], found[1]))
    return tuple(out)


def _sampled(model: SpaceTrack, times: FloatArray) -> FloatArray:
    """(N, 33, 3) m at any times."""
    flat = model.points.reshape(len(model), -1)
    place = np.interp(times, model.time_s, np.arange(len(model)))
    low = np.minimum(place.astype(int), len(model) - 2)
    share = (place - low)[:, None]
    return np.asarray(((1 - share) * flat[low] + share * flat[low + 1]).reshape(len(times), -1, 3), np.float64)


def _ends(segment: str) -> list[tuple[tuple[str, ...], tuple[str, ...], tuple[str, ...]]]:
    """Joints whose means are the ends, and the arm joints among them, one a side."""
    shoulders = ("left_shoulder", "right_shoulder")
    if segment in ("trunk", "head"):
        joint = "hip" if segment == "trunk" else "ear"
        return [(shoulders, (f"left_{joint}", f"right_{joint}"), ())]
    if segment in _WIDTHS:
        joint = _WIDTHS[segment]
        return [((f"left_{joint}",), (f"right_{joint}",), ())]
    first, second = _LIMBS[segment]
    return [
        (
            (f"{side}_{first}",),
            (f"{side}_{second}",),
            tuple(f"{side}_{joint}" for joint in (first, second) if joint in _ARMS),
        )
        for side in SIDES
    ]


def _mean(points: FloatArray, names: tuple[str, ...]) -> FloatArray:
    return np.asarray(points[:, [INDEX[name] for name in names]].mean(axis=1), np.float64)


def _ratios(
    mine: FloatArray,
    visibility: FloatArray,
    world: FloatArray,
    camera: Camera,
    one: tuple[str, ...],
    other: tuple[str, ...],
    arms: tuple[str, ...],
    torso_px: float,
    across: bool,
    settings: FitSettings,
) -> tuple[FloatArray, FloatArray]:
    """(N,) log of look ÷ model's look, and its variance; NaN where a joint is missing or hidden."""
    a, b = _mean(world, one), _mean(world, other)
    model_px = np.linalg.norm(camera.project(a) - camera.project(b), axis=-1)
    depth = camera.coordinates(0.5 * (a + b))[:, 2]
    full_px = camera.focal_px * np.linalg.norm(a - b, axis=-1) / np.maximum(depth, 0.1)
    seen_px = np.linalg.norm(_mean(mine, one) - _mean(mine, other), axis=-1)
    in_plane = np.clip(model_px / np.maximum(full_px, 1e-9), 0.0, 1.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.log(seen_px / model_px)
        out_of_plane = np.sqrt(1.0 - in_plane**2) / np.maximum(in_plane, 1e-3)
        # A turn by σ changes the look by σ tan φ, and by σ²/2 where the segment lies in the plane.
        angle = math.radians(settings.turn_deg if across else settings.angle_deg)
        variance = (settings.end_sd * torso_px / np.maximum(model_px, 1e-6)) ** 2
        variance = variance + (angle * out_of_plane) ** 2 + (0.5 * angle**2) ** 2
    good = in_plane > settings.least_in_plane
    for name in arms:
        good &= visibility[:, INDEX[name]] >= settings.seen_visibility
    return np.where(good, ratio, np.nan), np.asarray(variance, np.float64)


def _shares(times: FloatArray, seen: Seen, settings: FitSettings) -> tuple[FloatArray, BoolArray]:
    """(N,) how many independent looks each frame stands for, and which lie after impact.

    Neighbouring frames err alike: backswing, downswing and the rest count as so many looks each, however long they
    last. What comes after impact counts less: there players differ most and the pose model is least sure.
    """
    top, impact = (seen.positions.time(name) for name in ("top", "impact"))
    after = times > impact if impact is not None else np.zeros(len(times), bool)
    before = times <= top if top is not None else ~after
    share = np.zeros(len(times))
    for inside, looks in (
        (before, settings.looks_back),
        (~before & ~after, settings.looks_down),
        (after & ~before, settings.looks_after),
    ):
        share[inside] = looks / max(int(inside.sum()), 1)
    return share, np.asarray(after, bool)


def _robust(
    ratio: FloatArray, variance: FloatArray, share: FloatArray, settings: FitSettings
) -> tuple[float, float] | None:
    """Weighted mean with outliers taken down (Huber's weights), and its standard deviation."""
    good = np.isfinite(ratio) & np.isfinite(variance) & (share > 0)
    if good.sum() < 3:
        return None
    ratio, spread = ratio[good], np.sqrt(variance[good])
    weight = share[good] / variance[good]
    order = np.argsort(ratio)
    centre = float(ratio[order][int(np.searchsorted(np.cumsum(weight[order]) / weight.sum(), 0.5))])
    for _ in range(5):
        pull = np.minimum(1.0, settings.huber / np.maximum(np.abs(ratio - centre) / spread, 1e-9))
        centre = float(np.sum(pull * weight * ratio) / np.sum(pull * weight))
    return centre, math.hypot(1.0 / math.sqrt(float(np.sum(pull * weight))), settings.look_floor)
