"""``overlay holding`` over whole libraries: the word first, exit codes, JSON, the two lines of every mistake."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from holding_factory import library, season

from overlay.cli.main import run


def said(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = run(["holding", *arguments])
    out = capsys.readouterr()
    return code, out.out, out.err


@pytest.mark.parametrize(
    ("days", "first"),
    [
        (season(), "Holding: 0.14 torso lengths further from the ball (95 %: 0.12 to 0.17)."),
        (season(0.12), "Not holding: it went the wrong way, 0.10 torso lengths further towards the ball"),
        (season(levels=(-0.15, -0.14, -0.13, 0.0, 0.01), since=5), "Faded: the first 3 sessions since had it"),
        (season(before=2, since=1), "Not enough sessions: 2 before and 1 since; 1 more from before the change and"),
        (season(0.0, seed=3), "Not holding: no change beyond the scatter between sessions; measured"),
    ],
)
def test_the_word_comes_first(days: list, first: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:  # type: ignore[type-arg]
    code, out, err = said(capsys, "robin sparrow", "--library", str(library(tmp_path, days)))
    assert (code, err) == (0, "")
    assert out.startswith(first), out
    assert "Hips on their line" in out.splitlines()[1]
    assert "Other measures" in out
    # Rows that all say "not enough sessions" would hide the answer above them.
    few = first.startswith("Not enough sessions")
    assert ("Tempo, backswing to downswing" in out) is not few
    assert ("not enough sessions for any of the 3 either" in out) is few


def test_several_measures_without_a_focus(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from dataclasses import replace

    path = library(tmp_path, [replace(day, focus="") for day in season()])
    code, out, _ = said(capsys, "Robin Sparrow", "--library", str(path), "--since", "27 March 2031")
    assert code == 0
    assert out.startswith("Changed: Hips on their line (Release, down the line), holding.")


def test_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = library(tmp_path, season())
    code, out, _ = said(capsys, "Robin Sparrow", "--library", str(path), "--json")
    document = json.loads(out)
    assert code == 0
    assert (document["kind"], document["player"], document["focus"]) == (
        "holding",
        "Robin Sparrow",
        "hips_line_release",
    )
    first, *others = document["answers"]
    assert first["holding"]["word"] == "holding"
    assert first["camera"]["vetoes"] is False
    assert len(first["means"]) == 9
    assert [answer["holding"]["is_focus"] for answer in others] == [False] * 3


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (["nobody"], 3, "nobody"),
        (["Robin Sparrow", "--measure", "hip_line_release"], 3, "There is no measure hip_line_release"),
        (["Robin Sparrow", "--measure", "tempo_ratio"], 3, "Since when is not told"),
        (["Robin Sparrow", "--club", "putter"], 3, "with the putter has a valid value"),
        (["Robin Sparrow", "--reference", "January"], 3, "compared with January"),
        (["Robin Sparrow", "--measure", "hands.backswing", "--since", "2031-03-27"], 3, "compared with a reference"),
        (["Robin Sparrow", "--since", "3/4/31"], 2, "two days"),
        (["Robin Sparrow", "--aim", "up"], 2, "up"),
        ([], 2, "PLAYER"),
    ],
)
def test_mistakes_are_two_lines(
    arguments: list[str], code: int, message: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = library(tmp_path, season(n=2))
    found, out, err = said(capsys, *arguments, "--library", str(path))
    assert found == code
    assert out == ""
    assert message in err
    assert len(err.splitlines()) == 2


def test_no_library(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = said(capsys, "Robin Sparrow", "--library", str(tmp_path / "none.sqlite"))
    assert code == 3
    assert len(err.splitlines()) == 2
