"""The stills sheet and the sheet of one clip: every position has its place, missing ones say why."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import comparison_factory as factory
import numpy as np
import pytest

from overlay.compose import ComposeOptions, Source, comparison_stills, inspect_sheet, render_sheet
from overlay.compose.stills import compose_sheet
from overlay.compose.wording import confidence_words, difference_sentence, direction_words, headline, largest_sentence
from overlay.settings.draw import DRAW
from overlay.terms import POSITION_NAMES
from overlay.video import read_image


def drawn(comparison: Any, height: int = 200) -> Any:
    return comparison_stills(comparison, student=Source(label="A"), reference=Source(label="B"), height_px=height)


def test_each_player_stands_at_his_own_position() -> None:
    comparison = factory.make_comparison()
    stills = drawn(comparison)
    (width, height), rows = stills.pane_size, stills.rows
    assert [row.name for row in rows] == list(POSITION_NAMES)
    assert height == 200
    for row in rows:
        assert row.student.time_s == comparison.student.positions.time(row.name)
        assert row.reference.time_s == comparison.reference.positions.time(row.name)
        assert row.student.image is not None
        assert row.student.image.shape == (height, width, 3)
        assert row.ghost is not None
        assert not np.array_equal(row.ghost, row.student.image)


def test_missing_positions_say_why() -> None:
    comparison = factory.make_comparison(factory.make_swing(missing=("impact", "finish")), factory.make_swing())
    rows = drawn(comparison).rows
    by_name = {row.name: row for row in rows}
    impact = by_name["impact"]
    assert impact.student.image is None
    assert impact.student.reason == "the impact is hidden by the body"
    assert impact.student.caption == "not found"
    assert impact.reference.image is not None
    assert impact.ghost is None
    assert impact.ghost_reason == "No ghost: not found for student."
    assert by_name["top"].ghost_reason == ""


def test_the_sheet_has_a_row_for_every_position_found_or_not(tmp_path: Path) -> None:
    whole = factory.make_comparison()
    lacking = factory.make_comparison(factory.make_swing(missing=("impact",)))
    sheets = []
    for i, comparison in enumerate((whole, lacking)):
        out = render_sheet(comparison, tmp_path / f"{i}.png", student=Source(label="A"), reference=Source(label="B"))
        sheets.append(read_image(out))
    # The windows are the same, so the sheets are; only the row of the missing position differs.
    assert sheets[0].shape == sheets[1].shape
    differs = np.flatnonzero(np.any(sheets[0] != sheets[1], axis=(1, 2)))
    row = 6 / 9
    assert differs.min() / len(sheets[0]) > row - 0.02
    assert differs.max() / len(sheets[0]) < 7 / 9 + 0.02


def test_sheet_text_stays_inside_its_column() -> None:
    comparison = factory.make_comparison()
    stills = drawn(comparison)
    pane, rows = stills.pane_size, stills.rows
    long = compose_sheet(pane, rows, ("a very long name " * 8, "b", "Ghost"), DRAW)
    short = compose_sheet(pane, rows, ("a", "b", "Ghost"), DRAW)
    column = pane[0] + 10
    assert long.shape == short.shape
    assert np.array_equal(long[:, column:], short[:, column:])


def test_one_clip_gives_nine_stills(tmp_path: Path) -> None:
    swing = factory.make_swing(missing=("shaft_level_down",))
    out = inspect_sheet(swing, tmp_path / "nine.png", source=Source(label="x"), options=ComposeOptions())
    image = read_image(out)
    assert image.ndim == 3
    third = image.shape[0] // 3
    # Orange is in every cell but the missing one, the sixth.
    counts = []
    for i in range(9):
        left, top = (i % 3) * image.shape[1] // 3, (i // 3) * third
        cell = image[top : top + third, left : left + image.shape[1] // 3].astype(int)
        counts.append(int(np.count_nonzero((cell[..., 0] > 200) & (cell[..., 2] < 80))))
    assert counts[5] == 0
    assert min(count for i, count in enumerate(counts) if i != 5) > 500


def test_the_answer_in_words() -> None:
    row = factory.difference("downswing", "hands", "large", 0.24, 37.0)
    # offset (0.6, −0.8) of the value: up and to the right of the picture.
    assert direction_words(row, "dtl") == "higher and towards the ball"
    assert direction_words(row, "fo") == "higher and towards the target"
    assert direction_words(row, "other") == "higher and to the right"
    assert difference_sentence(row, "dtl") == (
        "In the downswing the hands are 0.24 torso lengths from the reference, higher and towards the ball: "
        "a large difference."
    )
    lower = factory.difference("takeaway", "head", "small", 0.1, 80.0)
    object.__setattr__(lower, "offset", (-0.01, 0.1))
    object.__setattr__(lower, "value_cm", 5.2)
    assert difference_sentence(lower, "fo").startswith(
        "In the takeaway the head is 0.10 torso lengths (5 cm) from the reference, lower:"
    )


def test_no_difference_is_said_plainly() -> None:
    assert headline(factory.make_comparison(same=True)) == "No difference detected in any phase."
    comparison = factory.make_comparison()
    assert headline(comparison) == difference_sentence(comparison.first, "dtl")
    assert largest_sentence(comparison) == difference_sentence(comparison.largest, "dtl")


def test_what_was_not_scored_is_named() -> None:
    comparison = factory.make_comparison(same=True)
    rows = tuple(
        factory.difference(row.phase, row.part, "not scored", 0, 0) if row.phase == "release" else row
        for row in comparison.differences
    )
    object.__setattr__(comparison, "differences", rows)
    assert headline(comparison) == "No difference detected. Not scored: release."
    object.__setattr__(comparison, "differences", ())
    assert headline(comparison) == "Nothing could be scored."


@pytest.mark.parametrize(("value", "word"), [(0.95, "sure"), (0.8, "sure"), (0.6, "fairly sure"), (0.2, "unsure")])
def test_confidence_has_a_word(value: float, word: str) -> None:
    assert confidence_words(value) == f"{word}, {value:.0%}"


def test_stills_made_once_serve_sheet_and_report(tmp_path: Path) -> None:
    from overlay.report import report_html

    comparison = factory.make_comparison()
    stills = drawn(comparison, 160)
    nowhere = Source(tmp_path / "gone.mp4", label="A")
    # The clips are not there: whoever reads them again fails.
    out = render_sheet(comparison, tmp_path / "s.png", student=nowhere, reference=nowhere, stills=stills)
    assert read_image(out).shape[1] > 3 * stills.pane_size[0]
    html = report_html(comparison, student=nowhere, reference=nowhere, stills=stills)
    assert f'width="{stills.pane_size[0]}" height="160"' in html
