"""Reference models from a coach's numbers: a swing in space, made, checked and looked at."""

from __future__ import annotations

from overlay.maker.seen import seen_from, well_placed_camera

__all__ = ["seen_from", "well_placed_camera"]
