"""Both hands on the club, and the club at the ball: what of a retargeted movement is not free.

The elbows bend as the model's do, the straighter arm first. The club has one length. At address its head lies at the
ball, and the club becomes as long as the hands, hanging as the model's, need it to be. At impact the head passes the
same place: a body of other proportions bends a little more or less from the hips for it, such that arms and shaft make
the model's angle, and the hands do the rest. All of it fades in and out smoothly.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.fit.skeleton import FACE_MARKS, HAND_MARKS, SIDES, Skeleton, lengths, middle
from overlay.fit.vectors import dot, rotation_vector, smoothstep, soft_excess, turned, two_bone, unit
from overlay.landmarks import INDEX
from overlay.settings.fit import RetargetSettings

_X, _Z = np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0])
_UPPER = [INDEX[name] for name in (*FACE_MARKS, "left_shoulder", "right_shoulder")]


def hold_the_club(
    skeleton: Skeleton,
    f: Mapping[str, float],
    head_place: FloatArray | None,
    pelvis: FloatArray,
    out: FloatArray,
    settings: RetargetSettings,
) -> tuple[FloatArray, FloatArray, FloatArray | None]:
    """Arms and club of a body whose trunk and legs stand.

    Parameters
    ----------
    f : mapping segment → factor
    head_place : (3,) m or None
        See ``retarget.posed``.
    pelvis : (T, 3) m
        Middle of the hips.
    out : (T, 33, 3) m
        Shoulders and head are in it and may be bent a little further; elbows, wrists and hands are written.

    Returns
    -------
    grip, club_head : (T, 3) m
    ball : (3,) m or None
    """
    space = skeleton.space
    first, hit = skeleton.address, skeleton.impact
    at_address, at_impact = _weights(skeleton, settings)
    shaft = unit(space.club_head - space.grip)
    arms = [_arm(skeleton, side, f, out, settings) for side in SIDES]
    hands = _hands(arms, [arm.wrist for arm in arms], _guess(skeleton, arms), settings)
    place, length = _address(skeleton, hands[first], head_place, settings)
    # At impact the head passes where it lay, but for what lay between the two in the model.
    target = place + space.club_head[hit] - space.club_head[first]
    bend = _bend(skeleton, arms[0], pelvis[hit], hands[hit], target, length, settings)
    out[:, _UPPER] = pelvis[:, None] + turned(out[:, _UPPER] - pelvis[:, None], bend * at_impact[:, None] * _X)
    arms = [_arm(skeleton, side, f, out, settings) for side in SIDES]
    guess = _guess(skeleton, arms)
    turn = np.zeros_like(shaft)
    wrists = [arm.wrist for arm in arms]
    for _ in range(2):
        wrists = [turned(arm.wrist, turn) for arm in arms]
        free = _hands(arms, wrists, guess, settings)
        struck = [arm.at(hit) for arm in arms], [wrist[hit] for wrist in wrists]
        met = _to_the_ball(*struck, free[hit], target, length, settings)
        hands = _in_reach(arms, wrists, free + at_impact * (met - free[hit]), settings)
        turn = at_address * rotation_vector(shaft[first], place - hands[first])
        turn = turn + at_impact * rotation_vector(shaft[hit], target - hands[hit])
    wrists = [turned(arm.wrist, turn) for arm in arms]
    new_shaft = _off_the_ground(turned(shaft, turn), hands, length, float(space.club_head[:, 2].min()), settings)
    for side, arm, wrist in zip(SIDES, arms, wrists):
        at = _within(hands + wrist, arm)
        out[:, INDEX[f"{side}_wrist"]] = at
        old = (skeleton.root(side, "shoulder"), skeleton.joint(f"{side}_elbow"), skeleton.joint(f"{side}_wrist"))
        pole = bend_direction(old[0], old[1], old[2], arm.root, at)
        out[:, INDEX[f"{side}_elbow"]] = two_bone(arm.root, at, arm.upper, arm.fore, pole)
        for joint in HAND_MARKS:
            from_wrist = skeleton.joint(f"{side}_{joint}") - old[2]
            out[:, INDEX[f"{side}_{joint}"]] = at + f["hand"] * turned(from_wrist, turn)
    ball = None if space.ball is None else space.ball + place - space.club_head[first]
    return hands, hands + length * new_shaft, ball


def bend_direction(
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

    def at(self, frame: int) -> _Arm:
        """One moment of it."""
        return _Arm(*(np.asarray(value)[frame : frame + 1] for value in vars(self).values()))


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
        np.clip(straight + 3 * settings.knee, settings.straightest, 0.9999) * (upper + fore),
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
        normal = np.broadcast_to(settings.hang * np.eye(3), (len(hands), 3, 3)).copy()
        right = settings.hang * (guess - hands)
        for arm, wrist in zip(arms, wrists):
            gap = hands + wrist - arm.root
            far = lengths(gap)
            way = gap / np.maximum(far, 1e-6)
            normal += arm.weight[..., None] * way[:, :, None] * way[:, None, :]
            right += arm.weight * (arm.reach - far) * way
        hands = hands + np.linalg.solve(normal, right[..., None])[..., 0]
    return _in_reach(arms, wrists, hands, settings)


def _in_reach(arms: list[_Arm], wrists: list[FloatArray], hands: FloatArray, settings: RetargetSettings) -> FloatArray:
    """(T, 3) hands drawn in softly where an arm would have to be longer than it is."""
    for _ in range(12):
        for arm, wrist in zip(arms, wrists):
            gap = hands + wrist - arm.root
            far = lengths(gap)
            over = soft_excess(far / arm.most - 1.0, settings.knee) * arm.most
            hands = hands - over * gap / np.maximum(far, 1e-6)
    return hands


def _guess(skeleton: Skeleton, arms: list[_Arm]) -> FloatArray:
    """(T, 3) where both arms, hanging as the model's, would hold the hands: the middle of the two."""
    guess = np.zeros_like(skeleton.space.grip)
    for side, arm in zip(SIDES, arms):
        root = skeleton.root(side, "shoulder")
        reach = lengths(skeleton.joint(f"{side}_wrist") - root)
        guess += 0.5 * (arm.root + (skeleton.space.grip - root) * arm.reach / np.maximum(reach, 1e-6))
    return guess


