"""Safe writing and hashing of files. Everything that is saved goes through here."""

from __future__ import annotations

import errno
import hashlib
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from overlay.errors import InputError, OutputError


def output_error(path: Path, error: OSError) -> OutputError:
    """Turn an operating-system error met while writing ``path`` into one a user can act on."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return OutputError(f"The disk is full; {path} was not written.", "Free some space or choose another folder.")
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return OutputError(f"{path} cannot be written: no permission.", "Choose a folder you can write to with --out.")
    if error.errno in (errno.ENOTDIR, errno.EEXIST, errno.EISDIR):
        return OutputError(
            f"{path} cannot be written: a file or folder of that name is in the way.", "Choose another --out."
        )
    return OutputError(f"{path} cannot be written: {error.strerror or error}.", "Choose another folder with --out.")


@contextmanager
def atomic_path(path: Path) -> Iterator[Path]:
    """Give a temporary path beside ``path``; on success it is renamed over ``path``, else removed.

    The suffix is kept, since encoders choose the container by it.

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
        yield temporary
        with open(temporary, "rb") as written:
            os.fsync(written.fileno())
        umask = os.umask(0)
        os.umask(umask)
        temporary.chmod(0o666 & ~umask)
        os.replace(temporary, path)
    except OSError as error:
        # PyAV's errors are OSErrors too; only what the file system says is ours to translate.
        raise output_error(path, error) from error
    finally:
        if temporary is not None:
            temporary.unlink(missing_ok=True)


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
