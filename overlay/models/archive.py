"""The container of a model file: a zip with few, small, plainly named members, checked before anything is expanded."""

from __future__ import annotations

import io
import re
import struct
import zipfile
import zlib
from collections.abc import Mapping

import numpy as np

from overlay.arrays import AnyArray
from overlay.models.checks import LIMITS, Fault, shown_value
from overlay.settings.models import ModelSettings

DOCUMENT = "model.json"
ALLOWED = re.compile(
    r"model\.json|arrays/[a-z_]{2,20}(\.[a-z_]{1,20}){0,2}\.npy|pictures/(dtl|fo|other)\.\d{4}\.(jpg|png)"
)

_END = struct.Struct("<4s4H2LH")
_LOCAL = struct.Struct("<4s5H3L2H")
_FIXED_DATE = (1980, 1, 1, 0, 0, 0)
_UNREADABLE = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    NotImplementedError,
    RuntimeError,
    UnicodeError,
    ValueError,
    struct.error,
    IndexError,
    OSError,
)
"""What zipfile raises, by experience, on content that is no zip or a broken one."""

_NPY = b"\x93NUMPY\x01\x00"
_NPY_HEADER = re.compile(
    rb"\{'descr': '(<f4|<f8|\|b1|\|u1)', 'fortran_order': False, "
    rb"'shape': \((\d{1,9}(?:, \d{1,9}){0,3}|\d{1,9},)\), \} *\n"
)
_MAX_NPY_HEADER = 256


class Archive:
    """The members of a model file.

    Parameters
    ----------
    content : bytes
        The whole file.

    Raises
    ------
    Fault
        It is no zip, is damaged or encrypted, its members overlap, are too many or too large, or leave the file.
    """

    def __init__(self, content: bytes, settings: ModelSettings = LIMITS) -> None:
        self._settings = settings
        _check_end(content, settings)
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(content))
            members = self._zip.infolist()
        except _UNREADABLE as error:
            raise Fault(f"it is damaged ({_first_line(error)})") from None
        if len(members) > settings.max_members:
            raise Fault(f"it holds {len(members)} parts, more than {settings.max_members}")
        self._members: dict[str, zipfile.ZipInfo] = {}
        for member in members:
            self._add(member)
        _check_places(content, members)
        total = sum(member.file_size for member in members)
        if total > settings.max_expanded_bytes:
            raise Fault(
                f"it would expand to {total / 1e6:.0f} MB, more than {settings.max_expanded_bytes / 1e6:.0f} MB"
            )
        if total > settings.suspicious_bytes and total > settings.max_ratio * len(content):
            raise Fault(f"it would expand {total / max(1, len(content)):.0f}-fold, as no model does")

    def _add(self, member: zipfile.ZipInfo) -> None:
        name = member.orig_filename
        shown = shown_value(name)
        parts = re.split(r"[/\\]", name)
        if name.startswith(("/", "\\")) or ".." in parts or re.match(r"[A-Za-z]:", name) or "\0" in name:
            raise Fault(f"it holds a part {shown} that would leave the model's own folder")
        if member.flag_bits & 0x41:
            raise Fault("it is encrypted", "Export the model again without a password.")
        if member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise Fault(f"its part {shown} is compressed in a way that models are not")
        if name in self._members:
            raise Fault(f"it holds the part {shown} twice")
        if member.compress_type == zipfile.ZIP_STORED and member.compress_size != member.file_size:
            raise Fault(f"its part {shown} has two sizes")
        self._members[name] = member

    @property
    def names(self) -> set[str]:
        """Names of all members."""
        return set(self._members)

    def check_names(self) -> None:
        """Refuse members that no model of this schema has."""
        for name in self._members:
            if not ALLOWED.fullmatch(name):
                raise Fault(f"it holds a part {shown_value(name)} that models do not have")

    def read(self, name: str, most: int) -> bytes:
        """The content of a member.

        Raises
        ------
        Fault
            It is absent, larger than ``most`` bytes, or damaged.
        """
        member = self._members.get(name)
        if member is None:
            raise Fault(f"it lacks its part {name}")
        if member.file_size > most:
            raise Fault(f"its part {name} has {member.file_size} bytes, more than {most}")
        try:
            with self._zip.open(member) as source:
                content = source.read(member.file_size + 1)
        except _UNREADABLE as error:
            raise Fault(f"its part {name} is damaged ({_first_line(error)})") from None
        if len(content) != member.file_size:
            raise Fault(f"its part {name} is cut off")
        return content

    def read_array(self, name: str, shape: tuple[int, ...], types: tuple[str, ...]) -> AnyArray:
        """The array of a member in NumPy's own form, of one of ``types`` ("<f8", "<f4", "|b1", "|u1").

        Nothing is unpickled: the header has to be of the few forms that are written here.

        Raises
        ------
        Fault
            It is absent, damaged, or of another type or shape.
        """
        size = int(np.prod(shape, dtype=np.int64))
        widest = max(np.dtype(kind).itemsize for kind in types)
        content = self.read(name, size * widest + _MAX_NPY_HEADER)
        if content[:8] != _NPY or len(content) < 10:
            raise Fault(f"its part {name} is no array that models have")
        length = int.from_bytes(content[8:10], "little")
        match = _NPY_HEADER.fullmatch(content[10 : 10 + length]) if length <= _MAX_NPY_HEADER - 10 else None
        if match is None:
            raise Fault(f"its part {name} has a header that models do not have")
        kind = match.group(1).decode()
        found = tuple(int(number) for number in match.group(2).split(b",") if number.strip())
        if kind not in types:
            raise Fault(f"its part {name} holds {kind}, not {' or '.join(types)}")
        if found != shape:
            raise Fault(f"its part {name} has shape {found}, not {shape}")
        body = content[10 + length :]
        if len(body) != size * np.dtype(kind).itemsize:
            raise Fault(f"its part {name} has {len(body)} bytes of values where its header promises another number")
        if kind == "|b1" and np.any(np.frombuffer(body, np.uint8) > 1):
            raise Fault(f"its part {name} holds values that are neither true nor false")
        return np.frombuffer(body, np.dtype(kind)).reshape(shape)


