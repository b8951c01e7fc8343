"""Results as plain values: back to the last bit, and refused when anything about them is not as it should be."""

from __future__ import annotations

import copy
import math
import pickle
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from batch_factory import golfer_track

from overlay.batch import ReadJob, read_clip
from overlay.batch.cluster import checked_address, differs
from overlay.batch.plain import plain_of, read_of
from overlay.data.record import ClipRead
from overlay.errors import DataError, InputError
from overlay.files import sha256_of
from overlay.pipeline import ClipOptions
from overlay.settings.cluster import ClusterSettings

MINE = {"version": "1.0", "engine": "abc", "pose": "pose-full"}


@lru_cache(maxsize=1)
def example(folder: Path) -> tuple[ReadJob, ClipRead]:
    from overlay.pose import save_track

    path = folder / "swing.npz"
    save_track(path, golfer_track(0), view="dtl", handedness="right")
    job = ReadJob(path, sha256_of(path), ClipOptions(stature_cm=180.0), path.stat().st_size, 12.5, "told")
    other = folder / "reference.npz"
    save_track(other, golfer_track(5), view="dtl", handedness="right")
    alone = read_clip(ReadJob(other, sha256_of(other), ClipOptions(), other.stat().st_size, 12.5, "told"))
    with_reference = ReadJob(
        **{**{name: getattr(job, name) for name in job.__dataclass_fields__}, "reference": alone.swings[0].model}
    )
    return job, read_clip(with_reference)


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> tuple[ReadJob, ClipRead]:
    return example(tmp_path_factory.mktemp("plain"))


def arrived(read: ClipRead) -> Any:
    """As it comes through a pickle."""
    return pickle.loads(pickle.dumps(plain_of(read)))


def test_a_result_comes_back_to_the_last_bit(read: tuple[ReadJob, ClipRead]) -> None:
    job, clip = read
    back = read_of(arrived(clip), job)
    assert isinstance(back, ClipRead)
    assert repr(plain_of(back)) == repr(plain_of(clip))
    assert back.swings[0].model == clip.swings[0].model
    assert back.swings[0].comparison is not None
    for mine, theirs in zip(back.swings[0].measures, clip.swings[0].measures):
        assert np.float64(mine.value).tobytes() == np.float64(theirs.value).tobytes()
    for name in ("path", "content_hash", "size_bytes", "recorded_at", "inputs", "told"):
        assert getattr(back, name) == getattr(clip, name)


def test_what_the_coach_knows_is_not_taken_from_the_answer(read: tuple[ReadJob, ClipRead]) -> None:
    job, clip = read
    plain = arrived(clip)
    assert not {"path", "content_hash", "size_bytes", "recorded_at", "inputs", "told"} & set(plain)
    plain["path"] = "/etc/passwd"
    with pytest.raises(DataError, match="other fields than it should have"):
        read_of(plain, job)


def test_a_failed_clip_comes_back(read: tuple[ReadJob, ClipRead]) -> None:
    job, clip = read
    failed = ClipRead("", job.path, 0, None, "", clip.engine, problem="No swing.", hint="Film one.", problem_code=4)
    back = read_of(arrived(failed), job)
    assert (back.problem, back.hint, back.problem_code, back.swings) == ("No swing.", "Film one.", 4, ())


class Trap:
    """What a pickle could bring along."""


@pytest.mark.parametrize(
    ("place", "value", "complaint"),
    [
        (("engine",), "0" * 16, "another state of overlay"),
        (("engine",), 7, "clip.engine holds a int"),
        (("width",), True, "clip.width holds a bool"),
        (("width",), -1, "a size that no picture has"),
        (("duration_s",), math.inf, "clip.duration_s holds no finite number"),
        (("rate_hz",), math.nan, "clip.rate_hz holds no finite number"),
        (("rate_hz",), "60", "clip.rate_hz holds a str"),
        (("rate_hz",), Trap(), "clip.rate_hz holds a Trap"),
        (("notes",), "a text", "clip.notes holds no list"),
        (("notes",), ["x" * 20_001], "a text of 20001 characters"),
        (("notes",), ["x"] * 5_001, "too long"),
        (("problem",), "a problem beside swings", "the answer holds"),
        (("swings",), [], "the answer holds"),
        (("swings", 0, "number"), 0, "numbers that are not in order"),
        (("swings", 0, "number"), 1.5, r"clip.swings\[0\].number holds a float"),
        (("swings", 0, "view"), "above", r"clip.swings\[0\].view"),
        (("swings", 0, "handedness"), "left", "another swing than the one it stands for"),
        (("swings", 0, "slow_factor"), 0.0, "swing 1.slow_factor"),
        (("swings", 0, "model"), b"PK\x03\x04 no model", "swing 1.model"),
        (("swings", 0, "model"), "text", r"clip.swings\[0\].model holds a str"),
        (("swings", 0, "measures", 0, "interval"), [1.0], "1 values instead of 2"),
        (("swings", 0, "positions", "found", 0, "confidence"), 2.0, "the answer holds"),
        (("swings", 0, "positions", "found", 0, "time_s"), math.nan, "the answer holds"),
        (("swings", 0, "positions", "found", 0, "source"), "guess", "source"),
        (("swings", 0, "comparison", "differences", 0, "part"), "nose", "the answer holds"),
        (("swings", 0, "filming", "findings", 0, "verdict"), "fine", "verdict"),
        (("swings", 0, "extra"), 1, "other fields than it should have"),
    ],
)
def test_a_result_that_is_not_as_it_should_be_is_refused(
    read: tuple[ReadJob, ClipRead], place: tuple[Any, ...], value: Any, complaint: str
) -> None:
    job, clip = read
    plain = copy.deepcopy(arrived(clip))
    inner = plain
    for step in place[:-1]:
        inner = inner[step]
    inner[place[-1]] = value
    with pytest.raises(DataError, match=complaint):
        read_of(plain, job)


