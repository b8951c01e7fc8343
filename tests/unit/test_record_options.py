"""What is typed to the commands of the record: days, limits, targets, names; and what of it reaches the terminal."""

from __future__ import annotations

import datetime
import io
import math
import unicodedata

import click
import pytest

from overlay.cli.record_options import (
    Limit,
    Target,
    TargetType,
    check_days,
    measure_word,
    near_words,
    plain,
    read_day,
    read_limit,
)
from overlay.cli.record_show import Head, counted, listed, print_rows

THIRD_OF_MAY = datetime.date(2026, 5, 3)


@pytest.mark.parametrize(
    "text",
    ["2026-05-03", "2026/05/03", "2026.5.3", "20260503", "3 May 2026", "3. may 2026", "May 3, 2026", "03-MAY-2026"],
)
def test_days_that_can_be_read_in_one_way(text: str) -> None:
    assert read_day(text) == THIRD_OF_MAY


def test_today_and_yesterday() -> None:
    assert read_day("today", THIRD_OF_MAY) == THIRD_OF_MAY
    assert read_day(" Yesterday ", THIRD_OF_MAY) == datetime.date(2026, 5, 2)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("03/05/2026", "two days"),
        ("13.05.2026", "two days"),
        ("3-5-26", "two days"),
        ("2026-02-30", "calendar"),
        ("0026-05-03", "years"),
        ("9999-05-03", "years"),
        ("soon", "no day"),
        ("", "no day"),
        ("3 Ma 2026", "no day"),
        ("3 Jxy 2026", "no day"),
        ("2026-05/03", "no day"),
        ("٢٠٢٦-٠٥-٠٣", "no day"),
        ("2026-05-03\x1b[31m", "no day"),
    ],
)
def test_other_days_are_refused(text: str, why: str) -> None:
    with pytest.raises(ValueError, match=why) as caught:
        read_day(text)
    assert "\x1b" not in str(caught.value)


def test_a_stretch_that_ends_before_it_begins() -> None:
    check_days(THIRD_OF_MAY, THIRD_OF_MAY)
    check_days(None, THIRD_OF_MAY)
    with pytest.raises(click.UsageError, match="before"):
        check_days(THIRD_OF_MAY, THIRD_OF_MAY - datetime.timedelta(days=1))


@pytest.mark.parametrize(
    ("text", "limit"),
    [
        ("tempo_ratio>=3.2", Limit("tempo_ratio", 3.2, math.inf)),
        ("Tempo ratio <= 3.2", Limit("tempo_ratio", -math.inf, 3.2)),
        ("tempo-ratio=2.8..3.2", Limit("tempo_ratio", 2.8, 3.2)),
        ("tempo_ratio=3", Limit("tempo_ratio", 3.0, 3.0)),
        ("spine_side_bend_top >= -12.5°", Limit("spine_side_bend_top", -12.5, math.inf, "deg")),
        ("hand_height_back>=60 %", Limit("hand_height_back", 0.6, math.inf, "fraction")),
        ("hands.backswing.x<=−0.1", Limit("hands.backswing.x", -math.inf, -0.1)),
        ("x>=1e-3", Limit("x", 1e-3, math.inf)),
    ],
)
def test_limits(text: str, limit: Limit) -> None:
    assert read_limit(text) == limit


def test_strict_limits_leave_their_end_out() -> None:
    above, below = read_limit("a>3"), read_limit("a<3")
    assert above.low > 3.0
    assert above.low == math.nextafter(3.0, 4.0)
    assert below.high == math.nextafter(3.0, 2.0)


@pytest.mark.parametrize(
    "text", ["", "tempo_ratio", ">3", "a>", "a>b", "a>nan", "a>inf", "a>1e999", "a=1..2..3", "1<a<3", "a=>3", "a>3 px"]
)
def test_other_limits_are_refused(text: str) -> None:
    with pytest.raises(ValueError, match="quotes"):
        read_limit(text)