def _check_end(content: bytes, settings: ModelSettings) -> None:
    """The record at the end says how many members there are and where their list lies; zipfile takes the same one."""
    if content[:4] != b"PK\x03\x04":
        raise Fault("it is not a model file", "A model file is written by `overlay model save` or `export`.")
    if len(content) < _END.size or content[-_END.size : -_END.size + 4] != b"PK\x05\x06":
        raise Fault("its end is missing, or something was added to it", "Copy it again; it was cut off on the way.")
    _, disk, start_disk, here, count, length, offset, comment = _END.unpack(content[-_END.size :])
    if disk or start_disk or comment or here != count:
        raise Fault("its list of parts is not one that models have")
    if count > settings.max_members:
        raise Fault(f"it holds {count} parts, more than {settings.max_members}")
    at = len(content) - _END.size
    if offset + length != at or content[max(0, at - 20) : max(0, at - 16)] == b"PK\x06\x07":
        raise Fault("its list of parts is not where it should be")


def _check_places(content: bytes, members: list[zipfile.ZipInfo]) -> None:
    """No two members share bytes, and none lies outside the file."""
    ends = 0
    for member in sorted(members, key=lambda member: member.header_offset):
        start = member.header_offset
        head = content[start : start + _LOCAL.size]
        if start < ends or len(head) < _LOCAL.size or head[:4] != b"PK\x03\x04":
            raise Fault("its parts overlap or are not where they should be")
        *_, name_length, extra_length = _LOCAL.unpack(head)
        ends = start + _LOCAL.size + name_length + extra_length + member.compress_size
    if ends > len(content) - _END.size:
        raise Fault("its parts overlap or are not where they should be")
    if members and min(member.header_offset for member in members) != 0:
        raise Fault("something stands before its first part")


def _first_line(error: BaseException) -> str:
    line = (str(error).splitlines() or [type(error).__name__])[0]
    return ascii(line)[1:-1][:80]


def packed(document: bytes, arrays: Mapping[str, AnyArray], pictures: Mapping[str, bytes]) -> bytes:
    """The zip of a model; the same content gives the same bytes.

    Parameters
    ----------
    document : bytes
        The JSON.
    arrays : name → array
        Of float64, bool or uint8. What float32 holds without loss is written so.
    pictures : name → bytes
    """
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as target:
        _put(target, DOCUMENT, document, zipfile.ZIP_DEFLATED)
        for name, values in arrays.items():
            _put(target, f"arrays/{name}.npy", _npy(values), zipfile.ZIP_DEFLATED)
        for name, content in pictures.items():
            # JPEG and PNG are compressed already.
            _put(target, f"pictures/{name}", content, zipfile.ZIP_STORED)
    return out.getvalue()


def _put(target: zipfile.ZipFile, name: str, content: bytes, how: int) -> None:
    info = zipfile.ZipInfo(name, _FIXED_DATE)
    info.compress_type = how
    info.external_attr = 0o644 << 16
    info.create_system = 3
    target.writestr(info, content, compresslevel=6)


def _npy(values: AnyArray) -> bytes:
    values = np.ascontiguousarray(values)
    if values.dtype == np.float64:
        with np.errstate(over="ignore"):
            single = values.astype(np.float32)
        if np.array_equal(single.astype(np.float64), values, equal_nan=True):
            values = single
    kind = {"float64": "<f8", "float32": "<f4", "bool": "|b1", "uint8": "|u1"}[values.dtype.name]
    shape = f"({', '.join(map(str, values.shape))}{',' if values.ndim == 1 else ''})"
    header = f"{{'descr': '{kind}', 'fortran_order': False, 'shape': {shape}, }}".encode()
    header += b" " * (-(len(_NPY) + 2 + len(header) + 1) % 64) + b"\n"
    return _NPY + len(header).to_bytes(2, "little") + header + values.astype(kind, copy=False).tobytes()
