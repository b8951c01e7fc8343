"""What was told about a clip goes into the library and comes back the same."""

from __future__ import annotations

from fractions import Fraction

import pytest

from overlay.errors import InputError
from overlay.pipeline import ClipOptions
from overlay.pipeline.told import told_options, told_text

EVERYTHING = ClipOptions(
    view="fo",
    handedness="left",
    capture_rate=Fraction(240000, 1001),
    mirrored=True,
    rotation_deg=90,
    allow_others=True,
    stature_cm=178.5,
    everywhere=True,
)


@pytest.mark.parametrize("options", [ClipOptions(), EVERYTHING, ClipOptions(rotation_deg=0)])
def test_what_was_told_comes_back(options: ClipOptions) -> None:
    assert told_options(told_text(options)) == options


def test_how_a_run_is_made_is_not_told() -> None:
    assert told_text(ClipOptions(use_cache=False, swing=2)) == told_text(ClipOptions()) == "{}"
    assert told_options("") == ClipOptions()


@pytest.mark.parametrize(
    "text",
    [
        "[]",
        "{",
        '{"view": "up"}',
        '{"view": 1}',
        '{"capture_rate": "1/0"}',
        '{"capture_rate": 240}',
        '{"capture_rate": "1e9"}',
        '{"mirrored": 1}',
        '{"rotation_deg": 90.0}',
        '{"rotation_deg": 45}',
        '{"stature_cm": true}',
        '{"stature_cm": NaN}',
        "[" * 100_000,
    ],
)
def test_a_damaged_text_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="told about this clip"):
        told_options(text)
