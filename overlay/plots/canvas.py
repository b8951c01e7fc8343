"""The sheet a figure is drawn on: its size in CSS px, its colours, and how it becomes SVG or PNG."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

from overlay.draw.text import text_width, wrapped
from overlay.errors import DataError
from overlay.plots.curves import INK, inline_svg

if TYPE_CHECKING:
    from matplotlib.figure import Figure

Form = Literal["svg", "png", "dark png"]
"""``svg``: an element for a page, in its colours, light and dark. ``png``: on white; ``dark png``: on black."""

FORMS: tuple[Form, ...] = ("svg", "png", "dark png")

CSS_PER_IN = 96.0


@dataclass(frozen=True)
class Size:
    """How wide a figure is and how large its text, CSS px.

    Attributes
    ----------
    width, height : int
        Height of one chart; sheets are as tall as they need.
    text, small : int
        Size of text; ``small`` is for dates, ticks and the legend.
    scale : float
        Picture px per CSS px of a PNG.
    columns : int
        Charts beside each other on a sheet.
    """

    width: int
    height: int
    text: int
    small: int
    scale: float
    columns: int


PHONE = Size(width=390, height=470, text=16, small=14, scale=2.0, columns=1)
DESKTOP = Size(width=980, height=520, text=17, small=14, scale=1.5, columns=3)


@dataclass(frozen=True)
class Theme:
    """Colours as matplotlib takes them: those of the pages (report/_style.html), the families of ``draw.palette`` made
    dark enough for white and light enough for black. Before and since are told apart by shape and fill too.
    """

    ink: str
    paper: str
    player: str
    reference: str


# Each stands for a colour of the page in an SVG, as ``INK`` does, and is replaced when it is written.
_PAGE = Theme(ink=INK, paper="#010204", player="#010205", reference="#010206")
_VARIABLES = {
    _PAGE.paper: "var(--card, #ffffff)",
    _PAGE.player: "var(--student, #b05a00)",
    _PAGE.reference: "var(--reference, #0b57c2)",
}
LIGHT = Theme(ink="#15181d", paper="#ffffff", player="#b05a00", reference="#0b57c2")
DARK = Theme(ink="#f1f3f6", paper="#1a1e26", player="#ffb04d", reference="#7db6ff")


def theme_of(form: Form) -> Theme:
    """The colours of one form."""
    if form not in FORMS:
        raise DataError(f"There is no form {form!r} of a figure.", f"Choose one of {', '.join(FORMS)}.")
    return {"svg": _PAGE, "png": LIGHT, "dark png": DARK}[form]


class Canvas:
    """A figure that is laid out in CSS px from its top left corner.

    Parameters
    ----------
    width, height : float
    form : Form
    size : Size
    """

    def __init__(self, width: float, height: float, form: Form, size: Size) -> None:
        from matplotlib.figure import Figure

        self.width, self.height, self.size, self.form = width, height, size, form
        self.theme = theme_of(form)
        self.figure: Figure = Figure(figsize=(width / CSS_PER_IN, height / CSS_PER_IN), dpi=CSS_PER_IN)
        if form == "svg":
            self.figure.patch.set_alpha(0.0)
        else:
            self.figure.patch.set_facecolor(self.theme.paper)

    def axes(self, left: float, top: float, width: float, height: float) -> Any:
        """Axes whose box is given in px, without a frame but the foot."""
        box = (left / self.width, 1 - (top + height) / self.height, width / self.width, height / self.height)
        axes = self.figure.add_axes(box)
        axes.patch.set_alpha(0.0)
        axes.spines[["top", "right", "left"]].set_visible(False)
        axes.spines["bottom"].set_alpha(0.5)
        axes.tick_params(length=0, labelsize=points(self.size.small))
        return axes

    def text(
        self,
        words: str,
        left: float,
        top: float,
        size_px: float,
        *,
        bold: bool = False,
        colour: str | None = None,
        alpha: float = 1.0,
        across: Literal["left", "center", "right"] = "left",
    ) -> None:
        """One line whose letters stand between ``top`` and ``top + 1.3 size_px``."""
        self.figure.text(
            left / self.width,
            1 - (top + 1.05 * size_px) / self.height,
            words,
            fontsize=points(size_px),
            fontweight="bold" if bold else "normal",
            color=colour or self.theme.ink,
            alpha=alpha,
            va="baseline",
            ha=across,
        )

    def paragraph(
        self, words: str, left: float, top: float, width: float, size_px: float, *, lines: int = 3, **style: Any
    ) -> float:
        """Words in as many lines as they need, at most ``lines``; returns the px below them."""
        if not words:
            return top
        for line in wrapped(words, round(size_px), round(width), lines, bool(style.get("bold", False))):
            self.text(line, left, top, size_px, **style)
            top += 1.35 * size_px
        return top

    def written(self, salt: str = "") -> bytes:
        """The figure as its form says: an ``<svg>`` element as UTF-8, or a PNG."""
        target = io.BytesIO()
        if self.form != "svg":
            self.figure.savefig(target, format="png", dpi=CSS_PER_IN * self.size.scale, metadata={"Software": None})
            return target.getvalue()
        bare = {"Date": None, "Creator": None, "Format": None, "Type": None}
        # Dots of a long season are a picture inside: as fine as a phone shows it.
        self.figure.savefig(target, format="svg", metadata=bare, dpi=CSS_PER_IN * 2)
        svg = inline_svg(target.getvalue().decode("utf-8"))
        for mark, variable in _VARIABLES.items():
            svg = svg.replace(mark, variable)
        return svg.encode("utf-8")


@contextmanager
def drawing(theme: Theme, salt: str) -> Iterator[None]:
    """What every figure is drawn with; matplotlib's own defaults come back afterwards."""
    from matplotlib import rc_context

    style = {
        "svg.fonttype": "none",
        "svg.hashsalt": salt or "overlay",
        "font.family": "sans-serif",
        "font.sans-serif": ["DejaVu Sans"],
        "text.color": theme.ink,
        "axes.labelcolor": theme.ink,
        "axes.edgecolor": theme.ink,
        "xtick.color": theme.ink,
        "ytick.color": theme.ink,
        "text.parse_math": False,
        "axes.unicode_minus": True,
    }
    with rc_context(style):
        yield


