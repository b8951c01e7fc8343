"""What a person adds: notes, tags, best swings."""

from __future__ import annotations

from typing import Literal, cast

from overlay.data import KeptSwing, Note
from overlay.errors import InputError
from overlay.library.base import nothing, whole
from overlay.library.listing import Listing, SwingFilter
from overlay.library.words import SETTINGS, key, now, one_line, some_lines
from overlay.terms import View

Target = Literal["player", "session", "clip", "swing"]
_TABLES: dict[str, str] = {"player": "players", "session": "sessions", "clip": "clips", "swing": "swings"}


class Notes(Listing):
    """Notes, tags and best swings of the store."""

    def add_note(self, target: Target, id: int, text: str) -> Note:
        """Write a note on a player, session, clip or swing.

        Raises
        ------
        InputError
            There is no such thing, or the text is empty or cannot be shown.
        """
        fit = some_lines(text, "note", SETTINGS.max_note)
        with self._db.writing():
            self._target(target, id)
            made_at = now()
            note = self._db.run(
                f"INSERT INTO notes ({target}_id, made_at, text) VALUES (?, ?, ?)", (int(id), made_at, fit)
            )
        return Note(note, target, int(id), made_at, fit)

    def notes(self, target: Target, id: int) -> tuple[Note, ...]:
        """The notes on one thing, oldest first.

        Raises
        ------
        InputError
            There is no such thing.
        """
        with self._db.reading():
            self._target(target, id)
            rows = self._db.rows(f"SELECT id, made_at, text FROM notes WHERE {target}_id = ? ORDER BY id", (int(id),))
        return tuple(Note(row[0], target, int(id), row[1], row[2]) for row in rows)

    def remove_note(self, id: int) -> None:
        """Remove a note.

        Raises
        ------
        InputError
            There is none of that id.
        """
        with self._db.writing():
            if self._db.one("SELECT 1 FROM notes WHERE id = ?", (whole(id, "note"),)) is None:
                raise nothing("note", id)
            self._db.run("DELETE FROM notes WHERE id = ?", (int(id),))

    def tag(self, target: Target, id: int, word: str) -> None:
        """Tag a session, clip or swing; a word it has already is no error.

        Raises
        ------
        InputError
            There is no such thing, it takes no tags, or the word is empty or cannot be shown.
        """
        fit = one_line(word, "tag", SETTINGS.max_tag)
        with self._db.writing():
            self._target(target, id, tags=True)
            self._db.run(
                f"INSERT INTO tags ({target}_id, word, word_key) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
                (int(id), fit, key(fit)),
            )

    def untag(self, target: Target, id: int, word: str) -> None:
        """Take a tag away.

        Raises
        ------
        InputError
            There is no such thing, or it does not have the tag.
        """
        with self._db.writing():
            self._target(target, id, tags=True)
            has = [row[0] for row in self._db.rows(f"SELECT word_key FROM tags WHERE {target}_id = ?", (int(id),))]
            if key(word) not in has:
                raise InputError(
                    f"The {target} {id} has no tag {word!r}.", f"Its tags are: {', '.join(sorted(has)) or 'none'}."
                )
            self._db.run(f"DELETE FROM tags WHERE {target}_id = ? AND word_key = ?", (int(id), key(word)))

    def tags(self, target: Target, id: int) -> tuple[str, ...]:
        """The tags of one thing, in alphabetical order.

        Raises
        ------
        InputError
            There is no such thing, or it takes no tags.
        """
        with self._db.reading():
            self._target(target, id, tags=True)
            rows = self._db.rows(f"SELECT word FROM tags WHERE {target}_id = ? ORDER BY word_key", (int(id),))
        return tuple(row[0] for row in rows)

    def _target(self, target: str, id: int, *, tags: bool = False) -> None:
        known = [word for word in _TABLES if not (tags and word == "player")]
        if target not in known:
            raise InputError(f"{target!r} takes no {'tags' if tags else 'notes'}.", f"Use one of {', '.join(known)}.")
        self._must(_TABLES[target], id, target)

    # --- best swings ---

    def mark_best(self, swing_id: int) -> None:
        """Mark a swing as one of the player's best; twice is no error.

        Raises
        ------
        InputError
            There is no such swing.
        """
        with self._db.writing():
            self._must("swings", swing_id, "swing")
            self._db.run("INSERT OR IGNORE INTO best (swing_id, marked_at) VALUES (?, ?)", (int(swing_id), now()))

    def unmark_best(self, swing_id: int) -> None:
        """Take the mark away.

        Raises
        ------
        InputError
            There is no such swing, or it is not marked.
        """
        with self._db.writing():
            self._must("swings", swing_id, "swing")
            if self._db.one("SELECT 1 FROM best WHERE swing_id = ?", (int(swing_id),)) is None:
                raise InputError(f"Swing {swing_id} is not marked as a best one.", "`overlay best PLAYER` lists them.")
            self._db.run("DELETE FROM best WHERE swing_id = ?", (int(swing_id),))

    def best(self, player: str, *, view: View | None = None, club: str | None = None) -> tuple[KeptSwing, ...]:
        """The best swings of a player, the newest first.

        Raises
        ------
        InputError
            There is no such player.
        """
        wanted = SwingFilter(
            players=(player,),
            views=() if view is None else (view,),
            clubs=() if club is None else (club,),
            best=True,
        )
        return self.swings(wanted, sort="date")


def of_target(target: str) -> Target:
    """The word as a target of notes.

    Raises
    ------
    InputError
        It is none.
    """
    if target not in _TABLES:
        raise InputError(f"{target!r} takes no notes.", f"Use one of {', '.join(_TABLES)}.")
    return cast("Target", target)


__all__ = ["Notes", "Target", "of_target"]
