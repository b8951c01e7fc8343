"""From cues to candidate times with uncertainties.

Each position has a calibration for each view: a ridge regression of the true time on the cue times, all counted
from the nearest moment that every swing shows, in units of the swing's own downswing or backswing, so that it holds
for any tempo, frame rate and slow motion. Where a cue is missing its expected place is used and the uncertainty grows
by what that costs; where a cue lies further off than it ever did in calibration, the uncertainty grows as well.
A plain rule per position, one cue each, stands in where there is no calibration ("other" views).

The calibration is learned on the synthetic golfer, so it was checked where that could mislead: on players left out of
the fit, on players whose style lies further out than any fitted on (docs/studies/positions_calibration.md), on
rendered pictures tracked by the pose model (studies/positions_synthetic.py --rendered) and on hand-labelled real swings
(tests/end_to_end/test_real_tracks_positions.py). Cues are measured from the nearest moment every swing shows and
limited to three spreads, so that a swing unlike all of these falls back towards that moment; ``MODEL_SD`` stands for
what real players differ.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Mapping

import numpy as np

from overlay.positions.fusion import Candidate
from overlay.positions.signals import SwingSignals

RULES: dict[str, tuple[tuple[str, ...], float]] = {
    "address": (("depart_anchor", "quiet_10", "leave"), 0.25),
    "shaft_level_back": (("back_rise_10", "back_rise_20"), 0.40),
    "lead_arm_level_back": (("back_arm_p00", "back_rise_75"), 0.25),
    "top": (("top_anchor",), 0.20),
    "lead_arm_level_down": (("down_arm_p00", "down_rise_75"), 0.15),
    "shaft_level_down": (("down_rise_10", "down_rise_20"), 0.12),
    "impact": (("low_height", "low_arm", "fast"), 0.10),
    "shaft_level_through": (("through_rise_20",), 0.20),
    "finish": (("end_anchor", "relax_06"), 0.50),
}
"""Without calibration: the first of these cues that is there, and its standard deviation in downswings."""

MODEL_SD = 0.05
"""Downswings: what real players differ from the synthetic ones the calibration knows, at least."""

HELD_TO_THE_END = 0.10
"""Standard deviation, downswings, of a finish that is still held when the recording stops."""

USUAL_TREMBLE, MOST_TREMBLE = 0.004, 0.02
"""Torso lengths: taken where it cannot be measured, and the end of what the calibration knows."""

NEVER_HELD = 0.35
"""Standard deviation, downswings, of a finish that no stillness shows: the club is let down over a downswing or two."""

ANCHORS: dict[str, str] = {
    "address": "start",
    "shaft_level_back": "early",
    "lead_arm_level_back": "late",
    "top": "top",
    "lead_arm_level_down": "high",
    "shaft_level_down": "low",
    "impact": "low",
    "shaft_level_through": "low",
    "finish": "end",
}
"""What the times of a position are counted from: the nearest moment that every swing shows."""

BACKSWING = ("address", "shaft_level_back", "lead_arm_level_back")
"""Positions whose times are counted in the backswing's own unit, so that tempo does not move them."""


@dataclass(frozen=True)
class Calibration:
    """Ridge regression of one position in one view, times in downswings from the anchor.

    Attributes
    ----------
    cues : names
    expected, spread : mean and standard deviation of each cue
    weights : one a cue
    intercept : mean of the true time
    sd : standard deviation of the error on swings left out whose tracks are quiet
    tremble_sd : what the track's tremble adds to it, downswings a torso length
    """

    cues: tuple[str, ...]
    expected: tuple[float, ...]
    spread: tuple[float, ...]
    weights: tuple[float, ...]
    intercept: float
    sd: float
    tremble_sd: float = 0.0

    def estimate(
        self, cues: Mapping[str, float], anchor_s: float, unit_s: float, tremble: float = 0.0
    ) -> tuple[float, float]:
        """(time, standard deviation), s of playback; ``tremble`` as in ``SwingSignals``, NaN where not known."""
        if math.isnan(tremble):
            tremble = USUAL_TREMBLE
        value, variance = self.intercept, self.sd**2 + (self.tremble_sd * min(tremble, MOST_TREMBLE)) ** 2
        for name, expected, spread, weight in zip(self.cues, self.expected, self.spread, self.weights):
            seen = cues.get(name, math.nan)
            if math.isnan(seen):
                variance += (weight * spread) ** 2
                continue
            away = (seen - anchor_s) / unit_s - expected
            # Beyond three spreads the swing is unlike those of the calibration: the cue counts no further.
            limited = max(-3.0 * spread, min(3.0 * spread, away))
            value += weight * limited
            variance += (weight * min(abs(away - limited), 3.0 * spread)) ** 2
        return anchor_s + unit_s * value, unit_s * math.sqrt(variance)


