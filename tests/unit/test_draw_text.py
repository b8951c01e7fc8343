"""Text: sharp, bounded, readable on any background."""

from __future__ import annotations

import numpy as np
import pytest

from overlay.draw.palette import (
    GROUND,
    HELD,
    INK,
    PANEL,
    PAPER,
    QUIET,
    REFERENCE,
    STUDENT,
    contrast,
    mixed,
    relative_luminance,
    tint_table,
)
from overlay.draw.text import Label, clean_text, fitted, font_path, put_text, text_sprite, text_width, wrapped
from overlay.errors import DataError


def test_luminance_and_contrast_are_wcags() -> None:
    # WCAG 2.1 definitions: black on white is 21:1, a colour on itself 1:1; 0.2126, 0.7152, 0.0722 are the weights.
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert contrast((12, 99, 200), (12, 99, 200)) == pytest.approx(1.0)
    assert relative_luminance((255, 0, 0)) == pytest.approx(0.2126)
    assert relative_luminance((0, 255, 0)) == pytest.approx(0.7152)
    # sRGB 118 has the linear value ((118/255 + 0.055)/1.055)^2.4.
    assert relative_luminance((118, 118, 118)) == pytest.approx(((118 / 255 + 0.055) / 1.055) ** 2.4)
    with pytest.raises(DataError, match="no colour"):
        relative_luminance((0, 300, 0))


@pytest.mark.parametrize(
    ("text", "under", "least"),
    [(PAPER, PANEL, 7.0), (QUIET, PANEL, 4.5), (INK, HELD, 7.0), (PAPER, INK, 7.0), (HELD, PANEL, 7.0)],
)
def test_panel_colours_can_be_read(text: tuple[int, int, int], under: tuple[int, int, int], least: float) -> None:
    assert contrast(text, under) >= least
    assert contrast(mixed(PANEL, PAPER, 0.72), PANEL) >= 4.5


@pytest.mark.parametrize("background", [(255, 255, 255), (0, 0, 0), (90, 130, 60), (250, 220, 40)])
def test_a_label_can_be_read_on_any_picture(background: tuple[int, int, int]) -> None:
    image = np.empty((120, 300, 3), np.uint8)
    image[:] = background
    Label("Student", 28).draw(image)
    letters = image[20:60, 20:180].reshape(-1, 3)
    bright = letters[np.argmax(letters.sum(axis=1))]
    plate = letters[np.argmin(letters.sum(axis=1))]
    assert contrast(tuple(int(v) for v in bright), tuple(int(v) for v in plate)) >= 7.0  # type: ignore[arg-type]


@pytest.mark.parametrize("family", [STUDENT, REFERENCE])
def test_bones_show_against_their_casing_and_plain_ground(family: object) -> None:
    # WCAG 2.1, 1.4.11: graphics need 3:1 against what is beside them.
    assert contrast(family.strong, INK) >= 4.5  # type: ignore[attr-defined]
    assert contrast(family.light, family.strong) >= 1.4  # type: ignore[attr-defined]
    assert contrast(family.strong, GROUND) >= 2.3  # type: ignore[attr-defined]


def test_players_differ_for_every_colour_vision() -> None:
    # Viénot, Brettel & Mollon 1999, protanopia and deuteranopia on linear RGB (matrices from memory, checked below
    # by their rows summing to 1: white stays white).
    protan = np.array([[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]])
    deutan = np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]])
    for matrix in (np.eye(3), protan, deutan):
        assert matrix.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0])
        seen = []
        for colour in (STUDENT.strong, REFERENCE.strong):
            linear = (np.asarray(colour) / 255) ** 2.2
            seen.append(np.clip(matrix @ linear, 0, 1) ** (1 / 2.2))
        assert np.linalg.norm(seen[0] - seen[1]) > 0.6


def test_a_tint_keeps_the_order_of_brightness() -> None:
    table = tint_table(REFERENCE, 0.7)[0].astype(int)
    assert np.all(np.diff(table.sum(axis=1)) >= 0)
    assert np.all(table[:, 2] >= table[:, 0])
    assert np.array_equal(tint_table(REFERENCE, 0.0)[0][:, 0], np.arange(256))


def test_the_font_is_found_without_loading_matplotlib() -> None:
    assert font_path(False).name == "DejaVuSans.ttf"
    assert font_path(True).name == "DejaVuSans-Bold.ttf"


def test_long_text_is_shortened_to_its_room() -> None:
    text = "a name that is much too long for its pane"
    assert fitted(text, 20, 10_000) == text
    short = fitted(text, 20, 150)
    assert short.endswith("…")
    assert text_width(short, 20) <= 150
    lines = wrapped(text, 20, 150, most_lines=3)
    assert len(lines) == 3
    assert all(text_width(line, 20) <= 150 for line in lines)
    assert " ".join(wrapped(text, 20, 150, most_lines=20)) == text


def test_control_characters_do_not_reach_the_picture() -> None:
    assert clean_text("Mara\nLind\x00qvist\u202e ") == "Mara Lind qvist"


def test_blitting_is_alpha_blending_and_clips_at_the_edges() -> None:
    image = np.full((40, 40, 3), 100, np.uint8)
    sprite = text_sprite("██", 30, (255, 0, 0))
    sprite.blit(image, 5, 0)
    # A full block letter is opaque: exactly its own colour somewhere, exactly the background elsewhere.
    assert np.any(np.all(image == (255, 0, 0), axis=-1))
    assert np.all(image[:, :4] == 100)
    corner = np.full((40, 40, 3), 100, np.uint8)
    text_sprite("█", 30, (255, 0, 0), plate=(0, 0, 0), plate_opacity=1.0).blit(corner, 0, 0)
    assert np.any(corner[0] != 100)
    assert np.any(corner[:, 0] != 100)
    untouched = np.full((40, 40, 3), 100, np.uint8)
    for x, y in ((-500, 0), (41, 0), (0, -200), (0, 41)):
        sprite.blit(untouched, x, y)
    assert np.all(untouched == 100)
    sprite.blit(untouched, -10, -5)
    assert not np.all(untouched == 100)


@pytest.mark.parametrize(("anchor", "low", "high"), [("left", 150, 220), ("centre", 110, 190), ("right", 80, 150)])
def test_text_stands_where_it_is_put(anchor: str, low: int, high: int) -> None:
    image = np.zeros((60, 300, 3), np.uint8)
    width = put_text(image, "HHHH", 150, 30, 20, anchor=anchor)  # type: ignore[arg-type]
    columns = np.flatnonzero(image.any(axis=(0, 2)))
    rows = np.flatnonzero(image.any(axis=(1, 2)))
    assert low <= columns.min()
    assert columns.max() <= high
    assert width == pytest.approx(columns.max() - columns.min(), abs=8)
    assert abs((rows.min() + rows.max()) / 2 - 30) <= 3
