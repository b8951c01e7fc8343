"""Thresholds of the alignment of two swings."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class FeatureSettings:
    """How a pose track becomes the series that are aligned."""

    grid_hz: float = setting(
        100.0, "per real second", "finer than any phone frame that carries new motion after the low-pass"
    )
    cutoff_hz: float = setting(8.0, "Hz", "real seconds; half gain. Residual analysis after Winter on hand tracks")
    velocity_s: float = setting(0.05, "s", "weight of velocity against place; best of 0–0.2 s in trials on known warps")
    lead_in_s: float = setting(0.3, "s", "real seconds kept before address and after the finish")
    address_window_s: float = setting(0.15, "s", "real seconds of stillness before address that give its pose")
    least_visibility: float = setting(
        0.05, "fraction", "a joint the pose model says it cannot see is a guess, yet better than nothing"
    )
    filled_weight: float = setting(0.1, "fraction", "of a seen joint's weight, for a value that was filled in")
    downswing_s: float = setting(
        0.27, "s", "median time from top to impact of 758 real-time swings, computed from GolfDB's event labels"
    )
    real_time_low: float = setting(0.55, "ratio", "downswings of real-time swings lie within 0.15–0.49 s")
    real_time_high: float = setting(1.8, "ratio", "downswings of real-time swings lie within 0.15–0.49 s")


@dataclass(frozen=True)
class AlignSettings:
    """How the two series are aligned, and when the result is doubted."""

    features: FeatureSettings = FeatureSettings()
    knot_s: float = setting(0.1, "s", "real seconds of the student between knots of the first warp")
    final_knot_s: float = setting(0.05, "s", "real seconds of the student between knots of the map that is returned")
    slope_low: float = setting(0.2, "ratio", "real swings differ by 0.57–1.76 in tempo; twice that and a margin")
    slope_high: float = setting(5.0, "ratio", "the inverse of slope_low")
    open_end_shares: tuple[float, ...] = setting(
        (0.0, 0.06, 0.12, 0.18, 0.24, 0.30, 0.36, 0.42),
        "fraction",
        "of a whole swing that may be missing where the other recording starts late or ends early; the top, which is "
        "always seen, lies at about one half",
    )
    refine: bool = setting(True, "", "Gauss-Newton below the frame grid")
    refine_steps: int = setting(12, "count", "the shift is below 0.1 ms after 6–10")
    stiffness: float = setting(2e-5, "s³", "weight of the squared curvature of the warp against feature differences")
    anchor_reach_s: float = setting(0.15, "s", "real seconds over which a measured position bends the warp")
    pose_sigma_s: float = setting(0.008, "s", "real seconds of error of the pose warp at impact, other style")
    measured_sigma_s: float = setting(
        0.006, "s", "real seconds of error of a position measured by ball, sound, club or a person, at confidence 1"
    )
    posed_sigma_s: float = setting(0.020, "s", "real seconds of error of a position found from the pose, confidence 1")
    doubtful_cost: float = setting(0.5, "torso²", "mean squared feature distance per path step of unrelated motions")
    doubtful_runs: float = setting(0.6, "fraction", "of path steps along one swing only")
    doubtful_slope: float = setting(4.0, "ratio", "slope beyond this, or below its inverse, anywhere in the swing")
