"""Left and right exchanged by the pose model for some frames, and put back.

In down-the-line views the hips really cross in the picture when the player turns through impact, and the model
exchanges labels in just those moments. A real crossing goes through: each joint keeps its velocity. An exchange
jumps: each joint lands where the other was. So the labels are chosen that make the paths go on smoothly: a Viterbi
search over (labels now, labels before) for each region of the body.
"""

from __future__ import annotations

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.clean.jumps import runs
from overlay.clean.work import Work
from overlay.landmarks import INDEX
from overlay.settings.clean import CleanSettings

PASSES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "whole body": (
        ("shoulder", "hip", "knee", "ankle"),
        ("shoulder", "elbow", "wrist", "pinky", "index", "thumb", "hip", "knee", "ankle", "heel", "foot_index"),
    ),
    "shoulders": (("shoulder",), ("shoulder",)),
    "hips": (("hip",), ("hip",)),
    "legs": (("knee", "ankle"), ("knee", "ankle", "heel", "foot_index")),
}
"""Region → (joints that decide, joints that are exchanged). The whole body first: the model often exchanges all at
once, and where the hips happen to cross the knees do not. The arms never decide: elbows are too noisy, and the
wrists lie together on the club."""


def repair_swaps(work: Work, settings: CleanSettings) -> None:
    """Put exchanged labels back, region by region."""
    if not work.has_scale:
        work.log.append("left/right swaps: not looked for, the torso is never seen")
        return
    for region, (judged, joints) in PASSES.items():
        swapped = swapped_frames(work, judged, settings)
        if region == "legs":
            swapped &= ~_feet_carried_off(work, swapped, settings)
        if not swapped.any():
            continue
        rows = np.flatnonzero(swapped)
        for joint in joints:
            left, right = INDEX[f"left_{joint}"], INDEX[f"right_{joint}"]
            for values in (work.points, work.depth, work.visibility, work.filled):
                values[rows, left], values[rows, right] = values[rows, right].copy(), values[rows, left].copy()
        spans = ", ".join(f"{work.real_s[a]:.2f}–{work.real_s[b - 1]:.2f} s" for a, b in runs(swapped)[:4])
        work.log.append(f"left/right of the {region}: put back in {len(rows)} frames ({spans})")


def swapped_frames(work: Work, joints: tuple[str, ...], settings: CleanSettings) -> BoolArray:
    """(T,): frames in which left and right of ``joints`` are exchanged."""
    left = work.points[:, [INDEX[f"left_{joint}"] for joint in joints]]
    right = work.points[:, [INDEX[f"right_{joint}"] for joint in joints]]
    whole: BoolArray = np.asarray(np.all(np.isfinite(left) & np.isfinite(right), axis=(1, 2)), np.bool_)
    at = np.flatnonzero(whole)
    result: BoolArray = np.zeros(len(whole), np.bool_)
    if len(at) < 4:
        return result
    scale = work.scale_px[at, None, None]
    states = _search(left[at] / scale, right[at] / scale, work.real_s[at], settings)
    # Frames that could not be judged go with the judged one before them.
    result[at[0] :] = states[np.searchsorted(at, np.arange(at[0], len(whole)), side="right") - 1]
    return result


def _feet_carried_off(work: Work, swapped: BoolArray, settings: CleanSettings) -> BoolArray:
    """(T,): stretches whose exchange would take both feet away from where they stand before and after.

    A leg seen wrongly for one frame can make an exchange of all that follows look smooth; feet do not change places
    in a swing, so there it was no exchange.
    """
    feet = work.points[:, [INDEX["left_ankle"], INDEX["right_ankle"]]]
    result: BoolArray = np.zeros(len(swapped), np.bool_)
    for start, stop in runs(swapped):
        first, last = work.real_s[start] - settings.feet_around_s, work.real_s[stop - 1] + settings.feet_around_s
        around = feet[~swapped & (work.real_s >= first) & (work.real_s <= last)]
        around = around[np.isfinite(around).all(axis=(1, 2))]
        inside = feet[start:stop]
        seen = np.isfinite(inside).all(axis=(1, 2))
        if len(around) == 0 or not seen.any():
            continue
        stand = np.median(around, axis=0)
        left_as_they_are, exchanged = (
            float(np.median(np.linalg.norm(places[seen] - stand, axis=2).sum(axis=1) / work.scale_px[start:stop][seen]))
            for places in (inside, inside[:, ::-1])
        )
        result[start:stop] = exchanged > left_as_they_are + settings.feet_stand
    return result


def _search(left: FloatArray, right: FloatArray, time_s: FloatArray, settings: CleanSettings) -> BoolArray:
    """(n,) bool, the cheapest sequence of labels. ``left``, ``right``: (n, joints, 2) torso lengths."""
    n = len(left)
    # [labels, frame, side, joint, xy]: labels 1 are exchanged.
    body = np.stack([np.stack([left, right], axis=1), np.stack([right, left], axis=1)])
    step = np.diff(time_s)
    stay = settings.swap_per_s * np.append(step, step[-1])
    change = settings.swap_switch * (1.0 - np.eye(2))
    # total[b, c]: the cheapest way to labels b before and c now.
    away = np.stack([[_distance(body[c, 1] - body[b, 0], settings.swap_cap) for c in (0, 1)] for b in (0, 1)])
    total = away + change + np.array([[0.0], [stay[0]]]) + np.array([0.0, stay[1]])
    # A long gap tells nothing of the velocity after it.
    carry = settings.swap_inertia * np.minimum(step[1:] / step[:-1], 1.0)[:, None, None, None]
    off = np.empty((n - 2, 2, 2, 2))
    for a in (0, 1):
        for b in (0, 1):
            expected = body[b, 1:-1] + carry * (body[b, 1:-1] - body[a, :-2])
            for c in (0, 1):
                off[:, a, b, c] = _distance(body[c, 2:] - expected, settings.swap_cap)
    back = np.zeros((n, 2, 2), np.int8)
    for t in range(2, n):
        costs = total[:, :, None] + off[t - 2]
        back[t] = np.argmin(costs, axis=0)
        total = np.min(costs, axis=0) + change + np.array([0.0, stay[t]])
    states = np.zeros(n, bool)
    b, c = (int(v) for v in np.unravel_index(int(np.argmin(total)), (2, 2)))
    for t in range(n - 1, 0, -1):
        states[t] = bool(c)
        b, c = int(back[t, b, c]), b
    states[0] = bool(c)
    return states


def _distance(offset: FloatArray, cap: float) -> FloatArray:
    """(...) mean over the joints of the sum over the sides of ``offset`` (..., side, joint, xy).

    Capped, so that one wild point decides nothing.
    """
    length = np.minimum(np.sqrt((offset**2).sum(axis=-1)), cap)
    return np.asarray(length.sum(axis=-2).mean(axis=-1), np.float64)
