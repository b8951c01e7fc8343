"""Clips into the library: what it holds already is left alone, the rest is read and kept one clip at a time.

The process that calls this is the only one that writes. Each clip is kept in one transaction as soon as it was read,
so that an interruption, however it comes, costs the clips that were being read and no other; the next run finds them
missing and reads them.
"""

from __future__ import annotations

import dataclasses
import datetime
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from overlay.batch.arrivals import cut_off
from overlay.batch.engine import engine, inputs_of
from overlay.batch.finding import Found, When, find_clips, when_recorded
from overlay.batch.jobs import Pool, ReadJob
from overlay.batch.reading import changed, compare_kept
from overlay.batch.reference import Chosen, chosen_reference
from overlay.batch.spec import AddReport, AddRow, AddSpec
from overlay.data.record import ClipRead, KeptClip, Player, Session
from overlay.errors import ContentError, DataError, InputError, MismatchError, OutputError, OverlayError, SetupError
from overlay.files import has_content, sha256_of
from overlay.pipeline import ClipOptions
from overlay.pipeline.told import told_options
from overlay.progress import SILENT, Progress

if TYPE_CHECKING:
    from overlay.library import Store, SwingFilter

OWN_FAULTS = frozenset(kind.exit_code for kind in (InputError, ContentError, MismatchError, DataError))
"""What lies in the clip itself is kept with it. A missing pose model, a full disk, too little memory or a fault of
overlay is told and not kept: the next run tries again."""

TellRow = Callable[[AddRow], None]
TellRunning = Callable[[Path, str], None]
"""Told of a clip that is being read: the stage it has come to, "" when it is begun."""


def add_clips(
    store: Store,
    paths: Iterable[Path],
    spec: AddSpec,
    pool: Pool,
    progress: Progress = SILENT,
    told: TellRow | None = None,
    running: TellRunning | None = None,
) -> AddReport:
    """Add clips, and all clips of folders, to a player's sessions.

    Parameters
    ----------
    store : Store
        Open for writing; only this process writes.
    paths : iterable of Path
    spec : AddSpec
    pool : Pool
    progress : Progress
        One stage with the number of clips.
    told : function, optional
        Given every row as soon as its clip is done, with everything that was read.
    running : function, optional

    Returns
    -------
    AddReport

    Raises
    ------
    InputError
        A path is not there, or the reference is not; before anything is read.
    ContentError
        There is no clip in the folders.
    OutputError
        The library cannot be written; what was kept before stays.
    SetupError
        No worker can be started.
    """
    found = find_clips(paths)
    if not found.clips:
        raise ContentError(
            "There is no clip in what was given.",
            "Give videos, saved tracks, or a folder of them; a folder of stills is for `overlay inspect`.",
        )
    return Adding(store, spec, pool, progress, told, running).run(found)


def add_outdated(
    store: Store,
    spec: AddSpec | None,
    pool: Pool,
    progress: Progress = SILENT,
    told: TellRow | None = None,
    running: TellRunning | None = None,
) -> AddReport:
    """Read again every clip of the library that an older state of the code read, where its file is still found.

    ``spec`` says the player whose clips are meant; None: all players. Raises as ``add_clips``.
    """
    player = None if spec is None else store.player(spec.player).name
    sessions = {session.id: session for session in store.sessions(player)}
    old = [clip for clip in store.clips() if clip.session_id in sessions and clip.engine != engine()]
    adding = Adding(store, spec or AddSpec(player=""), pool, progress, told, running, renewing=True)
    return adding.run(Found(tuple(clip.path for clip in old)))


@dataclass(frozen=True)
class _Plan:
    """A clip on its way: what was known before it was read."""

    job: ReadJob
    when: When
    status: tuple[int, int]
    kept: KeptClip | None
    begun_at: float = 0.0


