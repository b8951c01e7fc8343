"""Single pictures and GIFs, through imageio."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from fractions import Fraction
from io import BytesIO
from pathlib import Path

import numpy as np

from overlay.arrays import Image
from overlay.errors import DataError, InputError, OutputError
from overlay.files import write_bytes
from overlay.settings.video import WriterSettings


def _checked(image: Image) -> Image:
    if image.dtype != np.uint8 or image.ndim != 3 or image.shape[2] not in (3, 4) or 0 in image.shape:
        raise DataError(
            f"A picture of shape {image.shape} and type {image.dtype} cannot be saved.",
            "Give uint8 pictures of shape (height, width, 3).",
        )
    return np.ascontiguousarray(image)


def write_png(path: Path | str, image: Image) -> None:
    """Write one picture as PNG, whole or not at all.

    Parameters
    ----------
    path : Path
    image : (H, W, 3) uint8 RGB, or (H, W, 4) RGBA

    Raises
    ------
    OutputError, DataError
    """
    import imageio.v3 as iio

    # Level 3 is half the time of the default 6 and a few per cent larger on drawn pictures.
    content = iio.imwrite("<bytes>", _checked(image), plugin="pillow", extension=".png", compress_level=3)
    write_bytes(Path(path), content)


def write_gif(
    path: Path | str, images: Iterable[Image], rate: Fraction | float, *, settings: WriterSettings | None = None
) -> None:
    """Write an endless GIF, whole or not at all.

    GIF counts time in 1/100 s and viewers refuse steps below 2/100 s, so pictures are placed on that grid without
    drifting, and above 50 a second some are left out: the speed stays right.

    Parameters
    ----------
    path : Path
    images : iterable of (H, W, 3) uint8 RGB, all of one size
        Streamed.
    rate : Fraction or float
        Pictures per second.
    settings : WriterSettings

    Raises
    ------
    OutputError, DataError
    """
    import imageio.v3 as iio

    settings = settings or WriterSettings()
    if not math.isfinite(float(rate)) or not 0 < rate <= settings.max_rate:
        raise DataError(f"A rate of {rate} pictures per second is not possible.", "Give a rate above 0, e.g. 15.")
    # In memory first: the encoder tries again to finish a file it was stopped in.
    content = BytesIO()
    delays_ms: list[int] = []
    with iio.imopen(content, "w", plugin="pillow", extension=".gif") as opened:
        for image, delay_cs in _on_grid(images, Fraction(rate), settings.gif_least_delay_cs):
            delays_ms.append(delay_cs * 10)
            # The encoder keeps what it is given until the end: 256 colours a picture take a third of the memory.
            opened.write(image, bits=8, duration=delays_ms if len(delays_ms) > 1 else delays_ms[0], loop=0)
    if not delays_ms:
        raise OutputError(f"No picture was given for {path}.", "Check that the clip has frames.")
    write_bytes(Path(path), content.getvalue())


def _on_grid(images: Iterable[Image], rate: Fraction, least_cs: int) -> Iterator[tuple[Image, int]]:
    """Pictures with their delay in 1/100 s; ones that would be shown for less than ``least_cs`` are left out."""
    kept: Image | None = None
    kept_cs = end_cs = 0
    size: tuple[int, ...] | None = None
    for number, image in enumerate(images):
        image = _checked(image)
        if size is not None and image.shape != size:
            raise DataError("The pictures of a GIF differ in size.", "Give pictures of one size.")
        size = image.shape
        start_cs, end_cs = round(number * 100 / rate), round((number + 1) * 100 / rate)
        if kept is not None:
            if start_cs - kept_cs < least_cs:
                continue
            yield kept, start_cs - kept_cs
        kept, kept_cs = image, start_cs
    if kept is not None:
        yield kept, max(least_cs, end_cs - kept_cs)


def read_image(path: Path | str) -> Image:
    """Read a picture as (H, W, 3) uint8 RGB, upright (its EXIF orientation is applied).

    Raises
    ------
    InputError
        There is no such file, or it is not a picture.
    """
    import imageio.v3 as iio

    path = Path(path)
    if not path.is_file():
        raise InputError(f"{path} does not exist.", "Check the name and the folder.")
    try:
        image = iio.imread(path, plugin="pillow", index=0, mode="RGB", rotate=True)
    except (OSError, ValueError, SyntaxError, IndexError, EOFError) as error:
        raise InputError(f"{path} is not a picture that can be read.", "Give a PNG or JPEG file.") from error
    return np.ascontiguousarray(image, np.uint8)
