"""Values no body can have: a torso that folds for a frame, hands apart on one club, points that jump out and back."""

from __future__ import annotations

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.clean.work import ELBOWS, HAND_JOINTS, HANDS, REGIONS, Work, counted
from overlay.landmarks import INDEX
from overlay.settings.clean import CleanSettings

TRUNK_PAIRS = (("left_shoulder", "right_shoulder"), ("left_hip", "right_hip"))
SPIKE_PASSES = 2

NEXT_TO_A_BREAK = 0.65
"""A lone jump makes the steps beside it 0.5 as far off; two jumps in a row, out and back, are as far off each."""


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
    """Drop wrists that are apart, short excursions and single-frame spikes.

    In this order: the spike test would bite the edges off an excursion and so hide how sharp its jumps are.
    """
    if not work.has_scale:
        work.log.append("jumps: not looked for, the torso is never seen")
        return
    for name, test in (("wrists apart", apart), ("excursions", excursions), ("spikes", spikes)):
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
                # A spike is far from both neighbours; a frame at one of them is a step, as in repeated frames.
                step = np.linalg.norm(np.diff(points[at], axis=0), axis=1)
                peak[1:-1] &= np.minimum(step[:-1], step[1:]) > settings.jump_floor / 2
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
    """(T, J): stretches that are left out of the cheapest believable path.

    A joint's track is cut where it breaks: where a step is not what the velocities on its two sides make it. Of the
    pieces, those are kept that go on from each other best, chosen by dynamic programming: leaving a piece out costs
    ``excursion_per_s`` times its length, a break between kept pieces costs its size.
    """
    where = np.zeros(work.visibility.shape, bool)
    limits = _limits(settings)
    for region, joints in REGIONS.items():
        sharpest = limits[region][1]
        for joint in joints:
            at = np.flatnonzero(np.isfinite(work.points[:, joint, 0]))
            if len(at) < 4:
                continue
            points, times = work.points[at, joint] / work.scale_px[at, None], work.real_s[at]
            broken = _breaks(points, times, sharpest, settings)
            if broken.any():
                kept = _cheapest(points, times, broken, limits[region], settings)
                where[at[~kept], joint] = True
    _pardon_strikes(work, where, settings)
    return where


def _pardon_strikes(work: Work, where: BoolArray, settings: CleanSettings) -> None:
    """Take back what was dropped of two hands that moved together, and of their elbows."""
    left, right = INDEX["left_wrist"], INDEX["right_wrist"]
    vouched = together(work, settings)
    grip = (work.points[:, left] - work.points[:, right]) / work.scale_px[:, None]
    for first, after in runs(np.asarray((where[:, left] | where[:, right]) & vouched, bool)):
        # One wrist that leaves the other is an error; two that leave at once are not, nor one that keeps its place
        # on the grip.
        around = np.abs(work.real_s - work.real_s[first : after + 1].mean()) <= settings.longest_excursion_s
        usual = np.median(grip[around & vouched], axis=0)
        moved = float(np.linalg.norm(grip[first:after] - usual, axis=1).max())
        both = bool(np.any(where[first:after, left] & where[first:after, right]))
        if both or moved <= settings.jump_floor:
            where[first:after, [*HANDS, *ELBOWS]] = False


def together(work: Work, settings: CleanSettings) -> BoolArray:
    """(T,): frames in which two seen wrists keep together and go no faster than hands can.

    At few frames a second a real strike moves the hands by half a torso and more from frame to frame and looks like a
    jump of each wrist. A clip whose frames are repeated to make up its rate moves them by twice that: a step is
    measured over the repeated frames before it, and at a low rate one frame may have been lost. A short stretch
    behind a step that no hand can make is not vouched for, however well its wrists keep together.
    """
    wrists = [INDEX["left_wrist"], INDEX["right_wrist"]]
    points = work.points[:, wrists] / work.scale_px[:, None, None]
    gap = np.linalg.norm(points[:, 0] - points[:, 1], axis=1)
    seen = np.all(work.visibility[:, wrists] >= settings.hidden_wrist, axis=1)
    result = np.zeros(len(seen), bool)
    at = np.flatnonzero(seen & (gap <= settings.linked_wrists))
    if len(at) < 2:
        return result
    times = work.real_s[at]
    moved = np.linalg.norm(np.diff(points[at].mean(axis=1), axis=0), axis=1)
    lasted = np.diff(times)
    lost_s = work.step_s if work.step_s > settings.low_rate_s else 0.0
    for i in range(1, len(moved)):
        if moved[i - 1] < settings.repeated:
            lasted[i] += min(lasted[i - 1], settings.repeated_s)
    cuts = np.flatnonzero(moved > settings.fastest_hand * (lasted + lost_s)) + 1
    for piece in np.split(np.arange(len(at)), cuts):
        if len(cuts) == 0 or times[piece[-1]] - times[piece[0]] > settings.longest_excursion_s:
            result[at[piece]] = True
    return result


