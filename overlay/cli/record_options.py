"""Options and arguments that the commands of the record share, and how their values are read."""

from __future__ import annotations

import datetime
import difflib
import math
import os
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

import click

from overlay.cli.options import library_option
from overlay.errors import InputError

if TYPE_CHECKING:
    from overlay.library import Store, SwingFilter
    from overlay.terms import View

Command = TypeVar("Command", bound=Callable[..., Any])

MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
)  # fmt: skip
YEARS = (1900, 2199)
TARGETS = ("player", "session", "clip", "swing")

UNIT_WORDS = {"deg": "degrees", "torso": "torso lengths", "fraction": "per cent", "s": "seconds"}

AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print the result as JSON (docs/record-json.md).")


class Day(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 only
    """A day: 2026-05-03, 3 May 2026, today or yesterday. Orders that can be read in two ways are refused."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> datetime.date:
        if isinstance(value, datetime.date):
            return value
        try:
            return read_day(str(value))
        except ValueError as error:
            self.fail(str(error), param, ctx)


class PastDay(Day):
    """The day of a session: as ``Day``, and not later than tomorrow, which a zone further east may have."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> datetime.date:
        day = super().convert(value, param, ctx)
        if day > datetime.date.today() + datetime.timedelta(days=1):
            self.fail(f"{day.isoformat()} is still to come; a session is on a day that was", param, ctx)
        return day


def read_day(text: str, today: datetime.date | None = None) -> datetime.date:
    """The day that ``text`` names.

    Raises
    ------
    ValueError
        It names none, or could name two; the message says how to write it.
    """
    said = " ".join(text.split()).lower()
    today = today or datetime.date.today()
    if said in ("today", "yesterday"):
        return today - datetime.timedelta(days=said == "yesterday")
    shown = plain(text, 40)
    parts = _day_parts(said)
    if parts is None:
        if re.fullmatch(r"[0-9]{1,2}([-/. ])[0-9]{1,2}\1[0-9]{2,4}", said):
            raise ValueError(f"{shown!r} can be read as two days; write the year first: {today.isoformat()}")
        raise ValueError(f"{shown!r} is no day; write it as {today.isoformat()}")
    try:
        day = datetime.date(*parts)
    except ValueError:
        raise ValueError(f"{shown!r} is a day that the calendar does not have") from None
    if not YEARS[0] <= day.year <= YEARS[1]:
        raise ValueError(f"{shown!r} is not within the years {YEARS[0]} to {YEARS[1]}")
    return day


def _day_parts(said: str) -> tuple[int, int, int] | None:
    if match := re.fullmatch(r"([0-9]{4})([-/.]?)([0-9]{2})\2([0-9]{2})", said):
        return int(match[1]), int(match[3]), int(match[4])
    if match := re.fullmatch(r"([0-9]{4})([-/.])([0-9]{1,2})\2([0-9]{1,2})", said):
        return int(match[1]), int(match[3]), int(match[4])
    # With the month as a word the order of the rest is plain.
    if match := re.fullmatch(r"([0-9]{1,2})\.?[ -]([a-z]{3,9})\.?,?[ -]([0-9]{4})", said):
        day, month, year = match.groups()
    elif match := re.fullmatch(r"([a-z]{3,9})\.?[ -]([0-9]{1,2}),?[ -]([0-9]{4})", said):
        month, day, year = match.groups()
    else:
        return None
    numbers = [number for number, name in enumerate(MONTHS, 1) if name.startswith(month)]
    return (int(year), numbers[0], int(day)) if len(numbers) == 1 else None


class Limit(NamedTuple):
    """One ``--where``: a measure and the closed range it is to lie in; an open end is infinite, "" no unit told."""

    measure: str
    low: float
    high: float
    unit: str = ""


class Where(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 only
    """A measure and its limit: "tempo_ratio>3.2", "hand_depth_back<=0.1", "tempo_ratio=2.8..3.2"."""

    name = "limit"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Limit:
        if isinstance(value, Limit):
            return value
        try:
            return read_limit(str(value))
        except ValueError as error:
            self.fail(str(error), param, ctx)


def read_limit(text: str) -> Limit:
    """The limit that ``text`` tells. A value may carry its unit: ``12°``, ``60 %`` (a fraction).

    Raises
    ------
    ValueError
        It tells none; the message says how to write it.
    """
    match = re.fullmatch(r"([^<>=]+)(>=|<=|>|<|=)([^<>=]+)", text)
    how = 'write it in quotes as "tempo_ratio>3.2", or "tempo_ratio=2.8..3.2" for a range'
    shown = plain(text, 60)
    if match is None:
        raise ValueError(f"{shown!r} gives no limit; {how}")
    name, sign, amount = measure_word(match[1]), match[2], match[3].strip()
    ends = amount.split("..") if sign == "=" else [amount]
    amounts = [found for found in map(_amount, ends) if found is not None]
    if not name or len(ends) > 2 or len(amounts) < len(ends):
        raise ValueError(f"{shown!r} gives no number; {how}")
    units = {unit for _, unit in amounts if unit}
    if len(units) > 1:
        raise ValueError(f"{shown!r} has two units; {how}")
    value, last, unit = amounts[0][0], amounts[-1][0], next(iter(units), "")
    if sign == "=":
        if value > last:
            raise ValueError(f"{shown!r} ends before it begins; {how}")
        return Limit(name, value, last, unit)
    # Both ends of a range belong to it: what is strictly beyond begins at the next number there is.
    if sign.startswith(">"):
        return Limit(name, value if sign == ">=" else math.nextafter(value, math.inf), math.inf, unit)
    return Limit(name, -math.inf, value if sign == "<=" else math.nextafter(value, -math.inf), unit)


def _amount(text: str) -> tuple[float, str] | None:
    """The number and its unit as measures have it; a per cent is a hundredth of a fraction."""
    match = re.fullmatch(r"([-+−]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:e[-+]?[0-9]+)?)\s*(%|°|deg|torso|cm|s)?", text.strip())
    if match is None:
        return None
    value = float(match[1].replace("−", "-")) / (100.0 if match[2] == "%" else 1.0)
    unit = {"%": "fraction", "°": "deg", None: ""}.get(match[2], match[2])
    return (value, unit) if math.isfinite(value) else None


def measure_word(text: str) -> str:
    """A measure's name as it is spelled in the code: ``Tempo ratio`` → ``tempo_ratio``."""
    return "_".join(re.split(r"[\s_-]+", text.strip().lower()))


class Target(NamedTuple):
    """What a note or a tag is on."""

    kind: str
    key: str

    @property
    def shown(self) -> str:
        return f"{self.kind}:{plain(self.key, 60)}"


class TargetType(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 only
    """player:NAME, session:12, clip:7 or swing:431."""

    name = "target"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Target:
        if isinstance(value, Target):
            return value
        kind, colon, key = str(value).partition(":")
        kind, key = kind.strip().lower(), key.strip()
        kind = kind.removesuffix("s") if kind.removesuffix("s") in TARGETS else kind
        if kind not in TARGETS or not colon or not key or (kind != "player" and not _is_id(key)):
            self.fail(
                f"{plain(str(value), 60)!r} names nothing; write player:NAME, session:12, clip:7 or swing:431",
                param,
                ctx,
            )
        return Target(kind, key)


def _is_id(text: str) -> bool:
    return re.fullmatch(r"[0-9]{1,15}", text) is not None


ID = click.IntRange(min=1)


def record_options(command: Command) -> Command:
    """--library, --json."""
    return library_option(AS_JSON(command))


def date_options(command: Command) -> Command:
    """--since, --until."""
    for option in (
        click.option("--until", type=Day(), help="Up to this day, it included."),
        click.option("--since", type=Day(), help="From this day on: 2026-05-03."),
    ):
        command = option(command)
    return command


def filter_options(command: Command) -> Command:
    """--session, --since, --until, --club, --view, --tag, --best, --first, --where."""
    for option in (
        click.option(
            "--where",
            "limits",
            type=Where(),
            multiple=True,
            help='Only swings whose measure is so: "tempo_ratio>3.2", "tempo_ratio=2.8..3.2"; may be given more than '
            "once.",
        ),
        click.option("--first", metavar="MEASURE", help="Only swings for which the checklist puts this measure first."),
        click.option("--best", "only_best", is_flag=True, help="Only swings that are marked as best."),
        click.option("--tag", "tags", multiple=True, metavar="WORD", help="Only swings that carry this tag."),
        click.option("--view", type=click.Choice(["dtl", "fo", "other"]), help="Only swings of this view."),
        click.option("--club", "clubs", multiple=True, help="Only this club, as it was told."),
        click.option("--session", "sessions", type=ID, multiple=True, help="Only swings of this session (its id)."),
    ):
        command = option(command)
    return date_options(command)


def check_days(since: datetime.date | None, until: datetime.date | None) -> None:
    """Refuse a stretch that ends before it begins."""
    if since is not None and until is not None and until < since:
        raise click.UsageError(f"--until {until} is before --since {since}.")


def read_filter(
    store: Store,
    players: Sequence[str],
    *,
    sessions: Sequence[int] = (),
    clubs: Sequence[str] = (),
    view: View | None = None,
    tags: Sequence[str] = (),
    since: datetime.date | None = None,
    until: datetime.date | None = None,
    only_best: bool = False,
    first: str | None = None,
    limits: Sequence[Limit] = (),
) -> SwingFilter:
    """The filter that the options tell; players, sessions and measures that are not known are errors.

    Raises
    ------
    InputError
        There is no such player, session or measure; the message says which there are.
    """
    from overlay.library import SwingFilter

    check_days(since, until)
    named = tuple(store.player(name).name for name in players)
    for session in sessions:
        store.session(session)
    return SwingFilter(
        players=named,
        sessions=tuple(sessions),
        clubs=tuple(clubs),
        views=(view,) if view else (),
        tags=tuple(tags),
        since=since,
        until=until,
        best=True if only_best else None,
        first=None if first is None else measure_word(first),
        limits=tuple(_kept_limit(store, limit) for limit in limits),
    )


def _kept_limit(store: Store, limit: Limit) -> tuple[str, float | None, float | None]:
    from overlay.library.counting import measure_units

    name = known_measure(store, limit.measure)
    unit = measure_units(store)[name]
    if limit.unit not in ("", unit):
        told = f"in {UNIT_WORDS.get(unit, plain(unit, 20))}" if unit else "a plain number"
        raise InputError(
            f"{plain(name, 60)} is {told}, and its limit is told in {UNIT_WORDS.get(limit.unit, limit.unit)}.",
            "Write the limit in the measure's own unit, or the bare number.",
        )
    return name, None if math.isinf(limit.low) else limit.low, None if math.isinf(limit.high) else limit.high


def known_measure(store: Store, name: str) -> str:
    """The measure as it is kept.

    Raises
    ------
    InputError
        Nothing of that name is kept; the message names the nearest ones.
    """
    from overlay.library.counting import measure_units

    word = measure_word(name)
    known = list(measure_units(store))
    if word in known:
        return word
    if not known:
        raise InputError(
            f"No measure is kept yet, so there is no {plain(name, 60)}.",
            "`overlay add CLIP --player NAME` reads clips and keeps what is measured.",
        )
    if is_difference(word):
        raise InputError(
            f"{word} is a difference to a reference, and swings are listed by what is measured in them.",
            f"`overlay holding` and `overlay trend` follow differences. {near_words(word, known)}",
        )
    return _called(name, word, known)


def _called(name: str, word: str, known: Sequence[str]) -> str:
    """The measure that is shown under this name, as it is kept.

    Raises
    ------
    InputError
        There is none, or more than one; the message names the nearest ones.
    """
    from overlay.plots.words import named_so

    called = named_so(name, known)
    if len(called) > 1:
        raise InputError(f"Several measures are called {plain(name, 60)}.", f"Say which: {', '.join(called)}.")
    if not called:
        raise InputError(f"There is no measure {plain(name, 60)}.", near_words(word, known))
    return called[0]


def is_difference(word: str) -> bool:
    """Whether it names a phase difference, such as hands.backswing.x."""
    from overlay.data.record import DifferenceName
    from overlay.errors import DataError

    try:
        return DifferenceName.parse(word) is not None
    except DataError:
        return False


def check_focus(store: Store, name: str) -> str:
    """A measure that may be declared as focus: one that is measured, or a difference; "" for none.

    Raises
    ------
    InputError
        It is none; the message names the nearest ones.
    """
    if not name.strip():
        return ""
    word = measure_word(name)
    from overlay.library.counting import measure_units
    from overlay.measure import DEFINITIONS

    measured = {definition.name for definition in DEFINITIONS}
    known = sorted(set(measure_units(store)) | measured | {"tempo_ratio", "backswing_s", "downswing_s"})
    if word in known or is_difference(word):
        return word
    return _called(name, word, known)


def near_words(word: str, known: Iterable[str]) -> str:
    """The hint for a name that is not known."""
    names = list(known)
    near = difflib.get_close_matches(word, names, 4, 0.5) or [name for name in names if word and word in name][:4]
    if near:
        return f"Did you mean {' or '.join(near)}?"
    return f"Names are: {', '.join(names[:12])}{' …' if len(names) > 12 else ''}"


def plain(text: str, most: int = 300) -> str:
    """A text that can go to a terminal: one line, nothing that acts on it, no pile of accents, not too long."""
    if text.isascii() and text.isprintable() and len(text) <= most and text == text.strip() and "  " not in text:
        return text
    from overlay.models.checks import tidy

    # More than three marks on one letter run into the lines above and below.
    return re.sub(
        r"([\u0300-\u036f\u0483-\u0489\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff\ufe20-\ufe2f]{3})"
        r"[\u0300-\u036f\u0483-\u0489\u1ab0-\u1aff\u1dc0-\u1dff\u20d0-\u20ff\ufe20-\ufe2f]+",
        r"\1",
        tidy(text, most),
    )


def check_path(path: Path) -> None:
    """Refuse a name that the system cannot even look for: one that is too long, or below a file.

    Raises
    ------
    InputError
        It is such a name.
    """
    try:
        os.lstat(path)
    except FileNotFoundError:
        return
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", None) or error
        raise InputError(f"{plain(str(path), 120)} cannot be looked for: {why}.", "Give another name.") from error


@contextmanager
def opened(library: Path | None) -> Iterator[Store]:
    """The library, which is to be there.

    Raises
    ------
    InputError
        There is none at that place, or the file is none.
    """
    from overlay.library import default_path, open_store

    check_path(library if library is not None else default_path())
    with open_store(library, must_exist=True) as store:
        yield store


@contextmanager
def opened_for_listing(library: Path | None) -> Iterator[Store | None]:
    """As ``opened``; None where no library was named and there is none yet: nothing to list is no error."""
    from overlay.library import default_path

    if library is None and not os.path.exists(default_path()):
        yield None
        return
    with opened(library) as store:
        yield store


def no_library() -> str:
    """What to do when nothing was kept yet."""
    from overlay.library import default_path

    return (
        f"Nothing is kept yet ({plain(str(default_path()))} does not exist): "
        "`overlay add CLIP --player NAME` reads clips and keeps what was found."
    )


def ask(question: str, wanted: str | None = None) -> bool:
    """Ask on the terminal: yes or no, or to type ``wanted`` (case and spaces do not count).

    Raises
    ------
    click.UsageError
        Nobody is there to answer.
    """
    said = ""
    try:
        if wanted is None:
            yes = click.confirm(question, err=True)
        else:
            said = click.prompt(question, default="", show_default=False, err=True)
    except click.Abort as stop:
        if not isinstance(stop.__context__, EOFError):
            raise
        click.echo(err=True)
        raise click.UsageError("Nobody is there to answer; --yes does it without asking.") from None
    if not sys.stdin.isatty():
        # Nobody has pressed return.
        click.echo(err=True)
    if wanted is None:
        return yes
    return " ".join(said.split()).casefold() == " ".join(plain(wanted).split()).casefold()
