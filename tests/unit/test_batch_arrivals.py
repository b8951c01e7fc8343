"""Files that arrive in a folder: whole ones are taken, half-copied ones waited for."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from batch_factory import write_track

from overlay.batch.arrivals import Arrivals, not_whole
from overlay.errors import InputError
from overlay.settings.batch import WatchSettings

SETTINGS = WatchSettings(still_s=3.0, patience_s=60.0)


def names(paths: list[Path]) -> list[str]:
    return [path.name for path in paths]


@pytest.fixture(scope="module")
def video(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A film of a grey wall."""
    import av
    import numpy as np

    path = tmp_path_factory.mktemp("video") / "wall.mp4"
    noise = np.random.default_rng(1)
    with av.open(str(path), "w") as out:
        stream = out.add_stream("mpeg4", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 64, "yuv420p"
        for _ in range(30):
            picture = noise.integers(0, 255, (64, 64, 3), np.uint8)
            out.mux(stream.encode(av.VideoFrame.from_ndarray(picture)))
        out.mux(stream.encode())
    return path


def test_a_file_is_taken_once_it_stands_still(tmp_path: Path, video: Path) -> None:
    arrivals = Arrivals(tmp_path, settings=SETTINGS)
    assert arrivals.look(0.0) == []
    shutil.copy(video, tmp_path / "a.mp4")
    assert arrivals.look(1.0) == []
    assert arrivals.look(3.9) == []
    assert names(arrivals.look(4.0)) == ["a.mp4"]
    assert names(arrivals.look(4.1)) == ["a.mp4"]  # not taken yet
    arrivals.taken([tmp_path / "a.mp4"])
    assert arrivals.look(99.0) == []
    assert arrivals.unfinished == ()


def test_a_growing_file_is_waited_for(tmp_path: Path, video: Path) -> None:
    content = video.read_bytes()
    arrivals = Arrivals(tmp_path, settings=SETTINGS)
    clip = tmp_path / "a.mp4"
    for second in range(10):
        clip.write_bytes(content[: (second + 1) * len(content) // 11])
        assert arrivals.look(float(second)) == []
    # It stands still in the middle: it is not whole all the same.
    assert arrivals.look(20.0) == []
    assert arrivals.late == []
    assert arrivals.look(61.0) == []
    assert names([path for path, _ in arrivals.late]) == ["a.mp4"]
    assert arrivals.look(99.0) == []
    assert arrivals.late == []  # told once
    assert arrivals.unfinished == (clip,)
    clip.write_bytes(content)
    assert arrivals.look(100.0) == []
    assert names(arrivals.look(103.0)) == ["a.mp4"]


def test_a_file_that_grows_for_ever_is_told_once(tmp_path: Path) -> None:
    arrivals = Arrivals(tmp_path, settings=SETTINGS)
    told = []
    for second in range(0, 200, 2):
        (tmp_path / "endless.mp4").write_bytes(b"x" * (second + 1))
        assert arrivals.look(float(second)) == []
        told += arrivals.late
    assert [(path.name, why) for path, why in told] == [("endless.mp4", "it is still growing")]


def test_a_file_renamed_into_place_is_a_new_file(tmp_path: Path, video: Path) -> None:
    arrivals = Arrivals(tmp_path, settings=SETTINGS)
    shutil.copy(video, tmp_path / "a.mp4.part")
    for second in (0.0, 10.0):
        assert arrivals.look(second) == []
    (tmp_path / "a.mp4.part").rename(tmp_path / "a.mp4")
    assert arrivals.look(11.0) == []
    assert names(arrivals.look(14.0)) == ["a.mp4"]


def test_a_file_that_is_gone_again_is_forgotten(tmp_path: Path, video: Path) -> None:
    arrivals = Arrivals(tmp_path, settings=SETTINGS)
    shutil.copy(video, tmp_path / "a.mp4")
    arrivals.look(0.0)
    (tmp_path / "a.mp4").unlink()
    assert arrivals.look(5.0) == []
    shutil.copy(video, tmp_path / "a.mp4")
    assert arrivals.look(6.0) == []  # its wait begins anew
    assert names(arrivals.look(9.0)) == ["a.mp4"]


def test_a_file_that_changes_after_it_was_taken_is_taken_again(tmp_path: Path, video: Path) -> None:
    arrivals = Arrivals(tmp_path, settings=SETTINGS)
    clip = Path(shutil.copy(video, tmp_path / "a.mp4"))
    arrivals.look(0.0)
    arrivals.look(3.0)
    arrivals.taken([clip])
    os.utime(clip, (1.0, 1.0))
    assert arrivals.look(4.0) == []
    assert names(arrivals.look(7.0)) == ["a.mp4"]


def test_what_is_there_at_the_start_can_be_left(tmp_path: Path, video: Path) -> None:
    shutil.copy(video, tmp_path / "old.mp4")
    (tmp_path / "half.mp4").write_bytes(video.read_bytes()[:500])
    arrivals = Arrivals(tmp_path, settings=SETTINGS)
    assert arrivals.ignore_present(0.0) == 2
    assert arrivals.look(100.0) == []
    assert (arrivals.late, arrivals.unfinished) == ([], ())
    shutil.copy(video, tmp_path / "new.mp4")
    shutil.copy(video, tmp_path / "half.mp4")
    assert arrivals.look(101.0) == []
    assert set(names(arrivals.look(104.0))) == {"new.mp4", "half.mp4"}


def test_the_newest_comes_first(tmp_path: Path, video: Path) -> None:
    for i, name in enumerate(("b.mp4", "c.mp4", "a.mp4")):
        shutil.copy(video, tmp_path / name)
        os.utime(tmp_path / name, (1e9 + i, 1e9 + i))
    arrivals = Arrivals(tmp_path, settings=SETTINGS)
    arrivals.look(0.0)
    assert names(arrivals.look(3.0)) == ["a.mp4", "c.mp4", "b.mp4"]


def test_what_is_no_clip_is_left_alone(tmp_path: Path, video: Path) -> None:
    for name in (".hidden.mp4", "a.tmp", "b.mp4.icloud", "notes.txt"):
        shutil.copy(video, tmp_path / name)
    (tmp_path / "empty.mp4").touch()
    (tmp_path / "out").mkdir()
    shutil.copy(video, tmp_path / "out" / "comparison.mp4")
    arrivals = Arrivals(tmp_path, [tmp_path / "out"], SETTINGS)
    for second in (0.0, 10.0, 100.0):
        assert arrivals.look(second) == []
    assert arrivals.late == []


def test_a_folder_that_goes_away_is_an_error(tmp_path: Path) -> None:
    arrivals = Arrivals(tmp_path / "card", settings=SETTINGS)
    with pytest.raises(InputError, match="any more"):
        arrivals.look(0.0)


def test_a_film_is_whole_when_its_boxes_fill_it(tmp_path: Path, video: Path) -> None:
    content = video.read_bytes()
    assert not_whole(video) == ""
    clip = tmp_path / "a.mp4"
    for cut in (1, 7, 20, len(content) // 2, len(content) - 1):
        clip.write_bytes(content[:cut])
        assert not_whole(clip) != "", cut
    # Room that was reserved and is not filled yet.
    clip.write_bytes(content[: len(content) // 2] + bytes(len(content) - len(content) // 2))
    assert not_whole(clip) != ""
    clip.write_bytes(bytes(1000))
    assert not_whole(clip) == "it is no video yet"
    clip.write_bytes(content + b"\x00\x00\x00\x09free!")
    assert not_whole(clip) == ""
    clip.write_text("a text that calls itself a film")
    assert not_whole(clip) != ""


def test_the_length_of_a_large_box_is_read(tmp_path: Path) -> None:
    """Boxes of more than 4 GB say 1 and tell their length behind their kind (ISO/IEC 14496-12, 4.2)."""
    large = (1).to_bytes(4, "big") + b"mdat" + (24).to_bytes(8, "big") + b"x" * 8
    clip = tmp_path / "a.mov"
    clip.write_bytes(large)
    assert not_whole(clip) == "the table of its pictures is missing"
    clip.write_bytes(large[:-1])
    assert not_whole(clip) == "its end is missing"


def test_a_saved_track_is_whole_when_it_can_be_read(tmp_path: Path) -> None:
    track = write_track(tmp_path / "a.npz")
    assert not_whole(track) == ""
    track.write_bytes(track.read_bytes()[:-100])
    assert "cannot be opened yet" in not_whole(track)
