"""The default checklist is whole, and a coach's own file changes what it names and nothing else."""

from __future__ import annotations

import dataclasses
import math
import os
import re
from pathlib import Path

import pytest

from overlay.checklist import ChecklistSpec, MeasureSpec, default_text, load_checklist
from overlay.errors import InputError
from overlay.measure import DEFINITIONS
from overlay.settings.checklist import MEASURES


def _own(folder: Path, text: str) -> ChecklistSpec:
    file = folder / "mine.toml"
    file.write_text(text, encoding="utf-8")
    return load_checklist(file)


def _measure(spec: ChecklistSpec, row: str, name: str) -> MeasureSpec:
    found = spec.get(row)
    assert found is not None
    return next(measure for measure in found.measures if measure.name == name)


def test_default_has_the_ten_rows_in_their_order() -> None:
    # Order, views and positions: the table "What is looked at, in order" (common practice).
    spec = load_checklist()
    assert [(row.number, row.view, row.position) for row in spec.rows] == [
        (1, "both", "address"),
        (2, "dtl", "shaft_level_back"),
        (3, "dtl", "lead_arm_level_back"),
        (4, "dtl", "top"),
        (5, "fo", "backswing"),
        (6, "dtl", "lead_arm_level_down"),
        (7, "dtl", "shaft_level_down"),
        (8, "fo", "downswing"),
        (9, "dtl", "release"),
        (10, "fo", "shaft_level_through"),
    ]
    assert spec.source == "default"
    assert all(row.on and row.why for row in spec.rows)


def test_default_asks_for_every_measure_once_and_says_what_to_look_for() -> None:
    measures = [measure for row in load_checklist().rows for measure in row.measures]
    assert sorted(measure.name for measure in measures) == sorted(MEASURES)
    for measure in measures:
        assert measure.low < measure.high, measure.name
        assert measure.unit == MEASURES[measure.name].unit
        assert measure.look_for_below.endswith(".")
        assert measure.look_for_above.endswith(".")
        assert "no source" in measure.source


def test_default_speaks_of_lead_and_trail_and_cares_for_the_back() -> None:
    text = default_text().lower()
    assert " left" not in text
    assert " right" not in text.replace("set-up right", "").replace("stands right", "")
    spine = _measure(load_checklist(), "body_back", "spine_side_bend_top")
    for words in ("no medical advice", "PGA-qualified coach", "licensed health professional", "pain means stop"):
        assert words in spine.caution_below


def test_own_file_changes_only_what_it_names(tmp_path: Path) -> None:
    spec = _own(tmp_path, "[row.top.measure.shaft_direction_top]\nlow = -30\nhigh = inf\n[row.through]\non = false\n")
    default = load_checklist()
    assert spec.source == "mine.toml"
    changed = _measure(spec, "top", "shaft_direction_top")
    assert (changed.low, changed.high) == (-30.0, math.inf)
    assert changed.look_for_above == _measure(default, "top", "shaft_direction_top").look_for_above
    through = spec.get("through")
    assert through is not None
    assert not through.on
    assert through.number == 10
    for row, usual in zip(spec.rows, default.rows):
        if row.key not in ("top", "through"):
            assert row == usual


def test_own_order_puts_rows_first_and_keeps_the_rest_behind(tmp_path: Path) -> None:
    spec = _own(tmp_path, 'order = ["camera", "release"]\n')
    assert [row.key for row in spec.rows][:3] == ["camera", "release", "takeaway"]
    assert [row.number for row in spec.rows] == list(range(1, 11))


def test_own_row_takes_a_measure_from_another(tmp_path: Path) -> None:
    spec = _own(
        tmp_path,
        """
        [row.top.measure.shaft_direction_top]
        on = false
        [row.club_top]
        title = "Club at the top"
        view = "dtl"
        position = "top"
        why = "The club is mine to judge by itself."
        [row.club_top.measure.shaft_direction_top]
        low = -10
        """,
    )
    mine = _measure(spec, "club_top", "shaft_direction_top")
    assert mine.low == -10.0
    assert mine.look_for_below
    assert spec.rows[-1].key == "club_top"


