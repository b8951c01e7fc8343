"""A small version of studies/checklist_faults.py: gross faults are named, a swing without a fault is left in peace."""

from __future__ import annotations

import dataclasses
import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from overlay.checklist import check_swing, load_checklist
from overlay.data import Measure
from overlay.golfer import GolferSpec, TempoSpec, simulate
from overlay.terms import View

SPEC = load_checklist()
PLAYER = GolferSpec(tempo=TempoSpec(pre_s=0.9, relax_s=0.4, post_s=0.0, waggle=0.0), variation=1.0)


@pytest.fixture(scope="module")
def bed(repository: Path) -> ModuleType:
    spec = importlib.util.spec_from_file_location("checklist_faults", repository / "studies" / "checklist_faults.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["checklist_faults"] = module  # its dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def plain(bed: ModuleType) -> dict[tuple[View, int], tuple[Measure, ...]]:
    """Measures of two swings of one player without a fault, in both views."""
    return {
        (view, i): bed.measured(
            bed.seen(simulate(dataclasses.replace(PLAYER, seed=40 + i)), view, bed.Stand(0.02, 1.0), 60.0, i)
        )
        for view in ("dtl", "fo")
        for i in (0, 1)
    }


def test_nothing_is_named_without_a_fault(plain: dict[tuple[View, int], tuple[Measure, ...]]) -> None:
    for view in ("dtl", "fo"):
        one, other = plain[view, 0], plain[view, 1]  # type: ignore[index]
        assert check_swing(one, view, SPEC).first.check is None  # type: ignore[arg-type]
        against = check_swing(one, view, SPEC, reference=other)  # type: ignore[arg-type]
        assert against.first.check is None
        assert against.first.sentence.startswith("Nothing to work on was found")


@pytest.mark.parametrize("fault", ["sway", "reverse_spine", "posture_loss", "over_the_top"])
def test_a_gross_fault_is_named_by_its_row(
    bed: ModuleType, plain: dict[tuple[View, int], tuple[Measure, ...]], fault: str
) -> None:
    view, key = bed.BELONGS[fault]
    golfer = dataclasses.replace(PLAYER, seed=42, faults={fault: 2.0})
    mine = bed.measured(bed.seen(simulate(golfer), view, bed.Stand(0.02, 1.0), 60.0, 3))
    row = SPEC.get(key)
    assert row is not None
    for reference in (None, plain[view, 1]):
        first = check_swing(mine, view, SPEC, reference=reference).first
        assert first.check is not None
        assert first.check.row == row.number
        assert first.focus in {measure.name for measure in row.measures}
