"""A closer look at one swing: club, ball and strike, sharper positions, guide lines, measures, filming."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Sequence

from overlay.data import Clip, Measure, Swing
from overlay.pipeline.clips import ClipOptions, Closer, Inspection
from overlay.progress import SILENT, Progress

if TYPE_CHECKING:
    from overlay.checklist import ChecklistSpec
    from overlay.documents import Looked
    from overlay.video import Reader


@contextmanager
def opened(path: Path, clip: Clip | None) -> Iterator[Reader | None]:
    """The clip, opened again as it was read; None for a saved track, which has no pictures."""
    from overlay.video import open_clip

    if clip is None:
        yield None
        return
    with open_clip(
        path, mirrored=clip.mirrored, rotation_deg=clip.rotation_deg, capture_rate=clip.capture_rate
    ) as reader:
        yield reader


def look_closer(
    inspection: Inspection,
    number: int | None = None,
    options: ClipOptions | None = None,
    *,
    progress: Progress = SILENT,
) -> Inspection:
    """The inspection with one of its swings looked at closely: club, strike, refined positions, and ``closer``.

    Parameters
    ----------
    inspection : Inspection
    number : int or None
        Which swing; the last one for None.
    options : ClipOptions
        As the clip was inspected; its stature gives centimetres.

    Raises
    ------
    InputError
        There is no such swing, or the clip can no longer be read.
    """
    from overlay.filming import check_filming
    from overlay.guides import guide_lines
    from overlay.measure import measure_swing

    options = options or ClipOptions()
    swing = inspection.chosen(number)
    if swing.swing_number in inspection.closer:
        return inspection
    with opened(inspection.path, inspection.clip) as reader:
        looked = swing if reader is None else with_club_and_strike(reader, inspection, swing, progress)
        progress.stage("measuring")
        guides = guide_lines(looked)
        measures = measure_swing(looked, guides, stature_cm=options.stature_cm)
        filming = check_filming(
            reader,
            inspection.track,
            looked,
            inspection.masks,
            motion=looked.camera_motion,
            stature_cm=options.stature_cm,
        )
        progress.done()
    swings = tuple(looked if other is swing else other for other in inspection.swings)
    known = {**inspection.closer, looked.swing_number: Closer(guides, measures, filming)}
    return dataclasses.replace(inspection, swings=swings, closer=known)


def measured_again(
    inspection: Inspection, before: Swing, after: Swing, options: ClipOptions | None = None
) -> Inspection:
    """The inspection with ``before`` replaced by ``after``, whose positions are surer, and its measures read again.

    How it was filmed stays: the other positions do not move the camera.
    """
    from overlay.guides import guide_lines
    from overlay.measure import measure_swing

    swings = tuple(after if other is before else other for other in inspection.swings)
    known = dict(inspection.closer)
    looked = known.get(before.swing_number)
    if looked is not None:
        guides = guide_lines(after)
        stature_cm = None if options is None else options.stature_cm
        known[after.swing_number] = Closer(guides, measure_swing(after, guides, stature_cm=stature_cm), looked.filming)
    return dataclasses.replace(inspection, swings=swings, closer=known)


def with_club_and_strike(reader: Reader, inspection: Inspection, swing: Swing, progress: Progress = SILENT) -> Swing:
    """The swing with the movement of its picture, its club, its strike and the positions that they sharpen."""
    from overlay.club import small_side, track_club
    from overlay.positions import club_candidates, refine, strike_candidates
    from overlay.settings.club import ClubSettings
    from overlay.settings.video import ReaderSettings
    from overlay.steady import camera_motion
    from overlay.strike import find_strike, pictures_wanted
    from overlay.video import SharedReader, Wanted, read_sound

    # Decoded once for all three that look at the swing.
    wanted = []
    if math.isfinite(swing.torso_px) and swing.torso_px > 0:
        wanted.append(Wanted(swing.start_s, swing.stop_s, small_side(swing, ClubSettings())))
    ball = pictures_wanted(reader, swing)
    if ball is not None:
        wanted.append(Wanted(max(ball[0], swing.start_s), min(ball[1], swing.stop_s), ball[2]))
    reader = SharedReader(reader, wanted, ReaderSettings().shared_mb)
    masks, marks = inspection.masks, inspection.marks
    progress.stage("following the club")
    motion = camera_motion(reader, swing, masks)
    swing = dataclasses.replace(swing, camera_motion=motion)
    club = track_club(reader, swing, masks, marks=marks.club, motion=motion)
    swing = dataclasses.replace(swing, club=club)
    sound = read_sound(inspection.path, swing.start_s, swing.stop_s)
    strike = find_strike(reader, swing, masks, club=club, sound=sound, motion=motion)
    swing = dataclasses.replace(swing, strike=strike)
    swing = refine(
        swing,
        candidates=(*club_candidates(swing), *strike_candidates(swing)),
        marks=marks,
        others=inspection.swings,
    )
    progress.done()
    return swing


def looked_of(
    inspection: Inspection,
    number: int | None,
    spec: ChecklistSpec,
    *,
    reference: Sequence[Measure] | None = None,
) -> Looked:
    """A swing with everything a closer look gave, the checklist filled in.

    Parameters
    ----------
    inspection : Inspection
        Where the swing was not looked at closely, the result holds the swing alone.
    number : int or None
        Which swing; the last one for None.
    spec : ChecklistSpec
    reference : sequence of Measure, optional
        The reference's measures, to be held against.
    """
    from overlay.checklist import check_swing
    from overlay.documents import Looked

    swing = inspection.chosen(number)
    closer = inspection.closer.get(swing.swing_number)
    if closer is None:
        return Looked(swing)
    checklist = check_swing(closer.measures, swing.view, spec, reference=reference, filming=closer.filming)
    return Looked(swing, closer.guides, closer.measures, checklist, closer.filming)
