"""Two sound tracks held against each other, and clips sorted into pairs."""

from __future__ import annotations

import dataclasses
import math
from fractions import Fraction

import numpy as np
import pytest

from overlay.errors import DataError, InputError
from overlay.golfer.sound import strike_wave
from overlay.pair import ClipFacts, PairSettings, find_pairs, match_sounds
from overlay.pair.clips import clock_difference
from overlay.settings.pair import SoundMatchSettings
from overlay.video import Sound
from overlay.video.recorded import recorded_at, recorded_from


def burst(rate: int, seed: int) -> np.ndarray:  # type: ignore[type-arg]
    """One strike as the air carries it, sampled at any rate."""
    from scipy.signal import resample_poly

    share = Fraction(rate, 192_000)
    return np.asarray(resample_poly(strike_wave(192_000, "mid_iron", seed), share.numerator, share.denominator))


def phone(
    bursts: list[tuple[float, int, float]], *, rate: int, length_s: float, gain: float, noise: float, seed: int
) -> Sound:
    """A recording of bursts (time, which, size) with a microphone's own gain and noise."""
    rng = np.random.default_rng(seed)
    out = noise * rng.normal(size=round(length_s * rate))
    for at, which, size in bursts:
        wave = gain * size * burst(rate, which)
        first = round(at * rate)
        low, high = max(0, first), min(len(out), first + len(wave))
        if high > low:
            out[low:high] += wave[low - first : high - first]
    return Sound(np.clip(out, -1, 1).astype(np.float32), float(rate), 0.0)


OTHERS = [(0.52, 21, 0.1), (1.11, 22, 0.06), (2.64, 23, 0.12), (3.3, 24, 0.08)]
"""Other people's strikes on the first phone's clock."""


def pair_of(
    offset: float, *, others: bool, same_strike: bool, rates: tuple[int, int] = (48_000, 44_100)
) -> tuple[Sound, Sound]:
    strike = 2.0
    heard = OTHERS if others else [(at * 0.8 + 0.3, which + 50, size) for at, which, size in OTHERS]
    one = [(strike, 7, 0.5), *OTHERS]
    other = [(strike + offset, 7 if same_strike else 8, 0.5), *((at + offset, w, s) for at, w, s in heard)]
    return (
        phone(one, rate=rates[0], length_s=4.0, gain=1.0, noise=0.002, seed=1),
        phone(other, rate=rates[1], length_s=4.2, gain=0.3, noise=0.002, seed=2),
    )


@pytest.mark.parametrize("rates", [(48_000, 44_100), (16_000, 48_000)])
@pytest.mark.parametrize("offset", [0.217, -0.35])
def test_the_offset_is_found_through_gain_noise_and_rate(offset: float, rates: tuple[int, int]) -> None:
    found = match_sounds(*pair_of(offset, others=True, same_strike=True, rates=rates), strikes_s=(2.0, 2.0 + offset))
    assert found is not None
    assert found.offset_s == pytest.approx(offset, abs=0.003)
    assert found.odds > PairSettings().odds
    assert found.common > 0.8
    assert found.alike > 0.6


def test_two_other_moments_are_told_apart_although_the_strikes_fall_together() -> None:
    found = match_sounds(
        *pair_of(0.2, others=False, same_strike=False), expected_s=0.2, expected_sd_s=0.01, strikes_s=(2.0, 2.2)
    )
    assert found is not None
    assert found.offset_s == pytest.approx(0.2, abs=0.01)
    assert found.odds < 0
    assert found.common < 0.3


def test_strikes_alone_prove_little() -> None:
    one = phone([(2.0, 7, 0.5)], rate=48_000, length_s=4.0, gain=1.0, noise=0.001, seed=1)
    other = phone([(1.5, 7, 0.5)], rate=48_000, length_s=4.0, gain=0.5, noise=0.001, seed=2)
    found = match_sounds(one, other, expected_s=-0.5, strikes_s=(2.0, 1.5))
    assert found is not None
    assert math.isnan(found.common)
    assert found.odds <= SoundMatchSettings().most_alike


def test_a_sound_that_is_slowed_with_its_pictures_is_taken_back() -> None:
    one, other = pair_of(0.1, others=True, same_strike=True)
    # It begins 0.8 s of playback after the first picture, which are 0.2 s.
    slowed = dataclasses.replace(other, rate=other.rate / 4.0, start_s=0.8)
    found = match_sounds(one, slowed, slow=(1.0, 4.0), strikes_s=(2.0, 2.3))
    assert found is not None
    assert found.offset_s == pytest.approx(0.3, abs=0.003)


