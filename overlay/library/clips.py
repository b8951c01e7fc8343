"""Clips and what was read of them: kept in one transaction, replaced when read again."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from overlay.data import ClipRead, KeptClip, Positions, SwingRead
from overlay.errors import DataError
from overlay.library.base import whole
from overlay.library.comparisons import Comparisons
from overlay.library.connection import Row
from overlay.library.words import SETTINGS, now, number, path_of, path_value, plain, real
from overlay.terms import POSITION_NAMES

_CLIP = """SELECT id, session_id, content_hash, path, size_bytes, recorded_at, problem, hint, inputs, engine, n_swings,
    told FROM clips"""
_COLUMNS = (
    "session_id",
    "content_hash",
    "path",
    "size_bytes",
    "recorded_at",
    "width",
    "height",
    "duration_s",
    "rate_hz",
    "told",
    "inputs",
    "engine",
    "problem",
    "hint",
    "problem_code",
    "n_swings",
    "kept_at",
)
_HEX = frozenset("0123456789abcdef")
_ASIDE = 1_000_000_000
"""Added to a swing's number while others of its clip take theirs."""


class Clips(Comparisons):
    """Clips of the store."""

    def clip(self, id: int) -> KeptClip:
        """One clip.

        Raises
        ------
        InputError
            There is none of that id.
        """
        with self._db.reading():
            self._must("clips", id, "clip")
            return _clip(self._db.rows(f"{_CLIP} WHERE id = ?", (int(id),))[0])

    def clips(self, session_id: int | None = None) -> tuple[KeptClip, ...]:
        """Clips of one session, or all, in the order they were filmed, those whose time is not known first."""
        where, values = ("", ()) if session_id is None else (" WHERE session_id = ?", (whole(session_id, "session"),))
        return tuple(_clip(row) for row in self._db.rows(f"{_CLIP}{where} ORDER BY recorded_at, id", values))

    def clip_by_hash(self, content_hash: str) -> KeptClip | None:
        """The clip of that content, wherever it lies; None when it is not in the library."""
        row = self._db.one(f"{_CLIP} WHERE content_hash = ?", (content_hash.lower(),))
        return None if row is None else _clip(row)

    def clip_remarks(self, id: int) -> tuple[str, ...]:
        """What was remarked while the clip was read."""
        rows = self._db.rows("SELECT text FROM clip_remarks WHERE clip_id = ? ORDER BY place", (whole(id, "clip"),))
        return tuple(row[0] for row in rows)

    def clip_marks(self, id: int) -> str:
        """What was marked by hand on the clip when it was read, as its marks file had it; "" for nothing."""
        row = self._db.one("SELECT document FROM clip_marks WHERE clip_id = ?", (whole(id, "clip"),))
        return "" if row is None else str(row[0])

    def moved(self, clip_id: int, path: Path) -> None:
        """The clip's file was seen somewhere else.

        Raises
        ------
        InputError
            There is no such clip.
        """
        with self._db.writing():
            self._must("clips", clip_id, "clip")
            self._db.run("UPDATE clips SET path = ? WHERE id = ?", (path_value(path), int(clip_id)))

    def remove_clip(self, id: int) -> None:
        """Remove a clip with all that was read of it; its file stays where it is.

        Raises
        ------
        InputError
            There is none of that id.
        """
        with self._db.writing():
            self._must("clips", id, "clip")
            self._db.run("DELETE FROM clips WHERE id = ?", (int(id),))

    # --- keeping ---

    def keep(self, session_id: int, read: ClipRead) -> KeptClip:
        """Keep everything that was read of a clip, in one transaction: it is in the library whole or not at all.

        A clip whose content is known already is replaced and belongs to ``session_id`` from then on. A swing that lies
        where one lay before stays that swing: its id, notes, tags, mark as a best one, and, when its track is the same
        to the byte, its comparisons. Notes and tags of a swing that is no longer found pass to its clip. A reading
        that failed never replaces one that succeeded.

        Raises
        ------
        InputError
            There is no such session.
        DataError
            What was read contradicts itself; nothing is kept then.
        OutputError
            The disk is full, or another program holds the library for too long; nothing is kept then.
        """
        check_read(read)
        with self._db.writing():
            self._must("sessions", session_id, "session")
            old = self._db.one("SELECT id, n_swings FROM clips WHERE content_hash = ?", (read.content_hash.lower(),))
            if old is None:
                clip_id = self._insert_clip(session_id, read)
                known: dict[int, int] = {}
            elif read.problem and old[1]:
                self._db.run("UPDATE clips SET path = ? WHERE id = ?", (path_value(read.path), old[0]))
                return self.clip(old[0])
            else:
                clip_id = old[0]
                known = self._same_swings(clip_id, read.swings)
                self._let_go(clip_id, set(known.values()))
                self._update_clip(clip_id, session_id, read)
            self._db.run_many(
                "INSERT INTO clip_remarks (clip_id, place, text) VALUES (?, ?, ?)",
                ((clip_id, place, plain(text)) for place, text in enumerate(read.notes)),
            )
            if read.marks:
                self._db.run("INSERT INTO clip_marks (clip_id, document) VALUES (?, ?)", (clip_id, read.marks))
            for i, swing in enumerate(read.swings):
                self._keep_swing(clip_id, session_id, read, swing, known.get(i))
            return self.clip(clip_id)

    def _insert_clip(self, session_id: int, read: ClipRead) -> int:
        values = _clip_values(session_id, read)
        return self._db.run(
            f"INSERT INTO clips ({', '.join(_COLUMNS)}) VALUES ({', '.join('?' * len(_COLUMNS))})", values
        )

    def _update_clip(self, clip_id: int, session_id: int, read: ClipRead) -> None:
        sets = ", ".join(f"{column} = ?" for column in _COLUMNS)
        self._db.run(f"UPDATE clips SET {sets} WHERE id = ?", (*_clip_values(session_id, read), clip_id))
        self._db.run("DELETE FROM clip_remarks WHERE clip_id = ?", (clip_id,))
        self._db.run("DELETE FROM clip_marks WHERE clip_id = ?", (clip_id,))

    def _same_swings(self, clip_id: int, swings: Sequence[SwingRead]) -> dict[int, int]:
        """Index of a swing just read → id of the kept swing it is."""
        times: dict[int, dict[str, float]] = {
            row[0]: {} for row in self._db.rows("SELECT id FROM swings WHERE clip_id = ?", (clip_id,))
        }
        for id, name, time_s in self._db.rows(
            "SELECT swing_id, name, time_s FROM positions WHERE time_s IS NOT NULL "
            "AND swing_id IN (SELECT id FROM swings WHERE clip_id = ?)",
            (clip_id,),
        ):
            times[id][name] = time_s
        return same_swings(times, swings)

    def _let_go(self, clip_id: int, staying: set[int]) -> None:
        """Remove the swings that were not found again; what a person wrote about them passes to the clip."""
        for (id,) in self._db.rows("SELECT id FROM swings WHERE clip_id = ?", (clip_id,)):
            if id in staying:
                continue
            self._db.run("UPDATE notes SET clip_id = ?, swing_id = NULL WHERE swing_id = ?", (clip_id, id))
            self._db.run("UPDATE OR IGNORE tags SET clip_id = ?, swing_id = NULL WHERE swing_id = ?", (clip_id, id))
            self._db.run("DELETE FROM swings WHERE id = ?", (id,))
        self._db.run("UPDATE swings SET number = number + ? WHERE clip_id = ?", (_ASIDE, clip_id))

    def _keep_swing(self, clip_id: int, session_id: int, read: ClipRead, swing: SwingRead, id: int | None) -> None:
        digest = hashlib.sha256(swing.model).hexdigest()
        impact_s = swing.positions.time("impact")
        moment = impact_s if impact_s is not None else min(swing.positions.times().values(), default=0.0)
        values: dict[str, Any] = {
            "clip_id": clip_id,
            "session_id": int(session_id),
            "number": int(swing.number),
            "view": swing.view,
            "handedness": swing.handedness,
            "impact_s": real(impact_s),
            "taken_at": None if read.recorded_at is None else real(read.recorded_at + moment),
            "slow_factor": float(swing.slow_factor),
            "first_focus": plain(swing.first_focus, SETTINGS.max_name),
            "first_sentence": plain(swing.first_sentence),
            "filming": swing.filming.verdict,
            "n_measures": len(swing.measures),
            "n_findings": len(swing.filming.findings),
        }
        if id is None:
            id = self._db.run(
                f"INSERT INTO swings ({', '.join(values)}) VALUES ({', '.join('?' * len(values))})", [*values.values()]
            )
        else:
            row = self._db.one("SELECT sha256 FROM tracks WHERE swing_id = ?", (id,))
            for table in ("positions", "measures", "findings", "tracks"):
                self._db.run(f"DELETE FROM {table} WHERE swing_id = ?", (id,))
            if row is None or row[0] != digest:
                # They were to another track than the one that is kept now.
                self._db.run("DELETE FROM comparisons WHERE swing_id = ?", (id,))
            sets = ", ".join(f"{column} = ?" for column in values)
            self._db.run(f"UPDATE swings SET {sets} WHERE id = ?", (*values.values(), id))
        self._db.run(
            "INSERT INTO tracks (swing_id, sha256, content) VALUES (?, ?, ?)", (id, digest, bytes(swing.model))
        )
        self._db.run_many(
            "INSERT INTO positions (swing_id, place, name, time_s, confidence, source, sd_s, reason) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            _position_rows(id, swing.positions),
        )
        self._keep_measures(id, session_id, swing, values["taken_at"])
        self._keep_findings(id, swing)
        if swing.comparison is not None:
            self.keep_comparison(id, swing.comparison)

    def _keep_measures(self, id: int, session_id: int, swing: SwingRead, taken_at: float | None) -> None:
        rows = []
        for place, measure in enumerate(swing.measures):
            low, high = measure.interval if measure.interval is not None else (None, None)
            rows.append(
                (
                    self._kind(measure.name, measure.unit, swing.view),
                    int(session_id),
                    id,
                    real(measure.value),
                    real(low),
                    real(high),
                    int(measure.valid),
                    plain(measure.reason),
                    measure.position,
                    real(measure.time_s),
                    place,
                    taken_at,
                )
            )
        self._db.run_many(
            "INSERT INTO measures (kind_id, session_id, swing_id, value, low, high, valid, reason, position, time_s, "
            "place, taken_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            rows,
        )

    def _kind(self, name: str, unit: str, view: str) -> int:
        find = "SELECT id FROM kinds WHERE name = ? AND view = ? AND unit = ?"
        row = self._db.one(find, (name, view, unit))
        if row is not None:
            return int(row[0])
        return self._db.run("INSERT INTO kinds (name, unit, view) VALUES (?, ?, ?)", (name, unit, view))

    def _keep_findings(self, id: int, swing: SwingRead) -> None:
        rows = []
        for place, finding in enumerate(swing.filming.findings):
            low, high = finding.interval if finding.interval is not None else (None, None)
            rows.append(
                (
                    id,
                    place,
                    finding.name,
                    real(finding.value),
                    finding.unit,
                    real(low),
                    real(high),
                    finding.verdict,
                    plain(finding.sentence),
                    plain(finding.advice),
                )
            )
        self._db.run_many(
            "INSERT INTO findings (swing_id, place, name, value, unit, low, high, verdict, sentence, advice) "
            "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            rows,
        )


