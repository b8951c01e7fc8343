"""Hostile model files, made by damaging good ones on purpose; the same number gives the same file.

Most are put together anew with right sizes and check sums, so that they get past the container to what they attack.
"""

from __future__ import annotations

import copy
import io
import json
import random
import struct
import warnings
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

Members = list[tuple[str, bytes]]

EVIL_NAMES = (
    "../escaped.swing", "../../escaped", "/tmp/escaped", "\\escaped", "C:\\escaped", "c:/escaped", "arrays/../../x.npy",
    "arrays/x/../../../escaped.npy", "", ".", "..", "model.json/", "MODEL.JSON", "model.json ", "arrays/a" * 500, "\0",
    "arrays/dtl.pose.points.npy\0.txt", "aux", "pictures/dtl.0000.exe", "arrays/dtl.pose.points.pkl", "ａrrays/x.npy",
    "arrays/dtl.pose.points.npy.", "./model.json", "//host/share/x", "~/.bashrc",
)  # fmt: skip

EVIL_VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2, 10**6, 10**18, -(10**18), 10**400, 0.5, -0.5, 1e300, -1e300, 1e-320, "", "nan",
    "inf", "-inf", "NaN", "x", "../x", "x" * 5000, "\x1b[2J",
    "\u202e", "\ud800", "a\nb", "\0", [], [[]], {}, {"a": 1}, [1, 2],
    [1] * 5000, ["x"] * 3000, [None, None], ["nan", "nan"], {"x": {"y": {"z": {}}}}, "dtl", "fo", "address", "template",
    "space", "left",
)  # fmt: skip

RAW_VALUES = (
    "NaN", "Infinity", "-Infinity", "1e999", "-1e999", "1" * 5000, "[" * 60_000, '{"a":' * 3000, "tru", "'x'", "01",
    "\\u00", '"\\ud800"', '{"a": 1, "a": 2}', "[1,]", "", "0x10", "/* */ 1", "[" * 20 + "]" * 20,
)  # fmt: skip

HEADERS = (
    "{'descr': '|O', 'fortran_order': False, 'shape': (10,), }",
    "{'descr': '>f8', 'fortran_order': False, 'shape': SHAPE, }",
    "{'descr': '<c16', 'fortran_order': False, 'shape': SHAPE, }",
    "{'descr': '<f8', 'fortran_order': True, 'shape': SHAPE, }",
    "{'descr': '<f8', 'fortran_order': False, 'shape': (999999999, 999999999, 999999999), }",
    "{'descr': '<f8', 'fortran_order': False, 'shape': (-1,), }",
    "{'descr': '<f8', 'fortran_order': False, 'shape': (0,), }",
    "{'descr': '<f8', 'fortran_order': False, 'shape': (), }",
    "{'descr': '<f8', 'fortran_order': False, 'shape': SHAPE, 'x': __import__('os').system('touch escaped')}",
    "{'descr': '<f8', 'fortran_order': False, 'shape': SHAPE, }" + " " * 70_000,
    "{'descr': '<f4', 'fortran_order': False, 'shape': SHAPE, }",
    "{'descr': '|b1', 'fortran_order': False, 'shape': SHAPE, }",
    "{'descr': '|u1', 'fortran_order': False, 'shape': SHAPE, }",
    "{'descr': '<i8', 'fortran_order': False, 'shape': SHAPE, }",
    "{'descr': [('a', '<f8')], 'fortran_order': False, 'shape': SHAPE, }",
    "{'descr': '<U9', 'fortran_order': False, 'shape': SHAPE, }",
    "import os",
    "",
)

EVIL_NUMBERS = (np.nan, np.inf, -np.inf, 1e300, -1e300, 1e7, -1.0, 0.0, 5e-324)


@dataclass(frozen=True)
class Attack:
    """One hostile file and, in a few words, how it was made."""

    content: bytes
    how: str


def members_of(content: bytes) -> Members:
    """The parts of a good file."""
    with zipfile.ZipFile(io.BytesIO(content)) as source:
        return [(info.filename, source.read(info)) for info in source.infolist()]


