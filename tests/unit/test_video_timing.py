"""Raw timestamps to seconds: worked by hand."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from overlay.errors import InputError
from overlay.settings.video import ReaderSettings
from overlay.video.timing import Timing, judged, nominal_rate, timing_of

SETTINGS = ReaderSettings()


def timing(
    pts: Sequence[int | None],
    dts: Sequence[int | None] | None = None,
    *,
    base: Fraction = Fraction(1, 600),
    rate: Fraction | None = Fraction(30),
    reorders: bool = False,
) -> Timing:
    return timing_of("clip.mp4", pts, pts if dts is None else dts, base, rate, reorders=reorders, settings=SETTINGS)


def test_rebased_to_zero_in_seconds() -> None:
    found = timing([9000, 9020, 9040, 9060])
    np.testing.assert_allclose(found.times_s, [0, 1 / 30, 2 / 30, 3 / 30], rtol=1e-15)
    assert found.times_s[0] == 0.0
    assert found.pts is not None
    assert found.pts.tolist() == [9000, 9020, 9040, 9060]
    assert (found.nominal_rate, found.is_variable_rate, found.warnings) == (Fraction(30), False, ())


def test_negative_and_huge_starts() -> None:
    np.testing.assert_allclose(timing([-40, -20, 0]).times_s, [0, 1 / 30, 2 / 30], rtol=1e-15)
    # 2^62 ticks: a float would lose the differences.
    start = 2**62
    np.testing.assert_allclose(timing([start, start + 20, start + 40]).times_s, [0, 1 / 30, 2 / 30], rtol=1e-15)


def test_shown_in_another_order_than_stored() -> None:
    found = timing([0, 80, 40, 20, 60], [-40, -20, 0, 20, 40], reorders=True)
    np.testing.assert_allclose(found.times_s, np.arange(5) / 30, rtol=1e-15)
    assert found.warnings == ()


def test_repeated_times_are_left_out_and_told() -> None:
    for reorders in (False, True):
        found = timing([0, 20, 20, 40, 60, 80], reorders=reorders)
        np.testing.assert_allclose(found.times_s, np.arange(5) / 30, rtol=1e-15)
        assert "1 of 6 frame times repeat" in found.warnings[0]


def test_times_that_run_backwards_are_left_out_and_told() -> None:
    found = timing([0, 20, 40, 10, 60, 80])
    np.testing.assert_allclose(found.times_s, np.arange(5) / 30, rtol=1e-15)
    assert "1 of 6 frame times repeat or run backwards" in found.warnings[0]


def test_a_clock_that_stands_still_is_replaced() -> None:
    found = timing([7] * 8, rate=Fraction(60))
    np.testing.assert_allclose(found.times_s, np.arange(8) / 60)
    assert found.pts is None
    assert "evenly spaced" in found.warnings[0]


def test_without_presentation_times_decoding_times_serve() -> None:
    found = timing([None] * 4, [3, 23, 43, 63])
    np.testing.assert_allclose(found.times_s, np.arange(4) / 30, rtol=1e-15)
    assert found.pts is None
    assert "4 of 4 frames carry no presentation time" in found.warnings[0]


def test_without_any_times_the_stated_rate_serves() -> None:
    np.testing.assert_allclose(timing([None] * 4, [None] * 4, rate=Fraction(60)).times_s, np.arange(4) / 60)
    np.testing.assert_allclose(timing([None] * 4, [None] * 4, rate=None).times_s, np.arange(4) / 30)


def test_single_missing_times_are_filled_between_their_neighbours() -> None:
    found = timing([None, 20, None, 60, None], [None] * 5)
    np.testing.assert_allclose(found.times_s, np.arange(5) / 30, rtol=1e-12)


def test_constant_rate_in_coarse_ticks_is_constant() -> None:
    # 240 frames/s in Matroska's milliseconds: steps of 4 and 5 ms.
    ticks = [round(i * 1000 / 240) for i in range(200)]
    found = timing(ticks, base=Fraction(1, 1000), rate=Fraction(240))
    assert not found.is_variable_rate
    assert found.nominal_rate == 240


def test_variable_rate_and_gaps() -> None:
    # A phone in dim light: 30/s, then 15/s.
    dim = [20 * i for i in range(20)] + [400 + 40 * i for i in range(8)]
    assert timing(dim).is_variable_rate
    # Three frames lost at 0.5 s.
    lost = timing([20 * i for i in range(16)] + [20 * i for i in range(19, 40)], rate=Fraction(28))
    assert lost.is_variable_rate
    assert lost.nominal_rate == 30
    assert "longest gap is 0.13 s, at 0.50 s" in lost.warnings[0]


@pytest.mark.parametrize(
    ("measured", "stated", "wanted"),
    [
        (29.97, Fraction(30000, 1001), Fraction(30000, 1001)),
        (30.0, Fraction(30), Fraction(30)),
        (59.94, Fraction(60), Fraction(60)),  # as the container states it, though one step off the measured one
        (30.001, Fraction(284, 10), Fraction(30)),  # average over a clip with lost frames
        (239.7, None, Fraction(240000, 1001)),
        (30.0, Fraction(90000), Fraction(30)),  # a time base mistaken for a rate
        (17.3, None, Fraction(173, 10)),
    ],
)
def test_nominal_rate(measured: float, stated: Fraction | None, wanted: Fraction) -> None:
    assert nominal_rate(measured, stated, SETTINGS) == wanted


def test_one_frame() -> None:
    found = timing([5])
    assert found.times_s.tolist() == [0.0]
    assert found.nominal_rate == 30


@pytest.mark.parametrize(
    ("times", "why"),
    [
        ([0.0, 60.0, 120.0], "one picture a minute"),
        ([0.0, 1e-6, 2e-6], "a million a second"),
        ([0.0, 0.03, 0.06, 90_000.0], "a day long"),
    ],
)
def test_times_without_sense(times: list[float], why: str) -> None:
    with pytest.raises(InputError, match="make no sense"):
        judged("clip.mp4", np.array(times), None, 0.0, None, [], SETTINGS)


@given(
    pts=st.lists(st.one_of(st.none(), st.integers(-90, 900)), min_size=1, max_size=40),
    dts=st.lists(st.one_of(st.none(), st.integers(-90, 900)), min_size=40, max_size=40),
    reorders=st.booleans(),
)
def test_any_timestamps_give_increasing_seconds_or_an_input_error(
    pts: list[int | None], dts: list[int | None], reorders: bool
) -> None:
    try:
        found = timing(pts, dts[: len(pts)], reorders=reorders)
    except InputError:
        return
    assert found.times_s[0] == 0.0
    assert np.all(np.diff(found.times_s) > 0)
    assert found.nominal_rate > 0
    assert found.pts is None or len(found.pts) == len(found.times_s)
