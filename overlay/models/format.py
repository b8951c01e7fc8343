"""One model, one file: written whole or not at all, and read with every doubt.

``NAME.swing`` is a zip of ``model.json`` (schema, version, everything that is no array), ``arrays/*.npy`` and
``pictures/*``. Described in docs/models.md.
"""

from __future__ import annotations

import json
import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import cast

from overlay.data import Model, ModelKind
from overlay.errors import DataError, InputError, OutputError
from overlay.files import write_bytes
from overlay.models.archive import DOCUMENT, Archive, packed
from overlay.models.checks import LIMITS, Fault, Fields, check_name, load_json
from overlay.models.reading import HANDS, VIEWS, check_schema, read_model, read_provenance
from overlay.models.writing import SCHEMA, written
from overlay.settings.models import KeptPictureSettings, ModelSettings
from overlay.terms import POSITION_NAMES, View

SUFFIX = ".swing"
KEPT = KeptPictureSettings()
HINT = "Ask for it again, or make it anew; a damaged or altered model is not read."


@dataclass(frozen=True)
class Facts:
    """What is known of a kept model without reading its arrays.

    Attributes
    ----------
    name : str
    path : Path
    n_bytes : int
    shipped : bool
        Comes with overlay and cannot be removed.
    problem : str
        Why it cannot be used, "" when it can; then the rest is empty.
    kind : ModelKind
    views : tuple of View
    handedness : "right", "left"; "both" for a swing in space, which is mirrored as needed
    positions : mapping view → how many of the nine were found
    n_swings : int
        Swings behind it.
    pictures : mapping view → moments of which cut-outs are kept
    club_kind, player, made_at, label : str
    """

    name: str
    path: Path
    n_bytes: int = 0
    shipped: bool = False
    problem: str = ""
    kind: ModelKind = "swing"
    views: tuple[View, ...] = ()
    handedness: str = ""
    positions: dict[str, int] | None = None
    n_swings: int = 0
    pictures: dict[str, int] | None = None
    club_kind: str = ""
    player: str = ""
    made_at: str = ""
    label: str = ""


def is_model_file(path: Path) -> bool:
    """Whether the name is that of a model file (.swing)."""
    return Path(path).suffix.lower() == SUFFIX


def model_bytes(model: Model, settings: ModelSettings = LIMITS) -> bytes:
    """The content of a model's file; the same model gives the same bytes.

    Raises
    ------
    DataError
        The model would not be read back: its name cannot be a file's, a swing still holds its clip, a text is too
        long, a value out of any range.
    """
    check_name(model.name, settings)
    for swing in model.swings.values():
        if swing.clip is not None:
            raise DataError(
                f"A swing of the model {model.name} still holds its clip.", "Keep it with models.kept_swing first."
            )
    try:
        document, arrays, pictures = written(model)
        text = json.dumps(document, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
        content = packed(text.encode("utf-8"), arrays, pictures)
        _read(content, settings)
    except Fault as fault:
        what = fault.what.removeprefix("it ")
        raise DataError(f"The model {model.name} cannot be kept: {what}.", "Make it again.") from fault
    except (TypeError, ValueError, UnicodeError) as error:
        raise DataError(f"The model {model.name} cannot be kept: {error}.", "Make it again.") from error
    return content


def save_model(model: Model, path: Path, settings: ModelSettings = LIMITS) -> None:
    """Write a model to its file, whole or not at all.

    Raises
    ------
    DataError
        As ``model_bytes``.
    OutputError
        The file cannot be written, or its name does not end in .swing.
    """
    path = Path(path)
    if not is_model_file(path):
        raise OutputError(f"{path.name} is no name for a model file.", f"End it in {SUFFIX}.")
    write_bytes(path, model_bytes(model, settings))


def load_model(path: Path, settings: ModelSettings = LIMITS) -> Model:
    """Read a model file. Nothing in it is run, and nothing is expanded before it was measured.

    Raises
    ------
    InputError
        There is no such file, or it is not a model this version of overlay reads; the message says what is wrong.
    """
    path = Path(path)
    return model_of(read_content(path, settings), path.name, settings)


def model_of(content: bytes, name: str, settings: ModelSettings = LIMITS) -> Model:
    """As ``load_model``, from the content of a file; ``name`` is what an error calls it.

    Raises
    ------
    InputError
        It is not a model this version of overlay reads.
    """
    try:
        return _read(content, settings)
    except Fault as fault:
        raise InputError(f"{name}: {fault.what}.", fault.hint or HINT) from fault
    except DataError as error:
        raise InputError(f"{name}: {error.message}", HINT) from error


def load_facts(path: Path, settings: ModelSettings = LIMITS) -> Facts:
    """What a model file says of itself; arrays and pictures are not read. Raises as ``load_model``."""
    path = Path(path)
    content = read_content(path, settings)
    try:
        archive, document = _opened(content, settings)
        return _facts(path, len(content), document, archive)
    except Fault as fault:
        raise InputError(f"{path.name}: {fault.what}.", fault.hint or HINT) from fault
    except DataError as error:
        raise InputError(f"{path.name}: {error.message}", HINT) from error


def read_content(path: Path, settings: ModelSettings = LIMITS) -> bytes:
    """The bytes of a model file.

    Raises
    ------
    InputError
        There is no such file, it is no file, cannot be read, is empty or too large.
    """
    try:
        # A pipe would be waited for, a device read for ever.
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
        try:
            if not stat.S_ISREG(os.fstat(handle).st_mode):
                raise InputError(f"{path} is not a file.", "Give the name of a model file (.swing).")
            with open(handle, "rb", closefd=False) as source:
                content = source.read(settings.max_bytes + 1)
        finally:
            os.close(handle)
    except FileNotFoundError as error:
        raise InputError(f"There is no file {path}.", "Check the name; `overlay model list` shows all.") from error
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror or error}.", "Check the permissions.") from error
    except ValueError as error:
        raise InputError(f"{str(path)!a} is no name a file can have.", "Check the name.") from error
    if not content:
        raise InputError(f"{path.name} is empty.", HINT)
    if len(content) > settings.max_bytes:
        raise InputError(f"{path.name} is larger than {settings.max_bytes // 1_000_000} MB: no model is.", HINT)
    return content


