"""Giving a player another name, which keeps everything that is his."""

from __future__ import annotations

from typing import TYPE_CHECKING

from overlay.data import Player
from overlay.errors import OutputError
from overlay.library.words import key, one_line

if TYPE_CHECKING:
    from overlay.library.connection import Connection
    from overlay.library.store import Store

_FORMER = "former name of player {}: "


def rename_player(store: Store, name: str, new: str) -> Player:
    """Give a player another name. Others whose reference is his best swing by name follow.

    Kept tracks do not hold the name. Kept references may, and are known by their content, which stays: the former name
    is remembered, so that forgetting the player finds them.

    Parameters
    ----------
    store : Store
    name : str
    new : str
        May differ from ``name`` in case or spaces alone.

    Raises
    ------
    InputError
        There is no such player, or the new name cannot be kept.
    OutputError
        Another player has the new name.
    """
    fit = one_line(new, "name of a player")
    db = store._db
    with db.writing():
        player = store.player(name)
        taken = db.one("SELECT name FROM players WHERE name_key = ? AND id <> ?", (key(fit), player.id))
        if taken is not None:
            raise OutputError(
                f"There is a player {taken[0]} already.", "Two players do not become one; choose another name."
            )
        db.run("UPDATE players SET name = ?, name_key = ? WHERE id = ?", (fit, key(fit), player.id))
        for other, reference in db.rows("SELECT id, reference FROM players WHERE reference <> ''"):
            word, colon, of = reference.partition(":")
            if colon and word == "best" and key(of) == key(player.name):
                db.run("UPDATE players SET reference = ? WHERE id = ?", (f"best:{fit}", other))
        if key(fit) != key(player.name):
            db.run(
                "INSERT OR REPLACE INTO facts (name, value) VALUES (?, ?)",
                (f"{_FORMER.format(player.id)}{key(player.name)}", player.name),
            )
        return store.player(fit)


def former_names(db: Connection, player_id: int) -> tuple[str, ...]:
    """What a player was called before."""
    start = _FORMER.format(player_id)
    rows = db.rows("SELECT value FROM facts WHERE substr(name, 1, ?) = ? ORDER BY name", (len(start), start))
    return tuple(row[0] for row in rows)


def called_before(store: Store, player: Player) -> tuple[str, ...]:
    """What a player was called before, by the store."""
    return former_names(store._db, player.id)


def drop_former_names(db: Connection, player_id: int) -> None:
    """Forget what a player was called before."""
    start = _FORMER.format(player_id)
    db.run("DELETE FROM facts WHERE substr(name, 1, ?) = ?", (len(start), start))
