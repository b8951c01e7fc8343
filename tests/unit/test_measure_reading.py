"""Reading a series at a time: exact on straight lines, steady against bad frames, silent where nothing was measured."""

from __future__ import annotations

import numpy as np
import pytest

from overlay.errors import DataError
from overlay.measure.reading import interpolated, read_at, stretch, theil_sen

WINDOW = {"window_s": 0.02, "slope_window_s": 0.045, "bridge_s": 0.07, "edge_s": 0.012}


def times(rate_hz: float = 60.0, seconds: float = 1.0) -> np.ndarray:  # type: ignore[type-arg]
    return np.arange(0.0, seconds, 1 / rate_hz)


def test_theil_sen_is_the_line_of_most_points() -> None:
    # By hand: slopes of (0,0) (1,1) (2,2) (3,9) are 1, 1, 3, 1, 4, 7; their median is 2.
    assert theil_sen(np.array([0.0, 1.0, 2.0, 3.0]), np.array([0.0, 1.0, 2.0, 9.0])) == 2.0
    assert theil_sen(np.array([1.0]), np.array([5.0])) == 0.0


def test_theil_sen_wants_pairs_in_time_order() -> None:
    with pytest.raises(DataError, match="as many values as times"):
        theil_sen(np.array([0.0, 1.0]), np.array([0.0]))
    with pytest.raises(DataError, match="not increasing"):
        theil_sen(np.array([1.0, 0.0]), np.array([0.0, 1.0]))


@pytest.mark.parametrize("rate_hz", [30.0, 60.0, 240.0])
@pytest.mark.parametrize("at_s", [0.5, 0.507, 0.3333])
def test_a_straight_line_is_read_exactly_between_frames(rate_hz: float, at_s: float) -> None:
    t = times(rate_hz)
    reading = read_at(t, 4.0 * t - 1.0, at_s, **WINDOW)
    assert reading is not None
    assert reading.value == pytest.approx(4.0 * at_s - 1.0)
    assert reading.slope == pytest.approx(4.0)
    assert reading.scatter == pytest.approx(0.0, abs=1e-9)


def test_one_bad_frame_moves_a_still_value_by_nothing() -> None:
    t = times(240.0)
    values = np.full(len(t), 2.0)
    values[120] = 9.0
    reading = read_at(t, values, float(t[120]), **WINDOW)
    assert reading is not None
    assert reading.value == pytest.approx(2.0)


def test_a_short_gap_is_bridged_and_told_a_long_one_is_not() -> None:
    t = times(240.0)
    values = 3.0 * t
    short, long = values.copy(), values.copy()
    short[np.abs(t - 0.5) < 0.025] = np.nan
    long[np.abs(t - 0.5) < 0.06] = np.nan
    reading = read_at(t, short, 0.5, **WINDOW)
    assert reading is not None
    assert reading.value == pytest.approx(1.5)
    assert 0.04 < reading.gap_s < 0.07
    assert read_at(t, long, 0.5, **WINDOW) is None


def test_nothing_is_read_beyond_the_measured_frames() -> None:
    t = times(60.0)
    assert read_at(t, t, 1.2, **WINDOW) is None
    assert read_at(t, np.full(len(t), np.nan), 0.5, **WINDOW) is None
    half = np.where(t < 0.5, t, np.nan)
    assert read_at(t, half, 0.55, **WINDOW) is None


def test_interpolated_stays_within_what_was_measured() -> None:
    t = times(100.0)
    values = np.where((t > 0.3) & (t < 0.6), np.nan, 2.0 * t)
    found = interpolated(t, values, np.array([0.1234, 0.45, 0.304, 0.9999]), bridge_s=0.07, edge_s=0.012)
    assert found[0] == pytest.approx(0.2468)
    assert np.isnan(found[1])
    # Half a frame beside a measured one is near enough, whatever comes after it.
    assert np.isfinite(found[2])
    assert found[3] == pytest.approx(2.0 * t[-1])


def test_a_stretch_has_half_a_frame_to_spare() -> None:
    t = times(10.0)
    assert list(np.flatnonzero(stretch(t, 0.24, 0.46))) == [2, 3, 4, 5]
