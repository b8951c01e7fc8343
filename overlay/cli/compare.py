"""``overlay compare``: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from overlay.cli.options import (
    CLIP,
    check_options,
    clip_options,
    picture_options,
    read_clip_options,
    shared_options,
)
from overlay.cli.show import console, print_checklist, print_filming, progress_display
from overlay.data import Comparison
from overlay.pipeline import Outputs
from overlay.terms import PHASES, words

LAYOUTS = {"side": "side by side", "ghost": "ghost", "both": "both"}


@click.command("compare")
@click.argument("student", type=CLIP)
@click.argument("reference", type=CLIP)
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
@click.option("--no-video", is_flag=True, help="Stills, report and scores only.")
@picture_options
@check_options
@clip_options(what="the student's clip")
@clip_options("reference", "the reference clip")
@shared_options
def command(
    student: Path,
    reference: Path,
    out: Path | None,
    layout: str,
    lead: str,
    speed: float,
    hold: float | None,
    no_video: bool,
    guides: frozenset[str] | None,
    hide: tuple[str, ...],
    checklist: Path | None,
    stature_cm: float | None,
    as_json: bool,
    quiet: bool,
    no_cache: bool,
    allow_others: bool,
    **values: Any,
) -> None:
    """Compare the swing in STUDENT with the swing in REFERENCE.

    Writes comparison.mp4, stills.png, report.html and comparison.json. Each input is a video, a folder of stills or
    a saved track (CSV or NPZ).
    """
    from overlay import documents
    from overlay.checklist import load_checklist
    from overlay.pipeline import (
        OUTPUT_NAMES,
        OutputOptions,
        check_outputs,
        compare_clips,
        output_paths,
        write_outputs,
    )

    folder = out or Path(f"{student.stem}-and-{reference.stem}")
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
    inputs = [path for path in (student, reference, checklist) if path is not None]
    check_outputs(output_paths(folder, options).values(), inputs)
    with progress_display(quiet) as progress:
        outcome = compare_clips(
            student,
            reference,
            student_options=read_clip_options(
                values, use_cache=not no_cache, allow_others=allow_others, stature_cm=stature_cm
            ),
            reference_options=read_clip_options(values, "reference", use_cache=not no_cache, allow_others=allow_others),
            stature_cm=stature_cm,
            checklist=spec,
            progress=progress,
        )
        outputs = write_outputs(outcome, folder, options, progress=progress)
    if as_json:
        document = documents.compare_document(outcome.comparison, str(student), str(reference))
        click.echo(documents.to_json(document), nl=False)
        return
    print_comparison(outcome.comparison)
    print_outputs(outputs)


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


def print_comparison(comparison: Comparison) -> None:
    """The answer first, then what was detected phase by phase, then timing."""
    from rich.table import Table

    from overlay.compose import wording

    out = console()
    if comparison.checklist is not None:
        print_checklist(comparison.checklist)
    out.print(f"Phase by phase: {wording.headline(comparison)}", markup=False)
    largest = wording.largest_sentence(comparison)
    if largest:
        out.print(f"Largest: {largest}", markup=False)
    table = Table(
        "phase", "differs (torso lengths)", "time student / reference", "difference", box=None, pad_edge=False
    )
    timings = {timing.phase: timing for timing in comparison.timings}
    for phase in PHASES:
        rows = [row for row in comparison.differences if row.phase == phase.name]
        detected = sorted(
            (row for row in rows if row.words not in ("no difference detected", "not scored")),
            key=lambda row: -row.value,
        )
        scored = [row for row in rows if row.words != "not scored"]
        said = ", ".join(f"{words(row.part)} {row.words} {row.value:.2f}" for row in detected[:3])
        if not said:
            said = "no difference detected" if scored else "not scored"
        timing = timings.get(phase.name)
        if timing is None or timing.reason:
            times, change = "–", "–" if timing is None else timing.reason
        else:
            times = f"{timing.student_s:.2f} / {timing.reference_s:.2f} s"
            change = f"{timing.difference_ms:+.0f} ± {timing.uncertainty_ms:.0f} ms"
        table.add_row(words(phase.name), said, times, change)
    out.print(table)
    out.print(comparison.sharpness, markup=False)
    for who, report in zip(("student", "reference"), comparison.filming or ()):
        out.print(f"The {who}'s clip:", markup=False)
        print_filming(report)
    for finding in comparison.camera_match:
        if finding.verdict in ("warn", "fail"):
            out.print(f"Cameras, {finding.verdict}: {finding.sentence} {finding.advice}".rstrip(), markup=False)
    for note in comparison.notes:
        out.print(f"note: {note}", markup=False)