def zipped(members: Members, compression: int = zipfile.ZIP_STORED) -> bytes:
    """A zip of these parts, whatever they are called, right in itself."""
    out = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # names that stand twice
        with zipfile.ZipFile(out, "w", compression) as target:
            for name, content in members:
                info = zipfile.ZipInfo("x", (1980, 1, 1, 0, 0, 0))
                # Set afterwards: zipfile would cut a name at its NUL and turn backslashes.
                info.filename = name
                info.compress_type = compression
                target.writestr(info, content)
    return out.getvalue()


def _bytes(rng: random.Random, content: bytes, _: Members) -> Attack:
    damaged = bytearray(content)
    # The list of parts and the record at the end are small, and where the mischief is: every other hit goes there.
    low = 0 if rng.random() < 0.5 else max(0, len(damaged) - 2000)
    for _i in range(rng.choice((1, 1, 2, 5, 20))):
        damaged[rng.randrange(low, len(damaged))] = rng.randrange(256)
    return Attack(bytes(damaged), "bytes changed")


def _cut(rng: random.Random, content: bytes, _: Members) -> Attack:
    a, b = sorted(rng.randrange(len(content) + 1) for _i in range(2))
    how = rng.randrange(6)
    if how == 0:
        return Attack(content[:a], "cut off")
    if how == 1:
        return Attack(content[:a] + content[b:], "a stretch taken out")
    if how == 2:
        return Attack(content[:b] + content[a:], "a stretch twice")
    if how == 3:
        return Attack(content + rng.randbytes(rng.randrange(1, 300)), "something after the end")
    if how == 4:
        return Attack(rng.randbytes(rng.randrange(1, 300)) + content, "something before the start")
    return Attack(content + content, "the file twice")


def _parts(rng: random.Random, _: bytes, members: Members) -> Attack:
    members = list(members)
    i, j = rng.randrange(len(members)), rng.randrange(len(members))
    how = rng.randrange(8)
    if how == 0:
        members[i] = (rng.choice(EVIL_NAMES), members[i][1])
        return Attack(zipped(members), "a part renamed")
    if how == 1:
        members.insert(i, (rng.choice(EVIL_NAMES), rng.randbytes(10)))
        return Attack(zipped(members), "a part added")
    if how == 2:
        del members[i]
        return Attack(zipped(members), "a part left out")
    if how == 3:
        members.insert(j, members[i])
        return Attack(zipped(members), "a part twice")
    if how == 4:
        members[i], members[j] = (members[i][0], members[j][1]), (members[j][0], members[i][1])
        return Attack(zipped(members), "two parts exchanged")
    if how == 5:
        members[i] = (members[i][0], rng.randbytes(rng.randrange(3000)))
        return Attack(zipped(members), "a part of noise")
    if how == 6:
        kept = rng.randrange(len(members[i][1]) + 1)
        members[i] = (members[i][0], members[i][1][:kept] + rng.randbytes(rng.choice((0, 1, 100))))
        return Attack(zipped(members), "a part of another length")
    return Attack(zipped(members, rng.choice((zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA))), "packed otherwise")


def _places(document: Any) -> list[tuple[Any, Any]]:
    """(container, key) of every value in the document."""
    found = []
    open_ = [document]
    while open_:
        value = open_.pop()
        keys = list(value) if isinstance(value, dict) else list(range(len(value)))
        for key in keys:
            found.append((value, key))
            if isinstance(value[key], (dict, list)):
                open_.append(value[key])
    return found


