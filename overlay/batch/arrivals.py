"""Files that arrive in a folder: which are whole, and which are still being copied."""

from __future__ import annotations

import os
import time
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from overlay.batch.finding import find_clips
from overlay.errors import InputError, OverlayError
from overlay.settings.batch import WatchSettings

BOXED_SUFFIXES = frozenset({".mp4", ".mov", ".m4v", ".3gp", ".3g2"})
"""Files made of boxes that tell their length (ISO/IEC 14496-12, section 4.2): phones write these."""

END_MISSING = "its end is missing"

Signature = tuple[int, int, int]


@dataclass
class _Seen:
    """What is known of one file of the folder."""

    signature: Signature
    since_s: float
    first_s: float
    done: Signature | None = None
    told: bool = False


class Arrivals:
    """Watches a folder by looking at it again and again.

    Parameters
    ----------
    folder : Path
    beside : iterable of Path
        Folders in it that are not looked into: where results are written.
    settings : WatchSettings
    """

    def __init__(self, folder: Path, beside: Iterable[Path] = (), settings: WatchSettings | None = None) -> None:
        self.folder = Path(os.path.abspath(folder))
        self._beside = tuple(beside)
        self._settings = settings or WatchSettings()
        self._files: dict[Path, _Seen] = {}
        self.late: list[tuple[Path, str]] = []
        """Files that were found, at the last look, to have been waited for too long, and why; each is told once."""

    def look(self, now_s: float | None = None) -> list[Path]:
        """Files that are whole and were not taken yet, the newest first.

        Parameters
        ----------
        now_s : float, optional
            A clock that only goes forward.

        Raises
        ------
        InputError
            The folder is gone or cannot be read.
        """
        now_s = time.monotonic() if now_s is None else now_s
        if not self.folder.is_dir():
            raise InputError(f"There is no folder {self.folder} any more.", "Connect it again, and start watching.")
        self.late = []
        clips = find_clips([self.folder], beside=self._beside).clips
        ready: list[tuple[int, Path]] = []
        present = set()
        for path in clips:
            signature = _signature(path)
            if signature is None:
                continue
            present.add(path)
            seen = self._files.get(path)
            if seen is None:
                seen = self._files[path] = _Seen(signature, now_s, now_s)
            elif seen.signature != signature:
                seen.signature, seen.since_s = signature, now_s
            if seen.done == signature:
                continue
            why = "it is still growing"
            if now_s - seen.since_s >= self._settings.still_s:
                why = not_whole(path)
                if not why:
                    ready.append((signature[1], path))
                    continue
            if not seen.told and now_s - seen.first_s >= self._settings.patience_s:
                seen.told = True
                self.late.append((path, why))
        for path in set(self._files) - present:
            del self._files[path]
        return [path for _, path in sorted(ready, key=lambda one: (-one[0], one[1].name))]

    def ignore_present(self, now_s: float | None = None) -> int:
        """Leave what is in the folder now, and say how many files that are; one that changes later is looked at."""
        self.look(now_s)
        self.late = []
        self.taken(self._files)
        return len(self._files)

    def taken(self, paths: Iterable[Path]) -> None:
        """These were dealt with as they were at the last look; one that has changed since is looked at again."""
        for path in paths:
            seen = self._files.get(path)
            if seen is not None:
                seen.done = seen.signature

    @property
    def unfinished(self) -> tuple[Path, ...]:
        """Files that never became whole."""
        return tuple(sorted(path for path, seen in self._files.items() if seen.done != seen.signature))


def _signature(path: Path) -> Signature | None:
    """What changes while a file is written: size, time of change, identity. None when it is gone or empty."""
    try:
        known = path.stat()
    except OSError:
        return None
    return (known.st_size, known.st_mtime_ns, known.st_ino) if known.st_size else None


def not_whole(path: Path) -> str:
    """Why a file that stands still cannot be a whole clip; "" when it is one.

    A container of boxes is whole when its boxes fill it to the last byte and the table of its pictures is among them;
    of any other it is asked whether it can be opened.
    """
    from overlay.pose import is_saved_track
    from overlay.video import open_clip

    try:
        if path.suffix.lower() in BOXED_SUFFIXES:
            why = _boxes_missing(path)
            if why:
                return why
        if is_saved_track(path):
            from overlay.pose import load_track

            load_track(path)
        else:
            open_clip(path).close()
    except OverlayError as error:
        return f"it cannot be opened yet ({error.message.rstrip('.')})"
    except OSError as error:
        return f"it cannot be read ({error.strerror or error})"
    return ""


def cut_off(path: Path) -> bool:
    """Whether a file of boxes ends before its last box does: half a copy."""
    try:
        return path.suffix.lower() in BOXED_SUFFIXES and _boxes_missing(path) == END_MISSING
    except OSError:
        return False  # whoever reads it says why


def _boxes_missing(path: Path) -> str:
    """Why the boxes of a file do not make a whole one; "" when they do."""
    size = path.stat().st_size
    kinds: set[bytes] = set()
    at = 0
    with open(path, "rb") as source:
        while at < size:
            source.seek(at)
            head = source.read(16)
            if len(head) < 8:
                return "it ends in the middle of a box"
            length, kind = int.from_bytes(head[:4], "big"), head[4:8]
            if length == 1 and len(head) == 16:
                length = int.from_bytes(head[8:16], "big")
            elif length == 0 and any(kind):
                length = size - at  # to the end of the file
            if length < 8:
                # Programs that copy may reserve the room first and fill it later.
                return "parts of it are not filled yet" if kinds else "it is no video yet"
            kinds.add(kind)
            at += length
    if at > size:
        return END_MISSING
    return "" if b"moov" in kinds else "the table of its pictures is missing"
