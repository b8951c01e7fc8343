"""Two sound tracks held against each other: did two phones stand at the same place at the same time?

A strike is heard in every clip of a swing, so two strikes that fall together prove nothing. What proves is what else
was heard: other players' strikes, voices and steps come in the same rhythm on both tracks only when both recorded the
same moments; and the strike itself is the same burst of noise on both, which another strike is not. Onsets are held
against each other as in onset detection (Bello et al. 2005, IEEE Trans. Speech Audio Process. 13: 1035–1047), the
strikes by the generalised cross-correlation with phase transform (Knapp & Carter 1976, IEEE Trans. Acoust. 24:
320–327), neither of which minds gain, microphone or distance.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.errors import DataError
from overlay.settings.pair import SoundMatchSettings
from overlay.video import Sound


@dataclass(frozen=True)
class SoundMatch:
    """What two sound tracks say.

    Attributes
    ----------
    offset_s : float
        Second clip's time minus the first's for the same instant, real s; NaN when nothing was heard by both.
    sd_s : float
        Of ``offset_s`` as a difference of the pictures' clocks: distances of the phones from the ball, sound against
        picture.
    odds : float
        Log odds that both recorded the same moments, against two other swings.
    common : float
        How much of what was heard beside the strike is on both tracks, correlation −1 … 1; NaN when nothing was.
    alike : float
        Share of the band in which the strikes keep one phase to each other, 0–1; NaN when not compared.
    sentence : str
    """

    offset_s: float
    sd_s: float
    odds: float
    common: float
    alike: float
    sentence: str


def match_sounds(
    one: Sound,
    other: Sound,
    *,
    slow: tuple[float, float] = (1.0, 1.0),
    expected_s: float | None = None,
    expected_sd_s: float = 0.0,
    strikes_s: tuple[float, float] | None = None,
    settings: SoundMatchSettings | None = None,
) -> SoundMatch | None:
    """Hold two sound tracks against each other.

    Parameters
    ----------
    one, other : Sound
        On the clocks of their clips; of any rate, gain and microphone.
    slow : two float
        Playback seconds per real second; a sound stretched with its pictures is taken back.
    expected_s, expected_sd_s : float
        Time of the second minus the first for the same instant as the movement has it, real s. None: not known, the
        best place is searched.
    strikes_s : two float or None
        The impact in each clip, real s.
    settings : SoundMatchSettings

    Returns
    -------
    SoundMatch or None
        None when a track holds nothing that can be compared.

    Raises
    ------
    DataError
        A slow factor is not above 0.
    """
    settings = settings or SoundMatchSettings()
    if not all(math.isfinite(factor) and factor > 0 for factor in slow):
        raise DataError(f"Slow factors of {slow} are not possible.", "Give playback seconds per real second.")
    tracks = [_real(sound, factor) for sound, factor in zip((one, other), slow)]
    if any(track is None or not _usable(track, settings) for track in tracks):
        return None
    first, second = (track for track in tracks if track is not None)
    high = min(settings.high_hz, 0.45 * first.rate, 0.45 * second.rate)
    low = min(settings.low_hz, 0.5 * high)
    if high < 400.0:
        return None
    rises = [onsets(track, low, high, settings) for track in (first, second)]
    if any(not np.any(rise) for _, rise in rises):
        return None
    lags, score, overlap = correlation(rises[0], rises[1], settings)
    long_enough = overlap >= settings.least_overlap_s
    if expected_s is not None:
        gate = settings.gate_s + 3.0 * expected_sd_s
        allowed = long_enough & (np.abs(lags - expected_s) <= gate)
    else:
        allowed = long_enough
    if not np.any(allowed):
        return None
    best = int(np.flatnonzero(allowed)[np.argmax(score[allowed])])
    if score[best] <= 0:
        return None
    offset = _refined(lags, score, best)
    common, background = _beside(rises, offset, strikes_s, settings)
    alike, waveform = _strike_alike(first, second, offset, strikes_s, (low, high), settings)
    odds = float(np.clip(background + waveform, -settings.most_odds, settings.most_odds))
    spread = math.sqrt(2.0) * math.hypot(settings.distance_sd_m / settings.speed_m_s, settings.offset_sd_s)
    return SoundMatch(offset, spread, odds, common, alike, _sentence(offset, odds, common, alike))


def _sentence(offset: float, odds: float, common: float, alike: float) -> str:
    if odds >= 1.0:
        return f"Both clips hold the same sounds, {abs(offset):.3f} s apart on their clocks."
    if odds <= -1.0:
        return "What is heard beside the strike differs between the clips."
    return "The strikes can be laid over each other, but nothing else is heard that would prove the same moment."


def _real(sound: Sound, slow: float) -> Sound | None:
    """The sound on real seconds: a stretched one is played faster."""
    if len(sound.samples) < 16:
        return None
    return Sound(sound.samples, sound.rate * slow, sound.start_s / slow)


def _usable(sound: Sound, settings: SoundMatchSettings) -> bool:
    level = float(np.sqrt(np.mean(np.asarray(sound.samples, np.float64) ** 2)))
    return level > 10 ** (settings.level_db / 20)


def onsets(sound: Sound, low: float, high: float, settings: SoundMatchSettings) -> tuple[float, FloatArray]:
    """Start on the real clock and (N,) sudden rises of a band's energy, dB above the least that counts.

    The grid starts at a whole multiple of the step, so that two tracks lie on one grid.
    """
    from scipy.signal import butter, sosfilt

    band = sosfilt(butter(2, (low, high), "bandpass", fs=sound.rate, output="sos"), sound.samples.astype(np.float64))
    first = math.ceil(sound.start_s / settings.step_s)
    n = math.floor(sound.stop_s / settings.step_s) - first
    if n < 8:
        return first * settings.step_s, np.zeros(0)
    edges = np.clip(
        np.round(((first + np.arange(n + 1)) * settings.step_s - sound.start_s) * sound.rate).astype(int), 0, len(band)
    )
    total = np.concatenate([[0.0], np.cumsum(band**2)])
    energy = np.diff(total[edges]) / np.maximum(np.diff(edges), 1)
    floor = max(10 ** (settings.level_db / 10), 0.05 * float(np.median(energy)))
    quiet = max(2, round(settings.quiet_s / settings.step_s))
    summed = np.concatenate([[0.0], np.cumsum(energy)])
    at = np.arange(n)
    start = np.maximum(at - quiet, 0)
    before = (summed[at] - summed[start]) / np.maximum(at - start, 1)
    after = 0.5 * (energy + np.append(energy[1:], energy[-1]))
    rise = 10 * np.log10((after + floor) / (before + floor))
    rise[: quiet // 2] = 0.0  # nothing was heard before: no rise can be told
    # The front of a rise alone: its tail would smear the time.
    front = np.where((rise >= np.append(rise[1:], 0.0)) & (rise >= np.append(0.0, rise[:-1])), rise, 0.0)
    return first * settings.step_s, np.clip(front - settings.rise_db, 0.0, settings.most_db)


def _blurred(rise: FloatArray, settings: SoundMatchSettings) -> FloatArray:
    from scipy.ndimage import gaussian_filter1d

    return np.asarray(gaussian_filter1d(rise, settings.blur_s / settings.step_s, mode="constant"), np.float64)


def correlation(
    one: tuple[float, FloatArray], other: tuple[float, FloatArray], settings: SoundMatchSettings
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Lags (L,) of the second against the first, s; correlation of what both hear at each; seconds heard by both.

    At each lag only the part that both recorded counts (normalised cross-correlation over the overlap).
    """
    a, b = _blurred(one[1], settings), _blurred(other[1], settings)
    n = len(a) + len(b) - 1
    size = 1 << (n - 1).bit_length()

    def cross(x: FloatArray, y: FloatArray) -> FloatArray:
        product = np.fft.irfft(np.conj(np.fft.rfft(x, size)) * np.fft.rfft(y, size), size)
        return np.concatenate([product[-(len(a) - 1) :] if len(a) > 1 else product[:0], product[: len(b)]])

    ones_a, ones_b = np.ones(len(a)), np.ones(len(b))
    count = np.maximum(np.round(cross(ones_a, ones_b)), 1.0)
    sum_a, sum_b = cross(a, ones_b), cross(ones_a, b)
    square_a, square_b = cross(a * a, ones_b), cross(ones_a, b * b)
    both = cross(a, b)
    spread_a, spread_b = square_a - sum_a**2 / count, square_b - sum_b**2 / count
    least = 1e-6 * max(float(np.sum(a * a)), 1e-12), 1e-6 * max(float(np.sum(b * b)), 1e-12)
    with np.errstate(invalid="ignore", divide="ignore"):
        score = (both - sum_a * sum_b / count) / np.sqrt(spread_a * spread_b)
    score = np.where((spread_a > least[0]) & (spread_b > least[1]), score, 0.0)
    steps = np.arange(-(len(a) - 1), len(b))
    lags = steps * settings.step_s + (other[0] - one[0])
    return np.asarray(lags, np.float64), np.clip(np.nan_to_num(score), -1.0, 1.0), count * settings.step_s


