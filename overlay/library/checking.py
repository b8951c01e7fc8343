"""Whether the library is sound: every promise of the tables, looked at again."""

from __future__ import annotations

import hashlib
import sqlite3
import time
from pathlib import Path

from overlay.errors import InputError, OverlayError
from overlay.library.base import Part
from overlay.library.forgetting import wipe_is_pending
from overlay.library.opening import applied, check_known, copies_before, leftovers, strangers
from overlay.library.schema import MIGRATIONS, fit
from overlay.library.words import key, path_of, plain
from overlay.progress import SILENT, Progress

_COUNTS: tuple[tuple[str, str], ...] = (
    (
        "Clip {0} says it has {1} swings and has {2}.",
        """SELECT c.id, c.n_swings, (SELECT count(*) FROM swings s WHERE s.clip_id = c.id) AS n FROM clips c
        WHERE n <> c.n_swings""",
    ),
    (
        "Clip {0} has neither swings nor a problem.",
        "SELECT id FROM clips WHERE n_swings = 0 AND problem = ''",
    ),
    (
        "Clip {0} has a problem, and {1} swings.",
        "SELECT id, n_swings FROM clips WHERE n_swings > 0 AND problem <> ''",
    ),
    (
        "Swing {0} has no clip.",
        "SELECT s.id FROM swings s LEFT JOIN clips c ON c.id = s.clip_id WHERE c.id IS NULL",
    ),
    (
        "Swing {0} stands in session {1}, its clip in session {2}.",
        """SELECT s.id, s.session_id, c.session_id FROM swings s JOIN clips c ON c.id = s.clip_id
        WHERE c.session_id <> s.session_id""",
    ),
    (
        "Swing {0} has no track.",
        "SELECT s.id FROM swings s LEFT JOIN tracks t ON t.swing_id = s.id WHERE t.swing_id IS NULL",
    ),
    (
        "Swing {0} has {1} positions instead of 9.",
        """SELECT s.id, (SELECT count(*) FROM positions p WHERE p.swing_id = s.id) AS n FROM swings s WHERE n <> 9""",
    ),
    (
        "The {2} of swing {0} does not lie after the {1}.",
        """SELECT swing_id, before, name FROM (SELECT swing_id, name, time_s,
            lag(time_s) OVER one AS earlier, lag(name) OVER one AS before FROM positions
            WHERE time_s IS NOT NULL WINDOW one AS (PARTITION BY swing_id ORDER BY place))
        WHERE time_s <= earlier""",
    ),
    (
        "Swing {0} says it has {1} measures and has {2}.",
        """SELECT s.id, s.n_measures, (SELECT count(*) FROM measures m WHERE m.swing_id = s.id) AS n FROM swings s
        WHERE n <> s.n_measures""",
    ),
    (
        "Swing {0} says it has {1} filming findings and has {2}.",
        """SELECT s.id, s.n_findings, (SELECT count(*) FROM findings f WHERE f.swing_id = s.id) AS n FROM swings s
        WHERE n <> s.n_findings""",
    ),
    (
        "The measure {1} of swing {0} stands in another session or view than the swing.",
        """SELECT s.id, k.name FROM measures m JOIN swings s ON s.id = m.swing_id JOIN kinds k ON k.id = m.kind_id
        WHERE m.session_id <> s.session_id OR k.view <> s.view""",
    ),
    (
        "The measure {1} of swing {0} is of another moment than the swing.",
        """SELECT s.id, k.name FROM measures m JOIN swings s ON s.id = m.swing_id JOIN kinds k ON k.id = m.kind_id
        WHERE m.taken_at IS NOT s.taken_at""",
    ),
    (
        "The measure {1} of swing {0} is {2}.",
        """SELECT m.swing_id, k.name, CASE WHEN m.value IS NULL THEN 'missing' ELSE m.value END
        FROM measures m JOIN kinds k ON k.id = m.kind_id
        WHERE (m.valid = 1 AND m.value IS NULL) OR abs(m.value) >= 9e999""",
    ),
    (
        "The interval of the measure {1} of swing {0} ends before it begins.",
        """SELECT m.swing_id, k.name FROM measures m JOIN kinds k ON k.id = m.kind_id WHERE m.low > m.high""",
    ),
    (
        "The comparison of swing {0} says it has {1} differences and has {2}.",
        """SELECT k.swing_id, k.n_differences, (SELECT count(*) FROM differences d
            WHERE d.swing_id = k.swing_id AND d.reference_id = k.reference_id AND d.session_id = k.session_id) AS n
        FROM comparisons k WHERE n <> k.n_differences""",
    ),
    (
        "A difference of swing {0} belongs to no comparison.",
        """SELECT DISTINCT d.swing_id FROM differences d LEFT JOIN comparisons k ON k.swing_id = d.swing_id
            AND k.reference_id = d.reference_id AND k.session_id = d.session_id WHERE k.id IS NULL""",
    ),
    (
        "Swing {0} is marked as a best one and is not there.",
        "SELECT b.swing_id FROM best b LEFT JOIN swings s ON s.id = b.swing_id WHERE s.id IS NULL",
    ),
    (
        "The counter of {0} stands at {1}, behind {2}.",
        " UNION ALL ".join(
            f"SELECT name, seq, (SELECT max(id) FROM {table}) AS n FROM sqlite_sequence "
            f"WHERE name = '{table}' AND seq < (SELECT max(id) FROM {table})"
            for table in ("players", "sessions", "clips", "swings", "notes", "reference_models", "comparisons")
        ),
    ),
)


