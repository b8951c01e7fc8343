"""Strict reading of what stands in a model file: JSON values, texts and names. Nothing is guessed.

A ``Fault`` says what is wrong; whoever knows the file turns it into an ``InputError`` that names it.
"""

from __future__ import annotations

import difflib
import json
import math
import unicodedata
from collections.abc import Iterator, Sequence
from typing import Any, NoReturn

from overlay.errors import DataError
from overlay.settings.models import ModelSettings

LIMITS = ModelSettings()
NOT_FINITE = {"nan": math.nan, "inf": math.inf, "-inf": -math.inf}
"""How numbers that JSON has no form for are written; null is for what was never there."""

_FORBIDDEN = frozenset('/\\:*?"<>|')
_DEVICES = frozenset(
    {"con", "prn", "aux", "nul", "conin$", "conout$", "clock$"}
    | {f"{port}{digit}" for port in ("com", "lpt") for digit in "0123456789¹²³"}
)
# Control, format (bidirectional overrides among them), surrogates, private use, unassigned, line and paragraph breaks.
_UNSHOWABLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


class Fault(Exception):
    """What is wrong with a file, without its name, and what to do; becomes an InputError."""

    def __init__(self, what: str, hint: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.hint = hint


def showable(text: str) -> bool:
    """Whether a text can be printed without doing anything to the terminal; line breaks between lines are allowed."""
    return all(letter == "\n" or unicodedata.category(letter) not in _UNSHOWABLE for letter in text)


def tidy(text: str, most: int = 300) -> str:
    """A text as it may be kept: composed (NFC), one line, what cannot be shown left out, no longer than ``most``."""
    shown = "".join(
        " " if letter.isspace() else letter
        for letter in unicodedata.normalize("NFC", text)
        if letter.isspace() or unicodedata.category(letter) not in _UNSHOWABLE
    )
    short = " ".join(shown.split())
    return short if len(short) <= most else short[: most - 1].rstrip() + "…"


def check_name(name: str, settings: ModelSettings = LIMITS) -> str:
    """The name of a model in its one spelling (NFC), fit to be a file's name on every system.

    Raises
    ------
    DataError
        It is not; the message says why.
    """
    rule = "Use letters, digits, spaces, and any of . _ - ( ) + ' & , between them."

    def refuse(why: str) -> NoReturn:
        shown = shown_value(name)
        raise DataError(f"{shown} cannot be the name of a model: {why}.", rule)

    if not isinstance(name, str):
        refuse("it is no text")
    fit = unicodedata.normalize("NFC", name)
    if not fit.strip():
        refuse("it is empty")
    if not showable(fit) or "\n" in fit:
        refuse("it holds characters that cannot be shown")
    if wrong := sorted(set(fit) & _FORBIDDEN):
        refuse(f"it holds {' '.join(wrong)}")
    if fit != fit.strip() or "  " in fit:
        refuse("it begins or ends with a space, or holds two in a row")
    if any(letter.isspace() and letter != " " for letter in fit):
        refuse("it holds an unusual space")
    if fit[0] in ".-~" or fit[-1] == ".":
        refuse("it begins with . - or ~, or ends with a dot")
    if fit.casefold().endswith(".swing"):
        refuse("the ending .swing belongs to the file and is added to it")
    if fit.split(".")[0].strip().casefold() in _DEVICES:
        refuse("some systems keep it for a device")
    if len(fit) > settings.max_name or len(fit.encode("utf-8")) > settings.max_name_bytes:
        refuse(f"it is longer than {settings.max_name} characters")
    return fit


def same_name(name: str) -> str:
    """What names that differ in case or composition alone have in common: on some systems they are one file."""
    return unicodedata.normalize("NFC", unicodedata.normalize("NFKC", name).casefold())


def shown_value(value: Any) -> str:
    """The value, short enough for one line and harmless."""
    kinds = {dict: "an object", list: "a list", bool: str(value).lower(), type(None): "null"}
    if type(value) in kinds:
        return kinds[type(value)]
    text = ascii(value) if isinstance(value, str) and not showable(value) else repr(value)
    if isinstance(value, int) and abs(value) >= 10**15:
        return "a number that is too large"
    return text if len(text) <= 40 else text[:37] + "…"


def load_json(content: bytes, settings: ModelSettings = LIMITS) -> Fields:
    """The document of a model file.

    Raises
    ------
    Fault
        It is no JSON object in UTF-8, is too large or too deep, names a field twice, or holds NaN or Infinity.
    """
    if len(content) > settings.max_json_bytes:
        raise Fault(f"its model.json has {len(content)} bytes, more than {settings.max_json_bytes}")
    try:
        document = json.loads(
            content.decode("utf-8"), object_pairs_hook=_unique, parse_constant=_not_finite, parse_float=_finite
        )
    except UnicodeDecodeError:
        raise Fault("its model.json is not a text in UTF-8") from None
    except json.JSONDecodeError as error:
        raise Fault(f"its model.json is not JSON: {error.msg} in line {error.lineno}, column {error.colno}") from None
    except RecursionError:
        raise Fault("its model.json is nested too deeply") from None
    except ValueError:  # a whole number of thousands of digits
        raise Fault("its model.json holds a number that is too long") from None
    level: list[Any] = [document]
    for _ in range(settings.max_json_depth):
        level = [
            inner
            for value in level
            if isinstance(value, (dict, list))
            for inner in (value.values() if isinstance(value, dict) else value)
        ]
    if level:
        raise Fault("its model.json is nested too deeply")
    return Fields(document, "", settings)


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) != len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise Fault(f"its model.json has the field {shown_value(twice)} twice in one object")
    return result


