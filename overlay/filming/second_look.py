"""The still player seen once more, in a mirror: what the pose model gets wrong on one side it gets wrong on the other.

The mean of both finds the joints at address about a fifth better than one look; only the camera's place is read so
finely that this matters.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, Sequence

import numpy as np

from overlay.arrays import FloatArray
from overlay.errors import InputError
from overlay.filming.scene import Scene
from overlay.landmarks import MIRROR
from overlay.settings.pose import PeopleSettings, PoseSettings

if TYPE_CHECKING:
    from overlay.video import Reader


def looked_again(reader: Reader, times_s: Sequence[float], pose: FloatArray, people: Any) -> FloatArray:
    """The pose and its mirrored second look, averaged.

    Parameters
    ----------
    reader : Reader
    times_s : sequence of float
        Still moments that are looked at.
    pose : (33, 2) float, px
        What was found before.
    people : session of ``MediaPipeBackend().everyone``

    Returns
    -------
    (33, 2) px; ``pose`` itself where the second look sees somebody else or nobody.
    """
    seen = []
    known = np.isfinite(pose[:, 0])
    if not known.any():
        return pose
    reach = 0.05 * float(np.ptp(pose[known, 1]))
    for time_s in times_s:
        try:
            image = reader.frame_at(float(time_s), max_side=PoseSettings().max_side_px).image
        except InputError:
            continue
        scale = np.array([reader.clip.width / image.shape[1], reader.clip.height / image.shape[0]])
        for person in people.detect(np.ascontiguousarray(image[:, ::-1])):
            points = person.points[list(MIRROR)].copy()
            points[:, 0] = image.shape[1] - points[:, 0]
            points = points * scale
            if float(np.median(np.linalg.norm(points - pose, axis=-1)[known])) < reach:
                seen.append(points)
    if not seen:
        return pose
    return np.asarray((pose + np.median(np.array(seen), axis=0)) / 2, np.float64)


def with_second_look(scene: Scene) -> Scene:
    """The scene with the pose at address looked at twice; itself without pictures, or with another pose model."""
    if scene.reader is None or not second_times(scene):
        return scene
    from overlay.pose.mediapipe_backend import MediaPipeBackend

    with MediaPipeBackend().everyone(PeopleSettings()) as people:
        return dataclasses.replace(scene, pose=looked_again(scene.reader, second_times(scene), scene.pose, people))


def second_times(scene: Scene) -> list[float]:
    """When the still player is looked at once more, s; none without an address, or with another pose model."""
    if scene.address_s is None or scene.track.source != scene.settings.biased_source:
        return []
    back = scene.settings.still_s * scene.slow_factor
    return [scene.address_s - share * back for share in (0.9, 0.5, 0.1)]
