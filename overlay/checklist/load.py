"""Reading a checklist: the default that comes with the package, and a coach's own file laid over it.

A coach's file holds only what differs. Everything in it is checked; an error names the file, the row and what to do.
"""

from __future__ import annotations

import difflib
import functools
import math
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import fields
from pathlib import Path
from typing import Any

from overlay.checklist.spec import CAMERA, ChecklistSpec, MeasureSpec, RowSpec
from overlay.errors import InputError
from overlay.settings.checklist import MEASURES
from overlay.terms import PHASES, POSITION_NAMES

DEFAULT = Path(__file__).with_name("default.toml")
MOST_BYTES = 1_000_000
"""A checklist of every row and word is below a tenth of this."""

_PLACES = (*POSITION_NAMES, *(phase.name for phase in PHASES))
_VIEWS = ("dtl", "fo", "both")
_ROW_KEYS = ("title", "view", "position", "why", "on", "filming", "ignore", "measure")
_MEASURE_KEYS = tuple(field.name for field in fields(MeasureSpec) if field.name != "name")
_NUMBERS = ("low", "high")
_NEEDED = (
    "title", "low", "high", "unit", "reading", "good", "below", "inside", "above", "look_for_below", "look_for_above",
)  # fmt: skip

Table = dict[str, Any]


def default_text() -> str:
    """The default checklist as TOML, comments and all: what a coach may start his own from."""
    return DEFAULT.read_text(encoding="utf-8")


@functools.cache
def _default_rows() -> Table:
    rows: Table = tomllib.loads(default_text())["row"]
    return rows


def load_checklist(path: str | Path | None = None) -> ChecklistSpec:
    """The default checklist, or a coach's own.

    Parameters
    ----------
    path : path of a TOML file, optional
        Rows and measures are merged into the default by their keys; what is left out keeps its default.

    Returns
    -------
    ChecklistSpec

    Raises
    ------
    InputError
        The file cannot be read, is over 1 MB, is not TOML, holds an unknown key, row or measure, a value of the wrong
        type, or a tolerance whose low end lies above its high end. The message names file and row.
    """
    base = _checked(tomllib.loads(default_text()), "the default checklist", {})
    if path is None:
        return _built(base, "the default checklist", "default")
    file = Path(path)
    try:
        # A pipe or a device would never end.
        if file.exists() and not file.is_file():
            raise InputError(f"The checklist {file} is not a file.", "Give a text file in TOML.")
        if file.stat().st_size > MOST_BYTES:
            raise InputError(
                f"The checklist {file} is larger than {MOST_BYTES // 1_000_000} MB.", "Give a text file in TOML."
            )
        own = tomllib.loads(file.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise InputError(f"There is no checklist {file}.", "Check the name, or leave the option out.") from None
    except OSError as error:
        raise InputError(
            f"The checklist {file} cannot be read: {(error.strerror or str(error)).lower()}.",
            "Give a text file in TOML.",
        ) from None
    except UnicodeDecodeError:
        raise InputError(f"The checklist {file} is not a text in UTF-8.", "Give a text file in TOML.") from None
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            f"The checklist {file} is not TOML: {error}.",
            "Put that line right; docs/checklist.md shows how a checklist is written.",
        ) from None
    except RecursionError:
        raise InputError(f"The checklist {file} is nested too deeply.", "Give a text file in TOML.") from None
    return _built(_checked(own, str(file), base), str(file), file.name)


# --- checks, and laying one file over the other -------------------------------------------------------------------


def _fail(file: str, where: str, what: str, hint: str) -> InputError:
    place = f"{file}, {where}" if where else file
    return InputError(f"{place[0].upper() + place[1:] if place.startswith('the ') else place}: {what}.", hint)


def _nearest(name: str, known: Collection[str], kind: str) -> str:
    near = difflib.get_close_matches(name, known, 1, 0.6)
    return f"Did you mean {near[0]}?" if near else f"Use a {kind} of: {', '.join(known)}."


def _checked(own: Table, file: str, base: Table) -> Table:
    """``own`` laid over ``base``, both as {"order": […], "row": {key: {…, "measure": {name: {…}}}}}."""
    for name in own:
        if name not in ("order", "row"):
            raise _fail(file, "", f"{name} is not known", "Use order, and tables [row.KEY].")
    rows: dict[str, Table] = {key: {**row, "measure": dict(row["measure"])} for key, row in base.get("row", {}).items()}
    for key, row in _table(own.get("row", {}), file, "row").items():
        rows[key] = _row(key, _table(row, file, f"row {key}"), file, rows.get(key))
    order = own.get("order", base.get("order", list(rows)))
    if not isinstance(order, list) or not all(isinstance(key, str) for key in order):
        raise _fail(file, "", "order is not a list of row keys", 'Write order = ["takeaway", "top"].')
    for i, key in enumerate(order):
        if key not in rows:
            raise _fail(file, "order", f"there is no row {key}", _nearest(key, rows, "row"))
        if key in order[:i]:
            raise _fail(file, "order", f"row {key} is named twice", "Name it once.")
    before = [key for key in base.get("order", []) if key not in order]
    new = [key for key in rows if key not in order and key not in before]
    return {"order": [*order, *before, *new], "row": rows}


def _table(value: object, file: str, where: str) -> Table:
    if not isinstance(value, dict):
        raise _fail(file, where, "it is not a table", f"Write [{where.replace(' ', '.')}] and its keys below.")
    return value


