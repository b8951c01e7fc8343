"""Panels: the heading, the time bar and the score panel say what they should."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from overlay.data import PhaseDifference
from overlay.draw import Heading, Notice, ScorePanel, TimeBar
from overlay.draw.palette import HELD, PAPER, STUDENT
from overlay.draw.text import fitted
from overlay.terms import PARTS

TICKS = (("address", 1.0), ("top", 2.0), ("impact", 2.5), ("finish", 4.0))


def bar() -> TimeBar:
    return TimeBar(0.0, 5.0, TICKS, 20)


def test_every_position_has_a_tick_at_its_time() -> None:
    image = bar().base(500, 50)
    top_row = 50 // 2 - round(50 * 0.14) - 3
    columns = np.flatnonzero(np.all(image[top_row] == PAPER, axis=-1))
    groups = np.split(columns, np.flatnonzero(np.diff(columns) > 1) + 1)
    middles = [group.mean() for group in groups]
    # The bar runs from 20 to 480 px for 0 to 5 s.
    assert middles == pytest.approx([20 + 460 * time_s / 5 for _, time_s in TICKS], abs=1.0)


def test_the_cursor_is_where_the_time_is() -> None:
    image = bar().draw(bar().base(500, 50), 2.25)
    row = image[25]
    cursor = np.flatnonzero(np.all(row == PAPER, axis=-1))
    disc = cursor[np.abs(cursor - (20 + 460 * 2.25 / 5)) < 14]
    assert (disc.min() + disc.max()) / 2 == pytest.approx(20 + 460 * 2.25 / 5, abs=1.0)
    passed = np.flatnonzero(np.all(row == STUDENT.strong, axis=-1))
    assert passed.min() <= 21
    assert passed.max() == pytest.approx(20 + 460 * 2.25 / 5, abs=16)
    held = bar().draw(bar().base(500, 50), 2.0, "top")
    assert np.any(np.all(held == HELD, axis=-1))
    assert not np.any(np.all(image == HELD, axis=-1))


def test_times_outside_stay_on_the_bar() -> None:
    assert bar().x_of(-3.0, 500) == 20
    assert bar().x_of(99.0, 500) == 480


def row(part: str, words: str, score: float = 40.0) -> PhaseDifference:
    return PhaseDifference("takeaway", part, 0.2, (0.1, 0.3), (0.1, 0.1), words, score, (20.0, 60.0), 0.1)  # type: ignore[arg-type]


def yellow(image: np.ndarray) -> int:
    return int(np.count_nonzero(np.all(image == HELD, axis=-1)))


def test_the_dots_grow_with_the_words() -> None:
    panel = ScorePanel(24)
    counts = [
        yellow(panel.picture(500, 100, "takeaway", [row("hands", words)]))
        for words in ("not scored", "no difference detected", "small", "moderate", "large", "very large")
    ]
    assert counts[0] == counts[1] == 0
    one = counts[2]
    assert counts[2:] == pytest.approx([one, 2 * one, 3 * one, 4 * one], rel=0.1)


def test_words_differ_without_colour() -> None:
    panel = ScorePanel(24)
    pictures = [
        panel.picture(500, 100, "takeaway", [row("hands", words)]).mean(axis=-1)
        for words in ("small", "moderate", "large", "very large", "not scored", "no difference detected")
    ]
    for i, one in enumerate(pictures):
        for other in pictures[i + 1 :]:
            assert np.abs(one - other).max() > 60


@pytest.mark.parametrize("width", [480, 960, 1440])
def test_all_nine_parts_fit_the_height_asked_for(width: int) -> None:
    size = round(0.0275 * width)
    panel = ScorePanel(size)
    height = panel.needed_height(width, len(PARTS))
    full = panel.picture(width, height, "takeaway", [row(part, "very large", 100.0) for part in PARTS])
    # Nothing touches the last rows or the right edge.
    assert np.all(full[-2:] == full[0, 0])
    assert np.all(full[:, -3:] == full[0, 0])
    for i in range(len(PARTS)):
        without = [row(part, "very large") for j, part in enumerate(PARTS) if j != i]
        assert yellow(panel.picture(width, height, "takeaway", without)) < yellow(full)


@pytest.mark.parametrize("pane", [(474, 640), (554, 720), (632, 854), (480, 854)])
@pytest.mark.parametrize("layout", ["side by side", "ghost", "both"])
def test_no_word_is_cut_off_in_any_layout(layout: Any, pane: tuple[int, int], monkeypatch: pytest.MonkeyPatch) -> None:
    from overlay.compose.video import place
    from overlay.draw import panels

    cut = []

    def recording(text: str, size_px: int, most_px: int, bold: bool = False) -> str:
        short = fitted(text, size_px, most_px, bold)
        cut.extend([text] if short != text else [])
        return short

    monkeypatch.setattr(panels, "fitted", recording)
    places = place(layout, pane)
    _, _, width, height = places.scores
    for words in ("very large", "moderate", "no difference detected", "not scored"):
        rows = [row(part, words, 100.0) for part in PARTS]
        ScorePanel(places.text_px).picture(width, height, "through_swing", rows)
        for other in (700, 960, 1300):
            ScorePanel(20).picture(other, 400, "through_swing", rows)
    assert cut == []


def test_a_phase_without_scores_says_so() -> None:
    empty = ScorePanel(24).picture(500, 100, "takeaway", [])
    assert np.any(empty[40:] != empty[0, 0])


def test_a_held_position_stands_on_a_plate() -> None:
    heading = Heading(40, 20)
    assert yellow(heading.picture(600, 90, "Top", True)) > 1000
    assert yellow(heading.picture(600, 90, "Backswing", False)) == 0


def test_a_long_heading_leaves_room_for_the_right() -> None:
    image = Heading(40, 20).picture(400, 90, "Lead arm level back and some more", False, "in the student's time")
    assert np.all(image[:, -8:] == image[0, 0])


def test_a_notice_wraps_inside_its_frame() -> None:
    image = Notice(18).picture(200, 300, "Not found: the club is hidden behind the body for the whole of the release")
    inner = image[3:-3, 3:-3]
    lit = np.flatnonzero(np.any(inner != inner[0, 0], axis=(0, 2)))
    assert lit.min() > 3
    assert lit.max() < 190
