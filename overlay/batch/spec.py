"""What is told about the clips that are added, and what is told back of each."""

from __future__ import annotations

import datetime
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from overlay.data.record import Aim, ClipRead
from overlay.pipeline import ClipOptions
from overlay.terms import View

RowState = Literal["added", "known", "moved", "renewed", "failed", "skipped"]

STATE_WORDS: dict[str, str] = {
    "added": "read and kept",
    "known": "in the library already",
    "moved": "in the library, found at its new place",
    "renewed": "read again, since the code or what was told has changed",
    "failed": "could not be read",
    "skipped": "left out",
}


@dataclass(frozen=True)
class AddSpec:
    """What is told about the clips.

    Attributes
    ----------
    player : str
    date : date or None
        None: what each clip says, else when its file was changed last.
    club : str
    place, worked_on, focus : str or None
        Of the session; None leaves what is known of it.
    aim : Aim or None
    options : ClipOptions
        Told of every clip. What is left out here, and was told of a clip before, stays told.
    reference : str or Path or None
        As ``pipeline.find_reference`` takes it; None: the player's own choice; "none": no comparison.
    own : bool
        The reference is of this player.
    models : Path or None
        The folder of the models.
    tags : tuple of str
        Put on every swing.
    again : bool
        Read what is known too, and what failed; exactly as told now.
    """

    player: str
    date: datetime.date | None = None
    club: str = ""
    place: str | None = None
    worked_on: str | None = None
    focus: str | None = None
    aim: Aim | None = None
    options: ClipOptions = field(default_factory=ClipOptions)
    reference: str | Path | None = None
    own: bool = False
    models: Path | None = None
    tags: tuple[str, ...] = ()
    again: bool = False


@dataclass(frozen=True)
class AddRow:
    """What became of one clip.

    Attributes
    ----------
    path : Path
    state : RowState
    n_swings : int
    views : tuple of View
        Of its swings, each once.
    first : str
        Measure that the checklist puts first in its last swing; "" for nothing.
    problem, hint : str
        Why it failed or was left out, and what to do.
    session_id : int or None
    seconds : float
        It took to read; 0 for what was not read.
    first_sentence : str
    code : int
        Exit code of the problem; 0 where nothing is wrong.
    note : str
        What else is to be said of it.
    date : date or None
    dated_by : "told", "clip", "file"
        ``file``: only the time of the file's last change, which copying may have altered.
    swing_ids : tuple of int
    read : ClipRead or None
        Everything that was read; only while the row is told, it is not kept in a report.
    """

    path: Path
    state: RowState
    n_swings: int = 0
    views: tuple[View, ...] = ()
    first: str = ""
    problem: str = ""
    hint: str = ""
    session_id: int | None = None
    seconds: float = 0.0
    first_sentence: str = ""
    code: int = 0
    note: str = ""
    date: datetime.date | None = None
    dated_by: Literal["told", "clip", "file"] = "told"
    swing_ids: tuple[int, ...] = ()
    read: ClipRead | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True)
class AddReport:
    """What became of all clips.

    Attributes
    ----------
    rows : tuple of AddRow
        In order of completion.
    left_out : tuple of (Path, str)
        Files of the folders that are no clips, and why.
    reference_name : str
        What the swings were compared with; "" for nothing.
    notes : tuple of str
    """

    rows: tuple[AddRow, ...]
    left_out: tuple[tuple[Path, str], ...] = ()
    reference_name: str = ""
    notes: tuple[str, ...] = ()

    @property
    def counts(self) -> dict[str, int]:
        """State → clips, those that occur alone, in a fixed order."""
        found = Counter(row.state for row in self.rows)
        return {state: found[state] for state in STATE_WORDS if found[state]}  # type: ignore[index]

    @property
    def n_swings(self) -> int:
        """Swings that were added or read again."""
        return sum(row.n_swings for row in self.rows if row.state in ("added", "renewed"))

    @property
    def exit_code(self) -> int:
        """0 when every clip is in the library now; the code of what went wrong; 1 when several kinds of things did."""
        codes = {row.code for row in self.rows if row.code}
        return 0 if not codes else codes.pop() if len(codes) == 1 else 1
