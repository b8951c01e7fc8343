"""``overlay add``: clips, whole folders of them, into the library."""

from __future__ import annotations

import dataclasses
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.options import (
    HANDS,
    VIEWS,
    Command,
    Rate,
    everywhere_option,
    library_option,
    models_option,
    read_clip_options,
)
from overlay.cli.record_options import PastDay, check_focus

if TYPE_CHECKING:
    from overlay.batch import AddSpec, Pool
    from overlay.library import Store

STOPPED = 130


def session_options(command: Command) -> Command:
    """--player and what is told of the session; --reference, --own, --models; what is told of every clip."""
    for option in reversed(
        (
            click.option("--player", metavar="NAME", help="Whose clips these are; a new player is made."),
            click.option(
                "--date",
                type=PastDay(),
                help="The day of the session. Default: what each clip says, else the day its file was changed.",
            ),
            click.option("--club", default="", help="The club, in your words; each club of a day is its own session."),
            click.option("--place", help="Where it was."),
            click.option("--worked-on", help="What was worked on, in your words."),
            click.option("--focus", help="The one measure that is declared as focus, such as pelvis_push_back."),
            click.option(
                "--aim",
                type=click.Choice(["lower", "higher", "either"]),
                help="Which way the focus measure is meant to go.",
            ),
            click.option(
                "--tag", "tags", multiple=True, help="A word put on every swing; may be given more than once."
            ),
            click.option(
                "--reference",
                metavar="REFERENCE",
                help="Compare every swing with this: a clip, a model's name or file, best (the player's own), "
                "best:PLAYER, swing:ID; none: nothing. Default: what the player is usually compared with.",
            ),
            click.option("--own", is_flag=True, help="The reference is of the player himself."),
            models_option,
            click.option("--view", type=VIEWS, help="Say the view of all clips: dtl (down the line) or fo (face on)."),
            click.option("--hand", type=HANDS, help="Say the player's hand instead of finding it."),
            click.option(
                "--capture-rate", type=Rate(), help="Frames per second when the clips were filmed, for slow motion."
            ),
            click.option("--mirrored", is_flag=True, help="Flip the clips left-right (mirror selfies)."),
            click.option(
                "--rotate",
                type=click.Choice(["0", "90", "180", "270"]),
                help="Turn the clips clockwise by this instead of what the files say.",
            ),
            click.option("--stature-cm", type=click.FloatRange(80, 240), help="The player's body height."),
            click.option("--allow-others", is_flag=True, help="Go on when a second person is in the picture."),
            everywhere_option,
            click.option("--no-cache", is_flag=True, help="Run the pose model again even where a clip is known."),
            click.option(
                "--workers",
                type=click.IntRange(1, 256),
                help="How many clips are read at once. Default: one a core.",
            ),
            click.option(
                "--cluster",
                metavar="ADDRESS",
                help="Read the clips on the Dask cluster whose scheduler is there, such as tcp://10.0.0.5:8786.",
            ),
        )
    ):
        command = option(command)
    return command


def read_spec(values: dict[str, Any], *, again: bool = False) -> AddSpec:
    """``AddSpec`` from click's keyword values; takes its own out of ``values``."""
    from overlay.batch import AddSpec

    values["swing"] = None
    options = read_clip_options(
        values,
        use_cache=not values["no_cache"],
        allow_others=values["allow_others"],
        stature_cm=values["stature_cm"],
    )
    tags = tuple(word.strip() for word in values["tags"] if word.strip())
    return AddSpec(
        player=" ".join((values["player"] or "").split()),
        date=values["date"],
        club=" ".join(values["club"].split()),
        place=values["place"],
        worked_on=values["worked_on"],
        focus=values["focus"],
        aim=values["aim"],
        options=options,
        reference=values["reference"],
        own=values["own"],
        models=values["models"],
        tags=tags,
        again=again,
    )


def make_pool(workers: int | None, cluster: str | None) -> Pool:
    """Processes of this machine, or a cluster."""
    if cluster is not None:
        from overlay.batch.cluster import ClusterPool

        # Above the progress line, which takes over what goes to stderr while it is drawn.
        return ClusterPool(cluster, say=lambda text: click.echo(text, err=True))
    from overlay.batch import LocalPool

    return LocalPool(workers)


def checked(spec: AddSpec, store: Store) -> AddSpec:
    """Refuse a focus that is no measure, before anything is read."""
    if spec.focus is None:
        return spec
    return dataclasses.replace(spec, focus=check_focus(store, spec.focus))


def need_player(spec: AddSpec) -> None:
    """Refuse clips that are nobody's."""
    if not spec.player:
        raise click.UsageError("Say whose clips these are: --player NAME.")


@click.command("add")
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@session_options
@click.option("--again", is_flag=True, help="Read clips again that are known, and those that failed, as told now.")
@click.option(
    "--outdated",
    is_flag=True,
    help="Without PATHS: read again what an older overlay read, all players' or that of --player.",
)
@library_option
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
@click.option("--json", "as_json", is_flag=True, help="Print the whole report as JSON (docs/adding.md).")
def command(
    paths: tuple[Path, ...],
    again: bool,
    outdated: bool,
    library: Path | None,
    quiet: bool,
    as_json: bool,
    workers: int | None,
    cluster: str | None,
    **values: Any,
) -> int:
    """Add clips to a player's record: every file of PATHS, and all clips of the folders among them.

    Clips the library holds already are not read again. After an interruption the same command goes on where it
    stopped. A clip is a video or a saved track; every swing in it is kept.
    """
    from overlay.batch import add_clips, add_outdated
    from overlay.cli.add_show import AddDisplay
    from overlay.library import open_store

    if outdated and paths:
        raise click.UsageError("--outdated reads again what the library knows: give it without PATHS.")
    if not outdated and not paths:
        raise click.UsageError("Give clips or folders of clips.")
    spec = read_spec(values, again=again)
    if not outdated:
        need_player(spec)
    with open_store(library, must_exist=outdated) as store, make_pool(workers, cluster) as pool:
        spec = checked(spec, store)
        display = AddDisplay(quiet, pool.workers)

        def work() -> Any:
            if outdated:
                wanted = spec if spec.player else None
                return add_outdated(store, wanted, pool, display, display.told, display.running)
            return add_clips(store, paths, spec, pool, display, display.told, display.running)

        return finish(work, display, spec.player, as_json)


@contextmanager
def ended_in_order() -> Iterator[None]:
    """A request to end (SIGTERM, as at shutdown) is obeyed as Ctrl-C is: workers stopped, what is done is told."""

    def stop(number: int, frame: object) -> None:
        raise KeyboardInterrupt

    try:
        before = signal.signal(signal.SIGTERM, stop)
    except ValueError:  # not in the main thread
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGTERM, before)


def finish(work: Callable[[], Any], display: Any, player: str, as_json: bool) -> int:
    """Do the work under its display, then print what became of the clips, also after Ctrl-C."""
    from overlay.batch import AddReport, report_document
    from overlay.cli.add_show import print_next, print_table
    from overlay.documents import to_json

    stopped = False
    with display.shown(), ended_in_order():
        try:
            report = work()
        except KeyboardInterrupt:
            stopped, report = True, AddReport(tuple(display.rows))
    if as_json:
        click.echo(to_json(report_document(report, stopped=stopped)), nl=False)
    else:
        print_table(report)
        if not stopped:
            print_next(report, player)
    if stopped:
        sys.stderr.write("Stopped. What is in the table is kept; the same command goes on with the rest.\n")
        return STOPPED
    return int(report.exit_code)
