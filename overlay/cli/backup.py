"""``overlay backup``: a verified copy of the library, and the library back from one."""

from __future__ import annotations

import os
from pathlib import Path

import click

from overlay.cli.record_options import check_path, opened, plain, record_options
from overlay.cli.record_show import counted, say
from overlay.errors import OutputError


@click.command("backup")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--restore", is_flag=True, help="The other way round: make the library again from FILE.")
@click.option("--replace", is_flag=True, help="Replace what is there already: FILE, or with --restore the library.")
@record_options
def command(file: Path, restore: bool, replace: bool, library: Path | None, as_json: bool) -> None:
    """Copy the library to FILE, also while it is being written to, and check the copy; clips are not part of it."""
    from overlay import record_documents as documents
    from overlay.library import default_path, open_copy, open_store
    from overlay.library import restore as restore_library

    check_path(file)
    check_path(library if library is not None else default_path())
    there = False
    if restore:
        target = library if library is not None else default_path()
        there = os.path.exists(target)
        if there and not replace:
            raise OutputError(
                f"There is a library at {plain(str(target), 500)} already.",
                "Give --replace to put the backup in its place; what is there now stays beside it.",
            )
        restore_library(file, target, replace=replace)
        source, path = file, target
    else:
        if os.path.exists(file) and not replace:
            raise OutputError(f"{plain(str(file), 500)} is there already.", "Name another file, or give --replace.")
        folder = os.path.dirname(os.path.abspath(file))
        if not os.path.isdir(folder):
            # Made here, it would lie on this disk where a stick was meant that is not plugged in.
            raise OutputError(
                f"There is no folder {plain(folder, 500)}.", "Plug in the disk that is meant, or make the folder first."
            )
        with opened(library) as store:
            source = store.path
            store.backup(file, replace=replace)
        path = file
    # Opened as a library a backup would need files beside it, which a stick that is write-protected cannot have.
    with open_store(path, must_exist=True) if restore else open_copy(path) as store:
        counts = {
            "players": len(store.players()),
            "sessions": len(store.sessions()),
            "swings": store.count_swings(),
        }
    n_bytes = path.stat().st_size
    if as_json:
        fields = {"source": str(source), "path": str(path), "bytes": n_bytes, **counts}
        click.echo(documents.to_json(documents.headed("restore" if restore else "backup", fields)), nl=False)
        return
    held = (
        f"{counted(counts['players'], 'player')}, {counted(counts['sessions'], 'session')}, "
        f"{counted(counts['swings'], 'swing')}"
    )
    if restore:
        if there:
            aside = f"{path.name}.before-restore"
            say(f"What was there before is beside it: {plain(aside, 200)}. Remove it when all is well.")
        say(f"Restored from {plain(str(file), 500)}: {held}.")
        say(f"library: {plain(str(path), 500)}")
        return
    say(f"Copied and checked: {held}. The clips themselves are not in it.")
    say(f"file: {plain(str(path), 500)}")
