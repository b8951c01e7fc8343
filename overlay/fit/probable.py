"""The most probable camera, stance and segment lengths, from one or both views of a player.

Unknown are for each view the camera, the stance and how this player's posture at address departs from the model's; and,
shared by both views, the segment lengths. All have priors. Observed are the joints at address and, once the model was
posed, how much longer or shorter each segment looks over the swing. The answer is found by Gauss–Newton steps, its
covariance by linearising there (Laplace's approximation; Triggs et al. 2000, "Bundle adjustment – a modern synthesis").
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from overlay.arrays import FloatArray
from overlay.fit import lens
from overlay.fit.lens import LOG_DISTANCE, LOG_FOCAL, N_CAMERA
from overlay.fit.seen import JOINTS, Seen
from overlay.fit.skeleton import SEGMENTS, Skeleton
from overlay.fit.stand import N_FACTORS, N_STANCE, WAYS, Standing, way_sd
from overlay.settings.fit import FitSettings

N_VIEW = N_CAMERA + N_STANCE + len(WAYS)
"""Numbers a view; the factors come before those of all views."""


@dataclass(frozen=True)
class LengthLook:
    """How long a segment looks in one view: log (factor × focal ÷ distance) and its standard deviation."""

    segment: str
    value: float
    sd: float


@dataclass(frozen=True)
class Evidence:
    """One view: what is seen, the model at the same moment, and the looks of its segments."""

    seen: Seen
    standing: Standing
    looks: tuple[LengthLook, ...] = ()
    told: tuple[tuple[int, float, float], ...] = ()
    """Numbers of the camera that were read elsewhere: which, value, standard deviation."""


@dataclass(frozen=True)
class Found:
    """The answer.

    Attributes
    ----------
    values : (10 + n · N_VIEW,) float
    covariance : same, squared
    misfit : float
        Root mean square of the residuals of the joints, in standard deviations.
    """

    values: FloatArray
    covariance: FloatArray
    misfit: float
    prior_sd: FloatArray = field(default_factory=lambda: np.zeros(0))

    @property
    def log_factors(self) -> FloatArray:
        return self.values[:N_FACTORS]

    def camera(self, view: int = 0) -> FloatArray:
        """(7,) of one view."""
        start = N_FACTORS + view * N_VIEW
        return self.values[start : start + N_CAMERA]

    def camera_covariance(self, view: int = 0) -> FloatArray:
        start = N_FACTORS + view * N_VIEW
        return self.covariance[start : start + N_CAMERA, start : start + N_CAMERA]

    def stance(self, view: int = 0) -> FloatArray:
        """(4,) of one view."""
        start = N_FACTORS + view * N_VIEW + N_CAMERA
        return self.values[start : start + N_STANCE]

    def ways(self, view: int = 0) -> FloatArray:
        """(n,) how the player's posture departs from the model's."""
        start = N_FACTORS + view * N_VIEW + N_CAMERA + N_STANCE
        return self.values[start : start + len(WAYS)]

    def factors(self) -> dict[str, float]:
        return {name: math.exp(value) for name, value in zip(SEGMENTS, self.log_factors)}

    def certainty(self) -> dict[str, float]:
        """Segment → 0–1: share of the prior's variance that the pictures took away."""
        variance = np.diag(self.covariance)[:N_FACTORS]
        return {
            name: 1.0 - min(1.0, float(variance[k]) / float(self.prior_sd[k]) ** 2) for k, name in enumerate(SEGMENTS)
        }

    def drawn(self, n: int, seed: int = 0) -> FloatArray:
        """(n, …) draws of all values."""
        rng = np.random.default_rng([seed, 71])
        width = np.linalg.cholesky(self.covariance + 1e-14 * np.eye(len(self.values)))
        return np.asarray(self.values + rng.normal(size=(n, len(self.values))) @ width.T, np.float64)


def factor_prior(skeleton: Skeleton, settings: FitSettings) -> tuple[FloatArray, FloatArray]:
    """(10,) mean and SD of the log factors: a person of the model's stature and of usual proportions.

    A segment that the model measures in another way than the table (its share is far from usual) keeps the model's
    own length.
    """
    own = skeleton.segment_lengths()
    stature = skeleton.space.stature_m
    mean = np.zeros(N_FACTORS)
    for k, name in enumerate(SEGMENTS):
        usual = settings.usual.get(name)
        if usual is not None and own[name] > 0:
            gap = math.log(usual * stature / own[name])
            mean[k] = gap if abs(gap) < settings.model_slack else 0.0
    return mean, np.full(N_FACTORS, settings.proportion_spread)


