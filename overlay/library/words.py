"""How texts, numbers, days and paths stand in the tables, and what of them is refused."""

from __future__ import annotations

import datetime
import math
import os
import unicodedata
from pathlib import Path
from typing import Any

from overlay.errors import InputError
from overlay.models import tidy
from overlay.models.checks import showable
from overlay.settings.library import LibrarySettings

SETTINGS = LibrarySettings()


def now() -> str:
    """This moment, ISO 8601 in UTC."""
    return datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")


def one_line(text: str, what: str, most: int = SETTINGS.max_name, *, may_be_empty: bool = False) -> str:
    """A text of one line in its one spelling: composed (NFC), single spaces.

    Parameters
    ----------
    text : str
    what : str
        What it is, as the error says it: "name of a player".
    most : int
        Characters.
    may_be_empty : bool

    Raises
    ------
    InputError
        It is empty, too long, or holds characters that cannot be shown.
    """
    if not isinstance(text, str):
        raise InputError(f"The {what} is no text.", "Give it in letters.")
    spaced = "".join(" " if unicodedata.category(letter) == "Zs" else letter for letter in text)
    fit = " ".join(word for word in unicodedata.normalize("NFC", spaced).split(" ") if word)
    if not fit and not may_be_empty:
        raise InputError(f"The {what} is empty.", "Give at least one letter.")
    if not showable(fit) or "\n" in fit:
        raise InputError(
            f"The {what} holds characters that cannot be shown: {shown(fit)}.", "Give it in letters, digits and spaces."
        )
    if len(fit) > most:
        raise InputError(f"The {what} has {len(fit)} characters.", f"Use {most} at most.")
    return fit


def some_lines(text: str, what: str, most: int) -> str:
    """A text of one or more lines, composed; line ends are one kind, spaces at its ends are dropped.

    Raises
    ------
    InputError
        As ``one_line``.
    """
    if not isinstance(text, str):
        raise InputError(f"The {what} is no text.", "Give it in letters.")
    fit = unicodedata.normalize("NFC", text).replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ").strip()
    if not fit:
        raise InputError(f"The {what} is empty.", "Write at least one letter.")
    # Joiners between parts of one picture letter are format characters too, and are wanted in a remark.
    if not showable(fit.replace("\u200d", "")):
        raise InputError(f"The {what} holds characters that cannot be shown.", "Write letters, digits and signs alone.")
    if len(fit) > most:
        raise InputError(f"The {what} has {len(fit)} characters.", f"Use {most} at most.")
    return fit


def shown(text: str, most: int = 40) -> str:
    """The text for an error, harmless and short."""
    return ascii(text if len(text) <= most else text[: most - 1] + "…")


def key(text: str) -> str:
    """What texts that differ in case, composition or spaces alone have in common.

    >>> key("  Mara  LINDQVIST ") == key("mara lindqvist")
    True
    """
    folded = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", text).casefold())
    return " ".join(folded.split())


def plain(text: str, most: int = 2000) -> str:
    """A text the program itself made: kept on one line whatever it holds, so that it can be printed."""
    return tidy(text, most)


def real(value: float | None) -> float | None:
    """A number as it is kept: what is missing is NULL."""
    if value is None:
        return None
    number = float(value)
    return None if math.isnan(number) else number


def number(value: Any) -> float:
    """A kept number as it is used: what is missing is NaN."""
    return math.nan if value is None else float(value)


def day(text: Any) -> datetime.date:
    """A kept day."""
    return datetime.date.fromisoformat(str(text))


def day_text(date: datetime.date, what: str = "date") -> str:
    """A day as it is kept.

    Raises
    ------
    InputError
        It is no day.
    """
    if isinstance(date, datetime.datetime):
        date = date.date()
    if not isinstance(date, datetime.date):
        raise InputError(f"The {what} {date!r} is no day.", "Give it as 2031-05-04.")
    return date.isoformat()


def path_value(path: Path) -> str | bytes:
    """A path as it is kept: text, or bytes where the system's name is no text."""
    text = str(path)
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return os.fsencode(text)
    return text


def path_of(value: Any) -> Path:
    """A kept path."""
    return Path(os.fsdecode(value) if isinstance(value, bytes) else str(value))
