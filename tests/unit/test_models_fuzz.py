"""Thousands of hostile model files: each is refused with two lines that name it, or is a model through and through."""

from __future__ import annotations

import collections
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from model_attacks import Attacks, members_of, zipped
from model_factory import space_model, swing_model, template_model, with_pictures

from overlay.errors import InputError, OverlayError
from overlay.models import Library, kept_picture, load_facts, load_model, model_bytes
from overlay.models.checks import showable

N = 2400


@pytest.fixture(scope="module")
def good() -> list[bytes]:
    return [
        model_bytes(model)
        for model in (swing_model(), with_pictures(template_model("Pictures")), template_model(), space_model())
    ]


def try_file(path: Path, library: Library) -> str:
    """Everything a user can do with a file; what came of it. Anything but an OverlayError is a crash."""
    try:
        load_facts(path)
    except InputError as error:
        check_words(error, path)
    try:
        model = load_model(path)
    except InputError as error:
        check_words(error, path)
        with pytest.raises(InputError):
            library.import_(path, "taken in")
        return "refused"
    for kept in model.pictures.values():
        for i in range(len(kept.times_s)):
            try:
                picture, alpha = kept_picture(kept, i)
            except InputError as error:
                check_words(error, None)
                continue
            assert picture.shape == (*alpha.shape, 3) == (kept.size[1], kept.size[0], 3)
    again = model_bytes(model)
    path.write_bytes(again)
    assert model_bytes(load_model(path)) == again
    library.import_(path, "taken in", replace=True)
    library.list()
    return "a model"


def check_words(error: OverlayError, path: Path | None) -> None:
    """Two lines, each one line, nothing in them that could act on a terminal, the file named."""
    for line in (error.message, error.hint):
        assert line
        assert "\n" not in line
        assert showable(line)
        assert len(line) < 400
    assert path is None or path.name in error.message


def everything_under(folder: Path) -> set[Path]:
    return {path.relative_to(folder) for path in folder.rglob("*") if path.is_file()}


def test_no_hostile_file_crashes_or_escapes(good: list[bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    here = tmp_path / "a" / "b"
    here.mkdir(parents=True)
    monkeypatch.chdir(here)
    library = Library(here / "library", shipped=here / "none")
    path = here / "hostile.swing"
    attacks = Attacks(good)
    came_of: collections.Counter[str] = collections.Counter()
    for seed in range(N):
        attack = attacks.make(seed)
        path.write_bytes(attack.content)
        try:
            came_of[try_file(path, library)] += 1
        except Exception as error:
            raise AssertionError(f"case {seed} ({attack.how}): {type(error).__name__}: {error}") from error
    assert came_of["refused"] > 0.8 * N
    assert came_of["a model"] > 0  # some damage is harmless: another number within its limits
    assert everything_under(tmp_path) == {Path("a/b/hostile.swing"), Path("a/b/library/taken in.swing")}


@settings(max_examples=150)
@given(content=st.binary(max_size=600))
def test_noise_is_refused(content: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    path = tmp_path_factory.getbasetemp() / "noise.swing"
    path.write_bytes(content)
    with pytest.raises(InputError):
        load_model(path)


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4),
    max_leaves=15,
)


@settings(max_examples=150)
@given(document=json_values, wrapped=st.booleans())
def test_any_document_is_refused(document: object, wrapped: bool, tmp_path_factory: pytest.TempPathFactory) -> None:
    import json

    if wrapped:
        document = {"kind": "overlay model", "schema": 1, "name": "x", "model": "swing", "provenance": document}
    path = tmp_path_factory.getbasetemp() / "document.swing"
    path.write_bytes(zipped([("model.json", json.dumps(document).encode("utf-8", "surrogatepass"))]))
    with pytest.raises(InputError):
        load_model(path)


def test_the_attacks_reach_what_they_attack(good: list[bytes], tmp_path: Path) -> None:
    """The parts of a good file put together anew are still that model: attacks fail by what they change alone."""
    path = tmp_path / "again.swing"
    for content in good:
        path.write_bytes(zipped(members_of(content)))
        assert model_bytes(load_model(path)) == content
