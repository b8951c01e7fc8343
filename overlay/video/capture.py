"""The rate a clip was filmed at, where the file or the user says so. It is never guessed."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from fractions import Fraction

from overlay.errors import InputError

# Phones write `com.android.capture.fps`; others use a key of their maker with the same words. Playback *intent*
# flags and the container's own frame rate say nothing about how fast the camera ran, so they do not match.
_KEY = re.compile(r"(capture|shooting|recording|filmed)[._ -]?(fps|rate|frame[._ -]?rate)$", re.IGNORECASE)


def rate_from_option(value: Fraction | float | None) -> Fraction | None:
    """The user's capture rate as a Fraction.

    Raises
    ------
    InputError
        It is not a positive number.
    """
    if value is None:
        return None
    rate = _rate(value)
    if rate is None:
        raise InputError(
            f"A capture rate of {value} frames per second is not possible.",
            "Give the rate set on the camera, e.g. 240.",
        )
    return rate


def rate_from_metadata(*tables: Mapping[str, str]) -> tuple[Fraction, str] | None:
    """The rate stated in the first table that has one, and the key it stood under; None when no table says."""
    for table in tables:
        for key, value in table.items():
            if _KEY.search(key.strip()):
                rate = _rate(value)
                if rate is not None:
                    return rate, key
    return None


def _rate(value: Fraction | float | str) -> Fraction | None:
    try:
        rate = Fraction(value.strip() if isinstance(value, str) else value)
    except (ValueError, TypeError, ZeroDivisionError, OverflowError):
        return None
    # Stored as a 32-bit float by phones: 239.99 stays as told, 240.0000001 becomes 240.
    if not 0 < rate <= 100_000 or not math.isfinite(float(rate)):
        return None
    return rate.limit_denominator(1001)
