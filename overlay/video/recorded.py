"""When a recording was made, as its container states it."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

from overlay.errors import InputError
from overlay.video.facts import load_av

KEYS = ("com.apple.quicktime.creationdate", "creation_time", "date")
"""Keys that state it, the better one first: one with a time zone, which copying does not change, before the other."""

FIRST_YEAR = 2000
"""Containers without a clock say 1904 or 1970."""


def recorded_at(path: Path | str) -> float | None:
    """Seconds since 1970 (UTC) at which a recording was made; None where the file does not say.

    It is as good as the phone's clock, mostly whole seconds, and in some files the time at which the recording ended:
    weak evidence.

    Parameters
    ----------
    path : Path
        A video file; a folder of stills says nothing.

    Raises
    ------
    InputError
        The file cannot be opened.
    """
    path = Path(path)
    if path.is_dir():
        return None
    av = load_av()
    try:
        container = av.open(f"file:{path}", options={"protocol_whitelist": "file"}, metadata_errors="replace")
    except (av.FFmpegError, ValueError, OSError, IndexError) as error:
        raise InputError(f"{path} is not a video that can be read.", "Give the clip of the swing.") from error
    with container:
        tables = [dict(container.metadata), *(dict(stream.metadata) for stream in container.streams.video)]
    return recorded_from(*tables)


def recorded_from(*tables: Mapping[str, str]) -> float | None:
    """As ``recorded_at``, from the container's tables of metadata.

    >>> recorded_from({"creation_time": "2026-05-01T08:00:00.000000Z"})
    1777622400.0
    """
    for key in KEYS:
        for table in tables:
            for name, value in table.items():
                if name.strip().lower() == key:
                    found = _seconds(str(value))
                    if found is not None:
                        return found
    return None


def _seconds(text: str) -> float | None:
    text = text.strip().replace(" ", "T", 1)
    if len(text) < 16:
        return None  # a day alone
    text = re.sub(r"Z$", "+00:00", text)
    text = re.sub(r"([+-]\d\d)(\d\d)$", r"\1:\2", text)
    try:
        told = datetime.fromisoformat(text)
    except ValueError:
        return None
    if told.tzinfo is None:
        told = told.replace(tzinfo=UTC)
    if told.year < FIRST_YEAR:
        return None
    seconds = told.timestamp()
    return seconds if math.isfinite(seconds) else None