@pytest.mark.parametrize(
    ("text", "words", "hint"),
    [
        ("[row.tpo]\non = false", "row tpo: a new row needs title", "the default has camera, takeaway"),
        ("[row.top]\ncolour = 'red'", "row top: colour is not known", "Use a key of"),
        ("[row.top]\ntitel = 'Top'", "row top: titel is not known", "Did you mean title"),
        ("[row.top]\non = 'yes'", "row top: on has the wrong type", "true or false"),
        ("[row.top]\ntitle = ''", "row top: title has the wrong type", "words in quotes"),
        ("[row.top]\nview = 'side'", "row top: view is 'side'", "Use dtl"),
        ("[row.top]\nview = 'fo'", "row top: .* only seen down the line", 'view = "dtl"'),
        ("[row.top]\nposition = 'topp'", "row top: position is 'topp'", "Did you mean top"),
        ("[row]\ntop = 3", "row top: it is not a table", r"\[row.top\]"),
        ("[row.top.measure.shaft_direction]\nlow = 1", "there is no measure shaft_direction", "shaft_direction_top"),
        ("[row.top.measure.shaft_direction_top]\nlow = 30", "low 30 lies above high", "smaller number to low"),
        ("[row.top.measure.shaft_direction_top]\nlow = 'a'", "row top, measure .*: low has the wrong type", "a number"),
        ("[row.top.measure.shaft_direction_top]\nlow = nan", "low has the wrong type", "a number"),
        ("[row.top.measure.shaft_direction_top]\nlow = true", "low has the wrong type", "a number"),
        ("[row.top.measure.shaft_direction_top]\nhihg = 3", "hihg is not known", "Did you mean high"),
        ("[row.top.measure.shaft_direction_top]\nunit = 'cm'", "unit is 'cm'", "measured in deg"),
        ("[row.top.measure.shaft_direction_top]\nreading = 'At {x}'", "braces that mean nothing", "value"),
        ("[row.top.measure.shaft_direction_top]\nplus = ''", "reading names", "both words"),
        ("[row.top.measure.shaft_direction_top]\ngood = ''", "good is missing or empty", "keep the default"),
        (
            "[row.top.measure.hand_depth_back]\nlow = -1",
            "row top: hand_depth_back is also in row takeaway",
            "on = false",
        ),
        ("[row.camera.measure.hand_depth_back]\nlow = -1", "row camera: the filming check has no", "another row"),
        ("order = ['tpo']", "order: there is no row tpo", "Did you mean top"),
        ("order = ['top', 'top']", "row top is named twice", "once"),
        ("order = 3", "order is not a list", "Write order"),
        ("rows = 3", "rows is not known", "order"),
        ("row = [", "is not TOML", "Put that line right"),
    ],
)
def test_what_is_wrong_in_a_file_is_told_with_file_row_and_remedy(
    tmp_path: Path, text: str, words: str, hint: str
) -> None:
    with pytest.raises(InputError, match=words) as caught:
        _own(tmp_path, text)
    assert "mine.toml" in caught.value.message
    assert "\n" not in caught.value.message + caught.value.hint
    assert re.search(hint, caught.value.hint)


def test_a_file_that_is_not_there_or_not_text(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="There is no checklist"):
        load_checklist(tmp_path / "none.toml")
    (tmp_path / "picture.toml").write_bytes(b"\xff\xfe\x00\x80")
    with pytest.raises(InputError, match=r"not a text in UTF-8\."):
        load_checklist(tmp_path / "picture.toml")
    with pytest.raises(InputError, match=r"is not a file\."):
        load_checklist(tmp_path)
    with pytest.raises(InputError, match=r"is not a file\."):
        load_checklist(Path(os.devnull))
    (tmp_path / "long.toml").write_text("#" * 1_000_001)
    with pytest.raises(InputError, match="larger than 1 MB"):
        load_checklist(tmp_path / "long.toml")
    (tmp_path / "deep.toml").write_text("a = " + "[" * 100_000)
    with pytest.raises(InputError, match="nested too deeply"):
        load_checklist(tmp_path / "deep.toml")


def test_the_default_text_is_itself_a_coach_file(tmp_path: Path) -> None:
    assert _own(tmp_path, default_text()).rows == load_checklist().rows


def test_the_documents_hold_the_default_tolerances(repository: Path) -> None:
    text = (repository / "docs" / "checklist.md").read_text(encoding="utf-8")
    for row in load_checklist().rows:
        assert f"| {row.number} | `{row.key}` |" in text
        for measure in row.measures:
            line = f"| {row.number} | `{measure.name}` | {measure.low:g} | {measure.high:g} | {measure.unit} |"
            assert line in text, line


def test_every_key_is_in_the_documents(repository: Path) -> None:
    text = (repository / "docs" / "checklist.md").read_text(encoding="utf-8")
    keys = {field.name for field in dataclasses.fields(MeasureSpec)} - {"name"}
    for key in (*keys, "why", "view", "position", "filming", "ignore", "order"):
        assert re.search(rf"^\|.*`{key}`", text, re.MULTILINE), key


def test_the_example_of_the_documents_can_be_read(repository: Path, tmp_path: Path) -> None:
    text = (repository / "docs" / "checklist.md").read_text(encoding="utf-8")
    example = re.search(r"```toml\n(.*?)```", text, re.DOTALL)
    assert example is not None
    spec = _own(tmp_path, example.group(1))
    assert spec.rows[1].key == "release"
    assert _measure(spec, "lead_arm_down", "shaft_to_plane_down").high == 20.0


def test_measures_of_the_measuring_stage_are_those_known_here() -> None:
    known = {name: (kind.view, kind.unit) for name, kind in MEASURES.items()}
    assert {d.name: (d.view, d.unit) for d in DEFINITIONS} == known
