"""Exports read back by other readers: the csv module, pyarrow, and overlay's own reader of saved tracks."""

from __future__ import annotations

import csv
import json
import math
import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from kept_factory import FIRST_DAY, REFERENCE_KEY, clip_read, fill, swing_read

from overlay.errors import OutputError, SetupError
from overlay.library import Store, SwingFilter, open_store
from overlay.library.export import LIST, export
from overlay.library.export_tables import TABLES, guarded, plain_text

EVERYTHING = SwingFilter()


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "library.sqlite") as found:
        fill(found, tmp_path)
        yield found


def rows_of(path: Path) -> list[dict[str, str]]:
    with open(path, encoding="utf-8", newline="") as source:
        return list(csv.DictReader(source))


def test_the_csv_says_what_is_kept(store: Store, tmp_path: Path) -> None:
    done = export(store, tmp_path / "out", EVERYTHING)
    assert {path.name for path in (tmp_path / "out").iterdir()} == {f"{table}.csv" for table in TABLES} | {LIST}
    assert done.rows == {"measures": 28, "differences": 4, "positions": 63, "swings": 7, "sessions": 3}
    rows = rows_of(tmp_path / "out" / "measures.csv")
    assert len(rows) == 28
    swings = store.swings(EVERYTHING, sort="id", descending=False)
    by_swing = {swing.id: [row for row in rows if int(row["swing_id"]) == swing.id] for swing in swings}
    for swing in swings:
        for row, measure in zip(by_swing[swing.id], store.measures_of(swing.id), strict=True):
            assert (row["player"], row["date"], row["club"], row["view"]) == (
                swing.player, swing.date.isoformat(), swing.club, swing.view
            )  # fmt: skip
            assert (row["measure"], row["unit"], row["position"]) == (measure.name, measure.unit, measure.position)
            assert row["valid"] == ("true" if measure.valid else "false")
            if measure.valid:
                low, high = measure.interval or (math.nan, math.nan)
                assert [float(row[name]) for name in ("value", "low", "high")] == [measure.value, low, high]
            else:
                assert (row["value"], row["low"], row["high"]) == ("", "", "")
                assert row["reason"] == "the hips are not seen"
    differences = rows_of(tmp_path / "out" / "differences.csv")
    assert [row["reference"] for row in differences] == ["Larkspur model"] * 4
    assert float(differences[0]["value"]) == store.comparison(swings[0].id).differences[0].value  # type: ignore[union-attr]
    assert (differences[1]["value"], differences[1]["reason"]) == ("", "hidden")
    sessions = rows_of(tmp_path / "out" / "sessions.csv")
    assert [(row["player"], row["place"], row["failed"], row["swings"]) for row in sessions] == [
        ("Wren Aldous", "Larkspur Range", "1", "3"),
        ("Wren Aldous", "", "0", "1"),
        ("Idris Holm", "", "0", "3"),
    ]
    listed = json.loads((tmp_path / "out" / LIST).read_text(encoding="utf-8"))
    assert listed["tables"]["measures"]["rows"] == 28
    assert [column["name"] for column in listed["tables"]["swings"]["columns"]] == list(
        rows_of(tmp_path / "out" / "swings.csv")[0]
    )


def test_every_column_is_described(repository: Path) -> None:
    page = (repository / "docs" / "record.md").read_text(encoding="utf-8")
    described = set(re.findall(r"`([a-z0-9_]+)`", page[page.index("### The tables") :]))
    assert {column.name for columns in TABLES.values() for column in columns} <= described
    assert set(TABLES) <= described