def test_a_range_has_one_unit() -> None:
    assert read_limit("a=5 %..0.2").unit == "fraction"
    with pytest.raises(ValueError, match="two units"):
        read_limit("a=5°..10 %")


def test_a_range_that_ends_before_it_begins() -> None:
    with pytest.raises(ValueError, match="ends before"):
        read_limit("a=3..2")


def test_targets() -> None:
    read = TargetType()
    assert read.convert("player: Wren Aldous", None, None) == Target("player", "Wren Aldous")
    assert read.convert("SWINGS:431", None, None) == Target("swing", "431")
    assert read.convert("player:a:b", None, None) == Target("player", "a:b")
    for text in ("Wren", "swing:", "swing:x", "swing:-1", "swing:1.5", "tag:3", "clip:٣", "clip:" + "9" * 30, ""):
        with pytest.raises(click.BadParameter, match="names nothing"):
            read.convert(text, None, None)


def test_names_that_are_nearly_right() -> None:
    assert measure_word(" Hips-line release") == "hips_line_release"
    assert near_words("tempo_ration", ["tempo_ratio", "hand_depth"]) == "Did you mean tempo_ratio?"
    assert near_words("depth", ["tempo_ratio", "hand_depth"]) == "Did you mean hand_depth?"
    assert near_words("zzz", ["tempo_ratio", "hand_depth"]) == "Names are: tempo_ratio, hand_depth"


HOSTILE = (
    "two\nlines",
    "\x1b[31mred\x1b[0m",
    "\x9b31mred",
    "[red]markup[/red] [bold",
    "<b>html</b>",
    "\u202eevil",
    "⛳" * 200,
    "اسم" * 30,
    "zalgo" + "\u0301" * 400,
    "\udc80broken",
    "a\ttab\rreturn\0nul",
    ":smile: :golfer:",
    "",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_a_name_is_harmless_on_the_terminal(text: str) -> None:
    shown = plain(text, 60)
    assert len(shown) <= 60
    assert all(unicodedata.category(letter) not in ("Cc", "Cf", "Cs", "Zl", "Zp") for letter in shown)
    assert shown.count("\u0301") <= 4


def printed(width: int, heads: list[Head], rows: list[tuple[str, ...]], terminal: bool = True) -> str:
    from rich.console import Console

    text = io.StringIO()
    out = Console(file=text, width=width, force_terminal=terminal, color_system=None, highlight=False)
    print_rows(heads, rows, out=out)
    return text.getvalue()


TABLE = [Head("id", number=True), Head("player", words=True), Head("empty"), Head("first", words=True)]


@pytest.mark.parametrize("text", HOSTILE)
@pytest.mark.parametrize("width", [20, 40, 80, 200])
def test_no_name_breaks_a_table(text: str, width: int) -> None:
    from rich.cells import cell_len

    shown = printed(width, TABLE, [("1", text, "", "hips"), ("2", "Wren", "", "head")])
    lines = shown.splitlines()
    assert all(cell_len(line) <= width for line in lines)
    assert "\x1b" not in shown
    assert "empty" not in shown
    # Each row begins where a row begins, whatever stands in it.
    starts = [line for line in lines if line.strip().startswith(("1", "2", "id 1", "id 2"))]
    assert len(starts) == 2


def test_markup_and_picture_words_are_shown_as_they_are() -> None:
    shown = printed(80, TABLE, [("1", "[red]a[/red] :smile:", "", "x")])
    assert "[red]a[/red] :smile:" in shown


def test_a_pipe_is_not_folded() -> None:
    shown = printed(20, TABLE, [("1", "Wren Aldous of the Larkspur Range", "", "hips line release")], terminal=False)
    assert shown.splitlines()[1].split("  ") == [" 1", "Wren Aldous of the Larkspur Range", "hips line release"]


def test_numbers_in_words() -> None:
    assert counted(1, "swing") == "1 swing"
    assert counted(1234, "swing") == "1,234 swings"
    assert listed(["a", "b"], 1) == "a and 1 more"
