"""From series to answers: what is judged together, what cameras may have made, and what is told beside it."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from overlay.data import Aim, CameraShift, ChangeAnswer, Holding, MeasureSeries, SessionMean
from overlay.holding import Case, judge_together, weigh
from overlay.plots.words import measure_words
from overlay.settings.holding import HoldingSettings
from overlay.terms import View
from overlay.trends.series import DEFAULTS, drift, session_means, split, within_sessions


class Changed(Protocol):
    """A change with its 95 % interval."""

    @property
    def change(self) -> float: ...

    @property
    def interval(self) -> tuple[float, float]: ...


CameraLook = Callable[[MeasureSeries, Changed, Sequence[int], Sequence[int]], CameraShift | None]
"""(series, change, ids of the baseline's sessions, ids of the later ones) → what the cameras may have made of it."""


@dataclass(frozen=True)
class Asked:
    """One measure to be answered.

    Attributes
    ----------
    series : MeasureSeries
        Of one player, one view and one club.
    aim, is_focus
        As ``holding.Case``.
    notes : tuple of str
        What has to be told already, such as a choice of club.
    """

    series: MeasureSeries
    aim: Aim = "either"
    is_focus: bool = True
    notes: tuple[str, ...] = ()


def answer_of(
    player: str,
    asked: Asked,
    since: datetime.date,
    *,
    look: CameraLook | None = None,
    failed: Mapping[tuple[int, View], int] | None = None,
    settings: HoldingSettings = DEFAULTS,
) -> ChangeAnswer:
    """The answer on one measure by itself; see ``answers_of``."""
    return answers_of(player, [asked], since, look=look, failed=failed, settings=settings)[0]


def answers_of(
    player: str,
    asked: Sequence[Asked],
    since: datetime.date,
    *,
    look: CameraLook | None = None,
    failed: Mapping[tuple[int, View], int] | None = None,
    settings: HoldingSettings = DEFAULTS,
) -> tuple[ChangeAnswer, ...]:
    """The answers on several measures of one player, in the order in which they are asked.

    The focus is tested by itself, the others are held together by Holm. The cameras are looked at only where a change
    was seen.

    Parameters
    ----------
    since : date
        First day of the later sessions.
    look : CameraLook, optional
        What the cameras may have made of a change; without it nothing is said of them.
    failed : mapping (session, view) → swings, optional
        Swings whose filming check failed.

    Raises
    ------
    DataError
        More than one measure is the focus.
    """
    sides = []
    cases = []
    for one in asked:
        means = session_means(one.series, settings=settings)
        baseline, later = split(means, since)
        words = measure_words(one.series.name, one.series.view)
        sides.append((means, baseline, later))
        cases.append(
            Case(
                [mean.mean for mean in baseline],
                [mean.mean for mean in later],
                one.aim,
                one.is_focus,
                one.series.unit,
                words.more,
                words.less,
                within_sessions(baseline, later),
            )
        )
    answers = []
    for one, (means, baseline, later), holding in zip(asked, sides, judge_together(cases, settings=settings)):
        camera = _camera(one.series, holding, baseline, later, look, settings)
        if camera is not None and camera.vetoes:
            holding = vetoed(holding, camera)
        words = measure_words(one.series.name, one.series.view)
        title = f"{words.title} ({words.where})" if words.where else words.title
        notes = [*one.notes, *side_notes(one.series, baseline, later, failed or {}, settings)]
        slope, p = drift(later)
        if holding.word == "holding" and p < settings.level and slope * holding.change < 0:
            notes.insert(
                0, "It holds, but the sessions since drift back from one to the next: look again after the next."
            )
        answers.append(
            ChangeAnswer(
                player, one.series.name, title, one.series.unit, since, one.series, means, holding, camera, tuple(notes)
            )
        )
    return tuple(answers)


def _camera(
    series: MeasureSeries,
    holding: Holding,
    baseline: Sequence[SessionMean],
    later: Sequence[SessionMean],
    look: CameraLook | None,
    settings: HoldingSettings,
) -> CameraShift | None:
    """Looked at for the change that was seen: that of all later sessions, or the one that the first of them showed."""
    if look is None or holding.word == "not enough sessions":
        return None
    changed: Changed = holding
    compared = list(later)
    if not holding.p_adjusted < settings.level or holding.word == "faded":
        within = within_sessions(baseline, later)
        gone = weigh([mean.mean for mean in baseline], [mean.mean for mean in later], settings, within).gone
        if holding.word != "faded" or gone is None:
            return None
        changed, compared = gone, list(later[: gone.n])
    return look(series, changed, [mean.session_id for mean in baseline], [mean.session_id for mean in compared])


def vetoed(holding: Holding, camera: CameraShift) -> Holding:
    """The verdict where the camera's other place could have made what was seen."""
    head, _, told = holding.sentence.partition(": ")
    return replace(
        holding,
        word="cameras differ",
        sentence=f"Cameras differ: nothing can be decided. {camera.sentence}",
        reason=f"Without regard to the cameras it would be “{head.lower()}”: {told} {holding.reason}",
    )


def side_notes(
    series: MeasureSeries,
    baseline: Sequence[SessionMean],
    later: Sequence[SessionMean],
    failed: Mapping[tuple[int, View], int],
    settings: HoldingSettings,
) -> tuple[str, ...]:
    """What a careful reader would want to know of the sessions behind an answer."""
    means = (*baseline, *later)
    notes = []
    badly = [mean for mean in means if failed.get((mean.session_id, series.view), 0) * 2 >= mean.n]
    if badly:
        notes.append(f"The filming check failed in {_listed(badly)}: what was measured there is worth less.")
    silent = {session.id for session in series.sessions if session.n_swings} - {mean.session_id for mean in means}
    if silent:
        n = len(silent)
        notes.append(f"{n} session{'' if n == 1 else 's'} without a valid value of this measure {_are(n)} not counted.")
    thin = [mean for mean in means if mean.n < settings.thin_swings]
    if thin:
        notes.append(
            f"Only {'one or two swings' if max(mean.n for mean in thin) > 1 else 'one swing'} in {_listed(thin)}: "
            "counted like the others, though less sure."
        )
    if baseline and later:
        sizes = [float(np.median([mean.n for mean in side])) for side in (baseline, later)]
        if max(sizes) >= settings.unequal_swings * min(sizes):
            notes.append(_unequal(sizes, len(baseline), len(later)))
        advised = len(baseline) >= settings.advised_baseline and len(later) >= settings.advised_later
        enough = len(baseline) >= settings.least_baseline and len(later) >= settings.least_later
        if enough and not advised:
            notes.append(
                f"{len(baseline)} + {len(later)} sessions are few: with {settings.advised_baseline} + "
                f"{settings.advised_later} of {settings.advised_swings} swings or more the answer is sharper."
            )
        if drift(baseline)[1] < settings.level:
            notes.append(
                "The baseline was on the move already: its sessions climb or fall from the first to the last, so what "
                "changed may not be due to what was worked on."
            )
    return tuple(notes)


def _unequal(sizes: Sequence[float], n_baseline: int, n_later: int) -> str:
    before, since = (f"{size:g}" for size in sizes)
    said = f"Sessions before have {before} swings, sessions since {since} (medians)"
    if n_later != n_baseline and (n_later < n_baseline) == (sizes[1] < sizes[0]):
        return f"{said}: the side with fewer sessions is also the less sure one, so the error is widened."
    return f"{said}; film as many in each."


def _are(n: int) -> str:
    return "is" if n == 1 else "are"


def _listed(means: Sequence[SessionMean], most: int = 4) -> str:
    days = [mean.date.isoformat() for mean in means]
    if len(days) > most:
        return f"{len(days)} sessions ({', '.join(days[:most])} …)"
    return ("the session of " if len(days) == 1 else "the sessions of ") + ", ".join(days)


def mean_of(series: MeasureSeries, sessions: Sequence[int]) -> float:
    """Mean over all swings of some sessions; NaN without any."""
    keep = np.isin(series.session_id, np.asarray(sessions, np.int64))
    return float(series.value[keep].mean()) if np.any(keep) else math.nan
