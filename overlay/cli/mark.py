"""``overlay mark``: correct by hand what was found in a clip."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.options import CLIP, HANDS, VIEWS
from overlay.errors import InputError
from overlay.terms import POSITION_NAMES, VIEW_WORDS, words

if TYPE_CHECKING:
    import numpy as np

    from overlay.data import Marks
    from overlay.marks import Change, Picture

NUMBER = r"-?\d+(?:\.\d*)?|-?\.\d+"


@dataclass(frozen=True)
class When:
    """A moment as it was typed: seconds, or the number of a frame."""

    seconds: float | None = None
    frame: int | None = None


def read_when(text: str) -> When | None:
    """``3.91``, ``3.91s`` or ``f117``; None for anything else."""
    text = text.strip().lower()
    if re.fullmatch(r"f\d{1,9}", text):
        return When(frame=int(text[1:]))
    if re.fullmatch(r"\d{1,6}(\.\d*)?s?|\.\d+s?", text):
        return When(seconds=float(text.rstrip("s")))
    return None


class WhenType(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 only
    """Seconds, or the number of a frame with an f before it."""

    name = "when"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> When:
        when = value if isinstance(value, When) else read_when(str(value))
        if when is None:
            self.fail(f"{value!r} is neither seconds (3.91) nor a frame (f117)", param, ctx)
        return when


class PositionAt(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 only
    """A position and its moment: top=3.91 or top=f117."""

    name = "name=when"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, When]:
        if isinstance(value, tuple):
            return value
        name, equals, moment = str(value).partition("=")
        position = _position(name)
        if position is None:
            self.fail(f"{name!r} is no position; the nine are {', '.join(POSITION_NAMES)}", param, ctx)
        when = read_when(moment)
        if not equals or when is None:
            self.fail(f"{value!r} gives no moment; write {position}=3.91 (seconds) or {position}=f117", param, ctx)
        return position, when


class ClubAt(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 only
    """A moment, the grip and the club head: 3.91:212,305:171,228."""

    name = "when:gx,gy:hx,hy"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[When, tuple[float, float], tuple[float, float]]:
        if isinstance(value, tuple):
            return value
        point = rf"\s*({NUMBER})\s*,\s*({NUMBER})\s*"
        match = re.fullmatch(rf"([^:]+):{point}:{point}", str(value))
        when = None if match is None else read_when(match.group(1))
        if match is None or when is None:
            self.fail(
                f"{value!r} is no club mark; write the moment, the grip and the club head in px: "
                "3.91:212,305:171,228 or f117:212,305:171,228",
                param,
                ctx,
            )
        gx, gy, hx, hy = (float(number) for number in match.groups()[1:])
        return when, (gx, gy), (hx, hy)


class Removal(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 only
    """What to forget: view, hand, a position, club, all; a moment after = says which mark."""

    name = "what"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> tuple[str, When | None]:
        if isinstance(value, tuple):
            return value
        what, equals, moment = str(value).partition("=")
        name = what.strip().lower()
        name = name if name in ("view", "hand", "club", "all") else _position(name) or ""
        if not name or (equals and name in ("view", "hand", "all")):
            self.fail(f"{value!r} cannot be removed; give view, hand, club, all or a position", param, ctx)
        when = read_when(moment) if equals else None
        if equals and when is None:
            self.fail(f"{moment!r} is neither seconds (3.91) nor a frame (f117)", param, ctx)
        return name, when


class Window(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 only
    """Left, top, right and bottom in px."""

    name = "left,top,right,bottom"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[float, float, float, float]:
        if isinstance(value, tuple):
            return value
        match = re.fullmatch(",".join([rf"\s*({NUMBER})\s*"] * 4), str(value))
        if match is None:
            self.fail(f"{value!r} is no window; write left,top,right,bottom in px: 120,200,360,480", param, ctx)
        left, top, right, bottom = (float(number) for number in match.groups())
        return left, top, right, bottom


def _position(text: str) -> str | None:
    name = "_".join(re.split(r"[\s_-]+", text.strip().lower()))
    return name if name in POSITION_NAMES else None


@click.command("mark")
@click.argument("clip", type=CLIP)
@click.option(
    "--position",
    "positions",
    type=PositionAt(),
    multiple=True,
    help="Set a position: top=3.91 (s) or top=f117 (frame).",
)
@click.option(
    "--also", type=PositionAt(), multiple=True, help="As --position, for another swing of the same recording."
)
@click.option(
    "--club",
    "clubs",
    type=ClubAt(),
    multiple=True,
    help="Set grip and club head on a frame, in px: 3.91:212,305:171,228 (when, grip, head).",
)
@click.option("--view", type=VIEWS, help="Set the view: dtl (down the line) or fo (face on).")
@click.option("--hand", type=HANDS, help="Set the player's hand.")
@click.option(
    "--remove",
    type=Removal(),
    multiple=True,
    help="Forget a mark: top, top=3.91, club, club=f117, view, hand, or all.",
)
@click.option("--list", "only_list", is_flag=True, help="Show the marks and change nothing (as without any option).")
@click.option("--still", type=WhenType(), help="Write the picture of this moment with a grid of pixels; needs --out.")
@click.option("--out", type=click.Path(path_type=Path), help="PNG for --still.")
@click.option("--window", type=Window(), help="Only this part of the --still, enlarged: left,top,right,bottom in px.")
@click.option("--mirrored", is_flag=True, help="The clip is flipped left-right, as in the other commands.")
@click.option("--rotate", type=click.Choice(["0", "90", "180", "270"]), help="Turn the clip, as in the other commands.")
@click.option("--json", "as_json", is_flag=True, help="Print the marks and what changed as JSON (docs/marks.md).")
def command(
    clip: Path,
    positions: tuple[tuple[str, When], ...],
    also: tuple[tuple[str, When], ...],
    clubs: tuple[Any, ...],
    view: Any,
    hand: Any,
    remove: tuple[tuple[str, When | None], ...],
    only_list: bool,
    still: When | None,
    out: Path | None,
    window: tuple[float, float, float, float] | None,
    mirrored: bool,
    rotate: str | None,
    as_json: bool,
) -> None:
    """Correct by hand what was found in CLIP: times of positions, the club, the view, the player's hand.

    The marks are kept in a file beside the clip (CLIP.marks.json) and used by every later inspect and compare. Marks
    win against what the pictures say. A moment is seconds (3.91) or a frame counted from 0 (f117).
    """
    from overlay import marks as kept
    from overlay.pipeline import check_outputs

    edits = bool(positions or also or clubs or view or hand or remove)
    if only_list and edits:
        raise click.UsageError("--list changes nothing and cannot be given together with a change.")
    if (still is None) != (out is None):
        raise click.UsageError("--still and --out belong together: the moment to show and the PNG to write.")
    if window is not None and still is None:
        raise click.UsageError("--window is for --still.")
    if out is not None:
        check_outputs([out], [clip, kept.marks_path(clip)])
    known = Recording.opened(clip, mirrored, rotate)
    new = [
        *(_remove(what, when) for what, when in remove),
        *([] if view is None else [lambda marks, _: replace(marks, view=view)]),
        *([] if hand is None else [lambda marks, _: replace(marks, handedness=hand)]),
        *(_set_position(name, when, False) for name, when in positions),
        *(_set_position(name, when, True) for name, when in also),
        *(_set_club(*club) for club in clubs),
    ]
    with kept.editing(clip):
        before = kept.load_marks(clip, known.sha256, picture=known.picture)
        after = before
        for change in new:
            after = change(after, known)
        if after != before:
            kept.save_marks(clip, after, known.sha256, picture=known.picture)
    changed = kept.changes(before, after)
    if still is not None and out is not None:
        known.write_still(still, out, window, after)
    if as_json:
        click.echo(_document(known, before, after, changed, out), nl=False)
        return
    _print(known, after, changed, edits)
    if out is not None:
        click.echo(f"still: {out}")


@dataclass(frozen=True)
class Recording:
    """What marking needs to know of a clip or saved track."""

    path: Path
    sha256: str
    times_s: np.ndarray[Any, Any]
    last_s: float
    picture: Picture | None
    mirrored: bool
    rotation_deg: int | None
    has_pictures: bool

    @classmethod
    def opened(cls, path: Path, mirrored: bool, rotate: str | None) -> Recording:
        """Read what there is without looking at the pictures."""
        from overlay.files import sha256_of
        from overlay.marks import Picture
        from overlay.pose import is_saved_track, load_track
        from overlay.video import open_clip

        rotation_deg = None if rotate is None else int(rotate)
        if is_saved_track(path):
            if rotation_deg is not None:
                raise InputError(f"{path.name} is a saved track; a rotation is for clips.", "Leave out --rotate.")
            track = load_track(path).track
            width, height = track.image_size
            picture = Picture(width, height, 0, mirrored) if width >= 1 and height >= 1 else None
            times = track.time_s
            return cls(path, sha256_of(path), times, float(times[-1]), picture, mirrored, None, False)
        with open_clip(path, mirrored=mirrored, rotation_deg=rotation_deg) as reader:
            clip = reader.clip
        last_s = max(clip.duration_s, float(clip.times_s[-1]))
        return cls(path, clip.content_hash, clip.times_s, last_s, Picture.of(clip), mirrored, rotation_deg, True)

    def frame_at(self, when: When) -> int:
        """The frame that is shown at a moment."""
        import numpy as np

        self.time_of(when)
        if when.frame is not None:
            return when.frame
        return max(0, int(np.searchsorted(self.times_s, (when.seconds or 0.0) + 1e-6, side="right")) - 1)

    def shown_at(self, time_s: float) -> str:
        """The frame of a mark in words, also of one the file has beyond the end."""
        return "after the end" if time_s > self.last_s + 1e-6 else f"f{self.frame_at(When(time_s))}"

    def time_of(self, when: When) -> float:
        """Seconds of a moment as it was typed; a frame stands for its own time.

        Raises
        ------
        InputError
            The recording has no such moment.
        """
        if when.frame is not None:
            if when.frame >= len(self.times_s):
                raise InputError(
                    f"{self.path.name} has the frames f0 to f{len(self.times_s) - 1}, so there is no f{when.frame}.",
                    "Frames are counted from 0; without the f the number is seconds.",
                )
            return float(self.times_s[when.frame])
        seconds = when.seconds or 0.0
        if seconds > self.last_s + 1e-6:
            raise InputError(
                f"{self.path.name} ends at {self.last_s:.2f} s, before {seconds:g} s.",
                "Give seconds on the clip's own clock, or a frame with an f before it (f117).",
            )
        return seconds

    def write_still(
        self, when: When, out: Path, window: tuple[float, float, float, float] | None, marks: Marks
    ) -> None:
        """The frame of a moment with rulers, and the club where it is marked on this frame."""
        from overlay.draw.ruler import ruled
        from overlay.video import open_clip
        from overlay.video.pictures import write_png

        if not self.has_pictures:
            raise InputError(f"{self.path.name} is a saved track, so there is no picture to show.", "Mark the clip.")
        index = self.frame_at(when)
        with open_clip(self.path, mirrored=self.mirrored, rotation_deg=self.rotation_deg) as reader:
            frame = reader.frame_at(float(self.times_s[index]))
        lines = [(m.grip, m.head) for m in marks.club if self.shown_at(m.time_s) == f"f{frame.index}"]
        title = f"{self.path.name}  f{frame.index}  {frame.time_s:.3f} s"
        write_png(out, ruled(frame.image, title, window=window, lines=lines))


Edit = Callable[["Marks", Recording], "Marks"]


def _set_position(name: str, when: When, also: bool) -> Edit:
    from overlay.marks import with_position

    return lambda marks, known: with_position(marks, name, known.time_of(when), also=also)


def _set_club(when: When, grip: tuple[float, float], head: tuple[float, float]) -> Edit:
    from overlay.data import ClubMark
    from overlay.errors import DataError
    from overlay.marks import with_club_mark
    from overlay.marks.document import inside

    def edit(marks: Marks, known: Recording) -> Marks:
        if known.picture is None:
            raise InputError(f"{known.path.name} tells no size of its picture.", "Mark the clip instead.")
        for what, point in (("grip", grip), ("club head", head)):
            if not inside(*point, known.picture):
                raise InputError(
                    f"The {what} at {point[0]:g}, {point[1]:g} lies outside the picture of "
                    f"{known.picture.width}×{known.picture.height} px.",
                    "Read the pixels off a picture with a grid: overlay mark CLIP --still WHEN --out still.png.",
                )
        # The pixels belong to the frame that was shown.
        time_s = float(known.times_s[known.frame_at(when)])
        try:
            return with_club_mark(marks, ClubMark(time_s, grip, head))
        except DataError as error:
            raise InputError(error.message, error.hint) from error

    return edit


def _remove(what: str, when: When | None) -> Edit:
    from overlay.data import Marks
    from overlay.marks import without_club_mark, without_position

    def at(known: Recording, *, frame: bool) -> float | None:
        if when is None:
            return None
        # A mark beyond the end, typed wrongly into the file, must be forgettable too.
        if when.seconds is not None and when.seconds > known.last_s:
            return when.seconds
        return float(known.times_s[known.frame_at(when)]) if frame else known.time_of(when)

    def edit(marks: Marks, known: Recording) -> Marks:
        if what == "all":
            return Marks()
        if what in ("view", "hand"):
            if (marks.view if what == "view" else marks.handedness) is None:
                raise InputError(f"The {what} is not marked, so it cannot be removed.", "--list shows all marks.")
            return replace(marks, view=None) if what == "view" else replace(marks, handedness=None)
        if what == "club":
            return without_club_mark(marks, at(known, frame=True))
        return without_position(marks, what, at(known, frame=False))

    return edit


def _print(known: Recording, marks: Marks, changed: tuple[Change, ...], edits: bool) -> None:
    from rich.table import Table

    from overlay.cli.show import console
    from overlay.marks import doubts, marks_path

    out = console()
    for change in changed:
        out.print(change.sentence, markup=False)
    if edits and not changed:
        out.print("Nothing changed: it was marked so already.", markup=False)
    if changed:
        out.print()
    if not marks:
        out.print(f"{known.path.name}: nothing is marked.", markup=False)
        return
    out.print(f"Marks of {known.path.name}, kept in {marks_path(known.path)}", markup=False)
    table = Table("mark", "time, s", "frame", "value", box=None, pad_edge=False)
    if marks.view is not None:
        table.add_row("view", "", "", VIEW_WORDS[marks.view])
    if marks.handedness is not None:
        table.add_row("hand", "", "", f"{marks.handedness}-handed")
    for position in marks.positions:
        row = (f"{position.time_s:.3f}", known.shown_at(position.time_s), "")
        table.add_row(words(position.name), *row)
    for club in marks.club:
        (gx, gy), (hx, hy) = club.grip, club.head
        value = f"grip {gx:g}, {gy:g} · head {hx:g}, {hy:g} px"
        table.add_row("club", f"{club.time_s:.3f}", known.shown_at(club.time_s), value)
    out.print(table)
    for doubt in doubts(marks):
        out.print(f"note: {doubt}", markup=False)


def _document(known: Recording, before: Marks, after: Marks, changed: tuple[Change, ...], still: Path | None) -> str:
    from overlay.documents import to_json
    from overlay.marks import doubts, marks_document, marks_path

    return to_json(
        {
            "schema": 1,
            "kind": "mark",
            "clip": str(known.path),
            "file": str(marks_path(known.path)) if after else None,
            "marks": marks_document(after, known.sha256, known.path.name, known.picture),
            "changes": [
                {"what": change.what, "before": change.before or None, "after": change.after or None}
                for change in changed
            ],
            "notes": list(doubts(after)),
            "still": None if still is None else str(still),
        }
    )
