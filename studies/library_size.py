"""How long a library of 100,000 swings takes to list, filter, sort and draw a trend from.

    python studies/library_size.py [--quick] [--keep FOLDER]

Two libraries are made: one of 20 players with 50 sessions of 100 swings each in two views, and the worst case, one
player with all of it in one view. Every swing has 22 measures, 9 positions and 14 filming findings, and 3 in 10 are
compared with a reference in 54 differences. Rows go into the package's own tables in bulk. Each query is asked through
the store as a command asks it, once after opening the file ("first") and then several times ("median"); the aim is
150 ms. ``--keep`` leaves the libraries in FOLDER and uses them again.
"""

from __future__ import annotations

import argparse
import datetime
import gc
import hashlib
import os
import platform
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "tests"), str(ROOT / "tests" / "unit")]

from overlay.library import Store, SwingFilter, open_store  # noqa: E402
from overlay.terms import PARTS, PHASES, POSITION_NAMES  # noqa: E402

PAGE = ROOT / "docs" / "studies" / "library_size.md"
TARGET_MS = 150.0
REPEATS = 7
N_MEASURES = 22
MEASURES = ("tempo_ratio", "backswing_s", "downswing_s", *(f"measure_{i:02d}" for i in range(N_MEASURES - 3)))
CAMERA = ("camera_height", "camera_offset", "camera_distance", "yaw", "roll")
FINDINGS = (*CAMERA, *(f"finding_{i}" for i in range(9)))
CLUBS = ("7 iron", "driver", "wedge")
TRACK_BYTES = 2000
COMPARED = 0.3


def fill(path: Path, players: int, sessions: int, swings: int, seed: int = 1) -> None:
    """A library of players × sessions × swings, one swing a clip."""
    rng = np.random.default_rng(seed)
    with open_store(path) as store:
        db = store._db
        db.run("PRAGMA synchronous = OFF")
        with db.writing():
            _fill(db, rng, players, sessions, swings)


def _insert(db: Any, table: str, columns: str, rows: Any) -> None:
    n = columns.count(",") + 1
    db.raw.executemany(f"INSERT INTO {table} ({columns}) VALUES ({', '.join('?' * n)})", rows)


def _fill(db: Any, rng: np.random.Generator, players: int, sessions: int, swings: int) -> None:
    now = "2031-05-04T10:00:00+00:00"
    content = b"a reference"
    _insert(
        db,
        "reference_models",
        "id, key, name, content, kept_at",
        [(1, hashlib.sha256(content).hexdigest(), "Model one", content, now)],
    )
    _insert(
        db,
        "cells",
        "id, phase, part",
        [(9 * i + j, phase.name, part) for i, phase in enumerate(PHASES) for j, part in enumerate(PARTS)],
    )
    kinds = [
        (1 + i + N_MEASURES * j, name, "deg", view)
        for j, view in enumerate(("dtl", "fo"))
        for i, name in enumerate(MEASURES)
    ]
    _insert(db, "kinds", "id, name, unit, view", kinds)
    _insert(
        db,
        "players",
        "id, name, name_key, made_at",
        [(p + 1, f"Player {p + 1}", f"player {p + 1}", now) for p in range(players)],
    )
    first_day = datetime.date(2028, 1, 1)
    id, session_id = 0, 0
    for p in range(players):
        for k in range(sessions):
            session_id += 1
            day = first_day + datetime.timedelta(days=7 * k if sessions < 200 else k)
            club = CLUBS[k % 3]
            _insert(
                db,
                "sessions",
                "id, player_id, date, club, club_key, made_at",
                [(session_id, p + 1, day.isoformat(), club, club, now)],
            )
            ids = list(range(id + 1, id + 1 + swings))
            id += swings
            _fill_session(db, rng, session_id, ids, now, players == 1)
    _insert(db, "best", "swing_id, marked_at", [(i, now) for i in range(500, id, 2000)])
    _insert(
        db,
        "tags",
        "session_id, swing_id, word, word_key",
        [(None, i, "rare", "rare") for i in range(1000, id, 10_000)]
        + [(s, None, "lesson", "lesson") for s in range(1, session_id, 40)],
    )


