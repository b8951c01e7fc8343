"""What a clip says about itself: rates, slow motion, colours, sound; and where stills get their times."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import video_clips as clips

from overlay.errors import InputError
from overlay.video import open_clip, write_png
from overlay.video.capture import rate_from_metadata
from overlay.video.stills_reader import natural_key


def pictures(n: int = 12) -> list[np.ndarray]:
    return [clips.numbered(i) for i in range(n)]


def tagged(path: Path, key: str, value: str, rate: int = 30) -> Path:
    def setup(container: Any, _: Any) -> None:
        container.metadata[key] = value

    return clips.encode(path, pictures(), rate=rate, setup=setup, container_options={"movflags": "+use_metadata_tags"})


def test_variable_rate_times_are_kept(tmp_path: Path) -> None:
    ticks = [0, 600, 1200, 1830, 2400, 3600, 4200, 6600, 7200, 7801]
    for suffix in ("mp4", "mkv"):
        path = clips.encode(
            tmp_path / f"clip.{suffix}", pictures(10), pts=ticks, time_base=Fraction(1, 18_000), rate=30
        )
        with open_clip(path) as reader:
            assert reader.clip.is_variable_rate
            np.testing.assert_allclose(reader.clip.times_s, np.array(ticks) / 18_000, atol=6e-4)
            assert [clips.number_of(frame.image) for frame in reader.frames()] == list(range(10))
            # Index ÷ rate would be wrong by this much: the reason to use presentation times.
            assert np.max(np.abs(reader.clip.times_s - np.arange(10) / 30)) > 0.1


@pytest.mark.parametrize(
    "rate", [Fraction(24000, 1001), Fraction(25), Fraction(30000, 1001), Fraction(60), Fraction(240)]
)
def test_constant_rates(tmp_path: Path, rate: Fraction) -> None:
    with open_clip(clips.encode(tmp_path / "clip.mp4", pictures(), rate=rate)) as reader:
        assert reader.clip.nominal_rate == rate
        assert not reader.clip.is_variable_rate
        assert reader.clip.duration_s == pytest.approx(12 / float(rate), abs=1e-4)


def test_slow_motion_found_in_the_file(tmp_path: Path) -> None:
    with open_clip(tagged(tmp_path / "clip.mp4", "com.android.capture.fps", "240.000000")) as reader:
        assert reader.clip.capture_rate == 240
        assert reader.clip.slow_factor == 8.0
        assert any("Slow motion" in warning for warning in reader.clip.warnings)


def test_high_rate_at_real_speed_is_no_slow_motion(tmp_path: Path) -> None:
    with open_clip(tagged(tmp_path / "clip.mp4", "com.android.capture.fps", "240", rate=240)) as reader:
        assert reader.clip.slow_factor == 1.0
        assert reader.clip.warnings == ()


def test_time_lapse_is_told(tmp_path: Path) -> None:
    with open_clip(tagged(tmp_path / "clip.mp4", "com.android.capture.fps", "2.0")) as reader:
        assert reader.clip.slow_factor == pytest.approx(1 / 15)
        assert any("Time lapse" in warning for warning in reader.clip.warnings)


def test_the_user_knows_better_than_the_file(tmp_path: Path) -> None:
    path = tagged(tmp_path / "clip.mp4", "com.android.capture.fps", "240")
    with open_clip(path, capture_rate=120.0) as reader:
        assert reader.clip.capture_rate == 120
        assert any("as told" in warning for warning in reader.clip.warnings)


@pytest.mark.parametrize(
    ("table", "wanted"),
    [
        ({"com.android.capture.fps": "239.990005"}, Fraction(239.990005).limit_denominator(1001)),
        ({"com.apple.quicktime.capture.frame-rate": "120"}, Fraction(120)),
        ({"CaptureFrameRate": " 59.94 "}, Fraction(2997, 50)),
        ({"com.apple.quicktime.full-frame-rate-playback-intent": "1"}, None),  # an intent, not a rate
        ({"com.android.capture.fps": "0"}, None),
        ({"com.android.capture.fps": "fast"}, None),
        ({"com.android.capture.fps": "nan"}, None),
        ({"com.android.capture.fps": "1/0"}, None),
        ({"framerate": "240", "r_frame_rate": "240"}, None),  # how it plays, not how it was filmed
        ({}, None),
    ],
)
def test_capture_rate_is_read_and_never_made_up(table: dict[str, str], wanted: Fraction | None) -> None:
    found = rate_from_metadata({}, table)
    assert (found[0] if found else None) == wanted


def test_helper_tracks_are_passed_over(tmp_path: Path) -> None:
    """The recording is the largest track, and the picture on a sound file's cover is none at all."""
    import av

    path = tmp_path / "clip.mov"
    with av.open(str(path), "w") as container:
        streams = []
        for width, height in ((48, 32), (96, 64)):
            stream = container.add_stream("libx264", rate=30)
            stream.width, stream.height, stream.pix_fmt = width, height, "yuv420p"
            stream.disposition = 0
            streams.append(stream)
        for i in range(6):
            for stream in streams:
                picture = av.VideoFrame.from_ndarray(clips.numbered(i, stream.width, stream.height))
                container.mux(stream.encode(picture))
        for stream in streams:
            container.mux(stream.encode(None))
    with open_clip(path) as reader:
        assert (reader.clip.width, reader.clip.height) == (96, 64)
        assert [clips.number_of(frame.image) for frame in reader.frames()] == list(range(6))


