"""Pictures of change: what is drawn is what was measured, and it can be read on a page and on a phone."""

from __future__ import annotations

import datetime
import io
import math
import re
import sys
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from record_factory import answer_of, holding_answer, means_of, season, series_of

from overlay.data.record import MeasureSeries
from overlay.draw.palette import contrast
from overlay.errors import DataError
from overlay.plots import (
    DESKTOP,
    PHONE,
    Repeat,
    Trend,
    caption,
    measure_words,
    repeatability_chart,
    repeatability_sentence,
    standalone_svg,
    trend_chart,
    trend_sheet,
)
from overlay.plots.blocks import rgb
from overlay.plots.canvas import DARK, LIGHT, Theme
from overlay.plots.season import dated, looking_lines, moved_apart, pause_words, tick_words, value_range
from overlay.plots.words import named_so
from overlay.stats import ewma_chart, individuals_chart


def texts(svg: bytes) -> list[str]:
    return ["".join(element.itertext()).strip() for element in ElementTree.fromstring(svg).iter("text")]


def picture(png: bytes) -> np.ndarray:
    from PIL import Image

    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB"))


def test_the_verdict_stands_in_the_title_and_the_day_in_the_picture() -> None:
    said = texts(trend_chart(holding_answer(), form="svg", size=DESKTOP))
    assert "● Holding" in said
    assert "Hips on their line, release" in said
    assert "Since 31 Mar: 0.12 torso lengths further from the ball (95 %: 0.07 to 0.17)" in said
    assert "since 31 Mar" in said
    assert "before" in said
    assert any("towards the ball" in text and "torso lengths" in text for text in said)


def test_the_levels_beside_the_chart_are_the_means_of_session_means() -> None:
    answer = holding_answer()
    said = texts(trend_chart(answer, form="svg"))
    before = np.mean([mean.mean for mean in answer.means[:5]])
    since = np.mean([mean.mean for mean in answer.means[5:]])
    assert {f"{before:.2f}", f"{since:.2f}", "0.02"} <= set(said)


def test_every_swing_is_a_dot_and_none_is_lost_to_the_edge() -> None:
    answer = holding_answer()
    svg = trend_chart(answer, form="svg", looking=False).decode()
    groups = re.findall(r'<g id="PathCollection_\d+">.*?</g>\s*</g>', svg, flags=re.DOTALL)
    assert sum(group.count("<use ") for group in groups) == len(answer.series.value)


def test_a_swing_far_outside_is_told_at_the_edge_and_does_not_flatten_the_rest() -> None:
    sessions = season(4)
    series = series_of(sessions, [0.1] * 4)
    value = np.array(series.value)
    value[5] = 4.0
    far = MeasureSeries(
        series.name, "torso", "dtl", series.swing_id, series.session_id, value, series.low, series.high, sessions
    )
    trend = Trend.of_series(far, means_of(series))
    low, high = value_range(trend)
    assert high - low < 0.5
    assert "▲ 4.00" in texts(trend_chart(trend, form="svg"))


def test_noise_is_never_blown_up_to_fill_the_axis() -> None:
    sessions = season(3)
    low, high = value_range(Trend.of_series(series_of(sessions, [70.0] * 3, sd=0.01, unit="deg"), ()))
    assert high - low >= 6.0


def test_the_interval_of_two_swings_does_not_set_the_axis() -> None:
    sessions = season(3)
    series = series_of(sessions, [0.1] * 3, n=2, sd=0.1)
    trend = Trend.of_series(series, means_of(series))
    low, high = value_range(trend)
    widest = max(mean.interval[1] - mean.interval[0] for mean in trend.means)
    assert widest > high - low
    assert high - low < 2.5 * float(np.ptp(series.value))


def test_the_lines_for_looking_are_the_charts_of_the_standards() -> None:
    trend = Trend.of(holding_answer())
    means = [mean.mean for mean in trend.means]
    lines = looking_lines(trend)
    assert lines is not None
    limits = individuals_chart(means[:5])
    assert lines[1:] == (limits.lower, limits.upper)
    sd = (limits.upper - limits.centre) / 3
    assert lines[0] == pytest.approx(ewma_chart(means, weight=0.3, centre=limits.centre, sd=sd).points)


