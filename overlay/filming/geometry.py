"""Where the camera stands, from one player at address: a camera and a posture that together explain the joints.

Unknown are the lens (distance, height, sideways place), its direction (azimuth, pitch, roll), the focal length, and how
this player's posture differs from the mean one. All have priors; the joints in the picture, and a tilt read from the
background where there is one, are the observations. The most probable answer is found by Gauss–Newton steps, its
covariance by linearising there (Laplace's approximation; Triggs et al. 2000, "Bundle adjustment – a modern synthesis").

Pitch cannot be told apart from height by the hands alone: a level camera that is too low and one that is tilted up show
them at the same place. Most stands hold a phone level within a degree, some tilt it a lot, so two answers are computed,
level and tilted, and weighed by how well each explains the picture.

All lengths are shares of the player's stature, so that nothing depends on it; the picture is that of a right-hander
(a left-hander's is mirrored first).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import DataError
from overlay.filming.shape import GRIP, JOINTS, AddressShape, address_shape
from overlay.settings.filming import FilmingSettings

N_CAMERA = 7
LOG_DISTANCE, SIDE, HEIGHT, AZIMUTH, PITCH, ROLL, LOG_FOCAL = range(N_CAMERA)


@dataclass(frozen=True)
class Seen:
    """What the camera is found from.

    Attributes
    ----------
    points : (17, 2) float, px, in ``shape.JOINTS`` order, of a right-hander's picture; NaN where not seen
    covariance : (34, 34) float, px²
        Of the errors of x, y of the first joint, x, y of the second, …
    image_size : (width, height) px
    view : "dtl" or "fo"
    habits : (4, 17, 2) float, px, or None
        Where the joints are reported, less where they are: always, and for each degree of ``looks_from``.
    roll_deg, roll_sd_deg : float
        Camera roll read from the background, clockwise; NaN when nothing upright or level is seen.
    """

    points: FloatArray
    covariance: FloatArray
    image_size: tuple[int, int]
    view: str
    habits: FloatArray | None = None
    roll_deg: float = math.nan
    roll_sd_deg: float = math.nan

    def __post_init__(self) -> None:
        n = len(JOINTS)
        if self.points.shape != (n, 2):
            raise DataError(f"The camera is found from {n} joints, got {self.points.shape}.", "Give shape.JOINTS.")
        if self.covariance.shape != (2 * n, 2 * n):
            raise DataError(f"A covariance of {self.covariance.shape} does not fit {n} joints.", "Give (34, 34).")
        if self.habits is not None and self.habits.shape != (4, n, 2):
            raise DataError(f"Habits of {self.habits.shape} do not fit {n} joints.", "Give (4, 17, 2).")
        if self.view not in ("dtl", "fo"):
            raise DataError(f"{self.view!r} is no view the camera can be found from.", "Use dtl or fo.")


@dataclass(frozen=True)
class Told:
    """A number and its standard deviation."""

    value: float
    sd: float

    def interval(self, factor: float = 1.0) -> tuple[float, float]:
        """95 %, scaled."""
        half = 1.96 * self.sd
        low, high = sorted((factor * (self.value - half), factor * (self.value + half)))
        return low, high


@dataclass(frozen=True)
class CameraFound:
    """The camera in the player's frame; lengths in shares of stature, angles in degrees, right-hander's picture.

    Attributes
    ----------
    height : lens above the middle of the hands
    lens_height, hands_height : above the ground
    offset : where the optical axis passes the hands (dtl: + lens outside, towards the ball line) or the middle of the
        body (fo: + towards the target)
    yaw_deg : viewing direction from the target line (dtl) or from square to it (fo), + turned to the picture's right
    pitch_deg : + looks up
    roll_deg : + the camera is turned clockwise, the picture shows the player leaning to the left
    distance : lens to player
    tilted : 0–1, how probable it is that the camera is not level
    px_per_stature : scale at the player
    misfit : root mean square of the residuals, in standard deviations
    """

    height: Told
    lens_height: Told
    hands_height: Told
    offset: Told
    yaw_deg: Told
    pitch_deg: Told
    roll_deg: Told
    distance: Told
    tilted: float
    px_per_stature: float
    misfit: float


def project(values: FloatArray, shape: AddressShape, view: str, image_size: tuple[int, int]) -> FloatArray:
    """(18, 2) px of the posture that ``values`` (7 + K,) describe, seen by the camera they describe."""
    points = shape.mean + np.tensordot(values[N_CAMERA:], shape.ways, axes=1)
    lens, axes = _camera(values, view)
    local = (points - lens) @ axes.T
    focal = math.exp(values[LOG_FOCAL]) * max(image_size)
    return np.asarray(focal * local[:, :2] / np.maximum(local[:, 2:], 0.05) + 0.5 * np.array(image_size), np.float64)


def looks_from(values: FloatArray, shape: AddressShape, view: str) -> FloatArray:
    """(4,) 1, and the degrees a pose model's habits depend on: bearing, elevation, roll.

    The bearing is the direction from the lens to the hands on the ground, + to the picture's right of the view's own
    direction; the elevation that of the lens above the hands.
    """
    grip = shape.mean[GRIP] + np.tensordot(values[N_CAMERA:], shape.ways[:, GRIP], axes=1)
    distance = math.exp(values[LOG_DISTANCE])
    ahead, beside = (distance + grip[0], grip[1]) if view == "dtl" else (distance - grip[1], grip[0])
    angles = (math.atan2(beside - values[SIDE], ahead), math.atan2(values[HEIGHT] - grip[2], ahead), values[ROLL])
    return np.array([1.0, *(math.degrees(angle) for angle in angles)])


def _camera(values: FloatArray, view: str) -> tuple[FloatArray, FloatArray]:
    distance = math.exp(values[LOG_DISTANCE])
    if view == "dtl":
        lens = np.array([-distance, values[SIDE], values[HEIGHT]])
        ground = np.array([1.0, 0.0])
    else:
        lens = np.array([values[SIDE], distance, values[HEIGHT]])
        ground = np.array([0.0, -1.0])
    c, s = math.cos(values[AZIMUTH]), math.sin(values[AZIMUTH])
    forward_x, forward_y = c * ground[0] - s * ground[1], c * ground[1] + s * ground[0]
    right = np.array([-forward_y, forward_x, 0.0])
    cp, sp = math.cos(values[PITCH]), math.sin(values[PITCH])
    forward = np.array([forward_x * cp, forward_y * cp, sp])
    down = np.array([forward_x * sp, forward_y * sp, -cp])
    cr, sr = math.cos(values[ROLL]), math.sin(values[ROLL])
    return lens, np.stack([cr * right + sr * down, cr * down - sr * right, forward])


@dataclass(frozen=True)
class _Fit:
    values: FloatArray
    covariance: FloatArray
    cost: float
    misfit: float


def find_camera(seen: Seen, settings: FilmingSettings = FilmingSettings()) -> CameraFound | None:  # noqa: B008
    """The camera that explains the joints at address; None when too few are seen.

    Parameters
    ----------
    seen : Seen
    settings : FilmingSettings
    """
    shape = address_shape()
    known = np.isfinite(seen.points[:, 0])
    if known.sum() < settings.least_joints:
        return None
    level = _fit(seen, shape, settings, settings.level_pitch_deg)
    free = _fit(seen, shape, settings, settings.tilted_pitch_deg)
    if level is None or free is None:
        return None
    # Where neither explains the picture the noise was larger than thought: odds and intervals are tempered by as much.
    worse = max(1.0, min(level.misfit, free.misfit))
    weight = _odds(level, free, settings, worse)
    told = [_answers(fit, shape, seen.view, worse) for fit in (level, free)]
    mixed = {name: _mixture(told[0][name], told[1][name], weight) for name in told[0]}
    best = level if weight < 0.5 else free
    distance = math.exp(best.values[LOG_DISTANCE])
    scale = math.exp(best.values[LOG_FOCAL]) * max(seen.image_size) / distance
    return CameraFound(
        height=mixed["height"],
        lens_height=mixed["lens_height"],
        hands_height=mixed["hands_height"],
        offset=mixed["offset"],
        yaw_deg=mixed["yaw_deg"],
        pitch_deg=mixed["pitch_deg"],
        roll_deg=mixed["roll_deg"],
        distance=mixed["distance"],
        tilted=weight,
        px_per_stature=scale,
        misfit=best.misfit,
    )


def _odds(level: _Fit, free: _Fit, settings: FilmingSettings, worse: float) -> float:
    """Probability of the tilted answer: prior odds × evidence, by Laplace's approximation."""

    def log_evidence(fit: _Fit, pitch_deg: float, share: float) -> float:
        _, log_det = np.linalg.slogdet(fit.covariance)
        return math.log(share) - 0.5 * fit.cost / worse**2 + 0.5 * log_det - math.log(math.radians(pitch_deg))

    gap = log_evidence(free, settings.tilted_pitch_deg, settings.tilted_share) - log_evidence(
        level, settings.level_pitch_deg, 1.0 - settings.tilted_share
    )
    return 1.0 / (1.0 + math.exp(-max(-50.0, min(50.0, gap))))


