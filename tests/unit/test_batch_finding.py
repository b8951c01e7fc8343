"""Which files of a folder are clips, and the day they were recorded."""

from __future__ import annotations

import datetime
import os
import time
from pathlib import Path

import pytest
from batch_factory import write_track

from overlay.batch import find_clips
from overlay.batch.finding import When, natural, when_recorded, why_no_clip
from overlay.errors import InputError


def names(found: object) -> list[str]:
    return [path.name for path in found.clips]  # type: ignore[attr-defined]


def test_a_folder_is_walked_and_what_is_no_clip_is_left_out(tmp_path: Path) -> None:
    folder = tmp_path / "range"
    for name in ("swing10.mp4", "swing2.MOV", "below/deep.mkv"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"x")
    write_track(folder / "track.npz")
    (folder / "track.csv").write_text("# width=1, height=1\ntime_s,joint,x_px,y_px\n0,nose,1,1\n")
    for name in ("scores.csv", "notes.txt", "half.mp4.part", ".hidden.mp4", "._swing2.MOV", "x.tmp", "a.icloud"):
        (folder / name).write_text("a,b\n1,2\n")
    (folder / "other.npz").write_bytes(b"PK no archive")
    (folder / "x.mp4").mkdir()
    found = find_clips([folder])
    assert names(found) == ["swing2.MOV", "swing10.mp4", "track.csv", "track.npz", "deep.mkv"]
    assert all(path.is_absolute() for path in found.clips)
    left = {path.name: why for path, why in found.left_out}
    assert left["half.mp4.part"] == left["x.tmp"] == left["a.icloud"] == "still being copied"
    assert left[".hidden.mp4"] == left["._swing2.MOV"] == "hidden or temporary"
    (folder / "swing2.MOV.marks.json").write_text("{}")
    assert find_clips([folder]) == found
    assert left["scores.csv"] == left["notes.txt"] == left["other.npz"] == "no clip"


def test_one_file_under_two_names_is_one_clip(tmp_path: Path) -> None:
    clip = tmp_path / "a.mp4"
    clip.write_bytes(b"x")
    os.link(clip, tmp_path / "b.mp4")
    (tmp_path / "c.mp4").symlink_to(clip)
    assert names(find_clips([clip, tmp_path, clip])) == ["a.mp4"]


def test_links_to_folders_are_not_followed(tmp_path: Path) -> None:
    (tmp_path / "inner").mkdir()
    (tmp_path / "inner" / "a.mp4").write_bytes(b"x")
    (tmp_path / "inner" / "loop").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "void.mp4").symlink_to(tmp_path / "nowhere.mp4")
    found = find_clips([tmp_path])
    assert names(found) == ["a.mp4"]
    assert ("loop", "link to a folder, not followed") in [(path.name, why) for path, why in found.left_out]


def test_what_overlay_wrote_is_no_clip(tmp_path: Path) -> None:
    for name in ("comparison.mp4", "comparison.json"):
        (tmp_path / name).write_bytes(b"x")
    assert find_clips([tmp_path]).clips == ()
    (tmp_path / "comparison.json").unlink()
    assert names(find_clips([tmp_path])) == ["comparison.mp4"]


def test_a_folder_beside_is_not_walked(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "a.mp4").write_bytes(b"x")
    assert names(find_clips([tmp_path])) == ["a.mp4"]
    assert find_clips([tmp_path], beside=[tmp_path / "out"]).clips == ()


def test_what_is_named_is_taken_whatever_it_is_called(tmp_path: Path) -> None:
    odd = tmp_path / "-swing\n😀.data"
    odd.write_bytes(b"x")
    assert find_clips([odd]).clips == (odd,)


def test_what_is_not_there_is_an_error(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no file or folder"):
        find_clips([tmp_path, tmp_path / "nothing.mp4"])
    with pytest.raises(InputError, match="cannot be read"):
        find_clips([Path("a\0b")])
    os.mkfifo(tmp_path / "pipe.mp4")
    with pytest.raises(InputError, match="neither a file nor a folder"):
        find_clips([tmp_path / "pipe.mp4"])
    assert why_no_clip(tmp_path / "pipe.mp4") == "no clip"


def test_numbers_in_names_are_numbers() -> None:
    assert sorted(["s10.mp4", "S2.mp4", "s1.mp4", "10", "9"], key=natural) == ["9", "10", "s1.mp4", "S2.mp4", "s10.mp4"]


def test_the_day_is_that_of_this_machine() -> None:
    noon = datetime.datetime(2026, 5, 3, 12, 0).timestamp()
    assert When(noon, True).date == datetime.date(2026, 5, 3)
    assert When(1e30, True).date == datetime.date(1970, 1, 1)


def test_without_a_word_in_the_file_its_time_of_change_is_taken(tmp_path: Path) -> None:
    clip = tmp_path / "a.mp4"
    clip.write_bytes(b"no video")
    assert when_recorded(clip, 1.75e9) == When(1.75e9, False)


def test_what_a_clip_says_of_its_day_is_taken(tmp_path: Path) -> None:
    import av
    import numpy as np

    path = tmp_path / "told.mp4"
    with av.open(str(path), "w") as out:
        out.metadata["creation_time"] = "2026-05-01T08:00:00.000000Z"
        stream = out.add_stream("mpeg4", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 64, "yuv420p"
        for _ in range(3):
            out.mux(stream.encode(av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8))))
        out.mux(stream.encode())
    assert when_recorded(path, 0.0) == When(1777622400.0, True)


def test_a_clock_that_is_wrong_makes_no_session_of_tomorrow(tmp_path: Path) -> None:
    clip = tmp_path / "clip.csv"
    clip.write_text("", encoding="utf-8")
    before = time.time()
    found = when_recorded(clip, before + 40 * 365 * 86_400)
    assert before <= found.seconds <= time.time()
    assert not found.from_file
    # A zone further east may be a day ahead.
    assert when_recorded(clip, before + 3600) == When(before + 3600, False)
