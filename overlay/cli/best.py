"""``overlay best``: the swings that a player's others are held against."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from overlay.cli.record_options import ID, no_library, opened, opened_for_listing, plain, record_options
from overlay.cli.record_show import say
from overlay.terms import VIEW_WORDS

if TYPE_CHECKING:
    from overlay.terms import View


@click.command("best")
@click.argument("player", required=False, metavar="[PLAYER]")
@click.option("--view", type=click.Choice(["dtl", "fo", "other"]), help="List only this view.")
@click.option("--club", help="List only this club, as it was told.")
@click.option("--swing", type=ID, help="Mark this swing (its id) as one of its player's best.")
@click.option("--remove", is_flag=True, help="Take the mark off the --swing again.")
@record_options
def command(
    player: str | None,
    view: View | None,
    club: str | None,
    swing: int | None,
    remove: bool,
    library: Path | None,
    as_json: bool,
) -> None:
    """List the best swings of PLAYER or of all, newest first; with --swing, mark one.

    `overlay compare CLIP best:PLAYER` holds a new swing against the newest best one of its view.
    """
    from overlay import record_documents as documents

    if remove and swing is None:
        raise click.UsageError("--remove needs the --swing whose mark is to go.")
    if swing is not None:
        if player or view or club:
            raise click.UsageError("--swing marks one swing by its id; PLAYER, --view and --club belong to the list.")
        _mark(swing, remove, library, as_json)
        return
    from overlay.cli.swings import print_swings

    with opened_for_listing(library) as store:
        names = [] if store is None else [p.name for p in ([store.player(player)] if player else store.players())]
        found = () if store is None else tuple(s for name in names for s in store.best(name, view=view, club=club))
    if as_json:
        rows = [documents.kept_swing_document(one) for one in found]
        click.echo(documents.to_json(documents.headed("best", {"swings": rows})), nl=False)
    elif store is None:
        say(no_library())
    elif not found:
        whose = f" of {plain(player, 60)}" if player else ""
        so = " of this view and club" if view or club else ""
        say(f"No swing{whose}{so} is marked as best: `overlay best --swing ID` marks one, `overlay swings` lists ids.")
    else:
        print_swings(found, [], {}, several=player is None)


def _mark(swing_id: int, remove: bool, library: Path | None, as_json: bool) -> None:
    from overlay import record_documents as documents

    with opened(library) as store:
        before = store.swing(swing_id)
        if remove:
            store.unmark_best(swing_id)
        else:
            store.mark_best(swing_id)
        after = store.swing(swing_id)
    if as_json:
        click.echo(
            documents.to_json(documents.headed("best", {"swings": [documents.kept_swing_document(after)]})), nl=False
        )
        return
    of = f"swing {swing_id} of {plain(after.player, 60)}, {after.date.isoformat()}, {VIEW_WORDS[after.view]}"
    if remove:
        say(f"No longer marked as best: {of}.")
    else:
        say(f"Already marked as best: {of}." if before.is_best else f"Marked as best: {of}.")