def check_read(read: ClipRead) -> None:
    """Refuse what cannot be kept, with its place named.

    Raises
    ------
    DataError
    """
    name = Path(read.path).name
    if len(read.content_hash) != 64 or set(read.content_hash.lower()) - _HEX:
        raise DataError(f"{name} has no SHA-256 of its content.", "Give 64 hexadecimal digits.")
    numbers = [swing.number for swing in read.swings]
    if len(set(numbers)) != len(numbers) or any(number < 1 for number in numbers):
        raise DataError(f"The swings of {name} are numbered {numbers}.", "Number them from 1.")
    for swing in read.swings:
        where = f"swing {swing.number} of {name}"
        if not swing.model:
            raise DataError(f"There is no track with {where}.", "Give the content of its model file.")
        if not (math.isfinite(swing.slow_factor) and swing.slow_factor > 0):
            raise DataError(f"The slow factor of {where} is {swing.slow_factor}.", "Give a number above 0.")
        seen = set()
        for measure in swing.measures:
            if measure.name in seen:
                raise DataError(f"{where.capitalize()} has the measure {measure.name} twice.", "Give it once.")
            seen.add(measure.name)
            if math.isinf(measure.value) or (measure.valid and not math.isfinite(measure.value)):
                raise DataError(
                    f"The measure {measure.name} of {where} is {measure.value}.",
                    "Mark it as not valid, with the reason.",
                )


