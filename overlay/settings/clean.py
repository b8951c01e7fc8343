"""Thresholds of cleaning a pose track. Times are real seconds, lengths torso lengths."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class CleanSettings:
    """What counts as hidden, as a jump, as a swap; what is filled; how it is smoothed."""

    hidden_wrist: float = setting(
        0.5, "fraction", "visibility below it holds 88 % of wrist errors above 0.4 torso, measured on a real clip"
    )
    hidden_elbow: float = setting(0.3, "fraction", "an elbow is bound to shoulder and wrist, its guesses are milder")
    linked_wrists: float = setting(
        0.25, "torso", "a hidden wrist this near a seen one is kept: both hold the club, the error is bounded by that"
    )
    outside_margin: float = setting(
        0.0, "fraction", "of the picture's side; the model places joints it cannot see outside the picture by guess"
    )

    collapse_ratio: float = setting(
        0.65, "fraction", "torso shorter than this share of its neighbours' in a moment: no body folds that fast"
    )
    collapse_window_s: float = setting(0.30, "s", "a window the torso hardly changes in")
    apart_wrists: float = setting(
        0.6, "torso", "both hands hold the club; kinematics takes the same bound for the grip"
    )
    apart_longest_s: float = setting(0.6, "s", "apart for longer: the hands have really left the club")

    swap_switch: float = setting(0.12, "torso", "cost of exchanging labels; half the smallest swap worth repairing")
    swap_per_s: float = setting(
        2.0, "torso/s", "cost of staying exchanged: swaps last 0.08–0.3 s, measured; more lets real crossings be undone"
    )
    swap_cap: float = setting(0.6, "torso", "a wild point must not outweigh the rest of a region")
    swap_inertia: float = setting(
        0.8,
        "fraction",
        "of the last velocity is expected to go on: hips that cross by rotation pass through each other",
    )
    feet_around_s: float = setting(0.5, "s", "before and after an exchange: twice the longest of them")
    feet_stand: float = setting(
        0.3, "torso", "both ankles together; face on they stand two torso lengths apart, noise moves a pair 0.1"
    )

    jump_floor: float = setting(0.10, "torso", "three times the wrist noise in the fast part (3.3 % torso, measured)")
    break_floor: float = setting(
        0.2, "torso", "a step off the velocities around it; noise makes 0.074 (2.24 × 3.3 %) of it, three times that"
    )
    quickest_turn: float = setting(
        20.0, "rad/s", "of the hands about the shoulders near impact, with room: 9 m/s on a radius of 0.6 m is 15"
    )
    fastest_hand: float = setting(26.0, "torso/s", "13 m/s with a torso of 0.5 m: above any hand speed, published <11")
    fastest_elbow: float = setting(16.0, "torso/s", "elbows stay nearer the axis than hands")
    fastest_leg: float = setting(8.0, "torso/s", "a stepping foot")
    fastest_trunk: float = setting(5.0, "torso/s", "a shoulder in the downswing moves about 3")
    sharpest_hand: float = setting(300.0, "torso/s²", "centripetal, 12 m/s on a 1 m radius, twice over")
    sharpest_body: float = setting(80.0, "torso/s²", "a quarter of the hands")
    longest_excursion_s: float = setting(0.25, "s", "a wrong place held for longer cannot be told from a new posture")
    excursion_per_s: float = setting(2.0, "torso/s", "cost of dropping values; a tenth of a second is worth 0.2 torso")

    repeated: float = setting(
        0.02, "torso", "hands that move less from frame to frame may be one picture shown twice; hands going back: 0.03"
    )
    repeated_s: float = setting(0.1, "s", "pictures repeated for longer are a still, not a made-up frame rate")
    low_rate_s: float = setting(
        0.03, "s", "at frames longer than this (33 /s and fewer) a step may hide a lost frame; hand-labelled clips do"
    )

    fill_hand_s: float = setting(0.10, "s", "the hands turn back within 0.2 s; over half of that a curve is a guess")
    fill_body_s: float = setting(0.20, "s", "trunk and legs move slowly; measured error: docs/pose-model.md")

    hand_cutoff_hz: float = setting(13.0, "Hz", "12–14 by residual analysis (Winter); 6 loses 12 % of hand speed")
    elbow_cutoff_hz: float = setting(12.0, "Hz", "as the hands, a little slower")
    body_cutoff_hz: float = setting(9.0, "Hz", "8–10 by residual analysis (Winter) for trunk, head and legs")
    uneven_share: float = setting(
        0.05, "fraction", "frame spacing that varies by more is resampled to an even grid before filtering"
    )
