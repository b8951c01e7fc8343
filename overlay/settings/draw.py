"""Sizes and strengths of what is drawn. Lengths are in drawing units: 1/100 of the shorter side of the pane."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class DrawSettings:
    """How thick, how dense, how long. Looked at on 480×854 panes on a phone-sized and a desktop-sized screen."""

    bone: float = setting(0.85, "drawing unit", "4 px on a 480 px pane: seen on a phone, hides little of the body")
    thin_bone: float = setting(0.55, "drawing unit", "the trail side and guessed bones stay behind the lead side")
    casing: float = setting(0.42, "drawing unit", "dark edge on each side, so that a line shows on any background")
    joint: float = setting(1.0, "drawing unit", "radius; a joint must be a little wider than its bone")
    dash: float = setting(1.6, "drawing unit", "dash between its round ends; shorter ones melt together in H.264")
    gap: float = setting(3.2, "drawing unit", "twice the dash: round ends and casing take 1.5 of it")
    trace: float = setting(0.8, "drawing unit", "hand path: as wide as a bone, so that it survives encoding")
    trace_fade_s: float = setting(0.9, "s", "real time in which the hand path fades to its faintest")
    trace_least: float = setting(0.3, "fraction", "faintest opacity of the hand path: still seen at the finish")
    trace_most: float = setting(0.95, "fraction", "opacity of the newest part of the hand path")
    club: float = setting(0.6, "drawing unit", "a shaft is thinner than a limb")
    trail: float = setting(
        0.35, "drawing unit", "newest part of the trail of the club head: thinner than the hand path, which it crosses"
    )
    trail_s: float = setting(0.35, "s", "real time for which the trail of the club head is seen: a downswing")
    guide: float = setting(0.4, "drawing unit", "2 px on a 480 px pane: half a bone, and never taken for one")
    guide_casing: float = setting(0.2, "drawing unit", "1 px of coloured edge on each side tells whose line it is")
    guide_zone: float = setting(0.2, "fraction", "a zone is a veil: what happens in it stays in view")
    guide_text: float = setting(0.85, "factor", "names of guide lines against other text")
    guess_visibility: float = setting(
        0.3, "fraction", "below it a joint is drawn as a guess; the hidden far arm of a down-the-line clip is near 0.04"
    )
    ghost_opacity: float = setting(0.62, "fraction", "the student stays readable through the reference")
    figure_opacity: float = setting(0.72, "fraction", "a drawn ghost has no face to know it by: it is a little denser")
    ghost_tint: float = setting(0.72, "fraction", "share of the tint against the reference's own brightness")
    over_ghost: float = setting(0.7, "factor", "a thinner skeleton over the ghost: two bodies and it share one pane")
    over_figure: float = setting(0.7, "factor", "a thinner skeleton over a drawn figure, which shows the bones itself")
    ghost_edge: float = setting(0.45, "drawing unit", "outline of the ghost, thinner than a bone")
    figure_edge: float = setting(0.014, "torso", "dark rim between the parts of a drawn figure: 2 px on a phone")
    band_opacity: float = setting(0.22, "fraction", "a veil as faint as a zone: the player is seen through it")
    band_sds: float = setting(2.0, "SD", "half width of the band about a template's hand path: 19 of 20 swings")
    plate_opacity: float = setting(0.78, "fraction", "white text on it keeps a contrast over 7:1 on a white picture")
    text: float = setting(0.0270, "fraction of the canvas width", "10.5 px of a phone's 390 px")
    heading: float = setting(0.046, "fraction of the canvas width", "read at arm's length while the video plays")
    least_text: float = setting(13.0, "px", "smaller letters lose their counters")


DRAW = DrawSettings()
"""The defaults."""
