"""The error tree. Every error a user can cause carries a message (what is wrong) and a hint (what to do)."""

from __future__ import annotations


class OverlayError(Exception):
    """Base of all errors raised on purpose.

    Parameters
    ----------
    message : str
        One sentence: what is wrong, naming the file or value.
    hint : str
        One sentence: what the user can do about it.
    """

    exit_code = 1

    def __init__(self, message: str, hint: str) -> None:
        super().__init__(message)
        self.message = message
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.message}\n{self.hint}"

    def __reduce__(self) -> tuple[type[OverlayError], tuple[str, str]]:
        # Exceptions with two arguments do not survive a process pool without this.
        return type(self), (self.message, self.hint)


class InputError(OverlayError):
    """The input cannot be read at all: no file, not a video, truncated, malformed table."""

    exit_code = 3


class ContentError(OverlayError):
    """The input can be read but does not show what is needed: no person, two people, no swing, cut-off body."""

    exit_code = 4


class MismatchError(OverlayError):
    """Two inputs that are fine on their own cannot be compared: different views."""

    exit_code = 5


class OutputError(OverlayError):
    """A result cannot be written: read-only folder, full disk."""

    exit_code = 6


class SetupError(OverlayError):
    """The machine lacks something: the pose model, a system library, a supported platform."""

    exit_code = 7


class DataError(OverlayError):
    """A data type was built from values that contradict each other (wrong shape, time not increasing)."""

    exit_code = 8
