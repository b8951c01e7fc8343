"""A model file gives back exactly what was put into it, and the same model gives the same bytes."""

from __future__ import annotations

import dataclasses
import io
import json
import math
import zipfile
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from comparison_factory import make_swing
from model_attacks import members_of, zipped
from model_factory import full_swing, space_model, swing_model, template_model, with_pictures

from overlay.data import Clip, Model
from overlay.errors import DataError, OutputError
from overlay.landmarks import INDEX
from overlay.models import (
    check_name,
    is_model_file,
    kept_swing,
    load_facts,
    load_model,
    model_bytes,
    real_factor,
    save_model,
    slowed,
    tidy,
)
from overlay.normalise import real_slow_factor
from overlay.settings.align import FeatureSettings

MODELS = {
    "swing": swing_model(),
    "pictures": with_pictures(swing_model()),
    "template": template_model(),
    "space": space_model(),
}


def assert_same(one: Any, other: Any, where: str = "model") -> None:
    """Equal in every field, element, type of container and NaN."""
    if isinstance(one, np.ndarray):
        assert one.dtype == other.dtype, where
        np.testing.assert_array_equal(one, other, err_msg=where)
    elif dataclasses.is_dataclass(one):
        assert type(one) is type(other), where
        for field in dataclasses.fields(one):
            assert_same(getattr(one, field.name), getattr(other, field.name), f"{where}.{field.name}")
    elif isinstance(one, Mapping):
        assert list(one) == list(other), where
        for key in one:
            assert_same(one[key], other[key], f"{where}[{key}]")
    elif isinstance(one, tuple):
        assert len(one) == len(other), where
        for i, (a, b) in enumerate(zip(one, other)):
            assert_same(a, b, f"{where}[{i}]")
    elif isinstance(one, float) and math.isnan(one):
        assert isinstance(other, float), where
        assert math.isnan(other), where
    else:
        assert one == other, where
        assert isinstance(other, type(one)) or isinstance(one, (int, float)), where


