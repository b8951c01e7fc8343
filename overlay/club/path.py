"""The best way of the shaft through all frames: directions with their speed, seen or hidden (Viterbi 1967).

Two layers share the grid of directions. *Seen* frames earn the score of their ray less a cost, and carry the speed of
the shaft, whose change costs; *hidden* frames earn nothing and may turn freely within what a shaft can turn. The same
recursion run backwards gives, for every direction of every frame, the best path that passes there, and so by how much
the best one wins.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import AnyArray, BoolArray, FloatArray, IntArray
from overlay.errors import DataError
from overlay.settings.club import ClubSettings

NEVER = np.float32(-1e6)


@dataclass(frozen=True)
class Path:
    """The best path.

    Attributes
    ----------
    bins : (T,) int
        Direction, index into the grid.
    turned : (T,) float
        The same unwrapped along the path, grid steps.
    seen : (T,) bool
    margin : (T,) float
        By how much the best path beats every path that passes elsewhere, in T.
    """

    bins: IntArray
    turned: FloatArray
    seen: BoolArray
    margin: FloatArray


def find_path(score: FloatArray, steps_s: FloatArray, hand_step: FloatArray, settings: ClubSettings) -> Path:
    """Best path through ``score``.

    Parameters
    ----------
    score : (T, N) float
        Of each direction in each frame, T; −inf forbids it.
    steps_s : (T,) float
        Real time since the frame before; the first is not used.
    hand_step : (T,) float
        Way of the hands since the frame before, torso lengths.

    Raises
    ------
    DataError
        Shapes that do not fit, or no frames.
    """
    score = np.asarray(score, np.float64)
    if score.ndim != 2 or not len(score) or len(steps_s) != len(score) or len(hand_step) != len(score):
        raise DataError("Scores, steps and hand path do not fit.", "Give one row of scores for each frame.")
    s = settings
    n_frames, n = score.shape
    grid = 360.0 / n
    local = np.maximum(np.nan_to_num(score - s.seen_cost, nan=float(NEVER), neginf=float(NEVER)), NEVER)
    local = local.astype(np.float32)
    blocked = ~np.isfinite(score)
    typical = float(np.median(steps_s[1:])) if n_frames > 1 else 1 / 60
    fastest = int(np.clip(np.ceil(s.fastest_deg_s * typical / grid), 2, n // 3))
    speeds = np.arange(-fastest, fastest + 1)
    unit_turn = max(1.0, s.turn_deg_s2 * typical**2 / grid)
    change = np.arange(-int(np.ceil(2.5 * unit_turn)), int(np.ceil(2.5 * unit_turn)) + 1)
    change_cost = (s.turn_cost * (change / unit_turn) ** 2).astype(np.float32)
    unit_speed = np.maximum(1.0, (s.rest_deg_s * steps_s + s.per_hand_speed_deg * hand_step) / grid)
    speed_cost = (s.speed_cost * (speeds[None] / unit_speed[:, None]) ** 2).astype(np.float32)
    blocked_cost = np.where(blocked, NEVER, np.float32(0.0))
    # Where each value comes from when row i is turned on by its speed, and when it is turned back.
    onward = (np.arange(n)[None] - speeds[:, None]) % n
    backward = (np.arange(n)[None] + speeds[:, None]) % n

    forward = np.empty((n_frames, len(speeds), n), np.float32)
    unseen = np.empty((n_frames, n), np.float32)
    forward[0] = local[0][None] - speed_cost[0][:, None]
    unseen[0] = blocked_cost[0]
    for t in range(1, n_frames):
        came = _spread(forward[t - 1], change_cost)
        came = np.maximum(came, (unseen[t - 1] - np.float32(s.hide_cost))[None])
        forward[t] = np.take_along_axis(came, onward, axis=1)
        forward[t] += local[t][None] - speed_cost[t][:, None]
        hide = np.maximum(unseen[t - 1], forward[t - 1].max(axis=0) - np.float32(s.hide_cost))
        unseen[t] = _wander(hide, onward, speed_cost[t]) + blocked_cost[t]

    after_seen = np.zeros((len(speeds), n), np.float32)
    after_unseen = np.zeros(n, np.float32)
    bins = np.zeros(n_frames, np.int64)
    seen = np.zeros(n_frames, bool)
    margin = np.zeros(n_frames)
    across = np.abs((np.arange(n) + n // 2) % n - n // 2) * grid
    for t in range(n_frames - 1, -1, -1):
        through_seen = (forward[t] + after_seen).max(axis=0)
        through_unseen = unseen[t] + after_unseen
        through = np.maximum(through_seen, through_unseen)
        b = int(np.argmax(through))
        bins[t], seen[t] = b, bool(through_seen[b] >= through_unseen[b])
        elsewhere = np.roll(across, b) > s.elsewhere_deg
        margin[t] = float(through[b] - through[elsewhere].max())
        if t == 0:
            break
        # Value of being at t − 1, from what follows.
        arrive = local[t][None] - speed_cost[t][:, None] + after_seen
        arrive = np.take_along_axis(arrive, backward, axis=1)
        hide_next = after_unseen + blocked_cost[t]
        wander_back = _wander(hide_next, backward, speed_cost[t])
        after_seen = np.maximum(_spread(arrive, change_cost), (wander_back - np.float32(s.hide_cost))[None])
        after_unseen = np.maximum(wander_back, arrive.max(axis=0) - np.float32(s.hide_cost))
    return Path(bins, _unwrapped(bins, n), seen, margin)


def _spread(values: AnyArray, cost: AnyArray) -> AnyArray:
    """(S, N): for each speed the best value of a neighbouring speed less the cost of the change."""
    rows = len(values)
    half = len(cost) // 2
    out = values - cost[half]
    for d in range(1, min(half, rows - 1) + 1):
        np.maximum(out[d:], values[:-d] - cost[half + d], out=out[d:])
        np.maximum(out[:-d], values[d:] - cost[half - d], out=out[:-d])
    return out


def _wander(values: AnyArray, turned: IntArray, cost: AnyArray) -> AnyArray:
    """(N,): the best of ``values`` (N,) moved by any speed less its cost; ``turned`` (S, N) is where they come from."""
    return np.asarray(np.maximum((values[turned] - cost[:, None]).max(axis=0), NEVER))


def _unwrapped(bins: IntArray, n: int) -> FloatArray:
    step = (np.diff(bins) + n // 2) % n - n // 2
    return np.concatenate([[float(bins[0])], bins[0] + np.cumsum(step)]).astype(np.float64)
