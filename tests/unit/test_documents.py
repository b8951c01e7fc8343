"""The JSON documents: strict, complete, and as documented."""

from __future__ import annotations

import dataclasses
import json
import math
import re
from pathlib import Path

import numpy as np

from overlay import documents
from overlay.data import (
    Ball,
    Check,
    Checklist,
    ClubTrack,
    Comparison,
    FilmingFinding,
    FilmingReport,
    FirstThing,
    Guide,
    Measure,
    PhaseDifference,
    PhaseTiming,
    PoseTrack,
    Position,
    Positions,
    Strike,
    StrikeClue,
    Swing,
    TimeMap,
)
from overlay.terms import POSITION_NAMES


def a_swing() -> Swing:
    n = 5
    track = PoseTrack(
        points=np.full((n, 33, 2), np.nan),
        depth=np.full((n, 33), np.nan),
        visibility=np.zeros((n, 33)),
        time_s=np.arange(n) / 30,
        image_size=(480, 854),
        source="csv",
    )
    club = ClubTrack(
        time_s=np.array([0.0, 0.1]),
        grip=np.array([[1.0, 2.0], [np.nan, np.nan]]),
        angle_deg=np.array([91.234, np.nan]),
        length_px=np.array([150.0, np.nan]),
        state=("measured", "hidden"),
    )
    found = (Position("address", 0.01, 0.8), Position("top", 0.08, 0.9, "marked"))
    missing = {name: "the clip ends before it" for name in POSITION_NAMES if name not in ("address", "top")}
    return Swing(None, track, "fo", 0.9, "left", 0.95, Positions(found, missing), club=club, notes=("short",))


def a_look() -> documents.Looked:
    """A swing with one of everything that a closer look gives."""
    measure = Measure("pelvis_gap_top", 0.05, "torso", (0.01, 0.09), True, "", "top", 0.08)
    check = Check(5, "pelvis", measure, (-math.inf, 0.1), "in", "good", measure, measure, False)
    ball = Ball((240.0, 700.0), 9.0, 0.9, 0.08, 0.1)
    strike = Strike(0.09, 0.005, True, ball, (StrikeClue("ball", 0.09, 0.005),), "the ball is gone")
    return documents.Looked(
        dataclasses.replace(a_swing(), strike=strike),
        (Guide("trail_leg_line", "line", np.array([[1.0, 2.0], [1.0, 9.0]])),),
        (measure,),
        Checklist((check,), FirstThing("Nothing to work on."), "default", ("short",)),
        FilmingReport((FilmingFinding("roll", 1.0, "deg", (0.0, 2.0), "pass", "level", ""),)),
    )


def a_comparison() -> Comparison:
    nan = float("nan")
    row = PhaseDifference("backswing", "pelvis", 0.2, (0.1, 0.3), (-0.2, 0.0), "large", 50.0, (21.0, 84.0), 0.08, 10.2)
    blank = PhaseDifference(
        "release", "hands", nan, (nan, nan), (nan, nan), "not scored", nan, (nan, nan), nan, None, "hidden"
    )
    timing = PhaseTiming("takeaway", 0.4, nan, nan, nan, "no address")
    time_map = TimeMap(np.array([0.0, 1.0]), np.array([0.1, 1.3]), {"cost": 0.01})
    return Comparison(a_swing(), a_swing(), time_map, (row, blank), (timing,), "one against one", (), row, row)


def test_inspect_document_has_the_promised_fields() -> None:
    looked = documents.Looked(a_swing())
    document = json.loads(documents.to_json(documents.inspect_document(None, "a.csv", [looked], ["n"])))
    assert document["schema"] == 1
    assert document["clip"] == {"path": "a.csv"}
    swing = document["swings"][0]
    assert (swing["view"], swing["handedness"]) == ("fo", "left")
    assert swing["positions"][1] == {"name": "top", "time_s": 0.08, "confidence": 0.9, "source": "marked", "sd_s": None}
    assert {row["name"] for row in swing["missing"]} == set(POSITION_NAMES) - {"address", "top"}
    assert swing["club"][0]["angle_deg"] == 91.23
    assert swing["club"][1] == {
        "time_s": 0.1,
        "angle_deg": None,
        "grip_px": [None, None],
        "length_px": None,
        "state": "hidden",
        "angle_sd_deg": None,
    }


def test_a_closer_look_is_in_the_document_and_open_ends_are_null() -> None:
    document = json.loads(documents.to_json(documents.inspect_document(None, "a.csv", [a_look()], [])))
    swing = document["swings"][0]
    assert swing["checklist"]["checks"][0]["tolerance"] == [None, 0.1]
    assert swing["checklist"]["first"] == {
        "sentence": "Nothing to work on.", "row": None, "measure": None, "why": "", "look_for": "", "focus": ""
    }  # fmt: skip
    assert swing["measures"][0]["interval"] == [0.01, 0.09]
    assert swing["strike"]["ball"]["gone_s"] == 0.1
    assert swing["guides"][0]["points_px"] == [[1.0, 2.0], [1.0, 9.0]]
    assert swing["filming"]["verdict"] == "pass"


def test_compare_document_is_strict_json() -> None:
    text = documents.to_json(documents.compare_document(a_comparison(), "a.mp4", "b.mp4"))
    assert "NaN" not in text
    document = json.loads(text)
    assert document["time_map"]["pairs_s"] == [[0.0, 0.1], [1.0, 1.3]]
    assert document["first"]["part"] == "pelvis"
    assert document["differences"][1]["value"] is None
    assert document["timings"][0]["difference_ms"] is None


def keys_of(value: object) -> set[str]:
    if isinstance(value, dict):
        return set(value) | {key for inner in value.values() for key in keys_of(inner)}
    if isinstance(value, list):
        return {key for inner in value for key in keys_of(inner)}
    return set()


def test_every_field_is_described(repository: Path) -> None:
    page = (repository / "docs" / "json-schema.md").read_text(encoding="utf-8")
    documented = set(re.findall(r"[a-z][a-z0-9_]+", page))
    compare = documents.compare_document(a_comparison(), "a", "b")
    inspect = documents.inspect_document(None, "a", [a_look()], [])
    assert keys_of(compare) - {"cost"} | keys_of(inspect) <= documented | {"cost"}
