"""The parameter file of a reference model: what a coach writes, in his own words, absolute values with units.

A file holds tables of numbers; every number has a name that ends in its unit, a range, and above it a comment with its
source. What a coach leaves out keeps the value of the shipped model for the same club.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from overlay.errors import InputError
from overlay.shipped import shipped_folder

MOST_BYTES = 200_000
"""The shipped files are below a tenth of this."""

KINDS: Mapping[str, str] = MappingProxyType({"mid iron": "mid_iron", "driver": "driver"})
"""Kind of club → name of the shipped file."""


@dataclass(frozen=True)
class Parameter:
    """One number of a model.

    Attributes
    ----------
    section, name : str
    unit : str
        As a person reads it.
    low, high : float
        Allowed range. Not every combination inside the ranges is a swing.
    tolerance : float
        How near the made swing, measured in space, comes to it.
    """

    section: str
    name: str
    unit: str
    low: float
    high: float
    tolerance: float

    @property
    def range_words(self) -> str:
        return f"{self.low:g} to {self.high:g} {self.unit}"


_DEG, _CM, _S = ("degrees", 0.5), ("cm", 0.3), ("s", 0.002)

PARAMETERS: tuple[Parameter, ...] = (
    Parameter("posture", "stature_m", "m", 1.2, 2.2, 1e-9),
    Parameter("posture", "forward_bend_deg", _DEG[0], 15, 45, _DEG[1]),
    Parameter("posture", "side_bend_deg", _DEG[0], 0, 15, _DEG[1]),
    Parameter("posture", "knee_flex_deg", _DEG[0], 10, 40, _DEG[1]),
    Parameter("posture", "arm_hang_deg", _DEG[0], -5, 25, _DEG[1]),
    Parameter("posture", "stance_cm", _CM[0], 25, 75, _CM[1]),
    Parameter("posture", "ball_forward_cm", _CM[0], -5, 25, _CM[1]),
    Parameter("posture", "lead_foot_out_deg", _DEG[0], 7, 37, _DEG[1]),
    Parameter("turn", "shoulder_turn_deg", _DEG[0], 70, 130, _DEG[1]),
    Parameter("turn", "pelvis_turn_deg", _DEG[0], 25, 65, _DEG[1]),
    Parameter("turn", "side_bend_top_deg", _DEG[0], 0, 20, _DEG[1]),
    Parameter("turn", "shoulders_open_deg", _DEG[0], -5, 40, _DEG[1]),
    Parameter("turn", "pelvis_open_deg", _DEG[0], 15, 60, _DEG[1]),
    Parameter("plane", "hands_height_back_pct", "percent", 0, 130, 1.0),
    Parameter("plane", "points_back_cm", _CM[0], -50, 30, 1.0),
    Parameter("plane", "lead_arm_to_spine_deg", _DEG[0], 50, 100, _DEG[1]),
    Parameter("plane", "hands_over_heels_cm", _CM[0], -20, 20, _CM[1]),
    Parameter("plane", "shaft_past_level_deg", _DEG[0], -60, 20, _DEG[1]),
    Parameter("plane", "shaft_across_deg", _DEG[0], -30, 30, _DEG[1]),
    Parameter("plane", "steeper_down_deg", _DEG[0], -12, 18, _DEG[1]),
    Parameter("plane", "points_down_cm", _CM[0], -40, 40, 1.0),
    Parameter("plane", "hands_out_cm", _CM[0], 0, 15, _CM[1]),
    Parameter("plane", "points_through_cm", _CM[0], -40, 30, 1.0),
    Parameter("shift", "push_cm", _CM[0], 0, 10, _CM[1]),
    Parameter("shift", "gap_cm", _CM[0], -5, 12, _CM[1]),
    Parameter("shift", "shift_cm", _CM[0], 4, 28, _CM[1]),
    Parameter("tempo", "backswing_s", _S[0], 0.4, 2.0, _S[1]),
    Parameter("tempo", "downswing_s", _S[0], 0.15, 0.6, _S[1]),
    Parameter("tempo", "finish_s", _S[0], 0.4, 2.0, 0.03),
    Parameter("club", "length_cm", _CM[0], 85, 122, _CM[1]),
    Parameter("club", "lean_address_deg", _DEG[0], -8, 12, _DEG[1]),
    Parameter("club", "lean_impact_deg", _DEG[0], -8, 20, _DEG[1]),
    Parameter("club", "wrist_set_deg", _DEG[0], 70, 150, _DEG[1]),
    Parameter("club", "lag_deg", _DEG[0], 55, 130, _DEG[1]),
    Parameter("club", "release_deg", _DEG[0], 5, 60, _DEG[1]),
    Parameter("finish", "chest_through_deg", _DEG[0], 80, 150, _DEG[1]),
    Parameter("finish", "hands_over_shoulder_cm", _CM[0], -10, 40, _CM[1]),
    Parameter("finish", "heel_lift_deg", _DEG[0], 20, 85, _DEG[1]),
)
"""Every number of a parameter file, in its order. What each means stands in the shipped files, above the number."""

SECTIONS: tuple[str, ...] = ("posture", "turn", "plane", "shift", "tempo", "club", "finish")
_BY_NAME: Mapping[str, Parameter] = {parameter.name: parameter for parameter in PARAMETERS}


@dataclass(frozen=True)
class Parameters:
    """The numbers of one model.

    Attributes
    ----------
    kind : "mid iron" or "driver"
    values : name → number
        All of ``PARAMETERS``.
    sources : name → sentence
        Where each number comes from, as the file says.
    origin : str
        Name of the file, no folder.
    """

    kind: str
    values: Mapping[str, float]
    sources: Mapping[str, str] = field(default_factory=dict)
    origin: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(f"The club's kind is {self.kind!r}.", f"Use {' or '.join(KINDS)}.")
        missing = [name for name in _BY_NAME if name not in self.values]
        unknown = [name for name in self.values if name not in _BY_NAME]
        if missing or unknown:
            raise InputError(
                f"The parameters lack {missing[0]}." if missing else f"There is no parameter {unknown[0]}.",
                "Read them with load_parameters.",
            )
        for name, value in self.values.items():
            _number(value, _BY_NAME[name], name)
        object.__setattr__(self, "values", MappingProxyType({name: float(self.values[name]) for name in _BY_NAME}))
        object.__setattr__(self, "sources", MappingProxyType(dict(self.sources)))

    def __getitem__(self, name: str) -> float:
        return self.values[name]


def start_parameters(kind: str) -> str:
    """The commented parameter file of the shipped model for this club: what a coach edits a copy of.

    Raises
    ------
    InputError
        There is no shipped model for this kind.
    """
    return _shipped(kind).read_text(encoding="utf-8")


def shipped_parameters(kind: str) -> Parameters:
    """The numbers of the shipped model for this club."""
    path = _shipped(kind)
    return _parsed(path.read_text(encoding="utf-8"), path.name, {}, {})


def load_parameters(path: str | Path) -> Parameters:
    """Read a parameter file.

    Parameters
    ----------
    path : path of a TOML file
        ``club.kind`` must be there; every other number that is left out is that of the shipped model for this club.

    Raises
    ------
    InputError
        The file cannot be read, is too large or not TOML, or holds an unknown name, a wrong type or a number out of
        range. The message names file, line and key, the hint the allowed range.
    """
    file = Path(path)
    try:
        # A pipe or a device would never end.
        if file.exists() and not file.is_file():
            raise InputError(f"The parameter file {file} is not a file.", "Give a text file in TOML.")
        if file.stat().st_size > MOST_BYTES:
            raise InputError(
                f"The parameter file {file} is larger than {MOST_BYTES // 1000} kB.", "Give a text file in TOML."
            )
        text = file.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"There is no parameter file {file}.", "Check the name.") from None
    except OSError as error:
        raise InputError(
            f"The parameter file {file} cannot be read: {(error.strerror or str(error)).lower()}.",
            "Give a text file in TOML.",
        ) from None
    except UnicodeDecodeError:
        raise InputError(f"The parameter file {file} is not a text in UTF-8.", "Give a text file in TOML.") from None
    kind = _kind(_tables(text, file.name), text, file.name)
    base = shipped_parameters(kind)
    return _parsed(text, file.name, base.values, base.sources)


def _shipped(kind: str) -> Path:
    if kind not in KINDS:
        raise InputError(f"There is no reference model for {kind!r}.", f"Use {' or '.join(KINDS)}.")
    return shipped_folder("reference_models") / f"{KINDS[kind]}.toml"


# --- reading --------------------------------------------------------------------------------------------------------


def _tables(text: str, file: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(
            f"{file} is not TOML: {error}.", "Put that line right: each holds a name, an equals sign and a number."
        ) from None
    except RecursionError:
        raise InputError(f"{file} is nested too deeply.", "Give a text file in TOML.") from None


def _kind(tables: Mapping[str, Any], text: str, file: str) -> str:
    club = tables.get("club")
    kind = club.get("kind") if isinstance(club, dict) else None
    if not isinstance(kind, str) or kind not in KINDS:
        what = "is missing" if kind is None else f"is {kind!r}"
        choices = " or ".join(f'"{name}"' for name in KINDS)
        raise InputError(f"{_place(file, text, 'club', 'kind')}: kind of the club {what}.", f"Write kind = {choices}.")
    return kind


def _parsed(text: str, file: str, base: Mapping[str, float], base_sources: Mapping[str, str]) -> Parameters:
    tables = _tables(text, file)
    kind = _kind(tables, text, file)
    values, sources = dict(base), dict(base_sources)
    for section, table in tables.items():
        if section not in SECTIONS:
            raise InputError(f"{_place(file, text, section, '')}: {section} is not known.", _nearest(section, SECTIONS))
        if not isinstance(table, dict):
            raise InputError(
                f"{_place(file, text, '', section)}: {section} is not a table.", f"Write [{section}] and its numbers."
            )
        for name, value in table.items():
            if (section, name) == ("club", "kind"):
                continue
            place = _place(file, text, section, name)
            parameter = _BY_NAME.get(name)
            if parameter is None or parameter.section != section:
                home = f"It belongs to [{parameter.section}]." if parameter else ""
                known = [one.name for one in PARAMETERS if one.section == section]
                raise InputError(f"{place}: {name} is not known in [{section}].", home or _nearest(name, known))
            values[name] = _number(value, parameter, f"{place}: {name}")
            told = _source(text, section, name)
            if name in base and values[name] != base[name]:
                changed = f"set by the coach; {base[name]:g} in the shipped model"
                sources[name] = told if told and told != base_sources.get(name) else changed
            elif told:
                sources[name] = told
    lacking = [name for name in _BY_NAME if name not in values]
    if lacking:
        raise InputError(f"{file} lacks {lacking[0]}.", f"Add it under [{_BY_NAME[lacking[0]].section}].")
    return Parameters(kind, values, sources, file)


def _number(value: Any, parameter: Parameter, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise InputError(f"{where} is {value!r}, not a number.", f"Give {parameter.range_words}.")
    if not parameter.low <= value <= parameter.high:
        raise InputError(f"{where} is {value:g}, out of its range.", f"Give {parameter.range_words}.")
    return float(value)


def _nearest(name: str, known: Collection[str]) -> str:
    near = difflib.get_close_matches(name, known, 1, 0.6)
    return f"Did you mean {near[0]}?" if near else f"Use one of: {', '.join(known)}."


def _line_of(text: str, section: str, name: str) -> int | None:
    """Number of the line, from 1, that sets ``name`` in ``section``, or opens the section when there is no name."""
    inside = ""
    for number, line in enumerate(text.splitlines(), start=1):
        header = re.match(r"\s*\[\s*([^\[\]]+?)\s*\]", line)
        if header:
            inside = header[1].strip("\"' ")
            if inside == section and not name:
                return number
        key = re.match(r"\s*[\"']?([^\s=\"'#\[]+)[\"']?\s*=", line)
        if key and name and key[1] == name and inside == section:
            return number
    return None


def _place(file: str, text: str, section: str, name: str) -> str:
    line = _line_of(text, section, name)
    return file if line is None else f"{file}, line {line}"


def _source(text: str, section: str, name: str) -> str:
    """What the comment above a number says after "Source:"; "" when it says nothing."""
    line = _line_of(text, section, name)
    if line is None:
        return ""
    above: list[str] = []
    for row in reversed(text.splitlines()[: line - 1]):
        if not row.lstrip().startswith("#"):
            break
        above.insert(0, row.strip().lstrip("#").strip())
    _, found, told = " ".join(above).partition("Source:")
    return told.strip() if found else ""
