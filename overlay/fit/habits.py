"""Where a pose model reports the joints of a swing, less where they are: so that a posed model is scored as it would be
seen.

A swing in space is exact; the student's joints come from a pose model, which draws turned shoulders together, pulls the
far arm to the near one, and so on, in the same way in every clip. Left alone, such habits would be told as differences.
The table holds, for each view, what is left between the joints reported of a rendered player and those of the model
posed on him, by the progress of the swing, less the same at address. It is made by ``studies/body_fit.py --habits``.
"""

from __future__ import annotations

import functools
import json
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Positions, Swing
from overlay.landmarks import MIRROR, N_LANDMARKS
from overlay.terms import POSITION_NAMES, View

TABLE = Path(__file__).resolve().parent / "pose_habits.json"
N_NODES = 2 * len(POSITION_NAMES) - 1
"""The positions and the middles between them."""


@dataclass(frozen=True)
class PoseHabits:
    """The habits of one pose model.

    Attributes
    ----------
    source : str
        ``PoseTrack.source`` of the model.
    offsets : view → (N_NODES, 33, 2) float, torso lengths
        In a right-hander's picture; 0 at address.
    """

    source: str
    offsets: dict[View, FloatArray]


@functools.cache
def pose_habits() -> PoseHabits:
    """The table that comes with the package."""
    told = json.loads(TABLE.read_text(encoding="utf-8"))
    return PoseHabits(told["source"], {view: np.array(rows, np.float64) for view, rows in told["offsets"].items()})


def node_times(positions: Positions) -> FloatArray | None:
    """(N_NODES,) s; None when a position is missing."""
    times = [positions.time(name) for name in POSITION_NAMES]
    if any(time_s is None for time_s in times):
        return None
    known = np.array(times, np.float64)
    out = np.empty(N_NODES)
    out[::2], out[1::2] = known, 0.5 * (known[1:] + known[:-1])
    return out


def reported_less_true(positions: Positions, time_s: FloatArray, view: View, source: str) -> FloatArray | None:
    """(T, 33, 2) torso lengths at times (T,) of a swing with these positions, in a right-hander's picture.

    None where the habits of ``source`` are not known, or a position is missing.
    """
    habits = pose_habits()
    nodes = node_times(positions)
    if source != habits.source or view not in habits.offsets or nodes is None:
        return None
    flat = habits.offsets[view].reshape(N_NODES, 2 * N_LANDMARKS)
    moved = np.stack([np.interp(time_s, nodes, column) for column in flat.T], axis=-1)
    return np.asarray(moved.reshape(len(time_s), N_LANDMARKS, 2), np.float64)


def as_reported(swing: Swing, source: str, torso_px: float) -> Swing | None:
    """The projected model as that pose model would report it; None where its habits are not known.

    Parameters
    ----------
    swing : Swing
        Of either hand, with all nine positions.
    source : str
        Of the student's pose track.
    torso_px : float
        At address.
    """
    moved = reported_less_true(swing.positions, swing.pose.time_s, swing.view, source)
    if moved is None:
        return None
    if swing.handedness == "left":
        moved = moved[:, list(MIRROR)] * np.array([-1.0, 1.0])
    pose = replace(
        swing.pose,
        points=swing.pose.points + torso_px * moved,
        # Measures take the known biases of a pose model off by its name: off both swings, or off neither.
        source=source,
        log=(*swing.pose.log, f"moved to where {source} reports joints"),
    )
    return replace(swing, pose=pose)
