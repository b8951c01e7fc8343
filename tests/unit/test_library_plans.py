"""How SQLite goes about each query: through indexes that give the order, never through a whole table.

The times at 100,000 swings are in docs/studies/library_size.md; here are the plans that make them.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from library_factory import clip_read, comparison, swing_read

from overlay.library import Store, SwingFilter, open_store
from overlay.settings.library import LibrarySettings

DAY = datetime.date(2031, 5, 4)
LARGE = ("swings", "measures", "differences", "findings", "positions", "tracks", "clips", "comparisons")
ALIASES = {"s": "swings", "m": "measures", "d": "differences", "f": "findings", "c": "clips", "k": "comparisons"}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with open_store(tmp_path_factory.mktemp("plans") / "library.sqlite") as opened:
        for name in ("Mara Lindqvist", "Tobin Ash"):
            player = opened.ensure_player(name)
            for day in range(2):
                session = opened.ensure_session(player.id, DAY + datetime.timedelta(days=day), "7 iron")
                for i in range(3):
                    view = "fo" if i else "dtl"
                    swing = swing_read(1, float(i), view=view, compared=comparison())
                    opened.keep(session.id, clip_read(f"{name} {day} {i}", swing))
        yield opened


def plans(store: Store, ask: Callable[[], Any]) -> list[tuple[str, list[str]]]:
    """(statement, lines of its plan) of everything that is asked."""
    asked: list[str] = []
    store._db.raw.set_trace_callback(asked.append)
    ask()
    store._db.raw.set_trace_callback(None)
    result = []
    for statement in asked:
        if statement.lstrip().upper().startswith("SELECT"):
            rows = store._db.raw.execute(f"EXPLAIN QUERY PLAN {statement}").fetchall()
            result.append((" ".join(statement.split()), [row[3] for row in rows]))
    return result


def faults(plan: list[str]) -> list[str]:
    """Lines that read a whole large table, or build an index or sort what an index should give in order."""
    wrong = []
    of_large = False
    for line in plan:
        step = re.match(r"(SCAN|SEARCH) (\w+)(.*)", line)
        if step and ALIASES.get(step[2], step[2]) in LARGE:
            of_large = True
            # An index may be walked where the page ends it.
            if step[1] == "SCAN" and "USING" not in step[3]:
                wrong.append(line)
        # Players, sessions, tags and kinds of measures are few; they may be sorted.
        if "AUTOMATIC" in line or (line == "USE TEMP B-TREE FOR ORDER BY" and of_large):
            wrong.append(line)
    return wrong


FILTERS = [
    SwingFilter(),
    SwingFilter(players=("Mara Lindqvist",)),
    SwingFilter(sessions=(1, 2)),
    SwingFilter(clubs=("7 iron",)),
    SwingFilter(views=("dtl",)),
    SwingFilter(tags=("rare",)),
    SwingFilter(since=DAY, until=DAY),
    SwingFilter(best=True),
    SwingFilter(best=False),
    SwingFilter(first="measure_01"),
    SwingFilter(limits=(("measure_01", 1.0, 2.0), ("tempo_ratio", None, 2.0))),
    SwingFilter(
        players=("Mara Lindqvist", "Tobin Ash"),
        clubs=("7 iron",),
        views=("fo",),
        tags=("rare",),
        since=DAY,
        best=True,
        first="",
        limits=(("measure_01", 1.0, None),),
    ),
]


@pytest.mark.parametrize("sort", ["date", "id", "measure_07", "tempo_ratio"])
@pytest.mark.parametrize("i", range(len(FILTERS)))
def test_a_list_walks_an_index_in_the_wanted_order(i: int, sort: str, store: Store) -> None:
    for descending, few in ((True, 0), (False, 0), (True, 3000)):
        store._db.settings = LibrarySettings(few_swings=few)

        def ask(way: bool = descending) -> object:
            return store.swings(FILTERS[i], sort=sort, descending=way, limit=5, measures=("measure_02",))

        for statement, plan in plans(store, ask):
            # The walk by id is along the table itself, and ends with the page.
            if sort == "id":
                plan = [line for line in plan if line != "SCAN s"]
            assert faults(plan) == [], (statement, plan)


def test_counting_is_along_an_index(store: Store) -> None:
    for wanted in FILTERS:
        for statement, plan in plans(store, lambda wanted=wanted: store.count_swings(wanted)):
            assert faults(plan) == [], (statement, plan)


@pytest.mark.parametrize(
    "measure", ["measure_07", "tempo_ratio", "hands.backswing", "hands.backswing.x"], ids=lambda name: name
)
def test_a_trend_reads_what_it_shows_and_no_more(measure: str, store: Store) -> None:
    for statement, plan in plans(store, lambda: store.series("Mara Lindqvist", measure, club="7 iron", since=DAY)):
        # How many swings each reference has: a handful of counts is sorted.
        counts = "count(*)" in statement
        assert [line for line in faults(plan) if not (counts and "ORDER BY" in line)] == [], (statement, plan)
    read = [line for _, plan in plans(store, lambda: store.series("Mara Lindqvist", measure)) for line in plan]
    key = "PRIMARY KEY (kind_id=? AND session_id=?)" if "." not in measure else "cell_id=? AND session_id=?"
    assert any(key in line for line in read), read


def test_cameras_come_from_an_index_of_their_own(store: Store) -> None:
    found = plans(store, lambda: store.session_cameras([1, 2], "dtl"))
    assert all(faults(plan) == [] for _, plan in found), found
    assert any("USING COVERING INDEX findings_of_cameras" in line for _, plan in found for line in plan), found


def test_removing_finds_what_hangs_on_a_row_through_an_index(store: Store) -> None:
    """Every foreign key has an index that begins with its columns; a removal would read whole tables otherwise."""
    db = store._db
    tables = [row[0] for row in db.rows("SELECT name FROM sqlite_master WHERE type = 'table'")]
    lacking = []
    for table in tables:
        keys: dict[int, list[str]] = {}
        for row in db.rows(f"PRAGMA foreign_key_list({table})"):
            if row[2] in ("kinds", "cells"):
                continue  # rows of these are never removed
            keys.setdefault(row[0], []).append(row[3])
        indexes = [
            [column[2] for column in db.rows(f"PRAGMA index_info({index[1]})")]
            for index in db.rows(f"PRAGMA index_list({table})")
        ]
        own = [row[1] for row in db.rows(f"PRAGMA table_info({table})") if row[5]]
        for columns in keys.values():
            if not any(index and index[0] == columns[0] for index in [*indexes, own]):
                lacking.append((table, columns))
    assert lacking == []


def test_the_gate_closes(store: Store) -> None:
    db = store._db.raw
    db.execute("BEGIN")
    db.execute("DROP INDEX measures_by_value")
    rows = db.execute("EXPLAIN QUERY PLAN SELECT * FROM measures m ORDER BY m.value").fetchall()
    assert faults([row[3] for row in rows]) == ["SCAN m", "USE TEMP B-TREE FOR ORDER BY"]
    rows = db.execute("EXPLAIN QUERY PLAN SELECT * FROM swings s WHERE first_sentence = 'x'").fetchall()
    assert faults([row[3] for row in rows]) == ["SCAN s"]
    db.execute("ROLLBACK")
