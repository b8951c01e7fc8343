"""One contract for every reader: the same tests run on each backend, codec and container."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import video_clips as clips
from hypothesis import given
from hypothesis import strategies as st

from overlay.errors import DataError, InputError
from overlay.video import BACKENDS, Reader, follow, open_clip, scale_of, write_png

N = 27


def _pictures() -> list[np.ndarray]:
    return [clips.numbered(i) for i in range(N)]


def _stills(folder: Path, suffix: str) -> Path:
    folder.mkdir()
    for i, image in enumerate(_pictures()):
        name = folder / f"still{i}{suffix}"
        if suffix == ".png":
            write_png(name, image)
        else:
            import imageio.v3 as iio

            iio.imwrite(name, image, quality=95)
    (folder / "clip.json").write_text('{"rate": 30}')
    return folder


def _video(name: str, **options: object) -> Callable[[Path], Path]:
    return lambda folder: clips.encode(folder / name, _pictures(), **options)


SOURCES: dict[str, Callable[[Path], Path]] = {
    "h264-mp4": _video("clip.mp4"),
    "h264-mp4-open-gop": _video("clip.mp4", options={"x264-params": "open-gop=1:bframes=3:b-adapt=0:scenecut=0"}),
    "h264-mov": _video("clip.mov"),
    "h264-mkv": _video("clip.mkv"),
    "h264-avi": _video("clip.avi", options={"x264-params": "bframes=3:b-adapt=0:scenecut=0"}),
    "h264-ts": _video("clip.ts"),
    "h264-raw": _video("clip.h264"),
    "hevc-mp4": _video("clip.mp4", codec="libx265"),
    "hevc-10-bit-mov": _video("clip.mov", codec="libx265", pixel_format="yuv420p10le"),
    "vp9-webm": _video("clip.webm", codec="libvpx-vp9"),
    "av1-mp4": _video("clip.mp4", codec="libsvtav1"),
    "mjpeg-avi": _video("clip.avi", codec="mjpeg", pixel_format="yuvj420p"),
    "mjpeg-mov": _video("clip.mov", codec="mjpeg", pixel_format="yuvj420p"),
    "png-stills": lambda folder: _stills(folder / "stills", ".png"),
    "jpeg-stills": lambda folder: _stills(folder / "stills", ".jpg"),
}


@pytest.fixture(scope="module", params=sorted(SOURCES))
def source(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    return SOURCES[request.param](tmp_path_factory.mktemp("clips"))


@pytest.fixture(scope="module")
def whole(source: Path) -> dict[int, np.ndarray]:
    with open_clip(source) as reader:
        return {frame.index: frame.image for frame in reader.frames()}


def test_every_backend_is_tested() -> None:
    kinds = {"stills" if name.endswith("stills") else "pyav" for name in SOURCES}
    assert kinds == set(BACKENDS)


def test_clip_is_known_on_opening(source: Path) -> None:
    with open_clip(source) as reader:
        clip = reader.clip
    assert (clip.width, clip.height, clip.rotation_deg, clip.mirrored) == (96, 64, 0, False)
    assert clip.nominal_rate == Fraction(30)
    assert not clip.is_variable_rate
    assert clip.capture_rate is None
    assert len(clip.content_hash) == 64
    np.testing.assert_allclose(clip.times_s, np.arange(N) / 30, atol=1.1e-3)  # Matroska counts milliseconds
    assert clip.times_s[0] == 0.0


def test_every_picture_comes_once_at_its_time(source: Path) -> None:
    with open_clip(source) as reader:
        seen = []
        for frame in reader.frames():
            assert frame.image.dtype == np.uint8
            assert frame.image.shape == (64, 96, 3)
            assert frame.image.flags.c_contiguous
            assert frame.image.flags.writeable
            assert frame.time_s == reader.clip.times_s[frame.index]
            seen.append((frame.index, clips.number_of(frame.image)))
    assert seen == [(i, i) for i in range(N)]


def test_pictures_look_as_they_were_made(source: Path, whole: dict[int, np.ndarray]) -> None:
    # Coarse lossy colour edges cost a few grey levels; a swapped channel or a wrong matrix costs tens.
    for i in (0, 13, N - 1):
        assert clips.apart(whole[i], clips.numbered(i)) < 6.0


@pytest.mark.parametrize(("first", "last"), [(0, 0), (1, 3), (7, 9), (8, 8), (15, 20), (23, N - 1), (N - 1, N - 1)])
def test_a_stretch_is_the_same_as_in_the_whole(
    source: Path, whole: dict[int, np.ndarray], first: int, last: int
) -> None:
    with open_clip(source) as reader:
        times = reader.clip.times_s
        part = list(reader.frames(float(times[first]), float(times[last])))
    assert [frame.index for frame in part] == list(range(first, last + 1))
    for frame in part:
        assert np.array_equal(frame.image, whole[frame.index])


def test_an_empty_stretch_and_bad_times(source: Path) -> None:
    with open_clip(source) as reader:
        assert list(reader.frames(5.0, 6.0)) == []
        assert list(reader.frames(0.5, 0.2)) == []
        assert list(reader.frames(0.001, 0.002)) == []
        with pytest.raises(DataError, match="not a number"):
            reader.frames(float("nan"))
        with pytest.raises(DataError, match="longest side"):
            reader.frames(max_side=0)
        with pytest.raises(DataError, match="not a number"):
            reader.frame_at(float("nan"))


def test_any_frame_in_any_order(source: Path, whole: dict[int, np.ndarray]) -> None:
    order = [20, 21, 3, 3, N - 1, 0, 8, 16, 15, 9, 25]
    with open_clip(source) as reader:
        for i in order:
            frame = reader.frame_at(float(reader.clip.times_s[i]) + 0.01)
            assert frame.index == i
            assert np.array_equal(frame.image, whole[i])
            frame.image[:] = 0  # the picture is ours: scribbling on it must not show up later
        assert reader.frame_at(-1.0).index == 0
        assert reader.frame_at(99.0).index == N - 1


def test_two_streams_side_by_side(source: Path) -> None:
    with open_clip(source) as reader:
        late = reader.frames(float(reader.clip.times_s[10]))
        for early, other in zip(reader.frames(), late):
            assert other.index == early.index + 10
            assert clips.number_of(other.image) == other.index


def test_smaller_pictures(source: Path) -> None:
    with open_clip(source) as reader:
        for frame in reader.frames(max_side=48):
            assert frame.image.shape == (32, 48, 3)
            assert scale_of(frame, reader.clip) == (2.0, 2.0)
            assert clips.number_of(frame.image) == frame.index
        assert reader.frame_at(0.5, max_side=48).image.shape == (32, 48, 3)
        assert next(reader.frames(max_side=500)).image.shape == (64, 96, 3)


def test_the_hash_is_of_the_content(source: Path, tmp_path: Path) -> None:
    with open_clip(source) as one, open_clip(source, mirrored=True) as two:
        assert one.clip.content_hash == two.clip.content_hash


@pytest.fixture(scope="module", params=["h264-mp4", "png-stills"])
def opened(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Reader:
    return open_clip(SOURCES[request.param](tmp_path_factory.mktemp("follow")))


@given(times=st.lists(st.floats(-0.5, 1.5), max_size=12).map(sorted))
def test_follow_shows_the_frame_before(opened: Reader, times: list[float]) -> None:
    """Never backwards, and always the last frame whose time is not later (found here by plain comparison)."""
    got = list(follow(opened, times))
    assert len(got) == len(times)
    for time_s, frame in zip(times, got):
        not_later = [i for i, shown_s in enumerate(opened.clip.times_s) if shown_s <= time_s + 1e-6]
        assert frame.index == (max(not_later) if not_later else 0)
        assert clips.number_of(frame.image) == frame.index
    assert all(a.index <= b.index for a, b in itertools.pairwise(got))


def test_follow_repeats_and_jumps(opened: Reader) -> None:
    times = [0.0, 0.0, 0.01, 0.5, 0.5, 0.8, 30.0]
    assert [frame.index for frame in follow(opened, iter(times))] == [0, 0, 0, 15, 15, 24, N - 1]
    assert list(follow(opened, [])) == []
    assert [frame.image.shape for frame in follow(opened, [0.2], max_side=24)] == [(16, 24, 3)]


def test_follow_refuses_to_go_back(opened: Reader) -> None:
    with pytest.raises(DataError, match="comes after"):
        list(follow(opened, [0.3, 0.2]))
    with pytest.raises(DataError, match="comes after"):
        list(follow(opened, [float("nan")]))


@pytest.mark.parametrize("backend", sorted(BACKENDS))
def test_no_such_clip(backend: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="does not exist"):
        open_clip(tmp_path / "nothing", backend=backend)


@pytest.mark.parametrize("name", ["a" * 5000, "nul\0byte", ""])
def test_names_that_no_clip_has(name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"does not exist|holds no PNG"):
        open_clip(tmp_path / name)


def test_unknown_backend_and_missing_library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="no reader called 'tape'"):
        open_clip(tmp_path, backend="tape")
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    with pytest.raises(InputError, match="not installed") as caught:
        open_clip(tmp_path)
    assert "pip install opencv-python-headless" in caught.value.hint


@pytest.mark.parametrize("rotation", [45, -90, 360])
def test_bad_rotation(tmp_path: Path, rotation: int) -> None:
    with pytest.raises(InputError, match="is not possible"):
        open_clip(tmp_path, rotation_deg=rotation)


@pytest.mark.parametrize("rate", [0, -30, float("nan"), float("inf"), 1e9])
def test_bad_capture_rate(opened: Reader, rate: float) -> None:
    with pytest.raises(InputError, match="capture rate"):
        open_clip(opened.clip.path, capture_rate=rate)


def test_capture_rate_as_told(opened: Reader) -> None:
    with open_clip(opened.clip.path, capture_rate=240) as reader:
        assert reader.clip.capture_rate == 240
        assert reader.clip.slow_factor == 8.0
