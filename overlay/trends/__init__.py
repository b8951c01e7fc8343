"""From the rows of the library to series, session means and the answer whether a change holds."""

from overlay.trends.answers import change_answer, change_answers, known_measure, reference_key_of
from overlay.trends.judging import Asked, CameraLook, answer_of, answers_of
from overlay.trends.reference import kept_model, with_reference
from overlay.trends.series import (
    clubs_of,
    declared_focus,
    first_day_of,
    one_club,
    session_means,
    split,
)

__all__ = [
    "Asked",
    "CameraLook",
    "answer_of",
    "answers_of",
    "change_answer",
    "change_answers",
    "clubs_of",
    "declared_focus",
    "first_day_of",
    "kept_model",
    "known_measure",
    "one_club",
    "reference_key_of",
    "session_means",
    "split",
    "with_reference",
]
