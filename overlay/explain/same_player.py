"""Where two cameras stood that filmed one and the same player: both found together.

How a player is built does not change with the months, how he stands at address changes little, and the pose model's
habits with him stay what they are. What of a picture could be build, posture, habit or camera is therefore the same in
both clips, and their *difference* is much better known than either camera by itself. One set of segment lengths and one
departure from the model's posture serve both clips; a second, smaller departure is free in the second clip.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Camera, FilmingReport, SpaceTrack, Swing
from overlay.errors import MismatchError
from overlay.fit import lens
from overlay.fit.estimate import CameraEstimate, Estimate, camera_estimate, estimate
from overlay.fit.lens import LOG_DISTANCE, LOG_FOCAL, N_CAMERA
from overlay.fit.looks import looks_of
from overlay.fit.probable import N_VIEW, Found, LengthLook, factor_prior
from overlay.fit.seen import JOINTS
from overlay.fit.skeleton import SEGMENTS
from overlay.fit.stand import N_FACTORS, N_STANCE, way_sd
from overlay.settings.explain import ExplainSettings
from overlay.settings.fit import FIT, FitSettings


@dataclass(frozen=True)
class PairedEstimate(CameraEstimate):
    """One of two cameras that were found together: draw k of one goes with draw k of the other."""

    together: object = None
    """The same object for both."""


def same_player_cameras(
    space: SpaceTrack,
    student: Swing,
    reference: Swing,
    *,
    filming: tuple[FilmingReport | None, FilmingReport | None] = (None, None),
    settings: ExplainSettings | None = None,
    fit_settings: FitSettings = FIT,
) -> tuple[CameraEstimate, CameraEstimate]:
    """The student's and the reference's camera, when both clips show one player.

    Parameters
    ----------
    space : SpaceTrack
        A movement of the kind that was filmed, of either hand.
    student, reference : Swing
        Of one player: same view, same hand.
    filming : pair of FilmingReport, optional
        Of the two clips.

    Returns
    -------
    pair of CameraEstimate
        With draws that go together, for ``camera_parts``.

    Raises
    ------
    MismatchError
        The views or the hands differ.
    ContentError
        A view from another angle, or too little of the body is seen at address.
    """
    settings = settings or ExplainSettings()
    if student.view != reference.view or student.handedness != reference.handedness:
        raise MismatchError(
            "Two clips of one player in one view were expected; their views or hands differ.",
            "Estimate the two cameras by themselves.",
        )
    alone = [estimate(space, (swing,), report, fit_settings) for swing, report in zip((student, reference), filming)]
    if alone[0].seen[0].anchor != alone[1].seen[0].anchor:
        # The player stands otherwise at another position: nothing but the build is shared.
        return _told(alone[0], alone[0].found, 0, settings), _told(alone[1], alone[1].found, 0, settings)
    found = _Together(alone, settings, fit_settings).found()
    pair = [_told(one, found, k, settings) for k, one in enumerate(alone)]
    together = object()
    first, second = (PairedEstimate(**vars(one) | {"together": together}) for one in pair)
    return first, second


def _told(one: Estimate, found: Found, view: int, settings: ExplainSettings) -> CameraEstimate:
    seen = one.seen[0]
    values = found.drawn(settings.draws)
    start = N_FACTORS + view * N_VIEW
    cameras = [
        lens.camera_of(row[start : start + N_CAMERA], seen.view, seen.image_size) for row in (found.values, *values)
    ]
    return camera_estimate(cameras, found, seen, one.standing[0].grip, view)


class _Together:
    """The least-squares problem: as for one clip (``overlay.fit.probable``), with what one player shares tied."""

    def __init__(self, alone: list[Estimate], settings: ExplainSettings, fit_settings: FitSettings) -> None:
        self._seen = [one.seen[0] for one in alone]
        self._standing = [one.standing[0] for one in alone]
        self._share = settings
        self._looks: list[tuple[LengthLook, ...]] = []
        for one in alone:
            model: SpaceTrack = one.posed(fit_settings)
            camera: Camera = one.camera()
            self._looks.append(
                looks_of(one.seen[0], model, camera, one.found.camera(), one.found.factors(), fit_settings)
            )
        skeleton = alone[0].skeleton
        mean, self._factor_sd = factor_prior(skeleton, fit_settings)
        self._factor_mean = mean
        priors = [
            lens.priors(seen.view, skeleton.space.stature_m, standing.grip, fit_settings)
            for seen, standing in zip(self._seen, self._standing)
        ]
        self._camera_mean = [prior[0] for prior in priors]
        self._camera_sd = [prior[1] for prior in priors]
        looser = 1.0 if self._seen[0].anchor == "address" else fit_settings.other_anchor
        flare = math.radians(fit_settings.flare_spread_deg)
        stance = np.array([fit_settings.width_spread, fit_settings.open_spread_m, flare, flare])
        self._own_sd = np.concatenate([stance, looser * way_sd(fit_settings.posture_sd)])
        joint_sd = np.array(
            [fit_settings.joint_sd[name.split("_", 1)[-1] if name != "nose" else name] for name in JOINTS]
        )
        self._joint_sd = joint_sd
        self._start = np.concatenate(
            [
                0.5 * (alone[0].found.log_factors + alone[1].found.log_factors),
                *(one.found.values[N_FACTORS : N_FACTORS + N_VIEW] for one in alone),
            ]
        )

    def found(self) -> Found:
        from scipy.optimize import least_squares

        sd = np.concatenate([self._factor_sd, self._camera_sd[0], self._own_sd, self._camera_sd[1], self._own_sd])
        steps = 1e-4 * np.minimum(sd, 1.0)

        def one(values: FloatArray) -> FloatArray:
            return self.residuals(values[None])[0]

        def slopes(values: FloatArray) -> FloatArray:
            now = self.residuals(values[None])[0]
            moved = self.residuals(values + np.diag(steps))
            return np.asarray(((moved - now) / steps[:, None]).T, np.float64)

        answer = least_squares(one, self._start, jac=slopes, x_scale=sd, max_nfev=40, xtol=1e-6, ftol=1e-6)
        covariance = np.linalg.inv(answer.jac.T @ answer.jac)
        known = self._known()
        joints = answer.fun[-2 * int(known.sum()) :] if known.sum() else np.zeros(1)
        misfit = math.sqrt(float(np.mean(joints**2)))
        covariance = 0.5 * (covariance + covariance.T) * max(1.0, misfit) ** 2
        return Found(answer.x, covariance, misfit, sd)

    def _known(self) -> np.ndarray:  # type: ignore[type-arg]
        """(2, J) bool."""
        return np.stack([np.isfinite(seen.points[:, 0]) for seen in self._seen])

    def residuals(self, at: FloatArray) -> FloatArray:
        """(K, n): priors, looks, and last the joints."""
        factors = at[:, :N_FACTORS]
        parts = [(factors - self._factor_mean) / self._factor_sd]
        own, errors = [], []
        for k, (seen, standing) in enumerate(zip(self._seen, self._standing)):
            start = N_FACTORS + k * N_VIEW
            camera, rest = at[:, start : start + N_CAMERA], at[:, start + N_CAMERA : start + N_VIEW]
            own.append(rest)
            parts.append((camera - self._camera_mean[k]) / self._camera_sd[k])
            joints = standing.joints(rest[:, :N_STANCE], factors, rest[:, N_STANCE:])
            picture = lens.project(camera, joints, seen.view, seen.image_size)
            errors.append((picture - seen.points) / (self._joint_sd[:, None] * seen.torso_px))
            scale = camera[:, LOG_FOCAL] - camera[:, LOG_DISTANCE]
            parts.extend(
                ((at[:, SEGMENTS.index(look.segment)] + scale - look.value) / look.sd)[:, None]
                for look in self._looks[k]
            )
        # One departure from the model's posture, and a smaller one from one day to the other.
        parts += [own[0] / self._own_sd, (own[1] - own[0]) / (self._share.day_to_day * self._own_sd)]
        habit = self._share.habit
        known = self._known()
        both, one = known[0] & known[1], known[0] ^ known[1]
        total, gap = errors[0][:, both] + errors[1][:, both], errors[1][:, both] - errors[0][:, both]
        parts += [
            (total / math.sqrt(2 * (1 + habit))).reshape(len(at), -1),
            (gap / math.sqrt(2 * (1 - habit))).reshape(len(at), -1),
        ]
        single = np.where(known[0, one][None, :, None], errors[0][:, one], errors[1][:, one])
        parts.append(single.reshape(len(at), -1))
        return np.concatenate(parts, axis=1)


__all__ = ["PairedEstimate", "same_player_cameras"]