def points(px: float) -> float:
    """CSS px as typographic points."""
    return px * 72.0 / CSS_PER_IN


def lines_of(words: str, size_px: float, width: float, most: int, bold: bool = False) -> int:
    """How many lines a paragraph takes."""
    return len(wrapped(words, round(size_px), round(width), most, bold)) if words else 0


def wide(words: str, size_px: float, bold: bool = False) -> int:
    """Width of one line, px."""
    return text_width(words, round(size_px), bold)


def standalone_svg(element: bytes | str, *, dark: bool = False) -> bytes:
    """An ``<svg>`` element as a file of its own: colours are written out, since few programs but browsers know those
    of a page, on their own ground.
    """
    import re

    theme = DARK if dark else LIGHT
    text = element.decode("utf-8") if isinstance(element, bytes) else element
    for variable, colour in zip(_VARIABLES.values(), (theme.paper, theme.player, theme.reference), strict=True):
        text = text.replace(variable, colour)
    text = text.replace("currentColor", theme.ink)
    start, end = text.index("<svg"), text.index(">")
    found = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', text)
    size = "" if found is None else f' width="{found[1]}pt" height="{found[2]}pt"'
    ground = f'<rect width="100%" height="100%" fill="{theme.paper}"/>'
    head = f'{text[start:end]}{size} xmlns="http://www.w3.org/2000/svg">'
    return f"{head}{ground}{text[end + 1 :]}\n".encode()
