"""Values no body can have: a torso that folds for a frame, hands apart on one club, points that jump out and back."""

from __future__ import annotations

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.clean.work import HAND_JOINTS, REGIONS, Work, counted
from overlay.landmarks import INDEX
from overlay.settings.clean import CleanSettings

TRUNK_PAIRS = (("left_shoulder", "right_shoulder"), ("left_hip", "right_hip"))
SPIKE_PASSES = 2


def drop_collapses(work: Work, settings: CleanSettings) -> None:
    """Drop whole frames in which the torso is far shorter than just before and after."""
    where = np.zeros(work.visibility.shape, bool)
    where[collapsed(work, settings)] = True
    where &= work.seen()
    work.drop(where)
    if where.any():
        work.log.append(f"collapsed torso: dropped {int(where.any(axis=1).sum())} frames")


def collapsed(work: Work, settings: CleanSettings) -> BoolArray:
    """(T,): frames whose torso is shorter than ``collapse_ratio`` of the running median."""
    from scipy.ndimage import median_filter

    middles = [(work.points[:, INDEX[a]] + work.points[:, INDEX[b]]) / 2 for a, b in TRUNK_PAIRS]
    length = np.linalg.norm(middles[0] - middles[1], axis=1)
    seen = np.isfinite(length)
    result = np.zeros(len(length), bool)
    if seen.sum() < 3:
        return result
    # At least three frames on each side: with fewer, one wrong frame is its own median.
    size = 2 * max(3, round(settings.collapse_window_s / 2 / work.step_s)) + 1
    usual = median_filter(length[seen], size=min(size, 2 * (int(seen.sum()) // 2) + 1), mode="nearest")
    result[seen] = length[seen] < settings.collapse_ratio * usual
    return result


def drop_jumps(work: Work, settings: CleanSettings) -> None:
    """Drop wrists that are apart, single-frame spikes and short excursions, in this order."""
    if not work.has_scale:
        work.log.append("jumps: not looked for, the torso is never seen")
        return
    for name, test in (("wrists apart", apart), ("spikes", spikes), ("excursions", excursions)):
        where = test(work, settings)
        work.drop(where)
        if where.any():
            work.log.append(f"{name}: dropped {counted(where)}")


def runs(flags: BoolArray) -> list[tuple[int, int]]:
    """(first, after last) of every run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2])]


def apart(work: Work, settings: CleanSettings) -> BoolArray:
    """(T, J): of two wrists too far apart for one grip, for a short while, the one that moved away.

    A longer while means that the hands have really left the club (walking, placing the ball): then both stay.
    """
    where = np.zeros(work.visibility.shape, bool)
    wrists = [INDEX["left_wrist"], INDEX["right_wrist"]]
    gap = np.linalg.norm(work.points[:, wrists[0]] - work.points[:, wrists[1]], axis=1) / work.scale_px
    with np.errstate(invalid="ignore"):
        wide = gap > settings.apart_wrists
    together = np.isfinite(gap) & ~wide
    for first, after in runs(np.asarray(wide, bool)):
        before, behind = np.flatnonzero(together[:first]), np.flatnonzero(together[after:])
        if not len(before) or not len(behind):
            continue
        a, b = int(before[-1]), after + int(behind[0])
        if work.real_s[b] - work.real_s[a] > settings.apart_longest_s:
            continue
        share = ((work.real_s[first:after] - work.real_s[a]) / (work.real_s[b] - work.real_s[a]))[:, None]
        strays = []
        for wrist in wrists:
            expected = (1 - share) * work.points[a, wrist] + share * work.points[b, wrist]
            off = np.linalg.norm(work.points[first:after, wrist] - expected, axis=1).max()
            # A guess that the model admits to counts as further off.
            strays.append(off * (1.5 - float(np.median(work.visibility[first:after, wrist]))))
        side = ("left", "right")[int(np.argmax(strays))]
        for joint in HAND_JOINTS:
            where[first:after, INDEX[f"{side}_{joint}"]] = True
    return np.asarray(where & work.seen(), bool)


def _limits(settings: CleanSettings) -> dict[str, tuple[float, float]]:
    """Region → (fastest, torso/s; sharpest, torso/s²)."""
    return {
        "hand": (settings.fastest_hand, settings.sharpest_hand),
        "elbow": (settings.fastest_elbow, settings.sharpest_hand),
        "leg": (settings.fastest_leg, settings.sharpest_body),
        "trunk": (settings.fastest_trunk, settings.sharpest_body),
    }


def spikes(work: Work, settings: CleanSettings) -> BoolArray:
    """(T, J): single frames far from the line between the frames before and after.

    What an honest bend can be off that line is half its acceleration times the squared frame spacing.
    """
    where = np.zeros(work.visibility.shape, bool)
    limits = _limits(settings)
    for region, joints in REGIONS.items():
        sharpest = limits[region][1]
        for joint in joints:
            points = work.points[:, joint] / work.scale_px[:, None]
            for _ in range(SPIKE_PASSES):
                at = np.flatnonzero(np.isfinite(points[:, 0]))
                if len(at) < 3:
                    break
                off, slack = _off_the_line(points[at], work.real_s[at])
                limit = settings.jump_floor + sharpest * slack
                wide = np.where(slack > 0, off / limit, 0.0)
                # The neighbours of a spike are off their lines too, by half: only the peak is dropped.
                peak = (wide > 1.0) & (wide >= np.roll(wide, 1)) & (wide >= np.roll(wide, -1))
                if not peak.any():
                    break
                where[at[peak], joint] = True
                points[at[peak]] = np.nan
    return where


def _off_the_line(points: FloatArray, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(n,) distance from the line between the neighbours, and what an acceleration of 1 would make it."""
    off, slack = np.zeros(len(points)), np.zeros(len(points))
    before, after = time_s[1:-1] - time_s[:-2], time_s[2:] - time_s[1:-1]
    share = (before / (before + after))[:, None]
    off[1:-1] = np.linalg.norm(points[1:-1] - ((1 - share) * points[:-2] + share * points[2:]), axis=1)
    slack[1:-1] = before * after / 2
    return off, slack


def excursions(work: Work, settings: CleanSettings) -> BoolArray:
    """(T, J): values that are left out of the cheapest believable path.

    For each joint, the frames that are kept are chosen by dynamic programming: leaving out time costs
    ``excursion_per_s``; going from one kept frame to the next costs what it exceeds the region's top speed by.
    """
    where = np.zeros(work.visibility.shape, bool)
    limits = _limits(settings)
    for region, joints in REGIONS.items():
        fastest = limits[region][0]
        for joint in joints:
            at = np.flatnonzero(np.isfinite(work.points[:, joint, 0]))
            if len(at) < 3:
                continue
            points, times = work.points[at, joint] / work.scale_px[at, None], work.real_s[at]
            steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
            over = steps > settings.jump_floor + fastest * np.diff(times)
            if not over.any():
                continue
            for first, after in _windows(over, times, 2 * settings.longest_excursion_s):
                kept = _cheapest(points[first:after], times[first:after], fastest, settings)
                where[at[first:after][~kept], joint] = True
    return where


def _windows(over: BoolArray, times: FloatArray, margin_s: float) -> list[tuple[int, int]]:
    """Stretches of frames around the jumps, merged where they touch: only these need the search."""
    near = np.zeros(len(times), bool)
    for i in np.flatnonzero(over):
        near |= (times >= times[i] - margin_s) & (times <= times[i + 1] + margin_s)
    return runs(near)


def _cheapest(points: FloatArray, times: FloatArray, fastest: float, settings: CleanSettings) -> BoolArray:
    n = len(times)
    cost, previous = np.zeros(n), np.full(n, -1)
    step = np.diff(times, prepend=times[0] - (times[1] - times[0]))
    left_out = np.concatenate([[0.0], np.cumsum(step)]) * settings.excursion_per_s
    for j in range(n):
        # Leaving out the beginning is a choice too.
        best, origin = left_out[j], -1
        i = np.flatnonzero(times[:j] >= times[j] - settings.longest_excursion_s)
        if not len(i) and j:
            i = np.array([j - 1])
        if len(i):
            jump = np.linalg.norm(points[j] - points[i], axis=1) - fastest * (times[j] - times[i])
            total = cost[i] + (left_out[j] - left_out[i + 1]) + np.maximum(0.0, jump - settings.jump_floor)
            k = int(np.argmin(total))
            if total[k] <= best:
                best, origin = float(total[k]), int(i[k])
        cost[j], previous[j] = best, origin
    ends = cost + (left_out[n] - left_out[1:])
    kept = np.zeros(n, bool)
    j = int(np.argmin(ends))
    while j >= 0:
        kept[j] = True
        j = int(previous[j])
    return kept
