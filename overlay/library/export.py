"""What is kept, given away as plain tables: measures, differences, positions, swings, sessions, and the tracks.

One pass over the swings, oldest id first; rows are written as they come, so that memory does not grow with the library.
A file or a folder appears whole or not at all.
"""

from __future__ import annotations

import dataclasses
import datetime
import functools
import json
import math
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from overlay import __version__
from overlay.data import ClubTrack
from overlay.data.record import KeptSwing, Session
from overlay.errors import OutputError, OverlayError
from overlay.files import atomic_path, check_writable, output_error, write_text
from overlay.library.counting import one_state, pages
from overlay.library.export_tables import TABLES, Format, Sheets, check_format, check_suffix, described
from overlay.pose import write_csv
from overlay.progress import SILENT, Progress

if TYPE_CHECKING:
    from overlay.library import Store, SwingFilter

SCHEMA = 1
KIND = "overlay export"
LIST = "export.json"
"""The list of an export's files, by which its folder is known."""
TRACKS = "tracks"
PAGE = 400
"""Swings that are looked up at once."""
CLUB_COLUMNS = ("time_s", "grip_x_px", "grip_y_px", "angle_deg", "length_px", "state", "angle_sd_deg")


@dataclass(frozen=True)
class Exported:
    """What was written.

    Attributes
    ----------
    path : Path
        The file or the folder.
    format : Format
    rows : mapping table → rows
    n_tracks : int
        Swings whose tracks were written.
    without_track : tuple of (swing id, why)
        Swings whose kept track could not be read.
    """

    path: Path
    format: Format
    rows: dict[str, int]
    n_tracks: int = 0
    without_track: tuple[tuple[int, str], ...] = ()


def export(
    store: Store,
    target: Path,
    chosen: SwingFilter,
    *,
    form: Format | None = None,
    tracks: bool = False,
    anonymous: bool = False,
    replace: bool = False,
    progress: Progress = SILENT,
) -> Exported:
    """Write the chosen swings as tables.

    Parameters
    ----------
    store : Store
    target : Path
        A name ending in .csv or .parquet: one file with the measures. Any other: a folder with a file for each of
        measures, differences, positions, swings and sessions, and ``export.json``, the list of them.
    chosen : SwingFilter
    form : "csv", "parquet" or None
        None: as the file's name tells, CSV for a folder.
    tracks : bool
        Also ``tracks/swing-ID-pose.csv``, which reads again as a saved track, and ``tracks/swing-ID-club.csv``.
    anonymous : bool
        No names: players and references are numbered; places, what was worked on, tags, the clips' names and hashes
        are left out, and a club's name that holds a part of a player's.
    replace : bool
        Whether an export that is there already may be replaced. Nothing else ever is.

    Raises
    ------
    OutputError
        Something is in the way, or the disk is full.
    SetupError
        Parquet is asked for and pyarrow is not installed.
    """
    target = Path(target)
    single = check_suffix(target, form)
    chosen_form: Format = single or form or "csv"
    check_format(chosen_form)
    if single is not None and tracks:
        raise OutputError(f"{target.name} is one file, and tracks need a folder.", "Give a folder's name.")
    masks = _Names(store) if anonymous else None
    if single is not None:
        _check_file(store, target, replace)
        with one_state(store), _errors(target), atomic_path(target) as temporary:
            with Sheets({"measures": temporary}, chosen_form) as sheets:
                _write(store, chosen, sheets, None, masks, progress)
            return Exported(target, chosen_form, sheets.counts())
    with one_state(store), _new_folder(target, replace) as folder:
        with Sheets({table: folder / f"{table}.{chosen_form}" for table in TABLES}, chosen_form) as sheets:
            n_tracks, missing = _write(store, chosen, sheets, folder / TRACKS if tracks else None, masks, progress)
            _write_sessions(store, chosen, sheets, masks)
        rows = sheets.counts()
        listed = {
            "schema": SCHEMA,
            "kind": KIND,
            "overlay_version": __version__,
            "made_at": datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
            "anonymous": anonymous,
            "format": chosen_form,
            "tables": {
                table: {"file": f"{table}.{chosen_form}", "rows": rows[table], "columns": described(table)}
                for table in TABLES
            },
            "tracks": n_tracks if tracks else None,
        }
        write_text(folder / LIST, json.dumps(listed, indent=2) + "\n")
    return Exported(target, chosen_form, rows, n_tracks, missing)


# --- rows -------------------------------------------------------------------------------------------------------


