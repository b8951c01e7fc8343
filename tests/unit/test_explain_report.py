"""The report names the reference, its fit and its spread, and says what the cameras could explain."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import comparison_factory as factory
import pytest
from test_report import HOSTILE, Page

from overlay.compose import Source
from overlay.compose.wording import headline
from overlay.data import Band, CameraPart, Comparison, Model, Provenance, ReferenceFit, Spread
from overlay.explain import beyond_camera, camera_lines, fit_sentences, model_line, model_sentences
from overlay.explain.beyond import found
from overlay.report import report_html


def model_of(name: str = "spring") -> Model:
    rows = factory.make_comparison().differences
    band = Band(10, {(row.phase, row.part): Spread(0.05, 9.0) for row in rows}, "one player")
    told = Provenance(
        "2026-05-02T10:11:12", "overlay 0.1.0", "pose model full", ("one.mp4",), (f"{name}.mp4: too far away",),
        "Illustrative template, not a norm.",
    )  # fmt: skip
    return Model(name, "template", {"dtl": factory.make_swing()}, {"dtl": band}, club_kind="mid iron", provenance=told)


def explained(comparison: Comparison, shares: tuple[float, ...], sd: float = 0.02) -> Comparison:
    parts = []
    for i, row in enumerate(found(comparison)):
        share = shares[i % len(shares)]
        offset = (share * row.offset[0], share * row.offset[1])
        parts.append(CameraPart(row.phase, row.part, offset, sd, share * row.value, share))
    return beyond_camera(replace(comparison, camera_parts=tuple(parts)))


def page_of(comparison: Comparison) -> Page:
    return Page(report_html(comparison, student=Source(label="Mara"), reference=Source(label="Spring")))


@pytest.fixture(scope="module")
def full() -> Comparison:
    comparison = factory.make_comparison()
    fit = ReferenceFit(
        "picture", comparison.reference, {"upper_arm": 1.06, "trunk": 1.0}, residual=0.04, notes=("Feet are not seen.",)
    )
    # In the order of the pipeline: what the cameras explain depends on the band of the reference.
    return explained(replace(comparison, reference_model=model_of(), fit=fit), (1.0, 0.3, 0.0))


@pytest.fixture(scope="module")
def page(full: Comparison) -> Page:
    return page_of(full)


def test_the_reference_is_named_at_the_top_with_its_label(full: Comparison, page: Page) -> None:
    line = model_line(model_of(), "dtl")
    assert "Illustrative template, not a norm." in line
    assert page.words.index(line) < page.words.index(headline(full)) < page.words.index("The nine positions")
    assert "reference spring" in page.words


def test_how_it_was_made_and_fitted_is_told(full: Comparison, page: Page) -> None:
    assert full.fit is not None
    for sentence in (*model_sentences(model_of()), *fit_sentences(full.fit, "dtl")):
        assert sentence in page.words
    assert "Left out: spring.mp4: too far away." in page.words
    assert "brought to his build" in page.words


def test_many_notes_of_its_maker_are_folded_away(full: Comparison) -> None:
    model = model_of()
    notes = tuple(f"Number {k} is common practice." for k in range(12))
    told = replace(full, reference_model=replace(model, provenance=replace(model.provenance, notes=notes)))
    page = page_of(told)
    assert "12 notes of its maker" in page.words
    assert notes[11] in page.words


def test_what_the_cameras_could_explain_has_its_section(full: Comparison, page: Page) -> None:
    words = page.words
    section = words[words.index("What the camera could explain") : words.index("Differences, phase by phase")]
    for line in camera_lines(full):
        assert line in section
    assert full.notes[-1] == camera_lines(full)[0]
    assert words.count(full.notes[-1]) == 1
    assert f"{len(found(full))} differences show" in section
    for row, part in zip(found(full), full.camera_parts):
        assert (row.phase, row.part) == (part.phase, part.part)
    # The table holds each bound with its share, the page beside the scores the bound alone.
    assert "up to 0.07 (30\N{NO-BREAK SPACE}%)" in section.replace("(30 %)", "(30\N{NO-BREAK SPACE}%)")
    assert words.count("all of it") > 3
    assert "“Camera?”" in words
    assert words.count("camera?") > 3


def test_a_caution_stands_under_the_answer(full: Comparison) -> None:
    row = next(row for row in full.differences if row.words == "large")
    alone = explained(replace(full, differences=(row,), first=row, largest=row, camera_parts=(), fit=None), (1.0,))
    words = page_of(alone).words
    said = "film again from the same place before believing it"
    assert words.index(headline(alone)) < words.index(said) < words.index("The nine positions")


@pytest.mark.parametrize(("share", "kind"), [(0.2, "quiet"), (0.6, "notice")])
def test_a_small_share_is_told_and_a_large_one_warned_of(share: float, kind: str) -> None:
    comparison = factory.make_comparison()
    row = next(row for row in comparison.differences if row.words == "large")
    one = explained(replace(comparison, differences=(row,), first=row, largest=row), (share,))
    html = report_html(one, student=Source(), reference=Source())
    assert f'<p class="{kind}">Of the 0.24 torso lengths that the' in html


def test_a_difference_in_the_usual_spread_is_marked(page: Page) -> None:
    assert "usual spread" in page.words
    assert ", in the usual spread" in page.words
    assert "lie in the template's usual spread" in page.words


def test_cameras_that_are_not_known_are_said_so() -> None:
    unknown = explained(factory.make_comparison(), (1.0,), float("nan"))
    words = page_of(unknown).words
    assert "nothing can be ruled out" in words
    assert "not known" in words
    assert "camera?" not in words


def test_a_swing_in_space_has_no_second_camera() -> None:
    comparison = factory.make_comparison()
    fit = ReferenceFit("space", comparison.reference, {"thigh": 1.05})
    words = page_of(replace(comparison, fit=fit)).words
    assert "no second camera can make a difference" in words
    assert "posed on the student's body and seen by his camera" in words


def test_without_model_fit_and_parts_nothing_is_said() -> None:
    words = page_of(factory.make_comparison()).words
    for heading in (
        "What the camera could explain",
        "The reference smooth",
        "How it was fitted",
        "camera?",
        "usual spread",
    ):
        assert heading not in words


def test_a_models_words_are_escaped(full: Comparison) -> None:
    hostile: Any = replace(model_of(), name=HOSTILE, player=HOSTILE, club_kind=HOSTILE)
    html = report_html(replace(full, reference_model=hostile), student=Source(), reference=Source())
    assert "<script" not in html
    assert "onerror=y>" not in html


def test_the_pictures_of_the_answer_stand_beside_it(full: Comparison) -> None:
    """Where the first difference has grown: a difference in the backswing is shown at the top."""
    row = next(row for row in full.differences if row.words == "large" and row.phase == "backswing")
    html = report_html(replace(full, first=row, largest=row), student=Source(), reference=Source())
    top = html[: html.index("The nine positions")]
    assert top.count('alt="Top, ') == 3
    assert 'alt="Top, ghost"' in top
    quiet = report_html(replace(full, first=None, largest=None), student=Source(), reference=Source())
    assert quiet[: quiet.index("The nine positions")].count('alt="Top, ') == 3


def test_a_swing_in_space_is_nothing_that_was_filmed() -> None:
    comparison = factory.make_comparison()
    fit = ReferenceFit("space", comparison.reference)
    assert "Reference: filmed" in page_of(comparison).words
    words = page_of(replace(comparison, fit=fit)).words
    assert "Reference: filmed" not in words
    assert "Student: filmed" in words
