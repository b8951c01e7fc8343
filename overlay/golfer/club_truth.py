"""How much of the shaft a camera really sees: not hidden by hands, arms or body, and inside the picture.

The body is traced from the camera as for a picture, only its distance is kept; points along the shaft that lie behind
it are hidden. Studies and tests use it to say on which frames the shaft is there to be found.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.errors import DataError

if TYPE_CHECKING:
    from overlay.golfer.camera import CameraSpec
    from overlay.golfer.looks import Look
    from overlay.golfer.motion import Motion, Posture
    from overlay.golfer.recording import Recording

POINTS = 96
"""Points tried along the shaft: one every 1 cm."""
SLACK_M = 0.004
"""A shaft that lies on a surface is not hidden by it."""


@dataclass(frozen=True)
class ClubSight:
    """What the camera sees of the shaft, from the middle of both hands to the club head.

    Attributes
    ----------
    time_s : (T,) float
    length_px : (T,) float
        Whole projected length, hidden parts included.
    in_frame : (T,) float, 0–1
        Share of it inside the picture.
    seen : (T,) float, 0–1
        Share of it inside the picture and not hidden.
    """

    time_s: FloatArray
    length_px: FloatArray
    in_frame: FloatArray
    seen: FloatArray

    @property
    def seen_px(self) -> FloatArray:
        """(T,) px of the shaft that can be seen, all parts together."""
        return np.asarray(self.length_px * self.seen, np.float64)

    def visible(self, torso_px: float, least_torso: float = 0.4) -> BoolArray:
        """(T,) whether a person would call the shaft visible: so much of it can be seen, in torso lengths.

        Raises
        ------
        DataError
            The torso length is not above 0.
        """
        if not np.isfinite(torso_px) or torso_px <= 0:
            raise DataError(f"A torso of {torso_px} px is not possible.", "Give its length in the picture.")
        return np.asarray(self.seen_px >= least_torso * torso_px, bool)


def club_sight(
    motion: Motion | Recording,
    camera: CameraSpec,
    times_s: FloatArray,
    look: str | Look = "rowan",
    *,
    height_px: int = 427,
) -> ClubSight:
    """Trace what hides the shaft at each time.

    Parameters
    ----------
    motion : Motion or Recording
    camera : CameraSpec
    times_s : (T,) float
    look : name in ``LOOKS`` or Look
    height_px : int
        Height of the traced picture; half of the usual one tells the same and costs a quarter.
    """
    from overlay.golfer.render import Studio, lead_side

    times = np.atleast_1d(np.asarray(times_s, np.float64))
    factor = height_px / camera.height_px
    small = dataclasses.replace(camera, width_px=max(16, round(camera.width_px * factor)), height_px=height_px)
    studio = Studio(dataclasses.replace(small, shake_deg=0.0), look, lead=lead_side(motion.posture(float(times[0]))))
    state = motion.state(times)
    along = np.linspace(0.0, 1.0, POINTS)[:, None]
    length, inside, seen = np.zeros(len(times)), np.zeros(len(times)), np.zeros(len(times))
    for i, time_s in enumerate(times):
        # Trembling turns the camera about its lens, which hides nothing else: only the frame's edge moves.
        lens = camera.at(float(time_s))
        shaft = state["grip"][i] + along * (state["club_head"][i] - state["grip"][i])
        full = lens.project(shaft)
        within = (
            (full[:, 0] >= 0) & (full[:, 1] >= 0) & (full[:, 0] < camera.width_px) & (full[:, 1] < camera.height_px)
        )
        length[i] = np.linalg.norm(full[-1] - full[0])
        inside[i] = within.mean()
        seen[i] = (within & ~_hidden(studio, motion.posture(float(time_s)), shaft)).mean()
    return ClubSight(times, length, inside, seen)


def _hidden(studio: Any, posture: Posture, shaft: FloatArray) -> BoolArray:
    """(N,) which of the points ``shaft`` (N, 3) lie behind the body."""
    from overlay.golfer.render import _Layers

    built = studio._shapes(posture)
    rect = studio._rectangle(built, (posture,), False)
    hidden = np.zeros(len(shaft), bool)
    if rect is None:
        return hidden
    layers = _Layers(*rect)
    pixels, distance = studio.lens.project(shaft)
    column, row = np.floor(pixels[:, 0]).astype(int) - layers.x0, np.floor(pixels[:, 1]).astype(int) - layers.y0
    within = (column >= 0) & (row >= 0) & (column < layers.width) & (row < layers.height)
    if not within.any():
        return hidden
    # Only the tiles that the shaft crosses are traced.
    tile = studio.settings.tile_px
    columns = -(-layers.width // tile)
    wanted = np.zeros(-(-layers.height // tile) * columns, bool)
    wanted[(row[within] // tile) * columns + column[within] // tile] = True
    shadow, grid = np.full((3, 2, 2), 0.0, np.float32), np.array([1e6, 1e6, 1.0])
    studio._trace(layers, built, shadow, grid, wanted, layers.body, layers.depth)
    hidden[within] = layers.depth[row[within], column[within]] < distance[within] - SLACK_M
    return hidden
