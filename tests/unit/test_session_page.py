"""The page of a session says what is kept, escapes what was typed, loads nothing; and so does its picture."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from season_factory import FOCUS, PLAYER, fill_season, real_swing

from overlay.data import Session
from overlay.errors import InputError, OutputError
from overlay.library import Store, SwingFilter, open_store
from overlay.pipeline.session_pages import session_page, write_session_page
from overlay.pipeline.trend_pictures import part_repeats, repeats_picture, sheet_picture, trend_picture
from overlay.plots.blocks import Gallery, Rows, Words, draw_blocks
from overlay.report.sessions import MeasureLine, SeenPart, SessionPage, session_html, session_picture


class Page(HTMLParser):
    """Texts and tags of a document."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self._hidden = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._hidden += tag == "style"

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._hidden and data.strip():
            self.texts.append(" ".join(data.split()))

    @property
    def text(self) -> str:
        return " ".join(self.texts)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Store, list[int]]]:
    folder = tmp_path_factory.mktemp("season")
    with open_store(folder / "library.sqlite") as store:
        ids = fill_season(store, folder)
        store.mark_best(real_swing(store, ids[0]))
        store.add_note("session", ids[-1], "Rain from <4> pm & wind.")
        store.add_note("swing", real_swing(store, ids[-1]), "The one to keep.")
        store.tag("session", ids[-1], "rain")
        yield store, ids


@pytest.fixture(scope="module")
def written(kept: tuple[Store, list[int]], tmp_path_factory: pytest.TempPathFactory) -> tuple[Page, str, Path]:
    store, ids = kept
    folder = tmp_path_factory.mktemp("page") / "new folder"
    html, png = write_session_page(store, ids[-1], folder)
    assert html.parent == folder
    text = html.read_text(encoding="utf-8")
    return Page(text), text, png


def test_the_page_says_who_when_what_and_how_many(written: tuple[Page, str, Path]) -> None:
    text = written[0].text
    assert PLAYER in text
    assert "Tuesday, 8 April 2031 · 7 iron · Larkspur Range" in text
    assert "6 swings in 7 clips, 1 of which could not be read" in text
    assert "Nobody is seen." in text
    assert "Film in <i>daylight</i>." in text
    assert "hips <script>alert(1)</script>" in text
    assert "to be further from the ball" in text
    assert "3 of 6 swings" in text
    assert "Rain from <4> pm & wind." in text
    assert "The one to keep." in text
    assert "rain" in written[0].texts


def test_the_focus_has_its_verdict_and_its_trend(
    written: tuple[Page, str, Path], kept: tuple[Store, list[int]]
) -> None:
    store, ids = kept
    series = store.series(PLAYER, FOCUS, view="dtl")
    means = [float(np.mean(series.of_session(id))) for id in ids]
    change = float(np.mean(means[5:]) - np.mean(means[:5]))
    text = written[0].text
    assert change == pytest.approx(-0.3, abs=0.03)
    assert "● Holding" in text
    assert f"Since 29 Mar: {-change:.2f} torso lengths further from the ball (95 %: 0.2" in text
    assert sum(tag == "svg" for tag, _ in written[0].tags) == 4  # the trend and what repeats, wide and narrow


def test_what_was_typed_is_text_and_nothing_is_loaded(written: tuple[Page, str, Path]) -> None:
    page, html, _ = written
    assert "<script" not in html
    assert "<b>Sparrow" not in html
    assert "<i>daylight" not in html
    for tag, attributes in page.tags:
        assert tag not in ("script", "link", "iframe", "object")
        for name, value in attributes.items():
            assert not name.startswith("on")
            if name in ("src", "href", "xlink:href") and value:
                assert value.startswith(("data:image/", "#"))
    assert not re.findall(r"https?://|url\((?!#)|@import", html)
    assert ("meta", "default-src 'none'; img-src data:; style-src 'unsafe-inline'") in [
        (tag, attributes.get("content")) for tag, attributes in page.tags
    ]


def test_ids_on_the_page_are_its_own(written: tuple[Page, str, Path]) -> None:
    ids = [attributes["id"] for tag, attributes in written[0].tags if attributes.get("id") and tag == "section"]
    clips = re.findall(r'<clipPath id="([^"]+)"', written[1])
    assert len(clips) == len(set(clips))
    assert len(ids) == len(set(ids))


def test_care_for_people_is_on_it(written: tuple[Page, str, Path]) -> None:
    text = written[0].text
    for said in ("Pain means stop", "no medical advice", "low-back pain", "two club lengths", "guardian for minors"):
        assert said in text


def test_measures_stand_beside_the_last_session_and_the_best(kept: tuple[Store, list[int]]) -> None:
    store, ids = kept
    page = session_page(store, store.session(ids[-1]))
    (part,) = page.seen
    line = next(line for line in part.measures if line.name == FOCUS)
    series = store.series(PLAYER, FOCUS, view="dtl")
    assert line.n == 6
    assert line.mean == pytest.approx(float(np.mean(series.of_session(ids[-1]))))
    assert line.last == pytest.approx(float(np.mean(series.of_session(ids[-2]))))
    assert line.repeat is not None
    assert line.repeat.sd == pytest.approx(float(np.std(series.of_session(ids[-1]), ddof=1)))
    best = next(one.value for one in store.measures_of(real_swing(store, ids[0])) if one.name == FOCUS)
    assert line.best == pytest.approx(best)
    assert part.last_day == datetime.date(2031, 4, 3)
    assert page.trend is not None
    assert page.trend.series.reference is not None
    assert page.trend.series.reference[0] == pytest.approx(best)
    assert page.trend.reference_name == "best"


