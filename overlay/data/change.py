"""Whether a change holds: session means, the verdict with its numbers, and what the cameras may have done."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Literal

from overlay.data.record import Aim, MeasureSeries

HoldingWord = Literal["holding", "not holding", "faded", "not enough sessions", "cameras differ"]
"""``cameras differ``: a change is seen, and the camera's other place could have made it; nothing is decided then."""


@dataclass(frozen=True)
class SessionMean:
    """One session of one measure.

    Attributes
    ----------
    session_id : int
    date : date
    n : int
        Swings with a valid value.
    mean : float
    sd : float
        Within the session; NaN for one swing.
    interval : (low, high)
        95 % t interval of the mean; NaN for one swing.
    """

    session_id: int
    date: datetime.date
    n: int
    mean: float
    sd: float
    interval: tuple[float, float]


@dataclass(frozen=True)
class Holding:
    """The verdict on one measure.

    Attributes
    ----------
    word : HoldingWord
    change : float
        Mean of the later session means minus mean of the baseline's; NaN when a side has no session.
    interval : (low, high)
        95 % of ``change``; NaN when it cannot be given.
    p : float
        Two-sided, of the pooled t test on session means; NaN when it cannot be made.
    p_adjusted : float
        After Holm where the measure is not the declared focus; ``p`` otherwise.
    n_baseline, n_later : int
        Sessions.
    more_baseline, more_later : int
        Sessions missing before anything is said; 0 when there are enough.
    detectable : float
        Smallest change that this many sessions would have found with the chance the settings name; NaN when the
        spread is not known at all.
    last_two : tuple of bool
        Whether each of the last two sessions lies beyond half the change, oldest first; empty when not asked.
    aim : Aim
    is_focus : bool
    sentence : str
        The verdict in plain words.
    reason : str
        Why it is that word.
    """

    word: HoldingWord
    change: float
    interval: tuple[float, float]
    p: float
    p_adjusted: float
    n_baseline: int
    n_later: int
    more_baseline: int
    more_later: int
    detectable: float
    last_two: tuple[bool, ...]
    aim: Aim
    is_focus: bool
    sentence: str
    reason: str = ""


@dataclass(frozen=True)
class CameraShift:
    """How the camera differs between baseline and later sessions, and what that does to one measure.

    Attributes
    ----------
    shifts : tuple of (finding, difference, standard deviation, unit)
        Later minus baseline, of what was seen in both.
    effect : float
        What the shift alone does to the measure, in its unit; NaN when it cannot be told.
    sd : float
        Uncertainty of ``effect``, the unknown among it.
    could_explain : float
        How much of the change, in its direction, the cameras could account for at most (95 %).
    vetoes : bool
        Whether what is left beyond the cameras is no longer a change.
    sentence : str
    """

    shifts: tuple[tuple[str, float, float, str], ...]
    effect: float
    sd: float
    could_explain: float
    vetoes: bool
    sentence: str


@dataclass(frozen=True)
class ChangeAnswer:
    """Everything said about one measure of one player across sessions.

    Attributes
    ----------
    player, measure, title, unit : str
        ``title`` is the measure in a coach's words.
    since : date
        The first day of the later sessions.
    series : MeasureSeries
    means : tuple of SessionMean
        Oldest first; sessions with no valid value are left out.
    holding : Holding
        Its word is ``cameras differ`` where ``camera`` vetoes.
    camera : CameraShift or None
        None where nothing needed to be weighed.
    notes : tuple of str
    """

    player: str
    measure: str
    title: str
    unit: str
    since: datetime.date
    series: MeasureSeries
    means: tuple[SessionMean, ...]
    holding: Holding
    camera: CameraShift | None = None
    notes: tuple[str, ...] = ()