def test_no_capture_rate_means_none(tmp_path: Path) -> None:
    with open_clip(clips.encode(tmp_path / "clip.mp4", pictures(), rate=240)) as reader:
        assert reader.clip.capture_rate is None
        assert reader.clip.slow_factor == 1.0


def test_sound(tmp_path: Path) -> None:
    with open_clip(clips.encode(tmp_path / "a.mp4", pictures(), audio=True)) as reader:
        assert reader.clip.has_audio
        assert len(list(reader.frames())) == 12
    with open_clip(clips.encode(tmp_path / "b.mp4", pictures())) as reader:
        assert not reader.clip.has_audio


@pytest.mark.parametrize(("curve", "word"), [(16, "PQ"), (18, "HLG")])
def test_ten_bit_hdr_is_read_and_told(tmp_path: Path, curve: int, word: str) -> None:
    def setup(_: Any, stream: Any) -> None:
        stream.codec_context.color_trc = curve
        stream.codec_context.color_primaries = stream.codec_context.colorspace = 9

    path = clips.encode(tmp_path / "clip.mov", pictures(), codec="libx265", pixel_format="yuv420p10le", setup=setup)
    with open_clip(path) as reader:
        clip = reader.clip
        assert (clip.bit_depth, clip.pixel_format, clip.codec) == (10, "yuv420p10le", "hevc")
        assert any("10-bit" in warning for warning in clip.warnings)
        assert any(f"HDR ({word})" in warning for warning in clip.warnings)
        frames = list(reader.frames())
    assert all(frame.image.dtype == np.uint8 for frame in frames)
    assert [clips.number_of(frame.image) for frame in frames] == list(range(12))


COLOURS = [(255, 0, 0), (0, 255, 0), (0, 0, 255), (255, 255, 255), (0, 0, 0), (128, 128, 128), (200, 120, 60)]


