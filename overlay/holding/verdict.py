"""The verdict: one of four words, with its sentence and its reason.

The rule and its figures: docs/holding.md. A fifth word, ``cameras differ``, is given by who knows the cameras.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from overlay import stats
from overlay.arrays import FloatArray
from overlay.data import Aim, Holding, HoldingWord
from overlay.data.record import AIMS
from overlay.errors import DataError
from overlay.holding.weigh import Gone, Weighed, Within, detectable, weigh
from overlay.holding.wording import Telling, p_words, sessions
from overlay.settings.holding import HoldingSettings

DEFAULTS = HoldingSettings()


@dataclass(frozen=True)
class Case:
    """One measure to be judged.

    Attributes
    ----------
    baseline, later : sequence of float
        Session means, oldest first; NaN where a session has none.
    aim : Aim
        Which way the value was meant to go, where that was declared.
    is_focus : bool
        Whether it is the one declared measure, tested by itself; the others are held together by Holm.
    unit : str
    more, less : str
        What a higher and a lower value mean, for the sentence.
    within : Within or None
        What the swings within the sessions say: it widens the error where the side with fewer sessions also has fewer
        swings in them, and stands in where one session a side shows no scatter.
    """

    baseline: Sequence[float] | FloatArray
    later: Sequence[float] | FloatArray
    aim: Aim = "either"
    is_focus: bool = True
    unit: str = ""
    more: str = "higher"
    less: str = "lower"
    within: Within | None = None


def judge(
    baseline: Sequence[float] | FloatArray,
    later: Sequence[float] | FloatArray,
    *,
    aim: Aim = "either",
    is_focus: bool = True,
    p_adjusted: float | None = None,
    unit: str = "",
    more: str = "higher",
    less: str = "lower",
    within: Within | None = None,
    settings: HoldingSettings = DEFAULTS,
) -> Holding:
    """The verdict on one measure.

    *Holding*: p < .05 of Student's pooled t test on session means, and both of the last two sessions lie beyond half
    of the change, on its side, and on the aimed side where an aim was declared. *Faded*: the first of the later
    sessions differ from the baseline, at least two of them lie beyond half of that change, and the last two, taken
    together, and the newest do not any more. *Not holding*: neither. *Not enough sessions*: fewer than 3 + 2.

    Parameters
    ----------
    baseline, later : sequence of float
        Session means, oldest first; NaN (a session without a valid value) is left out.
    aim, is_focus, unit, more, less, within
        As ``Case``.
    p_adjusted : float, optional
        p after Holm among the measures that are not the focus; the plain one if not given. The word goes by it.

    Raises
    ------
    DataError
        Something that is not a row of numbers, an infinite value, or an aim there is not.
    """
    case = Case(baseline, later, aim, is_focus, unit, more, less, within)
    weighed = weigh(baseline, later, settings, within)
    if p_adjusted is not None and not (math.isnan(p_adjusted) or 0.0 <= p_adjusted <= 1.0):
        raise DataError(f"An adjusted p of {p_adjusted} is no probability.", "Give a number from 0 to 1.")
    return verdict(case, weighed, weighed.p if p_adjusted is None else p_adjusted, settings=settings)


def judge_together(cases: Sequence[Case], *, settings: HoldingSettings = DEFAULTS) -> tuple[Holding, ...]:
    """The verdicts on several measures of one player: the focus by itself, all others together (Holm 1979).

    Holm holds the chance that *any* of the others is called changed without being so; the change that has faded is
    held in the same way. Measures without enough sessions are no tests and make the others no harder.

    Raises
    ------
    DataError
        As ``judge``; or more than one measure is the focus.
    """
    if sum(case.is_focus for case in cases) > 1:
        raise DataError("More than one measure is declared the focus.", "Declare the one that was worked on.")
    weighed = [weigh(case.baseline, case.later, settings, case.within) for case in cases]
    others = [i for i, case in enumerate(cases) if not case.is_focus and math.isfinite(weighed[i].p)]
    adjusted = [each.p for each in weighed]
    gone = [math.nan if each.gone is None else each.gone.p for each in weighed]
    if others:
        for i, p in zip(others, stats.holm([adjusted[i] for i in others])):
            adjusted[i] = float(p)
        for i, p in zip(others, stats.holm([1.0 if math.isnan(gone[i]) else gone[i] for i in others])):
            gone[i] = float(p)
    return tuple(
        verdict(case, each, p, p_gone, n_together=len(others), settings=settings)
        for case, each, p, p_gone in zip(cases, weighed, adjusted, gone)
    )


def verdict(
    case: Case,
    weighed: Weighed,
    p_adjusted: float,
    p_gone: float | None = None,
    *,
    n_together: int = 1,
    settings: HoldingSettings = DEFAULTS,
) -> Holding:
    """The word, the sentence and the reason of what was weighed.

    Parameters
    ----------
    p_adjusted, p_gone : float
        After Holm where the measure is not the focus; ``p_gone`` of the change that is gone, its own p if not given.
    n_together : int
        Measures that were held together, for the reason.
    """
    if case.aim not in AIMS:
        raise DataError(f"{case.aim!r} is no aim.", f"Use one of {', '.join(AIMS)}.")
    n_baseline, n_later = len(weighed.baseline), len(weighed.later)
    missed = detectable(weighed, settings, case.within)
    telling = Telling.of(case.unit, weighed.interval, missed, more=case.more, less=case.less)
    more = (max(0, settings.least_baseline - n_baseline), max(0, settings.least_later - n_later))
    if p_gone is None:
        p_gone = math.nan if weighed.gone is None else weighed.gone.p
    if any(more):
        sentence, reason = _too_few(weighed, missed, more, telling, settings)
    else:
        sentence, reason = _told(case, weighed, p_adjusted, p_gone, missed, n_together, telling, settings)
    return Holding(
        word=word_of(weighed, p_adjusted, p_gone, case.aim, settings=settings),
        change=weighed.change,
        interval=weighed.interval,
        p=weighed.p,
        p_adjusted=p_adjusted,
        n_baseline=n_baseline,
        n_later=n_later,
        more_baseline=more[0],
        more_later=more[1],
        detectable=missed,
        last_two=weighed.last,
        aim=case.aim,
        is_focus=case.is_focus,
        sentence=sentence,
        reason=reason,
    )


def _too_few(
    weighed: Weighed,
    missed: float,
    more: tuple[int, int],
    telling: Telling,
    settings: HoldingSettings,
) -> tuple[str, str]:
    """Sentence and reason where there are too few sessions."""
    n_baseline, n_later = len(weighed.baseline), len(weighed.later)
    needed = []
    if more[0]:
        needed.append(f"{more[0]} more from before the change")
    if more[1]:
        needed.append(f"{more[1]} more since")
    count = sum(more)
    verb = "is" if count == 1 else "are"
    sentence = (
        f"Not enough sessions: {n_baseline} before and {n_later} since; {' and '.join(needed)} {verb} needed, "
        f"{settings.advised_baseline} + {settings.advised_later} with {settings.advised_swings} swings each are better."
    )
    reasons = []
    if math.isfinite(weighed.change):
        reasons.append(f"So far it is {telling.change(weighed.change)}, which may be chance.")
    if math.isfinite(missed):
        reasons.append(_missed(weighed, missed, telling, settings))
    if more[0]:
        reasons.append("Sessions from before the change can still be added from older clips.")
    return sentence, " ".join(reasons)


def _missed(weighed: Weighed, missed: float, telling: Telling, settings: HoldingSettings) -> str:
    said = f"A change of less than {telling.size(missed)} could have been missed"
    if not len(weighed.baseline) or not len(weighed.later):
        said = f"With {settings.least_baseline} + {settings.least_later} sessions {said[0].lower()}{said[1:]}"
    if weighed.df == 0:
        return f"{said}; that is optimistic, since one session a side does not show how much sessions scatter."
    return f"{said}."


def word_of(
    weighed: Weighed, p: float, p_gone: float, aim: Aim = "either", *, settings: HoldingSettings = DEFAULTS
) -> HoldingWord:
    """The word alone.

    Parameters
    ----------
    p, p_gone : float
        Of the change and of the change that is gone, after Holm where the measure is not the focus; ``p_gone`` is NaN
        where none is.
    """
    if len(weighed.baseline) < settings.least_baseline or len(weighed.later) < settings.least_later:
        return "not enough sessions"
    if p < settings.level and all(weighed.last):
        return "holding" if _is_meant(aim, weighed.change) else "not holding"
    if weighed.gone is not None and p_gone < settings.level and _is_meant(aim, weighed.gone.change):
        return "faded"
    return "not holding"


def _told(
    case: Case,
    weighed: Weighed,
    p: float,
    p_gone: float,
    missed: float,
    n_together: int,
    telling: Telling,
    settings: HoldingSettings,
) -> tuple[str, str]:
    """Sentence and reason where there are enough sessions."""
    word = word_of(weighed, p, p_gone, case.aim, settings=settings)
    changed = p < settings.level
    shown = all(weighed.last)
    change = telling.change(weighed.change)
    between = f"{round(100 * settings.interval)} %: {telling.interval(*weighed.interval)}"
    tested = _tested(weighed, p, case.is_focus, n_together)
    last = f"the last {settings.last} sessions"
    if word == "holding":
        return f"Holding: {change} ({between}).", f"{tested}, and each of {last} lies beyond half of the change."
    if changed and shown:
        return (
            f"Not holding: it went the wrong way, {change} ({between}).",
            f"{tested}, but it was meant to get {telling.way(1 if case.aim == 'higher' else -1)}.",
        )
    if weighed.gone is not None and p_gone < settings.level:
        return _faded(case, weighed.gone, p_gone, telling, settings)
    if changed:
        seen = sum(weighed.last)
        few = "neither" if seen == 0 and settings.last == 2 else f"{seen or 'none'}"
        return (
            f"Not holding: {change} on the whole ({between}), but {few} of {last} shows it.",
            f"{tested}; each of {last} would have to lie beyond half of the change.",
        )
    if weighed.sd == 0:
        return (
            "Not holding: no change, every session gives the same value.",
            "The sessions do not scatter at all: look whether they are measured.",
        )
    alone = ""
    if weighed.p < settings.level:
        alone = " By itself it would count; among so many measures one such is to be expected by chance."
    return (
        f"Not holding: no change beyond the scatter between sessions; measured {change} ({between}).",
        f"{tested}.{alone} {_missed(weighed, missed, telling, settings)}",
    )


def _faded(case: Case, gone: Gone, p_gone: float, telling: Telling, settings: HoldingSettings) -> tuple[str, str]:
    change = telling.change(gone.change)
    first = f"the first {sessions(gone.n)} since"
    back = f"the last {settings.last} are back to less than half of that"
    if _is_meant(case.aim, gone.change):
        sentence = f"Faded: {first} had it {change}; {back}."
    else:
        sentence = f"Not holding: it went the wrong way for a while, {change} in {first}; {back}."
    between = f"{round(100 * settings.interval)} %: {telling.interval(*gone.interval)}"
    reason = (
        f"{first[0].upper()}{first[1:]} differ from the baseline ({between}; {p_words(p_gone)}), {gone.shown} of them "
        "by more than half of that change."
    )
    return sentence, reason


def _tested(weighed: Weighed, p: float, is_focus: bool, n_together: int) -> str:
    said = f"t test on {len(weighed.baseline)} + {len(weighed.later)} session means: {p_words(weighed.p)}"
    if not is_focus and n_together > 1:
        said += f", among {n_together} measures {p_words(p)} (Holm)"
    if weighed.widened > 1.1:
        said += (
            f" (with an error widened {weighed.widened:.1f} times, for the few swings on the side of fewer sessions)"
        )
    if weighed.sd == 0:
        said += " (the sessions of a side do not scatter at all: look whether they are measured)"
    return said


def _is_meant(aim: Aim, change: float) -> bool:
    return aim == "either" or (change > 0) == (aim == "higher")