def test_two_sessions_before_have_no_usual_range() -> None:
    sessions = season(6)
    series = series_of(sessions, [0.1] * 6)
    assert looking_lines(Trend.of(answer_of(series, "not holding", sessions[2].date))) is None


@pytest.mark.parametrize("n", [1, 2, 7, 23, 60])
@pytest.mark.parametrize("width", [240.0, 800.0])
def test_dates_do_not_lie_over_each_other_and_the_change_has_its_own(n: int, width: float) -> None:
    days = [session.date for session in season(n, (1, 5, 40))]
    first = n // 2
    shown = dated(days, width / n, 14, first)
    assert first in shown
    gaps = np.diff(shown) * width / n
    assert np.all(gaps >= 50)


def test_a_pause_is_told_and_a_session_without_a_value_is_not_hidden() -> None:
    sessions = season(6, (3, 3, 150, 3, 3))
    series = series_of(sessions, [0.1] * 6, silent=(4,))
    said = texts(trend_chart(Trend.of_series(series, means_of(series)), form="svg"))
    assert "5 months" in said
    assert said.count("×") == 2  # in the chart and in the legend
    assert "session without a value" in said
    assert pause_words(35) == "5 weeks"


def test_a_season_of_one_swing_and_one_of_nothing_are_drawn() -> None:
    sessions = season(1)
    one = series_of(sessions, [0.1], n=1)
    empty = series_of(sessions, [0.1], silent=(0,))
    for series in (one, empty):
        assert trend_chart(Trend.of_series(series, means_of(series)), size=PHONE)[:8] == b"\x89PNG\r\n\x1a\n"


@pytest.mark.parametrize("size", [PHONE, DESKTOP])
def test_a_png_is_as_wide_as_its_screen_and_dark_where_asked(size: object) -> None:
    light = picture(trend_chart(holding_answer(), form="png", size=size))  # type: ignore[arg-type]
    dark = picture(trend_chart(holding_answer(), form="dark png", size=size))  # type: ignore[arg-type]
    assert light.shape[1] == round(size.width * size.scale)  # type: ignore[attr-defined]
    assert light[3, 3].min() > 240 > 60 > dark[3, 3].max()


def test_svg_follows_the_page_and_carries_no_address() -> None:
    svg = trend_chart(holding_answer(), form="svg", salt="one").decode()
    assert svg.startswith("<svg")
    assert "http" not in svg
    assert "#0102" not in svg
    assert {"currentColor", "var(--student", "var(--card"} <= set(
        re.findall(r"currentColor|var\(--student|var\(--card", svg)
    )
    other = trend_chart(holding_answer(), form="svg", salt="two").decode()
    ids = [set(re.findall(r'clipPath id="([^"]+)"', text)) for text in (svg, other)]
    assert ids[0]
    assert not ids[0] & ids[1]
    assert trend_chart(holding_answer(), form="svg", salt="one").decode() == svg


def test_a_long_season_stays_small_in_a_page() -> None:
    sessions = season(30)
    series = series_of(sessions, [0.1] * 30, n=400)
    svg = trend_chart(Trend.of_series(series, means_of(series)), form="svg", size=PHONE)
    assert len(svg) < 400_000
    assert b"data:image/png;base64" in svg


def test_a_file_of_its_own_has_colours_of_its_own() -> None:
    text = standalone_svg(trend_chart(holding_answer(), form="svg")).decode()
    assert 'xmlns="http://www.w3.org/2000/svg"' in text
    assert "currentColor" not in text
    assert "var(" not in text
    assert ElementTree.fromstring(text).tag.endswith("svg")
    assert "#1a1e26" in standalone_svg(trend_chart(holding_answer(), form="svg"), dark=True).decode()


def colours(theme: Theme) -> dict[str, tuple[int, int, int]]:
    return {name: rgb(getattr(theme, name)) for name in ("ink", "paper", "player", "reference")}


