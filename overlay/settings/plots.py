"""Sizes of the figures of change, and what their lines for looking are made of."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Mapping

from overlay.settings import setting


@dataclass(frozen=True)
class PlotSettings:
    """How change over sessions is drawn."""

    ewma_weight: float = setting(
        0.3, "fraction", "middle of the usual 0.2–0.4; NIST/SEMATECH e-Handbook 6.3.2.4 uses it"
    )
    least_for_limits: int = setting(
        3, "count", "baseline sessions before their usual range is drawn: two give one moving range only"
    )
    outlier_sds: float = setting(
        6.0,
        "robust SD",
        "a swing further than this from the middle of all is shown as an arrow at the edge, so that one misread swing "
        "does not flatten the season; the arrow tells its value",
    )
    gap_days: int = setting(28, "days", "a pause of four weeks is told; shorter ones are a season's rhythm")
    gap_times: float = setting(2.5, "× the median pause", "and only where it stands out among the others")
    most_vector_dots: int = setting(
        2500, "count", "beyond it the dots are one picture inside the SVG: some 100 bytes a dot would make megabytes"
    )
    least_span: Mapping[str, float] = field(
        default_factory=lambda: MappingProxyType({"torso": 0.1, "deg": 6.0, "fraction": 0.2, "ratio": 0.6, "s": 0.1}),
        metadata={
            "unit": "of the measure",
            "reason": "an axis is never shorter, or noise far below what a camera can tell fills the picture; about "
            "three swing-to-swing standard deviations of settings.checklist",
        },
    )
    moved_sds: float = setting(
        2.58,
        "SD",
        "a camera is said to have moved beyond it: five findings are looked at, and 95 % shall hold for all together",
    )
    repeat_level: float = setting(0.95, "fraction", "of the interval of a standard deviation and of what is noticeable")
    same_swing_s: float = setting(
        0.15,
        "s",
        "real time between the impact that was kept and the one found again: far above what another state of the code "
        "moves it by, far below the pause between two swings",
    )
    least_repeats: int = setting(
        4, "count", "degrees of freedom below which no spread is named: its 95 % interval reaches beyond 2.9 times it"
    )


PLOTS = PlotSettings()
"""The defaults."""
