"""The worker's side of a cluster: takes a clip in pieces, reads it in a process of its own, gives back plain values.

Everything here runs in the process of a Dask worker, called by ``cluster``. The clip itself is read by a ``LocalPool``
of one process, exactly as at home: the same number of threads, and native code that crashes takes no worker along.
Clips lie in private folders (mode 700) below the worker's own directory, for as long as they are read and no longer.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

from overlay.batch.engine import engine
from overlay.batch.jobs import ReadJob
from overlay.batch.plain import plain_of
from overlay.batch.pool import LocalPool
from overlay.settings.cluster import ClusterSettings

PREFIX = "overlay-clip-"
CACHE_PREFIX = "overlay-cache-"


@dataclass
class _Place:
    """Where one clip lies."""

    folder: Path
    path: Path
    until: float
    """On the monotonic clock; later it may be taken away. Infinite while the clip is read."""


_places: dict[str, _Place] = {}
_lock = threading.Lock()
_reading = threading.Lock()
_pool: LocalPool | None = None
_cache: Path | None = None
_timer: threading.Timer | None = None


def describe() -> dict[str, str]:
    """What this worker would read clips with."""
    from overlay import __version__
    from overlay.batch.engine import _pose_label

    return {"version": __version__, "engine": engine(), "pose": _pose_label()}


def is_visible(path: str, size_bytes: int) -> bool:
    """Whether a file of that name and size is here too, so that it need not be sent. Its hash is compared later."""
    try:
        return os.stat(path).st_size == size_bytes
    except (OSError, ValueError):
        return False


def make_place(
    token: str, name: str, size_bytes: int, marks: bytes | None, settings: ClusterSettings, dask_worker: Any = None
) -> str:
    """Make room for a clip.

    Parameters
    ----------
    token : str
        What the clip is called until it has been read.
    name : str
        Its file name; the copy is called the same.
    size_bytes : int
    marks : bytes or None
        Content of the marks file beside it.

    Returns
    -------
    str
        "" or, in a few words, why there is no room.
    """
    from overlay.marks import marks_path

    _sweep()
    base = Path(getattr(dask_worker, "local_directory", None) or tempfile.gettempdir())
    try:
        if shutil.disk_usage(base).free < size_bytes + settings.spare_bytes:
            return "its disk is full"
        folder = Path(tempfile.mkdtemp(prefix=PREFIX, dir=base))
        path = folder / _bare(name)
        with _lock:
            _places[token] = _Place(folder, path, time.monotonic() + settings.lease_s)
        # Should its coach go away, nobody else would ask for it.
        _sweep_in(settings.lease_s)
        path.touch(0o600)
        if marks is not None:
            marks_path(path).write_bytes(marks)
    except OSError as error:
        drop(token)
        return f"it cannot write the clip ({error.strerror or error})"
    return ""


def add_piece(token: str, at: int, content: bytes, settings: ClusterSettings) -> str:
    """Write ``content`` at byte ``at`` of the clip. Returns "" or, in a few words, why not."""
    with _lock:
        place = _places.get(token)
        if place is None:
            return "it has lost the clip"
        place.until = time.monotonic() + settings.lease_s
    try:
        with open(place.path, "r+b") as out:
            out.seek(at)
            out.write(content)
    except OSError as error:
        return f"it cannot write the clip ({error.strerror or error})"
    return ""


def keep(token: str, settings: ClusterSettings) -> None:
    """The clip is still wanted: its turn has not come."""
    with _lock:
        place = _places.get(token)
        if place is not None:
            place.until = max(place.until, time.monotonic() + settings.lease_s)


def drop(token: str) -> None:
    """Take a clip away; nothing when it is not here."""
    with _lock:
        place = _places.pop(token, None)
    if place is not None:
        shutil.rmtree(place.folder, ignore_errors=True)


def read_placed(token: str, told: Mapping[str, Any], visible: str) -> dict[str, Any]:
    """Read the clip that was sent, or the one that is visible here under the coach's own path.

    Parameters
    ----------
    token : str
    told : mapping
        The fields of the ``ReadJob``, its path as text.
    visible : str
        Path of the file to read in its place; "" when it was sent.

    Returns
    -------
    dict
        ``read``: ``plain_of`` the result, with the coach's own path in every sentence. Or ``send``: the file that is
        visible here is another one. Or ``lost``: the clip that was sent is not here, or not whole, and why.
    """
    from overlay.batch.engine import inputs_of
    from overlay.errors import OverlayError
    from overlay.files import sha256_of

    with _lock:
        place = _places.get(token)
        if place is not None:
            place.until = float("inf")
    if not visible and place is None:
        return {"lost": "it has lost the clip"}
    path = Path(visible) if place is None else place.path
    fields = {name: value for name, value in told.items() if name != "path"}
    job = ReadJob(path=path, **fields)
    try:
        try:
            same = sha256_of(path) == job.content_hash
        except OverlayError:
            same = False
        if place is None and not (same and (not job.inputs or inputs_of(path, job.options) == job.inputs)):
            return {"send": True}
        if not same:
            return {"lost": "the clip did not arrive whole"}
        read = plain_of(_read(job))
    finally:
        drop(token)
    return {"read": read if place is None else _renamed(read, place, str(told["path"]))}


def _read(job: ReadJob) -> Any:
    global _pool, _cache
    # One clip at a time in each worker, however many threads it was started with.
    with _reading:
        if _pool is None:
            _cache = Path(tempfile.mkdtemp(prefix=CACHE_PREFIX, dir=_own_directory()))
            _pool = LocalPool(1, cores=1, environment={"OVERLAY_CACHE_DIR": str(_cache)})
        try:
            (read,) = _pool.run([job])
        finally:
            # What is found of a pose is kept between runs on the coach's machine alone.
            for kept in list(_cache.iterdir()) if _cache is not None and _cache.is_dir() else ():
                shutil.rmtree(kept, ignore_errors=True)
    return read


def _own_directory() -> Path:
    """The folder of this Dask worker, which goes with it."""
    try:
        import distributed

        return Path(distributed.get_worker().local_directory)
    except (ImportError, ValueError):  # no worker of Dask's
        return Path(tempfile.gettempdir())


def _renamed(plain: Any, place: _Place, path: str) -> Any:
    """``plain`` with the coach's path wherever a sentence names the copy's."""
    if isinstance(plain, str):
        windows = "\\" in path and "/" not in path
        parent = str((PureWindowsPath if windows else PurePosixPath)(path).parent)
        return plain.replace(str(place.path), path).replace(str(place.folder), parent)
    if isinstance(plain, list):
        return [_renamed(one, place, path) for one in plain]
    if isinstance(plain, dict):
        return {name: _renamed(one, place, path) for name, one in plain.items()}
    return plain


def _bare(name: str) -> str:
    """A file name without any folder in it."""
    bare = PureWindowsPath(name).name if os.name == "nt" else PurePosixPath(name).name
    return bare if bare not in ("", ".", "..") else "clip"


def _sweep_in(lease_s: float) -> None:
    """Sweep once the lease has ended, unless that is to happen anyway."""
    global _timer
    with _lock:
        if _timer is not None and _timer.is_alive() and _timer is not threading.current_thread():
            return
        _timer = threading.Timer(lease_s + 1.0, _sweep, [lease_s])
        _timer.daemon = True
        _timer.start()


def _sweep(again_s: float | None = None) -> None:
    """Take away what was sent and not asked for: its coach has gone. Look again later while anything is here."""
    now = time.monotonic()
    with _lock:
        late = [token for token, place in _places.items() if place.until < now]
    for token in late:
        with contextlib.suppress(OSError):
            drop(token)
    with _lock:
        left = bool(_places)
    if left and again_s is not None:
        _sweep_in(again_s)
