"""Sharp text on pictures: letters are rasterised once by Pillow, kept, and laid over with their own alpha."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from overlay.arrays import AnyArray, Image
from overlay.draw.palette import INK, PAPER, Colour
from overlay.errors import SetupError

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

Anchor = Literal["left", "centre", "right"]


@lru_cache(maxsize=2)
def font_path(bold: bool = False) -> Path:
    """DejaVu Sans (Bitstream Vera licence), which every installation of matplotlib carries.

    Matplotlib itself is not imported: it would take half a second.

    Raises
    ------
    SetupError
        The font is not there.
    """
    found = find_spec("matplotlib")
    if found is not None and found.origin is not None:
        name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
        path = Path(found.origin).parent / "mpl-data" / "fonts" / "ttf" / name
        if path.is_file():
            return path
    raise SetupError("The font DejaVu Sans was not found.", "Install matplotlib again: pip install --force matplotlib.")


@lru_cache(maxsize=64)
def _font(size_px: int, bold: bool) -> FreeTypeFont:
    from PIL import ImageFont

    return ImageFont.truetype(str(font_path(bold)), size_px)


def clean_text(text: str) -> str:
    """One line without control characters: names come from files."""
    return "".join(character if character.isprintable() else " " for character in text).strip()


@lru_cache(maxsize=1024)
def text_width(text: str, size_px: int, bold: bool = False) -> int:
    """Advance width of one line, px."""
    return int(np.ceil(_font(size_px, bold).getlength(clean_text(text))))


@lru_cache(maxsize=512)
def fitted(text: str, size_px: int, most_px: int, bold: bool = False) -> str:
    """The text, shortened with an ellipsis so that it is at most ``most_px`` wide."""
    text = clean_text(text)
    if text_width(text, size_px, bold) <= most_px:
        return text
    while text and text_width(text + "…", size_px, bold) > most_px:
        text = text[:-1]
    return text.rstrip() + "…"


def wrapped(text: str, size_px: int, most_px: int, most_lines: int = 6, bold: bool = False) -> list[str]:
    """The text in lines of at most ``most_px``, the last one shortened when there are more than ``most_lines``."""
    lines: list[str] = []
    line = ""
    for word in clean_text(text).split():
        longer = f"{line} {word}" if line else word
        if not line or text_width(longer, size_px, bold) <= most_px:
            line = longer
        else:
            lines.append(line)
            line = word
    lines.append(line)
    if len(lines) > most_lines:
        lines = [*lines[: most_lines - 1], " ".join(lines[most_lines - 1 :])]
    return [fitted(line, size_px, most_px, bold) for line in lines]


@dataclass(frozen=True)
class Sprite:
    """A small picture with alpha, ready to be laid over.

    Attributes
    ----------
    ink : (h, w, 3) uint16
        Colour × alpha (0–255 × 0–255).
    clear : (h, w, 1) uint16
        255 − alpha.
    """

    ink: AnyArray
    clear: AnyArray

    @property
    def width(self) -> int:
        return int(self.ink.shape[1])

    @property
    def height(self) -> int:
        return int(self.ink.shape[0])

    def blit(self, image: Image, x: int, y: int) -> None:
        """Lay over ``image`` in place with the top left corner at (x, y); what falls outside is left out."""
        height, width = image.shape[:2]
        left, top = max(x, 0), max(y, 0)
        right, bottom = min(x + self.width, width), min(y + self.height, height)
        if right <= left or bottom <= top:
            return
        part = (slice(top - y, bottom - y), slice(left - x, right - x))
        under = image[top:bottom, left:right].astype(np.uint16)
        # uint16 holds 255 × 255 + 127; a division by 255 keeps opaque pixels exact.
        image[top:bottom, left:right] = ((under * self.clear[part] + self.ink[part] + 127) // 255).astype(np.uint8)


def _sprite(colour: AnyArray, alpha: AnyArray) -> Sprite:
    alpha16 = alpha.astype(np.uint16)[..., None]
    return Sprite(ink=colour.astype(np.uint16) * alpha16, clear=np.uint16(255) - alpha16)


@lru_cache(maxsize=512)
def text_sprite(
    text: str,
    size_px: int,
    colour: Colour = PAPER,
    bold: bool = False,
    plate: Colour | None = None,
    plate_opacity: float = 0.78,
    outline: Colour | None = None,
) -> Sprite:
    """One line of text.

    Parameters
    ----------
    text : str
    size_px : int
        Font size (em).
    colour : Colour
    bold : bool
    plate : Colour or None
        Rounded plate under the text, so that it is readable on any picture.
    plate_opacity : float
    outline : Colour or None
        Edge around the letters, for text without a plate.
    """
    from PIL import Image as Pictures
    from PIL import ImageDraw

    font = _font(size_px, bold)
    text = clean_text(text)
    ascent, descent = font.getmetrics()
    edge = max(1, round(size_px / 9)) if outline is not None else 0
    pad_x, pad_y = (round(size_px * 0.45), round(size_px * 0.2)) if plate is not None else (edge, edge)
    width, height = text_width(text, size_px, bold) + 2 * pad_x, ascent + descent + 2 * pad_y
    letters = Pictures.new("L", (max(1, width), height), 0)
    ImageDraw.Draw(letters).text((pad_x, pad_y), text, font=font, fill=255)
    ink = np.asarray(letters, np.float64)[..., None] / 255
    below = np.zeros((*ink.shape[:2], 1))
    under_colour = np.zeros(3)
    if plate is not None:
        # Drawn four times larger and reduced: Pillow's own rounded corners are jagged.
        large = Pictures.new("L", (width * 4, height * 4), 0)
        ImageDraw.Draw(large).rounded_rectangle(
            (0, 0, width * 4 - 1, height * 4 - 1), radius=round(size_px * 0.35) * 4, fill=255
        )
        below = np.asarray(large.resize((width, height), Pictures.Resampling.BOX), np.float64)[..., None]
        below = below / 255 * plate_opacity
        under_colour = np.asarray(plate, np.float64)
    elif outline is not None:
        halo = Pictures.new("L", (max(1, width), height), 0)
        ImageDraw.Draw(halo).text((pad_x, pad_y), text, font=font, fill=255, stroke_width=edge, stroke_fill=255)
        below = np.asarray(halo, np.float64)[..., None] / 255
        under_colour = np.asarray(outline, np.float64)
    alpha = ink + below * (1 - ink)
    mixed = np.asarray(colour, np.float64) * ink + under_colour * below * (1 - ink)
    flat = np.where(alpha > 0, mixed / np.maximum(alpha, 1e-9), 0)
    return _sprite(np.rint(flat), np.rint(alpha[..., 0] * 255))


def put_text(
    image: Image,
    text: str,
    x: float,
    y: float,
    size_px: int,
    *,
    colour: Colour = PAPER,
    bold: bool = False,
    anchor: Anchor = "left",
    plate: Colour | None = None,
    plate_opacity: float = 0.78,
    outline: Colour | None = None,
) -> int:
    """Write one line, vertical middle at ``y``, left, centre or right at ``x``; returns its width, px."""
    sprite = text_sprite(text, size_px, colour, bold, plate, plate_opacity, outline)
    left = {"left": x, "centre": x - sprite.width / 2, "right": x - sprite.width}[anchor]
    sprite.blit(image, round(left), round(y - sprite.height / 2))
    return sprite.width


@dataclass(frozen=True)
class Label:
    """A name on a plate in a corner of a pane.

    Attributes
    ----------
    text : str
    size_px : int
    colour, plate : Colour
    corner : (x, y) fractions of the picture; 0 is left or top, 1 right or bottom
    swatch : Colour or None
        A bar of the player's colour in front of the text.
    """

    text: str
    size_px: int
    colour: Colour = PAPER
    plate: Colour = INK
    corner: tuple[float, float] = (0.0, 0.0)
    swatch: Colour | None = None
    plate_opacity: float = 0.78

    @property
    def height_px(self) -> int:
        """How much of the top of a pane it takes, with its margin."""
        return round(self.size_px * 0.5) + text_sprite(self.text, self.size_px, self.colour, True, self.plate).height

    def draw(self, image: Image) -> Image:
        """Draw on ``image`` (H, W, 3) in place and return it."""
        height, width = image.shape[:2]
        margin = round(self.size_px * 0.5)
        text = fitted(self.text, self.size_px, max(1, width - 4 * margin))
        sprite = text_sprite(text, self.size_px, self.colour, True, self.plate, self.plate_opacity)
        x = round(margin + self.corner[0] * (width - 2 * margin - sprite.width))
        y = round(margin + self.corner[1] * (height - 2 * margin - sprite.height))
        sprite.blit(image, x, y)
        if self.swatch is not None:
            bar = max(3, round(self.size_px * 0.22))
            image[max(0, y) : y + sprite.height, max(0, x - bar // 2) : max(0, x - bar // 2) + bar] = self.swatch
        return image


@dataclass(frozen=True)
class Caption:
    """A sentence at the foot of a pane, on a plate, in as many lines as it needs.

    Attributes
    ----------
    text : str
    size_px : int
    under_px : int or None
        Height of what stands at the top of the pane, for a caption under it; None: at the foot.
    """

    text: str
    size_px: int
    under_px: int | None = None

    def height_px(self, width_px: int) -> int:
        """How much of a pane of this width it takes, with its margin."""
        return round(self.size_px * 0.5) + sum(sprite.height for sprite in self._sprites(width_px))

    def draw(self, image: Image) -> Image:
        """Draw on ``image`` (H, W, 3) in place and return it."""
        margin, sprites = round(self.size_px * 0.5), self._sprites(image.shape[1])
        tall = sum(sprite.height for sprite in sprites)
        y = image.shape[0] - margin - tall if self.under_px is None else self.under_px
        for sprite in sprites:
            sprite.blit(image, margin, y)
            y += sprite.height
        return image

    def _sprites(self, width_px: int) -> list[Sprite]:
        margin = round(self.size_px * 0.5)
        lines = wrapped(self.text, self.size_px, max(1, width_px - 4 * margin), 3)
        return [text_sprite(line, self.size_px, PAPER, False, INK) for line in lines]
