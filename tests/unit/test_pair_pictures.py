"""Both views in one video, on one sheet and in one report, drawn from tracks without clips."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import numpy as np
import pytest
from check_factory import make_checklist
from comparison_factory import make_comparison, make_swing

from overlay.compose import ComposeOptions, Source
from overlay.compose.pairs import (
    PairCanvas,
    compose_pair_sheet,
    differing,
    pair_sheet,
    pair_stills,
    plan_pair,
    render_pair_video,
    shown_swings,
)
from overlay.data import Comparison, FirstThing, Measure, Model, Provenance, Swing, TimeMap, ViewPair
from overlay.errors import InputError, MismatchError
from overlay.report.pairs import pair_html, section_of, write_pair_report
from overlay.settings.draw import DRAW
from overlay.terms import View

AHEAD_S = 0.25
MEASURES = (
    Measure("shoulder_turn_top", 92.4, "deg", (81.0, 103.0), position="top"),
    Measure("stance_width_space", 0.912, "torso", (0.84, 0.99), position="address"),
    Measure("pelvis_open_impact", float("nan"), "deg", None, False, "the hips are hidden", position="impact"),
)


def make_pair(one_swing: bool = True) -> ViewPair:
    dtl, fo = make_swing(), make_swing(view="fo", start_s=AHEAD_S)
    ends = np.array([dtl.start_s, dtl.stop_s])
    return ViewPair(
        dtl, fo, TimeMap(ends, ends + AHEAD_S), one_swing, 0.004, ("One swing under two cameras.",), MEASURES
    )


def comparisons(pair: ViewPair) -> dict[View, Comparison]:
    return {
        "dtl": make_comparison(pair.dtl, make_swing(start_s=0.7, length_s=1.2)),
        "fo": make_comparison(pair.fo, make_swing(view="fo", start_s=0.1, length_s=1.2)),
    }


ALONE: dict[View, tuple[Source, ...]] = {"dtl": (Source(label="Rowan"),), "fo": (Source(label="Rowan"),)}
BOTH: dict[View, tuple[Source, ...]] = {view: (Source(label="Rowan"), Source(label="Best")) for view in ("dtl", "fo")}


def test_both_students_are_shown_at_one_instant() -> None:
    pair = make_pair()
    plan = plan_pair({}, pair, ComposeOptions())
    dtl_s, fo_s = plan.times_s["dtl"][0], plan.times_s["fo"][0]
    assert fo_s - dtl_s == pytest.approx(AHEAD_S)
    assert np.all(np.diff(dtl_s) >= 0)
    # Held at every position, which is that of both views.
    held = {name for name in plan.held if name is not None}
    assert held == {position.name for position in shown_swings(pair)["dtl"].positions.found}
    assert len(plan) == len(plan.held)


def test_references_follow_their_own_student() -> None:
    pair = make_pair()
    told = comparisons(pair)
    plan = plan_pair(told, pair, ComposeOptions(hold_s=0.0))
    for view in ("dtl", "fo"):
        student_s, reference_s = plan.times_s[view]  # type: ignore[index]
        assert reference_s == pytest.approx(told[view].time_map.to_reference(student_s))  # type: ignore[index]
    slow = plan_pair(told, pair, ComposeOptions(hold_s=0.0, speed=0.5))
    assert len(slow) == pytest.approx(2 * len(plan), abs=2)


def test_only_what_both_clips_show_is_played() -> None:
    pair = make_pair()
    later = make_swing(view="fo", start_s=AHEAD_S)
    cut = dataclasses.replace(later, pose=later.pose.between(AHEAD_S + 0.2, 10.0))
    plan = plan_pair({}, dataclasses.replace(pair, fo=cut), ComposeOptions(hold_s=0.0))
    assert plan.times_s["dtl"][0][0] == pytest.approx(0.2, abs=0.01)


@pytest.mark.parametrize(("given", "match"), [({"speed": 0.0}, "speed of 0"), ({"hold_s": -1.0}, "held for -1")])
def test_options_that_cannot_be_played(given: dict[str, float], match: str) -> None:
    with pytest.raises(InputError, match=match):
        plan_pair({}, make_pair(), ComposeOptions(**given))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("layout", "rows"),
    [("side by side", ("student", "reference")), ("ghost", ("ghost",)), ("both", ("student", "ghost"))],
)
def test_layouts_stand_under_each_other(layout: str, rows: tuple[str, ...]) -> None:
    pair = make_pair()
    options = ComposeOptions(layout=layout)  # type: ignore[arg-type]
    told = comparisons(pair)
    plan = plan_pair(told, pair, options)
    canvas = PairCanvas(told, BOTH, pair, plan, options, None)
    assert canvas.width % 2 == 0
    assert canvas.height % 2 == 0
    for view in canvas.views:
        assert set(rows) <= set(view.boxes)
    times = {"dtl": (1.0, 1.2), "fo": (1.25, 1.0)}
    nothing = {"dtl": (None, None), "fo": (None, None)}
    first = canvas.draw(times, nothing, None, 1.0).copy()  # type: ignore[arg-type]
    assert canvas.is_new
    canvas.draw(times, nothing, None, 1.0)  # type: ignore[arg-type]
    assert not canvas.is_new
    moved = canvas.draw({"dtl": (1.0, 1.2), "fo": (1.35, 1.1)}, nothing, None, 1.0)  # type: ignore[arg-type]
    changed = np.any(moved != first, axis=(0, 2))
    left = canvas.views[0].size[0]
    # Only the face-on column moved.
    assert not changed[:left].any()
    assert changed[left:].any()


def test_the_video_is_written_whole(tmp_path: Path) -> None:
    from overlay.video import open_clip

    pair = make_pair()
    first = FirstThing("Work on this first: the sway (row 5). It is 0.2.", None)
    out = render_pair_video({}, ALONE, pair, tmp_path / "both.mp4", first=first, options=ComposeOptions(hold_s=0.1))
    plan = plan_pair({}, pair, ComposeOptions(hold_s=0.1))
    with open_clip(out) as reader:
        assert reader.clip.n_frames == len(plan)
        assert reader.clip.width > reader.clip.height * 0.6
        picture = reader.frame_at(reader.clip.duration_s / 2).image
    assert picture.std() > 20


def test_every_view_needs_its_pictures(tmp_path: Path) -> None:
    pair = make_pair()
    with pytest.raises(MismatchError, match="no pictures of the student face on"):
        render_pair_video({}, {"dtl": ALONE["dtl"]}, pair, tmp_path / "x.mp4")
    told = comparisons(pair)
    with pytest.raises(MismatchError, match="given as one filmed face on"):
        pair_stills({"fo": told["dtl"]}, BOTH, pair)
    assert not (tmp_path / "x.mp4").exists()


def test_the_sheet_holds_both_views_and_their_measures(tmp_path: Path) -> None:
    pair = make_pair()
    stills = pair_stills({}, ALONE, pair, height_px=120)
    assert stills.rows[0].name == "address"
    top = next(row for row in stills.rows if row.name == "top")
    assert [measure.name for measure in top.measures] == ["shoulder_turn_top"]
    assert all(cell[1] is not None and cell[1].image is not None for cell in top.cells)
    # Of one swing both stills are at one instant.
    times = [cell[1].time_s for cell in top.cells if cell[1] is not None]
    assert times[1] - times[0] == pytest.approx(AHEAD_S, abs=1e-6)
    bare = compose_pair_sheet(stills, dataclasses.replace(pair, measures=()), None, DRAW)
    out = pair_sheet({}, ALONE, pair, tmp_path / "both.png", stills=stills)
    assert out.stat().st_size > 1000
    assert bare.shape[1] > 2 * stills.sizes[0][0] * 0.9


def test_what_differs_is_said_view_by_view() -> None:
    told = comparisons(make_pair())["dtl"]
    text = differing(told, "downswing")
    # The clearest first, each size said once.
    rows = [row for row in told.differences if row.phase == "downswing" and row.words in ("moderate", "small")]
    assert {row.words for row in rows} == {"moderate", "small"}
    assert text.startswith("Differs: ")
    assert text.count("(small)") == text.count("(moderate)") == 1
    assert text.index("(moderate)") < text.index("(small)")
    assert all(row.part.replace("_", " ") in text for row in rows)
    assert differing(None, "downswing") == ""
    assert differing(told, None) == ""
    assert differing(make_comparison(same=True), "downswing") == "No difference detected"


def test_the_report_stands_alone_and_names_each_section_once(tmp_path: Path) -> None:
    pair = make_pair()
    told = comparisons(pair)
    html = pair_html(told, pair, sources=BOTH)
    assert "92°" in html
    assert "81 to 103" in html
    assert "0.91" in html
    assert "the hips are hidden" in html
    assert "One swing under two cameras" in html
    assert not re.search(r'(?:src|href)="(?!data:|#)', html)
    titles = re.findall(r'<h2 id="([^"]+)"', html)
    assert len(titles) == len(set(titles))
    names = re.findall(r' id="([^"]+)"', html)
    assert {"dtl-stills", "fo-stills", "space", "care"} <= set(names)
    assert html.count("</main>") == 1
    pointed = set(re.findall(r'href="#([^"]+)"', html)) | set(re.findall(r"url\(#([^)]+)\)", html))
    assert pointed
    assert pointed <= set(names)
    out = write_pair_report({}, make_pair(one_swing=False), tmp_path / "both.html", sources=ALONE)
    assert "two swings of the same player" in out.read_text(encoding="utf-8")


def test_the_label_of_a_model_goes_with_it_into_video_and_report() -> None:
    pair = make_pair()
    bare = comparisons(pair)
    swings: dict[View, Swing] = {view: bare[view].reference for view in ("dtl", "fo")}
    model = Model("mid_iron", "swing", swings, provenance=Provenance(label="Illustrative template, not a norm."))
    told: dict[View, Comparison] = {
        view: dataclasses.replace(each, reference_model=model) for view, each in bare.items()
    }
    head = pair_html(told, pair, sources=BOTH).split("</header>")[0]
    assert "Illustrative template, not a norm." in head
    options = ComposeOptions(layout="both")
    times = {"dtl": (1.0, 1.2), "fo": (1.25, 1.0)}
    images = []
    for each in (bare, told):
        canvas = PairCanvas(each, BOTH, pair, plan_pair(each, pair, options), options, None)
        images.append(canvas.draw(times, {"dtl": (None, None), "fo": (None, None)}, None, 1.0).copy())  # type: ignore[arg-type]
        assert (canvas.views[0].caption is None) == (each is bare)
    assert np.any(images[0] != images[1]), "beside a ghost alone the label stands in the ghost's pane"


def test_what_comes_first_in_the_report_is_that_of_both_views() -> None:
    pair = make_pair()
    one = make_checklist()
    html = pair_html({}, pair, sources=ALONE, checklists={"dtl": one, "fo": one})
    assert html.count("What to work on first") == 1
    if one.first.check is not None:
        assert "Seen down the line" in html


def test_names_from_outside_are_escaped() -> None:
    bad: dict[View, tuple[Source, ...]] = {view: (Source(label="<script>x</script>"),) for view in ("dtl", "fo")}
    html = pair_html({}, make_pair(), sources=bad)
    assert "<script>" not in html


def test_a_section_loses_title_first_box_and_care() -> None:
    page = (
        '<body><main><header><h1>x</h1></header><section class="first" aria-labelledby="first">a</section>'
        '<section aria-labelledby="stills"><h2 id="stills">s</h2></section>'
        '<section aria-labelledby="care">c</section><p>Made by</p></main></body>'
    )
    assert section_of(page, "fo") == '<section aria-labelledby="fo-stills"><h2 id="fo-stills">s</h2></section>'
