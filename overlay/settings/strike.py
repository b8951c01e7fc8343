"""Thresholds of finding the ball, the strike in the sound, and the instant they agree on."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class BallSettings:
    """Where the ball is looked for and what counts as one.

    Places are in torso lengths from the middle of the toes: ``ahead`` towards the side the player looks at (down the
    line) or towards the target (face on), ``below`` down the picture. Sizes are in torso lengths of the picture, which
    is shorter face on since the player bends towards the camera.
    """

    ahead_dtl: tuple[float, float] = setting((0.6, 2.8), "torso", "synthetic: 1.08–1.53 mid iron, 1.73–2.43 driver")
    below_dtl: tuple[float, float] = setting((-0.6, 0.5), "torso", "synthetic: −0.15–0.02; real clip 0.0; roll of 10°")
    ahead_fo: tuple[float, float] = setting((-0.9, 1.5), "torso", "synthetic: −0.31–0.88, camera beside by ±0.3 m")
    below_fo: tuple[float, float] = setting((-0.05, 1.4), "torso", "synthetic: 0.18–0.81, lens 0.4 to 1.4 m up")
    ahead_other: tuple[float, float] = setting((-2.8, 2.8), "torso", "either side: the view does not tell which")
    below_other: tuple[float, float] = setting((-0.6, 1.4), "torso", "both of the above")
    edge: float = setting(0.45, "torso", "the chance of a place falls off over this near the border of the area")
    off_feet: float = setting(0.08, "torso", "from the heel-to-toe line, half a shoe; certain at twice that")
    club_reach: float = setting(0.30, "torso", "the ball lies this near to the end of the club at address (one SD)")
    diameter_dtl: float = setting(0.088, "torso", "synthetic: 0.078–0.102")
    diameter_fo: float = setting(0.133, "torso", "synthetic: 0.117–0.168")
    scales: tuple[float, ...] = setting((0.72, 1.0, 1.35), "factor", "ball sizes tried, of the one expected")
    working_px: float = setting(12.0, "px", "diameter the picture is scaled down to: enough for a disc, cheap")

    # The two pictures that are compared, real seconds from the impact of the pose.
    before_s: tuple[float, float] = setting(
        (-0.32, -0.07), "s", "the club is away from the ball, and the feet stand as they do at impact"
    )
    after_s: tuple[float, float] = setting((0.07, 0.45), "s", "the club and its shadow have left the ball's place")
    least_frames: int = setting(3, "count", "fewer pictures on a side give no median")
    most_frames: int = setting(
        260, "count", "pictures held at once; of more than that only some are kept away from the strike"
    )
    dense_s: float = setting(0.06, "s", "to each side of the pose's impact every frame is kept")
    candidates: int = setting(14, "count", "patches that changed, followed frame by frame")
    contrast: float = setting(14.0, "8-bit levels", "a patch must differ this much more than what surrounds it")
    least_score: float = setting(0.30, "fraction", "lowest score of a patch that is taken for the ball")
    search_s: float = setting(0.16, "s", "the ball leaves this near to the impact of the pose, plus three of its SD")

    shown: float = setting(0.85, "fraction", "of the area in the picture below which no ball seen says nothing")

    # Frame by frame.
    alike_seen: float = setting(
        0.3, "fraction", "of the change from ball to no ball: a pixel that differs by less looks as the ball did"
    )
    alike_gone: float = setting(0.5, "fraction", "the same without the ball; shadows may pass over the ground")
    share_seen: float = setting(
        0.7, "fraction", "of the ball's pixels: before the strike 0.82 or more, with the club head in its place 0.68"
    )
    share_gone: float = setting(0.5, "fraction", "of the ball's pixels that look as afterwards")
    noise_factor: float = setting(2.2, "factor", "of the median difference: 95 % of pixels that did not change")
    remains: float = setting(
        0.6, "fraction", "of its contrast with what surrounds it left afterwards: a ball in a shadow keeps 0.7 or more"
    )

    # A ball that stays.
    stay_contrast: float = setting(30.0, "8-bit levels", "a ball that stays stands out from every side by this much")
    stay_reach: float = setting(0.8, "torso", "from the end of the club at address: further off lie other balls")


@dataclass(frozen=True)
class SoundSettings:
    """What the click of a strike is, and how well its time is known."""

    low_hz: float = setting(
        1500.0, "Hz", "wind, steps and voices lie mostly below; the click of a strike reaches far up"
    )
    high_hz: float = setting(9000.0, "Hz", "codecs of phones keep this much")
    step_s: float = setting(0.0005, "s", "grid of the energy")
    rise_s: float = setting(0.004, "s", "a strike rises within this")
    quiet_s: float = setting(0.060, "s", "what was heard before, against which the rise is held")
    rise_db: float = setting(10.0, "dB", "least rise of the band's energy; speech and steps stay below in 4 ms")
    apart_s: float = setting(0.05, "s", "clicks nearer to each other are one with its echo")
    distance_m: float = setting(4.0, "m", "camera to ball; TRADE distances are 3.5–4.5 m")
    distance_sd_m: float = setting(1.2, "m", "one SD of it")
    speed_m_s: float = setting(343.0, "m/s", "speed of sound at 20 °C")
    offset_sd_s: float = setting(
        0.006, "s", "sound against picture in one phone recording and the read-out of its sensor, no source"
    )
    pose_sd_s: float = setting(0.030, "s", "of the pose's impact where it does not tell itself, real time")
    gate_sd: float = setting(3.0, "sd", "a click further from the expected instant is another player's")
    gate_floor_s: float = setting(0.045, "s", "sound and picture of one recording are allowed to be this far apart")
    louder_db: float = setting(
        3.0, "dB", "a strike that is only heard is louder than all others: they stand further off"
    )
    slowed: float = setting(1.15, "factor", "a clip slowed by more has no usable sound")
    level_db: float = setting(-75.0, "dB of full scale", "a track quieter than this holds nothing")


@dataclass(frozen=True)
class ClubStrikeSettings:
    """When the club passes the ball."""

    reach_s: float = setting(0.09, "s", "rows of the club used on each side of the strike, real time: 2 at 30 a second")
    least_rows: int = setting(2, "count", "measured rows on each side")
    least_rate_deg_s: float = setting(
        600.0, "deg/s", "shaft slower than this across the ball tells no instant: down the line it comes end-on"
    )
    late_s: float = setting(
        0.0008, "s", "the shaft points at the ball this much after contact: 3 cm from the head's middle, 37 m/s"
    )
    angle_sd_deg: float = setting(
        2.5, "deg", "shaft against ball: the ball lies ahead of the shaft, lean, and tracking"
    )
    gap_share: float = setting(
        0.08,
        "fraction",
        "of the gap between the rows next to the strike: error of the curve. With true rows of 30 to 240 frames a "
        "second it is 0.02; the rest is for the flex of a real shaft and blur",
    )


@dataclass(frozen=True)
class StrikeSettings:
    """All of it."""

    ball: BallSettings = BallSettings()
    sound: SoundSettings = SoundSettings()
    club: ClubStrikeSettings = ClubStrikeSettings()
    edge_sd_s: float = setting(0.001, "s", "the ends of the ball's interval are this soft: shutter, contact of 0.5 ms")
    outlier: float = setting(0.02, "probability", "chance that a clue is wrong altogether")
    grid: int = setting(2001, "count", "points on which clues are multiplied")
