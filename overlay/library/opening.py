"""Opening a library: whose file it is, the tables it needs, and the migrations it still lacks."""

from __future__ import annotations

import os
import sqlite3
import struct
from collections.abc import Sequence
from pathlib import Path

from overlay.errors import InputError, OverlayError
from overlay.files import atomic_path, output_error
from overlay.library.connection import Connection, told_error
from overlay.library.schema import APPLICATION_ID, APPLIED, MIGRATIONS, Migration, fit
from overlay.library.words import now
from overlay.models import tidy
from overlay.settings.library import LibrarySettings

VARIABLE = "OVERLAY_LIBRARY"
NAME = "library.sqlite"
OWNER_ALONE = 0o600
"""How people move is their own: nobody else on the machine may read it."""

_MAGIC = b"SQLite format 3\0"
_HEADER = 100


def default_path() -> Path:
    """``OVERLAY_LIBRARY``, else ``library.sqlite`` in the platform's place for a user's data."""
    import platformdirs

    told = os.environ.get(VARIABLE)
    return Path(told).expanduser() if told else Path(platformdirs.user_data_dir("overlay", appauthor=False)) / NAME


def followed(path: Path) -> Path:
    """The file itself where the path is a link to it: what belongs to a library lies beside the file."""
    path = Path(path)
    return path.resolve() if path.is_symlink() else path


def copies_before(path: Path) -> list[Path]:
    """The copies that were made before a migration or a restore, oldest name first."""
    path = Path(path)
    try:
        return sorted(found for found in path.parent.iterdir() if found.name.startswith(f"{path.name}.before-"))
    except OSError:
        return []


def look(path: Path) -> bool:
    """Whether there is a library to open; False when there is no file yet, or an empty one. Nothing is changed.

    Raises
    ------
    InputError
        The file is something else, or cannot be read.
    """
    hint = "Name another file with --library or OVERLAY_LIBRARY."
    try:
        if path.is_dir():
            raise InputError(f"{path} is a folder, no library.", hint)
        if path.exists() and not path.is_file():
            raise InputError(f"{path} is no file.", hint)
        with open(path, "rb") as source:
            header = source.read(_HEADER)
    except FileNotFoundError:
        return False
    except OSError as error:
        raise InputError(f"The library {path} cannot be read: {error.strerror or error}.", hint) from error
    except ValueError as error:
        raise InputError(f"{str(path)!a} is no name a file can have.", hint) from error
    if not header:
        return False
    if not header.strip(b"\0") and path.with_name(f"{path.name}-journal").exists():
        # The making of it was interrupted by a power cut; SQLite takes it back to an empty file.
        return False
    if not header.startswith(_MAGIC) or len(header) < _HEADER:
        raise InputError(f"{path} is no library of overlay.", hint)
    (made_by,) = struct.unpack(">I", header[68:72])
    if made_by != APPLICATION_ID:
        raise InputError(f"{path} belongs to another program.", hint)
    return True


def connect(
    path: Path,
    *,
    must_exist: bool = False,
    settings: LibrarySettings | None = None,
    migrations: Sequence[Migration] = MIGRATIONS,
) -> Connection:
    """A connection to the library at ``path``, made or brought to this version as needed.

    Raises
    ------
    InputError
        There is none where it must exist, it is no library, damaged, or made by a newer overlay; it is left as it is.
    OutputError
        It cannot be written, or another program holds it for too long.
    """
    path = followed(path)
    exists = look(path)
    if not exists:
        if must_exist:
            raise InputError(f"There is no library at {path} yet.", "`overlay add FOLDER --player NAME` begins one.")
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            # SQLite gives its own files beside it the same rights.
            os.close(os.open(path, os.O_CREAT | os.O_WRONLY, OWNER_ALONE))
        except OSError as error:
            raise output_error(path, error) from error
    db = Connection(path, settings)
    try:
        if _lacking(db, migrations):
            _migrate(db, migrations)
        _write_ahead(db)
    except BaseException:
        db.close()
        raise
    return db


def applied(db: Connection) -> list[str]:
    """Names of the migrations the library has, in order; empty for a new file."""
    if not db.number("SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'migrations'"):
        return []
    return [row[0] for row in db.rows("SELECT name FROM migrations ORDER BY name")]


def check_known(path: Path, have: Sequence[str], migrations: Sequence[Migration] = MIGRATIONS) -> None:
    """Refuse a library of a newer overlay.

    Raises
    ------
    InputError
        It has a migration that this version does not know.
    """
    known = [migration.name for migration in migrations]
    strange = sorted(set(have) - set(known))
    if strange:
        raise InputError(
            f"The library {path} was made by a newer overlay ({strange[0]}); it was left as it is.",
            "Install the newer overlay, or choose another library with --library.",
        )
    if list(have) != known[: len(have)]:
        raise InputError(f"The library {path} lacks a step of its making.", "Restore a backup of it.")


