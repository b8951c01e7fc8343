"""A folder into which clips arrive: each is read as soon as it is whole, and compared at once."""

from __future__ import annotations

import dataclasses
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from overlay.batch.adding import Adding, TellRow, TellRunning
from overlay.batch.arrivals import Arrivals, not_whole
from overlay.batch.finding import Found
from overlay.batch.jobs import Pool
from overlay.batch.newest import NewestFolder
from overlay.batch.spec import AddReport, AddRow, AddSpec
from overlay.data.record import ClipRead
from overlay.errors import InputError, OverlayError
from overlay.progress import SILENT, Progress
from overlay.settings.batch import WatchSettings

if TYPE_CHECKING:
    from overlay.library import Store

TellLate = Callable[[Path, str], None]
"""Told, once, of a file that does not become whole, and why."""

TellNewest = Callable[[Path, dict[str, Path], OverlayError | None], None]
"""Told of a clip whose comparison was written: where, or why not."""


def watch_folder(
    store: Store,
    folder: Path,
    spec: AddSpec,
    pool: Pool,
    progress: Progress = SILENT,
    told: TellRow | None = None,
    running: TellRunning | None = None,
    *,
    out: NewestFolder | None = None,
    late: TellLate | None = None,
    written: TellNewest | None = None,
    until: Callable[[], bool] | None = None,
    only_new: bool = False,
    settings: WatchSettings | None = None,
) -> AddReport:
    """Add the clips of a folder as they arrive, until Ctrl-C.

    What is there already comes first. As many clips as there are workers are read at a time, the newest first, so that
    a clip that arrives while a backlog is worked off does not wait for all of it.

    Parameters
    ----------
    store : Store
    folder : Path
    spec : AddSpec
    pool : Pool
    progress, told, running
        As ``add_clips``.
    out : NewestFolder, optional
        Where the comparison of the newest clip is written.
    late, written : function, optional
    until : function, optional
        Asked between looks: True ends the watch.
    only_new : bool
        Leave what is in the folder at the start.
    settings : WatchSettings

    Returns
    -------
    AddReport
        Of the clips as they were last seen, in the order in which they came in.

    Raises
    ------
    InputError
        The folder or the reference is not there; the folder goes away meanwhile.
    OutputError
        The library cannot be written.
    """
    settings = settings or WatchSettings()
    if not folder.is_dir():
        raise InputError(f"There is no folder {folder}.", "Give the folder into which the clips are copied.")
    if out is not None:
        out.check(folder)
    newest: dict[Path, ClipRead] = {}
    rows: dict[Path, AddRow] = {}

    def tell(row: AddRow) -> None:
        rows.pop(row.path, None)
        rows[row.path] = dataclasses.replace(row, read=None)
        if row.read is not None and row.state in ("added", "renewed"):
            newest[row.path] = row.read
        if told is not None:
            told(row)

    adding = Adding(store, spec, pool, progress, tell, running)
    adding.prepare()
    arrivals = Arrivals(folder, () if out is None else (out.folder,), settings)
    if only_new:
        arrivals.ignore_present()
    try:
        while until is None or not until():
            ready = arrivals.look()
            for path, why in arrivals.late:
                if late is not None:
                    late(path, why)
            if not ready:
                time.sleep(settings.poll_s)
                continue
            batch = ready[: max(1, pool.workers)]
            newest.clear()
            adding.run(Found(tuple(batch)))
            arrivals.taken(batch)
            # Of several that came together the last one filmed is the one the player waits for.
            last = next((newest[path] for path in batch if path in newest), None)
            if out is not None and last is not None and adding.reference is not None:
                _write(out, last, adding, progress, written)
    except KeyboardInterrupt:
        pass  # the way in which a watch ends; what was being read is read by the next run
    reference = "" if adding.reference is None else adding.reference.name
    waiting = tuple(
        (path, "not whole" if not_whole(path) else "not read yet") for path in arrivals.unfinished if path not in rows
    )
    return AddReport(tuple(rows.values()), waiting, reference, adding.notes)


def _write(out: NewestFolder, read: ClipRead, adding: Adding, progress: Progress, written: TellNewest | None) -> None:
    """Write the comparison; what is wrong with one clip does not end the watch."""
    assert adding.reference is not None
    try:
        paths, error = dict(out.write(read, adding.reference, progress=progress)), None
    except OverlayError as problem:
        paths, error = {}, problem
    if written is not None:
        written(read.path, paths, error)
