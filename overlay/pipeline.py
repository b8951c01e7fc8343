"""The only place where the stages are joined: clips in, inspections and comparisons out."""

from __future__ import annotations

import dataclasses
import threading
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from overlay.data import Clip, Comparison, PoseTrack, Swing
from overlay.errors import ContentError, InputError, MismatchError
from overlay.files import check_writable, refuse_to_overwrite, write_text
from overlay.progress import SILENT, Progress, Stoppable, Stopped
from overlay.terms import VIEW_WORDS, Handedness, View

if TYPE_CHECKING:
    from collections.abc import Iterable
    from concurrent.futures import Future

    from overlay.compose import ComposeOptions, Source
    from overlay.pose import MaskTrack

SLOWED = 1.5
"""An estimated slow factor above this makes the cleaning run again in real time: below it the filter's cut-off
moves by less than the spread of human tempo does."""


@dataclass(frozen=True)
class ClipOptions:
    """What a person may tell about a clip. None: find it out."""

    view: View | None = None
    handedness: Handedness | None = None
    capture_rate: Fraction | None = None
    mirrored: bool = False
    rotation_deg: int | None = None
    swing: int | None = None
    """Which swing of the recording, from 1. None: the last one, the rep just made."""
    use_cache: bool = True
    allow_others: bool = False
    """Go on when a second person is in the picture."""


@dataclass(frozen=True)
class Inspection:
    """Everything found in one recording."""

    path: Path
    clip: Clip | None
    track: PoseTrack
    """Cleaned, the whole recording."""
    masks: MaskTrack | None
    swings: tuple[Swing, ...]
    notes: tuple[str, ...] = ()

    @property
    def has_pictures(self) -> bool:
        return self.clip is not None

    def chosen(self, number: int | None) -> Swing:
        """The swing of that number, the last one for None.

        Raises
        ------
        InputError
            There is no swing of that number.
        """
        if number is None:
            return self.swings[-1]
        for swing in self.swings:
            if swing.swing_number == number:
                return swing
        raise InputError(
            f"{self.path.name} has {len(self.swings)} swing(s), so there is no swing {number}.",
            f"Choose one from 1 to {len(self.swings)}; `overlay inspect` lists them.",
        )


@dataclass(frozen=True)
class Outcome:
    """A comparison with what it was made from."""

    comparison: Comparison
    student: Inspection
    reference: Inspection


