"""Sizes and times of the comparison video, the stills sheet and the report's stills."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class ComposeSettings:
    """How the frames of the comparison are put together."""

    hold_s: float = setting(0.4, "s", "long enough to read the position's name, short enough to keep the rhythm")
    fastest_rate: float = setting(60.0, "frames/s", "what every phone plays; more frames cost encoding time only")
    least_pane_px: int = setting(640, "px", "height below which text and lines are no longer sharp")
    most_pane_px: int = setting(854, "px", "height; a figure of about 600 px, more than a phone shows of a pane")
    most_small_pane_px: int = setting(720, "px", "height of each of the three panes of `both`, which are two deep")
    single_least_px: int = setting(854, "px", "the one pane of `ghost` carries all text at its own width")
    single_pane_px: int = setting(1080, "px", "height of the one pane of `ghost`")
    hand_reach: float = setting(1.35, "torso", "room kept around the hands: about half a club")
    hand_reach_up: float = setting(0.7, "torso", "room kept above the hands")
    drawn_reach: float = setting(0.4, "torso", "room around the hands of a drawn figure without a club")
    body_margin: float = setting(0.35, "torso", "room kept around the body")
    ball_margin: float = setting(0.2, "torso", "room kept around the ball and the club head at address")
    narrowest: float = setting(0.56, "width / height", "about a phone held upright")
    widest: float = setting(0.80, "width / height", "two panes beside each other still fit a phone held upright")
    address_window_s: float = setting(0.15, "s", "around address, over which feet and body size are medians")
    still_px: int = setting(480, "px", "height of a still: three beside each other fit a phone's width")
    report_still_px: int = setting(400, "px", "height of a still in the report, which must stay under a few MB")
    jpeg_quality: int = setting(84, "0–100", "no visible blocks around thin lines")
    kept_tolerance_s: float = setting(
        0.035, "s", "real time to the nearest kept cut-out: two frames at 60 a second, the body is still the same"
    )
    kept_gap_s: float = setting(
        0.12, "s", "real time between kept cut-outs up to which they are a film; else only positions were kept"
    )
    warp_grid_px: int = setting(12, "px", "spacing of the grid of a warped cut-out: a third of a forearm's width")
    warp_reach: float = setting(
        0.10, "torso", "how far a segment's own shift holds about it: half the thickness of a limb and its clothes"
    )
    ghost_path: float = setting(0.55, "factor", "width of the reference's hand path in the ghost pane, which two share")
    mask_soft_low: float = setting(0.30, "fraction", "person alpha below it is background")
    mask_soft_high: float = setting(0.72, "fraction", "person alpha above it is solid")
    guide_radius: float = setting(
        0.012, "fraction of the mask's height", "guided filter (He & Sun 2015); a hand's width"
    )
    guide_eps: float = setting(0.0008, "squared brightness 0–1", "edges stronger than 3 % of full brightness are kept")


COMPOSE = ComposeSettings()
"""The defaults."""
