"""``overlay holding``: is a change holding across sessions?"""

from __future__ import annotations

import datetime
import math
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.record_options import Day, opened, plain, record_options
from overlay.cli.record_show import Head, counted, print_rows, say
from overlay.data.record import AIMS

if TYPE_CHECKING:
    from overlay.data import ChangeAnswer, Holding, SpaceTrack
    from overlay.holding import Telling

HEADS = (
    Head("measure", words=True),
    Head("verdict"),
    Head("change", words=True),
    Head("95 %"),
    Head("p (Holm)", number=True),
    Head("sessions"),
)


@click.command("holding")
@click.argument("player", metavar="PLAYER")
@click.option(
    "--measure",
    "measures",
    multiple=True,
    metavar="NAME",
    help="A measure, or a difference to a reference such as hands.backswing; may be given more than once. Default: the "
    "declared focus, and all others beside it.",
)
@click.option(
    "--since",
    type=Day(),
    help="First day of the later sessions: 2026-05-03. Default: the first session with that focus.",
)
@click.option("--view", type=click.Choice(["dtl", "fo", "other"]), help="Only swings of this view.")
@click.option("--club", help="Only this club, as it was told. Default: the one with most swings.")
@click.option("--focus", metavar="NAME", help="The one measure that was worked on, instead of what was declared.")
@click.option("--aim", type=click.Choice(AIMS), help="Which way the focus was meant to go.")
@click.option("--reference", metavar="NAME", help="The reference that differences are to, by its name or key.")
@record_options
def command(
    player: str,
    measures: tuple[str, ...],
    since: datetime.date | None,
    view: Any,
    club: str | None,
    focus: str | None,
    aim: Any,
    reference: str | None,
    library: Path | None,
    as_json: bool,
) -> None:
    """Say whether what PLAYER changed holds: holding, not holding, faded, or not enough sessions.

    Sessions before the change are weighed against those since. The focus is tested by itself, every other measure
    together with the rest. Where the camera stood elsewhere it is told what that could have made, and a change that
    the cameras could have made is not called one. The exit code is 0 whatever the answer is.
    """
    from overlay import record_documents
    from overlay.trends import change_answers, reference_key_of

    with opened(library) as store:
        name = store.player(player).name
        answers = change_answers(
            store,
            name,
            measures,
            since=since,
            view=view,
            club=club,
            focus=focus,
            aim=aim,
            reference_key=None if reference is None else reference_key_of(store, name, reference),
            space=_usual_swing(),
        )
    declared = next((answer for answer in answers if answer.holding.is_focus), None)
    if as_json:
        fields = {
            "player": name,
            "since": answers[0].since.isoformat(),
            "focus": None if declared is None else declared.measure,
            "answers": [record_documents.change_document(answer) for answer in answers],
        }
        click.echo(record_documents.to_json(record_documents.headed("holding", fields)), nl=False)
        return
    others = [answer for answer in answers if answer is not declared]
    if declared is not None:
        print_answer(declared)
    if others:
        print_others(others, alone=declared is None)


def _usual_swing() -> SpaceTrack | None:
    """Through which the cameras are looked at; without the shipped models nothing is said of them."""
    from overlay.errors import OverlayError
    from overlay.pipeline import usual_swing

    try:
        return usual_swing()
    except OverlayError:
        return None


def _telling(answer: ChangeAnswer) -> Telling:
    from overlay.holding import Telling
    from overlay.plots.words import measure_words

    words, holding = measure_words(answer.measure, answer.series.view), answer.holding
    return Telling.of(answer.unit, holding.interval, holding.detectable, more=words.more, less=words.less)


