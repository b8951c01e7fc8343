"""Figures: curves for the reports, change over sessions, repeatability, the sheet of a session.

SVG text for pages and PNG for phones; matplotlib's ``Figure`` objects only, never pyplot: no global state.
"""

from __future__ import annotations

from overlay.plots.canvas import DESKTOP, PHONE, Form, Size, standalone_svg
from overlay.plots.curves import (
    INK,
    LONGEST_NAME,
    TEXT_PT,
    Curve,
    curve_figure,
    inline_svg,
    student_and_reference,
)
from overlay.plots.repeatability import Repeat, repeatability_chart, repeatability_sentence
from overlay.plots.season import Trend, caption
from overlay.plots.sheet import trend_sheet
from overlay.plots.trend import trend_chart
from overlay.plots.words import MeasureWords, change_words, measure_words, with_unit

__all__ = [
    "DESKTOP",
    "INK",
    "LONGEST_NAME",
    "PHONE",
    "TEXT_PT",
    "Curve",
    "Form",
    "MeasureWords",
    "Repeat",
    "Size",
    "Trend",
    "caption",
    "change_words",
    "curve_figure",
    "inline_svg",
    "measure_words",
    "repeatability_chart",
    "repeatability_sentence",
    "standalone_svg",
    "student_and_reference",
    "trend_chart",
    "trend_sheet",
    "with_unit",
]
