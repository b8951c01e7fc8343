"""The synthetic golfer: a swing whose joints, club, camera and position times are known.

``simulate(GolferSpec())`` gives a ``Motion``; ``CameraSpec`` looks at it; ``truth_track`` and ``true_club`` say what
a perfect (or, with ``NoiseSpec``, a realistic) pose model and club tracker would report; ``render_clip`` films it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from overlay.golfer.camera import CameraSpec
from overlay.golfer.motion import BONES, JOINTS, Motion, Posture, simulate, true_map
from overlay.golfer.recording import Act, Recording, record
from overlay.golfer.sound import SoundSpec, range_sound
from overlay.golfer.space import space_track
from overlay.golfer.spec import FAULTS, BodySpec, GolferSpec, StyleSpec, TempoSpec
from overlay.golfer.tracks import NoiseSpec, true_club, truth_track

if TYPE_CHECKING:
    from overlay.golfer.looks import LOOKS
    from overlay.golfer.render import render_clip, render_frame

__all__ = [
    "BONES",
    "FAULTS",
    "JOINTS",
    "LOOKS",
    "Act",
    "BodySpec",
    "CameraSpec",
    "GolferSpec",
    "Motion",
    "NoiseSpec",
    "Posture",
    "Recording",
    "SoundSpec",
    "StyleSpec",
    "TempoSpec",
    "range_sound",
    "record",
    "render_clip",
    "render_frame",
    "simulate",
    "space_track",
    "true_club",
    "true_map",
    "truth_track",
]


def __getattr__(name: str) -> Any:
    # Drawing loads numba; whoever only wants the motion does not wait for it.
    if name in ("render_clip", "render_frame"):
        from overlay.golfer import render

        return getattr(render, name)
    if name == "LOOKS":
        from overlay.golfer.looks import LOOKS

        return LOOKS
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
