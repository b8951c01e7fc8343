"""Aligns a student's swing to a reference swing: which moment of one belongs to which moment of the other.

DTW on body-frame features gives the coarse path, Gauss-Newton refines it below the frame grid, and positions
measured by better means than the pose (ball, sound, club, a person) bend it.
"""

from __future__ import annotations

import numpy as np

from overlay.align.anchors import Anchor, bend, measured_anchors
from overlay.align.dtw import OpenEnds, Path, dtw_path, open_path, run_share
from overlay.align.warp import increasing, path_warp, refine
from overlay.arrays import FloatArray
from overlay.data import Swing, TimeMap
from overlay.normalise import JOINT_WEIGHTS, Features, swing_features
from overlay.settings.align import AlignSettings

__all__ = ["Anchor", "OpenEnds", "Path", "align", "align_features", "dtw_path", "increasing"]


def align(
    student: Swing,
    reference: Swing,
    *,
    anchors: tuple[Anchor, ...] | None = None,
    settings: AlignSettings = AlignSettings(),  # noqa: B008
) -> TimeMap:
    """Map the student's clip time to the reference's.

    Parameters
    ----------
    student, reference : Swing
        Cleaned; of any size, side, frame rate and slow factor. Positions may be missing.
    anchors : tuple of Anchor or None
        Moments known in both; None takes the positions whose source is not the pose.

    Returns
    -------
    TimeMap
        Strictly monotone, knots every ``final_knot_s``.

    Raises
    ------
    ContentError
        A swing has no torso or fewer than four frames.
    """
    a = swing_features(student, settings.features)
    b = swing_features(reference, settings.features)
    ends = _open_ends(student, reference)
    if anchors is None:
        anchors = measured_anchors(student, reference, settings)
    return align_features(a, b, ends=ends, anchors=anchors, settings=settings)


def align_features(
    student: Features,
    reference: Features,
    *,
    ends: OpenEnds = OpenEnds(),  # noqa: B008
    anchors: tuple[Anchor, ...] = (),
    settings: AlignSettings = AlignSettings(),  # noqa: B008
) -> TimeMap:
    """As ``align``, from features that are there already."""
    joint_weight = shared_weights(student, reference)
    x, y = (dtw_series(features, joint_weight, settings) for features in (student, reference))
    path = open_path(x, y, ends, settings.open_end_shares, round(0.5 / student.step_s))
    first = path_warp(path, student, reference, settings)
    warp = refine(first, student, reference, joint_weight, settings) if settings.refine else first
    time = student.time_s
    shift = float(np.sqrt(np.mean((warp - first) ** 2)))
    if anchors:
        at = student.real_time(np.array([anchor.student_s for anchor in anchors]))
        wanted = reference.real_time(np.array([anchor.reference_s for anchor in anchors]))
        warp = bend(time, warp, at, wanted, np.array([anchor.sigma_s for anchor in anchors]), settings)
    inside = time[[path.steps[0, 0], path.steps[-1, 0]]]
    count = max(2, round((inside[1] - inside[0]) / settings.final_knot_s) + 1)
    knots = np.linspace(inside[0], inside[1], count)
    values = increasing(np.interp(knots, time, warp), np.diff(knots), settings.slope_low, settings.slope_high)
    slopes = np.diff(values) / np.diff(knots)
    diagnostics = {
        "cost_per_step": path.cost / len(path.steps),
        "run_share": run_share(path),
        "slope_low": float(slopes.min()),
        "slope_high": float(slopes.max()),
        "refinement_ms": 1000.0 * shift,
        "anchors": float(len(anchors)),
    }
    return TimeMap(
        student_s=student.clip_time(knots),
        reference_s=reference.clip_time(values),
        diagnostics=diagnostics,
        outer_slope=reference.slow_factor / student.slow_factor,
    )


def shared_weights(student: Features, reference: Features) -> FloatArray:
    """(J,) weight of each joint for this pair: how well both see it, the mean over joints being 1."""
    base = np.array(list(JOINT_WEIGHTS.values()))
    weight = base * student.weight.mean(axis=0) * reference.weight.mean(axis=0)
    return np.asarray(weight / max(float(weight.mean()), 1e-12), np.float64)


def dtw_series(features: Features, joint_weight: FloatArray, settings: AlignSettings) -> FloatArray:
    """(G, J·4) place and velocity × ``velocity_s``, each joint times the root of its weight."""
    both = np.concatenate([features.place, features.velocity * settings.features.velocity_s], axis=2)
    return np.asarray((both * np.sqrt(joint_weight)[None, :, None]).reshape(len(features), -1), np.float64)


def _open_ends(student: Swing, reference: Swing) -> OpenEnds:
    missing = [swing.positions.time(name) is None for name in ("address", "finish") for swing in (student, reference)]
    return OpenEnds(*missing)
