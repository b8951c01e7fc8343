"""The bones of a swing in space: what keeps its length, about which points the limbs turn, how straight they are.

All for a right-hander: lead is left. A pose model marks hips and shoulders nearer to the middle than where the limbs
turn, so the distance from such a mark to the knee or elbow changes over a swing. Limbs are therefore rooted further
out on the same line, at the place from which the bone keeps its length best.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import SpaceTrack
from overlay.errors import DataError
from overlay.landmarks import INDEX
from overlay.settings.fit import RetargetSettings

SIDES = ("left", "right")
SEGMENTS: tuple[str, ...] = (
    "trunk", "shoulder_width", "hip_width", "head", "upper_arm", "forearm", "hand", "thigh", "shank", "foot",
)  # fmt: skip
"""What has a length of its own; both sides of a person are taken as equal."""

FOOT_MARKS = ("ankle", "heel", "foot_index")
HAND_MARKS = ("pinky", "index", "thumb")
FACE_MARKS = tuple(
    name for name in INDEX if name.startswith(("nose", "mouth")) or "eye" in name or name.endswith("ear")
)


def middle(points: FloatArray, joint: str) -> FloatArray:
    """(…, 33, 3) → (…, 3): between the left and the right joint."""
    return np.asarray(
        0.5 * (points[..., INDEX[f"left_{joint}"], :] + points[..., INDEX[f"right_{joint}"], :]), np.float64
    )


def lengths(vectors: FloatArray) -> FloatArray:
    """(…, 3) → (…, 1)."""
    return np.asarray(np.linalg.norm(vectors, axis=-1, keepdims=True), np.float64)


def outward(points: FloatArray, root: str, end: str, most: float) -> float:
    """How much further out than the marked ``root`` the limb turns, as a share of half the marked breadth.

    The share at which the distance to ``end`` varies least over the swing, both sides together; 0 where that gains
    nothing, as for a swing that is too short or was made with constant distances.
    """
    centre = middle(points, root)
    shares = np.linspace(0.0, most, 46)
    spread = np.zeros(len(shares))
    for side in SIDES:
        half = points[:, INDEX[f"{side}_{root}"]] - centre
        gap = points[:, INDEX[f"{side}_{end}"]] - centre
        far = np.linalg.norm(gap[None] - (1.0 + shares[:, None, None]) * half[None], axis=-1)
        spread += np.var(far, axis=1) / np.mean(far, axis=1) ** 2
    best = int(np.argmin(spread))
    return float(shares[best]) if spread[best] < 0.7 * spread[0] else 0.0


@dataclass(frozen=True)
class Skeleton:
    """A right-handed swing in space, with the roots of its limbs.

    Attributes
    ----------
    space : SpaceTrack
    hip_outward, shoulder_outward : float
        See ``outward``.
    address, impact : int
        Frames.
    """

    space: SpaceTrack
    hip_outward: float
    shoulder_outward: float
    address: int
    impact: int

    @classmethod
    def of(cls, space: SpaceTrack, settings: RetargetSettings) -> Skeleton:
        """Find the roots of the limbs.

        Raises
        ------
        DataError
            A left-hander, or a swing without address or impact.
        """
        if space.handedness != "right":
            raise DataError("The bones are those of a right-hander.", "Mirror the swing first.")
        times = [space.positions.time(name) for name in ("address", "impact")]
        if any(time_s is None for time_s in times):
            raise DataError("The swing in space has no address or no impact.", "Make the model again.")
        at = [int(np.argmin(np.abs(space.time_s - time_s))) for time_s in times if time_s is not None]
        most = settings.most_outward
        return cls(
            space,
            outward(space.points, "hip", "knee", most),
            outward(space.points, "shoulder", "elbow", most),
            at[0],
            at[1],
        )

    def joint(self, name: str) -> FloatArray:
        """(T, 3) m."""
        return self.space.points[:, INDEX[name]]

    def root(self, side: str, joint: str) -> FloatArray:
        """(T, 3) m: the point about which the limb of ``joint`` ("hip" or "shoulder") turns."""
        share = self.hip_outward if joint == "hip" else self.shoulder_outward
        centre = middle(self.space.points, joint)
        return np.asarray(centre + (1.0 + share) * (self.joint(f"{side}_{joint}") - centre), np.float64)

    @property
    def club_m(self) -> float:
        """Middle of the hands to club head."""
        return float(np.median(np.linalg.norm(self.space.club_head - self.space.grip, axis=-1)))

    def segment_lengths(self) -> dict[str, float]:
        """Segment → m between the marks of the pose model, median over the swing and both sides.

        "head" is from the middle of the shoulders to that of the ears at address, "hand" from the wrist to the index
        knuckle.
        """
        points = self.space.points

        def bone(one: str, other: str) -> float:
            gaps = [
                np.linalg.norm(self.joint(f"{side}_{one}") - self.joint(f"{side}_{other}"), axis=-1) for side in SIDES
            ]
            return float(np.median(gaps))

        def across(joint: str) -> float:
            return float(np.median(np.linalg.norm(self.joint(f"left_{joint}") - self.joint(f"right_{joint}"), axis=-1)))

        limbs = {
            name: float(
                np.median(
                    [np.linalg.norm(self.root(side, root) - self.joint(f"{side}_{end}"), axis=-1) for side in SIDES]
                )
            )
            for name, root, end in (("upper_arm", "shoulder", "elbow"), ("thigh", "hip", "knee"))
        }
        return {
            "trunk": float(np.median(np.linalg.norm(middle(points, "shoulder") - middle(points, "hip"), axis=-1))),
            "shoulder_width": across("shoulder"),
            "hip_width": across("hip"),
            "head": float(np.linalg.norm(middle(points, "ear") - middle(points, "shoulder"), axis=-1)[self.address]),
            "forearm": bone("elbow", "wrist"),
            "hand": bone("wrist", "index"),
            "shank": bone("knee", "ankle"),
            "foot": bone("heel", "foot_index"),
            **limbs,
        }
