"""The library: names, taking, replacing, damaged files, shipped models, two programs at once."""

from __future__ import annotations

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from model_attacks import members_of
from model_factory import space_model, swing_model, template_model, with_pictures

from overlay.errors import DataError, InputError, OutputError
from overlay.models import Library, anonymous, default_folder, load_model, model_bytes, save_model, without_pictures


@pytest.fixture
def library(tmp_path: Path) -> Library:
    shipped = tmp_path / "shipped"
    save_model(space_model("Mid iron"), shipped / "Mid iron.swing")
    return Library(tmp_path / "mine", shipped=shipped)


def test_what_is_added_is_listed_and_comes_back(library: Library) -> None:
    assert library.names() == ("Mid iron",)
    path = library.add(swing_model("Best"))
    library.add(template_model("all of may"))
    assert path == library.folder / "Best.swing"
    assert library.names() == ("all of may", "Best", "Mid iron")
    listed = {facts.name: facts for facts in library.list()}
    assert listed["Best"].kind == "swing"
    assert listed["Best"].n_bytes == path.stat().st_size
    assert [facts.name for facts in library.list() if facts.shipped] == ["Mid iron"]
    assert model_bytes(library.get("Best")) == path.read_bytes()
    assert library.get("Mid iron").space is not None


def test_an_empty_or_absent_library_is_no_error(tmp_path: Path) -> None:
    library = Library(tmp_path / "none", shipped=tmp_path / "neither")
    assert library.list() == ()
    with pytest.raises(InputError, match="no model 'x'"):
        library.get("x")
    assert not (tmp_path / "none").exists()


