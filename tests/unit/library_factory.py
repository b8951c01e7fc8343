"""Readings made by hand for what keeps, lists and damages them."""

from __future__ import annotations

import functools
import hashlib
import math
from dataclasses import replace
from pathlib import Path

from model_factory import swing_model

from overlay.data import (
    ClipRead,
    FilmingFinding,
    FilmingReport,
    Measure,
    PhaseDifference,
    Position,
    Positions,
    SwingComparison,
    SwingRead,
)
from overlay.models import model_bytes
from overlay.terms import PARTS, PHASES, POSITION_NAMES, View

NAMES = (*(f"measure_{i:02d}" for i in range(19)), "tempo_ratio", "backswing_s", "downswing_s")


@functools.cache
def track(view: View = "dtl") -> bytes:
    """The content of a model file with a swing of that view."""
    model = swing_model()
    return model_bytes(replace(model, swings={view: model.swings[view]}, filming={}, pair_map=None))


def digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def positions(start_s: float = 1.0, missing: tuple[str, ...] = ("shaft_level_down",)) -> Positions:
    found = tuple(
        Position(name, start_s + 0.25 * i, 0.9 - 0.05 * i, "pose" if i % 2 else "club", None if i == 0 else 0.004 * i)
        for i, name in enumerate(POSITION_NAMES)
        if name not in missing
    )
    return Positions(found, {name: f"the {name} is hidden" for name in missing})


def measures(value: float = 1.0, lost: tuple[str, ...] = ()) -> tuple[Measure, ...]:
    """22 measures; ``tempo_ratio`` is ``value``."""
    result = []
    for i, name in enumerate(NAMES):
        if name in lost:
            result.append(Measure(name, math.nan, "deg", None, False, "the club is hidden", "top", 1.75))
            continue
        at = value if name == "tempo_ratio" else value + i
        unit = "" if name == "tempo_ratio" else "s" if name.endswith("_s") else "deg"
        result.append(Measure(name, at, unit, (at - 0.5, at + 0.75), position="top" if i < 19 else ""))
    return tuple(result)


def filming(height: float = 5.0, sd: float = 2.0) -> FilmingReport:
    return FilmingReport(
        (
            FilmingFinding(
                "camera_height",
                height,
                "cm",
                (height - 1.96 * sd, height + 1.96 * sd),
                "warn",
                "Too high.",
                "Lower it.",
            ),
            FilmingFinding("yaw", 1.0, "deg", (-1.0, 3.0), "pass", "Square."),
            FilmingFinding("roll", math.nan, "deg", None, "not seen", "Cannot be told."),
            FilmingFinding("rate", 60.0, "1/s", (60.0, math.inf), "pass", "60 frames a second."),
        )
    )


def differences(size: float = 0.1) -> tuple[PhaseDifference, ...]:
    """54 differences; one of them not scored."""
    nan = math.nan
    result = []
    for phase in PHASES:
        for part in PARTS:
            if (phase.name, part) == ("release", "head"):
                result.append(
                    PhaseDifference(
                        phase.name,
                        part,
                        nan,
                        (nan, nan),
                        (nan, nan),
                        "not scored",
                        nan,
                        (nan, nan),
                        nan,
                        None,
                        "hidden",
                    )
                )
                continue
            result.append(
                PhaseDifference(
                    phase.name,
                    part,
                    size,
                    (size / 2, 2 * size),
                    (0.8 * size, -0.6 * size),
                    "small",
                    80.0,
                    (70.0, 90.0),
                    0.03,
                    4.5,
                )
            )
    return tuple(result)


REFERENCE = b"a reference"


def comparison(size: float = 0.1, content: bytes = REFERENCE, name: str = "Model one") -> SwingComparison:
    return SwingComparison(
        hashlib.sha256(content).hexdigest(), name, "engine 1", differences(size), "The hands first.", "It sees 3 cm."
    )


def swing_read(
    number: int = 1,
    value: float = 1.0,
    *,
    start_s: float = 1.0,
    view: View = "dtl",
    compared: SwingComparison | None = None,
    lost: tuple[str, ...] = (),
    focus: str = "",
) -> SwingRead:
    return SwingRead(
        number,
        view,
        "right",
        positions(start_s),
        track(view),
        measures(value, lost),
        filming(),
        focus,
        "Look at this first." if focus else "",
        1.0,
        compared,
    )


def clip_read(name: str = "one", *swings: SwingRead, recorded_at: float | None = 1e9, engine: str = "e1") -> ClipRead:
    """A clip of that name; two swings unless others are given."""
    return ClipRead(
        digest(name),
        Path(f"/range/{name}.mp4"),
        1000,
        recorded_at,
        "inputs",
        engine,
        1920,
        1080,
        12.5,
        60.0,
        swings or (swing_read(1, 1.0), swing_read(2, 2.0, start_s=7.0)),
        ("The picture is dark.",),
        told='{"view": "dtl"}',
        marks='{"view": "fo"}' if name == "marked" else "",
    )


def failed_read(name: str = "bad") -> ClipRead:
    return ClipRead(
        digest(name),
        Path(f"/range/{name}.mp4"),
        10,
        None,
        "inputs",
        "e1",
        problem="No swing was found in bad.mp4.",
        hint="Film the whole swing.",
        problem_code=4,
    )
