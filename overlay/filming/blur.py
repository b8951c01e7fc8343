"""How far the shutter smears the club near impact."""

from __future__ import annotations

import math

from overlay.data import FilmingFinding
from overlay.filming.scene import Scene


def shutter_finding(scene: Scene) -> FilmingFinding:
    """Degrees over which the shaft is smeared just before impact."""
    return FilmingFinding("shutter_blur", math.nan, "deg", None, "not seen", "The shaft is not seen near impact.")
