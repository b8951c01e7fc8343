"""A clip's reference fitted to the student's proportions, with what is not known of them."""

from __future__ import annotations

import math
from typing import Mapping

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import ReferenceFit, Swing
from overlay.landmarks import INDEX, sided
from overlay.segments.lengths import (
    SEGMENT_NAMES,
    SIDES,
    both,
    mean_point,
    segment_lengths,
    segment_words,
    still_frames,
)
from overlay.segments.rebuild import Rebuilt, rescaled
from overlay.settings.segments import SEGMENTS, SegmentSettings
from overlay.terms import PHASES, Handedness


def applied(log_ratio: float, sd: float, settings: SegmentSettings = SEGMENTS) -> float:
    """The factor applied for a measured ln(student ÷ reference) of this SD.

    Nothing within ``beyond`` SDs, nearly all of it far beyond (the garrotte, Breiman 1995), within the factors' limits.
    What lies further out than any two builds is a misplaced joint: it counts ever less, from ``misread`` on not at all.

    >>> [round(applied(x, 0.03), 3) for x in (0.03, 0.06, 0.12, 0.31, 0.5)]
    [1.0, 1.046, 1.119, 1.124, 1.0]
    """
    least = settings.beyond * sd
    if abs(log_ratio) <= least:
        return 1.0
    kept = log_ratio * (1.0 - (least / log_ratio) ** 2)
    limit = math.log(settings.most_factor if log_ratio > 0 else 1.0 / settings.least_factor)
    trust = (math.log(settings.misread) - abs(log_ratio)) / (math.log(settings.misread) - limit)
    return math.exp(math.copysign(min(abs(kept), limit), log_ratio) * min(max(trust, 0.0), 1.0))


def fit_in_picture(reference: Swing, student: Swing, settings: SegmentSettings = SEGMENTS) -> ReferenceFit:
    """A clip's reference with the student's proportions, in the reference's own picture.

    A length is changed only beyond the uncertainty of its reading, only within limits, and not at all where one of the
    two players does not show it; ``notes`` say so. What is not known is in ``sd``.

    Parameters
    ----------
    reference, student : Swing
        Of one view; the hands may differ.
    settings : SegmentSettings
    """
    theirs, mine = segment_lengths(reference, settings), segment_lengths(student, settings)
    factors, unsure, notes = dict.fromkeys(SEGMENT_NAMES, 1.0), {}, []
    same_view = reference.view == student.view
    cut: list[str] = []
    unseen: list[str] = []
    for name in SEGMENT_NAMES[1:]:
        if not same_view or name not in theirs.lengths or name not in mine.lengths:
            if name in _SAID:
                unseen.append(name)
            unsure[name] = settings.build_sd
            continue
        ratio = math.log(mine.lengths[name] / theirs.lengths[name])
        sd = math.hypot(mine.sd[name], theirs.sd[name])
        if name in mine.sides and name in theirs.sides:
            # Lead and trail side of a build agree: where their ratios do not, the reading is that unsure.
            lead, trail = (math.log(own / other) for own, other in zip(mine.sides[name], theirs.sides[name]))
            sd = max(sd, abs(lead - trail) / 2)
        factors[name] = applied(ratio, sd, settings)
        # With what is known of builds in general, a reading is never less sure than no reading.
        unsure[name] = 1.0 / math.hypot(1.0 / sd, 1.0 / settings.build_sd)
        if not math.log(settings.least_factor) <= ratio <= math.log(settings.most_factor):
            unsure[name] = settings.build_sd
            if name in _SAID:
                cut.append(name)
    lost = len(cut) > settings.most_misread
    if lost:
        factors, unsure = dict.fromkeys(SEGMENT_NAMES, 1.0), dict.fromkeys(SEGMENT_NAMES[1:], settings.build_sd)
    swing = rescaled(reference, factors)
    if not same_view:
        notes.append("The two are filmed from different sides, so the reference could not be fitted to the build.")
    elif len(theirs.lengths) <= 1 or len(mine.lengths) <= 1:
        reason = next(iter(mine.missing.values()), "") or next(iter(theirs.missing.values()), "")
        notes.append(f"The reference could not be fitted to the student's build: {reason}.")
    elif unseen:
        notes.append(f"Not fitted, as not seen well enough in both swings: {_listed(unseen)}.")
    if lost:
        notes.append(
            f"Measured further apart than two builds are: {_listed(cut)}. So the reference was not fitted to the "
            "student's build: the cameras stand too differently, or joints are misplaced."
        )
    elif cut:
        notes.append(
            f"Measured further apart than two builds are, and fitted in part or not at all: {_listed(cut)}. A joint "
            "may be misplaced."
        )
    return ReferenceFit(
        kind="picture",
        swing=swing,
        factors=factors,
        sd=_part_sd(swing, unsure),
        residual=_residual(swing, student, settings),
        notes=tuple(notes),
    )


