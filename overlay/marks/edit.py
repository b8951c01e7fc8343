"""Changes to marks: each gives new marks, and what changed can be said in words."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

from overlay.data import ClubMark, Marks, PositionMark
from overlay.errors import InputError
from overlay.settings.marks import MarkSettings
from overlay.terms import POSITION_NAMES, VIEW_WORDS, words

SETTINGS = MarkSettings()


def with_position(
    marks: Marks, name: str, time_s: float, *, also: bool = False, settings: MarkSettings = SETTINGS
) -> Marks:
    """The marks with a position at a time; one of the same name nearby is corrected.

    Parameters
    ----------
    also : bool
        It is the position of another swing of the recording: those marked already stay.

    Raises
    ------
    InputError
        The same position is marked further away, and which swing is meant was not said; or ``also`` was said of a
        time where it is marked already.
    """
    same = [mark for mark in marks.positions if mark.name == name]
    near = [mark for mark in same if abs(mark.time_s - time_s) <= settings.same_swing_s]
    if also and near:
        raise InputError(
            f"{words(name).capitalize()} is marked at {near[0].time_s:.3f} s already, too near to be another swing's.",
            f"To correct it give --position {name}={time_s:g}.",
        )
    if not also and same and not near:
        nearest = min(same, key=lambda mark: abs(mark.time_s - time_s))
        raise InputError(
            f"{words(name).capitalize()} is marked already, at {nearest.time_s:.3f} s, far from {time_s:.3f} s.",
            f"For another swing of the recording give --also {name}={time_s:g}; to move it add --remove "
            f"{name}={nearest.time_s:g}.",
        )
    kept = [mark for mark in marks.positions if mark not in near]
    new = sorted([*kept, PositionMark(name, time_s)], key=lambda mark: mark.time_s)
    return replace(marks, positions=tuple(new))


def without_position(
    marks: Marks, name: str, time_s: float | None = None, *, settings: MarkSettings = SETTINGS
) -> Marks:
    """The marks without a position: all marks of that name, or the one nearest to a time.

    Raises
    ------
    InputError
        There is no such mark.
    """
    gone = [mark for mark in marks.positions if mark.name == name]
    if time_s is not None:
        gone = sorted(gone, key=lambda mark: abs(mark.time_s - time_s))[:1]
        gone = [mark for mark in gone if abs(mark.time_s - time_s) <= settings.same_swing_s]
    if not gone:
        at = "" if time_s is None else f" near {time_s:.3f} s"
        raise InputError(f"{words(name).capitalize()} is not marked{at}, so it cannot be removed.", _SEE)
    return replace(marks, positions=tuple(mark for mark in marks.positions if mark not in gone))


def with_club_mark(marks: Marks, mark: ClubMark, *, settings: MarkSettings = SETTINGS) -> Marks:
    """The marks with the club on one frame; a mark of the same frame is replaced."""
    kept = [other for other in marks.club if abs(other.time_s - mark.time_s) >= settings.same_frame_s]
    return replace(marks, club=tuple(sorted([*kept, mark], key=lambda other: other.time_s)))


def without_club_mark(marks: Marks, time_s: float | None = None, *, settings: MarkSettings = SETTINGS) -> Marks:
    """The marks without the club on the frame at a time, or on all frames.

    Raises
    ------
    InputError
        There is no such mark.
    """
    kept = () if time_s is None else tuple(m for m in marks.club if abs(m.time_s - time_s) >= settings.same_frame_s)
    if len(kept) == len(marks.club):
        at = "" if time_s is None else f" on the frame at {time_s:.3f} s"
        raise InputError(f"The club is not marked{at}, so the mark cannot be removed.", _SEE)
    return replace(marks, club=kept)


_SEE = "`overlay mark CLIP --list` shows all marks of a clip."


@dataclass(frozen=True)
class Change:
    """One thing that differs between two states of the marks.

    Attributes
    ----------
    what : str
        "view", "hand", "club" or the name of a position.
    before, after : str
        As a person reads it; "" where there was, or is, nothing.
    """

    what: str
    before: str
    after: str

    @property
    def sentence(self) -> str:
        """The change in words."""
        if not self.before:
            return f"{words(self.what)}: {self.after} (new)"
        if not self.after:
            return f"{words(self.what)}: {self.before} removed"
        return f"{words(self.what)}: {self.before} → {self.after}"


def changes(old: Marks, new: Marks, *, settings: MarkSettings = SETTINGS) -> tuple[Change, ...]:
    """What differs, in the order view, hand, positions, club; nothing when the marks are the same."""
    found = []
    if old.view != new.view:
        found.append(Change("view", _view(old.view), _view(new.view)))
    if old.handedness != new.handedness:
        found.append(Change("hand", _hand(old.handedness), _hand(new.handedness)))
    was, now = set(old.positions), set(new.positions)
    gone = [mark for mark in old.positions if mark not in now]
    for mark in new.positions:
        if mark in was:
            continue
        moved = min((g for g in gone if g.name == mark.name), key=lambda g: abs(g.time_s - mark.time_s), default=None)
        if moved is not None:
            gone.remove(moved)
        found.append(Change(mark.name, "" if moved is None else _seconds(moved.time_s), _seconds(mark.time_s)))
    found += [Change(mark.name, _seconds(mark.time_s), "") for mark in gone]
    seen, kept = set(old.club), set(new.club)
    lost = [mark for mark in old.club if mark not in kept]
    for one in new.club:
        if one in seen:
            continue
        before = next((other for other in lost if abs(other.time_s - one.time_s) < settings.same_frame_s), None)
        if before is not None:
            lost.remove(before)
        found.append(Change("club", "" if before is None else club_words(before), club_words(one)))
    found += [Change("club", club_words(mark), "") for mark in lost]
    return tuple(found)


def club_words(mark: ClubMark) -> str:
    """A club mark in one line."""
    (gx, gy), (hx, hy) = mark.grip, mark.head
    return f"at {mark.time_s:.3f} s grip {gx:g}, {gy:g} and head {hx:g}, {hy:g}"


def _seconds(time_s: float) -> str:
    return f"{time_s:.3f} s"


def _view(view: str | None) -> str:
    return "" if view is None else VIEW_WORDS[view]


def _hand(hand: str | None) -> str:
    return "" if hand is None else f"{hand}-handed"


def doubts(marks: Marks, *, settings: MarkSettings = SETTINGS) -> tuple[str, ...]:
    """Sentences on marks that could not be of one swing: a later position marked shortly before an earlier one."""
    found = []
    for one, other in itertools.pairwise(sorted(marks.positions, key=lambda mark: mark.time_s)):
        backwards = POSITION_NAMES.index(other.name) <= POSITION_NAMES.index(one.name)
        if backwards and other.time_s - one.time_s <= settings.same_swing_s:
            found.append(
                f"{words(one.name).capitalize()} is marked at {one.time_s:.3f} s, before {words(other.name)} at "
                f"{other.time_s:.3f} s. In one swing it comes after it: one of the two times is wrong."
            )
    return tuple(found)
