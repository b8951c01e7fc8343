"""Lists, counts and series against the same done plainly in Python, on a season drawn at random."""

from __future__ import annotations

import datetime
import doctest
import importlib
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from library_factory import clip_read, comparison, swing_read

from overlay.library import Store, SwingFilter, open_store
from overlay.settings.library import LibrarySettings
from overlay.terms import View

DAY = datetime.date(2031, 5, 4)
PLAYERS = ("Mara Lindqvist", "Tobin Ash", "Wren Holloway")
CLUBS = ("", "7 iron", "driver")
VIEWS: tuple[View, ...] = ("dtl", "fo")
TAGS = ("keeper", "rain")
FOCUSES = ("", "measure_01", "measure_02")


@dataclass
class Plain:
    """A swing as it was put in."""

    id: int
    player: str
    session: int
    date: datetime.date
    club: str
    view: View
    taken_at: float
    tempo: float
    other: float
    focus: str
    best: bool
    tags: set[str]
    size: float


@pytest.fixture(scope="module")
def season(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Store, list[Plain]]]:
    rng = random.Random(5)
    kept: list[Plain] = []
    with open_store(tmp_path_factory.mktemp("season") / "library.sqlite") as store:
        for n in range(45):
            player, club = rng.choice(PLAYERS), rng.choice(CLUBS)
            date = DAY + datetime.timedelta(days=rng.randrange(4))
            session = store.ensure_session(store.ensure_player(player).id, date, club).id
            at = 1e9 + 1e5 * date.day + rng.randrange(1000)
            numbers = []
            swings = []
            for i in (1, 2):
                # Few values, so that many are equal; some missing.
                tempo, view, focus = rng.choice((2.0, 2.5, 3.0, 3.5)), rng.choice(VIEWS), rng.choice(FOCUSES)
                lost = ("tempo_ratio",) if rng.random() < 0.2 else ()
                size = rng.choice((0.05, 0.1, 0.2)) if rng.random() < 0.5 else math.nan
                compared = None if math.isnan(size) else comparison(size)
                swings.append(
                    swing_read(i, tempo, start_s=7.0 * i, view=view, focus=focus, lost=lost, compared=compared)
                )
                numbers.append((view, math.nan if lost else tempo, tempo + 1, focus, size))
            clip = store.keep(session, clip_read(f"clip {n}", *swings, recorded_at=at))
            ids = sorted(swing.id for swing in store.swings() if swing.clip_id == clip.id)
            for i, (id, (view, tempo, other, focus, size)) in enumerate(zip(ids, numbers), 1):
                taken = at + 7.0 * i + 1.5
                kept.append(
                    Plain(id, player, session, date, club, view, taken, tempo, other, focus, False, set(), size)
                )
        for swing in kept:
            if rng.random() < 0.15:
                store.mark_best(swing.id)
                swing.best = True
            if rng.random() < 0.15:
                word = rng.choice(TAGS)
                store.tag("swing", swing.id, word)
                swing.tags.add(word)
        for session in {swing.session for swing in kept}:
            if rng.random() < 0.2:
                store.tag("session", session, "rain")
                for swing in kept:
                    if swing.session == session:
                        swing.tags.add("rain")
        yield store, kept


def drawn(rng: random.Random, kept: list[Plain]) -> SwingFilter:
    """A filter with each of its parts in one case of four."""

    def maybe(make: object, none: object) -> object:
        return make() if rng.random() < 0.25 else none  # type: ignore[operator]

    return SwingFilter(
        players=maybe(lambda: tuple(rng.sample(PLAYERS, 2)), ()),  # type: ignore[arg-type]
        sessions=maybe(lambda: tuple({rng.choice(kept).session for _ in range(4)}), ()),  # type: ignore[arg-type]
        clubs=maybe(lambda: (rng.choice(CLUBS).upper(),), ()),  # type: ignore[arg-type]
        views=maybe(lambda: (rng.choice(VIEWS),), ()),  # type: ignore[arg-type]
        tags=maybe(lambda: (rng.choice(TAGS),), ()),  # type: ignore[arg-type]
        since=maybe(lambda: DAY + datetime.timedelta(days=rng.randrange(4)), None),  # type: ignore[arg-type]
        until=maybe(lambda: DAY + datetime.timedelta(days=rng.randrange(4)), None),  # type: ignore[arg-type]
        best=maybe(lambda: rng.random() < 0.5, None),  # type: ignore[arg-type]
        first=maybe(lambda: rng.choice(FOCUSES), None),  # type: ignore[arg-type]
        limits=maybe(  # type: ignore[arg-type]
            lambda: (("tempo_ratio", rng.choice((None, 2.5)), rng.choice((None, 3.0))), ("measure_00", 2.5, None)), ()
        ),
    )


