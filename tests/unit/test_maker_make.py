"""Absolute numbers come out true, what cannot be is said, and the shipped files are what their parameters give."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from overlay.data import Model
from overlay.errors import InputError
from overlay.maker import (
    KINDS,
    LABEL,
    PARAMETERS,
    Parameters,
    make_model,
    make_swing,
    measured,
    shipped_parameters,
    unlikely,
)
from overlay.models import load_model
from overlay.settings.maker import MAKER
from overlay.shipped import shipped_folder


@pytest.fixture(scope="module", params=list(KINDS))
def pair(request: pytest.FixtureRequest) -> tuple[Parameters, Model, Model]:
    """Parameters, the model made of them now, the model that is shipped."""
    parameters = shipped_parameters(request.param)
    file = KINDS[request.param]
    return parameters, make_model(parameters, file), load_model(shipped_folder("reference_models") / f"{file}.swing")


def assert_true(parameters: Parameters, found: dict[str, float]) -> None:
    for parameter in PARAMETERS:
        if parameter.name in found:
            assert found[parameter.name] == pytest.approx(parameters[parameter.name], abs=parameter.tolerance), (
                parameter.name
            )


def test_the_shipped_file_shows_its_parameters(pair: tuple[Parameters, Model, Model]) -> None:
    parameters, _, shipped = pair
    assert shipped.space is not None
    assert_true(parameters, measured(shipped.space))
    assert unlikely(shipped.space) == ()
    shaft_cm = 100 * np.linalg.norm(shipped.space.club_head - shipped.space.grip, axis=-1)
    assert np.allclose(shaft_cm, parameters["length_cm"] - 11.0, atol=0.01)  # the hands' middle is 11 cm from the butt


def test_the_shipped_file_is_what_the_parameters_give(pair: tuple[Parameters, Model, Model]) -> None:
    _, made, shipped = pair
    assert made.space is not None
    assert shipped.space is not None
    assert shipped.name == made.name
    for name in ("time_s", "points", "grip", "club_head", "ball"):
        assert np.allclose(getattr(made.space, name), getattr(shipped.space, name), atol=2e-3), name
    assert shipped.space.positions.times() == pytest.approx(made.space.positions.times(), abs=1e-3)
    assert (shipped.kind, shipped.club_kind, shipped.views) == ("space", made.club_kind, ("dtl", "fo"))
    assert shipped.provenance.label == LABEL == "Illustrative template, not a norm."
    assert shipped.provenance.notes == made.provenance.notes
    for view in ("dtl", "fo"):
        ours, theirs = made.bands[view], shipped.bands[view]
        assert set(ours.spreads) == set(theirs.spreads)
        for cell, spread in ours.spreads.items():
            assert theirs.spreads[cell].sd == pytest.approx(spread.sd, rel=0.1), cell


def test_provenance_has_a_line_for_every_choice(pair: tuple[Parameters, Model, Model]) -> None:
    parameters, model, _ = pair
    for parameter in PARAMETERS:
        lines = [line for line in model.provenance.notes if line.startswith(f"{parameter.name} ")]
        assert len(lines) == 1
        assert f" {parameters[parameter.name]:g}" in lines[0]
        assert "no source" not in lines[0].replace("no published source", "")
    assert any("Meister" in line for line in model.provenance.notes)


def test_impact_falls_on_a_sample_and_the_clock_starts_at_zero(pair: tuple[Parameters, Model, Model]) -> None:
    _, _, shipped = pair
    space = shipped.space
    assert space is not None
    impact = space.positions.time("impact")
    assert impact is not None
    assert space.time_s[0] == 0.0
    assert np.diff(space.time_s) == pytest.approx(1 / MAKER.rate_hz)
    assert np.min(np.abs(space.time_s - impact)) < 1e-6
    address = space.positions.time("address")
    assert address is not None
    assert address >= 0.5  # guide lines take the last 0.4 s before it


def test_a_coachs_own_numbers_come_out_true() -> None:
    base = shipped_parameters("mid iron")
    changed = {
        "shoulder_turn_deg": 92.0, "pelvis_turn_deg": 38.0, "backswing_s": 1.05, "downswing_s": 0.30, "shift_cm": 15.0,
        "forward_bend_deg": 32.0, "shaft_past_level_deg": -15.0, "stance_cm": 42.0, "stature_m": 1.65,
        "length_cm": 91.0,
    }  # fmt: skip
    parameters = Parameters("mid iron", {**base.values, **changed})
    made = make_swing(parameters)
    assert_true(parameters, dict(made.measured))
    assert dict(made.measured) == measured(made.space)
    assert unlikely(made.space) == ()


def test_what_cannot_be_had_together_is_said() -> None:
    changes = {"ball_forward_cm": 25.0, "lean_impact_deg": 20.0, "side_bend_deg": 0.0, "arm_hang_deg": 25.0}
    parameters = Parameters("mid iron", {**shipped_parameters("mid iron").values, **changes})
    quick = replace(MAKER, most_steps=8, most_strides=1)
    with pytest.raises(InputError, match="cannot be had together with the other numbers: the nearest swing found") as e:
        make_swing(parameters, settings=quick)
    name = e.value.message.split(" = ")[0]
    assert name in parameters.values
    assert name in e.value.hint


def test_a_swing_no_one_can_make_is_refused() -> None:
    parameters = Parameters("mid iron", {**shipped_parameters("mid iron").values, "downswing_s": 0.15})
    with pytest.raises(InputError, match="no human swing: the trunk turns at"):
        make_model(parameters, "too fast", bands=None)
