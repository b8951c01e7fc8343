"""From a swing in space and a student's clip to the reference that stands in the student's shoes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from overlay.data import FilmingReport, ReferenceFit, SpaceTrack, Swing
from overlay.fit import lens
from overlay.fit.estimate import Estimate, estimate, told_camera
from overlay.fit.figure import projected
from overlay.fit.habits import as_reported
from overlay.fit.seen import ROWS
from overlay.progress import SILENT, Progress
from overlay.settings.fit import FIT, FitSettings
from overlay.terms import words

_SAID: Mapping[str, str] = {
    "trunk": "The length of the trunk",
    "shoulder_width": "The width of the shoulders",
    "hip_width": "The width of the hips",
    "head": "The size of the head",
    "upper_arm": "The length of the upper arms",
    "forearm": "The length of the forearms",
    "hand": "The size of the hands",
    "thigh": "The length of the thighs",
    "shank": "The length of the shins",
    "foot": "The length of the feet",
}


def fit_in_space(
    space: SpaceTrack,
    student: Swing,
    *,
    second: Swing | None = None,
    filming: FilmingReport | None = None,
    settings: FitSettings = FIT,
    progress: Progress = SILENT,
) -> ReferenceFit:
    """Pose a swing in space on the student's body and show it by his camera.

    Parameters
    ----------
    space : SpaceTrack
        Of either hand; mirrored for a student of the other.
    student : Swing
        Down the line or face on.
    second : Swing, optional
        The other view of the same student: one body is found from both.
    filming : FilmingReport, optional
        Of the student's clip.
    progress : Progress
        Told what is being done.

    Returns
    -------
    ReferenceFit
        ``kind`` "space". ``swing`` runs on the clock of ``space`` and lies in px of the student's address frame;
        ``reported`` is the same as the student's pose model would report it, where its habits are known.

    Raises
    ------
    ContentError
        The view is neither of the two, no position was found, or too few joints are seen at address.
    MismatchError
        The two views show players of different hands.
    """
    progress.stage("finding the student's build and camera")
    told = estimate(space, (student,) if second is None else (student, second), filming, settings)
    seen = told.seen[0]
    model = told.posed(settings)
    camera = told.camera()
    if seen.handedness == "left":
        model, camera = model.mirrored(), lens.mirrored(camera, seen.image_size)
    swing = projected(model, camera, seen.view, seen.image_size)
    residual = _residual(told, settings)
    about_camera = told_camera(told, settings)
    return ReferenceFit(
        kind="space",
        swing=swing,
        factors=told.found.factors(),
        sd=_sd(told, settings),
        residual=residual,
        camera=camera,
        camera_sd=dict(about_camera.sd),
        notes=_notes(told, residual, settings),
        reported=as_reported(swing, student.pose.source, seen.torso_px),
    )


def _sd(told: Estimate, settings: FitSettings) -> dict[str, float]:
    """Part → SD; more where the model was not put in place at address."""
    worse = 1.0 if told.seen[0].anchor == "address" else settings.other_anchor
    return {part: worse * sd for part, sd in settings.part_sd[told.seen[0].view].items()}


def _residual(told: Estimate, settings: FitSettings) -> float:
    """Median distance at address of the posed model's joints from the student's, torso lengths."""
    seen = told.seen[0]
    model = told.posed(settings)
    at = int(np.argmin(np.abs(model.time_s - (model.positions.time(seen.anchor) or 0.0))))
    picture = told.camera().project(model.points[at])[list(ROWS)]
    return float(np.nanmedian(np.linalg.norm(picture - seen.points, axis=-1))) / seen.torso_px


def _notes(told: Estimate, residual: float, settings: FitSettings) -> tuple[str, ...]:
    seen, found = told.seen[0], told.found
    notes = []
    if seen.anchor != "address":
        notes.append(
            f"Address was not found: the model was put in the student's place at {words(seen.anchor)}, which is less "
            "sure."
        )
    unseen = [name for name, share in found.certainty().items() if share < settings.unseen_share]
    if len(unseen) > 4:
        notes.append(
            "Too little of the body could be measured in this clip; usual proportions are used for most of it."
        )
    else:
        notes.extend(
            f"{_SAID[name]} could not be seen from this side; the usual proportion is used." for name in unseen
        )
    feet = [np.isfinite(seen.points[ROWS.index(row), 0]) for row in (27, 28, 29, 30, 31, 32)]
    if sum(feet) < 4:
        notes.append("The feet are not all seen at address, so where the model stands is less sure.")
    if told.head_place is None and seen.anchor == "address":
        notes.append("Neither club nor ball was seen at address: the model's club lies where its hands put it.")
    if residual > settings.poor_residual:
        notes.append(
            f"The model does not come near the student's address (joints are {100 * residual:.0f} % of a torso length "
            "apart): the postures differ much, or the pose is unsure."
        )
    return tuple(notes)
