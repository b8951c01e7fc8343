"""What model files promise: those of schema 1 are read for ever, and the shipped ones are what they say."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from overlay.models import Library, check_name, kept_picture, load_facts, load_model, model_bytes, save_model
from overlay.shipped import shipped_folder
from overlay.terms import POSITION_NAMES

GOLDEN = Path(__file__).resolve().parent / "models"
SHIPPED = sorted(shipped_folder("reference_models").glob("*.swing"))


def test_a_swing_of_schema_1_is_read_as_it_was_kept() -> None:
    """The values were read off when the file was written (tests/contract/models/write.py)."""
    model = load_model(GOLDEN / "schema1_swing.swing")
    assert (model.name, model.kind, model.views) == ("Kept long ago", "swing", ("dtl", "fo"))
    assert (model.club_kind, model.player) == ("mid iron", "Robin of Larkspur Range")
    assert model.provenance.sources == ("range one.mp4, swing 2", "range two.mp4, swing 1")
    swing = model.swings["fo"]
    assert len(swing.pose) == 25
    np.testing.assert_allclose(swing.pose.points[5, 11], [166.46051124, 112.99350672], rtol=1e-9)
    assert swing.pose.depth[0, 0] == pytest.approx(-17.73858572739886, rel=1e-12)
    assert swing.pose.visibility[3, 4] == pytest.approx(0.8409150242805481, rel=1e-12)
    assert int(swing.pose.filled.sum()) == 74
    assert swing.pose.log == ("read", "smoothed at 6 Hz")
    assert swing.club is not None
    assert swing.club.state[:5] == ("measured", "marked", "interpolated", "hidden", "measured")
    assert swing.club.angle_sd_deg[2] == pytest.approx(2.1158352421791733, rel=1e-12)
    assert swing.positions.times()["impact"] == pytest.approx(1.432)
    assert set(swing.positions.missing) == {"shaft_level_down"}
    assert math.isnan(swing.quality["never"])
    assert swing.quality["endless"] == math.inf
    assert swing.strike is not None
    assert swing.strike.ball is not None
    assert swing.strike.ball.place == (215.0, 262.0)
    assert math.isnan(swing.strike.ball.gone_s)
    assert swing.camera_motion is not None
    assert swing.camera_motion.matrices[4, 0, 0] == pytest.approx(0.999927335, rel=1e-9)
    assert np.all(np.isnan(swing.camera_motion.matrices[3]))
    report = model.filming["fo"]
    assert report.findings[2].interval == (60.0, math.inf)
    assert model.pair_map is not None
    assert float(model.pair_map.to_reference(0.3)) == pytest.approx(1.299483018048866, rel=1e-9)
    kept = model.pictures["dtl"]
    np.testing.assert_allclose(kept.times_s[:3], [0.4, 0.752, 0.928])
    assert int(kept_picture(kept, 3)[1].sum()) == 131580


def test_a_template_and_a_swing_in_space_of_schema_1() -> None:
    template = load_model(GOLDEN / "schema1_template.swing")
    assert template.kind == "template"
    spread = template.bands["dtl"].get("backswing", "hands")
    assert spread is not None
    assert (spread.sd, spread.df) == (0.011, 7.5)
    assert template.bands["dtl"].get("release", "head") is None
    assert template.provenance.left_out == ("range three.mp4, swing 1: its backswing is another movement",)
    model = load_model(GOLDEN / "schema1_space.swing")
    assert model.space is not None
    assert len(model.space) == 12
    np.testing.assert_allclose(model.space.points[3, 4], [0.66031414, 0.4805117, -0.35391488], rtol=1e-7)
    assert model.space.ball is not None
    np.testing.assert_array_equal(model.space.ball, [0.1, 0.8, 0.02])


@pytest.mark.parametrize("path", sorted(GOLDEN.glob("*.swing")), ids=lambda path: path.stem)
def test_what_was_kept_can_be_kept_again(path: Path, tmp_path: Path) -> None:
    model = load_model(path)
    save_model(model, tmp_path / "again.swing")
    assert model_bytes(load_model(tmp_path / "again.swing")) == model_bytes(model)
    assert load_facts(path).kind == model.kind


def test_models_are_shipped() -> None:
    assert {path.stem for path in SHIPPED} >= {"mid_iron", "driver"}


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_shipped_model_is_what_it_says(path: Path, tmp_path: Path) -> None:
    model = load_model(path)
    assert check_name(path.stem) == path.stem
    assert model.kind == "space"
    assert model.space is not None
    assert model.space.handedness == "right"
    assert {position.name for position in model.space.positions.found} == set(POSITION_NAMES)
    assert set(model.bands) == {"dtl", "fo"}
    assert "not a norm" in model.provenance.label
    assert not model.pictures
    library = Library(tmp_path / "mine")
    facts = {facts.name: facts for facts in library.list()}[path.stem]
    assert facts.shipped
    assert not facts.problem
    assert path.stat().st_size < 1_000_000
