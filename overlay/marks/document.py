"""The marks file as JSON: strict reading, with the place of a fault named, and writing.

Nothing is guessed: an unknown field, a wrong type or a number that is not finite is refused, since a mark that is
silently left out would be work lost. Other programs keep their own things under ``extra``, which is carried along.
"""

from __future__ import annotations

import difflib
import itertools
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NoReturn, cast

from overlay.data import Clip, ClubMark, Marks, PositionMark
from overlay.errors import DataError, InputError
from overlay.settings.marks import MarkSettings
from overlay.terms import POSITION_NAMES, Handedness, View

SCHEMA = 1
KIND = "overlay marks"
VIEWS = ("dtl", "fo", "other")
HANDS = ("right", "left")
FIELDS = ("schema", "kind", "clip", "picture", "view", "handedness", "positions", "club", "extra")
NEEDED = ("schema", "kind", "clip")
TURNS = (0, 90, 180, 270)


@dataclass(frozen=True)
class Picture:
    """How a clip was opened when it was marked; pixels and the player's hand mean nothing without it.

    Attributes
    ----------
    width, height : int
        Displayed size, px.
    rotation_deg : int
        Clockwise rotation the reader applied: 0, 90, 180, 270.
    mirrored : bool
        Whether left and right were flipped on request.
    """

    width: int
    height: int
    rotation_deg: int = 0
    mirrored: bool = False

    def __post_init__(self) -> None:
        if self.width < 1 or self.height < 1 or self.rotation_deg not in TURNS:
            raise DataError(
                f"A picture of {self.width}×{self.height} px turned by {self.rotation_deg}° cannot be.",
                "Give its size in px and a rotation of 0, 90, 180 or 270.",
            )

    @classmethod
    def of(cls, clip: Clip) -> Picture:
        """How this clip was opened."""
        return cls(clip.width, clip.height, clip.rotation_deg, clip.mirrored)


@dataclass(frozen=True)
class Stored:
    """A marks file, read."""

    marks: Marks
    clip_sha256: str
    clip_name: str = ""
    picture: Picture | None = None
    extra: Mapping[str, Any] = field(default_factory=dict)


def build(stored: Stored) -> dict[str, Any]:
    """The document of a marks file, times in order."""
    marks, picture = stored.marks, stored.picture
    document: dict[str, Any] = {
        "schema": SCHEMA,
        "kind": KIND,
        "clip": {"name": stored.clip_name, "sha256": stored.clip_sha256},
        "picture": None
        if picture is None
        else {
            "width": picture.width,
            "height": picture.height,
            "rotation_deg": picture.rotation_deg,
            "mirrored": picture.mirrored,
        },
        "view": marks.view,
        "handedness": marks.handedness,
        "positions": [
            {"name": mark.name, "time_s": round(mark.time_s, 6)}
            for mark in sorted(marks.positions, key=lambda mark: (mark.time_s, POSITION_NAMES.index(mark.name)))
        ],
        "club": [
            {"time_s": round(mark.time_s, 6), "grip": _pair(mark.grip), "head": _pair(mark.head)}
            for mark in sorted(marks.club, key=lambda mark: mark.time_s)
        ],
    }
    if stored.extra:
        document["extra"] = dict(stored.extra)
    return document


def marks_document(marks: Marks, sha256: str, name: str, picture: Picture | None) -> dict[str, Any]:
    """The marks as they stand in a marks file."""
    return build(Stored(marks, sha256, name, picture))


def _pair(point: tuple[float, float]) -> list[float]:
    return [round(float(value), 2) for value in point]


def to_text(stored: Stored) -> str:
    """Strict JSON, one mark a line, so that it is easily read and edited by a person.

    Raises
    ------
    DataError
        ``extra`` holds something that JSON has no form for.
    """
    document = build(stored)
    try:
        lines = []
        for name, value in document.items():
            if isinstance(value, list) and value:
                rows = ",\n".join(f"    {_json(row)}" for row in value)
                lines.append(f"  {_json(name)}: [\n{rows}\n  ]")
            else:
                lines.append(f"  {_json(name)}: {_json(value)}")
        return "{\n" + ",\n".join(lines) + "\n}\n"
    except (TypeError, ValueError, RecursionError) as error:
        raise DataError(
            f"The extra things of the marks have no JSON form: {error}.", "Keep to plain values."
        ) from error


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


