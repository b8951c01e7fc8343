"""Aligns a student's swing to a reference swing: which moment of one belongs to which moment of the other.

DTW on body-frame features gives the coarse path; a fit below the frame grid refines it, learning on the way how the
two players differ; positions measured by better means than the pose (ball, sound, club, a person) bend it.
Method, figures and limits: docs/alignment.md.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from overlay.align.anchors import Anchor, bend, measured_anchors
from overlay.align.dtw import OpenEnds, Path, dtw_path, open_path, run_share
from overlay.align.refine import Hint, Trust, adapted, explained_share, first_trust, found_trust, refine
from overlay.align.warp import increasing, path_warp
from overlay.arrays import FloatArray
from overlay.data import Positions, Swing, TimeMap
from overlay.normalise import JOINT_WEIGHTS, Features, swing_features
from overlay.settings.align import AlignSettings

__all__ = ["Anchor", "OpenEnds", "Path", "align", "align_features", "dtw_path", "measured_anchors"]


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
        Cleaned, of one view; of any size, side, frame rate and slow factor. Positions may be missing.
    anchors : tuple of Anchor or None
        Moments known in both swings; None takes the positions of which at least one side's source is not the pose.

    Returns
    -------
    TimeMap
        Strictly monotone, knots every ``final_knot_s`` of real time. ``diagnostics``: see ``diagnose``. ``notes``
        holds a sentence for the user where the map is doubtful.

    Raises
    ------
    ContentError
        A swing has no torso or fewer than four frames.
    """
    student, reference = without_wait(student, reference, settings), without_wait(reference, student, settings)
    missing = [swing.positions.time(name) is None for name in ("address", "finish") for swing in (student, reference)]
    a, b = swing_features(student, settings.features), swing_features(reference, settings.features)
    return align_features(
        a,
        b,
        ends=OpenEnds(*missing),
        hints=position_hints(student, reference, a, b, settings),
        anchors=measured_anchors(student, reference, settings) if anchors is None else anchors,
        settings=settings,
    )


def align_features(
    student: Features,
    reference: Features,
    *,
    ends: OpenEnds = OpenEnds(),  # noqa: B008
    hints: tuple[Hint, ...] = (),
    anchors: tuple[Anchor, ...] = (),
    settings: AlignSettings = AlignSettings(),  # noqa: B008
) -> TimeMap:
    """As ``align``, from features that are there already."""
    joint_weight = shared_weights(student, reference)
    trust = first_trust(joint_weight, settings)
    marks = np.array([(hint.student_s / student.step_s, hint.reference_s / reference.step_s) for hint in hints])
    least = round(settings.least_overlap_s / student.step_s)
    fitted = reference
    for round_number in range(settings.rounds):
        path = open_path(
            dtw_series(student, trust),
            dtw_series(fitted, trust),
            ends,
            settings.open_end_shares,
            least,
            marks,
            settings.mark_s / student.step_s,
        )
        first = path_warp(path, student, fitted, settings)
        warp = refine(first, student, fitted, trust, settings, hints) if settings.refine else first
        if round_number < settings.rounds - 1:
            fitted = adapted(warp, student, reference, settings)
            trust = found_trust(warp, student, fitted, joint_weight, settings)
    posed = warp
    if anchors:
        at = student.real_time(np.array([anchor.student_s for anchor in anchors]))
        wanted = reference.real_time(np.array([anchor.reference_s for anchor in anchors]))
        sigma = np.array([anchor.sigma_s for anchor in anchors])
        warp = bend(student.time_s, warp, at, wanted, sigma, settings)
    time = student.time_s
    start, stop = float(time[path.steps[0, 0]]), float(time[path.steps[-1, 0]])
    stop = max(stop, start + student.step_s)
    knots = np.linspace(start, stop, max(2, round((stop - start) / settings.final_knot_s) + 1))
    values = increasing(np.interp(knots, time, warp), np.diff(knots), settings.slope_low, settings.slope_high)
    slopes = np.diff(values) / np.diff(knots)
    at_limit = (slopes <= settings.slope_low * 1.02) | (slopes >= settings.slope_high / 1.02)
    run_points = max(2, round(settings.run_s / student.step_s))
    diagnostics = {
        "cost_per_step": path.cost / len(path.steps),
        "explained_share": explained_share(posed, student, fitted),
        "slope_min": float(slopes.min()),
        "slope_max": float(slopes.max()),
        "limit_share": float(at_limit.mean()),
        "student_run_share": run_share(path, 0, run_points),
        "reference_run_share": run_share(path, 1, run_points),
        "refinement_shift_ms": 1000.0 * float(np.sqrt(np.mean((posed - first) ** 2))),
        "anchors": float(len(anchors)),
        "anchor_shift_ms": 1000.0 * float(np.max(np.abs(warp - posed))),
    }
    return TimeMap(
        student_s=student.clip_time(knots),
        reference_s=reference.clip_time(values),
        diagnostics=diagnostics,
        outer_slope=reference.slow_factor / student.slow_factor,
        notes=doubts(diagnostics, settings),
    )


