"""Makes the small clips the video tests read: pictures that carry their own number and show which way is up."""

from __future__ import annotations

import os
import struct
from collections.abc import Callable, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

os.environ.setdefault("SVT_LOG", "0")

N_BITS = 6
CORNERS = (
    (230, 40, 40),
    (40, 200, 60),
    (50, 70, 230),
    (235, 225, 60),
)  # top left, top right, bottom left, bottom right
BLOCK = 16

# The track matrix (a, b, c, d) of ISO/IEC 14496-12 that shows a stored picture turned clockwise by so many degrees.
TURN_MATRIX = {0: (1, 0, 0, 1), 90: (0, 1, -1, 0), 180: (-1, 0, 0, -1), 270: (0, -1, 1, 0)}


def numbered(number: int, width: int = 96, height: int = 64) -> np.ndarray:
    """A picture with a coloured block in each corner and ``number`` in black and white blocks across the middle."""
    image = np.full((height, width, 3), 120, np.uint8)
    for corner, colour in enumerate(CORNERS):
        rows = slice(0, BLOCK) if corner < 2 else slice(height - BLOCK, height)
        columns = slice(0, BLOCK) if corner % 2 == 0 else slice(width - BLOCK, width)
        image[rows, columns] = colour
    middle = height // 2
    for bit in range(N_BITS):
        left = width * (bit + 1) // (N_BITS + 2)
        right = width * (bit + 2) // (N_BITS + 2)
        image[middle - 8 : middle + 8, left:right] = 255 if number >> bit & 1 else 0
    return image


def number_of(image: np.ndarray) -> int:
    """The number in a picture made by ``numbered``, whatever its scale."""
    height, width = image.shape[:2]
    row = image[height // 2 - 1 : height // 2 + 2].mean(axis=(0, 2))
    return sum(1 << bit for bit in range(N_BITS) if row[int(width * (bit + 1.5) / (N_BITS + 2))] > 127)


def encode(
    path: Path,
    images: Sequence[np.ndarray],
    *,
    codec: str = "libx264",
    pixel_format: str = "yuv420p",
    rate: Fraction | int = 30,
    pts: Sequence[int] | None = None,
    time_base: Fraction | None = None,
    options: dict[str, str] | None = None,
    gop: int = 8,
    setup: Callable[[Any, Any], None] | None = None,
    container_options: dict[str, str] | None = None,
    audio: bool = False,
) -> Path:
    """Encode pictures with explicit presentation times; ``setup(container, stream)`` may change anything first."""
    import av

    av.logging.set_level(None)
    default = {"libx264": {"crf": "12"}, "libx265": {"crf": "12", "x265-params": "log-level=none:keyint=8"}}
    default |= {"libvpx-vp9": {"crf": "12", "cpu-used": "8"}, "libsvtav1": {"crf": "15", "preset": "12"}}
    default |= {"mjpeg": {"qmin": "2", "qmax": "2"}}
    with av.open(str(path), "w", options=container_options or {}) as container:
        stream = container.add_stream(codec, rate=rate, options={**default.get(codec, {}), **(options or {})})
        stream.height, stream.width = images[0].shape[:2]
        stream.pix_fmt = pixel_format
        stream.codec_context.gop_size = gop
        if time_base is not None:
            stream.codec_context.time_base = time_base
        sound = container.add_stream("aac", rate=16000) if audio else None
        if setup is not None:
            setup(container, stream)
        for number, image in enumerate(images):
            picture = av.VideoFrame.from_ndarray(image, format="rgb24").reformat(format=pixel_format)
            picture.pts = number if pts is None else pts[number]
            picture.time_base = 1 / Fraction(rate) if time_base is None else time_base
            container.mux(stream.encode(picture))
        container.mux(stream.encode(None))
        if sound is not None:
            silence = av.AudioFrame.from_ndarray(np.zeros((1, 1024), np.float32), format="fltp", layout="mono")
            silence.sample_rate = 16000
            container.mux(sound.encode(silence))
            container.mux(sound.encode(None))
    return path


def set_track_matrix(path: Path, matrix: tuple[int, int, int, int]) -> None:
    """Overwrite the display matrix in an MP4's track header, byte by byte, with no library in between."""
    content = bytearray(path.read_bytes())
    at = content.index(b"tkhd") + 4
    # version and flags 4, times and ids 20 (32 in version 1), then 8 + 8, then nine numbers of 4 bytes.
    at += 4 + (32 if content[at] == 1 else 20) + 16
    a, b, c, d = (value * 65536 for value in matrix)
    content[at : at + 36] = struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, 1 << 30)
    path.write_bytes(bytes(content))


def shown(image: np.ndarray, rotation_deg: int, flipped: bool) -> np.ndarray:
    """What a viewer is to see: turned clockwise, then flipped left and right. Plain numpy, as the oracle."""
    turned = np.rot90(image, k=-(rotation_deg // 90))
    return turned[:, ::-1] if flipped else turned


def apart(a: np.ndarray, b: np.ndarray) -> float:
    """Mean absolute difference of two pictures of one size, in grey levels."""
    assert a.shape == b.shape
    return float(np.mean(np.abs(a.astype(float) - b.astype(float))))
