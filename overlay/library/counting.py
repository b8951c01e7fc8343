"""Small questions about the whole library that lists and exports ask, each one query."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from overlay.data import KeptSwing
from overlay.library.base import chunks, marks
from overlay.library.listing import SwingFilter

if TYPE_CHECKING:
    from overlay.library.store import Store
    from overlay.terms import View


def measure_units(store: Store) -> dict[str, str]:
    """Unit of every measure that was ever kept, in the order first kept; swings are not looked at."""
    return dict(store._db.rows("SELECT name, unit FROM kinds ORDER BY id"))


def swings_by_view(store: Store, session_ids: Iterable[int]) -> dict[int, dict[View, int]]:
    """How many swings of each view every one of the sessions has; a view without any is left out."""
    found: dict[int, dict[View, int]] = {id: {} for id in session_ids}
    for some in chunks(found):
        for id, view, n in store._db.rows(
            f"""SELECT session_id, view, count(*) FROM swings
            WHERE session_id IN ({marks(some)}) GROUP BY session_id, view""",
            some,
        ):
            found[id][view] = n
    return found


@contextmanager
def one_state(store: Store) -> Iterator[None]:
    """The library as it is now for all that is read within, whatever other programs write meanwhile."""
    with store._db.reading():
        yield


def pages(store: Store, chosen: SwingFilter, size: int) -> Iterator[KeptSwing]:
    """The swings that pass the filter by id, ``size`` looked up at once; to be used within ``one_state``.

    Asking for one page after the other by number would walk past all earlier ones each time.
    """
    ids = store._by_id(chosen, False, -1, 0)
    for start in range(0, len(ids), size):
        yield from store._kept(ids[start : start + size], ())
