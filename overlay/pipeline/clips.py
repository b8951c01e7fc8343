"""One recording: what a person may tell about it, and everything found in it."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Mapping, NamedTuple

import numpy as np

from overlay.data import Clip, FilmingReport, Guide, Marks, Measure, Model, PoseTrack, ReferenceFit, Swing
from overlay.errors import ContentError, InputError
from overlay.progress import SILENT, Progress
from overlay.terms import VIEW_WORDS, Handedness, View

if TYPE_CHECKING:
    from overlay.activity import Stretches
    from overlay.pose import MaskTrack

SLOWED = 1.5
"""An estimated slow factor above this makes the cleaning run again in real time: below it the filter's cut-off
moves by less than the spread of human tempo does."""

ALL_BEFORE, ALL_AFTER = 11.5, 17.5
"""Downswings before and after impact in which a swing's positions are searched, and a little more."""

MARK_ROOM_S = 1.0
"""A mark nearer than this to an end of a stretch needs what lies beyond it, real seconds."""

ACTIVITY_VERSION = 1
"""Changed whenever the same settings give other stretches."""

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
    everywhere: bool = False
    """Look for the body in every frame, not only where something like a swing was found to happen."""


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
    """Cleaned; the whole recording, or the stretches of it that were looked at, one after the other."""
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
    from overlay.positions import refine

    options = options or ClipOptions()
    loaded = read_track(path, options, progress)
    marks = _marks(path, loaded.clip, loaded.track, options)
    if loaded.stretches is not None and not _marks_inside(marks, loaded.stretches, loaded.clip):
        loaded = read_track(path, replace(options, everywhere=True), progress)
    progress.stage("finding the swing")
    loaded, track, swings = _found_safely(path, options, loaded, marks, progress)
    swings = tuple(refine(swing, marks=marks, track=track, others=swings) for swing in swings)
    notes = (*loaded.notes, *_doubts(_clearest(track, loaded.stretches, swings), *_told(loaded, marks)))
    progress.done()
    return Inspection(path, loaded.clip, track, loaded.masks, swings, notes, marks)


def _told(loaded: Loaded, marks: Marks) -> tuple[View | None, Handedness | None]:
    """View and hand as marked or told."""
    return marks.view or loaded.view, marks.handedness or loaded.handedness


def _found_safely(
    path: Path, options: ClipOptions, loaded: Loaded, marks: Marks, progress: Progress
) -> tuple[Loaded, PoseTrack, tuple[Swing, ...]]:
    """The swings; where a stretch proves too narrow for one it is widened, and where none is found all is looked at."""
    # Once widened to all that a swing is searched in, a stretch is wide enough; twice is for one that was misjudged.
    for _ in range(2):
        if loaded.stretches is None:
            break
        try:
            track, swings = _found(loaded, marks)
        except ContentError:
            loaded = read_track(path, replace(options, everywhere=True), progress)
            break
        wider = _wide_enough(loaded, swings)
        if wider is None:
            return loaded, track, swings
        loaded = _loaded_clip(path, options, wider, progress)
    track, swings = _found(loaded, marks)
    return loaded, track, swings


