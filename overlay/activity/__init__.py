"""Where in a recording something like a swing happens, found cheaply, so that the pose model runs only there.

``find_stretches`` looks at small grey pictures at a reduced rate. Method and limits: ``docs/activity.md``.
"""

from __future__ import annotations

from overlay.activity.find import Stretches, find_stretches, widened
from overlay.activity.motion import Activity

__all__ = ["Activity", "Stretches", "find_stretches", "widened"]
