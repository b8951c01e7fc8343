"""Kept references: their file, the library they lie in, and what of a swing and its pictures is kept."""

from overlay.models.checks import check_name, tidy
from overlay.models.format import (
    SCHEMA,
    SUFFIX,
    Facts,
    is_model_file,
    load_facts,
    load_model,
    model_bytes,
    model_of,
    save_model,
)
from overlay.models.keeping import REAL_TIME, anonymous, kept_swing, real_factor, slowed, without_pictures
from overlay.models.library import Library, default_folder
from overlay.models.pictures import AMOUNTS, Amount, keep_pictures, kept_picture, kept_size, kept_times

__all__ = [
    "AMOUNTS",
    "REAL_TIME",
    "SCHEMA",
    "SUFFIX",
    "Amount",
    "Facts",
    "Library",
    "anonymous",
    "check_name",
    "default_folder",
    "is_model_file",
    "keep_pictures",
    "kept_picture",
    "kept_size",
    "kept_swing",
    "kept_times",
    "load_facts",
    "load_model",
    "model_bytes",
    "model_of",
    "real_factor",
    "save_model",
    "slowed",
    "tidy",
    "without_pictures",
]