def _refined(lags: FloatArray, score: FloatArray, best: int) -> float:
    if not 0 < best < len(lags) - 1:
        return float(lags[best])
    low, top, high = score[best - 1 : best + 2]
    bend = low - 2 * top + high
    part = 0.0 if bend >= 0 else 0.5 * (low - high) / bend
    return float(lags[best] + part * (lags[1] - lags[0]))


def _beside(
    rises: list[tuple[float, FloatArray]],
    offset: float,
    strikes_s: tuple[float, float] | None,
    settings: SoundMatchSettings,
) -> tuple[float, float]:
    """Correlation of what is heard beside the strike at the offset found, and the log odds it gives."""
    cleared = []
    for which, (start, rise) in enumerate(rises):
        times = start + np.arange(len(rise)) * settings.step_s
        middle = strikes_s[which] if strikes_s is not None else float(times[int(np.argmax(rise))])
        cleared.append((start, np.where(np.abs(times - middle) <= settings.strike_s, 0.0, rise)))
    if any(np.count_nonzero(rise) < 1 for _, rise in cleared):
        return math.nan, 0.0
    lags, score, overlap = correlation(cleared[0], cleared[1], settings)
    near = np.abs(lags - offset) <= 0.012
    far = (np.abs(lags - offset) > 0.05) & (overlap >= 0.5 * float(overlap[near].max(initial=0.0)))
    if not np.any(near) or np.count_nonzero(far) < 50:
        return math.nan, 0.0
    here = float(score[near].max())
    # How often chance gives as much: the same maximum over as many lags, taken everywhere else.
    width = max(1, int(np.count_nonzero(near)))
    chance = _moving_max(score, width)[far]
    mean, spread = float(chance.mean()), max(float(chance.std()), 0.02)
    busy = min(float(np.count_nonzero(rise)) for _, rise in cleared)
    share = float(np.clip(1.0 - np.exp(-busy / 3.0), 0.0, 1.0))
    # Densities of a score: of the same moments, spread widely about a half; of others, as everywhere else.
    same = _density(here, 0.45, 0.25)
    apart = 0.97 * _density(here, mean, spread) + 0.03 * _density(here, 0.45, 0.35)
    return here, float(np.clip(share * math.log((same + 1e-6) / (apart + 1e-6)), -2.0, 5.0))


