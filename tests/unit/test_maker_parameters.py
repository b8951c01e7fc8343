"""The parameter file of a reference model: strict, in a coach's words, and every number with its range and source."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from overlay.errors import InputError
from overlay.maker import KINDS, PARAMETERS, Parameters, load_parameters, shipped_parameters, start_parameters


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


MINE = '[club]\nkind = "mid iron"\n'


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_number_of_the_start_file_has_its_range_and_source(kind: str) -> None:
    text = start_parameters(kind)
    tables = tomllib.loads(text)
    assert [(section, name) for section, table in tables.items() for name in table if name != "kind"] == [
        (parameter.section, parameter.name) for parameter in PARAMETERS
    ]
    for parameter in PARAMETERS:
        above = re.search(rf"((?:^#.*\n)+){parameter.name} = ", text, re.MULTILINE)
        assert above is not None
        assert f"# {parameter.range_words}\n" in above[1]
        assert "Source:" in above[1]
        assert parameter.low < tables[parameter.section][parameter.name] < parameter.high
    assert all(len(line) <= 120 for line in text.splitlines())


@pytest.mark.parametrize("kind", list(KINDS))
def test_a_copy_of_the_start_file_is_the_shipped_model(kind: str, tmp_path: Path) -> None:
    copied = load_parameters(written(tmp_path, start_parameters(kind)))
    shipped = shipped_parameters(kind)
    assert copied.values == shipped.values
    assert copied.sources == shipped.sources
    assert copied.kind == kind
    assert copied.origin == "mine.toml"


def test_what_is_left_out_is_that_of_the_shipped_model(tmp_path: Path) -> None:
    mine = load_parameters(written(tmp_path, MINE + "[turn]\nshoulder_turn_deg = 95\n"))
    shipped = shipped_parameters("mid iron")
    assert {name for name in shipped.values if mine[name] != shipped[name]} == {"shoulder_turn_deg"}
    assert mine["shoulder_turn_deg"] == 95.0


def test_a_changed_number_does_not_keep_a_source_that_is_not_its_own(tmp_path: Path) -> None:
    shipped = shipped_parameters("driver")
    text = start_parameters("driver").replace("shift_cm = 20", "shift_cm = 14")
    assert load_parameters(written(tmp_path, text)).sources["shift_cm"] == ("set by the coach; 20 in the shipped model")
    own = '[club]\nkind = "driver"\n[shift]\n# Source: my notes.\nshift_cm = 14\ngap_cm = 4.3\n'
    sources = load_parameters(written(tmp_path, own)).sources
    assert sources["shift_cm"] == "my notes."
    assert sources["gap_cm"] == shipped.sources["gap_cm"]


@pytest.mark.parametrize(
    ("text", "message", "hint"),
    [
        (
            MINE + "[turn]\nshoulder_turn_deg = 400\n",
            "mine.toml, line 4: shoulder_turn_deg is 400, out of its range", "Give 70 to 130 degrees.",
        ),
        (
            MINE + "[turn]\n\n'pelvis_turn_deg' = 'far'\n",
            "line 5: pelvis_turn_deg is 'far', not a number", "Give 25 to 65 degrees.",
        ),
        (MINE + "[shift]\ngap_cm = true\n", "line 4: gap_cm is True, not a number", "Give -5 to 12 cm."),
        (MINE + "[shift]\ngap_cm = nan\n", "line 4: gap_cm is nan, not a number", "Give -5 to 12 cm."),
        (MINE + "[shift]\ngap = 4\n", r"line 4: gap is not known in \[shift\]", "Did you mean gap_cm?"),
        (MINE + "[turn]\ngap_cm = 4\n", r"line 4: gap_cm is not known in \[turn\]", r"It belongs to [shift]."),
        (MINE + "[swing]\nspeed = 4\n", "line 3: swing is not known", "Use one of: posture, turn"),
        ("turn = 3\n" + MINE, "line 1: turn is not a table", "Write [turn]"),
        ("[turn]\npelvis_turn_deg = 45\n", "kind of the club is missing", 'Write kind = "mid iron" or "driver".'),
        ('[club]\nkind = "putter"\n', "line 2: kind of the club is 'putter'", 'Write kind = "mid iron" or "driver".'),
        ("[turn\n", "mine.toml is not TOML", "Put that line right"),
        (MINE + "[turn]\npelvis_turn_deg = 45\npelvis_turn_deg = 46\n", "not TOML", "Put that line right"),
        (MINE + "a = " + "[" * 5000, "nested too deeply", "text file"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_named_with_its_line_and_its_range(text: str, message: str, hint: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=message) as caught:
        load_parameters(written(tmp_path, text))
    assert hint in caught.value.hint
    assert "\n" not in caught.value.message
    assert "\n" not in caught.value.hint


def test_files_that_are_no_text_are_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="There is no parameter file"):
        load_parameters(tmp_path / "none.toml")
    with pytest.raises(InputError, match="is not a file"):
        load_parameters(tmp_path)
    (tmp_path / "mine.toml").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="UTF-8"):
        load_parameters(tmp_path / "mine.toml")
    (tmp_path / "mine.toml").write_bytes(b"#" * 300_000)
    with pytest.raises(InputError, match="larger than 200 kB"):
        load_parameters(tmp_path / "mine.toml")
    with pytest.raises(InputError, match="no reference model for 'wedge'"):
        start_parameters("wedge")


def test_numbers_made_in_code_are_checked_too() -> None:
    good = shipped_parameters("driver").values
    with pytest.raises(InputError, match="lack gap_cm"):
        Parameters("driver", {name: value for name, value in good.items() if name != "gap_cm"})
    with pytest.raises(InputError, match="no parameter speed"):
        Parameters("driver", {**good, "speed": 3.0})
    with pytest.raises(InputError, match="gap_cm is 40, out of its range"):
        Parameters("driver", {**good, "gap_cm": 40.0})
    with pytest.raises(InputError, match="kind is 'putter'"):
        Parameters("putter", good)