def same_swings(times: dict[int, dict[str, float]], swings: Sequence[SwingRead]) -> dict[int, int]:
    """Which swings just read are which kept ones: those whose shared positions lie nearest, each used once.

    Parameters
    ----------
    times : mapping id → mapping position → s
        Of the kept swings, on the clip's playback clock.
    swings : sequence of SwingRead

    Returns
    -------
    mapping index in ``swings`` → id
    """
    pairs = []
    for id, before in times.items():
        for i, swing in enumerate(swings):
            gaps = sorted(abs(before[name] - at) for name, at in swing.positions.times().items() if name in before)
            # The impact alone decides where both have it; else the middle one of what they share.
            if "impact" in before and (impact := swing.positions.time("impact")) is not None:
                gap = abs(before["impact"] - impact)
            elif gaps:
                gap = gaps[len(gaps) // 2]
            else:
                continue
            if gap <= SETTINGS.same_swing_s * max(1.0, swing.slow_factor):
                pairs.append((gap, id, i))
    result: dict[int, int] = {}
    used: set[int] = set()
    for _, id, i in sorted(pairs):
        if id not in used and i not in result:
            used.add(id)
            result[i] = id
    return result


def _position_rows(id: int, positions: Positions) -> list[tuple[Any, ...]]:
    rows: list[tuple[Any, ...]] = []
    for place, name in enumerate(POSITION_NAMES, 1):
        found = positions.get(name)
        if found is None:
            rows.append((id, place, name, None, None, None, None, plain(positions.missing[name])))
        else:
            rows.append(
                (id, place, name, float(found.time_s), float(found.confidence), found.source, real(found.sd_s), None)
            )
    return rows


def _clip_values(session_id: int, read: ClipRead) -> list[Any]:
    return [
        int(session_id),
        read.content_hash.lower(),
        path_value(read.path),
        int(read.size_bytes),
        real(read.recorded_at),
        int(read.width),
        int(read.height),
        float(read.duration_s),
        float(read.rate_hz),
        read.told,
        read.inputs,
        read.engine,
        plain(read.problem),
        plain(read.hint),
        int(read.problem_code),
        len(read.swings),
        now(),
    ]


def _clip(row: Row) -> KeptClip:
    id, session_id, content_hash, path, size, recorded_at, problem, hint, inputs, engine, n_swings, told = row
    at = None if recorded_at is None else number(recorded_at)
    return KeptClip(
        id, session_id, content_hash, path_of(path), size, at, problem, hint, inputs, engine, n_swings, told
    )
