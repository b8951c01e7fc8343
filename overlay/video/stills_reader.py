"""Reads a folder of PNG or JPEG stills as a recording.

Pictures are taken in natural order (``still2`` before ``still10``). Their times come from, in this order:

1. ``times.csv``: one line a picture, ``file,time_s`` or just ``time_s``, a header line allowed;
2. ``clip.json``: ``{"rate": 60, "capture_rate": 240}`` (either may be left out);
3. the caller's ``stills_rate``;
4. 30 a second, with a warning.
"""

from __future__ import annotations

import csv
import hashlib
import json
import re
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.data import Clip, Frame
from overlay.errors import InputError
from overlay.files import sha256_of
from overlay.settings.video import ReaderSettings
from overlay.video.capture import rate_from_option
from overlay.video.orientation import Orientation
from overlay.video.reader import Reader, fitted_size
from overlay.video.still_header import read_header
from overlay.video.timing import judged

SUFFIXES = (".png", ".jpg", ".jpeg")
TIMES_FILE = "times.csv"
RATE_FILE = "clip.json"


class StillsReader(Reader):
    """A folder of stills. See ``overlay.video.open_clip`` for the parameters and ``Reader`` for the contract."""

    def __init__(
        self,
        path: Path,
        *,
        mirrored: bool = False,
        rotation_deg: int | None = None,
        capture_rate: Fraction | float | None = None,
        stills_rate: Fraction | float | None = None,
        settings: ReaderSettings | None = None,
    ) -> None:
        self._settings = settings or ReaderSettings()
        self._path = Path(path)
        self._files = _pictures_in(self._path)
        told = rate_from_option(capture_rate)
        described = _described(self._path)
        warnings: list[str] = []
        heads = {file: read_header(file) for file in self._files}
        self._turns = {
            file: head.orientation.chosen(rotation_deg=rotation_deg, mirrored=mirrored) for file, head in heads.items()
        }
        self._size = self._check_alike(
            {file: self._turns[file].size(head.width, head.height) for file, head in heads.items()}
        )
        orientation = self._turns[self._files[0]]
        depth = heads[self._files[0]].bit_depth
        times, stated = self._times(described, stills_rate, warnings)
        capture = told or rate_from_option(described.get("capture_rate"))
        if depth > 8:
            warnings.append(f"The stills have {depth}-bit colour; they are read with 8 bits.")
        timing = judged(str(self._path), times, None, 0.0, stated, warnings, self._settings)
        digest = hashlib.sha256("".join(sha256_of(file) for file in self._files).encode())
        digest.update(np.round(times * 1e6).astype("<i8").tobytes())
        self.clip = Clip(
            path=self._path,
            content_hash=digest.hexdigest(),
            width=self._size[0],
            height=self._size[1],
            rotation_deg=orientation.rotation_deg,
            mirrored=mirrored,
            times_s=timing.times_s,
            nominal_rate=timing.nominal_rate,
            capture_rate=capture,
            is_variable_rate=timing.is_variable_rate,
            has_audio=False,
            codec=self._files[0].suffix.lower().lstrip(".").replace("jpg", "jpeg"),
            pixel_format="rgb24",
            bit_depth=depth,
            warnings=timing.warnings,
        )

    def _check_alike(self, sizes: dict[Path, tuple[int, int]]) -> tuple[int, int]:
        """The displayed size, after making sure that every still has it."""
        shown = sizes[self._files[0]]
        if min(shown) < self._settings.min_side_px:
            raise InputError(
                f"The stills in {self._path} are only {shown[0]}×{shown[1]} px.",
                "Give pictures in which the player can be made out.",
            )
        for file, other in sizes.items():
            if other != shown:
                raise InputError(
                    f"{file} is {other[0]}×{other[1]} px, the first still {shown[0]}×{shown[1]} px.",
                    "Keep only the stills of one recording in the folder.",
                )
        return shown

    def _times(
        self, described: dict[str, Any], stills_rate: Fraction | float | None, warnings: list[str]
    ) -> tuple[FloatArray, Fraction | None]:
        table = self._path / TIMES_FILE
        if table.is_file():
            times = _times_in(table, [file.name for file in self._files])
            order = np.argsort(times, kind="stable")
            if np.any(np.diff(times) < 0):
                warnings.append(f"{TIMES_FILE} is not in time order; the stills are shown in the order of their times.")
            times = times[order]
            keep = np.concatenate(([True], np.diff(times) > 0))
            if not np.all(keep):
                warnings.append(
                    f"{int(np.sum(~keep))} of {len(times)} times in {TIMES_FILE} repeat; those are left out."
                )
            self._files = [self._files[i] for i in order[keep]]
            return times[keep] - times[0], None
        stated = described.get("rate", stills_rate)
        if stated is None:
            stated = self._settings.stills_rate
            warnings.append(
                f"The folder states no times; {float(stated):g} pictures per second are assumed, so times in seconds "
                f"may be wrong. Add {RATE_FILE} or {TIMES_FILE}."
            )
        rate = _positive(stated, self._path)
        return np.arange(len(self._files)) / float(rate), rate

    def _stream(self, first: int, last: int, max_side: int | None) -> Iterator[Frame]:
        size = fitted_size(self.clip.width, self.clip.height, max_side)
        for index in range(max(0, first), min(last, len(self._files) - 1) + 1):
            file = self._files[index]
            image = _load(file, self._turns[file])
            if image.shape[:2] != (self.clip.height, self.clip.width):
                raise InputError(f"{file} has changed since it was opened.", "Leave the folder alone while it is read.")
            if size != (self.clip.width, self.clip.height):
                import cv2

                image = np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)
            yield Frame(index, float(self.clip.times_s[index]), image)


