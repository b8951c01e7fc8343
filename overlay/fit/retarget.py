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
from overlay.fit.skeleton import FACE_MARKS, FOOT_MARKS, HAND_MARKS, SEGMENTS, SIDES, Skeleton, lengths, middle
from overlay.fit.vectors import about_z, dot, rotation_vector, smoothstep, soft_excess, turned, two_bone, unit
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
    grip, head, ball = _arms_and_club(skeleton, f, head_place, out, settings)
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
    for _ in range(3):
        for side in SIDES:
            gap = pelvis + half[side] - ankles[side]
            long = np.asarray(sum(bones[side]), np.float64)
            # No straighter than a straight leg, unless the model's is.
            most = long * np.maximum(settings.straightest, stretch[side])
            across = np.sum(gap[:, :2] ** 2, axis=-1, keepdims=True)
            highest = np.sqrt(np.maximum(most**2 - across, 0.01))
            over = soft_excess(gap[:, 2:] / highest - 1.0 - 4 * settings.leg_knee, settings.leg_knee)
            pelvis[:, 2:] -= over * highest
    for side in SIDES:
        root = pelvis + half[side]
        old_knee, old_ankle = skeleton.joint(f"{side}_knee"), skeleton.joint(f"{side}_ankle")
        pole = _pole(roots[side], old_knee, old_ankle, root, ankles[side])
        out[:, INDEX[f"{side}_knee"]] = two_bone(root, ankles[side], *bones[side], pole)
        out[:, INDEX[f"{side}_hip"]] = pelvis + f["hip_width"] * (skeleton.joint(f"{side}_hip") - centre)
    return pelvis


