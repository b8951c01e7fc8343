"""Sorts a handful of clips into pairs of views, from what is known of each: when it was recorded, and what is heard."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import DataError
from overlay.pair.evidence import recorded_clue
from overlay.pair.sounds import match_sounds
from overlay.settings.pair import PairSettings
from overlay.terms import Handedness, View
from overlay.video import Sound


@dataclass(frozen=True)
class ClipFacts:
    """What is known of one swing's clip.

    Attributes
    ----------
    key : str
        How the caller calls it.
    view : dtl, fo or other
    handedness : right, left or None when not known
    impact_s : float
        Real seconds from the first picture to the strike.
    recorded_at : float or None
        When the first picture was taken, s since 1970.
    sound : Sound or None
    slow : float
        Playback seconds per real second, for the sound.
    """

    key: str
    view: View
    handedness: Handedness | None
    impact_s: float
    recorded_at: float | None = None
    sound: Sound | None = None
    slow: float = 1.0

    def __post_init__(self) -> None:
        if not math.isfinite(self.impact_s):
            raise DataError(f"The strike of {self.key} has no finite time.", "Leave the clip out.")


@dataclass(frozen=True)
class FoundPair:
    """Two clips of one swing: their keys, log odds and the sentences they rest on."""

    dtl: str
    fo: str
    odds: float
    evidence: tuple[str, ...]


def find_pairs(clips: Sequence[ClipFacts], *, settings: PairSettings | None = None) -> tuple[FoundPair, ...]:
    """The pairs of clips that show one swing, each clip in one pair at most.

    Every down-the-line clip is held against every face-on clip of the same hand; the set of pairs with the largest sum
    of log odds is taken (Kuhn 1955), and of it those that are 95 % sure. The clocks of two phones may be minutes apart:
    when three or more clips lie one and the same time apart, that time is taken as the clocks' difference.

    Parameters
    ----------
    clips : sequence of ClipFacts
    settings : PairSettings or None

    Returns
    -------
    tuple of FoundPair
        In the order of the down-the-line clips.

    Raises
    ------
    DataError
        Two clips have one key.
    """
    from scipy.optimize import linear_sum_assignment

    settings = settings or PairSettings()
    if len({clip.key for clip in clips}) != len(clips):
        raise DataError("Two clips have the same name.", "Give every clip a key of its own.")
    ones = [clip for clip in clips if clip.view == "dtl"]
    others = [clip for clip in clips if clip.view == "fo"]
    if not ones or not others:
        return ()
    gaps = np.array([[_gap(one, other) for other in others] for one in ones])
    apart = clock_difference(gaps, settings)
    table = np.zeros((len(ones), len(others)))
    said: dict[tuple[int, int], tuple[str, ...]] = {}
    for i, one in enumerate(ones):
        for j, other in enumerate(others):
            table[i, j], said[i, j] = _odds(one, other, float(gaps[i, j]) - apart, settings)
    # Below the threshold a pair is no pair: it must not take a clip from a sure one.
    worth = np.where(table >= settings.odds, table, 0.0)
    rows, columns = linear_sum_assignment(-worth)
    return tuple(
        FoundPair(ones[i].key, others[j].key, float(table[i, j]), said[i, j])
        for i, j in zip(map(int, rows), map(int, columns))
        if worth[i, j] > 0
    )


def _gap(one: ClipFacts, other: ClipFacts) -> float:
    """How much later the second strike was by the files' clocks, s; NaN when not known."""
    if one.recorded_at is None or other.recorded_at is None:
        return math.nan
    return other.recorded_at + other.impact_s - one.recorded_at - one.impact_s


def clock_difference(gaps: FloatArray, settings: PairSettings) -> float:
    """How far the face-on phone's clock is ahead, s, from (D, F) gaps between all strikes; 0 where nothing shows it.

    The difference at which most clips find a partner, when these are three or more, clearly more than without one and
    than at any other difference: swings that follow each other regularly must not be laid over their neighbours.
    """
    near = settings.recorded.clock_sd_s
    seen = gaps[np.isfinite(gaps)]
    if not len(seen):
        return 0.0

    def partners(shift: float) -> int:
        close = np.abs(np.where(np.isfinite(gaps), gaps, np.inf) - shift) <= near
        return int(min(close.any(axis=0).sum(), close.any(axis=1).sum()))

    counts = [(partners(float(shift)), float(shift)) for shift in seen]
    best, at = max(counts, key=lambda entry: (entry[0], -abs(entry[1])))
    rival = max((count for count, shift in counts if abs(shift - at) > 3 * near), default=0)
    if best < 3 or best <= partners(0.0) or best <= rival:
        return 0.0
    return float(np.median(seen[np.abs(seen - at) <= near]))


def _odds(one: ClipFacts, other: ClipFacts, gap_s: float, settings: PairSettings) -> tuple[float, tuple[str, ...]]:
    """Log odds that two clips show one swing, and why; against every other one when nothing is known."""
    if one.handedness is not None and other.handedness is not None and one.handedness != other.handedness:
        return -100.0, ("The players' hands differ.",)
    odds, said = 0.0, []
    if math.isfinite(gap_s):
        clue = recorded_clue(gap_s, settings)
        odds += clue.odds
        said.append(clue.sentence)
    if one.sound is not None and other.sound is not None:
        expected = other.impact_s - one.impact_s
        heard = match_sounds(
            one.sound,
            other.sound,
            slow=(one.slow, other.slow),
            expected_s=expected,
            expected_sd_s=math.sqrt(2.0) * settings.position_sd_s,
            strikes_s=(one.impact_s, other.impact_s),
            settings=settings.sound,
        )
        if heard is not None:
            odds += heard.odds
            said.append(heard.sentence)
    return odds, tuple(said)
