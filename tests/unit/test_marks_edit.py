"""Changing marks: what is corrected, what is added, what is asked back, and how it is told."""

from __future__ import annotations

import pytest

from overlay.data import ClubMark, Marks, PositionMark
from overlay.errors import InputError
from overlay.marks import (
    changes,
    doubts,
    with_club_mark,
    with_position,
    without_club_mark,
    without_position,
)


def tops(*times: float) -> Marks:
    return Marks(positions=tuple(PositionMark("top", time_s) for time_s in times))


CLUB = ClubMark(1.0, (10.0, 20.0), (30.0, 80.0))


def test_a_nearby_time_corrects_and_a_far_one_asks() -> None:
    assert with_position(Marks(), "top", 3.9) == tops(3.9)
    assert with_position(tops(3.9), "top", 4.1) == tops(4.1)
    with pytest.raises(InputError, match=r"marked already, at 3.900 s, far from 9.000 s") as told:
        with_position(tops(3.9), "top", 9.0)
    assert "--also top=9" in told.value.hint
    assert "--remove top=3.9" in told.value.hint


def test_another_swing_keeps_the_first() -> None:
    assert with_position(tops(3.9), "top", 9.0, also=True) == tops(3.9, 9.0)
    # The nearest of several is corrected, the other stays.
    assert with_position(tops(3.9, 9.0), "top", 9.1) == tops(3.9, 9.1)
    with pytest.raises(InputError, match="too near to be another swing's"):
        with_position(tops(3.9), "top", 4.0, also=True)


def test_removing() -> None:
    assert without_position(tops(3.9, 9.0), "top") == Marks()
    assert without_position(tops(3.9, 9.0), "top", 8.8) == tops(3.9)
    for call in (
        lambda: without_position(Marks(), "top"),
        lambda: without_position(tops(3.9), "top", 20.0),
        lambda: without_position(tops(3.9), "impact"),
    ):
        with pytest.raises(InputError, match="is not marked"):
            call()


def test_the_club_is_marked_once_a_frame() -> None:
    first = with_club_mark(Marks(), CLUB)
    again = ClubMark(1.0, (11.0, 20.0), (30.0, 80.0))
    assert with_club_mark(first, again).club == (again,)
    other = ClubMark(0.5, (11.0, 20.0), (30.0, 80.0))
    assert with_club_mark(first, other).club == (other, CLUB)
    assert without_club_mark(with_club_mark(first, other), 1.0).club == (other,)
    assert without_club_mark(with_club_mark(first, other)).club == ()
    with pytest.raises(InputError, match=r"not marked on the frame at 2.000 s"):
        without_club_mark(first, 2.0)
    with pytest.raises(InputError, match="The club is not marked"):
        without_club_mark(Marks())


def test_what_changed_is_told_in_words() -> None:
    old = Marks("fo", None, (PositionMark("top", 3.9), PositionMark("finish", 6.0)), (CLUB,))
    new = Marks("dtl", "left", (PositionMark("top", 3.95), PositionMark("impact", 4.2)), ())
    assert [change.sentence for change in changes(old, new)] == [
        "view: face on → down the line",
        "hand: left-handed (new)",
        "top: 3.900 s → 3.950 s",
        "impact: 4.200 s (new)",
        "finish: 6.000 s removed",
        "club: at 1.000 s grip 10, 20 and head 30, 80 removed",
    ]
    moved = ClubMark(1.0, (10.0, 20.0), (31.0, 80.0))
    (change,) = changes(Marks(club=(CLUB,)), Marks(club=(moved,)))
    assert change.sentence.endswith("head 30, 80 → at 1.000 s grip 10, 20 and head 31, 80")
    assert changes(old, old) == ()


def test_marks_that_cannot_be_of_one_swing_are_doubted() -> None:
    wrong = Marks(positions=(PositionMark("impact", 3.9), PositionMark("top", 4.0)))
    (doubt,) = doubts(wrong)
    assert doubt.startswith("Impact is marked at 3.900 s, before top at 4.000 s.")
    # Far enough apart it is the next swing.
    assert doubts(Marks(positions=(PositionMark("impact", 3.9), PositionMark("top", 14.0)))) == ()
    assert doubts(Marks(positions=(PositionMark("top", 3.9), PositionMark("impact", 4.0)))) == ()
