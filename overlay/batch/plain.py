"""What was read of a clip as plain values, and back again with every value checked.

A result that comes from another machine is not trusted to be well made: types, lengths, ranges and the numbers that
must be finite are checked before it is kept, and what the sender already knows (which clip it was, what was told about
it) is not taken from the answer at all.
"""

from __future__ import annotations

import dataclasses
import math
import types
import typing
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

import numpy as np

from overlay.batch.engine import engine
from overlay.batch.jobs import ReadJob
from overlay.data import Measure, PhaseDifference
from overlay.data.record import ClipRead, SwingRead
from overlay.errors import DataError, InputError
from overlay.settings.cluster import ClusterSettings
from overlay.settings.models import ModelSettings

KNOWN_HERE = ("content_hash", "path", "size_bytes", "recorded_at", "inputs", "told")
"""Fields of a ``ClipRead`` that the sender of the job knows."""

HINT = "Check that machine; start its worker again from the same release of overlay."


def plain_of(value: Any) -> Any:
    """Dictionaries, lists, texts, bytes, numbers and None, to the last bit of every number.

    Parameters
    ----------
    value : ClipRead, or anything that is a field of one

    Raises
    ------
    DataError
        It holds something else.
    """
    if value is None or isinstance(value, (bool, str, bytes)):
        return value
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, np.bool_):
        return bool(value)
    if isinstance(value, (float, np.floating)):
        return float(value)
    if isinstance(value, (tuple, list)):
        return [plain_of(one) for one in value]
    if isinstance(value, Mapping):
        return {str(name): plain_of(one) for name, one in value.items()}
    if dataclasses.is_dataclass(value):
        left_out = KNOWN_HERE if isinstance(value, ClipRead) else ()
        names = (field.name for field in dataclasses.fields(value) if field.name not in left_out)
        return {name: plain_of(getattr(value, name)) for name in names}
    raise DataError(f"A result holds a {type(value).__name__}.", "Send plain values.")


def read_of(plain: Any, job: ReadJob, limits: ClusterSettings | None = None) -> ClipRead:
    """The ``ClipRead`` of ``job`` from what ``plain_of`` made of it elsewhere.

    Parameters
    ----------
    plain : what arrived
    job : ReadJob
        What was asked for: path, hash, size, inputs and what was told are its own.
    limits : ClusterSettings

    Raises
    ------
    DataError
        Anything about it is not what a ``ClipRead`` holds; the message says where.
    """
    from overlay.pipeline.told import told_text

    limits = limits or ClusterSettings()
    if not isinstance(plain, dict):
        raise _wrong("the answer", "no table")
    known = {
        "content_hash": job.content_hash,
        "path": job.path,
        "size_bytes": job.size_bytes,
        "recorded_at": job.recorded_at,
        "inputs": job.inputs,
        "told": told_text(job.options),
    }
    try:
        read: ClipRead = _Built(limits).table(ClipRead, plain, "clip", known)
    except DataError as error:
        if error.hint == HINT:
            raise
        raise _wrong("the answer", error.message) from error
    _check_clip(read, limits)
    return read


