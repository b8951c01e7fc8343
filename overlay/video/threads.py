"""How many threads decoding may use in this process.

By itself a clip is decoded on all cores, ahead of whoever looks at it. Where several clips are read side by side, one
process a core, that only makes them wait for each other: there each process keeps to its own thread.
"""

from __future__ import annotations

_most: int | None = None


def limit_threads(most: int | None) -> None:
    """Decode on at most so many threads from now on; 1: on the thread that asks, not ahead. None: as many as help."""
    global _most
    _most = None if most is None else max(1, most)


def most_threads() -> int | None:
    """What was set; None when nothing was."""
    return _most