def _slack(step_s: FloatArray, speed: FloatArray, sharpest: float, settings: CleanSettings) -> FloatArray:
    """What a step may be off the mean of the velocities on its sides.

    On a circle at angular speed w, a step of duration d is off by speed × d × (w d)² ÷ 12 (series to third order). A
    joint that starts or stops within the step is off by its acceleration × d²: nothing at 240 frames a second, a third
    of a torso for hands at 30.
    """
    turning = speed * step_s * (settings.quickest_turn * step_s) ** 2 / 12
    return np.asarray(settings.break_floor + sharpest * step_s**2 + turning, np.float64)


def _breaks(points: FloatArray, times: FloatArray, sharpest: float, settings: CleanSettings) -> BoolArray:
    """(n − 1,): steps that do not fit the velocities before and after."""
    step = np.diff(times)
    velocity = np.diff(points, axis=0) / step[:, None]
    before, after = np.vstack([velocity[1:2], velocity[:-1]]), np.vstack([velocity[1:], velocity[-2:-1]])
    speed = np.maximum(np.linalg.norm(before, axis=1), np.linalg.norm(after, axis=1))
    off = np.linalg.norm(velocity - (before + after) / 2, axis=1) * step
    # A jump spoils the velocities beside it: the steps next to it are off by half of it and are no breaks themselves.
    larger = np.maximum(np.append(off[1:], 0.0), np.append(0.0, off[:-1]))
    # For the same reason the slack those velocities give must not excuse a plain jump.
    limit = np.minimum(_slack(step, speed, sharpest, settings), 3 * settings.break_floor)
    return np.asarray((off > limit) & (off > NEXT_TO_A_BREAK * larger), bool)


def _cheapest(
    points: FloatArray, times: FloatArray, broken: BoolArray, limits: tuple[float, float], settings: CleanSettings
) -> BoolArray:
    edges = np.concatenate([[0], np.flatnonzero(broken) + 1, [len(times)]])
    pieces = list(zip(edges[:-1].tolist(), edges[1:].tolist()))
    typical = float(np.median(np.diff(times)))
    length = np.array([times[b - 1] - times[a] + typical for a, b in pieces])
    # A long piece cannot be an excursion; its price is only finite so that there is always an answer.
    price = np.where(length <= settings.longest_excursion_s, settings.excursion_per_s * length, 1e3 * length)
    left_out = np.concatenate([[0.0], np.cumsum(price)])
    n = len(pieces)
    cost, previous = np.zeros(n), np.full(n, -1)
    for j in range(n):
        cost[j] = left_out[j]
        for i in range(j - 1, -1, -1):
            skipped = left_out[j] - left_out[i + 1]
            if skipped >= cost[j]:
                break
            total = cost[i] + skipped + _misfit(points, times, pieces[i], pieces[j], limits, settings)
            if total <= cost[j]:
                cost[j], previous[j] = total, i
    kept = np.zeros(len(times), bool)
    j = int(np.argmin(cost + (left_out[n] - left_out[1:])))
    while j >= 0:
        kept[pieces[j][0] : pieces[j][1]] = True
        j = int(previous[j])
    return kept


def _misfit(
    points: FloatArray,
    times: FloatArray,
    one: tuple[int, int],
    other: tuple[int, int],
    limits: tuple[float, float],
    settings: CleanSettings,
) -> float:
    """By how much, in torso lengths, ``other`` does not go on from ``one``."""
    fastest, sharpest = limits
    a, b = one[1] - 1, other[0]
    step = float(times[b] - times[a])
    if step > settings.longest_excursion_s:
        return 0.0
    move = points[b] - points[a]
    excess = float(np.linalg.norm(move)) - fastest * step - settings.break_floor
    velocities = [_slope(points[max(one[0], a - 2) : a + 1], times[max(one[0], a - 2) : a + 1])]
    velocities.append(_slope(points[b : min(other[1], b + 3)], times[b : min(other[1], b + 3)]))
    known = [v for v in velocities if v is not None]
    if not known:
        return max(0.0, excess)
    speed = np.array(max(float(np.linalg.norm(v)) for v in known))
    off = float(np.linalg.norm(move - step * np.mean(known, axis=0)))
    return max(0.0, excess, off - float(_slack(np.array(step), speed, sharpest, settings)))


def _slope(points: FloatArray, times: FloatArray) -> FloatArray | None:
    """Mean velocity of a piece's end; None of a single point."""
    if len(times) < 2:
        return None
    return np.asarray((points[-1] - points[0]) / (times[-1] - times[0]), np.float64)
