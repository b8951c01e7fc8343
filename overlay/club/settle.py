"""From the path and the lines of each frame to a club track: what is believed, what is bridged, what stays hidden."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.club.look import Seen
from overlay.club.path import Path
from overlay.settings.club import ClubSettings


@dataclass
class Rows:
    """One value a frame, px of the clip; angles unwrapped along the path."""

    angle: FloatArray
    sd: FloatArray
    offset: FloatArray
    length: FloatArray
    believed: BoolArray
    followed: BoolArray
    """On the path as seen, whether believed or not."""


def read_rows(seen: Seen, path: Path, settings: ClubSettings) -> Rows:
    """The refined line nearest the path in each frame, in px of the small picture."""
    s = settings
    n = len(path.bins)
    step = s.angle_step_deg
    angle = path.turned * step
    sd = np.full(n, np.nan)
    offset, length = np.zeros(n), np.full(n, np.nan)
    believed, followed = np.zeros(n, bool), np.zeros(n, bool)
    for t in range(n):
        frame = seen.frames[t]
        if frame is None or not path.seen[t]:
            continue
        followed[t] = True
        score = float(frame.score[path.bins[t]])
        near = [(abs(_wrapped(line.angle_deg - angle[t])), line) for line in frame.lines]
        near = [pair for pair in near if pair[0] <= 2.5 * step]
        if not near:
            continue
        line = max(near, key=lambda pair: pair[1].score - 0.02 * pair[0])[1]
        angle[t] += _wrapped(line.angle_deg - angle[t])
        offset[t], length[t], sd[t] = line.offset_px, line.stop_px, line.sd_deg
        believed[t] = score > s.least_score and path.margin[t] > s.least_margin
    return Rows(angle, sd, offset, length, believed, followed)


def _wrapped(deg: float) -> float:
    return (deg + 180.0) % 360.0 - 180.0
