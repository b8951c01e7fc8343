"""Then and now: which two swings are shown, what stands in for a clip that is gone, and what is written under them."""

from __future__ import annotations

import dataclasses
import datetime
import hashlib
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from season_factory import FIRST_DAY, PLAYER, another, failed, fill_season, read_once, real_swing

from overlay.compose import ComposeOptions
from overlay.compose.wording import difference_sentence
from overlay.data import PhaseDifference
from overlay.errors import InputError, MismatchError, OutputError
from overlay.files import sha256_of
from overlay.library import Store, SwingFilter, open_store
from overlay.pipeline.then_now import chosen_swings, day_names, found_clip, then_and_now


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Store, list[int], Path]]:
    folder = tmp_path_factory.mktemp("season")
    with open_store(folder / "library.sqlite") as store:
        ids = fill_season(store, folder, sessions=4, since=2, swings=2)
        yield store, ids, folder


@pytest.fixture
def marked(kept: tuple[Store, list[int], Path]) -> Iterator[tuple[Store, int, int]]:
    """The swings of first and last session whose files exist, both marked as best."""
    store, ids, _ = kept
    then, now = real_swing(store, ids[0]), real_swing(store, ids[-1])
    store.mark_best(then)
    store.mark_best(now)
    yield store, then, now
    store.unmark_best(then)
    store.unmark_best(now)


def test_best_against_best(marked: tuple[Store, int, int]) -> None:
    store, then, now = marked
    newer, older, notes = chosen_swings(store, PLAYER)
    assert (older.id, newer.id) == (then, now)
    assert notes == []


def test_given_swings_win_and_a_mark_of_the_same_session_is_not_then(
    marked: tuple[Store, int, int], kept: tuple[Store, list[int], Path]
) -> None:
    store, then, now = marked
    between = store.swings(SwingFilter(sessions=(kept[1][1],)))[0].id
    newer, older, _ = chosen_swings(store, PLAYER, then=between)
    assert (older.id, newer.id) == (between, now)
    newer, older, _ = chosen_swings(store, PLAYER, now=between)
    assert (older.id, newer.id) == (then, between)
    other = next(swing.id for swing in store.swings(SwingFilter(sessions=(kept[1][-1],))) if swing.id != now)
    store.mark_best(other)
    try:
        assert chosen_swings(store, PLAYER)[1].id == then
    finally:
        store.unmark_best(other)


def test_without_an_older_mark_the_first_session_stands_in_and_is_told(kept: tuple[Store, list[int], Path]) -> None:
    store, ids, _ = kept
    now = real_swing(store, ids[-1])
    store.mark_best(now)
    try:
        newer, older, notes = chosen_swings(store, PLAYER)
        assert older.session_id == ids[0]
        assert newer.id == now
        assert "No swing of an earlier session is marked as best" in notes[0]
    finally:
        store.unmark_best(now)


def test_two_marks_of_one_session_are_not_then_and_now(kept: tuple[Store, list[int], Path]) -> None:
    store, ids, _ = kept
    same = [swing.id for swing in store.swings(SwingFilter(sessions=(ids[-1],)))]
    for id in same:
        store.mark_best(id)
    try:
        newer, older, notes = chosen_swings(store, PLAYER)
        assert newer.id in same
        assert older.session_id == ids[0]
        assert notes
    finally:
        for id in same:
            store.unmark_best(id)


def test_what_cannot_be_chosen_is_told(kept: tuple[Store, list[int], Path], marked: tuple[Store, int, int]) -> None:
    store, _, folder = kept
    _, then, now = marked
    with pytest.raises(InputError, match="with itself"):
        chosen_swings(store, PLAYER, then=now, now=now)
    newer, older, _ = chosen_swings(store, PLAYER, then=now, now=then)
    assert (older.id, newer.id) == (then, now)
    with pytest.raises(InputError, match="in a session after 2031-03-19 is marked"):
        chosen_swings(store, PLAYER, then=now)
    with pytest.raises(InputError, match="no player"):
        chosen_swings(store, "Nobody")
    with pytest.raises(InputError, match="before 2031-03-04"):
        chosen_swings(store, PLAYER, now=then)
    with pytest.raises(InputError, match="filmed face on is marked as best"):
        chosen_swings(store, PLAYER, view="fo")
    other = store.ensure_player("Somebody Else")
    session = store.ensure_session(other.id, FIRST_DAY, "driver")
    read = read_once(folder / "swing-0.npz")
    face_on = dataclasses.replace(
        another(read, "else", 0.0, "", np.random.default_rng(1), compared=False),
        content_hash=hashlib.sha256(b"else").hexdigest(),
    )
    store.keep(session.id, face_on)
    foreign = store.swings(SwingFilter(sessions=(session.id,)))[0].id
    with pytest.raises(InputError, match="is of Somebody Else"):
        chosen_swings(store, PLAYER, then=foreign)
    with pytest.raises(InputError, match="No swing of Somebody Else is marked"):
        chosen_swings(store, "Somebody Else")
    store.remove_session(session.id)


