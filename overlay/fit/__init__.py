"""A swing in space on the student's body, before the student's camera: the ghost stands in his shoes.

``docs/fit.md`` explains how in words.
"""

from __future__ import annotations

from overlay.fit.estimate import CameraEstimate, estimate_camera
from overlay.fit.fit import fit_in_space
from overlay.fit.retarget import Stance, posed
from overlay.fit.skeleton import SEGMENTS

__all__ = ["SEGMENTS", "CameraEstimate", "Stance", "estimate_camera", "fit_in_space", "posed"]
