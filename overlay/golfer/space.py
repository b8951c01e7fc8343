"""The synthetic golfer as a swing in space, as reference models keep it."""

from __future__ import annotations

import numpy as np

from overlay.data import Position, Positions, SpaceTrack
from overlay.errors import InputError
from overlay.golfer.motion import Motion
from overlay.golfer.tracks import landmark_points
from overlay.terms import POSITION_NAMES


def space_track(
    motion: Motion, rate_hz: float = 120.0, *, start_s: float | None = None, stop_s: float | None = None
) -> SpaceTrack:
    """The swing of one motion in space, right-handed or left-handed as the player is.

    Parameters
    ----------
    motion : Motion
    rate_hz : float
        Samples per second.
    start_s, stop_s : float, optional
        Part of the motion's clock that is kept; from 0.3 s before address to 0.1 s after the finish when left out.
        The track's clock is the motion's.

    Raises
    ------
    InputError
        The rate is not above 0.
    """
    if not (np.isfinite(rate_hz) and rate_hz > 0):
        raise InputError(f"{rate_hz} samples a second make no track.", "Give a rate above 0.")
    known = motion.position_times
    start = max(0.0, known["address"] - 0.3) if start_s is None else start_s
    stop = min(motion.duration_s, known["finish"] + 0.1) if stop_s is None else stop_s
    times = start + np.arange(0.0, stop - start + 0.5 / rate_hz, 1.0 / rate_hz)
    state = motion.state(times)
    return SpaceTrack(
        time_s=times,
        points=landmark_points(state, motion.spec.body.stature_m),
        grip=state["grip"],
        club_head=state["club_head"],
        ball=motion.ball_rest,
        positions=Positions(tuple(Position(name, known[name], 1.0) for name in POSITION_NAMES), {}),
        handedness=motion.spec.handedness,
        stature_m=motion.spec.body.stature_m,
        club_kind=motion.spec.club.replace("_", " "),
    )
