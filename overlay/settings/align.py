"""Thresholds of the alignment of two swings.

"Known warps" are the pairs of docs/studies/alignment_warps.md; numbers were chosen on other pairs (other seeds).
"""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting
from overlay.terms import POSITION_NAMES


@dataclass(frozen=True)
class FeatureSettings:
    """How a pose track becomes the series that are aligned."""

    grid_hz: float = setting(
        100.0, "per real second", "finer than any phone frame that carries new motion after the low-pass"
    )
    cutoff_hz: float = setting(
        8.0, "Hz", "real seconds, half gain; residual analysis after Winter on hand tracks; 6 and 10 gave no more"
    )
    velocity_s: float = setting(0.05, "s", "weight of velocity against place in the first path; best of 0–0.15 s")
    lead_in_s: float = setting(0.3, "s", "real seconds kept before address and after the finish")
    address_window_s: float = setting(0.15, "s", "real seconds of stillness before address that give its pose")
    least_visibility: float = setting(
        0.05, "fraction", "a joint the pose model says it cannot see is a guess, yet better than nothing"
    )
    filled_weight: float = setting(0.1, "fraction", "of a seen joint's weight, for a value that was filled in")
    downswing_s: float = setting(
        0.27, "s", "median time from top to impact of 758 real-time swings, computed from GolfDB's event labels"
    )
    backswing_s: float = setting(0.87, "s", "the same for address to top")
    real_time_low: float = setting(0.55, "ratio", "beyond the 5–95 % range of real-time tempi with a margin")
    real_time_high: float = setting(1.8, "ratio", "beyond the 5–95 % range of real-time tempi with a margin")


@dataclass(frozen=True)
class AlignSettings:
    """How the two series are aligned, and when the result is doubted."""

    features: FeatureSettings = FeatureSettings()
    knot_s: float = setting(0.1, "s", "real seconds of the student between knots of the first warp")
    final_knot_s: float = setting(0.04, "s", "real seconds of the student between knots of the map that is returned")
    slope_low: float = setting(0.3, "ratio", "random pairs of real swings differ by 0.57–1.76 in tempo; half of that")
    slope_high: float = setting(3.4, "ratio", "the inverse of slope_low, about twice what real pairs differ by")
    open_end_shares: tuple[float, ...] = setting(
        (0.0, 0.06, 0.12, 0.18, 0.24, 0.30, 0.36, 0.42),
        "fraction",
        "of a whole swing that may be missing where the other recording starts late or ends early; the top, which is "
        "always seen, lies at about one half",
    )
    mark_s: float = setting(0.1, "s", "real seconds by which a cut may miss found positions before it counts double")
    least_overlap_s: float = setting(0.5, "s", "real seconds; a downswing and its surroundings")
    rounds: int = setting(3, "count", "of path, refinement, adaptation; a fourth changed nothing on known warps")
    refine: bool = setting(True, "", "fit below the frame grid; off only to study the bare path")
    refine_steps: int = setting(10, "count", "most end after 4–7 by the tolerance")
    refine_tolerance_s: float = setting(1e-4, "s", "a hundredth of the error that is reached")
    longest_step_s: float = setting(0.05, "s", "longer steps leave the range in which a joint's slope holds")
    stiffness: float = setting(40.0, "s", "weight of the warp's squared curvature; best of 3–300 on known warps")
    first_sigma: float = setting(0.1, "torso", "unlike players' joints differ by about this before adaptation")
    block_s: float = setting(0.08, "s", "longer than the memory of the low-pass; best of 0.06–0.2 s")
    pool: float = setting(0.7, "fraction", "of a joint's trust taken from all joints; best of 0–1")
    floor_place: float = setting(0.01, "torso", "no pose model is surer of a joint than this")
    floor_velocity: float = setting(0.2, "torso per s", "what floor_place amounts to at the low-pass")
    velocity_trust: float = setting(2.0, "ratio", "velocity against place at equal density; best of 0–12")
    gradient_slow_hz: float = setting(3.0, "Hz", "low-pass of joint slopes where the player moves slowly; best of 2–8")
    gradient_fast_hz: float = setting(8.0, "Hz", "low-pass of joint slopes where he moves fast")
    gradient_speed: float = setting(1.0, "torso per s", "root mean square joint speed half-way between both")
    longest_backswing: float = setting(
        2.2, "ratio", "of the other's, both in downswings; random pairs of real swings reach 1.76 in plain seconds"
    )
    backswing_margin: float = setting(
        1.5, "ratio", "of the other's backswing that is kept when the own is not believed"
    )
    ridge: float = setting(0.01, "torso²", "a joint that moves less than a tenth of the torso keeps its shape")
    ridge_offset: float = setting(0.02, "", "an offset is taken over to 98 %")
    hint_names: tuple[str, ...] = setting(
        POSITION_NAMES[:-1], "", "the finish is left out: how long it is held is a matter of taste, not of the swing"
    )
    hint_weight: float = setting(
        10.0, "ratio", "the fit takes every joint for a witness of its own and is about three times too sure of itself"
    )
    hint_reach: float = setting(3.0, "ratio", "of its uncertainty; a position further off is more likely found wrongly")
    anchor_reach_s: float = setting(0.15, "s", "real seconds over which a measured position bends the warp")
    pose_sigma_s: float = setting(0.008, "s", "real seconds; error of the pose warp in the downswing, known warps")
    measured_sigma_s: float = setting(
        0.006, "s", "real seconds; error of a position measured by ball, sound, club or a person, at confidence 1"
    )
    posed_sigma_s: float = setting(0.020, "s", "real seconds; error of a position found from the pose, confidence 1")
    least_confidence: float = setting(0.05, "fraction", "a position less sure than this says nothing more definite")
    run_s: float = setting(0.1, "s", "real seconds in which one swing stands still while the other moves on")
    doubtful_explained: float = setting(0.5, "fraction", "of the movement; see docs/alignment.md for what pairs reach")
    doubtful_runs: float = setting(0.5, "fraction", "of path steps in such runs")
    doubtful_limit: float = setting(0.25, "fraction", "of the time at the limits of the slope")
