"""Saved tracks: what is written comes back, and what cannot be read says where and why."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from overlay.data import PoseTrack
from overlay.errors import InputError, OutputError
from overlay.landmarks import INDEX, LANDMARKS, N_LANDMARKS
from overlay.pose import is_saved_track, load_track, save_track, write_csv
from overlay.pose import saved as saved_module


def some_track(n: int = 7, seed: int = 0) -> PoseTrack:
    rng = np.random.default_rng(seed)
    points = rng.uniform(-5, 500, (n, N_LANDMARKS, 2))
    points[:, INDEX["left_heel"]] = np.nan
    points[2] = np.nan
    visibility = np.where(np.isfinite(points[..., 0]), rng.random((n, N_LANDMARKS)), 0.0)
    depth = np.where(np.isfinite(points[..., 0]), rng.normal(size=(n, N_LANDMARKS)), np.nan)
    time_s = np.cumsum(rng.uniform(0.01, 0.05, n))
    filled = rng.random((n, N_LANDMARKS)) < 0.1
    return PoseTrack(points, depth, visibility, time_s, (480, 854), "made", "model 1", filled, ("one", "two — drei"))


def write(path: Path, text: str, encoding: str = "utf-8") -> Path:
    path.write_text(text, encoding=encoding)
    return path


HEADER = "time_s,joint,x_px,y_px,visibility\n"


def rows(n: int = 3, joint: str = "nose") -> str:
    return "".join(f"{i / 30},{joint},{10 + i},{20 + i},0.9\n" for i in range(n))


# --- round trips ---


def test_npz_keeps_everything(tmp_path: Path) -> None:
    track = some_track()
    save_track(tmp_path / "a.npz", track, view="dtl", handedness="left", clip_path=Path("swing.mp4"))
    back = load_track(tmp_path / "a.npz")
    for name in ("points", "depth", "visibility", "time_s", "filled"):
        assert np.array_equal(getattr(back.track, name), getattr(track, name), equal_nan=name in ("points", "depth"))
    assert (back.track.image_size, back.track.source, back.track.model) == ((480, 854), "made", "model 1")
    assert back.track.log == track.log
    assert (back.view, back.handedness, back.clip_path) == ("dtl", "left", Path("swing.mp4"))


def test_npz_without_anything_told(tmp_path: Path) -> None:
    save_track(tmp_path / "a.npz", some_track())
    back = load_track(tmp_path / "a.npz")
    assert (back.view, back.handedness, back.clip_path) == (None, None, None)


@given(seed=st.integers(0, 2**32 - 1), n=st.integers(3, 12))
@settings(max_examples=20, deadline=None)
def test_csv_round_trips_exactly(tmp_path_factory: pytest.TempPathFactory, seed: int, n: int) -> None:
    path = tmp_path_factory.mktemp("csv") / "a.csv"
    track = some_track(n, seed)
    write_csv(path, track, "fo", "right")
    back = load_track(path)
    assert np.array_equal(back.track.points, track.points, equal_nan=True)
    assert np.array_equal(back.track.time_s, track.time_s)
    assert np.array_equal(back.track.visibility, track.visibility)
    assert back.track.image_size == track.image_size
    assert (back.view, back.handedness) == ("fo", "right")


def test_csv_names_its_clip_beside_it(tmp_path: Path) -> None:
    write_csv(tmp_path / "a.csv", some_track(), clip_path=Path("swing.mp4"))
    assert load_track(tmp_path / "a.csv").clip_path == tmp_path / "swing.mp4"


def test_what_is_a_saved_track() -> None:
    assert is_saved_track(Path("a.csv"))
    assert is_saved_track(Path("A.NPZ"))
    assert not is_saved_track(Path("a.mp4"))
    assert not is_saved_track(Path("folder"))


# --- accepted ---


def test_visibility_may_be_absent_and_so_may_joints(tmp_path: Path) -> None:
    path = write(tmp_path / "a.csv", "time_s,joint,x_px,y_px\n0,nose,1,2\n0.1,nose,3,4\n0.1,left_hip,5,6\n")
    track = load_track(path).track
    assert track.points[1, INDEX["left_hip"]].tolist() == [5.0, 6.0]
    assert np.isnan(track.points[0, INDEX["left_hip"]]).all()
    assert track.visibility[1, INDEX["left_hip"]] == 1.0
    assert track.visibility[0, INDEX["left_hip"]] == 0.0


def test_size_from_the_extent_is_noted(tmp_path: Path) -> None:
    track = load_track(write(tmp_path / "a.csv", HEADER + rows(3))).track
    assert track.image_size == (13, 23)
    assert any("width not given" in line for line in track.log)
    told = load_track(write(tmp_path / "b.csv", "# width=100, height=200\n" + HEADER + rows(3))).track
    assert told.image_size == (100, 200)
    assert not any("not given" in line for line in told.log)


@pytest.mark.parametrize(
    "text",
    [
        "\ufeff" + HEADER + rows(),
        (HEADER + rows()).replace("\n", "\r\n"),
        (HEADER + rows()).replace(",", "\t"),
        (HEADER + rows()).replace(",", ";"),
        (HEADER + rows()).replace(",", ";").replace(".", ","),
        HEADER.replace(",", " , ").upper() + rows().replace(",", ", "),
        "\n\n" + HEADER + "\n" + rows().replace("\n", "\n\n"),
        "frame," + HEADER + "".join(f"{i},{line}\n" for i, line in enumerate(rows().splitlines())),
        HEADER + "\n".join(reversed(rows().splitlines())),
        '"time_s","joint","x_px","y_px","visibility"\n' + rows().replace("nose", '"nose"'),
        "# made by hand\n# view=dtl; handedness=right\n" + HEADER + "# between\n" + rows(),
    ],
    ids=[
        "bom",
        "crlf",
        "tab",
        "semicolon",
        "decimal comma",
        "spaces",
        "blank lines",
        "extra column",
        "unsorted",
        "quotes",
        "comments",
    ],
)
def test_harmless_variety_is_accepted(tmp_path: Path, text: str) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(text.encode())
    track = load_track(path).track
    assert track.time_s == pytest.approx([0.0, 1 / 30, 2 / 30])
    assert track.points[:, 0, 0] == pytest.approx([10, 11, 12])
    assert track.visibility[:, 0] == pytest.approx(0.9)


@pytest.mark.parametrize("word", ["", "nan", "NaN", "NA", "null"])
def test_missing_values(tmp_path: Path, word: str) -> None:
    track = load_track(write(tmp_path / "a.csv", HEADER + rows(2) + f"0.2,nose,{word},5,0.4\n")).track
    assert np.isnan(track.points[2, 0]).all()
    assert track.visibility[2, 0] == 0.0


# --- refused ---


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "is empty"),
        ("# width=3\n\n", "no table"),
        (HEADER, "no rows"),
        ("time_s,joint,x_px\n", "line 1: no column y_px"),
        ("# a\ntime,joint,x,y\n0,nose,1,2\n", "line 2: no column time_s, x_px, y_px"),
        ("time_s,joint,x_px,y_px,x_px\n", "stands there twice"),
        (HEADER + rows(2) + "0.1,left_wirst,1,2,1\n", "line 4: 'left_wirst' is not a joint.*left_wrist"),
        (HEADER + "0,nose,ten,2,1\n", "line 2: x_px is 'ten', not a number"),
        (HEADER + "0,nose,1,inf,1\n", "line 2: y_px is 'inf'"),
        (HEADER + "0,nose,1,1e300,1\n", "line 2: y_px"),
        (HEADER + ",nose,1,2,1\n", "line 2: time_s is missing"),
        (HEADER + "0,nose,1,2,1.5\n", "visibility 1.5 is outside"),
        (HEADER + "0,nose,1,2\n", "line 2: 4 cells where the header has 5"),
        (HEADER + "0,nose,1,2,1\n0.1,nose,1,2,1\n0,nose,1,2,1\n", "line 4: nose at 0.0 s stands on line 2"),
        (HEADER + "0,nose,1,2,1\n", "one frame"),
        (HEADER + "0,nose,1,2,1\n0.00001,left_hip,1,2,1\n0.1,nose,1,2,1\n", "too close"),
        (HEADER + "0,nose,,,\n0.1,nose,,,\n", "no joint with a place"),
        ("# view=behind\n" + HEADER + rows(), "line 1: view=behind"),
        ("# handedness=both\n" + HEADER + rows(), "line 1: handedness=both"),
        ("# width=-4\n" + HEADER + rows(), "line 1: width=-4"),
        (HEADER + "0,no\0se,1,2,1\n", "not a text table"),
    ],
)
def test_bad_tables_say_where(tmp_path: Path, text: str, complaint: str) -> None:
    with pytest.raises(InputError, match=f"(?s){complaint}"):
        load_track(write(tmp_path / "a.csv", text))


def test_bytes_that_are_no_text(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"time_s,joint\xff\xfe\x00\x01")
    with pytest.raises(InputError, match="not a text table"):
        load_track(path)


def test_a_huge_table(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(saved_module, "MAX_BYTES", 50)
    with pytest.raises(InputError, match="MB"):
        load_track(write(tmp_path / "a.csv", HEADER + rows()))


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no file"):
        load_track(tmp_path / "a.csv")


def test_bad_npz(tmp_path: Path) -> None:
    path = tmp_path / "a.npz"
    path.write_bytes(b"not an archive")
    with pytest.raises(InputError, match="not a saved pose track"):
        load_track(path)
    np.savez(path, something=np.zeros(3))
    with pytest.raises(InputError, match="lacks"):
        load_track(path)
    np.savez(path, allow_pickle=True, kind=np.array([{}], dtype=object))
    with pytest.raises(InputError, match="not a saved pose track"):
        load_track(path)


def test_npz_cut_short(tmp_path: Path) -> None:
    path = tmp_path / "a.npz"
    save_track(path, some_track())
    path.write_bytes(path.read_bytes()[:-300])
    with pytest.raises(InputError, match="not a saved pose track"):
        load_track(path)


def test_npz_of_a_later_schema(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(saved_module, "SCHEMA", 99)
    save_track(tmp_path / "a.npz", some_track())
    monkeypatch.undo()
    with pytest.raises(InputError, match="schema 99"):
        load_track(tmp_path / "a.npz")


def test_all_names_are_read(tmp_path: Path) -> None:
    text = HEADER + "".join(f"{t},{name},1,2,1\n" for t in (0, 0.1) for name in LANDMARKS)
    assert np.isfinite(load_track(write(tmp_path / "a.csv", text)).track.points).all()


def test_a_track_is_not_written_under_another_kinds_name(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="NPZ"):
        save_track(tmp_path / "track.csv", some_track())
    assert not list(tmp_path.iterdir())