def _write(
    store: Store,
    chosen: SwingFilter,
    sheets: Sheets,
    tracks: Path | None,
    masks: _Names | None,
    progress: Progress,
) -> tuple[int, tuple[tuple[int, str], ...]]:
    """Everything that belongs to a swing; returns how many tracks were written, and which were not and why."""
    n_tracks, missing = 0, []
    hashes = functools.lru_cache(maxsize=64)(lambda clip_id: store.clip(clip_id).content_hash)
    progress.stage("writing tables", total=float(store.count_swings(chosen)))
    try:
        for swing in pages(store, chosen, PAGE):
            shown = swing if masks is None else masks.swing(swing)
            whose = (swing.id, swing.session_id, shown.player, swing.date, shown.club, swing.view)
            _add_measures(store, swing, whose, sheets)
            if sheets.wants("differences"):
                _add_differences(store, swing, whose, sheets, masks)
            if sheets.wants("positions"):
                _add_positions(store, swing, whose, sheets)
            if sheets.wants("swings"):
                sha256 = None if masks is not None else hashes(swing.clip_id)
                sheets.add("swings", (*whose, *_of_swing(shown, sha256, anonymous=masks is not None)))
            if tracks is not None:
                problem = _write_tracks(store, swing, tracks, anonymous=masks is not None)
                if problem:
                    missing.append((swing.id, problem))
                else:
                    n_tracks += 1
            progress.advance()
    finally:
        progress.done()
    return n_tracks, tuple(missing)


def _add_measures(store: Store, swing: KeptSwing, whose: tuple[Any, ...], sheets: Sheets) -> None:
    for measure in store.measures_of(swing.id):
        low, high = measure.interval or (math.nan, math.nan)
        sheets.add(
            "measures",
            (
                *whose,
                measure.name,
                measure.value,
                measure.unit,
                low,
                high,
                bool(measure.valid),
                measure.reason,
                measure.position,
                measure.time_s,
            ),
        )


def _add_differences(
    store: Store, swing: KeptSwing, whose: tuple[Any, ...], sheets: Sheets, masks: _Names | None
) -> None:
    comparison = store.comparison(swing.id)
    if comparison is None:
        return
    name, key = comparison.reference_name, comparison.reference_key
    if masks is not None:
        name, key = masks.reference(key), ""
    for row in comparison.differences:
        sheets.add(
            "differences",
            (
                *whose,
                name,
                key,
                row.phase,
                row.part,
                row.value,
                *row.interval,
                *row.offset,
                row.value_cm,
                row.words,
                row.score,
                *row.score_interval,
                row.detectable,
                row.reason,
            ),
        )


def _add_positions(store: Store, swing: KeptSwing, whose: tuple[Any, ...], sheets: Sheets) -> None:
    positions = store.positions(swing.id)
    for position in positions.found:
        sheets.add(
            "positions",
            (*whose, position.name, position.time_s, position.sd_s, position.confidence, position.source, ""),
        )
    for name, reason in positions.missing.items():
        sheets.add("positions", (*whose, name, None, None, None, "", reason))


def _of_swing(swing: KeptSwing, sha256: str | None, *, anonymous: bool) -> tuple[Any, ...]:
    return (
        swing.clip_id,
        None if anonymous else str(swing.path),
        sha256,
        swing.number,
        swing.handedness,
        swing.impact_s,
        swing.slow_factor,
        swing.tempo_ratio,
        swing.first,
        swing.filming,
        bool(swing.is_best),
        ", ".join(swing.tags),
    )


def _write_sessions(store: Store, chosen: SwingFilter, sheets: Sheets, masks: _Names | None) -> None:
    """The sessions of the chosen players, days and clubs, also those of which no swing was chosen."""
    found: dict[int, Session] = {}
    for player in chosen.players or (None,):
        for club in chosen.clubs or (None,):
            for session in store.sessions(player, since=chosen.since, until=chosen.until, club=club):
                if not chosen.sessions or session.id in chosen.sessions:
                    found[session.id] = session
    for session in sorted(found.values(), key=lambda session: session.id):
        shown = session if masks is None else masks.session(session)
        sheets.add(
            "sessions",
            (
                session.id,
                shown.player,
                session.date,
                shown.club,
                shown.place,
                shown.worked_on,
                session.focus,
                session.aim,
                session.n_clips,
                session.n_failed,
                session.n_swings,
                ", ".join(shown.tags),
            ),
        )


# --- tracks -----------------------------------------------------------------------------------------------------


def _write_tracks(store: Store, swing: KeptSwing, folder: Path, *, anonymous: bool) -> str:
    """The pose and club of one swing as CSV; returns why not, "" when they were written."""
    try:
        kept = store.swing_model(swing.id).swings[swing.view]
    except (OverlayError, KeyError) as error:
        return error.message if isinstance(error, OverlayError) else f"it holds no swing from {swing.view}"
    name = f"swing-{swing.id:06d}"
    write_csv(
        folder / f"{name}-pose.csv",
        kept.pose,
        kept.view,
        kept.handedness,
        clip_path=None if anonymous else _told_name(swing.path),
    )
    if kept.club is not None and len(kept.club.time_s):
        write_club_csv(folder / f"{name}-club.csv", kept.club)
    return ""


def _told_name(path: Path) -> Path | None:
    """A clip's name as the comment line can hold it, which ends at a comma and at the end of the line."""
    name = str(path)
    return Path(name) if name.isprintable() and not re.search(r'[,;"=]', name) else None


