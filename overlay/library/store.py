"""The store: one object for everything that is kept."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType

from overlay.errors import InputError, OutputError
from overlay.files import atomic_path, output_error, refuse_to_overwrite
from overlay.library.checking import Checking
from overlay.library.clips import Clips
from overlay.library.connection import Connection
from overlay.library.forgetting import Forgetting, finish_wipe
from overlay.library.notes import Notes
from overlay.library.opening import OWNER_ALONE, connect, copy_to, default_path, followed, usable
from overlay.library.series import SeriesPart
from overlay.settings.library import LibrarySettings


class Store(Clips, SeriesPart, Notes, Forgetting, Checking):
    """The library, opened. Used by one thread; other programs may have it open at the same time.

    Everything that changes it is one transaction: done whole, or not at all. Close it, or use it in a ``with``.
    """

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file; twice is no harm."""
        self._db.close()

    def backup(self, path: Path, replace: bool = False) -> Path:
        """Write a complete copy of the library into one file, verified before it bears its name.

        Other programs may go on adding meanwhile; the copy is of one moment.

        Raises
        ------
        OutputError
            The file is there and must not be replaced, is the library itself, or cannot be written.
        InputError
            The library is damaged.
        """
        path = Path(path)
        refuse_to_overwrite([path], [self.path])
        if path.exists() and not replace:
            raise OutputError(f"{path} is there already.", "Choose another name, or say that it may be replaced.")
        if path.is_dir():
            raise OutputError(f"{path} is a folder.", "Give the name of a file.")
        copy_to(self._db, path)
        return path


def open_store(path: Path | None = None, *, must_exist: bool = False, settings: LibrarySettings | None = None) -> Store:
    """Open the library, and make it when there is none.

    Parameters
    ----------
    path : Path or None
        None: ``default_path()``.
    must_exist : bool
        Whether a library that is not there is an error instead of being made.
    settings : LibrarySettings or None

    Raises
    ------
    InputError
        There is none where it must exist; the file is no library, is damaged, or was made by a newer overlay. It is
        left as it is.
    OutputError
        It cannot be written, or another program holds it for too long.
    """
    db = connect(Path(path) if path is not None else default_path(), must_exist=must_exist, settings=settings)
    try:
        finish_wipe(db)
    except BaseException:
        db.close()
        raise
    return Store(db)


def open_copy(path: Path) -> Store:
    """Open a backup for reading alone: it stays byte for byte what it was, and no file appears beside it.

    Raises
    ------
    InputError
        It is no sound library of a version this overlay knows.
    OutputError
        It cannot be opened.
    """
    path = Path(path)
    usable(path)
    return Store(Connection(path, writable=False))


def restore(
    backup: Path, path: Path | None = None, replace: bool = False, *, settings: LibrarySettings | None = None
) -> Path:
    """Bring a backup to the place of the library, whole or not at all.

    A library that is replaced stays beside it as ``NAME.before-restore``.

    Parameters
    ----------
    backup : Path
    path : Path or None
        None: ``default_path()``.
    replace : bool
        Whether a library that is there may be replaced.
    settings : LibrarySettings or None

    Raises
    ------
    InputError
        The backup is no sound library of a version this overlay knows.
    OutputError
        There is a library and it must not be replaced, another program has it open, or the place cannot be written.
    """
    backup = Path(backup)
    path = followed(Path(path) if path is not None else default_path())
    usable(backup)
    refuse_to_overwrite([path], [backup])
    there = path.exists()
    if there and not replace:
        raise OutputError(f"There is a library at {path} already.", "Say that it may be replaced.")
    if path.is_dir():
        raise OutputError(f"{path} is a folder.", "Give the name of a file.")
    with atomic_path(path, OWNER_ALONE) as temporary:
        source = Connection(backup, writable=False)
        try:
            copy_to(source, temporary)
        finally:
            source.close()
        if there:
            _set_aside(path, settings)
    return path


def _set_aside(path: Path, settings: LibrarySettings | None) -> None:
    """Make a library ready to be replaced: nothing of it lies in other files, and a second name keeps it."""
    import os

    try:
        db = Connection(path, settings)
        try:
            # Works only when no other program has it open; takes the write-ahead log away.
            db.one("PRAGMA wal_checkpoint(TRUNCATE)")
            mode = db.one("PRAGMA journal_mode = DELETE")
        finally:
            db.close()
        if mode != ("delete",):
            raise OutputError(f"The library {path} is in use by another program.", "End that program, then again.")
    except InputError:
        # Damaged: what lies beside it belongs to it, and would ruin what comes in its place.
        pass
    aside = path.with_name(f"{path.name}.before-restore")
    try:
        for ending in ("-wal", "-shm", "-journal"):
            beside = path.with_name(path.name + ending)
            if beside.exists():
                os.replace(beside, aside.with_name(aside.name + ending))
        aside.unlink(missing_ok=True)
        os.link(path, aside)
    except OSError as error:
        raise output_error(aside, error) from error
