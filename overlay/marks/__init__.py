"""What a person marked by hand: one JSON file beside the clip, read strictly, written whole or not at all.

The format is described in docs/marks.md.
"""

from overlay.marks.document import marks_document
from overlay.marks.edit import (
    Change,
    changes,
    doubts,
    with_club_mark,
    with_position,
    without_club_mark,
    without_position,
)
from overlay.marks.store import KIND, SCHEMA, Picture, editing, load_marks, marks_path, read_marks, save_marks

__all__ = [
    "KIND",
    "SCHEMA",
    "Change",
    "Picture",
    "changes",
    "doubts",
    "editing",
    "load_marks",
    "marks_document",
    "marks_path",
    "read_marks",
    "save_marks",
    "with_club_mark",
    "with_position",
    "without_club_mark",
    "without_position",
]
