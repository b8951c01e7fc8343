"""A template of real swings and others aligned to it: a part of studies/template_real.py."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from overlay.align import align
from overlay.template import build_template


@pytest.mark.real
@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_real_swings_align_to_a_template_they_are_not_in(repository: Path, real_data: Path, view: str) -> None:
    folder = str(repository / "studies")
    sys.path.insert(0, folder)
    try:
        import alignment_real
    finally:
        sys.path.remove(folder)
    swings = {key: replace(s, view=view) for key, s in alignment_real.load_swings(real_data)[view].items()}
    keys = list(swings)
    behind = keys[::3]
    template = build_template([swings[key] for key in behind], behind, of="several players")
    assert len(template.kept) >= 0.8 * len(behind)
    assert len(template.band.spreads) >= 30
    for key in keys[1::3]:
        time_map = align(swings[key], template.swing)
        slopes = np.diff(time_map.to_reference(np.arange(*alignment_real.span(swings[key]), 0.02))) / 0.02
        assert slopes.min() >= 0.25
        assert slopes.max() <= 4.0
