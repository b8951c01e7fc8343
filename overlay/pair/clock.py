"""The clocks of two clips: playback and real seconds, and what the positions say of the time between them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Position, Swing
from overlay.settings.pair import PairSettings
from overlay.terms import POSITION_NAMES


@dataclass(frozen=True)
class Clock:
    """How fast a clip plays.

    Attributes
    ----------
    slow : float
        Playback seconds per real second.
    known : bool
        Told, found in the file, or a swing in real time; else estimated from the swing's tempo.
    frame_s : float
        Median spacing of the frames, real s.
    """

    slow: float
    known: bool
    frame_s: float

    def real(self, playback_s: FloatArray | float) -> FloatArray:
        """Real seconds, any shape."""
        return np.asarray(playback_s, np.float64) / self.slow

    def playback(self, real_s: FloatArray | float) -> FloatArray:
        """Inverse of ``real``."""
        return np.asarray(real_s, np.float64) * self.slow


def clock_of(swing: Swing) -> Clock:
    """The clip's own slow factor where it is known; else the estimate, which is 1 for a swing that may be real time."""
    spacing = float(np.median(np.diff(swing.pose.time_s))) if len(swing.pose) > 1 else 1 / 30
    if swing.clip is not None and swing.clip.capture_rate is not None:
        return Clock(swing.slow_factor, True, spacing / swing.slow_factor)
    estimate = float(swing.quality.get("slow_factor_estimate", 1.0))
    if not (math.isfinite(estimate) and estimate > 0):
        estimate = 1.0
    return Clock(estimate, estimate == 1.0, spacing / estimate)


def sd_real(position: Position, clock: Clock, settings: PairSettings) -> float:
    """Standard deviation of a position's time, real s."""
    if position.sd_s is not None and math.isfinite(position.sd_s):
        return max(position.sd_s / clock.slow, 0.1 * clock.frame_s)
    return 0.5 * clock.frame_s if position.source == "marked" else settings.position_sd_s


@dataclass(frozen=True)
class Shared:
    """The positions that both clips show, real s on each own clock, and the standard deviation of each."""

    names: tuple[str, ...]
    dtl_s: FloatArray
    fo_s: FloatArray
    dtl_sd_s: FloatArray
    fo_sd_s: FloatArray

    @property
    def gap_s(self) -> FloatArray:
        """(P,) face-on time minus down-the-line time."""
        return self.fo_s - self.dtl_s

    @property
    def gap_sd_s(self) -> FloatArray:
        return np.hypot(self.dtl_sd_s, self.fo_sd_s)


def shared_positions(dtl: Swing, fo: Swing, settings: PairSettings) -> Shared:
    """The positions found in both clips, in time order."""
    clocks = clock_of(dtl), clock_of(fo)
    names, rows = [], []
    for name in POSITION_NAMES:
        one, other = dtl.positions.get(name), fo.positions.get(name)
        if one is None or other is None:
            continue
        names.append(name)
        rows.append(
            (
                one.time_s / clocks[0].slow,
                other.time_s / clocks[1].slow,
                # An address down the line is off by more than it tells: it must not make two swings of one.
                max(1.0, settings.trust.get(name, settings.trust_other)[0]) * sd_real(one, clocks[0], settings),
                sd_real(other, clocks[1], settings),
            )
        )
    table = np.array(rows, np.float64).reshape(-1, 4)
    return Shared(tuple(names), table[:, 0], table[:, 1], table[:, 2], table[:, 3])


def robust_mean(values: FloatArray, sds: FloatArray, cut: float = 3.0, rounds: int = 4) -> tuple[float, float]:
    """Mean of (N,) by inverse variance and its standard deviation, wild values down-weighted (Huber 1964)."""
    weight = 1.0 / np.maximum(sds, 1e-9) ** 2
    centre = float(weighted_median(values, weight))
    for _ in range(rounds):
        off = np.abs(values - centre) / np.maximum(sds, 1e-9)
        used = weight * np.minimum(1.0, cut / np.maximum(off, 1e-9))
        centre = float(np.sum(used * values) / np.sum(used))
    return centre, float(1.0 / math.sqrt(np.sum(used)))


def weighted_median(values: FloatArray, weights: FloatArray) -> float:
    """The value at which half of the weight is reached."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(reached, 0.5 * reached[-1])])
