"""Thresholds of the shaft tracker. T is the torso length in the picture."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class ClubSettings:
    """Chosen on rendered clips of other players than those of the figures, and looked at on one real clip."""

    # The picture.
    torso_px: float = setting(100.0, "px", "T in the picture looked at: a shaft is then 2–3 px wide")
    most_side_px: int = setting(900, "px", "longest side looked at, whatever T says")

    # Background.
    background_frames: int = setting(48, "count", "pictures whose median is the background; more change nothing")
    background_least: int = setting(6, "count", "views of a place free of the player below which it is not known")
    person_margin: float = setting(0.10, "torso", "grown about the person mask before a place counts as background")
    noise_floor: float = setting(4.0, "levels", "added to the background's own spread; compression alone makes 2–4")

    # Rays.
    angle_step_deg: float = setting(2.0, "deg", "finer changes nothing: every peak is refined afterwards")
    offset: float = setting(0.12, "torso", "searched to each side of the hands: their error across is 0.05 T (p90)")
    offset_step_px: float = setting(1.5, "px", "half a shaft")
    hands_seen: float = setting(
        0.86, "probability", "visibility of the better hand below which they may be far off (p99 0.24 T; above 0.09)"
    )
    wide_offset: float = setting(0.55, "torso", "searched to each side of badly seen hands: p99 of their error")
    wide_step_px: float = setting(2.5, "px", "as offset_step_px, a little coarser for speed")
    wide_offset_cost: float = setting(0.6, "1/torso", "as offset_cost, for badly seen hands")
    ray_start: float = setting(0.12, "torso", "nearer, the hands cover the shaft")
    ray_stop: float = setting(2.6, "torso", "a driver seen square is 2.4 T from the hands to its head")
    ray_step_px: float = setting(2.5, "px", "a shaft's width")
    ridge_px: tuple[float, ...] = setting((3.0, 6.0), "px", "how far beside the line it must be darker or paler")
    fan_deg: float = setting(8.0, "deg", "half width of the fan a shaft smears into at 1/250 s")
    full_change: float = setting(3.0, "noise", "difference from the background that counts in full")
    full_contrast: float = setting(16.0, "levels", "contrast to both sides that counts in full")
    gap_cost: float = setting(0.22, "fraction", "evidence a ray needs on average to gain by going on; METHODS trial")
    body_gap_cost: float = setting(0.18, "fraction", "as above across the body, which may hide the shaft")
    rim: float = setting(0.04, "torso", "of the picture that tells nothing: a moved background ends there in a line")
    arm_weight: float = setting(0.3, "fraction", "of evidence on a forearm, itself a line from the hands")
    edge_weight: float = setting(0.4, "fraction", "of evidence on the outline of the body")
    body_weight: float = setting(0.5, "fraction", "of evidence on the body: at 0.8 a trouser crease beat a dim shaft")
    offset_cost: float = setting(4.0, "1/torso", "per squared offset: the hands are usually right")

    # Path.
    seen_cost: float = setting(0.30, "torso", "score a frame must bring to count as seen on the path")
    hide_cost: float = setting(0.15, "torso", "to pass from seen to hidden or back")
    fastest_deg_s: float = setting(3600.0, "deg/s", "in the picture; 2400 in space, foreshortening adds")
    turn_deg_s2: float = setting(25000.0, "deg/s2", "change of speed that costs one unit; 0.05 s to full speed")
    turn_cost: float = setting(0.02, "torso", "per squared unit of change of speed")
    rest_deg_s: float = setting(150.0, "deg/s", "speed of the shaft that costs one unit while the hands are still")
    per_hand_speed_deg: float = setting(160.0, "deg/torso", "turn that goes with a hand path of one torso length")
    speed_cost: float = setting(0.01, "torso", "per squared unit of speed")
    keep: int = setting(6, "count", "peaks of a frame that are refined to a line")

    # What is believed.
    least_score: float = setting(0.42, "torso", "of a ray to be confident; METHODS trial")
    least_evidence: float = setting(0.55, "fraction", "mean along such a ray; right ones 0.6–1, a wrong one 0.5")
    clear_margin: float = setting(
        0.35, "torso", "margin that makes up for little evidence along the ray: a shaft smeared by a long shutter"
    )
    short_score: float = setting(0.22, "torso", "of the short ray of a shaft seen nearly end-on")
    short_evidence: float = setting(0.75, "fraction", "mean along it: it must be there without gaps")
    least_margin: float = setting(
        0.10, "torso", "by which the best path beats any that passes elsewhere; METHODS trial"
    )
    elsewhere_deg: float = setting(12.0, "deg", "further away is elsewhere")
    longest_gap_s: float = setting(0.25, "s", "real time: between measured frames further apart the shaft is hidden")
    longest_sd_deg: float = setting(30.0, "deg", "a bridged angle less sure than this tells nothing: hidden")
    floor_sd_deg: float = setting(0.25, "deg", "what light on one side of a shaft and its taper do to every line")
    mark_deg: float = setting(3.0, "deg", "a mark by hand pins the path to within this")
    mark_px: float = setting(2.0, "px", "how well a person clicks, for the standard deviation of a marked angle")
    still_s: float = setting(0.10, "s", "real time to each side over which a resting shaft is averaged")
    still_deg: float = setting(0.6, "deg", "range of the angle within that time of a shaft that rests")