def _not_finite(word: str) -> NoReturn:
    raise Fault(f"its model.json holds {word}, which is no number")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise Fault(f"its model.json holds {shown_value(text)}, which is too large")
    return value


class Fields:
    """One JSON object, read field by field; every fault names the place.

    Each field that is read is crossed off; ``done`` refuses what is left over.
    """

    def __init__(self, value: Any, where: str, settings: ModelSettings = LIMITS) -> None:
        self.where = where
        self.settings = settings
        if not isinstance(value, dict):
            raise Fault(f"{where or 'its model.json'} is {shown_value(value)}, not an object")
        self._left = dict(value)
        self._seen: list[str] = []

    def at(self, name: str) -> str:
        """The place of a field, as faults name it."""
        return f"{self.where}.{name}" if self.where else name

    def has(self, name: str) -> bool:
        """Whether there is such a field that was not read yet."""
        return name in self._left

    def raw(self, name: str) -> Any:
        """The value as it stands."""
        self._seen.append(name)
        if name not in self._left:
            raise Fault(f"{self.where or 'its model.json'} lacks the field {name}")
        return self._left.pop(name)

    def skip(self) -> None:
        """Cross off what is left: it was not asked for."""
        self._left.clear()

    def done(self) -> None:
        """Refuse fields that nobody asked for."""
        for name in self._left:
            near = difflib.get_close_matches(name, self._seen, 1)
            meant = f" (did you mean {near[0]}?)" if near else ""
            place = self.where or "its model.json"
            raise Fault(f"{place} has a field {shown_value(name)} that models do not have{meant}")

    def text(self, name: str, most: int | None = None) -> str:
        """A text that can be shown."""
        return _text(self.raw(name), self.at(name), most or self.settings.max_text)

    def texts(self, name: str) -> tuple[str, ...]:
        """A list of texts."""
        rows = self.rows(name, self.settings.max_texts)
        return tuple(_text(row, f"{self.at(name)}[{i}]", self.settings.max_text) for i, row in enumerate(rows))

    def text_table(self, name: str, most: int) -> dict[str, str]:
        """An object of texts."""
        table = self._table(name, most)
        return {key: _text(value, f"{self.at(name)}.{key}", self.settings.max_text) for key, value in table.items()}

    def number_table(self, name: str) -> dict[str, float]:
        """An object of numbers, not finite ones among them."""
        table = self._table(name, self.settings.max_numbers)
        return {key: _number(value, f"{self.at(name)}.{key}", -1e12, 1e12, True) for key, value in table.items()}

    def _table(self, name: str, most: int) -> dict[str, Any]:
        value = self.raw(name)
        if not isinstance(value, dict):
            raise Fault(f"{self.at(name)} is {shown_value(value)}, not an object")
        if len(value) > most:
            raise Fault(f"{self.at(name)} has {len(value)} fields, more than {most}")
        for key in value:
            _text(key, f"a name in {self.at(name)}", 80)
        return value

    def word(self, name: str, words: Sequence[str]) -> str:
        """One of a few words."""
        value = self.raw(name)
        if not isinstance(value, str) or value not in words:
            raise Fault(f"{self.at(name)} is {shown_value(value)}, not one of {', '.join(words)}")
        return value

    def number(self, name: str, low: float = -1e9, high: float = 1e9, *, lost: bool = False) -> float:
        """A number within limits; ``lost``: also one that is not finite."""
        return _number(self.raw(name), self.at(name), low, high, lost)

    def optional_number(self, name: str, low: float = -1e9, high: float = 1e9, *, lost: bool = False) -> float | None:
        """As ``number``, None for null."""
        value = self.raw(name)
        return None if value is None else _number(value, self.at(name), low, high, lost)

    def numbers(
        self, name: str, count: int, low: float = -1e9, high: float = 1e9, *, lost: bool = False
    ) -> list[float]:
        """A list of so many numbers."""
        rows = self.rows(name, count)
        if len(rows) != count:
            raise Fault(f"{self.at(name)} has {len(rows)} numbers, not {count}")
        return [_number(row, f"{self.at(name)}[{i}]", low, high, lost) for i, row in enumerate(rows)]

    def whole(self, name: str, low: int, high: int) -> int:
        """A whole number within limits."""
        return _whole(self.raw(name), self.at(name), low, high)

    def wholes(self, name: str, count: int, low: int, high: int) -> list[int]:
        """A list of so many whole numbers."""
        rows = self.rows(name, count)
        if len(rows) != count:
            raise Fault(f"{self.at(name)} has {len(rows)} numbers, not {count}")
        return [_whole(row, f"{self.at(name)}[{i}]", low, high) for i, row in enumerate(rows)]

    def flag(self, name: str) -> bool | None:
        """True, false or null."""
        value = self.raw(name)
        if value is not None and not isinstance(value, bool):
            raise Fault(f"{self.at(name)} is {shown_value(value)}, not true, false or null")
        return value

    def rows(self, name: str, most: int) -> list[Any]:
        """A list of at most so many values."""
        value = self.raw(name)
        if not isinstance(value, list):
            raise Fault(f"{self.at(name)} is {shown_value(value)}, not a list")
        if len(value) > most:
            raise Fault(f"{self.at(name)} has {len(value)} rows, more than {most}")
        return value

    def objects(self, name: str, most: int) -> Iterator[Fields]:
        """Every object of a list; each is checked for left-over fields when the next one is asked for."""
        for i, row in enumerate(self.rows(name, most)):
            inner = Fields(row, f"{self.at(name)}[{i}]", self.settings)
            yield inner
            inner.done()

    def object(self, name: str) -> Fields:
        """An object; whoever reads it calls ``done``."""
        return Fields(self.raw(name), self.at(name), self.settings)

    def optional_object(self, name: str) -> Fields | None:
        """As ``object``, None for null."""
        value = self.raw(name)
        return None if value is None else Fields(value, self.at(name), self.settings)

    def named_objects(self, name: str, names: Sequence[str]) -> Iterator[tuple[str, Fields]]:
        """Every object of a table whose keys are among ``names``, in the order of the file."""
        value = self.raw(name)
        if not isinstance(value, dict):
            raise Fault(f"{self.at(name)} is {shown_value(value)}, not an object")
        for key, inner in value.items():
            if key not in names:
                raise Fault(f"{self.at(name)} names {shown_value(key)}, not one of {', '.join(names)}")
            fields = Fields(inner, f"{self.at(name)}.{key}", self.settings)
            yield key, fields
            fields.done()


def _text(value: Any, where: str, most: int) -> str:
    if not isinstance(value, str):
        raise Fault(f"{where} is {shown_value(value)}, not a text")
    if len(value) > most:
        raise Fault(f"{where} has {len(value)} characters, more than {most}")
    if not showable(value):
        raise Fault(f"{where} holds characters that cannot be shown")
    return value


def _number(value: Any, where: str, low: float, high: float, lost: bool) -> float:
    if lost and isinstance(value, str) and value in NOT_FINITE:
        return NOT_FINITE[value]
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise Fault(f"{where} is {shown_value(value)}, not a number")
    if not low <= value <= high:
        raise Fault(f"{where} is {shown_value(value)}, outside {low:g}…{high:g}")
    return float(value)


def _whole(value: Any, where: str, low: int, high: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise Fault(f"{where} is {shown_value(value)}, not a whole number")
    if not low <= value <= high:
        raise Fault(f"{where} is {shown_value(value)}, outside {low}…{high}")
    return value