class Adding:
    """One run over some clips; ``run`` may be called again for more of the same session."""

    def __init__(
        self,
        store: Store,
        spec: AddSpec,
        pool: Pool,
        progress: Progress = SILENT,
        told: TellRow | None = None,
        running: TellRunning | None = None,
        *,
        renewing: bool = False,
    ) -> None:
        self.store = store
        self.spec = spec
        self.pool = pool
        self._progress = progress
        self._told = told
        self._running = running
        self._renewing = renewing
        self._plans: dict[str, _Plan] = {}
        self._seen: dict[str, Path] = {}
        self._rows: list[AddRow] = []
        self._player: Player | None = None
        self.reference: Chosen | None = None
        self.notes: tuple[str, ...] = ()
        self._prepared = False
        self._described: set[int] = set()
        self._ready = False

    def prepare(self) -> None:
        """Look up the player and the reference, before anything long is done. Raises as ``add_clips``."""
        if self._prepared:
            return
        self._prepared = True
        if self._renewing:
            return
        known = {_plain(player.name): player for player in self.store.players()}
        self._player = known.get(_plain(self.spec.player))
        self.reference, note = chosen_reference(self.store, self.spec, self._player, progress=self._progress)
        self.notes = (note,) if note else ()

    def run(self, found: Found) -> AddReport:
        """Bring these clips in."""
        self.prepare()
        self._rows = []
        self._seen = {}
        self._progress.stage("reading clips", len(found.clips))
        try:
            for read in self.pool.run(self._jobs(found.clips), self._tell_running):
                self._row(self._kept_or_not(read), read)
        finally:
            self._progress.done()
            self._plans.clear()
        return AddReport(
            tuple(dataclasses.replace(row, read=None) for row in self._rows),
            found.left_out,
            "" if self.reference is None else self.reference.name,
            self.notes,
        )

    # --- before a clip is read ---

    def _jobs(self, clips: Iterable[Path]) -> Iterator[ReadJob]:
        """What is to be read, drawn as workers become free; what need not be read is told at once."""
        for path in clips:
            try:
                planned = self._plan(path)
            except (OutputError, SetupError):
                # The library's or the machine's fault: the next clip would fare no better.
                raise
            except OverlayError as error:
                planned = AddRow(path, "failed", problem=error.message, hint=error.hint, code=error.exit_code)
            if isinstance(planned, AddRow):
                self._row(planned)
            else:
                self._plans[planned.job.content_hash] = planned
                yield planned.job

    def _plan(self, path: Path) -> _Plan | AddRow:
        if self._renewing and not path.exists():
            return AddRow(path, "skipped", problem="The file is no longer there.", hint="What was read of it stays.")
        status = _status(path)
        if status[0] == 0:
            raise InputError(f"{path.name} is empty.", "Copy it from the camera again.")
        if cut_off(path):
            # Read all the same, its swing would count once more when the whole clip is there.
            raise InputError(f"{path.name} is cut off: its end is missing.", "Copy it from the camera again.")
        content_hash = sha256_of(path)
        if content_hash in self._seen:
            first = self._seen[content_hash]
            return AddRow(path, "skipped", problem=f"It is the same clip as {first.name}.", hint="One of them is kept.")
        self._seen[content_hash] = path
        kept = self.store.clip_by_hash(content_hash)
        if self._renewing and kept is None:
            return AddRow(
                path, "skipped", problem="It is another file now.", hint="What was read of the old one stays."
            )
        player = self._owner(kept)
        if kept is not None and not self._renewing and _plain(player) != _plain(self.spec.player):
            return self._of_another(path, kept, player)
        options = self._options(kept)
        inputs = inputs_of(path, options)
        if kept is not None:
            row = self._known(path, kept, inputs)
            if row is not None:
                return row
        self._make_ready(path)
        when = when_recorded(path, status[1] / 1e9)
        chosen = self.reference or self._last_reference(kept)
        job = ReadJob(
            path=path,
            content_hash=content_hash,
            options=options,
            size_bytes=status[0],
            recorded_at=when.seconds,
            inputs=inputs,
            reference=None if chosen is None else chosen.content,
            reference_name="" if chosen is None else chosen.name,
            same_player=chosen is not None and chosen.same_player,
        )
        return _Plan(job, when, status, kept)

    def _make_ready(self, path: Path) -> None:
        """Have the pose model there before several workers look for it at once."""
        from overlay.pose import is_saved_track
        from overlay.pose.model import ensure_model

        if not self._ready and getattr(self.pool, "reads_here", False) and not is_saved_track(path):
            ensure_model(self._progress)
            self._ready = True

    def _owner(self, kept: KeptClip | None) -> str:
        return "" if kept is None else self.store.session(kept.session_id).player

    def _of_another(self, path: Path, kept: KeptClip, player: str) -> AddRow:
        session = self.store.session(kept.session_id)
        return AddRow(
            path,
            "skipped",
            problem=f"It is in the library as a clip of {player}, {session.date.isoformat()}.",
            hint=f"A clip belongs to one player: if that was wrong, remove it from {player}'s session first.",
            code=MismatchError.exit_code,
        )

    def _options(self, kept: KeptClip | None) -> ClipOptions:
        """What is told now; beyond that what is known of the player, and what was told of this clip before."""
        options, player = self.spec.options, self._player
        before = None
        if kept is not None and kept.told and not (self.spec.again and not self._renewing):
            try:
                before = told_options(kept.told)
            except InputError:
                before = None  # then it is read as it is told now
        if before is not None:
            options = dataclasses.replace(
                options,
                view=options.view or before.view,
                handedness=options.handedness or before.handedness,
                capture_rate=options.capture_rate or before.capture_rate,
                mirrored=options.mirrored or before.mirrored,
                rotation_deg=before.rotation_deg if options.rotation_deg is None else options.rotation_deg,
                allow_others=options.allow_others or before.allow_others,
                stature_cm=options.stature_cm or before.stature_cm,
                everywhere=options.everywhere or before.everywhere,
            )
        if player is not None:
            options = dataclasses.replace(
                options,
                handedness=options.handedness or player.handedness,
                stature_cm=options.stature_cm or player.stature_cm,
            )
        # Every swing of a recording is kept.
        return dataclasses.replace(options, swing=None)

    def _known(self, path: Path, kept: KeptClip, inputs: str) -> AddRow | None:
        """The row of a clip that need not be read; None where it must be."""
        if self.spec.again or kept.engine != engine() or kept.inputs != inputs:
            return None
        session = self.store.session(kept.session_id)
        moved = False
        if kept.path != path and not has_content(kept.path, kept.content_hash, kept.size_bytes):
            self.store.moved(kept.id, path)
            moved = True
        if kept.problem:
            return AddRow(
                path,
                "failed",
                problem=kept.problem,
                hint=f"{kept.hint} It was not tried again: give --again, or tell more about the clip.".strip(),
                session_id=kept.session_id,
                code=ContentError.exit_code,
                date=session.date,
            )
        swings = [swing for swing in self.store.swings(_session_filter(kept)) if swing.clip_id == kept.id]
        notes = [self._other_session(session.date, session.club)] if self._wants_other(session) else []
        compared = self._compare_known(kept)
        if compared:
            notes.append(compared)
        self._tag(swing.id for swing in swings)
        self._describe(session)
        swings.sort(key=lambda swing: swing.number)
        return AddRow(
            path,
            "moved" if moved else "known",
            n_swings=kept.n_swings,
            views=tuple(dict.fromkeys(swing.view for swing in swings)),
            first=swings[-1].first if swings else "",
            session_id=kept.session_id,
            note=" ".join(notes),
            date=session.date,
            swing_ids=tuple(swing.id for swing in swings),
        )

    def _wants_other(self, session: Session) -> bool:
        """Whether the clip lies in another session than it is given for now."""
        date, club = session.date, session.club
        spec = self.spec
        return (spec.date is not None and spec.date != date) or (bool(spec.club) and _plain(spec.club) != _plain(club))

    @staticmethod
    def _other_session(date: datetime.date, club: str) -> str:
        return f"It stays in the session of {date}{f', {club}' if club else ''}."

    def _compare_known(self, kept: KeptClip) -> str:
        """Hold the kept swings of a clip against a reference that they were not compared with yet."""
        if self.reference is None:
            return ""
        done = 0
        for swing in self.store.swings(_session_filter(kept)):
            if swing.clip_id != kept.id:
                continue
            before = self.store.comparison(swing.id, self.reference.key)
            if before is not None and before.engine == engine():
                continue
            comparison = compare_kept(
                self.store.swing_model(swing.id),
                self.reference.content,
                self.reference.name,
                same_player=self.reference.same_player,
                stature_cm=self._options(kept).stature_cm,
            )
            if comparison is not None:
                self.store.keep_reference(self.reference.key, self.reference.name, self.reference.content)
                self.store.keep_comparison(swing.id, comparison)
                done += 1
        return f"Now compared with {self.reference.name}." if done else ""

    def _last_reference(self, kept: KeptClip | None) -> Chosen | None:
        """What a clip was compared with last, so that reading it again does not lose the comparison."""
        if kept is None:
            return None
        for swing in self.store.swings(_session_filter(kept)):
            if swing.clip_id == kept.id and (last := self.store.comparison(swing.id)) is not None:
                try:
                    return Chosen(last.reference_name, self.store.reference(last.reference_key))
                except InputError:
                    return None
        return None

    # --- after a clip was read ---

    def _tell_running(self, job: ReadJob, stage: str) -> None:
        plan = self._plans.get(job.content_hash)
        if plan is not None and not stage:
            self._plans[job.content_hash] = dataclasses.replace(plan, begun_at=time.monotonic())
        if self._running is not None:
            self._running(job.path, stage)

    def _kept_or_not(self, read: ClipRead) -> AddRow:
        """The clip kept; where the library refuses this one clip, the others go on."""
        try:
            return self._keep(read)
        except (InputError, DataError) as error:
            # Its session was removed by another program just now, or what was read contradicts itself.
            return AddRow(read.path, "failed", problem=error.message, hint=error.hint, code=error.exit_code)

    def _keep(self, read: ClipRead) -> AddRow:
        plan = self._plans.pop(read.content_hash)
        seconds = time.monotonic() - plan.begun_at if plan.begun_at else 0.0
        path = plan.job.path
        dated_by: Literal["told", "clip", "file"] = (
            "told" if self.spec.date is not None else "clip" if plan.when.from_file else "file"
        )
        date = self.spec.date or plan.when.date
        failed = AddRow(
            path,
            "failed",
            problem=read.problem,
            hint=read.hint,
            code=read.problem_code or (1 if read.problem else 0),
            seconds=seconds,
            date=date,
            dated_by=dated_by,
        )
        if (spoilt := self._spoilt(plan)) is not None:
            return dataclasses.replace(failed, problem=spoilt.message, hint=spoilt.hint, code=spoilt.exit_code)
        # Another process may have been at the same clip meanwhile.
        kept = self.store.clip_by_hash(read.content_hash)
        if kept is not None and not self._renewing:
            player = self._owner(kept)
            if _plain(player) != _plain(self.spec.player):
                return self._of_another(path, kept, player)
        if kept is not None and not kept.problem and read.problem:
            session = self.store.session(kept.session_id)
            return dataclasses.replace(
                failed,
                hint=f"{read.hint} What was read of it before stays.".strip(),
                session_id=kept.session_id,
                date=session.date,
                dated_by="told",
            )
        if read.problem and read.problem_code not in OWN_FAULTS:
            return dataclasses.replace(failed, session_id=None if kept is None else kept.session_id)
        came_meanwhile = kept is not None and plan.kept is None
        if kept is not None and came_meanwhile and (kept.inputs, kept.engine) == (read.inputs, read.engine):
            return self._known(path, kept, read.inputs) or failed
        session_id = kept.session_id if kept is not None else self._session(date)
        saved = self._save(session_id, plan, read)
        if read.problem:
            return dataclasses.replace(failed, session_id=session_id)
        self._drop_failed(saved)
        swings = sorted(
            (one for one in self.store.swings(_session_filter(saved)) if one.clip_id == saved.id),
            key=lambda one: one.number,
        )
        self._tag(swing.id for swing in swings)
        last = read.swings[-1]
        notes = [note for note in read.notes if note.startswith(("Not compared", "Swing "))]
        if kept is not None:
            session = self.store.session(session_id)
            self._describe(session)
            date, dated_by = session.date, "told"
            if self._wants_other(session):
                notes.append(self._other_session(session.date, session.club))
        return AddRow(
            path,
            "added" if kept is None or kept.problem else "renewed",
            n_swings=len(read.swings),
            views=tuple(dict.fromkeys(swing.view for swing in read.swings)),
            first=last.first_focus,
            session_id=session_id,
            seconds=seconds,
            first_sentence=last.first_sentence,
            note=" ".join(dict.fromkeys(notes)),
            date=date,
            dated_by=dated_by,
            swing_ids=tuple(swing.id for swing in swings),
        )

    def _spoilt(self, plan: _Plan) -> OverlayError | None:
        """The error where a file changed while it was read: then what was read is of neither."""
        try:
            same = _status(plan.job.path) == plan.status or sha256_of(plan.job.path) == plan.job.content_hash
        except OverlayError:
            # Gone after it was read: what was read is right all the same.
            return None
        return None if same else changed(plan.job.path.name)

    def _session(self, date: datetime.date) -> int:
        spec = self.spec
        player = self.store.ensure_player(spec.player)
        session = self.store.ensure_session(
            player.id,
            date,
            spec.club,
            place=spec.place,
            worked_on=spec.worked_on,
            focus=spec.focus,
            aim=spec.aim,
        )
        return session.id

    def _describe(self, session: Session) -> None:
        """Say of a session that was there already what is told of it now; of another one than is meant, nothing."""
        spec = self.spec
        told = (spec.place, spec.worked_on, spec.focus, spec.aim)
        if session.id in self._described or all(value is None for value in told) or self._wants_other(session):
            return
        self._described.add(session.id)
        self.store.change_session(
            session.id, place=spec.place, worked_on=spec.worked_on, focus=spec.focus, aim=spec.aim
        )

    def _save(self, session_id: int, plan: _Plan, read: ClipRead) -> KeptClip:
        """Keep the clip; the reference goes first, since a comparison names it."""
        if plan.job.reference is not None and any(swing.comparison is not None for swing in read.swings):
            from overlay.batch.reading import reference_key

            self.store.keep_reference(reference_key(plan.job.reference), plan.job.reference_name, plan.job.reference)
        return self.store.keep(session_id, read)

    def _drop_failed(self, saved: KeptClip) -> None:
        """Take out what lay at the same place before and could not be read, such as the first half of a copy.

        It is gone from the disk, nothing was read of it, and the session would tell of its failure for ever.
        """
        for clip in self.store.clips(saved.session_id):
            if clip.problem and clip.path == saved.path and clip.id != saved.id:
                if self.store.notes("clip", clip.id) or self.store.tags("clip", clip.id):
                    continue  # somebody said something of it
                self.store.remove_clip(clip.id)

    def _tag(self, swing_ids: Iterable[int]) -> None:
        for swing_id in swing_ids:
            for word in self.spec.tags:
                self.store.tag("swing", swing_id, word)

    def _row(self, row: AddRow, read: ClipRead | None = None) -> None:
        self._rows.append(row)
        self._progress.advance()
        if self._told is not None:
            self._told(dataclasses.replace(row, read=read))


def _plain(name: str) -> str:
    """Names that differ in case or spaces alone are the same."""
    return " ".join(name.split()).casefold()


def _session_filter(clip: KeptClip) -> SwingFilter:
    from overlay.library import SwingFilter

    return SwingFilter(sessions=(clip.session_id,))


def _status(path: Path) -> tuple[int, int]:
    """(size in bytes, time of the last change in ns)."""
    try:
        known = path.stat()
    except OSError as error:
        raise InputError(
            f"{path} cannot be read: {error.strerror or error}.", "Check the name and the permissions."
        ) from error
    return known.st_size, known.st_mtime_ns