@pytest.mark.parametrize(
    ("matrix", "full_range", "tagged_so"),
    [(5, False, False), (5, False, True), (1, False, True), (1, True, True), (9, False, True)],
)
def test_colours_follow_the_tags(tmp_path: Path, matrix: int, full_range: bool, tagged_so: bool) -> None:
    """BT.601, BT.709, BT.2020, limited and full range give the colours back to within rounding of 4:2:0 video."""
    import av

    image = np.zeros((64, 32 * len(COLOURS), 3), np.uint8)
    for i, colour in enumerate(COLOURS):
        image[:, 32 * i : 32 * i + 32] = colour
    path = tmp_path / "clip.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=30, options={"crf": "1"})
        stream.height, stream.width = image.shape[:2]
        stream.pix_fmt = "yuv420p"
        if tagged_so:
            stream.codec_context.colorspace = matrix
            stream.codec_context.color_range = 2 if full_range else 1
        for i in range(3):
            picture = av.VideoFrame.from_ndarray(image, format="rgb24").reformat(
                format="yuv420p",
                dst_colorspace=matrix,
                src_color_range="JPEG",
                dst_color_range="JPEG" if full_range else "MPEG",
            )
            if tagged_so:
                picture.colorspace, picture.color_range = matrix, 2 if full_range else 1
            picture.pts = i
            container.mux(stream.encode(picture))
        container.mux(stream.encode(None))
    with open_clip(path) as reader:
        shown = next(reader.frames()).image
    for i, colour in enumerate(COLOURS):
        seen = shown[20:44, 32 * i + 10 : 32 * i + 22].reshape(-1, 3).mean(axis=0)
        np.testing.assert_allclose(seen, colour, atol=4.0)


class CountedPacket:
    """A packet that counts how often any packet is sent to the decoder."""

    decoded = 0

    def __init__(self, packet: Any) -> None:
        self._packet = packet

    def __getattr__(self, name: str) -> Any:
        return getattr(self._packet, name)

    def decode(self) -> Any:
        CountedPacket.decoded += 1
        return self._packet.decode()


def test_times_are_known_without_decoding(tmp_path: Path) -> None:
    """Opening sends packets to the decoder only until the first picture comes out (its look is needed)."""
    import av

    from overlay.video.facts import scan

    class Container:
        def demux(self, stream: Any) -> Any:
            return (CountedPacket(packet) for packet in opened.demux(stream))

    path = clips.encode(tmp_path / "clip.mp4", [clips.numbered(i) for i in range(60)])
    CountedPacket.decoded = 0
    with av.open(str(path)) as opened:
        packets, first = scan(Container(), opened.streams.video[0])
    assert len(packets.pts) == 60
    assert first.pts == 0
    assert CountedPacket.decoded <= 20


# Stills --------------------------------------------------------------------------------------------------------------


def stills(folder: Path, names: list[str]) -> Path:
    for i, name in enumerate(names):
        write_png(folder / name, clips.numbered(i))
    return folder


def test_natural_order(tmp_path: Path) -> None:
    names = ["still1.png", "still2.PNG", "still10.png", "still011.png", "still100.png"]
    assert sorted(set(names), key=natural_key) == names
    with open_clip(stills(tmp_path, names), stills_rate=50) as reader:
        assert [clips.number_of(frame.image) for frame in reader.frames()] == list(range(5))
        assert reader.clip.nominal_rate == 50
        assert reader.clip.warnings == ()


def test_default_rate_is_told(tmp_path: Path) -> None:
    with open_clip(stills(tmp_path, ["1.png", "2.png"])) as reader:
        np.testing.assert_allclose(reader.clip.times_s, [0, 1 / 30])
        assert "30 pictures per second are assumed" in reader.clip.warnings[0]


def test_rate_file_comes_before_the_option(tmp_path: Path) -> None:
    stills(tmp_path, ["1.png", "2.png", "3.png"])
    (tmp_path / "clip.json").write_text('{"rate": 60, "capture_rate": 240}')
    with open_clip(tmp_path, stills_rate=10) as reader:
        np.testing.assert_allclose(reader.clip.times_s, [0, 1 / 60, 2 / 60])
        assert reader.clip.slow_factor == 4.0


