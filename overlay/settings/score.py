"""Thresholds of the difference score."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Mapping

from overlay.settings import setting

# SD of one coordinate of a part's phase mean between two swings of one player, torso lengths: swing-to-swing variation
# and pose noise together. See docs/scores.md, "Noise".
PRIOR_SD: Mapping[str, float] = MappingProxyType(
    {
        "hands": 0.025,
        "lead_arm": 0.03,
        "trail_arm": 0.03,
        "shoulders": 0.025,
        "head": 0.04,
        "spine": 0.025,
        "pelvis": 0.02,
        "lead_leg": 0.03,
        "trail_leg": 0.03,
    }
)


@dataclass(frozen=True)
class ScoreSettings:
    """How differences are measured, tested and put into words."""

    steps: int = setting(
        21, "count", "equal steps a phase: more do not change the mean of a smooth path; value of the trials"
    )
    prior_sd: Mapping[str, float] = field(
        default_factory=lambda: dict(PRIOR_SD),
        metadata={
            "unit": "torso",
            "reason": "between two swings of one player, pose noise included; docs/scores.md, Noise",
        },
    )
    through_factor: float = setting(
        2.0, "ratio", "the pose model is that much less sure of a turned body: rendered clips, docs/scores.md, Noise"
    )
    prior_df: float = setting(
        20.0, "count", "how far one player's spread strays from the typical one; docs/scores.md, Noise"
    )
    level: float = setting(0.05, "fraction", "expected share of false findings in one table; common practice")
    interval: float = setting(0.95, "fraction", "common practice")
    score_half: float = setting(0.20, "torso", "difference that scores 50; 100·2^(−(E/0.20)²)")
    timing_sd_s: float = setting(
        0.012, "s", "time error of the alignment; differences along the path that it explains are not counted"
    )
    min_share: float = setting(0.6, "fraction", "steps of a phase measured in both swings, else the part is not scored")
    min_visibility: float = setting(
        0.5, "fraction", "below it 88 % of arm errors over 40 px lie; only used for arms and hands"
    )
    max_gap_s: float = setting(0.12, "s", "real time between two frames over which a value is still interpolated")
    still_s: float = setting(0.25, "s", "real time before address over which the address pose is averaged")
    proportion_slack: float = setting(
        0.03, "fraction", "arm lengths of the two players closer than this count as equal: error of the estimate"
    )
    position_tolerance: float = setting(
        1 / 30, "fraction", "of address → impact: what a position's confidence is the chance of (GolfDB's event rule)"
    )
    typical_swing_s: float = setting(1.14, "s", "address to impact, median of real-time clips (GolfDB labels)")
    min_tempo: float = setting(2.0, "ratio", "tempo ratios outside 2–6 mean slow motion or a speed ramp")
    max_tempo: float = setting(6.0, "ratio", "tempo ratios outside 2–6 mean slow motion or a speed ramp")
    max_backswing_s: float = setting(2.0, "s", "address to top; 5–95 % of real-time clips 0.67–1.40 s (GolfDB labels)")
    min_backswing_s: float = setting(0.4, "s", "address to top; 5–95 % of real-time clips 0.67–1.40 s (GolfDB labels)")
    max_downswing_s: float = setting(0.5, "s", "top to impact; 5–95 % of real-time clips 0.20–0.30 s (GolfDB labels)")
    map_disagreement_s: float = setting(
        0.1, "s", "alignment against a position: beyond the errors of both (p95 of each about 40–60 ms) a note is due"
    )
    typical_downswing_s: float = setting(0.27, "s", "median of real-time clips (GolfDB labels)")
    torso_of_stature: float = setting(0.288, "fraction", "shoulder .818 − hip .530 of stature, Drillis & Contini 1966")
    leg_of_stature: float = setting(0.491, "fraction", "hip .530 − ankle .039 of stature, Drillis & Contini 1966")
    angle_sd_deg: float = setting(
        2.55, "deg", "no angle from a picture is finer than ±5° at 95 % (2D markerless studies, see docs/scores.md)"
    )
    setup_sd: float = setting(0.05, "torso", "distances at address: pose noise and stance from swing to swing")
    max_setup_deg: float = setting(35.0, "deg", "a set-up angle further apart is a misplaced joint, not a posture")
    max_setup: float = setting(1.2, "torso", "a set-up distance further apart is a misplaced joint, not a posture")
    band_share: float = setting(
        0.5, "fraction", "of a template's swings must show a part in a phase, else its spread is not told"
    )
    band_prior_df: float = setting(
        4.0, "count", "how far the spread of a template's few swings is pulled to the prior; docs/scores.md, Band"
    )
    players_variance: float = setting(
        1.3,
        "ratio",
        "of the variance between players as counted on the student's side; with players_df 1 of 33 real "
        "swings is called different from the others of its view, 7 of 33 without the two",
    )
    players_df: float = setting(
        0.5, "ratio", "of the degrees of freedom of the spread between players: it is neither round nor normal"
    )
    camera_shift: float = setting(
        0.08, "torso", "lead foot between address and impact; more means the camera or the foot moved"
    )

    def prior(self, part: str, phase: str) -> float:
        """Prior SD of a part in a phase, torso lengths."""
        return self.prior_sd[part] * (self.through_factor if phase == "through_swing" else 1.0)
