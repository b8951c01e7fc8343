"""How the camera of the later sessions differs from that of the baseline, finding by finding, with what is unsure.

A finding of the filming check is off by the pose model's habit with this player in this view. That is the same in
every session of his and drops out of the difference. What is left of each session's finding is the smaller part of its
standard error (which the clips' own intervals make, habit and all), and what differs from day to day without any
camera: clothes and light, and how the feet are aimed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from overlay.data import SessionCamera
from overlay.settings.explain import SessionCameraSettings
from overlay.terms import View

FINDINGS: tuple[str, ...] = ("camera_height", "camera_offset", "yaw", "roll", "camera_distance")
"""In the order in which they are told; their units are those of the filming check."""

UNITS = {"camera_height": "cm", "camera_offset": "cm", "yaw": "deg", "roll": "deg", "camera_distance": "m"}


@dataclass(frozen=True)
class Shift:
    """One finding, later minus baseline.

    Attributes
    ----------
    finding, unit : str
    baseline : float
        Mean over the baseline sessions; NaN where none saw it.
    value : float
        The difference; NaN where one side did not see it.
    sd : float
        Of the difference; the usual spread between two placements where it was not seen.
    """

    finding: str
    unit: str
    baseline: float
    value: float
    sd: float

    @property
    def is_seen(self) -> bool:
        return math.isfinite(self.value)


def scatter_of(view: View, settings: SessionCameraSettings) -> dict[str, float]:
    """Finding → SD of one session's finding about the camera's place, beside its own standard error."""
    return dict(settings.scatter_fo if view == "fo" else settings.scatter_dtl)


def shifts_between(
    baseline: Sequence[SessionCamera],
    later: Sequence[SessionCamera],
    view: View,
    settings: SessionCameraSettings,
) -> tuple[Shift, ...]:
    """Every finding of ``FINDINGS``, seen or not.

    A session in which a finding is lacking may have been filmed from anywhere: its share of the side's mean is unsure
    by the usual spread between two placements.
    """
    scatter = scatter_of(view, settings)
    found = []
    for name in FINDINGS:
        (before, before_sd), (after, after_sd) = (
            _mean(side, name, scatter[name], settings) for side in (baseline, later)
        )
        value = after - before
        if math.isfinite(value):
            sd = math.sqrt(before_sd**2 + after_sd**2 + (settings.size_shares[name] * value) ** 2)
        else:
            sd = settings.spread[name]
        found.append(Shift(name, UNITS[name], before, value, sd))
    return tuple(found)


def _mean(
    side: Sequence[SessionCamera], name: str, scatter: float, settings: SessionCameraSettings
) -> tuple[float, float]:
    """Mean over the sessions that saw it and its standard deviation as the mean of all; NaN when none did."""
    seen = [(session.values[name], session.sds[name]) for session in side if name in session.values]
    if not seen:
        return math.nan, math.nan
    # Without a standard error a session is taken to be as unsure again as sessions are among each other.
    own = [(1.0 - settings.habit) * sd**2 if math.isfinite(sd) else scatter**2 for _, sd in seen]
    variance = sum(one + scatter**2 for one in own) / len(seen) ** 2
    unseen = (1.0 - len(seen) / len(side)) * settings.spread[name]
    return sum(value for value, _ in seen) / len(seen), math.sqrt(variance + unseen**2)
