"""``overlay forget``: remove everything that is kept of a person."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.options import models_option
from overlay.cli.record_options import ask, opened, plain, record_options
from overlay.cli.record_show import counted, listed, say
from overlay.errors import OutputError

if TYPE_CHECKING:
    from overlay.pipeline.forgetting import Remembered, Removed


@click.command("forget")
@click.argument("player", metavar="PLAYER")
@click.option("--yes", is_flag=True, help="Do it without asking for the name.")
@click.option("--dry-run", is_flag=True, help="Only show what would be removed.")
@click.option("--models-too", is_flag=True, help="Remove the kept models that bear the player's name as well.")
@models_option
@record_options
def command(
    player: str, yes: bool, dry_run: bool, models_too: bool, models: Path | None, library: Path | None, as_json: bool
) -> None:
    """Remove PLAYER wholly: sessions, what was read of the clips, swings, notes, and the pose tracks that are kept.

    Nothing of it can be brought back. The clips' own files are never touched.
    """
    from overlay import record_documents as documents
    from overlay.models import Library
    from overlay.pipeline.forgetting import forget, remembered

    own = Library(models)
    with opened(library) as store:
        kept = remembered(store, player, own)
        if not as_json:
            _print_kept(kept, models_too)
        removed = None
        if not dry_run:
            if not yes and not ask(
                f"Type the name {plain(kept.player.name, 80)} to remove all of it", kept.player.name
            ):
                raise OutputError(
                    "That was not the name; nothing was removed.", "Type it as it stands there, or --yes."
                )
            removed = forget(store, kept, own, models_too=models_too)
    if as_json:
        click.echo(documents.to_json(documents.headed("forget", _fields(kept, removed))), nl=False)
        return
    if removed is None:
        say("Nothing was removed: --dry-run.")
        return
    _print_removed(kept, removed)


def _fields(kept: Remembered, removed: Removed | None) -> dict[str, Any]:
    return {
        "player": kept.player.name,
        "removed": removed is not None,
        "sessions": kept.n_sessions if removed is None else removed.n_sessions,
        "clips": kept.n_clips if removed is None else removed.n_clips,
        "swings": kept.n_swings if removed is None else removed.n_swings,
        "notes": kept.n_notes,
        "pose_results": None if removed is None else removed.n_cached,
        "models": [facts.name for facts in kept.models],
        "models_removed": [] if removed is None else list(removed.models),
    }


def _print_kept(kept: Remembered, models_too: bool) -> None:
    name = plain(kept.player.name, 80)
    say(
        f"Of {name} there are {counted(kept.n_sessions, 'session')}, {counted(kept.n_clips, 'clip')} as read, "
        f"{counted(kept.n_swings, 'swing')}, {counted(kept.n_notes, 'note')}, and the pose tracks kept of these clips."
    )
    if kept.models:
        too = "they go too" if models_too else "they stay unless you give --models-too"
        say(f"Kept models that bear the name: {listed([facts.name for facts in kept.models])}; {too}.")
    if kept.elsewhere:
        lose = ", who will have none then" if models_too else ""
        say(f"These are the reference of {listed(kept.elsewhere)} as well{lose}.")


def _print_removed(kept: Remembered, removed: Removed) -> None:
    say(
        f"Removed {plain(kept.player.name, 80)}: {counted(removed.n_sessions, 'session')}, "
        f"{counted(removed.n_clips, 'clip')} as read, {counted(removed.n_swings, 'swing')}, "
        f"{counted(removed.n_cached, 'pose result')}"
        + (f", {counted(len(removed.models), 'model')}." if removed.models else "."),
        bold=True,
    )
    if removed.models_left:
        say(f"Still kept: {listed(removed.models_left)}; `overlay model remove NAME` removes a model.")
    say("The clips' files and the marks beside them were not touched; delete them yourself if they are to go.")
    say("Backups, exports, pages, pictures and videos that were made earlier still hold what they held.")
