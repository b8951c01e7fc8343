"""Two recordings: inspected side by side, aligned, scored."""

from __future__ import annotations

import dataclasses
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from overlay.data import Comparison, Swing
from overlay.errors import ContentError, MismatchError
from overlay.pipeline.clips import ClipOptions, Inspection, inspect_clip
from overlay.pipeline.closer import look_closer, looked_of
from overlay.progress import SILENT, Progress, Stoppable, Stopped
from overlay.terms import VIEW_WORDS

if TYPE_CHECKING:
    from overlay.checklist import ChecklistSpec


@dataclass(frozen=True)
class Outcome:
    """A comparison with what it was made from."""

    comparison: Comparison
    student: Inspection
    reference: Inspection


def compare_clips(
    student_path: Path,
    reference_path: Path,
    *,
    student_options: ClipOptions | None = None,
    reference_options: ClipOptions | None = None,
    stature_cm: float | None = None,
    checklist: ChecklistSpec | None = None,
    progress: Progress = SILENT,
) -> Outcome:
    """Inspect two clips, align the student's swing to the reference, score the difference and go through the checklist.

    Other swings of a player's recording serve as repeats: the scores are the mean over all his swings, and their spread
    tells how much he varies. When both swings are from one recording there are no repeats: one is compared with one.

    Raises
    ------
    InputError, ContentError
        As ``inspect_clip``.
    MismatchError
        The views differ.
    """
    student_options = student_options or ClipOptions()
    reference_options = reference_options or ClipOptions()
    student, reference = _inspect_both(
        (student_path, student_options), (reference_path, reference_options), progress=progress
    )
    comparison = compare_inspections(
        student,
        reference,
        student_swing=student_options.swing,
        reference_swing=reference_options.swing,
        stature_cm=stature_cm,
        checklist=checklist,
        progress=progress,
    )
    return Outcome(comparison, student, reference)


def _inspect_both(
    student: tuple[Path, ClipOptions], reference: tuple[Path, ClipOptions], *, progress: Progress
) -> tuple[Inspection, Inspection]:
    """Both clips at once: the pose model keeps one core busy and leaves Python's lock alone."""
    from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait

    (student_path, student_options), (reference_path, reference_options) = student, reference
    if student_path == reference_path and _but_swing(student_options) == _but_swing(reference_options):
        both = _inspect_named(student_path, student_options, progress)
        both = look_closer(both, reference_options.swing, reference_options, progress=progress)
        return both, both
    stop = threading.Event()
    with ThreadPoolExecutor(2, thread_name_prefix="clip") as pool:
        try:
            jobs = [
                pool.submit(_inspect_named, path, options, Stoppable(progress, stop))
                for path, options in (student, reference)
            ]
            wait(jobs, return_when=FIRST_EXCEPTION)
        finally:
            # After an error or Ctrl-C the other clip must not be finished first.
            stop.set()
    errors = [error for job in jobs if (error := job.exception()) is not None]
    for error in errors:
        if not isinstance(error, Stopped):
            raise error
    return jobs[0].result(), jobs[1].result()


def _but_swing(options: ClipOptions) -> ClipOptions:
    """What the inspection of a clip depends on: it finds all swings, whichever is chosen later."""
    return dataclasses.replace(options, swing=None)


def _inspect_named(path: Path, options: ClipOptions, progress: Progress) -> Inspection:
    """Inspect, look closer at the chosen swing, and say which of the two clips an error is about."""
    try:
        return look_closer(inspect_clip(path, options, progress=progress), options.swing, options, progress=progress)
    except ContentError as error:
        if path.name in error.message:
            raise
        raise type(error)(f"{path.name}: {error.message}", error.hint) from error


def compare_inspections(
    student: Inspection,
    reference: Inspection,
    *,
    student_swing: int | None = None,
    reference_swing: int | None = None,
    stature_cm: float | None = None,
    checklist: ChecklistSpec | None = None,
    progress: Progress = SILENT,
) -> Comparison:
    """Align and score two inspected clips. Raises as ``compare_clips``.

    Checklist and filming are part of the answer where the swings were looked at closely (``look_closer``).
    """
    from overlay.align import align
    from overlay.checklist import load_checklist
    from overlay.filming import match_cameras
    from overlay.score import score

    one, other = student.chosen(student_swing), reference.chosen(reference_swing)
    check_views(one, other)
    # Each side would have the other's swing among its repeats, and the two groups would be the same swings.
    same = _same_recording(student, reference)
    student_repeats = () if same else _repeats(student, one)
    reference_repeats = () if same else _repeats(reference, other)
    progress.stage("aligning and scoring")
    time_map = align(one, other)
    comparison = score(
        one,
        other,
        time_map,
        stature_cm=stature_cm,
        student_repeats=student_repeats,
        reference_repeats=reference_repeats,
    )
    spec = checklist or load_checklist()
    theirs = looked_of(reference, other.swing_number, spec)
    mine = looked_of(student, one.swing_number, spec, reference=theirs.measures or None)
    progress.done()
    notes = [*comparison.notes, *time_map.notes]
    if same:
        notes.append("Both swings are from one recording, so one is compared with one.")
    for name, inspection, swing, repeats in (
        ("student", student, one, student_repeats),
        ("reference", reference, other, reference_repeats),
    ):
        notes.extend(_swing_notes(name, inspection, swing, repeats))
        notes.extend(f"{name.capitalize()}: {note}" for note in (*inspection.notes, *swing.notes))
    comparison = dataclasses.replace(comparison, notes=tuple(dict.fromkeys(notes)), checklist=mine.checklist)
    if mine.filming is None or theirs.filming is None:
        return comparison
    filming = (mine.filming, theirs.filming)
    return dataclasses.replace(comparison, filming=filming, camera_match=match_cameras(*filming))


def check_views(student: Swing, reference: Swing) -> None:
    """Refuse to compare pictures from different sides.

    Raises
    ------
    MismatchError
        One is down the line and the other face on.
    """
    if student.view != reference.view and "other" not in (student.view, reference.view):
        raise MismatchError(
            f"The student is filmed {VIEW_WORDS[student.view]}, the reference {VIEW_WORDS[reference.view]}.",
            "Compare clips of the same view; if a view was taken wrongly, say so with --view or --reference-view.",
        )


def _same_recording(student: Inspection, reference: Inspection) -> bool:
    if student.path.resolve() == reference.path.resolve():
        return True
    one, other = student.clip, reference.clip
    return one is not None and other is not None and one.content_hash == other.content_hash


def _swing_notes(name: str, inspection: Inspection, swing: Swing, repeats: tuple[Swing, ...]) -> list[str]:
    """Which swings of a recording the pictures and the scores are of; nothing when it holds one."""
    held = len(inspection.swings)
    if held == 1:
        return []
    said = f"The {name}'s recording holds {held} swings: swing {swing.swing_number} is "
    if not repeats:
        return [f"{said}compared."]
    scored = 1 + len(repeats)
    alike = "" if scored == held else " of the same view and hand"
    return [f"{said}shown, and the scores are the mean of all {scored}{alike}."]


def _repeats(inspection: Inspection, chosen: Swing) -> tuple[Swing, ...]:
    return tuple(
        swing
        for swing in inspection.swings
        if swing is not chosen and swing.view == chosen.view and swing.handedness == chosen.handedness
    )