class Fault(Exception):
    """Where in the document what is wrong, and what to do; becomes an InputError that names the file."""

    def __init__(self, what: str, hint: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.hint = hint


def parse(content: bytes, name: str, settings: MarkSettings = MarkSettings()) -> Stored:  # noqa: B008
    """Read the content of a marks file.

    Parameters
    ----------
    content : bytes
    name : str
        Of the file, for the message.

    Raises
    ------
    InputError
        It is not a marks file of this schema; the message says which field is wrong.
    """
    try:
        return _parse(content, settings)
    except Fault as fault:
        hint = fault.hint or "Correct it by hand as docs/marks.md says, or rename the file and mark the clip again."
        raise InputError(f"{name}: {fault.what}.", hint) from fault


def _parse(content: bytes, settings: MarkSettings) -> Stored:
    document = _loaded(content)
    _object(document, "the file", FIELDS, NEEDED)
    if document["kind"] != KIND:
        raise Fault("it is not a marks file of overlay", f'A marks file begins with "kind": "{KIND}".')
    schema = document["schema"]
    if isinstance(schema, bool) or not isinstance(schema, int) or schema < 1:
        raise Fault(f"schema is {_shown(schema)}, not a whole number from 1")
    if schema > SCHEMA:
        raise Fault(
            f"it was written by a newer overlay (schema {schema}, this one knows {SCHEMA})",
            "Update overlay, or rename the file and mark the clip again.",
        )
    clip = document["clip"]
    _object(clip, "clip", ("name", "sha256"), ("sha256",))
    sha256, clip_name = clip["sha256"], clip.get("name", "")
    if not isinstance(sha256, str) or len(sha256) != 64 or set(sha256.lower()) - set("0123456789abcdef"):
        raise Fault(f"clip.sha256 is {_shown(sha256)}, not 64 hexadecimal digits")
    if not isinstance(clip_name, str):
        raise Fault(f"clip.name is {_shown(clip_name)}, not a text")
    extra = document.get("extra") or {}
    if not isinstance(extra, dict):
        raise Fault(f"extra is {_shown(extra)}, not an object")
    picture = _picture(document.get("picture"))
    marks = Marks(
        view=cast("View | None", _word(document.get("view"), "view", VIEWS)),
        handedness=cast("Handedness | None", _word(document.get("handedness"), "handedness", HANDS)),
        positions=_positions(document.get("positions"), settings),
        club=_club(document.get("club"), picture, settings),
    )
    return Stored(marks, sha256.lower(), clip_name, picture, extra)


def _loaded(content: bytes) -> dict[str, Any]:
    if not content.strip():
        raise Fault("it is empty", "Delete it and mark the clip again.")
    try:
        document = json.loads(
            content.decode("utf-8-sig"), object_pairs_hook=_unique, parse_constant=_not_finite, parse_float=_finite
        )
    except UnicodeDecodeError:
        raise Fault("it is not a text in UTF-8") from None
    except json.JSONDecodeError as error:
        raise Fault(f"it is not JSON: {error.msg} in line {error.lineno}, column {error.colno}") from None
    except RecursionError:
        raise Fault("it is nested too deeply") from None
    except ValueError:  # a whole number of thousands of digits
        raise Fault("it holds a number that is too long") from None
    if not isinstance(document, dict):
        raise Fault(f"it holds {_shown(document)}, not an object")
    return document


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result: dict[str, Any] = {}
    for name, value in pairs:
        if name in result:
            raise Fault(f"the field {_shown(name)} stands twice in one object")
        result[name] = value
    return result


def _not_finite(word: str) -> NoReturn:
    raise Fault(f"it holds {word}, which is no number")


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise Fault(f"it holds {_shown(text)}, which is too large")
    return value


def _shown(value: Any) -> str:
    """The value, short enough for one line."""
    kinds = {dict: "an object", list: "a list", bool: str(value).lower(), type(None): "null"}
    if type(value) in kinds:
        return kinds[type(value)]
    text = repr(value) if isinstance(value, str) or abs(value) < 1e15 else "a number that is too large"
    return text if len(text) <= 40 else text[:37] + "…"


def _object(value: Any, where: str, fields: Sequence[str], needed: Sequence[str]) -> None:
    if not isinstance(value, dict):
        raise Fault(f"{where} is {_shown(value)}, not an object")
    for name in value:
        if name not in fields:
            near = difflib.get_close_matches(name, fields, 1)
            meant = f" (did you mean {near[0]}?)" if near else ""
            raise Fault(f"{where} has a field {_shown(name)} that marks do not have{meant}")
    for name in needed:
        if name not in value:
            raise Fault(f"{where} lacks the field {name}")


def _number(value: Any, where: str) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise Fault(f"{where} is {_shown(value)}, not a number")
    if not abs(value) <= 1e9:
        raise Fault(f"{where} is too large")
    return float(value)


def _word(value: Any, where: str, words: Sequence[str]) -> str | None:
    if value is None:
        return None
    if not isinstance(value, str) or value not in words:
        raise Fault(f"{where} is {_shown(value)}, not one of {', '.join(words)}")
    return value


def _rows(value: Any, where: str, most: int) -> list[Any]:
    if value is None:
        return []
    if not isinstance(value, list):
        raise Fault(f"{where} is {_shown(value)}, not a list")
    if len(value) > most:
        raise Fault(f"{where} has {len(value)} rows, more than {most}")
    return value


def _picture(value: Any) -> Picture | None:
    if value is None:
        return None
    names = ("width", "height", "rotation_deg", "mirrored")
    _object(value, "picture", names, names)
    if not isinstance(value["mirrored"], bool):
        raise Fault(f"picture.mirrored is {_shown(value['mirrored'])}, not true or false")
    whole = {name: _number(value[name], f"picture.{name}") for name in names[:3]}
    for name, number in whole.items():
        if number != int(number) or not 0 <= number <= 100_000 or (number == 0 and name != "rotation_deg"):
            raise Fault(f"picture.{name} is {_shown(value[name])}, not a possible whole number")
    if whole["rotation_deg"] not in TURNS:
        raise Fault(f"picture.rotation_deg is {_shown(value['rotation_deg'])}, not 0, 90, 180 or 270")
    return Picture(int(whole["width"]), int(whole["height"]), int(whole["rotation_deg"]), value["mirrored"])


def _time(value: Any, where: str) -> float:
    time_s = _number(value, where)
    if time_s < 0:
        raise Fault(f"{where} is {_shown(value)}; clips start at 0 s")
    return time_s


def _positions(value: Any, settings: MarkSettings) -> tuple[PositionMark, ...]:
    marks: set[PositionMark] = set()
    for i, row in enumerate(_rows(value, "positions", settings.max_positions)):
        where = f"positions[{i}]"
        _object(row, where, ("name", "time_s"), ("name", "time_s"))
        name = row["name"]
        if not isinstance(name, str) or name not in POSITION_NAMES:
            near = difflib.get_close_matches(str(name), POSITION_NAMES, 1) if isinstance(name, str) else []
            meant = f" (did you mean {near[0]}?)" if near else f", not one of {', '.join(POSITION_NAMES)}"
            raise Fault(f"{where}.name is {_shown(name)}{meant}")
        mark = PositionMark(name, _time(row["time_s"], f"{where}.time_s"))
        if mark in marks:
            raise Fault(f"{where} says again that {name} is at {mark.time_s:g} s", "Leave one of the two out.")
        marks.add(mark)
    return tuple(sorted(marks, key=lambda mark: (mark.time_s, POSITION_NAMES.index(mark.name))))


def _club(value: Any, picture: Picture | None, settings: MarkSettings) -> tuple[ClubMark, ...]:
    marks: list[ClubMark] = []
    for i, row in enumerate(_rows(value, "club", settings.max_club)):
        where = f"club[{i}]"
        names = ("time_s", "grip", "head")
        _object(row, where, names, names)
        time_s = _time(row["time_s"], f"{where}.time_s")
        grip, head = (_point(row[name], f"{where}.{name}", picture, settings) for name in ("grip", "head"))
        try:
            marks.append(ClubMark(time_s, grip, head))
        except DataError as error:
            raise Fault(f"{where}: {error.message.rstrip('.')}", error.hint) from None
    marks.sort(key=lambda mark: mark.time_s)
    for one, other in itertools.pairwise(marks):
        if other.time_s - one.time_s < settings.same_frame_s:
            raise Fault(f"club holds two marks of the frame at {one.time_s:.3f} s", "Leave one of them out.")
    return tuple(marks)


def _point(value: Any, where: str, picture: Picture | None, settings: MarkSettings) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise Fault(f"{where} is {_shown(value)}, not [x, y] in px")
    x, y = (_number(number, where) for number in value)
    if picture is not None and not inside(x, y, picture, settings):
        raise Fault(f"{where} lies outside the picture of {picture.width}×{picture.height} px")
    return x, y


def inside(x: float, y: float, picture: Picture, settings: MarkSettings = MarkSettings()) -> bool:  # noqa: B008
    """Whether a point lies in the picture."""
    reach = settings.outside_px
    return -reach <= x <= picture.width + reach and -reach <= y <= picture.height + reach
