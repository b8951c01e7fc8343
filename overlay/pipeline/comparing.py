"""Two recordings: inspected side by side, aligned, scored."""

from __future__ import annotations

import dataclasses
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from overlay.data import Comparison, FilmingReport, Model, ReferenceFit, SpaceTrack, Swing
from overlay.errors import ContentError, MismatchError
from overlay.pipeline.clips import ClipOptions, Inspection, inspect_clip
from overlay.pipeline.closer import look_closer, looked_of
from overlay.pipeline.kept import KeptReference
from overlay.pipeline.references import as_inspection, usual_swing
from overlay.progress import SILENT, Progress, Stoppable, Stopped
from overlay.terms import VIEW_WORDS

if TYPE_CHECKING:
    from overlay.checklist import ChecklistSpec
    from overlay.fit import CameraEstimate


@dataclass(frozen=True)
class Outcome:
    """A comparison with what it was made from."""

    comparison: Comparison
    student: Inspection
    reference: Inspection


def compare_clips(
    student_path: Path,
    reference: Path | Model | KeptReference,
    *,
    student_options: ClipOptions | None = None,
    reference_options: ClipOptions | None = None,
    stature_cm: float | None = None,
    checklist: ChecklistSpec | None = None,
    fit: bool = True,
    same_player: bool = False,
    progress: Progress = SILENT,
) -> Outcome:
    """Inspect two clips, align the student's swing to the reference, score the difference and go through the checklist.

    Other swings of a player's recording serve as repeats: the scores are the mean over all his swings, and their spread
    tells how much he varies. When both swings are from one recording there are no repeats: one is compared with one.

    Parameters
    ----------
    student_path : Path
    reference : Path, Model or KeptReference
        Another clip or saved track, a model, or a swing of the library.
    fit : bool
        Whether the reference is brought to the student's build; a swing in space always is.
    same_player : bool
        The reference is of the student himself: the spread of a template of his swings is his too, and his build, the
        same in both clips, tells the difference of the two cameras better.

    Raises
    ------
    InputError, ContentError
        As ``inspect_clip``.
    MismatchError
        The views differ.
    """
    student_options = student_options or ClipOptions()
    reference_options = reference_options or ClipOptions()
    if isinstance(reference, KeptReference):
        # Which of its views is wanted is known once the student's is.
        (student,) = inspect_all([(student_path, student_options)], progress=progress)
        chosen = student.chosen(student_options.swing)
        entry = reference.of(chosen.view)
        if entry.clip is None:
            filming = student.closer[chosen.swing_number].filming
            theirs = as_inspection(entry.model, chosen, filming=filming, fit=fit, progress=progress)
        else:
            reference_options = entry.options
            (theirs,) = inspect_all([(entry.clip, entry.options)], progress=progress)
    elif isinstance(reference, Model):
        (student,) = inspect_all([(student_path, student_options)], progress=progress)
        chosen = student.chosen(student_options.swing)
        filming = student.closer[chosen.swing_number].filming
        theirs = as_inspection(reference, chosen, filming=filming, fit=fit, progress=progress)
    else:
        student, theirs = inspect_all(
            [(student_path, student_options), (reference, reference_options)], progress=progress
        )
    comparison = compare_inspections(
        student,
        theirs,
        student_swing=student_options.swing,
        reference_swing=reference_options.swing,
        stature_cm=stature_cm,
        checklist=checklist,
        fit=fit,
        same_player=same_player,
        progress=progress,
    )
    return Outcome(comparison, student, theirs)


def inspect_all(clips: Sequence[tuple[Path, ClipOptions]], *, progress: Progress = SILENT) -> tuple[Inspection, ...]:
    """Several clips, each with a closer look at its chosen swing; a clip that is given twice is read once.

    Two at once: the pose model keeps one core busy and leaves Python's lock alone.

    Raises
    ------
    InputError, ContentError
        As ``inspect_clip``; the first that is met, and the others are stopped.
    """
    from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait

    groups: list[list[tuple[Path, ClipOptions]]] = []
    place = []
    for path, options in clips:
        known = next(
            (i for i, group in enumerate(groups) if group[0][0] == path and _alike(group[0][1], options)), len(groups)
        )
        if known == len(groups):
            groups.append([])
        groups[known].append((path, options))
        place.append(known)
    stop = threading.Event()
    with ThreadPoolExecutor(2, thread_name_prefix="clip") as pool:
        try:
            jobs = [pool.submit(_inspect_named, group, Stoppable(progress, stop)) for group in groups]
            wait(jobs, return_when=FIRST_EXCEPTION)
        finally:
            # After an error or Ctrl-C the other clips must not be finished first.
            stop.set()
    errors = [error for job in jobs if (error := job.exception()) is not None]
    for error in errors:
        if not isinstance(error, Stopped):
            raise error
    return tuple(jobs[i].result() for i in place)


def _alike(one: ClipOptions, other: ClipOptions) -> bool:
    """Whether the inspection of a clip is the same: it finds all swings, whichever is chosen later."""
    return dataclasses.replace(one, swing=None) == dataclasses.replace(other, swing=None)


