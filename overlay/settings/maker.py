"""How reference models are made, and the cameras that look at them."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class CameraPlace:
    """Where a well set up camera stands."""

    lowest_m: float = setting(0.71, "m", "28 in above the ground, common practice")
    highest_m: float = setting(0.81, "m", "32 in above the ground, common practice")
    dtl_m: float = setting(3.8, "m", "down the line from the middle of the stance, common practice")
    fo_m: float = setting(4.2, "m", "face on from the chest, common practice")
    longer_m: float = setting(0.3, "m", "further off for a club over 1.05 m, so that it stays in the frame")
    long_club_m: float = setting(1.05, "m", "between an iron of about 37 in and a driver of about 45 in")
    chest_m: float = setting(0.1, "m", "towards the ball line from the feet: what a face-on camera looks at")
    view_deg: float = setting(39.0, "deg", "field of view upright, a phone's main lens held upright")
    margin: float = setting(0.04, "fraction", "of the picture kept free at each edge: body and club stay in the frame")


PLACE = CameraPlace()
"""The defaults."""


@dataclass(frozen=True)
class MakerSettings:
    """How a model is solved for and kept."""

    rate_hz: float = setting(120.0, "1/s", "samples kept: hands move 7 cm between two of them at impact")
    still_s: float = setting(0.5, "s", "kept before address: guide lines take the last 0.40 s of it")
    after_s: float = setting(0.1, "s", "kept after the finish")
    through_share: float = setting(
        0.75, "fraction", "of impact → finish in which the end position is reached; the rest is its hold"
    )
    usual_foot_out_deg: float = setting(22.0, "deg", "lead foot turned out by the golfer's usual swing")
    reach_deg_per_m: float = setting(
        150.0, "deg/m", "trail shoulder forward and down as the ball lies further to the target; common practice"
    )
    hands_even: float = setting(
        1.0,
        "ratio",
        "mean speed of the hands from shaft level down to impact over that before: they neither stall nor "
        "jerk; no source",
    )
    most_strides: int = setting(
        6, "count", "attempts: the wanted numbers at once, else half-way, and so on; most need one"
    )
    most_steps: int = setting(
        25, "count", "steps of the solver in one attempt; a solvable set of numbers takes 5 to 15"
    )
    largest_steps: float = setting(12.0, "count", "small steps that one step of the solver may be long")
    share_of_tolerance: float = setting(0.2, "fraction", "of each tolerance that ends the solving")


MAKER = MakerSettings()
"""The defaults."""


@dataclass(frozen=True)
class BandSettings:
    """How the spread of a model is simulated."""

    swings: int = setting(24, "count", "repeats: the SD of 22 degrees of freedom is known to 15 %")
    variation: float = setting(
        1.5,
        "",
        "size of the golfer's variation that gives the published 7.4 % from swing to swing in peak separation of "
        "shoulders and pelvis (Meister et al. 2011, J Appl Biomech 27:242); tests/published",
    )
    rate_hz: float = setting(60.0, "1/s", "frames a second of the pose model's errors; a phone's usual rate")
    seed: int = setting(7000, "", "so that the same numbers give the same band")


BANDS = BandSettings()
"""The defaults."""


@dataclass(frozen=True)
class PlausibleSettings:
    """What a swing must keep to be a person's."""

    bone_change: float = setting(0.01, "fraction", "forearm and shank: rounding")
    marked_change: float = setting(
        0.25, "fraction", "upper arm and thigh: their marks at shoulder and hip are not on the joint, and slide"
    )
    club_change: float = setting(1e-4, "fraction", "a club is stiff here")
    ground_m: float = setting(0.005, "m", "into the ground, less than grass")
    sole_m: float = setting(0.06, "m", "lower end of the lead foot above the ground, mark at 2 cm, before the finish")
    grip_m: float = setting(0.16, "m", "wrist to the middle of both hands: a hand and half the grip")
    strike_m: float = setting(0.03, "m", "middle of the club head beside the middle of the ball at impact")
    hand_speed_m_s: tuple[float, float] = setting(
        (1.0, 13.0), "m/s", "at impact; no source, from memory 7 to 10; slower ones are drills"
    )
    elbow_deg_s: float = setting(1500.0, "deg/s", "no source; throwing arms reach 2,500, from memory")
    turn_deg_s: float = setting(1100.0, "deg/s", "no source; shoulders of fast players reach 700 to 900, from memory")


PLAUSIBLE = PlausibleSettings()
"""The defaults."""
