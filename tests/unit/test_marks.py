"""The marks file: what is written is read back, and nothing else passes for one."""

from __future__ import annotations

import errno
import json
import os
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from overlay.data import ClubMark, Marks, PositionMark
from overlay.errors import DataError, InputError, OutputError
from overlay.marks import Picture, editing, load_marks, marks_path, read_marks, save_marks
from overlay.marks.document import Stored, parse, to_text
from overlay.settings.marks import MarkSettings
from overlay.terms import POSITION_NAMES

HASH, OTHER = "a" * 64, "b" * 64
UPRIGHT = Picture(480, 854)
MARKS = Marks(
    view="dtl",
    handedness="left",
    positions=(PositionMark("address", 1.25), PositionMark("top", 2.5)),
    club=(ClubMark(1.25, (200.0, 400.0), (300.5, 700.25)), ClubMark(2.5, (180.0, 200.0), (240.0, 120.0))),
)


@pytest.fixture
def clip(tmp_path: Path) -> Path:
    path = tmp_path / "swing.mp4"
    path.write_bytes(b"not read by these tests")
    return path


def document(**changes: Any) -> dict[str, Any]:
    whole = json.loads(to_text(Stored(MARKS, HASH, "swing.mp4", UPRIGHT)))
    whole.update(changes)
    return {name: value for name, value in whole.items() if value is not ...}


