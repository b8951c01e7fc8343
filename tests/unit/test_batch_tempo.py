"""Tempo and its parts: values and intervals from algebra."""

from __future__ import annotations

import dataclasses
import math
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from batch_factory import golfer_track

from overlay.batch.tempo import NAMES, tempo_measures
from overlay.data import Clip, Position, Positions, Swing
from overlay.terms import POSITION_NAMES


def swing(sd_s: float | None = 0.01, *, slow: int = 1, source: str = "pose", **times: float) -> Swing:
    """A swing with given positions, on the clock of a clip played ``slow`` times slower than it was filmed."""
    track = golfer_track(0)
    times = times or {"address": 1.0, "top": 1.9, "impact": 2.2}
    track = dataclasses.replace(track, time_s=track.time_s * slow)
    found = tuple(
        Position(name, times[name] * slow, 0.9, source, None if sd_s is None else sd_s * slow)  # type: ignore[arg-type]
        for name in POSITION_NAMES
        if name in times
    )
    missing = {name: "not looked for" for name in POSITION_NAMES if name not in times}
    clip = None
    if slow != 1:
        clip = Clip(
            path=Path("clip.mp4"),
            content_hash="0" * 64,
            width=480,
            height=854,
            rotation_deg=0,
            mirrored=False,
            times_s=np.arange(4) / 30.0,
            nominal_rate=Fraction(30),
            capture_rate=Fraction(30 * slow),
            is_variable_rate=False,
            has_audio=False,
        )
    return Swing(clip, track, "dtl", 1.0, "right", 1.0, Positions(found, missing))


def test_values_and_intervals_are_those_of_algebra() -> None:
    ratio, back, down = tempo_measures(swing(0.01))
    assert (ratio.name, back.name, down.name) == NAMES
    assert ratio.value == pytest.approx(3.0)
    assert (back.value, back.unit, down.value) == (pytest.approx(0.9), "s", pytest.approx(0.3))
    # r = b/d with b = top − address, d = impact − top: dr = (−1/d, 1/d + b/d², −b/d²)·(ε_a, ε_t, ε_i).
    sd = 0.01 * math.sqrt((1 / 0.3) ** 2 + (1 / 0.3 + 0.9 / 0.09) ** 2 + (0.9 / 0.09) ** 2)
    assert ratio.interval == pytest.approx((3.0 - 1.959964 * sd, 3.0 + 1.959964 * sd), abs=1e-5)
    half = 1.959964 * 0.01 * math.sqrt(2)
    assert down.interval == pytest.approx((0.3 - half, 0.3 + half), abs=1e-6)


def test_the_interval_is_what_a_simulation_gives() -> None:
    rng = np.random.default_rng(3)
    a, t, i = (when + 0.005 * rng.standard_normal(200_000) for when in (1.0, 1.9, 2.2))
    ratio = tempo_measures(swing(0.005))[0]
    assert ratio.interval is not None
    inside = np.mean(((t - a) / (i - t) > ratio.interval[0]) & ((t - a) / (i - t) < ratio.interval[1]))
    assert 0.94 < inside < 0.96


def test_durations_are_real_seconds() -> None:
    at_speed, slowed = tempo_measures(swing()), tempo_measures(swing(slow=8))
    for one, other in zip(at_speed, slowed):
        assert other.value == pytest.approx(one.value)
        assert other.interval == pytest.approx(one.interval)


def test_without_standard_deviations_there_is_no_interval() -> None:
    assert [measure.interval for measure in tempo_measures(swing(None))] == [None, None, None]


def test_a_mark_lies_within_half_a_frame() -> None:
    down = tempo_measures(swing(None, source="marked"))[2]
    frame_s = float(np.median(np.diff(golfer_track(0).time_s)))
    assert down.interval is not None
    assert down.interval[1] - down.value == pytest.approx(1.959964 * math.sqrt(2) * frame_s / 2, abs=1e-6)


def test_what_is_missing_is_said() -> None:
    ratio, back, down = tempo_measures(swing(address=1.0, impact=2.2))
    assert not ratio.valid
    assert ratio.reason == "top not found"
    assert (back.reason, down.reason) == ("top not found", "top not found")
    ratio, back, down = tempo_measures(swing(address=1.0, top=1.9))
    assert back.valid
    assert (ratio.reason, down.reason) == ("impact not found", "impact not found")


def test_seconds_of_an_unknown_slow_motion_are_not_given() -> None:
    """A backswing of eight seconds is slow motion whose rate nobody told; the ratio needs no clock."""
    ratio, back, down = tempo_measures(swing(address=1.0, top=8.2, impact=10.6))
    assert ratio.valid
    assert ratio.value == pytest.approx(3.0)
    assert not back.valid
    assert not down.valid
    assert "does not play at real speed" in back.reason
    assert math.isnan(back.value)


def test_a_tempo_nobody_has_is_not_given() -> None:
    ratio = tempo_measures(swing(address=0.0, top=2.9, impact=3.0))[0]
    assert not ratio.valid
    assert "outside" in ratio.reason


def test_an_address_at_shaft_level_back_measures_nothing() -> None:
    from overlay.data import Position, Positions
    from overlay.positions import no_takeaway

    def positions(address_s: float | None) -> Positions:
        times = {"address": address_s, "shaft_level_back": 1.48, "top": 2.01}
        found = tuple(Position(name, time_s, 0.9) for name, time_s in times.items() if time_s is not None)
        kept = {position.name for position in found}
        return Positions(found, {name: "not looked for" for name in POSITION_NAMES if name not in kept})

    assert no_takeaway(positions(1.47))
    assert not no_takeaway(positions(1.0))
    assert not no_takeaway(positions(None))
