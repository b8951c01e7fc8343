"""Positions known from better sources than the pose (ball, sound, club, a person) bend the warp towards them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Swing
from overlay.errors import DataError
from overlay.settings.align import AlignSettings
from overlay.terms import POSITION_NAMES


@dataclass(frozen=True)
class Anchor:
    """One moment known in both swings.

    Attributes
    ----------
    name : str
    student_s, reference_s : float
        Clip times.
    sigma_s : float
        Standard deviation of their agreement, real seconds.
    """

    name: str
    student_s: float
    reference_s: float
    sigma_s: float

    def __post_init__(self) -> None:
        if not self.sigma_s > 0:
            raise DataError(f"Anchor {self.name} has an uncertainty of {self.sigma_s} s.", "Give a positive one.")


def measured_anchors(student: Swing, reference: Swing, settings: AlignSettings) -> tuple[Anchor, ...]:
    """The positions found in both swings of which at least one is not from the pose.

    A confidence of 1/2 doubles the uncertainty. Where only one side is measured, the other one's pose uncertainty
    makes the anchor weak, as it should be.
    """
    found = []
    for name in POSITION_NAMES:
        pair = student.positions.get(name), reference.positions.get(name)
        if pair[0] is None or pair[1] is None or pair[0].source == pair[1].source == "pose":
            continue
        sigmas = [
            (settings.posed_sigma_s if position.source == "pose" else settings.measured_sigma_s)
            / max(position.confidence, settings.least_confidence)
            for position in pair
            if position is not None
        ]
        found.append(Anchor(name, pair[0].time_s, pair[1].time_s, math.hypot(*sigmas)))
    return tuple(found)


def bend(
    time_s: FloatArray,
    warp: FloatArray,
    at_s: FloatArray,
    wanted_s: FloatArray,
    sigma_s: FloatArray,
    settings: AlignSettings,
) -> FloatArray:
    """The warp given the anchors, weighing its own uncertainty against theirs.

    The error of the pose warp is taken for a smooth random function (Gaussian process, standard deviation
    ``pose_sigma_s``, squared-exponential over ``anchor_reach_s``); this is its mean given what the anchors say
    (kriging). An anchor much surer than the pose is met; one as unsure as the pose is met half-way.

    Parameters
    ----------
    time_s, warp : (N,) float, real s
    at_s, wanted_s, sigma_s : (A,) float, real s
    """
    if not len(at_s):
        return warp

    def covariance(first: FloatArray, second: FloatArray) -> FloatArray:
        distance = (first[:, None] - second[None, :]) / settings.anchor_reach_s
        return np.asarray(settings.pose_sigma_s**2 * np.exp(-0.5 * distance**2), np.float64)

    off = wanted_s - np.interp(at_s, time_s, warp)
    # An anchor further off than both uncertainties allow shows that this pose warp is worse than usual: its
    # variance grows to what was seen, so that the measured moment still decides.
    expected = np.sqrt(settings.pose_sigma_s**2 + sigma_s**2)
    growth = max(1.0, float(np.max(np.abs(off) / (2.0 * expected))) ** 2)
    inner = growth * covariance(at_s, at_s) + np.diag(sigma_s**2)
    return np.asarray(warp + growth * covariance(time_s, at_s) @ np.linalg.solve(inner, off), np.float64)
