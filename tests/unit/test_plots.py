"""Figures are SVG that can stand inside a page: no addresses, text as text, the page's own ink."""

from __future__ import annotations

import re
import sys
from xml.etree import ElementTree

import numpy as np
import pytest

from overlay.errors import DataError
from overlay.plots import INK, Curve, curve_figure, inline_svg, student_and_reference


def figure(names: tuple[str, str] = ("Mara", "Tomas"), salt: str = "a") -> str:
    time_s = np.linspace(0.0, 2.0, 50)
    curves = student_and_reference(time_s, np.sin(time_s), np.where(time_s > 1.8, np.nan, np.cos(time_s)), names)
    return curve_figure(curves, [("address", 0.4), ("top", 1.1)], y_label="height", x_label="time, s", salt=salt)


def test_the_figure_is_one_clean_element() -> None:
    svg = figure()
    assert svg.startswith("<svg")
    assert svg.endswith("</svg>")
    assert "http" not in svg
    assert "<metadata" not in svg
    assert INK not in svg
    assert "currentColor" in svg
    assert ElementTree.fromstring(svg).tag == "svg"


def test_words_are_text_and_every_mark_is_numbered() -> None:
    texts = ["".join(element.itertext()).strip() for element in ElementTree.fromstring(figure()).iter("text")]
    assert {"Mara", "Tomas", "height", "time, s", "1", "2"} <= set(texts)


def test_names_cannot_break_out() -> None:
    svg = figure(("<script>x</script>", "a & $\\frac{1}{2}$"))
    assert "<script>" not in svg
    texts = ["".join(element.itertext()) for element in ElementTree.fromstring(svg).iter("text")]
    assert any("<script>x</script>" in text for text in texts)
    assert any("$\\frac{1}{2}$" in text for text in texts)


def test_two_figures_share_no_id_that_differs() -> None:
    one, other = figure(salt="a"), figure(salt="b")
    ids = [set(re.findall(r'clipPath id="([^"]+)"', svg)) for svg in (one, other)]
    assert ids[0]
    assert not ids[0] & ids[1]
    assert figure(salt="a") == one


def test_the_reference_is_told_apart_by_more_than_colour() -> None:
    assert "stroke-dasharray" in figure()


def test_pyplot_is_never_loaded() -> None:
    figure()
    assert "matplotlib.pyplot" not in sys.modules


def test_a_curve_needs_one_value_a_time() -> None:
    with pytest.raises(DataError, match="3 times and 2 values"):
        Curve("x", np.arange(3.0), np.arange(2.0), (0, 0, 0))


def test_sizes_are_left_to_the_page() -> None:
    svg = inline_svg('<?xml version="1.0"?><svg width="10pt" height="5pt" viewBox="0 0 10 5" xmlns="urn:x"></svg>')
    assert svg == '<svg viewBox="0 0 10 5"></svg>'