@pytest.mark.parametrize("kind", MODELS)
def test_everything_comes_back(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "kept.swing"
    save_model(MODELS[kind], path)
    assert_same(MODELS[kind], load_model(path))


def test_the_comparison_of_this_test_sees_a_difference() -> None:
    model = swing_model()
    swing = model.swings["fo"]
    points = swing.pose.points.copy()
    points[3, INDEX["nose"], 1] = np.nextafter(points[3, INDEX["nose"], 1], 1e9)
    other = replace(model, swings={**model.swings, "fo": replace(swing, pose=replace(swing.pose, points=points))})
    with pytest.raises(AssertionError, match="points"):
        assert_same(model, other)


@pytest.mark.parametrize("kind", MODELS)
def test_the_same_model_gives_the_same_bytes(kind: str, tmp_path: Path) -> None:
    content = model_bytes(MODELS[kind])
    path = tmp_path / "kept.swing"
    path.write_bytes(content)
    assert model_bytes(load_model(path)) == content


def test_single_precision_is_kept_single_and_nothing_else_is_rounded() -> None:
    heads = {name: content[:80] for name, content in members_of(model_bytes(swing_model()))}
    assert b"'<f4'" in heads["arrays/dtl.pose.visibility.npy"]  # made from float32, as a pose model gives it
    assert b"'<f8'" in heads["arrays/dtl.pose.points.npy"]


def test_arrays_are_what_numpy_reads() -> None:
    """The parts are plain .npy files: any other program can read them without overlay."""
    model = swing_model()
    parts = dict(members_of(model_bytes(model)))
    points = np.load(io.BytesIO(parts["arrays/dtl.pose.points.npy"]), allow_pickle=False)
    np.testing.assert_array_equal(points, model.swings["dtl"].pose.points)
    document = json.loads(parts["model.json"])
    assert document["kind"] == "overlay model"
    assert document["schema"] == 1
    assert document["swings"]["dtl"]["quality"]["never"] == "nan"


def test_a_file_packed_anew_by_another_program_is_read(tmp_path: Path) -> None:
    path = tmp_path / "again.swing"
    path.write_bytes(zipped(members_of(model_bytes(MODELS["pictures"])), zipfile.ZIP_DEFLATED))
    assert_same(MODELS["pictures"], load_model(path))


def test_facts_need_no_array(tmp_path: Path) -> None:
    path = tmp_path / "kept.swing"
    parts = members_of(model_bytes(MODELS["pictures"]))
    path.write_bytes(zipped([(name, b"" if name.endswith(".npy") else content) for name, content in parts]))
    facts = load_facts(path)
    assert (facts.kind, facts.views, facts.handedness) == ("swing", ("dtl", "fo"), "right")
    assert facts.positions == {"dtl": 8, "fo": 8}
    assert facts.pictures == {"dtl": 8, "fo": 8}
    assert facts.player == "Robin of Larkspur Range"
    assert load_facts_of(MODELS["template"], tmp_path).n_swings == 8
    space = load_facts_of(MODELS["space"], tmp_path)
    assert (space.handedness, space.views, space.positions) == ("both", ("dtl", "fo"), {"dtl": 9, "fo": 9})


def load_facts_of(model: Model, folder: Path) -> Any:
    save_model(model, folder / "facts.swing")
    return load_facts(folder / "facts.swing")


def test_what_would_not_be_read_back_is_not_written(tmp_path: Path) -> None:
    model = swing_model()
    path = tmp_path / "kept.swing"
    swing = model.swings["dtl"]
    with pytest.raises(DataError, match="still holds its clip"):
        save_model(replace(model, swings={"dtl": make_swing(clip_path=Path("swing.mp4"))}, pair_map=None), path)
    with pytest.raises(DataError, match="cannot be shown"):
        save_model(replace(model, player="a\x1b[2Jb"), path)
    bent = replace(swing, pose=replace(swing.pose, points=swing.pose.points * 1e6))
    with pytest.raises(DataError, match="outside"):
        save_model(replace(model, swings={**model.swings, "dtl": bent}), path)
    with pytest.raises(DataError, match="different hands"):
        save_model(replace(model, swings={**model.swings, "dtl": replace(swing, handedness="left")}), path)
    with pytest.raises(OutputError, match="no name for a model file"):
        save_model(model, tmp_path / "kept.zip")
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_cannot_be_written_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(OutputError, match="in the way"):
        save_model(swing_model(), tmp_path / "file" / "kept.swing")
    assert [path.name for path in tmp_path.iterdir()] == ["file"]


def test_model_files_are_known_by_their_ending() -> None:
    assert is_model_file(Path("a/My best.SWING"))
    assert not is_model_file(Path("a/swing.mp4"))


# --- names and texts ---


@pytest.mark.parametrize("name", ["My best swing", "Åse’s 7-iron (2031)", "driver_2", "山田", "a", "x" * 60, "1.2"])
def test_names_that_can_be(name: str) -> None:
    assert check_name(name) == name


def test_a_name_has_one_spelling() -> None:
    assert check_name("Å") == check_name("Å") == "Å"


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("", "empty"),
        ("   ", "empty"),
        ("a/b", "holds /"),
        ("..", "begins with"),
        ("a\\b", r"holds \\"),
        ("C:x", "holds :"),
        (".hidden", "begins with"),
        ("-rf", "begins with"),
        ("~x", "begins with"),
        ("x.", "ends with a dot"),
        (" x", "space"),
        ("x ", "space"),
        ("a  b", "space"),
        ("a\tb", "cannot be shown"),
        ("a\nb", "cannot be shown"),
        ("a\x00", "cannot be shown"),
        ("a\u202eb", "cannot be shown"),
        ("\ud800", "cannot be shown"),
        ("a\u00a0b", "unusual space"),
        ("con", "device"),
        ("NUL.x", "device"),
        ("Com1", "device"),
        ("lpt¹", "device"),
        ("x" * 61, "longer than 60"),
        ("山" * 61, "longer"),
        ("best.swing", "ending"),
        ("a*", r"holds \*"),
        ('a"', "holds"),
    ],
)
def test_names_that_cannot_be(name: str, why: str) -> None:
    with pytest.raises(DataError, match=why):
        check_name(name)