@pytest.mark.parametrize(
    "table",
    [
        "5.0\n5.1\n5.3\n",
        "time_s\n5.0\n5.1\n5.3\n",
        "file,time_s\n1.png,5.0\n3.png,5.3\n2.png,5.1\n",
        "\ufefffile, time_s\r\n1.png, 5.0\r\n2.png, 5.1\r\n3.png, 5.3\r\n\r\n",
    ],
)
def test_times_file(tmp_path: Path, table: str) -> None:
    stills(tmp_path, ["1.png", "2.png", "3.png"])
    (tmp_path / "times.csv").write_text(table, encoding="utf-8")
    with open_clip(tmp_path) as reader:
        np.testing.assert_allclose(reader.clip.times_s, [0, 0.1, 0.3])
        assert reader.clip.is_variable_rate
        assert [clips.number_of(frame.image) for frame in reader.frames()] == [0, 1, 2]


def test_times_file_out_of_order_and_repeated(tmp_path: Path) -> None:
    stills(tmp_path, ["1.png", "2.png", "3.png", "4.png"])
    (tmp_path / "times.csv").write_text("0.2\n0.0\n0.1\n0.1\n")
    with open_clip(tmp_path) as reader:
        np.testing.assert_allclose(reader.clip.times_s, [0, 0.1, 0.2])
        assert [clips.number_of(frame.image) for frame in reader.frames()] == [1, 2, 0]
        assert len(reader.clip.warnings) == 2


def test_hash_of_stills_knows_pictures_and_times(tmp_path: Path) -> None:
    def content_hash(**options: float) -> str:
        with open_clip(tmp_path, **options) as reader:  # type: ignore[arg-type]
            return reader.clip.content_hash

    stills(tmp_path, ["1.png", "2.png"])
    first = content_hash(stills_rate=60)
    assert content_hash(stills_rate=60) == first
    assert content_hash(stills_rate=50) != first
    write_png(tmp_path / "2.png", clips.numbered(40))
    assert content_hash(stills_rate=60) != first


def test_deep_grey_and_transparent_stills(tmp_path: Path) -> None:
    import cv2

    deep = (clips.numbered(3).astype(np.uint16) * 257)[..., ::-1]
    cv2.imwrite(str(tmp_path / "1.png"), deep)
    with open_clip(tmp_path) as reader:
        assert reader.clip.bit_depth == 16
        assert any("16-bit" in warning for warning in reader.clip.warnings)
        assert clips.apart(next(reader.frames()).image, clips.numbered(3)) < 1.0
    cv2.imwrite(str(tmp_path / "1.png"), cv2.cvtColor(clips.numbered(3), cv2.COLOR_RGB2GRAY))
    with open_clip(tmp_path) as reader:
        assert next(reader.frames()).image.shape == (64, 96, 3)
    cv2.imwrite(str(tmp_path / "1.png"), cv2.cvtColor(clips.numbered(3), cv2.COLOR_RGB2BGRA))
    with open_clip(tmp_path) as reader:
        assert np.array_equal(next(reader.frames()).image, clips.numbered(3))


def test_a_still_that_changes_size_while_open(tmp_path: Path) -> None:
    stills(tmp_path, ["1.png", "2.png"])
    with open_clip(tmp_path) as reader:
        write_png(tmp_path / "2.png", clips.numbered(2, 48, 48))
        with pytest.raises(InputError, match="has changed"):
            list(reader.frames())
        (tmp_path / "2.png").unlink()
        with pytest.raises(InputError, match="cannot be read"):
            list(reader.frames())


@pytest.mark.real
def test_real_clip(real_data: Path) -> None:
    with open_clip(real_data / "real_dtl_slow_motion.mp4") as reader:
        clip = reader.clip
        assert (clip.width, clip.height, clip.n_frames) == (354, 492, 264)
        assert clip.nominal_rate == Fraction(30000, 1001)
        assert clip.capture_rate is None
        assert sum(1 for _ in reader.frames()) == 264