def _mixture(one: Told, other: Told, weight: float) -> Told:
    """Mean and standard deviation of a mixture; ``weight`` is that of ``other``."""
    mean = (1 - weight) * one.value + weight * other.value
    variance = (1 - weight) * (one.sd**2 + (one.value - mean) ** 2) + weight * (other.sd**2 + (other.value - mean) ** 2)
    return Told(mean, math.sqrt(variance))


def _prior(
    seen: Seen, shape: AddressShape, settings: FilmingSettings, pitch_deg: float
) -> tuple[FloatArray, FloatArray]:
    n = N_CAMERA + len(shape.ways)
    mean, sd = np.zeros(n), np.ones(n)
    mean[LOG_DISTANCE], sd[LOG_DISTANCE] = math.log(settings.distance), settings.distance_spread
    mean[LOG_FOCAL], sd[LOG_FOCAL] = math.log(settings.focal), settings.focal_spread
    side = shape.mean[GRIP, 1] if seen.view == "dtl" else 0.0
    mean[SIDE], sd[SIDE] = side, settings.side_spread
    mean[HEIGHT], sd[HEIGHT] = settings.lens_height, settings.lens_height_spread
    sd[AZIMUTH] = math.radians(settings.yaw_spread_deg)
    sd[PITCH] = math.radians(pitch_deg)
    sd[ROLL] = math.radians(settings.roll_spread_deg)
    return mean, sd


