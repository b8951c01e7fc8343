"""Reference models from a coach's numbers: a swing in space, made, checked and looked at."""

from __future__ import annotations

from overlay.maker.make import Made, make_swing
from overlay.maker.measured import measured
from overlay.maker.model import LABEL, make_model
from overlay.maker.parameters import (
    KINDS,
    PARAMETERS,
    Parameter,
    Parameters,
    load_parameters,
    shipped_parameters,
    start_parameters,
)
from overlay.maker.plausible import plausibility, unlikely
from overlay.maker.seen import seen_from, well_placed_camera

__all__ = [
    "KINDS",
    "LABEL",
    "PARAMETERS",
    "Made",
    "Parameter",
    "Parameters",
    "load_parameters",
    "make_model",
    "make_swing",
    "measured",
    "plausibility",
    "seen_from",
    "shipped_parameters",
    "start_parameters",
    "unlikely",
    "well_placed_camera",
]
