"""Which files of the given files and folders are clips, and when they were recorded."""

from __future__ import annotations

import datetime
import math
import os
import re
import stat
import time
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from overlay.errors import InputError, OverlayError

DAY_S = 86_400.0

VIDEO_SUFFIXES = frozenset(
    (
        *(".mp4", ".mov", ".m4v", ".avi", ".mkv", ".webm", ".3gp", ".3g2"),
        *(".mts", ".m2ts", ".mpg", ".mpeg", ".wmv", ".flv", ".ogv", ".mxf"),
    )
)
"""Names by which a file of a folder is taken for a video; one that is named outright is read whatever its name is."""

UNFINISHED_SUFFIXES = frozenset(
    (
        *(".part", ".partial", ".tmp", ".temp", ".crdownload", ".download"),
        *(".icloud", ".filepart", ".opdownload", ".!sync", ".syncing"),
    )
)
"""What programs that copy put behind a name until the file is whole."""

HIDDEN, UNFINISHED, LINK, UNREADABLE, MADE, OTHER = (
    "hidden or temporary",
    "still being copied",
    "link to a folder, not followed",
    "folder that cannot be read",
    "comparison that overlay made",
    "no clip",
)


@dataclass(frozen=True)
class Found:
    """The clips of some files and folders.

    Attributes
    ----------
    clips : tuple of Path
        Absolute, in the order in which they were given, those of a folder by folder and name; one file once.
    left_out : tuple of (Path, str)
        What a folder holds besides, and why it is no clip.
    """

    clips: tuple[Path, ...]
    left_out: tuple[tuple[Path, str], ...] = ()


def find_clips(paths: Iterable[Path], *, beside: Iterable[Path] = ()) -> Found:
    """The clips among ``paths``: files as they are, folders with all folders below them.

    In folders, videos are known by their ending and saved tracks by what they hold. Hidden files, files that are still
    being copied and what overlay wrote itself are left out. Links to files are followed, links to folders below a
    named one are not, so that no loop is walked.

    Parameters
    ----------
    paths : iterable of Path
    beside : iterable of Path
        Folders that are not walked.

    Raises
    ------
    InputError
        One of ``paths`` is not there or is neither file nor folder.
    """
    closed = {_identity(folder) for folder in beside} - {None}
    seen: set[tuple[int, int]] = set()
    clips: list[Path] = []
    left_out: list[tuple[Path, str]] = []

    def take(path: Path) -> None:
        identity = _identity(path)
        if identity is not None and identity in seen:
            return
        if identity is not None:
            seen.add(identity)
        clips.append(path)

    given = [_there(Path(path)) for path in paths]
    for path in given:
        if path.is_dir():
            for one, why in _walk(path, closed):
                if why:
                    left_out.append((one, why))
                else:
                    take(one)
        else:
            take(path)
    return Found(tuple(clips), tuple(left_out))


def _there(path: Path) -> Path:
    """The path, absolute, or the error that it is not there."""
    try:
        mode = path.stat().st_mode
    except FileNotFoundError as error:
        raise InputError(f"There is no file or folder {path}.", "Check the name.") from error
    except (OSError, ValueError) as error:
        said = getattr(error, "strerror", None) or error
        raise InputError(f"{path} cannot be read: {said}.", "Check the name and the permissions.") from error
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        raise InputError(f"{path} is neither a file nor a folder.", "Give clips, or folders of clips.")
    return Path(os.path.abspath(path))


