"""The report stands alone, escapes what comes from files, and says what is known and what is not."""

from __future__ import annotations

import base64
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, get_args

import comparison_factory as factory
import numpy as np
import pytest

from overlay.compose import Source
from overlay.compose.wording import headline
from overlay.draw.palette import contrast
from overlay.errors import OutputError
from overlay.report import data_uri, filled_share, report_html, write_report
from overlay.report.curves import synced_signals
from overlay.terms import PARTS, PHASES, POSITION_NAMES, SOURCE_WORDS, words
from overlay.terms import Source as FoundFrom

HOSTILE = '<script>alert(1)</script><img src=x onerror=y> & $\\frac{1}{2}$ "quoted"'


class Page(HTMLParser):
    """Collects tags, attributes and text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""
        self._skip = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._skip += tag == "style"

    def handle_endtag(self, tag: str) -> None:
        self._skip -= tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._skip:
            self.text += data + " "

    @property
    def words(self) -> str:
        return re.sub(r"\s+", " ", self.text)


@pytest.fixture(scope="module")
def comparison() -> Any:
    student = factory.make_swing(missing=("shaft_level_down",), notes=("Light was low.",))
    return factory.make_comparison(student, factory.make_swing(length_s=1.2, handedness="left", lean=5.0))


@pytest.fixture(scope="module")
def html(comparison: Any) -> str:
    return report_html(comparison, student=Source(label="Mara"), reference=Source(label="Tomas"))


def test_nothing_is_loaded_from_elsewhere(html: str) -> None:
    assert "http:" not in html
    assert "https:" not in html
    assert "//" not in re.sub(r"data:image/jpeg;base64,[A-Za-z0-9+/=]+", "", html)
    page = Page(html)
    assert not {tag for tag, _ in page.tags} & {"script", "link", "iframe", "object", "embed", "form", "base"}
    for tag, attributes in page.tags:
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            if name == "src":
                assert value is not None
                assert value.startswith("data:image/jpeg;base64,")
            if name == "href":
                assert value is not None
                assert value.startswith("#")
    css = html[html.index("<style>") : html.index("</style>")]
    assert "@import" not in css
    assert "url(" not in css


def test_the_answer_comes_first(comparison: Any, html: str) -> None:
    page = Page(html)
    answer = headline(comparison)
    assert answer in page.words
    assert page.words.index(answer) < page.words.index("The nine positions")
    assert comparison.sharpness in page.words


def test_every_score_has_its_word_interval_and_reason(comparison: Any, html: str) -> None:
    text = Page(html).words
    assert len(comparison.differences) == len(PHASES) * len(PARTS)
    for row in comparison.differences:
        if row.words == "not scored":
            assert row.reason in text
        else:
            assert row.words in text
            assert f"{row.value:.2f} ({row.interval[0]:.2f} to {row.interval[1]:.2f})" in text
            assert f"{row.score:.0f} ({row.score_interval[0]:.0f} to {row.score_interval[1]:.0f})" in text


def test_missing_positions_and_notes_are_shown(comparison: Any, html: str) -> None:
    text = Page(html).words
    assert text.count("the shaft level down is hidden by the body") >= 2
    assert "No ghost: not found for student." in text
    assert "the reference is mirrored" in text
    for note in comparison.notes:
        assert note in text
    for name in POSITION_NAMES:
        assert words(name) in text


def test_what_a_position_was_found_from_is_said_in_words(html: str) -> None:
    assert set(SOURCE_WORDS) == set(get_args(FoundFrom))
    text = Page(html).words
    assert "from the body" in text
    assert "from pose" not in text


def test_timing_is_in_milliseconds(comparison: Any, html: str) -> None:
    text = Page(html).words
    known = [timing for timing in comparison.timings if np.isfinite(timing.difference_ms)]
    assert known
    for timing in known:
        assert f"{timing.difference_ms:+.0f} ± {timing.uncertainty_ms:.0f}" in text


def test_untimed_swings_give_the_reason_once(comparison: Any) -> None:
    nan = float("nan")
    timings = tuple(replace(timing, difference_ms=nan, reason="plays in slow motion") for timing in comparison.timings)
    page = Page(
        report_html(replace(comparison, timings=timings), student=Source(label="A"), reference=Source(label="B"))
    )
    assert page.words.count("plays in slow motion") == 1
    assert "Times are withheld" in page.words


@pytest.mark.parametrize(
    "caution", ["clear circle", "Pain means stop", "no medical advice", "PGA-qualified coach",
                "licensed health professional", "personal data", "guardian", "not the same as wrong", "±5°"],
)  # fmt: skip
def test_cautions_are_there(html: str, caution: str) -> None:
    assert caution in Page(html).words


def test_hostile_names_are_only_text(comparison: Any) -> None:
    positions = comparison.student.positions
    positions = replace(positions, missing=dict.fromkeys(positions.missing, HOSTILE))
    student = replace(comparison.student, positions=positions)
    hostile = replace(comparison, notes=(HOSTILE,), sharpness=HOSTILE, student=student)
    html = report_html(hostile, student=Source(label=HOSTILE), reference=Source(label=HOSTILE))
    page = Page(html)
    assert not {tag for tag, _ in page.tags} & {"script"}
    assert all(attributes.get("src", "").startswith("data:") for tag, attributes in page.tags if tag == "img")  # type: ignore[union-attr]
    assert all(not name.startswith("on") for _, attributes in page.tags for name in attributes)
    assert "<script>alert(1)</script>" in page.text


def test_stills_are_pictures_of_the_right_size(html: str) -> None:
    import cv2

    images = [attributes for tag, attributes in Page(html).tags if tag == "img"]
    # Nine rows of three, less the student and the ghost of the missing position; and the three beside the answer.
    assert len(images) == 25 + 3
    content = base64.b64decode(str(images[0]["src"]).split(",", 1)[1])
    picture = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR)
    assert picture.shape[:2] == (int(str(images[0]["height"])), int(str(images[0]["width"])))
    assert all(attributes["alt"] for attributes in images)


def test_a_picture_survives_its_address() -> None:
    import cv2

    image = np.zeros((16, 16, 3), np.uint8)
    image[..., 0] = 200
    content = base64.b64decode(data_uri(image, 95).split(",", 1)[1])
    back = cv2.cvtColor(cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)
    assert back[8, 8] == pytest.approx([200, 0, 0], abs=6)


def colours(css: str, start: str) -> dict[str, tuple[int, int, int]]:
    block = css[css.index(start) :]
    block = block[: block.index("}")]
    found = re.findall(r"--(\w+): #([0-9a-f]{6})", block)
    return {name: (int(code[:2], 16), int(code[2:4], 16), int(code[4:], 16)) for name, code in found}


@pytest.mark.parametrize("scheme", [":root {\n  color-scheme", "@media (prefers-color-scheme: dark)"])
def test_text_can_be_read_on_light_and_dark_pages(html: str, scheme: str) -> None:
    used = colours(html, scheme)
    for under in ("page", "card", "empty"):
        # WCAG 2.1 level AA is 4.5:1 for text.
        assert contrast(used["ink"], used[under]) >= 7.0
        assert contrast(used["quiet"], used[under]) >= 4.5
    for under in ("mark", "mark2", "mark3"):
        assert contrast(used["ink"], used[under]) >= 4.5


def test_filled_shares_are_counted_among_known_joints() -> None:
    swing = factory.make_swing()
    filled = np.zeros(swing.pose.filled.shape, bool)
    known = np.isfinite(swing.pose.points[..., 0])
    filled[: len(filled) // 2] = True
    wanted = np.count_nonzero(known[: len(filled) // 2]) / np.count_nonzero(known)
    assert filled_share(replace(swing, pose=replace(swing.pose, filled=filled))) == pytest.approx(wanted)


def test_the_reference_curve_follows_the_student_s_clock() -> None:
    # The same swing, played half as fast: in the student's time both curves are one.
    comparison = factory.make_comparison(factory.make_swing(rate=60), factory.make_swing(length_s=3.2, rate=60))
    synced = synced_signals(comparison)
    times = comparison.student.positions.times()
    during = (synced["time_s"] > times["address"]) & (synced["time_s"] < times["finish"])
    for what in ("height", "turn"):
        gap = np.abs(synced[f"student_{what}"] - synced[f"reference_{what}"])[during]
        assert np.nanmax(gap) < 0.06
    # A curve in his own time would be far off.
    assert np.nanmax(np.abs(synced["student_height"])) > 0.5


def test_a_left_hander_turns_as_a_right_hander_does() -> None:
    synced = synced_signals(factory.make_comparison(factory.make_swing(), factory.make_swing(handedness="left")))
    assert np.nanmax(np.abs(synced["student_turn"] - synced["reference_turn"])) < 0.05
    assert np.nanmax(np.abs(synced["student_turn"])) > 0.3


def test_the_report_is_written_whole_or_not_at_all(comparison: Any, tmp_path: Path) -> None:
    out = write_report(comparison, tmp_path / "report.html", student=Source(label="A"), reference=Source(label="B"))
    assert out.read_text(encoding="utf-8").rstrip().endswith("</html>")
    assert out.stat().st_size < 3_000_000
    blocker = tmp_path / "file"
    blocker.write_text("in the way")
    with pytest.raises(OutputError):
        write_report(comparison, blocker / "x.html", student=Source(label="A"), reference=Source(label="B"))
