"""Attacks by name: each is refused, and the message says what was wrong."""

from __future__ import annotations

import io
import json
import os
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from model_attacks import Members, members_of, zipped
from model_factory import swing_model, with_pictures

from overlay.errors import InputError
from overlay.models import load_facts, load_model, model_bytes

GOOD = model_bytes(with_pictures(swing_model()))
PARTS = members_of(GOOD)


def refused(content: bytes, tmp_path: Path, match: str) -> InputError:
    path = tmp_path / "hostile.swing"
    path.write_bytes(content)
    with pytest.raises(InputError, match=match) as caught:
        load_model(path)
    assert "hostile.swing" in caught.value.message
    return caught.value


def with_part(name: str, content: bytes) -> Members:
    return [(known, content if known == name else old) for known, old in PARTS]


def with_document(change: Callable[[dict[str, Any]], Any]) -> bytes:
    document = json.loads(dict(PARTS)["model.json"])
    change(document)
    return zipped(with_part("model.json", json.dumps(document).encode()))


def with_text(old: str, new: str) -> bytes:
    text = dict(PARTS)["model.json"].decode()
    assert old in text
    return zipped(with_part("model.json", text.replace(old, new, 1).encode()))


def npy(values: Any, **header: Any) -> bytes:
    out = io.BytesIO()
    np.save(out, values, allow_pickle=True)
    return out.getvalue()


# --- the container ---