def test_the_folder_is_the_users_own(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("OVERLAY_MODELS", str(tmp_path / "told"))
    assert default_folder() == tmp_path / "told"
    assert Library().folder == tmp_path / "told"
    monkeypatch.delenv("OVERLAY_MODELS")
    assert default_folder().parts[-2:] == ("overlay", "models")


def test_a_taken_name_is_replaced_only_when_asked(library: Library) -> None:
    library.add(swing_model("Best"))
    before = library.path("Best").read_bytes()
    with pytest.raises(OutputError, match="a model Best already"):
        library.add(template_model("Best"))
    with pytest.raises(OutputError, match="a model Best already"):
        library.check_free("best")
    assert library.path("Best").read_bytes() == before
    library.add(template_model("Best"), replace=True)
    assert library.get("Best").kind == "template"


def test_names_that_differ_in_case_or_spelling_alone_are_one(library: Library) -> None:
    library.add(swing_model("Åse best"))
    for other in ("åse BEST", "A\u030ase best"):
        with pytest.raises(OutputError, match="already"):
            library.add(swing_model(other))
        assert library.get(other).name == "Åse best"
    library.add(template_model("ÅSE BEST"), replace=True)
    assert library.names() == ("ÅSE BEST", "Mid iron")


def test_shipped_models_can_be_read_only_and_their_names_not_taken(library: Library) -> None:
    for name in ("Mid iron", "mid IRON"):
        with pytest.raises(OutputError, match="comes with overlay"):
            library.add(swing_model(name), replace=True)
        with pytest.raises(OutputError, match="comes with overlay"):
            library.check_free(name, replace=True)
        with pytest.raises(OutputError, match="cannot be removed"):
            library.remove(name)
    assert library.get("mid iron").kind == "space"


def test_a_file_that_passes_for_a_shipped_model_does_not(library: Library) -> None:
    library.folder.mkdir()
    (library.folder / "MID iron.swing").write_bytes(model_bytes(swing_model("MID iron")))
    assert library.get("MID iron").kind == "space"
    problems = [facts.problem for facts in library.list() if not facts.shipped]
    assert problems == ["a model of overlay itself has this name"]
    assert library.remove("MID iron") == library.folder / "MID iron.swing"
    assert library.get("MID iron").kind == "space"


def test_a_damaged_file_does_not_break_the_others(library: Library) -> None:
    path = library.add(swing_model("Best"))
    library.add(template_model("Bent"))
    (library.folder / "Bent.swing").write_bytes(path.read_bytes()[:-30])
    (library.folder / "notes.txt").write_text("no model")
    (library.folder / ".half.part.swing").write_bytes(b"left by a crash")
    (library.folder / "CON.swing").write_bytes(path.read_bytes())
    listed = {facts.name: facts for facts in library.list()}
    assert set(listed) == {"Best", "Bent", "CON", "Mid iron"}
    assert not listed["Best"].problem
    assert "Bent.swing" in listed["Bent"].problem
    assert "end is missing" in listed["Bent"].problem
    assert "device" in listed["CON"].problem
    with pytest.raises(InputError, match=r"Bent\.swing"):
        library.get("Bent")
    library.remove("Bent")
    library.remove("CON")
    assert library.names() == ("Best", "Mid iron")


def test_names_of_files_are_shown_harmlessly(library: Library) -> None:
    """Anybody may have put a file into a shared folder: its name must not act on the terminal."""
    library.folder.mkdir()
    (library.folder / "a\x1b[2Jb.swing").write_bytes(b"x")
    with pytest.raises(InputError, match="no model 'c'") as caught:
        library.get("c")
    assert "\x1b" not in str(caught.value)
    problem = next(facts.problem for facts in library.list() if not facts.shipped)
    assert "\x1b" not in problem
    assert "cannot be shown" in problem


def test_a_model_bears_the_name_of_its_file(library: Library) -> None:
    path = library.add(swing_model("Best"))
    path.rename(library.folder / "Renamed.swing")
    assert library.get("renamed").name == "Renamed"
    assert [facts.name for facts in library.list()] == ["Renamed", "Mid iron"]


def test_removing_says_what_and_refuses_what_is_not_there(library: Library) -> None:
    path = library.add(swing_model("Best"))
    assert library.remove("best") == path
    assert not path.exists()
    with pytest.raises(InputError, match="no model 'best'"):
        library.remove("best")


def test_export_and_import(library: Library, tmp_path: Path) -> None:
    library.add(swing_model("Best"))
    out = library.export("best", tmp_path / "given.swing")
    assert load_model(out).name == "Best"
    with pytest.raises(OutputError, match="already"):
        library.import_(out)
    assert library.import_(out, "From a friend").name == "From a friend.swing"
    assert library.get("From a friend").name == "From a friend"
    assert load_model(library.path("From a friend")).name == "From a friend"
    other = Library(tmp_path / "other", shipped=tmp_path / "none")
    assert other.import_(out).name == "Best.swing"
    assert other.path("Best").read_bytes() == library.path("Best").read_bytes()
    (tmp_path / "folder").mkdir()
    assert library.export("Mid iron", tmp_path / "folder") == tmp_path / "folder" / "Mid iron.swing"


def test_export_leaves_out_what_it_is_told_to(library: Library, tmp_path: Path) -> None:
    model = replace(with_pictures(swing_model("Best")), player="Robin")
    library.add(model)
    bare = load_model(library.export("Best", tmp_path / "bare.swing", change=without_pictures))
    assert (dict(bare.pictures), bare.player) == ({}, "Robin")
    path = library.export("Best", tmp_path / "nameless.swing", change=anonymous)
    nameless = load_model(path)
    assert nameless.provenance.sources == ("swing 1", "swing 2")
    everything = b"".join(content for _, content in members_of(path.read_bytes()))
    for word in (b"Robin", b"range one.mp4", b"range three.mp4", b"Larkspur", b"JFIF"):
        assert word not in everything
    for view, swing in nameless.swings.items():
        np.testing.assert_array_equal(swing.pose.points, model.swings[view].pose.points)
    assert set(library.get("Best").pictures) == {"dtl", "fo"}


def test_export_overwrites_nothing_it_was_not_asked_to(library: Library, tmp_path: Path) -> None:
    library.add(swing_model("Best"))
    clip = tmp_path / "swing.mp4"
    clip.write_bytes(b"a clip")
    with pytest.raises(OutputError, match="no name for a model file"):
        library.export("Best", clip, replace=True)
    taken = tmp_path / "taken.swing"
    taken.write_bytes(b"something")
    with pytest.raises(OutputError, match="there already"):
        library.export("Best", taken)
    assert (clip.read_bytes(), taken.read_bytes()) == (b"a clip", b"something")
    library.export("Best", taken, replace=True)
    assert load_model(taken).name == "Best"


def test_a_bad_name_is_refused_before_anything_is_written(library: Library, tmp_path: Path) -> None:
    save_model(swing_model("Best"), tmp_path / "given.swing")
    for name in ("../escaped", "/escaped", "a\\b", "nul"):
        with pytest.raises(DataError, match="cannot be the name"):
            library.import_(tmp_path / "given.swing", name)
        with pytest.raises(DataError, match="cannot be the name"):
            library.add(replace(swing_model(), name=name))
        with pytest.raises(InputError, match="no model"):
            library.path(name)
    assert not library.folder.exists()
    assert {path.name for path in tmp_path.iterdir()} == {"shipped", "given.swing"}


@pytest.mark.skipif(os.name == "nt", reason="links need rights there")
def test_a_link_is_replaced_and_not_followed(library: Library, tmp_path: Path) -> None:
    library.folder.mkdir()
    outside = tmp_path / "outside.swing"
    save_model(swing_model("Outside"), outside)
    before = outside.read_bytes()
    (library.folder / "Best.swing").symlink_to(outside)
    library.add(template_model("Best"), replace=True)
    assert outside.read_bytes() == before
    assert library.get("Best").kind == "template"
    (library.folder / "Linked.swing").symlink_to(outside)
    assert library.remove("Linked") == library.folder / "Linked.swing"
    assert outside.read_bytes() == before


def test_a_library_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(InputError, match="Not a directory"):
        Library(tmp_path / "file" / "library", shipped=tmp_path / "none").add(swing_model())


ADDING = """
import sys
from dataclasses import replace
from pathlib import Path
from overlay.errors import OutputError
from overlay.models import Library, load_model

folder, file, number = sys.argv[1:]
library, model = Library(Path(folder), shipped=Path(folder) / "none"), load_model(Path(file))
try:
    library.add(replace(model, name="Same", club_kind=f"club {number}"))
    print("added")
except OutputError as error:
    print(error.message)
library.add(replace(model, name=f"Own {number}"))
"""


@pytest.mark.skipif(os.name == "nt", reason="locks a folder")
def test_two_programs_at_once_take_one_name_once(tmp_path: Path) -> None:
    folder, file = tmp_path / "library", tmp_path / "one.swing"
    save_model(swing_model("One"), file)
    programs = [
        subprocess.Popen(
            [sys.executable, "-c", ADDING, str(folder), str(file), str(number)], stdout=subprocess.PIPE, text=True
        )
        for number in range(6)
    ]
    said = [program.communicate(timeout=120)[0].strip() for program in programs]
    assert [program.returncode for program in programs] == [0] * 6
    assert sorted(said) == ["There is a model Same already."] * 5 + ["added"]
    library = Library(folder, shipped=tmp_path / "none")
    assert len(library.names()) == 7
    assert not any(facts.problem for facts in library.list())
    assert library.get("Same").club_kind == f"club {said.index('added')}"
    assert {path.suffix for path in folder.iterdir()} == {".swing"}
