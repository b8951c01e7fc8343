"""Cut-outs of the player that are kept with a model: no more than was asked for, and nothing of the place."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.data import KeptPictures
from overlay.errors import DataError, InputError
from overlay.models.checks import Fault
from overlay.models.encoded import check_jpeg, check_png
from overlay.settings.models import KeptPictureSettings

Amount = Literal["none", "positions", "ghost"]
AMOUNTS: tuple[Amount, ...] = ("none", "positions", "ghost")
KEPT = KeptPictureSettings()


def kept_size(image_size: tuple[int, int], settings: KeptPictureSettings = KEPT) -> tuple[int, int]:
    """(width, height) px of cut-outs of a picture of ``image_size``: reduced to what a pane shows, never enlarged."""
    width, height = image_size
    scale = min(1.0, settings.max_height_px / height, settings.max_width_px / width)
    return max(1, round(width * scale)), max(1, round(height * scale))


def kept_times(
    frame_times_s: FloatArray,
    positions_s: Iterable[float],
    amount: Amount,
    *,
    slow_factor: float = 1.0,
    settings: KeptPictureSettings = KEPT,
) -> FloatArray:
    """Which frames are kept.

    Parameters
    ----------
    frame_times_s : (T,) float, s
        Of the frames of the swing.
    positions_s : times of the positions found
        Each is kept as its nearest frame.
    amount : "none", "positions" or "ghost"
        A ghost takes frames between them too, up to ``settings.max_rate_hz`` a real second.
    slow_factor : float
        Clip seconds per real second.

    Returns
    -------
    (N,) float, s
        Frame times, strictly increasing.
    """
    frames = np.asarray(frame_times_s, np.float64)
    if amount == "none" or not len(frames):
        return np.zeros(0)
    wanted = {int(np.argmin(np.abs(frames - time_s))) for time_s in positions_s}
    if amount == "ghost":
        rate = settings.max_rate_hz
        # So many that the file stays a file: a swing of more than a quarter of a minute is thinned.
        rate = min(rate, (settings.max_moments - len(wanted) - 1) * slow_factor / max(frames[-1] - frames[0], 1e-9))
        # On a grid of the rate's own, each slot its first frame: 60 of 60 frames and every second of 120 are kept.
        slots = np.floor((frames - frames[0]) / slow_factor * rate + 0.5)
        wanted |= {int(i) for i in np.unique(slots, return_index=True)[1]}
    return np.asarray(frames[sorted(wanted)], np.float64)


def keep_pictures(
    cut: Iterable[tuple[float, Image, Image]],
    settings: KeptPictureSettings = KEPT,
) -> KeptPictures:
    """Encode cut-outs.

    Parameters
    ----------
    cut : iterable of (time s, picture, alpha)
        The picture (H, W, 3) uint8 RGB, and where the person is in it, (H, W) uint8, 0 background … 255 person; all
        of one size (``kept_size``), times strictly increasing. Streamed.
    settings : KeptPictureSettings

    Returns
    -------
    KeptPictures
        Black but for the person and a rim of ``settings.widen``, which soft edges take their colour from.

    Raises
    ------
    DataError
        There is no picture, or sizes or types do not fit.
    """
    times_s: list[float] = []
    colours: list[bytes] = []
    alphas: list[bytes] = []
    size: tuple[int, int] | None = None
    for time_s, picture, alpha in cut:
        here = (int(alpha.shape[1]), int(alpha.shape[0])) if alpha.ndim == 2 else (0, 0)
        size = here if size is None else size
        fits = picture.shape == (*alpha.shape, 3) and picture.dtype == alpha.dtype == np.uint8
        if here != size or not fits or size[0] * size[1] < 1:
            raise DataError(
                f"A cut-out of {picture.shape} and {alpha.shape} does not fit the others.",
                "Give uint8 pictures (height, width, 3) and alphas (height, width) of one size.",
            )
        if size[1] > settings.max_height_px or size[0] > settings.max_width_px:
            raise DataError(
                f"A cut-out of {size[0]}×{size[1]} px is larger than models keep.", "Reduce it to kept_size first."
            )
        colour, soft = _encoded(picture, alpha, settings)
        times_s.append(float(time_s))
        colours.append(colour)
        alphas.append(soft)
    if size is None:
        raise DataError("There is no picture to keep.", "Give at least one.")
    return KeptPictures(np.array(times_s), size, tuple(colours), tuple(alphas))


def _encoded(picture: Image, alpha: Image, settings: KeptPictureSettings) -> tuple[bytes, bytes]:
    import cv2

    height = alpha.shape[0]
    reach = max(1, round(settings.widen * height))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
    # Faint traces of the mask are background: what is below this is never seen in a ghost.
    shown = np.where(alpha < settings.least_alpha, 0, alpha).astype(np.uint8)
    wide = cv2.dilate(np.where(shown > 0, 255, 0).astype(np.uint8), disc)
    black = np.where(wide[..., None] > 0, picture, 0).astype(np.uint8)
    colour = cv2.imencode(".jpg", cv2.cvtColor(black, cv2.COLOR_RGB2BGR), _jpeg(settings))[1]
    soft = cv2.imencode(".png", shown, [cv2.IMWRITE_PNG_COMPRESSION, 9])[1]
    return colour.tobytes(), soft.tobytes()


def _jpeg(settings: KeptPictureSettings) -> list[int]:
    import cv2

    return [cv2.IMWRITE_JPEG_QUALITY, settings.jpeg_quality, cv2.IMWRITE_JPEG_OPTIMIZE, 1]


def kept_picture(pictures: KeptPictures, i: int) -> tuple[Image, Image]:
    """One cut-out, decoded.

    Parameters
    ----------
    pictures : KeptPictures
    i : int
        Which moment.

    Returns
    -------
    picture : (H, W, 3) uint8 RGB
    alpha : (H, W) uint8, 0 background … 255 person

    Raises
    ------
    InputError
        It is not what was kept: another size or kind, or damaged.
    IndexError
        There is no such moment.
    """
    import cv2

    n = len(pictures.times_s)
    if not -n <= i < n:
        raise IndexError(f"There are {n} kept pictures, so there is no number {i}.")
    what = f"The kept picture at {pictures.times_s[i]:.3f} s"
    try:
        # The decoder must not be asked for more than was declared.
        check_jpeg(pictures.colours[i], pictures.size, what)
        check_png(pictures.alphas[i], pictures.size, what)
        colour = cv2.imdecode(
            np.frombuffer(pictures.colours[i], np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
        )
        alpha = cv2.imdecode(np.frombuffer(pictures.alphas[i], np.uint8), cv2.IMREAD_GRAYSCALE)
        wanted = (pictures.size[1], pictures.size[0])
        if colour is None or alpha is None or colour.shape != (*wanted, 3) or alpha.shape != wanted:
            raise Fault(f"{what} cannot be decoded")
    except Fault as fault:
        raise InputError(f"{fault.what}.", "Save the model again with its pictures.") from fault
    except cv2.error as error:
        raise InputError(f"{what} cannot be decoded.", "Save the model again with its pictures.") from error
    return np.ascontiguousarray(colour[..., ::-1]), alpha
