"""Thresholds of finding where in a recording something like a swing happens."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class ActivitySettings:
    """Times are real seconds: playback seconds where the slow factor is not known."""

    # When it is worth looking.
    short_s: float = setting(
        6.5, "s", "a swing with 1.3 s before its address and a second after its finish: nothing would be left out"
    )
    most_share: float = setting(0.75, "fraction", "of the recording; when more is kept, all of it is")

    # The small pictures.
    side_px: int = setting(
        108, "px", "shorter side: the arms of a player who fills two thirds of the height are 3 px thick"
    )
    step_s: float = setting(
        1 / 30, "s", "the arms of a downswing go 0.3 m in it, three times their thickness; a walker's legs 0.1 m, less"
    )
    level: float = setting(10.0, "8-bit levels", "less is noise of a compressed picture")
    noise: float = setting(5.0, "factor", "of the picture's own noise (1.48 median differences): nothing by chance")
    neighbours: int = setting(4, "count", "of the 3×3 pixels about one that must differ too; a lone pixel is noise")
    moved_steps: int = setting(4, "count", "steps between the two pictures that show whether anything moves: 0.13 s")
    longest_gap_steps: float = setting(3.5, "steps", "three pictures over a longer time do not tell a speed")

    # What may be a swing. Swept shares of the picture, rendered recordings: downswings 0.025–0.049 (a player who fills
    # 0.6 of the height), slow rehearsals to lead arm level 0.011–0.013, waggles and placing a ball up to 0.003.
    short_burst_s: float = setting(
        0.35, "s", "a downswing sweeps half of its most for 0.13–0.27 s; who walks by close to the camera for longer"
    )
    share: float = setting(
        0.4, "fraction", "of the strongest short burst; what is slower than half of the fastest is taken for no swing"
    )
    most: float = setting(0.012, "fraction", "of the picture: more is always kept, however strong something else is")
    least: float = setting(0.0015, "fraction", "of the picture: a downswing of a player a quarter of the height tall")
    sharp: float = setting(
        0.16,
        "fraction",
        "swept over moved at one of the bursts; rendered swings 0.20–0.31, a real slowed one up to 0.13",
    )
    joined_s: float = setting(0.5, "s", "bursts nearer to each other are one: the top is a moment of rest")

    # What is kept about it.
    quiet: float = setting(0.15, "fraction", "of what moves at the burst: less is standing, with a waggle at most")
    quiet_s: float = setting(0.4, "s", "of standing before the burst is the address")
    before_quiet_s: float = setting(1.3, "s", "kept before the address is left; half a second is measured on")
    least_before_s: float = setting(1.6, "s", "kept before the burst in any case, which begins in the backswing")
    most_before_s: float = setting(5.0, "s", "kept before the burst at most, where nothing is quiet")
    hold_s: float = setting(0.3, "s", "of standing after the burst is a held finish")
    after_hold_s: float = setting(1.2, "s", "kept after the held finish is left: the end of the hold is a position")
    least_after_s: float = setting(2.2, "s", "kept after the burst in any case; the finish is reached within 1.3 s")
    most_after_s: float = setting(4.8, "s", "kept after the burst at most: 16 downswings are searched, 4.4 s")
    apart_s: float = setting(1.0, "s", "stretches nearer to each other, or to an end of the recording, are joined")
