"""The two curves of the report: height of the hands and turn of the shoulders, in the student's time."""

from __future__ import annotations

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Comparison, Swing
from overlay.kinematics import body_signals
from overlay.plots import curve_figure, student_and_reference
from overlay.terms import words

STEPS = 300
"""Points of each curve: more are not seen at the size of a page."""


def _signals(swing: Swing) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Time, hand height over the hips, and shoulder turn, both in torso lengths.

    Left minus right shoulder is the same for a player and his mirror image, so hands need not agree.
    """
    signals = body_signals(swing.pose)
    return signals.time_s, signals.hands[:, 1], signals.turn


def synced_signals(comparison: Comparison) -> dict[str, FloatArray]:
    """Both players' curves on the student's clock.

    Returns
    -------
    dict with ``time_s``, ``student_height``, ``reference_height``, ``student_turn``, ``reference_turn``; (300,) each.
    The reference is NaN where his swing has not begun or is over.
    """
    student_time_s, student_height, student_turn = _signals(comparison.student)
    reference_time_s, reference_height, reference_turn = _signals(comparison.reference)
    time_s = np.linspace(student_time_s[0], student_time_s[-1], STEPS)
    at_s = comparison.time_map.to_reference(time_s)
    inside = (at_s >= reference_time_s[0]) & (at_s <= reference_time_s[-1])

    def followed(values: FloatArray) -> FloatArray:
        return np.where(inside, np.interp(at_s, reference_time_s, values), np.nan)

    return {
        "time_s": time_s,
        "student_height": np.interp(time_s, student_time_s, student_height),
        "reference_height": followed(reference_height),
        "student_turn": np.interp(time_s, student_time_s, student_turn),
        "reference_turn": followed(reference_turn),
    }


def hand_height_and_turn(comparison: Comparison, names: tuple[str, str]) -> list[tuple[str, str, str]]:
    """Title, explanation and SVG of both figures."""
    synced = synced_signals(comparison)
    marks = [(words(position.name), position.time_s) for position in comparison.student.positions.found]
    figures = []
    for title, note, what, y_label, salt in (
        (
            "Height of the hands",
            "Above the middle of the hips, in torso lengths of each player.",
            "height",
            "hand height, torso lengths",
            "hand-height",
        ),
        (
            "Turn of the shoulders",
            "Width of the shoulder line across the picture, in torso lengths: positive when the chest is seen, "
            "negative when the back is. As one camera sees it; not an angle.",
            "turn",
            "shoulder line, torso lengths",
            "shoulder-turn",
        ),
    ):
        curves = student_and_reference(synced["time_s"], synced[f"student_{what}"], synced[f"reference_{what}"], names)
        svg = curve_figure(curves, marks, y_label=y_label, x_label="student's clip time, s", salt=salt)
        figures.append((title, note, svg))
    return figures