def passes(swing: Plain, wanted: SwingFilter) -> bool:
    value = {"tempo_ratio": swing.tempo, "measure_00": swing.other - 1}
    return (
        (not wanted.players or swing.player in wanted.players)
        and (not wanted.sessions or swing.session in wanted.sessions)
        and (not wanted.clubs or swing.club.upper() in wanted.clubs)
        and (not wanted.views or swing.view in wanted.views)
        and all(tag in swing.tags for tag in wanted.tags)
        and (wanted.since is None or swing.date >= wanted.since)
        and (wanted.until is None or swing.date <= wanted.until)
        and (wanted.best is None or swing.best == wanted.best)
        and (wanted.first is None or swing.focus == wanted.first)
        and all(
            not math.isnan(value[name])
            and (low is None or value[name] >= low)
            and (high is None or value[name] <= high)
            for name, low, high in wanted.limits
        )
    )


def in_order(found: list[Plain], sort: str, descending: bool) -> list[int]:
    def by_date(swing: Plain) -> tuple[datetime.date, int, float, int]:
        return (swing.date, swing.session, swing.taken_at, swing.id)

    if sort == "date":
        return [swing.id for swing in sorted(found, key=by_date, reverse=descending)]
    if sort == "id":
        return sorted((swing.id for swing in found), reverse=descending)
    have = [swing for swing in found if not math.isnan(swing.tempo)]
    without = sorted((swing for swing in found if math.isnan(swing.tempo)), key=by_date, reverse=True)
    have.sort(key=lambda swing: (swing.tempo, swing.id), reverse=descending)
    return [swing.id for swing in [*have, *without]]


@pytest.mark.parametrize("seed", range(6))
def test_lists_are_what_plain_python_finds(seed: int, season: tuple[Store, list[Plain]]) -> None:
    store, kept = season
    rng = random.Random(seed)
    # Few swings are gathered and sorted; of many the measure's own order is walked. Both must tell the same.
    store._db.settings = LibrarySettings(few_swings=(3000, 8, 0)[seed % 3])
    sizes = set()
    for _ in range(40):
        wanted = drawn(rng, kept)
        found = [swing for swing in kept if passes(swing, wanted)]
        sizes.add(len(found))
        assert store.count_swings(wanted) == len(found), wanted
        for sort in ("date", "id", "tempo_ratio"):
            descending = rng.random() < 0.5
            limit, offset = rng.choice((None, 0, 1, 7, 50)), rng.choice((0, 0, 3, 40))
            ids = [
                swing.id for swing in store.swings(wanted, sort=sort, descending=descending, limit=limit, offset=offset)
            ]
            whole = in_order(found, sort, descending)
            page = whole[offset:] if limit is None else whole[offset : offset + limit]
            assert ids == page, (wanted, sort, descending, limit, offset)
    # The filters are neither all empty nor all open.
    assert len(sizes) > 10


def test_series_are_what_plain_python_finds(season: tuple[Store, list[Plain]]) -> None:
    store, kept = season
    for player in PLAYERS:
        for view in VIEWS:
            for club in (None, *CLUBS):
                mine = [
                    swing
                    for swing in kept
                    if swing.player == player and swing.view == view and club in (None, swing.club)
                ]
                mine.sort(key=lambda swing: (swing.date, swing.session, swing.taken_at, swing.id))
                tempo = [(swing.id, swing.session, swing.tempo) for swing in mine if not math.isnan(swing.tempo)]
                found = store.series(player, "tempo_ratio", view=view, club=club)
                assert list(zip(found.swing_id, found.session_id, found.value)) == tempo
                size = [(swing.id, swing.session, swing.size) for swing in mine if not math.isnan(swing.size)]
                if size:
                    found = store.series(player, "hands.backswing", view=view, club=club)
                    assert list(zip(found.swing_id, found.session_id, found.value)) == size


@pytest.mark.parametrize("name", ["words", "schema", "forgetting"])
def test_the_examples_in_the_modules_hold(name: str) -> None:
    done = doctest.testmod(importlib.import_module(f"overlay.library.{name}"))
    assert done.attempted > 0
    assert done.failed == 0
