"""The synthetic sound: a strike arrives as late as sound takes, and only where a ball is struck."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from overlay.errors import InputError
from overlay.golfer import Act, CameraSpec, GolferSpec, SoundSpec, TempoSpec, range_sound, record, render_clip, simulate
from overlay.golfer.sound import strike_wave
from overlay.video import Sound, read_sound

QUIET = {"murmur": 0.0, "wind": 0.0, "swish": 0.0, "others_per_s": 0.0}
SHORT = TempoSpec(pre_s=0.4, relax_s=0.5, post_s=0.0, waggle=0.0)


def onset(sound: Sound) -> float:
    """When the sound first passes a tenth of its peak."""
    size = np.abs(sound.samples)
    return sound.start_s + float(np.flatnonzero(size > 0.1 * size.max())[0]) / sound.rate


@pytest.mark.parametrize("rate", [8_000, 48_000, 96_000])
@pytest.mark.parametrize("club", ["mid_iron", "driver"])
def test_a_strike_arrives_as_late_as_sound_takes(rate: int, club: str) -> None:
    """distance ÷ 343 m/s after the impact, on the clock of the part."""
    spec = SoundSpec(rate=rate, **QUIET)
    sound = range_sound(spec, start_s=1.0, stop_s=2.0, impacts_s=(1.5,), distance_m=6.86, club=club)
    assert len(sound.samples) == rate
    assert abs(onset(sound) - (0.5 + 6.86 / 343.0)) < 2.5 / rate + 1e-4


def test_distance_and_offset_of_the_spec_count() -> None:
    near = range_sound(SoundSpec(distance_m=3.43, offset_s=0.03, **QUIET), start_s=0, stop_s=1, impacts_s=(0.5,))
    assert abs(onset(near) - 0.54) < 2e-4
    far = range_sound(SoundSpec(distance_m=34.3, **QUIET), start_s=0, stop_s=1, impacts_s=(0.5,))
    # Ten times as far, a tenth as loud; what is added for hiss is below 1 % of it.
    assert abs(np.abs(near.samples).max() / np.abs(far.samples).max() - 10.0) < 1.0


def test_slow_motion_stretches_the_sound() -> None:
    sound = range_sound(SoundSpec(**QUIET), start_s=0, stop_s=1, impacts_s=(0.5,), distance_m=3.43, slow=4.0)
    assert abs(sound.duration_s - 4.0) < 1e-3
    assert abs(onset(sound) - 4 * 0.51) < 1e-3


def test_the_same_seed_sounds_the_same() -> None:
    one, same, other = (range_sound(SoundSpec(seed=seed), start_s=0, stop_s=1, impacts_s=(0.5,)) for seed in (3, 3, 4))
    assert np.array_equal(one.samples, same.samples)
    assert not np.array_equal(one.samples, other.samples)
    assert np.abs(one.samples).max() <= 1.0


def test_strike_wave_begins_at_once_and_ends() -> None:
    wave = strike_wave(48_000.0)
    assert np.abs(wave).max() == pytest.approx(1.0)
    assert np.abs(wave[:24]).max() > 0.3  # within half a millisecond
    assert np.abs(wave[-48:]).max() < 0.05


@pytest.mark.parametrize(
    ("changes", "match"),
    [
        ({"rate": 100}, "samples a second"),
        ({"strike": -1.0}, "strike of the sound"),
        ({"others_m": (5.0, 1.0)}, "Others at"),
        ({"distance_m": 0.0}, "distance"),
    ],
)
def test_what_is_out_of_range(changes: dict[str, object], match: str) -> None:
    with pytest.raises(InputError, match=match):
        SoundSpec(**changes)  # type: ignore[arg-type]


def test_no_part_no_sound() -> None:
    with pytest.raises(InputError, match="no sound from"):
        range_sound(SoundSpec(), start_s=1.0, stop_s=1.0)
    with pytest.raises(InputError, match="not a club"):
        strike_wave(48_000.0, "putter")


def test_a_rendered_clip_is_heard_where_a_ball_is_struck(tmp_path: Path) -> None:
    motion = simulate(GolferSpec(tempo=SHORT))
    camera = CameraSpec.for_motion(motion, "fo", width_px=90, height_px=160)
    impact = motion.position_times["impact"]
    start = impact - 0.2
    heard = {}
    for ball in (True, "stays", False):
        path = tmp_path / f"{ball}.mp4"
        render_clip(
            motion, camera, path, rate_hz=30, start_s=start, stop_s=impact + 0.3, ball=ball, threads=1,
            sound=SoundSpec(**QUIET),
        )  # type: ignore[arg-type]  # fmt: skip
        sound = read_sound(path)
        assert sound is not None
        heard[ball] = sound
    distance = float(np.linalg.norm(camera.position - motion.ball_rest))
    assert abs(onset(heard[True]) - (0.2 + distance / 343.0)) < 0.002
    assert np.abs(heard["stays"].samples).max() < 0.02
    assert np.abs(heard[False].samples).max() < 0.02


def test_a_recording_knows_which_swings_strike() -> None:
    """A rehearsal past the ball leaves it where it is; the next swing strikes it."""
    recording = record(
        GolferSpec(tempo=SHORT),
        [Act("stand"), Act("swing", ball="none"), Act("place_ball"), Act("swing", ball="stays"), Act("swing")],
    )
    first, second, third = (times["impact"] for times in recording.swings)
    assert recording.impacts_s == (third,)
    assert recording.passes_s == (first, second)
    at = np.array([first - 0.1, second - 0.1, second + 0.1, third - 0.1, third + 0.1, third + 1.3])
    ball = recording.state(at)["ball"]
    assert np.all(np.isnan(ball[0]))
    np.testing.assert_allclose(ball[1], ball[2])
    np.testing.assert_allclose(ball[2], ball[3], atol=1e-6)
    assert ball[4, 0] > ball[3, 0] + 3.0
    with pytest.raises(InputError, match="no way of a ball"):
        Act("swing", ball="lost")  # type: ignore[arg-type]
