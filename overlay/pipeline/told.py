"""What was told about a clip, as text that is kept with it, so that it can be read again in the same way."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any, cast

from overlay.errors import InputError
from overlay.pipeline.clips import ClipOptions
from overlay.terms import Handedness, View

VIEWS = ("dtl", "fo", "other")
HANDS = ("right", "left")
ROTATIONS = (0, 90, 180, 270)


def told_text(options: ClipOptions) -> str:
    """JSON of what a person told; the same options give the same text. How a run is made (cache, which swing) is left
    out: it changes nothing in what is found."""
    rate = options.capture_rate
    document = {
        "view": options.view,
        "handedness": options.handedness,
        "capture_rate": None if rate is None else f"{rate.numerator}/{rate.denominator}",
        "mirrored": options.mirrored,
        "rotation_deg": options.rotation_deg,
        "allow_others": options.allow_others,
        "everywhere": options.everywhere,
        "stature_cm": options.stature_cm,
    }
    return json.dumps(
        {name: value for name, value in document.items() if value is not None and value is not False}, sort_keys=True
    )


def told_options(text: str) -> ClipOptions:
    """The options that ``told_text`` wrote; "" means that nothing was told.

    Raises
    ------
    InputError
        The text is not one that was written here.
    """
    try:
        document = json.loads(text or "{}")
        if not isinstance(document, dict):
            raise ValueError
        return ClipOptions(
            view=cast("View | None", _one_of(document.get("view"), VIEWS)),
            handedness=cast("Handedness | None", _one_of(document.get("handedness"), HANDS)),
            capture_rate=_rate(document.get("capture_rate")),
            mirrored=bool(_one_of(document.get("mirrored", False), (True, False))),
            rotation_deg=cast("int | None", _one_of(document.get("rotation_deg"), ROTATIONS)),
            allow_others=bool(_one_of(document.get("allow_others", False), (True, False))),
            everywhere=bool(_one_of(document.get("everywhere", False), (True, False))),
            stature_cm=_stature(document.get("stature_cm")),
        )
    except (ValueError, TypeError, ZeroDivisionError, RecursionError) as error:
        raise InputError(
            "What was told about this clip cannot be read from the library.",
            "Run `overlay check`; add the clip again with its options.",
        ) from error


def _one_of(value: Any, known: tuple[Any, ...]) -> Any:
    if value is not None and not any(type(value) is type(one) and value == one for one in known):
        raise ValueError
    return value


def _rate(value: Any) -> Fraction | None:
    if value is None:
        return None
    if not isinstance(value, str) or len(value) > 40:
        raise ValueError
    rate = Fraction(value)
    if not 1 <= rate <= 10_000:
        raise ValueError
    return rate


def _stature(value: Any) -> float | None:
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not 80 <= value <= 240:
        raise ValueError
    return float(value)