def _row(key: str, own: Table, file: str, base: Table | None) -> Table:
    where = f"row {key}"
    for name, value in own.items():
        if name not in _ROW_KEYS:
            raise _fail(file, where, f"{name} is not known", _nearest(name, _ROW_KEYS, "key"))
        if name in ("on", "filming"):
            _need(isinstance(value, bool), file, where, name, "true or false")
        elif name == "ignore":
            good = isinstance(value, list) and all(isinstance(entry, str) for entry in value)
            _need(good, file, where, name, "a list of names")
        elif name != "measure":
            _need(isinstance(value, str) and bool(value.strip()), file, where, name, "words in quotes")
    row: Table = {"on": True, "filming": False, "ignore": [], **(base or {}), **own}
    for name in ("title", "view", "position", "why"):
        if name not in row:
            hint = f"Add it, or correct the row's key: the default has {', '.join(_default_keys())}."
            raise _fail(file, where, f"a new row needs {name}", hint)
    if row["view"] not in _VIEWS:
        raise _fail(file, where, f"view is {row['view']!r}", "Use dtl (down the line), fo (face on) or both.")
    if row["position"] not in _PLACES:
        raise _fail(file, where, f"position is {row['position']!r}", _nearest(row["position"], _PLACES, "position"))
    measures = dict((base or {}).get("measure", {}))
    for name, values in _table(own.get("measure", {}), file, f"{where} measure").items():
        measures[name] = _measure(name, _table(values, file, f"{where} measure {name}"), file, where, measures)
    for name in measures:
        if row["view"] not in ("both", MEASURES[name].view):
            seen = {"dtl": "down the line", "fo": "face on"}[MEASURES[name].view]
            hint = f'Give the row view = "{MEASURES[name].view}", or take the measure out.'
            raise _fail(file, where, f"{name} is only seen {seen}", hint)
    if row["filming"] and measures:
        raise _fail(file, where, "the filming check has no measures of its own", "Give them to another row.")
    if not row["filming"] and not measures:
        raise _fail(file, where, "it has no measure", f"Add [row.{key}.measure.NAME] with its tolerance.")
    row["measure"] = measures
    return row


def _default_keys() -> list[str]:
    return list(_default_rows())


def _measure(name: str, own: Table, file: str, where: str, bases: Mapping[str, Table]) -> Table:
    if name not in MEASURES:
        raise _fail(file, where, f"there is no measure {name}", _nearest(name, MEASURES, "measure"))
    where = f"{where}, measure {name}"
    for key, value in own.items():
        if key not in _MEASURE_KEYS:
            raise _fail(file, where, f"{key} is not known", _nearest(key, _MEASURE_KEYS, "key"))
        if key in _NUMBERS:
            good = isinstance(value, (int, float)) and not isinstance(value, bool) and not math.isnan(value)
            _need(good, file, where, key, "a number; inf and -inf leave that end open")
        elif key == "on":
            _need(isinstance(value, bool), file, where, key, "true or false")
        else:
            _need(isinstance(value, str), file, where, key, "words in quotes")
    # A measure moved to a row of the coach's own keeps its default words there.
    values: Table = {**(bases.get(name) or _default_measure(name)), **own}
    for key in _NEEDED:
        if values.get(key, "") == "":
            raise _fail(file, where, f"{key} is missing or empty", "Add it, or leave it out to keep the default.")
    if values["unit"] != MEASURES[name].unit:
        raise _fail(
            file,
            where,
            f"unit is {values['unit']!r}",
            f'It is measured in {MEASURES[name].unit}: unit = "{MEASURES[name].unit}".',
        )
    if values["low"] > values["high"]:
        raise _fail(
            file, where, f"low {values['low']:g} lies above high {values['high']:g}", "Give the smaller number to low."
        )
    for key in ("reading", "zero"):
        _template(values.get(key, ""), file, where, key)
    if "{side}" in values["reading"] and not (values.get("plus") and values.get("minus")):
        raise _fail(file, where, "reading names {side} but plus or minus is empty", "Give both words.")
    return values


def _default_measure(name: str) -> Table:
    for row in _default_rows().values():
        if name in row.get("measure", {}):
            found: Table = row["measure"][name]
            return found
    return {}


def _template(text: str, file: str, where: str, key: str) -> None:
    try:
        text.format(value="", side="")
    except (KeyError, IndexError, ValueError):
        raise _fail(file, where, f"{key} has braces that mean nothing", "Use {value} and {side} alone.") from None


def _need(good: bool, file: str, where: str, key: str, wanted: str) -> None:
    if not good:
        raise _fail(file, where, f"{key} has the wrong type", f"Give {wanted}.")


# --- from tables to the types -------------------------------------------------------------------------------------


def _built(tables: Table, file: str, source: str) -> ChecklistSpec:
    rows: list[RowSpec] = []
    owner: dict[str, str] = {}
    for number, key in enumerate(tables["order"], start=1):
        row = tables["row"][key]
        measures = tuple(
            MeasureSpec(name=name, **{**values, "low": float(values["low"]), "high": float(values["high"])})
            for name, values in row["measure"].items()
        )
        for measure in measures:
            if not (row["on"] and measure.on):
                continue
            if measure.name in owner:
                hint = f"Switch it off in one of them: [row.{owner[measure.name]}.measure.{measure.name}] on = false."
                raise _fail(file, f"row {key}", f"{measure.name} is also in row {owner[measure.name]}", hint)
            owner[measure.name] = key
        rows.append(
            RowSpec(
                key=key,
                number=number,
                title=row["title"],
                view=row["view"],
                position=row["position"],
                why=row["why"],
                measures=measures,
                on=row["on"],
                filming=row["filming"],
                ignore=tuple(row["ignore"]),
            )
        )
    filming = [row.key for row in rows if row.filming and row.on]
    if len(filming) > 1:
        raise _fail(file, f"row {filming[1]}", "there is a second filming check", f"Switch one off; {CAMERA} is one.")
    return ChecklistSpec(tuple(rows), source)
