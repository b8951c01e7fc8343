"""Thresholds of the movement of the picture."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class SteadySettings:
    """Sizes are px of the small picture that is looked at, unless said otherwise."""

    picture_px: int = setting(480, "px", "longest side looked at; corners are placed to about 0.05 px there")
    most_corners: int = setting(240, "count", "more change nothing; 2 ms a frame")
    corner_quality: float = setting(0.004, "fraction", "of the strongest corner; a lawn has weak corners only")
    corner_spacing_px: float = setting(10.0, "px", "spreads the corners over the picture")
    window_px: int = setting(17, "px", "patch compared around each corner")
    pyramid_levels: int = setting(3, "count", "follows jumps of up to about 60 px between frames")
    person_margin: float = setting(0.12, "torso", "nothing is taken as standing still so near the player")
    inlier_px: float = setting(0.8, "px", "a corner further from the common movement does not belong to it")
    least_inliers: int = setting(12, "count", "fewer corners do not tell a movement")
    least_share: float = setting(0.35, "fraction", "of the corners that must agree; a second crowd moves together too")
    rekey_share: float = setting(0.5, "fraction", "of the corners still seen below which new ones are chosen")
    still_px: float = setting(
        0.30,
        "px",
        "movement of the picture's corners (median of five frames) below which the picture stands still; a tripod "
        "measures up to 0.1, a hand that trembles by 0.12 degrees 2 or more",
    )
    least_known: float = setting(0.5, "fraction", "of frames measured for standing still to be believed")