def natural_key(name: str) -> list[tuple[int, int, str]]:
    """Sort key under which numbers inside names count as numbers: ``still2`` before ``still10``."""
    return [
        (0, int(part), "") if part.isdigit() else (1, 0, part.lower()) for part in re.split(r"([0-9]+)", name) if part
    ]


def _pictures_in(folder: Path) -> list[Path]:
    if not folder.is_dir():
        raise InputError(f"{folder} is not a folder of stills.", "Give the folder, or open the file as a video.")
    try:
        names = [item for item in folder.iterdir() if item.suffix.lower() in SUFFIXES and item.is_file()]
    except OSError as error:
        raise InputError(f"{folder} cannot be read: {error.strerror}.", "Check who may read the folder.") from error
    # Names with a leading dot are left behind by file managers and are no pictures.
    files = sorted((item for item in names if not item.name.startswith(".")), key=lambda item: natural_key(item.name))
    if not files:
        raise InputError(f"{folder} holds no PNG or JPEG pictures.", "Give a folder of stills, or a video file.")
    return files


def _load(file: Path, orientation: Orientation) -> Image:
    import cv2

    try:
        content = np.fromfile(file, np.uint8)
    except OSError as error:
        raise InputError(f"{file} cannot be read: {error.strerror}.", "Check that it is still there.") from error
    # Orientation is applied here and nowhere else.
    image = cv2.imdecode(content, cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION) if len(content) else None
    if image is None:
        raise InputError(f"{file} is not a picture that can be read.", "Remove it, or save it again.")
    return orientation.apply(np.asarray(cv2.cvtColor(image, cv2.COLOR_BGR2RGB), np.uint8))


def _described(folder: Path) -> dict[str, Any]:
    file = folder / RATE_FILE
    if not file.is_file():
        return {}
    try:
        content = json.loads(file.read_text("utf-8"))
    except (OSError, ValueError) as error:
        raise InputError(f"{file} is not JSON that can be read.", 'Write it as {"rate": 60}.') from error
    if not isinstance(content, dict):
        raise InputError(f"{file} does not describe a clip.", 'Write it as {"rate": 60}.')
    return content


def _positive(value: Any, where: Path) -> Fraction:
    try:
        rate = Fraction(value).limit_denominator(10_000)
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        rate = Fraction(0)
    if rate <= 0:
        raise InputError(
            f"A rate of {value!r} pictures per second makes no sense for {where}.", "Give a number above 0, e.g. 60."
        )
    return rate


def _times_in(table: Path, names: list[str]) -> FloatArray:
    """Seconds of each named picture."""
    hint = "Write one line a picture: file,time_s (or only time_s, in the order of the names)."
    try:
        with open(table, newline="", encoding="utf-8-sig") as source:
            rows = [[cell.strip() for cell in row] for row in csv.reader(source) if any(cell.strip() for cell in row)]
    except (OSError, ValueError, csv.Error) as error:
        raise InputError(f"{table} cannot be read as a table.", hint) from error
    if rows and not _is_number(rows[0][-1]):
        rows = rows[1:]
    if any(not _is_number(row[-1]) for row in rows):
        raise InputError(f"{table} has lines without a time in seconds.", hint)
    if all(len(row) == 1 for row in rows):
        if len(rows) != len(names):
            raise InputError(f"{table} has {len(rows)} times for {len(names)} stills.", hint)
        return np.array([float(row[0]) for row in rows])
    by_name = {row[0]: float(row[-1]) for row in rows}
    missing = [name for name in names if name not in by_name]
    if missing:
        raise InputError(f"{table} has no time for {missing[0]}.", hint)
    return np.array([by_name[name] for name in names])


def _is_number(text: str) -> bool:
    try:
        return bool(np.isfinite(float(text)))
    except ValueError:
        return False