@pytest.mark.parametrize("theme", [LIGHT, DARK])
def test_words_and_marks_are_seen_by_everybody(theme: Theme) -> None:
    # WCAG 2.1, 1.4.3: 4.5 for text; 1.4.11: 3 for marks.
    known = colours(theme)
    for name in ("ink", "player", "reference"):
        assert contrast(known[name], known["paper"]) >= 4.5
    # Before and since differ in brightness, which every kind of colour vision keeps.
    assert contrast(known["ink"], known["player"]) >= 1.5
    # Along blue and yellow, which red-green blind people keep: the player's colour is yellowish, the reference's blue.
    for name, sign in (("player", 1), ("reference", -1)):
        red, green, blue = known[name]
        assert sign * ((red + green) / 2 - blue) > 60


def test_figures_and_pages_have_the_same_colours() -> None:
    import overlay.report

    style = (Path(overlay.report.__file__).parent / "_style.html").read_text(encoding="utf-8")
    light, _, dark = style.partition("prefers-color-scheme: dark")
    for part, theme in ((light, LIGHT), (dark, DARK)):
        found = dict(re.findall(r"--(card|ink|student|reference): (#[0-9a-f]{6})", part))
        assert found == {
            "card": theme.paper,
            "ink": theme.ink,
            "student": theme.player,
            "reference": theme.reference,
        }


def test_names_cannot_break_out_of_a_picture() -> None:
    sessions = season(3)
    series = series_of(sessions, [0.1] * 3)
    evil = answer_of(series, "holding", sessions[1].date, title="<script>x</script> $\\frac{1}{2}$")
    svg = trend_chart(evil, form="svg")
    assert b"<script>" not in svg
    assert any("<script>x</script> $\\frac{1}{2}$" in text for text in texts(svg))


def test_what_is_wanted_where_sessions_are_too_few() -> None:
    sessions = season(3)
    series = series_of(sessions, [0.1] * 3)
    trend = Trend.of(answer_of(series, "not enough sessions", sessions[2].date))
    assert trend.summary == "2 sessions before 14 Mar and 1 since: a verdict takes 3 and 2"
    assert caption(trend).startswith("Hips on their line, release over 3 sessions. Not enough sessions. 2 sessions")


def test_a_change_that_may_be_none_keeps_the_signs_of_its_interval() -> None:
    sessions = season(9)
    series = series_of(sessions, [0.1] * 9)
    trend = Trend.of(answer_of(series, "not holding", sessions[5].date, change=-0.01, half=0.04))
    assert trend.summary == "Since 29 Mar: 0.01 torso lengths further from the ball (95 %: −0.05 to +0.03)"


def test_years_are_told_where_there_are_several() -> None:
    sessions = season(9, first=datetime.date(2031, 12, 10))
    series = series_of(sessions, [0.1] * 9)
    assert "Since 4 Jan 2032" in Trend.of(answer_of(series, "holding", sessions[5].date)).summary


def test_ticks_say_where_they_are() -> None:
    assert tick_words([0.0, 0.025, 0.05], "fraction") == ["0.0 %", "2.5 %", "5.0 %"]
    assert tick_words([-10.0, 0.0], "deg") == ["−10°", "0°"]
    assert tick_words([0.0, 0.005], "torso") == ["0.000", "0.005"]


def test_labels_are_moved_apart_as_little_as_needed() -> None:
    assert moved_apart([5.0, 5.0], 2.0, (0.0, 10.0)) == pytest.approx([4.0, 6.0])
    assert moved_apart([9.9, 2.0], 2.0, (0.0, 9.0)) == [9.0, 2.0]


def test_the_sheet_begins_with_the_focus_and_names_every_measure() -> None:
    sessions = season(5)
    trends = [
        answer_of(series_of(sessions, [0.1] * 5, name=name), "holding", sessions[3].date, is_focus=focus)
        for name, focus in (("hand_depth_back", False), ("head_line_release", True), ("hips_line_release", False))
    ]
    said = texts(trend_sheet(trends, "Robin Sparrow, down the line", form="svg", size=PHONE))
    names = [text for text in said if text in ("Hand depth", "Head on its line", "Hips on their line")]
    assert names == ["Head on its line", "Hand depth", "Hips on their line"]
    assert "● Holding · the focus" in said
    with pytest.raises(DataError, match="no measures"):
        trend_sheet([], "Nobody")


def test_a_form_that_does_not_exist_is_refused() -> None:
    with pytest.raises(DataError, match="'jpg'"):
        trend_chart(holding_answer(), form="jpg")  # type: ignore[arg-type]


# --- repeatability ----------------------------------------------------------------------------------------------


