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