_SAID = ("shoulder_width", "hip_width", "upper_arm", "forearm", "thigh", "shank")
"""Segments a user is told of; hands, feet, neck and head are small, and many sources do not have them."""


def _listed(names: list[str]) -> str:
    said = [segment_words(name) for name in names]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"


_JOINTS = ("shoulder", "elbow", "wrist", "hip", "knee", "ankle")


def _residual(fitted: Swing, student: Swing, settings: SegmentSettings) -> float:
    """Median distance of the joints at address, both on one spot and in lengths of their own trunks."""
    poses = []
    for swing in (fitted, student):
        track = swing.pose.mirrored() if swing.handedness == "left" else swing.pose
        points = np.where(track.filled[..., None], np.nan, track.points)[still_frames(swing, settings)]
        with np.errstate(all="ignore"):
            pose = np.array([_nanmedian(points[:, INDEX[f"{side}_{j}"]]) for j in _JOINTS for side in SIDES])
        trunk = pose[:2].mean(axis=0) - pose[6:8].mean(axis=0)
        poses.append(pose / max(float(np.hypot(*trunk)), 1e-9))
    # On the feet; where one of the two is cut off there, on the hips.
    feet, hips = ([pose[rows].mean(axis=0) for pose in poses] for rows in (slice(-2, None), slice(6, 8)))
    origins = feet if np.all(np.isfinite(feet)) else hips
    apart = np.hypot(*((poses[0] - origins[0]) - (poses[1] - origins[1])).T)
    apart = apart[np.isfinite(apart)]
    return float(np.median(apart)) if len(apart) else math.nan


def _nanmedian(points: FloatArray) -> FloatArray:
    seen = points[np.isfinite(points[:, 0])]
    return np.asarray(np.median(seen, axis=0) if len(seen) else np.full(2, np.nan), np.float64)


_PART_JOINTS: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "hands": (("left_wrist", "right_wrist", "left_index", "right_index"), both("shoulder")),
    "lead_arm": (("lead_elbow",), ("lead_shoulder",)),
    "trail_arm": (("trail_elbow",), ("trail_shoulder",)),
    "shoulders": (("lead_shoulder",), ("trail_shoulder",)),
    "head": (("nose", "left_ear", "right_ear"), ()),
    "spine": (both("shoulder"), both("hip")),
    "pelvis": (both("hip"), ()),
    "lead_leg": (("lead_knee",), ()),
    "trail_leg": (("trail_knee",), ()),
}
"""Part → joints and origin, as the scores see them (``score/parts.py``)."""


def _part_sd(swing: Swing, unsure: Mapping[str, float]) -> dict[str, float]:
    """Part → SD of one coordinate of a phase mean that the uncertain lengths make, trunk lengths of the picture.

    Each length is changed by its SD in turn; the effects on the movement since address add up in quadrature. The root
    mean square over both coordinates and all phases.
    """
    track = swing.pose
    address = swing.positions.time("address")
    phases = [
        (start, stop)
        for phase in PHASES
        if (start := swing.positions.time(phase.start)) is not None
        and (stop := swing.positions.time(phase.end)) is not None
    ]
    trunk = swing.torso_px
    if not (math.isfinite(trunk) and trunk > 0):
        gap = mean_point(track.points, both("shoulder")) - mean_point(track.points, both("hip"))
        trunk = float(np.nanmedian(np.hypot(gap[:, 0], gap[:, 1]))) if np.any(np.isfinite(gap)) else math.nan
    if not phases or not math.isfinite(trunk):
        return {}
    first = int(np.argmin(np.abs(track.time_s - (swing.start_s if address is None else address))))
    known = {name for name, i in INDEX.items() if np.any(np.isfinite(track.points[:, i, 0]))}
    power: dict[str, float] = {}
    for name, sd in unsure.items():
        moved, _ = Rebuilt(track, {name: math.exp(sd)}).run()
        for part, (joints, origin) in _PART_JOINTS.items():
            seen = [name for joint in joints if (name := _named(joint, swing.handedness)) in known]
            base = [_named(joint, swing.handedness) for joint in origin]
            if not seen or not known.issuperset(base):
                continue
            way = mean_point(moved, tuple(seen))
            if base:
                way = way - mean_point(moved, tuple(base))
            way = way - way[first]
            means = []
            for start, stop in phases:
                values = way[(track.time_s >= start) & (track.time_s <= stop)]
                values = values[np.isfinite(values[:, 0])]
                if len(values):
                    means.append(values.mean(axis=0))
            if means:
                power[part] = power.get(part, 0.0) + float(np.mean(np.square(means))) / trunk**2
    return {part: math.sqrt(value) for part, value in power.items()}


def _named(joint: str, handedness: Handedness) -> str:
    side, _, rest = joint.partition("_")
    if side == "lead":
        return sided(rest, "lead", handedness)
    return sided(rest, "trail", handedness) if side == "trail" else joint