class Checking(Part):
    """The check of the store."""

    def check(self, progress: Progress = SILENT, *, read_tracks: bool = True) -> tuple[str, ...]:
        """What is wrong with the library, as sentences; empty when it is sound.

        Parameters
        ----------
        progress : Progress
        read_tracks : bool
            Whether every track is also read as a model; its hash is looked at in any case.

        Raises
        ------
        OutputError
            Another program holds the library for too long.
        """
        found: list[str] = []
        steps = (
            ("looking at the file", self._check_file),
            ("counting", self._check_rows),
            ("comparing names", self._check_names),
        )
        for name, step in steps:
            progress.stage(name)
            try:
                found += step()
            except InputError as error:
                # So damaged that a query cannot be answered: that is the answer.
                found.append(error.message)
            progress.done()
        try:
            found += self._check_tracks(progress, read_tracks)
        except InputError as error:
            found.append(error.message)
        found += self._check_beside()
        most = self._db.settings.max_findings
        unique = list(dict.fromkeys(found))
        return tuple(unique[:most] + ([f"… and {len(unique) - most} more."] if len(unique) > most else []))

    def remarks(self) -> tuple[str, ...]:
        """What a user may want to know though nothing is wrong: files that are gone, references not kept."""
        result = []
        for session_id, date, path in self._db.rows(
            """SELECT c.session_id, x.date, c.path FROM clips c JOIN sessions x ON x.id = c.session_id
            ORDER BY x.date, c.id"""
        ):
            if not path_of(path).exists():
                result.append(
                    f"{path_of(path)} (session {session_id}, {date}) is not there any more; what was read is kept."
                )
        for (name,) in self._db.rows("SELECT name FROM reference_models WHERE content IS NULL ORDER BY id"):
            result.append(f"Of the reference {name} only the name is kept, not the swing itself.")
        for copy in copies_before(self.path):
            result.append(f"{copy.name} is a copy of the library from before; `overlay forget` removes it too.")
        return tuple(result)

    def _check_file(self) -> list[str]:
        found = [
            f"The file is damaged: {plain(row[0], 200)}."
            for row in self._db.rows("PRAGMA integrity_check(100)")
            if row[0] != "ok"
        ]
        for table, rowid, parent, _ in self._db.rows("PRAGMA foreign_key_check"):
            found.append(f"A row of {table} ({rowid}) belongs to a row of {parent} that is not there.")
        have = applied(self._db)
        try:
            check_known(self.path, have)
        except InputError as error:
            found.append(error.message)
        there = set(self._db.rows("SELECT type, name FROM sqlite_master"))
        found += [f"The library lacks the {kind} {name}." for kind, name in sorted(wanted_parts() - there)]
        found += [f"The library holds {what}, which overlay never made." for what in strangers(self._db)]
        version = self._db.number("PRAGMA user_version")
        if version != len(have):
            found.append(f"The file's version is {version}, and it has {len(have)} migrations.")
        return found

    def _check_rows(self) -> list[str]:
        found = []
        for sentence, query in _COUNTS:
            rows = self._db.rows(f"{query} LIMIT ?", (self._db.settings.max_findings + 1,))
            found += [sentence.format(*row) for row in rows]
        return found

    def _check_names(self) -> list[str]:
        found = []
        for id, name, kept in self._db.rows("SELECT id, name, name_key FROM players"):
            if key(name) != kept:
                found.append(f"Player {id} ({name}) is filed under another name.")
        for id, club, kept in self._db.rows("SELECT id, club, club_key FROM sessions"):
            if key(club) != kept:
                found.append(f"Session {id} is filed under another club than {club!r}.")
        for digest, content in self._db.rows("SELECT key, content FROM reference_models WHERE content IS NOT NULL"):
            if hashlib.sha256(content).hexdigest() != digest:
                found.append(f"The reference {digest[:12]}… is not what was kept under that key.")
        return found

    def _check_tracks(self, progress: Progress, read: bool) -> list[str]:
        from overlay.models import model_of

        found: list[str] = []
        total = self._db.number("SELECT count(*) FROM tracks")
        progress.stage("reading tracks", float(total))
        last = 0
        while True:
            rows = self._db.rows(
                """SELECT t.swing_id, t.sha256, t.content, s.view FROM tracks t LEFT JOIN swings s ON s.id = t.swing_id
                WHERE t.swing_id > ? ORDER BY t.swing_id LIMIT 50""",
                (last,),
            )
            if not rows:
                break
            for swing_id, digest, content, view in rows:
                last = swing_id
                if hashlib.sha256(content).hexdigest() != digest:
                    found.append(f"The track of swing {swing_id} is not what was kept.")
                elif read:
                    try:
                        model = model_of(bytes(content), f"The track of swing {swing_id}")
                        if view not in model.swings:
                            found.append(f"The track of swing {swing_id} is of another view than the swing.")
                    except OverlayError as error:
                        found.append(error.message)
            progress.advance(float(len(rows)))
        progress.done()
        return found

    def _check_beside(self) -> list[str]:
        found = []
        try:
            if wipe_is_pending(self._db):
                found.append("A player was removed and traces are left in the file; opening it alone ends the removal.")
        except InputError as error:
            found.append(error.message)
        for left in leftovers(self.path):
            # A younger one may be the work of a program that is still at it.
            if _age_s(left) < self._db.settings.leftover_s:
                continue
            found.append(f"{left.name} beside the library was left by a program that was ended; it can be removed.")
        return found


def wanted_parts() -> set[tuple[str, str]]:
    """(table or index, name) of everything the migrations make."""
    db = sqlite3.connect(":memory:")
    for migration in MIGRATIONS:
        for statement in migration.statements:
            db.execute(fit(statement))
    found = {(row[0], row[1]) for row in db.execute("SELECT type, name FROM sqlite_master")}
    db.close()
    return found


def _age_s(path: Path) -> float:
    try:
        return time.time() - path.stat().st_mtime
    except OSError:
        return 0.0