def test_two_views_are_not_shown_in_step(kept: tuple[Store, list[int], Path], marked: tuple[Store, int, int]) -> None:
    store, _, folder = kept
    read = read_once(folder / "swing-0.npz")
    session = store.ensure_session(store.player(PLAYER).id, datetime.date(2031, 3, 5), "7 iron")
    from library_factory import swing_read

    face_on = dataclasses.replace(
        read,
        content_hash=hashlib.sha256(b"fo").hexdigest(),
        path=Path("/range/fo.npz"),
        swings=(swing_read(view="fo"),),
    )
    store.keep(session.id, face_on)
    other = store.swings(SwingFilter(sessions=(session.id,)))[0].id
    try:
        with pytest.raises(MismatchError, match="face on"):
            chosen_swings(store, PLAYER, then=other, now=marked[2])
    finally:
        store.remove_session(session.id)


def test_a_clip_that_moved_within_its_folder_is_found_by_its_content(
    kept: tuple[Store, list[int], Path], tmp_path: Path
) -> None:
    store, _, folder = kept
    session = store.ensure_session(store.player(PLAYER).id, datetime.date(2032, 1, 1), "wedge")
    first = Path(shutil.copy2(folder / "swing-0.npz", tmp_path / "first.npz"))
    first.write_bytes(first.read_bytes() + b"\0")
    read = dataclasses.replace(
        another(read_once(folder / "swing-0.npz"), "moved", 0.0, "", np.random.default_rng(1), compared=False),
        content_hash=sha256_of(first),
        path=first,
        size_bytes=first.stat().st_size,
    )
    store.keep(session.id, read)
    swing = store.swings(SwingFilter(sessions=(session.id,)))[0]
    try:
        assert found_clip(store, swing) == first
        moved = first.rename(tmp_path / "another name.npz")
        assert found_clip(store, swing) == moved
        first.write_bytes(b"\1" * read.size_bytes)
        assert found_clip(store, swing) == moved
        moved.unlink()
        assert found_clip(store, swing) is None
    finally:
        store.remove_session(session.id)


def test_the_film_shows_both_days_and_a_lost_clip_leaves_its_figure(
    kept: tuple[Store, list[int], Path], marked: tuple[Store, int, int], tmp_path: Path
) -> None:
    from overlay.video import open_clip, read_image

    store, _, now = marked
    lost = next(swing.id for swing in store.swings(SwingFilter(sessions=(kept[1][1],))))
    made = then_and_now(store, PLAYER, tmp_path / "film.mp4", then=lost, layout="ghost", speed=8.0)
    assert (made.then.id, made.now.id) == (lost, now)
    assert "shown as a drawn figure" in made.notes[0]
    assert "is no longer there" in made.notes[0]
    assert made.comparison.checklist is None
    with open_clip(made.video) as reader:
        assert reader.clip.n_frames > 10
    sheet = read_image(made.sheet)
    assert made.sheet.name == "film-stills.png"
    assert sheet.shape[0] > 3 * sheet.shape[1]


def test_both_swings_are_of_one_build(marked: tuple[Store, int, int], tmp_path: Path) -> None:
    store, _, _ = marked
    made = then_and_now(store, PLAYER, tmp_path / "film.mp4", layout="ghost", speed=8.0)
    assert made.notes == ()
    # A player is not fitted to himself.
    assert made.comparison.fit is None
    assert made.comparison.reference_model is None


def test_a_film_is_not_written_over_a_clip_or_into_a_picture(marked: tuple[Store, int, int], tmp_path: Path) -> None:
    store, _, _ = marked
    with pytest.raises(InputError, match=r"\.mp4"):
        then_and_now(store, PLAYER, tmp_path / "film.gif")
    (tmp_path / "film.mp4").mkdir()
    with pytest.raises(OutputError, match="in the way"):
        then_and_now(store, PLAYER, tmp_path / "film.mp4")


def test_days_are_named_as_people_name_them() -> None:
    assert day_names(datetime.date(2031, 5, 3), datetime.date(2031, 6, 20)) == ("Then, 3 May", "Now, 20 June")
    assert day_names(datetime.date(2030, 5, 3), datetime.date(2031, 6, 20)) == ("Then, 3 May 2030", "Now, 20 June 2031")


def test_sentences_speak_of_the_older_swing_and_of_the_reference_elsewhere() -> None:
    row = PhaseDifference("backswing", "hands", 0.2, (0.1, 0.3), (0.2, 0.0), "moderate", 60.0, (50.0, 70.0), 0.05)
    assert "from the older swing, towards the ball" in difference_sentence(row, "dtl", "the older swing")
    assert "from the reference" in difference_sentence(row, "dtl")
    assert ComposeOptions().called == ("the student", "the reference")


def test_a_failed_clip_has_no_swing_to_show(kept: tuple[Store, list[int], Path]) -> None:
    store, ids, _ = kept
    assert failed("dark").swings == ()
    assert store.session(ids[-1]).n_failed == 1