def test_numbers_that_must_be_finite(read: tuple[ReadJob, ClipRead]) -> None:
    job, clip = read
    for what, value, complaint in (("measures", math.nan, "valid, but"), ("measures", math.inf, "valid, but")):
        plain = arrived(clip)
        valid = next(one for one in plain["swings"][0][what] if one["valid"])
        valid["value"] = value
        with pytest.raises(DataError, match=complaint):
            read_of(plain, job)
    plain = arrived(clip)
    scored = next(one for one in plain["swings"][0]["comparison"]["differences"] if one["words"] != "not scored")
    scored["score"] = math.nan
    with pytest.raises(DataError, match="scored, but no finite number"):
        read_of(plain, job)


def test_limits_are_settings(read: tuple[ReadJob, ClipRead]) -> None:
    job, clip = read
    with pytest.raises(DataError, match="1 swings"):
        read_of(arrived(clip), job, ClusterSettings(most_swings=0))


@pytest.mark.parametrize("plain", [None, [], b"", "text", 3, {1: 2}])
def test_what_is_no_result_at_all(read: tuple[ReadJob, ClipRead], plain: Any) -> None:
    with pytest.raises(DataError, match="A result is not as it should be"):
        read_of(plain, read[0])


def test_only_plain_values_are_sent() -> None:
    assert plain_of({"a": (np.float64(0.1), np.int64(3), np.bool_(True), None, b"x")}) == {
        "a": [0.1, 3, True, None, b"x"]
    }
    with pytest.raises(DataError, match="holds a Trap"):
        plain_of([Trap()])


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("tcp://10.0.0.5:8786", "tcp://10.0.0.5:8786"),
        (" range-pc:8786 ", "tcp://range-pc:8786"),
        ("tls://range.example:1/", "tls://range.example:1"),
        ("tcp://[fe80::1]:8786", "tcp://[fe80::1]:8786"),
    ],
)
def test_addresses(text: str, address: str) -> None:
    assert checked_address(text) == address


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("", "is no address"),
        ("range-pc", "is no address"),
        ("tcp://range-pc:", "is no address"),
        ("tcp://range-pc:8786/status", "is no address"),
        ("tcp://a b:1", "is no address"),
        ("http://range-pc:8787", "not reached by http"),
        ("inproc://a:1", "not reached by inproc"),
        ("tcp://range-pc:0", "no port 0"),
        ("tcp://range-pc:99999", "no port 99999"),
    ],
)
def test_what_is_no_address(text: str, complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        checked_address(text)


def test_certificates_belong_to_an_encrypted_address(tmp_path: Path) -> None:
    from overlay.batch.cluster import ClusterPool

    there = tmp_path / "ca.pem"
    there.write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="is not encrypted"):
        ClusterPool("tcp://a:1", tls_ca=there)
    with pytest.raises(InputError, match="There is no certificate"):
        ClusterPool("tls://a:1", tls_ca=tmp_path / "none.pem", tls_cert=there)
    with pytest.raises(InputError, match="not enough"):
        ClusterPool("tls://a:1", tls_ca=there)


@pytest.mark.parametrize(
    ("theirs", "why"),
    [
        (MINE, ""),
        (MINE | {"version": "0.9"}, "overlay 0.9 instead of 1.0"),
        (MINE | {"pose": "pose-lite"}, "the pose model pose-lite instead of pose-full"),
        (MINE | {"engine": "abd"}, "another state of the code under the same version"),
        (ModuleNotFoundError("No module named 'overlay'"), "overlay is not installed there, or another version of it"),
        (None, "it does not say"),
        ({"version": 1}, "it does not say"),
    ],
)
def test_which_workers_are_used(theirs: Any, why: str) -> None:
    assert differs(MINE, theirs).startswith(why)
    assert bool(differs(MINE, theirs)) == bool(why)


def test_without_dask_the_line_to_install_it_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    import importlib.util

    from overlay.batch.cluster import ClusterPool
    from overlay.errors import SetupError

    found = importlib.util.find_spec
    monkeypatch.setattr(importlib.util, "find_spec", lambda name, *rest: None if name == "distributed" else found(name))
    with pytest.raises(SetupError, match="A cluster needs Dask") as told:
        ClusterPool("tcp://127.0.0.1:1").open()
    assert told.value.hint == 'Install it: pip install ".[cluster]" in the folder that overlay was installed from'
