"""What of a difference the two cameras could explain, and which differences stay beyond that.

``docs/progress.md`` says how it is worked out and what it is worth.
"""

from overlay.explain.beyond import beyond, beyond_camera
from overlay.explain.parts import camera_parts
from overlay.explain.reference import (
    camera_words,
    factors_sentence,
    fit_sentences,
    in_usual_spread,
    model_kind,
    model_line,
    model_notes,
    model_sentences,
    usual_spread,
)
from overlay.explain.same_player import same_player_cameras
from overlay.explain.wording import camera_lines, camera_sentence, cameras_note, first_caution, poor_fit

__all__ = [
    "beyond",
    "beyond_camera",
    "camera_lines",
    "camera_parts",
    "camera_sentence",
    "camera_words",
    "cameras_note",
    "factors_sentence",
    "first_caution",
    "fit_sentences",
    "in_usual_spread",
    "model_kind",
    "model_line",
    "model_notes",
    "model_sentences",
    "poor_fit",
    "same_player_cameras",
    "usual_spread",
]
