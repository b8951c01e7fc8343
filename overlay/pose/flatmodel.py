"""Adds input-normalisation metadata to a TFLite model without touching a byte of its weights.

MediaPipe's task library refuses a float model that does not say how its picture is scaled. The landmark model of
the legacy solution carries no such note, and the library's own metadata writer cannot be imported in the versions
this project uses (a compiled part of it is no longer shipped). A flatbuffer's references point forwards, from parent
to child, relative to where they stand; so a new root can be put *in front* of the old file: the old bytes stay as
they are, in place and aligned, and the new root refers into them. The result is the same on every machine, so
that it can be pinned by its hash.

Format: the FlatBuffers binary format ("Internals" chapter of its documentation); the tables are those of the
TFLite model schema (``Model``, ``Metadata``, ``Buffer``) and of MediaPipe's ``metadata_schema.fbs``.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from typing import Sequence

from overlay.errors import SetupError

ALIGNMENT = 16
"""Bytes. TFLite wants the weights aligned to this."""

# Slots of the TFLite schema's tables.
MODEL_BUFFERS, MODEL_METADATA = 4, 6
METADATA_NAME, METADATA_BUFFER = 0, 1
BUFFER_DATA = 0
# Slots of MediaPipe's metadata schema.
MODEL_NAME, MODEL_DESCRIPTION, MODEL_SUBGRAPHS, MODEL_PARSER = 0, 1, 3, 7
SUBGRAPH_INPUTS = 2
TENSOR_NAME, TENSOR_CONTENT, TENSOR_PROCESS, TENSOR_STATS = 0, 3, 4, 5
CONTENT_KIND, CONTENT_PROPERTIES = 0, 1
CONTENT_IS_IMAGE, IMAGE_COLOUR, COLOUR_IS_RGB = 2, 0, 1
PROCESS_KIND, PROCESS_OPTIONS = 0, 1
PROCESS_IS_NORMALISATION, NORMALISATION_MEAN, NORMALISATION_STD = 1, 0, 1
STATS_MAX, STATS_MIN = 0, 1

METADATA_KEY = "TFLITE_METADATA"


@dataclass(frozen=True)
class Scalar:
    """A number stored in the table itself; ``kind`` is a struct letter."""

    kind: str
    value: int


@dataclass(frozen=True)
class Text:
    """A string."""

    value: str


@dataclass(frozen=True)
class Data:
    """A vector of bytes, its content aligned to ``ALIGNMENT``."""

    value: bytes


@dataclass(frozen=True)
class Floats:
    """A vector of 32-bit floats."""

    value: tuple[float, ...]


@dataclass(frozen=True)
class Old:
    """Something that stands at this byte of the file that follows the new root."""

    position: int


@dataclass(frozen=True)
class Table:
    """Fields by slot."""

    fields: dict[int, Value]


@dataclass(frozen=True)
class Vector:
    """References to tables."""

    items: tuple[Table | Old, ...]


Value = Scalar | Text | Data | Floats | Old | Table | Vector


class _Writer:
    """Writes parents before children, so that every reference points forwards."""

    def __init__(self) -> None:
        self.out = bytearray()
        self.old: list[tuple[int, int]] = []

    def align(self, step: int, ahead: int = 0) -> None:
        self.out += b"\0" * (-(len(self.out) + ahead) % step)

    def point(self, at: int, target: int) -> None:
        struct.pack_into("<I", self.out, at, target - at)

    def place(self, at: int, value: Value) -> None:
        """Write ``value`` after everything else and let the reference at ``at`` point to it."""
        if isinstance(value, Old):
            self.old.append((at, value.position))
            return
        self.point(at, self.write(value))

    def write(self, value: Value) -> int:
        if isinstance(value, Table):
            return self.table(value)
        if isinstance(value, Vector):
            self.align(4)
            start = len(self.out)
            self.out += struct.pack("<I", len(value.items)) + b"\0" * (4 * len(value.items))
            for number, item in enumerate(value.items):
                self.place(start + 4 + 4 * number, item)
            return start
        if isinstance(value, Text):
            content = value.value.encode()
            self.align(4)
            start = len(self.out)
            self.out += struct.pack("<I", len(content)) + content + b"\0"
            return start
        if isinstance(value, Floats):
            self.align(4)
            start = len(self.out)
            self.out += struct.pack(f"<I{len(value.value)}f", len(value.value), *value.value)
            return start
        if isinstance(value, Data):
            self.align(ALIGNMENT, ahead=4)
            start = len(self.out)
            self.out += struct.pack("<I", len(value.value)) + value.value
            return start
        raise TypeError(type(value))

    def table(self, table: Table) -> int:
        slots = range(max(table.fields, default=-1) + 1)
        offsets, size, layout = [], 4, []
        for slot in slots:
            value = table.fields.get(slot)
            if value is None:
                offsets.append(0)
                continue
            kind = value.kind if isinstance(value, Scalar) else "I"
            width = struct.calcsize(f"<{kind}")
            size += -size % width
            offsets.append(size)
            layout.append((size, value))
            size += width
        self.align(2)
        vtable = len(self.out)
        self.out += struct.pack(f"<HH{len(offsets)}H", 4 + 2 * len(offsets), size, *offsets)
        self.align(4)
        start = len(self.out)
        self.out += struct.pack("<i", start - vtable) + b"\0" * (size - 4)
        for offset, value in layout:
            if isinstance(value, Scalar):
                struct.pack_into(f"<{value.kind}", self.out, start + offset, value.value)
        for offset, value in layout:
            if not isinstance(value, Scalar):
                self.place(start + offset, value)
        return start


def serialise(root: Table, identifier: bytes, old: bytes = b"") -> bytes:
    """A flatbuffer of ``root``, followed by the file its ``Old`` references point into."""
    writer = _Writer()
    writer.out += b"\0" * 4 + identifier
    writer.place(0, root)
    writer.align(ALIGNMENT)
    for at, position in writer.old:
        writer.point(at, len(writer.out) + position)
    return bytes(writer.out) + old


def _word(data: bytes, at: int) -> int:
    return int(struct.unpack_from("<I", data, at)[0])


def _field(data: bytes, table: int, slot: int) -> int | None:
    """Where the field of a slot stands, None when the table has not got it."""
    vtable = table - struct.unpack_from("<i", data, table)[0]
    size = struct.unpack_from("<H", data, vtable)[0]
    if 4 + 2 * slot >= size:
        return None
    offset = struct.unpack_from("<H", data, vtable + 4 + 2 * slot)[0]
    return table + offset if offset else None


def _vector(data: bytes, table: int, slot: int) -> list[int]:
    at = _field(data, table, slot)
    if at is None:
        return []
    start = at + _word(data, at)
    return [start + 4 + 4 * i + _word(data, start + 4 + 4 * i) for i in range(_word(data, start))]


def normalisation_metadata(mean: Sequence[float], std: Sequence[float], name: str) -> bytes:
    """The metadata buffer of a model with one RGB picture as input, scaled as (value − mean) ÷ std."""
    low = tuple((0.0 - m) / s for m, s in zip(mean, std))
    high = tuple((255.0 - m) / s for m, s in zip(mean, std))
    image = Table(
        {
            CONTENT_KIND: Scalar("B", CONTENT_IS_IMAGE),
            CONTENT_PROPERTIES: Table({IMAGE_COLOUR: Scalar("B", COLOUR_IS_RGB)}),
        }
    )
    scaling = Table({NORMALISATION_MEAN: Floats(tuple(mean)), NORMALISATION_STD: Floats(tuple(std))})
    process = Table({PROCESS_KIND: Scalar("B", PROCESS_IS_NORMALISATION), PROCESS_OPTIONS: scaling})
    tensor = Table(
        {
            TENSOR_NAME: Text("image"),
            TENSOR_CONTENT: image,
            TENSOR_PROCESS: Vector((process,)),
            TENSOR_STATS: Table({STATS_MAX: Floats(high), STATS_MIN: Floats(low)}),
        }
    )
    root = Table(
        {
            MODEL_NAME: Text(name),
            MODEL_SUBGRAPHS: Vector((Table({SUBGRAPH_INPUTS: Vector((tensor,))}),)),
            MODEL_PARSER: Text("1.0.0"),
        }
    )
    return serialise(root, b"M001")


def with_normalisation(model: bytes, mean: Sequence[float], std: Sequence[float], name: str) -> bytes:
    """The model with metadata that says how its input picture is scaled.

    Parameters
    ----------
    model : bytes
        A TFLite file without such metadata.
    mean, std : sequences of float, one or three values
        The model is fed (value − mean) ÷ std, value 0–255.
    name : str
        Kept in the metadata.

    Raises
    ------
    SetupError
        The bytes are no TFLite model.
    """
    if model[4:8] != b"TFL3" or len(model) < 64:
        raise SetupError("The landmark file is not a TFLite model.", "Delete the pose model and make it again.")
    root = _word(model, 0)
    vtable = root - struct.unpack_from("<i", model, root)[0]
    n_slots = (struct.unpack_from("<H", model, vtable)[0] - 4) // 2
    fields: dict[int, Value] = {}
    for slot in range(n_slots):
        at = _field(model, root, slot)
        if at is None:
            continue
        # Slot 0 is the version number; all others are references.
        fields[slot] = Scalar("I", _word(model, at)) if slot == 0 else Old(at + _word(model, at))
    buffers = _vector(model, root, MODEL_BUFFERS)
    notes = _vector(model, root, MODEL_METADATA)
    note = Table({METADATA_NAME: Text(METADATA_KEY), METADATA_BUFFER: Scalar("I", len(buffers))})
    data = Table({BUFFER_DATA: Data(normalisation_metadata(mean, std, name))})
    fields[MODEL_BUFFERS] = Vector((*(Old(at) for at in buffers), data))
    fields[MODEL_METADATA] = Vector((*(Old(at) for at in notes), note))
    return serialise(Table(fields), b"TFL3", model)
