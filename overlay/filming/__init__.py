"""How well a clip is filmed: where the camera stands, what the frame holds, light, shutter, and what to do about it."""

from overlay.filming.check import check_filming
from overlay.filming.match import match_cameras

__all__ = ["check_filming", "match_cameras"]
