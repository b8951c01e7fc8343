"""Camera, segment lengths, stance and ball of a student from his own clip."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Camera, FilmingReport, SpaceTrack, Swing
from overlay.errors import MismatchError
from overlay.fit import lens
from overlay.fit.looks import looks_of
from overlay.fit.probable import Evidence, Found, find
from overlay.fit.retarget import Stance, pose_skeleton
from overlay.fit.seen import Seen, look
from overlay.fit.skeleton import Skeleton
from overlay.fit.stand import Standing
from overlay.settings.fit import FIT, FitSettings


@dataclass(frozen=True)
class CameraEstimate:
    """Where the student's camera stands, and how sure that is.

    Attributes
    ----------
    camera : Camera
        In the axes of a swing of the student's hand.
    sd : mapping name → SD
        ``height_m``, ``distance_m``, ``offset_m``, ``side_m``, ``yaw_deg``, ``pitch_deg``, ``roll_deg``, ``fov_deg``.
        Lengths are those of a player as tall as the model.
    values : mapping name → value
        The same names, in a right-hander's picture.
    draws : tuple of Camera
        Equally probable cameras.
    factors : mapping segment → student's length ÷ the model's
    certainty : mapping segment → 0–1
        0: the picture says nothing, the usual proportion is taken.
    misfit : float
        Root mean square of the joints' residuals, in standard deviations.
    """

    camera: Camera
    sd: Mapping[str, float]
    values: Mapping[str, float]
    draws: tuple[Camera, ...]
    factors: Mapping[str, float]
    certainty: Mapping[str, float]
    misfit: float


@dataclass(frozen=True)
class Estimate:
    """Everything that was found, in a right-hander's picture.

    Attributes
    ----------
    skeleton : Skeleton
    seen : tuple of Seen
        One a view, the student's own first.
    found : Found
    standing : tuple of Standing
    head_place : (3,) m or None
        Where the club head lies at address.
    """

    skeleton: Skeleton
    seen: tuple[Seen, ...]
    standing: tuple[Standing, ...]
    found: Found
    head_place: FloatArray | None

    def camera(self, values: FloatArray | None = None, view: int = 0) -> Camera:
        """The camera of one view, of the most probable answer or of a row of ``found.drawn``."""
        found = self.found if values is None else replace(self.found, values=values)
        return lens.camera_of(found.camera(view), self.seen[view].view, self.seen[view].image_size)

    def stance(self, values: FloatArray | None = None, view: int = 0) -> Stance:
        found = self.found if values is None else replace(self.found, values=values)
        return self.standing[view].stance(found.stance(view), found.log_factors)

    def posed(self, settings: FitSettings, values: FloatArray | None = None) -> SpaceTrack:
        """The model on the student's body, right-handed."""
        found = self.found if values is None else replace(self.found, values=values)
        return pose_skeleton(self.skeleton, found.factors(), self.stance(values), self.head_place, settings.retarget)


def estimate(
    space: SpaceTrack,
    swings: tuple[Swing, ...],
    filming: FilmingReport | None,
    settings: FitSettings,
) -> Estimate:
    """Find camera, lengths, stance and ball; see the package."""
    right = space.mirrored() if space.handedness == "left" else space
    skeleton = Skeleton.of(right, settings.retarget)
    seen = tuple(look(swing, settings) for swing in swings)
    if len({one.handedness for one in seen}) > 1:
        raise MismatchError("The two views show players of different hands.", "Give two views of one player.")
    standing = tuple(Standing.of(skeleton, _frame(right, one.anchor)) for one in seen)
    evidence = [
        Evidence(one, stand, (), _told(filming) if k == 0 else ()) for k, (one, stand) in enumerate(zip(seen, standing))
    ]
    found = find(evidence, skeleton, settings)
    head_place = None
    for _ in range(2):
        told = Estimate(skeleton, seen, standing, found, head_place)
        model = told.posed(settings)
        evidence = [
            replace(
                view,
                looks=looks_of(view.seen, model, told.camera(view=k), found.camera(k), found.factors(), settings),
            )
            for k, view in enumerate(evidence)
        ]
        found = find(evidence, skeleton, settings, found)
    told = Estimate(skeleton, seen, standing, found, None)
    return replace(told, head_place=_head_place(told, settings))


