"""One measure over time, and how the sessions behind it were filmed."""

from __future__ import annotations

import datetime
import math
from collections import defaultdict
from collections.abc import Sequence
from statistics import NormalDist
from typing import Any, cast

import numpy as np

from overlay.data import DifferenceName, MeasureSeries, SessionCamera
from overlay.errors import DataError, InputError
from overlay.library.base import chunks, marks, whole
from overlay.library.listing import Listing
from overlay.library.people import People
from overlay.terms import View

CAMERA_FINDINGS = ("camera_height", "camera_offset", "camera_distance", "yaw", "roll")
_VIEWS: tuple[View, ...] = ("dtl", "fo", "other")
Table = np.ndarray[Any, np.dtype[Any]]
_ID = np.dtype([("id", "i8")])
_COLUMNS = [("swing", "i8"), ("session", "i8"), ("value", "f8"), ("low", "f8"), ("high", "f8")]
_ROW = np.dtype(_COLUMNS)
_TIMED = np.dtype([*_COLUMNS, ("at", "f8")])


class SeriesPart(Listing, People):
    """Series of the store."""

    def measure_names(self, player: str | None = None) -> tuple[tuple[str, str, View, int], ...]:
        """(name, unit, view, number of swings with a valid value) of every measure, in the order first kept."""
        with self._db.reading():
            where, values = "", []
            if player is not None:
                where = "AND m.session_id IN (SELECT id FROM sessions WHERE player_id = ?)"
                values = [self._player_id(player)]
            rows = self._db.rows(
                f"""SELECT k.name, k.unit, k.view, (SELECT count(*) FROM measures m
                    WHERE m.kind_id = k.id AND m.valid = 1 {where}) AS n
                FROM kinds k WHERE n > 0 ORDER BY k.id""",
                values,
            )
        return tuple((row[0], row[1], cast("View", row[2]), row[3]) for row in rows)

    def series(
        self,
        player: str,
        measure: str,
        *,
        view: View | None = None,
        club: str | None = None,
        since: datetime.date | None = None,
        until: datetime.date | None = None,
        reference_key: str | None = None,
    ) -> MeasureSeries:
        """One measure of one player, oldest first; values that are not valid are left out.

        Parameters
        ----------
        player : str
        measure : str
            The name of a measure, or of a difference to a reference (``hands.backswing``, ``hands.backswing.x``).
        view : View or None
            None: the one with most swings that have it.
        club : str or None
            None: all of them.
        since, until : date or None
            First and last day.
        reference_key : str or None
            The reference of a difference; None: the one that most of the player's swings were compared with.

        Raises
        ------
        InputError
            There is no such player or measure, or none of his swings was compared with such a reference.
        """
        try:
            difference = DifferenceName.parse(measure)
        except DataError as error:
            raise InputError(error.message, error.hint) from error
        with self._db.reading():
            where, values = self._session_filter(player, since, until, club)
            sessions = self.sessions(player, since=since, until=until, club=club)[::-1]
            if difference is None:
                kind, unit, seen = self._kind_for(player, measure, view, where, values)
                rows = self._measured(kind, where, values)
            else:
                unit, reference, seen = "torso", *self._reference_for(player, view, reference_key, where, values)
                rows = self._differing(difference, reference, seen, where, values)
        return MeasureSeries(
            measure if difference is None else str(difference),
            unit,
            seen,
            rows["swing"],
            rows["session"],
            rows["value"],
            rows["low"],
            rows["high"],
            sessions,
        )

    def _kind_for(
        self, player: str, measure: str, view: View | None, where: str, values: Sequence[Any]
    ) -> tuple[int, str, View]:
        """The kind (id, unit, view) of a measure with most valid values of a player."""
        found = self._db.rows("SELECT id, unit, view FROM kinds WHERE name = ? ORDER BY id", (measure,))
        if not found:
            raise self._unknown_measure(measure)
        wanted = [row for row in found if view is None or row[2] == view]
        if not wanted:
            views = ", ".join(dict.fromkeys(row[2] for row in found))
            raise InputError(f"{measure} is not measured in the view {view}.", f"It is in: {views}.")
        if len(wanted) == 1:
            return cast("tuple[int, str, View]", wanted[0])

        def count(kind: int) -> int:
            return self._db.number(
                f"""SELECT count(*) FROM sessions x CROSS JOIN measures m ON m.kind_id = ? AND m.session_id = x.id
                WHERE {where} AND m.valid = 1""",
                (kind, *values),
            )

        return cast("tuple[int, str, View]", max(wanted, key=lambda row: count(row[0])))

    def _measured(self, kind: int, where: str, values: Sequence[Any]) -> Table:
        """Valid values of one kind, by day, those of a session as they were filmed."""
        rows = self._db.table(
            f"""SELECT m.swing_id, m.session_id, m.value, m.low, m.high, m.taken_at
            FROM sessions x INDEXED BY sessions_by_date CROSS JOIN measures m ON m.kind_id = ? AND m.session_id = x.id
            WHERE x.date >= '' AND {where} AND m.valid = 1 ORDER BY x.date, x.id""",
            (kind, *values),
            _TIMED,
        )
        # The sessions come in order; in each of them the swings do too unless they were kept in another one.
        step = np.diff(rows["session"]) != 0
        session = np.concatenate([[0], np.cumsum(step)])[: len(rows)]
        at = np.nan_to_num(rows["at"], nan=-1e300)
        if np.all(step | (np.diff(at) > 0)):
            return rows
        return rows[np.lexsort((rows["swing"], at, session))]

    def _reference_for(
        self, player: str, view: View | None, reference_key: str | None, where: str, values: Sequence[Any]
    ) -> tuple[int, View]:
        """The reference and view with most comparisons, the later one of equal ones."""
        key_too, keys = ("", ()) if reference_key is None else ("AND r.key = ?", (reference_key,))
        view_too, views = ("", ()) if view is None else ("AND k.view = ?", (view,))
        row = self._db.one(
            f"""SELECT k.reference_id, k.view FROM sessions x
            CROSS JOIN comparisons k INDEXED BY comparisons_of_session ON k.session_id = x.id
            CROSS JOIN reference_models r ON r.id = k.reference_id
            WHERE {where} {key_too} {view_too}
            GROUP BY k.reference_id, k.view ORDER BY count(*) DESC, k.reference_id DESC LIMIT 1""",
            (*values, *keys, *views),
        )
        if row is None:
            which = "that" if reference_key else "a"
            raise InputError(
                f"No swing of {player} that was asked for is compared with {which} reference.",
                "Compare while adding: `overlay add … --reference REFERENCE`.",
            )
        return row[0], cast("View", row[1])

    def _differing(self, name: DifferenceName, reference: int, view: View, where: str, values: Sequence[Any]) -> Table:
        """One difference to one reference in one view, by day, those of a session as they were filmed."""
        column = {"": "d.value, d.low, d.high", "x": "d.x, NULL, NULL", "y": "d.y, NULL, NULL"}[name.axis]
        rows = self._db.table(
            f"""SELECT d.swing_id, d.session_id, {column} FROM cells c CROSS JOIN sessions x
            CROSS JOIN differences d ON d.reference_id = ? AND d.cell_id = c.id AND d.session_id = x.id
            WHERE c.phase = ? AND c.part = ? AND {where}
                AND d.words <> 'not scored' AND {column.split(",")[0]} IS NOT NULL""",
            (reference, name.phase, name.part, *values),
            _ROW,
        )
        order = self._db.table(
            f"""SELECT s.id FROM sessions x INDEXED BY sessions_by_date
            CROSS JOIN swings s INDEXED BY swings_in_order ON s.session_id = x.id AND s.view = ?
            WHERE x.date >= '' AND {where} ORDER BY x.date, x.id, s.taken_at, s.id""",
            (view, *values),
            _ID,
        )["id"]
        if not len(order):
            return rows[:0]
        by_id = np.argsort(order)
        near = np.minimum(np.searchsorted(order[by_id], rows["swing"]), len(order) - 1)
        place = by_id[near]
        # A reference of two views has swings of both under its key.
        seen = order[place] == rows["swing"]
        return rows[seen][np.argsort(place[seen])]

    def session_cameras(self, session_ids: Sequence[int], view: View) -> tuple[SessionCamera, ...]:
        """How each session was filmed in one view, in the order asked for; sessions without such clips are left out.

        A clip's value is the mean over its swings. The standard error of a session's mean is that of the clips' own
        spread, and never less than their own intervals allow, taken as independent of each other.
        """
        ids = [whole(id, "session") for id in session_ids]
        clips: dict[int, set[int]] = defaultdict(set)
        seen: dict[tuple[int, str], dict[int, list[tuple[float, float]]]] = defaultdict(lambda: defaultdict(list))
        z = NormalDist().inv_cdf(0.975)
        with self._db.reading():
            for some in chunks(dict.fromkeys(ids)):
                for session_id, clip_id, name, value, low, high, verdict in self._db.rows(
                    f"""SELECT s.session_id, s.clip_id, f.name, f.value, f.low, f.high, f.verdict
                    FROM swings s INDEXED BY swings_in_order
                    LEFT JOIN findings f INDEXED BY findings_of_cameras
                        ON f.swing_id = s.id AND f.name IN {CAMERA_FINDINGS!r}
                    WHERE s.session_id IN ({marks(some)}) AND s.view = ?""",
                    (*some, view),
                ):
                    clips[session_id].add(clip_id)
                    if name is None or value is None or verdict == "not seen" or low is None or high is None:
                        continue
                    if all(map(math.isfinite, (value, low, high))):
                        seen[session_id, name][clip_id].append((value, (high - low) / 2 / z))
        result = []
        for id in dict.fromkeys(ids):
            if not clips[id]:
                continue
            means, errors = {}, {}
            for name in CAMERA_FINDINGS:
                if found := seen.get((id, name)):
                    means[name], errors[name] = _mean_of_clips(list(found.values()))
            result.append(SessionCamera(id, view, len(clips[id]), means, errors))
        return tuple(result)


def _mean_of_clips(clips: list[list[tuple[float, float]]]) -> tuple[float, float]:
    """Mean over clips of (value, SD) and its standard error."""
    values = np.array([np.mean([value for value, _ in clip]) for clip in clips])
    own = np.array([np.mean([sd for _, sd in clip]) for clip in clips])
    n = len(values)
    between = float(np.var(values, ddof=1)) if n > 1 else 0.0
    return float(np.mean(values)), math.sqrt(max(between, float(np.mean(own**2))) / n)
