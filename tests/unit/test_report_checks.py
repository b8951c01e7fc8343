"""The report carries what comes first, the checklist, filming and strike, and is read on a phone."""

from __future__ import annotations

import html as entities
import json
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import check_factory as checks
import comparison_factory as factory
import pytest
from test_report import HOSTILE, Page

from overlay.compose import ComposeOptions, Source
from overlay.data import Check, Checklist, FilmingFinding, FilmingReport, FirstThing
from overlay.draw.checks import is_marked, verdict_words
from overlay.errors import OutputError
from overlay.report import inspection_html, report_html, write_inspection_report
from overlay.report.checks import check_rows, summary
from overlay.report.page import strike_text

SOURCES = {"student": Source(label="Mara"), "reference": Source(label="Tomas")}


@pytest.fixture(scope="module")
def comparison() -> Any:
    student = checks.with_strike(checks.with_club(factory.make_swing()))
    reference = checks.with_strike(checks.with_club(factory.make_swing(length_s=1.2, lean=5.0)), struck=False)
    match = FilmingFinding(
        "match_offset", 20.0, "cm", (10.0, 30.0), "warn", "His lens stands further outside.", "Film again."
    )
    return replace(
        factory.make_comparison(student, reference),
        checklist=checks.make_checklist(compared=True),
        filming=(checks.make_filming(), checks.make_filming(good=True)),
        camera_match=(match, replace(match, name="match_roll", verdict="pass", sentence="Both are level.")),
    )


@pytest.fixture(scope="module")
def html(comparison: Any) -> str:
    return report_html(comparison, **SOURCES)


@pytest.fixture(scope="module")
def one() -> str:
    swing = checks.with_strike(checks.with_club(factory.make_swing(missing=("finish",), notes=("Light was low.",))))
    return inspection_html(
        swing, source=Source(label="Mara"), checklist=checks.make_checklist(), filming=checks.make_filming()
    )


def test_what_comes_first_stands_at_the_top(html: str) -> None:
    text = Page(html).words
    first = checks.make_checklist().first
    lead = "Work on this first: hand depth (takeaway)."
    assert text.index(lead) < text.index("Where it first differs") < text.index("Checklist")
    for part in (first.sentence[len(lead) + 1 :], first.why, first.look_for, "hand depth (hand_depth_back)"):
        assert text.index(part) < text.index("Where it first differs"), part
    box = html[html.index('class="first"') : html.index('aria-labelledby="answer"')]
    # The still it was read from, of both.
    assert box.count("<img") == 2


def test_a_caution_is_said_once_in_a_place_of_its_own(comparison: Any) -> None:
    care = "This is linked with low-back pain. Pain means stop and 0.5 of it too."
    check = replace(checks.make_checklist().checks[0], sentence=f"The spine leans back. {care}")
    first = FirstThing(f"Work on this first: spine. {check.sentence}", check, "Because.", f"Lean away. {care}", "x")
    html = report_html(replace(comparison, checklist=Checklist((check,), first)), **SOURCES)
    box = Page(html[html.index('class="first"') : html.index('aria-labelledby="answer"')]).words
    assert box.count("low-back pain") == 1
    assert f"Take care. {care}" in box
    assert "The spine leans back." in box
    assert "Look for in the next rep Lean away." in box


def test_what_a_camera_needs_is_not_said_twice(comparison: Any) -> None:
    check = checks.make_check("camera_setup", 1.0, "out", unit="findings", sentence="It is high. Lower it.")
    first = FirstThing(
        "Set the camera right first. It is high. Lower it.", check, "Because.", "Lower it.", "camera_setup"
    )
    html = report_html(replace(comparison, checklist=Checklist((check,), first)), **SOURCES)
    box = Page(html[html.index('class="first"') : html.index('aria-labelledby="answer"')]).words
    assert box.count("Lower it.") == 1
    assert "Take care" not in box
    assert "Focus measure" not in box


def test_nothing_to_work_on_is_said_just_as_clearly(comparison: Any) -> None:
    html = report_html(replace(comparison, checklist=checks.NOTHING), **SOURCES)
    text = Page(html).words
    assert text.index("Nothing to work on was found") < text.index("Where it first differs")
    assert 'class="first none"' in html
    assert "Focus measure" not in text


def test_every_check_is_told_with_its_numbers(html: str) -> None:
    text = Page(html).words.replace("\N{NO-BREAK SPACE}", " ")
    for check in checks.make_checklist(compared=True).checks:
        assert check.title in text
        assert check.sentence in text
        assert verdict_words(check) in text
    for number in (
        "0.21 torso (0.15 to 0.27)",
        "0.02 torso (−0.04 to 0.08)",
        "+0.19 torso (0.11 to 0.27)",
        "−0.25 to 0.10 torso",
        "0.21 against 0.02 torso",
        "97° (92° to 102°)",
        "75° to 105°",
        "up to 0.13 torso",
    ):
        assert number in text, number
    assert "Row 5 is seen face on." in text


