"""The library's file: opening it, migrations, errors two lines long, backup and restore, forgetting, the check."""

from __future__ import annotations

import datetime
import hashlib
import os
import sqlite3
import struct
from dataclasses import replace
from pathlib import Path

import pytest
from library_factory import REFERENCE, clip_read, comparison, digest, swing_read
from library_killing import old_library, traces
from model_factory import swing_model

from overlay.errors import DataError, InputError, OutputError, OverlayError
from overlay.library import Store, SwingFilter, default_path, open_store, restore
from overlay.library.connection import Connection, told_error
from overlay.library.opening import connect, copies_before
from overlay.library.schema import APPLICATION_ID, MIGRATIONS, Migration, fit
from overlay.models import model_bytes
from overlay.settings.library import LibrarySettings

DAY = datetime.date(2031, 5, 4)
IMPATIENT = LibrarySettings(patience_s=0.2, busy_step_s=0.05)


def filled(path: Path, name: str = "Mara Lindqvist") -> Path:
    """A library with one clip of two swings, closed."""
    with open_store(path) as store:
        player = store.ensure_player(name)
        session = store.ensure_session(player.id, DAY, "7 iron")
        store.keep_reference(comparison().reference_key, "Model one", REFERENCE)
        store.keep(session.id, clip_read("one", swing_read(1, compared=comparison()), swing_read(2, 2.0, start_s=7.0)))
    return path


def two_lines(error: OverlayError) -> None:
    lines = str(error).splitlines()
    assert len(lines) == 2
    assert all(line.strip() for line in lines)


# --- opening ---


def test_the_place_is_told_or_the_platforms_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("OVERLAY_LIBRARY", str(tmp_path / "mine.sqlite"))
    assert default_path() == tmp_path / "mine.sqlite"
    with open_store() as store:
        assert store.path == tmp_path / "mine.sqlite"
    monkeypatch.delenv("OVERLAY_LIBRARY")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    assert default_path().name == "library.sqlite"
    assert default_path().parent.name == "overlay"


def test_a_library_is_set_up_as_promised(tmp_path: Path) -> None:
    path = filled(tmp_path / "a" / "b" / "library.sqlite")
    with open_store(path) as store:
        db = store._db
        assert db.one("PRAGMA journal_mode") == ("wal",)
        assert db.one("PRAGMA foreign_keys") == (1,)
        assert db.one("PRAGMA secure_delete") == (1,)
        assert db.one("PRAGMA synchronous") == (2,)
        assert [row[0] for row in db.rows("SELECT name FROM migrations ORDER BY name")] == [
            migration.name for migration in MIGRATIONS
        ]
        strict = dict(db.rows("SELECT name, strict FROM pragma_table_list WHERE schema = 'main' AND type = 'table'"))
        assert {name for name, is_strict in strict.items() if not is_strict} == {"sqlite_schema", "sqlite_sequence"}
    assert struct.unpack(">I", path.read_bytes()[68:72]) == (APPLICATION_ID,)
    # Closed by the last one, it is a single file.
    assert [found.name for found in path.parent.iterdir()] == ["library.sqlite"]


