"""Safe writing and hashing of files. Everything that is saved goes through here."""

from __future__ import annotations

import errno
import hashlib
import itertools
import os
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from overlay.errors import InputError, OutputError

# The umask belongs to the whole process and is read by setting it: done once, before there are threads.
_UMASK = os.umask(0)
os.umask(_UMASK)


def output_error(path: Path, error: OSError) -> OutputError:
    """Turn an operating-system error met while writing ``path`` into one a user can act on."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return OutputError(f"The disk is full; {path} was not written.", "Free some space or choose another folder.")
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return OutputError(f"{path} cannot be written: no permission.", "Choose a folder you can write to.")
    if error.errno in (errno.ENOTDIR, errno.EEXIST, errno.EISDIR):
        return OutputError(
            f"{path} cannot be written: a file or folder of that name is in the way.", "Choose another name for it."
        )
    return OutputError(f"{path} cannot be written: {error.strerror or error}.", "Choose another folder.")


_temporaries: set[Path] = set()


def remove_temporaries() -> None:
    """Remove what this process is writing just now: for one that must end at once and leave nothing half-written."""
    for temporary in tuple(_temporaries):
        with suppress(OSError):
            temporary.unlink(missing_ok=True)


@contextmanager
def atomic_path(path: Path, mode: int = 0o666) -> Iterator[Path]:
    """Give a temporary path beside ``path``; on success it is renamed over ``path``, else removed.

    The suffix is kept, since encoders choose the container by it. ``mode`` is who may read and write it, less what the
    user's umask takes away.

    Raises
    ------
    OutputError
        The folder cannot be made or written, or the disk is full.
    """
    path = Path(path)
    temporary: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.stem[:40]}.", suffix=f".part{path.suffix}", dir=path.parent)
        os.close(handle)
        temporary = Path(name)
        _temporaries.add(temporary)
        yield temporary
        with open(temporary, "rb") as written:
            os.fsync(written.fileno())
        temporary.chmod(mode & ~_UMASK)
        os.replace(temporary, path)
    except OSError as error:
        # PyAV's errors are OSErrors too; only what the file system says is ours to translate.
        raise output_error(path, error) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)
            _temporaries.discard(temporary)


def refuse_to_overwrite(outputs: Iterable[Path], inputs: Iterable[Path]) -> None:
    """Refuse outputs that are an input, lie among the pictures of an input folder, or fall together.

    Raises
    ------
    OutputError
        An output would destroy the clip it is made from, or another output.
    """
    inputs, outputs = tuple(inputs), tuple(outputs)
    for one, other in itertools.combinations(outputs, 2):
        if _same_place(one, other):
            raise OutputError(f"Two results would be written to {one}.", "Give each its own name.")
    for output in outputs:
        for clip in inputs:
            if _same_place(output, clip) or (clip.is_dir() and _same_place(output.parent, clip)):
                raise OutputError(
                    f"{output} would be written over or into {clip.name}, which it is made from.",
                    "Choose another name for it.",
                )


def _same_place(one: Path, other: Path) -> bool:
    if one.resolve() == other.resolve():
        return True
    try:
        # Names that differ in case alone are one file on some systems.
        return one.samefile(other)
    except OSError:
        return False


def check_writable(outputs: Iterable[Path]) -> None:
    """Refuse outputs that cannot be written, as far as that shows before the work and without making anything.

    Raises
    ------
    OutputError
        A file is in the way of a folder or a folder in the way of a file, or there is no permission.
    """
    for output in outputs:
        try:
            if output.is_dir():
                raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
            folder = next(at for at in output.absolute().parents if at.exists() or at.is_symlink())
            if not folder.is_dir():
                raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR))
            if not os.access(folder, os.W_OK | os.X_OK):
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        except OSError as error:
            raise output_error(output, error) from error


def write_bytes(path: Path, content: bytes) -> None:
    """Write ``content`` to ``path``, whole or not at all."""
    with atomic_path(path) as temporary:
        temporary.write_bytes(content)


def write_text(path: Path, content: str) -> None:
    """Write ``content`` as UTF-8 to ``path``, whole or not at all."""
    write_bytes(path, content.encode("utf-8"))


def sha256_of(path: Path) -> str:
    """Hex SHA-256 of the content of ``path``, read in blocks.

    Raises
    ------
    InputError
        The file cannot be read.
    """
    digest = hashlib.sha256()
    try:
        with open(path, "rb") as source:
            while block := source.read(1 << 20):
                digest.update(block)
    except OSError as error:
        raise InputError(
            f"{path} cannot be read: {error.strerror or error}.", "Check the name and the permissions."
        ) from error
    return digest.hexdigest()


def has_content(path: Path, content_hash: str, size_bytes: int) -> bool:
    """Whether ``path`` is a file that can be read and has this SHA-256; only one of the right size is read for it."""
    try:
        return path.is_file() and path.stat().st_size == size_bytes and sha256_of(path) == content_hash
    except (InputError, OSError, ValueError):
        return False


@contextmanager
def locked_folder(folder: Path) -> Iterator[None]:
    """Hold off other processes that ask for the same folder, which leaves no file behind.

    Where the system has no such locks, or the folder is on a disk that cannot lock, nothing is held: the last one to
    save wins, and every file is whole in any case.
    """
    handle = _lock(folder)
    try:
        yield
    finally:
        if handle is not None:
            os.close(handle)


def _lock(folder: Path) -> int | None:
    try:
        import fcntl
    except ImportError:  # Windows
        return None
    handle = None
    try:
        handle = os.open(folder, os.O_RDONLY)
        fcntl.flock(handle, fcntl.LOCK_EX)
        return handle
    except OSError:
        if handle is not None:
            os.close(handle)
        return None