def _pole(
    old_root: FloatArray, old_middle: FloatArray, old_end: FloatArray, root: FloatArray, end: FloatArray
) -> FloatArray:
    """(T, 3) direction in which the limb bends, carried over to its new line by the least turn.

    Where the model's limb is nearly straight its bend hardly has a direction; that of the moments around is used.
    """
    line = old_end - old_root
    along = unit(line)
    bend = old_middle - old_root
    bend = bend - dot(bend, along) * along
    # A moving mean weighted by the bend itself: what is clearly bent says where the rest bends to.
    width = max(1, len(bend) // 40)
    kernel = np.hanning(2 * width + 3)[1:-1]
    around = np.stack(
        [np.convolve(np.pad(column, width, "edge"), kernel / kernel.sum(), "valid") for column in bend.T], -1
    )
    return turned(bend + 0.2 * around, rotation_vector(line, end - root))


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


@dataclass(frozen=True)
class _Arm:
    """One arm of the model and what it becomes."""

    root: FloatArray
    upper: FloatArray
    fore: FloatArray
    reach: FloatArray
    """(T, 1) m: shoulder to wrist with the model's bend of the elbow."""
    most: FloatArray
    """(T, 1) m: as far as it goes."""
    weight: FloatArray
    """(T, 1): how much the bend must be kept; 1 for a straight arm."""
    wrist: FloatArray
    """(T, 3) m: the model's wrist, from the middle of its hands, scaled."""


def _arm(skeleton: Skeleton, side: str, f: Mapping[str, float], out: FloatArray, settings: RetargetSettings) -> _Arm:
    old_root, elbow, wrist = (
        skeleton.root(side, "shoulder"),
        skeleton.joint(f"{side}_elbow"),
        skeleton.joint(f"{side}_wrist"),
    )
    chest = middle(out, "shoulder")
    root = chest + (1.0 + skeleton.shoulder_outward) * (out[:, INDEX[f"{side}_shoulder"]] - chest)
    old_upper, old_fore, old_reach = lengths(elbow - old_root), lengths(wrist - elbow), lengths(wrist - old_root)
    upper, fore = f["upper_arm"] * old_upper, f["forearm"] * old_fore
    # The angle at the elbow stays as it is.
    cosine = np.clip((old_upper**2 + old_fore**2 - old_reach**2) / (2 * old_upper * old_fore), -1.0, 1.0)
    reach = np.sqrt(np.maximum(upper**2 + fore**2 - 2 * upper * fore * cosine, 1e-6))
    straight = old_reach / (old_upper + old_fore)
    return _Arm(
        root,
        upper,
        fore,
        reach,
        np.maximum(settings.straightest, straight) * (upper + fore),
        settings.stiff / (settings.stiff + np.maximum(1.0 - straight, 0.0)),
        f["hand"] * (wrist - skeleton.space.grip),
    )


def _hands(arms: list[_Arm], wrists: list[FloatArray], guess: FloatArray, settings: RetargetSettings) -> FloatArray:
    """(T, 3) middle of the hands such that both elbows bend as in the model, the straighter one first, and both reach.

    ``wrists`` are from the middle of the hands. Gauss–Newton steps on the two distances; what they leave open stays
    as near to ``guess`` as it can.
    """
    hands = guess.copy()
    for _ in range(6):
        normal = np.broadcast_to(0.02 * np.eye(3), (len(hands), 3, 3)).copy()
        right = 0.02 * (guess - hands)
        for arm, wrist in zip(arms, wrists):
            gap = hands + wrist - arm.root
            far = lengths(gap)
            way = gap / np.maximum(far, 1e-6)
            normal += arm.weight[..., None] * way[:, :, None] * way[:, None, :]
            right += arm.weight * (arm.reach - far) * way
        hands = hands + np.linalg.solve(normal, right[..., None])[..., 0]
    for _ in range(12):
        for arm, wrist in zip(arms, wrists):
            gap = hands + wrist - arm.root
            far = lengths(gap)
            over = soft_excess(far / arm.most - 1.0 - 4 * settings.arm_knee, settings.arm_knee) * arm.most
            hands = hands - over * gap / np.maximum(far, 1e-6)
    return hands


def _arms_and_club(
    skeleton: Skeleton,
    f: Mapping[str, float],
    head_place: FloatArray | None,
    out: FloatArray,
    settings: RetargetSettings,
) -> tuple[FloatArray, FloatArray, FloatArray | None]:
    """Elbows, wrists and hands into ``out``; returns grip (T, 3), club head (T, 3) and ball (3,)."""
    space = skeleton.space
    first, hit = skeleton.address, skeleton.impact
    arms = [_arm(skeleton, side, f, out, settings) for side in SIDES]
    shaft = unit(space.club_head - space.grip)
    length = skeleton.club_m
    guess = np.zeros_like(space.grip)
    for side, arm in zip(SIDES, arms):
        old = space.grip - skeleton.root(side, "shoulder")
        wrist_old = skeleton.joint(f"{side}_wrist") - skeleton.root(side, "shoulder")
        guess += 0.5 * (arm.root + old * arm.reach / np.maximum(lengths(wrist_old), 1e-6))
    at_address, at_impact = _weights(skeleton)
    turn = np.zeros_like(shaft)
    shift = np.zeros(3)
    place = np.zeros(3)
    for _ in range(3):
        wrists = [turned(arm.wrist, turn) for arm in arms]
        hands = _hands(arms, wrists, guess + at_impact * shift, settings)
        place, length, lie = _club_at_address(skeleton, hands[first], head_place, settings)
        # At impact the head passes where it lay, but for what lay between the two in the model.
        target = place + space.club_head[hit] - space.club_head[first]
        frame = [_Arm(*(np.asarray(value)[hit : hit + 1] for value in vars(arm).values())) for arm in arms]
        met = _to_the_ball(frame, [wrist[hit : hit + 1] for wrist in wrists], hands[hit], target, length)
        shift = shift + met - hands[hit]
        strike = target - met
        turn = at_address * rotation_vector(shaft[first], lie) + at_impact * rotation_vector(shaft[hit], strike)
    wrists = [turned(arm.wrist, turn) for arm in arms]
    hands = _hands(arms, wrists, guess + at_impact * shift, settings)
    new_shaft = _off_the_ground(turned(shaft, turn), hands, length, float(space.club_head[:, 2].min()), settings)
    for side, arm, wrist in zip(SIDES, arms, wrists):
        at = hands + wrist
        out[:, INDEX[f"{side}_wrist"]] = at
        pole = _pole(
            skeleton.root(side, "shoulder"),
            skeleton.joint(f"{side}_elbow"),
            skeleton.joint(f"{side}_wrist"),
            arm.root,
            at,
        )
        out[:, INDEX[f"{side}_elbow"]] = two_bone(arm.root, at, arm.upper, arm.fore, pole)
        for joint in HAND_MARKS:
            from_wrist = skeleton.joint(f"{side}_{joint}") - skeleton.joint(f"{side}_wrist")
            out[:, INDEX[f"{side}_{joint}"]] = at + f["hand"] * turned(from_wrist, turn)
    ball = None if space.ball is None else space.ball + place - space.club_head[first]
    return hands, hands + length * new_shaft, ball


def _weights(skeleton: Skeleton) -> tuple[FloatArray, FloatArray]:
    """(T, 1) each: how much the club's turn at address and at impact counts; none of either at the top."""
    space = skeleton.space
    t = space.time_s
    address, impact = float(t[skeleton.address]), float(t[skeleton.impact])
    top = space.positions.time("top")
    top = address + 0.75 * (impact - address) if top is None else top
    finish = space.positions.time("finish")
    finish = impact + (impact - top) * 2.5 if finish is None else finish
    back = 1.0 - smoothstep((t - address) / max(top - address, 1e-3))
    down = smoothstep((t - top) / max(impact - top, 1e-3))
    through = 1.0 - smoothstep((t - impact) / max(0.6 * (finish - impact), 1e-3))
    return back[:, None], (down * through)[:, None]


def _club_at_address(
    skeleton: Skeleton, hands: FloatArray, head_place: FloatArray | None, settings: RetargetSettings
) -> tuple[FloatArray, float, FloatArray]:
    """Where the head lies (3,), how long the club is, and its direction (3,)."""
    first = skeleton.address
    old_head, old_hands = skeleton.space.club_head[first], skeleton.space.grip[first]
    length = skeleton.club_m
    if head_place is None:
        flat = old_head - old_hands
        flat[2] = 0.0
        drop = min(float(hands[2] - old_head[2]), 0.98 * length)
        lie = np.sqrt(length**2 - drop**2) * unit(flat) - np.array([0.0, 0.0, drop])
        return hands + lie, length, unit(lie)
    way = np.asarray(head_place, np.float64) - hands
    asked = float(np.linalg.norm(way))
    length = float(np.clip(asked, settings.shortest_club * length, settings.longest_club * length))
    if length != asked:
        # The ball lies where no club of this kind reaches from these hands: the club ends on the ground before it.
        drop = min(-float(way[2]), 0.98 * length)
        way = np.sqrt(length**2 - drop**2) * unit(way * np.array([1.0, 1.0, 0.0])) - np.array([0.0, 0.0, drop])
    return hands + way, length, unit(way)


def _to_the_ball(
    arms: list[_Arm], wrists: list[FloatArray], hands: FloatArray, target: FloatArray, length: float
) -> FloatArray:
    """(3,) hands at impact from which the club reaches ``target``, the arms as near to the model's bend as they can."""
    at = hands[None].copy()
    for _ in range(12):
        normal, right = 0.05 * np.eye(3), 0.05 * (hands - at[0])
        for arm, wrist in zip(arms, wrists):
            gap = (at + wrist - arm.root)[0]
            far = float(np.linalg.norm(gap))
            way = gap / far
            weight = 2.0 * float(arm.weight[0, 0]) if far < float(arm.most[0, 0]) else 20.0
            normal = normal + weight * np.outer(way, way)
            right = right + weight * (min(float(arm.reach[0, 0]), float(arm.most[0, 0])) - far) * way
        gap = at[0] - target
        far = float(np.linalg.norm(gap))
        way = gap / far
        normal = normal + 10.0 * np.outer(way, way)
        right = right + 10.0 * (length - far) * way
        at = at + np.linalg.solve(normal, right)
    return np.asarray(at[0], np.float64)


def _off_the_ground(
    shaft: FloatArray, hands: FloatArray, length: float, lowest: float, settings: RetargetSettings
) -> FloatArray:
    """(T, 3) the shaft's direction, raised where the head would pass deeper than in the model."""
    floor = max(lowest - settings.floor_m, 0.0)
    height = hands[:, 2:] + length * shaft[:, 2:]
    over = floor + soft_excess(height - floor, 0.15 * settings.floor_m)
    rise = np.clip((over - hands[:, 2:]) / length, -1.0, 1.0)
    flat = shaft * np.array([1.0, 1.0, 0.0])
    return np.asarray(
        unit(flat) * np.sqrt(np.maximum(1.0 - rise**2, 0.0)) + rise * np.array([0.0, 0.0, 1.0]), np.float64
    )
