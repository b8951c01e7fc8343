"""Limits of the file that holds what a person marked by hand."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class MarkSettings:
    """What a marks file may hold, and when a new mark is a correction of an old one."""

    max_bytes: int = setting(8_000_000, "bytes", "20,000 club marks take 2 MB; more is no marks file")
    max_positions: int = setting(2_000, "count", "nine positions of 200 swings, a whole afternoon in one recording")
    max_club: int = setting(20_000, "count", "every frame of 80 s at 240 frames/s")
    same_swing_s: float = setting(
        2.0,
        "s",
        "a new time this near to an old one of the same position corrects it; swings of one recording lie further "
        "apart (address to finish alone takes longer), and what lies between has to be said",
    )
    same_frame_s: float = setting(1e-4, "s", "half of the smallest frame spacing a reader accepts: one frame")
    outside_px: float = setting(0.5, "px", "a point this far outside the picture is rounding, not another picture")