def _document(rng: random.Random, _: bytes, members: Members) -> Attack:
    document = json.loads(dict(members)["model.json"])
    raw = None
    how = "values of the document changed"
    for _i in range(rng.choice((1, 1, 1, 2, 4))):
        box, key = rng.choice(_places(document))
        what = rng.randrange(8)
        if what == 0 and isinstance(box, dict):
            del box[key]
            how = "a field left out"
        elif what == 1 and isinstance(box, dict):
            box[rng.choice((*box, "extra", "__class__", "\0", "x" * 300))] = copy.deepcopy(rng.choice(EVIL_VALUES))
            how = "a field added"
        elif what == 2 and isinstance(box, list):
            box.insert(key, copy.deepcopy(box[key]))
            how = "a row twice"
        elif what == 3:
            box[key] = "RAW"
            raw = rng.choice(RAW_VALUES)
            how = "no JSON"
        elif what == 4 and isinstance(box[key], (int, float)) and not isinstance(box[key], bool):
            box[key] = box[key] * rng.choice((-1, 2, 1000, 1e9)) + rng.choice((0, 1, -1))
            how = "another number"
        else:
            box[key] = copy.deepcopy(rng.choice(EVIL_VALUES))
    text = json.dumps(document)
    if raw is not None:
        text = text.replace('"RAW"', raw)
    content = text.encode("utf-8", "surrogatepass")
    if rng.random() < 0.05:
        content = text.encode("utf-16")
    return Attack(zipped([(name, content if name == "model.json" else old) for name, old in members]), how)


def _array(rng: random.Random, _: bytes, members: Members) -> Attack:
    members = list(members)
    i = rng.choice([i for i, (name, _c) in enumerate(members) if name.endswith(".npy")])
    name, content = members[i]
    length = int.from_bytes(content[8:10], "little")
    head, body = content[10 : 10 + length].decode(), content[10 + length :]
    what = rng.randrange(4)
    if what == 0:
        shape = head.split("'shape': ")[1].split(", }")[0]
        text = rng.choice(HEADERS).replace("SHAPE", shape).encode() + b"\n"
        version = rng.choice((b"\x01\x00", b"\x01\x00", b"\x02\x00", b"\x03\x00", b"\x09\x09"))
        size = len(text) if rng.random() < 0.8 else rng.randrange(65536)
        content = b"\x93NUMPY" + version + min(size, 65535).to_bytes(2, "little") + text + body
        return Attack(zipped([*members[:i], (name, content), *members[i + 1 :]]), "a header of an array changed")
    if what == 1:
        body = body[: rng.randrange(len(body) + 1)] if rng.random() < 0.5 else body + rng.randbytes(8)
        members[i] = (name, content[: 10 + length] + body)
        return Attack(zipped(members), "values of an array missing or too many")
    kind = head.split("'descr': '")[1].split("'")[0]
    values = np.frombuffer(body, kind).copy()
    if what == 2 and values.dtype.kind == "f":
        for _i in range(rng.choice((1, 3, len(values)))):
            with np.errstate(over="ignore"):
                values[rng.randrange(len(values))] = rng.choice(EVIL_NUMBERS)
    else:
        values = rng.choice((values[::-1], np.frombuffer(rng.randbytes(len(body)), kind), np.roll(values, 1)))
    members[i] = (name, content[: 10 + length] + values.astype(kind).tobytes())
    return Attack(zipped(members), "values of an array changed")


def _directory(rng: random.Random, content: bytes, members: Members) -> Attack:
    """Fields of the list of parts: sizes, places, flags, that contradict what lies there."""
    damaged = bytearray(content)
    at = struct.unpack("<L", content[-6:-2])[0]
    for _i in range(rng.randrange(len(members))):
        name, extra, comment = struct.unpack("<3H", content[at + 28 : at + 34])
        at += 46 + name + extra + comment
    field = rng.choice((8, 10, 16, 20, 24, 28, 30, 32, 38, 42))
    form = "<L" if field in (16, 20, 24, 38, 42) else "<H"
    most = 2 ** (16 if form == "<H" else 32) - 1
    value = rng.choice((0, 1, 8, 9, 0x41, 0x800, most, most - 1, 2**31 % (most + 1), rng.randrange(most), len(content)))
    struct.pack_into(form, damaged, at + field, min(value, most))
    if rng.random() < 0.3:
        end = len(damaged) - 22 + rng.choice((4, 6, 8, 10, 12, 16, 20))
        struct.pack_into("<H", damaged, end, rng.choice((0, 1, 100, 0xFFFF)))
    return Attack(bytes(damaged), "the list of parts lies")


