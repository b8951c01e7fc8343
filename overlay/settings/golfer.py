"""Numbers of the synthetic golfer's scene that are not style."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class GolferSettings:
    """Club, ball and what counts as still."""

    still_m: float = setting(0.010, "m", "a quarter of a ball: less movement of the club head cannot be seen")
    ball_radius_m: float = setting(0.021335, "m", "half of 42.67 mm, Rules of Golf, Equipment Rules")
    head_behind_ball_m: float = setting(0.03, "m", "middle of the club head behind the middle of the ball")
    head_height_m: float = setting(0.02, "m", "middle of the club head above the ground at address, common practice")
    tee_height_m: float = setting(0.03, "m", "a teed ball for the driver, common practice")
    ball_flight_s: float = setting(1.2, "s", "after this the ball is too small to be seen")
    hands_out_at_impact_m: float = setting(
        0.09, "m", "hands pass higher and further out at impact than at address, common practice"
    )
    least_fold_deg: float = setting(
        9.0, "deg", "between lead arm and shaft at impact seen down the line when a fault puts the ball out of reach"
    )