class _Built:
    """Builds data types out of plain values, by the types their fields are declared with."""

    def __init__(self, limits: ClusterSettings) -> None:
        self.limits = limits

    def table(self, kind: Any, plain: Any, where: str, known: Mapping[str, Any] | None = None) -> Any:
        known = known or {}
        hints = _hints(kind)
        wanted = set(hints) - set(known)
        if not isinstance(plain, dict) or set(plain) != wanted:
            raise _wrong(where, "other fields than it should have")
        fields = {name: self.value(hints[name], plain[name], f"{where}.{name}") for name in wanted}
        return kind(**fields, **known)

    def value(self, kind: Any, plain: Any, where: str) -> Any:
        origin = typing.get_origin(kind)
        if origin in (typing.Union, types.UnionType):
            kinds = typing.get_args(kind)
            if plain is None and type(None) in kinds:
                return None
            rest = [one for one in kinds if one is not type(None)]
            if len(rest) == 1:
                return self.value(rest[0], plain, where)
        elif origin is typing.Literal:
            if isinstance(plain, str) and plain in typing.get_args(kind):
                return plain
        elif origin is tuple:
            return self.several(typing.get_args(kind), plain, where)
        elif origin is not None and issubclass(origin, Mapping):
            return self.mapping(typing.get_args(kind)[1], plain, where)
        elif dataclasses.is_dataclass(kind):
            return self.table(kind, plain, where)
        elif kind is float:
            if type(plain) in (float, int):
                return float(plain)
        elif kind in (bool, int, bytes):
            if type(plain) is kind:
                return plain
        elif kind is str and type(plain) is str:
            return self.text(plain, where)
        raise _wrong(where, f"a {type(plain).__name__} that does not belong there")

    def text(self, plain: str, where: str) -> str:
        if len(plain) > self.limits.most_text:
            raise _wrong(where, f"a text of {len(plain)} characters")
        return plain

    def several(self, kinds: tuple[Any, ...], plain: Any, where: str) -> tuple[Any, ...]:
        if not isinstance(plain, list) or len(plain) > self.limits.most_entries:
            raise _wrong(where, "no list, or one that is too long")
        if len(kinds) == 2 and kinds[1] is Ellipsis:
            return tuple(self.value(kinds[0], one, f"{where}[{at}]") for at, one in enumerate(plain))
        if len(plain) != len(kinds):
            raise _wrong(where, f"{len(plain)} values instead of {len(kinds)}")
        return tuple(self.value(kind, one, f"{where}[{at}]") for at, (kind, one) in enumerate(zip(kinds, plain)))

    def mapping(self, kind: Any, plain: Any, where: str) -> dict[str, Any]:
        if not isinstance(plain, dict) or len(plain) > self.limits.most_entries:
            raise _wrong(where, "no table, or one that is too long")
        return {
            self.value(str, name, f"a name of {where}"): self.value(kind, one, f"{where}.{name}")
            for name, one in plain.items()
        }


@lru_cache(maxsize=32)
def _hints(kind: Any) -> dict[str, Any]:
    """Field → type of a data class."""
    told = typing.get_type_hints(kind)
    return {field.name: told[field.name] for field in dataclasses.fields(kind)}


def _check_clip(read: ClipRead, limits: ClusterSettings) -> None:
    if read.engine != engine():
        raise _wrong("clip.engine", "that of another state of overlay")
    if not (0 <= read.width <= 100_000 and 0 <= read.height <= 100_000):
        raise _wrong("clip.width", "a size that no picture has")
    for name in ("duration_s", "rate_hz"):
        if not 0.0 <= getattr(read, name) < math.inf:
            raise _wrong(f"clip.{name}", "no finite number")
    if not 0 <= read.problem_code <= 255 or bool(read.problem) != bool(read.problem_code):
        raise _wrong("clip.problem_code", "a code that does not go with the problem")
    if len(read.swings) > limits.most_swings:
        raise _wrong("clip.swings", f"{len(read.swings)} swings")
    numbers = [swing.number for swing in read.swings]
    if numbers != sorted(set(numbers)) or any(number < 1 for number in numbers):
        raise _wrong("clip.swings", "numbers that are not in order")
    for swing in read.swings:
        _check_swing(swing, f"swing {swing.number}")


def _check_swing(swing: SwingRead, where: str) -> None:
    from overlay.models import model_of

    if not 0.0 < swing.slow_factor < math.inf:
        raise _wrong(f"{where}.slow_factor", "no finite number above 0")
    for measure in swing.measures:
        _check_measure(measure, f"{where}.{measure.name}")
    if swing.comparison is not None:
        for difference in swing.comparison.differences:
            _check_difference(difference, f"{where}.{difference.part}.{difference.phase}")
    if len(swing.model) > ModelSettings().max_bytes:
        raise _wrong(f"{where}.model", f"{len(swing.model) // 1_000_000} MB")
    try:
        model = model_of(swing.model, f"the model of {where}")
    except InputError as error:
        raise _wrong(f"{where}.model", error.message) from error
    held = model.swings.get(swing.view)
    if model.kind != "swing" or held is None or len(model.swings) != 1 or held.handedness != swing.handedness:
        raise _wrong(f"{where}.model", "another swing than the one it stands for")


def _check_measure(measure: Measure, where: str) -> None:
    if not measure.valid:
        return
    if not math.isfinite(measure.value) or any(math.isnan(end) for end in measure.interval or ()):
        raise _wrong(where, "valid, but no finite number")


def _check_difference(difference: PhaseDifference, where: str) -> None:
    if difference.words != "not scored" and not (math.isfinite(difference.value) and math.isfinite(difference.score)):
        raise _wrong(where, "scored, but no finite number")


def _wrong(where: str, what: str) -> DataError:
    return DataError(f"A result is not as it should be: {where} holds {what}.", HINT)
