"""How a player of other proportions stands at address, as a function that is cheap to evaluate many times.

The model's own posture, bone by bone with its directions kept, on feet that stand as wide and as open as asked; and
small departures from that posture, which real players show and which must not be taken for build or camera.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.fit.retarget import Stance
from overlay.fit.seen import ROWS
from overlay.fit.skeleton import FOOT_MARKS, SEGMENTS, SIDES, Skeleton, middle
from overlay.landmarks import INDEX

N_STANCE = 4
LOG_WIDTH, OPEN, LEAD_FLARE, TRAIL_FLARE = range(N_STANCE)
N_FACTORS = len(SEGMENTS)
WAYS: tuple[str, ...] = (
    "pelvis_x_m", "pelvis_y_m", "pelvis_z_m", "pelvis_turn_deg", "pelvis_roll_deg",
    "left_knee_x_m", "left_knee_y_m", "right_knee_x_m", "right_knee_y_m",
    "bend_deg", "lean_deg", "shoulder_turn_deg", "shoulder_roll_deg",
    "head_x_m", "head_y_m", "head_z_m", "head_turn_deg", "head_pitch_deg", "head_roll_deg",
    "hands_x_m", "hands_y_m", "hands_z_m",
    *(f"{side}_elbow_{axis}_m" for side in SIDES for axis in "xyz"),
)  # fmt: skip
"""Departures from the model's posture."""
_AXES = {"x": np.array([1.0, 0, 0]), "y": np.array([0, 1.0, 0]), "z": np.array([0, 0, 1.0])}


def way_sd(posture_sd: Mapping[str, float]) -> FloatArray:
    """(n,) standard deviation of each of ``WAYS``, m and rad."""
    out = []
    for name in WAYS:
        key = name.replace("left_", "").replace("right_", "")
        key = "elbow_m" if key.startswith("elbow") else key
        out.append(np.radians(posture_sd[key]) if key.endswith("deg") else posture_sd[key])
    return np.array(out)


