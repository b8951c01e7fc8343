"""Names for the numpy array types used in signatures. Shapes stand in the docstrings."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.int64]
Image = NDArray[np.uint8]
"""uint8, (H, W, 3) RGB unless the docstring says otherwise."""
AnyArray = NDArray[Any]


def sorted_planes(values: AnyArray) -> AnyArray:
    """Values (N, ...) sorted along the first axis, as ``numpy.sort`` does.

    By a network of comparisons (merge exchange, Knuth 1998, algorithm 5.2.2M), each of two whole planes at once, which
    is many times quicker than sorting a few small numbers at each place. Works on ``values`` itself.
    """
    n = len(values)
    if n < 2:
        return values
    top = 1 << (n - 1).bit_length() - 1
    low = np.empty_like(values[0])
    p = top
    while p > 0:
        q, r, d = top, 0, p
        while d > 0:
            for i in range(n - d):
                if i & p == r:
                    np.minimum(values[i], values[i + d], out=low)
                    np.maximum(values[i], values[i + d], out=values[i + d])
                    values[i] = low
            d, q, r = q - p, q >> 1, p
        p >>= 1
    return values
