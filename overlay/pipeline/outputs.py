"""What is written of a comparison: video, stills sheet, report and JSON."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from overlay.files import check_writable, refuse_to_overwrite, write_text
from overlay.pipeline.clips import Inspection
from overlay.pipeline.comparing import Outcome
from overlay.progress import SILENT, Progress, Stoppable, Stopped

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from concurrent.futures import Future

    from overlay.compose import ComposeOptions, Source
    from overlay.data import Checklist, Comparison, FirstThing, ViewPair
    from overlay.documents import Looked
    from overlay.pipeline.views import BothViews, Paired
    from overlay.terms import View

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
    reference_label: str = ""
    """Left out: the name of a kept reference, "Reference" for a clip."""

    def reference_name(self, reference: Inspection) -> str:
        """How the reference is called in the pictures."""
        return self.reference_label or ("Reference" if reference.model is None else reference.model.name)


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
    reference = source_of(outcome.reference, options.reference_name(outcome.reference))
    plan = _compose_options(options, _first(comparison.checklist))
    paths = output_paths(folder, options)
    check_outputs(paths.values(), _recordings(outcome.student, outcome.reference))
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


def _recordings(*inspections: Inspection) -> list[Path]:
    """The files that must not be written over: a kept reference has none of its own."""
    return [inspection.path for inspection in inspections if inspection.model is None]


def both_views_document(outcome: BothViews) -> dict[str, Any]:
    """The documented JSON of a comparison in both views."""
    from overlay import documents

    views = {
        view: documents.compare_document(each.comparison, str(each.student.path), str(each.reference.path))
        for view, each in outcome.outcomes.items()
    }
    other = None if outcome.reference is None else outcome.reference.pair
    return documents.both_views_document(views, outcome.student.pair, outcome.first, other)


def write_both_views(
    outcome: BothViews, folder: Path, options: OutputOptions | None = None, *, progress: Progress = SILENT
) -> Outputs:
    """As ``write_outputs`` for both views: one video, one sheet, one report, one JSON.

    Raises
    ------
    OutputError
        The folder cannot be written, or a result would be written over or into one of the clips.
    """
    from overlay import documents
    from overlay.compose.pairs import render_pair_video

    options = options or OutputOptions()
    paths = output_paths(folder, options)
    known = [one for each in outcome.outcomes.values() for one in (each.student, each.reference)]
    check_outputs(paths.values(), _recordings(*known))
    comparisons = {view: each.comparison for view, each in outcome.outcomes.items()}
    sources = {
        view: (
            source_of(each.student, options.student_label),
            source_of(each.reference, options.reference_name(each.reference)),
        )
        for view, each in outcome.outcomes.items()
    }
    plan = _compose_options(options, outcome.first)
    if "json" in paths:
        write_text(paths["json"], documents.to_json(both_views_document(outcome)))
    pair = outcome.student.pair
    _stills_of_both(comparisons, sources, pair, paths, plan, outcome.first, progress=progress)
    if "video" in paths:
        render_pair_video(
            comparisons, sources, pair, paths["video"], first=outcome.first, options=plan, progress=progress
        )
    return Outputs(**paths)


def write_both_inspections(
    found: Paired,
    looked: Mapping[View, Looked],
    first: FirstThing,
    *,
    sheet: Path | None = None,
    report: Path | None = None,
    guides: frozenset[str] | None = None,
    hidden: Iterable[str] = (),
    progress: Progress = SILENT,
) -> None:
    """Write the stills sheet and the report of both views of one player.

    Raises
    ------
    OutputError
        A file cannot be written.
    """
    from overlay.compose import ComposeOptions

    paths = {name: path for name, path in (("sheet", sheet), ("report", report)) if path is not None}
    sources = {view: (source_of(one, one.path.stem),) for view, one in found.inspections.items()}
    options = ComposeOptions(**_drawn(guides, hidden, first))  # type: ignore[arg-type]
    _stills_of_both({}, sources, found.pair, paths, options, first, looked, progress=progress)


def _stills_of_both(
    comparisons: Mapping[View, Comparison],
    sources: Mapping[View, Sequence[Source]],
    pair: ViewPair,
    paths: Mapping[str, Path],
    options: ComposeOptions,
    first: FirstThing,
    looked: Mapping[View, Looked] | None = None,
    *,
    progress: Progress,
) -> None:
    """Sheet and report of both views, as far as they are wanted; the clips are read once for the two."""
    from overlay.compose.pairs import pair_sheet, pair_stills
    from overlay.report.pairs import write_pair_report

    if not paths.keys() & {"sheet", "report"}:
        return
    progress.stage("drawing the stills and the report")
    stills = pair_stills(comparisons, sources, pair, options=options)
    if "sheet" in paths:
        pair_sheet(comparisons, sources, pair, paths["sheet"], first=first, options=options, stills=stills)
    if "report" in paths:
        seen = {} if looked is None else looked
        write_pair_report(
            comparisons,
            pair,
            paths["report"],
            sources=sources,
            checklists={view: one.checklist for view, one in seen.items() if one.checklist is not None},
            filming={view: one.filming for view, one in seen.items() if one.filming is not None},
            options=options,
            stills=stills,
        )
    progress.done()


def _first(checklist: Checklist | None) -> FirstThing | None:
    return None if checklist is None else checklist.first


def _compose_options(options: OutputOptions, first: FirstThing | None) -> ComposeOptions:
    from overlay.compose import ComposeOptions

    known: dict[str, object] = {"layout": options.layout, "lead": options.lead, "speed": options.speed}
    if options.hold_s is not None:
        known["hold_s"] = options.hold_s
    known |= _drawn(options.guides, options.hidden, first)
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
        kept=None if inspection.model is None else inspection.model.pictures.get(inspection.swings[0].view),
    )


def _drawn(guides: frozenset[str] | None, hidden: Iterable[str], first: FirstThing | None) -> dict[str, object]:
    """What is drawn on the pictures, as ``ComposeOptions`` says it; the lines that show what comes first among it."""
    from overlay.compose.options import DEFAULT_GUIDES
    from overlay.compose.readings import READ_FROM

    known: dict[str, object] = {name.replace("-", "_"): False for name in hidden}
    if guides is not None:
        return {**known, "guides": guides}
    if first is not None and first.check is not None:
        known["guides"] = DEFAULT_GUIDES | frozenset(READ_FROM.get(first.check.measure.name, ()))
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
    options = ComposeOptions(**_drawn(guides, hidden, _first(looked.checklist)))  # type: ignore[arg-type]
    progress.stage("drawing the stills")
    stills = inspection_stills(looked.swing, source=source, checklist=looked.checklist, options=options)
    drawn = {"source": source, "checklist": looked.checklist, "options": options, "stills": stills}
    if sheet is not None:
        inspect_sheet(looked.swing, sheet, **drawn)  # type: ignore[arg-type]
    if report is not None:
        write_inspection_report(looked.swing, report, filming=looked.filming, guides=looked.guides or None, **drawn)  # type: ignore[arg-type]
    progress.done()