def _found(loaded: Loaded, marks: Marks) -> tuple[PoseTrack, tuple[Swing, ...]]:
    """The cleaned track, and the swings in it."""
    from overlay.positions import find_swings

    clip, stretches = loaded.clip, loaded.stretches
    spans = None if stretches is None else stretches.stretches
    view, handedness = _told(loaded, marks)
    track = _cleaned(loaded.track, stretches, 1.0 if clip is None else clip.slow_factor)
    swings = find_swings(track, clip, view=view, handedness=handedness, stretches=spans)
    if clip is None or clip.capture_rate is None:
        # The filter's cut-off is in real Hz, and only the swing itself tells how much a clip is slowed.
        factors = [swing.quality.get("slow_factor_estimate", 1.0) for swing in swings]
        slowed = sorted(factors)[len(factors) // 2]
        if slowed > SLOWED:
            track = _cleaned(loaded.track, stretches, slowed)
            swings = find_swings(track, clip, view=view, handedness=handedness, stretches=spans)
    return track, swings


def _cleaned(raw: PoseTrack, stretches: Stretches | None, slow_factor: float) -> PoseTrack:
    """The track cleaned, each stretch on its own: nothing is bridged or smoothed from one to the next."""
    from overlay.clean import clean
    from overlay.pose import joined_tracks

    if stretches is None:
        return clean(raw, slow_factor=slow_factor)
    parts = [part for a, b in stretches.stretches if len(part := raw.between(a - 1e-6, b + 1e-6))]
    return joined_tracks([clean(part, slow_factor=slow_factor) for part in parts])


def _wide_enough(loaded: Loaded, swings: tuple[Swing, ...]) -> Stretches | None:
    """None when every swing has all that it is searched in, or as much as it needs; wider stretches otherwise."""
    from overlay.activity import widened
    from overlay.positions.notes import FINISH_AT_THE_END

    clip, stretches = loaded.clip, loaded.stretches
    assert clip is not None
    assert stretches is not None
    first_s, last_s = float(clip.times_s[0]), float(clip.times_s[-1])
    frame_s = float(np.median(np.diff(clip.times_s)))
    asked = []
    for swing in swings:
        middle_s = 0.5 * (swing.start_s + swing.stop_s)
        start, stop = next(span for span in stretches.stretches if span[0] - 1e-6 <= middle_s <= span[1] + 1e-6)
        times = swing.positions.times()
        unit_s = frame_s * swing.quality.get("frames_per_downswing", 20.0)
        early = start > first_s and (("address" not in times) or swing.start_s <= start + frame_s)
        late = stop < last_s and (
            "finish" not in times or swing.stop_s >= stop - frame_s or FINISH_AT_THE_END in swing.notes
        )
        impact_s = times.get("impact", times.get("top", middle_s))
        before_s = max(0.0, start - (impact_s - ALL_BEFORE * unit_s)) if early else 0.0
        after_s = max(0.0, (impact_s + ALL_AFTER * unit_s) - stop) if late else 0.0
        if before_s > frame_s or after_s > frame_s:
            asked.append((middle_s, before_s, after_s))
    wider = stretches
    for middle_s, before_s, after_s in asked:
        which = next(i for i, span in enumerate(wider.stretches) if span[0] - 1e-6 <= middle_s <= span[1] + 1e-6)
        wider = widened(wider, clip, which, before_s, after_s)
    return wider if asked else None


def _marks_inside(marks: Marks, stretches: Stretches, clip: Clip | None) -> bool:
    """Whether everything marked lies well inside a stretch."""
    assert clip is not None
    first_s, last_s = float(clip.times_s[0]), float(clip.times_s[-1])
    room = MARK_ROOM_S * max(1.0, clip.slow_factor)
    roomy = [
        (first_s if start <= first_s else start + room, math.inf if stop >= last_s else stop - room)
        for start, stop in stretches.stretches
    ]
    times = [*(mark.time_s for mark in marks.positions), *(mark.time_s for mark in marks.club)]
    return all(any(start <= time_s <= stop for start, stop in roomy) for time_s in times)


def _clearest(track: PoseTrack, stretches: Stretches | None, swings: tuple[Swing, ...]) -> PoseTrack:
    """The stretch that view and hand are looked at in: the first with a swing; all of it without stretches."""
    if stretches is None:
        return track
    at = swings[0].positions.time("impact") or swings[0].start_s
    span = next((span for span in stretches.stretches if span[0] <= at <= span[1]), stretches.stretches[0])
    return track.between(span[0] - 1e-6, span[1] + 1e-6)


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
    stretches: Stretches | None = None
    """Where the body was looked for; None: in every frame."""


def read_track(path: Path, options: ClipOptions, progress: Progress) -> Loaded:
    """The joints of a clip by the pose model, or those of a saved track. Raises as ``inspect_clip``."""
    from overlay.pose import is_saved_track, load_track

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
    return _loaded_clip(path, options, None if options.everywhere else _stretches(path, options, progress), progress)


def _loaded_clip(path: Path, options: ClipOptions, stretches: Stretches | None, progress: Progress) -> Loaded:
    """The joints of a clip, in all of it or in stretches."""
    from overlay.pose import track_clip
    from overlay.pose.people import Glimpses, check_one_person
    from overlay.video import open_clip

    if stretches is not None and stretches.whole:
        stretches = None
    spans = None if stretches is None else stretches.stretches
    with open_clip(path, mirrored=options.mirrored, rotation_deg=options.rotation_deg) as reader:
        glimpses = None if options.allow_others else Glimpses.of(reader.clip, spans)

    def check() -> None:
        check_one_person(
            path,
            mirrored=options.mirrored,
            rotation_deg=options.rotation_deg,
            progress=progress,
            use_cache=options.use_cache,
            stretches=spans,
            glimpses=glimpses,
        )

    if not options.allow_others and glimpses is None:
        check()
    result = track_clip(
        path,
        mirrored=options.mirrored,
        rotation_deg=options.rotation_deg,
        capture_rate=options.capture_rate,
        progress=progress,
        use_cache=options.use_cache,
        stretches=spans,
        watch=None if glimpses is None else glimpses.see,
    )
    if glimpses is not None:
        check()
    return Loaded(result.track, result.clip, result.masks, None, None, tuple(result.clip.warnings), stretches)


def _stretches(path: Path, options: ClipOptions, progress: Progress) -> Stretches:
    """Where something like a swing happens, kept for the next run."""
    from overlay.activity import Stretches, find_stretches
    from overlay.pose import cache
    from overlay.settings.activity import ActivitySettings
    from overlay.video import open_clip

    settings = ActivitySettings()
    with open_clip(
        path, mirrored=options.mirrored, rotation_deg=options.rotation_deg, capture_rate=options.capture_rate
    ) as reader:
        clip = reader.clip
        key = cache.key_of(
            {
                "stretches": ACTIVITY_VERSION,
                "clip": clip.content_hash,
                "capture_rate": clip.capture_rate,
                "settings": asdict(settings),
            }
        )
        known = cache.kept_note(key) if options.use_cache else None
        found = None if known is None else Stretches.from_text(known, clip)
        if found is None:
            found = find_stretches(reader, settings, progress=progress)
            if found.activity is not None:
                cache.keep_note(key, found.to_text())
        return found
