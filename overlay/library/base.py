"""What the parts of the store share: the connection, and finding a row or saying that there is none."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, TypeVar

from overlay.errors import InputError
from overlay.library.connection import Connection
from overlay.library.words import key, shown

T = TypeVar("T")
CHUNK = 500
"""Values in one statement: older SQLite takes 999."""
_WHERE_LISTED = {
    "player": "`overlay players` lists them.",
    "session": "`overlay sessions` lists them with their numbers.",
    "swing": "`overlay swings` lists them with their numbers.",
    "clip": "`overlay session NUMBER` lists the clips of a session.",
    "note": "Notes are shown with their numbers where they are listed.",
}


class Part:
    """Base of the store's parts."""

    def __init__(self, db: Connection) -> None:
        self._db = db

    @property
    def path(self) -> Path:
        """The library's file."""
        return self._db.path

    def _must(self, table: str, id: int, what: str) -> None:
        """Refuse an id that is not in ``table``."""
        if self._db.one(f"SELECT 1 FROM {table} WHERE id = ?", (whole(id, what),)) is None:
            raise nothing(what, id)

    def _player_id(self, name: str) -> int:
        """The id of a player by name.

        Raises
        ------
        InputError
            There is none of that name; the message names the known ones.
        """
        row = self._db.one("SELECT id FROM players WHERE name_key = ?", (key(str(name)),))
        if row is not None:
            return int(row[0])
        known = [found[0] for found in self._db.rows("SELECT name FROM players ORDER BY name_key")]
        near = difflib.get_close_matches(key(str(name)), [key(one) for one in known], 3)
        known.sort(key=lambda one: key(one) not in near)
        listed = ", ".join(known[:12]) + (", …" if len(known) > 12 else "") if known else "none yet"
        raise InputError(f"There is no player {shown(str(name))} in the library.", f"Players are: {listed}.")


def whole(id: Any, what: str) -> int:
    """An id as SQLite takes it.

    Raises
    ------
    InputError
        It is no whole number, or larger than any id.
    """
    try:
        value = int(id)
    except (TypeError, ValueError):
        raise InputError(f"{shown(str(id))} is no number of a {what}.", _WHERE_LISTED[what]) from None
    if not 0 < value < 2**62:
        raise nothing(what, id)
    return value


def nothing(what: str, id: Any) -> InputError:
    """The error that there is no such thing, with where they are listed."""
    text = str(id)
    return InputError(
        f"There is no {what} {text if text.isdigit() and len(text) < 20 else shown(text)} in the library.",
        _WHERE_LISTED[what],
    )


def marks(values: Sequence[Any]) -> str:
    """Question marks for the values of a list in a statement."""
    return ", ".join("?" * len(values))


def chunks(values: Iterable[T], size: int = CHUNK) -> Iterator[list[T]]:
    """The values in lists of at most ``size``."""
    every = list(values)
    for start in range(0, len(every), size):
        yield every[start : start + size]
