"""Swings as a table shows them: filtered, sorted, a page at a time.

Every query walks an index that gives the wanted order already and stops when the page is full; what the filter says of
the session is decided before a swing is looked at. docs/studies/library_size.md has the times.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, cast

from overlay.data import FilmingFinding, FilmingReport, KeptSwing, Measure, Model, Position, Positions
from overlay.data.answers import FilmingVerdict
from overlay.errors import InputError
from overlay.library.base import Part, chunks, marks, nothing, whole
from overlay.library.connection import Row
from overlay.library.words import day, day_text, key, number, path_of, shown
from overlay.terms import Handedness, Source, View

Limit = tuple[str, float | None, float | None]

_SWING = """SELECT s.id, s.clip_id, s.session_id, p.name, x.date, x.club, c.path, s.number, s.view, s.handedness,
    s.impact_s, s.slow_factor, s.first_focus, s.filming, b.swing_id IS NOT NULL
    FROM swings s CROSS JOIN sessions x ON x.id = s.session_id CROSS JOIN players p ON p.id = x.player_id
    CROSS JOIN clips c ON c.id = s.clip_id LEFT JOIN best b ON b.swing_id = s.id"""


@dataclass(frozen=True)
class SwingFilter:
    """Which swings are wanted; what is left out does not matter, and everything given must hold.

    Attributes
    ----------
    players, clubs : tuple of str
        One of them; case and spaces do not matter, "" among the clubs: not told.
    sessions : tuple of int
    views : tuple of View
    tags : tuple of str
        All of them, each on the swing itself, its clip or its session.
    since, until : date or None
        First and last day.
    best : bool or None
    first : str or None
        What the checklist puts first: the focus measure's name, "" for swings where nothing was found.
    limits : tuple of (measure, low, high)
        Valid values from ``low`` to ``high``; None for an open end.
    """

    players: tuple[str, ...] = ()
    sessions: tuple[int, ...] = ()
    clubs: tuple[str, ...] = ()
    views: tuple[View, ...] = ()
    tags: tuple[str, ...] = ()
    since: datetime.date | None = None
    until: datetime.date | None = None
    best: bool | None = None
    first: str | None = None
    limits: tuple[Limit, ...] = ()


EVERYTHING = SwingFilter()


@dataclass(frozen=True)
class _Where:
    """A filter as conditions on the session ``x`` and on a swing's id, with their values."""

    session: str
    session_values: tuple[Any, ...]
    swing: str
    swing_values: tuple[Any, ...]
    views: tuple[str, ...]

    @property
    def of_swings(self) -> str:
        """All of it, on ``sessions x`` and ``swings s``."""
        view = f" AND +s.view IN ({marks(self.views)})" if self.views else ""
        return f"{self.session} AND {self.swing.format(id='s.id', session='s.session_id')}{view}"

    @property
    def of_swings_alone(self) -> str:
        """All of it, on ``swings s``."""
        view = f" AND +s.view IN ({marks(self.views)})" if self.views else ""
        return f"{self._in_sessions('s')} AND {self.swing.format(id='s.id', session='s.session_id')}{view}"

    @property
    def of_measures(self) -> str:
        """All of it but the view, on ``measures m``: the swings themselves need not be looked at."""
        return f"{self._in_sessions('m')} AND {self.swing.format(id='m.swing_id', session='m.session_id')}"

    @property
    def values(self) -> tuple[Any, ...]:
        """Those of the whole."""
        return (*self.session_values, *self.swing_values, *self.views)

    @property
    def values_of_measures(self) -> tuple[Any, ...]:
        """Those of ``of_measures``."""
        return (*self.session_values, *self.swing_values)

    def _in_sessions(self, table: str) -> str:
        if self.session == "1":
            return "1"
        return f"{table}.session_id IN (SELECT x.id FROM sessions x WHERE {self.session})"


