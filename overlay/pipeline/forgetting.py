"""Forgetting a person wholly: what of him is kept where, and removing all of it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from overlay.models import Facts, Library
from overlay.models.checks import same_name
from overlay.pose import cache

if TYPE_CHECKING:
    from overlay.data import Player
    from overlay.library import Store


@dataclass(frozen=True)
class Remembered:
    """What is kept of one player.

    Attributes
    ----------
    player : Player
    n_sessions, n_clips, n_swings, n_notes : int
    hashes : tuple of str
        Of his clips, by which the kept pose tracks are found.
    models : tuple of Facts
        Kept models that bear his name or a former one, as their player's or in their own; those of overlay itself are
        none of his.
    elsewhere : tuple of str
        Other players whose reference is one of these models.
    """

    player: Player
    n_sessions: int
    n_clips: int
    n_swings: int
    n_notes: int
    hashes: tuple[str, ...]
    models: tuple[Facts, ...]
    elsewhere: tuple[str, ...]


@dataclass(frozen=True)
class Removed:
    """What was removed: from the library, kept pose results, models, and the models that were left."""

    n_sessions: int
    n_clips: int
    n_swings: int
    n_cached: int
    models: tuple[str, ...]
    models_left: tuple[str, ...]


def remembered(store: Store, name: str, models: Library) -> Remembered:
    """What is kept of a player; nothing is changed.

    Raises
    ------
    InputError
        There is no such player; the message names those there are.
    """
    from overlay.library import SwingFilter
    from overlay.library.renaming import called_before

    player = store.player(name)
    sessions = store.sessions(player.name)
    clips = [clip for session in sessions for clip in store.clips(session.id)]
    swings = store.swings(SwingFilter(players=(player.name,)))
    n_notes = (
        len(store.notes("player", player.id))
        + sum(len(store.notes("session", session.id)) for session in sessions)
        + sum(len(store.notes("clip", clip.id)) for clip in clips)
        + sum(len(store.notes("swing", swing.id)) for swing in swings)
    )
    called = (player.name, *called_before(store, player))
    named = tuple(facts for facts in models.list() if not facts.shipped and any(_bears(facts, name) for name in called))
    names = {same_name(facts.name) for facts in named}
    return Remembered(
        player,
        len(sessions),
        len(clips),
        len(swings),
        n_notes,
        tuple(dict.fromkeys(clip.content_hash for clip in clips)),
        named,
        tuple(other.name for other in store.players() if other.id != player.id and same_name(other.reference) in names),
    )


def _bears(facts: Facts, name: str) -> bool:
    """Whether a model is of the player, or has his name in its own as whole words."""
    wanted = " ".join(same_name(name).split())
    if " ".join(same_name(facts.player).split()) == wanted:
        return True
    return re.search(rf"(?<!\w){re.escape(wanted)}(?!\w)", " ".join(same_name(facts.name).split())) is not None


def forget(store: Store, kept: Remembered, models: Library, *, models_too: bool = False) -> Removed:
    """Remove everything of a player from the library, the kept pose results, and on request his models.

    What lies outside goes first: the library alone knows what belongs to him, so that a run that was interrupted can be
    run again. Clips on disk and the marks beside them are never touched.

    Raises
    ------
    OutputError
        A model could not be removed; the player is still in the library then.
    """
    n_cached = sum(cache.forget(content_hash) for content_hash in kept.hashes)
    removed = []
    if models_too:
        for facts in kept.models:
            models.remove(facts.name)
            removed.append(facts.name)
        # Whose reference it was has none any more, and his name would stand there on.
        for name in kept.elsewhere:
            store.ensure_player(name, reference="")
    forgotten = store.forget(kept.player.name)
    # A clip may have been added between the look and the removal.
    n_cached += sum(cache.forget(content_hash) for content_hash in forgotten.hashes if content_hash not in kept.hashes)
    left = tuple(facts.name for facts in kept.models if facts.name not in removed)
    return Removed(forgotten.n_sessions, forgotten.n_clips, forgotten.n_swings, n_cached, tuple(removed), left)