def test_nothing_to_compare_says_nothing() -> None:
    one, _ = pair_of(0.0, others=True, same_strike=True)
    silent = Sound(np.zeros(96_000, np.float32), 48_000.0)
    assert match_sounds(one, silent) is None
    assert match_sounds(one, Sound(np.zeros(4, np.float32), 48_000.0)) is None
    # Half a second heard by both is too little.
    assert match_sounds(one, one, expected_s=3.6) is None


def test_a_slow_factor_must_be_above_nothing() -> None:
    one, other = pair_of(0.0, others=True, same_strike=True)
    with pytest.raises(DataError, match="Slow factors"):
        match_sounds(one, other, slow=(1.0, 0.0))


def facts(begins: list[tuple[str, float]], view: str, hand: str = "right") -> list[ClipFacts]:
    return [ClipFacts(name, view, hand, 2.0, at) for name, at in begins]  # type: ignore[arg-type]


def test_clips_are_sorted_by_the_times_in_the_files() -> None:
    ones = facts([("d1", 1000.0), ("d2", 1090.0), ("d3", 1180.0)], "dtl")
    others = facts([("f3", 1179.0), ("f1", 1001.0)], "fo")
    pairs = find_pairs([*ones, *others])
    assert [(pair.dtl, pair.fo) for pair in pairs] == [("d1", "f1"), ("d3", "f3")]
    assert all(pair.odds >= PairSettings().odds and pair.evidence for pair in pairs)


def test_clocks_that_differ_are_found_out() -> None:
    begins = [1000.0, 1085.0, 1192.0, 1260.0]
    ones = facts([(f"d{i}", at) for i, at in enumerate(begins)], "dtl")
    others = facts([(f"f{i}", at + 312.0) for i, at in enumerate(begins)], "fo")
    pairs = find_pairs([*ones, *others])
    assert [(pair.dtl, pair.fo) for pair in pairs] == [(f"d{i}", f"f{i}") for i in range(4)]
    assert find_pairs([*ones, *facts([("f", 1312.0)], "fo")]) == ()


def test_a_regular_rhythm_is_not_laid_over_its_neighbours() -> None:
    # Two clips each, 100 s apart: any shift by 100 s fits one of them; too few to say anything.
    gaps = np.array([[100.0, 200.0], [0.0, 100.0]])
    assert clock_difference(gaps, PairSettings()) == 0.0
    assert clock_difference(np.full((2, 2), np.nan), PairSettings()) == 0.0


def test_no_pair_of_two_hands_or_of_nothing_known() -> None:
    one, other = facts([("d", 1000.0)], "dtl"), facts([("f", 1000.0)], "fo", "left")
    assert find_pairs([*one, *other]) == ()
    bare = [ClipFacts("d", "dtl", "right", 2.0), ClipFacts("f", "fo", "right", 2.0)]
    assert find_pairs(bare) == ()


def test_bad_facts_are_refused() -> None:
    with pytest.raises(DataError, match="no finite time"):
        ClipFacts("d", "dtl", "right", math.nan)
    with pytest.raises(DataError, match="same name"):
        find_pairs([*facts([("x", 1.0)], "dtl"), *facts([("x", 1.0)], "fo")])


def test_the_time_of_recording_is_read_with_its_zone() -> None:
    assert recorded_from({"creation_time": "2026-05-01T08:00:00.000000Z"}) == 1_777_622_400.0
    # The same moment, two hours east; it wins over the other key, which copying may have changed.
    both = {"creation_time": "2026-06-01T00:00:00Z", "com.apple.quicktime.creationdate": "2026-05-01T10:00:00+0200"}
    assert recorded_from(both) == 1_777_622_400.0
    assert recorded_from({"creation_time": "1904-01-01T00:00:00Z"}) is None
    assert recorded_from({"creation_time": "yesterday at noon"}, {}) is None
    assert recorded_from({"date": "2026"}) is None


def test_a_written_file_says_when(tmp_path) -> None:  # type: ignore[no-untyped-def]
    import av

    path = tmp_path / "clip.mp4"
    with av.open(str(path), "w") as container:
        container.metadata["creation_time"] = "2026-05-01T08:00:00.000000Z"
        stream = container.add_stream("mpeg4", rate=30)
        stream.width = stream.height = 32
        for _ in range(3):
            frame = av.VideoFrame.from_ndarray(np.zeros((32, 32, 3), np.uint8), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    assert recorded_at(path) == 1_777_622_400.0
    assert recorded_at(tmp_path) is None
    with pytest.raises(InputError, match="not a video"):
        recorded_at(tmp_path / "missing.mp4")
