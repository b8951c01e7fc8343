"""The posed model as the student's camera sees it: a swing like any other, and what the body hides of itself."""

from __future__ import annotations

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import Ball, Camera, ClubState, ClubTrack, PoseTrack, SpaceTrack, Strike, Swing
from overlay.fit.skeleton import SIDES, middle
from overlay.kinematics import behind_bar
from overlay.landmarks import INDEX, LANDMARKS
from overlay.terms import View

BALL_M = 0.04267
"""Least diameter of a golf ball: Rules of Golf, Equipment Rules."""

_NEVER_HIDDEN = [
    INDEX[name] for name in LANDMARKS if name.endswith(("shoulder", "hip", "knee", "ankle", "heel", "foot_index"))
]


def projected(
    space: SpaceTrack, camera: Camera, view: View, image_size: tuple[int, int], *, hides: bool = True
) -> Swing:
    """The swing in the camera's picture.

    Parameters
    ----------
    hides : bool
        False: nothing of the body hides anything, which is not worked out then.

    Returns
    -------
    Swing
        On the clock of ``space``; the shaft measured in every frame, positions and strike as in space. Visibility is
        low where trunk, head, a thigh or the other arm stands before a joint.
    """
    points = camera.project(space.points)
    ahead = camera.coordinates(space.points)[..., 2]
    hips = ahead[:, [INDEX["left_hip"], INDEX["right_hip"]]].mean(axis=1, keepdims=True)
    visibility = 0.98 - 0.93 * hidden_share(space, camera) if hides else np.ones(points.shape[:2])
    pose = PoseTrack(
        points=points,
        depth=(ahead - hips) * camera.focal_px / np.maximum(hips, 0.1),
        visibility=np.where(np.isfinite(points[..., 0]), visibility, 0.0),
        time_s=space.time_s,
        image_size=image_size,
        source="space",
        model="fitted",
        log=("a swing in space, posed on the student's body and seen by his camera",),
    )
    grip, head = camera.project(space.grip), camera.project(space.club_head)
    along = head - grip
    measured: ClubState = "measured"
    club = ClubTrack(
        time_s=space.time_s,
        grip=grip,
        angle_deg=np.degrees(np.arctan2(along[:, 1], along[:, 0])),
        length_px=np.hypot(along[:, 0], along[:, 1]),
        state=(measured,) * len(space),
    )
    torso = 0.5 * np.linalg.norm(
        points[:, INDEX["left_shoulder"]] + points[:, INDEX["right_shoulder"]]
        - points[:, INDEX["left_hip"]] - points[:, INDEX["right_hip"]],
        axis=-1,
    )  # fmt: skip
    return Swing(
        clip=None,
        pose=pose,
        view=view,
        view_confidence=1.0,
        handedness=space.handedness,
        handedness_confidence=1.0,
        positions=space.positions,
        club=club,
        torso_px=float(np.nanmedian(torso)),
        strike=_strike(space, camera),
    )


def _strike(space: SpaceTrack, camera: Camera) -> Strike | None:
    impact_s = space.positions.time("impact")
    if impact_s is None:
        return None
    if space.ball is None:
        return Strike(impact_s, 0.0, None, None, (), "The model has no ball.")
    place = camera.project(space.ball)
    size_px = camera.focal_px * BALL_M / max(float(camera.coordinates(space.ball)[2]), 0.1)
    ball = Ball((float(place[0]), float(place[1])), size_px, 1.0, impact_s, impact_s)
    return Strike(impact_s, 0.0, True, ball, (), "The moment of the strike is part of the model.")


def hidden_share(space: SpaceTrack, camera: Camera) -> FloatArray:
    """(T, 33) 0–1: how much of the body stands between the camera and each arm or face mark.

    Trunk, head, thighs and the arms are taken as round bars about their bones; an arm never hides its own marks.
    """
    points = space.points
    size = space.stature_m / 1.78
    shoulders, hips, ears = (middle(points, joint) for joint in ("shoulder", "hip", "ear"))
    solids: list[tuple[FloatArray, FloatArray, float, str]] = [
        (hips, shoulders, 0.13 * size, ""),
        (ears, ears + np.array([0.0, 0.0, 1e-3]), 0.10 * size, ""),
    ]
    for side in SIDES:
        shoulder, elbow, wrist, hip, knee = (
            points[:, INDEX[f"{side}_{joint}"]] for joint in ("shoulder", "elbow", "wrist", "hip", "knee")
        )
        solids += [
            (shoulder, elbow, 0.06 * size, side),
            (elbow, wrist, 0.055 * size, side),
            (hip, knee, 0.08 * size, ""),
        ]
    wanted = [i for i in range(len(LANDMARKS)) if i not in _NEVER_HIDDEN]
    names = [LANDMARKS[i] for i in wanted]
    hidden = np.zeros(points.shape[:2])
    for low, high, radius, own in solids:
        cover = behind_bar(low, high, radius, points[:, wanted], camera.position)
        if own:
            cover[:, [own in name for name in names]] = 0.0
        elif radius == 0.10 * size:
            cover[:, [not name.endswith(("wrist", "elbow", "pinky", "index", "thumb")) for name in names]] *= 0.8
        hidden[:, wanted] = np.maximum(hidden[:, wanted], np.nan_to_num(cover))
    return hidden
