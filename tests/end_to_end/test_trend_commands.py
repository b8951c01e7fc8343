"""``overlay trend`` and ``overlay then-and-now`` from a library to files, and what they say when something is wrong."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from season_factory import FOCUS, PLAYER, fill_season, real_swing

from overlay.cli.main import run
from overlay.library import open_store


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int, int]:
    folder = tmp_path_factory.mktemp("season")
    path = folder / "library.sqlite"
    with open_store(path) as store:
        ids = fill_season(store, folder, sessions=6, since=4, swings=5)
        then, now = real_swing(store, ids[0]), real_swing(store, ids[-1])
        store.mark_best(then)
        store.mark_best(now)
    return path, then, now


def said(capsys: pytest.CaptureFixture[str]) -> tuple[str, str]:
    captured = capsys.readouterr()
    return captured.out, captured.err


@pytest.mark.parametrize(
    ("arguments", "name", "begins"),
    [
        (["--measure", FOCUS], "one.png", b"\x89PNG"),
        (["--measure", FOCUS, "--dark"], "one.svg", b"<svg"),
        (["--screen", "phone"], "sheet.png", b"\x89PNG"),
        (["--repeats", "--screen", "phone"], "repeats.svg", b"<svg"),
    ],
)
def test_each_picture_is_written(
    library: tuple[Path, int, int],
    tmp_path: Path,
    arguments: list[str],
    name: str,
    begins: bytes,
    capsys: pytest.CaptureFixture[str],
) -> None:
    out = tmp_path / "new" / name
    assert run(["trend", PLAYER, *arguments, "--out", str(out), "--library", str(library[0])]) == 0
    assert out.read_bytes().startswith(begins)
    text, _ = said(capsys)
    assert "file:" in text


def test_the_answer_is_printed_as_json_too(
    library: tuple[Path, int, int], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "one.png"
    arguments = ["trend", PLAYER, "--measure", FOCUS, "--out", str(out), "--library", str(library[0]), "--json"]
    assert run(arguments) == 0
    document = json.loads(said(capsys)[0])
    assert document["kind"] == "trend"
    assert document["file"] == str(out)
    assert document["measures"] == [FOCUS]
    assert len(document["answers"]) == 1


def test_then_and_now_writes_film_and_stills(
    library: tuple[Path, int, int], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "film.mp4"
    path, then, now = library
    arguments = ["then-and-now", PLAYER, "--out", str(out), "--library", str(path), "--layout", "ghost", "--speed", "8"]
    assert run([*arguments, "-q", "--json"]) == 0
    document = json.loads(said(capsys)[0])
    assert (document["then"], document["now"]) == (then, now)
    assert out.stat().st_size > 1000
    assert Path(document["sheet"]).read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (["trend", "Nobody"], 3, "no player"),
        (["trend", PLAYER, "--measure", "nothing"], 3, "no measure nothing"),
        (["trend", PLAYER, "--out", "x.gif"], 3, "no name of a picture"),
        (["trend", PLAYER, "--measure", FOCUS, "--repeats"], 2, "--repeats shows all"),
        (["trend", PLAYER, "--view", "fo"], 3, "face on"),
        (["trend", PLAYER, "--club", "putter"], 3, "club"),
        (["trend", PLAYER, "--measure", FOCUS, "--club", "putter"], 3, "No valid value"),
        (["trend", PLAYER, "--repeats", "--club", "putter"], 3, "No such swing"),
        (["then-and-now", PLAYER, "--out", "x.gif"], 3, "no name of a film"),
        (["then-and-now", PLAYER, "--then", "999"], 3, "999"),
        (["then-and-now", PLAYER, "--view", "fo"], 3, "face on"),
        (["then-and-now", PLAYER, "--club", "putter"], 3, "marked as best"),
    ],
)
def test_what_is_wrong_is_said_in_two_lines(
    library: tuple[Path, int, int],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: list[str],
    code: int,
    message: str,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run([*arguments, "--library", str(library[0])]) == code
    out, error = said(capsys)
    assert out == ""
    lines = error.strip().splitlines()
    assert len(lines) == 2
    assert message in lines[0]
    assert not list(tmp_path.iterdir())


def test_no_library_is_said_and_none_is_made(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "none.sqlite"
    assert run(["trend", "Robin", "--library", str(path), "--out", str(tmp_path / "x.png")]) != 0
    assert not path.exists()
    assert len(said(capsys)[1].strip().splitlines()) == 2
