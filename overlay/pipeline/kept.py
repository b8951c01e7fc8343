"""Swings of the library as references: ``best:PLAYER`` and ``swing:NUMBER``."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from overlay.data import KeptSwing, Model
from overlay.errors import InputError, MismatchError
from overlay.files import has_content
from overlay.pipeline.clips import ClipOptions
from overlay.pipeline.told import told_options
from overlay.terms import VIEW_WORDS, View

if TYPE_CHECKING:
    from overlay.library import Store

BEST, SWING = "best:", "swing:"


@dataclass(frozen=True)
class KeptEntry:
    """A swing of the library: what was kept of it, and where its clip was seen last.

    Attributes
    ----------
    swing : KeptSwing
    options : ClipOptions
        How its clip was read, with the swing's number.
    model : Model
        Its track, as a model of one view.
    clip : Path or None
        None where the file is no longer there, or is no longer the same.
    """

    swing: KeptSwing
    options: ClipOptions
    model: Model
    clip: Path | None


@dataclass(frozen=True)
class KeptReference:
    """One swing of the library, or a player's best in each view.

    Attributes
    ----------
    name : str
        As it is shown: "best of Rowan, 3 May 2026".
    entries : mapping view → KeptEntry
    """

    name: str
    entries: Mapping[View, KeptEntry]

    def of(self, view: View) -> KeptEntry:
        """The swing to hold against a student of that view.

        Raises
        ------
        MismatchError
            None is kept in that view.
        """
        if view in self.entries:
            return self.entries[view]
        if view == "other" and len(self.entries) == 1:
            return next(iter(self.entries.values()))
        held = " and ".join(VIEW_WORDS[one] for one in self.entries)
        raise MismatchError(
            f"The student is filmed {VIEW_WORDS[view]}, and {self.name} is kept {held}.",
            "Compare the same view; `overlay best` marks a swing of the other one.",
        )

    def as_model(self) -> Model:
        """All views in one model, without pictures."""
        first, *rest = (entry.model for entry in self.entries.values())
        swings = dict(first.swings)
        filming = dict(first.filming)
        for model in rest:
            swings.update(model.swings)
            filming.update(model.filming)
        return dataclasses.replace(first, swings=swings, filming=filming)


def is_kept_name(given: str) -> bool:
    """Whether a reference is said as a swing of the library."""
    return given.startswith((BEST, SWING))


def kept_reference(given: str, library: Path | None = None) -> KeptReference:
    """The swing of the library that ``given`` means.

    Parameters
    ----------
    given : str
        ``best:NAME``: the newest swing marked as a player's best, in each view. ``swing:12``: the swing of that id.
    library : Path, optional
        The library's file; the user's own when left out.

    Raises
    ------
    InputError
        There is no library, no such player or swing, or no best swing is marked.
    """
    from overlay.library import open_store

    with open_store(library, must_exist=True) as store:
        if given.startswith(SWING):
            number = given.removeprefix(SWING).strip()
            if not number.isascii() or not number.isdigit() or len(number) > 18:
                raise InputError(
                    f"{given!a} names no swing of the library.", "Say it as swing:12; `overlay swings` lists the ids."
                )
            found = [store.swing(int(number))]
            said = f"swing {number} of {found[0].player}"
        else:
            player = store.player(given.removeprefix(BEST))
            newest: dict[View, KeptSwing] = {}
            for swing in store.best(player.name):
                newest.setdefault(swing.view, swing)
            found = list(newest.values())
            if not found:
                raise InputError(
                    f"No swing of {player.name} is marked as best.",
                    f'`overlay best "{player.name}"` says how to mark one.',
                )
            said = f"best of {player.name}"
        dates = sorted({swing.date for swing in found})
        name = f"{said}, {' and '.join(date.isoformat() for date in dates)}"
        return KeptReference(name, {swing.view: _entry(store, swing, name) for swing in found})


def kept_entry(store: Store, swing: KeptSwing) -> KeptEntry:
    """A swing of an open library, ready to be shown or compared with."""
    return _entry(store, swing, f"swing {swing.id} of {swing.player}, {swing.date.isoformat()}")


def _entry(store: Store, swing: KeptSwing, name: str) -> KeptEntry:
    clip = store.clip(swing.clip_id)
    model = dataclasses.replace(store.swing_model(swing.id), name=name)
    options = dataclasses.replace(told_options(clip.told), swing=swing.number)
    return KeptEntry(
        swing, options, model, clip.path if has_content(clip.path, clip.content_hash, clip.size_bytes) else None
    )
