"""Postures before they are drawn: which hand leads, people elsewhere, moments within an exposure."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Sequence

import numpy as np

from overlay.arrays import FloatArray

if TYPE_CHECKING:
    from overlay.golfer.motion import Motion, Posture


def lead_side(posture: Posture) -> str:
    """ "left" or "right": the hand nearer the end of the grip is the lead hand."""
    p: Any = posture
    shaft = np.asarray(p.club_head, float) - np.asarray(p.grip, float)
    left, right = (float(np.asarray(p.joints[f"{side}_hand"], float) @ shaft) for side in ("left", "right"))
    return "left" if left <= right else "right"


class Moved:
    """A posture standing elsewhere."""

    def __init__(self, posture: Any, shift: FloatArray) -> None:
        self.joints = {name: np.asarray(value, float) + shift for name, value in posture.joints.items()}
        self.head_axes, self.thorax_axes, self.pelvis_axes = posture.head_axes, posture.thorax_axes, posture.pelvis_axes
        self.grip = np.asarray(posture.grip, float) + shift
        self.club_head = np.asarray(posture.club_head, float) + shift
        self.club_kind = posture.club_kind
        self.stature_m, self.build = posture.stature_m, posture.build
        self.ball = None


class Between:
    """A posture at a fraction of the exposure, between those that were given."""

    def __init__(self, exposure: Sequence[Any], at: float) -> None:
        place = at * (len(exposure) - 1)
        i = min(int(place), len(exposure) - 2)
        f = place - i
        a, b = exposure[i], exposure[i + 1]

        def mix(x: Any, y: Any) -> FloatArray:
            return np.asarray((1.0 - f) * np.asarray(x, float) + f * np.asarray(y, float))

        self.joints = {name: mix(value, b.joints[name]) for name, value in a.joints.items()}
        for name in ("head_axes", "thorax_axes", "pelvis_axes"):
            mixed = mix(getattr(a, name), getattr(b, name))
            setattr(self, name, mixed / np.linalg.norm(mixed, axis=0))
        self.grip, self.club_head = mix(a.grip, b.grip), mix(a.club_head, b.club_head)
        self.club_kind, self.ball = a.club_kind, a.ball
        self.stature_m, self.build = a.stature_m, a.build


def exposure_postures(motion: Motion, time_s: float, shutter_s: float) -> tuple[Posture, ...]:
    """The postures over an exposure about ``time_s``: three for a short one, up to nine for a long one."""
    n = 3 if shutter_s <= 1 / 400 else (5 if shutter_s <= 1 / 150 else 9)
    last = motion.duration_s
    times = np.clip(time_s + shutter_s * np.linspace(-0.5, 0.5, n), 0.0, last)
    return tuple(motion.postures(times))
