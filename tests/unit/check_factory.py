"""Checks, filming reports and clubs made by hand, for what draws and prints them."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from overlay.data import (
    Ball,
    Check,
    Checklist,
    ClubState,
    ClubTrack,
    FilmingFinding,
    FilmingReport,
    FirstThing,
    Measure,
    Strike,
    Swing,
)
from overlay.kinematics import hand_path


def with_club(swing: Swing, state: ClubState = "measured", angle_deg: float = 55.0, length_px: float = 70.0) -> Swing:
    """The swing with a shaft from its wrists at one angle in every frame."""
    n = len(swing.pose)
    grip = np.nan_to_num(hand_path(swing.pose).points, nan=100.0)
    return replace(
        swing, club=ClubTrack(swing.pose.time_s, grip, np.full(n, angle_deg), np.full(n, length_px), (state,) * n)
    )


def with_strike(swing: Swing, struck: bool | None = True) -> Swing:
    """The swing with a ball that is struck or stays."""
    ball = Ball((215.0, 262.0), 5.0, 0.8)
    reason = "The ball is gone at impact and a click is heard." if struck else "The ball stays where it lies."
    return replace(swing, strike=Strike(swing.positions.times()["impact"], 0.004, struck, ball, (), reason))


def make_check(
    name: str,
    value: float | None,
    verdict: str,
    *,
    row: int = 2,
    title: str = "Takeaway: hand depth",
    unit: str = "torso",
    position: str = "shaft_level_back",
    time_s: float | None = None,
    reference: float | None = None,
    differs: bool = False,
    sentence: str = "The hands are outside the hand depth line.",
    tolerance: tuple[float, float] = (-0.25, 0.10),
) -> Check:
    """One line of a checklist; ``value`` None is not measured."""
    half = 0.06 if unit == "torso" else 5.0

    def read(number: float | None) -> Measure:
        if number is None:
            return Measure(name, math.nan, unit, None, False, "the shaft is seen end-on", position, time_s)
        return Measure(name, number, unit, (number - half, number + half), True, "", position, time_s)

    other = None if reference is None else read(reference)
    difference = None
    if reference is not None and value is not None:
        gap = value - reference
        difference = Measure(name, gap, unit, (gap - 0.08, gap + 0.08))
    return Check(row, title, read(value), tolerance, verdict, sentence, other, difference, differs)  # type: ignore[arg-type]


def make_checklist(*, compared: bool = False) -> Checklist:
    """Five rows of every kind; the first one is to be worked on."""
    checks = (
        make_check("hand_depth_back", 0.21, "out", reference=0.02 if compared else None, differs=compared),
        make_check(
            "club_head_over_hands_back",
            None,
            "not measured",
            title="Takeaway: club head",
            sentence="Not measured: the shaft is seen end-on.",
        ),
        make_check(
            "lead_arm_to_spine_top",
            97.0,
            "in",
            row=4,
            title="Top: lead arm",
            unit="deg",
            position="top",
            reference=95.0 if compared else None,
            sentence="The lead arm is 97° to the spine.",
            tolerance=(75.0, 105.0),
        ),
        make_check(
            "hips_line_release",
            0.14,
            "unclear",
            row=9,
            title="Release: hips",
            position="impact",
            sentence="The hips are near the edge.",
            tolerance=(-math.inf, 0.13),
        ),
    )
    first = FirstThing(
        "Work on this first: hand depth (takeaway). The hands are 0.21 torso lengths outside the hand depth line: "
        "they have been pushed away; the good picture is slightly in.",
        checks[0],
        "The club's way back starts here.",
        "Let the hands brush past the trail thigh. This is no medical advice.",
        "hand_depth_back",
    )
    return Checklist(checks, first, "default", ("Row 5 is seen face on.",))


NOTHING = Checklist((), FirstThing("Nothing to work on was found: all 9 measures lie inside their tolerances."))


def make_filming(*, good: bool = False) -> FilmingReport:
    """A report with one finding of each verdict, or with good ones alone."""
    fine = FilmingFinding("roll", 0.3, "deg", (-0.5, 1.1), "pass", "The picture is level.")
    if good:
        return FilmingReport((fine,))
    return FilmingReport(
        (
            FilmingFinding(
                "camera_offset", 20.0, "cm", (12.0, 28.0), "fail", "The lens stands 20 cm outside.", "Move it 20 cm."
            ),
            FilmingFinding("camera_height", 16.0, "cm", (8.0, 24.0), "warn", "The lens is 16 cm high.", "Lower it."),
            fine,
            FilmingFinding("light", math.nan, "", None, "not seen", "The light was not seen."),
        )
    )
