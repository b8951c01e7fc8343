"""The tables of an export: what columns they have, and their writing as CSV or Parquet, row by row.

Text of a CSV is made harmless for spreadsheets: a text that begins with ``= + - @`` or with an apostrophe itself gets
one apostrophe in front, which a spreadsheet takes as "this is text"; ``plain_text`` takes it off again. Numbers are
written in full and are never touched. Parquet holds texts as they are; its columns carry their unit.
"""

from __future__ import annotations

import csv
import datetime
import importlib.util
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Protocol

from overlay import __version__
from overlay.errors import OutputError, SetupError
from overlay.models.checks import tidy

Format = Literal["csv", "parquet"]
FORMATS: tuple[Format, ...] = ("csv", "parquet")
SCHEMA = 1
ROWS_A_GROUP = 20_000
"""Rows of a Parquet row group: a few MB, so that memory does not grow with the library."""
FORMULA = ("=", "+", "-", "@")


@dataclass(frozen=True)
class Column:
    """A column: its name, kind of value, unit ("" where it has none) and what it means."""

    name: str
    kind: Literal["int", "float", "text", "date", "bool"]
    unit: str
    meaning: str


_WHOSE = (
    Column("swing_id", "int", "", "id of the swing in the library"),
    Column("session_id", "int", "", "id of its session"),
    Column("player", "text", "", "name of the player"),
    Column("date", "date", "", "day of the session"),
    Column("club", "text", "", "club, as it was told"),
    Column("view", "text", "", "dtl, fo or other"),
)

TABLES: dict[str, tuple[Column, ...]] = {
    "measures": (
        *_WHOSE,
        Column("measure", "text", "", "name of the measure"),
        Column("value", "float", "", "in the unit of its row; empty where it could not be given"),
        Column("unit", "text", "", "unit of value, low and high"),
        Column("low", "float", "", "lower end of the 95 % interval"),
        Column("high", "float", "", "upper end of the 95 % interval"),
        Column("valid", "bool", "", "whether the value can be used"),
        Column("reason", "text", "", "why it cannot"),
        Column("position", "text", "", "position it was read at; empty when it belongs to none"),
        Column("time_s", "float", "s", "when it was read, on the clip's playback clock"),
    ),
    "differences": (
        *_WHOSE,
        Column("reference", "text", "", "name of the reference"),
        Column("reference_key", "text", "", "SHA-256 of the reference's model file"),
        Column("phase", "text", "", "phase of the swing"),
        Column("part", "text", "", "part of the body"),
        Column("value", "float", "torso", "size of the difference; empty where it was not scored"),
        Column("low", "float", "torso", "lower end of its 95 % interval"),
        Column("high", "float", "torso", "upper end of its 95 % interval"),
        Column(
            "offset_x", "float", "torso", "mean signed difference towards the lead side of a right-hander's picture"
        ),
        Column("offset_y", "float", "torso", "mean signed difference downwards"),
        Column("value_cm", "float", "cm", "size of the difference where the stature was told"),
        Column("words", "text", "", "the difference in words"),
        Column("score", "float", "", "0 to 100"),
        Column("score_low", "float", "", "lower end of the score's 95 % interval"),
        Column("score_high", "float", "", "upper end of the score's 95 % interval"),
        Column("smallest_detectable", "float", "torso", "smallest difference that would have been seen"),
        Column("reason", "text", "", "why it was not scored"),
    ),
    "positions": (
        *_WHOSE,
        Column("position", "text", "", "name of the position"),
        Column("time_s", "float", "s", "on the clip's playback clock; empty where it was not found"),
        Column("sd_s", "float", "s", "standard deviation of the time"),
        Column("confidence", "float", "", "0 to 1"),
        Column("source", "text", "", "what it was found from"),
        Column("reason", "text", "", "why it was not found"),
    ),
    "swings": (
        *_WHOSE,
        Column("clip_id", "int", "", "id of the clip"),
        Column("clip", "text", "", "where the clip was seen last"),
        Column("clip_sha256", "text", "", "what the clip is known by"),
        Column("number", "int", "", "number of the swing in its recording, from 1"),
        Column("handedness", "text", "", "right or left"),
        Column("impact_s", "float", "s", "impact on the clip's playback clock"),
        Column("slow_factor", "float", "", "playback seconds per second of the kept track's clock"),
        Column("tempo_ratio", "float", "", "backswing time over downswing time"),
        Column("first", "text", "", "measure that the checklist puts first"),
        Column("filming", "text", "", "verdict of the filming check"),
        Column("best", "bool", "", "marked as one of the player's best"),
        Column("tags", "text", "", "separated by commas"),
    ),
    "sessions": (
        Column("session_id", "int", "", "id of the session in the library"),
        Column("player", "text", "", "name of the player"),
        Column("date", "date", "", "the player's local day"),
        Column("club", "text", "", "club, as it was told"),
        Column("place", "text", "", "where it was"),
        Column("worked_on", "text", "", "what was worked on"),
        Column("focus", "text", "", "the measure that was declared"),
        Column("aim", "text", "", "lower, higher or either"),
        Column("clips", "int", "", "clips that were read"),
        Column("failed", "int", "", "clips that could not be"),
        Column("swings", "int", "", "swings of the session"),
        Column("tags", "text", "", "separated by commas"),
    ),
}


def guarded(text: str) -> str:
    """A text as a cell of a CSV: one line, nothing a terminal acts on, and no formula.

    >>> guarded("=2+3"), guarded("Robin"), guarded("'quoted'")
    ("'=2+3", 'Robin', "''quoted'")
    """
    simple = text.isascii() and text.isprintable() and text == text.strip() and "  " not in text
    one_line = text if simple else tidy(text, 1_000_000)
    return "'" + one_line if one_line.startswith((*FORMULA, "'")) else one_line


