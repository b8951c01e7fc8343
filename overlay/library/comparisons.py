"""Kept references, and how swings differ from them."""

from __future__ import annotations

import hashlib
from typing import Any, cast

from overlay.data import PhaseDifference, SwingComparison
from overlay.data.answers import Words
from overlay.errors import DataError, InputError
from overlay.library.base import Part, nothing, whole
from overlay.library.words import SETTINGS, now, number, plain, real, shown

_DIFFERENCE = """SELECT c.phase, c.part, d.value, d.low, d.high, d.x, d.y, d.words, d.score, d.score_low, d.score_high,
    d.detectable, d.value_cm, d.reason
    FROM differences d INDEXED BY differences_of_swing JOIN cells c ON c.id = d.cell_id
    WHERE d.swing_id = ? AND d.session_id = ? AND d.reference_id = ? ORDER BY d.place"""


class Comparisons(Part):
    """References and comparisons of the store."""

    def keep_reference(self, key: str, name: str, content: bytes) -> None:
        """Keep the model file that swings are compared with; known content takes the newer name.

        Parameters
        ----------
        key : str
            Hex SHA-256 of ``content``.
        name : str
        content : bytes

        Raises
        ------
        DataError
            The key is not that of the content.
        """
        if hashlib.sha256(content).hexdigest() != key:
            raise DataError(f"The key of the reference {shown(name)} is not that of its content.", "Give its SHA-256.")
        with self._db.writing():
            self._db.run(
                "INSERT INTO reference_models (key, name, content, kept_at) VALUES (?, ?, ?, ?) "
                "ON CONFLICT (key) DO UPDATE SET name = excluded.name, content = excluded.content",
                (key, plain(name, SETTINGS.max_name), bytes(content), now()),
            )

    def reference(self, key: str) -> bytes:
        """The content of a kept reference.

        Raises
        ------
        InputError
            There is none of that key, or only its name is known.
        """
        row = self._db.one("SELECT content, name FROM reference_models WHERE key = ?", (key,))
        if row is None:
            raise InputError(f"There is no reference {shown(key)} in the library.", "Compare with it again.")
        if row[0] is None:
            raise InputError(f"The reference {row[1]} itself is not in the library.", "Compare with it again.")
        return bytes(row[0])

    def references(self, player: str | None = None) -> tuple[tuple[str, str, int], ...]:
        """(key, name, number of swings compared with it) of every kept reference, the most used first."""
        where, values = "", []
        if player is not None:
            where, values = "WHERE x.player_id = ?", [self._player_id(player)]
        rows = self._db.rows(
            f"""SELECT r.key, r.name, count(*) FROM comparisons k JOIN sessions x ON x.id = k.session_id
            JOIN reference_models r ON r.id = k.reference_id {where} GROUP BY r.id ORDER BY count(*) DESC, r.id DESC""",
            values,
        )
        return tuple((row[0], row[1], row[2]) for row in rows)

    def keep_comparison(self, swing_id: int, comparison: SwingComparison) -> None:
        """Keep how a swing differs from a reference; one to the same reference is replaced.

        Raises
        ------
        InputError
            There is no such swing.
        DataError
            A difference is given twice, or is not finite.
        """
        with self._db.writing():
            row = self._db.one("SELECT session_id, view FROM swings WHERE id = ?", (whole(swing_id, "swing"),))
            if row is None:
                raise nothing("swing", swing_id)
            session_id, view = row
            reference_id = self._reference_id(comparison)
            self._db.run(
                "DELETE FROM comparisons WHERE swing_id = ? AND reference_id = ?", (int(swing_id), reference_id)
            )
            self._db.run(
                "INSERT INTO comparisons (swing_id, session_id, view, reference_id, engine, first, sharpness, "
                "n_differences, made_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (
                    int(swing_id),
                    session_id,
                    view,
                    reference_id,
                    comparison.engine,
                    plain(comparison.first),
                    plain(comparison.sharpness),
                    len(comparison.differences),
                    now(),
                ),
            )
            self._db.run_many(
                f"INSERT INTO differences VALUES ({', '.join('?' * 17)})",
                (
                    self._difference_row(reference_id, session_id, int(swing_id), place, difference)
                    for place, difference in enumerate(comparison.differences)
                ),
            )

    def _reference_id(self, comparison: SwingComparison) -> int:
        find = "SELECT id FROM reference_models WHERE key = ?"
        row = self._db.one(find, (comparison.reference_key,))
        if row is not None:
            return int(row[0])
        # A reading is never lost for want of the reference; what is missing of it can be kept later.
        return self._db.run(
            "INSERT INTO reference_models (key, name, content, kept_at) VALUES (?, ?, NULL, ?)",
            (comparison.reference_key, plain(comparison.reference_name, SETTINGS.max_name), now()),
        )

    def _difference_row(
        self, reference_id: int, session_id: int, swing_id: int, place: int, difference: PhaseDifference
    ) -> tuple[Any, ...]:
        return (
            reference_id,
            self._cell(difference.phase, difference.part),
            session_id,
            swing_id,
            real(difference.value),
            real(difference.interval[0]),
            real(difference.interval[1]),
            real(difference.offset[0]),
            real(difference.offset[1]),
            difference.words,
            real(difference.score),
            real(difference.score_interval[0]),
            real(difference.score_interval[1]),
            real(difference.detectable),
            real(difference.value_cm),
            plain(difference.reason),
            place,
        )

    def _cell(self, phase: str, part: str) -> int:
        row = self._db.one("SELECT id FROM cells WHERE phase = ? AND part = ?", (phase, part))
        if row is not None:
            return int(row[0])
        return self._db.run("INSERT INTO cells (phase, part) VALUES (?, ?)", (phase, part))

    def comparison(self, swing_id: int, reference_key: str | None = None) -> SwingComparison | None:
        """How a swing differs from a reference, None when it was not compared with it.

        Parameters
        ----------
        swing_id : int
        reference_key : str or None
            None: what it was compared with last.
        """
        where, values = "k.swing_id = ?", [whole(swing_id, "swing")]
        if reference_key is not None:
            where += " AND r.key = ?"
            values.append(reference_key)  # type: ignore[arg-type]
        with self._db.reading():
            row = self._db.one(
                f"""SELECT k.session_id, k.reference_id, r.key, r.name, k.engine, k.first, k.sharpness
                FROM comparisons k JOIN reference_models r ON r.id = k.reference_id WHERE {where}
                ORDER BY k.id DESC LIMIT 1""",
                values,
            )
            if row is None:
                return None
            session_id, reference_id, key, name, engine, first, sharpness = row
            rows = self._db.rows(_DIFFERENCE, (int(swing_id), session_id, reference_id))
        return SwingComparison(key, name, engine, tuple(_difference(found) for found in rows), first, sharpness)


def _difference(row: tuple[Any, ...]) -> PhaseDifference:
    phase, part, value, low, high, x, y, words, score, score_low, score_high, detectable, value_cm, reason = row
    return PhaseDifference(
        phase,
        part,
        number(value),
        (number(low), number(high)),
        (number(x), number(y)),
        cast("Words", words),
        number(score),
        (number(score_low), number(score_high)),
        number(detectable),
        value_cm,
        reason,
    )