def test_tidy_makes_any_text_one_harmless_line() -> None:
    assert tidy("a\n b\x1b[2J \u202e\ud800c\u0301\u00a0d") == "a b[2J ć d"
    assert tidy("x" * 400) == "x" * 299 + "…"


# --- the real clock ---


def slow_clip(capture: int | None) -> Clip:
    times = np.arange(100) / 30.0
    rate = None if capture is None else Fraction(capture)
    return Clip(Path("x.mp4"), "0" * 64, 240, 320, 0, False, times, Fraction(30), rate, False, False)


def test_times_become_real_where_the_capture_rate_is_known() -> None:
    """240 frames a second played at 30 are 8 times slower than life: every time and its SD is an eighth."""
    swing = replace(full_swing(), clip=slow_clip(240))
    assert swing.strike is not None
    assert swing.strike.ball is not None
    left = replace(swing.strike, ball=replace(swing.strike.ball, gone_s=swing.strike.time_s + 0.02))
    swing = replace(swing, strike=left)
    assert real_factor(swing) == 8.0
    kept = kept_swing(swing)
    assert kept.clip is None
    assert kept.quality["real_time"] == 1.0
    np.testing.assert_allclose(kept.pose.time_s, swing.pose.time_s / 8, rtol=1e-12)
    assert kept.club is not None and swing.club is not None  # noqa: PT018
    np.testing.assert_allclose(kept.club.time_s, swing.club.time_s / 8)
    assert kept.camera_motion is not None and swing.camera_motion is not None  # noqa: PT018
    np.testing.assert_allclose(kept.camera_motion.time_s, swing.camera_motion.time_s / 8)
    for name, time_s in swing.positions.times().items():
        position, was = kept.positions.get(name), swing.positions.get(name)
        assert position is not None and was is not None  # noqa: PT018
        assert position.time_s == pytest.approx(time_s / 8)
        assert position.sd_s == (None if was.sd_s is None else pytest.approx(was.sd_s / 8))
    assert kept.strike is not None and swing.strike is not None  # noqa: PT018
    assert kept.strike.time_s == pytest.approx(swing.strike.time_s / 8)
    assert kept.strike.sd_s == pytest.approx(swing.strike.sd_s / 8)
    assert kept.strike.clues[1].sd_s == pytest.approx(swing.strike.clues[1].sd_s / 8)
    assert kept.strike.ball is not None and swing.strike.ball is not None  # noqa: PT018
    assert kept.strike.ball.last_seen_s == pytest.approx(swing.strike.ball.last_seen_s / 8)
    assert kept.strike.ball.gone_s == pytest.approx(swing.strike.ball.gone_s / 8)
    assert kept.tempo_ratio == pytest.approx(swing.tempo_ratio)


def test_times_stay_where_the_capture_rate_is_unknown() -> None:
    swing = replace(full_swing(), clip=slow_clip(None), quality={"slow_factor_estimate": 7.6})
    kept = kept_swing(swing)
    np.testing.assert_array_equal(kept.pose.time_s, swing.pose.time_s)
    assert kept.quality == {"slow_factor_estimate": 7.6, "real_time": 0.0}
    assert kept.clip is None


def test_a_kept_swing_is_judged_as_fast_as_its_clip_was() -> None:
    """Alignment reads real time off the clip; off the kept swing it must come to the same."""
    swing = replace(make_swing(), clip=slow_clip(30))
    slow = slowed(replace(swing, clip=None), 8.0)
    slow = replace(slow, clip=slow_clip(240))
    settings = FeatureSettings()
    assert real_slow_factor(slow, settings) == 8.0
    assert real_slow_factor(kept_swing(slow), settings) == pytest.approx(real_slow_factor(swing, settings))
