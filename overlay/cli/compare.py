"""``overlay compare``: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from overlay.cli.options import (
    CLIP,
    check_options,
    clip_options,
    library_option,
    picture_options,
    read_clip_options,
    reference_options,
    second_offset_option,
    shared_options,
)
from overlay.cli.show import console, print_checklist, print_filming, print_first, print_pair, progress_display
from overlay.data import Comparison, Model
from overlay.errors import InputError
from overlay.pipeline import BothViews, ClipOptions, KeptReference, Outputs
from overlay.terms import PHASES, VIEW_WORDS, words

LAYOUTS = {"side": "side by side", "ghost": "ghost", "both": "both"}


@click.command("compare")
@click.argument("student", type=CLIP)
@click.argument("reference")
@click.option(
    "--out", "-o", type=click.Path(path_type=Path), help="Folder for the results. Default: STUDENT-and-REFERENCE."
)
@click.option(
    "--layout", type=click.Choice(list(LAYOUTS)), default="both", show_default=True, help="Panes of the video."
)
@click.option(
    "--lead",
    type=click.Choice(["student", "reference"]),
    default="student",
    show_default=True,
    help="Who plays in his own time; the other follows.",
)
@click.option(
    "--speed", type=click.FloatRange(0.05, 4.0), default=1.0, show_default=True, help="Playing speed of the video."
)
@click.option(
    "--hold", type=click.FloatRange(0.0, 5.0), help="Seconds to hold the picture at each position; 0: no holds."
)
@click.option("--second", type=CLIP, help="The student's other view of the swing: face on beside down the line.")
@click.option("--second-reference", type=CLIP, help="The reference clip's other view; a kept model brings its own.")
@second_offset_option
@click.option("--no-video", is_flag=True, help="Stills, report and scores only.")
@picture_options
@check_options
@reference_options
@library_option
@clip_options(what="the student's clip")
@clip_options("reference", "the reference clip")
@clip_options("second", "the student's second clip")
@clip_options("second-reference", "the second reference clip")
@shared_options
def command(
    student: Path,
    reference: str,
    out: Path | None,
    layout: str,
    lead: str,
    speed: float,
    hold: float | None,
    second: Path | None,
    second_reference: Path | None,
    second_offset: float | None,
    no_video: bool,
    guides: frozenset[str] | None,
    hide: tuple[str, ...],
    checklist: Path | None,
    stature_cm: float | None,
    no_fit: bool,
    own: bool,
    models: Path | None,
    library: Path | None,
    as_json: bool,
    quiet: bool,
    no_cache: bool,
    allow_others: bool,
    **values: Any,
) -> None:
    """Compare the swing in STUDENT with the swing in REFERENCE.

    Writes comparison.mp4, stills.png, report.html and comparison.json. STUDENT is a video, a folder of stills or a
    saved track (CSV or NPZ); REFERENCE is one of these, a model file, the name of a model (`overlay model list`), or
    a swing of the library: best:PLAYER for the newest one marked as best, swing:ID for any (`overlay swings`).

    With --second the student's other view is compared too, and both are shown together.
    """
    from overlay import documents
    from overlay.checklist import load_checklist
    from overlay.pipeline import (
        OUTPUT_NAMES,
        OutputOptions,
        Seen,
        both_views_document,
        check_outputs,
        compare_both_views,
        compare_clips,
        find_reference,
        output_paths,
        write_both_views,
        write_outputs,
    )

    folder = out or Path(f"{student.stem}-and-{Path(reference).stem.replace(':', ' ')}")
    options = OutputOptions(
        layout=LAYOUTS[layout],  # type: ignore[arg-type]
        lead=lead,  # type: ignore[arg-type]
        speed=speed,
        hold_s=hold,
        guides=guides,
        hidden=frozenset(hide),
        wanted=frozenset(OUTPUT_NAMES) - ({"video"} if no_video else set()),
    )
    # Told now, not after minutes of work.
    spec = load_checklist(checklist)
    given = (student, second, Path(reference), second_reference, checklist)
    check_outputs(output_paths(folder, options).values(), [path for path in given if path is not None])
    found = find_reference(reference, models=models, library=library)
    # Both views of a kept swing are compared as its tracks: their clips need not be of one rep.
    theirs = found.as_model() if isinstance(found, KeptReference) and second is not None else found
    _check_student(student, models)
    _check_second(theirs, second, second_reference, second_offset)
    if own and isinstance(theirs, Model) and theirs.kind == "space":
        raise InputError(f"{theirs.name} is a swing in space and of no player.", "Leave out --own.")
    given_of_it = [name for name in values if name.startswith("reference_") and values[name] not in (None, False)]
    if not isinstance(theirs, Path) and given_of_it:
        option = f"--{given_of_it[0].replace('_', '-')}"
        raise InputError(
            f"{theirs.name} is kept already; {option} is for a reference that is a clip.", f"Leave out {option}."
        )

    def told(prefix: str = "") -> ClipOptions:
        stature = stature_cm if prefix in ("", "second") else None
        return read_clip_options(values, prefix, use_cache=not no_cache, allow_others=allow_others, stature_cm=stature)

    with progress_display(quiet) as progress:
        known: dict[str, Any] = {
            "stature_cm": stature_cm,
            "checklist": spec,
            "fit": not no_fit,
            "same_player": own,
            "progress": progress,
        }
        if second is None:
            outcome = compare_clips(
                student, theirs, student_options=told(), reference_options=told("reference"), **known
            )
            outputs = write_outputs(outcome, folder, options, progress=progress)
        else:
            mine = Seen((student, second), (told(), told("second")), second_offset)
            if isinstance(theirs, Model):
                both = compare_both_views(mine, theirs, **known)
            else:
                assert isinstance(theirs, Path)
                assert second_reference is not None
                clips = Seen((theirs, second_reference), (told("reference"), told("second_reference")))
                both = compare_both_views(mine, clips, **known)
            outputs = write_both_views(both, folder, options, progress=progress)
    if as_json:
        document = (
            documents.compare_document(outcome.comparison, str(student), reference)
            if second is None
            else both_views_document(both)
        )
        click.echo(documents.to_json(document), nl=False)
        return
    if second is None:
        print_comparison(outcome.comparison)
    else:
        print_both_views(both)
    print_outputs(outputs)


def _check_student(student: Path, models: Path | None) -> None:
    """Say which way round clip and model are given, instead of that a clip is missing or cannot be read."""
    from overlay.models import Library, is_model_file

    if is_model_file(student) or (not student.exists() and str(student) in Library(models).names()):
        raise InputError(
            f"{student.name} is a model: a student is compared with it.",
            "Give the student's clip first, then the model.",
        )


def _check_second(
    reference: Path | Model | KeptReference, second: Path | None, second_reference: Path | None, offset_s: float | None
) -> None:
    """Refuse what does not go together, before anything is read."""

    if isinstance(reference, Model) and second_reference is not None:
        raise InputError(
            f"{reference.name} is a model and brings its own views; --second-reference is for clips.",
            "Leave out --second-reference.",
        )
    if second is None and (second_reference is not None or offset_s is not None):
        raise InputError(
            "--second-reference and --second-offset go with --second, the student's other view.",
            "Give the student's second clip with --second.",
        )
    if second is not None and not isinstance(reference, Model) and second_reference is None:
        raise InputError(
            "The student is given in both views, the reference in one.",
            "Give the reference's other view with --second-reference, or compare with a model that has both.",
        )


def print_outputs(outputs: Outputs) -> None:
    """Where each result lies, one a line."""
    write = console()
    for label, path in (
        ("video", outputs.video),
        ("stills", outputs.sheet),
        ("report", outputs.report),
        ("data", outputs.json),
    ):
        if path is not None:
            write.print(f"{label + ':':8}{path}", markup=False)


def print_both_views(both: BothViews) -> None:
    """The one thing over both views, what needs both to be measured, then each view by itself."""
    out = console()
    print_first(both.first)
    print_pair(both.student.pair)
    for view, outcome in both.outcomes.items():
        out.print(f"\n{VIEW_WORDS[view].capitalize()}", style="bold", markup=False)
        print_comparison(outcome.comparison, first=False)


def print_comparison(comparison: Comparison, *, first: bool = True) -> None:
    """The answer first (left out where it was said over both views), then the phases with what was detected, timing."""
    from rich.table import Table

    from overlay.compose import wording
    from overlay.explain import camera_lines, model_line, poor_fit

    out = console()
    model = comparison.reference_model
    if model is not None:
        out.print(f"Reference: {model_line(model, comparison.student.view)}", markup=False)
    if comparison.checklist is not None:
        print_checklist(comparison.checklist, first=first)
    if caution := poor_fit(comparison):
        out.print(caution, style="bold", markup=False)
    out.print(f"Phase by phase: {wording.headline(comparison)}", markup=False)
    largest = wording.largest_sentence(comparison)
    if largest:
        out.print(f"Largest: {largest}", markup=False)
    table = Table(
        "phase", "differs (torso lengths)", "time student / reference", "difference", box=None, pad_edge=False
    )
    timings = {timing.phase: timing for timing in comparison.timings}
    reasons = {timing.reason for timing in comparison.timings}
    everywhere = reasons.pop() if len(reasons) == 1 else ""
    for phase in PHASES:
        rows = [row for row in comparison.differences if row.phase == phase.name]
        detected = sorted(
            (row for row in rows if row.words not in ("no difference detected", "not scored")),
            key=lambda row: -row.value,
        )
        scored = [row for row in rows if row.words != "not scored"]
        said = ", ".join(f"{words(row.part)} {row.words} {row.value:.2f}" for row in detected[:3])
        said += f" and {len(detected) - 3} more" if len(detected) > 3 else ""
        if not said:
            said = "no difference detected" if scored else "not scored"
        timing = timings.get(phase.name)
        if timing is None or timing.reason:
            times, change = "–", "–" if timing is None or everywhere else timing.reason
        else:
            times = f"{timing.student_s:.2f} / {timing.reference_s:.2f} s"
            change = f"{timing.difference_ms:+.0f} ± {timing.uncertainty_ms:.0f} ms"
        table.add_row(words(phase.name), said, times, change)
    out.print(table)
    if everywhere:
        out.print(f"Times are withheld: {everywhere}.", markup=False)
    out.print(comparison.sharpness, markup=False)
    for who, report in zip(("student", "reference"), comparison.filming or ()):
        if report.findings:
            middle = who == "reference" and model is not None and model.kind == "template"
            out.print("The clip of the template's middle swing:" if middle else f"The {who}'s clip:", markup=False)
            print_filming(report)
    for finding in comparison.camera_match:
        if finding.verdict in ("warn", "fail"):
            out.print(f"Cameras, {finding.verdict}: {finding.sentence} {finding.advice}".rstrip(), markup=False)
    about_cameras = camera_lines(comparison)
    for sentence in about_cameras:
        out.print(sentence, markup=False)
    for note in comparison.notes:
        if note not in about_cameras:
            out.print(f"note: {note}", markup=False)
