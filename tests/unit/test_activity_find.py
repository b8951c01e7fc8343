"""From movement to stretches: nothing that may be a swing is left out, and where it cannot be told all is kept."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from overlay.activity import Activity, Stretches, find_stretches, widened
from overlay.activity.find import judge
from overlay.arrays import BoolArray
from overlay.data import Clip, Frame
from overlay.settings.activity import ActivitySettings
from overlay.video import Glance, Reader

SETTINGS = ActivitySettings()
STEP_S = 1 / 30


def clip_of(length_s: float, rate: int = 60, capture: int | None = None) -> Clip:
    times = np.arange(round(length_s * rate)) / rate
    told = None if capture is None else Fraction(capture)
    return Clip(Path("a.mp4"), "0" * 64, 480, 854, 0, False, times, Fraction(rate), told, False, False)


class Range:
    """Movement over time, put together from what a player does."""

    def __init__(self, length_s: float, slow: float = 1.0) -> None:
        self.time_s = np.arange(STEP_S, length_s - STEP_S, STEP_S)
        self.swept = np.zeros(len(self.time_s))
        self.moved = np.full(len(self.time_s), 0.001)
        self.slow = slow

    def between(self, start_s: float, stop_s: float) -> BoolArray:
        return (self.time_s >= start_s) & (self.time_s < stop_s)

    def swing(self, address_s: float, size: float = 1.0) -> Range:
        """Backswing, downswing and finish as rendered recordings show them; impact is 1.15 s after the address."""
        k = self.slow
        for start, stop, swept, moved in (
            (0.0, 0.85, 0.005, 0.06),
            (0.85, 1.0, 0.014, 0.08),
            (1.0, 1.2, 0.028, 0.10),
            (1.2, 1.4, 0.012, 0.09),
            (1.4, 1.7, 0.003, 0.04),
            (2.5, 3.2, 0.006, 0.06),
        ):
            part = self.between(address_s + start * k, address_s + stop * k)
            self.swept[part], self.moved[part] = size * swept, size * moved
        return self

    def busy(self, start_s: float, stop_s: float, swept: float = 0.003, moved: float = 0.06) -> Range:
        part = self.between(start_s, stop_s)
        self.swept[part], self.moved[part] = np.maximum(self.swept[part], swept), np.maximum(self.moved[part], moved)
        return self

    @property
    def activity(self) -> Activity:
        return Activity(self.time_s, self.swept, self.moved)


def holds(found: Stretches, address_s: float, slow: float = 1.0) -> bool:
    """From half a second before the address to half a second after the hold's end, 1.15 + 1.35 s later."""
    first, last = max(0.0, address_s - 0.5 * slow), address_s + 3.0 * slow
    return any(start <= first and stop >= last for start, stop in found.stretches)


def test_one_swing_in_a_long_clip_and_little_more() -> None:
    found = judge(clip_of(60), Range(60).swing(30.0).activity, 1.0, SETTINGS)
    assert not found.whole
    assert holds(found, 30.0)
    assert len(found.stretches) == 1
    assert found.length_s < 6.5
    assert "6 of 60 s" in found.why or "5 of 60 s" in found.why


def test_seventy_swings_in_half_an_hour() -> None:
    made = Range(1800)
    rng = np.random.default_rng(2)
    addresses = 8.0 + 25.4 * np.arange(70) + rng.uniform(-2, 2, 70)
    for address in addresses:
        # Full swings of one player differ by a third; between them he places balls and waggles.
        made.swing(address, float(rng.uniform(0.7, 1.0))).busy(address - 9, address - 5).busy(
            address - 1.6, address, 0.0015, 0.012
        )
    found = judge(clip_of(1800), made.activity, 1.0, SETTINGS)
    assert all(holds(found, address) for address in addresses)
    assert found.length_s < 0.3 * 1800


def test_stretches_begin_and_end_on_frames_and_lie_apart() -> None:
    clip = clip_of(120, 50)
    found = judge(clip, Range(120).swing(20.0).swing(24.5).swing(80.0).activity, 1.0, SETTINGS)
    assert all(np.any(clip.times_s == time_s) for span in found.stretches for time_s in span)
    assert len(found.stretches) == 2  # the first two touch
    gaps = [after[0] - before[1] for before, after in zip(found.stretches, found.stretches[1:])]
    assert min(gaps) >= SETTINGS.apart_s


def test_a_waggle_before_the_swing_does_not_cut_the_address() -> None:
    found = judge(clip_of(60), Range(60).swing(30.0).busy(24.0, 29.5, 0.0015, 0.012).activity, 1.0, SETTINGS)
    assert holds(found, 30.0)


def test_people_who_never_stand_still_cost_time_but_no_swing() -> None:
    found = judge(clip_of(90), Range(90).swing(30.0).busy(0.0, 90.0, 0.004, 0.08).activity, 1.0, SETTINGS)
    assert holds(found, 30.0)
    assert not found.whole


