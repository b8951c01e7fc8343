"""One connection to the library's file: patience with other programs, transactions, errors a user can act on."""

from __future__ import annotations

import contextlib
import sqlite3
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from overlay.errors import DataError, InputError, OutputError, OverlayError
from overlay.settings.library import LibrarySettings

T = TypeVar("T")
Row = tuple[Any, ...]

DAMAGED = "Restore a backup of it (docs/library.md), or choose another library with --library."


def told_error(path: Path, error: sqlite3.Error, patience_s: float = 0.0) -> OverlayError:
    """An error of SQLite met while ``path`` was read or written, as one a user can act on."""
    code = getattr(error, "sqlite_errorcode", None)
    # The low byte is the kind, the rest says more about it.
    kind = (code & 0xFF) if isinstance(code, int) else None
    said = " ".join(str(error).split())
    waited = f" for {patience_s:.0f} s" if patience_s else ""
    if kind in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return OutputError(
            f"The library {path} has been in use by another program{waited}.",
            "Wait until that one is done, then again.",
        )
    if kind == sqlite3.SQLITE_FULL:
        return OutputError(
            f"The disk is full; nothing was changed in the library {path}.", "Free some space, then do it again."
        )
    if kind in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH):
        return OutputError(
            f"The library {path} cannot be written: no permission.",
            "Make the file and its folder writable, or choose another library with --library.",
        )
    if kind == sqlite3.SQLITE_CANTOPEN:
        return OutputError(
            f"The library {path} cannot be opened.", "Check that its folder is there and can be written to."
        )
    if kind in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return InputError(f"The library {path} is damaged: {said}.", DAMAGED)
    if kind == sqlite3.SQLITE_IOERR:
        return OutputError(
            f"The disk does not read or write the library {path}: {said}.",
            "Check the disk; restore a backup if need be.",
        )
    if kind == sqlite3.SQLITE_TOOBIG:
        return DataError(f"Something is too large for the library {path}.", "Leave it out.")
    if isinstance(error, sqlite3.IntegrityError):
        return DataError(f"The library refuses what contradicts itself: {said}.", "Check what was to be kept.")
    if kind == sqlite3.SQLITE_ERROR and "no such" in str(error):
        return InputError(f"The library {path} lacks a part of itself: {said}.", DAMAGED)
    return OutputError(f"The library {path} could not be used: {said}.", "`overlay check` says more about it.")


def is_busy(error: sqlite3.Error) -> bool:
    """Whether another program holds what is needed, which passes."""
    code = getattr(error, "sqlite_errorcode", None)
    return isinstance(code, int) and (code & 0xFF) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


class Connection:
    """SQLite by the few verbs the library needs. Used by one thread.

    Parameters
    ----------
    path : Path
    settings : LibrarySettings
    writable : bool
        False: the file is opened for reading alone.

    Raises
    ------
    OutputError, InputError
        It cannot be opened.
    """

    def __init__(self, path: Path, settings: LibrarySettings | None = None, *, writable: bool = True) -> None:
        self.path = Path(path)
        self.settings = settings or LibrarySettings()
        self._depth = 0
        mode = "rwc" if writable else "ro"
        name = f"{self.path.absolute().as_uri()}?mode={mode}"
        try:
            self.raw = sqlite3.connect(name, uri=True, timeout=self.settings.busy_step_s, isolation_level=None)
        except sqlite3.Error as error:
            raise told_error(self.path, error) from error
        try:
            self.run("PRAGMA foreign_keys = ON")
            self.run(f"PRAGMA cache_size = {-1024 * self.settings.cache_mb}")
            self.run("PRAGMA secure_delete = ON")
            # A file that came from somewhere else may hold more than tables.
            self.run("PRAGMA trusted_schema = OFF")
            self.run("PRAGMA cell_size_check = ON")
            # Every commit reaches the disk: a reading that was told as kept survives a power cut too.
            self.run("PRAGMA synchronous = FULL")
        except OverlayError:
            self.close()
            raise

    def close(self) -> None:
        """Let go of the file; twice is no harm."""
        try:
            self.raw.close()
        except sqlite3.Error as error:
            raise told_error(self.path, error) from error

    def patiently(self, step: Callable[[], T]) -> T:
        """Do ``step``; try again while another program is in the way, for as long as the settings say."""
        deadline = time.monotonic() + self.settings.patience_s
        while True:
            try:
                return step()
            except sqlite3.Error as error:
                # Inside a transaction a retry of one statement would not be the same as before.
                if not is_busy(error) or self._depth or time.monotonic() >= deadline:
                    raise told_error(self.path, error, self.settings.patience_s) from error
                time.sleep(0.005)
            except (UnicodeEncodeError, OverflowError) as error:
                raise DataError(f"The library cannot keep this text or number: {error}.", "Leave it out.") from error

    def rows(self, sql: str, values: Sequence[Any] = ()) -> list[Row]:
        """All rows of a query."""
        return self.patiently(lambda: self.raw.execute(sql, values).fetchall())

    def table(self, sql: str, values: Sequence[Any], dtype: np.dtype[Any]) -> np.ndarray[Any, np.dtype[Any]]:
        """All rows of a query as a structured array, NULL as NaN: twice as fast as tuples where there are many."""
        return self.patiently(lambda: np.fromiter(self.raw.execute(sql, values), dtype))

    def one(self, sql: str, values: Sequence[Any] = ()) -> Row | None:
        """The first row of a query, None when there is none."""
        return self.patiently(lambda: self.raw.execute(sql, values).fetchone())

    def number(self, sql: str, values: Sequence[Any] = ()) -> int:
        """The single whole number a query gives."""
        row = self.one(sql, values)
        return int(row[0] or 0) if row is not None else 0

    def run(self, sql: str, values: Sequence[Any] = ()) -> int:
        """Run a statement; the id of a row that it put in."""
        return self.patiently(lambda: self.raw.execute(sql, values).lastrowid) or 0

    def run_many(self, sql: str, rows: Iterable[Sequence[Any]]) -> None:
        """Run a statement once for each of ``rows``."""
        found = list(rows)
        self.patiently(lambda: self.raw.executemany(sql, found))

    @contextmanager
    def writing(self) -> Iterator[None]:
        """All or nothing. The lock is taken at the start, so that what was read inside is still so at the end."""
        with self._transaction("BEGIN IMMEDIATE"):
            yield

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Several queries of one state of the library, whatever other programs write meanwhile."""
        with self._transaction("BEGIN", "SELECT 1 FROM sqlite_master LIMIT 1"):
            yield

    @contextmanager
    def _transaction(self, *begin: str) -> Iterator[None]:
        if self._depth:
            # Part of the one that is open: it ends as a whole.
            yield
            return
        self.patiently(lambda: self._begin(begin))
        self._depth = 1
        try:
            yield
            self._commit()
        except BaseException:
            self._roll_back()
            raise
        finally:
            self._depth = 0

    def _begin(self, statements: Sequence[str]) -> None:
        """Begin, and take the lock or the state that is read, so that no later statement has to wait for it."""
        try:
            for statement in statements:
                self.raw.execute(statement).fetchall()
        except sqlite3.Error:
            self._roll_back()
            raise

    def _roll_back(self) -> None:
        # Some errors end the transaction by themselves. What cannot be rolled back now is when the file is opened next.
        with contextlib.suppress(sqlite3.Error):
            if self.raw.in_transaction:
                self.raw.rollback()

    def _commit(self) -> None:
        try:
            self.raw.execute("COMMIT")
        except sqlite3.Error as error:
            raise told_error(self.path, error, self.settings.patience_s) from error