def _fill_session(db: Any, rng: np.random.Generator, session: int, ids: list[int], now: str, one_view: bool) -> None:
    n = len(ids)
    start = 1e9 + 1e5 * session
    hashes = [hashlib.sha256(str(i).encode()).hexdigest() for i in ids]
    views = ["dtl" if i % 3 or one_view else "fo" for i in ids]
    _insert(
        db,
        "clips",
        "id, session_id, content_hash, path, size_bytes, recorded_at, width, height, duration_s, rate_hz, inputs, "
        "engine, n_swings, kept_at",
        [
            (i, session, h, f"/range/{session}/{i}.mp4", 5_000_000, start + 40 * j, 1920, 1080, 3.0, 60.0, h, h, 1, now)
            for j, (i, h) in enumerate(zip(ids, hashes))
        ],
    )
    focus = rng.integers(0, 8, n)
    _insert(
        db,
        "swings",
        "id, clip_id, session_id, number, view, handedness, impact_s, taken_at, slow_factor, first_focus, "
        "first_sentence, filming, n_measures, n_findings",
        [
            (
                i,
                i,
                session,
                1,
                view,
                "right",
                1.8,
                start + 40 * j + 1.8,
                1.0,
                MEASURES[3 + f],
                "Look at it.",
                "warn",
                22,
                14,
            )
            for j, (i, view, f) in enumerate(zip(ids, views, focus.tolist()))
        ],
    )
    _insert(db, "tracks", "swing_id, sha256, content", [(i, h, rng.bytes(TRACK_BYTES)) for i, h in zip(ids, hashes)])
    _insert(
        db,
        "positions",
        "swing_id, place, name, time_s, confidence, source, sd_s",
        [
            (i, place, name, 0.5 + 0.2 * place, 0.9, "pose", 0.01)
            for i in ids
            for place, name in enumerate(POSITION_NAMES, 1)
        ],
    )
    values = rng.normal(10, 3, (n, N_MEASURES))
    lost = rng.uniform(0, 1, (n, N_MEASURES)) < 0.1
    _insert(
        db,
        "measures",
        "kind_id, session_id, swing_id, value, low, high, valid, reason, position, time_s, place, taken_at",
        [
            (1 + m + (N_MEASURES if view == "fo" else 0), session, i, *read, "top", 0.9, m, start + 40 * j + 1.8)
            for j, (i, view, row, missing) in enumerate(zip(ids, views, values.tolist(), lost.tolist()))
            for m, read in enumerate(
                (None, None, None, 0, "the club is hidden") if gone else (v, v - 1.5, v + 1.5, 1, "")
                for v, gone in zip(row, missing)
            )
        ],
    )
    _insert(
        db,
        "findings",
        "swing_id, place, name, value, unit, low, high, verdict, sentence, advice",
        [
            (
                i,
                place,
                name,
                4.0,
                "cm",
                1.0,
                7.0,
                "warn",
                "The lens is about 5 cm above the hands at address.",
                "Lower it.",
            )
            for i in ids
            for place, name in enumerate(FINDINGS)
        ],
    )
    compared = [i for i in ids if i % 10 < 10 * COMPARED]
    _insert(
        db,
        "comparisons",
        "swing_id, session_id, view, reference_id, engine, first, sharpness, n_differences, made_at",
        [(i, session, views[i - ids[0]], 1, "e", "The hands first.", "It sees 3 cm.", 54, now) for i in compared],
    )
    sizes = rng.uniform(0, 0.3, (len(compared), 54))
    _insert(
        db,
        "differences",
        "reference_id, cell_id, session_id, swing_id, value, low, high, x, y, words, score, score_low, score_high, "
        "detectable, place",
        [
            (1, c, session, i, v, v / 2, v * 2, v, -v, "small", 80.0, 70.0, 90.0, 0.03, c)
            for i, row in zip(compared, sizes.tolist())
            for c, v in enumerate(row)
        ],
    )