def test_the_interval_of_a_spread_is_the_published_one() -> None:
    # NIST/SEMATECH e-Handbook 1.3.5.8 (chi-square test for the variance, GEAR.DAT): n = 100, s = 0.6278908e-2;
    # its 95 % interval follows from the quantiles 73.3611 and 128.4220 of 99 degrees of freedom.
    sd = 0.6278908e-2
    values = np.array([1.0, -1.0] * 50) * sd * math.sqrt(99 / 100)
    repeat = Repeat.of("gear", "", "torso", [values])
    assert repeat is not None
    assert repeat.sd == pytest.approx(sd)
    assert repeat.df == 99
    assert repeat.low == pytest.approx(sd * math.sqrt(99 / 128.4220), rel=1e-5)
    assert repeat.high == pytest.approx(sd * math.sqrt(99 / 73.3611), rel=1e-5)
    assert repeat.detectable == pytest.approx(1.959964 * math.sqrt(2) * sd, rel=1e-6)


def test_a_step_between_sessions_is_no_spread_within_them() -> None:
    still = Repeat.of("hands", "backswing", "torso", [[0.0, 0.1, 0.2], [5.0, 5.1, 5.2]])
    assert still is not None
    assert still.sd == pytest.approx(0.1)


def test_too_few_swings_have_no_spread() -> None:
    assert Repeat.of("hands", "backswing", "torso", [[1.0, 2.0], [1.0], [math.nan, 3.0, 3.1]]) is None


def parts() -> list[Repeat]:
    rng = np.random.default_rng(2)
    made = [
        Repeat.of(part, phase, "torso", [rng.normal(0, sd, 20)])
        for part, phase, sd in (("head", "takeaway", 0.01), ("hands", "takeaway", 0.03), ("hands", "release", 0.09))
    ]
    return [repeat for repeat in made if repeat is not None]


def test_the_most_and_the_least_repeatable_are_named() -> None:
    sentence = repeatability_sentence(parts())
    assert sentence.startswith("Most repeatable: head in the takeaway (varies by 0.0")
    assert "Least: hands in the release (0.0" in sentence or "Least: hands in the release (0.1" in sentence
    assert "told apart" not in sentence
    said = " ".join(texts(repeatability_chart(parts(), form="svg")))
    assert "Most repeatable: head in the takeaway" in said


def test_measures_of_one_unit_are_ranked_among_themselves_and_doubt_is_said() -> None:
    rng = np.random.default_rng(3)
    made = [
        Repeat.of(name, "", unit, [rng.normal(0, sd, 6)])
        for name, unit, sd in (("Hand depth", "torso", 0.03), ("Hips", "torso", 0.031), ("Spine", "deg", 2.0))
    ]
    repeats = [repeat for repeat in made if repeat is not None]
    said = texts(repeatability_chart(repeats, form="svg", size=PHONE))
    assert "With so few swings these two cannot" in " ".join(said)
    assert sum(text.startswith("Most repeatable") for text in said) == 1
    with pytest.raises(DataError, match="often enough"):
        repeatability_chart([])


def test_measures_are_spoken_of_as_the_checklist_does() -> None:
    assert measure_words("hips_line_release").less == "further from the ball"
    assert measure_words("hand_height_back").of == "of the way from the trail elbow up to the trail shoulder"
    assert measure_words("hands.backswing.x", "fo").plus == "towards the target"
    assert measure_words("tempo_ratio").title.startswith("Tempo")
    assert measure_words("a_new_one").title == "A new one"


def test_a_measure_is_found_by_what_it_is_called() -> None:
    names = ["hips_line_release", "tempo_ratio", "shaft_pointing_back", "shaft_pointing_down"]
    for said in ("Hips on their line", "hips on their LINE (Release, down the line)"):
        assert named_so(said, names) == ("hips_line_release",)
    assert named_so("Tempo, backswing to downswing", names) == ("tempo_ratio",)
    assert named_so("Where the shaft points", names) == ("shaft_pointing_back", "shaft_pointing_down")
    assert named_so("hips", names) == named_so(" ", names) == ()


def test_pyplot_is_never_loaded() -> None:
    trend_chart(holding_answer(), size=PHONE)
    assert "matplotlib.pyplot" not in sys.modules
