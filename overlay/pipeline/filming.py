"""The filming check of one recording, also of one in which no swing is found."""

from __future__ import annotations

import dataclasses
from pathlib import Path

from overlay.data import Clip, FilmingFinding, FilmingReport
from overlay.errors import ContentError
from overlay.pipeline.clips import ClipOptions, inspect_clip, read_track
from overlay.pipeline.closer import look_closer, opened
from overlay.progress import SILENT, Progress


def check_clip_filming(
    path: Path, options: ClipOptions | None = None, *, progress: Progress = SILENT
) -> tuple[Clip | None, FilmingReport]:
    """The filming check of a clip; what keeps a swing from being found is told as a finding, and so is a second person.

    Returns
    -------
    Clip or None
        None for a saved track.
    FilmingReport

    Raises
    ------
    InputError, SetupError
        The clip cannot be read, or the pose model is missing.
    """
    options = dataclasses.replace(options or ClipOptions(), allow_others=True)
    try:
        inspection = inspect_clip(path, options, progress=progress)
    except ContentError as error:
        return _without_swing(path, options, progress, error)
    swing = inspection.chosen(options.swing)
    inspection = look_closer(inspection, swing.swing_number, options, progress=progress)
    return inspection.clip, inspection.closer[swing.swing_number].filming


def _without_swing(
    path: Path, options: ClipOptions, progress: Progress, error: ContentError
) -> tuple[Clip | None, FilmingReport]:
    """What can be told of a clip in which no full swing was found."""
    from overlay.filming import check_filming

    problem = FilmingFinding("swing", float("nan"), "", None, "fail", error.message, error.hint)
    # Every frame has been looked at by now, or no swing would have been given up.
    loaded = read_track(path, dataclasses.replace(options, everywhere=True), progress)
    with opened(path, loaded.clip) as reader:
        report = check_filming(reader, loaded.track, None, loaded.masks, stature_cm=options.stature_cm)
    return loaded.clip, FilmingReport((problem, *report.findings))
