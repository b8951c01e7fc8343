"""The tables, as named migrations: each is applied once, in order, inside a transaction.

A migration that has been released is never changed; what comes later is a new one. Words for every table are in
docs/library.md.
"""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

APPLICATION_ID = 0x6F766C79
"""Stands in the file's header ("ovly"): what tells a library from the SQLite file of another program."""

STRICT_SINCE = (3, 37)


class Migration(NamedTuple):
    """A name that is written into the library, and the statements behind it."""

    name: str
    statements: tuple[str, ...]


# Finite: 9e999 is infinity to SQLite; a NaN is kept as NULL.
_RECORD = (
    """CREATE TABLE facts (
        name TEXT PRIMARY KEY,
        value TEXT NOT NULL
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE players (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
        name_key TEXT NOT NULL UNIQUE,
        handedness TEXT CHECK (handedness IN ('right', 'left')),
        stature_cm REAL CHECK (stature_cm BETWEEN 80 AND 250),
        reference TEXT NOT NULL DEFAULT '',
        made_at TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE sessions (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        player_id INTEGER NOT NULL REFERENCES players (id) ON DELETE CASCADE,
        date TEXT NOT NULL CHECK (date GLOB '[0-9][0-9][0-9][0-9]-[0-1][0-9]-[0-3][0-9]'),
        club TEXT NOT NULL DEFAULT '',
        club_key TEXT NOT NULL DEFAULT '',
        place TEXT NOT NULL DEFAULT '',
        worked_on TEXT NOT NULL DEFAULT '',
        focus TEXT NOT NULL DEFAULT '',
        aim TEXT NOT NULL DEFAULT 'either' CHECK (aim IN ('lower', 'higher', 'either')),
        made_at TEXT NOT NULL,
        UNIQUE (player_id, date, club_key)
    ) STRICT""",
    "CREATE INDEX sessions_by_date ON sessions (date, id)",
    """CREATE TABLE clips (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        session_id INTEGER NOT NULL REFERENCES sessions (id) ON DELETE CASCADE,
        content_hash TEXT NOT NULL UNIQUE CHECK (length(content_hash) = 64),
        path ANY NOT NULL,
        size_bytes INTEGER NOT NULL CHECK (size_bytes >= 0),
        recorded_at REAL,
        width INTEGER NOT NULL CHECK (width >= 0),
        height INTEGER NOT NULL CHECK (height >= 0),
        duration_s REAL NOT NULL,
        rate_hz REAL NOT NULL,
        told TEXT NOT NULL DEFAULT '',
        inputs TEXT NOT NULL,
        engine TEXT NOT NULL,
        problem TEXT NOT NULL DEFAULT '',
        hint TEXT NOT NULL DEFAULT '',
        problem_code INTEGER NOT NULL DEFAULT 0,
        n_swings INTEGER NOT NULL CHECK (n_swings >= 0),
        kept_at TEXT NOT NULL,
        UNIQUE (id, session_id),
        CHECK ((problem = '') = (n_swings > 0))
    ) STRICT""",
    "CREATE INDEX clips_of_session ON clips (session_id, n_swings)",
    """CREATE TABLE clip_remarks (
        clip_id INTEGER NOT NULL REFERENCES clips (id) ON DELETE CASCADE,
        place INTEGER NOT NULL,
        text TEXT NOT NULL,
        PRIMARY KEY (clip_id, place)
    ) STRICT, WITHOUT ROWID""",
    # The session stands with the swing, and again with each measure and difference, so that a trend is read without
    # looking anything up; the foreign keys over both columns keep them from ever telling different things.
    """CREATE TABLE swings (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        clip_id INTEGER NOT NULL,
        session_id INTEGER NOT NULL,
        number INTEGER NOT NULL CHECK (number >= 1),
        view TEXT NOT NULL CHECK (view IN ('dtl', 'fo', 'other')),
        handedness TEXT NOT NULL CHECK (handedness IN ('right', 'left')),
        impact_s REAL,
        taken_at REAL,
        slow_factor REAL NOT NULL CHECK (slow_factor > 0),
        first_focus TEXT NOT NULL DEFAULT '',
        first_sentence TEXT NOT NULL DEFAULT '',
        filming TEXT NOT NULL CHECK (filming IN ('pass', 'warn', 'fail', 'not seen')),
        n_measures INTEGER NOT NULL,
        n_findings INTEGER NOT NULL,
        UNIQUE (clip_id, number),
        UNIQUE (id, session_id),
        UNIQUE (id, session_id, view),
        FOREIGN KEY (clip_id, session_id) REFERENCES clips (id, session_id) ON UPDATE CASCADE ON DELETE CASCADE
    ) STRICT""",
    "CREATE INDEX swings_in_order ON swings (session_id, taken_at, id, view)",
    "CREATE INDEX swings_by_first ON swings (first_focus)",
    """CREATE TABLE tracks (
        swing_id INTEGER PRIMARY KEY REFERENCES swings (id) ON DELETE CASCADE,
        sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
        content BLOB NOT NULL
    ) STRICT""",
    """CREATE TABLE positions (
        swing_id INTEGER NOT NULL REFERENCES swings (id) ON DELETE CASCADE,
        place INTEGER NOT NULL CHECK (place BETWEEN 1 AND 9),
        name TEXT NOT NULL,
        time_s REAL,
        confidence REAL CHECK (confidence BETWEEN 0 AND 1),
        source TEXT CHECK (source IN ('pose', 'club', 'ball', 'sound', 'marked')),
        sd_s REAL,
        reason TEXT,
        PRIMARY KEY (swing_id, place),
        CHECK ((time_s IS NULL) = (reason IS NOT NULL)),
        CHECK ((time_s IS NULL) = (source IS NULL) AND (time_s IS NULL) = (confidence IS NULL))
    ) STRICT, WITHOUT ROWID""",
    """CREATE TABLE kinds (
        id INTEGER PRIMARY KEY,
        name TEXT NOT NULL CHECK (name <> ''),
        unit TEXT NOT NULL,
        view TEXT NOT NULL CHECK (view IN ('dtl', 'fo', 'other')),
        UNIQUE (name, view, unit)
    ) STRICT""",
    """CREATE TABLE measures (
        kind_id INTEGER NOT NULL REFERENCES kinds (id),
        session_id INTEGER NOT NULL,
        swing_id INTEGER NOT NULL,
        value REAL CHECK (abs(value) < 9e999),
        low REAL,
        high REAL,
        valid INTEGER NOT NULL CHECK (valid IN (0, 1)),
        reason TEXT NOT NULL DEFAULT '',
        position TEXT NOT NULL DEFAULT '',
        time_s REAL,
        place INTEGER NOT NULL,
        taken_at REAL,
        PRIMARY KEY (kind_id, session_id, swing_id),
        FOREIGN KEY (swing_id, session_id) REFERENCES swings (id, session_id) ON UPDATE CASCADE ON DELETE CASCADE,
        CHECK (valid = 0 OR value IS NOT NULL)
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX measures_of_swing ON measures (swing_id, session_id)",
    "CREATE INDEX measures_by_value ON measures (kind_id, value, swing_id) WHERE valid = 1",
    """CREATE TABLE findings (
        swing_id INTEGER NOT NULL REFERENCES swings (id) ON DELETE CASCADE,
        place INTEGER NOT NULL,
        name TEXT NOT NULL,
        value REAL,
        unit TEXT NOT NULL,
        low REAL,
        high REAL,
        verdict TEXT NOT NULL CHECK (verdict IN ('pass', 'warn', 'fail', 'not seen')),
        sentence TEXT NOT NULL,
        advice TEXT NOT NULL DEFAULT '',
        PRIMARY KEY (swing_id, place)
    ) STRICT, WITHOUT ROWID""",
    """CREATE INDEX findings_of_cameras ON findings (swing_id, name, value, low, high, unit, verdict)
        WHERE name IN ('camera_height', 'camera_offset', 'camera_distance', 'yaw', 'roll')""",
    """CREATE TABLE best (
        swing_id INTEGER PRIMARY KEY REFERENCES swings (id) ON DELETE CASCADE,
        marked_at TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE notes (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        player_id INTEGER REFERENCES players (id) ON DELETE CASCADE,
        session_id INTEGER REFERENCES sessions (id) ON DELETE CASCADE,
        clip_id INTEGER REFERENCES clips (id) ON DELETE CASCADE,
        swing_id INTEGER REFERENCES swings (id) ON DELETE CASCADE,
        made_at TEXT NOT NULL,
        text TEXT NOT NULL CHECK (text <> ''),
        CHECK ((player_id IS NOT NULL) + (session_id IS NOT NULL) + (clip_id IS NOT NULL) + (swing_id IS NOT NULL) = 1)
    ) STRICT""",
    "CREATE INDEX notes_of_player ON notes (player_id)",
    "CREATE INDEX notes_of_session ON notes (session_id)",
    "CREATE INDEX notes_of_clip ON notes (clip_id)",
    "CREATE INDEX notes_of_swing ON notes (swing_id)",
    """CREATE TABLE tags (
        id INTEGER PRIMARY KEY,
        session_id INTEGER REFERENCES sessions (id) ON DELETE CASCADE,
        clip_id INTEGER REFERENCES clips (id) ON DELETE CASCADE,
        swing_id INTEGER REFERENCES swings (id) ON DELETE CASCADE,
        word TEXT NOT NULL CHECK (word <> ''),
        word_key TEXT NOT NULL,
        UNIQUE (session_id, word_key),
        UNIQUE (clip_id, word_key),
        UNIQUE (swing_id, word_key),
        CHECK ((session_id IS NOT NULL) + (clip_id IS NOT NULL) + (swing_id IS NOT NULL) = 1)
    ) STRICT""",
    "CREATE INDEX tags_by_word ON tags (word_key, swing_id, clip_id, session_id)",
)

_COMPARISONS = (
    """CREATE TABLE reference_models (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        key TEXT NOT NULL UNIQUE CHECK (length(key) = 64),
        name TEXT NOT NULL,
        content BLOB,
        kept_at TEXT NOT NULL
    ) STRICT""",
    """CREATE TABLE comparisons (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        swing_id INTEGER NOT NULL,
        session_id INTEGER NOT NULL,
        view TEXT NOT NULL,
        reference_id INTEGER NOT NULL REFERENCES reference_models (id) ON DELETE CASCADE,
        engine TEXT NOT NULL,
        first TEXT NOT NULL DEFAULT '',
        sharpness TEXT NOT NULL DEFAULT '',
        n_differences INTEGER NOT NULL,
        made_at TEXT NOT NULL,
        UNIQUE (swing_id, reference_id, session_id),
        FOREIGN KEY (swing_id, session_id, view) REFERENCES swings (id, session_id, view)
            ON UPDATE CASCADE ON DELETE CASCADE
    ) STRICT""",
    "CREATE INDEX comparisons_of_session ON comparisons (session_id, reference_id, view)",
    "CREATE INDEX comparisons_of_reference ON comparisons (reference_id)",
    "CREATE INDEX comparisons_of_swing ON comparisons (swing_id, session_id, view)",
    """CREATE TABLE cells (
        id INTEGER PRIMARY KEY,
        phase TEXT NOT NULL,
        part TEXT NOT NULL,
        UNIQUE (phase, part)
    ) STRICT""",
    """CREATE TABLE differences (
        reference_id INTEGER NOT NULL,
        cell_id INTEGER NOT NULL REFERENCES cells (id),
        session_id INTEGER NOT NULL,
        swing_id INTEGER NOT NULL,
        value REAL CHECK (abs(value) < 9e999),
        low REAL,
        high REAL,
        x REAL,
        y REAL,
        words TEXT NOT NULL,
        score REAL,
        score_low REAL,
        score_high REAL,
        detectable REAL,
        value_cm REAL,
        reason TEXT NOT NULL DEFAULT '',
        place INTEGER NOT NULL,
        PRIMARY KEY (reference_id, cell_id, session_id, swing_id),
        FOREIGN KEY (swing_id, reference_id, session_id)
            REFERENCES comparisons (swing_id, reference_id, session_id) ON UPDATE CASCADE ON DELETE CASCADE
    ) STRICT, WITHOUT ROWID""",
    "CREATE INDEX differences_of_swing ON differences (swing_id, reference_id, session_id)",
)

_MARKS = (
    """CREATE TABLE clip_marks (
        clip_id INTEGER PRIMARY KEY REFERENCES clips (id) ON DELETE CASCADE,
        document TEXT NOT NULL CHECK (document <> '')
    ) STRICT""",
)

MIGRATIONS: tuple[Migration, ...] = (
    Migration("0001-record", _RECORD),
    Migration("0002-comparisons", _COMPARISONS),
    Migration("0003-marks", _MARKS),
)

APPLIED = """CREATE TABLE migrations (
    name TEXT PRIMARY KEY,
    applied_at TEXT NOT NULL
) STRICT, WITHOUT ROWID"""


def fit(statement: str, version: tuple[int, ...] = sqlite3.sqlite_version_info) -> str:
    """The statement as this SQLite understands it: strict tables came with 3.37.

    >>> fit("CREATE TABLE a (b ANY) STRICT, WITHOUT ROWID", (3, 31, 0))
    'CREATE TABLE a (b) WITHOUT ROWID'
    """
    if version >= STRICT_SINCE:
        return statement
    # ANY is a column type of strict tables alone; elsewhere it would turn texts that look like numbers into numbers.
    plain = statement.replace(" ANY", "").replace(") STRICT, WITHOUT ROWID", ") WITHOUT ROWID")
    return plain.replace(") STRICT", ")")
