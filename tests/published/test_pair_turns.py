"""Turns of the trunk against a published value, through two exact pictures of the synthetic player.

Zheng et al. 2008 (Int J Sports Med 29:487, doi 10.1055/s-2007-989229): professionals turn their trunk against the
pelvis by 60 ± 7° at the top. The synthetic player's chest was made after it; here the formula and the geometry of two
cameras have to find it again from a line across the chest and one across the pelvis.
"""

from __future__ import annotations

import numpy as np

from overlay.golfer import CameraSpec, GolferSpec, simulate
from overlay.pair.measures import trunk_rotation
from overlay.pair.space import ROW, Cameras, triangulated


def test_trunk_rotation_at_the_top_is_that_of_professionals() -> None:
    motion = simulate(GolferSpec())
    state = motion.state(np.array([motion.position_times["top"]]))
    points = np.zeros((len(ROW), 3))
    for joint, axes, middle in (("shoulder", "thorax_axes", "thorax"), ("hip", "pelvis_axes", "pelvis")):
        # The chest's own line, not that of the shoulder joints, which the arms pull further round.
        across = -0.2 * state[axes][0, :, 0]
        points[ROW[f"lead_{joint}"]] = state[middle][0] + across
        points[ROW[f"trail_{joint}"]] = state[middle][0] - across
    cameras = [CameraSpec.for_motion(motion, view) for view in ("dtl", "fo")]
    made = _as_cameras(cameras)
    seen = [camera.project(points)[None] for camera in cameras]
    placed = triangulated(made, seen[0], seen[1])
    space = {name: placed[:, row] for name, row in ROW.items()}
    assert abs(float(trunk_rotation(space, space)[0]) - 60.0) <= 7.0


def _as_cameras(cameras: list[CameraSpec]) -> Cameras:
    """The golfer's cameras in the pair's terms, metres for torso lengths; the origin stands for the ankles."""
    feet = [camera.project(np.zeros(3)) for camera in cameras]
    depths = [float(camera.camera_coordinates(np.zeros(3))[2]) for camera in cameras]

    def pair_of(values: list[float]) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[type-arg]
        return np.array([values[0]]), np.array([values[1]])

    return Cameras(
        yaw_deg=pair_of([0.0, 0.0]),
        roll_deg=pair_of([0.0, 0.0]),
        distance=pair_of(depths),
        level_px=pair_of([camera.principal_px[1] for camera in cameras]),
        px=pair_of([camera.focal_px / depth for camera, depth in zip(cameras, depths)]),
        feet_px=(feet[0][None], feet[1][None]),
        middle_px=(cameras[0].principal_px[0], cameras[1].principal_px[0]),
    )
