"""Removing a person wholly: every row, and what was left of them in the library's files."""

from __future__ import annotations

import re
import sqlite3
import time
from dataclasses import dataclass

from overlay.errors import InputError, OutputError
from overlay.files import output_error
from overlay.library.base import Part
from overlay.library.connection import Connection, is_busy, told_error
from overlay.library.opening import copies_before
from overlay.library.renaming import drop_former_names, former_names
from overlay.library.words import key, now

PENDING = "wipe pending since"


@dataclass(frozen=True)
class Forgotten:
    """What was removed.

    Attributes
    ----------
    n_sessions, n_clips, n_swings : int
    hashes : tuple of str
        Hex SHA-256 of the clips, for whoever keeps something under them (the cache of tracks).
    """

    n_sessions: int
    n_clips: int
    n_swings: int
    hashes: tuple[str, ...]


class Forgetting(Part):
    """Removal of a person from the store."""

    def forget(self, player: str) -> Forgotten:
        """Remove all that is kept of a player, and every trace of it in the library's own files.

        Rows go in one transaction; with them go references that are swings of the player, and what others were
        compared with them. Then the file is written anew without the freed space, and the copies that were made before
        a migration are removed, since they hold the player too. If that is interrupted, the library finishes it when
        it is opened next.

        Raises
        ------
        InputError
            There is no such player.
        OutputError
            Another program holds the library for too long, or the disk is full; the message says what is left.
        """
        with self._db.writing():
            id = self._player_id(player)
            (name,) = self._db.rows("SELECT name FROM players WHERE id = ?", (id,))[0]
            in_sessions = "IN (SELECT id FROM sessions WHERE player_id = ?)"
            hashes = tuple(
                row[0]
                for row in self._db.rows(
                    f"SELECT content_hash FROM clips WHERE session_id {in_sessions} ORDER BY id", (id,)
                )
            )
            n_sessions = self._db.number("SELECT count(*) FROM sessions WHERE player_id = ?", (id,))
            n_swings = self._db.number(f"SELECT count(*) FROM swings WHERE session_id {in_sessions}", (id,))
            swings = {row[0] for row in self._db.rows(f"SELECT id FROM swings WHERE session_id {in_sessions}", (id,))}
            for called in (name, *former_names(self._db, id)):
                self._forget_references(called, id)
                self._forget_choices(called, swings)
            drop_former_names(self._db, id)
            self._db.run("DELETE FROM players WHERE id = ?", (id,))
            # References nobody is compared with any more; the player may be in them.
            self._db.run("DELETE FROM reference_models WHERE id NOT IN (SELECT reference_id FROM comparisons)")
            self._db.run("INSERT OR REPLACE INTO facts (name, value) VALUES (?, ?)", (PENDING, now()))
        wipe(self._db)
        return Forgotten(n_sessions, len(hashes), n_swings, hashes)

    def _forget_references(self, name: str, id: int) -> None:
        """Remove the references that are this player's swings, whoever was compared with them."""
        from overlay.models import model_of

        own = {
            row[0]
            for row in self._db.rows(
                """SELECT t.sha256 FROM tracks t JOIN swings s ON s.id = t.swing_id
                JOIN sessions x ON x.id = s.session_id WHERE x.player_id = ?""",
                (id,),
            )
        }
        for reference_id, digest, called in self._db.rows("SELECT id, key, name FROM reference_models"):
            theirs = digest in own or named_in(name, called)
            row = None if theirs else self._db.one("SELECT content FROM reference_models WHERE id = ?", (reference_id,))
            if row is not None and row[0] is not None:
                try:
                    model = model_of(bytes(row[0]), called)
                    texts = (model.name, model.player, *model.provenance.sources, *model.provenance.notes)
                    theirs = any(named_in(name, text) for text in texts)
                except InputError:
                    # What cannot be read cannot be cleared of being the player's.
                    theirs = True
            if theirs:
                self._db.run("DELETE FROM reference_models WHERE id = ?", (reference_id,))

    def _forget_choices(self, name: str, swings: set[int]) -> None:
        """Players who are compared with this one's swings by choice have no choice any more."""
        for player_id, chosen in self._db.rows("SELECT id, reference FROM players WHERE reference <> ''"):
            word, _, rest = chosen.partition(":")
            of_swing = word == "swing" and rest.strip().isdigit() and int(rest) in swings
            if of_swing or (word == "best" and rest and key(rest) == key(name)):
                self._db.run("UPDATE players SET reference = '' WHERE id = ?", (player_id,))


def named_in(name: str, text: str) -> bool:
    """Whether a text names the player, as words of their own.

    >>> named_in("Ann Lee", "best of ann  lee, 2031-05-04"), named_in("Ann", "Annual middle")
    (True, False)
    """
    return re.search(rf"(?<!\w){re.escape(key(name))}(?!\w)", key(text)) is not None


def wipe_is_pending(db: Connection) -> bool:
    """Whether someone was forgotten and the file was not written anew since."""
    return db.one("SELECT 1 FROM facts WHERE name = ?", (PENDING,)) is not None


def finish_wipe(db: Connection) -> None:
    """End a removal that was interrupted; when another program is in the way it is left for the next time."""
    if not wipe_is_pending(db):
        return
    try:
        wipe(db, patience_s=db.settings.busy_step_s)
    except OutputError:
        return


def wipe(db: Connection, patience_s: float | None = None) -> None:
    """Write the file anew without freed space, empty the write-ahead log, remove copies from before migrations.

    Raises
    ------
    OutputError
        Another program reads the library for longer than ``patience_s``, the disk is full, or a copy cannot be removed.
    """
    patience = db.settings.patience_s if patience_s is None else patience_s
    deadline = time.monotonic() + patience
    while True:
        try:
            db.raw.execute("VACUUM")
            busy = _emptied(db)
        except sqlite3.Error as error:
            if not is_busy(error):
                raise told_error(db.path, error) from error
            busy = True
        if not busy:
            break
        if time.monotonic() >= deadline:
            raise OutputError(
                f"The player is removed, but another program reads {db.path}, so that traces are left in it.",
                "End that program and run any overlay command on the library: it finishes the removal.",
            )
        time.sleep(0.05)
    for copy in copies_before(db.path):
        try:
            copy.unlink(missing_ok=True)
        except OSError as error:
            raise output_error(copy, error) from error
    db.run("DELETE FROM facts WHERE name = ?", (PENDING,))
    _emptied(db)


def _emptied(db: Connection) -> bool:
    """Bring the write-ahead log into the file and cut it to nothing; True when another program is in the way."""
    row = db.raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    return bool(row and row[0])
