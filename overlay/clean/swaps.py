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


def _search(left: FloatArray, right: FloatArray, time_s: FloatArray, settings: CleanSettings) -> BoolArray:
    """(n,) bool, the cheapest sequence of labels. ``left``, ``right``: (n, joints, 2) torso lengths."""
    n = len(left)
    # [state, frame, side, joint, xy]: state 1 has the labels exchanged.
    body = np.stack([np.stack([left, right], axis=1), np.stack([right, left], axis=1)])
    step = np.diff(time_s)
    stay = settings.swap_per_s * np.append(step, step[-1])
    # total[b, c]: labels before and now.
    total = np.full((2, 2), np.inf)
    for b in (0, 1):
        for c in (0, 1):
            away = _distance(body[c, 1] - body[b, 0], settings.swap_cap)
            total[b, c] = away + settings.swap_switch * (b != c) + b * stay[0] + c * stay[1]
    back = np.zeros((n, 2, 2), np.int8)
    for t in range(2, n):
        # A long gap tells nothing of the velocity after it.
        carry = settings.swap_inertia * min(step[t - 1] / step[t - 2], 1.0)
        following = np.full((2, 2), np.inf)
        for b in (0, 1):
            for c in (0, 1):
                costs = np.empty(2)
                for a in (0, 1):
                    expected = body[b, t - 1] + carry * (body[b, t - 1] - body[a, t - 2])
                    costs[a] = total[a, b] + _distance(body[c, t] - expected, settings.swap_cap)
                a = int(np.argmin(costs))
                back[t, b, c] = a
                following[b, c] = costs[a] + settings.swap_switch * (b != c) + c * stay[t]
        total = following
    states = np.zeros(n, bool)
    b, c = (int(v) for v in np.unravel_index(int(np.argmin(total)), (2, 2)))
    for t in range(n - 1, 0, -1):
        states[t] = bool(c)
        b, c = int(back[t, b, c]), b
    states[0] = bool(c)
    return states


def _distance(offset: FloatArray, cap: float) -> float:
    """Mean over the joints of the sum over the sides; capped, so that one wild point decides nothing."""
    return float(np.minimum(np.sqrt((offset**2).sum(axis=-1)), cap).sum(axis=0).mean())