def write_club_csv(path: Path, club: ClubTrack) -> None:
    """Write a club track as CSV, one row a frame; a missing number is an empty cell, numbers are exact.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    import csv

    def cell(value: float) -> str:
        return repr(value) if math.isfinite(value) else ""

    with atomic_path(path) as temporary, open(temporary, "w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(CLUB_COLUMNS)
        for time_s, (x, y), angle, length, state, sd in zip(
            club.time_s.tolist(),
            club.grip.tolist(),
            club.angle_deg.tolist(),
            club.length_px.tolist(),
            club.state,
            club.angle_sd_deg.tolist(),
        ):
            writer.writerow((repr(time_s), cell(x), cell(y), cell(angle), cell(length), state, cell(sd)))


# --- names ------------------------------------------------------------------------------------------------------


class _Names:
    """Numbers in place of names, the same number for the same player throughout."""

    def __init__(self, store: Store) -> None:
        self._players = {player.name: f"player {i}" for i, player in enumerate(store.players(), 1)}
        self._references: dict[str, str] = {}
        parts = {part for name in self._players for part in re.split(r"\W+", name.casefold()) if len(part) > 1}
        self._holds_name = (
            re.compile("|".join(map(re.escape, sorted(parts, key=len, reverse=True)))) if parts else re.compile(r"(?!)")
        )

    def player(self, name: str) -> str:
        return self._players.setdefault(name, f"player {len(self._players) + 1}")

    def reference(self, key: str) -> str:
        return self._references.setdefault(key, f"reference {len(self._references) + 1}")

    def club(self, club: str) -> str:
        return "" if self._holds_name.search(club.casefold()) else club

    def swing(self, swing: KeptSwing) -> KeptSwing:
        return dataclasses.replace(swing, player=self.player(swing.player), club=self.club(swing.club), tags=())

    def session(self, session: Session) -> Session:
        return dataclasses.replace(
            session,
            player=self.player(session.player),
            club=self.club(session.club),
            place="",
            worked_on="",
            tags=(),
        )


# --- files ------------------------------------------------------------------------------------------------------


def _check_file(store: Store, target: Path, replace: bool) -> None:
    if os.path.lexists(target):
        if not replace or not target.is_file():
            raise OutputError(f"{target} is there already.", "Choose another name, or give --replace to replace it.")
        # A saved track is a CSV too, and the library only knows where it lies.
        if any(_same(target, clip.path) for clip in store.clips()):
            raise OutputError(f"{target} is a clip of the library.", "Choose another name.")
    check_writable([target])


def _same(one: Path, other: Path) -> bool:
    return one.name.casefold() == other.name.casefold() and os.path.exists(other) and one.samefile(other)


@contextmanager
def _errors(target: Path) -> Iterator[None]:
    """What the system says while rows are written, as an error that names the target."""
    try:
        yield
    except OSError as error:
        raise output_error(target, error) from error


@contextmanager
def _new_folder(target: Path, replace: bool) -> Iterator[Path]:
    """A folder beside the target that takes its place when everything in it is written.

    Raises
    ------
    OutputError
        The target is a file, or a folder with anything in it but an earlier export that may be replaced.
    """
    old = _old_export(target, replace)
    with _errors(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        holder = Path(tempfile.mkdtemp(prefix=f".{target.name[:40]}.", suffix=".part", dir=target.parent))
        fresh, aside = holder / "new", holder / "old"
        try:
            fresh.mkdir()
            yield fresh
            if old:
                os.rename(target, aside)
                try:
                    os.rename(fresh, target)
                except OSError:
                    os.rename(aside, target)
                    raise
            else:
                if target.is_dir():
                    target.rmdir()
                os.rename(fresh, target)
        finally:
            shutil.rmtree(holder, ignore_errors=True)


def _old_export(target: Path, replace: bool) -> bool:
    """Whether an earlier export stands there that is to be replaced."""
    if not os.path.lexists(target):
        return False
    if not target.is_dir() or target.is_symlink():
        raise OutputError(
            f"{target} cannot be a folder: a file or a link of that name is in the way.",
            "Choose another name; one file is written where it ends in .csv or .parquet.",
        )
    with _errors(target):
        strange = _strange(target)
        if strange is None and not any(target.iterdir()):
            return False
    if strange is not None:
        raise OutputError(
            f"{target} holds something that is no export ({strange}).", "Choose another folder; nothing was changed."
        )
    if not replace:
        raise OutputError(
            f"{target} holds an earlier export.", "Choose another folder, or give --replace to replace it."
        )
    return True


def _strange(folder: Path) -> str | None:
    """The first thing in a folder that no export writes; None when there is none."""
    ours: Callable[[str], object] = re.compile(
        r"(?:measures|differences|positions|swings|sessions)\.(?:csv|parquet)"
    ).fullmatch
    track: Callable[[str], object] = re.compile(r"swing-[0-9]{6,}-(?:pose|club)\.csv").fullmatch
    entries = sorted(folder.iterdir())
    for path in entries:
        if path.name == TRACKS and path.is_dir() and not path.is_symlink():
            inner = next((p.name for p in sorted(path.iterdir()) if not track(p.name) or not p.is_file()), None)
            if inner is not None:
                return f"{TRACKS}/{inner}"
        elif not path.is_file() or not (path.name == LIST or ours(path.name)):
            return path.name
    return LIST + " is missing" if entries and not (folder / LIST).is_file() else None