def _opened(content: bytes, settings: ModelSettings) -> tuple[Archive, Fields]:
    archive = Archive(content, settings)
    document = load_json(archive.read(DOCUMENT, settings.max_json_bytes), settings)
    check_schema(document)
    # After the schema: a newer one may have parts that this one does not know.
    archive.check_names()
    return archive, document


def _read(content: bytes, settings: ModelSettings) -> Model:
    archive, document = _opened(content, settings)
    return read_model(document, archive, settings, KEPT)


def _facts(path: Path, n_bytes: int, document: Fields, archive: Archive) -> Facts:
    name = check_name(document.text("name", 400))
    kind = cast("ModelKind", document.word("model", ("swing", "template", "space")))
    made = read_provenance(document)
    positions: dict[str, int] = {}
    hands: list[str] = []
    for view, fields in document.named_objects("swings", VIEWS):
        hands.append(fields.word("handedness", HANDS))
        positions[view] = len(fields.object("positions").rows("found", len(POSITION_NAMES)))
        fields.skip()
    counts = [1]
    for _, fields in document.named_objects("bands", VIEWS):
        counts.append(fields.whole("n_swings", 1, 100_000))
        fields.skip()
    pictures: dict[str, int] = {}
    for view, fields in document.named_objects("pictures", VIEWS):
        pictures[view] = fields.whole("count", 1, KEPT.max_moments)
        if f"pictures/{view}.{pictures[view] - 1:04d}.jpg" not in archive.names:
            raise Fault(f"it lacks pictures of the view {view}")
        fields.skip()
    if kind == "space":
        found = len(document.object("space").object("positions").rows("found", len(POSITION_NAMES)))
        positions = {"dtl": found, "fo": found}
    elif not positions:
        raise Fault("it holds no swing")
    return Facts(
        name=name,
        path=path,
        n_bytes=n_bytes,
        kind=kind,
        views=tuple(cast("View", view) for view in positions),
        handedness="both" if kind == "space" else hands[0],
        positions=positions,
        n_swings=max(counts),
        pictures=pictures,
        club_kind=document.text("club_kind", 300),
        player=document.text("player", 300),
        made_at=made.made_at,
        label=made.label,
    )


__all__ = [
    "SCHEMA",
    "SUFFIX",
    "Facts",
    "is_model_file",
    "load_facts",
    "load_model",
    "model_bytes",
    "read_content",
    "save_model",
]