def test_parquet_read_by_its_own_reader_says_the_same(store: Store, tmp_path: Path) -> None:
    pq = pytest.importorskip("pyarrow.parquet")
    export(store, tmp_path / "csv", EVERYTHING)
    export(store, tmp_path / "parquet", EVERYTHING, form="parquet")
    for table, columns in TABLES.items():
        read = pq.read_table(tmp_path / "parquet" / f"{table}.parquet")
        assert read.column_names == [column.name for column in columns]
        for column in columns:
            field = read.schema.field(column.name)
            assert field.metadata[b"unit"].decode() == column.unit
            assert field.metadata[b"meaning"].decode() == column.meaning
            wanted = {"int": "int64", "float": "double", "text": "string", "date": "date32[day]", "bool": "bool"}
            assert str(field.type) == wanted[column.kind]
        assert json.loads(read.schema.metadata[b"overlay"])["kind"] == f"overlay {table}"
        texts = rows_of(tmp_path / "csv" / f"{table}.csv")
        for row, told in zip(read.to_pylist(), texts, strict=True):
            for column in columns:
                value, text = row[column.name], told[column.name]
                if value is None or value == "":
                    assert text == ""
                elif column.kind == "float":
                    assert float(text) == value
                elif column.kind == "bool":
                    assert text == str(value).lower()
                elif column.kind == "text":
                    assert plain_text(text) == value
                else:
                    assert text == str(value)


def test_a_file_holds_the_measures_that_were_chosen(store: Store, tmp_path: Path) -> None:
    done = export(store, tmp_path / "wren.csv", SwingFilter(players=("Wren Aldous",), views=("dtl",)))
    assert done.rows == {"measures": 12}
    assert {row["view"] for row in rows_of(tmp_path / "wren.csv")} == {"dtl"}
    pq = pytest.importorskip("pyarrow.parquet")
    export(store, tmp_path / "late.parquet", SwingFilter(since=FIRST_DAY.replace(day=12)))
    assert pq.read_table(tmp_path / "late.parquet").num_rows == 4


