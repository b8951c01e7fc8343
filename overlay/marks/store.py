"""Where the marks of a clip are kept, and how they are read, converted and saved."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from overlay.data import ClubMark, Marks
from overlay.errors import DataError, InputError
from overlay.files import locked_folder, write_text
from overlay.marks.document import KIND, SCHEMA, Picture, Stored, inside, parse, to_text
from overlay.settings.marks import MarkSettings
from overlay.terms import Handedness

__all__ = ["KIND", "SCHEMA", "Picture", "editing", "load_marks", "marks_path", "read_marks", "save_marks"]

SUFFIX = ".marks.json"


def marks_path(clip_path: Path) -> Path:
    """The marks file of a clip, folder of stills or saved track: beside it, with ``.marks.json`` after its full name.

    >>> marks_path(Path("range/swing.mp4")).as_posix()
    'range/swing.mp4.marks.json'
    """
    path = Path(clip_path)
    if path.name in ("", ".."):
        path = path.resolve()
    return path.with_name(path.name + SUFFIX)


def load_marks(clip_path: Path, clip_hash: str | None = None, *, picture: Picture | None = None) -> Marks:
    """The marks of a clip as it is opened now; none when there is no file.

    Parameters
    ----------
    clip_path : Path
        The clip, not the marks file.
    clip_hash : str or None
        Hex SHA-256 of the clip (``Clip.content_hash``): a file made for another recording is refused. None: not
        checked.
    picture : Picture or None
        How the clip is opened now (``Picture.of(clip)``). Marks made with the clip mirrored or turned upside down are
        converted, the player's hand with them. None: as they were made.

    Raises
    ------
    InputError
        The file cannot be read, is no marks file, is one of another recording, or its pixels belong to a picture
        turned on its side.
    """
    stored = read_marks(clip_path)
    if stored is None:
        return Marks()
    if clip_hash is not None:
        _check_same_clip(clip_path, stored, clip_hash)
    return stored.marks if picture is None else as_opened(stored, picture, marks_path(clip_path).name)


def read_marks(clip_path: Path, settings: MarkSettings = MarkSettings()) -> Stored | None:  # noqa: B008
    """Everything in the marks file of a clip, None when there is none.

    Raises
    ------
    InputError
        The file cannot be read or is no marks file.
    """
    path = marks_path(clip_path)
    rename = "Rename it and mark the clip again."
    try:
        if not path.exists():
            return None
        if not path.is_file():  # a pipe would be waited for, a device read for ever
            raise InputError(f"{path} is not a file, so there are no marks in it.", rename)
        with open(path, "rb") as source:
            content = source.read(settings.max_bytes + 1)
    except OSError as error:
        raise InputError(f"{path} cannot be read: {error.strerror or error}.", "Check the permissions.") from error
    except ValueError as error:
        raise InputError(f"{path!r} is no name a file can have.", "Check the name.") from error
    if len(content) > settings.max_bytes:
        raise InputError(f"{path.name} is larger than {settings.max_bytes // 1_000_000} MB: no marks file.", rename)
    return parse(content, path.name, settings)


def save_marks(clip_path: Path, marks: Marks, clip_hash: str, *, picture: Picture | None = None) -> None:
    """Write the marks beside the clip, whole or not at all; what other programs keep under ``extra`` stays.

    Marks that are empty leave no file behind, unless there is something under ``extra``.

    Parameters
    ----------
    clip_path : Path
    marks : Marks
        All of the clip's marks, in the picture of ``picture``.
    clip_hash : str
        Hex SHA-256 of the clip.
    picture : Picture or None
        How the clip is opened; None keeps what the file says.

    Raises
    ------
    InputError
        There is a marks file already that cannot be read or belongs to another recording: it is left as it is.
    DataError
        The marks would not be read back: a point outside the picture, two marks of one frame, too many.
    OutputError
        The folder cannot be written.
    """
    path = marks_path(clip_path)
    old = read_marks(clip_path)
    if old is not None:
        _check_same_clip(clip_path, old, clip_hash)
    shown = picture if picture is not None else None if old is None else old.picture
    new = Stored(marks, clip_hash.lower(), Path(clip_path).resolve().name, shown, {} if old is None else old.extra)
    if not marks and not new.extra:
        if old is not None:
            _remove(path)
        return
    text = to_text(new)
    try:
        parse(text.encode("utf-8"), path.name)
    except InputError as error:
        raise DataError(error.message, error.hint) from error
    write_text(path, text)


def _remove(path: Path) -> None:
    from overlay.files import output_error

    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise output_error(path, error) from error


def _check_same_clip(clip_path: Path, stored: Stored, clip_hash: str) -> None:
    # An empty file protects nothing.
    if stored.clip_sha256 == clip_hash.lower() or not (stored.marks or stored.extra):
        return
    path = marks_path(clip_path)
    raise InputError(
        f"{path.name} was made for another recording than {Path(clip_path).name} is now (its content differs).",
        f"Put the recording back it was made for, or rename {path} and mark this one anew.",
    )


def as_opened(stored: Stored, picture: Picture, name: str) -> Marks:
    """The marks of a file in the picture as it is opened now.

    Turning a picture by 180° and flipping it commute whatever the file itself asks for, so these are converted; a
    quarter turn is not, since the reader does not tell a flip that the file asks for.

    Raises
    ------
    InputError
        The club was marked on a picture turned on its side, or of another size.
    """
    was, marks = stored.picture, stored.marks
    if was is None or was == picture:
        _check_inside(marks, picture, name)
        return marks
    flip = was.mirrored != picture.mirrored
    hand: Handedness | None = marks.handedness
    if flip and hand is not None:
        # The hand is that of the player as the picture shows him.
        hand = "left" if hand == "right" else "right"
    marks = replace(marks, handedness=hand)
    if not marks.club:
        return marks
    turn = (picture.rotation_deg - was.rotation_deg) % 360
    if turn in (90, 270):
        raise InputError(
            f"{name}: the club was marked with the clip turned by {was.rotation_deg}°, and it is now opened turned "
            f"by {picture.rotation_deg}°.",
            f"Open it with --rotate {was.rotation_deg} as then; with the same option `overlay mark CLIP --remove club` "
            "forgets these marks.",
        )
    if (was.width, was.height) != (picture.width, picture.height):
        raise InputError(
            f"{name}: the club was marked on a picture of {was.width}×{was.height} px, the clip has "
            f"{picture.width}×{picture.height} px.",
            "Correct the size in the file if it was edited by hand, or remove the club marks and mark again.",
        )

    def moved(point: tuple[float, float]) -> tuple[float, float]:
        x, y = point
        if turn == 180:
            x, y = picture.width - x, picture.height - y
        return (picture.width - x if flip else x), y

    return replace(marks, club=tuple(ClubMark(mark.time_s, moved(mark.grip), moved(mark.head)) for mark in marks.club))


def _check_inside(marks: Marks, picture: Picture, name: str) -> None:
    for mark in marks.club:
        for what, point in (("grip", mark.grip), ("head", mark.head)):
            if not inside(*point, picture):
                raise InputError(
                    f"{name}: the {what} marked at {mark.time_s:.3f} s lies outside the picture of "
                    f"{picture.width}×{picture.height} px.",
                    "Remove that mark (--remove club=TIME) and mark it again.",
                )


@contextmanager
def editing(clip_path: Path) -> Iterator[None]:
    """Hold the clip's marks for one reading, change and saving, so that two programs lose nothing of one another.

    See ``overlay.files.locked_folder`` for what that is worth on a disk that cannot lock.
    """
    with locked_folder(marks_path(clip_path).parent):
        yield
