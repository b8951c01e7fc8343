"""What every data type checks of its arrays when it is made."""

from __future__ import annotations

from typing import Any

import numpy as np

from overlay.arrays import AnyArray
from overlay.errors import DataError


def frozen(values: AnyArray, dtype: Any, shape: tuple[int | None, ...], name: str) -> AnyArray:
    """A read-only copy of ``values`` of one type, whose shape is ``shape`` (None: any length); DataError otherwise."""
    array = np.array(values, dtype=dtype)
    if array.ndim != len(shape) or any(want is not None and want != got for want, got in zip(shape, array.shape)):
        wanted = tuple("n" if want is None else want for want in shape)
        raise DataError(f"{name} has shape {array.shape}, wanted {wanted}.", "Check how the array was built.")
    array.setflags(write=False)
    return array


def increasing(times: AnyArray, name: str) -> None:
    """Raise DataError unless ``times`` (N,) are finite and strictly increasing."""
    if not np.all(np.isfinite(times)):
        raise DataError(f"{name} holds values that are not finite.", "Every frame needs a time in seconds.")
    if np.any(np.diff(times) <= 0):
        raise DataError(f"{name} is not strictly increasing.", "Sort the frames by time and drop repeated times.")