def without_wait(swing: Swing, other: Swing, settings: AlignSettings) -> Swing:
    """The swing without a wait or waggle that passed for a part of its backswing.

    When its backswing, measured in its own downswings, is much longer than the other's, its address was found too
    early: the address is dropped, and with it what lies before a generous backswing.
    """
    times = [tuple(s.positions.time(name) for name in ("address", "top", "impact")) for s in (swing, other)]
    (address, top, impact), (other_address, other_top, other_impact) = times
    if address is None or top is None or impact is None:
        return swing
    if other_address is None or other_top is None or other_impact is None:
        return swing
    usual = (other_top - other_address) / (other_impact - other_top) * (impact - top)
    if top - address <= settings.longest_backswing * usual:
        return swing
    found = tuple(position for position in swing.positions.found if position.name != "address")
    missing = {**swing.positions.missing, "address": "found too early to belong to this backswing"}
    start = top - settings.backswing_margin * usual
    kept = tuple(position for position in found if position.time_s > start)
    missing |= {position.name: "before the swing" for position in found if position.time_s <= start}
    return dataclasses.replace(swing, pose=swing.pose.between(start, swing.stop_s), positions=Positions(kept, missing))


def position_hints(
    student: Swing, reference: Swing, a: Features, b: Features, settings: AlignSettings
) -> tuple[Hint, ...]:
    """The positions both swings have, as found from the pose: a little evidence each.

    It decides only where the poses themselves say little, above all at the start, when hardly anything moves.
    """
    found = []
    for name in settings.hint_names:
        pair = student.positions.get(name), reference.positions.get(name)
        if pair[0] is None or pair[1] is None:
            continue
        sigmas = [settings.posed_sigma_s / max(p.confidence, settings.least_confidence) for p in pair if p is not None]
        at = float(a.real_time(pair[0].time_s)), float(b.real_time(pair[1].time_s))
        found.append(Hint(*at, math.hypot(*sigmas)))
    return tuple(found)


def doubts(diagnostics: dict[str, float], settings: AlignSettings) -> tuple[str, ...]:
    """Sentences for the user, none when the map can be relied on."""
    found = []
    if diagnostics["explained_share"] < settings.doubtful_explained:
        found.append(
            f"The two swings move so differently that only {100 * max(diagnostics['explained_share'], 0.0):.0f} % of "
            "the student's movement is found in the reference; their synchronisation is doubtful."
        )
    if max(diagnostics["student_run_share"], diagnostics["reference_run_share"]) > settings.doubtful_runs:
        found.append(
            "For much of the time one of the swings stands still while the other moves; their synchronisation is "
            "doubtful. Check that both clips show one full swing each."
        )
    if diagnostics["limit_share"] > settings.doubtful_limit:
        found.append(
            "For much of the time one of the swings runs more than three times as fast as the other; their "
            "synchronisation is doubtful. Check the address and the finish of both."
        )
    return tuple(found)


def shared_weights(student: Features, reference: Features) -> FloatArray:
    """(J,) weight of each joint for this pair: how well both see it, the mean over joints being 1."""
    base = np.array(list(JOINT_WEIGHTS.values()))
    weight = base * student.weight.mean(axis=0) * reference.weight.mean(axis=0)
    return np.asarray(weight / max(float(weight.mean()), 1e-12), np.float64)


def dtw_series(features: Features, trust: Trust) -> FloatArray:
    """(G, J·4) place and velocity, each times the root of its trust."""
    place = features.place * np.sqrt(trust.place)[None, :, None]
    velocity = features.velocity * np.sqrt(trust.velocity)[None, :, None]
    return np.asarray(np.concatenate([place, velocity], axis=2).reshape(len(features), -1), np.float64)
