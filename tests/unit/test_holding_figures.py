"""A small version of studies/holding_simulation.py: what the verdict is worth stays within what was asked for."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

RUNS = 1500


@pytest.fixture(scope="module")
def study(repository: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "holding_simulation", repository / "studies" / "holding_simulation.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_swings_that_resemble_their_neighbours(study: ModuleType) -> None:
    """The variance of a mean of correlated values, against the sum over their whole covariance matrix."""
    for n, neighbours in ((1, 0.5), (7, 0.0), (7, 0.6)):
        lags = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
        assert study.mean_variance(n, neighbours) == pytest.approx(np.sum(float(neighbours) ** lags) / n**2)


def test_no_change_is_seldom_called_one(study: ModuleType) -> None:
    tally = study.run(study.Season(), RUNS, 1)
    assert tally.share("holding") <= 0.05
    assert tally.share("faded") <= 0.03
    assert tally.significant / RUNS == pytest.approx(0.05, abs=0.017)


@pytest.mark.parametrize("place", [0, 2, 3])
def test_one_good_session_is_no_change(study: ModuleType, place: int) -> None:
    assert study.run(study.Season(shift=study.blip(4, place, 2.0)), RUNS, 2).share("holding") <= 0.037


def test_a_fading_change_is_seldom_called_holding(study: ModuleType) -> None:
    tally = study.run(study.Season(shift=study.fade(4, 2.0)), RUNS, 3)
    assert tally.share("holding") <= 0.10
    assert tally.share("faded") >= 0.45
    assert study.run(study.Season(shift=study.gone(4, 2.0)), RUNS, 4).share("faded") >= 0.80


def test_a_lasting_change_is_found(study: ModuleType) -> None:
    tally = study.run(study.Season(shift=(2.0,)), RUNS, 5)
    assert tally.share("holding") >= 0.93
    assert tally.share("faded") <= 0.02


def test_a_small_change_that_lasts_does_not_fade_by_chance(study: ModuleType) -> None:
    """A change of one SD of a session mean: often the last two do not both show it, by chance alone."""
    tally = study.run(study.Season(20, 20, (0.5,)), 400, 7)
    assert tally.significant / 400 > 0.75
    assert tally.share("faded") <= 0.08


def test_twenty_four_measures_together(study: ModuleType) -> None:
    by_holm, either, alone, _ = study.together(400, 6, 24, 0.0)
    assert by_holm <= 0.08
    assert either <= 0.10
    assert alone > 0.4


def test_the_page_is_written_whole(study: ModuleType) -> None:
    text = study.page(6)
    for heading in ("## Asked for", "## How many sessions", "## Unequal sessions", "## Many measures at once"):
        assert heading in text
    assert "nan" not in text
