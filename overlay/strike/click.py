"""The strike in the sound: a sharp rise of the high frequencies near the expected instant."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.errors import DataError
from overlay.settings.strike import SoundSettings
from overlay.video import Sound


@dataclass(frozen=True)
class Click:
    """A sudden sound: when it began, by how much it rose above what came before, and how loud it is, dB."""

    time_s: float
    rise_db: float
    level_db: float


def clicks(sound: Sound, settings: SoundSettings | None = None) -> tuple[Click, ...]:
    """All sudden sounds, in time order.

    The sound is band-passed (Butterworth, forwards only, so that nothing is heard before it was), its energy taken
    on a grid of half a millisecond, and a click is where the mean of the next few milliseconds lies above the mean of
    the quiet before by ``rise_db``. Its time is where the energy first passes a fifth of its peak. The idea is that of
    onset detection by energy rise (Bello et al. 2005, IEEE Trans. Speech Audio Process. 13: 1035–1047).

    Raises
    ------
    DataError
        The rate is too low to hold a click.
    """
    from scipy.signal import butter, sosfilt

    settings = settings or SoundSettings()
    high = min(settings.high_hz, 0.45 * sound.rate)
    low = min(settings.low_hz, 0.5 * high)
    if sound.rate < 2000.0:
        raise DataError(f"A sound of {sound.rate:g} samples a second holds no click.", "Give at least 2000.")
    per = max(1, round(settings.step_s * sound.rate))
    n = len(sound.samples) // per
    quiet = max(4, round(settings.quiet_s * sound.rate / per))
    rise = max(2, round(settings.rise_s * sound.rate / per))
    if n < quiet // 2 + 2 * rise:
        return ()
    band = sosfilt(butter(2, (low, high), "bandpass", fs=sound.rate, output="sos"), sound.samples.astype(np.float64))
    energy = np.mean(band[: n * per].reshape(n, per) ** 2, axis=1)
    floor = 10 ** (settings.level_db / 10)
    total = np.concatenate([[0.0], np.cumsum(energy)])
    at = np.arange(n)
    after = (total[np.minimum(at + rise, n)] - total[at]) / np.maximum(np.minimum(at + rise, n) - at, 1)
    start = np.maximum(at - quiet, 0)
    before = (total[at] - total[start]) / np.maximum(at - start, 1)
    ratio = 10 * np.log10((after + floor) / (before + floor))
    ratio[: quiet // 4] = 0.0  # nothing was heard before: no rise can be told
    found: list[Click] = []
    last: int = -n
    apart = max(1, round(settings.apart_s * sound.rate / per))
    for i in map(int, np.flatnonzero(ratio >= settings.rise_db)):
        near = ratio[max(0, i - apart) : i + apart + 1]
        if ratio[i] < near.max() or i - last <= apart:
            continue
        part = energy[max(0, i - rise) : i + 2 * rise]
        peak = float(part.max())
        began = int(np.flatnonzero(part > 0.2 * peak)[0]) + max(0, i - rise)
        time_s = sound.start_s + began * per / sound.rate
        found.append(Click(time_s, float(ratio[i]), 10 * math.log10(float(after[i]) + floor)))
        last = i
    return tuple(found)


def usable(sound: Sound, settings: SoundSettings) -> bool:
    """Whether the track holds anything: a muted one says nothing."""
    if len(sound.samples) < 16:
        return False
    level = float(np.sqrt(np.mean(np.asarray(sound.samples, np.float64) ** 2)))
    return level > 10 ** (settings.level_db / 20)


def travel(settings: SoundSettings) -> tuple[float, float]:
    """How long the sound takes to the camera, and the standard deviation of the whole offset, s."""
    delay = settings.distance_m / settings.speed_m_s
    spread = math.hypot(settings.distance_sd_m / settings.speed_m_s, settings.offset_sd_s)
    return delay, spread


def strike_click(
    found: tuple[Click, ...], expected_s: float, sd_s: float, settings: SoundSettings, *, alone: bool = False
) -> tuple[Click, float, float] | None:
    """The click that is the strike, with the time of the strike it stands for and its standard deviation.

    Parameters
    ----------
    found : clicks of the track
    expected_s, sd_s : float
        When the strike is expected from pictures. Among the clicks within the gate the loudest counts, less so the
        further off: other players' strikes come at any time, and are mostly further away.
    alone : bool
        No ball was seen to leave: the click must then be the loudest of all by ``settings.louder_db``, since at a busy
        range some strike falls near every rehearsal.
    """
    delay, spread = travel(settings)
    wide = math.hypot(sd_s, spread)
    gate = max(settings.gate_sd * wide, settings.gate_floor_s)
    best: tuple[float, Click] | None = None
    for click in found:
        off = click.time_s - delay - expected_s
        if abs(off) > gate:
            continue
        rank = click.level_db - 10 * (off / wide) ** 2 / 2
        if best is None or rank > best[0]:
            best = (rank, click)
    if best is None:
        return None
    chosen = best[1]
    others = [click.level_db for click in found if click is not chosen]
    if alone and others and chosen.level_db < max(others) + settings.louder_db:
        return None
    return chosen, chosen.time_s - delay, spread
