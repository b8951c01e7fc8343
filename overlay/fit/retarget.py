"""The same movement on another body: bone directions are kept, lengths are not.

What moves how is taken from the model: the directions of feet, shins, thighs, trunk, shoulder line, head and club, and
how far each limb is bent. What must meet something is solved for: both legs stand on feet that are where they are, both
hands hold the club, the club has one length, its head lies at the ball at address and comes back to it at impact. With
all factors 1 the swing is returned as it was.

``docs/fit.md`` explains the rules in words.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import SpaceTrack
from overlay.errors import InputError
from overlay.fit.hold import bend_direction, hold_the_club
from overlay.fit.skeleton import FACE_MARKS, FOOT_MARKS, SEGMENTS, SIDES, Skeleton, lengths, middle
from overlay.fit.vectors import about_z, soft_excess, two_bone
from overlay.landmarks import INDEX
from overlay.settings.fit import RETARGET, RetargetSettings


@dataclass(frozen=True)
class Stance:
    """Where the feet stand, for a right-hander.

    Attributes
    ----------
    places : (2, 2) float, m
        X, Y of the middle of the lead and of the trail foot (between heel and toe) at address.
    flare_deg : (lead, trail)
        How much each foot is turned out further than the model's.
    """

    places: FloatArray
    flare_deg: tuple[float, float] = (0.0, 0.0)


def posed(
    space: SpaceTrack,
    factors: Mapping[str, float],
    *,
    stance: Stance | None = None,
    head_place: FloatArray | None = None,
    settings: RetargetSettings = RETARGET,
) -> SpaceTrack:
    """The movement of ``space`` on a body with other segment lengths.

    Parameters
    ----------
    space : SpaceTrack
    factors : mapping segment → length ÷ the model's
        Names in ``SEGMENTS``; what is left out keeps its length.
    stance : Stance, optional
        Where the feet stand, in a right-hander's axes; the model's own stance, as wide as the legs are long, when left
        out.
    head_place : (3,) float, m, optional
        Where the club head lies at address, in a right-hander's axes. The club becomes as long as it must be to lie
        there under the hands, as far as a club can. Left out, the model's club is laid where it reaches the ground.

    Returns
    -------
    SpaceTrack
        On the same clock, of the same hand.

    Raises
    ------
    InputError
        An unknown segment, or a factor that is no person's.
    DataError
        The swing has no address or no impact.
    """
    for name, factor in factors.items():
        if name not in SEGMENTS:
            raise InputError(f"{name!r} is not a segment of the body.", f"Use {', '.join(SEGMENTS)}.")
        if not settings.shortest <= factor <= settings.longest:
            raise InputError(
                f"A factor of {factor!r} for the {name} is no person's.",
                f"Give {settings.shortest:g} to {settings.longest:g}.",
            )
    if space.handedness == "left":
        return posed(space.mirrored(), factors, stance=stance, head_place=head_place, settings=settings).mirrored()
    return pose_skeleton(Skeleton.of(space, settings), factors, stance, head_place, settings)


def pose_skeleton(
    skeleton: Skeleton,
    factors: Mapping[str, float],
    stance: Stance | None,
    head_place: FloatArray | None,
    settings: RetargetSettings,
) -> SpaceTrack:
    """``posed`` for a right-hander whose bones are already measured."""
    space = skeleton.space
    f = {name: float(factors.get(name, 1.0)) for name in SEGMENTS}
    out = np.empty_like(space.points)
    pelvis = _lower_body(skeleton, f, stance, out, settings)
    _upper_body(skeleton, f, pelvis, out)
    grip, head, ball = hold_the_club(skeleton, f, head_place, pelvis, out, settings)
    return replace(
        space,
        points=out,
        grip=grip,
        club_head=head,
        ball=ball,
        stature_m=float(np.clip(_stature(skeleton, f), 0.6, 2.5)),
    )


def foot_places(skeleton: Skeleton) -> FloatArray:
    """(2, 3) m: the middle of each foot at address, on the ground."""
    at = skeleton.space.points[skeleton.address]
    places = np.array([0.5 * (at[INDEX[f"{side}_heel"]] + at[INDEX[f"{side}_foot_index"]]) for side in SIDES])
    places[:, 2] = 0.0
    return places


def leg_factor(skeleton: Skeleton, factors: Mapping[str, float]) -> float:
    """Length of the leg ÷ the model's."""
    own = skeleton.segment_lengths()
    return float(sum(own[name] * factors.get(name, 1.0) for name in ("thigh", "shank")) / (own["thigh"] + own["shank"]))