def test_many_pages_and_row_groups(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pq = pytest.importorskip("pyarrow.parquet")
    monkeypatch.setattr("overlay.library.export.PAGE", 2)
    monkeypatch.setattr("overlay.library.export_tables.ROWS_A_GROUP", 5)
    export(store, tmp_path / "all.parquet", EVERYTHING)
    file = pq.ParquetFile(tmp_path / "all.parquet")
    assert file.num_row_groups == 6
    ids = file.read().column("swing_id").to_pylist()
    assert len(ids) == 28
    assert sorted(set(ids)) == [swing.id for swing in store.swings(EVERYTHING, sort="id", descending=False)]


def test_tracks_load_again(store: Store, tmp_path: Path) -> None:
    from overlay.pose import load_track

    done = export(store, tmp_path / "out", EVERYTHING, tracks=True)
    assert (done.n_tracks, done.without_track) == (7, ())
    for swing in store.swings(EVERYTHING):
        kept = store.swing_model(swing.id).swings[swing.view]
        saved = load_track(tmp_path / "out" / "tracks" / f"swing-{swing.id:06d}-pose.csv")
        assert (saved.view, saved.handedness) == (swing.view, swing.handedness)
        assert saved.track.image_size == kept.pose.image_size
        np.testing.assert_array_equal(saved.track.time_s, kept.pose.time_s)
        np.testing.assert_array_equal(saved.track.points, kept.pose.points)
        assert np.isnan(saved.track.points).any()
        assert kept.club is not None
        club = rows_of(tmp_path / "out" / "tracks" / f"swing-{swing.id:06d}-club.csv")
        angles = [float(row["angle_deg"]) if row["angle_deg"] else math.nan for row in club]
        np.testing.assert_array_equal(angles, kept.club.angle_deg)
        assert tuple(row["state"] for row in club) == kept.club.state


def test_a_track_that_cannot_be_read_is_told(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from overlay.errors import InputError

    whole = type(store).swing_model

    def broken(self: Store, id: int) -> object:
        if id == 2:
            raise InputError("The track of swing 2 is damaged.", "Read its clip again.")
        return whole(self, id)

    monkeypatch.setattr(type(store), "swing_model", broken)
    done = export(store, tmp_path / "out", EVERYTHING, tracks=True)
    assert done.n_tracks == 6
    assert done.without_track == ((2, "The track of swing 2 is damaged."),)


def test_nothing_that_is_there_is_overwritten(store: Store, tmp_path: Path) -> None:
    (tmp_path / "taken.csv").write_text("mine")
    with pytest.raises(OutputError, match="there already"):
        export(store, tmp_path / "taken.csv", EVERYTHING)
    assert (tmp_path / "taken.csv").read_text() == "mine"
    export(store, tmp_path / "taken.csv", EVERYTHING, replace=True)
    assert len(rows_of(tmp_path / "taken.csv")) == 28

    mine = tmp_path / "mine"
    mine.mkdir()
    export(store, mine, EVERYTHING, tracks=True)  # an empty folder is free
    with pytest.raises(OutputError, match="earlier export"):
        export(store, mine, EVERYTHING)
    export(store, mine, SwingFilter(views=("fo",)), replace=True)
    assert len(rows_of(mine / "swings.csv")) == 1
    assert not (mine / "tracks").exists()
    (mine / "notes.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"notes\.txt"):
        export(store, mine, EVERYTHING, replace=True)
    assert (mine / "notes.txt").read_text() == "mine"

    plain = tmp_path / "plain"
    plain.mkdir()
    (plain / "measures.csv").write_text("of another program")
    with pytest.raises(OutputError, match="no export"):
        export(store, plain, EVERYTHING, replace=True)
    (tmp_path / "file").write_text("mine")
    with pytest.raises(OutputError, match="in the way"):
        export(store, tmp_path / "file", EVERYTHING, replace=True)
    assert sorted(path.name for path in tmp_path.iterdir() if ".part" in path.name) == []


def test_a_clip_of_the_library_is_never_replaced(store: Store, tmp_path: Path) -> None:
    clip = tmp_path / "kept.csv"
    clip.write_text("time_s,joint,x_px,y_px\n")
    session = store.sessions()[0]
    store.keep(session.id, clip_read(clip, [swing_read(1)]))
    with pytest.raises(OutputError, match="clip of the library"):
        export(store, clip, EVERYTHING, replace=True)
    assert clip.read_text().startswith("time_s")


def test_an_export_that_fails_leaves_nothing(store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    export(store, tmp_path / "out", SwingFilter(views=("fo",)))
    before = (tmp_path / "out" / "swings.csv").read_bytes()

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("overlay.library.export._add_positions", full)
    with pytest.raises(OutputError, match="disk is full"):
        export(store, tmp_path / "out", EVERYTHING, replace=True)
    with pytest.raises(OutputError, match="disk is full"):
        export(store, tmp_path / "new", EVERYTHING)
    assert (tmp_path / "out" / "swings.csv").read_bytes() == before
    assert {path.name for path in tmp_path.iterdir() if path.is_dir()} == {"out"}


def test_names_that_contradict_the_format(store: Store, tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="no name for a file of format parquet"):
        export(store, tmp_path / "a.csv", EVERYTHING, form="parquet")
    with pytest.raises(OutputError, match="need a folder"):
        export(store, tmp_path / "a.csv", EVERYTHING, tracks=True)


def test_parquet_without_pyarrow_says_what_to_install(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(SetupError, match="not installed") as caught:
        export(store, tmp_path / "a.parquet", EVERYTHING)
    assert 'pip install ".[parquet]"' in caught.value.hint
    assert not (tmp_path / "a.parquet").exists()


@pytest.mark.parametrize("name", ["=1+2", "+Wren", "-Wren", "@sum", "'quoted'", "Wren, A", 'say "hi"', "雀 🏌"])
def test_no_text_is_a_formula_and_every_text_comes_back(tmp_path: Path, name: str) -> None:
    with open_store(tmp_path / "library.sqlite") as store:
        fill(store, tmp_path, wren=name, club=name)
        export(store, tmp_path / "out", EVERYTHING)
    for table in ("measures", "swings", "sessions"):
        rows = rows_of(tmp_path / "out" / f"{table}.csv")
        cells = {row["player"] for row in rows} | {row["club"] for row in rows}
        assert not any(cell.startswith(("=", "+", "-", "@", "\t", "\r")) for cell in cells)
        assert name in {plain_text(row["player"]) for row in rows}
        assert name in {plain_text(row["club"]) for row in rows}


def test_a_cell_is_one_line_and_numbers_stay_numbers(store: Store, tmp_path: Path) -> None:
    assert guarded("two\nlines\t\r=x") == "two lines =x"
    assert guarded(" \t=2+3") == "'=2+3"
    assert guarded("\x1b[31mred") == "[31mred"
    export(store, tmp_path / "out", EVERYTHING)
    values = [
        row["value"] for row in rows_of(tmp_path / "out" / "measures.csv") if row["measure"] == "spine_side_bend_top"
    ]
    assert values == ["-12.5"] * 7


def test_without_names_there_are_no_names(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    with open_store(tmp_path / "library.sqlite") as store:
        fill(store, tmp_path, club="Wren's old 7")
        swing = store.swings(EVERYTHING)[0]
        store.tag("swing", swing.id, "wrens-best")
        store.tag("session", swing.session_id, "with-aldous")
        for form in ("csv", "parquet"):
            export(store, tmp_path / form, EVERYTHING, form=form, tracks=True, anonymous=True)  # type: ignore[arg-type]
        hashes = [clip.content_hash for clip in store.clips()]
    import pyarrow.parquet as pq

    told = ""
    for path in sorted((tmp_path / "csv").rglob("*")) + sorted((tmp_path / "parquet").rglob("*")):
        if path.suffix == ".parquet":
            told += str(pq.read_table(path).to_pylist()) + str(pq.read_schema(path).metadata)
        elif path.is_file():
            told += path.read_text(encoding="utf-8")
    for name in (
        "Wren",
        "wren",
        "Aldous",
        "aldous",
        "Idris",
        "Holm",
        "Larkspur",
        ".mp4",
        str(tmp_path),
        REFERENCE_KEY,
        *hashes,
    ):
        assert name not in told
    rows = rows_of(tmp_path / "csv" / "swings.csv")
    assert {row["player"] for row in rows} == {"player 1", "player 2"}
    assert {row["club"] for row in rows} == {"", "driver"}
    assert {row["reference"] for row in rows_of(tmp_path / "csv" / "differences.csv")} == {"reference 1"}


def test_what_is_added_meanwhile_does_not_shift_the_pages(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another program adds and removes between two pages; no swing comes twice or is left out."""
    monkeypatch.setattr("overlay.library.export.PAGE", 2)
    before = [swing.id for swing in store.swings(EVERYTHING, sort="id", descending=False)]
    whole = type(store).measures_of
    done: list[int] = []

    def meanwhile(self: Store, id: int) -> object:
        if id == before[2] and not done:
            done.append(id)
            with open_store(store.path) as other:
                other.remove_clip(other.swing(before[0]).clip_id)
                other.remove_clip(other.swing(before[-1]).clip_id)
                other.keep(other.sessions()[0].id, clip_read(tmp_path / "new.mp4", [swing_read(1)]))
        return whole(self, id)

    monkeypatch.setattr(type(store), "measures_of", meanwhile)
    export(store, tmp_path / "out.csv", EVERYTHING)
    ids = [int(row["swing_id"]) for row in rows_of(tmp_path / "out.csv")]
    assert done
    assert list(dict.fromkeys(ids)) == before
    assert len(ids) == 4 * len(before)


@pytest.mark.parametrize("form", ["csv", "parquet"])
def test_memory_does_not_grow_with_the_library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, form: str) -> None:
    """Eight times the swings, the same memory; holding the rows of the larger one would take ten times the margin."""
    import tracemalloc

    if form == "parquet":
        pytest.importorskip("pyarrow")
    monkeypatch.setattr("overlay.library.export.PAGE", 10)
    monkeypatch.setattr("overlay.library.export_tables.ROWS_A_GROUP", 50)
    peaks = []
    for n in (15, 15, 120):
        path = tmp_path / f"{n}-{len(peaks)}.sqlite"
        with open_store(path) as store:
            session = store.ensure_session(store.ensure_player("Wren").id, FIRST_DAY)
            for i in range(n // 5):
                swings = [swing_read(1 + k, impact_shift_s=8.0 * k) for k in range(5)]
                store.keep(session.id, clip_read(tmp_path / f"{i}.mp4", swings))
            tracemalloc.start()
            export(store, tmp_path / f"out-{len(peaks)}", EVERYTHING, form=form)  # type: ignore[arg-type]
            peaks.append(tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
    # The first one also loads what is needed.
    assert peaks[2] < peaks[1] + 100_000


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root writes everywhere")
def test_a_folder_that_cannot_be_written(store: Store, tmp_path: Path) -> None:
    locked = tmp_path / "locked"
    locked.mkdir(mode=0o500)
    with pytest.raises(OutputError, match="no permission"):
        export(store, locked / "out", EVERYTHING)