def _lacking(db: Connection, migrations: Sequence[Migration]) -> list[Migration]:
    have = applied(db)
    check_known(db.path, have, migrations)
    return list(migrations[len(have) :])


def _migrate(db: Connection, migrations: Sequence[Migration]) -> None:
    """All migrations that are lacking, with the rows that name them, together or not at all."""
    with db.writing():
        # Another program may have done it while this one waited for the lock.
        lacking = _lacking(db, migrations)
        have = applied(db)
        if not have:
            if db.number("SELECT count(*) FROM sqlite_master"):
                raise InputError(f"{db.path} belongs to another program.", "Name another file with --library.")
            db.run(f"PRAGMA application_id = {APPLICATION_ID}")
            db.run(fit(APPLIED))
        elif lacking and db.number("SELECT (SELECT count(*) FROM players) + (SELECT count(*) FROM clips)"):
            _copy_first(db, lacking[0])
        for migration in lacking:
            for statement in migration.statements:
                db.run(fit(statement))
            db.run("INSERT INTO migrations (name, applied_at) VALUES (?, ?)", (migration.name, now()))
        db.run(f"PRAGMA user_version = {len(have) + len(lacking)}")


def _copy_first(db: Connection, migration: Migration) -> None:
    """A verified copy beside the library before its content is touched. Called with the lock to write."""
    copy = db.path.with_name(f"{db.path.name}.before-{migration.name}")
    # Whoever holds the lock is alone here: these were left by a program that was ended.
    for left in leftovers(db.path, "before-"):
        left.unlink(missing_ok=True)
    if copy.exists():
        return
    # A connection of its own reads what was committed; nothing else is in the library while the lock is held.
    source = Connection(db.path, db.settings, writable=False)
    try:
        copy_to(source, copy)
    finally:
        source.close()


def leftovers(path: Path, kind: str = "") -> list[Path]:
    """Unfinished copies beside the library."""
    path = Path(path)
    try:
        return sorted(
            found
            for found in path.parent.iterdir()
            if found.name.startswith(".")
            and found.name.lstrip(".").startswith(path.stem[:40])
            and f".part.{kind}" in found.name
        )
    except OSError:
        return []


def _write_ahead(db: Connection) -> None:
    """Readers and one writer at a time without waiting for each other.

    Only now: the file's header must name its owner before there can be a second file beside it.
    """
    mode = db.one("PRAGMA journal_mode")
    if mode != ("wal",):
        db.one("PRAGMA journal_mode = WAL")


def copy_to(db: Connection, path: Path, *, replace: bool = True) -> None:
    """A complete copy of the library in one file, verified before it bears its name.

    Raises
    ------
    OutputError
        It cannot be written, the disk is full, or a file of that name is there and must not be replaced.
    InputError
        The library is damaged, so that its copy is too.
    """
    with atomic_path(path, OWNER_ALONE) as temporary:
        try:
            target = sqlite3.connect(temporary, isolation_level=None)
        except sqlite3.Error as error:
            raise told_error(path, error) from error
        try:
            db.raw.backup(target, pages=db.settings.backup_pages, sleep=0.001)
            # One file that needs no other beside it.
            target.execute("PRAGMA journal_mode = DELETE")
            found = target.execute("PRAGMA integrity_check(1)").fetchone()
        except sqlite3.Error as error:
            raise told_error(path, error) from error
        finally:
            target.close()
        if found != ("ok",):
            raise InputError(
                f"The library {db.path} is damaged: {tidy(str(found and found[0]), 200)}.", "`overlay check` says more."
            )


def strangers(db: Connection) -> list[str]:
    """Triggers and views: overlay makes none, and they would run while it writes."""
    return [
        f"the {kind} {tidy(name, 60)}"
        for kind, name in db.rows(
            "SELECT type, name FROM sqlite_master WHERE type IN ('trigger', 'view') ORDER BY name"
        )
    ]


def usable(path: Path) -> None:
    """Refuse a file that is no sound library of a version this overlay knows. Nothing is changed.

    Raises
    ------
    InputError
    """
    if not look(path):
        raise InputError(f"There is no library in {path}.", "Give the name of a backup.")
    db = Connection(path, writable=False)
    try:
        check_known(path, applied(db))
        found = db.one("PRAGMA integrity_check(1)")
        if found != ("ok",):
            raise InputError(f"{path} is damaged: {tidy(str(found and found[0]), 200)}.", "Use another backup.")
        if strange := strangers(db):
            raise InputError(f"{path} holds {strange[0]}, which overlay never made.", "Use another backup.")
    except OverlayError as error:
        if isinstance(error, InputError):
            raise
        raise InputError(error.message, "Use another backup.") from error
    finally:
        db.close()
