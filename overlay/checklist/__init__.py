"""The checklist: what a coach looks at, in order, and the one thing to work on first.

``load_checklist`` reads the default or a coach's own file, ``check_swing`` holds the measures of a swing against it.
"""

from __future__ import annotations

from overlay.checklist.check import check_swing
from overlay.checklist.load import default_text, load_checklist
from overlay.checklist.spec import CAMERA, ChecklistSpec, MeasureSpec, RowSpec

__all__ = ["CAMERA", "ChecklistSpec", "MeasureSpec", "RowSpec", "check_swing", "default_text", "load_checklist"]
