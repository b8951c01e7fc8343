"""One pass for several readers: the same pictures as each would have read alone, and fewer decoded."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from overlay.errors import DataError
from overlay.video import Reader, SharedReader, VideoWriter, Wanted, open_clip, write_png
from overlay.video.pyav_reader import PyAVReader

N, RATE = 30, 30


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("shared") / "clip.mp4"
    rng = np.random.default_rng(1)
    ground = rng.integers(0, 255, (96, 160, 3), np.uint8)
    with VideoWriter(path, 160, 96, RATE) as writer:
        for i in range(N):
            writer.write(np.roll(ground, 3 * i, axis=1))
    return path


@pytest.fixture
def decoded(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Indices of all pictures decoded."""
    seen: list[int] = []
    original = PyAVReader._pictures

    def counted(self: PyAVReader, first: int) -> object:
        for index, picture in original(self, first):
            seen.append(index)
            yield index, picture

    monkeypatch.setattr(PyAVReader, "_pictures", counted)
    return seen


WANTED = (Wanted(0.2, 0.8, 64), Wanted(0.4, 0.4, 128), Wanted(0.5, 0.6, 100))


def same(one: Reader, other: Reader, start_s: float, stop_s: float, side: int) -> bool:
    a, b = list(one.frames(start_s, stop_s, max_side=side)), list(other.frames(start_s, stop_s, max_side=side))
    assert len(a) == len(b) > 0
    return all(x.index == y.index and x.time_s == y.time_s and np.array_equal(x.image, y.image) for x, y in zip(a, b))


def test_all_pictures_are_those_of_the_reader_itself(clip: Path) -> None:
    with open_clip(clip) as plain, open_clip(clip) as reader:
        shared = SharedReader(reader, WANTED, 10.0)
        # The first pass carries the others; inside, across the ends, outside, of another size, and whole.
        for span in ((0.1, 0.9), (0.2, 0.8), (0.5, 0.99), (0.0, 0.3), (0.85, 0.95)):
            for side in (48, 64, 100, 128):
                assert same(shared, plain, *span, side), (span, side)
        for time_s in (-1.0, 0.0, 0.21, 0.4, 0.401, 0.55, 2.0):
            for side in (64, 100, 128, None):
                one, other = shared.frame_at(time_s, max_side=side), plain.frame_at(time_s, max_side=side)
                assert (one.index, one.time_s) == (other.index, other.time_s)
                assert np.array_equal(one.image, other.image)
        assert same(shared, plain, 0.0, 1.0, 64)
        with pytest.raises(DataError):
            shared.frames(float("nan"))


def test_what_was_passed_is_not_decoded_again(clip: Path, decoded: list[int]) -> None:
    with open_clip(clip) as reader:
        shared = SharedReader(reader, WANTED, 10.0)
        for _ in shared.frames(0.2, 0.8, max_side=48):
            pass
        assert decoded == list(range(6, 25))
        for side, start_s, stop_s in ((64, 0.2, 0.8), (100, 0.5, 0.6), (64, 0.3, 0.4)):
            assert len(list(shared.frames(start_s, stop_s, max_side=side))) >= 3
        shared.frame_at(0.4, max_side=128)
        shared.frame_at(0.77, max_side=64)
        assert len(decoded) == 19


def test_everything_wanted_is_read_at_once_on_demand(clip: Path, decoded: list[int]) -> None:
    with open_clip(clip) as reader:
        shared = SharedReader(reader, [Wanted(0.7, 0.7, 64), Wanted(0.3, 0.3, 128)], 10.0)
        shared.read()
        assert decoded == list(range(9, 22))
        for time_s, side in ((0.7, 64), (0.3, 128)):
            shared.frame_at(time_s, max_side=side)
        assert len(decoded) == 13
        shared.read()
        assert len(decoded) == 13


def test_a_pass_that_is_broken_off_keeps_what_it_saw(clip: Path, decoded: list[int]) -> None:
    with open_clip(clip) as plain, open_clip(clip) as reader:
        shared = SharedReader(reader, WANTED, 10.0)
        for frame in shared.frames(0.2, 0.8, max_side=48):
            if frame.index == 12:
                break
        assert same(shared, plain, 0.2, 0.8, 64)
        assert same(shared, plain, 0.2, 0.4, 64)


def test_the_pictures_are_the_callers_own(clip: Path) -> None:
    with open_clip(clip) as reader:
        shared = SharedReader(reader, WANTED, 10.0)
        shared.read()
        first = shared.frame_at(0.4, max_side=64).image
        kept = first.copy()
        first[:] = 0
        assert np.array_equal(shared.frame_at(0.4, max_side=64).image, kept)
        next(iter(shared.frames(0.4, 0.5, max_side=64))).image[:] = 0
        assert np.array_equal(shared.frame_at(0.4, max_side=64).image, kept)


def test_what_finds_no_room_is_read_as_before(clip: Path, decoded: list[int]) -> None:
    with open_clip(clip) as plain, open_clip(clip) as reader:
        # Room for the second only: 19 pictures of 64×38 take 139 kB, one of 128×77 takes 30.
        shared = SharedReader(reader, WANTED[:2], 0.1)
        shared.read()
        assert decoded == [12]
        assert same(shared, plain, 0.2, 0.8, 64)
        assert np.array_equal(shared.frame_at(0.4, max_side=128).image, plain.frame_at(0.4, max_side=128).image)


def test_a_folder_of_stills_is_passed_through(tmp_path: Path) -> None:
    for i in range(4):
        write_png(tmp_path / f"{i:03d}.png", np.full((48, 64, 3), 20 * i, np.uint8))
    with open_clip(tmp_path) as reader:
        shared = SharedReader(reader, [Wanted(0.0, 0.1, 32)], 10.0)
        shared.read()
        assert [int(frame.image[0, 0, 0]) for frame in shared.frames(max_side=32)] == [0, 20, 40, 60]
        # And glances at them are grey, about as far apart as asked for.
        glances = list(reader.glances(2 / 30, max_side=32))
        assert [(round(g.time_s * 30), g.grey.shape, int(g.grey[0, 0])) for g in glances] == [
            (0, (24, 32), 0),
            (2, (24, 32), 40),
        ]


def test_glances_are_small_grey_and_evenly_spaced(clip: Path, decoded: list[int]) -> None:
    with open_clip(clip) as reader:
        glances = list(reader.glances(0.1, max_side=80))
        full = [frame.image for frame in reader.frames()]
    # Frames that are passed over may make one of them a frame late.
    assert np.abs([g.time_s * RATE for g in glances] - np.arange(0, N, 3)).max() < 1.5
    assert {g.grey.shape for g in glances} == {(48, 80)}
    # As bright as the picture itself; in video levels, 16 to 235.
    for glance in glances:
        light = full[round(glance.time_s * RATE)] @ np.array([0.299, 0.587, 0.114])
        assert glance.grey.mean() == pytest.approx(16 + 219 * light.mean() / 255, abs=3.0)
    with open_clip(clip) as reader, pytest.raises(DataError, match="not possible"):
        reader.glances(-1.0, max_side=80)
    with open_clip(clip) as reader, pytest.raises(DataError, match="not possible"):
        reader.glances(0.1, max_side=0)
