"""How the lengths of the body's segments are read from a picture, and how far a reference is fitted to them."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Mapping

from overlay.settings import setting


@dataclass(frozen=True)
class Reading:
    """How one segment is read in one view.

    Attributes
    ----------
    percentile : float, 0–100
        Of its lengths over the swing. High ones are those of the moments at which it lies in the picture's plane.
    side : "both", "lead" or "trail"
        Which of the two is read; "both" is the mean of their logarithms.
    sd : float
        SD of ln(student ÷ reference) as read from tracks of the pose model, against the truth. docs/studies/flat_fit.md
    """

    percentile: float
    side: str
    sd: float


READINGS: Mapping[str, Mapping[str, Reading]] = MappingProxyType(
    {
        "dtl": {
            "shoulder_width": Reading(90, "both", 0.03),
            "hip_width": Reading(90, "both", 0.05),
            "upper_arm": Reading(90, "trail", 0.035),
            "forearm": Reading(75, "both", 0.07),
            "hand": Reading(75, "both", 0.075),
            "thigh": Reading(90, "both", 0.03),
            "shank": Reading(75, "both", 0.025),
            "foot": Reading(90, "trail", 0.03),
            "neck": Reading(50, "both", 0.045),
            "head": Reading(90, "both", 0.1),
        },
        "fo": {
            "shoulder_width": Reading(90, "both", 0.042),
            "hip_width": Reading(90, "both", 0.042),
            "upper_arm": Reading(90, "both", 0.043),
            "forearm": Reading(75, "both", 0.055),
            "hand": Reading(90, "both", 0.1),
            "thigh": Reading(90, "both", 0.05),
            "shank": Reading(75, "both", 0.038),
            "foot": Reading(97, "trail", 0.075),
            "neck": Reading(50, "both", 0.055),
        },
    }
)
"""View → segment → how it is read. Face on the head's depth is not seen."""


@dataclass(frozen=True)
class SegmentSettings:
    """What counts as measured, and what of a difference in length is applied."""

    readings: Mapping[str, Mapping[str, Reading]] = field(
        default_factory=lambda: dict(READINGS),
        metadata={"unit": "", "reason": "least error over synthetic players: docs/studies/flat_fit.md"},
    )
    torso_percentile: float = setting(
        90.0,
        "%",
        "of the trunk's lengths: where it is bent towards the camera at address, it stands upright later in the swing",
    )
    min_visibility: float = setting(0.5, "fraction", "as in the scores: below it most large errors of arms lie")
    least_frames: int = setting(12, "count", "fewer lengths have no upper percentile to speak of")
    least_share: float = setting(0.15, "fraction", "of the swing's frames: a segment seen for a moment is not measured")
    still_s: float = setting(0.25, "s", "real time before address, as in the scores")
    beyond: float = setting(
        1.0,
        "SD",
        "a length that differs by less may be an error of the reading: nothing of it is applied; twice what two swings "
        "of one player differ by",
    )
    least_factor: float = setting(0.8, "ratio", "ends of what two adults' proportions differ by, with a wide margin")
    most_factor: float = setting(1.25, "ratio", "ends of what two adults' proportions differ by, with a wide margin")
    misread: float = setting(
        1.5, "ratio", "no two adults: what reads so is a wrong joint; towards it a length counts less and less"
    )
    most_misread: int = setting(
        2,
        "count",
        "segments that read further apart than builds do; with more of them no reading of the pair is trusted",
    )
    build_sd: float = setting(
        0.05, "ln ratio", "between two adults' proportions: what is not known of a segment that was not measured"
    )


SEGMENTS = SegmentSettings()
"""The defaults."""
