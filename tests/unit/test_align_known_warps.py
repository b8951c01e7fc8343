"""A small version of studies/alignment_warps.py: the error against known time maps stays within what was asked for."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from overlay.align import align


@pytest.fixture(scope="module")
def bed(repository: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("alignment_bed", repository / "studies" / "alignment_bed.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["alignment_bed"] = module
    spec.loader.exec_module(module)
    return module


# Mean, 95th percentile, downswing and impact, ms.
@pytest.mark.parametrize(
    ("other_style", "rate_hz", "reach"),
    [
        (False, 60.0, (12.0, 40.0, 6.0, 6.0)),
        (False, 30.0, (15.0, 45.0, 9.0, 9.0)),
        (True, 60.0, (21.0, 60.0, 8.0, 8.0)),
        (True, 30.0, (24.0, 65.0, 11.0, 11.0)),
    ],
)
def test_errors_on_known_warps(
    bed: ModuleType, other_style: bool, rate_hz: float, reach: tuple[float, float, float, float]
) -> None:
    cases = bed.make_cases(bed.Kind(other_style, rate_hz), 8, 5000)  # the first pairs of the study
    result = bed.summarise([bed.measure(case, align(case.student, case.reference)) for case in cases])
    assert result.mean <= reach[0]
    assert result.p95 <= reach[1]
    assert result.downswing <= reach[2]
    assert result.impact <= reach[3]
    assert result.stutter <= 1.0
    assert result.slope_low > 0.2


def test_the_bed_itself_has_the_identity_as_the_truth_of_a_swing_and_itself(bed: ModuleType) -> None:
    import numpy as np

    student, _ = bed.random_pair(np.random.default_rng(1), False, False)
    times = np.linspace(student.position_times["address"], student.position_times["finish"], 50)
    np.testing.assert_allclose(bed.true_map(student, student)(times), times, atol=1e-6)
    warped = bed.random_warp(np.random.default_rng(2), student)
    mapped = bed.true_map(warped, student)(np.array(list(warped.position_times.values())))
    np.testing.assert_allclose(mapped, list(student.position_times.values()), atol=1e-3)