def _start(seen: Seen, shape: AddressShape, mean: FloatArray) -> FloatArray:
    """Distance from the player's height in the picture, place from where the middle of the body is."""
    known = np.isfinite(seen.points[:, 0])
    rows, heights = seen.points[known, 1], shape.mean[:GRIP][known, 2]
    spread = float(np.sum((heights - heights.mean()) ** 2))
    scale = abs(float(np.sum((heights - heights.mean()) * (rows - rows.mean())))) / max(spread, 1e-9)
    values = mean.copy()
    scale = max(scale, 1.0)
    values[LOG_DISTANCE] = math.log(math.exp(mean[LOG_FOCAL]) * max(seen.image_size) / scale)
    values[HEIGHT] = float(heights.mean()) + (float(rows.mean()) - 0.5 * seen.image_size[1]) / scale
    across = 1 if seen.view == "dtl" else 0
    place = float(shape.mean[:GRIP][known, across].mean())
    values[SIDE] = place - (float(seen.points[known, 0].mean()) - 0.5 * seen.image_size[0]) / scale
    return values


def _fit(seen: Seen, shape: AddressShape, settings: FilmingSettings, pitch_deg: float) -> _Fit | None:
    mean, sd = _prior(seen, shape, settings, pitch_deg)
    values = _start(seen, shape, mean)
    known = np.flatnonzero(np.isfinite(seen.points[:, 0]))
    wanted = seen.points[known].ravel()
    rows = np.stack([2 * known, 2 * known + 1], -1).ravel()
    # Residuals are whitened: errors of neighbouring joints go together.
    whiten = np.linalg.inv(np.linalg.cholesky(seen.covariance[np.ix_(rows, rows)]))

    def residuals(at: FloatArray) -> FloatArray:
        picture = project(at, shape, seen.view, seen.image_size)[known]
        if seen.habits is not None:
            picture = picture + np.tensordot(looks_from(at, shape, seen.view), seen.habits[:, known], axes=1)
        picture = picture.ravel()
        parts = [whiten @ (picture - wanted), (at - mean) / sd]
        if math.isfinite(seen.roll_deg):
            parts.append(np.array([(math.degrees(at[ROLL]) - seen.roll_deg) / seen.roll_sd_deg]))
        return np.concatenate(parts)

    now = residuals(values)
    cost = float(now @ now)
    if not math.isfinite(cost):
        return None
    damping = 1e-3
    steps = np.full(len(values), 1e-4)
    jacobian = np.zeros((len(now), len(values)))
    for _ in range(settings.most_steps):
        for k, step in enumerate(steps):
            moved = values.copy()
            moved[k] += step
            jacobian[:, k] = (residuals(moved) - now) / step
        normal = jacobian.T @ jacobian
        gradient = jacobian.T @ now
        change = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -gradient)
        tried = values + change
        after = residuals(tried)
        tried_cost = float(after @ after)
        if not math.isfinite(tried_cost):
            return None
        if tried_cost <= cost:
            gain = cost - tried_cost
            values, now, cost, damping = tried, after, tried_cost, damping / 5
            if gain < 1e-6 * (1 + cost):
                break
        else:
            damping *= 8
            if damping > 1e8:
                break
    covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian), np.float64)
    n = 2 * len(known)
    return _Fit(values, covariance, cost, math.sqrt(float(np.mean(now[:n] ** 2))))


