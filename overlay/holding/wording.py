"""Changes in words: so many digits as the change is known to, and which way it went."""

from __future__ import annotations

import math
from dataclasses import dataclass

_SCALE = {"fraction": 100.0, "s": 1000.0}
_FINEST = {"torso": 2, "deg": 1, "fraction": 1, "s": 0, "ratio": 2, "": 2}
_AFTER = {"torso": " torso lengths", "deg": "°", "fraction": " percentage points", "s": " ms", "": "", "ratio": ""}


def digits(unit: str, sure: float) -> int:
    """Decimals with which a change of that unit is told: two significant digits of how sure it is, but no finer than
    the unit is read, unless nothing of the uncertainty were left then.
    """
    finest = _FINEST.get(unit, 3)
    if not (math.isfinite(sure) and sure > 0):
        return finest
    first = -math.floor(math.log10(sure * _SCALE.get(unit, 1.0)))
    return min(6, max(0, min(1 + first, finest), first))


def number(value: float, unit: str, decimals: int) -> str:
    """The bare number with a true minus, in the unit it is told in (percentage points, ms)."""
    text = f"{value * _SCALE.get(unit, 1.0):.{decimals}f}"
    return text.lstrip("-") if float(text) == 0 else text.replace("-", "−")


def unit_words(unit: str) -> str:
    """What stands behind the number: " torso lengths", "°", " ms"; a unit without a word of its own as it is."""
    return _AFTER.get(unit, f" {unit}")


@dataclass(frozen=True)
class Telling:
    """How one measure's changes are told.

    Attributes
    ----------
    unit : str
    decimals : int
    more, less : str
        What a higher and a lower value mean: "higher" and "lower", or "further outside" and "further inside".
    """

    unit: str
    decimals: int
    more: str = "higher"
    less: str = "lower"

    @classmethod
    def of(
        cls,
        unit: str,
        interval: tuple[float, float],
        detectable: float,
        *,
        more: str = "higher",
        less: str = "lower",
    ) -> Telling:
        """So many digits as the interval allows; without one, as the smallest change that would be found."""
        half = (interval[1] - interval[0]) / 2
        return cls(unit, digits(unit, half if math.isfinite(half) and half > 0 else detectable), more, less)

    def way(self, value: float) -> str:
        return self.more if value >= 0 else self.less

    def size(self, value: float) -> str:
        """The amount without its direction: "0.12 torso lengths"."""
        return number(abs(value), self.unit, self.decimals) + unit_words(self.unit)

    def signed(self, value: float) -> str:
        """The bare number with its sign: "+0.12", "−3"."""
        text = number(value, self.unit, self.decimals)
        return f"+{text}" if value > 0 and float(text) != 0 else text

    def change(self, value: float) -> str:
        """The amount and where to: "0.12 torso lengths further inside"; of what rounds to nothing the amount alone."""
        if float(number(abs(value), self.unit, self.decimals)) == 0:
            return self.size(value)
        return f"{self.size(value)} {self.way(value)}"

    def interval(self, low: float, high: float) -> str:
        """A range of changes beside one of them: "0.05 to 0.19", or "from 3° lower to 5° higher" across nothing."""
        if (low > 0) == (high > 0):
            near, far = sorted((abs(low), abs(high)))
            return f"{number(near, self.unit, self.decimals)} to {number(far, self.unit, self.decimals)}"
        one = number(abs(low), self.unit, self.decimals) + ("°" if self.unit == "deg" else "")
        return f"from {one} {self.way(low)} to {self.change(high)}"


def p_words(p: float) -> str:
    """``p = .041``; three decimals, and no less than .001."""
    if p < 0.0005:
        return "p < .001"
    return f"p = {p:.3f}".replace("0.", ".", 1) if p < 1 else "p = 1"


def sessions(n: int, word: str = "") -> str:
    """``1 baseline session``, ``3 later sessions``."""
    return f"{n} {word + ' ' if word else ''}session{'' if n == 1 else 's'}"