def queries(store: Store) -> list[tuple[str, Callable[[], Any]]]:
    """What is asked, in words and as a call."""
    player = store.players()[0].name
    days = sorted({session.date for session in store.sessions(player)})
    middle, late = days[len(days) // 2], days[-max(1, len(days) // 10)]
    session = store.sessions(player)[0].id
    filters: list[tuple[str, SwingFilter]] = [
        ("all", SwingFilter()),
        ("one player", SwingFilter(players=(player,))),
        ("one session", SwingFilter(sessions=(session,))),
        ("one club", SwingFilter(clubs=("driver",))),
        ("one view", SwingFilter(views=("fo",))),
        ("half of the time", SwingFilter(since=middle)),
        ("a tag that 10 have", SwingFilter(tags=("rare",))),
        ("a tag of some sessions", SwingFilter(tags=("lesson",))),
        ("best ones", SwingFilter(best=True)),
        ("what comes first", SwingFilter(first="measure_03")),
        ("a measure between limits", SwingFilter(limits=(("measure_05", 18.0, 19.0),))),
        ("a measure no swing has so high", SwingFilter(limits=(("measure_05", 1000.0, None),))),
        (
            "player, view, club, days, limits",
            SwingFilter(
                players=(player,), views=("dtl",), clubs=("7 iron",), since=middle, limits=(("measure_01", 9.0, 12.0),)
            ),
        ),
    ]
    asked: list[tuple[str, Callable[[], Any]]] = []
    for words, wanted in filters:
        for sort in ("date", "measure_07", "tempo_ratio"):
            asked.append(
                (
                    f"list: {words}, sorted by {sort}",
                    lambda wanted=wanted, sort=sort: store.swings(
                        wanted, sort=sort, limit=50, measures=("measure_01", "measure_02")
                    ),
                )
            )
    asked.append(
        ("list: all, sorted by measure_07, page 1000", lambda: store.swings(sort="measure_07", limit=50, offset=50_000))
    )
    asked.append(("count: all", lambda: store.count_swings()))
    asked.append(
        (
            "count: one view between limits",
            lambda: store.count_swings(SwingFilter(views=("fo",), limits=(("measure_05", 9.0, 12.0),))),
        )
    )
    asked.append(("sessions of one player", lambda: store.sessions(player)))
    asked.append(("trend: a measure of one player", lambda: trend(store, player, "measure_07")))
    asked.append(("trend: a measure of one player, both views", lambda: trend(store, player, "tempo_ratio")))
    asked.append(
        ("trend: one club, half of the time", lambda: trend(store, player, "measure_07", club="driver", since=middle))
    )
    asked.append(("trend: a difference to a reference", lambda: trend(store, player, "hands.backswing")))
    recent = [one.id for one in store.sessions(player, since=late)][:10]
    asked.append(("cameras of ten sessions", lambda: store.session_cameras(recent, "dtl")))
    return asked


def trend(store: Store, player: str, measure: str, **more: Any) -> Any:
    """A series and its session means, as a trend picture needs them."""
    from overlay.trends import session_means

    return session_means(store.series(player, measure, **more))


def timed(path: Path) -> list[tuple[str, float, float, float]]:
    """(question, first ms, median ms, median CPU ms) of every query; each on a freshly opened library."""
    rows = []
    with open_store(path) as store:
        n = len(queries(store))
    for i in range(n):
        with open_store(path) as store:
            words, ask = queries(store)[i]
            walls, cpus = [], []
            for _ in range(REPEATS + 1):
                gc.collect()
                wall, cpu = time.perf_counter(), time.process_time()
                ask()
                walls.append(1e3 * (time.perf_counter() - wall))
                cpus.append(1e3 * (time.process_time() - cpu))
        rows.append((words, walls[0], statistics.median(walls[1:]), statistics.median(cpus[1:])))
        print(f"  {words:60s} {walls[0]:8.1f} {rows[-1][2]:8.1f} {rows[-1][3]:8.1f} ms", flush=True)
    return rows


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="5,000 swings, no page")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="leave the libraries there and use them again")
    asked = parser.parse_args()
    many = 5 if asked.quick else 50
    shapes = {
        f"20 players × {many} sessions × {50 if asked.quick else 100} swings": (20, many, 50 if asked.quick else 100),
        f"1 player × {20 * many} sessions × {50 if asked.quick else 100} swings": (
            1,
            20 * many,
            50 if asked.quick else 100,
        ),
    }
    with tempfile.TemporaryDirectory(prefix="library-size-") as scratch:
        folder = asked.keep or Path(scratch)
        results = {}
        for words, shape in shapes.items():
            path = folder / f"library-{'-'.join(map(str, shape))}.sqlite"
            if not path.exists():
                start = time.process_time()
                fill(path, *shape)
                print(f"{words}: made in {time.process_time() - start:.0f} s of CPU time", flush=True)
            print(f"{words}: {path.stat().st_size / 1e6:.0f} MB", flush=True)
            results[words] = (path.stat().st_size, timed(path))
        if not asked.quick:
            PAGE.write_text(page(results, os.getloadavg()[1]), encoding="utf-8")


