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
    save_model,
)
from overlay.models.keeping import REAL_TIME, kept_swing, slowed
from overlay.models.library import Library, default_folder

__all__ = [
    "REAL_TIME",
    "SCHEMA",
    "SUFFIX",
    "Facts",
    "Library",
    "check_name",
    "default_folder",
    "is_model_file",
    "kept_swing",
    "load_facts",
    "load_model",
    "model_bytes",
    "save_model",
    "slowed",
    "tidy",
]
