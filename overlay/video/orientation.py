"""How a stored picture is turned and flipped to be shown. Applied in one place, once, by the readers.

An orientation is always "rotate clockwise, then flip left and right"; the eight pairs are all the ways a rectangle
can lie on its sides. Display matrices are read as numbers here rather than through a library's rotation property,
whose sign has differed between libraries.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from overlay.arrays import Image
from overlay.errors import DataError

RIGHT_ANGLES = (0, 90, 180, 270)


@dataclass(frozen=True)
class Orientation:
    """Rotate clockwise by ``rotation_deg`` (0, 90, 180, 270), then flip left and right when ``flipped``."""

    rotation_deg: int = 0
    flipped: bool = False

    def __post_init__(self) -> None:
        if self.rotation_deg not in RIGHT_ANGLES:
            raise DataError(f"A rotation of {self.rotation_deg}° is not possible.", "Use 0, 90, 180 or 270.")

    @property
    def swaps_sides(self) -> bool:
        """Whether width and height change places."""
        return self.rotation_deg in (90, 270)

    def size(self, width: int, height: int) -> tuple[int, int]:
        """Displayed (width, height) of a stored picture of that size; its own inverse."""
        return (height, width) if self.swaps_sides else (width, height)

    def chosen(self, *, rotation_deg: int | None, mirrored: bool) -> Orientation:
        """The orientation after the user's wishes: his rotation instead of the file's, his mirroring on top."""
        turn = self.rotation_deg if rotation_deg is None else rotation_deg
        return Orientation(turn, self.flipped != mirrored)

    def apply(self, image: Image) -> Image:
        """The picture (H, W, 3) as it is to be shown, C-contiguous."""
        if self.rotation_deg == 0 and not self.flipped:
            return np.ascontiguousarray(image)
        import cv2

        # Half turn and flip together are one pass: top and bottom change places.
        if self.rotation_deg == 180:
            return np.asarray(cv2.flip(image, 0 if self.flipped else -1), np.uint8)
        if self.rotation_deg:
            code = cv2.ROTATE_90_CLOCKWISE if self.rotation_deg == 90 else cv2.ROTATE_90_COUNTERCLOCKWISE
            image = np.asarray(cv2.rotate(image, code), np.uint8)
        return np.asarray(cv2.flip(image, 1), np.uint8) if self.flipped else image


def from_matrix(a: float, b: float, c: float, d: float) -> tuple[Orientation, float]:
    """Orientation of a display matrix, and how far it is from a right angle.

    Parameters
    ----------
    a, b, c, d : float
        A stored point (p, q), y down, is shown at (a·p + c·q, b·p + d·q) up to scale and shift: the first two
        columns of the first two rows of the ISO/IEC 14496-12 track matrix.

    Returns
    -------
    Orientation, float
        The nearest of the eight, and the remaining angle in degrees (0 for a proper one).
    """
    determinant = a * d - b * c
    if not math.isfinite(determinant) or determinant == 0.0:
        return Orientation(), 0.0
    flipped = determinant < 0
    # Undo the flip (it comes last, in x as shown); what is left is a clockwise rotation, y being down.
    angle = math.degrees(math.atan2(b, -a if flipped else a))
    turn = round(angle / 90.0)
    return Orientation(turn % 4 * 90, flipped), abs(angle - 90.0 * turn)


_EXIF = {
    1: Orientation(0, False),
    2: Orientation(0, True),
    3: Orientation(180, False),
    4: Orientation(180, True),
    5: Orientation(90, True),
    6: Orientation(90, False),
    7: Orientation(270, True),
    8: Orientation(270, False),
}


def from_exif(exif: bytes) -> Orientation:
    """Orientation of a block of EXIF data; upright when it says nothing.

    Tag 0x0112 of the first directory, EXIF 2.32 section 4.6.4; the layout is TIFF 6.0's.
    """
    block = exif.removeprefix(b"Exif\x00\x00")
    if block[:2] not in (b"II", b"MM"):
        return Orientation()
    order: Literal["little", "big"] = "little" if block[:2] == b"II" else "big"
    at = int.from_bytes(block[4:8], order)
    for i in range(int.from_bytes(block[at : at + 2], order)):
        entry = block[at + 2 + 12 * i : at + 14 + 12 * i]
        if len(entry) < 12:
            break
        if int.from_bytes(entry[:2], order) == 0x0112:
            return _EXIF.get(int.from_bytes(entry[8:10], order), Orientation())
    return Orientation()
