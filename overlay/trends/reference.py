"""The same measure of a kept reference, for the line and band beside a series."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

from overlay.data import DifferenceName, MeasureSeries, Model
from overlay.errors import InputError
from overlay.terms import View

if TYPE_CHECKING:
    from overlay.library import Store

Reading = tuple[float, float, float]


def kept_model(store: Store, reference_key: str | None) -> Model | None:
    """The model that swings were compared with; None where only its name is kept, or there is none."""
    from overlay.models import model_of

    if reference_key is None:
        return None
    try:
        return model_of(store.reference(reference_key), "the reference")
    except InputError:
        return None


def with_reference(series: MeasureSeries, model: Model | None) -> MeasureSeries:
    """The series with the reference's own value and 95 % interval; as it was where the reference cannot be measured.

    A swing in space has no value until it is posed on a player; of a difference the reference is what it is told from.
    """
    if model is None or model.space is not None or DifferenceName.parse(series.name) is not None:
        return series
    if series.view not in model.swings:
        return series
    return replace(series, reference=_readings(model, series.view).get(series.name))


class _Held:
    """A model by its identity: models hold arrays and are not compared."""

    def __init__(self, model: Model) -> None:
        self.model = model

    def __hash__(self) -> int:
        return id(self.model)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Held) and other.model is self.model


def _readings(model: Model, view: View) -> dict[str, Reading]:
    return _measured(_Held(model), view)


@lru_cache(maxsize=4)
def _measured(held: _Held, view: View) -> dict[str, Reading]:
    """Name → value with its interval, of every measure that the reference's swing gives."""
    from overlay.guides import guide_lines
    from overlay.measure import measure_swing

    swing = held.model.swings[view]
    found = {}
    for measure in measure_swing(swing, guide_lines(swing)):
        if measure.valid and math.isfinite(measure.value):
            low, high = measure.interval or (math.nan, math.nan)
            found[measure.name] = (measure.value, low, high)
    times = [swing.positions.time(name) for name in ("address", "top", "impact")]
    if None not in times:
        address, top, impact = (float(time) for time in times if time is not None)
        if top > address and impact > top:
            found["tempo_ratio"] = ((top - address) / (impact - top), math.nan, math.nan)
    return found