def inspect_clip(path: Path, options: ClipOptions | None = None, *, progress: Progress = SILENT) -> Inspection:
    """Read a clip or saved track and find its swings.

    Parameters
    ----------
    path : Path
        A video, a folder of stills, or a saved track (.csv, .npz).
    options : ClipOptions
    progress : Progress

    Raises
    ------
    InputError
        The file cannot be read.
    ContentError
        No person, two people, a cut-off body, or no full swing.
    """
    from overlay.clean import clean
    from overlay.positions import find_swings

    options = options or ClipOptions()
    raw, clip, masks, view, handedness, notes = _load(path, options, progress)
    view = options.view or view
    handedness = options.handedness or handedness

    known = 1.0 if clip is None else clip.slow_factor
    progress.stage("finding the swing")
    track = clean(raw, slow_factor=known)
    swings = find_swings(track, clip, view=view, handedness=handedness)
    if clip is None or clip.capture_rate is None:
        # The filter's cut-off is in real Hz, and only the swing itself tells how much a clip is slowed.
        factors = [swing.quality.get("slow_factor_estimate", 1.0) for swing in swings]
        slowed = sorted(factors)[len(factors) // 2]
        if slowed > SLOWED:
            track = clean(raw, slow_factor=slowed)
            swings = find_swings(track, clip, view=view, handedness=handedness)
    progress.done()
    return Inspection(path, clip, track, masks, swings, notes)


def _load(
    path: Path, options: ClipOptions, progress: Progress
) -> tuple[PoseTrack, Clip | None, MaskTrack | None, View | None, Handedness | None, tuple[str, ...]]:
    from overlay.pose import is_saved_track, load_track, track_clip
    from overlay.pose.people import check_one_person

    if is_saved_track(path):
        if options.rotation_deg is not None or options.capture_rate is not None:
            raise InputError(
                f"{path.name} is a saved track; a rotation and a capture rate are for clips.",
                "Leave out --rotate and --capture-rate (--reference-rotate, --reference-capture-rate).",
            )
        saved = load_track(path)
        track, handedness = saved.track, saved.handedness
        if options.mirrored:
            track = track.mirrored()
            # The header tells the hand of the player as the track shows him, and the flip turns that over too.
            handedness = None if handedness is None else "left" if handedness == "right" else "right"
        return track, None, None, saved.view, handedness, ("No pictures: a saved track.",)
    if not options.allow_others:
        check_one_person(
            path,
            mirrored=options.mirrored,
            rotation_deg=options.rotation_deg,
            progress=progress,
            use_cache=options.use_cache,
        )
    result = track_clip(
        path,
        mirrored=options.mirrored,
        rotation_deg=options.rotation_deg,
        capture_rate=options.capture_rate,
        progress=progress,
        use_cache=options.use_cache,
    )
    return result.track, result.clip, result.masks, None, None, tuple(result.clip.warnings)


def compare_clips(
    student_path: Path,
    reference_path: Path,
    *,
    student_options: ClipOptions | None = None,
    reference_options: ClipOptions | None = None,
    stature_cm: float | None = None,
    progress: Progress = SILENT,
) -> Outcome:
    """Inspect two clips, align the student's swing to the reference and score the difference.

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
    """Say which of the two clips an error is about, when the error does not."""
    try:
        return inspect_clip(path, options, progress=progress)
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
    progress: Progress = SILENT,
) -> Comparison:
    """Align and score two inspected clips. Raises as ``compare_clips``."""
    from overlay.align import align
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
    return dataclasses.replace(comparison, notes=tuple(dict.fromkeys(notes)))


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


OUTPUT_NAMES = {"video": "comparison.mp4", "sheet": "stills.png", "report": "report.html", "json": "comparison.json"}


@dataclass(frozen=True)
class Outputs:
    """Where the results lie; None for what was not asked for."""

    video: Path | None = None
    sheet: Path | None = None
    report: Path | None = None
    json: Path | None = None


@dataclass(frozen=True)
class OutputOptions:
    """What to write, and how the video plays."""

    layout: Literal["side by side", "ghost", "both"] = "both"
    lead: Literal["student", "reference"] = "student"
    speed: float = 1.0
    hold_s: float | None = None
    wanted: frozenset[str] = field(default_factory=lambda: frozenset(OUTPUT_NAMES))
    student_label: str = "Student"
    reference_label: str = "Reference"


def output_paths(folder: Path, options: OutputOptions | None = None) -> dict[str, Path]:
    """Name of each result → the file in ``folder`` it is written to."""
    wanted = (options or OutputOptions()).wanted
    return {name: folder / file for name, file in OUTPUT_NAMES.items() if name in wanted}


def check_outputs(outputs: Iterable[Path], inputs: Iterable[Path]) -> None:
    """Refuse results that cannot be written or would destroy a clip; to be asked before the long work.

    Raises
    ------
    OutputError
        A result would be written over or into an input, or its folder cannot be written.
    """
    outputs = tuple(outputs)
    refuse_to_overwrite(outputs, inputs)
    check_writable(outputs)


def write_outputs(
    outcome: Outcome, folder: Path, options: OutputOptions | None = None, *, progress: Progress = SILENT
) -> Outputs:
    """Write the comparison video, stills sheet, report and JSON into ``folder``.

    Raises
    ------
    OutputError
        The folder cannot be written, or a result would be written over or into one of the clips.
    """
    from concurrent.futures import ThreadPoolExecutor

    from overlay import compose, documents
    from overlay.report import write_report

    options = options or OutputOptions()
    comparison = outcome.comparison
    student = source_of(outcome.student, options.student_label)
    reference = source_of(outcome.reference, options.reference_label)
    plan = _compose_options(options)
    paths = output_paths(folder, options)
    check_outputs(paths.values(), (outcome.student.path, outcome.reference.path))
    if "json" in paths:
        document = documents.compare_document(comparison, str(outcome.student.path), str(outcome.reference.path))
        write_text(paths["json"], documents.to_json(document))
    stop = threading.Event()

    def stills_and_report() -> None:
        told = Stoppable(progress, stop)
        told.stage("drawing the stills and the report")
        stills = compose.comparison_stills(comparison, student=student, reference=reference, options=plan)
        named = {"student": student, "reference": reference, "options": plan, "stills": stills}
        if "sheet" in paths:
            compose.render_sheet(comparison, paths["sheet"], **named)  # type: ignore[arg-type]
        if "report" in paths:
            write_report(comparison, paths["report"], **named)  # type: ignore[arg-type]
        told.done()

    def stop_after_an_error(job: Future[None]) -> None:
        # Without the stills the command fails anyway: the video need not be drawn to its end first.
        if job.exception() is not None:
            stop.set()

    # The video's drawing leaves half of a second core idle, enough for the rest.
    with ThreadPoolExecutor(1, thread_name_prefix="stills") as pool:
        try:
            beside = pool.submit(stills_and_report) if paths.keys() & {"sheet", "report"} else None
            if beside is not None:
                beside.add_done_callback(stop_after_an_error)
            if "video" in paths:
                try:
                    compose.render_video(
                        comparison,
                        paths["video"],
                        student=student,
                        reference=reference,
                        options=plan,
                        progress=Stoppable(progress, stop),
                    )
                except Stopped:
                    if beside is not None:
                        # The error that stopped the video is the one to tell.
                        beside.result()
                    raise
            if beside is not None:
                beside.result()
        except BaseException:
            stop.set()
            raise
    return Outputs(**paths)


def _compose_options(options: OutputOptions) -> ComposeOptions:
    from overlay.compose import ComposeOptions

    known: dict[str, object] = {"layout": options.layout, "lead": options.lead, "speed": options.speed}
    if options.hold_s is not None:
        known["hold_s"] = options.hold_s
    return ComposeOptions(**known)  # type: ignore[arg-type]


def source_of(inspection: Inspection, label: str) -> Source:
    """Where the pictures of an inspected clip come from."""
    from overlay.compose import Source

    clip = inspection.clip
    return Source(
        clip_path=None if clip is None else inspection.path,
        masks=inspection.masks,
        mirrored=clip is not None and clip.mirrored,
        rotation_deg=None if clip is None else clip.rotation_deg,
        label=label,
    )
