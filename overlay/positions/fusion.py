"""Joins candidate times from several sources into one table of positions.

A source (pose now; club, ball, sound or a person's mark later) proposes a time with its own uncertainty. Independent
sources are weighted by inverse variance, which is the best linear unbiased combination; sources that contradict each
other are not averaged. The confidence of a position is the chance that it lies within the tolerance of the GolfDB
rule (McNally et al. 2019): one thirtieth of the time from address to impact, at least one frame.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Iterable, Mapping

from overlay.data import Position, Positions
from overlay.errors import DataError
from overlay.settings.positions import PositionSettings
from overlay.terms import POSITION_NAMES, Source

MARKED_SD_S = 1e-3
"""A person's mark wins against every measurement."""


@dataclass(frozen=True)
class Candidate:
    """A proposed time of one position, with its standard deviation, both seconds of playback."""

    name: str
    time_s: float
    sd_s: float
    source: Source = "pose"

    def __post_init__(self) -> None:
        if self.name not in POSITION_NAMES:
            raise DataError(f"{self.name!r} is not a position.", f"Use one of {', '.join(POSITION_NAMES)}.")
        if not (math.isfinite(self.time_s) and math.isfinite(self.sd_s) and self.sd_s > 0):
            raise DataError(
                f"A candidate for {self.name} needs a finite time and a positive uncertainty.",
                "Leave the candidate out instead.",
            )


def combine(candidates: Iterable[Candidate], disagreement: float = 3.0) -> Candidate:
    """One candidate from several for the same position.

    Those within ``disagreement`` joint standard deviations of the surest are averaged by inverse variance; the
    others are left out. The source named is that of the surest.

    Raises
    ------
    DataError
        There is no candidate, or they are for different positions.

    >>> combine([Candidate("top", 1.00, 0.01), Candidate("top", 1.01, 0.01, "club")]).time_s
    1.005
    """
    ranked = sorted(candidates, key=lambda candidate: candidate.sd_s)
    if not ranked or len({candidate.name for candidate in ranked}) != 1:
        raise DataError("Candidates of exactly one position can be combined.", "Group them by name first.")
    best = ranked[0]
    agreed = [
        other for other in ranked if abs(other.time_s - best.time_s) <= disagreement * math.hypot(other.sd_s, best.sd_s)
    ]
    weight = sum(other.sd_s**-2 for other in agreed)
    time_s = best.time_s + sum((other.time_s - best.time_s) * other.sd_s**-2 for other in agreed) / weight
    return Candidate(best.name, round(time_s, 9), weight**-0.5, best.source)


def chance_within(tolerance_s: float, sd_s: float) -> float:
    """Chance that a normal error of ``sd_s`` stays within ±``tolerance_s``."""
    return math.erf(tolerance_s / (sd_s * math.sqrt(2)))


def fuse(
    candidates: Iterable[Candidate],
    missing: Mapping[str, str],
    *,
    frame_s: float,
    swing_s: float | None = None,
    settings: PositionSettings = PositionSettings(),  # noqa: B008
) -> Positions:
    """The table of positions from all candidates of one swing.

    Parameters
    ----------
    candidates : iterable of Candidate
    missing : mapping
        Why a position has no candidate; read only for those without one.
    frame_s : float
        Spacing of the frames, s: the tolerance is never finer.
    swing_s : float or None
        Address → impact in s where the candidates do not hold both.

    Returns
    -------
    Positions
        Strictly in order: of two that contradict the order the less sure one is left out with that reason.
    """
    groups: dict[str, list[Candidate]] = {}
    for candidate in candidates:
        groups.setdefault(candidate.name, []).append(candidate)
    joined = {name: combine(group, settings.disagreement) for name, group in groups.items()}
    reasons = {name: missing.get(name, "not found") for name in POSITION_NAMES if name not in joined}
    for name in _out_of_order(joined):
        del joined[name]
        reasons[name] = "the time found contradicts the order of the other positions"
    if "address" in joined and "impact" in joined:
        swing_s = joined["impact"].time_s - joined["address"].time_s
    tolerance_s = max(frame_s, settings.tolerance * swing_s if swing_s else 0.0)
    found = []
    for name in POSITION_NAMES:
        if name not in joined:
            continue
        candidate = joined[name]
        confidence = chance_within(tolerance_s, candidate.sd_s)
        if confidence < settings.least_confidence:
            reasons[name] = "seen too poorly to be placed"
            continue
        found.append(Position(name, candidate.time_s, round(confidence, 3), candidate.source, round(candidate.sd_s, 6)))
    return Positions(tuple(found), {name: reasons[name] for name in POSITION_NAMES if name in reasons})


def _out_of_order(joined: Mapping[str, Candidate]) -> list[str]:
    """Names to leave out so that the rest is strictly increasing, the least sure first."""
    names = [name for name in POSITION_NAMES if name in joined]
    dropped: list[str] = []
    while True:
        clashes: dict[str, int] = {}
        for i, first in enumerate(names):
            for second in names[i + 1 :]:
                if joined[second].time_s <= joined[first].time_s:
                    clashes[first] = clashes.get(first, 0) + 1
                    clashes[second] = clashes.get(second, 0) + 1
        if not clashes:
            return dropped
        worst = max(clashes, key=lambda name: (clashes[name], joined[name].sd_s))
        names.remove(worst)
        dropped.append(worst)
