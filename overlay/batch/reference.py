"""What the swings of a session are compared with, as the content of one model file."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from overlay.batch.reading import reference_key
from overlay.batch.spec import AddSpec
from overlay.data import Model
from overlay.data.record import Player
from overlay.errors import DataError, InputError
from overlay.pipeline import KeptReference
from overlay.progress import SILENT, Progress

if TYPE_CHECKING:
    from overlay.library import Store

NONE = "none"
BEST = "best"


@dataclass(frozen=True)
class Chosen:
    """A reference.

    Attributes
    ----------
    name : str
        As it is shown.
    content : bytes
        Its model file.
    same_player : bool
        It is of the player himself.
    source : Path, Model or KeptReference or None
        Where it came from: a clip has pictures, which the model file has not.
    """

    name: str
    content: bytes
    same_player: bool = False
    source: Path | Model | KeptReference | None = None

    @property
    def key(self) -> str:
        return reference_key(self.content)


def chosen_reference(
    store: Store, spec: AddSpec, player: Player | None, *, progress: Progress = SILENT
) -> tuple[Chosen | None, str]:
    """The reference, and what is to be said about it.

    Parameters
    ----------
    store : Store
    spec : AddSpec
    player : Player or None
        None: one who is not in the library yet.

    Returns
    -------
    Chosen or None
        None where nothing is to be compared.
    str
        Why a player's own choice could not be used; "" otherwise.

    Raises
    ------
    InputError, ContentError
        The reference that was asked for is not there, or cannot be read.
    """
    told = str(spec.reference).strip() if spec.reference is not None else ""
    given = told or ("" if player is None else player.reference)
    if not given or given.casefold() == NONE:
        return None, ""
    if given.casefold() == BEST:
        given = f"best:{spec.player if player is None else player.name}"
    try:
        return _found(store, given, spec, progress), ""
    except InputError as error:
        if told:
            raise
        return None, f"Nothing is compared: {error.message} {error.hint}"


def _found(store: Store, given: str, spec: AddSpec, progress: Progress) -> Chosen:
    from overlay.models import model_bytes, without_pictures
    from overlay.pipeline import find_reference
    from overlay.pipeline.models import Told, keep_clip

    found = find_reference(given, models=spec.models, library=store.path)
    own = spec.own
    if isinstance(found, KeptReference):
        own = own or {entry.swing.player.casefold() for entry in found.entries.values()} == {spec.player.casefold()}
        name, model = found.name, found.as_model()
    elif isinstance(found, Model):
        name, model = found.name, found
    else:
        progress.stage(f"reading the reference {found.name}")
        # The clip is told nothing: what is said of the player's clips need not hold for it.
        name, model = found.stem, keep_clip(found, Told(_fit(found.stem)), progress=progress)
        progress.done()
    # The time at which it was made tells nothing here, and the same reference shall have the same key tomorrow.
    model = dataclasses.replace(
        without_pictures(model), name=_fit(name), provenance=dataclasses.replace(model.provenance, made_at="")
    )
    return Chosen(name, model_bytes(model), own and model.space is None, found)


def _fit(name: str) -> str:
    """The name where it can be a model's."""
    from overlay.models import check_name, tidy

    try:
        return check_name(tidy(name, 60))
    except DataError:
        return "reference"