@pytest.mark.parametrize(
    ("content", "match"),
    [
        (b"", "empty"),
        (b"not a zip at all", "not a model file"),
        (b"PK\x05\x06" + bytes(18), "not a model file"),
        (GOOD[:-5], "end is missing"),
        (GOOD[: len(GOOD) // 2], "end is missing"),
        (GOOD + b"more", "end is missing, or something was added"),
        (b"MZ" + GOOD, "not a model file"),
        (GOOD + GOOD, "not where it should be"),
    ],
)
def test_what_is_no_whole_zip(content: bytes, match: str, tmp_path: Path) -> None:
    refused(content, tmp_path, match)


@pytest.mark.parametrize("name", ["../x", "/etc/x", "C:\\x", "arrays/../../x.npy", "a\\..\\x", "x\0y"])
def test_a_part_that_would_leave_its_folder(name: str, tmp_path: Path) -> None:
    refused(zipped([*PARTS, (name, b"x")]), tmp_path, "would leave the model's own folder")
    assert {path.name for path in tmp_path.iterdir()} == {"hostile.swing"}


@pytest.mark.parametrize("name", ["readme.txt", "arrays/x.pkl", "pictures/dtl.0.jpg", "arrays/", "MODEL.JSON"])
def test_a_part_that_models_do_not_have(name: str, tmp_path: Path) -> None:
    refused(zipped([*PARTS, (name, b"x")]), tmp_path, "models do not have")


def test_a_part_that_nothing_speaks_of(tmp_path: Path) -> None:
    refused(zipped([*PARTS, ("arrays/other.pose.points.npy", b"x")]), tmp_path, "does not speak of")


def test_parts_twice_missing_and_too_many(tmp_path: Path) -> None:
    refused(zipped([*PARTS, PARTS[3]]), tmp_path, "twice")
    refused(zipped(PARTS[1:]), tmp_path, "lacks its part model.json")
    refused(zipped([*PARTS[:2], *PARTS[3:]]), tmp_path, "lacks its part arrays/")
    refused(zipped([*PARTS, *((f"pictures/fo.{i:04d}.png", b"") for i in range(5000))]), tmp_path, "parts, more than")


def test_a_zip_bomb_is_measured_before_it_is_opened(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    zeros = bytes(80_000_000)
    content = zipped([*PARTS, ("arrays/x.npy", zeros)], zipfile.ZIP_DEFLATED)
    larger = zipped([*PARTS, ("arrays/x.npy", zeros), ("arrays/y.npy", zeros)], zipfile.ZIP_DEFLATED)
    assert len(larger) < 1_000_000
    monkeypatch.setattr(zipfile.ZipFile, "open", lambda *_: pytest.fail("something was expanded"))
    refused(content, tmp_path, "-fold, as no model does")
    refused(larger, tmp_path, "would expand to 160 MB")


def test_a_part_that_lies_about_its_size_is_not_followed(tmp_path: Path) -> None:
    """The list of parts promises a few bytes; what comes out is never more than was promised."""
    content = bytearray(zipped(with_part("model.json", bytes(5_000_000)), zipfile.ZIP_DEFLATED))
    at = int.from_bytes(content[-6:-2], "little")
    content[at + 24 : at + 28] = (100).to_bytes(4, "little")
    refused(bytes(content), tmp_path, "damaged|cut off|not JSON")


def test_encrypted_and_strangely_packed(tmp_path: Path) -> None:
    content = bytearray(GOOD)
    at = int.from_bytes(content[-6:-2], "little")
    content[at + 8] |= 1
    assert "password" in refused(bytes(content), tmp_path, "encrypted").hint
    refused(zipped(PARTS, zipfile.ZIP_LZMA), tmp_path, "compressed in a way")


def test_parts_that_overlap(tmp_path: Path) -> None:
    content = bytearray(GOOD)
    at = int.from_bytes(content[-6:-2], "little")
    name, extra, comment = (int.from_bytes(content[at + i : at + i + 2], "little") for i in (28, 30, 32))
    second = at + 46 + name + extra + comment
    content[second + 42 : second + 46] = content[at + 42 : at + 46]
    refused(bytes(content), tmp_path, "overlap")


def test_a_changed_byte_of_an_array_is_noticed(tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(GOOD)) as source:
        info = source.getinfo("arrays/dtl.pose.points.npy")
    content = bytearray(GOOD)
    content[info.header_offset + 30 + len(info.filename) + info.compress_size // 2] ^= 0xFF
    refused(bytes(content), tmp_path, "damaged")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.swing")
    with pytest.raises(InputError, match="not a file"):
        load_model(tmp_path / "pipe.swing")
    with pytest.raises(InputError, match=r"not a file|cannot be read"):
        load_model(tmp_path)
    with pytest.raises(InputError, match="no file"):
        load_model(tmp_path / "absent.swing")
    with pytest.raises(InputError, match="no name a file can have"):
        load_model(tmp_path / "a\0b.swing")


# --- the document ---


def test_a_newer_model_says_so_whatever_else_is_new(tmp_path: Path) -> None:
    content = with_document(lambda document: document.update(schema=2, lie_angle=3))
    parts = [*members_of(content), ("arrays/lie.angle.npy", b""), ("sounds/dtl.wav", b"")]
    error = refused(zipped(parts), tmp_path, r"newer overlay \(schema 2; this one reads 1\)")
    assert error.hint == "Update overlay."
    with pytest.raises(InputError, match="newer overlay"):
        load_facts(tmp_path / "hostile.swing")


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        ('"schema": 1', '"schema": NaN', "NaN, which is no number"),
        ('"schema": 1', '"schema": 1e999', "too large"),
        ('"schema": 1', '"schema": ' + "9" * 5000, "too long"),
        ('"schema": 1', '"schema": true', "not a whole number"),
        ('"schema": 1', '"schema": 0', "outside"),
        ('"schema": 1', '"schema": 1, "schema": 1', "twice"),
        ('"schema": 1', '"schema": ' + "[" * 100_000, "nested too deeply"),
        ('"schema": 1', '"schema": 1, "x": ' + "[" * 30 + "]" * 30, "nested too deeply"),
        ('"kind": "overlay model"', '"kind": "something"', "not a model of overlay"),
        ('"name": "My best swing"', '"name": "../../x"', "cannot be the name"),
        ('"name": "My best swing"', '"nmae": "x"', "lacks the field name"),
        ('"model": "swing"', '"model": "space"', "does not hold what"),
        ('"model": "swing"', '"model": "video"', "not one of"),
        ('"club_kind": "mid iron"', '"club_kind": 5', "not a text"),
        ('"club_kind": "mid iron"', '"club_kind": "\\u001b[31m"', "cannot be shown"),
        ('"club_kind": "mid iron"', '"club_kind": "\\ud800"', "cannot be shown"),
        ('"club_kind": "mid iron"', '"club_kind": "' + "x" * 301 + '"', "more than 300"),
        ('"torso_px": 60.25', '"torso_px": -60.25', "torso_px is -60.25"),
        ('"torso_px": 60.25', '"torso_px": null', "torso_px is null, not a number"),
        ('"frames": ', '"frames": 1000000', "outside"),
        ('"frames": ', '"frames": 1', "shape|outside"),
        ('"image_size": [', '"image_size": [0.5, ', "not a whole number|numbers, not 2|rows, more"),
        ('"struck": true', '"struck": 1', "not true, false or null"),
        ('"handedness": "right"', '"handedness": "left"', "different hands"),
    ],
)
def test_documents_that_are_wrong(old: str, new: str, match: str, tmp_path: Path) -> None:
    refused(with_text(old, new), tmp_path, match)


def test_a_field_that_models_do_not_have_and_its_likeness(tmp_path: Path) -> None:
    content = with_document(lambda document: document["swings"]["dtl"].update(handednes="left"))
    refused(content, tmp_path, "did you mean handedness")


def test_positions_that_contradict_each_other(tmp_path: Path) -> None:
    def swap(document: dict[str, Any]) -> None:
        found = document["swings"]["dtl"]["positions"]["found"]
        found[0]["time_s"], found[1]["time_s"] = found[1]["time_s"], found[0]["time_s"]

    refused(with_document(swap), tmp_path, "not in time order")

    def away(document: dict[str, Any]) -> None:
        document["swings"]["dtl"]["positions"]["found"][-1]["time_s"] = 500.0

    refused(with_document(away), tmp_path, "outside")


# --- arrays ---

POINTS = "arrays/dtl.pose.points.npy"
SHAPE = (73, 33, 2)


@pytest.mark.parametrize(
    ("content", "match"),
    [
        (npy(np.array([{"a": 1}], object)), "header that models do not have"),
        (npy(np.zeros(SHAPE, ">f8")), "header that models do not have"),
        (npy(np.zeros(SHAPE, np.complex64)), "header that models do not have"),
        (npy(np.zeros(SHAPE, np.int64)), "header that models do not have"),
        (npy(np.asfortranarray(np.zeros(SHAPE))), "header that models do not have"),
        (npy(np.zeros(SHAPE, bool)), r"holds \|b1"),
        (npy(np.zeros((73, 33, 3))), "shape|bytes, more than"),
        (npy(np.zeros((71, 33, 2))), r"shape \(71, 33, 2\), not"),
        (npy(np.zeros(SHAPE))[:-8], "another number"),
        (npy(np.full(SHAPE, np.inf)), "outside"),
        (npy(np.full(SHAPE, 1e9)), "outside"),
        (b"\x93NUMPY\x02\x00" + npy(np.zeros(SHAPE))[8:], "no array that models have"),
        (b"\x80\x04\x95 a pickle", "no array that models have"),
        (b"", "no array that models have"),
    ],
)
def test_arrays_that_are_wrong(content: bytes, match: str, tmp_path: Path) -> None:
    assert swing_model().swings["dtl"].pose.points.shape == SHAPE
    refused(zipped(with_part(POINTS, content)), tmp_path, match)


def test_half_a_point(tmp_path: Path) -> None:
    points = swing_model().swings["dtl"].pose.points.copy()
    points[5, 11, 0] = np.nan
    refused(zipped(with_part(POINTS, npy(points))), tmp_path, "one coordinate is missing")


def test_times_that_do_not_increase(tmp_path: Path) -> None:
    refused(zipped(with_part("arrays/dtl.pose.time_s.npy", npy(np.zeros(73)))), tmp_path, "not strictly increasing")
    refused(zipped(with_part("arrays/dtl.pose.time_s.npy", npy(np.full(73, np.nan)))), tmp_path, "outside")
    long = npy(np.linspace(0.0, 9000.0, 73))
    refused(zipped(with_part("arrays/dtl.pose.time_s.npy", long)), tmp_path, "lasts 9000 s, which no swing does")


def test_flags_and_states_that_mean_nothing(tmp_path: Path) -> None:
    flags = bytearray(dict(PARTS)["arrays/dtl.pose.filled.npy"])
    flags[-1] = 7
    refused(zipped(with_part("arrays/dtl.pose.filled.npy", bytes(flags))), tmp_path, "neither true nor false")
    states = bytearray(dict(PARTS)["arrays/dtl.club.state.npy"])
    states[-1] = 200
    refused(zipped(with_part("arrays/dtl.club.state.npy", bytes(states))), tmp_path, "mean nothing")


# --- pictures ---


def test_pictures_that_are_none_or_too_large(tmp_path: Path) -> None:
    jpg, png = dict(PARTS)["pictures/dtl.0000.jpg"], dict(PARTS)["pictures/dtl.0000.png"]
    refused(zipped(with_part("pictures/dtl.0000.jpg", png)), tmp_path, "is no JPEG")
    refused(zipped(with_part("pictures/dtl.0000.png", jpg)), tmp_path, "is no PNG")
    refused(zipped(with_part("pictures/dtl.0000.jpg", jpg[:-2])), tmp_path, "cut off")
    refused(zipped(with_part("pictures/dtl.0000.jpg", jpg + b"<script>")), tmp_path, "something was added")
    refused(
        zipped(with_part("pictures/dtl.0000.png", png + b"more")), tmp_path, "something was added|more than a picture"
    )
    at = jpg.index(b"\xff\xc0") + 5
    huge = jpg[:at] + b"\xff\xff\xff\xff" + jpg[at + 4 :]
    refused(zipped(with_part("pictures/dtl.0000.jpg", huge)), tmp_path, "65535×65535 px, not 60×80")
    refused(
        zipped(with_part("pictures/dtl.0000.png", png[:16] + b"\x7f\xff\xff\xff" + png[20:])), tmp_path, "not 60×80"
    )
    comment = jpg[:2] + b"\xff\xfe\x00\x06home" + jpg[2:]
    refused(zipped(with_part("pictures/dtl.0000.jpg", comment)), tmp_path, "more than a plain picture")
    refused(with_document(lambda d: d["pictures"]["dtl"].update(size=[9000, 9000])), tmp_path, "more than models keep")