def find(
    evidence: Sequence[Evidence],
    skeleton: Skeleton,
    settings: FitSettings,
    start: Found | None = None,
) -> Found:
    """The most probable answer.

    Parameters
    ----------
    evidence : one or two views
    skeleton : Skeleton
        Of the model.
    start : Found, optional
        An earlier answer.
    """
    mean, sd = _prior(evidence, skeleton, settings)
    values = _start(evidence, mean, settings) if start is None else start.values.copy()
    known = [np.isfinite(view.seen.points[:, 0]) for view in evidence]
    weights = [_joint_weights(view.seen, settings)[seen] for view, seen in zip(evidence, known)]

    def residuals(at: FloatArray) -> FloatArray:
        parts = [(at - mean) / sd]
        for k, view in enumerate(evidence):
            start_at = N_FACTORS + k * N_VIEW
            camera = at[:, start_at : start_at + N_CAMERA]
            stance = at[:, start_at + N_CAMERA : start_at + N_CAMERA + N_STANCE]
            ways = at[:, start_at + N_CAMERA + N_STANCE : start_at + N_VIEW]
            joints = view.standing.joints(stance, at[:, :N_FACTORS], ways)
            picture = lens.project(camera, joints, view.seen.view, view.seen.image_size)[:, known[k]]
            parts.append(((picture - view.seen.points[known[k]]) * weights[k][:, None]).reshape(len(at), -1))
            scale = camera[:, LOG_FOCAL] - camera[:, LOG_DISTANCE]
            for look in view.looks:
                at_segment = at[:, SEGMENTS.index(look.segment)]
                parts.append(((at_segment + scale - look.value) / look.sd)[:, None])
            parts.extend(((camera[:, which] - value) / sd_told)[:, None] for which, value, sd_told in view.told)
        return np.concatenate(parts, axis=1)

    steps = 1e-4 * np.minimum(sd, 1.0)
    moves = np.diag(steps)
    jacobian = np.zeros((0, 0))
    now = residuals(values[None])[0]
    cost = float(now @ now)
    damping = 1e-3
    for _ in range(settings.most_steps):
        jacobian = ((residuals(values + moves) - now) / steps[:, None]).T
        normal = jacobian.T @ jacobian
        change = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -jacobian.T @ now)
        after = residuals((values + change)[None])[0]
        new_cost = float(after @ after)
        if math.isfinite(new_cost) and new_cost <= cost:
            gain = cost - new_cost
            values, now, cost, damping = values + change, after, new_cost, damping / 5
            if gain < 1e-4 * (1 + cost):
                break
        else:
            damping *= 8
            if damping > 1e8:
                break
    covariance = np.linalg.inv(jacobian.T @ jacobian)
    n = len(mean)
    joints = now[n : n + 2 * int(known[0].sum())]
    misfit = math.sqrt(float(np.mean(joints**2)))
    return Found(values, 0.5 * (covariance + covariance.T) * max(1.0, misfit) ** 2, misfit, sd)


def _prior(evidence: Sequence[Evidence], skeleton: Skeleton, settings: FitSettings) -> tuple[FloatArray, FloatArray]:
    means, sds = [], []
    mean, sd = factor_prior(skeleton, settings)
    means.append(mean)
    sds.append(sd)
    ways = way_sd(settings.posture_sd)
    for view in evidence:
        hands = view.standing.grip
        mean, sd = lens.priors(view.seen.view, skeleton.space.stature_m, hands, settings)
        looser = 1.0 if view.seen.anchor == "address" else settings.other_anchor
        means += [mean, np.zeros(N_STANCE), np.zeros(len(WAYS))]
        flare = math.radians(settings.flare_spread_deg)
        sds += [sd, np.array([settings.width_spread, settings.open_spread_m, flare, flare]), looser * ways]
    return np.concatenate(means), np.concatenate(sds)


def _joint_weights(seen: Seen, settings: FitSettings) -> FloatArray:
    """(J,) 1 ÷ px."""
    sd = [settings.joint_sd[name.split("_", 1)[-1] if name != "nose" else name] for name in JOINTS]
    return 1.0 / (np.array(sd) * seen.torso_px)


def _start(evidence: Sequence[Evidence], mean: FloatArray, settings: FitSettings) -> FloatArray:
    """Distance from the player's height in the picture, place from where the middle of the body is."""
    values = mean.copy()
    for k, view in enumerate(evidence):
        at = N_FACTORS + k * N_VIEW
        known = np.isfinite(view.seen.points[:, 0])
        space = view.standing.joints(np.zeros((1, N_STANCE)), mean[None, :N_FACTORS], np.zeros((1, len(WAYS))))[
            0, known
        ]
        picture = view.seen.points[known]
        heights = space[:, 2] - space[:, 2].mean()
        rows = picture[:, 1] - picture[:, 1].mean()
        scale = max(-float(heights @ rows) / max(float(heights @ heights), 1e-9), 1.0)
        camera = values[at : at + N_CAMERA]
        size = view.seen.image_size
        camera[LOG_DISTANCE] = math.log(math.exp(mean[at + LOG_FOCAL]) * max(size) / scale)
        camera[lens.HEIGHT] = float(space[:, 2].mean()) + (float(picture[:, 1].mean()) - 0.5 * size[1]) / scale
        across = 1 if view.seen.view == "dtl" else 0
        camera[lens.SIDE] = float(space[:, across].mean()) - (float(picture[:, 0].mean()) - 0.5 * size[0]) / scale
    return values