def plain_text(cell: str) -> str:
    """The text that ``guarded`` made a cell of.

    >>> plain_text("'=2+3")
    '=2+3'
    """
    return cell[1:] if cell.startswith("'") else cell


class Sheet(Protocol):
    """A table that is being written."""

    rows: int

    def add(self, row: Sequence[Any]) -> None:
        """One row, a value for every column; None and NaN are missing."""
        ...

    def close(self) -> None:
        """Finish the file."""
        ...


class CsvSheet:
    """UTF-8, comma, point as decimal sign, header in the first line; a missing value is an empty cell."""

    def __init__(self, path: Path, columns: Sequence[Column]) -> None:
        self.rows = 0
        self._columns = columns
        self._out = open(path, "w", encoding="utf-8", newline="")  # noqa: SIM115  # closed by close()
        self._writer = csv.writer(self._out, lineterminator="\n")
        self._writer.writerow([column.name for column in columns])

    def add(self, row: Sequence[Any]) -> None:
        """One row."""
        self._writer.writerow([_cell(value) for value in row])
        self.rows += 1

    def close(self) -> None:
        """Finish the file."""
        self._out.close()


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return guarded(value)
    if isinstance(value, float):
        # The shortest text that reads back as the same number.
        return repr(float(value)) if math.isfinite(value) else ""
    return value.isoformat() if isinstance(value, datetime.date) else str(int(value))


class ParquetSheet:
    """Typed columns, compressed, in row groups; unit and meaning of each column stand in its metadata."""

    def __init__(self, path: Path, table: str, columns: Sequence[Column]) -> None:
        import pyarrow as pa
        import pyarrow.parquet as pq

        kinds = {
            "int": pa.int64(),
            "float": pa.float64(),
            "text": pa.string(),
            "date": pa.date32(),
            "bool": pa.bool_(),
        }
        fields = [
            pa.field(column.name, kinds[column.kind], metadata={"unit": column.unit, "meaning": column.meaning})
            for column in columns
        ]
        about = {"schema": SCHEMA, "kind": f"overlay {table}", "overlay_version": __version__}
        self.rows = 0
        self._columns = columns
        self._schema = pa.schema(fields, metadata={"overlay": json.dumps(about)})
        self._writer = pq.ParquetWriter(str(path), self._schema, compression="zstd")
        self._held: list[list[Any]] = [[] for _ in columns]

    def add(self, row: Sequence[Any]) -> None:
        """One row."""
        for held, value in zip(self._held, row):
            if isinstance(value, float) and not math.isfinite(value):
                value = None
            elif isinstance(value, str):
                # Lone halves of a pair, as in the name of a damaged file, have no UTF-8.
                value = value.encode("utf-8", "replace").decode("utf-8")
            held.append(value)
        self.rows += 1
        if len(self._held[0]) >= ROWS_A_GROUP:
            self._flush()

    def _flush(self) -> None:
        import pyarrow as pa

        if self._held[0]:
            arrays = [pa.array(held, field.type) for held, field in zip(self._held, self._schema)]
            self._writer.write_table(pa.Table.from_arrays(arrays, schema=self._schema))
            self._held = [[] for _ in self._columns]

    def close(self) -> None:
        """Finish the file."""
        self._flush()
        self._writer.close()


def check_format(form: Format) -> None:
    """Refuse Parquet where what writes it is not installed.

    Raises
    ------
    SetupError
        pyarrow is not there.
    """
    if form == "parquet" and importlib.util.find_spec("pyarrow") is None:
        raise SetupError(
            "Parquet is written by pyarrow, which is not installed.",
            'Run `pip install ".[parquet]"` in the folder overlay was installed from, or export with --format csv.',
        )


class Sheets:
    """Several tables of one export, written side by side into a folder.

    Parameters
    ----------
    paths : mapping table → Path
    form : Format
    """

    def __init__(self, paths: dict[str, Path], form: Format) -> None:
        self._paths = paths
        self._form = form
        self._open: dict[str, CsvSheet | ParquetSheet] = {}

    def __enter__(self) -> Sheets:
        for table, path in self._paths.items():
            columns = TABLES[table]
            self._open[table] = CsvSheet(path, columns) if self._form == "csv" else ParquetSheet(path, table, columns)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for sheet in self._open.values():
            if kind is None:
                sheet.close()
                continue
            # What went wrong already is told; the files are thrown away.
            try:
                sheet.close()
            except Exception:
                continue

    def wants(self, table: str) -> bool:
        """Whether a table is being written."""
        return table in self._open

    def add(self, table: str, row: Sequence[Any]) -> None:
        """One row of one table; nothing where the table is not wanted."""
        sheet = self._open.get(table)
        if sheet is not None:
            sheet.add(row)

    def counts(self) -> dict[str, int]:
        """Rows written, a number a table."""
        return {table: sheet.rows for table, sheet in self._open.items()}


def described(table: str) -> list[dict[str, str]]:
    """The columns of a table in words, for the list of an export's files."""
    return [
        {"name": column.name, "type": column.kind, "unit": column.unit, "meaning": column.meaning}
        for column in TABLES[table]
    ]


def format_of(path: Path) -> Format | None:
    """The format that a file's name tells; None for a folder's name."""
    suffix = path.suffix.lower()
    return "csv" if suffix == ".csv" else "parquet" if suffix in (".parquet", ".pq") else None


def check_suffix(path: Path, told: Format | None) -> Format | None:
    """The format of a single file; None where ``path`` is to be a folder.

    Raises
    ------
    OutputError
        Name and told format contradict each other.
    """
    named = format_of(path)
    if named is not None and told is not None and named != told:
        raise OutputError(f"{path.name} is no name for a file of format {told}.", f"End it in .{told}.")
    return named
