"""The commands of the record on a small library of two invented players: what they print, change and refuse."""

from __future__ import annotations

import io
import json
import re
import sys
from pathlib import Path
from typing import Any

import pytest
from kept_factory import clip_read, fill, swing_read

from overlay.cli.main import run
from overlay.errors import InputError
from overlay.library import SwingFilter, open_store


@pytest.fixture
def library(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The library of every command, without naming it."""
    monkeypatch.setenv("OVERLAY_LIBRARY", str(tmp_path / "library.sqlite"))
    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.setenv("OVERLAY_MODELS", str(tmp_path / "models"))
    with open_store(tmp_path / "library.sqlite") as store:
        fill(store, tmp_path)
    return tmp_path / "library.sqlite"


@pytest.fixture
def nothing_kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("OVERLAY_LIBRARY", str(tmp_path / "none.sqlite"))
    monkeypatch.setenv("OVERLAY_MODELS", str(tmp_path / "models"))
    return tmp_path / "none.sqlite"


def called(capsys: pytest.CaptureFixture[str], *arguments: object, code: int = 0) -> str:
    """What a command prints; its two lines of error where it is to fail."""
    capsys.readouterr()
    got = run([str(argument) for argument in arguments])
    out, err = capsys.readouterr()
    assert got == code, err
    if code:
        lines = err.strip().splitlines()
        assert len(lines) >= 2, err
        assert lines[-2].startswith("error: ")
        return err
    return out


def document(capsys: pytest.CaptureFixture[str], *arguments: object, code: int = 0) -> Any:
    capsys.readouterr()
    got = run([str(argument) for argument in (*arguments, "--json")])
    out, err = capsys.readouterr()
    assert got == code, err
    found = json.loads(out)
    assert found["schema"] == 1
    assert fields_of(found) <= DESCRIBED
    return found


DESCRIBED = set(
    re.findall(
        r'"([a-z][a-z0-9_]*)"',
        (Path(__file__).parents[2] / "docs" / "record-json.md").read_text(encoding="utf-8"),
    )
)


def fields_of(value: Any) -> set[str]:
    """Names of fields; the keys of tables by measure, unit or table are data."""
    if isinstance(value, dict):
        inner = [item for key, item in value.items() if key not in ("values", "units", "rows")]
        return set(value) | {name for item in inner for name in fields_of(item)}
    return {name for item in value for name in fields_of(item)} if isinstance(value, list) else set()


def answers(monkeypatch: pytest.MonkeyPatch, text: str) -> None:
    monkeypatch.setattr(sys, "stdin", io.StringIO(text))


def ids(out: str) -> list[int]:
    """The first column of a table."""
    return [int(match) for match in re.findall(r"^\s*([0-9]+)\s", out, re.MULTILINE)]


# --- nothing there ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", [("players",), ("sessions",), ("swings",), ("best",), ("check",)])
def test_where_nothing_is_kept_a_sentence_says_what_to_do(
    nothing_kept: Path, capsys: pytest.CaptureFixture[str], command: tuple[str, ...]
) -> None:
    out = called(capsys, *command)
    assert "overlay add" in out
    assert len(out.strip().splitlines()) == 1
    assert not nothing_kept.exists()
    document(capsys, *command)
    # Named outright it is a slip of the finger.
    called(capsys, *command, "--library", nothing_kept, code=3)
    assert not nothing_kept.exists()


@pytest.mark.parametrize(
    "command",
    [
        ("session", 1),
        ("note", "swing:1"),
        ("forget", "Wren"),
        ("export", "out"),
        ("backup", "b"),
        ("best", "--swing", 1),
    ],
)
def test_where_nothing_is_kept_there_is_nothing_to_change(
    nothing_kept: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    command: Any,
) -> None:
    monkeypatch.chdir(tmp_path)
    called(capsys, *command, code=3)
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_no_library_is_left_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    other = tmp_path / "other.sqlite"
    other.write_text("my shopping list")
    for command in (("players",), ("swings",), ("check",), ("session", 1), ("forget", "Wren", "--yes")):
        called(capsys, *command, "--library", other, code=3)
    assert other.read_text() == "my shopping list"


def test_names_that_no_file_can_have(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    long, below = tmp_path / ("a" * 300), library / "below"
    for name in (long, below):
        called(capsys, "players", "--library", name, code=3)
        called(capsys, "players", "Robin", "--new", "--library", name, code=3)
        called(capsys, "backup", name, code=3)
        called(capsys, "backup", name, "--restore", code=3)
        called(capsys, "backup", library, "--restore", "--library", name, code=3)
        called(capsys, "export", name, "-q", code=6)
        called(capsys, "export", f"{name}.csv", "-q", code=6)
    assert sorted(path.name for path in tmp_path.iterdir() if "part" in path.name) == []


def test_an_empty_library_and_a_player_without_swings(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    called(capsys, "players", "Robin", "--new", "--hand", "left")
    assert "overlay add" in called(capsys, "sessions", "Robin")
    assert "overlay add" in called(capsys, "swings", "Robin")
    assert "overlay best --swing" in called(capsys, "best", "Robin")


# --- players ----------------------------------------------------------------------------------------------------


def test_players_are_listed_and_changed(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    listed = called(capsys, "players")
    assert re.search(r"Wren Aldous\s+right\s+168 cm\s+2\s+4\s+2031-05-12", listed)
    assert re.search(r"Idris Holm\s+1\s+3\s+2031-05-03", listed)
    changed = called(capsys, "players", "wren ALDOUS", "--hand", "left", "--stature-cm", 170, "--reference", "best")
    assert "Kept: Wren Aldous" in changed
    assert "left-handed, 170 cm tall, compared with best" in changed
    assert "note:" not in changed
    for doubtful in ("Larkspr model", "best:Nobody", "swing:99"):
        assert "note: There is no" in called(capsys, "players", "Wren Aldous", "--reference", doubtful)
    assert "note: There is no" in called(capsys, "players", "Wren Aldous", "--reference", "⛳" * 150)
    for good in ("best:idris holm", "swing:1", "none"):
        assert "note:" not in called(capsys, "players", "Wren Aldous", "--reference", good)
    called(capsys, "players", "Wren Aldous", "--reference", "")
    (wren,) = [row for row in document(capsys, "players")["players"] if row["name"] == "Wren Aldous"]
    assert wren == {
        "id": wren["id"], "name": "Wren Aldous", "handedness": "left", "stature_cm": 170.0, "reference": "",
        "sessions": 2, "swings": 4, "last_date": "2031-05-12",
    }  # fmt: skip
    assert document(capsys, "players", "Wren Aldous")["player"] == wren


def test_a_slip_of_the_finger_makes_no_player(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = called(capsys, "players", "Wren Aldus", "--hand", "left", code=3)
    assert "Wren Aldous" in said
    assert "already" in called(capsys, "players", "WREN  aldous", "--new", code=6)
    assert "--stature-cm" in called(capsys, "players", "Wren Aldous", "--stature-cm", 17, code=2)
    assert "whom" in called(capsys, "players", "--hand", "left", code=2)
    assert len(document(capsys, "players")["players"]) == 2


def test_a_player_is_called_otherwise(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    called(capsys, "players", "Idris Holm", "--reference", "best:wren aldous")
    found = document(capsys, "players", "Wren Aldous", "--rename", "Wren  Aldous-Hale", "--hand", "left")["player"]
    assert (found["name"], found["handedness"], found["swings"]) == ("Wren Aldous-Hale", "left", 4)
    assert document(capsys, "players", "Idris Holm")["player"]["reference"] == "best:Wren Aldous-Hale"
    assert {row["player"] for row in document(capsys, "swings", "wren aldous-hale")["swings"]} == {"Wren Aldous-Hale"}
    called(capsys, "players", "Wren Aldous", code=3)
    assert "already" in called(capsys, "players", "Idris Holm", "--rename", "wren ALDOUS-hale", code=6)
    assert document(capsys, "players", "Idris Holm", "--rename", "IDRIS Holm")["player"]["name"] == "IDRIS Holm"
    called(capsys, "players", "Idris Holm", "--rename", " ", code=3)
    called(capsys, "players", "Idris Holm", "--rename", "x", "--new", code=2)
    called(capsys, "players", "--rename", "x", code=2)
    assert "whole" in called(capsys, "check", "-q")


# --- sessions ---------------------------------------------------------------------------------------------------


def test_sessions_are_listed_newest_first(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    listed = called(capsys, "sessions")
    assert [int(found) for found in ids(listed)] == [2, 3, 1]
    assert re.search(
        r"1  2031-05-03  Wren Aldous\s+7 iron\s+Larkspur Range\s+2\s+2\s+1\s+1\s+hips\s+hips line release, lower",
        listed,
    )
    own = called(capsys, "sessions", "wren aldous", "--since", "2031-05-04")
    assert ids(own) == [2]
    assert "Wren Aldous" not in own
    assert ids(called(capsys, "sessions", "--club", "Driver")) == [3]
    found = document(capsys, "sessions", "--until", "3 May 2031")["sessions"]
    assert [row["id"] for row in found] == [3, 1]
    assert found[1]["swings_by_view"] == {"dtl": 2, "fo": 1, "other": 0}
    assert (found[1]["clips"], found[1]["failed"]) == (2, 1)


def test_no_session_is_so(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = called(capsys, "sessions", "Wren Aldous", "--club", "putter")
    assert "there are 2, from 2031-05-03 to 2031-05-12" in said
    assert "Clubs are: 7 iron." in said
    assert "two days" in called(capsys, "sessions", "--since", "03/05/2031", code=2)
    assert "before" in called(capsys, "sessions", "--since", "2031-05-03", "--until", "2031-05-02", code=2)
    assert "Idris Holm" in called(capsys, "sessions", "Nobody", code=3)


def test_everything_about_one_session(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    called(capsys, "note", "session:1", "Felt", "the hips", "stay.")
    called(capsys, "note", "clip:3", "Too dark")
    out = called(capsys, "session", 1)
    assert "Session 1: Wren Aldous, 2031-05-03, 7 iron" in out
    assert "Focus: hips line release, meant to get lower" in out
    assert re.search(r"dark\.mp4\s+failed\s+0\s+Nobody is seen\. Film in daylight\. File not there any more", out)
    assert "First things, down the line: hips line release (2 of 2)" in out
    assert "Felt the hips stay." in out
    assert "on clip 3" in out
    found = document(capsys, "session", 1)
    assert [clip["state"] for clip in found["clips"]] == ["read", "read", "failed"]
    assert found["clips"][0]["present"] is False
    assert len(found["swings"]) == 3
    assert [note["target"] for note in found["notes"]] == ["session", "clip"]
    assert "There is no session 99" in called(capsys, "session", 99, code=3)


def test_a_session_is_changed(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = called(
        capsys, "session", 2, "--place", "Larkspur Range, bay 4", "--worked-on", "tempo", "--focus", "Tempo ratio",
        "--aim", "higher", "--date", "2026-05-11", "--club", "8 iron",
    )  # fmt: skip
    assert "Session 2: Wren Aldous, 2026-05-11, 8 iron" in out
    assert "Place: Larkspur Range, bay 4" in out
    assert "Focus: tempo ratio, meant to get higher" in out
    assert "Place:" not in called(capsys, "session", 2, "--place", "", "--focus", "")
    assert document(capsys, "session", 2)["session"]["focus"] == ""
    assert "hips_line_release" in called(capsys, "session", 2, "--focus", "hip_line_releas", code=3)
    assert document(capsys, "session", 2, "--focus", "hands.backswing.x")["session"]["focus"] == "hands.backswing.x"


def test_a_clip_is_taken_out(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    called(capsys, "session", 1, "--remove-clip", 4, code=3)
    found = document(capsys, "session", 1, "--remove-clip", 1, "--remove-clip", 1)
    assert [clip["id"] for clip in found["clips"]] == [2, 3]
    assert (found["session"]["clips"], found["session"]["swings"], len(found["swings"])) == (1, 1, 1)
    assert document(capsys, "swings")["total"] == 5
    called(capsys, "session", 1, "--remove-clip", 2, "--remove", code=2)
    assert "whole" in called(capsys, "check", "-q")


def test_the_page_of_a_session_is_written(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    found = document(capsys, "session", 1, "--page", tmp_path / "page", "-q", "--place", "Bay 4")
    html, png = (Path(path) for path in found["pages"])
    assert "Wren Aldous" in html.read_text(encoding="utf-8")
    assert "Bay 4" in html.read_text(encoding="utf-8")
    assert png.read_bytes().startswith(b"\x89PNG")
    (tmp_path / "file").write_text("mine")
    called(capsys, "session", 1, "--page", tmp_path / "file", code=2)
    assert (tmp_path / "file").read_text() == "mine"


def test_two_sessions_do_not_become_one(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    called(capsys, "session", 1, "--date", "2026-05-03")
    called(capsys, "session", 2, "--date", "2026-05-03", code=3)
    assert document(capsys, "session", 2)["session"]["date"] == "2031-05-12"


def test_a_session_is_removed_after_asking(
    library: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    answers(monkeypatch, "n\n")
    assert "Nothing was removed" in called(capsys, "session", 1, "--remove", code=6)
    answers(monkeypatch, "")
    assert "--yes" in called(capsys, "session", 1, "--remove", code=2)
    assert "goes alone" in called(capsys, "session", 1, "--remove", "--place", "x", code=2)
    assert "belongs" in called(capsys, "session", 1, "--yes", code=2)
    assert len(document(capsys, "sessions")["sessions"]) == 3
    answers(monkeypatch, "y\n")
    assert "Removed session 1 with what was read of 3 clips and 3 swings" in called(capsys, "session", 1, "--remove")
    assert [row["id"] for row in document(capsys, "sessions")["sessions"]] == [2, 3]
    assert document(capsys, "session", 2, "--remove", "--yes")["session"]["id"] == 2
    assert "whole" in called(capsys, "check")


# --- swings -----------------------------------------------------------------------------------------------------


def test_swings_are_filtered_and_sorted_by_what_is_measured(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def found(*arguments: object) -> list[int]:
        return [row["id"] for row in document(capsys, "swings", *arguments)["swings"]]

    assert len(found()) == 7
    assert found("Wren Aldous", "--sort", "tempo_ratio") == [2, 4, 3, 1]
    assert found("Wren Aldous", "--sort", "Tempo ratio", "--ascending") == [1, 3, 4, 2]
    # The swing whose hips could not be seen comes last either way.
    assert found("Wren Aldous", "--sort", "hips_line_release") == [1, 2, 4, 3]
    assert found("Wren Aldous", "--sort", "hips_line_release", "--ascending") == [4, 2, 1, 3]
    assert found("--where", "hips_line_release<0.2", "--sort", "id", "--ascending") == [2, 4]
    assert found("--where", "hips_line_release<=0.2", "--sort", "id", "--ascending") == [1, 2, 4]
    assert found("--where", "hips_line_release<=0.2", "--where", "tempo_ratio>3.2") == [2]
    assert found("--where", "tempo_ratio=2.9..3.0", "--sort", "id", "--ascending") == [1, 3]
    assert found("--view", "fo") == [3]
    assert found("--session", 3, "--limit", 2, "--sort", "id", "--ascending") == [5, 6]
    assert found("--club", "DRIVER", "--club", "7 iron", "--since", "2031-05-12") == [4]
    assert found("--first", "hips line release", "--session", 1, "--sort", "id", "--ascending") == [1, 2]
    called(capsys, "note", "swing:2", "--tag", "felt-right")
    assert found("--tag", "Felt-right") == [2]
    called(capsys, "best", "--swing", 4)
    assert found("--best") == [4]


def test_the_table_shows_the_measures_that_were_asked_for(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = called(
        capsys, "swings", "Wren Aldous", "--sort", "hips_line_release", "--measure", "spine_side_bend_top",
        "--where", "tempo_ratio<3.3",
    )  # fmt: skip
    head, *rows = out.splitlines()
    assert re.split(r"\s{2,}", head.strip()) == [
        "id", "date", "club", "view", "spine side bend top", "hips line release", "tempo", "first", "filming",
        "session", "clip", "no.",
    ]  # fmt: skip
    assert "−12°" in rows[0]
    assert "0.20 torso" in rows[0]
    assert "–" in rows[-1]
    assert "player" in called(capsys, "swings").splitlines()[0]
    out = called(capsys, "swings", "--limit", 2)
    assert "2 of 7 swings; --limit 0 shows all." in out
    found = document(capsys, "swings", "--limit", 2, "--measure", "hips_line_release")
    assert (found["total"], len(found["swings"]), found["units"]) == (7, 2, {"hips_line_release": "torso"})
    assert set(found["swings"][0]["values"]) <= {"hips_line_release"}


def test_a_measure_that_is_not_known_has_neighbours(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for arguments in (("--sort", "tempo_ration"), ("--where", "tempo_ration>3"), ("--measure", "tempo_ration")):
        assert "Did you mean tempo_ratio" in called(capsys, "swings", *arguments, code=3)
    # As it is called where it is shown.
    for said in ("Tempo, backswing to downswing", "tempo ratio"):
        assert document(capsys, "swings", "--sort", said) == document(capsys, "swings", "--sort", "tempo_ratio")
    assert "Several measures" in called(capsys, "session", 1, "--focus", "Where the shaft points", code=3)
    assert "quotes" in called(capsys, "swings", "--where", "tempo_ratio", code=2)
    said = called(capsys, "swings", "--where", "hips_line_release>5 cm", code=3)
    assert "hips_line_release is in torso lengths, and its limit is told in cm" in said
    assert "per cent" in called(capsys, "swings", "--where", "spine_side_bend_top>5%", code=3)
    assert document(capsys, "swings", "--where", "spine_side_bend_top>-13°", "--where", "backswing_s<1 s")["total"] == 7
    assert "There is no session 99" in called(capsys, "swings", "--session", 99, code=3)
    assert "is not in the range" in called(capsys, "swings", "--limit", 10**30, code=2)
    assert "No swing is so" in called(capsys, "swings", "--where", "tempo_ratio>30")
    assert document(capsys, "swings", "--where", "tempo_ratio>30")["swings"] == []


# --- best, notes, tags ------------------------------------------------------------------------------------------


def test_best_swings(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        called(capsys, "best", "--swing", 1) == "Marked as best: swing 1 of Wren Aldous, 2031-05-03, down the line.\n"
    )
    assert called(capsys, "best", "--swing", 1).startswith("Already marked")
    called(capsys, "best", "--swing", 3)
    called(capsys, "best", "--swing", 4)
    called(capsys, "best", "--swing", 5)
    assert ids(called(capsys, "best", "wren aldous")) == [4, 3, 1] or ids(called(capsys, "best", "wren aldous")) == [
        4,
        1,
        3,
    ]
    assert [row["id"] for row in document(capsys, "best", "Wren Aldous", "--view", "fo")["swings"]] == [3]
    assert {row["id"] for row in document(capsys, "best")["swings"]} == {1, 3, 4, 5}
    assert called(capsys, "best", "--swing", 1, "--remove").startswith("No longer marked")
    assert "is not marked" in called(capsys, "best", "--swing", 1, "--remove", code=3)
    assert document(capsys, "best", "--swing", 4)["swings"][0]["best"] is True
    called(capsys, "best", "--swing", 99, code=3)
    called(capsys, "best", "--remove", code=2)
    called(capsys, "best", "Wren Aldous", "--swing", 1, code=2)


def test_notes_and_tags(library: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "No notes yet" in called(capsys, "note", "swing:2")
    called(capsys, "note", "swing:2", "Held the finish.")
    called(capsys, "note", "swing:2", "Two\nlines", "--tag", "windy", "--tag", "felt-right")
    out = called(capsys, "note", "swing:2")
    assert "Held the finish." in out
    assert "Two lines" in out
    assert "Tags: felt-right, windy" in out
    found = document(capsys, "note", "swing:2", "--untag", "Windy")
    assert (found["target"], found["target_id"], found["tags"]) == ("swing", 2, ["felt-right"])
    assert [note["text"] for note in found["notes"]] == ["Held the finish.", "Two\nlines"]
    first = found["notes"][0]["id"]
    assert "has no note" in called(capsys, "note", "session:1", "--remove", first, code=3)
    assert [note["text"] for note in document(capsys, "note", "swing:2", "--remove", first)["notes"]] == ["Two\nlines"]
    called(capsys, "note", "player:wren aldous", "Sore wrist until June")
    assert "Sore wrist" in called(capsys, "players", "Wren Aldous")
    assert document(capsys, "note", "session:1", "--tag", "rain")["tags"] == ["rain"]
    assert "rain" in called(capsys, "sessions")
    called(capsys, "note", "clip:1", "--tag", "bright")
    for wrong, code in (
        (("swing:99",), 3), (("player:Nobody", "x"), 3), (("Wren",), 2), (("player:Wren Aldous", "--tag", "x"), 2),
        (("swing:2", " "), 2), (("swing:2", "--tag", " "), 2), (("swing:2", "--tag", "\x1b"), 2),
    ):  # fmt: skip
        called(capsys, "note", *wrong, code=code)


def test_remarks_of_anybody_do_nothing_to_the_terminal(
    library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Paths come from the disk, and may hold anything; what the library refuses in a name it may keep in a path."""
    with open_store(library) as store:
        for i, name in enumerate(
            ("\x1b[31mred\x1b[0m\n.mp4", "[red]x[/red].mp4", "\u202egpj.mp4", "⛳" * 90 + ".mp4", "\udc80.mp4")
        ):
            store.keep(
                2,
                clip_read(
                    tmp_path / name, [swing_read(1)] if i % 2 else [], "" if i % 2 else "It \x9bfails.", "Do\nthis."
                ),
            )
    for command in (("swings",), ("session", 2), ("check",), ("clip",)):
        if command == ("clip",):
            command = ("note", "clip:7")
        out = called(capsys, *command)
        assert re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e\ud800-\udfff]", out) is None
    for command in (("swings",), ("session", 2)):
        capsys.readouterr()
        assert run([str(word) for word in (*command, "--json")]) == 0
        out = capsys.readouterr().out
        assert re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202e\ud800-\udfff]", out) is None
        json.loads(out)