@dataclass(frozen=True)
class Standing:
    """The model at one moment, taken apart into bones.

    Attributes
    ----------
    points : (33, 3) m
    roots : side → joint → (3,) m
        Where legs and arms turn.
    grip : (3,) m
    """

    points: FloatArray
    roots: Mapping[str, Mapping[str, FloatArray]]
    grip: FloatArray
    outward: float

    @classmethod
    def of(cls, skeleton: Skeleton, frame: int) -> Standing:
        roots = {side: {joint: skeleton.root(side, joint)[frame] for joint in ("hip", "shoulder")} for side in SIDES}
        return cls(skeleton.space.points[frame], roots, skeleton.space.grip[frame], skeleton.shoulder_outward)

    def _at(self, name: str) -> FloatArray:
        return np.asarray(self.points[INDEX[name]], np.float64)

    def feet(self) -> FloatArray:
        """(2, 3) m: the middle of each foot, on the ground."""
        places = np.array([0.5 * (self._at(f"{side}_heel") + self._at(f"{side}_foot_index")) for side in SIDES])
        places[:, 2] = 0.0
        return places

    def foot_centres(self, stance: FloatArray, log_factors: FloatArray) -> FloatArray:
        """(K, 2, 3) m where the feet stand; stance (K, 4), factors (K, 10)."""
        places = self.feet()
        centre = places.mean(axis=0)
        f = dict(zip(SEGMENTS, np.exp(log_factors).T))
        legs = (f["thigh"] + f["shank"]) / 2
        half = 0.5 * (places[0] - places[1])
        half = (np.exp(stance[:, LOG_WIDTH]) * legs)[:, None] * half + 0.5 * stance[:, OPEN, None] * _AXES["y"]
        return np.asarray(np.stack([centre + half, centre - half], axis=1), np.float64)

    def stance(self, stance: FloatArray, log_factors: FloatArray) -> Stance:
        """What ``posed`` takes, from (4,) and (10,)."""
        return Stance(
            self.foot_centres(stance[None], log_factors[None])[0, :, :2],
            (float(np.degrees(stance[LEAD_FLARE])), float(np.degrees(stance[TRAIL_FLARE]))),
        )

    def joints(self, stance: FloatArray, log_factors: FloatArray, ways: FloatArray) -> FloatArray:
        """(K, J, 3) m of ``seen.JOINTS`` from stance (K, 4), factors (K, 10) and departures (K, n), m and rad."""
        n = len(stance)
        f = {name: value[:, None] for name, value in zip(SEGMENTS, np.exp(log_factors).T)}
        w = {name: value[:, None] for name, value in zip(WAYS, ways.T)}
        out = np.zeros((n, len(self.points), 3))
        centres = self.foot_centres(stance, log_factors)
        places = self.feet()
        hips, shoulders, ears = (middle(self.points, joint) for joint in ("hip", "shoulder", "ear"))
        chains, halves = [], []
        for k, (side, sign) in enumerate(zip(SIDES, (-1.0, 1.0))):
            c, s = np.cos(sign * stance[:, 2 + k]), np.sin(sign * stance[:, 2 + k])
            for joint in FOOT_MARKS:
                x, y, z = self._at(f"{side}_{joint}") - places[k]
                out[:, INDEX[f"{side}_{joint}"]] = centres[:, k] + f["foot"] * np.stack(
                    [c * x - s * y, s * x + c * y, np.full(n, z)], -1
                )
            knee, ankle = self._at(f"{side}_knee"), self._at(f"{side}_ankle")
            new_knee = out[:, INDEX[f"{side}_ankle"]] + f["shank"] * (knee - ankle)
            out[:, INDEX[f"{side}_knee"]] = new_knee
            chains.append(new_knee + f["thigh"] * (self.roots[side]["hip"] - knee))
            halves.append(f["hip_width"] * (self.roots[side]["hip"] - hips))
        by_legs = 0.5 * (chains[0] - halves[0] + chains[1] - halves[1])
        moved = sum(w[f"pelvis_{axis}_m"] * _AXES[axis] for axis in "xyz")
        pelvis = by_legs + moved
        for k, side in enumerate(SIDES):
            name = f"{side}_knee"
            out[:, INDEX[name]] += 0.5 * (pelvis + halves[k] - chains[k])
            out[:, INDEX[name]] += w[f"{name}_x_m"] * _AXES["x"] + w[f"{name}_y_m"] * _AXES["y"]
            across = f["hip_width"] * (self._at(f"{side}_hip") - hips)
            across = across + _turn(across, w["pelvis_turn_deg"] * _AXES["z"] + w["pelvis_roll_deg"] * _AXES["y"])
            out[:, INDEX[f"{side}_hip"]] = pelvis + across
        # In these axes + about X bends to the ball line when taken negative; the sign does not matter for a prior.
        tilt = w["bend_deg"] * _AXES["x"] + w["lean_deg"] * _AXES["y"]
        trunk = f["trunk"] * (shoulders - hips)
        chest = pelvis + trunk + _turn(trunk, tilt)
        twist = tilt + w["shoulder_turn_deg"] * _AXES["z"] + w["shoulder_roll_deg"] * _AXES["y"]
        for side in SIDES:
            across = f["shoulder_width"] * (self._at(f"{side}_shoulder") - shoulders)
            out[:, INDEX[f"{side}_shoulder"]] = chest + across + _turn(across, twist)
        head = chest + f["head"] * (ears - shoulders) + sum(w[f"head_{axis}_m"] * _AXES[axis] for axis in "xyz")
        nod = w["head_pitch_deg"] * _AXES["x"] + w["head_roll_deg"] * _AXES["y"] + w["head_turn_deg"] * _AXES["z"]
        for name in ("nose", "left_ear", "right_ear"):
            face = f["head"] * (self._at(name) - ears)
            out[:, INDEX[name]] = head + face + _turn(face, nod)
        hands = sum(w[f"hands_{axis}_m"] * _AXES[axis] for axis in "xyz")
        for side in SIDES:
            root = chest + f["shoulder_width"] * (self.roots[side]["shoulder"] - shoulders)
            elbow, wrist = self._at(f"{side}_elbow"), self._at(f"{side}_wrist")
            new_elbow = root + f["upper_arm"] * (elbow - self.roots[side]["shoulder"])
            own = sum(w[f"{side}_elbow_{axis}_m"] * _AXES[axis] for axis in "xyz")
            out[:, INDEX[f"{side}_elbow"]] = new_elbow + 0.5 * hands + own
            out[:, INDEX[f"{side}_wrist"]] = new_elbow + f["forearm"] * (wrist - elbow) + hands
        return out[:, list(ROWS)]

    def hands(self, stance: FloatArray, log_factors: FloatArray, ways: FloatArray) -> FloatArray:
        """(3,) m: where the player's hands are, from (4,), (10,) and (n,)."""
        joints = self.joints(stance[None], log_factors[None], ways[None])[0]
        wrists = [ROWS.index(INDEX[f"{side}_wrist"]) for side in SIDES]
        return np.asarray(joints[wrists].mean(axis=0) + self.grip - middle(self.points, "wrist"), np.float64)


def _turn(v: FloatArray, small: FloatArray) -> FloatArray:
    """(K, 3) what a small turn (K, 3) rad adds to vectors."""
    return np.asarray(np.cross(small, v), np.float64)