def test_where_there_must_be_a_library_none_is_made(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no library at") as told:
        open_store(tmp_path / "none.sqlite", must_exist=True)
    two_lines(told.value)
    assert list(tmp_path.iterdir()) == []


def test_an_empty_file_becomes_a_library(tmp_path: Path) -> None:
    path = tmp_path / "library.sqlite"
    path.touch()
    open_store(path).close()
    assert open_store(path).check() == ()


def foreign(path: Path, how: str) -> None:
    if how == "text":
        path.write_text("no library at all, but long enough to have a header " * 9)
    elif how == "short":
        path.write_bytes(b"SQLite format 3\0")
    elif how == "other program":
        other = sqlite3.connect(path)
        other.execute("CREATE TABLE songs (name)")
        other.commit()
        other.close()
    elif how == "newer":
        filled(path)
        other = sqlite3.connect(path)
        other.execute("INSERT INTO migrations VALUES ('9999-later', 'then')")
        other.commit()
        other.close()
    elif how == "missing step":
        filled(path)
        other = sqlite3.connect(path)
        other.execute("DELETE FROM migrations WHERE name LIKE '0001%'")
        other.commit()
        other.close()


@pytest.mark.parametrize("how", ["text", "short", "other program", "newer", "missing step"])
def test_what_is_no_library_of_this_version_is_left_as_it_is(how: str, tmp_path: Path) -> None:
    path = tmp_path / "library.sqlite"
    foreign(path, how)
    before = path.read_bytes()
    with pytest.raises(InputError, match=r"library\.sqlite") as told:
        open_store(path)
    two_lines(told.value)
    if how == "newer":
        assert "newer overlay" in told.value.message
    assert path.read_bytes() == before
    assert [found.name for found in tmp_path.iterdir()] == ["library.sqlite"]
    with pytest.raises(InputError, match=r"library\.sqlite"):
        restore(path, tmp_path / "new.sqlite")
    assert path.read_bytes() == before


def test_a_backup_with_a_trigger_is_refused(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    raw = sqlite3.connect(path)
    raw.execute("CREATE TRIGGER bad AFTER INSERT ON notes BEGIN DELETE FROM swings; END")
    raw.close()
    with pytest.raises(InputError, match="the trigger bad"):
        restore(path, tmp_path / "new.sqlite")
    assert not (tmp_path / "new.sqlite").exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes here")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "library.sqlite")
    with pytest.raises(InputError, match="is no file"):
        open_store(tmp_path / "library.sqlite")


def test_a_link_leads_to_the_file(tmp_path: Path) -> None:
    path = filled(tmp_path / "real" / "library.sqlite")
    link = tmp_path / "link.sqlite"
    link.symlink_to(path)
    with open_store(link) as store:
        assert store.path == path.resolve()
        store.backup(tmp_path / "backup.sqlite")
    restore(tmp_path / "backup.sqlite", link, replace=True)
    assert link.is_symlink()
    assert [found.name for found in copies_before(path)] == ["library.sqlite.before-restore"]


def test_a_folder_is_no_library(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="is a folder") as told:
        open_store(tmp_path)
    two_lines(told.value)


def test_a_file_in_the_way_of_the_folder(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("x")
    with pytest.raises(OverlayError) as told:
        open_store(tmp_path / "a" / "library.sqlite")
    two_lines(told.value)


# --- migrations ---


def test_a_library_of_an_older_version_is_brought_up_with_a_copy_first(tmp_path: Path) -> None:
    path = tmp_path / "library.sqlite"
    old_library(path)
    with open_store(path) as store:
        assert store.count_swings() == 8
        assert store.check() == ()
        store.keep_comparison(store.swings()[0].id, comparison())
    (copy,) = copies_before(path)
    assert copy.name == f"library.sqlite.before-{MIGRATIONS[-1].name}"
    old = sqlite3.connect(copy)
    assert old.execute("SELECT count(*) FROM swings").fetchone() == (8,)
    assert old.execute("SELECT name FROM migrations").fetchall() == [(migration.name,) for migration in MIGRATIONS[:-1]]
    old.close()
    # The older overlay does not know what the newer one made, and says so.
    with pytest.raises(InputError, match="newer overlay"):
        connect(path, migrations=MIGRATIONS[:-1])


def test_a_new_library_has_no_copy(tmp_path: Path) -> None:
    connect(tmp_path / "library.sqlite", migrations=MIGRATIONS[:-1]).close()
    open_store(tmp_path / "library.sqlite").close()
    assert [found.name for found in tmp_path.iterdir()] == ["library.sqlite"]


def test_a_migration_that_fails_changes_nothing(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    before = path.read_bytes()
    bad = Migration("0099-bad", ("CREATE TABLE later (a INTEGER) STRICT", "UPDATE swings SET view = 'nowhere'"))
    with pytest.raises(DataError, match="CHECK constraint"):
        connect(path, migrations=(*MIGRATIONS, bad))
    assert path.read_bytes() == before
    with open_store(path) as store:
        assert store.check() == ()
        assert store._db.one("SELECT 1 FROM sqlite_master WHERE name = 'later'") is None


def test_unfinished_copies_of_an_ended_migration_are_cleared(tmp_path: Path) -> None:
    path = tmp_path / "library.sqlite"
    old_library(path)
    left = tmp_path / f".library.sqlite.abc123.part.before-{MIGRATIONS[-1].name}"
    left.write_bytes(b"half")
    other = tmp_path / ".library.xyz.part.sqlite"
    other.write_bytes(b"half")
    open_store(path).close()
    assert not left.exists()
    assert other.exists()


def test_every_statement_also_fits_a_sqlite_without_strict_tables() -> None:
    db = sqlite3.connect(":memory:")
    for migration in MIGRATIONS:
        for statement in migration.statements:
            plain = fit(statement, (3, 31, 0))
            assert "STRICT" not in plain
            assert " ANY" not in plain
            db.execute(plain)
    tables = {row[0] for row in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    assert {"players", "swings", "measures", "differences"} <= tables


# --- errors ---


def test_a_library_in_use_for_too_long_is_told(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    with open_store(path, settings=IMPATIENT) as store:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(OutputError, match="in use by another program for 0 s") as told:
            store.ensure_player("Tobin Ash")
        two_lines(told.value)
        # Reading goes on meanwhile.
        assert len(store.swings()) == 2
        other.execute("ROLLBACK")
        other.close()
        store.ensure_player("Tobin Ash")


def test_a_full_disk_changes_nothing(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    with open_store(path) as store:
        before = (store.clips(), store.swings(), store.measure_names())
        pages = store._db.number("PRAGMA page_count")
        store._db.run(f"PRAGMA max_page_count = {pages + 3}")
        with pytest.raises(OutputError, match="disk is full") as told:
            store.keep(1, clip_read("two"))
        two_lines(told.value)
        assert (store.clips(), store.swings(), store.measure_names()) == before
        store._db.run("PRAGMA max_page_count = 1000000")
        store.keep(1, clip_read("two"))
        assert store.check() == ()


def test_a_library_that_may_only_be_read(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    with open_store(path) as store:
        store._db.run("PRAGMA query_only = ON")
        with pytest.raises(OutputError, match="no permission") as told:
            store.ensure_player("Tobin Ash")
        two_lines(told.value)
        assert len(store.swings()) == 2


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="the administrator may write everywhere")
def test_a_read_only_folder_is_told(tmp_path: Path) -> None:
    path = filled(tmp_path / "a" / "library.sqlite")
    path.chmod(0o444)
    path.parent.chmod(0o555)
    try:
        with pytest.raises(OutputError) as told:
            open_store(path).ensure_player("Tobin Ash")
        two_lines(told.value)
    finally:
        path.parent.chmod(0o755)


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        (sqlite3.SQLITE_BUSY, OutputError),
        (sqlite3.SQLITE_BUSY_SNAPSHOT, OutputError),
        (sqlite3.SQLITE_FULL, OutputError),
        (sqlite3.SQLITE_READONLY_DIRECTORY, OutputError),
        (sqlite3.SQLITE_CANTOPEN, OutputError),
        (sqlite3.SQLITE_IOERR_WRITE, OutputError),
        (sqlite3.SQLITE_CORRUPT, InputError),
        (sqlite3.SQLITE_NOTADB, InputError),
        (sqlite3.SQLITE_TOOBIG, DataError),
        (None, OutputError),
    ],
)
def test_every_error_of_sqlite_is_told_in_two_lines(code: int | None, kind: type[OverlayError]) -> None:
    error = sqlite3.OperationalError("something")
    if code is not None:
        error.sqlite_errorcode = code
    told = told_error(Path("library.sqlite"), error, 3.0)
    assert type(told) is kind
    two_lines(told)


def damaged(path: Path, *tables: str) -> None:
    """The first page of some tables is overwritten, and all pages but the first one when none is named."""
    content = bytearray(path.read_bytes())
    raw = sqlite3.connect(path)
    roots = [
        raw.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()[0] for table in tables
    ]
    raw.close()
    for page in roots or range(2, len(content) // 4096 + 1):
        content[4096 * (page - 1) : 4096 * (page - 1) + 200] = b"\x55" * 200
    path.write_bytes(content)


def test_a_damaged_library_is_told_and_checked(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    damaged(path, "swings", "findings")
    with open_store(path) as store:
        with pytest.raises(InputError, match="damaged") as told:
            store.swings()
        two_lines(told.value)
        assert any("damaged" in sentence for sentence in store.check())
        with pytest.raises(InputError, match="damaged"):
            store.backup(tmp_path / "copy.sqlite")
    assert not (tmp_path / "copy.sqlite").exists()


def test_half_of_a_file_is_told(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    path.write_bytes(path.read_bytes()[: 4096 * 9])
    with pytest.raises(InputError, match="damaged") as told:
        open_store(path)
    two_lines(told.value)


def test_a_transaction_is_whole_or_not_at_all(tmp_path: Path) -> None:
    with open_store(tmp_path / "library.sqlite") as store:

        def stopped() -> None:
            with store._db.writing():
                store.ensure_player("Mara Lindqvist")
                raise RuntimeError("stop")

        with pytest.raises(RuntimeError, match="stop"):
            stopped()
        assert store.players() == ()
        with store._db.writing():
            store.ensure_player("Mara Lindqvist")
        assert len(store.players()) == 1


# --- backup and restore ---


def test_a_backup_is_the_library_in_one_file(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    copy = tmp_path / "copies" / "backup.sqlite"
    with open_store(path) as store:
        store.keep(1, clip_read("two"))  # not in the main file yet, but in the log beside it
        assert store.backup(copy) == copy
        swings = store.swings()
    assert [found.name for found in copy.parent.iterdir()] == ["backup.sqlite"]
    moved = tmp_path / "other machine" / "library.sqlite"
    restore(copy, moved)
    with open_store(moved, must_exist=True) as store:
        assert store.swings() == swings
        assert store.check() == ()


def test_nothing_is_written_over_unasked(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    copy = tmp_path / "backup.sqlite"
    with open_store(path) as store:
        store.backup(copy)
        with pytest.raises(OutputError, match="there already") as told:
            store.backup(copy)
        two_lines(told.value)
        store.keep(1, clip_read("two"))
        store.backup(copy, replace=True)
        with pytest.raises(OutputError, match="written over"):
            store.backup(path, replace=True)
    with pytest.raises(OutputError, match="a library at") as told:
        restore(copy, path)
    two_lines(told.value)
    with pytest.raises(OutputError, match="written over"):
        restore(path, path, replace=True)


def test_a_library_that_is_replaced_stays_beside_it(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    copy = tmp_path / "backup.sqlite"
    with open_store(path) as store:
        store.backup(copy)
        store.keep(1, clip_read("two"))
    restore(copy, path, replace=True)
    with open_store(path) as store:
        assert len(store.clips()) == 1
        assert store.check() == ()
        assert any("before-restore" in sentence for sentence in store.remarks())
    with open_store(tmp_path / "library.sqlite.before-restore") as store:
        assert len(store.clips()) == 2


def test_a_damaged_library_can_be_replaced(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    copy = tmp_path / "backup.sqlite"
    with open_store(path) as store:
        store.backup(copy)
    damaged(path)
    # What a program that was ended left of the damaged one.
    (tmp_path / "library.sqlite-wal").write_bytes(b"rubbish" * 1000)
    restore(copy, path, replace=True)
    with open_store(path) as store:
        assert store.check() == ()
        assert len(store.swings()) == 2


def test_a_library_in_use_is_not_replaced(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    copy = tmp_path / "backup.sqlite"
    with open_store(path) as store:
        store.backup(copy)
        store.keep(1, clip_read("two"))
        with pytest.raises(OutputError, match="in use") as told:
            restore(copy, path, replace=True, settings=IMPATIENT)
        two_lines(told.value)
        assert len(store.clips()) == 2
        assert store.check() == ()
    assert not (tmp_path / "library.sqlite.before-restore").exists()


def test_a_damaged_backup_is_refused(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    copy = tmp_path / "backup.sqlite"
    with open_store(path) as store:
        store.backup(copy)
    damaged(copy)
    with pytest.raises(InputError, match="damaged") as told:
        restore(copy, path, replace=True)
    two_lines(told.value)
    with open_store(path) as store:
        assert store.check() == ()
    with pytest.raises(InputError, match="no library in"):
        restore(tmp_path / "none.sqlite", tmp_path / "new.sqlite")


# --- forgetting ---


def full_of_traces(path: Path) -> list[str]:
    """A library with everything a person can leave in it; the words that must go."""
    mara = replace(swing_model("Best of Mara Lindqvist"), player="Mara Lindqvist")
    content = model_bytes(mara)
    with open_store(path) as store:
        for name, word in (("Mara Lindqvist", "seaweed"), ("Tobin Ash", "granite")):
            player = store.ensure_player(name, reference="Model one")
            session = store.ensure_session(
                player.id, DAY, f"{word} club", place=f"{word} place", worked_on=f"{word} work", focus="tempo_ratio"
            )
            store.keep_reference(comparison().reference_key, "Model one", REFERENCE)
            store.keep_reference(hashlib.sha256(content).hexdigest(), f"best of {'Mara Lindqvist'}, {DAY}", content)
            for i in range(4):
                read = clip_read(f"{word} {i}", swing_read(compared=comparison()), swing_read(2, 2.0, start_s=7.0))
                clip = store.keep(
                    session.id,
                    replace(
                        read, notes=(f"{word} remark",), marks=f'["{word} mark"]', told=f'{{"note": "{word} told"}}'
                    ),
                )
                swing = max(store.swings(), key=lambda swing: swing.id)
                store.keep_comparison(swing.id, comparison(0.2, content, "best of Mara Lindqvist"))
                store.add_note("swing", swing.id, f"{word} note on the swing")
                store.add_note("clip", clip.id, f"{word} note on the clip")
                store.tag("swing", swing.id, f"{word} tag")
                store.mark_best(swing.id)
            store.add_note("player", player.id, f"{word} note on the player")
            # Longer than a page: it lies in pages of its own.
            store.add_note("session", session.id, f"{word} note on the session " + f"{word} " * 2000)
            failed = replace(clip_read(f"{word} failed"), swings=(), problem=f"{word} problem", hint="x")
            store.keep(session.id, failed)
            store.remove_note(store.add_note("player", player.id, f"{word} second thoughts").id)
        store.ensure_player("Tobin Ash", reference="best:Mara Lindqvist")
    return ["Mara Lindqvist", "seaweed", digest("seaweed 1"), "/range/seaweed 1.mp4"]


def test_nothing_of_a_forgotten_player_is_left_in_any_file(tmp_path: Path) -> None:
    path = tmp_path / "library.sqlite"
    old_library(path)
    words = full_of_traces(path)
    # A copy from before the migration is there, and holds only whom it held then; one that holds her is made too.
    with open_store(path) as store:
        store.backup(tmp_path / "library.sqlite.before-something")
        assert traces(tmp_path, words), "the grep finds nothing to begin with"
        forgotten = store.forget("mara LINDQVIST")
        assert (forgotten.n_sessions, forgotten.n_clips, forgotten.n_swings) == (1, 5, 8)
        assert set(forgotten.hashes) == {digest(f"seaweed {i}") for i in (0, 1, 2, 3, "failed")}
        # At once, with the library still open, and of all its files.
        assert traces(tmp_path, words) == []
        assert copies_before(path) == []
        assert store.check() == ()
        # The other one is as he was, but for what compared him with her.
        assert store.player("Tobin Ash").reference == ""
        assert store.count_swings(SwingFilter(players=("Tobin Ash",))) == 8
        assert len(store.best("Tobin Ash")) == 4
        assert all(name != "best of Mara Lindqvist" for _, name, _ in store.references())
        with pytest.raises(InputError, match="no player"):
            store.forget("Mara Lindqvist")
    assert traces(tmp_path, words) == []
    assert traces(tmp_path, ["granite note on the swing"]) != []


def test_a_reference_is_known_by_its_content_too(tmp_path: Path) -> None:
    with open_store(tmp_path / "library.sqlite") as store:
        named = model_bytes(replace(swing_model("A swing"), player="Mara Lindqvist"))
        neutral = model_bytes(replace(swing_model("Annual middle"), player="Annika"))
        for name in ("Mara Lindqvist", "Ann", "Tobin Ash"):
            store.ensure_player(name)
        session = store.ensure_session(store.player("Tobin Ash").id, DAY)
        store.keep(session.id, clip_read())
        for content, name in ((named, "usual"), (neutral, "Annual middle")):
            store.keep_reference(hashlib.sha256(content).hexdigest(), name, content)
            store.keep_comparison(1, comparison(0.1, content, name))
        store.forget("Ann")
        assert {name for _, name, _ in store.references()} == {"usual", "Annual middle"}
        store.forget("Mara Lindqvist")
        assert {name for _, name, _ in store.references()} == {"Annual middle"}
        assert store.check() == ()


def test_a_removal_that_was_in_the_way_of_a_reader_is_finished_later(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    with open_store(path, settings=IMPATIENT) as store:
        reader = sqlite3.connect(path, isolation_level=None)
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM players").fetchone()
        with pytest.raises(OutputError, match="traces are left") as told:
            store.forget("Mara Lindqvist")
        two_lines(told.value)
        assert store.players() == ()
        assert any("traces" in sentence for sentence in store.check())
        # Opened while the reader is still there: no error, and it stays to be done.
        open_store(path, settings=IMPATIENT).close()
        reader.execute("COMMIT")
        reader.close()
    with open_store(path) as store:
        assert store.check() == ()
        assert traces(tmp_path, ["Mara Lindqvist", digest("one")]) == []


# --- the check ---


HARM: list[tuple[str, str]] = [
    ("UPDATE tracks SET content = zeroblob(length(content)) WHERE swing_id = 1", "track of swing 1 is not what"),
    ("DELETE FROM tracks WHERE swing_id = 1", "Swing 1 has no track"),
    ("DELETE FROM clips", "Swing 1 has no clip"),
    ("UPDATE clips SET n_swings = 3", "Clip 1 says it has 3 swings and has 2"),
    ("UPDATE clips SET problem = 'x'", "Clip 1 has a problem, and 2 swings"),
    ("UPDATE clips SET n_swings = 0", "Clip 1 has neither swings nor a problem"),
    ("DELETE FROM swings WHERE id = 2", "Clip 1 says it has 2 swings and has 1"),
    ("DELETE FROM positions WHERE swing_id = 1 AND place = 4", "Swing 1 has 8 positions instead of 9"),
    ("UPDATE positions SET time_s = 0.5 WHERE swing_id = 1 AND place = 4", "The top of swing 1 does not lie after the"),
    ("UPDATE measures SET value = 9e999 WHERE swing_id = 1 AND kind_id = 3", "measure measure_02 of swing 1 is inf"),
    ("UPDATE measures SET value = NULL WHERE swing_id = 1 AND kind_id = 3", "measure measure_02 of swing 1 is missing"),
    ("UPDATE measures SET low = high + 1 WHERE swing_id = 2 AND kind_id = 1", "ends before it begins"),
    ("DELETE FROM measures WHERE swing_id = 2 AND kind_id = 1", "Swing 2 says it has 22 measures and has 21"),
    ("UPDATE measures SET session_id = 9 WHERE swing_id = 2 AND kind_id = 1", "stands in another session"),
    ("DELETE FROM findings WHERE swing_id = 1 AND place = 0", "Swing 1 says it has 4 filming findings and has 3"),
    ("DELETE FROM differences WHERE cell_id = 1", "says it has 54 differences and has 53"),
    ("DELETE FROM comparisons", "A difference of swing 1 belongs to no comparison"),
    ("INSERT INTO best VALUES (77, 'now')", "Swing 77 is marked as a best one and is not there"),
    ("UPDATE swings SET session_id = 9 WHERE id = 1", "Swing 1 stands in session 9, its clip in session 1"),
    ("UPDATE sqlite_sequence SET seq = 0 WHERE name = 'swings'", "The counter of swings stands at 0, behind 2"),
    ("UPDATE players SET name = 'Someone Else'", "is filed under another name"),
    ("UPDATE sessions SET club_key = 'wood'", "is filed under another club"),
    ("UPDATE reference_models SET content = x'00'", "is not what was kept under that key"),
    ("CREATE TRIGGER bad AFTER INSERT ON notes BEGIN DELETE FROM swings; END", "holds the trigger bad"),
    ("DELETE FROM players", "belongs to a row of players that is not there"),
    ("PRAGMA user_version = 7", "The file's version is 7"),
    ("DROP INDEX measures_by_value", "lacks the index measures_by_value"),
]


@pytest.mark.parametrize(("harm", "sentence"), HARM, ids=[harm[:60] for harm, _ in HARM])
def test_the_check_finds_every_kind_of_harm(harm: str, sentence: str, tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("PRAGMA ignore_check_constraints = ON")
    raw.execute(harm)
    raw.close()
    with open_store(path) as store:
        found = store.check()
    assert any(sentence in line for line in found), found


def test_a_track_that_is_another_swing_or_no_model_is_found(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    content = b"no model"
    with open_store(path) as store:
        store._db.run(
            "UPDATE tracks SET content = ?, sha256 = ? WHERE swing_id = 2",
            (content, hashlib.sha256(content).hexdigest()),
        )
        assert any("track of swing 2" in line for line in store.check())
        assert store.check(read_tracks=False) == ()


def test_the_check_stops_at_a_readable_number_of_sentences(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    with open_store(path, settings=LibrarySettings(max_findings=5)) as store:
        store._db.run("DELETE FROM measures WHERE kind_id < 5")
        store._db.run("UPDATE tracks SET content = x'00'")
        store._db.run("PRAGMA foreign_keys = OFF")
        store._db.run("INSERT INTO best SELECT value, 'now' FROM (SELECT 70 + id AS value FROM kinds)")
        found = store.check()
    assert len(found) == 6
    assert found[-1].endswith("more.")


def test_old_unfinished_copies_are_found_and_young_ones_left_alone(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    left = tmp_path / ".library.abc.part.sqlite"
    left.write_bytes(b"half")
    with open_store(path) as store:
        assert store.check() == ()
        os.utime(left, (1e9, 1e9))
        assert any(".library.abc.part.sqlite" in line for line in store.check())


def test_what_is_no_fault_is_a_remark(tmp_path: Path) -> None:
    path = filled(tmp_path / "library.sqlite")
    with open_store(path) as store:
        store.keep_comparison(1, comparison(0.1, b"never kept", "Model nine"))
        assert store.check() == ()
        said = store.remarks()
    assert any("one.mp4 (session 1, 2031-05-04) is not there any more" in line for line in said)
    assert any("Model nine" in line for line in said)
    with open_store(path) as store, pytest.raises(InputError, match="Model nine itself is not"):
        store.reference(comparison(content=b"never kept").reference_key)


def test_a_reference_under_a_wrong_key_is_refused(tmp_path: Path) -> None:
    with open_store(tmp_path / "library.sqlite") as store, pytest.raises(DataError, match="key of the reference"):
        store.keep_reference("0" * 64, "Model", b"content")


def test_a_connection_waits_for_its_turn(tmp_path: Path) -> None:
    """Two connections of one thread: the second begins when the first has ended, and not before."""
    path = filled(tmp_path / "library.sqlite")
    one, two = Connection(path), Connection(path, IMPATIENT)
    with one.writing():
        one.run("UPDATE players SET stature_cm = 170")
        with pytest.raises(OutputError, match="in use"), two.writing():
            pass
    with two.writing():
        assert two.one("SELECT stature_cm FROM players") == (170.0,)
    one.close()
    two.close()
    two.close()


def test_the_store_is_one_object(tmp_path: Path) -> None:
    with open_store(tmp_path / "library.sqlite") as store:
        assert isinstance(store, Store)


@pytest.mark.skipif(os.name == "nt", reason="rights of this kind are those of POSIX")
def test_nobody_else_on_the_machine_may_read_a_library_its_backup_or_what_is_restored(tmp_path: Path) -> None:
    path, copy, back = tmp_path / "library.sqlite", tmp_path / "copy.sqlite", tmp_path / "back.sqlite"
    with open_store(path) as store:
        store.ensure_player("Wren Halloway")
        assert {found.name: found.stat().st_mode & 0o077 for found in tmp_path.iterdir()} == dict.fromkeys(
            ("library.sqlite", "library.sqlite-wal", "library.sqlite-shm"), 0
        )
        store.backup(copy)
    restore(copy, back)
    assert [one.stat().st_mode & 0o777 for one in (path, copy, back)] == [0o600] * 3
