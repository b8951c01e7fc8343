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
        SD of ln(student ÷ reference) as read from tracks that the pose model gave of rendered clips, against the truth:
        the upper end of its 80 % interval, since eleven players stand behind it. docs/studies/flat_fit.md
    """

    percentile: float = setting(90.0, "%", "long lengths are those in the picture's plane; least error of the trials")
    side: str = setting("both", "", "least error of the trials: the far arm of a down-the-line clip is a guess")
    sd: float = setting(0.1, "ln ratio", "what a reading is wrong by on rendered clips; docs/studies/flat_fit.md")


READINGS: Mapping[str, Mapping[str, Reading]] = MappingProxyType(
    {
        "dtl": {
            "shoulder_width": Reading(90, "both", 0.04),
            "hip_width": Reading(90, "both", 0.075),
            "upper_arm": Reading(90, "trail", 0.05),
            "forearm": Reading(75, "both", 0.095),
            "hand": Reading(75, "both", 0.09),
            "thigh": Reading(90, "both", 0.04),
            "shank": Reading(75, "both", 0.03),
            "foot": Reading(90, "trail", 0.055),
            "neck": Reading(50, "both", 0.08),
        },
        "fo": {
            "shoulder_width": Reading(90, "both", 0.055),
            "hip_width": Reading(90, "both", 0.055),
            "upper_arm": Reading(90, "both", 0.06),
            "forearm": Reading(75, "both", 0.07),
            "thigh": Reading(90, "both", 0.08),
            "shank": Reading(75, "both", 0.065),
            "foot": Reading(97, "trail", 0.12),
            "neck": Reading(50, "both", 0.115),
        },
    }
)
"""View → segment → how it is read. The head is not read, and face on the hand is not: both are small and badly seen."""


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
        "a length that differs by less may be an error of the reading: nothing of it is applied; it is two to five "
        "times what two swings of one player differ by",
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