def _walk(folder: Path, closed: set[tuple[int, int] | None]) -> Iterator[tuple[Path, str]]:
    """Files below a folder with the reason why each is no clip, "" for a clip."""

    closed_off: list[Path] = []

    def unreadable(error: OSError) -> None:
        if Path(error.filename) == folder:
            raise InputError(
                f"{folder} cannot be read: {error.strerror}.", "Check the permissions, or give single clips."
            )
        closed_off.append(Path(error.filename))

    for place, folders, files in os.walk(folder, onerror=unreadable):
        at = Path(place)
        for name in sorted(folders, key=natural):
            if os.path.islink(at / name):
                yield at / name, LINK
        folders[:] = sorted(
            (
                name
                for name in folders
                if not name.startswith(".") and not os.path.islink(at / name) and _identity(at / name) not in closed
            ),
            key=natural,
        )
        made = "comparison.json" in files
        for name in sorted(files, key=natural):
            path = at / name
            if name.endswith(".marks.json"):
                continue  # belongs to its clip
            if name == "comparison.mp4" and made:
                yield path, MADE
            else:
                yield path, why_no_clip(path)
    for path in closed_off:
        yield path, UNREADABLE


def natural(name: str) -> list[tuple[int, int, str]]:
    """Sorts swing2 before swing10."""
    return [
        (0, int(part), "") if part.isdigit() and part.isascii() else (1, 0, part.casefold())
        for part in re.split(r"([0-9]+)", name)
        if part
    ]


def why_no_clip(path: Path) -> str:
    """Why a file of a folder is not taken for a clip; "" when it is."""
    name, suffix = path.name, path.suffix.lower()
    if suffix in UNFINISHED_SUFFIXES:
        return UNFINISHED
    if name.startswith((".", "~$")) or name.endswith("~"):
        return HIDDEN
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return OTHER
    except (OSError, ValueError):
        return OTHER  # a link into the void, or gone meanwhile
    if suffix in VIDEO_SUFFIXES:
        return ""
    if suffix in (".csv", ".npz") and _holds_track(path):
        return ""
    return OTHER


def _holds_track(path: Path) -> bool:
    """Whether a table or archive is one of joints: others of these endings lie about in folders."""
    try:
        if path.suffix.lower() == ".npz":
            with zipfile.ZipFile(path) as archive:
                return {"points.npy", "time_s.npy", "visibility.npy"} <= set(archive.namelist())
        with open(path, encoding="utf-8-sig", errors="replace") as lines:
            for _ in range(200):
                line = lines.readline(2000)
                if line.strip() and not line.startswith("#"):
                    return {"time_s", "joint"} <= {
                        word.strip(' "').lower() for word in re.split("[,;\t]", line.strip())
                    }
    except (OSError, ValueError, zipfile.BadZipFile):
        return False
    return False


def _identity(path: Path) -> tuple[int, int] | None:
    """What two names of one file have in common."""
    try:
        known = os.stat(path)
    except (OSError, ValueError):
        return None
    return (known.st_dev, known.st_ino) if known.st_ino else None


@dataclass(frozen=True)
class When:
    """When a clip was recorded.

    ``seconds`` since 1970; ``from_file`` whether the container says so (False: the time of the file's last change,
    which copying may alter).
    """

    seconds: float
    from_file: bool

    @property
    def date(self) -> datetime.date:
        """The day where this machine is."""
        try:
            return datetime.datetime.fromtimestamp(self.seconds).date()
        except (OverflowError, OSError, ValueError):
            return datetime.date(1970, 1, 1)


def when_recorded(path: Path, changed_s: float) -> When:
    """When a clip was recorded, as far as can be told without decoding it.

    Parameters
    ----------
    path : Path
    changed_s : float
        Time of the file's last change, s since 1970: taken where the file does not say.

    Returns
    -------
    When
        Never later than tomorrow, which a zone further east may have: a phone's clock that is set wrongly would make a
        session that stays the last one for years. Today, as a file's time, where nothing else is left.
    """
    from overlay.pose import is_saved_track
    from overlay.video.recorded import recorded_at

    said = None
    if not is_saved_track(path):
        try:
            said = recorded_at(path)
        except OverlayError:
            said = None  # what is wrong with it is told when it is read
    now_s = time.time()
    latest_s = now_s + DAY_S
    if said is not None and math.isfinite(said) and said <= latest_s:
        return When(said, True)
    return When(changed_s if changed_s <= latest_s else now_s, False)
