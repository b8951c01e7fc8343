"""``overlay check``: is the library whole?"""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from overlay.cli.record_options import no_library, opened_for_listing, plain, record_options
from overlay.cli.record_show import counted, listed, say
from overlay.cli.show import progress_display
from overlay.errors import InputError

if TYPE_CHECKING:
    from overlay.library import Store


@click.command("check")
@click.option("--brief", is_flag=True, help="Do not read every track, which takes longest.")
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
@record_options
def command(brief: bool, quiet: bool, library: Path | None, as_json: bool) -> None:
    """Check that the library is whole: its file, and that everything in it belongs together.

    Problems end with an exit code that is not 0. Clips that are no longer where they were are remarks, since everything
    that was read of them is kept.
    """
    from overlay import record_documents as documents

    with opened_for_listing(library) as store:
        with progress_display(quiet or store is None) as progress:
            problems = () if store is None else store.check(progress, read_tracks=not brief)
        remarks = () if store is None else _remarks(store)
        path = None if store is None else store.path
    if as_json:
        fields = {
            "path": None if path is None else str(path),
            "whole": not problems,
            "problems": list(problems),
            "remarks": list(remarks),
        }
        click.echo(documents.to_json(documents.headed("check", fields)), nl=False)
    elif store is None:
        say(no_library())
    else:
        for problem in problems:
            say(f"problem: {plain(problem, 2000)}")
        for remark in remarks:
            say(f"remark: {remark}")
        if not problems:
            say(f"The library is whole: {plain(str(path), 500)}")
    if problems:
        raise InputError(
            f"The library has {counted(len(problems), 'problem')}.",
            "Keep a copy of its file, then bring back the last good backup: overlay backup --restore FILE --replace",
        )


def _remarks(store: Store) -> tuple[str, ...]:
    """What is no fault of the library and still good to know."""
    clips = store.clips()
    remarks = []
    gone = [clip for clip in clips if not os.path.exists(clip.path)]
    if gone:
        remarks.append(
            f"{counted(len(gone), 'clip')} not where last seen ({listed([clip.path.name for clip in gone], 4)}): what "
            "was read of them is kept; `overlay add` on their new folder finds them again."
        )
    failed = [clip for clip in clips if clip.problem]
    if failed:
        remarks.append(
            f"{counted(len(failed), 'clip')} could not be read; `overlay session ID` says why, and `overlay add` "
            "tries again."
        )
    return tuple(remarks)
