"""``overlay filming``: is the camera where it should be, and what to do about it."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import click

from overlay.cli.options import CLIP, clip_options, read_clip_options, shared_options
from overlay.cli.show import console, progress_display
from overlay.data import FilmingFinding, FilmingReport
from overlay.terms import words

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
    from overlay.pipeline import check_clip_filming

    del allow_others  # a second person is one of the findings
    options = read_clip_options(values, use_cache=not no_cache, allow_others=True, stature_cm=stature_cm)
    with progress_display(quiet) as progress:
        known, report = check_clip_filming(clip, options, progress=progress)
    if as_json:
        document = documents.filming_check_document(known, str(clip), report)
        click.echo(documents.to_json(document), nl=False)
        return
    print_report(report)


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
    if not math.isfinite(finding.value) or finding.name == "view" or finding.verdict == "not seen":
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
