"""A template of synthetic swings against its truth: a small version of studies/template_synthetic.py."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="module")
def study(repository: Path) -> ModuleType:
    folder = str(repository / "studies")
    sys.path.insert(0, folder)
    try:
        import template_synthetic

        return template_synthetic
    finally:
        sys.path.remove(folder)


def test_ten_swings_and_two_that_do_not_belong(study: ModuleType) -> None:
    """A gross fault and another style are left out, the ten others are not, and their middle is near the truth."""
    rates, rows = study.Rates(), []
    study.one_of_twelve(1, 91, rates, rows)
    assert rates.planted == {"fault, size 2": [True], "another style": [True]}
    assert rates.good_out == []
    (errors,) = rows
    assert errors.seen <= 1.8, "pose, % of a torso length"
    assert errors.backswing == pytest.approx(1.0, abs=0.02)
    assert errors.speed_60 == pytest.approx(1.0, abs=0.05), "linear stretching loses 35 % and more"
