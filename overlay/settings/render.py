"""Numbers of the synthetic golfer's renderer."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class RenderSettings:
    """How a picture is taken and drawn."""

    tile_px: int = setting(16, "px", "trial: 8, 16 and 32 cost the same at 480×854; a multiple of 4")
    shadow_cell_m: float = setting(0.014, "m", "finer is not seen behind a sun of half a degree")
    occlusion_margin_m: float = setting(0.05, "m", "how far neighbours can darken a surface")
    body_blur_px: float = setting(1.5, "px", "hand travel within the exposure that one body picture may hide")
    most_body_exposures: int = setting(8, "count", "more body pictures a frame look the same at 1/60 s")
    club_blur_px: float = setting(0.8, "px", "club-head travel from one club picture to the next")
    most_club_exposures: int = setting(64, "count", "bounds the cost of a long exposure at impact")
    noise_levels: float = setting(1.6, "8-bit levels", "noise of a phone in daylight, mid grey, measured by eye")
    noise_frames: int = setting(4, "count", "independent noise pictures; each is shifted at random")
    tee_height_m: float = setting(0.045, "m", "common practice for a driver")
    ball_radius_m: float = setting(0.02135, "m", "a golf ball is at least 42.67 mm across (rules of the game)")


@dataclass(frozen=True)
class LightSettings:
    """Sun, sky and camera exposure of one time of day.

    ``sun``, ``sky`` and ``ground`` are linear r, g, b; ``towards_sun`` is (target, ball side, up).
    """

    towards_sun: tuple[float, float, float] = setting((-0.42, 0.52, 0.74), "", "lights the player in both views")
    sun: tuple[float, float, float] = setting((1.75, 1.60, 1.36), "", "a clear morning, by eye")
    sky: tuple[float, float, float] = setting((0.36, 0.43, 0.54), "", "blue sky, by eye")
    ground: tuple[float, float, float] = setting((0.16, 0.19, 0.10), "", "light thrown up by grass, by eye")
    exposure: float = setting(1.30, "", "a mid-tone shirt lands near mid grey")
    noise: float = setting(1.0, "factor", "darker light, higher gain, more noise")
    cloud: float = setting(0.45, "fraction", "share of the sky under cloud")


LIGHTS: dict[str, LightSettings] = {
    "day": LightSettings(),
    "overcast": LightSettings(
        sun=(0.22, 0.22, 0.22), sky=(0.78, 0.82, 0.88), ground=(0.16, 0.18, 0.12), exposure=1.5, noise=1.4, cloud=1.0
    ),
    "evening": LightSettings(
        towards_sun=(-0.55, 0.66, 0.30), sun=(0.62, 0.40, 0.20), sky=(0.20, 0.22, 0.30), ground=(0.07, 0.08, 0.05),
        exposure=1.55, noise=3.2, cloud=0.35,
    ),
}  # fmt: skip
"""Name → light. ``evening`` is dim."""
