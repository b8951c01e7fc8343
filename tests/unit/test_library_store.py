"""The store: players, sessions, clips and swings, lists and filters, notes, tags, best swings."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from library_factory import (
    REFERENCE,
    clip_read,
    comparison,
    digest,
    failed_read,
    filming,
    measures,
    positions,
    swing_read,
    track,
)

from overlay.data import Measure
from overlay.errors import DataError, InputError
from overlay.library import Store, SwingFilter, open_store

DAY = datetime.date(2031, 5, 4)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(tmp_path / "library.sqlite") as opened:
        yield opened


def session_of(store: Store, name: str = "Mara Lindqvist", days: int = 0, club: str = "7 iron") -> int:
    player = store.ensure_player(name)
    return store.ensure_session(player.id, DAY + datetime.timedelta(days=days), club).id


# --- players and sessions ---


def test_names_that_differ_in_case_spaces_or_composition_are_one_player(store: Store) -> None:
    first = store.ensure_player("Zoé  Álvarez ", handedness="left")
    again = store.ensure_player("zoe\u0301 a\u0301lvarez", stature_cm=171.0)
    assert again.id == first.id
    assert again.name == "Zoé Álvarez"
    assert (again.handedness, again.stature_cm) == ("left", 171.0)
    assert store.players() == (again,)
    assert store.player("ZOÉ ÁLVAREZ") == again
    # A space that does not break is a space.
    assert store.ensure_player("Zoé\u00a0Álvarez").id == first.id


@pytest.mark.parametrize("name", ["", "   ", "a\x07b", "two\nlines", "x" * 201, "right\u202eleft", "\ud800"])
def test_a_name_that_cannot_be_kept_is_refused(store: Store, name: str) -> None:
    with pytest.raises(InputError, match="name of a player") as told:
        store.ensure_player(name)
    assert len(str(told.value).splitlines()) == 2
    assert store.players() == ()


def test_a_name_of_200_characters_is_kept(store: Store) -> None:
    assert store.ensure_player("x" * 200).name == "x" * 200


def test_an_unknown_player_is_told_with_the_known_ones(store: Store) -> None:
    with pytest.raises(InputError, match="no player") as told:
        store.player("Mara")
    assert "none yet" in told.value.hint
    store.ensure_player("Tobin Ash")
    store.ensure_player("Mara Lindqvist")
    with pytest.raises(InputError, match="no player 'Mara Lindquist'") as told:
        store.player("Mara Lindquist")
    # The nearest one first.
    assert told.value.hint == "Players are: Mara Lindqvist, Tobin Ash."


def test_impossible_facts_of_a_player_are_refused(store: Store) -> None:
    with pytest.raises(InputError, match="stature of 12"):
        store.ensure_player("Mara", stature_cm=12.0)
    with pytest.raises(InputError, match="side to play from"):
        store.ensure_player("Mara", handedness="both")  # type: ignore[arg-type]


def test_a_session_is_one_player_day_and_club(store: Store) -> None:
    player = store.ensure_player("Mara Lindqvist")
    first = store.ensure_session(player.id, DAY, "7 Iron", place="Larkspur Range", focus="tempo_ratio", aim="higher")
    again = store.ensure_session(player.id, DAY, "7  iron", worked_on="Slower\nback.")
    assert again.id == first.id
    assert again.place == "Larkspur Range"
    assert (again.focus, again.aim, again.worked_on) == ("tempo_ratio", "higher", "Slower\nback.")
    other = store.ensure_session(player.id, DAY)
    assert other.id != first.id
    later = store.ensure_session(player.id, DAY + datetime.timedelta(days=7), "7 iron")
    assert [session.id for session in store.sessions()] == [later.id, other.id, first.id]
    assert store.sessions("mara lindqvist", club="7 IRON", until=DAY) == (again,)
    assert store.sessions(club="") == (other,)
    assert store.sessions(since=DAY + datetime.timedelta(days=1)) == (later,)


def test_asking_for_what_is_there_uses_up_no_number(store: Store) -> None:
    for _ in range(3):
        player = store.ensure_player("Wren Halloway")
        store.ensure_session(player.id, DAY)
    other = store.ensure_player("Tobin Ash")
    assert other.id == player.id + 1
    assert store.ensure_session(other.id, DAY).id == store.ensure_session(player.id, DAY).id + 1


def test_a_session_changes_but_never_into_another(store: Store) -> None:
    one, two = session_of(store), session_of(store, days=1)
    with pytest.raises(InputError, match=f"session {two}"):
        store.change_session(one, date=DAY + datetime.timedelta(days=1))
    changed = store.change_session(one, date=DAY + datetime.timedelta(days=2), club="", focus="tempo_ratio")
    assert (changed.date, changed.club, changed.focus) == (DAY + datetime.timedelta(days=2), "", "tempo_ratio")
    assert store.change_session(one, focus="").focus == ""
    with pytest.raises(InputError, match="no session 99"):
        store.change_session(99, place="x")
    with pytest.raises(InputError, match="meant to go"):
        store.change_session(one, aim="up")  # type: ignore[arg-type]


def test_removing_a_session_removes_what_hangs_on_it(store: Store) -> None:
    session = session_of(store)
    store.keep(session, clip_read("one", swing_read(compared=comparison())))
    store.add_note("session", session, "windy")
    store.remove_session(session)
    assert store.sessions() == store.clips() == store.swings() == ()
    for table in ("measures", "positions", "findings", "tracks", "comparisons", "differences", "notes", "clip_remarks"):
        assert store._db.number(f"SELECT count(*) FROM {table}") == 0, table


# --- keeping ---


def test_what_is_kept_comes_back_unchanged(store: Store) -> None:
    store.keep_reference(comparison().reference_key, "Model one", REFERENCE)
    read = clip_read("one", swing_read(1, 2.5, compared=comparison(), lost=("measure_03",), focus="measure_04"))
    clip = store.keep(session_of(store), read)
    assert (clip.content_hash, clip.path, clip.size_bytes) == (digest("one"), Path("/range/one.mp4"), 1000)
    assert (clip.told, clip.inputs, clip.engine, clip.n_swings) == ('{"view": "dtl"}', "inputs", "e1", 1)
    assert store.clip_remarks(clip.id) == ("The picture is dark.",)
    (swing,) = store.swings(measures=("measure_03", "measure_04"))
    assert swing == store.swing(swing.id, measures=("measure_03", "measure_04"))
    assert (swing.tempo_ratio, swing.impact_s, swing.first, swing.filming) == (2.5, 2.5, "measure_04", "warn")
    assert dict(swing.values) == {"measure_04": 6.5}
    assert store.first_sentence(swing.id) == "Look at this first."
    assert store.positions(swing.id) == positions()
    assert repr(store.measures_of(swing.id)) == repr(measures(2.5, ("measure_03",)))
    assert repr(store.filming_of(swing.id)) == repr(filming())
    assert repr(store.comparison(swing.id)) == repr(comparison())
    assert store.reference(comparison().reference_key) == REFERENCE
    assert store.swing_bytes(swing.id) == track("dtl")
    assert store.swing_model(swing.id).views == ("dtl",)
    assert store.check() == ()


def test_the_same_clip_twice_is_one_clip_and_its_swings_stay_themselves(store: Store) -> None:
    session = session_of(store)
    clip = store.keep(session, clip_read("one", swing_read(1, 1.0), swing_read(2, 2.0, start_s=7.0)))
    first, second = sorted(swing.id for swing in store.swings())
    store.mark_best(second)
    store.tag("swing", second, "keeper")
    note = store.add_note("swing", second, "That one.")
    # Another state of the code finds a swing more before the two, and places them a little elsewhere.
    again = clip_read(
        "one",
        swing_read(1, 9.0, start_s=-4.0),
        swing_read(2, 1.5, start_s=1.02),
        swing_read(3, 2.5, start_s=6.97),
        engine="e2",
    )
    assert store.keep(session, again).id == clip.id
    assert store.clip(clip.id).engine == "e2"
    by_number = {swing.number: swing for swing in store.swings(measures=("tempo_ratio",))}
    assert (by_number[2].id, by_number[3].id) == (first, second)
    assert by_number[1].id not in (first, second)
    assert (by_number[3].tempo_ratio, by_number[3].is_best, by_number[3].tags) == (2.5, True, ("keeper",))
    assert store.notes("swing", second) == (note,)
    assert len(store.clips()) == 1
    assert store.check() == ()


def test_what_was_written_about_a_swing_that_is_no_longer_found_passes_to_its_clip(store: Store) -> None:
    session = session_of(store)
    clip = store.keep(session, clip_read("one"))
    gone = next(swing for swing in store.swings() if swing.number == 2)
    store.add_note("swing", gone.id, "a fine one")
    store.tag("swing", gone.id, "keeper")
    store.mark_best(gone.id)
    store.keep(session, clip_read("one", swing_read(1, 1.0)))
    assert [note.text for note in store.notes("clip", clip.id)] == ["a fine one"]
    assert store.tags("clip", clip.id) == ("keeper",)
    assert store.best("Mara Lindqvist") == ()
    with pytest.raises(InputError, match=f"no swing {gone.id}"):
        store.swing(gone.id)
    # Its id is never given to another swing.
    store.keep(session, clip_read("two"))
    assert all(swing.id != gone.id for swing in store.swings())
    assert store.check() == ()


def test_comparisons_are_kept_as_long_as_the_track_is_the_same(store: Store) -> None:
    session = session_of(store)
    store.keep(session, clip_read("one", swing_read(compared=comparison())))
    (swing,) = store.swings()
    store.keep(session, clip_read("one", swing_read(1, 3.0), engine="e2"))
    assert store.comparison(swing.id) is not None
    other = replace(swing_read(1, 3.0), model=track("fo"), view="fo")
    store.keep(session, clip_read("one", other, engine="e3"))
    assert store.comparison(swing.id) is None
    assert store.check() == ()


def test_a_failed_clip_is_kept_and_replaced_but_never_replaces_a_good_one(store: Store) -> None:
    session = session_of(store)
    failed = store.keep(session, failed_read("one"))
    assert (failed.problem, failed.hint) == ("No swing was found in bad.mp4.", "Film the whole swing.")
    assert (store.session(session).n_clips, store.session(session).n_failed) == (0, 1)
    good = store.keep(session, clip_read("one"))
    assert (good.id, good.problem, good.n_swings) == (failed.id, "", 2)
    kept = store.keep(session, replace(failed_read("one"), path=Path("/elsewhere/one.mp4")))
    assert (kept.n_swings, kept.problem, kept.path) == (2, "", Path("/elsewhere/one.mp4"))
    assert len(store.swings()) == 2
    assert store.check() == ()


def test_a_clip_belongs_to_the_session_it_was_given_last(store: Store) -> None:
    one, two = session_of(store), session_of(store, "Tobin Ash")
    store.keep(one, clip_read("one", swing_read(compared=comparison())))
    (before,) = store.swings()
    store.keep(two, clip_read("one", swing_read()))
    (after,) = store.swings()
    assert (after.id, after.player, after.session_id) == (before.id, "Tobin Ash", two)
    assert list(store.series("Tobin Ash", "tempo_ratio").session_id) == [two]
    assert list(store.series("Tobin Ash", "hands.backswing").session_id) == [two]
    assert store.check() == ()


def test_what_contradicts_itself_is_refused_and_nothing_is_kept(store: Store) -> None:
    session = session_of(store)
    nan = Measure("tempo_ratio", math.nan, "")
    cases = [
        (replace(clip_read(), content_hash="abc"), "no SHA-256"),
        (clip_read("one", swing_read(1), swing_read(1, start_s=7.0)), "numbered"),
        (clip_read("one", replace(swing_read(), model=b"")), "no track"),
        (clip_read("one", replace(swing_read(), measures=(nan,))), "tempo_ratio of swing 1 of one.mp4 is nan"),
        (clip_read("one", replace(swing_read(), measures=(*measures(), measures()[0]))), "measure_00 twice"),
        (clip_read("one", replace(swing_read(), slow_factor=0.0)), "slow factor"),
        (clip_read("one", swing_read(), replace(swing_read(2), handedness="both")), "CHECK constraint"),  # type: ignore[arg-type]
    ]
    for read, why in cases:
        with pytest.raises(DataError, match=why) as told:
            store.keep(session, read)
        assert len(str(told.value).splitlines()) == 2
    assert store.clips() == store.swings() == ()
    assert store._db.number("SELECT count(*) FROM measures") == 0
    with pytest.raises(InputError, match="no session 77"):
        store.keep(77, clip_read())


def test_marks_are_kept_as_they_were_when_the_clip_was_read(store: Store) -> None:
    session = session_of(store)
    clip = store.keep(session, clip_read("marked"))
    assert store.clip_marks(clip.id) == '{"view": "fo"}'
    # Taken away since, and read again.
    store.keep(session, replace(clip_read("marked"), marks=""))
    assert store.clip_marks(clip.id) == ""
    store.keep(session, clip_read("marked"))
    store.remove_clip(clip.id)
    assert store._db.number("SELECT count(*) FROM clip_marks") == 0


def test_a_moved_file_is_found_by_its_content(store: Store) -> None:
    clip = store.keep(session_of(store), clip_read("one"))
    odd = Path("/range/\udcff strange.mp4")  # a name that is no text on the disk
    store.moved(clip.id, odd)
    found = store.clip_by_hash(digest("one").upper())
    assert found is not None
    assert found.path == odd
    assert store.clip_by_hash(digest("two")) is None
    assert {swing.path for swing in store.swings()} == {odd}
    store.remove_clip(clip.id)
    assert store.clips() == ()


# --- lists ---


@pytest.fixture
def season(store: Store) -> Store:
    """Two players; tempo ratios are all different, and one swing has none."""
    value = 0.0
    for name, days in (("Mara Lindqvist", (0, 7, 14)), ("Tobin Ash", (7,))):
        for day in days:
            session = session_of(store, name, day, "driver" if day == 14 else "7 iron")
            for n in range(3):
                value += 1.0
                lost = ("tempo_ratio",) if (name, day, n) == ("Mara Lindqvist", 7, 1) else ()
                view = "fo" if n == 2 else "dtl"
                swing = swing_read(1, value, view=view, lost=lost, focus="measure_01" if n == 0 else "")
                # Filmed in the other order than they are kept.
                store.keep(session, clip_read(f"{name} {day} {n}", swing, recorded_at=1e9 + 1e5 * day - 60 * n))
    return store


def tempos(store: Store, wanted: SwingFilter | None = None, **more: object) -> list[float]:
    return [swing.tempo_ratio for swing in store.swings(wanted or SwingFilter(), **more)]  # type: ignore[arg-type]


def test_the_newest_swing_comes_first(season: Store) -> None:
    # 1-3, 4-6 (5 is missing), 7-9 are Mara's three sessions, 10-12 Tobin's, on the day of her second one.
    assert repr(tempos(season)) == repr([7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 4.0, math.nan, 6.0, 1.0, 2.0, 3.0])
    assert repr(tempos(season, descending=False)) == repr(tempos(season)[::-1])
    assert repr(tempos(season, limit=4, offset=6)) == repr([4.0, math.nan, 6.0, 1.0])
    ids = [swing.id for swing in season.swings(sort="id", descending=False)]
    assert ids == sorted(ids)


def test_sorted_by_a_measure_those_without_a_value_come_last(season: Store) -> None:
    up = [float(i) for i in range(1, 13) if i != 5]
    assert repr(tempos(season, sort="tempo_ratio", descending=False)) == repr([*up, math.nan])
    assert repr(tempos(season, sort="tempo_ratio")) == repr([*up[::-1], math.nan])
    # Pages of any size put together are the whole.
    for size in (1, 2, 5):
        pages = [tempos(season, sort="tempo_ratio", limit=size, offset=at) for at in range(0, 15, size)]
        assert repr([tempo for page in pages for tempo in page]) == repr([*up[::-1], math.nan])


@pytest.mark.parametrize("sort", ["date", "id", "tempo_ratio"])
def test_every_filter_in_every_order(season: Store, sort: str) -> None:
    session = season.sessions("Tobin Ash")[0].id
    swing = next(swing for swing in season.swings() if swing.tempo_ratio == 8.0)
    season.tag("swing", swing.id, "Keeper")
    season.tag("session", session, "keeper")
    season.tag("clip", next(one for one in season.swings() if one.tempo_ratio == 1.0).clip_id, "KEEPER")
    season.mark_best(swing.id)
    day = datetime.timedelta(days=1)
    cases: list[tuple[SwingFilter, set[int]]] = [
        (SwingFilter(players=("tobin ash",)), {10, 11, 12}),
        (SwingFilter(sessions=(session,)), {10, 11, 12}),
        (SwingFilter(clubs=("DRIVER",)), {7, 8, 9}),
        (SwingFilter(views=("fo",)), {3, 6, 9, 12}),
        (SwingFilter(tags=("keeper",)), {1, 8, 10, 11, 12}),
        (SwingFilter(tags=("keeper", "other")), set()),
        (SwingFilter(since=DAY + 8 * day), {7, 8, 9}),
        (SwingFilter(until=DAY + 6 * day), {1, 2, 3}),
        (SwingFilter(best=True), {8}),
        (SwingFilter(best=False, players=("Mara Lindqvist",), views=("dtl",)), {1, 2, 4, 5, 7}),
        (SwingFilter(first="measure_01"), {1, 4, 7, 10}),
        (SwingFilter(first="", views=("fo",)), {3, 6, 9, 12}),
        (SwingFilter(limits=(("tempo_ratio", 3.0, 6.0),)), {3, 4, 6}),
        (SwingFilter(limits=(("tempo_ratio", 11.0, None), ("measure_01", None, 12.0))), {11}),
        (SwingFilter(views=("fo",), limits=(("tempo_ratio", 3.0, 7.0),), players=("Mara Lindqvist",)), {3, 6}),
    ]
    for wanted, expected in cases:
        found = season.swings(wanted, sort=sort, measures=("measure_01",))
        # measure_01 is always valid, and one more than the tempo ratio.
        assert {round(one.values["measure_01"]) - 1 for one in found} == expected, wanted
        assert season.count_swings(wanted) == len(expected), wanted


def test_a_filter_that_names_what_is_not_there_is_an_error(season: Store) -> None:
    with pytest.raises(InputError, match="no player"):
        season.swings(SwingFilter(players=("Nobody",)))
    with pytest.raises(InputError, match="no session 99"):
        season.swings(SwingFilter(sessions=(99,)))
    with pytest.raises(InputError, match="has a measure 'tempo_ratoi'") as told:
        season.swings(sort="tempo_ratoi")
    assert "tempo_ratio" in told.value.hint
    with pytest.raises(InputError, match="is no number"):
        season.swings(SwingFilter(limits=(("tempo_ratio", math.nan, None),)))
    with pytest.raises(InputError, match="page"):
        season.swings(limit=-1)


def test_ids_that_are_none_are_told_in_two_lines(store: Store) -> None:
    for id in (0, -1, 2**70, "x", None):
        with pytest.raises(InputError, match="swing") as told:
            store.swing(id)  # type: ignore[arg-type]
        assert len(str(told.value).splitlines()) == 2


# --- notes, tags, best ---


def test_notes_on_everything(season: Store) -> None:
    swing = season.swings()[0]
    for target, id in (("player", 1), ("session", swing.session_id), ("clip", swing.clip_id), ("swing", swing.id)):
        first = season.add_note(target, id, "  First\r\nline ")  # type: ignore[arg-type]
        second = season.add_note(target, id, "👩‍🏫 seen")  # type: ignore[arg-type]
        assert season.notes(target, id) == (first, second)  # type: ignore[arg-type]
        assert first.text == "First\nline"
        season.remove_note(first.id)
        assert season.notes(target, id) == (second,)  # type: ignore[arg-type]
    with pytest.raises(InputError, match="no note 999"):
        season.remove_note(999)
    with pytest.raises(InputError, match="note is empty"):
        season.add_note("swing", swing.id, " \n ")
    with pytest.raises(InputError, match="no swing 999"):
        season.add_note("swing", 999, "x")
    with pytest.raises(InputError, match="takes no notes"):
        season.add_note("club", 1, "x")  # type: ignore[arg-type]


def test_tags_are_words_without_case(season: Store) -> None:
    swing = season.swings()[0]
    season.tag("swing", swing.id, "Keeper")
    season.tag("swing", swing.id, "keeper")
    season.tag("session", swing.session_id, "rain")
    assert season.swing(swing.id).tags == ("Keeper",)
    assert season.session(swing.session_id).tags == ("rain",)
    season.untag("swing", swing.id, "KEEPER")
    assert season.tags("swing", swing.id) == ()
    with pytest.raises(InputError, match="has no tag"):
        season.untag("swing", swing.id, "keeper")
    with pytest.raises(InputError, match="takes no tags"):
        season.tag("player", 1, "x")
    with pytest.raises(InputError, match="61 characters"):
        season.tag("swing", swing.id, "x" * 61)


def test_best_swings_newest_first(season: Store) -> None:
    by_tempo = {swing.tempo_ratio: swing.id for swing in season.swings()}
    for tempo in (1.0, 9.0, 4.0):
        season.mark_best(by_tempo[tempo])
        season.mark_best(by_tempo[tempo])
    season.mark_best(by_tempo[11.0])
    assert [swing.tempo_ratio for swing in season.best("Mara Lindqvist")] == [9.0, 4.0, 1.0]
    assert [swing.tempo_ratio for swing in season.best("Mara Lindqvist", view="dtl", club="7 iron")] == [4.0, 1.0]
    season.unmark_best(by_tempo[4.0])
    assert [swing.tempo_ratio for swing in season.best("Mara Lindqvist")] == [9.0, 1.0]
    with pytest.raises(InputError, match="not marked"):
        season.unmark_best(by_tempo[4.0])


# --- series ---


def test_a_series_is_in_time_order_and_holds_valid_values_alone(season: Store) -> None:
    found = season.series("mara lindqvist", "tempo_ratio", view="dtl")
    # Within a session the second clip was filmed before the first.
    assert list(found.value) == [2.0, 1.0, 4.0, 8.0, 7.0]
    assert list(found.low) == [1.5, 0.5, 3.5, 7.5, 6.5]
    assert list(found.high) == [2.75, 1.75, 4.75, 8.75, 7.75]
    assert [session.date for session in found.sessions] == [DAY + datetime.timedelta(days=day) for day in (0, 7, 14)]
    assert [season.swing(int(id)).tempo_ratio for id in found.swing_id] == list(found.value)
    assert [season.swing(int(id)).session_id for id in found.swing_id] == list(found.session_id)
    # No view told: the one with most swings.
    assert season.series("Mara Lindqvist", "tempo_ratio").view == "dtl"
    assert list(season.series("Mara Lindqvist", "tempo_ratio", view="fo").value) == [3.0, 6.0, 9.0]
    later = season.series("Mara Lindqvist", "tempo_ratio", since=DAY + datetime.timedelta(days=1), club="7 iron")
    assert list(later.value) == [4.0]
    assert len(later.sessions) == 1


def test_a_session_without_a_valid_value_is_still_one_that_was_asked_for(season: Store) -> None:
    session = session_of(season, days=21)
    season.keep(session, clip_read("empty", swing_read(lost=("tempo_ratio",))))
    found = season.series("Mara Lindqvist", "tempo_ratio", since=DAY + datetime.timedelta(days=20))
    assert len(found.value) == 0
    assert [one.id for one in found.sessions] == [session]


def test_measures_by_name_view_and_number(season: Store) -> None:
    found = {(name, view): n for name, _, view, n in season.measure_names("Mara Lindqvist")}
    assert found["tempo_ratio", "dtl"] == 5
    assert found["tempo_ratio", "fo"] == 3
    assert {(name, view): n for name, _, view, n in season.measure_names()}["tempo_ratio", "dtl"] == 7
    with pytest.raises(InputError, match="has a measure 'unheard_of'"):
        season.series("Mara Lindqvist", "unheard_of")
    with pytest.raises(InputError, match="not measured in the view other"):
        season.series("Mara Lindqvist", "tempo_ratio", view="other")
    with pytest.raises(InputError, match="is no part and phase"):
        season.series("Mara Lindqvist", "hands.nowhere")


def test_differences_are_a_series_too(season: Store) -> None:
    swings = sorted(season.swings(SwingFilter(players=("Mara Lindqvist",))), key=lambda swing: swing.id)
    for i, swing in enumerate(swings[:3]):
        season.keep_comparison(swing.id, comparison(0.1 * (i + 1)))
    season.keep_comparison(swings[0].id, comparison(0.9, b"another", "Model two"))
    size = season.series("Mara Lindqvist", "hands.backswing")
    assert (size.unit, size.view) == ("torso", "dtl")
    np.testing.assert_allclose(size.value, [0.2, 0.1])
    np.testing.assert_allclose(size.low, [0.1, 0.05])
    x = season.series("Mara Lindqvist", "hands.backswing.x", view="fo")
    np.testing.assert_allclose(x.value, [0.24])
    assert np.all(np.isnan(x.low))
    other = season.series(
        "Mara Lindqvist", "hands.backswing", reference_key=comparison(content=b"another").reference_key
    )
    np.testing.assert_allclose(other.value, [0.9])
    # What is not scored is no value.
    assert len(season.series("Mara Lindqvist", "head.release").value) == 0
    with pytest.raises(InputError, match="compared with a reference"):
        season.series("Tobin Ash", "hands.backswing")
    # The newest comparison unless another is asked for.
    newest = season.comparison(swings[0].id)
    assert newest is not None
    assert newest.reference_name == "Model two"
    assert season.references("Mara Lindqvist")[0][1:] == ("Model one", 3)
    assert season.check() == ()


def test_cameras_are_means_over_clips_with_an_honest_error(store: Store) -> None:
    session = session_of(store)
    # Clips at 4 and 8 cm, each known to 2 cm: spread 8 cm² between them, so the error is √(8 ÷ 2) = 2 cm.
    for name, heights in (("one", (3.0, 5.0)), ("two", (8.0,))):
        swings = [
            replace(swing_read(i, start_s=1.0 + 6 * i), filming=filming(height)) for i, height in enumerate(heights, 1)
        ]
        store.keep(session, clip_read(name, *swings))
    empty = session_of(store, days=1)
    (camera,) = store.session_cameras([session, empty], "dtl")
    assert (camera.session_id, camera.view, camera.n_clips) == (session, "dtl", 2)
    assert camera.values["camera_height"] == pytest.approx(6.0)
    assert camera.sds["camera_height"] == pytest.approx(2.0)
    # Both at 1°, each known to 2 ÷ 1.96: the intervals speak where the spread is silent.
    assert camera.sds["yaw"] == pytest.approx(2 / 1.95996 / math.sqrt(2), rel=1e-4)
    assert set(camera.values) == {"camera_height", "yaw"}
    assert store.session_cameras([session], "fo") == ()
