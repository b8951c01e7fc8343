"""What a kept picture is, from its first bytes: checked before a decoder sees it.

Only the plainest forms are accepted, those that ``keep_pictures`` writes: baseline JPEG of three colours (ITU-T T.81,
annex B) and 8-bit grey PNG that is not interlaced (W3C PNG, third edition, sections 5 and 11), without any other data.
"""

from __future__ import annotations

from overlay.models.checks import Fault

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_CHUNKS = {b"IHDR", b"IDAT", b"IEND"}


def check_png(content: bytes, size: tuple[int, int], what: str) -> None:
    """Refuse what is not an 8-bit grey PNG of this size (width, height) px.

    Raises
    ------
    Fault
    """
    if content[:8] != _PNG or content[12:16] != b"IHDR" or content[8:12] != b"\x00\x00\x00\x0d":
        raise Fault(f"{what} is no PNG")
    found = int.from_bytes(content[16:20], "big"), int.from_bytes(content[20:24], "big")
    if found != size:
        raise Fault(f"{what} has {found[0]}×{found[1]} px, not {size[0]}×{size[1]}")
    if content[24:29] != b"\x08\x00\x00\x00\x00":
        raise Fault(f"{what} is not a plain grey picture of 8 bits")
    at = 8
    kind = b""
    while at + 12 <= len(content):
        length, kind = int.from_bytes(content[at : at + 4], "big"), content[at + 4 : at + 8]
        if kind not in _PNG_CHUNKS or (kind == b"IHDR" and at != 8):
            raise Fault(f"{what} holds more than a picture")
        at += 12 + length
        if kind == b"IEND":
            break
    if kind != b"IEND" or at != len(content):
        raise Fault(f"{what} is cut off, or something was added to it")


def check_jpeg(content: bytes, size: tuple[int, int], what: str) -> None:
    """Refuse what is not a baseline JPEG of three colours and of this size (width, height) px.

    Raises
    ------
    Fault
    """
    if content[:2] != b"\xff\xd8":
        raise Fault(f"{what} is no JPEG")
    if content[-2:] != b"\xff\xd9":
        raise Fault(f"{what} is cut off, or something was added to it")
    at, framed = 2, False
    while at + 4 <= len(content):
        marker = content[at : at + 2]
        length = int.from_bytes(content[at + 2 : at + 4], "big")
        if marker[0] != 0xFF or length < 2 or at + 2 + length > len(content):
            break
        kind = marker[1]
        if kind == 0xC0:  # baseline frame
            head = content[at + 4 : at + 2 + length]
            if framed or len(head) < 6:
                break
            found = int.from_bytes(head[3:5], "big"), int.from_bytes(head[1:3], "big")
            if found != size:
                raise Fault(f"{what} has {found[0]}×{found[1]} px, not {size[0]}×{size[1]}")
            if head[0] != 8 or head[5] != 3:
                raise Fault(f"{what} is not a plain picture of three colours")
            framed = True
        elif kind == 0xDA:  # the picture itself follows
            if framed:
                return
            break
        elif kind not in (0xDB, 0xC4, 0xDD, 0xE0):  # tables, restart interval, JFIF
            raise Fault(f"{what} holds more than a plain picture")
        at += 2 + length
    raise Fault(f"{what} is no JPEG that can be read")
