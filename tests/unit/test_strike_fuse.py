"""Fusing an interval and several times: inverse variance, truncated normal, outliers; and the shaft's crossing."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from overlay.data import ClubTrack, StrikeClue
from overlay.errors import DataError
from overlay.settings.strike import ClubStrikeSettings, SoundSettings, StrikeSettings
from overlay.strike import Click, clicks, club_through, fuse, strike_click, travel
from overlay.strike.ball import best_step
from overlay.video import Sound

CERTAIN = dataclasses.replace(StrikeSettings(), outlier=1e-9)


def test_two_times_are_weighted_by_inverse_variance() -> None:
    """(t1/v1 + t2/v2) / (1/v1 + 1/v2) with variance 1 / (1/v1 + 1/v2)."""
    clues = [StrikeClue("sound", 1.000, 0.004), StrikeClue("club", 1.005, 0.003)]
    time_s, sd_s = fuse(clues, None, CERTAIN)
    weights = np.array([1 / 0.004**2, 1 / 0.003**2])
    assert time_s == pytest.approx(weights @ [1.000, 1.005] / weights.sum(), abs=2e-5)
    assert sd_s == pytest.approx(weights.sum() ** -0.5, rel=0.01)


def test_an_interval_alone_is_uniform() -> None:
    """Mean in the middle; SD width/√12, a little more for the soft ends."""
    time_s, sd_s = fuse([], (2.0, 2.0 + 1 / 30), StrikeSettings())
    assert time_s == pytest.approx(2.0 + 1 / 60, abs=1e-5)
    assert sd_s == pytest.approx(math.hypot(1 / 30 / math.sqrt(12), 0.001), rel=0.02)


def test_a_time_within_an_interval_is_a_truncated_normal() -> None:
    """Mean μ + σ (φ(a) − φ(b)) / (Φ(b) − Φ(a)) (Johnson, Kotz & Balakrishnan 1994, 10.1)."""
    from scipy.stats import truncnorm

    settings = dataclasses.replace(CERTAIN, edge_sd_s=1e-5)
    time_s, sd_s = fuse([StrikeClue("sound", 0.028, 0.006)], (0.0, 1 / 30), settings)
    true = truncnorm((0.0 - 0.028) / 0.006, (1 / 30 - 0.028) / 0.006, loc=0.028, scale=0.006)
    assert time_s == pytest.approx(true.mean(), abs=1e-4)
    assert sd_s == pytest.approx(true.std(), rel=0.03)


def test_a_clue_that_contradicts_the_ball_loses_its_say() -> None:
    time_s, _ = fuse([StrikeClue("sound", 0.2, 0.005)], (0.0, 1 / 60), StrikeSettings())
    assert time_s == pytest.approx(1 / 120, abs=1e-3)


def test_nothing_known_is_nan() -> None:
    assert all(math.isnan(value) for value in fuse([], None, StrikeSettings()))
    assert all(math.isnan(value) for value in fuse([StrikeClue("sound", math.nan, 0.01)], None, StrikeSettings()))


def test_best_step_of_clear_votes() -> None:
    times = np.arange(10) / 30
    vote = np.array([1, 1, 1, 0, 1, 1, -1, -1, -1, -1.0])
    seen, gone, clean = best_step(times, vote, 0.0, 1.0) or pytest.fail("no step")
    assert (seen, gone) == (times[5], times[6])
    assert clean == pytest.approx(5 / 6)


def test_best_step_spans_frames_that_tell_nothing_and_passes_over_a_wrong_one() -> None:
    times = np.arange(12) / 60
    vote = np.array([1, 1, -1, 1, 1, 0, 0, -1, -1, 1, -1, -1.0])
    seen, gone, _ = best_step(times, vote, 0.0, 1.0) or pytest.fail("no step")
    assert (seen, gone) == (times[4], times[7])


def test_best_step_is_looked_for_where_asked() -> None:
    times = np.arange(10) / 30
    vote = np.array([1, 1, 1, -1, -1, -1, -1, -1, -1, -1.0])
    assert best_step(times, vote, 0.2, 0.4) is None or best_step(times, vote, 0.2, 0.4)[2] == 0.0
    assert best_step(times, np.zeros(10), 0.0, 1.0) is None


# The click ------------------------------------------------------------------------------------------------------


def noisy(at_s: float | None, rate: float = 16_000.0, seed: int = 0, gain: float = 0.3) -> Sound:
    """Two seconds of faint noise with a burst that dies away in 5 ms."""
    rng = np.random.default_rng(seed)
    samples = 0.002 * rng.normal(size=int(2 * rate))
    if at_s is not None:
        first = round(at_s * rate)
        t = np.arange(int(0.03 * rate)) / rate
        samples[first : first + len(t)] += gain * rng.normal(size=len(t)) * np.exp(-t / 0.005)
    return Sound(samples.astype(np.float32), rate, 10.0)


@pytest.mark.parametrize("rate", [8_000.0, 16_000.0, 48_000.0, 96_000.0])
def test_a_burst_is_one_click_at_its_beginning(rate: float) -> None:
    found = clicks(noisy(1.234, rate))
    assert len(found) == 1
    assert found[0].time_s == pytest.approx(11.234, abs=0.0012)
    assert found[0].rise_db > 20


def test_noise_and_a_slow_swell_hold_no_click() -> None:
    assert clicks(noisy(None)) == ()
    rng = np.random.default_rng(1)
    t = np.arange(32_000) / 16_000
    swell = 0.2 * rng.normal(size=len(t)) * np.exp(-0.5 * ((t - 1.0) / 0.08) ** 2)
    assert clicks(Sound((swell + 0.002 * rng.normal(size=len(t))).astype(np.float32), 16_000.0)) == ()


def test_a_low_thud_is_no_click() -> None:
    """A step on the ground: strong, sudden, and below the band."""
    t = np.arange(32_000) / 16_000
    thud = np.where(t > 1.0, 0.5 * np.sin(2 * np.pi * 90 * (t - 1.0)) * np.exp(-(t - 1.0) / 0.05), 0.0)
    noise = 0.005 * np.random.default_rng(2).normal(size=len(t))
    assert clicks(Sound((thud + noise).astype(np.float32), 16_000.0)) == ()


def test_a_sound_too_coarse_for_clicks() -> None:
    with pytest.raises(DataError, match="holds no click"):
        clicks(Sound(np.zeros(1000, np.float32), 1000.0))
    assert clicks(Sound(np.zeros(10, np.float32), 48_000.0)) == ()


def test_the_strike_is_the_click_near_the_expected_instant() -> None:
    settings = SoundSettings()
    delay, spread = travel(settings)
    assert delay == pytest.approx(4.0 / 343.0)
    assert spread == pytest.approx(math.hypot(1.2 / 343.0, 0.006))
    own, loud_but_off = Click(2.0 + delay + 0.004, 25.0, -20.0), Click(2.5, 30.0, -10.0)
    click, time_s, sd_s = strike_click((own, loud_but_off), 2.0, 0.01, settings) or pytest.fail("no strike")
    assert click is own
    assert time_s == pytest.approx(2.004)
    assert sd_s == spread
    assert strike_click((loud_but_off,), 2.0, 0.01, settings) is None


def test_of_two_near_clicks_the_louder_one_is_the_strike() -> None:
    settings = SoundSettings()
    delay, _ = travel(settings)
    faint, own = Click(2.0 + delay - 0.008, 15.0, -50.0), Click(2.0 + delay + 0.010, 25.0, -20.0)
    chosen = strike_click((faint, own), 2.0, 0.012, settings)
    assert chosen is not None
    assert chosen[0] is own


def test_of_two_equal_clicks_the_one_that_had_its_way_to_go_is_the_strike() -> None:
    settings = SoundSettings()
    delay, _ = travel(settings)
    at_once, own = Click(2.0, 20.0, -30.0), Click(2.0 + delay + 0.002, 20.0, -30.0)
    chosen = strike_click((at_once, own), 2.0, 0.005, settings)
    assert chosen is not None
    assert chosen[0] is own


def test_a_strike_that_is_only_heard_is_the_loudest() -> None:
    settings = SoundSettings()
    delay, _ = travel(settings)
    own, other = Click(2.0 + delay, 25.0, -30.0), Click(3.1, 25.0, -31.0)
    assert strike_click((own, other), 2.0, 0.01, settings) is not None
    assert strike_click((own, other), 2.0, 0.01, settings, alone=True) is None
    assert strike_click((own,), 2.0, 0.01, settings, alone=True) is not None


# The shaft ------------------------------------------------------------------------------------------------------


def sweeping(rate_deg_s: float, cross_s: float = 1.0, hidden: tuple[int, ...] = ()) -> ClubTrack:
    """A shaft that turns evenly about (100, 100) and points straight down, at (100, 300), at ``cross_s``."""
    times = 0.75 + np.arange(31) / 60
    angle = 90.0 - rate_deg_s * (times - cross_s)
    return ClubTrack(
        time_s=times,
        grip=np.full((31, 2), 100.0),
        angle_deg=angle,
        length_px=np.full(31, 200.0),
        state=tuple("hidden" if i in hidden else "measured" for i in range(31)),
    )


@pytest.mark.parametrize("rate_deg_s", [1500.0, -1500.0])
@pytest.mark.parametrize("cross_s", [0.9937, 1.0, 1.009])
def test_an_even_sweep_passes_the_ball_exactly(rate_deg_s: float, cross_s: float) -> None:
    settings = ClubStrikeSettings()
    found = club_through(sweeping(rate_deg_s, cross_s), (100.0, 300.0), 1.0, 1.0, settings)
    assert found is not None
    assert found[0] == pytest.approx(cross_s - settings.late_s, abs=1e-6)
    assert found[1] == pytest.approx(math.hypot(settings.angle_sd_deg / 1500, settings.gap_share / 60), rel=0.01)


def test_a_slow_or_unseen_sweep_tells_nothing() -> None:
    settings = ClubStrikeSettings()
    assert club_through(sweeping(300.0), (100.0, 300.0), 1.0, 1.0, settings) is None
    assert club_through(sweeping(1500.0, hidden=tuple(range(15, 31))), (100.0, 300.0), 1.0, 1.0, settings) is None
    # In slow motion by 4 the same picture turns four times as fast in life.
    assert club_through(sweeping(300.0), (100.0, 300.0), 1.0, 4.0, settings) is not None