def test_the_count_of_verdicts_reads_as_a_sentence_and_leaves_the_camera_out() -> None:
    verdicts = ["put it right", "differs", "alike", "differs", "alike", "alike"]
    assert summary([{"verdict": verdict} for verdict in verdicts]) == "3 alike, 2 differ"
    assert summary([{"verdict": "differs"}, {"verdict": "good"}]) == "1 differs"
    assert summary([{"verdict": "put it right"}]) == "1 put it right"
    assert summary([]) == ""


def test_what_only_the_reference_shows_stands_alone() -> None:
    check = checks.make_check("hand_height_back", None, "not measured", unit="fraction", reference=0.6)
    row = check_rows(Checklist((check,), checks.make_checklist().first), (), ("Student", "Reference"), 80)[0]
    assert (row["value"], row["beside"], row["reference"]) == ("", "", "60 %")


def test_the_verdict_is_a_word_and_a_look() -> None:
    differs, unread, alike, close = checks.make_checklist(compared=True).checks
    assert [verdict_words(check) for check in (differs, unread, alike, close)] == [
        "differs",
        "not measured",
        "alike",
        "too close to call",
    ]
    assert [is_marked(check) for check in (differs, unread, alike, close)] == [True, False, False, False]
    out = checks.make_check("hand_depth_back", 0.3, "out")
    assert (verdict_words(out), is_marked(out)) == ("out of range", True)
    # Out of its range, but the reference does the same: it is not the thing to work on.
    same = checks.make_check("hand_depth_back", 0.3, "out", reference=0.3)
    assert (verdict_words(same), is_marked(same)) == ("alike", False)
    camera = checks.make_check("camera_setup", 1.0, "out", unit="findings")
    assert verdict_words(camera) == "put it right"
    camera = replace(camera, verdict="in", sentence="The camera can be used; it could stand better.")
    assert verdict_words(camera) == "could be better"
    assert verdict_words(replace(camera, sentence="The camera stands as it should.")) == "good"


def test_filming_says_what_is_wrong_and_what_to_do(html: str) -> None:
    text = Page(html).words
    for said in (
        "put it right",
        "could be better",
        "The lens stands 20 cm outside.",
        "Move it 20 cm.",
        "Lower it.",
        "The picture is level.",
        "The light was not seen.",
        "The two cameras differ.",
        "His lens stands further outside.",
    ):
        assert said in text, said
    assert "Both are level." not in text


def test_ball_and_strike_are_a_sentence(html: str, comparison: Any) -> None:
    text = Page(html).words
    assert "Mara: The ball was struck. The ball is gone at impact and a click is heard." in text
    assert "Tomas: No ball was struck: a rehearsal swing." in text
    impact_s = comparison.student.positions.times()["impact"]
    # 1.96 × 4 ms.
    assert f"Strike at {impact_s:.3f} s ± 8 ms (95" in text
    assert strike_text(factory.make_swing()) == ""


def test_everything_is_optional(comparison: Any) -> None:
    bare = replace(
        comparison,
        student=factory.make_swing(),
        reference=factory.make_swing(lean=5.0),
        checklist=None,
        filming=None,
        camera_match=(),
    )
    text = Page(report_html(bare, **SOURCES)).words
    for heading in ("What to work on first", "Checklist", "Filming"):
        assert heading not in text
    text = Page(inspection_html(factory.make_swing(), source=Source())).words
    assert "The nine positions" in text
    for heading in ("What to work on first", "Checklist", "Filming", "Ball and strike"):
        assert heading not in text
    # What could not be drawn is said.
    assert "The shaft plane line could not be drawn: the shaft was not looked for" in text


def test_the_report_of_one_swing_stands_alone(one: str, tmp_path: Path) -> None:
    page = Page(one)
    assert not {tag for tag, _ in page.tags} & {"script", "link", "iframe", "object", "embed", "form", "base"}
    assert "//" not in re.sub(r"data:image/jpeg;base64,[A-Za-z0-9+/=]+", "", one)
    for said in (
        "Work on this first",
        "out of range",
        "Ball and strike",
        "Filming",
        "the finish is hidden by the body",
        "Light was low.",
        "The shaft is measured in 100% of the frames",
        "Pain means stop",
        "not the same as wrong",
    ):
        assert said in page.words, said
    assert "reference" not in page.words.lower()
    # Nine positions less the missing one, three readings, and the first of them again at the top.
    assert sum(tag == "img" for tag, _ in page.tags) == 8 + 3 + 1
    out = write_inspection_report(factory.make_swing(), tmp_path / "one.html", source=Source(label="Mara"))
    assert out.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError):
        write_inspection_report(factory.make_swing(), tmp_path / "file" / "one.html", source=Source())