def test_parts_that_vary_more_are_named_as_least_repeatable(kept: tuple[Store, list[int]]) -> None:
    store, ids = kept
    (part,) = session_page(store, store.session(ids[-1])).seen
    ordered = sorted(part.repeats, key=lambda repeat: repeat.sd)
    assert (ordered[0].row, ordered[0].column) == ("hands", "takeaway")
    assert (ordered[-1].row, ordered[-1].column) == ("trail leg", "release")
    assert ordered[-1].df == 2 * (6 - 1)
    assert part_repeats(store, store.swings(SwingFilter(sessions=(ids[0],)))) == ()


def test_a_session_without_focus_or_swings_has_a_page_too(kept: tuple[Store, list[int]], tmp_path: Path) -> None:
    store, ids = kept
    page = session_page(store, store.session(ids[0]))
    assert page.trend is None
    assert "No focus measure was declared" in page.trend_note
    empty = store.ensure_session(store.player(PLAYER).id, datetime.date(2032, 1, 2), "driver")
    try:
        html, png = write_session_page(store, empty.id, tmp_path)
        assert "0 swings in 0 clips" in html.read_text(encoding="utf-8")
        assert png.stat().st_size > 1000
    finally:
        store.remove_session(empty.id)


def test_a_clip_that_is_gone_leaves_its_drawn_figure(kept: tuple[Store, list[int]]) -> None:
    store, ids = kept
    page = session_page(store, store.session(ids[2]))
    assert page.swing is not None
    assert "is no longer where it was: the drawn figure stands in for it" in page.swing.note
    assert "none of this session is marked as best" in page.swing.title
    assert sum(still.image is not None for still in page.swing.stills.stills) >= 7


def test_the_picture_holds_the_same_and_is_as_wide_as_a_phone(written: tuple[Page, str, Path]) -> None:
    from PIL import Image

    image = Image.open(written[2])
    assert image.size[0] == 780
    assert image.size[1] > 4000


def test_a_page_can_be_dark(kept: tuple[Store, list[int]]) -> None:
    bare = SessionPage(Session(1, 1, "Robin", datetime.date(2031, 5, 3)))
    assert session_picture(bare, dark=True)[2, 2].max() < 60 < 200 < session_picture(bare)[2, 2].min()


def test_a_measure_that_stayed_is_said_to_be_the_same() -> None:
    session = Session(1, 1, "Robin", datetime.date(2031, 5, 3))
    line = MeasureLine("shaft_to_spine_down", "deg", 4, 61.0, None, 60.8, 55.0)
    part = SeenPart("dtl", 4, (line,), last_day=datetime.date(2031, 5, 1), best_name="swing 3 of 1 May")
    text = Page(session_html(SessionPage(session, seen=(part,)))).text
    assert "the same" in text
    assert "6° wider" in text
    assert "too few swings" in text


def test_what_cannot_be_written_or_found_is_told(kept: tuple[Store, list[int]], tmp_path: Path) -> None:
    store, ids = kept
    with pytest.raises(InputError, match="session 99999"):
        write_session_page(store, 99999, tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="in the way"):
        write_session_page(store, ids[0], tmp_path / "file")


def test_blocks_wrap_to_the_width_and_never_run_out_of_it() -> None:
    long = "word " * 60
    image = draw_blocks([Words(long), Rows((("name " * 20, (("label", "value " * 30),)),))])
    assert image.shape[1] == 780
    margin = image[:, -20:]
    assert margin.min() > 240
    assert draw_blocks([Words(long), Words(long)]).shape[0] > draw_blocks([Words(long)]).shape[0]
    still = np.zeros((40, 30, 3), np.uint8)
    assert draw_blocks([Gallery(((still, "one"), (None, "not found")))]).min() < 20


# --- pictures from the library ----------------------------------------------------------------------------------


def test_a_trend_from_the_library_has_its_verdict_only_where_a_change_was_declared(
    kept: tuple[Store, list[int]],
) -> None:
    store, ids = kept
    declared = trend_picture(store, PLAYER, FOCUS)
    assert declared.answers[0].holding.word == "holding"
    assert "Holding." in declared.sentence
    plain = trend_picture(store, PLAYER, "hand_depth_back")
    assert plain.answers == ()
    assert plain.trends[0].since is None
    since = store.session(ids[5]).date
    assert trend_picture(store, PLAYER, "hand_depth_back", since=since).answers[0].since == since
    with pytest.raises(InputError, match="no measure nothing"):
        trend_picture(store, PLAYER, "nothing")


def test_the_sheet_holds_every_measure_of_the_view(kept: tuple[Store, list[int]]) -> None:
    store, _ = kept
    made = sheet_picture(store, PLAYER, form="svg")
    names = {name for name, _, view, _ in store.measure_names(PLAYER) if view == "dtl"}
    assert {trend.series.name for trend in made.trends} == names
    with pytest.raises(InputError, match="face on"):
        sheet_picture(store, PLAYER, view="fo")


def test_what_repeats_comes_from_comparisons_and_from_measures_without(kept: tuple[Store, list[int]]) -> None:
    store, ids = kept
    assert "hands in the takeaway" in repeats_picture(store, PLAYER, form="svg").sentence
    last = store.session(ids[-1]).date
    with pytest.raises(InputError, match="No such swing"):
        repeats_picture(store, PLAYER, since=last + datetime.timedelta(days=1))