def _density(x: float, mean: float, sd: float) -> float:
    return math.exp(-0.5 * ((x - mean) / sd) ** 2) / (sd * math.sqrt(2 * math.pi))


def _moving_max(values: FloatArray, width: int) -> FloatArray:
    from scipy.ndimage import maximum_filter1d

    return np.asarray(maximum_filter1d(values, width), np.float64)


def _strike_alike(
    one: Sound,
    other: Sound,
    offset: float,
    strikes_s: tuple[float, float] | None,
    band: tuple[float, float],
    settings: SoundMatchSettings,
) -> tuple[float, float]:
    """Share of the band in which the two strikes keep one phase to each other, 0–1, and the log odds it gives."""
    if strikes_s is None:
        return math.nan, 0.0
    rate = min(one.rate, other.rate)
    pieces = []
    for sound, at in zip((one, other), (strikes_s[0], strikes_s[0] + offset)):
        times = at - 0.03 + np.arange(round(0.11 * rate)) / rate
        own = sound.start_s + np.arange(len(sound.samples)) / sound.rate
        if times[0] < own[0] or times[-1] > own[-1]:
            return math.nan, 0.0
        pieces.append(_interpolated(sound, times))
    size = 2 * len(pieces[0])
    window = np.hanning(len(pieces[0]))
    spectra = [np.fft.rfft(piece * window, size) for piece in pieces]
    hz = np.fft.rfftfreq(size, 1 / rate)
    inside: BoolArray = (hz >= band[0]) & (hz <= band[1])
    product = np.conj(spectra[0]) * spectra[1]
    phase = np.where(inside, product / np.maximum(np.abs(product), 1e-20), 0.0)
    peak = np.abs(_analytic(phase, size)) * size / (2.0 * max(1, int(np.count_nonzero(inside))))
    reach = round(0.012 * rate)
    alike = float(max(peak[:reach].max(), peak[-reach:].max()))
    same, apart = (
        _density(alike, settings.alike, settings.alike_sd),
        _density(alike, settings.unlike, settings.unlike_sd),
    )
    return alike, float(np.clip(math.log((same + 0.02) / (apart + 0.02)), -1.0, settings.most_alike))


def _interpolated(sound: Sound, times: FloatArray, half_width: int = 24) -> FloatArray:
    """(T,) samples at other times, by a Hann-windowed sinc that also cuts what the slower rate cannot hold."""
    cut = min(1.0, 1.0 / (sound.rate * float(times[1] - times[0])))
    reach = math.ceil(half_width / cut)
    at = (times - sound.start_s) * sound.rate
    first = np.floor(at).astype(int)
    taps = first[:, None] + np.arange(-reach + 1, reach + 1)[None]
    off = at[:, None] - taps
    kernel = cut * np.sinc(cut * off) * (0.5 + 0.5 * np.cos(np.pi * np.clip(off / reach, -1.0, 1.0)))
    inside = (taps >= 0) & (taps < len(sound.samples))
    values = sound.samples.astype(np.float64)[np.clip(taps, 0, len(sound.samples) - 1)]
    return np.asarray((np.where(inside, values, 0.0) * kernel).sum(axis=1), np.float64)


def _analytic(spectrum: FloatArray, size: int) -> FloatArray:
    """(size,) complex signal whose real part has this one-sided spectrum: its size is free of the carrier."""
    full = np.zeros(size, complex)
    full[: len(spectrum)] = 2.0 * spectrum
    return np.asarray(np.fft.ifft(full))