def write(clip: Path, content: str | bytes | dict[str, Any]) -> Path:
    path = marks_path(clip)
    if isinstance(content, dict):
        content = json.dumps(content)
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def test_the_file_lies_beside_the_clip(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert marks_path(Path("a/swing.mp4")) == Path("a/swing.mp4.marks.json")
    assert marks_path(Path("a/stills/")) == Path("a/stills.marks.json")
    monkeypatch.chdir(tmp_path)
    assert marks_path(Path()) == tmp_path.with_name(tmp_path.name + ".marks.json")


def test_what_is_saved_is_read_back(clip: Path) -> None:
    assert load_marks(clip, HASH) == Marks()
    save_marks(clip, MARKS, HASH, picture=UPRIGHT)
    assert load_marks(clip, HASH, picture=UPRIGHT) == MARKS
    assert load_marks(clip) == MARKS
    text = marks_path(clip).read_text(encoding="utf-8")
    # A person edits this file: one mark a line.
    assert '    {"name": "top", "time_s": 2.5}' in text.splitlines()
    assert [path.name for path in sorted(clip.parent.iterdir())] == ["swing.mp4", "swing.mp4.marks.json"]


points = st.tuples(
    st.floats(0, 480, allow_nan=False).map(lambda v: round(v, 2)),
    st.floats(0, 854, allow_nan=False).map(lambda v: round(v, 2)),
)
times = st.integers(0, 10_000_000).map(lambda micro: micro / 1e6)
club_times = st.integers(0, 5_000).map(lambda n: n / 500)


@given(
    view=st.sampled_from([None, "dtl", "fo", "other"]),
    hand=st.sampled_from([None, "right", "left"]),
    positions=st.lists(st.tuples(st.sampled_from(POSITION_NAMES), times), max_size=12, unique=True),
    # Two clicks less than a frame apart are refused, so no two are drawn that near to each other.
    club=st.lists(st.tuples(club_times, points, points), max_size=8, unique_by=lambda row: row[0]),
)
def test_any_marks_survive_the_file(view: Any, hand: Any, positions: Any, club: Any) -> None:
    rows = [row for row in club if abs(row[1][0] - row[2][0]) + abs(row[1][1] - row[2][1]) > 2]
    marks = Marks(view, hand, tuple(PositionMark(*row) for row in positions), tuple(ClubMark(*row) for row in rows))
    back = parse(to_text(Stored(marks, HASH, "x", UPRIGHT)).encode(), "x").marks
    assert (back.view, back.handedness) == (view, hand)
    assert set(back.positions) == set(marks.positions)
    assert set(back.club) == set(marks.club)


def test_marks_of_another_recording_are_refused_and_kept(clip: Path) -> None:
    save_marks(clip, MARKS, HASH, picture=UPRIGHT)
    before = marks_path(clip).read_bytes()
    with pytest.raises(InputError, match="another recording"):
        load_marks(clip, OTHER)
    with pytest.raises(InputError, match="another recording"):
        save_marks(clip, Marks(view="fo"), OTHER)
    assert marks_path(clip).read_bytes() == before
    # An empty one holds nothing that could be wrong.
    write(clip, document(view=None, handedness=None, positions=[], club=[]))
    assert load_marks(clip, OTHER) == Marks()
    save_marks(clip, MARKS, OTHER)
    assert load_marks(clip, OTHER) == MARKS


def test_empty_marks_leave_no_file(clip: Path) -> None:
    save_marks(clip, MARKS, HASH)
    save_marks(clip, Marks(), HASH)
    assert not marks_path(clip).exists()


def test_what_other_programs_keep_there_stays(clip: Path) -> None:
    extra = {"page": {"zoom": 2, "open": ["top"]}}
    write(clip, document(extra=extra))
    save_marks(clip, replace(MARKS, view="fo"), HASH)
    assert json.loads(marks_path(clip).read_text())["extra"] == extra
    save_marks(clip, Marks(), HASH)
    assert json.loads(marks_path(clip).read_text())["extra"] == extra


def test_mirrored_and_upside_down_are_converted(clip: Path) -> None:
    save_marks(clip, MARKS, HASH, picture=UPRIGHT)
    mirrored = load_marks(clip, HASH, picture=replace(UPRIGHT, mirrored=True))
    # 480 px wide: 200 px from the left are 280 px from it in a mirror, and the player's hand is the other one.
    assert mirrored.club[0] == ClubMark(1.25, (280.0, 400.0), (179.5, 700.25))
    assert (mirrored.handedness, mirrored.view, mirrored.positions) == ("right", "dtl", MARKS.positions)
    turned = load_marks(clip, HASH, picture=replace(UPRIGHT, rotation_deg=180))
    assert turned.club[0] == ClubMark(1.25, (280.0, 454.0), (179.5, 153.75))
    assert turned.handedness == "left"
    both = load_marks(clip, HASH, picture=Picture(480, 854, 180, True))
    assert both.club[0] == ClubMark(1.25, (200.0, 454.0), (300.5, 153.75))
    # There and back again is where it started.
    save_marks(clip, both, HASH, picture=Picture(480, 854, 180, True))
    assert load_marks(clip, HASH, picture=UPRIGHT) == MARKS


def test_the_conversion_is_that_of_the_reader() -> None:
    """The pixel that was marked shows the same colour however the clip is opened."""
    import numpy as np

    from overlay.marks.store import as_opened
    from overlay.video.orientation import Orientation

    stored = np.arange(6 * 8 * 3, dtype=np.uint8).reshape(6, 8, 3)
    for flipped in (False, True):
        for turn in (0, 90, 180, 270):
            for other in (turn, (turn + 180) % 360):
                for mirrored in (False, True):
                    own = Orientation(turn, flipped)
                    now = Orientation(other, flipped).chosen(rotation_deg=None, mirrored=mirrored)
                    before, after = own.apply(stored), now.apply(stored)
                    height, width = before.shape[:2]
                    mark = ClubMark(0.0, (1.5, 2.5), (4.5, 3.5))
                    was = Stored(Marks(club=(mark,)), HASH, "", Picture(width, height, turn, False))
                    (moved,) = as_opened(was, Picture(width, height, other, mirrored), "x").club
                    for (x, y), (u, v) in ((mark.grip, moved.grip), (mark.head, moved.head)):
                        assert np.array_equal(before[int(y), int(x)], after[int(v), int(u)])


def test_a_quarter_turn_is_refused_unless_no_pixels_are_meant(clip: Path) -> None:
    save_marks(clip, MARKS, HASH, picture=UPRIGHT)
    with pytest.raises(InputError, match="turned by 0°, and it is now opened turned by 90°") as told:
        load_marks(clip, HASH, picture=Picture(854, 480, 90))
    assert "--rotate 0" in told.value.hint
    save_marks(clip, replace(MARKS, club=()), HASH, picture=UPRIGHT)
    assert load_marks(clip, HASH, picture=Picture(854, 480, 90)).positions == MARKS.positions


def test_a_picture_of_another_size_is_refused(clip: Path) -> None:
    save_marks(clip, MARKS, HASH, picture=UPRIGHT)
    with pytest.raises(InputError, match="480×854 px, the clip has 240×427 px"):
        load_marks(clip, HASH, picture=Picture(240, 427))
    write(clip, document(picture=None))
    with pytest.raises(InputError, match=r"head marked at 1.250 s lies outside the picture"):
        load_marks(clip, HASH, picture=Picture(240, 427))


LONG = "9" * 5000
HOSTILE: dict[str, tuple[str | bytes, str]] = {
    "empty": ("", "it is empty"),
    "not text": (b"\xff\xfe\x00\x01", "not a text in UTF-8"),
    "truncated": (json.dumps(document())[:200], "not JSON"),
    "a list": ("[1, 2]", "holds a list, not an object"),
    "a number": ("7", "holds 7, not an object"),
    "deep": ("[" * 200_000, "nested too deeply|not JSON"),
    "deep objects": ('{"extra":' * 50_000, "nested too deeply|not JSON"),
    "not a number": (json.dumps(document()).replace("1.25", "NaN"), "holds NaN"),
    "infinite": (json.dumps(document()).replace("1.25", "-Infinity"), "-Infinity"),
    "overflow": (json.dumps(document()).replace("1.25", "1e999"), "too large"),
    "too long a number": (json.dumps(document()).replace("1.25", LONG), "too long|too large"),
    "a field twice": ('{"schema": 1, "schema": 1}', "'schema' stands twice"),
    "nothing of ours": ("{}", "lacks the field schema"),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_are_refused_and_left_alone(clip: Path, name: str) -> None:
    content, complaint = HOSTILE[name]
    path = write(clip, content)
    before = path.read_bytes()
    for attempt in (lambda: load_marks(clip, HASH), lambda: save_marks(clip, MARKS, HASH)):
        with pytest.raises(InputError, match=complaint) as told:
            attempt()
        assert path.name in told.value.message
        assert len(told.value.message) < 300
    assert path.read_bytes() == before


def test_a_number_beyond_every_clip_is_refused(clip: Path) -> None:
    write(clip, document(positions=[{"name": "top", "time_s": 10**12}]))
    with pytest.raises(InputError, match=r"positions\[0\].time_s is too large"):
        load_marks(clip)


@pytest.mark.parametrize(
    ("changes", "complaint"),
    [
        ({"kind": "inspect"}, "not a marks file"),
        ({"schema": 0}, "schema is 0"),
        ({"schema": True}, "schema is true"),
        ({"schema": 2}, "newer overlay"),
        ({"clip": ...}, "lacks the field clip"),
        ({"clip": {"sha256": "short"}}, "not 64 hexadecimal digits"),
        ({"clip": {"sha256": HASH, "name": 7}}, "clip.name is 7"),
        ({"postions": []}, "did you mean positions"),
        ({"view": "behind"}, "view is 'behind', not one of dtl, fo, other"),
        ({"view": ["dtl"]}, "view is a list"),
        ({"handedness": 1}, "handedness is 1"),
        ({"picture": {"width": 480}}, "picture lacks the field height"),
        ({"picture": {"width": 480, "height": 0, "rotation_deg": 0, "mirrored": False}}, "picture.height is 0"),
        ({"picture": {"width": 4.5, "height": 9, "rotation_deg": 0, "mirrored": False}}, "picture.width is 4.5"),
        ({"picture": {"width": 480, "height": 9, "rotation_deg": 45, "mirrored": False}}, "is 45, not 0, 90"),
        ({"picture": {"width": 480, "height": 9, "rotation_deg": 0, "mirrored": 0}}, "not true or false"),
        ({"positions": {}}, "positions is an object, not a list"),
        ({"positions": ["top"]}, r"positions\[0\] is 'top', not an object"),
        ({"positions": [{"name": "Top", "time_s": 1.0}]}, "did you mean top"),
        ({"positions": [{"name": "p4", "time_s": 1.0}]}, "not one of address"),
        ({"positions": [{"name": ["top"], "time_s": 1.0}]}, r"positions\[0\].name is a list"),
        ({"positions": [{"name": "top", "time_s": "1"}]}, "is '1', not a number"),
        ({"positions": [{"name": "top", "time_s": True}]}, "is true, not a number"),
        ({"positions": [{"name": "top", "time_s": -0.1}]}, "clips start at 0 s"),
        ({"positions": [{"name": "top"}]}, "lacks the field time_s"),
        ({"positions": [{"name": "top", "time_s": 1.0}] * 2}, "says again that top is at 1 s"),
        ({"club": [{"time_s": 1.0, "grip": [1, 2]}]}, r"club\[0\] lacks the field head"),
        ({"club": [{"time_s": 1.0, "grip": [1, 2], "head": [3]}]}, r"club\[0\].head is a list, not \[x, y\]"),
        ({"club": [{"time_s": 1.0, "grip": [1, None], "head": [3, 4]}]}, "grip is null, not a number"),
        ({"club": [{"time_s": 1.0, "grip": [1, 2], "head": [481, 4]}]}, "head lies outside the picture of 480×854"),
        ({"club": [{"time_s": 1.0, "grip": [1, 2], "head": [1, 2]}]}, "fall together"),
        ({"club": [{"time_s": 1.0, "grip": [1, 2], "head": [9, 9]}] * 2}, "two marks of the frame at 1.000 s"),
        ({"extra": [1]}, "extra is a list, not an object"),
    ],
)
def test_what_is_wrong_is_named(clip: Path, changes: dict[str, Any], complaint: str) -> None:
    write(clip, document(**changes))
    with pytest.raises(InputError, match=complaint):
        load_marks(clip, HASH)


def test_too_many_rows_are_refused(clip: Path) -> None:
    few = MarkSettings(max_positions=1)
    with pytest.raises(InputError, match="positions has 2 rows, more than 1"):
        parse(json.dumps(document()).encode(), "x", few)
    path = marks_path(clip)
    path.write_bytes(b" " * (MarkSettings().max_bytes + 1))
    with pytest.raises(InputError, match="larger than 8 MB"):
        read_marks(clip)


def test_what_is_no_file_is_refused(clip: Path) -> None:
    path = marks_path(clip)
    path.mkdir()
    with pytest.raises(InputError, match="is not a file"):
        load_marks(clip)
    path.rmdir()
    if hasattr(os, "mkfifo"):
        os.mkfifo(path)
        with pytest.raises(InputError, match="is not a file"):
            load_marks(clip)  # and does not wait for somebody to write into the pipe


def test_marks_that_could_not_be_read_back_are_not_written(clip: Path) -> None:
    outside = Marks(club=(ClubMark(1.0, (1.0, 1.0), (900.0, 1.0)),))
    with pytest.raises(DataError, match="outside the picture"):
        save_marks(clip, outside, HASH, picture=UPRIGHT)
    with pytest.raises(DataError, match="64 hexadecimal digits"):
        save_marks(clip, MARKS, "no hash")
    assert not marks_path(clip).exists()


def test_a_folder_that_cannot_be_written_is_told(clip: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save_marks(clip, MARKS, HASH)
    before = marks_path(clip).read_bytes()

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied")

    with monkeypatch.context() as patched:
        # Not by the folder's rights: the tests may run as root, who writes everywhere.
        patched.setattr(os, "replace", refuse)
        with pytest.raises(OutputError, match="no permission"):
            save_marks(clip, Marks(view="fo"), HASH)
    with monkeypatch.context() as patched:
        patched.setattr(Path, "unlink", refuse)
        with pytest.raises(OutputError, match="no permission"):
            save_marks(clip, Marks(), HASH)
    assert marks_path(clip).read_bytes() == before
    assert sorted(path.name for path in clip.parent.iterdir()) == ["swing.mp4", "swing.mp4.marks.json"]


def test_two_who_edit_at_once_lose_nothing(clip: Path) -> None:
    pytest.importorskip("fcntl")

    def add(number: int) -> None:
        for i in range(10):
            with editing(clip):
                marks = load_marks(clip, HASH)
                new = PositionMark("top", 100.0 * number + i)
                save_marks(clip, replace(marks, positions=(*marks.positions, new)), HASH)

    threads = [threading.Thread(target=add, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(load_marks(clip, HASH).positions) == 40


def test_a_picture_is_checked() -> None:
    with pytest.raises(DataError, match="cannot be"):
        Picture(0, 10)
    with pytest.raises(DataError, match="cannot be"):
        Picture(10, 10, 45)
