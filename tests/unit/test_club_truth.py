"""What a camera sees of the golfer's shaft, and a small version of the study on filmed clips."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from club_factory import Pictures

from overlay.arrays import FloatArray, Image
from overlay.club import track_club
from overlay.data import Positions, Swing
from overlay.data.swing import Position
from overlay.errors import DataError
from overlay.golfer import CameraSpec, GolferSpec, Motion, NoiseSpec, simulate, true_club, truth_track
from overlay.golfer.club_truth import ClubSight, _hidden, club_sight
from overlay.kinematics import torso_length


@pytest.fixture(scope="module")
def motion() -> Motion:
    return simulate(GolferSpec(seed=21))


def sight(motion: Motion, camera: CameraSpec, *names: str) -> ClubSight:
    return club_sight(motion, camera, np.array([motion.position_times[name] for name in names]))


def test_face_on_the_shaft_is_seen_but_for_the_hands(motion: Motion) -> None:
    camera = CameraSpec.for_motion(motion, "fo", width_px=900)
    at = sight(motion, camera, "address", "shaft_level_back", "impact")
    assert np.all(at.in_frame == 1.0)
    assert np.all((at.seen > 0.7) & (at.seen < 0.95))
    truth = true_club(motion, camera, at.time_s)
    assert at.length_px == pytest.approx(truth.length_px)
    assert at.seen_px == pytest.approx(at.length_px * at.seen)


def test_a_narrow_picture_cuts_the_shaft(motion: Motion) -> None:
    """By projection: the share of points of the shaft inside the picture, none of it hidden by anything else."""
    camera = CameraSpec.for_motion(motion, "fo", width_px=300)
    at = sight(motion, camera, "shaft_level_back")
    state = motion.state(at.time_s)
    shaft = state["grip"] + np.linspace(0, 1, 96)[:, None] * (state["club_head"] - state["grip"])
    x = camera.project(shaft)[:, 0]
    assert at.in_frame[0] == pytest.approx(np.mean((x >= 0) & (x < 300)), abs=0.02)
    assert at.in_frame[0] < 0.9
    assert at.seen[0] < at.in_frame[0]


def test_what_lies_behind_the_body_is_hidden(motion: Motion) -> None:
    """Points on the line of sight through the middle of the trunk: nearer than it they are seen, beyond it hidden."""
    from overlay.golfer.render import Studio

    camera = CameraSpec.for_motion(motion, "fo")
    posture = motion.posture(motion.position_times["address"])
    trunk = np.asarray(posture.joints["thorax"])
    along = trunk - camera.position
    points = camera.position + np.array([0.80, 0.90, 1.10, 1.20])[:, None] * along
    beside = points[3] + np.array([1.0, 0.0, 0.0])
    hidden = _hidden(Studio(camera), posture, np.vstack([points, beside]))
    assert hidden.tolist() == [False, False, True, True, False]


def test_visible_is_a_matter_of_torso_lengths(motion: Motion) -> None:
    at = ClubSight(np.arange(3.0), np.array([100.0, 100.0, 20.0]), np.ones(3), np.array([0.5, 0.3, 1.0]))
    assert at.visible(100.0).tolist() == [True, False, False]
    assert at.visible(50.0).tolist() == [True, True, True]
    with pytest.raises(DataError, match="not possible"):
        at.visible(0.0)


def filmed(motion: Motion, view: str, times: FloatArray) -> tuple[Pictures, Swing, CameraSpec]:
    """Pictures of a stretch of the swing, made when asked for, and the swing with the errors of a pose model."""
    from overlay.golfer.render import Film, Studio, exposure_postures, lead_side

    camera = CameraSpec.for_motion(motion, view)
    studio = Studio(camera, "mara", film=Film(seed=3), lead=lead_side(motion.posture(0.0)))
    kept: dict[int, Image] = {}

    def picture(index: int) -> Image:
        if index not in kept:
            kept[index] = studio.frame(exposure_postures(motion, float(times[index]), 1 / 1000), index)
        return kept[index]

    pose = truth_track(motion, camera, 240.0, noise=NoiseSpec(), seed=5)
    rows = np.searchsorted(pose.time_s, times - 1e-6)
    pose = replace(
        pose, points=pose.points[rows], depth=pose.depth[rows], visibility=pose.visibility[rows], time_s=times,
        filled=pose.filled[rows],
    )  # fmt: skip
    found = (Position("address", motion.position_times["address"], 0.9),)
    names = {name: "not looked for" for name in motion.position_times if name != "address"}
    swing = Swing(
        clip=None, pose=pose, view=view, view_confidence=1.0,  # type: ignore[arg-type]
        handedness="right", handedness_confidence=1.0, positions=Positions(found, names),
        torso_px=torso_length(pose),
    )  # fmt: skip
    return Pictures(times, picture, (camera.width_px, camera.height_px)), swing, camera


def test_the_shaft_of_a_filmed_swing(motion: Motion) -> None:
    """A small version of the study: the way back of one swing, face on, 30 frames a second, no masks."""
    events = motion.position_times
    times = np.arange(events["address"] - 0.2, events["lead_arm_level_down"], 1 / 30)
    reader, swing, camera = filmed(motion, "fo", times)
    club = track_club(reader, swing, None)
    truth = true_club(motion, camera, times)
    visible = club_sight(motion, camera, times, "mara").visible(swing.torso_px)
    error = np.abs((club.angle_deg - truth.angle_deg + 180.0) % 360.0 - 180.0)
    assert np.mean(error[visible] <= 5.0) >= 0.85
    assert np.mean(club.scored[visible]) >= 0.75
    assert np.sum(error[club.scored] > 10.0) <= 1
    still = np.abs(times - events["address"]) < 0.1
    assert np.max(error[still]) < 1.0


@pytest.mark.real
def test_the_shaft_of_a_real_swing(real_data: Path) -> None:
    """By eye on the frames: at address the shaft lies at 43.5–45.5°, across the sky before the top at about −125°."""
    from overlay.clean import clean
    from overlay.pose import track_clip
    from overlay.positions import find_swings
    from overlay.steady import camera_motion
    from overlay.video import open_clip

    path = real_data / "real_dtl_slow_motion.mp4"
    found = track_clip(path)
    swing = find_swings(clean(found.track), found.clip)[-1]
    with open_clip(path) as reader:
        motion = camera_motion(reader, swing, found.masks)
        club = track_club(reader, swing, found.masks, motion=motion)
    assert np.mean(club.scored) > 0.75

    def at(time_s: float) -> float:
        row = int(np.argmin(np.abs(club.time_s - time_s)))
        assert club.scored[row]
        return float(club.angle_deg[row])

    assert 43.5 <= at(2.05) <= 45.5
    assert -129.0 <= at(3.30) <= -121.0
    assert 28.0 <= at(7.50) <= 38.0
