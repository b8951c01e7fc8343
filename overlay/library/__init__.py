"""The library: players, sessions, clips and swings, and what was read of each, in one SQLite file.

    with open_store() as store:
        player = store.ensure_player("Mara Lindqvist")
        session = store.ensure_session(player.id, date(2031, 5, 4), "7 iron")
        store.keep(session.id, read)

What is kept where stands in docs/library.md.
"""

from overlay.library.forgetting import Forgotten
from overlay.library.listing import SwingFilter
from overlay.library.opening import default_path
from overlay.library.store import Store, open_copy, open_store, restore

__all__ = ["Forgotten", "Store", "SwingFilter", "default_path", "open_copy", "open_store", "restore"]