class Listing(Part):
    """Swings of the store."""

    def swings(
        self,
        filter: SwingFilter = EVERYTHING,
        *,
        sort: str = "date",
        descending: bool = True,
        limit: int | None = None,
        offset: int = 0,
        measures: Sequence[str] = (),
    ) -> tuple[KeptSwing, ...]:
        """Swings that pass the filter.

        Parameters
        ----------
        filter : SwingFilter
        sort : str
            "date" (then the order they were filmed in), "id", or the name of a measure ("tempo_ratio" is one). Swings
            without a valid value of it come last, whichever way it is sorted.
        descending : bool
        limit, offset : int
            A page of the result. None: all of it.
        measures : sequence of str
            Measures whose valid values are given with each swing.

        Raises
        ------
        InputError
            A player, session or measure is not known.
        """
        if (limit is not None and limit < 0) or offset < 0:
            raise InputError("A page of swings begins and ends at a whole number from 0.", "Give such numbers.")
        wanted = -1 if limit is None else int(limit)
        with self._db.reading():
            if sort == "date":
                ids = self._by_date(filter, descending, wanted, offset)
            elif sort == "id":
                ids = self._by_id(filter, descending, wanted, offset)
            else:
                ids = self._by_measure(filter, sort, descending, wanted, offset)
            return self._kept(ids, measures)

    def swing(self, id: int, *, measures: Sequence[str] = ()) -> KeptSwing:
        """One swing.

        Raises
        ------
        InputError
            There is none of that id.
        """
        with self._db.reading():
            self._must("swings", id, "swing")
            return self._kept([int(id)], measures)[0]

    def count_swings(self, filter: SwingFilter = EVERYTHING) -> int:
        """How many swings pass the filter.

        Raises
        ------
        InputError
            As ``swings``.
        """
        with self._db.reading():
            where = self._where(filter)
            return self._db.number(
                f"""SELECT count(*) FROM sessions x CROSS JOIN swings s INDEXED BY swings_in_order
                ON s.session_id = x.id WHERE {where.of_swings}""",
                where.values,
            )

    # --- the page's ids, in order ---

    def _by_date(self, filter: SwingFilter, descending: bool, limit: int, offset: int) -> list[int]:
        way = "DESC" if descending else "ASC"
        where = self._where(filter)
        rows = self._db.rows(
            f"""SELECT s.id FROM sessions x INDEXED BY sessions_by_date
            CROSS JOIN swings s INDEXED BY swings_in_order ON s.session_id = x.id
            WHERE x.date >= '' AND {where.of_swings}
            ORDER BY x.date {way}, x.id {way}, s.taken_at {way}, s.id {way} LIMIT ? OFFSET ?""",
            (*where.values, limit, offset),
        )
        return [row[0] for row in rows]

    def _by_id(self, filter: SwingFilter, descending: bool, limit: int, offset: int) -> list[int]:
        where = self._where(filter)
        rows = self._db.rows(
            f"""SELECT s.id FROM swings s NOT INDEXED
            WHERE s.id > 0 AND {where.of_swings_alone}
            ORDER BY s.id {"DESC" if descending else "ASC"} LIMIT ? OFFSET ?""",
            (*where.values, limit, offset),
        )
        return [row[0] for row in rows]

    def _by_measure(self, filter: SwingFilter, name: str, descending: bool, limit: int, offset: int) -> list[int]:
        kinds = self._kinds_of(name, filter.views)
        where = self._where(filter)
        way = "DESC" if descending else "ASC"
        few = self._few(where)
        if few is not None:
            every = self._sorted(few, kinds, descending)
            return every[offset:] if limit < 0 else every[offset : offset + limit]
        # Each kind (view, unit) has its own order; SQLite merges them and skips to the page.
        arm = f"""SELECT m.value AS value, m.swing_id AS swing_id FROM measures m INDEXED BY measures_by_value
            WHERE m.kind_id = ? AND m.valid = 1 AND {where.of_measures}"""
        arms = " UNION ALL ".join([arm] * len(kinds))
        given = [value for kind in kinds for value in (kind, *where.values_of_measures)]
        page: list[int] = []
        if kinds:
            rows = self._db.rows(
                f"{arms} ORDER BY value {way}, swing_id {way} LIMIT ? OFFSET ?", (*given, limit, offset)
            )
            page = [row[1] for row in rows]
        if 0 <= limit <= len(page):
            return page
        n_with = offset + len(page)
        if not page and kinds:
            n_with = self._db.number(f"SELECT count(*) FROM ({arms})", given)
        # The page goes past the last one that has a value: the others follow, newest first.
        rest_limit = -1 if limit < 0 else limit - len(page)
        rest = self._db.rows(
            f"""SELECT s.id FROM sessions x INDEXED BY sessions_by_date
            CROSS JOIN swings s INDEXED BY swings_in_order ON s.session_id = x.id
            WHERE x.date >= '' AND {where.of_swings} AND NOT EXISTS (SELECT 1 FROM measures m
                WHERE m.kind_id IN ({marks(kinds)}) AND m.session_id = s.session_id AND m.swing_id = s.id
                AND m.valid = 1)
            ORDER BY x.date DESC, x.id DESC, s.taken_at DESC, s.id DESC LIMIT ? OFFSET ?""",
            (*where.values, *kinds, rest_limit, max(0, offset - n_with)),
        )
        return page + [row[0] for row in rest]

    def _few(self, where: _Where) -> list[int] | None:
        """The swings that pass, newest first, when they are few; None when they are many, or all."""
        if where.session == where.swing == "1":
            return None
        most = self._db.settings.few_swings
        rows = self._db.rows(
            f"""SELECT s.id FROM sessions x INDEXED BY sessions_by_date
            CROSS JOIN swings s INDEXED BY swings_in_order ON s.session_id = x.id
            WHERE x.date >= '' AND {where.of_swings}
            ORDER BY x.date DESC, x.id DESC, s.taken_at DESC, s.id DESC LIMIT ?""",
            (*where.values, most + 1),
        )
        return [row[0] for row in rows] if len(rows) <= most else None

    def _sorted(self, ids: Sequence[int], kinds: Sequence[int], descending: bool) -> list[int]:
        """The swings by their valid values, those without one last in the order given."""
        values: dict[int, float] = {}
        for some in chunks(ids):
            for kind in kinds:
                values.update(self._values(kind, some))
        have = sorted(((values[id], id) for id in ids if id in values), reverse=descending)
        return [id for _, id in have] + [id for id in ids if id not in values]

    def _values(self, kind: int, ids: Sequence[int]) -> list[tuple[int, float]]:
        """(swing, valid value) of one kind of measure."""
        rows = self._db.rows(
            f"""SELECT s.id, m.value FROM swings s CROSS JOIN measures m
            ON m.kind_id = ? AND m.session_id = s.session_id AND m.swing_id = s.id
            WHERE s.id IN ({marks(ids)}) AND m.valid = 1""",
            (kind, *ids),
        )
        return [(row[0], row[1]) for row in rows]

    # --- what a filter means ---

    def _where(self, filter: SwingFilter) -> _Where:
        session, swing = ["1"], ["1"]
        session_values: list[Any] = []
        swing_values: list[Any] = []
        if filter.players:
            ids = [self._player_id(name) for name in filter.players]
            session.append(f"x.player_id IN ({marks(ids)})")
            session_values += ids
        if filter.sessions:
            wanted = [whole(id, "session") for id in filter.sessions]
            for id in wanted:
                self._must("sessions", id, "session")
            session.append(f"x.id IN ({marks(wanted)})")
            session_values += wanted
        if filter.clubs:
            session.append(f"x.club_key IN ({marks(filter.clubs)})")
            session_values += [key(club) for club in filter.clubs]
        if filter.since is not None:
            session.append("x.date >= ?")
            session_values.append(day_text(filter.since, "first day"))
        if filter.until is not None:
            session.append("x.date <= ?")
            session_values.append(day_text(filter.until, "last day"))

        # From here on of the swing: each a set of ids that is found through an index, once. + keeps SQLite from
        # walking the set instead of the index that has the wanted order.
        def within(ids: str, *values: Any, no: str = "") -> None:
            swing.append(f"+{{id}} {no} IN ({ids})")
            swing_values.extend(values)

        if filter.best is not None:
            within("SELECT swing_id FROM best", no="" if filter.best else "NOT")
        for tag in filter.tags:
            tagged = "FROM tags WHERE word_key = ? AND {0}_id IS NOT NULL"
            within(
                f"""SELECT swing_id {tagged.format("swing")}
                UNION ALL SELECT id FROM swings WHERE clip_id IN (SELECT clip_id {tagged.format("clip")})
                UNION ALL SELECT id FROM swings WHERE session_id IN (SELECT session_id {tagged.format("session")})""",
                *[key(tag)] * 3,
            )
        if filter.first is not None:
            within("SELECT id FROM swings WHERE first_focus = ?", filter.first)
        for name, low, high in filter.limits:
            kinds = self._kinds_of(name, filter.views)
            edges = [(sign, edge) for sign, edge in ((">=", low), ("<=", high)) if edge is not None]
            inside = f"kind_id IN ({marks(kinds)}) AND valid = 1" + "".join(f" AND value {sign} ?" for sign, _ in edges)
            given = (*kinds, *(_edge(name, edge) for _, edge in edges))
            inner = f"SELECT swing_id FROM measures INDEXED BY measures_by_value WHERE {inside}"
            most = self._db.settings.few_swings
            if self._db.number(f"SELECT count(*) FROM ({inner} LIMIT ?)", (*given, most + 1)) <= most:
                within(inner, *given)
            else:
                # Many pass: looking each up that comes along is less than finding all of them first.
                swing.append(
                    f"EXISTS (SELECT 1 FROM measures WHERE {inside} AND session_id = {{session}} AND swing_id = {{id}})"
                )
                swing_values.extend(given)
        return _Where(
            " AND ".join(session), tuple(session_values), " AND ".join(swing), tuple(swing_values), tuple(filter.views)
        )

    def _kinds_of(self, name: str, views: Sequence[str] = ()) -> list[int]:
        """Ids of the kinds (view, unit) of a measure.

        Raises
        ------
        InputError
            No swing of the library has it.
        """
        rows = self._db.rows("SELECT id, view FROM kinds WHERE name = ? ORDER BY id", (name,))
        if not rows:
            raise self._unknown_measure(name)
        return [row[0] for row in rows if not views or row[1] in views]

    def _unknown_measure(self, name: str) -> InputError:
        import difflib

        known = [row[0] for row in self._db.rows("SELECT DISTINCT name FROM kinds ORDER BY name")]
        near = difflib.get_close_matches(name, known, 3) or known[:8]
        return InputError(
            f"No swing of the library has a measure {shown(name)}.",
            f"Measures are: {', '.join(near)}{', …' if len(known) > len(near) else ''}."
            if known
            else "Add clips first: `overlay add FOLDER --player NAME`.",
        )

    # --- what a table shows of them ---

    def _kept(self, ids: Sequence[int], measures: Sequence[str]) -> tuple[KeptSwing, ...]:
        rows: dict[int, Row] = {}
        tags: dict[int, list[str]] = {}
        values: dict[int, dict[str, float]] = {}
        kinds = {kind: name for name in dict.fromkeys(("tempo_ratio", *measures)) for kind in self._kinds_or_none(name)}
        if measures:
            for name in measures:
                self._kinds_of(name)
        for some in chunks(ids):
            for row in self._db.rows(f"{_SWING} WHERE s.id IN ({marks(some)})", some):
                rows[row[0]] = row
            for id, word in self._db.rows(
                f"SELECT swing_id, word FROM tags WHERE swing_id IN ({marks(some)}) ORDER BY word_key", some
            ):
                tags.setdefault(id, []).append(word)
            for kind in kinds:
                for id, value in self._values(kind, some):
                    values.setdefault(id, {})[kinds[kind]] = value
        return tuple(
            _swing(rows[id], tuple(tags.get(id, ())), values.get(id, {}), measures) for id in ids if id in rows
        )

    def _kinds_or_none(self, name: str) -> list[int]:
        return [row[0] for row in self._db.rows("SELECT id FROM kinds WHERE name = ?", (name,))]

    # --- one swing's own ---

    def swing_model(self, id: int) -> Model:
        """The kept track of a swing, read with every doubt.

        Raises
        ------
        InputError
            There is no such swing, or its track is damaged.
        """
        from overlay.models import model_of

        return model_of(self.swing_bytes(id), f"swing {id}")

    def swing_bytes(self, id: int) -> bytes:
        """The kept track of a swing as the content of a model file.

        Raises
        ------
        InputError
            There is no such swing, or it has no track.
        """
        with self._db.reading():
            self._must("swings", id, "swing")
            row = self._db.one("SELECT content FROM tracks WHERE swing_id = ?", (int(id),))
        if row is None:
            raise InputError(f"Swing {id} has no track.", "Add its clip again: `overlay add --again`.")
        return bytes(row[0])

    def positions(self, swing_id: int) -> Positions:
        """The positions of a swing, on its clip's playback clock.

        Raises
        ------
        InputError
            There is no such swing.
        """
        with self._db.reading():
            self._must("swings", swing_id, "swing")
            rows = self._db.rows(
                """SELECT name, time_s, confidence, source, sd_s, reason FROM positions
                WHERE swing_id = ? ORDER BY place""",
                (int(swing_id),),
            )
        found = tuple(
            Position(name, time_s, confidence, cast("Source", source), sd_s)
            for name, time_s, confidence, source, sd_s, _ in rows
            if time_s is not None
        )
        return Positions(found, {row[0]: row[5] for row in rows if row[1] is None})

    def measures_of(self, swing_id: int) -> tuple[Measure, ...]:
        """All measures of a swing, also those that are not valid, in the order they were measured.

        Raises
        ------
        InputError
            There is no such swing.
        """
        with self._db.reading():
            self._must("swings", swing_id, "swing")
            rows = self._db.rows(
                """SELECT k.name, m.value, k.unit, m.low, m.high, m.valid, m.reason, m.position, m.time_s
                FROM measures m JOIN kinds k ON k.id = m.kind_id WHERE m.swing_id = ? ORDER BY m.place""",
                (int(swing_id),),
            )
        return tuple(
            Measure(name, number(value), unit, _interval(low, high), bool(valid), reason, position, time_s)
            for name, value, unit, low, high, valid, reason, position, time_s in rows
        )

    def filming_of(self, swing_id: int) -> FilmingReport:
        """How the swing was filmed.

        Raises
        ------
        InputError
            There is no such swing.
        """
        with self._db.reading():
            self._must("swings", swing_id, "swing")
            rows = self._db.rows(
                """SELECT name, value, unit, low, high, verdict, sentence, advice FROM findings
                WHERE swing_id = ? ORDER BY place""",
                (int(swing_id),),
            )
        return FilmingReport(
            tuple(
                FilmingFinding(
                    name, number(value), unit, _interval(low, high), cast("FilmingVerdict", verdict), sentence, advice
                )
                for name, value, unit, low, high, verdict, sentence, advice in rows
            )
        )

    def first_sentence(self, swing_id: int) -> str:
        """What the checklist put first, as a sentence; "" for nothing.

        Raises
        ------
        InputError
            There is no such swing.
        """
        row = self._db.one("SELECT first_sentence FROM swings WHERE id = ?", (whole(swing_id, "swing"),))
        if row is None:
            raise nothing("swing", swing_id)
        return str(row[0])


def _edge(name: str, value: float) -> float:
    if math.isnan(value):
        raise InputError(f"A limit of {name} is no number.", "Give a number, or leave the end open.")
    return float(value)


def _interval(low: float | None, high: float | None) -> tuple[float, float] | None:
    return None if low is None and high is None else (number(low), number(high))


def _swing(row: Row, tags: tuple[str, ...], values: dict[str, float], measures: Sequence[str]) -> KeptSwing:
    id, clip_id, session_id, player, date, club, path, n, view, hand, impact_s, slow, first, filming, best = row
    return KeptSwing(
        id,
        clip_id,
        session_id,
        player,
        day(date),
        club,
        path_of(path),
        n,
        cast("View", view),
        cast("Handedness", hand),
        number(impact_s),
        slow,
        values.get("tempo_ratio", math.nan),
        first,
        filming,
        bool(best),
        tags,
        {name: values[name] for name in measures if name in values},
    )
