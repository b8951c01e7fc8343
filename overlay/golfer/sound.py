"""What a phone would hear at the range: the strike, other people's, wind, and the murmur of the place.

Everything is procedural and seeded. A strike is a burst of noise and a few ringing modes of the head, begun within a
tenth of a millisecond; it reaches the microphone as late as sound takes from the ball.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import InputError
from overlay.video.sound import Sound

SPEED_M_S = 343.0
"""Of sound, at 20 °C."""

MODES: dict[str, tuple[tuple[float, float, float], ...]] = {
    "mid_iron": ((3100.0, 0.009, 0.6), (5200.0, 0.006, 0.5), (7900.0, 0.004, 0.3)),
    "driver": ((3600.0, 0.020, 0.8), (4700.0, 0.014, 0.6), (6900.0, 0.008, 0.4)),
}
"""Ringing of the head: Hz, decay in s, size. Plausible, no source."""


@dataclass(frozen=True)
class SoundSpec:
    """What is heard, and how well.

    Attributes
    ----------
    rate : int
        Samples a second.
    strike : float
        Peak of the player's own strike one metre away, full scale 1; 0 for none.
    distance_m : float or None
        Ball to microphone; None: as far as the camera stands.
    offset_s : float
        Sound late (+) against the picture by this much, on top of its way through the air.
    others_per_s : float
        Other people's strikes.
    others_m : (near, far) m
        How far they stand.
    murmur, wind, swish, brush : float
        Sizes of the murmur of the place, wind in the microphone, the club's own swish, and the club brushing the
        ground when no ball is struck; 0 none, 1 usual.
    seed : int
    """

    rate: int = 48_000
    strike: float = 1.2
    distance_m: float | None = None
    offset_s: float = 0.0
    others_per_s: float = 0.3
    others_m: tuple[float, float] = (6.0, 40.0)
    murmur: float = 1.0
    wind: float = 1.0
    swish: float = 1.0
    brush: float = 0.0
    seed: int = 0

    def __post_init__(self) -> None:
        if not 4_000 <= self.rate <= 192_000:
            raise InputError(f"A sound of {self.rate!r} samples a second is out of range.", "Give 4000 to 192000.")
        for name in ("strike", "others_per_s", "murmur", "wind", "swish", "brush"):
            value = getattr(self, name)
            if not (math.isfinite(value) and 0.0 <= value <= 100.0):
                raise InputError(f"{name} of the sound is {value!r}.", "Give a number from 0 to 100.")
        if not (0.3 <= self.others_m[0] <= self.others_m[1]):
            raise InputError(f"Others at {self.others_m!r} m are out of range.", "Give near and far, from 0.3 m.")
        if self.distance_m is not None and not (math.isfinite(self.distance_m) and self.distance_m > 0.1):
            raise InputError(f"A distance of {self.distance_m!r} m is out of range.", "Give more than 0.1 m.")


def strike_wave(rate: float, club: str = "mid_iron", seed: int = 0) -> FloatArray:
    """(N,) one strike as heard one metre away, peak 1, beginning with its first sample.

    Raises
    ------
    InputError
        Unknown club.
    """
    if club not in MODES:
        raise InputError(f"{club!r} is not a club.", f"Use {', '.join(MODES)}.")
    rng = np.random.default_rng([seed, 41])
    t = np.arange(int(0.08 * rate)) / rate
    wave = 0.8 * rng.normal(size=len(t)) * np.exp(-t / 0.0025) + 0.10 * rng.normal(size=len(t)) * np.exp(-t / 0.02)
    for hz, decay, size in MODES[club]:
        if hz < 0.45 * rate:
            tuned = hz * (1.0 + rng.normal(0.0, 0.03))
            wave += size * np.sin(2 * np.pi * tuned * t + rng.uniform(0, 2 * np.pi)) * np.exp(-t / decay)
    wave *= 1.0 - np.exp(-t / 5e-5)
    wave[-int(0.01 * rate) :] *= np.linspace(1.0, 0.0, int(0.01 * rate))
    return np.asarray(wave / np.max(np.abs(wave)), np.float64)


def range_sound(
    spec: SoundSpec,
    *,
    start_s: float,
    stop_s: float,
    impacts_s: Sequence[float] = (),
    passes_s: Sequence[float] = (),
    distance_m: float = 4.0,
    club: str = "mid_iron",
    slow: float = 1.0,
) -> Sound:
    """The sound of a part of a recording.

    Parameters
    ----------
    spec : SoundSpec
    start_s, stop_s : float
        Part of the motion, s; the sound begins at 0 with ``start_s``.
    impacts_s : times at which a ball is struck
    passes_s : times at which the club passes the ground and strikes nothing
    distance_m : float
        Ball to microphone unless ``spec`` says.
    club : mid_iron or driver
    slow : float
        Playback seconds per real second: the sound is stretched, and lower, by that.

    Returns
    -------
    Sound
        Never beyond ±1.

    Raises
    ------
    InputError
        The part is empty, or the slowing is not positive.
    """
    if not (math.isfinite(slow) and slow > 0) or not stop_s > start_s:
        raise InputError(f"There is no sound from {start_s:g} to {stop_s:g} s.", "Give a start before the stop.")
    rng = np.random.default_rng([spec.seed, 17])
    rate = float(spec.rate)
    n = max(1, round((stop_s - start_s) * rate))
    t = np.arange(n) / rate
    far = spec.distance_m if spec.distance_m is not None else distance_m
    delay = far / SPEED_M_S + spec.offset_s
    out = 0.004 * spec.murmur * _coloured(rng, n, rate, 1.0, 80.0)
    voices = 0.5 + 0.5 * np.sin(2 * np.pi * (0.7 * t + rng.uniform()) + 2.0 * np.sin(2 * np.pi * 0.31 * t))
    out += 0.004 * spec.murmur * voices * _coloured(rng, n, rate, 1.0, 300.0)
    gusts = 0.4 + 0.6 * np.abs(np.sin(2 * np.pi * (0.23 * t + rng.uniform())))
    out += 0.03 * spec.wind * gusts * _coloured(rng, n, rate, 2.0, 20.0)
    hiss = 0.0006 * rng.normal(size=n)
    out += hiss
    for at in (*impacts_s, *passes_s):
        near = np.exp(-0.5 * ((t - (at - start_s) - delay + 0.02) / 0.035) ** 2)
        out += 0.006 * spec.swish * near * _coloured(rng, n, rate, 0.5, 400.0)
    for number, at in enumerate(impacts_s):
        wave = strike_wave(rate, club, spec.seed + number)
        _add(out, wave * spec.strike / max(far, 0.3), (at - start_s + delay) * rate)
        # Off the ground and the mat, a little later and weaker.
        _add(out, 0.3 * wave * spec.strike / max(far, 0.3), (at - start_s + delay + 0.0013) * rate)
    for at in passes_s:
        if spec.brush > 0:
            long = int(0.12 * rate)
            u = np.arange(long) / rate
            brush = rng.normal(size=long) * np.clip(u / 0.015, 0.0, 1.0) * np.exp(-u / 0.03)
            _add(out, 0.04 * spec.brush * _low(brush, rate, 1800.0), (at - start_s + delay - 0.01) * rate)
    for at in rng.uniform(start_s, stop_s, rng.poisson(spec.others_per_s * (stop_s - start_s))):
        away = float(rng.uniform(*spec.others_m))
        kind = "driver" if rng.random() < 0.5 else "mid_iron"
        wave = strike_wave(rate, kind, int(rng.integers(1 << 20)))
        # Air and people between take the high frequencies.
        _add(out, _low(wave, rate, 12_000.0 / (1.0 + away / 15.0)) * 1.2 / away, (at - start_s) * rate)
    if slow != 1.0:
        out = np.interp(np.arange(round(n * slow)) / slow, np.arange(n), out)
    return Sound(np.clip(out, -1.0, 1.0).astype(np.float32), rate, 0.0)


def _coloured(rng: np.random.Generator, n: int, rate: float, slope: float, from_hz: float) -> FloatArray:
    """Noise of deviation 1 that falls off as 1/f^slope in amplitude above ``from_hz``."""
    spectrum = np.fft.rfft(rng.normal(size=n))
    f = np.fft.rfftfreq(n, 1 / rate)
    spectrum *= (np.maximum(f, from_hz) / from_hz) ** -slope
    spectrum[f < 15.0] = 0.0
    noise = np.fft.irfft(spectrum, n)
    return np.asarray(noise / max(1e-12, float(noise.std())), np.float64)


def _low(wave: FloatArray, rate: float, hz: float) -> FloatArray:
    """First-order low-pass, forwards only."""
    from scipy.signal import lfilter

    a = math.exp(-2 * math.pi * min(hz, 0.49 * rate) / rate)
    return np.asarray(lfilter([1.0 - a], [1.0, -a], wave), np.float64)


def _add(out: FloatArray, wave: FloatArray, at: float) -> None:
    """Add a wave from sample ``at`` on, which may lie between two samples or outside."""
    first = math.floor(at)
    part = at - first
    padded = np.concatenate([wave, [0.0]]) * (1 - part) + np.concatenate([[0.0], wave]) * part
    low, high = max(0, first), min(len(out), first + len(padded))
    if high > low:
        out[low:high] += padded[low - first : high - first]