def _within(wrist: FloatArray, arm: _Arm) -> FloatArray:
    """The wrist, where the last turn of the hands has moved it past the arm's reach by a hair."""
    gap = wrist - arm.root
    far = lengths(gap)
    return np.asarray(arm.root + gap * np.minimum(1.0, 0.9999 * (arm.upper + arm.fore) / far), np.float64)


def _weights(skeleton: Skeleton, settings: RetargetSettings) -> tuple[FloatArray, FloatArray]:
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
    through = 1.0 - smoothstep((t - impact) / max(settings.fade * (finish - impact), 1e-3))
    return back[:, None], (down * through)[:, None]


def _address(
    skeleton: Skeleton,
    hands: FloatArray,
    head_place: FloatArray | None,
    settings: RetargetSettings,
) -> tuple[FloatArray, float]:
    """At address: where the head lies (3,), and how long the club is."""
    first = skeleton.address
    old_head, old_hands = skeleton.space.club_head[first], skeleton.space.grip[first]
    length = skeleton.club_m
    if head_place is None:
        drop = min(float(hands[2] - old_head[2]), 0.98 * length)
        flat = (old_head - old_hands) * (1.0 - _Z)
        return hands + math.sqrt(length**2 - drop**2) * unit(flat) - drop * _Z, length
    head = np.asarray(head_place, np.float64)
    asked = float(np.linalg.norm(head - hands))
    own = float(np.clip(asked, settings.shortest_club * length, settings.longest_club * length))
    if own != asked:
        # The ball lies where no club of this kind reaches from these hands: the club ends on the ground before it.
        drop = min(float(hands[2] - head[2]), 0.98 * own)
        head = hands + math.sqrt(own**2 - drop**2) * unit((head - hands) * (1.0 - _Z)) - drop * _Z
    return head, own


def _bend(
    skeleton: Skeleton,
    lead: _Arm,
    pelvis: FloatArray,
    hands: FloatArray,
    target: FloatArray,
    length: float,
    settings: RetargetSettings,
) -> float:
    """Rad about X by which the trunk bends further at impact, so that lead arm and shaft make the model's angle."""
    hit = skeleton.impact
    space = skeleton.space
    old_arm = space.grip[hit] - skeleton.root("left", "shoulder")[hit]
    old_shaft = space.club_head[hit] - space.grip[hit]
    cosine = float(unit(old_arm) @ unit(old_shaft))
    root = lead.root[hit]
    reach = float(np.linalg.norm(hands - root))
    wanted = math.sqrt(reach**2 + length**2 + 2 * reach * length * cosine)

    def missing(bend: float) -> float:
        return float(np.linalg.norm(pelvis + turned(root - pelvis, bend * _X) - target)) - wanted

    bend = 0.0
    for _ in range(6):
        slope = (missing(bend + 1e-4) - missing(bend - 1e-4)) / 2e-4
        if abs(slope) < 0.05:
            break
        bend -= float(np.clip(missing(bend) / slope, -0.1, 0.1))
    most = math.radians(settings.most_bend_deg)
    return most * math.tanh(bend / most)


def _to_the_ball(
    arms: list[_Arm],
    wrists: list[FloatArray],
    hands: FloatArray,
    target: FloatArray,
    length: float,
    settings: RetargetSettings,
) -> FloatArray:
    """(3,) hands at impact from which the club reaches ``target``, the arms bent as nearly as can be as the model's.

    Gauss–Newton steps; where arms and club together are too short, the hands end on the way and the club before it.
    """
    at = hands.copy()
    for _ in range(12):
        normal, right = settings.strike_hang * np.eye(3), settings.strike_hang * (hands - at)
        for arm, wrist in zip(arms, wrists):
            gap = at + wrist - arm.root[0]
            far = float(np.linalg.norm(gap))
            weight = float(arm.weight[0, 0])
            normal = normal + weight * np.outer(gap, gap) / far**2
            right = right + weight * (float(arm.reach[0, 0]) - far) * gap / far
        gap = at - target
        far = float(np.linalg.norm(gap))
        normal = normal + settings.strike_club * np.outer(gap, gap) / far**2
        right = right + settings.strike_club * (length - far) * gap / far
        at = at + np.linalg.solve(normal, right)
    return np.asarray(at, np.float64)


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
