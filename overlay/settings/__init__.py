"""Every threshold of the project, one module a stage. Each has a unit, a default and a reason.

A stage takes its settings object as an argument with a default, so that nothing is tuned by editing code.
"""

from __future__ import annotations

from dataclasses import field
from typing import Any


def setting(default: Any, unit: str, reason: str) -> Any:
    """A dataclass field that knows its unit and why its default is what it is.

    Parameters
    ----------
    default : value
        An immutable value.
    unit : str
        "s", "px", "deg", "torso", "fraction", "count", "" …
    reason : str
        Where the number comes from: a measurement, a source, or "common practice, no source".
    """
    return field(default=default, metadata={"unit": unit, "reason": reason})