@pytest.mark.parametrize("length_s", [0.15, 1.5])
def test_something_far_more_violent_hides_no_swing(length_s: float) -> None:
    # A hand before the lens, or somebody walking past close by, for a moment or for longer.
    made = Range(90).swing(30.0).swing(60.0, 0.7).busy(80.0, 80.0 + length_s, 0.5, 0.9).busy(10, 11, 0.15, 0.5)
    found = judge(clip_of(90), made.activity, 1.0, SETTINGS)
    assert holds(found, 30.0)
    assert holds(found, 60.0)


def test_a_stronger_walker_does_not_make_a_recording_slowed() -> None:
    # He sweeps more than the swing, and still more of him moves.
    made = Range(60).swing(30.0).busy(5.0, 8.0, 0.008, 0.25).busy(6.4, 6.6, 0.038, 0.25)
    found = judge(clip_of(60), made.activity, 1.0, SETTINGS)
    assert not found.whole
    assert holds(found, 30.0)


def test_a_slow_rehearsal_and_a_waggle_alone_are_left_out() -> None:
    made = Range(90).swing(60.0).swing(20.0, 0.3).busy(40.0, 42.0, 0.002, 0.02)
    found = judge(clip_of(90), made.activity, 1.0, SETTINGS)
    assert holds(found, 60.0)
    assert not any(start < 45.0 for start, _ in found.stretches)


def test_ends_of_the_recording_near_a_stretch_belong_to_it() -> None:
    made = Range(60).swing(2.0).swing(56.0)
    found = judge(clip_of(60), made.activity, 1.0, SETTINGS)
    assert found.stretches[0][0] == 0.0
    assert found.stretches[-1][1] == pytest.approx(60 - 1 / 60)


def test_unsure_is_everywhere() -> None:
    nothing = judge(clip_of(60), Range(60).busy(10, 20, 0.001, 0.03).activity, 1.0, SETTINGS)
    assert nothing.whole
    assert nothing.stretches[0] == pytest.approx((0.0, 60 - 1 / 60))
    assert "as suddenly as a swing" in nothing.why
    # Slowed eight times and nobody told: little is swept for all that moves.
    slowed = Range(60, slow=8.0).swing(10.0)
    slowed.swept *= 0.2
    assert "real time" in judge(clip_of(60), slowed.activity, 1.0, SETTINGS).why
    # Nothing but sustained movement.
    walking = judge(clip_of(60), Range(60).busy(10, 30, 0.03, 0.1).activity, 1.0, SETTINGS)
    assert walking.whole
    # Little would be gained.
    dense = Range(30).swing(3.0).swing(8.5).swing(14.0).swing(19.5).swing(25.0)
    assert "Little" in judge(clip_of(30), dense.activity, 1.0, SETTINGS).why


def test_a_told_slow_factor_stretches_every_time() -> None:
    # Sampled at eight times the spacing, a slowed swing sweeps as one in real time.
    made = Range(8 * 60 / 8, slow=1.0).swing(30.0)
    slow = Activity(made.time_s * 8.0, made.swept, made.moved)
    found = judge(clip_of(480, 30, 240), slow, 8.0, SETTINGS)
    assert holds(found, 240.0, 8.0)
    assert found.length_s == pytest.approx(8 * judge(clip_of(60), made.activity, 1.0, SETTINGS).length_s, rel=0.02)


class Never(Reader):
    """A recording whose pictures are not to be touched."""

    def __init__(self, clip: Clip) -> None:
        self.clip = clip

    def _stream(self, first: int, last: int, max_side: int | None) -> Iterator[Frame]:
        raise AssertionError("looked at")
        yield

    def _glances(self, step_s: float, max_side: int) -> Iterator[Glance]:
        raise AssertionError("looked at")
        yield


def test_a_short_clip_is_not_even_looked_at() -> None:
    found = find_stretches(Never(clip_of(6.0)))
    assert (found.whole, found.activity) == (True, None)
    slow = find_stretches(Never(clip_of(48.0, 30, 240)))
    assert slow.whole
    with pytest.raises(AssertionError, match="looked at"):
        find_stretches(Never(clip_of(10.0)))


def test_a_kept_answer_is_read_again_and_a_damaged_one_is_not() -> None:
    clip = clip_of(60)
    found = judge(clip, Range(60).swing(30.0).activity, 1.0, SETTINGS)
    again = Stretches.from_text(found.to_text(), clip)
    assert again is not None
    assert (again.stretches, again.whole, again.why) == (found.stretches, found.whole, found.why)
    for text in ("", "{}", "[1]", '{"stretches": [[5, 2]], "whole": false, "why": ""}', found.to_text()[:-9]):
        assert Stretches.from_text(text, clip) is None
    # Of a longer recording.
    assert Stretches.from_text(found.to_text(), clip_of(31)) is None


def test_a_widened_stretch_joins_what_it_comes_near_to() -> None:
    clip = clip_of(60)
    found = Stretches(((10.0, 15.0), (20.0, 26.0), (40.0, 45.0)), False, "")
    wider = widened(found, clip, 1, 1.0, 3.0)
    assert wider.stretches == ((10.0, 15.0), (19.0, 29.0), (40.0, 45.0))
    assert widened(found, clip, 1, 4.5, 0.0).stretches == ((10.0, 26.0), (40.0, 45.0))
    assert widened(found, clip, 1, 40.0, 40.0).whole
