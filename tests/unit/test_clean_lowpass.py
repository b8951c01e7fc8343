"""The zero-lag filter against algebra and SciPy, and the residual analysis against both."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from overlay.clean import chosen_cutoff_hz, low_pass, residuals
from overlay.clean.lowpass import BOTH_WAYS
from overlay.errors import DataError


def gain_of(rate_hz: float, cutoff_hz: float, frequency_hz: float) -> float:
    """Amplitude ratio in the middle of a long sinusoid."""
    t = np.arange(round(20 * rate_hz)) / rate_hz
    wave = np.sin(2 * np.pi * frequency_hz * t)
    out = low_pass(wave, t, cutoff_hz)
    middle = slice(len(t) // 4, 3 * len(t) // 4)
    return float(np.sqrt(np.mean(out[middle] ** 2) / np.mean(wave[middle] ** 2)))


@pytest.mark.parametrize("rate_hz", [60.0, 120.0, 240.0])
@pytest.mark.parametrize("cutoff_hz", [8.0, 13.0])
def test_amplitude_is_that_of_scipys_frequency_response(rate_hz: float, cutoff_hz: float) -> None:
    b, a = signal.butter(2, cutoff_hz / 0.802, fs=rate_hz)
    for frequency_hz in (1.0, 4.0, 8.0, 16.0, 24.0):
        _, response = signal.freqz(b, a, worN=[frequency_hz], fs=rate_hz)
        # Forwards and backwards: the magnitude twice, no phase.
        assert gain_of(rate_hz, cutoff_hz, frequency_hz) == pytest.approx(abs(response[0]) ** 2, abs=2e-3)


@pytest.mark.parametrize("cutoff_hz", [6.0, 9.0, 13.0])
def test_published_magnitude(cutoff_hz: float) -> None:
    # |H| = 1 ÷ √(1 + (f/fc)^(2n)), S. Butterworth, Wireless Engineer 1930; twice, n = 2. The rate is high, so that
    # the bilinear transform's warping is below the tolerance.
    for frequency_hz in (2.0, 6.0, 12.0, 30.0):
        expected = 1.0 / (1.0 + (frequency_hz * BOTH_WAYS / cutoff_hz) ** 4)
        assert gain_of(2000.0, cutoff_hz, frequency_hz) == pytest.approx(expected, abs=2e-3)


def test_cutoff_is_where_the_amplitude_is_one_over_root_two() -> None:
    assert gain_of(2000.0, 10.0, 10.0) == pytest.approx(1 / np.sqrt(2), abs=2e-3)
    # Winter 2009, p. 69: 0.802 for a dual pass.
    assert pytest.approx(0.802, abs=5e-4) == BOTH_WAYS


def test_no_lag() -> None:
    t = np.arange(400) / 120.0
    bump = np.exp(-(((t - 1.7) / 0.12) ** 2))
    out = low_pass(bump, t, 9.0)
    centre = np.sum(t * out) / np.sum(out)
    assert centre == pytest.approx(1.7, abs=1e-6)


def test_a_straight_line_and_a_constant_pass() -> None:
    t = np.arange(90) / 60.0
    assert np.allclose(low_pass(3.0 * t + 2.0, t, 9.0), 3.0 * t + 2.0, atol=1e-9)
    assert np.allclose(low_pass(np.full(90, 7.0), t, 9.0), 7.0, atol=1e-9)


def test_white_noise_falls_as_the_filters_area_says() -> None:
    rate, cutoff = 120.0, 9.0
    t = np.arange(60_000) / rate
    noise = np.random.default_rng(11).normal(size=len(t))
    b, a = signal.butter(2, cutoff / BOTH_WAYS, fs=rate)
    _, response = signal.freqz(b, a, worN=8192, fs=rate)
    expected = np.sqrt(np.mean(np.abs(response) ** 4))
    assert np.std(low_pass(noise, t, cutoff)) == pytest.approx(expected, rel=0.02)


def test_uneven_times_are_filtered_as_even_ones() -> None:
    rng = np.random.default_rng(3)
    t = np.cumsum(rng.uniform(0.5, 1.5, 600)) / 120.0
    slow, fast = np.sin(2 * np.pi * 1.5 * t), 0.3 * np.sin(2 * np.pi * 30.0 * t)
    out = low_pass(slow + fast, t, 8.0)
    inside = slice(40, -40)
    assert np.sqrt(np.mean((out - slow)[inside] ** 2)) < 0.03


def test_rounded_time_stamps_count_as_even() -> None:
    exact = np.arange(300) / 30.0
    rounded = np.round(exact, 3)
    wave = np.sin(2 * np.pi * exact)
    assert np.allclose(low_pass(wave, rounded, 6.0), low_pass(wave, exact, 6.0), atol=1e-3)


def test_a_cutoff_the_rate_cannot_show_changes_nothing() -> None:
    t = np.arange(60) / 30.0
    values = np.random.default_rng(0).normal(size=(60, 2))
    assert np.array_equal(low_pass(values, t, 13.0), values)
    assert not np.array_equal(low_pass(values, t, 8.0), values)


@pytest.mark.parametrize("n", range(1, 5))
def test_stretches_too_short_to_filter(n: int) -> None:
    values = np.arange(float(n))
    assert np.array_equal(low_pass(values, np.arange(n) / 60.0, 9.0), values)


@pytest.mark.parametrize(
    ("values", "times", "cutoff_hz", "complaint"),
    [
        (np.array([0.0, np.nan, 1, 2, 3, 4]), np.arange(6.0), 0.1, "missing"),
        (np.zeros(6), np.arange(5.0), 0.1, "do not fit"),
        (np.zeros(6), np.arange(6.0), 0.0, "not positive"),
        (np.zeros(6), np.arange(6.0), float("nan"), "not positive"),
    ],
)
def test_bad_input(values: np.ndarray, times: np.ndarray, cutoff_hz: float, complaint: str) -> None:
    with pytest.raises(DataError, match=complaint):
        low_pass(values, times, cutoff_hz)


# --- residual analysis ---


def test_residual_of_a_sinusoid_is_what_the_filter_takes() -> None:
    rate, frequency = 240.0, 5.0
    t = np.arange(round(30 * rate)) / rate
    wave = np.sin(2 * np.pi * frequency * t)
    cutoffs = np.array([3.0, 5.0, 9.0, 20.0])
    kept = 1.0 / (1.0 + (frequency * BOTH_WAYS / cutoffs) ** 4)
    assert residuals(wave, t, cutoffs) == pytest.approx((1.0 - kept) / np.sqrt(2), abs=4e-3)


def test_residual_of_white_noise() -> None:
    rate = 120.0
    t = np.arange(40_000) / rate
    noise = np.random.default_rng(2).normal(0.0, 2.0, len(t))
    for cutoff in (5.0, 15.0, 30.0):
        b, a = signal.butter(2, cutoff / BOTH_WAYS, fs=rate)
        _, response = signal.freqz(b, a, worN=8192, fs=rate)
        expected = 2.0 * np.sqrt(np.mean((1.0 - np.abs(response) ** 2) ** 2))
        assert residuals(noise, t, np.array([cutoff]))[0] == pytest.approx(expected, rel=0.03)


def test_chosen_cutoff_lies_between_movement_and_noise() -> None:
    rate = 120.0
    t = np.arange(1200) / rate
    rng = np.random.default_rng(4)
    slow = np.sin(2 * np.pi * 1.0 * t)
    quick = slow + 0.3 * np.sin(2 * np.pi * 6.0 * t)
    noise = rng.normal(0.0, 0.02, len(t))
    low, high = chosen_cutoff_hz(slow + noise, t), chosen_cutoff_hz(quick + noise, t)
    assert 1.5 < low < 8.0
    assert 8.0 < high < 25.0
    # More noise, lower cut-off.
    assert chosen_cutoff_hz(quick + 5 * noise, t) < high


def test_residual_analysis_needs_enough() -> None:
    with pytest.raises(DataError, match="too few"):
        chosen_cutoff_hz(np.zeros(10), np.arange(10) / 60.0)
    with pytest.raises(DataError, match="too few"):
        chosen_cutoff_hz(np.zeros(100), np.arange(100) / 10.0)
