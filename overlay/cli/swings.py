"""``overlay swings``: the swings of the record, filtered and sorted by anything that is measured."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from overlay.cli.record_options import (
    Limit,
    filter_options,
    known_measure,
    measure_word,
    no_library,
    opened_for_listing,
    plain,
    read_filter,
    record_options,
)
from overlay.cli.record_show import Head, counted, print_rows, say
from overlay.terms import words

if TYPE_CHECKING:
    from overlay.data.record import KeptSwing
    from overlay.terms import View

SHOWN = 50
"""Rows of the table where no --limit is given; JSON has them all."""
MOST = 10**15
"""More than any library holds, and a number that SQLite can count to."""
SORTS = ("date", "tempo_ratio", "id")
BUILT_IN = frozenset(SORTS)


@click.command("swings")
@click.argument("player", required=False, metavar="[PLAYER]")
@filter_options
@click.option(
    "--sort", default="date", metavar="NAME", help="date, id, tempo_ratio or any measure. Default: date, newest first."
)
@click.option("--ascending", is_flag=True, help="Smallest or oldest first instead of last.")
@click.option(
    "--limit",
    type=click.IntRange(min=0, max=MOST),
    help=f"Show so many, 0 for all. Default: {SHOWN}, all with --json.",
)
@click.option("--measure", "measures", multiple=True, metavar="NAME", help="Show this measure too.")
@record_options
def command(
    player: str | None,
    sessions: tuple[int, ...],
    since: datetime.date | None,
    until: datetime.date | None,
    clubs: tuple[str, ...],
    view: View | None,
    tags: tuple[str, ...],
    only_best: bool,
    first: str | None,
    limits: tuple[Limit, ...],
    sort: str,
    ascending: bool,
    limit: int | None,
    measures: tuple[str, ...],
    library: Path | None,
    as_json: bool,
) -> None:
    """List swings of all players or of PLAYER, filtered and sorted by any measure.

    A swing whose measure could not be given is left out by --where and comes last under --sort.
    """
    from overlay import record_documents as documents
    from overlay.library.counting import measure_units

    with opened_for_listing(library) as store:
        found: tuple[KeptSwing, ...] = ()
        total, asked, units, several = 0, [], {}, player is None
        if store is not None:
            chosen = read_filter(
                store,
                () if player is None else (player,),
                sessions=sessions,
                since=since,
                until=until,
                clubs=clubs,
                view=view,
                tags=tags,
                only_best=only_best,
                first=first,
                limits=limits,
            )
            by = measure_word(sort)
            if by not in BUILT_IN:
                by = known_measure(store, sort)
            shown = [known_measure(store, name) for name in measures]
            named = [*shown, *([] if by in BUILT_IN else [by]), *(one.measure for one in limits)]
            asked = [name for name in dict.fromkeys(named) if name not in BUILT_IN]
            units = measure_units(store)
            total = store.count_swings(chosen)
            most = limit if limit is not None else None if as_json else SHOWN
            found = store.swings(chosen, sort=by, descending=not ascending, limit=most or None, measures=tuple(asked))
    if as_json:
        rows = [documents.kept_swing_document(swing) for swing in found]
        known = {name: units.get(name, "torso") for name in asked}
        document = documents.headed("swings", {"total": total, "units": known, "swings": rows})
        click.echo(documents.to_json(document), nl=False)
        return
    if store is None:
        say(no_library())
    elif not found:
        filtered = bool(sessions or since or until or clubs or view or tags or only_best or first or limits)
        say(_nothing(player, filtered))
    else:
        print_swings(found, asked, units, several=several)
        if len(found) < total:
            say(f"{len(found):,} of {counted(total, 'swing')}; --limit 0 shows all.")


def _nothing(player: str | None, filtered: bool) -> str:
    whose = f" of {plain(player, 60)}" if player else ""
    if filtered:
        return f"No swing{whose} is so. Leave a filter out; `overlay sessions` lists days and clubs."
    return f"No swings{whose} yet: `overlay add CLIP --player NAME` reads clips and keeps what was found."


def print_swings(swings: tuple[KeptSwing, ...], asked: list[str], units: dict[str, str], *, several: bool) -> None:
    """The table of swings, with the measures that were asked for."""
    heads = (
        Head("id", number=True),
        Head("date", plain=True),
        Head("player", words=True, most=40, plain=True),
        Head("club", words=True, most=30, plain=True),
        Head("view", plain=True),
        *(Head(words(name), number=True) for name in asked),
        Head("tempo", number=True),
        Head("first", words=True),
        Head("filming", spare=5),
        Head("best", plain=True),
        Head("tags", words=True, spare=3),
        Head("session", number=True, spare=6),
        Head("clip", words=True, spare=7),
        Head("no.", number=True, spare=8),
    )
    print_rows(heads, [_row(swing, asked, units, several) for swing in swings])


def _row(swing: KeptSwing, asked: list[str], units: dict[str, str], several: bool) -> tuple[str, ...]:
    from overlay.checklist.wording import amount, number

    def value(name: str) -> str:
        unit = units.get(name, "torso")
        if name not in swing.values:
            return "–"
        return (
            number(swing.values[name], unit)
            if unit != "torso"
            else amount(swing.values[name], unit).removesuffix(" lengths")
        )

    return (
        str(swing.id),
        swing.date.isoformat(),
        swing.player if several else "",
        swing.club,
        swing.view,
        *(value(name) for name in asked),
        f"{swing.tempo_ratio:.2f}" if swing.tempo_ratio == swing.tempo_ratio else "–",
        words(swing.first),
        swing.filming,
        "best" if swing.is_best else "",
        ", ".join(swing.tags),
        str(swing.session_id),
        swing.path.name,
        str(swing.number),
    )
