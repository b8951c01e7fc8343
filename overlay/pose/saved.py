"""Pose tracks on disk: overlay's own NPZ, and a CSV of named joints from any estimator.

The CSV has one row for each joint and frame, with the columns ``time_s, joint, x_px, y_px`` and, if there is one,
``visibility``; the joints are named as in ``overlay.landmarks``. Rows may come in any order; joints and rows may be
absent. Lines that begin with ``#`` are comments; one may say
``# width=480, height=854, view=dtl, handedness=right, clip=swing.mp4``.
"""

from __future__ import annotations

import csv
import difflib
import math
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TextIO

import numpy as np

from overlay.arrays import AnyArray
from overlay.data import PoseTrack
from overlay.errors import DataError, InputError, OutputError
from overlay.files import atomic_path
from overlay.landmarks import INDEX, LANDMARKS, N_LANDMARKS
from overlay.terms import Handedness, View

SCHEMA = 1
KIND = "overlay pose track"
SUFFIXES = (".csv", ".npz")
COLUMNS = ("time_s", "joint", "x_px", "y_px")
MAX_BYTES = 300_000_000
MAX_FRAMES = 200_000
"""14 minutes at 240 frames a second."""
LEAST_SPACING_S = 2e-4
"""Times closer than this are one frame written with different rounding, not two frames."""
HOW = f"Columns wanted: {', '.join(COLUMNS)} and, if there is one, visibility."


@dataclass(frozen=True)
class SavedTrack:
    """A track that was read from a file, with what the file says beside it."""

    track: PoseTrack
    view: View | None = None
    handedness: Handedness | None = None
    clip_path: Path | None = None


def is_saved_track(path: Path) -> bool:
    """Whether the name is that of a saved track (.csv or .npz)."""
    return Path(path).suffix.lower() in SUFFIXES


def load_track(path: Path) -> SavedTrack:
    """Read a saved track.

    Raises
    ------
    InputError
        There is no such file, or it is not a track; the message names the line.
    """
    path = Path(path)
    if not path.is_file():
        raise InputError(f"There is no file {path}.", "Check the name.")
    if path.suffix.lower() == ".npz":
        return _load_npz(path)
    return _load_csv(path)


def save_track(
    path: Path,
    track: PoseTrack,
    *,
    view: View | None = None,
    handedness: Handedness | None = None,
    clip_path: Path | None = None,
) -> None:
    """Write a track as NPZ, everything kept.

    Raises
    ------
    OutputError
        The file cannot be written, or its name says that it is something else.
    """
    if Path(path).suffix.lower() != ".npz":
        raise OutputError(f"{Path(path).name} is no name for an NPZ file.", "End it in .npz, or use write_csv.")
    told = {"view": view or "", "handedness": handedness or "", "clip_path": str(clip_path or "")}
    with atomic_path(Path(path)) as temporary, open(temporary, "wb") as out:
        np.savez_compressed(
            out, allow_pickle=False, **track_arrays(track), **{name: np.array(value) for name, value in told.items()}
        )


def track_arrays(track: PoseTrack) -> dict[str, AnyArray]:
    """The arrays of the NPZ form."""
    return {
        "kind": np.array(KIND),
        "schema": np.array(SCHEMA),
        "points": track.points,
        "depth": track.depth,
        "visibility": track.visibility,
        "time_s": track.time_s,
        "filled": track.filled,
        "image_size": np.array(track.image_size, np.int64),
        "source": np.array(track.source),
        "model": np.array(track.model),
        "log": np.array(list(track.log), dtype=np.str_),
    }


def track_from_arrays(arrays: Any) -> PoseTrack:
    """The track of the NPZ form.

    Raises
    ------
    KeyError, ValueError, DataError
        Something is missing or does not fit.
    """
    if str(arrays["kind"]) != KIND:
        raise ValueError("it holds no pose track")
    if int(arrays["schema"]) != SCHEMA:
        raise ValueError(f"it has schema {int(arrays['schema'])}, this version of overlay reads {SCHEMA}")
    width, height = (int(value) for value in arrays["image_size"])
    return PoseTrack(
        points=arrays["points"],
        depth=arrays["depth"],
        visibility=arrays["visibility"],
        time_s=arrays["time_s"],
        image_size=(width, height),
        source=str(arrays["source"]),
        model=str(arrays["model"]),
        filled=arrays["filled"],
        log=tuple(str(line) for line in arrays["log"]),
    )


def _load_npz(path: Path) -> SavedTrack:
    try:
        with np.load(path, allow_pickle=False) as arrays:
            track = track_from_arrays(arrays)
            view, handedness = str(arrays["view"]), str(arrays["handedness"])
            clip = str(arrays["clip_path"])
    except (OSError, ValueError, KeyError, DataError, zipfile.BadZipFile, EOFError) as error:
        reason = f"it lacks {error}" if isinstance(error, KeyError) else str(error).splitlines()[0]
        raise InputError(
            f"{path} is not a saved pose track: {reason}.", "Save it again with this version of overlay."
        ) from error
    if len(track) < 2:
        raise InputError(f"{path} holds {len(track)} frame(s).", "A swing needs many; save the whole track.")
    return SavedTrack(
        track,
        "dtl" if view == "dtl" else "fo" if view == "fo" else "other" if view == "other" else None,
        "right" if handedness == "right" else "left" if handedness == "left" else None,
        Path(clip) if clip else None,
    )


