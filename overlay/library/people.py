"""Players and their sessions."""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from typing import Any, cast

from overlay.data import AIMS, Aim, Player, Session
from overlay.errors import InputError
from overlay.library.base import Part, chunks, marks, whole
from overlay.library.connection import Row
from overlay.library.words import SETTINGS, day, day_text, key, now, one_line, some_lines
from overlay.terms import Handedness

_PLAYER = "SELECT id, name, handedness, stature_cm, reference FROM players"
_SESSION = """SELECT x.id, x.player_id, p.name, x.date, x.club, x.place, x.worked_on, x.focus, x.aim
    FROM sessions x JOIN players p ON p.id = x.player_id"""


class People(Part):
    """Players and sessions of the store."""

    # --- players ---

    def players(self) -> tuple[Player, ...]:
        """All players in alphabetical order."""
        return tuple(_player(row) for row in self._db.rows(f"{_PLAYER} ORDER BY name_key"))

    def player(self, name: str) -> Player:
        """The player of that name; case and spaces do not matter.

        Raises
        ------
        InputError
            There is none; the message names the known ones.
        """
        return self._player(self._player_id(name))

    def _player(self, id: int) -> Player:
        row = self._db.one(f"{_PLAYER} WHERE id = ?", (id,))
        assert row is not None
        return _player(row)

    def ensure_player(
        self,
        name: str,
        *,
        handedness: Handedness | None = None,
        stature_cm: float | None = None,
        reference: str | None = None,
    ) -> Player:
        """The player of that name, made when there is none. What is given is updated, None leaves it as it is.

        Raises
        ------
        InputError
            The name is empty, too long or cannot be shown; the stature is not that of a person.
        """
        fit = one_line(name, "name of a player")
        if handedness not in (None, "right", "left"):
            raise InputError(f"{handedness!r} is no side to play from.", "Use right or left.")
        if stature_cm is not None and not (math.isfinite(stature_cm) and 80 <= stature_cm <= 250):
            raise InputError(
                f"A stature of {stature_cm} cm is not possible.", "Give the player's height in centimetres."
            )
        given: dict[str, Any] = {
            "handedness": handedness,
            "stature_cm": None if stature_cm is None else float(stature_cm),
            "reference": None if reference is None else one_line(reference, "reference", may_be_empty=True),
        }
        given = {column: value for column, value in given.items() if value is not None}
        with self._db.writing():
            known = self._db.one("SELECT id FROM players WHERE name_key = ?", (key(fit),))
            # Not INSERT … ON CONFLICT: that would use up an id even where there is nothing to do.
            id = (
                known[0]
                if known is not None
                else self._db.run(
                    "INSERT INTO players (name, name_key, made_at) VALUES (?, ?, ?)", (fit, key(fit), now())
                )
            )
            if given:
                sets = ", ".join(f"{column} = ?" for column in given)
                self._db.run(f"UPDATE players SET {sets} WHERE id = ?", (*given.values(), id))
            return self._player(id)

    # --- sessions ---

    def sessions(
        self,
        player: str | None = None,
        *,
        since: datetime.date | None = None,
        until: datetime.date | None = None,
        club: str | None = None,
    ) -> tuple[Session, ...]:
        """Sessions, the newest first.

        Parameters
        ----------
        player : str or None
            None: of all players.
        since, until : date or None
            First and last day.
        club : str or None
            "" for sessions whose club was not told.

        Raises
        ------
        InputError
            There is no such player.
        """
        with self._db.reading():
            where, values = self._session_filter(player, since, until, club)
            return self._sessions(where, values)

    def _session_filter(
        self, player: str | None, since: datetime.date | None, until: datetime.date | None, club: str | None
    ) -> tuple[str, list[Any]]:
        where = ["1"]
        values: list[Any] = []
        if player is not None:
            where.append("x.player_id = ?")
            values.append(self._player_id(player))
        if since is not None:
            where.append("x.date >= ?")
            values.append(day_text(since, "first day"))
        if until is not None:
            where.append("x.date <= ?")
            values.append(day_text(until, "last day"))
        if club is not None:
            where.append("x.club_key = ?")
            values.append(key(club))
        return " AND ".join(where), values

    def _sessions(self, where: str, values: Sequence[Any]) -> tuple[Session, ...]:
        rows = self._db.rows(f"{_SESSION} WHERE {where} ORDER BY x.date DESC, x.id DESC", values)
        counts = {
            row[0]: row[1:]
            for row in self._db.rows(
                f"""SELECT session_id, sum(n_swings > 0), sum(n_swings = 0), sum(n_swings)
                FROM clips INDEXED BY clips_of_session
                WHERE session_id IN (SELECT x.id FROM sessions x WHERE {where}) GROUP BY session_id""",
                values,
            )
        }
        tags: dict[int, list[str]] = {}
        for ids in chunks(row[0] for row in rows):
            for session_id, word in self._db.rows(
                f"SELECT session_id, word FROM tags WHERE session_id IN ({marks(ids)}) ORDER BY word_key", ids
            ):
                tags.setdefault(session_id, []).append(word)
        return tuple(_session((*row, *counts.get(row[0], (0, 0, 0))), tuple(tags.get(row[0], ()))) for row in rows)

    def session(self, id: int) -> Session:
        """One session.

        Raises
        ------
        InputError
            There is none of that id.
        """
        with self._db.reading():
            self._must("sessions", id, "session")
            return self._sessions("x.id = ?", (whole(id, "session"),))[0]

    def ensure_session(
        self,
        player_id: int,
        date: datetime.date,
        club: str = "",
        *,
        place: str | None = None,
        worked_on: str | None = None,
        focus: str | None = None,
        aim: Aim | None = None,
    ) -> Session:
        """The session of a player, day and club, made when there is none. What is given is updated.

        Raises
        ------
        InputError
            There is no such player, or a text cannot be kept.
        """
        fit, date_text = one_line(club, "club", may_be_empty=True), day_text(date)
        with self._db.writing():
            self._must("players", player_id, "player")
            known = self._db.one(
                "SELECT id FROM sessions WHERE player_id = ? AND date = ? AND club_key = ?",
                (int(player_id), date_text, key(fit)),
            )
            id = (
                known[0]
                if known is not None
                else self._db.run(
                    "INSERT INTO sessions (player_id, date, club, club_key, made_at) VALUES (?, ?, ?, ?, ?)",
                    (int(player_id), date_text, fit, key(fit), now()),
                )
            )
            return self.change_session(id, place=place, worked_on=worked_on, focus=focus, aim=aim)

    def change_session(
        self,
        id: int,
        *,
        date: datetime.date | None = None,
        club: str | None = None,
        place: str | None = None,
        worked_on: str | None = None,
        focus: str | None = None,
        aim: Aim | None = None,
    ) -> Session:
        """Change what is said of a session; None leaves it as it is, "" clears it.

        Raises
        ------
        InputError
            There is no such session; a text cannot be kept; the player has another session of that day and club.
        """
        if aim is not None and aim not in AIMS:
            raise InputError(f"{aim!r} is no way a measure can be meant to go.", f"Use one of {', '.join(AIMS)}.")
        given: dict[str, Any] = {}
        if date is not None:
            given["date"] = day_text(date)
        if club is not None:
            given["club"] = one_line(club, "club", may_be_empty=True)
            given["club_key"] = key(given["club"])
        if place is not None:
            given["place"] = one_line(place, "place", may_be_empty=True)
        if worked_on is not None:
            text = worked_on.strip()
            given["worked_on"] = some_lines(text, "text on what was worked on", SETTINGS.max_note) if text else ""
        if focus is not None:
            given["focus"] = one_line(focus, "focus measure", may_be_empty=True)
        if aim is not None:
            given["aim"] = aim
        with self._db.writing():
            self._must("sessions", id, "session")
            if given:
                self._refuse_twin(id, given)
                sets = ", ".join(f"{column} = ?" for column in given)
                self._db.run(f"UPDATE sessions SET {sets} WHERE id = ?", (*given.values(), int(id)))
            return self.session(id)

    def _refuse_twin(self, id: int, given: dict[str, Any]) -> None:
        row = self._db.one("SELECT player_id, date, club_key FROM sessions WHERE id = ?", (int(id),))
        assert row is not None
        wanted = (row[0], given.get("date", row[1]), given.get("club_key", row[2]))
        twin = self._db.one(
            "SELECT id FROM sessions WHERE player_id = ? AND date = ? AND club_key = ? AND id <> ?", (*wanted, int(id))
        )
        if twin is not None:
            raise InputError(
                f"The player has another session of {wanted[1]} with that club: session {twin[0]}.",
                "Give another day or club.",
            )

    def remove_session(self, id: int) -> None:
        """Remove a session with all that was kept of it; the clips' own files stay where they are.

        Raises
        ------
        InputError
            There is none of that id.
        """
        with self._db.writing():
            self._must("sessions", id, "session")
            self._db.run("DELETE FROM sessions WHERE id = ?", (int(id),))


def _player(row: Row) -> Player:
    return Player(row[0], row[1], cast("Handedness | None", row[2]), row[3], row[4])


def _session(row: Row, tags: tuple[str, ...]) -> Session:
    id, player_id, player, date, club, place, worked_on, focus, aim, n_clips, n_failed, n_swings = row
    return Session(
        id,
        player_id,
        player,
        day(date),
        club,
        place,
        worked_on,
        focus,
        cast("Aim", aim),
        n_clips,
        n_failed,
        n_swings,
        tags,
    )
