"""One recording: what a person may tell about it, and everything found in it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Mapping, NamedTuple

from overlay.data import Clip, FilmingReport, Guide, Marks, Measure, Model, PoseTrack, ReferenceFit, Swing
from overlay.errors import InputError
from overlay.progress import SILENT, Progress
from overlay.terms import VIEW_WORDS, Handedness, View

if TYPE_CHECKING:
    from overlay.pose import MaskTrack

SLOWED = 1.5
"""An estimated slow factor above this makes the cleaning run again in real time: below it the filter's cut-off
moves by less than the spread of human tempo does."""

SURE = 0.95
"""What was told is doubted only when the picture is this sure of the contrary."""


@dataclass(frozen=True)
class ClipOptions:
    """What a person may tell about a clip. None: find it out."""

    view: View | None = None
    handedness: Handedness | None = None
    capture_rate: Fraction | None = None
    mirrored: bool = False
    rotation_deg: int | None = None
    swing: int | None = None
    """Which swing of the recording, from 1. None: the last one, the rep just made."""
    use_cache: bool = True
    allow_others: bool = False
    """Go on when a second person is in the picture."""
    stature_cm: float | None = None
    """The player's body height, for measures in centimetres and the camera's distance."""


@dataclass(frozen=True)
class Closer:
    """What a closer look at one swing gave beside what the swing itself holds (club, strike, positions)."""

    guides: tuple[Guide, ...]
    measures: tuple[Measure, ...]
    filming: FilmingReport


@dataclass(frozen=True)
class Inspection:
    """Everything found in one recording."""

    path: Path
    clip: Clip | None
    track: PoseTrack
    """Cleaned, the whole recording."""
    masks: MaskTrack | None
    swings: tuple[Swing, ...]
    notes: tuple[str, ...] = ()
    marks: Marks = field(default_factory=Marks)
    """What a person corrected by hand."""
    closer: Mapping[int, Closer] = field(default_factory=dict)
    """Swing number → what a closer look gave; only of the swings that were asked for."""
    model: Model | None = None
    """The kept reference that this stands for; there is no recording then."""
    fit: ReferenceFit | None = None
    """How a swing in space was posed on the student; its ``swing`` is the one of ``swings``."""

    @property
    def has_pictures(self) -> bool:
        return self.clip is not None

    def chosen(self, number: int | None) -> Swing:
        """The swing of that number, the last one for None.

        Raises
        ------
        InputError
            There is no swing of that number.
        """
        if number is None:
            return self.swings[-1]
        for swing in self.swings:
            if swing.swing_number == number:
                return swing
        raise InputError(
            f"{self.path.name} has {len(self.swings)} swing(s), so there is no swing {number}.",
            f"Choose one from 1 to {len(self.swings)}; `overlay inspect` lists them.",
        )


def inspect_clip(path: Path, options: ClipOptions | None = None, *, progress: Progress = SILENT) -> Inspection:
    """Read a clip or saved track and find its swings.

    Parameters
    ----------
    path : Path
        A video, a folder of stills, or a saved track (.csv, .npz).
    options : ClipOptions
    progress : Progress

    Raises
    ------
    InputError
        The file cannot be read.
    ContentError
        No person, two people, a cut-off body, or no full swing.
    """
    from overlay.clean import clean
    from overlay.positions import find_swings, refine

    options = options or ClipOptions()
    raw, clip, masks, view, handedness, notes = read_track(path, options, progress)
    marks = _marks(path, clip, raw, options)
    view = marks.view or view
    handedness = marks.handedness or handedness

    known = 1.0 if clip is None else clip.slow_factor
    progress.stage("finding the swing")
    track = clean(raw, slow_factor=known)
    swings = find_swings(track, clip, view=view, handedness=handedness)
    if clip is None or clip.capture_rate is None:
        # The filter's cut-off is in real Hz, and only the swing itself tells how much a clip is slowed.
        factors = [swing.quality.get("slow_factor_estimate", 1.0) for swing in swings]
        slowed = sorted(factors)[len(factors) // 2]
        if slowed > SLOWED:
            track = clean(raw, slow_factor=slowed)
            swings = find_swings(track, clip, view=view, handedness=handedness)
    swings = tuple(refine(swing, marks=marks, track=track, others=swings) for swing in swings)
    notes = (*notes, *_doubts(track, view, handedness))
    progress.done()
    return Inspection(path, clip, track, masks, swings, notes, marks)


def _doubts(track: PoseTrack, view: View | None, handedness: Handedness | None) -> tuple[str, ...]:
    """Sentences where what was told contradicts what the picture clearly shows."""
    from overlay.view import handedness_from_cues, side_cues, view_from_cues

    cues = side_cues(track) if view is not None or handedness is not None else ()
    if not cues:
        return ()
    doubts = []
    seen = view_from_cues(cues[0])
    if view is not None and seen.view not in (view, "other") and seen.confidence >= SURE:
        doubts.append(f"Told {VIEW_WORDS[view]}, but the picture looks {VIEW_WORDS[seen.view]}: check it.")
    hand = handedness_from_cues(cues[0], view or seen.view)
    if handedness is not None and hand.handedness != handedness and hand.confidence >= SURE:
        doubts.append(
            f"Told {handedness}-handed, but the picture looks {hand.handedness}-handed: check the hand, and "
            "whether the clip is mirrored."
        )
    return tuple(doubts)


def _marks(path: Path, clip: Clip | None, track: PoseTrack, options: ClipOptions) -> Marks:
    """What was marked by hand; a view or hand that is said now wins against one that was marked then."""
    from overlay.files import sha256_of
    from overlay.marks import Picture, load_marks

    if clip is not None:
        marks = load_marks(path, clip.content_hash, picture=Picture.of(clip))
    else:
        width, height = track.image_size
        picture = Picture(width, height, 0, options.mirrored) if width >= 1 and height >= 1 else None
        marks = load_marks(path, sha256_of(path), picture=picture)
    return replace(marks, view=options.view or marks.view, handedness=options.handedness or marks.handedness)


class Loaded(NamedTuple):
    """The raw joints of a recording, and what came with them."""

    track: PoseTrack
    clip: Clip | None
    masks: MaskTrack | None
    view: View | None
    handedness: Handedness | None
    notes: tuple[str, ...]


def read_track(path: Path, options: ClipOptions, progress: Progress) -> Loaded:
    """The joints of a clip by the pose model, or those of a saved track. Raises as ``inspect_clip``."""
    from overlay.pose import is_saved_track, load_track, track_clip
    from overlay.pose.people import check_one_person

    if is_saved_track(path):
        if options.rotation_deg is not None or options.capture_rate is not None:
            raise InputError(
                f"{path.name} is a saved track; a rotation and a capture rate are for clips.",
                "Leave out --rotate and --capture-rate (--reference-rotate, --reference-capture-rate).",
            )
        saved = load_track(path)
        track, handedness = saved.track, saved.handedness
        if options.mirrored:
            track = track.mirrored()
            # The header tells the hand of the player as the track shows him, and the flip turns that over too.
            handedness = None if handedness is None else "left" if handedness == "right" else "right"
        return Loaded(track, None, None, saved.view, handedness, ("No pictures: a saved track.",))
    if not options.allow_others:
        check_one_person(
            path,
            mirrored=options.mirrored,
            rotation_deg=options.rotation_deg,
            progress=progress,
            use_cache=options.use_cache,
        )
    result = track_clip(
        path,
        mirrored=options.mirrored,
        rotation_deg=options.rotation_deg,
        capture_rate=options.capture_rate,
        progress=progress,
        use_cache=options.use_cache,
    )
    return Loaded(result.track, result.clip, result.masks, None, None, tuple(result.clip.warnings))