@cache
def calibrations() -> dict[tuple[str, str], Calibration]:
    """(view, position) → calibration, as shipped with the package; empty when none is shipped."""
    source = resources.files("overlay.positions").joinpath("calibration.json")
    if not source.is_file():
        return {}
    table = json.loads(source.read_text(encoding="utf-8"))
    return {
        (view, name): Calibration(
            tuple(row["cues"]),
            tuple(row["expected"]),
            tuple(row["spread"]),
            tuple(row["weights"]),
            row["intercept"],
            row["sd"],
            row["tremble_sd"],
        )
        for view, rows in table["views"].items()
        for name, row in rows.items()
    }


def candidate(
    name: str,
    cues: Mapping[str, float],
    view: str,
    anchors: Mapping[str, float],
    unit_s: float,
    back_unit_s: float,
    signals: SwingSignals,
) -> Candidate | None:
    """The pose's candidate for one position, None when no cue for it is there.

    Parameters
    ----------
    cues : mapping
        Cue → s, NaN or absent where not found.
    anchors : mapping
        Values of ``ANCHORS`` → s.
    unit_s : float
        The swing's downswing time.
    back_unit_s : float
        The backswing's unit of time.
    signals : SwingSignals
        Tells how well the hands are seen around the moment: poorly seen or hidden hands make it less sure, and a
        quarter of the frame spacing always counts, since smoothing cannot invent what lies between frames.
    """
    if name == "finish" and not math.isnan(cues.get("clip_end", math.nan)):
        # Still held when the recording stops: the last frame is the last one that shows it.
        return Candidate(name, cues["clip_end"], math.hypot(HELD_TO_THE_END * unit_s, signals.frame_s / 4), "pose")
    if name == "finish" and not math.isnan(cues.get("never_held", math.nan)):
        return Candidate(name, cues["never_held"], math.hypot(NEVER_HELD * unit_s, signals.frame_s / 4), "pose")
    calibration = calibrations().get((view, name))
    anchor_s = anchors.get(ANCHORS[name], math.nan)
    if math.isnan(anchor_s):
        return None
    if calibration is None:
        names, spread = RULES[name]
        times = [cues[cue] for cue in names if not math.isnan(cues.get(cue, math.nan))]
        if not times:
            return None
        time_s, sd_s = times[0], spread * unit_s
    else:
        known = [cue for cue in calibration.cues if not math.isnan(cues.get(cue, math.nan))]
        if not known:
            return None
        scale_s = back_unit_s if name in BACKSWING else unit_s
        time_s, sd_s = calibration.estimate(cues, anchor_s, scale_s, signals.tremble)
    if name == "finish":
        # Read from the body without the hands: that they are hidden behind the head takes nothing away.
        return Candidate(name, time_s, math.hypot(sd_s, MODEL_SD * unit_s, signals.frame_s / 4), "pose")
    near = signals.index(time_s)
    reach = max(1, round(0.15 * unit_s / signals.step_s))
    around = slice(max(0, near - reach), near + reach + 1)
    unseen = max(0.0, 0.6 - float(np.mean(signals.seen[around])))
    # Hidden hands may pass the moment anywhere in the gap: a uniform spread of its length.
    gap_s = float(np.max(signals.gap_s[around]))
    sd_s = math.hypot(sd_s, MODEL_SD * unit_s, signals.frame_s / 4, gap_s / math.sqrt(12)) * (1.0 + unseen)
    return Candidate(name, time_s, sd_s, "pose")