INTRO = f"""# How long a library of 100,000 swings takes

Written by `studies/library_size.py`. Each query is asked through the store as a command asks it, with what a table of
50 lines or a trend picture needs: once after opening the file (first), then {REPEATS} times (median; CPU is the part
of it that the process itself worked). A trend is the series and its session means. The aim is {TARGET_MS:.0f} ms.

Every swing has {N_MEASURES} measures, 9 positions and {len(FINDINGS)} filming findings; {COMPARED:.0%} are compared
with a reference in 54 differences. The kept tracks are stand-ins of {TRACK_BYTES} bytes, in a table of their own that
no list reads.
"""


def page(results: dict[str, tuple[int, list[tuple[str, float, float, float]]]], load: float) -> str:
    """The page of the study."""
    cores = os.cpu_count() or 1
    lines = [
        INTRO,
        f"{platform.machine()}, {cores} cores, Python {platform.python_version()}, SQLite {sqlite3.sqlite_version}, "
        f"{datetime.date.today().isoformat()}. Programs that wanted a core at the same time, on average: {load:.1f}.",
    ]
    if load > cores:
        lines.append(
            "That is more than there are cores: the times by the clock are those of a machine that was doing other "
            "work too, and only the CPU column says what a query needs."
        )
    for words, (size, rows) in results.items():
        lines += ["", f"## {words}", "", f"The file takes {size / 1e6:.0f} MB. {verdict(rows)}", ""]
        lines += ["| query | first ms | median ms | CPU ms |", "|---|---:|---:|---:|"]
        lines += [f"| {name} | {first:.1f} | {median:.1f} | {cpu:.1f} |" for name, first, median, cpu in rows]
    return "\n".join(lines) + "\n"


def verdict(rows: list[tuple[str, float, float, float]]) -> str:
    """What of the aim is reached, by the clock and by the work."""
    said = [
        f"Slowest by the clock {max(row[2] for row in rows):.0f} ms, by the work {max(row[3] for row in rows):.0f} ms."
    ]
    for place, what in ((2, "by the clock"), (3, "by the work")):
        over = sum(row[place] > TARGET_MS for row in rows)
        said.append(f"Over the aim {what}: {over} of {len(rows)}.")
    return " ".join(said)


if __name__ == "__main__":
    main()
