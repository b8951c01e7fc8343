"""What is written of a comparison: video, stills sheet, report and JSON."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from overlay.files import check_writable, refuse_to_overwrite, write_text
from overlay.pipeline.clips import Inspection
from overlay.pipeline.comparing import Outcome
from overlay.progress import SILENT, Progress, Stoppable, Stopped

if TYPE_CHECKING:
    from collections.abc import Iterable
    from concurrent.futures import Future

    from overlay.compose import ComposeOptions, Source
    from overlay.data import Checklist
    from overlay.documents import Looked

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
    guides: frozenset[str] | None = None
    """Guide lines to draw; None: the few of ``compose.options.DEFAULT_GUIDES`` and those of what comes first."""
    hidden: frozenset[str] = frozenset()
    """Of skeleton, club, hand-path: what is left out."""
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
    plan = _compose_options(options, comparison.checklist)
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


def _compose_options(options: OutputOptions, checklist: Checklist | None) -> ComposeOptions:
    from overlay.compose import ComposeOptions

    known: dict[str, object] = {"layout": options.layout, "lead": options.lead, "speed": options.speed}
    if options.hold_s is not None:
        known["hold_s"] = options.hold_s
    known |= _drawn(options.guides, options.hidden, checklist)
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


def _drawn(guides: frozenset[str] | None, hidden: Iterable[str], checklist: Checklist | None) -> dict[str, object]:
    """What is drawn on the pictures, as ``ComposeOptions`` says it; the lines that show what comes first among it."""
    from overlay.compose.options import DEFAULT_GUIDES
    from overlay.compose.readings import READ_FROM

    known: dict[str, object] = {name.replace("-", "_"): False for name in hidden}
    if guides is not None:
        return {**known, "guides": guides}
    first = None if checklist is None else checklist.first.check
    if first is not None:
        known["guides"] = DEFAULT_GUIDES | frozenset(READ_FROM.get(first.measure.name, ()))
    return known


def write_inspection(
    inspection: Inspection,
    looked: Looked,
    *,
    sheet: Path | None = None,
    report: Path | None = None,
    guides: frozenset[str] | None = None,
    hidden: Iterable[str] = (),
    progress: Progress = SILENT,
) -> None:
    """Write the stills sheet and the report of one swing.

    Raises
    ------
    OutputError
        A file cannot be written.
    """
    from overlay.compose import ComposeOptions, inspect_sheet, inspection_stills
    from overlay.report import write_inspection_report

    source = source_of(inspection, inspection.path.stem)
    options = ComposeOptions(**_drawn(guides, hidden, looked.checklist))  # type: ignore[arg-type]
    progress.stage("drawing the stills")
    stills = inspection_stills(looked.swing, source=source, checklist=looked.checklist, options=options)
    drawn = {"source": source, "checklist": looked.checklist, "options": options, "stills": stills}
    if sheet is not None:
        inspect_sheet(looked.swing, sheet, **drawn)  # type: ignore[arg-type]
    if report is not None:
        write_inspection_report(looked.swing, report, filming=looked.filming, guides=looked.guides or None, **drawn)  # type: ignore[arg-type]
    progress.done()