def _inspect_named(wanted: Sequence[tuple[Path, ClipOptions]], progress: Progress) -> Inspection:
    """Inspect, look closer at the chosen swings, and say which clip an error is about."""
    path, options = wanted[0]
    try:
        inspection = inspect_clip(path, options, progress=progress)
        for _, options in wanted:
            inspection = look_closer(inspection, options.swing, options, progress=progress)
    except ContentError as error:
        if path.name in error.message:
            raise
        raise type(error)(f"{path.name}: {error.message}", error.hint) from error
    return inspection


def compare_inspections(
    student: Inspection,
    reference: Inspection,
    *,
    student_swing: int | None = None,
    reference_swing: int | None = None,
    stature_cm: float | None = None,
    checklist: ChecklistSpec | None = None,
    fit: bool = True,
    same_player: bool = False,
    progress: Progress = SILENT,
) -> Comparison:
    """Align and score two inspected clips. Raises as ``compare_clips``.

    Checklist and filming are part of the answer where the swings were looked at closely (``look_closer``).
    """
    from overlay.align import align
    from overlay.checklist import load_checklist
    from overlay.score import score

    one, other = student.chosen(student_swing), reference.chosen(reference_swing)
    check_views(one, other)
    # Each side would have the other's swing among its repeats, and the two groups would be the same swings.
    same = _same_recording(student, reference)
    student_repeats = () if same else _repeats(student, one)
    reference_repeats = () if same else _repeats(reference, other)
    progress.stage("aligning and scoring")
    # One player has one build: fitting him to himself could only add the error of reading it.
    fitted, fitted_repeats = _fitted(reference, one, other, reference_repeats, wanted=fit and not same_player)
    scored = other if fitted is None else fitted.scored
    time_map = align(one, scored)
    model = reference.model
    comparison = score(
        one,
        scored,
        time_map,
        stature_cm=stature_cm,
        student_repeats=student_repeats,
        reference_repeats=fitted_repeats,
        band=None if model is None else model.bands.get(one.view),
        simulated=model is not None and model.kind == "space",
        fit_sd=None if fitted is None else fitted.sd,
        same_player=same_player,
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
    if fitted is not None:
        notes.extend(fitted.notes)
    comparison = dataclasses.replace(
        comparison,
        reference=other,
        checklist=mine.checklist,
        reference_model=model,
        fit=fitted,
        notes=tuple(dict.fromkeys(notes)),
    )
    return with_cameras(comparison, mine.filming, theirs.filming, same_player=same_player, progress=progress)


def _fitted(
    reference: Inspection, student: Swing, swing: Swing, repeats: tuple[Swing, ...], *, wanted: bool
) -> tuple[ReferenceFit | None, tuple[Swing, ...]]:
    """The reference brought to the student's build, and its repeats likewise."""
    from overlay.segments import fit_in_picture, rescaled

    if reference.fit is not None:
        return reference.fit, ()
    if not wanted:
        return None, repeats
    fit = fit_in_picture(swing, student)
    return fit, tuple(rescaled(repeat, fit.factors) for repeat in repeats)


def with_cameras(
    comparison: Comparison,
    student: FilmingReport | None,
    reference: FilmingReport | None,
    *,
    same_player: bool = False,
    progress: Progress = SILENT,
) -> Comparison:
    """The comparison with how both were filmed, and what of the differences the cameras could explain."""
    from overlay.filming import match_cameras

    if student is None or reference is None:
        return comparison
    filming = (student, reference)
    # A swing in space, and most templates, were not filmed.
    match = match_cameras(*filming) if student.findings and reference.findings else ()
    comparison = dataclasses.replace(comparison, filming=filming, camera_match=match)
    return explained(comparison, same_player=same_player, progress=progress)


def explained(comparison: Comparison, *, same_player: bool = False, progress: Progress = SILENT) -> Comparison:
    """The comparison with what of its differences the two cameras could explain; as it is where that is no question.

    ``same_player``: both clips are known to show one player, whose build is the same in both.
    """
    from overlay.explain import beyond_camera, camera_parts
    from overlay.fit import posed

    in_space = comparison.fit is not None and comparison.fit.in_student_picture
    if comparison.first is None or in_space or comparison.student.view == "other":
        return comparison
    progress.stage("weighing the cameras")
    space = usual_swing()
    mine, theirs = _cameras(space, comparison, same_player)
    body = space if mine is None else posed(space, mine.factors)
    parts = camera_parts(comparison, body, student_fit=mine, reference_fit=theirs)
    progress.done()
    return beyond_camera(dataclasses.replace(comparison, camera_parts=parts))


def _cameras(
    space: SpaceTrack, comparison: Comparison, same_player: bool
) -> tuple[CameraEstimate | None, CameraEstimate | None]:
    """Of the student's and the reference's clip; None where too little of the body is seen at address."""
    from overlay.explain import same_player_cameras
    from overlay.fit import estimate_camera

    swings = comparison.student, comparison.reference
    filming = comparison.filming or (None, None)
    if same_player:
        try:
            return same_player_cameras(space, *swings, filming=filming)
        except (ContentError, MismatchError):
            # One of the two may still be told by itself; a player mirrored to the other hand is not one body for this.
            pass
    found: list[CameraEstimate | None] = []
    for swing, report in zip(swings, filming, strict=True):
        try:
            found.append(estimate_camera(space, swing, filming=report))
        except ContentError:
            # Then nothing can be ruled out, and that is what is said.
            found.append(None)
    return found[0], found[1]


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
    if reference.model is not None:
        return False
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
