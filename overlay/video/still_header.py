"""Size, depth and orientation of a PNG or JPEG from its head, without decoding the picture.

A folder may hold thousands of stills; a general image library decodes a PNG to the end to learn its orientation.
Layouts: PNG (W3C, third edition, sections 5 and 11.3), JPEG (ITU-T T.81, annex B), EXIF 2.32 section 4.5.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from overlay.errors import InputError
from overlay.video.orientation import Orientation, from_exif

_PNG = b"\x89PNG\r\n\x1a\n"
_JPEG = b"\xff\xd8"
# Start-of-frame markers: all of C0–CF but the tables C4, C8 and CC.
_SIZES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_STANDALONE = frozenset(range(0xD0, 0xD8)) | {0x01}
_END = (0xD9, 0xDA)


@dataclass(frozen=True)
class StillHeader:
    """Stored width and height in px, bits per colour, and how the picture is to be shown."""

    width: int
    height: int
    bit_depth: int
    orientation: Orientation


def read_header(file: Path) -> StillHeader:
    """The header of a PNG or JPEG file.

    Raises
    ------
    InputError
        The file cannot be read or is neither.
    """
    found = None
    try:
        with open(file, "rb") as source:
            start = source.read(8)
            if start == _PNG:
                found = _png(source)
            elif start[:2] == _JPEG:
                source.seek(2)
                found = _jpeg(source)
    except OSError as error:
        raise InputError(f"{file} cannot be read: {error.strerror}.", "Check that it is still there.") from error
    if found is None or found.width < 1 or found.height < 1:
        raise InputError(f"{file} is not a picture that can be read.", "Remove it, or save it again.")
    return found


def _png(source: BinaryIO) -> StillHeader | None:
    width = height = depth = 0
    exif = b""
    while len(head := source.read(8)) == 8:
        length, kind = int.from_bytes(head[:4], "big"), head[4:]
        if kind == b"IHDR":
            content = source.read(length)
            width, height = int.from_bytes(content[:4], "big"), int.from_bytes(content[4:8], "big")
            depth = content[8] if len(content) > 8 else 0
        elif kind == b"eXIf":
            exif = source.read(length)
            break
        elif kind == b"IEND":
            break
        else:
            source.seek(length, 1)
        source.seek(4, 1)  # the check sum
    return StillHeader(width, height, max(depth, 8), from_exif(exif)) if depth else None


def _jpeg(source: BinaryIO) -> StillHeader | None:
    orientation = Orientation()
    while (byte := source.read(1)) == b"\xff":
        while (byte := source.read(1)) == b"\xff":
            pass
        if not byte or byte[0] in _END:
            return None
        if byte[0] in _STANDALONE:
            continue
        length = int.from_bytes(source.read(2), "big") - 2
        if byte[0] in _SIZES:
            content = source.read(5)
            if len(content) < 5:
                return None
            height, width = int.from_bytes(content[1:3], "big"), int.from_bytes(content[3:5], "big")
            return StillHeader(width, height, content[0], orientation)
        if byte[0] == 0xE1 and length > 6:
            content = source.read(length)
            if content.startswith(b"Exif\x00\x00"):
                orientation = from_exif(content)
        else:
            source.seek(max(0, length), 1)
    return None
