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
    help="Folder for the results. Default: overlay-demo, or overlay-season.",
)
@click.option(
    "--view",
    type=click.Choice(["fo", "dtl"]),
    help="Film face on (fo, the default) or down the line (dtl).",
)
@click.option(
    "--season",
    is_flag=True,
    help="Instead: two months of one player in a library of its own, and whether her change holds.",
)
@click.option("--scenario", type=click.Path(path_type=Path), help="A scenario file instead of the shipped one.")
@click.option("--open", "show", is_flag=True, help="Open the report when it is done.")
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
def command(out: Path | None, view: str | None, season: bool, scenario: Path | None, show: bool, quiet: bool) -> None:
    """Render two invented players at the Larkspur Range and compare their swings.

    The clips are real MP4 files, and the comparison runs on them as `overlay compare` would. Takes a minute or two.

    With --season nothing is rendered: 72 swings of one invented player are put into a library as tracks, and the
    commands of the record can be tried on it.
    """
    if season:
        _season(out or Path("overlay-season"), view, scenario, show, quiet)
        return
    from overlay.demo import run_demo

    with progress_display(quiet) as progress:
        made, outcome, outputs = run_demo(
            out or Path("overlay-demo"), view=view or "fo", scenario_path=scenario, progress=progress
        )
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


def _season(out: Path, view: str | None, path: Path | None, show: bool, quiet: bool) -> None:
    from overlay.cli.holding import print_answer
    from overlay.demo.season import run_season

    if view is not None:
        raise click.UsageError("A season is filmed from the side that its file says; leave out --view.")
    with progress_display(quiet) as progress:
        made = run_season(out, path=path, progress=progress)
    season, write = made.season, console()
    write.print(
        f"{season.player} at {season.place}: {len(season.days)} sessions, {made.n_swings} swings. From "
        f"{season.since.isoformat()} on she works on this: {season.worked_on}.",
        markup=False,
    )
    print_answer(made.answer)
    for label, result in (("trend", made.trend), ("session", made.page), ("library", made.library)):
        write.print(f"{label + ':':9}{result}", markup=False)
    name, library = shlex.quote(season.player), shlex.quote(str(made.library))
    write.print(f"next:    overlay swings {name} --sort {season.focus} --library {library}", markup=False)
    write.print(f"         overlay then-and-now {name} --library {library}", markup=False)
    if show:
        click.launch(str(made.page))
