"""The club shaft in plain video: direction, grip and visible length on every frame, without a trained model.

``background`` learns the picture without the player, ``rays`` looks for a line out of the hands in every direction,
``path`` finds the best way through all frames, ``track.track_club`` puts it together. Method: ``docs/club.md``.
"""

from __future__ import annotations

from overlay.club.look import small_side
from overlay.club.track import track_club

__all__ = ["small_side", "track_club"]
