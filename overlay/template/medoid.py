"""The swing in the middle of all others, and recordings that were given twice."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from overlay.align import dtw_path, dtw_series, shared_weights
from overlay.align.refine import first_trust
from overlay.arrays import FloatArray
from overlay.data import Swing
from overlay.kinematics import torso_length
from overlay.landmarks import INDEX
from overlay.normalise import JOINTS, swing_features
from overlay.settings.template import TemplateSettings
from overlay.template.members import Member


def swing_distances(members: Sequence[Member], settings: TemplateSettings) -> FloatArray:
    """(n, n) DTW distance a step of each pair of swings, by the joints both show; 0 for fewer than three swings."""
    n = len(members)
    result = np.zeros((n, n))
    if n < 3:
        return result
    features = [swing_features(member.swing, settings.align.features) for member in members]
    for i in range(n):
        for j in range(i):
            trust = first_trust(shared_weights(features[i], features[j]), settings.align)
            path = dtw_path(dtw_series(features[i], trust), dtw_series(features[j], trust))
            result[i, j] = result[j, i] = np.sqrt(path.cost / len(path.steps))
    return result


def medoid(members: Sequence[Member], apart: FloatArray) -> int:
    """The member whose median distance to the others (n, n) is least; of two the one that is seen better.

    The median, so that swings that do not belong do not draw it away.
    """
    if len(members) < 3:
        return int(np.argmax([float(np.mean(member.swing.pose.visibility)) for member in members]))
    return int(np.argmin([np.median(np.delete(row, i)) for i, row in enumerate(apart)]))


def same_recording(one: Swing, other: Swing, settings: TemplateSettings) -> bool:
    """Whether two swings are one swing of one recording: the same file and time, or tracks that agree in every frame.

    Two swings of one recording are two swings; one swing in two files is one.
    """
    a, b = one.clip, other.clip
    start = max(one.start_s, other.start_s)
    stop = min(one.stop_s, other.stop_s)
    overlapping = stop - start > 0.5 * min(one.stop_s - one.start_s, other.stop_s - other.start_s)
    if a is not None and b is not None and a.content_hash == b.content_hash and a.content_hash.strip("0"):
        return overlapping
    return _agree(one, other, settings)


def _agree(one: Swing, other: Swing, settings: TemplateSettings) -> bool:
    """Whether both tracks, each from its own first frame or impact on, lie on each other to a few tenths of a per cent.

    Two swings never do: the pose model's noise alone is larger.
    """
    columns = [INDEX[name] for name in JOINTS]
    tracks = []
    for swing in (one, other):
        impact = swing.positions.time("impact")
        track = swing.pose
        points = track.points[:, columns] / max(torso_length(track), 1e-9)
        hips = points[:, [JOINTS.index("left_hip"), JOINTS.index("right_hip")]].mean(axis=1)
        tracks.append((track.time_s - (swing.start_s if impact is None else impact), points - hips[:, None]))
    (t, p), (u, q) = tracks
    inside = (t >= u[0]) & (t <= u[-1])
    if inside.sum() < 0.8 * min(len(t), len(u)) or inside.sum() < 8:
        return False
    moved = np.stack([np.interp(t[inside], u, column) for column in q.reshape(len(q), -1).T], axis=1)
    off = np.abs(p[inside].reshape(len(moved), -1) - moved)
    known = off[np.isfinite(off)]
    return len(known) > 0.3 * off.size and float(np.quantile(known, 0.9)) < settings.duplicate