# --- CSV ---


def write_csv(
    path: Path,
    track: PoseTrack,
    view: View | None = None,
    handedness: Handedness | None = None,
    *,
    clip_path: Path | None = None,
) -> None:
    """Write a track as CSV. Depth, the mask of filled values and the log are not kept; numbers are exact.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    told: dict[str, object] = {"width": track.image_size[0], "height": track.image_size[1]}
    told |= {k: v for k, v in (("view", view), ("handedness", handedness), ("clip", clip_path)) if v}
    with atomic_path(Path(path)) as temporary, open(temporary, "w", encoding="utf-8", newline="") as out:
        out.write(f"# {', '.join(f'{name}={value}' for name, value in told.items())}\n")
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow((*COLUMNS, "visibility"))
        seen = np.all(np.isfinite(track.points), axis=2)
        for t, time_s in enumerate(track.time_s.tolist()):
            present = np.flatnonzero(seen[t])
            for j in present:
                x, y = track.points[t, j].tolist()
                writer.writerow((repr(time_s), LANDMARKS[j], repr(x), repr(y), repr(float(track.visibility[t, j]))))
            if not len(present):
                # A frame without anyone keeps its place in time.
                writer.writerow((repr(time_s), LANDMARKS[0], "", "", ""))


@dataclass
class _Told:
    """What the comment lines say."""

    width: int | None = None
    height: int | None = None
    view: View | None = None
    handedness: Handedness | None = None
    clip: Path | None = None


@dataclass
class _Rows:
    """The rows as they are read."""

    line: list[int] = field(default_factory=list)
    time_s: list[float] = field(default_factory=list)
    joint: list[int] = field(default_factory=list)
    x: list[float] = field(default_factory=list)
    y: list[float] = field(default_factory=list)
    visibility: list[float] = field(default_factory=list)


def _load_csv(path: Path) -> SavedTrack:
    size = path.stat().st_size
    if size == 0:
        raise InputError(f"{path} is empty.", HOW)
    if size > MAX_BYTES:
        raise InputError(
            f"{path} is {size / 1e6:.0f} MB; tables up to {MAX_BYTES / 1e6:.0f} MB are read.",
            "Cut the track to the swings, or save it as .npz.",
        )
    told = _Told()
    try:
        # utf-8-sig drops the byte-order mark that spreadsheets put in front.
        with open(path, encoding="utf-8-sig", newline="") as source:
            rows = _read_rows(path, source, told)
    except UnicodeDecodeError as error:
        raise InputError(f"{path} is not a text table ({error.reason} at byte {error.start}).", HOW) from error
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror}.", "Check the permissions.") from error
    return SavedTrack(_table(path, rows, told), told.view, told.handedness, told.clip)


def _content_lines(path: Path, source: TextIO, told: _Told) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(source, 1):
        if "\0" in line:
            raise InputError(f"{path} is not a text table (line {number}).", HOW)
        text = line.strip()
        if text.lstrip('"').startswith("#"):
            _read_comment(path, number, text, told)
        elif text:
            yield number, text


def _read_comment(path: Path, number: int, text: str, told: _Told) -> None:
    for item in text.strip('"').lstrip("# ").replace(";", ",").split(","):
        name, equals, value = (part.strip() for part in item.partition("="))
        name = name.lower()
        where = f"{path}, line {number}"
        if not equals:
            continue
        if name in ("width", "height"):
            if not value.isdecimal() or not 1 <= int(value) <= 100_000:
                raise InputError(f"{where}: {name}={value} is not a size in pixels.", "Write for example width=1080.")
            setattr(told, name, int(value))
        elif name == "view":
            if value not in ("dtl", "fo", "other"):
                raise InputError(f"{where}: view={value} is not known.", "Use dtl, fo or other.")
            told.view = value  # type: ignore[assignment]
        elif name == "handedness":
            if value not in ("right", "left"):
                raise InputError(f"{where}: handedness={value} is not known.", "Use right or left.")
            told.handedness = value  # type: ignore[assignment]
        elif name == "clip" and value:
            told.clip = path.parent / value


def _read_rows(path: Path, source: TextIO, told: _Told) -> _Rows:
    lines = _content_lines(path, source, told)
    number, header = next(lines, (0, ""))
    if not header:
        raise InputError(f"{path} holds no table.", HOW)
    delimiter = max(",;\t", key=header.count)
    names = [name.strip().strip('"').lower() for name in header.split(delimiter)]
    missing = [name for name in COLUMNS if name not in names]
    if missing:
        raise InputError(f"{path}, line {number}: no column {', '.join(missing)}.", HOW)
    twice = [name for name in (*COLUMNS, "visibility") if names.count(name) > 1]
    if twice:
        raise InputError(f"{path}, line {number}: the column {twice[0]} stands there twice.", HOW)
    at_time, at_joint, at_x, at_y = (names.index(name) for name in COLUMNS)
    at_visibility = names.index("visibility") if "visibility" in names else None
    # Where the semicolon separates, the comma is the decimal sign.
    comma = delimiter == ";"
    rows = _Rows()
    for number, text in lines:
        cells = next(csv.reader([text], delimiter=delimiter))
        if len(cells) < len(names):
            raise InputError(
                f"{path}, line {number}: {len(cells)} cells where the header has {len(names)}.",
                "Write every cell; leave it empty where a value is missing.",
            )
        joint = cells[at_joint].strip()
        if joint not in INDEX:
            near = difflib.get_close_matches(joint, LANDMARKS, 1)
            raise InputError(
                f"{path}, line {number}: {joint!r} is not a joint.",
                f"Did you mean {near[0]}?" if near else f"Names are those of MediaPipe: {', '.join(LANDMARKS[:3])} …",
            )
        time_s = _number(path, number, "time_s", cells[at_time], comma)
        if not math.isfinite(time_s):
            raise InputError(f"{path}, line {number}: time_s is missing.", "Every row needs a time in seconds.")
        x = _number(path, number, "x_px", cells[at_x], comma)
        y = _number(path, number, "y_px", cells[at_y], comma)
        visibility = 1.0 if at_visibility is None else _number(path, number, "visibility", cells[at_visibility], comma)
        if visibility < 0.0 or visibility > 1.0:
            raise InputError(f"{path}, line {number}: visibility {visibility} is outside 0–1.", "Scale it to 0–1.")
        seen = math.isfinite(x) and math.isfinite(y)
        rows.line.append(number)
        rows.time_s.append(time_s)
        rows.joint.append(INDEX[joint])
        rows.x.append(x if seen else math.nan)
        rows.y.append(y if seen else math.nan)
        rows.visibility.append((1.0 if math.isnan(visibility) else visibility) if seen else 0.0)
    if not rows.line:
        raise InputError(f"{path} holds a header but no rows.", HOW)
    return rows


def _number(path: Path, line: int, name: str, text: str, comma: bool) -> float:
    text = text.strip()
    if text.lower() in ("", "nan", "na", "null", "none"):
        return math.nan
    try:
        value = float(text.replace(",", ".") if comma else text)
    except ValueError:
        value = math.inf
    if math.isinf(value) or abs(value) > 1e9:
        raise InputError(f"{path}, line {line}: {name} is {text!r}, not a number.", "Leave the cell empty if missing.")
    return value


def _table(path: Path, rows: _Rows, told: _Told) -> PoseTrack:
    times, frame = np.unique(np.array(rows.time_s), return_inverse=True)
    if len(times) < 2:
        raise InputError(f"{path} holds one frame.", "A swing needs many frames; is time_s in seconds?")
    if len(times) > MAX_FRAMES:
        raise InputError(f"{path} holds {len(times)} frames; up to {MAX_FRAMES} are read.", "Cut it to the swings.")
    closest = int(np.argmin(np.diff(times)))
    if times[closest + 1] - times[closest] < LEAST_SPACING_S:
        raise InputError(
            f"{path}: the times {times[closest]!r} and {times[closest + 1]!r} s are too close to be two frames.",
            "Write the time of a frame the same way in all its rows, in seconds.",
        )
    joint, line = np.array(rows.joint), np.array(rows.line)
    cell = frame * N_LANDMARKS + joint
    order = np.argsort(cell, kind="stable")
    repeated = np.flatnonzero(np.diff(cell[order]) == 0)
    if len(repeated):
        first, again = order[repeated[0]], order[repeated[0] + 1]
        raise InputError(
            f"{path}, line {line[again]}: {LANDMARKS[joint[again]]} at {rows.time_s[again]} s "
            f"stands on line {line[first]} already.",
            "Keep one row for each joint and frame, of one person.",
        )
    points = np.full((len(times), N_LANDMARKS, 2), np.nan)
    visibility = np.zeros((len(times), N_LANDMARKS))
    points[frame, joint, 0] = rows.x
    points[frame, joint, 1] = rows.y
    visibility[frame, joint] = rows.visibility
    if not np.any(np.isfinite(points)):
        raise InputError(f"{path} holds no joint with a place.", "Fill in x_px and y_px.")
    log = [f"read from {path.name}"]
    size = []
    for axis, (name, given) in enumerate((("width", told.width), ("height", told.height))):
        extent = max(1, math.ceil(float(np.nanmax(points[..., axis]))) + 1)
        size.append(extent if given is None else given)
        if given is None:
            log.append(f"picture {name} not given: taken as {extent} px from the joints' extent")
    depth = np.full(visibility.shape, np.nan)
    return PoseTrack(points, depth, visibility, times, (size[0], size[1]), source="csv", log=tuple(log))