def _stature(skeleton: Skeleton, f: Mapping[str, float]) -> float:
    own = skeleton.segment_lengths()
    upright = ("thigh", "shank", "trunk", "head")
    share = sum(own[name] * f[name] for name in upright) / sum(own[name] for name in upright)
    return skeleton.space.stature_m * share


def _lower_body(
    skeleton: Skeleton, f: Mapping[str, float], stance: Stance | None, out: FloatArray, settings: RetargetSettings
) -> FloatArray:
    """Feet, knees and hips into ``out``; returns the middle of the hips (T, 3)."""
    places = foot_places(skeleton)
    if stance is None:
        centre = places.mean(axis=0)
        wanted = centre + leg_factor(skeleton, f) * (places - centre)
        flares = (0.0, 0.0)
    else:
        wanted = np.concatenate([stance.places, np.zeros((2, 1))], axis=1)
        flares = stance.flare_deg
    ankles: dict[str, FloatArray] = {}
    for k, (side, sign) in enumerate(zip(SIDES, (-1.0, 1.0))):
        for joint in FOOT_MARKS:
            moved = skeleton.joint(f"{side}_{joint}") - places[k]
            out[:, INDEX[f"{side}_{joint}"]] = wanted[k] + f["foot"] * about_z(moved, sign * flares[k])
        ankles[side] = out[:, INDEX[f"{side}_ankle"]]

    centre = middle(skeleton.space.points, "hip")
    roots = {side: skeleton.root(side, "hip") for side in SIDES}
    half = {side: f["hip_width"] * (roots[side] - centre) for side in SIDES}
    bones: dict[str, tuple[FloatArray, FloatArray]] = {}
    stretch: dict[str, FloatArray] = {}
    guess = np.zeros_like(centre)
    for side in SIDES:
        knee, ankle = skeleton.joint(f"{side}_knee"), skeleton.joint(f"{side}_ankle")
        thigh, shank = lengths(knee - roots[side]), lengths(knee - ankle)
        bones[side] = f["thigh"] * thigh, f["shank"] * shank
        stretch[side] = lengths(roots[side] - ankle) / (thigh + shank)
        chain = ankles[side] + f["shank"] * (knee - ankle) + f["thigh"] * (roots[side] - knee)
        guess += 0.5 * (chain - half[side])
    # The chains of both legs say where the pelvis is over the feet; how high it is follows from how far both knees are
    # bent, taken together, so that a wider stance lowers it instead of stretching the legs.
    pelvis = guess.copy()
    for _ in range(6):
        error, slope = np.zeros((len(pelvis), 1)), np.zeros((len(pelvis), 1))
        for side in SIDES:
            gap = pelvis + half[side] - ankles[side]
            far, long = lengths(gap), sum(bones[side])
            error += far / long - stretch[side]
            slope += gap[:, 2:] / (far * long)
        pelvis[:, 2:] -= error / np.maximum(slope, 0.2)
    for _ in range(6):
        for side in SIDES:
            gap = pelvis + half[side] - ankles[side]
            long = np.asarray(sum(bones[side]), np.float64)
            # No straighter than a straight leg, unless the model's is.
            most = long * np.clip(stretch[side] + 3 * settings.knee, settings.straightest, 0.9999)
            across = np.sum(gap[:, :2] ** 2, axis=-1, keepdims=True)
            highest = np.sqrt(np.maximum(most**2 - across, 0.01))
            pelvis[:, 2:] -= soft_excess(gap[:, 2:] / highest - 1.0, settings.knee) * highest
    for side in SIDES:
        root = pelvis + half[side]
        old_knee, old_ankle = skeleton.joint(f"{side}_knee"), skeleton.joint(f"{side}_ankle")
        pole = bend_direction(roots[side], old_knee, old_ankle, root, ankles[side])
        out[:, INDEX[f"{side}_knee"]] = two_bone(root, ankles[side], *bones[side], pole)
        out[:, INDEX[f"{side}_hip"]] = pelvis + f["hip_width"] * (skeleton.joint(f"{side}_hip") - centre)
    return pelvis


def _upper_body(skeleton: Skeleton, f: Mapping[str, float], pelvis: FloatArray, out: FloatArray) -> None:
    """Shoulders and head into ``out``."""
    points = skeleton.space.points
    hips, shoulders, ears = (middle(points, joint) for joint in ("hip", "shoulder", "ear"))
    chest = pelvis + f["trunk"] * (shoulders - hips)
    for side in SIDES:
        out[:, INDEX[f"{side}_shoulder"]] = chest + f["shoulder_width"] * (
            skeleton.joint(f"{side}_shoulder") - shoulders
        )
    head = chest + f["head"] * (ears - shoulders)
    for name in FACE_MARKS:
        out[:, INDEX[name]] = head + f["head"] * (skeleton.joint(name) - ears)
