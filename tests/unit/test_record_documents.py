"""The JSON of the record: strict, harmless on a terminal, and every field described."""

from __future__ import annotations

import datetime
import json
import math
import re
import unicodedata
from pathlib import Path

import numpy as np
import pytest
from record_factory import holding_answer

from overlay import record_documents as documents
from overlay.data.change import CameraShift
from overlay.data.record import (
    KeptClip,
    KeptSwing,
    MeasureSeries,
    Note,
    Player,
    Session,
    SessionCamera,
    SwingComparison,
)

DAY = datetime.date(2031, 5, 3)
SESSION = Session(4, 1, "Wren", DAY, "7 iron", "Larkspur Range", "hips", "tempo_ratio", "lower", 2, 1, 9, ("windy",))
CLIP = KeptClip(7, 4, "ab" * 32, Path("/clips/a.mp4"), 12, 0.0, "", "", "i", "e", 2)
SWING = KeptSwing(
    31, 7, 4, "Wren", DAY, "7 iron", Path("/clips/a.mp4"), 1, "dtl", "left", math.nan, 8.0, 3.14159, "hips", "warn",
    True, ("felt-right",), {"tempo_ratio": 3.14159},
)  # fmt: skip
NOTE = Note(3, "swing", 31, "2031-05-03T10:00:00+00:00", "Held\nthe finish")


def every_document() -> list[dict[str, object]]:
    shift = CameraShift((("roll", 1.0, 0.5, "deg"),), 0.1, 0.05, 0.2, True, "The cameras differ.")
    comparison = SwingComparison("cd" * 32, "Larkspur model", "e", (), "first", "fine")
    series = MeasureSeries(
        "tempo_ratio", "ratio", "dtl", np.array([31]), np.array([4]), np.array([3.1]), np.array([np.nan]),
        np.array([np.nan]), (SESSION,), (3.0, 2.9, math.inf),
    )  # fmt: skip
    compared = documents.kept_comparison_document(comparison)
    shifted = documents.camera_shift_document(shift)
    assert compared is not None
    assert shifted is not None
    return [
        documents.player_document(Player(1, "Wren", "left", 168.0, "best"), sessions=2, swings=9, last=DAY),
        documents.session_document(SESSION, {"dtl": 9}),
        documents.kept_clip_document(CLIP, present=True),
        documents.kept_swing_document(SWING),
        documents.note_document(NOTE),
        compared,
        documents.series_document(series),
        documents.change_document(holding_answer()),
        shifted,
        documents.session_camera_document(SessionCamera(4, "dtl", 3, {"roll": 1.0}, {"roll": 0.2})),
    ]


def test_documents_say_what_the_types_say() -> None:
    assert documents.kept_swing_document(SWING)["impact_s"] is None
    assert documents.kept_swing_document(SWING)["values"] == {"tempo_ratio": 3.1416}
    assert documents.session_document(SESSION, {"dtl": 9})["swings_by_view"] == {"dtl": 9, "fo": 0, "other": 0}
    assert documents.session_document(SESSION)["swings_by_view"] is None
    assert documents.kept_clip_document(CLIP)["recorded_at"] == "1970-01-01T00:00:00+00:00"
    assert documents.moment(math.nan) is None
    assert documents.moment(1e300) is None
    assert documents.kept_comparison_document(None) is None
    answer = documents.change_document(holding_answer("holding"))
    assert answer["holding"]["word"] == "holding"
    assert len(answer["means"]) == 9


def test_all_of_it_is_strict_json() -> None:
    text = documents.to_json(documents.headed("all", {"all": every_document()}))
    assert "NaN" not in text
    assert "Infinity" not in text
    assert json.loads(text)["schema"] == documents.SCHEMA


def keys_of(value: object, ignored: tuple[str, ...] = ("values",)) -> set[str]:
    """Names of fields; those of tables whose keys are measures are data."""
    if isinstance(value, dict):
        inner = (item for key, item in value.items() if not (key in ignored and isinstance(item, dict)))
        return set(value) | {key for item in inner for key in keys_of(item)}
    if isinstance(value, list):
        return {key for item in value for key in keys_of(item)}
    return set()


def test_every_field_is_described(repository: Path) -> None:
    page = (repository / "docs" / "record-json.md").read_text(encoding="utf-8")
    documented = set(re.findall(r'"([a-z][a-z0-9_]*)"', page))
    assert keys_of(every_document()) <= documented
    assert "no_such_field" not in documented


@pytest.mark.parametrize("letter", ["\x1b", "\x9b", "\u202e", "\u2028", "\ufeff", "\udc80", "\x7f", "\U000e0041"])
def test_nothing_that_acts_on_a_terminal_is_printed_raw(letter: str) -> None:
    document = {"name": f"Wren{letter}Aldous 雀 🏌"}
    text = documents.to_json(document)
    assert json.loads(text) == document
    assert letter not in text
    assert "雀 🏌" in text
    assert all(shown == "\n" or unicodedata.category(shown) not in ("Cc", "Cf", "Cs", "Co", "Cn") for shown in text)
