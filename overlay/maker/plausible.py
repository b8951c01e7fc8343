"""Whether a swing in space could be a person's: bones, ground, grip, joints and speeds.

Also what the shipped models are checked with: nothing here looks at how a swing was made.
"""

from __future__ import annotations

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import SpaceTrack
from overlay.landmarks import INDEX
from overlay.settings.maker import PLAUSIBLE, PlausibleSettings

_BONES = (("elbow", "wrist"), ("knee", "ankle"))
"""Between these the marks keep their distance. Shoulders and hips are marked nearer to one another than the joints lie,
so upper arm and thigh seem to change with their direction."""
_MARKED = (("shoulder", "elbow"), ("hip", "knee"))


def unlikely(space: SpaceTrack, *, settings: PlausibleSettings = PLAUSIBLE) -> tuple[str, ...]:
    """What speaks against this swing, in words; empty when nothing does."""
    numbers = plausibility(space)
    low, high = settings.hand_speed_m_s
    n = numbers
    checks = (
        (n["bone_change"] > settings.bone_change, f"a limb changes its length by {n['bone_change']:.0%}"),
        (n["marked_change"] > settings.marked_change, f"a limb changes its length by {n['marked_change']:.0%}"),
        (n["club_change"] > settings.club_change, f"the club changes its length by {n['club_change']:.1%}"),
        (n["lowest_m"] < -settings.ground_m, f"a foot or the club goes {-100 * n['lowest_m']:.0f} cm underground"),
        (n["sole_m"] > settings.sole_m, f"the lead foot leaves the ground by {100 * n['sole_m']:.0f} cm"),
        (n["grip_m"] > settings.grip_m, f"a hand is {100 * n['grip_m']:.0f} cm off the club"),
        (n["strike_m"] > settings.strike_m, f"the club head passes the ball at {100 * n['strike_m']:.0f} cm"),
        (not low <= n["hand_speed_m_s"] <= high, f"the hands move at {n['hand_speed_m_s']:.1f} m/s at impact"),
        (n["elbow_deg_s"] > settings.elbow_deg_s, f"an elbow bends at {n['elbow_deg_s']:.0f} degrees a second"),
        (n["turn_deg_s"] > settings.turn_deg_s, f"the trunk turns at {n['turn_deg_s']:.0f} degrees a second"),
    )
    return tuple(words for wrong, words in checks if wrong)


def plausibility(space: SpaceTrack) -> dict[str, float]:
    """The numbers behind: shares of length, metres, metres and degrees a second.

    ``bone_change``, ``marked_change``, ``club_change``: largest relative change of forearm and shank, of upper arm and
    thigh between their marks, of the club. ``lowest_m``: lowest point of feet and club head. ``sole_m``: highest that
    the lower end of the lead foot gets. ``grip_m``: furthest a wrist is from the grip. ``strike_m``: club head beside
    the ball at impact. ``hand_speed_m_s`` and ``club_speed_m_s``: at impact. ``elbow_deg_s``, ``turn_deg_s``: fastest
    bend of an elbow, fastest turn of shoulders or pelvis.
    """
    p = space.points
    at = space.positions.times()
    swing = (space.time_s >= at["address"]) & (space.time_s <= at["finish"])
    step = float(np.median(np.diff(space.time_s)))

    def joint(name: str) -> FloatArray:
        return np.asarray(p[:, INDEX[name]], np.float64)

    def change(pairs: tuple[tuple[str, str], ...]) -> float:
        lengths = [
            np.linalg.norm(joint(f"{side}_{a}") - joint(f"{side}_{b}"), axis=-1)[swing]
            for a, b in pairs
            for side in ("left", "right")
        ]
        return max(float(np.ptp(length) / np.mean(length)) for length in lengths)

    club = np.linalg.norm(space.club_head - space.grip, axis=-1)
    feet = np.stack([joint(f"{side}_{end}")[:, 2] for side in ("left", "right") for end in ("heel", "foot_index")])
    lead = feet[:2] if space.handedness == "right" else feet[2:]
    wrists = np.stack([np.linalg.norm(joint(f"{side}_wrist") - space.grip, axis=-1) for side in ("left", "right")])
    i = int(np.argmin(np.abs(space.time_s - at["impact"])))
    hands = np.gradient(space.grip, step, axis=0)
    heads = np.gradient(space.club_head, step, axis=0)
    elbows = []
    for side in ("left", "right"):
        a, b = joint(f"{side}_shoulder") - joint(f"{side}_elbow"), joint(f"{side}_wrist") - joint(f"{side}_elbow")
        cosine = np.sum(a * b, -1) / np.linalg.norm(a, axis=-1) / np.linalg.norm(b, axis=-1)
        elbows.append(np.abs(np.gradient(np.degrees(np.arccos(np.clip(cosine, -1, 1))), step)))
    turns = []
    for name in ("shoulder", "hip"):
        line = joint(f"left_{name}") - joint(f"right_{name}")
        turns.append(np.abs(np.gradient(np.degrees(np.unwrap(np.arctan2(line[:, 1], line[:, 0]))), step)))
    strike = 0.0
    if space.ball is not None:
        # Across the line to the target; along it the middle of the head is behind the ball by its own half depth.
        strike = float(np.linalg.norm((space.club_head[i] - space.ball)[1:]))
    return {
        "bone_change": change(_BONES),
        "marked_change": change(_MARKED),
        "club_change": float(np.ptp(club) / np.mean(club)),
        "lowest_m": float(min(feet.min(), space.club_head[:, 2].min())),
        "sole_m": float(lead.min(axis=0)[swing].max()),
        "grip_m": float(wrists[:, swing].max()),
        "strike_m": strike,
        "hand_speed_m_s": float(np.linalg.norm(hands[i])),
        "club_speed_m_s": float(np.linalg.norm(heads[i])),
        "elbow_deg_s": float(np.max([rate[swing] for rate in elbows])),
        "turn_deg_s": float(np.max([rate[swing] for rate in turns])),
    }