def _frame(space: SpaceTrack, name: str) -> int:
    time_s = space.positions.time(name)
    if time_s is None:
        raise MismatchError(
            f"The model has no {name.replace('_', ' ')}, the first position found in the student's swing.",
            "Mark the address of the student's swing by hand.",
        )
    return int(np.argmin(np.abs(space.time_s - time_s)))


def _told(filming: FilmingReport | None) -> tuple[tuple[int, float, float], ...]:
    """What the filming check says of the camera's direction: (number of the camera value, rad, SD).

    It knows the pose model's habits and the lines of the background, which the fit does not look at.
    """
    out = []
    for name, which in (("yaw", lens.AZIMUTH), ("roll", lens.ROLL)):
        finding = None if filming is None else filming.get(name)
        if finding is None or finding.interval is None or not math.isfinite(finding.value):
            continue
        sd = (finding.interval[1] - finding.interval[0]) / 3.92
        out.append((which, math.radians(finding.value), math.radians(max(sd, 0.3))))
    return tuple(out)


def _head_place(told: Estimate, settings: FitSettings) -> FloatArray | None:
    """(3,) m where the club head lies at address, from club head or ball in the picture and from where the model's
    club would lie under the hands; None when neither was seen."""
    seen = told.seen[0]
    if seen.head_px is None and seen.ball_px is None:
        return None
    model = told.posed(settings)
    first = told.skeleton.address
    usual = model.club_head[first]
    camera = told.camera()
    observed = [(seen.head_px, np.zeros(3))]
    if model.ball is not None:
        observed.append((seen.ball_px, model.ball - usual))
    place = usual.copy()
    sd_px = settings.head_sd * seen.torso_px
    for _ in range(6):
        normal, right = np.eye(2) / settings.head_place_sd_m**2, (usual - place)[:2] / settings.head_place_sd_m**2
        for pixel, beside in observed:
            if pixel is None:
                continue
            here = camera.project(place + beside)
            slope = np.stack(
                [(camera.project(place + beside + 1e-4 * axis) - here) / 1e-4 for axis in np.eye(3)[:2]], axis=1
            )
            normal = normal + slope.T @ slope / sd_px**2
            right = right + slope.T @ (pixel - here) / sd_px**2
        place[:2] += np.linalg.solve(normal, right)
    return place


def told_camera(told: Estimate, settings: FitSettings, view: int = 0) -> CameraEstimate:
    """The estimate of one view's camera, in the axes of the student's own hand."""
    seen, found = told.seen[view], told.found
    hands = told.standing[view].hands(found.stance(view), found.log_factors, found.ways(view))
    cameras = [told.camera(view=view)] + [told.camera(values, view) for values in found.drawn(settings.n_draws)]
    return camera_estimate(cameras, found, seen, hands, view)


def camera_estimate(
    cameras: Sequence[Camera], found: Found, seen: Seen, hands: FloatArray, view: int
) -> CameraEstimate:
    """What was found of one view's camera, in the axes of the student's own hand.

    Parameters
    ----------
    cameras : sequence of Camera
        The likeliest first, then the draws; of a right-hander's picture.
    found : Found
    seen : Seen
        What was read off that view.
    hands : (3,) float, m
        Where the hands are at address.
    view : int
        Which of the views in ``found``.
    """
    if seen.handedness == "left":
        cameras = [lens.mirrored(camera, seen.image_size) for camera in cameras]
    return CameraEstimate(
        cameras[0],
        lens.told_sd(found.camera(view), found.camera_covariance(view), seen.view, hands),
        lens.told(found.camera(view), seen.view, hands),
        tuple(cameras[1:]),
        found.factors(),
        found.certainty(),
        found.misfit,
    )


def estimate_camera(
    space: SpaceTrack,
    swing: Swing,
    *,
    second: Swing | None = None,
    filming: FilmingReport | None = None,
    settings: FitSettings = FIT,
) -> CameraEstimate:
    """The camera of a clip, from how the player stands at address and how long his segments look.

    Parameters
    ----------
    space : SpaceTrack
        A swing in space, whose posture at address the player's is near to; of either hand.
    swing : Swing
    second : Swing, optional
        The other view of the same player; his segment lengths are then told by both.
    filming : FilmingReport, optional
        Of the clip: its tilt, which may have been read from the background, is used.

    Raises
    ------
    ContentError
        The view is neither of the two, or too little is seen.
    MismatchError
        The two views are of different hands.
    """
    swings = (swing,) if second is None else (swing, second)
    return told_camera(estimate(space, swings, filming, settings), settings)
