"""What is done with one clip, told so that any process on any machine can do it; and what does it for many."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self

from overlay.data.record import ClipRead
from overlay.pipeline import ClipOptions

Told = Callable[["ReadJob", str], None]
"""Told of a job while it runs: the stage it has come to; "" when it is begun or begun again."""


@dataclass(frozen=True)
class ReadJob:
    """A clip that is to be read.

    Attributes
    ----------
    path : Path
        Absolute. Its name appears in messages and in what is kept: a copy to read elsewhere keeps the name, and takes
        its marks file along.
    content_hash : str
        Hex SHA-256 of the file; a file that has changed since is not read.
    options : ClipOptions
    size_bytes : int
    recorded_at : float or None
        Seconds since 1970, as found by whoever sees the original file.
    inputs : str
        ``inputs_of`` the original.
    reference : bytes or None
        Content of a model file (.swing), which every swing of a view that it holds is compared with.
    reference_name : str
        As it is shown.
    same_player : bool
        The reference is of this player.
    """

    path: Path
    content_hash: str
    options: ClipOptions = field(default_factory=ClipOptions)
    size_bytes: int = 0
    recorded_at: float | None = None
    inputs: str = ""
    reference: bytes | None = field(default=None, repr=False)
    reference_name: str = ""
    same_player: bool = False


def unread(job: ReadJob, problem: str, hint: str, code: int) -> ClipRead:
    """What is known of a clip that nobody could read."""
    from overlay.batch.engine import engine
    from overlay.pipeline.told import told_text

    return ClipRead(
        content_hash=job.content_hash,
        path=job.path,
        size_bytes=job.size_bytes,
        recorded_at=job.recorded_at,
        inputs=job.inputs,
        engine=engine(),
        told=told_text(job.options),
        problem=problem,
        hint=hint,
        problem_code=code,
    )


class Pool(Protocol):
    """Reads many clips at once. Use it as a context manager, or ``close`` it."""

    @property
    def workers(self) -> int:
        """How many clips are read at once."""

    def run(self, jobs: Iterable[ReadJob], told: Told | None = None) -> Iterator[ClipRead]:
        """Read the clips, in order of completion.

        ``jobs`` is drawn from only as workers become free, a few ahead at most. A worker that dies costs a retry, not
        a clip. Leaving the iteration early abandons what is running.

        Raises
        ------
        SetupError
            No worker can be started or reached.
        """

    def close(self) -> None:
        """End the workers; nothing of them is left."""

    def __enter__(self) -> Self:
        """The pool itself."""

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close it."""
