"""Models from recordings: a swing kept, several brought to their middle, one made from a coach's numbers."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from overlay import __version__
from overlay.data import FilmingReport, KeptPictures, Measure, Model, PoseTrack, Provenance, Swing, TimeMap, ViewPair
from overlay.errors import ContentError
from overlay.models import (
    Amount,
    Library,
    is_model_file,
    keep_pictures,
    kept_size,
    kept_swing,
    kept_times,
    real_factor,
    tidy,
)
from overlay.pipeline.clips import ClipOptions, Inspection
from overlay.pipeline.closer import opened
from overlay.pipeline.comparing import inspect_all
from overlay.pipeline.views import BOTH, Seen, paired
from overlay.progress import SILENT, Progress
from overlay.terms import View

if TYPE_CHECKING:
    from overlay.arrays import FloatArray, Image


@dataclass(frozen=True)
class Told:
    """What a person says of a model.

    Attributes
    ----------
    name : str
    player, club_kind, note : str
        In the person's own words; "" when not told.
    pictures : "none", "positions" or "ghost"
        How much of the player is kept as cut-outs beside the drawn figure.
    """

    name: str
    player: str = ""
    club_kind: str = ""
    note: str = ""
    pictures: Amount = "none"


def find_model(name: str, library: Library) -> Model:
    """The model of a file (.swing) or of a name in the library.

    Raises
    ------
    InputError
        There is none, or it is damaged.
    """
    from overlay.models import load_model

    path = Path(name)
    if is_model_file(path) or len(path.parts) > 1:
        return load_model(path)
    return library.get(name)


def keep_clip(
    path: Path,
    told: Told,
    options: ClipOptions | None = None,
    *,
    second: Path | None = None,
    second_options: ClipOptions | None = None,
    offset_s: float | None = None,
    progress: Progress = SILENT,
) -> Model:
    """A swing of a recording as a model, with its other view when there is one.

    Parameters
    ----------
    path : Path
        A clip, a folder of stills, or a saved track.
    told : Told
    options : ClipOptions
        Its ``swing`` says which swing of the recording is kept; the last one by default.
    second : Path, optional
        The other view of the same swing, or of another swing of the same player.
    second_options : ClipOptions
    offset_s : float, optional
        Told by hand: time on the face-on clip at time 0 of the down-the-line clip, s of playback.
    progress : Progress

    Raises
    ------
    InputError, ContentError
        As ``inspect_clip``; ContentError also when pictures are asked for and there are none.
    MismatchError
        The two clips show the same view, or players of different hands.
    """
    given = [(path, options or ClipOptions())]
    if second is not None:
        given.append((second, second_options or ClipOptions()))
    if told.pictures != "none":
        from overlay.pose import is_saved_track

        for one, _ in given:
            if is_saved_track(one):
                raise ContentError(
                    f"{one.name} is a saved track: there are no pictures to keep.",
                    "Leave out --pictures, or give the clip.",
                )
    seen = Seen((given[0][0], given[1][0]), (given[0][1], given[1][1]), offset_s) if len(given) == 2 else None
    inspections = inspect_all(given, progress=progress)
    pair_map = None
    if seen is not None:
        found = paired(inspections, seen, progress=progress)
        pair_map = kept_map(found.pair)
        chosen = [(found.inspections[view], found.swing(view)) for view in BOTH]
    else:
        chosen = [(inspections[0], inspections[0].chosen(given[0][1].swing))]
    taken = [_Taken.of(inspection, swing, told.pictures, progress) for inspection, swing in chosen]
    made = Provenance(
        made_at=now(),
        made_by=f"overlay {__version__}",
        pose_model=pose_models([one.kept for one in taken]),
        sources=tuple(one.label for one in taken),
        notes=(tidy(told.note, 1000),) if told.note.strip() else (),
    )
    return Model(
        name=told.name,
        kind="swing",
        swings={one.kept.view: one.kept for one in taken},
        pictures={one.kept.view: one.pictures for one in taken if one.pictures is not None},
        filming={one.kept.view: one.filming for one in taken},
        pair_map=pair_map,
        club_kind=tidy(told.club_kind, 100),
        player=tidy(told.player, 100),
        provenance=made,
    )


@dataclass(frozen=True)
class _Taken:
    """One view of a swing, ready to be kept."""

    label: str
    kept: Swing
    filming: FilmingReport
    pictures: KeptPictures | None

    @classmethod
    def of(cls, inspection: Inspection, swing: Swing, amount: Amount, progress: Progress) -> _Taken:
        return cls(
            tidy(f"{inspection.path.name}, swing {swing.swing_number}"),
            kept_swing(swing),
            tidied(inspection.closer[swing.swing_number].filming),
            cut_outs(inspection, swing, amount, progress=progress),
        )


def tidied(report: FilmingReport) -> FilmingReport:
    """A filming report as it may be kept: every text one harmless line."""
    return FilmingReport(
        tuple(replace(one, sentence=tidy(one.sentence, 1000), advice=tidy(one.advice, 1000)) for one in report.findings)
    )


def kept_map(pair: ViewPair) -> TimeMap:
    """Down-the-line → face-on time on the clocks of the kept swings.

    Its diagnostics say whether it is ``one_swing`` under two cameras, its notes what that rests on.
    """
    by, to = real_factor(pair.dtl), real_factor(pair.fo)
    known = pair.time_map
    return replace(
        known,
        student_s=known.student_s / by,
        reference_s=known.reference_s / to,
        outer_slope=known.outer_slope * by / to,
        diagnostics={**known.diagnostics, "one_swing": float(pair.one_swing), "sd_s": float(pair.sd_s)},
        notes=tuple(tidy(note, 1000) for note in (*pair.evidence, *known.notes)),
    )


def cut_outs(
    inspection: Inspection, swing: Swing, amount: Amount, *, progress: Progress = SILENT
) -> KeptPictures | None:
    """The player cut out of his frames, on the clock of ``kept_swing``; None for "none".

    Raises
    ------
    ContentError
        There are no pictures, or nobody was found in them.
    """
    clip, masks = inspection.clip, inspection.masks
    if amount == "none":
        return None
    if clip is None or masks is None:
        raise ContentError(
            f"{inspection.path.name} has no pictures that could be kept.", "Leave out --pictures, or give a clip."
        )
    slow = clip.slow_factor
    if clip.capture_rate is None:
        slow = max(1.0, float(swing.quality.get("slow_factor_estimate", 1.0)))
    inside = (clip.times_s >= swing.start_s - 1e-6) & (clip.times_s <= swing.stop_s + 1e-6)
    times_s = kept_times(clip.times_s[inside], swing.positions.times().values(), amount, slow_factor=slow)
    if not len(times_s):
        raise ContentError(
            f"{inspection.path.name} shows no position that could be kept as a picture.", "Leave out --pictures."
        )
    progress.stage("cutting out the player", total=len(times_s))
    kept = keep_pictures(_cut(inspection, times_s, real_factor(swing), progress))
    progress.done()
    return kept


def _cut(
    inspection: Inspection, times_s: FloatArray, factor: float, progress: Progress
) -> Iterator[tuple[float, Image, Image]]:
    import cv2

    from overlay.draw import person_alpha
    from overlay.video import follow

    clip, masks = inspection.clip, inspection.masks
    assert clip is not None
    assert masks is not None
    width, height = kept_size((clip.width, clip.height))
    with opened(inspection.path, clip) as reader:
        assert reader is not None
        # Half a microsecond: a frame time must find its own frame whatever rounding it went through.
        frames = follow(reader, [float(time_s) + 5e-7 for time_s in times_s], max_side=max(width, height))
        for time_s, frame in zip(times_s, frames):
            picture = frame.image
            if picture.shape[:2] != (height, width):
                picture = cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA)
            mask = masks.at(float(time_s))
            grow = np.array([[width / mask.shape[1], 0.0, 0.0], [0.0, height / mask.shape[0], 0.0]])
            yield float(time_s) / factor, np.ascontiguousarray(picture), person_alpha(mask, picture, grow)
            progress.advance()


def now() -> str:
    """The time as models keep it: ISO 8601, UTC, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def pose_models(swings: Sequence[Swing]) -> str:
    """What the joints of the swings were found by."""

    def said(track: PoseTrack) -> str:
        return " ".join(part for part in (track.source, track.model) if part)

    return tidy(", ".join(dict.fromkeys(said(swing.pose) for swing in swings)))


def seen_swings(model: Model) -> dict[View, Swing]:
    """The swing in every view the model has; of a swing in space as a well placed camera sees it."""
    if model.space is None:
        return dict(model.swings)
    from overlay.maker import seen_from

    return {view: seen_from(model.space, view) for view in model.views}


def measured(swing: Swing) -> tuple[Measure, ...]:
    """The measures of a kept swing."""
    from overlay.guides import guide_lines
    from overlay.measure import measure_swing

    return measure_swing(swing, guide_lines(swing))
