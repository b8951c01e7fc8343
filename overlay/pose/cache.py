"""Results kept between runs, found by what they were made from; bounded, and never trusted when damaged."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import zipfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from overlay.data import PoseTrack
from overlay.errors import DataError, OutputError
from overlay.files import atomic_path
from overlay.pose.masks import MaskTrack
from overlay.pose.saved import track_arrays, track_from_arrays

SCHEMA = 1
CLIP_DIGITS = 24
"""So many digits of a clip's hash begin the names of what is kept of it."""

DAMAGED = (OSError, ValueError, KeyError, DataError, EOFError, zipfile.BadZipFile)


def cache_folder() -> Path:
    """``OVERLAY_CACHE_DIR``, else the platform's cache folder."""
    import platformdirs

    base = os.environ.get("OVERLAY_CACHE_DIR") or platformdirs.user_cache_dir("overlay", appauthor=False)
    return Path(base) / "pose"


def key_of(parts: Mapping[str, object]) -> str:
    """A name made of everything the result depends on; it begins with the clip's hash where there is a "clip"."""
    text = json.dumps({"schema": SCHEMA, **parts}, sort_keys=True, default=str)
    digest = hashlib.sha256(text.encode()).hexdigest()[:40]
    clip = str(parts.get("clip", ""))
    return f"{clip[:CLIP_DIGITS]}-{digest}" if clip else digest


def forget(content_hash: str) -> int:
    """Remove everything kept of one clip: tracks, masks, checks and stretches. How many files were removed.

    Entries of an older version, whose names do not tell the clip, are not found; they go when the folder is full.

    Parameters
    ----------
    content_hash : str
        As ``Clip.content_hash``.

    Raises
    ------
    DataError
        It is no hexadecimal hash.
    OutputError
        A file cannot be removed.
    """
    if len(content_hash) < CLIP_DIGITS or not set(content_hash.lower()) <= set("0123456789abcdef"):
        raise DataError(f"{content_hash!r} is not the hash of a clip.", "Give its SHA-256 in hexadecimal.")
    removed = 0
    for path in cache_folder().glob(f"{content_hash.lower()[:CLIP_DIGITS]}-*"):
        try:
            path.unlink()
            removed += 1
        except FileNotFoundError:
            # Another process has trimmed it away: gone is gone.
            continue
        except OSError as error:
            raise OutputError(f"{path} cannot be removed: {error.strerror}.", "Delete it yourself.") from error
    return removed


def load(key: str, *, masks: bool) -> tuple[PoseTrack, MaskTrack | None] | None:
    """The kept track, with its masks if they are asked for; None when there is none or it is damaged."""
    track_path, mask_path = _paths(key)
    if not track_path.is_file() or (masks and not mask_path.is_file()):
        return None
    try:
        with np.load(track_path, allow_pickle=False) as arrays:
            track = track_from_arrays(arrays)
        found = _load_masks(mask_path) if masks else None
        if found is not None and not np.array_equal(found.time_s, track.time_s):
            raise ValueError("masks of another run")
    except DAMAGED:
        # It is made again; a damaged entry must not stay in the way.
        for path in (track_path, mask_path):
            with contextlib.suppress(OSError):
                path.unlink()
        return None
    for path in (track_path, mask_path):
        # The time of last use decides who goes first.
        with contextlib.suppress(OSError):
            os.utime(path)
    return track, found


def store(key: str, track: PoseTrack, masks: MaskTrack | None, limit_mb: float) -> bool:
    """Keep a result. A cache that cannot be written is no reason to fail: False then."""
    track_path, mask_path = _paths(key)
    try:
        if masks is not None:
            with atomic_path(mask_path) as temporary, open(temporary, "wb") as out:
                np.savez(
                    out,
                    schema=np.array(SCHEMA),
                    time_s=masks.time_s,
                    size=np.array(masks.size, np.int64),
                    image_size=np.array(masks.image_size, np.int64),
                    lengths=np.array([len(content) for content in masks.packed], np.int64),
                    content=np.frombuffer(b"".join(masks.packed), np.uint8),
                )
        with atomic_path(track_path) as temporary, open(temporary, "wb") as out:
            np.savez_compressed(out, allow_pickle=False, **track_arrays(track))
    except OutputError:
        return False
    trim(limit_mb, keep={track_path, mask_path})
    return True


def was_checked(key: str) -> bool:
    """Whether a check under this key has passed before."""
    return (cache_folder() / f"{key}.checked").is_file()


def note_checked(key: str) -> None:
    """Remember that a check passed."""
    path = cache_folder() / f"{key}.checked"
    with contextlib.suppress(OutputError), atomic_path(path) as temporary:
        temporary.write_bytes(b"ok\n")


def kept_note(key: str) -> str | None:
    """A short text kept under this key; None when there is none."""
    path = cache_folder() / f"{key}.note"
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return None
    with contextlib.suppress(OSError):
        os.utime(path)
    return text


def keep_note(key: str, text: str) -> None:
    """Keep a short text. A cache that cannot be written is no reason to fail."""
    path = cache_folder() / f"{key}.note"
    with contextlib.suppress(OutputError), atomic_path(path) as temporary:
        temporary.write_text(text, encoding="utf-8")


def trim(limit_mb: float, keep: set[Path] | None = None) -> None:
    """Remove the entries used longest ago until the folder is within its limit."""
    entries = []
    for path in cache_folder().glob("*"):
        # Another process may be trimming too.
        with contextlib.suppress(OSError):
            status = path.stat()
            entries.append((status.st_mtime, status.st_size, path))
    total = sum(size for _, size, _ in entries)
    for _, size, path in sorted(entries, key=lambda entry: entry[0]):
        if total <= limit_mb * 1e6:
            return
        if keep and path in keep:
            continue
        with contextlib.suppress(OSError):
            path.unlink()
            total -= size


def _paths(key: str) -> tuple[Path, Path]:
    folder = cache_folder()
    return folder / f"{key}.track.npz", folder / f"{key}.masks.npz"


def _load_masks(path: Path) -> MaskTrack:
    with np.load(path, allow_pickle=False) as arrays:
        if int(arrays["schema"]) != SCHEMA:
            raise ValueError("another schema")
        content = arrays["content"].tobytes()
        ends = np.cumsum(arrays["lengths"])
        if len(ends) and int(ends[-1]) != len(content):
            raise ValueError("cut short")
        starts = np.concatenate([[0], ends[:-1]])
        packed = tuple(content[a:b] for a, b in zip(starts.tolist(), ends.tolist()))
        width, height = (int(value) for value in arrays["size"])
        image_width, image_height = (int(value) for value in arrays["image_size"])
        return MaskTrack(arrays["time_s"], (width, height), (image_width, image_height), packed)
