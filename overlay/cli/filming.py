"""``overlay filming``: is the camera where it should be, and what to do about it."""

from __future__ import annotations

import math
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.options import CLIP, clip_options, read_clip_options, shared_options
from overlay.cli.show import console, progress_display
from overlay.data import FilmingFinding, FilmingReport
from overlay.errors import ContentError
from overlay.terms import words

if TYPE_CHECKING:
    from overlay.data import Clip
    from overlay.pipeline import ClipOptions
    from overlay.progress import Progress

MARKS = {"pass": "good", "warn": "warn", "fail": "FAIL", "not seen": "?"}
"""A verdict as the table shows it."""

HEADLINES = {
    "pass": "Filming: good. Leave the camera where it is.",
    "warn": "Filming: usable, but it can be better.",
    "fail": "Filming: put this right before you trust the pictures.",
    "not seen": "Filming: nothing could be told.",
}


@click.command("filming")
@click.argument("clip", type=CLIP)
@click.option(
    "--stature-cm",
    type=click.FloatRange(80, 240),
    help="The player's body height; without it centimetres are right to about a tenth.",
)
@clip_options()
@shared_options
def command(
    clip: Path,
    stature_cm: float | None,
    as_json: bool,
    quiet: bool,
    no_cache: bool,
    allow_others: bool,
    **values: Any,
) -> None:
    """Check how CLIP is filmed: camera place, frame, light, shutter; and say what to do about it.

    CLIP is a video, a folder of stills, or a saved track (CSV or NPZ). A cut-off body, a second person or a missing
    swing are findings here, not errors; the exit code is 0 whatever is found.
    """
    from overlay import documents

    del allow_others  # a second person is one of the findings
    options = read_clip_options(values, use_cache=not no_cache, allow_others=True, stature_cm=stature_cm)
    with progress_display(quiet) as progress:
        known, report = look(clip, options, progress)
    if as_json:
        document = {
            "schema": documents.SCHEMA,
            "command": "filming",
            "clip": documents.clip_document(known, str(clip)),
            "filming": documents.filming_document(report),
        }
        click.echo(documents.to_json(document), nl=False)
        return
    print_report(report)


def look(clip: Path, options: ClipOptions, progress: Progress) -> tuple[Clip | None, FilmingReport]:
    """The filming check of a clip; what keeps a swing from being found is told as a finding.

    Raises
    ------
    InputError, SetupError
        The clip cannot be read, or the pose model is missing.
    """
    from overlay.pipeline import inspect_clip, look_closer

    try:
        inspection = inspect_clip(clip, options, progress=progress)
    except ContentError as error:
        return _without_swing(clip, options, progress, error)
    swing = inspection.chosen(options.swing)
    inspection = look_closer(inspection, swing.swing_number, options, progress=progress)
    closer = inspection.closer[swing.swing_number]
    return inspection.clip, closer.filming


def _without_swing(
    clip: Path, options: ClipOptions, progress: Progress, error: ContentError
) -> tuple[Clip | None, FilmingReport]:
    """What can be told of a clip in which no full swing was found."""
    from overlay.filming import check_filming
    from overlay.pose import is_saved_track, load_track, track_clip
    from overlay.video import open_clip

    problem = FilmingFinding("swing", float("nan"), "", None, "fail", error.message, error.hint)
    with ExitStack() as stack:
        if is_saved_track(clip):
            report = check_filming(None, load_track(clip).track, None, None, stature_cm=options.stature_cm)
            return None, FilmingReport((problem, *report.findings))
        result = track_clip(
            clip,
            mirrored=options.mirrored,
            rotation_deg=options.rotation_deg,
            capture_rate=options.capture_rate,
            progress=progress,
            use_cache=options.use_cache,
        )
        reader = stack.enter_context(
            open_clip(
                clip,
                mirrored=options.mirrored,
                rotation_deg=options.rotation_deg,
                capture_rate=options.capture_rate,
            )
        )
        report = check_filming(reader, result.track, None, result.masks, stature_cm=options.stature_cm)
        return result.clip, FilmingReport((problem, *report.findings))


LABELS = {
    "other_people": "other people",
    "camera_height": "lens against the hands",
    "camera_offset": "lens beside its line",
    "yaw": "turned from the line",
    "roll": "tilted sideways",
    "club_in_frame": "room for the club",
    "whole_body": "room for the body",
    "distance": "player in the picture",
    "player_size_px": "player's torso",
    "camera_distance": "distance",
    "shutter_blur": "smear at impact",
    "steadiness": "camera movement",
    "exposure": "light on the player",
    "contrast": "player against background",
}
"""A finding's name where the plain word would not be understood."""

SIGNED = frozenset({"camera_height", "camera_offset", "yaw", "roll"})
ONE_DIGIT = frozenset({"m", "torso", "% torso"})


def value_words(finding: FilmingFinding) -> str:
    """The value as the table shows it: ``+18 cm``, ``4°``, ``57 %``."""
    if not math.isfinite(finding.value) or finding.name == "view":
        return ""
    digits = 1 if finding.unit in ONE_DIGIT else 0
    number = f"{finding.value:{'+' if finding.name in SIGNED else ''}.{digits}f}"
    if float(number) == 0:
        number = "0"
    return f"{number}°" if finding.unit == "deg" else f"{number} {finding.unit}".rstrip()


def print_report(report: FilmingReport) -> None:
    """A headline; a row a finding: the verdict, the thing, its value, what to do; then why, for what is not good."""
    from rich.table import Table

    out = console()
    out.print(HEADLINES[report.verdict], style="bold", markup=False)
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column(no_wrap=True, justify="right")
    table.add_column()
    faulty = [finding for finding in report.findings if finding.verdict in ("warn", "fail")]
    for finding in report.findings:
        told = finding.advice if finding in faulty and finding.advice else finding.sentence
        label = LABELS.get(finding.name, words(finding.name))
        style = {"fail": "bold red", "warn": "yellow"}.get(finding.verdict, "")
        table.add_row(MARKS[finding.verdict], label, value_words(finding), told, style=style)
    out.print(table)
    for finding in faulty:
        out.print(f"{LABELS.get(finding.name, words(finding.name))}: {finding.sentence}", markup=False)
