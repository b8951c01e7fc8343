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
