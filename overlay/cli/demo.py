"""``overlay demo``: see the whole job without filming anything."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from overlay.cli.compare import print_comparison, print_outputs
from overlay.cli.show import console, progress_display
from overlay.terms import words


@click.command("demo")
@click.option(
    "--out",
    "-o",
    type=click.Path(path_type=Path),
    default=Path("overlay-demo"),
    show_default=True,
    help="Folder for the results.",
)
@click.option(
    "--view",
    type=click.Choice(["fo", "dtl"]),
    default="fo",
    show_default=True,
    help="Film face on (fo) or down the line (dtl).",
)
@click.option("--scenario", type=click.Path(path_type=Path), help="A scenario file instead of the shipped one.")
@click.option("--open", "show", is_flag=True, help="Open the report when it is done.")
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
def command(out: Path, view: str, scenario: Path | None, show: bool, quiet: bool) -> None:
    """Render two invented players at the Larkspur Range and compare their swings.

    The clips are real MP4 files, and the comparison runs on them as `overlay compare` would. Takes a minute or two.
    """
    from overlay.demo import run_demo

    with progress_display(quiet) as progress:
        made, outcome, outputs = run_demo(out, view=view, scenario_path=scenario, progress=progress)
    planted = ", ".join(f"{words(name)} (size {size:g})" for name, size in made.planted.items())
    write = console()
    write.print(
        f"{made.student.name} against {made.reference.name}, {made.place}. Planted: {planted or 'nothing'}.",
        markup=False,
    )
    print_comparison(outcome.comparison)
    print_outputs(outputs)
    student = shlex.quote(str(outcome.student.path))
    write.print(f"next:   overlay compare {student} mid_iron, for the same swing against an on-model one", markup=False)
    if show and outputs.report is not None:
        click.launch(str(outputs.report))
