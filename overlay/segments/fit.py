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

    >>> [round(applied(x, 0.02), 3) for x in (0.03, 0.06, 0.12, 0.5)]
    [1.0, 1.034, 1.113, 1.25]
    """
    least = settings.beyond * sd
    if abs(log_ratio) <= least:
        return 1.0
    kept = log_ratio * (1.0 - (least / log_ratio) ** 2)
    return min(max(math.exp(kept), settings.least_factor), settings.most_factor)


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
            if name in settings.readings.get(reference.view, {}):
                unseen.append(name)
            unsure[name] = settings.build_sd
            continue
        ratio = math.log(mine.lengths[name] / theirs.lengths[name])
        sd = math.hypot(mine.sd[name], theirs.sd[name])
        factors[name] = applied(ratio, sd, settings)
        # With what is known of builds in general, a reading is never less sure than no reading.
        unsure[name] = 1.0 / math.hypot(1.0 / sd, 1.0 / settings.build_sd)
        if not math.log(settings.least_factor) <= ratio <= math.log(settings.most_factor):
            cut.append(name)
    swing = rescaled(reference, factors)
    if not same_view:
        notes.append("The two are filmed from different sides, so the reference could not be fitted to the build.")
    elif len(theirs.lengths) <= 1 or len(mine.lengths) <= 1:
        reason = next(iter(mine.missing.values()), "") or next(iter(theirs.missing.values()), "")
        notes.append(f"The reference could not be fitted to the student's build: {reason}.")
    elif unseen:
        notes.append(f"Not fitted, as not seen well enough in both swings: {_listed(unseen)}.")
    if cut:
        notes.append(
            f"The {_listed(cut)} measure further apart than two builds are; the reference was scaled no further than "
            f"{settings.least_factor:g} to {settings.most_factor:g} there. A joint may be misplaced."
        )
    return ReferenceFit(
        kind="picture",
        swing=swing,
        factors=factors,
        sd=_part_sd(swing, unsure),
        residual=_residual(swing, student, settings),
        notes=tuple(notes),
    )


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
        feet = pose[-2:].mean(axis=0)
        trunk = pose[:2].mean(axis=0) - pose[6:8].mean(axis=0)
        poses.append((pose - feet) / max(float(np.hypot(*trunk)), 1e-9))
    apart = np.hypot(*(poses[0] - poses[1]).T)
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
    power = dict.fromkeys(_PART_JOINTS, 0.0)
    for name, sd in unsure.items():
        points, _ = Rebuilt(track, {name: math.exp(sd)}).run()
        moved = points - track.points
        for part, (joints, origin) in _PART_JOINTS.items():
            way = mean_point(moved, tuple(_named(joint, swing.handedness) for joint in joints))
            if origin:
                way = way - mean_point(moved, tuple(_named(joint, swing.handedness) for joint in origin))
            way = way - way[first]
            means = []
            for start, stop in phases:
                values = way[(track.time_s >= start) & (track.time_s <= stop)]
                values = values[np.isfinite(values[:, 0])]
                if len(values):
                    means.append(values.mean(axis=0))
            if means:
                power[part] += float(np.mean(np.square(means))) / trunk**2
    return {part: math.sqrt(value) for part, value in power.items()}


def _named(joint: str, handedness: Handedness) -> str:
    side, _, rest = joint.partition("_")
    if side == "lead":
        return sided(rest, "lead", handedness)
    return sided(rest, "trail", handedness) if side == "trail" else joint