def _bomb(rng: random.Random, _: bytes, members: Members) -> Attack:
    """Much in little: a part of zeros, thousands of parts, or parts that share their bytes."""
    members = list(members)
    how = rng.randrange(3)
    if how == 0:
        i = rng.randrange(len(members))
        big = bytes(rng.choice((1_000_000, 20_000_000)))
        members[i] = (members[i][0], members[i][1] + big)
        return Attack(zipped(members, zipfile.ZIP_DEFLATED), "a part of millions of zeros")
    if how == 1:
        members += [(f"pictures/dtl.{k:04d}.png", b"") for k in range(rng.choice((100, 5000)))]
        return Attack(zipped(members), "thousands of parts")
    packed = zlib.compress(bytes(100_000), 9)[2:-4]
    crc = zlib.crc32(bytes(100_000))
    local = struct.pack("<4s5H3L2H", b"PK\x03\x04", 20, 0, 8, 0, 33, crc, len(packed), 100_000, 10, 0) + b"model.json"
    body = local + packed
    listed = b"".join(
        struct.pack("<4s6H3L5H2L", b"PK\x01\x02", 20, 20, 0, 8, 0, 33, crc, len(packed), 100_000, 10, 0, 0, 0, 0, 0, 0)
        + b"model.json"
        for _i in range(50)
    )
    end = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, 50, 50, len(listed), len(body), 0)
    return Attack(body + listed + end, "parts that share their bytes")


def _picture(rng: random.Random, content: bytes, members: Members) -> Attack:
    members = list(members)
    at = [i for i, (name, _c) in enumerate(members) if name.startswith("pictures/")]
    if not at:
        return _document(rng, content, members)
    i = rng.choice(at)
    name, picture = members[i]
    damaged = bytearray(picture)
    how = rng.randrange(6)
    if how == 0:
        for _i in range(rng.choice((1, 3, 30))):
            damaged[rng.randrange(len(damaged))] = rng.randrange(256)
        what = "bytes of a picture changed"
    elif how == 1:
        damaged = damaged[: rng.randrange(len(damaged))]
        what = "a picture cut off"
    elif how == 2:
        damaged += rng.randbytes(50)
        what = "something after a picture"
    elif how == 3:
        # The size in the header: PNG at byte 16; JPEG behind its frame marker.
        place = 16 if name.endswith("png") else picture.index(b"\xff\xc0") + 5
        damaged[place : place + 4] = rng.choice(
            (b"\xff\xff\xff\xff", b"\x7f\xff\x7f\xff", bytes(4), b"\x40\x00\x40\x00")
        )
        if name.endswith("png"):
            damaged[29:33] = zlib.crc32(damaged[12:29]).to_bytes(4, "big")
        what = "a picture of another size"
    elif how == 4:
        damaged = bytearray(members[rng.choice(at)][1])
        what = "another picture"
    else:
        damaged = bytearray(rng.choice((b"GIF89a" + bytes(50), b"<svg/>", b"", b"\xff\xd8\xff\xd9", picture[:40])))
        what = "no picture"
    members[i] = (name, bytes(damaged))
    return Attack(zipped(members), what)


KINDS: tuple[tuple[Callable[[random.Random, bytes, Members], Attack], int], ...] = (
    (_bytes, 6), (_cut, 3), (_parts, 4), (_document, 10), (_array, 6), (_directory, 5), (_bomb, 1), (_picture, 4),
)  # fmt: skip


class Attacks:
    """Makes attacks on a few good files."""

    def __init__(self, good: list[bytes]) -> None:
        self._good = [(content, members_of(content)) for content in good]

    def make(self, seed: int) -> Attack:
        """The attack of this number."""
        rng = random.Random(seed)
        content, members = rng.choice(self._good)
        kind = rng.choices([kind for kind, _ in KINDS], [weight for _, weight in KINDS])[0]
        return kind(rng, content, members)