def test_hostile_words_are_only_text() -> None:
    check = replace(checks.make_check("hand_depth_back", 0.2, "out"), title=HOSTILE, sentence=HOSTILE)
    checklist = Checklist((check,), FirstThing(HOSTILE, check, HOSTILE, HOSTILE, HOSTILE), HOSTILE, (HOSTILE,))
    finding = FilmingFinding(HOSTILE, 1.0, HOSTILE, None, "fail", HOSTILE, HOSTILE)
    html = inspection_html(
        factory.make_swing(),
        source=Source(label=HOSTILE),
        checklist=checklist,
        filming=FilmingReport((finding,)),
    )
    page = Page(html)
    assert not {tag for tag, _ in page.tags} & {"script"}
    assert all(not name.startswith("on") for _, attributes in page.tags for name in attributes)
    assert page.text.count("<script>alert(1)</script>") >= 6


def test_what_is_switched_off_is_not_explained() -> None:
    swing = checks.with_club(factory.make_swing())
    off = ComposeOptions(guides=frozenset(), club=False)
    text = Page(inspection_html(swing, source=Source(), options=off)).words
    assert "guide lines" not in text
    assert "The shaft is solid" not in text
    text = Page(inspection_html(swing, source=Source())).words
    assert "guide lines" in text
    assert "The shaft is solid" in text


def test_a_check_without_a_tolerance_prints_none() -> None:
    check: Check = checks.make_check("hand_depth_back", 0.2, "in", tolerance=(float("-inf"), float("inf")))
    html = inspection_html(
        factory.make_swing(), source=Source(), checklist=Checklist((check,), FirstThing("Nothing was found."))
    )
    assert "<dt>Range</dt>" not in html


def test_a_swing_from_another_angle_has_no_lines_and_a_report() -> None:
    text = Page(inspection_html(factory.make_swing(view="other"), source=Source())).words
    assert "filmed from another angle" in text
    assert "could not be drawn" not in text


# On a phone -----------------------------------------------------------------------------------------------------------

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")

LOOK = """
document.getElementById('page').onload = function () {
  const doc = this.contentDocument, win = this.contentWindow, wide = [], small = [];
  for (const element of doc.body.querySelectorAll('*')) {
    const box = element.getBoundingClientRect(), style = win.getComputedStyle(element);
    if (box.width === 0 || element.tagName === 'STYLE') continue;
    if (box.right > WIDTH + 0.5) wide.push(element.tagName + ' ' + box.right);
    if (element.scrollWidth > element.clientWidth + 1 && ['auto', 'scroll'].includes(style.overflowX))
      wide.push('scrolls: ' + element.className);
    for (const node of element.childNodes) if (node.nodeType === 3 && node.data.trim()) {
      let px = parseFloat(style.fontSize);
      const svg = element.closest('svg');
      if (svg) px *= svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
      if (px < 15.99) small.push(px.toFixed(1) + ' ' + node.data.trim().slice(0, 30));
    }
  }
  document.getElementById('told').textContent = JSON.stringify({wide: wide, small: small});
};
"""


def looked_at(page: str, folder: Path, width: int = 390) -> dict[str, list[str]]:
    """What a browser says of a page so many px wide: what reaches beyond it, and text under 16 px."""
    assert BROWSER is not None
    # The page itself forbids scripts, so the copy that is looked at must not.
    page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    page = page.replace("<details", "<details open")
    frame = (
        f'<iframe id="page" style="width:{width}px;height:2000px;border:0" srcdoc="{entities.escape(page)}"></iframe>'
    )
    outer = folder / "outer.html"
    outer.write_text(
        f'<body style="margin:0">{frame}<pre id="told"></pre><script>{LOOK.replace("WIDTH", str(width))}</script>',
        encoding="utf-8",
    )
    command = [BROWSER, "--headless", "--no-sandbox", "--disable-gpu", f"--user-data-dir={folder / 'profile'}",
               "--virtual-time-budget=8000", "--dump-dom", outer.as_uri()]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=False)
    found = re.search(r'<pre id="told">(.+?)</pre>', done.stdout, re.DOTALL)
    if found is None:
        pytest.skip("the browser does not run here")
    told: dict[str, list[str]] = json.loads(entities.unescape(found.group(1)))
    return told


@pytest.mark.skipif(BROWSER is None, reason="needs a browser")
@pytest.mark.parametrize("which", ["comparison", "one"])
def test_a_phone_shows_it_without_scrolling_sideways(which: str, html: str, one: str, tmp_path: Path) -> None:
    told = looked_at(html if which == "comparison" else one, tmp_path)
    assert told == {"wide": [], "small": []}


@pytest.mark.skipif(BROWSER is None, reason="needs a browser")
def test_the_phone_test_sees_what_is_wrong(one: str, tmp_path: Path) -> None:
    spoiled = one.replace("<main>", '<main><p style="font-size:12px;width:700px">too small and too wide</p>')
    told = looked_at(spoiled, tmp_path)
    assert told["wide"]
    assert told["small"]
