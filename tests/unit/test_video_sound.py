"""The sound of a file on the clock of its pictures, on files made here."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from overlay.errors import DataError, InputError
from overlay.settings.video import SoundReaderSettings
from overlay.video import Sound, VideoWriter, read_sound

CLICKS = (0.100, 0.777, 1.500)


def clicking(rate: int, times: tuple[float, ...] = CLICKS, length_s: float = 2.0) -> np.ndarray:
    """Silence with bursts of noise of 5 ms."""
    rng = np.random.default_rng(0)
    samples = np.zeros(int(length_s * rate), np.float32)
    for time_s in times:
        first = round(time_s * rate)
        samples[first : first + int(0.005 * rate)] = rng.choice((-0.4, 0.4), int(0.005 * rate))
    return samples


def heard(sound: Sound) -> np.ndarray:
    """When bursts begin, s."""
    loud = np.flatnonzero(np.abs(sound.samples) > 0.1)
    first = loud[np.concatenate([[True], np.diff(loud) > 0.05 * sound.rate])]
    return sound.start_s + first / sound.rate


def written(path: Path, samples: np.ndarray, rate: int, start_s: float = 0.0, pictures: int = 60) -> Path:
    with VideoWriter(path, 64, 48, 30, sound=Sound(samples, rate, start_s)) as writer:
        for i in range(pictures):
            writer.write(np.full((48, 64, 3), i, np.uint8))
    return path


def muxed(
    path: Path,
    pieces: list[tuple[int, np.ndarray]],
    *,
    codec: str = "pcm_s16le",
    rate: int = 16_000,
    layout: str = "mono",
    kind: str = "s16",
    picture_at: int = 0,
    options: dict[str, str] | None = None,
) -> Path:
    """A file with pictures from ``picture_at`` (1/30 s) on, and pieces of sound at their own sample numbers."""
    import av

    with av.open(str(path), "w", options=options or {}) as container:
        video = container.add_stream("mpeg4", rate=30)
        video.width, video.height, video.pix_fmt = 64, 48, "yuv420p"
        video.codec_context.time_base = Fraction(1, 30)
        sound = container.add_stream(codec, rate=rate)
        sound.codec_context.layout = layout
        sound.codec_context.format = kind
        for i in range(60):
            picture = av.VideoFrame.from_ndarray(np.full((48, 64, 3), 4 * i, np.uint8), format="rgb24")
            picture.pts, picture.time_base = picture_at + i, Fraction(1, 30)
            container.mux(video.encode(picture))
        container.mux(video.encode(None))
        for first, values in pieces:
            frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(values), format=kind, layout=layout)
            frame.sample_rate, frame.pts, frame.time_base = rate, first, Fraction(1, rate)
            container.mux(sound.encode(frame))
        container.mux(sound.encode(None))
    return path


@pytest.mark.parametrize("rate", [8_000, 16_000, 44_100, 48_000, 96_000])
@pytest.mark.parametrize("suffix", [".mp4", ".mov", ".mkv"])
def test_sound_comes_back_at_its_time(tmp_path: Path, rate: int, suffix: str) -> None:
    path = written(tmp_path / f"clip{suffix}", clicking(rate), rate)
    sound = read_sound(path)
    assert sound is not None
    assert sound.rate == rate
    assert abs(sound.duration_s - 2.0) < 2 * 1024 / rate
    np.testing.assert_allclose(heard(sound), CLICKS, atol=0.0015)


@pytest.mark.parametrize("suffix", [".mp4", ".mkv"])
def test_only_the_asked_part_is_read(tmp_path: Path, suffix: str) -> None:
    path = written(tmp_path / f"clip{suffix}", clicking(48_000), 48_000)
    sound = read_sound(path, 0.6, 1.0)
    assert sound is not None
    assert abs(sound.start_s - 0.6) < 1e-3
    assert abs(sound.stop_s - 1.0) < 1e-3
    np.testing.assert_allclose(heard(sound), [0.777], atol=0.0015)


def test_the_writer_puts_a_late_and_an_early_sound_in_its_place(tmp_path: Path) -> None:
    late = read_sound(written(tmp_path / "late.mp4", clicking(16_000), 16_000, start_s=0.25))
    early = read_sound(written(tmp_path / "early.mp4", clicking(16_000), 16_000, start_s=-0.25))
    assert late is not None
    assert early is not None
    np.testing.assert_allclose(heard(late), np.add(CLICKS, 0.25), atol=0.0015)
    np.testing.assert_allclose(heard(early), np.subtract(CLICKS[1:], 0.25), atol=0.0015)


def test_the_first_picture_is_at_zero(tmp_path: Path) -> None:
    """Pictures that begin 0.5 s into the file move the sound by as much (the clip's clock, as in ``Clip.times_s``)."""
    values = (clicking(16_000) * 32767).astype(np.int16)[None]
    path = muxed(tmp_path / "late.mkv", [(0, values)], picture_at=15)
    sound = read_sound(path)
    assert sound is not None
    assert abs(sound.start_s + 0.5) < 0.002
    np.testing.assert_allclose(heard(sound), np.subtract(CLICKS, 0.5), atol=0.002)


@pytest.mark.parametrize(
    ("codec", "kind", "full"), [("pcm_u8", "u8", 127), ("pcm_s16le", "s16", 32767), ("pcm_f32le", "flt", 1.0)]
)
def test_every_kind_of_sample_has_the_same_size(tmp_path: Path, codec: str, kind: str, full: float) -> None:
    values = clicking(16_000) * full + (128 if kind == "u8" else 0)
    typed = values.astype({"u8": np.uint8, "s16": np.int16, "flt": np.float32}[kind])[None]
    sound = read_sound(muxed(tmp_path / "clip.mkv", [(0, typed)], codec=codec, kind=kind))
    assert sound is not None
    assert 0.37 < np.abs(sound.samples).max() < 0.43
    np.testing.assert_allclose(heard(sound), CLICKS, atol=0.0015)


def test_channels_are_averaged(tmp_path: Path) -> None:
    """A sound on the left alone comes out at half its size."""
    stereo = np.zeros((2, 32_000), np.int16)
    stereo[0] = (clicking(16_000) * 32767).astype(np.int16)
    sound = read_sound(muxed(tmp_path / "clip.mkv", [(0, stereo.T.reshape(1, -1))], layout="stereo", codec="pcm_s16le"))
    assert sound is not None
    assert abs(sound.duration_s - 2.0) < 0.01
    assert 0.18 < np.abs(sound.samples).max() < 0.22


def test_a_gap_in_the_sound_is_silence(tmp_path: Path) -> None:
    values = (clicking(16_000) * 32767).astype(np.int16)[None]
    pieces = [(0, values[:, :8_000]), (12_000, values[:, 12_000:])]
    sound = read_sound(muxed(tmp_path / "gap.mkv", pieces))
    assert sound is not None
    np.testing.assert_allclose(heard(sound), CLICKS, atol=0.002)
    middle = sound.samples[int((0.55 - sound.start_s) * 16_000) : int((0.7 - sound.start_s) * 16_000)]
    assert not middle.any()


def test_a_long_sound_is_cut(tmp_path: Path) -> None:
    path = written(tmp_path / "clip.mp4", clicking(16_000), 16_000)
    sound = read_sound(path, settings=SoundReaderSettings(longest_s=0.5))
    assert sound is not None
    assert sound.duration_s <= 0.5


def test_no_sound(tmp_path: Path) -> None:
    path = tmp_path / "silent.mp4"
    with VideoWriter(path, 64, 48, 30) as writer:
        writer.write(np.zeros((48, 64, 3), np.uint8))
    assert read_sound(path) is None
    assert read_sound(tmp_path) is None  # a folder of stills
    with_sound = written(tmp_path / "clip.mp4", clicking(16_000), 16_000)
    assert read_sound(with_sound, 50.0, 51.0) is None


def test_a_damaged_track_gives_what_can_be_read(tmp_path: Path) -> None:
    path = written(tmp_path / "clip.mp4", clicking(48_000), 48_000)
    content = bytearray(path.read_bytes())
    rng = np.random.default_rng(1)
    start = content.index(b"mdat") + 8
    for at in rng.integers(start + 2000, len(content), 300):
        content[at] = int(rng.integers(256))
    path.write_bytes(content)
    sound = read_sound(path)
    assert sound is None or np.all(np.isfinite(sound.samples))


def test_what_cannot_be_asked(tmp_path: Path) -> None:
    path = written(tmp_path / "clip.mp4", clicking(16_000), 16_000)
    with pytest.raises(DataError, match="not a number"):
        read_sound(path, float("nan"))
    with pytest.raises(DataError, match="no sound from"):
        read_sound(path, 1.0, 1.0)
    (tmp_path / "text.mp4").write_text("no video")
    with pytest.raises(InputError, match="not a video"):
        read_sound(tmp_path / "text.mp4")
    with pytest.raises(DataError, match="samples a second"):
        Sound(np.zeros(10, np.float32), 0.0)
    with pytest.raises(DataError, match="cannot be written"):
        VideoWriter(tmp_path / "out.mp4", 64, 48, 30, sound=Sound(np.zeros(10, np.float32), 12_345.0))
