"""Figures for the report, as SVG text. Matplotlib's ``Figure`` objects only, never pyplot: no global state."""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from typing import Sequence

import numpy as np

from overlay.arrays import FloatArray
from overlay.draw.palette import REFERENCE, STUDENT, Colour
from overlay.errors import DataError

INK = "#010203"
"""Stands for the page's text colour in the drawing; replaced by ``currentColor``, so figures fit light and dark."""


TEXT_PT = 12.0
"""Size of all text: 16 px and more where a figure of the default width fills a phone's 390 px."""

LONGEST_NAME = 20
"""Characters of a name in the legend, about half the figure's width."""


@dataclass(frozen=True)
class Curve:
    """One line of a figure.

    Attributes
    ----------
    label : str
    time_s : (T,) float
    values : (T,) float, NaN breaks the line
    colour : Colour
    dashed : bool
        Told apart by more than colour.
    """

    label: str
    time_s: FloatArray
    values: FloatArray
    colour: Colour
    dashed: bool = False

    def __post_init__(self) -> None:
        if len(self.time_s) != len(self.values):
            raise DataError(
                f"The curve {self.label!r} has {len(self.time_s)} times and {len(self.values)} values.",
                "Give one value for each time.",
            )


def student_and_reference(
    time_s: FloatArray, student: FloatArray, reference: FloatArray, names: tuple[str, str]
) -> tuple[Curve, Curve]:
    """Two curves in the players' colours; the reference's is dashed. Long names are cut: a legend must leave room."""
    one, other = (name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1].rstrip() + "…" for name in names)
    return (
        Curve(one, time_s, student, STUDENT.strong),
        Curve(other, time_s, reference, REFERENCE.strong, dashed=True),
    )


def curve_figure(
    curves: Sequence[Curve],
    marks: Sequence[tuple[str, float]],
    *,
    y_label: str,
    x_label: str,
    salt: str,
    width_in: float = 3.4,
    height_in: float = 2.7,
) -> str:
    """Curves over time with the positions marked, as an SVG element for an HTML page.

    Parameters
    ----------
    curves : sequence of Curve
    marks : pairs (name, time_s)
        Thin lines; numbered along the top in order, since the names do not fit.
    y_label, x_label : str
    salt : str
        Makes the ids inside the SVG different from those of other figures on the page.

    Returns
    -------
    str
        ``<svg …>…</svg>`` without XML head, metadata or address of any kind; text is text, in the page's colour.
    """
    from matplotlib import rc_context
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    style = {
        "svg.fonttype": "none",
        "svg.hashsalt": salt,
        "font.family": "sans-serif",
        "font.sans-serif": ["DejaVu Sans"],
        "font.size": TEXT_PT,
        "text.color": INK,
        "axes.labelcolor": INK,
        "axes.edgecolor": INK,
        "xtick.color": INK,
        "ytick.color": INK,
        "text.parse_math": False,
    }
    with rc_context(style):
        figure = Figure(figsize=(width_in, height_in), layout="constrained")
        FigureCanvasSVG(figure)
        figure.patch.set_alpha(0.0)
        axes = figure.add_subplot()
        axes.patch.set_alpha(0.0)
        for curve in curves:
            axes.plot(
                curve.time_s,
                curve.values,
                color=tuple(channel / 255 for channel in curve.colour),
                linewidth=2.4,
                linestyle=(0, (4, 1.6)) if curve.dashed else "-",
                label=curve.label,
            )
        for number, (_, time_s) in enumerate(marks, start=1):
            axes.axvline(time_s, color=INK, linewidth=0.7, alpha=0.35)
            axes.annotate(
                str(number),
                (time_s, 1.0),
                xycoords=("data", "axes fraction"),
                # Downswing and strike lie close together: their numbers stand in two rows.
                xytext=(0, 2 if number % 2 else 2 + TEXT_PT),
                textcoords="offset points",
                ha="center",
                va="bottom",
                fontsize=TEXT_PT,
            )
        axes.set_xlabel(x_label)
        axes.set_ylabel(y_label)
        axes.spines[["top", "right"]].set_visible(False)
        axes.grid(axis="y", alpha=0.2, color=INK)
        finite = [curve.time_s[np.isfinite(curve.values)] for curve in curves]
        known = np.concatenate(finite) if finite else np.zeros(0)
        if len(known):
            axes.set_xlim(float(known.min()), float(known.max()))
        axes.legend(frameon=False, loc="best", fontsize=TEXT_PT, handlelength=1.4)
        target = io.StringIO()
        figure.savefig(target, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    return inline_svg(target.getvalue())


def inline_svg(document: str) -> str:
    """The ``<svg>`` element of an SVG document, ready to stand inside HTML.

    Removes the XML head, document type, metadata and namespace addresses (HTML needs none), lets the size follow
    the page and the ink follow its text colour.
    """
    start = document.index("<svg")
    svg = document[start:].strip()
    svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r'\s+xmlns(:\w+)?="[^"]*"', "", svg)
    svg = svg.replace("xlink:href", "href")
    svg = re.sub(r'(<svg[^>]*?) width="[^"]*"', r"\1", svg, count=1)
    svg = re.sub(r'(<svg[^>]*?) height="[^"]*"', r"\1", svg, count=1)
    return svg.replace(INK, "currentColor")
