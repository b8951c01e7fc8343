"""Both views of one swing: four recordings at most, paired, compared view by view, and one answer over both."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from overlay.data import Checklist, FirstThing, Model, Swing, ViewPair
from overlay.errors import InputError
from overlay.pipeline.clips import ClipOptions, Inspection
from overlay.pipeline.closer import looked_of, measured_again
from overlay.pipeline.comparing import Outcome, compare_inspections, inspect_all
from overlay.pipeline.references import as_inspection
from overlay.progress import SILENT, Progress
from overlay.terms import View

if TYPE_CHECKING:
    from overlay.checklist import ChecklistSpec
    from overlay.documents import Looked

BOTH: tuple[View, View] = ("dtl", "fo")
"""In the order in which they are shown."""


@dataclass(frozen=True)
class Seen:
    """The two clips of one player, as a person gives them.

    Attributes
    ----------
    paths : two Path
        In any order; the views are found.
    options : two ClipOptions
    offset_s : float or None
        By hand: the time of the face-on clip at second 0 of the down-the-line clip.

    Raises
    ------
    InputError
        Both are the same clip.
    """

    paths: tuple[Path, Path]
    options: tuple[ClipOptions, ClipOptions] = (ClipOptions(), ClipOptions())
    offset_s: float | None = None

    def __post_init__(self) -> None:
        one, other = self.paths
        if one.resolve() == other.resolve():
            raise InputError(
                f"{one.name} is given for both views.", "Give the down-the-line clip and the face-on clip."
            )


@dataclass(frozen=True)
class Paired:
    """Two inspected clips and how they belong together; the chosen swings are those of ``pair``."""

    inspections: Mapping[View, Inspection]
    pair: ViewPair

    def swing(self, view: View) -> Swing:
        return self.pair.dtl if view == "dtl" else self.pair.fo


@dataclass(frozen=True)
class BothViews:
    """The comparison of both views.

    Attributes
    ----------
    outcomes : mapping view → Outcome
    student : Paired
    reference : Paired or None
        None: a kept reference.
    first : FirstThing
        The one thing over both views.
    """

    outcomes: Mapping[View, Outcome]
    student: Paired
    reference: Paired | None
    first: FirstThing

    @property
    def checklists(self) -> dict[View, Checklist]:
        """Of each view that has one."""
        found = {view: outcome.comparison.checklist for view, outcome in self.outcomes.items()}
        return {view: checklist for view, checklist in found.items() if checklist is not None}


def compare_both_views(
    student: Seen,
    reference: Seen | Model,
    *,
    stature_cm: float | None = None,
    checklist: ChecklistSpec | None = None,
    fit: bool = True,
    same_player: bool = False,
    progress: Progress = SILENT,
) -> BothViews:
    """Inspect the clips of both views, pair them, and compare view by view.

    Raises
    ------
    InputError, ContentError
        As ``inspect_clip``.
    MismatchError
        The two clips of a player do not show one view each, or a kept reference lacks a view.
    """
    from overlay.pair import joint_first

    clips = list(zip(student.paths, student.options))
    if isinstance(reference, Seen):
        clips += list(zip(reference.paths, reference.options))
    found = inspect_all(clips, progress=progress)
    mine = paired(found[:2], student, progress=progress)
    other = paired(found[2:], reference, progress=progress) if isinstance(reference, Seen) else None
    outcomes: dict[View, Outcome] = {}
    for view, second in zip(BOTH, reversed(BOTH)):
        inspection, swing = mine.inspections[view], mine.swing(view)
        if other is None:
            assert isinstance(reference, Model)
            theirs = as_inspection(
                reference,
                swing,
                second=mine.swing(second),
                filming=inspection.closer[swing.swing_number].filming,
                fit=fit,
                progress=progress,
            )
            number = None
        else:
            theirs, number = other.inspections[view], other.swing(view).swing_number
        comparison = compare_inspections(
            inspection,
            theirs,
            student_swing=swing.swing_number,
            reference_swing=number,
            stature_cm=stature_cm,
            checklist=checklist,
            fit=fit,
            same_player=same_player,
            progress=progress,
        )
        outcomes[view] = Outcome(comparison, inspection, theirs)
    known = {view: outcome.comparison.checklist for view, outcome in outcomes.items()}
    first = joint_first({view: one for view, one in known.items() if one is not None})
    return BothViews(outcomes, mine, other, first)


def inspect_both_views(
    seen: Seen, spec: ChecklistSpec, *, progress: Progress = SILENT
) -> tuple[Paired, dict[View, Looked], FirstThing]:
    """Both views of one player alone: paired, each with its checklist, and the one thing over both. Raises as above."""
    from overlay.pair import joint_first

    found = paired(inspect_all(list(zip(seen.paths, seen.options)), progress=progress), seen, progress=progress)
    looked = {view: looked_of(found.inspections[view], found.swing(view).swing_number, spec) for view in BOTH}
    checklists = {view: one.checklist for view, one in looked.items() if one.checklist is not None}
    return found, looked, joint_first(checklists)


def paired(inspections: Sequence[Inspection], seen: Seen, *, progress: Progress = SILENT) -> Paired:
    """Bring the chosen swings of two clips together; positions that the other view tells better are taken over.

    Raises
    ------
    MismatchError
        The clips do not show one view each, or the hands differ.
    """
    from overlay.pair import fused_positions, pair_views
    from overlay.video import read_sound
    from overlay.video.recorded import recorded_at

    one, other = inspections
    progress.stage("bringing both views together")
    chosen = [inspection.chosen(options.swing) for inspection, options in zip((one, other), seen.options, strict=True)]
    filmed = [None if inspection.clip is None else inspection.path for inspection in (one, other)]
    sounds = [None if path is None else read_sound(path) for path in filmed]
    times = [None if path is None else recorded_at(path) for path in filmed]
    reports = [
        inspection.closer[swing.swing_number].filming for inspection, swing in zip((one, other), chosen, strict=True)
    ]
    pair = pair_views(
        chosen[0],
        chosen[1],
        sounds=(sounds[0], sounds[1]),
        recorded_at=(times[0], times[1]),
        offset_s=seen.offset_s,
        filming=(reports[0], reports[1]),
    )
    by_view: dict[View, Inspection] = {swing.view: each for swing, each in zip(chosen, (one, other), strict=True)}
    if pair.one_swing:
        sharper = fused_positions(pair)
        told = {swing.view: options for swing, options in zip(chosen, seen.options, strict=True)}
        now: dict[View, Swing] = {}
        for view, swing in zip(BOTH, (pair.dtl, pair.fo), strict=True):
            now[view] = dataclasses.replace(swing, positions=sharper[view])
            by_view[view] = measured_again(by_view[view], swing, now[view], told[view])
        pair = dataclasses.replace(pair, dtl=now["dtl"], fo=now["fo"])
    progress.done()
    return Paired(by_view, pair)