HOSTILE = "\x1b[31mred\x9b1m\u202e[bold]x[/bold]\n:golfer: <b>\u2066"


def test_a_library_of_somebody_else_does_nothing_to_the_terminal(
    library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What overlay refuses to keep may have been written into the file by another hand."""
    with open_store(library) as store:
        store.add_note("session", 1, "x")
        store.tag("session", 1, "x")
        for table, column in (
            ("players", "name"), ("players", "reference"), ("sessions", "club"), ("sessions", "place"),
            ("sessions", "worked_on"), ("sessions", "focus"), ("clips", "path"), ("clips", "problem"),
            ("clips", "hint"), ("swings", "first_focus"), ("notes", "text"), ("tags", "word"), ("kinds", "name"),
            ("kinds", "unit"),
        ):  # fmt: skip
            only = {"players": "id = 1", "clips": "problem <> ''", "kinds": "id = 3"}.get(table, "1")
            store._db.run(f"UPDATE {table} SET {column} = ? WHERE {only}", (HOSTILE,))
    raw = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
    for command in (
        ("players",), ("players", HOSTILE), ("sessions",), ("session", 1), ("swings",), ("best",),
        ("note", "session:1"), ("players", "Idris Holm", "--reference", HOSTILE),
        ("check", "-q"), ("forget", "Idris Holm", "--dry-run"), ("swings", "Nobody"), ("swings", "--sort", "nothing"),
        ("sessions", "--club", HOSTILE), ("best", "--swing", 1), ("export", tmp_path / "out", "-q"),
    ):  # fmt: skip
        for more in ((), ("--json",)):
            run([str(word) for word in (*command, *more)])
            out, err = capsys.readouterr()
            assert raw.search(out + err) is None, command
            if more and out:
                json.loads(out)
    assert raw.search((tmp_path / "out" / "sessions.csv").read_text(encoding="utf-8")) is None


# --- export, backup, check --------------------------------------------------------------------------------------


def test_export_by_command(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = called(capsys, "export", tmp_path / "out", "--player", "Wren Aldous", "--tracks", "-q")
    assert "measures (16 rows)" in out
    assert "Tracks of 4 swings." in out
    assert "--anonymous" in out
    assert "earlier export" in called(capsys, "export", tmp_path / "out", "-q", code=6)
    found = document(capsys, "export", tmp_path / "out", "--replace", "--anonymous", "-q", "--view", "fo")
    assert found["rows"]["swings"] == 1
    assert (found["tracks"], found["format"], found["anonymous"]) == (None, "csv", True)
    assert "Wren" not in (tmp_path / "out" / "sessions.csv").read_text(encoding="utf-8")
    called(capsys, "export", tmp_path / "one.csv", "--where", "tempo_ratio>3", "-q")
    assert (tmp_path / "one.csv").read_text(encoding="utf-8").count("\n") == 1 + 4 * 2
    called(capsys, "export", tmp_path / "none.csv", "--player", "Nobody", "-q", code=3)
    assert not (tmp_path / "none.csv").exists()


def test_an_exported_track_is_read_as_a_clip(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from overlay.pose import load_track

    called(capsys, "export", tmp_path / "out", "--tracks", "-q", "--session", 2)
    assert load_track(tmp_path / "out" / "tracks" / "swing-000004-pose.csv").view == "dtl"


def test_backup_and_restore(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    copy = tmp_path / "copy.sqlite"
    assert "2 players, 3 sessions, 7 swings" in called(capsys, "backup", copy)
    called(capsys, "backup", copy, code=6)
    called(capsys, "session", 1, "--remove", "--yes")
    assert document(capsys, "backup", copy, "--replace")["swings"] == 4
    called(capsys, "session", 2, "--remove", "--yes")
    called(capsys, "backup", copy, "--restore", code=6)
    assert document(capsys, "swings")["total"] == 3
    out = called(capsys, "backup", copy, "--restore", "--replace")
    assert "2 players, 2 sessions, 4 swings" in out
    assert "before-restore" in out
    assert document(capsys, "swings")["total"] == 4
    # A library that is not there yet is made.
    called(capsys, "backup", copy, "--restore", "--library", tmp_path / "other.sqlite")
    assert document(capsys, "swings", "--library", tmp_path / "other.sqlite")["total"] == 4
    said = called(capsys, "backup", tmp_path / "\x1b[31mabsent\n.sqlite", "--restore", "--replace", code=3)
    assert "\x1b" not in said
    (tmp_path / "no.sqlite").write_text("no library")
    called(capsys, "backup", tmp_path / "no.sqlite", "--restore", "--replace", code=3)
    called(capsys, "backup", tmp_path / "absent.sqlite", "--restore", "--replace", code=3)
    assert document(capsys, "swings")["total"] == 4


def test_a_backup_needs_no_file_beside_it(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    stick = tmp_path / "stick"
    called(capsys, "backup", stick / "copy.sqlite", code=6)
    assert not stick.exists()  # where no stick is plugged in, no folder is made on this disk instead
    stick.mkdir()
    called(capsys, "backup", stick / "copy.sqlite")
    content = (stick / "copy.sqlite").read_bytes()
    # 1: the rollback journal; 2 would be the write-ahead log, which cannot be read where nothing may be written.
    assert content[18:20] == b"\x01\x01"
    called(capsys, "backup", stick / "copy.sqlite", "--restore", "--library", tmp_path / "other.sqlite")
    assert [found.name for found in stick.iterdir()] == ["copy.sqlite"]
    assert (stick / "copy.sqlite").read_bytes() == content


def test_check_tells_problems_from_remarks(
    library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    out = called(capsys, "check")
    assert "The library is whole" in out
    assert "7 clips not where last seen" in out
    assert "1 clip could not be read" in out
    for name in ("a", "b", "c", "d0", "d1", "d2", "dark"):
        (tmp_path / f"{name}.mp4").write_bytes(b"x")
    assert "not where last seen" not in called(capsys, "check")
    from overlay.library import Store

    monkeypatch.setattr(Store, "check", lambda self, *_, **__: ("Swing 3 has\x1b no track.",))
    said = called(capsys, "check", code=3)
    assert "1 problem" in said
    assert "overlay backup" in said
    found = document(capsys, "check", code=3)
    assert (found["whole"], found["problems"]) == (False, ["Swing 3 has\x1b no track."])


# --- forgetting -------------------------------------------------------------------------------------------------


def everything_in(folder: Path) -> bytes:
    """The bytes of the library's files, journals and copies among them."""
    return b"".join(path.read_bytes() for path in sorted(folder.iterdir()) if path.is_file() and "library" in path.name)


def test_a_person_is_forgotten_wholly(
    library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from model_factory import swing_model

    from overlay.models import Library

    models = Library(tmp_path / "models")
    from dataclasses import replace

    models.add(replace(swing_model("Robin's best"), player="wren  ALDOUS"))
    models.add(replace(swing_model("Wren Aldous at her best"), player=""))
    models.add(replace(swing_model("Wrens of the range"), player="Idris Holm"))
    (tmp_path / "a.mp4").write_bytes(b"a clip")
    called(capsys, "note", "session:1", "A zebra crossed the range.")
    called(capsys, "best", "--swing", 1)
    assert b"Wren Aldous" in everything_in(tmp_path)

    shown = called(capsys, "forget", "wren aldous", "--dry-run")
    assert "2 sessions, 4 clips as read, 4 swings, 1 note" in shown
    assert "Robin's best, Wren Aldous at her best; they stay unless" in shown
    assert "Nothing was removed" in shown
    answers(monkeypatch, "Wren\n")
    assert "not the name" in called(capsys, "forget", "Wren Aldous", code=6)
    answers(monkeypatch, "")
    assert "--yes" in called(capsys, "forget", "Wren Aldous", code=2)
    assert document(capsys, "swings")["total"] == 7

    answers(monkeypatch, "wren aldous\n")
    out = called(capsys, "forget", "Wren Aldous")
    assert "Removed Wren Aldous: 2 sessions, 4 clips as read, 4 swings" in out
    assert "Still kept: Robin's best, Wren Aldous at her best" in out
    assert "files" in out
    assert "Backups" in out
    assert (tmp_path / "a.mp4").read_bytes() == b"a clip"
    left = everything_in(tmp_path)
    for trace in (b"Wren", b"Aldous", b"zebra", b"a.mp4", b"dark.mp4"):
        assert trace not in left
    assert b"Idris Holm" in left
    assert document(capsys, "swings")["total"] == 3
    assert "whole" in called(capsys, "check")
    called(capsys, "forget", "Wren Aldous", "--yes", code=3)
    assert len(models.list()) - sum(facts.shipped for facts in models.list()) == 3


def test_a_person_who_was_called_otherwise_is_forgotten_wholly(
    library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A kept reference that bears the former name goes too, though another player is compared with it."""
    import hashlib
    from dataclasses import replace

    from kept_factory import comparison
    from model_factory import swing_model

    from overlay.models import model_bytes

    content = model_bytes(replace(swing_model("The model"), player="Wren Aldous"))
    digest = hashlib.sha256(content).hexdigest()
    with open_store(library) as store:
        store.keep_reference(digest, "The model", content)
        store.keep_comparison(5, replace(comparison(0.2), reference_key=digest, reference_name="The model"))
    called(capsys, "players", "Wren Aldous", "--rename", "Somebody Else")
    called(capsys, "players", "Somebody Else", "--rename", "Third Name")
    assert b"Wren Aldous" in everything_in(tmp_path)
    from overlay.models import Library

    Library(tmp_path / "models").add(replace(swing_model("Of old"), player="wren aldous"))
    assert "models that bear the name: Of old" in called(capsys, "forget", "Third Name", "--yes")
    left = everything_in(tmp_path)
    # Its content is packed, so that no name would be seen in the bytes.
    with open_store(library) as store, pytest.raises(InputError, match="reference"):
        store.reference(digest)
    for trace in (b"Wren", b"wren", b"Somebody", b"somebody", b"Third", b"third"):
        assert trace not in left
    assert document(capsys, "swings")["total"] == 3
    assert "whole" in called(capsys, "check", "-q")


def test_models_go_too_when_told(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from dataclasses import replace

    from model_factory import swing_model

    from overlay.models import Library

    models = Library(tmp_path / "models")
    models.add(replace(swing_model("Idris Holm"), player=""))
    models.add(replace(swing_model("Other"), player="Wren Aldous"))
    called(capsys, "players", "Wren Aldous", "--reference", "Idris Holm")
    assert "the reference of Wren Aldous" in called(capsys, "forget", "Idris Holm", "--dry-run")
    found = document(capsys, "forget", "Idris Holm", "--models-too", "--yes")
    assert (found["removed"], found["models_removed"], found["swings"]) == (True, ["Idris Holm"], 3)
    assert [facts.name for facts in models.list() if not facts.shipped] == ["Other"]


def test_pose_results_of_a_person_go(library: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from comparison_factory import make_swing

    from overlay.pose import cache

    with open_store(library) as store:
        hashes = {swing.player: store.clip(swing.clip_id).content_hash for swing in store.swings(SwingFilter())}
    track = make_swing().pose
    keys = {name: cache.key_of({"clip": content_hash}) for name, content_hash in hashes.items()}
    for key in keys.values():
        assert cache.store(key, track, None, 100.0)
    assert all(cache.load(key, masks=False) for key in keys.values())
    assert document(capsys, "forget", "Wren Aldous", "--yes")["pose_results"] >= 1
    assert cache.load(keys["Wren Aldous"], masks=False) is None
    assert cache.load(keys["Idris Holm"], masks=False) is not None
