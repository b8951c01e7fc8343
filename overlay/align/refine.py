"""Fits the warp below the frame grid, and learns from each fit how the two swings differ.

Three steps, repeated: ``refine`` fits the warp; ``adapted`` maps each of the reference's joints onto the student's
along that warp, so that build and camera do not pull at the times; ``found_trust`` judges from what is left how much
each joint has to say.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from overlay.align.warp import increasing
from overlay.arrays import FloatArray
from overlay.normalise import Features, banded_product, curvature_bands, smooth_evenly
from overlay.settings.align import AlignSettings


@dataclass(frozen=True)
class Trust:
    """How much each joint's place and velocity say: one over the spectral density of what stays unexplained.

    That density, variance × correlation time, is what counts: a steady difference in style repeats itself in every
    frame and must not be taken for as many independent witnesses.

    Attributes
    ----------
    place : (J,) float, 1 / (torso² s)
    velocity : (J,) float, s² / (torso² s)
    """

    place: FloatArray
    velocity: FloatArray


def first_trust(joint_weight: FloatArray, settings: AlignSettings) -> Trust:
    """Trust before anything is known of the pair. ``joint_weight`` is (J,), mean 1."""
    level = joint_weight / (settings.first_sigma**2 * settings.block_s)
    return Trust(level, level * settings.features.velocity_s**2)


def found_trust(
    warp: FloatArray, student: Features, reference: Features, joint_weight: FloatArray, settings: AlignSettings
) -> Trust:
    """Trust judged from what ``warp`` (N,) leaves unexplained.

    Each joint's density is the variance of block means × the block's length, drawn towards the mean of all joints
    by ``pool``, since one swing is a short record.
    """
    seen = _Pairing(warp, student, reference)
    densities = []
    for rest, floor in ((seen.rest_place, settings.floor_place), (seen.rest_velocity, settings.floor_velocity)):
        block = max(1, min(round(settings.block_s / student.step_s), len(rest) // 2))
        count = len(rest) // block
        shape = (count, block, len(joint_weight))
        mass = seen.support[: count * block].reshape(shape)
        blocks = rest[: count * block].reshape(*shape, 2)
        total = mass.sum(axis=1)
        means = np.sum(mass[..., None] * blocks, axis=1) / np.maximum(total, 1e-9)[..., None]
        spread = np.sum(total[..., None] * means**2, axis=(0, 2)) / (2.0 * np.maximum(total.sum(axis=0), 1e-9))
        density = spread * block * student.step_s
        common = float(np.sum(joint_weight * density) / max(float(np.sum(joint_weight)), 1e-12))
        density = (1.0 - settings.pool) * density + settings.pool * common
        densities.append(density + floor**2 * settings.block_s / 2)
    return Trust(joint_weight / densities[0], settings.velocity_trust * joint_weight / densities[1])


def adapted(warp: FloatArray, student: Features, reference: Features, settings: AlignSettings) -> Features:
    """The reference with every joint moved by the affine map that fits the student's best along ``warp`` (N,).

    2×2 matrix and offset a joint, least squares drawn towards "no change" (ridge), so that a joint that hardly moves
    keeps its shape. Build, camera angle and a different address pose are taken out by it; when things happen is not.
    """
    seen = _Pairing(warp, student, reference)
    place, velocity = reference.place.copy(), reference.velocity.copy()
    ridge = np.diag([settings.ridge, settings.ridge, settings.ridge_offset])
    x = np.concatenate([seen.place, np.ones((*seen.place.shape[:2], 1))], axis=2)
    weighted = x * seen.support[..., None]
    gram = np.einsum("njp,njq->jpq", weighted, x)
    right = np.einsum("njp,njd->jpd", weighted, student.place - seen.place)
    total = seen.support.sum(axis=0)
    for j in np.flatnonzero(total > 0):
        change = np.linalg.solve(gram[j] + ridge * total[j], right[j])
        place[:, j] += reference.place[:, j] @ change[:2] + change[2]
        velocity[:, j] += reference.velocity[:, j] @ change[:2]
    return dataclasses.replace(reference, place=place, velocity=velocity)


@dataclass(frozen=True)
class Hint:
    """A pair of moments that are likely the same, real seconds on the two grids; a wrong one must do no harm."""

    student_s: float
    reference_s: float
    sigma_s: float


def refine(
    warp: FloatArray,
    student: Features,
    reference: Features,
    trust: Trust,
    settings: AlignSettings,
    hints: tuple[Hint, ...] = (),
) -> FloatArray:
    """Gauss-Newton on the warp: differences in place and velocity, plus the warp's curvature.

    Minimises  Σⱼ ∫ ωⱼ (pⱼ |aⱼ(t) − bⱼ(w)|² + qⱼ |a'ⱼ(t) − b'ⱼ(w) w'|²) dt  +  λ ∫ w''² dt,  p and q from ``trust``,
    ω the product of both sides' support, so that a guessed joint decides nothing where others are seen. Each step
    solves a system of bandwidth 5 and keeps the slopes within their limits.

    The slopes of the joints are taken from the mean of both swings, smoothed more where they move slowly: the noise
    of a slope would otherwise look like information just where there is least of it (errors in variables).

    Each hint adds the log-likelihood of a Cauchy-like error of ``sigma_s``, by reweighting: it counts fully while it
    is within ``hint_reach`` sigmas of the warp, and less and less beyond.

    Parameters
    ----------
    warp : (N,) float, s, strictly increasing

    Returns
    -------
    (N,) float, s, strictly increasing
    """
    from scipy.linalg import solveh_banded

    h, n = student.step_s, len(warp)
    stiffness = curvature_bands(n) * (settings.stiffness / h**3)
    current = np.asarray(warp, np.float64)
    for _ in range(settings.refine_steps):
        seen = _Pairing(current, student, reference)
        weight_place = (seen.support * trust.place)[..., None]
        weight_velocity = (seen.support * trust.velocity)[..., None]
        common = (student.place + seen.place) / 2
        speed = _slopes(common, weight_place, h, settings)
        slope = seen.slope[:, None, None]
        by_place, by_velocity = speed / slope, np.gradient(speed, h, axis=0) / slope
        say = h * np.sum(weight_place * by_place**2 + weight_velocity * by_velocity**2, axis=(1, 2))
        pull = h * np.sum(
            weight_place * by_place * seen.rest_place + weight_velocity * by_velocity * seen.rest_velocity, axis=(1, 2)
        )
        bands = stiffness.copy()
        bands[2] += say + 1e-9 * stiffness[2].max()
        for hint in hints:
            k = int(np.clip(round(hint.student_s / h), 0, n - 1))
            off = hint.reference_s + (k * h - hint.student_s) * seen.slope[k] - current[k]
            doubt = 1.0 + (off / (settings.hint_reach * hint.sigma_s)) ** 2
            weight = settings.hint_weight / (hint.sigma_s**2 * doubt)
            bands[2, k] += weight
            pull[k] += weight * off
        step = solveh_banded(bands, pull - banded_product(stiffness, current), check_finite=False)
        size = float(np.max(np.abs(step)))
        if size > settings.longest_step_s:
            step *= settings.longest_step_s / size
        current = increasing(current + step, np.full(n - 1, h), settings.slope_low, settings.slope_high)
        if size < settings.refine_tolerance_s:
            break
    return current


def explained_share(warp: FloatArray, student: Features, reference: Features) -> float:
    """Share of the student's movement (mean square about its mean) that the warped reference explains, ≤ 1."""
    seen = _Pairing(warp, student, reference)
    weight = seen.support[..., None]
    mean = np.sum(weight * student.place, axis=0) / np.maximum(np.sum(weight, axis=0), 1e-9)
    whole = float(np.sum(weight * (student.place - mean) ** 2))
    return 1.0 - float(np.sum(weight * seen.rest_place**2)) / whole if whole > 0 else 0.0


def _slopes(common: FloatArray, weight: FloatArray, h: float, settings: AlignSettings) -> FloatArray:
    flat = common.reshape(len(common), -1)
    low = smooth_evenly(flat, h, settings.gradient_slow_hz).reshape(common.shape)
    high = smooth_evenly(flat, h, settings.gradient_fast_hz).reshape(common.shape)
    energy = np.sum(weight * np.gradient(low, h, axis=0) ** 2, axis=(1, 2))
    energy = energy / np.maximum(weight.sum(axis=(1, 2)), 1e-9)
    share = energy / (energy + settings.gradient_speed**2)
    return np.asarray(np.gradient(low + share[:, None, None] * (high - low), h, axis=0), np.float64)


class _Pairing:
    """Both swings on the student's grid under a warp (N,); shapes (N, J, 2), (N, J), (N,)."""

    def __init__(self, warp: FloatArray, student: Features, reference: Features) -> None:
        end = (len(reference) - 1) * reference.step_s
        position = np.clip(warp, 0.0, end) / reference.step_s
        left = np.minimum(position.astype(int), len(reference) - 2)
        share = position - left

        def at(series: FloatArray) -> FloatArray:
            part = share.reshape(-1, *(1,) * (series.ndim - 1))
            return np.asarray(series[left] * (1.0 - part) + series[left + 1] * part, np.float64)

        self.slope = np.gradient(warp, student.step_s)
        self.place = at(reference.place)
        self.support = student.weight * at(reference.weight) * ((warp >= 0.0) & (warp <= end))[:, None]
        self.rest_place = student.place - self.place
        self.rest_velocity = student.velocity - at(reference.velocity) * self.slope[:, None, None]