def print_answer(answer: ChangeAnswer) -> None:
    """The word and the change first; what they are of, why, what the cameras did, and what else has to be known."""
    holding = answer.holding
    say(plain(holding.sentence, 600), bold=True)
    before = [mean for mean in answer.means if mean.date < answer.since]
    later = [mean for mean in answer.means if mean.date >= answer.since]
    club = answer.series.sessions[0].club if answer.series.sessions else ""
    told = ", ".join(part for part in (plain(answer.title), plain(answer.player, 60), plain(club, 60)) if part)
    say(
        f"{told}: {counted(len(before), 'session')} before {_day(answer.since)} "
        f"({counted(sum(mean.n for mean in before), 'swing')}), {len(later)} since "
        f"({counted(sum(mean.n for mean in later), 'swing')})."
    )
    if holding.reason:
        say(plain(holding.reason, 900))
    if (
        holding.word in ("holding", "not holding")
        and "could have been missed" not in holding.reason
        and holding.detectable > 0
    ):
        say(f"A change of less than {_telling(answer).size(holding.detectable)} could have been missed.")
    if answer.camera is not None and not answer.camera.vetoes:
        say(f"Cameras: {plain(answer.camera.sentence, 600)}")
    for note in answer.notes:
        say(f"Note: {plain(note, 600)}")


def print_others(answers: Sequence[ChangeAnswer], *, alone: bool) -> None:
    """A row a measure in the checklist's order; then what the cameras may have made of those that changed."""
    tested = sum(math.isfinite(answer.holding.p) for answer in answers)
    changed = [answer for answer in answers if answer.holding.word in ("holding", "faded", "cameras differ")]
    if alone:
        say(_together(answers, changed), bold=True)
        say(f"{counted(len(answers), 'measure')}, {plain(answers[0].player, 60)}, since {_day(answers[0].since)}.")
    say("")
    if not alone and not tested and all(answer.holding.word == "not enough sessions" for answer in answers):
        # Twenty rows that say the same hide the answer above them.
        say(f"Other measures: not enough sessions for any of the {len(answers)} either.")
        return
    say(f"{'Measures' if alone else 'Other measures'}{f', {tested} tested together (Holm)' if tested else ''}:")
    print_rows(HEADS, [_row(answer) for answer in answers])
    cameras: dict[str, list[str]] = {}
    for answer in changed:
        if answer.camera is not None:
            cameras.setdefault(answer.camera.sentence, []).append(answer.title)
    for sentence, titles in cameras.items():
        say(f"Cameras, {'; '.join(plain(title.partition(' (')[0]) for title in titles)}: {plain(sentence, 600)}")
    told: dict[str, list[str]] = {}
    for answer in answers if alone else changed:
        for note in answer.notes:
            told.setdefault(note, []).append(answer.title)
    for note, titles in told.items():
        whose = "" if len(titles) == len(answers) else f"{plain(titles[0])}{' and others' if len(titles) > 1 else ''}: "
        say(f"Note: {whose}{plain(note, 600)}")


def _together(answers: Sequence[ChangeAnswer], changed: Sequence[ChangeAnswer]) -> str:
    if all(answer.holding.word == "not enough sessions" for answer in answers):
        return plain(answers[0].holding.sentence, 600)
    if not changed:
        return "Not holding: no measure has changed beyond the scatter between sessions."
    words = [f"{plain(answer.title)}, {answer.holding.word}" for answer in changed]
    return f"Changed: {'; '.join(words)}."


def _row(answer: ChangeAnswer) -> tuple[str, ...]:
    holding = answer.holding
    telling = _telling(answer)
    known = math.isfinite(holding.change)
    return (
        answer.title,
        holding.word,
        telling.change(holding.change) if known else "",
        _interval(holding, telling),
        _p(holding),
        f"{holding.n_baseline} + {holding.n_later}",
    )


def _interval(holding: Holding, telling: Telling) -> str:
    """Signed ends, so that a column of them can be read down."""
    if not all(map(math.isfinite, holding.interval)):
        return ""
    return f"{telling.signed(holding.interval[0])} to {telling.signed(holding.interval[1])}"


def _p(holding: Holding) -> str:
    from overlay.holding import p_words

    if not math.isfinite(holding.p_adjusted):
        return ""
    return p_words(holding.p_adjusted).removeprefix("p ").removeprefix("= ")


def _day(day: datetime.date) -> str:
    return f"{day.day} {day:%B %Y}"