def _answers(fit: _Fit, shape: AddressShape, view: str, worse: float = 1.0) -> dict[str, Told]:
    """The numbers that are asked for, each with the standard deviation it inherits, ``worse`` times as large."""

    def all_of(values: FloatArray) -> dict[str, float]:
        points = shape.mean + np.tensordot(values[N_CAMERA:], shape.ways, axes=1)
        grip = points[GRIP]
        across = 1 if view == "dtl" else 0
        middle = grip if view == "dtl" else points[:12].mean(axis=0)
        distance = math.exp(values[LOG_DISTANCE])
        ahead = distance + middle[0] if view == "dtl" else distance - middle[1]
        # The axis turned clockwise passes further to the right, which is + Y down the line and + X face on.
        axis = values[SIDE] + math.tan(values[AZIMUTH]) * ahead
        return {
            "height": float(values[HEIGHT] - grip[2]),
            "lens_height": float(values[HEIGHT]),
            "hands_height": float(grip[2]),
            "offset": float(axis - middle[across]),
            "yaw_deg": math.degrees(values[AZIMUTH]),
            "pitch_deg": math.degrees(values[PITCH]),
            "roll_deg": math.degrees(values[ROLL]),
            "distance": float(ahead),
        }

    here = all_of(fit.values)
    slopes = {name: np.zeros(len(fit.values)) for name in here}
    for k in range(len(fit.values)):
        moved = fit.values.copy()
        moved[k] += 1e-5
        for name, value in all_of(moved).items():
            slopes[name][k] = (value - here[name]) / 1e-5
    return {
        name: Told(value, worse * math.sqrt(max(float(slopes[name] @ fit.covariance @ slopes[name]), 0.0)))
        for name, value in here.items()
    }
