"""Camera, true pose tracks, their planted errors, the true club, and whole recordings."""

from __future__ import annotations

import numpy as np
import pytest

from overlay.errors import InputError
from overlay.golfer import (
    BONES,
    JOINTS,
    Act,
    CameraSpec,
    GolferSpec,
    Motion,
    NoiseSpec,
    TempoSpec,
    record,
    simulate,
    true_club,
    truth_track,
)
from overlay.golfer.tracks import landmark_points
from overlay.landmarks import INDEX


@pytest.fixture(scope="module")
def motion() -> Motion:
    return simulate(GolferSpec())


def test_pinhole_by_hand() -> None:
    # 90 degrees of view on 200 px: focal length 100 px. A point 1 m right of and 2 m beyond the lens is 50 px right.
    camera = CameraSpec(fov_deg=90.0, width_px=200, height_px=200, hand_line_m=0.3, height_m=0.8, distance_m=4.0)
    np.testing.assert_allclose(camera.position, [-4.0, 0.3, 0.8])
    np.testing.assert_allclose(camera.project(np.array([-2.0, 1.3, 0.8])), [150.0, 100.0], atol=1e-9)
    np.testing.assert_allclose(camera.project(np.array([-2.0, 0.3, 1.8])), [100.0, 50.0], atol=1e-9)
    assert np.all(np.isnan(camera.project(np.array([-5.0, 0.3, 0.8]))))


def test_sides_of_the_picture(motion: Motion) -> None:
    dtl, fo = CameraSpec.for_motion(motion, "dtl"), CameraSpec.for_motion(motion, "fo")
    assert dtl.project(motion.ball_rest)[0] > dtl.project(np.zeros(3))[0]  # ball right of the player
    target = fo.project(np.array([0.6, 0.0, 1.0]))[0]
    assert target > fo.project(np.array([0.0, 0.0, 1.0]))[0]  # target on the right of a face-on picture
    left = simulate(GolferSpec(handedness="left"))
    mirrored = CameraSpec.for_motion(left, "dtl")
    np.testing.assert_allclose(
        mirrored.project(left.ball_rest)[0], dtl.width_px - dtl.project(motion.ball_rest)[0], atol=1e-9
    )
    at = motion.state(np.array([motion.position_times["address"]]))
    assert dtl.project(at["grip"][0])[0] == pytest.approx(dtl.width_px / 2, abs=0.5)


def test_yaw_walks_round_the_aim_and_roll_turns_the_picture() -> None:
    camera = CameraSpec(yaw_deg=10.0)
    np.testing.assert_allclose(camera.project(camera.aim), camera.principal_px, atol=1e-9)
    assert np.linalg.norm(camera.position - camera.aim) == pytest.approx(camera.distance_m)
    rolled, level = CameraSpec(roll_deg=90.0, width_px=854), CameraSpec(width_px=854)
    offset = level.project(level.aim + np.array([0, 0.2, 0.0])) - level.principal_px
    turned = rolled.project(level.aim + np.array([0, 0.2, 0.0])) - rolled.principal_px
    np.testing.assert_allclose(turned, [offset[1], -offset[0]], atol=1e-9)
    np.testing.assert_allclose(camera.axes @ camera.axes.T, np.eye(3), atol=1e-12)


def test_shake_moves_the_picture_a_little_and_repeats() -> None:
    steady, held = CameraSpec(), CameraSpec(shake_deg=0.2, shake_seed=4)
    times = np.linspace(0, 3, 40)
    points = np.repeat(np.array([[0.0, 0.3, 1.0]]), 40, axis=0)
    seen = held.project(points, times)
    np.testing.assert_array_equal(seen, held.project(points, times))
    moved = np.linalg.norm(seen - steady.project(points), axis=-1)
    assert 0.5 < moved.max() < 30.0
    np.testing.assert_allclose(held.at(float(times[7])).project(points[7]), seen[7])


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"view": "above"}, "view of the camera is 'above'"),
        ({"distance_m": 0.1}, "distance_m of the camera is 0.1"),
        ({"lens": 3}, "A camera has no lens"),
        ({"handedness": "none"}, "handedness of the camera's player"),
    ],
)
def test_wrong_cameras_are_refused(values: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        CameraSpec.from_dict(values)


@pytest.mark.parametrize("club", ["mid_iron", "driver"])
@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_player_and_club_are_in_the_picture(view: str, club: str) -> None:
    motion = simulate(GolferSpec(club=club))  # type: ignore[arg-type]
    camera = CameraSpec.for_motion(motion, view)
    track = truth_track(motion, camera, 60)
    inside = (track.points > 0) & (track.points < np.array(track.image_size))
    assert np.all(inside)
    tall = float(np.ptp(track.points[0, :, 1]))
    assert 0.45 < tall / camera.height_px < 0.68
    top = np.array([motion.position_times[name] for name in ("address", "top", "impact")])
    head = camera.project(motion.state(top)["club_head"])
    assert np.all((head > 0) & (head < np.array(track.image_size)))


def test_truth_is_the_projection_of_the_joints(motion: Motion) -> None:
    camera = CameraSpec.for_motion(motion, "fo", yaw_deg=8.0)
    track = truth_track(motion, camera, 30)
    state = motion.state(track.time_s)
    for name in ("left_elbow", "right_wrist", "right_knee"):
        np.testing.assert_allclose(track.joint(name), camera.project(state[name]), atol=1e-9)
    # The pose model puts ankles 6–10 % of torso length above the joint.
    gap = camera.project(state["left_ankle"])[:, 1] - track.joint("left_ankle")[:, 1]
    shoulders = 0.5 * (track.joint("left_shoulder") + track.joint("right_shoulder"))
    hips = 0.5 * (track.joint("left_hip") + track.joint("right_hip"))
    torso = float(np.median(np.linalg.norm(shoulders - hips, axis=-1)))
    assert 0.05 < np.median(gap) / torso < 0.11
    assert np.all(np.isfinite(track.points))


def test_hips_and_shoulders_are_joint_centres_about_the_same_middle(motion: Motion) -> None:
    # 0.111 and 0.206 of stature between the centres; the table's outer breadths are 0.191 and 0.259.
    state = motion.state(np.linspace(0.0, motion.duration_s, 40))
    stature = motion.spec.body.stature_m
    points = landmark_points(state, stature)
    for name, share, outer in (("hip", 0.111, 0.191), ("shoulder", 0.206, 0.259)):
        left, right = (points[:, INDEX[f"{side}_{name}"]] for side in ("left", "right"))
        wide = state[f"right_{name}"] - state[f"left_{name}"]
        np.testing.assert_allclose(np.linalg.norm(right - left, axis=-1), share * stature, atol=1e-9)
        np.testing.assert_allclose(left + right, state[f"left_{name}"] + state[f"right_{name}"], atol=1e-9)
        np.testing.assert_allclose(np.cross(right - left, wide), 0.0, atol=1e-9)
        # The posture itself keeps the table's breadths.
        assert float(np.median(np.linalg.norm(wide, axis=-1))) == pytest.approx(outer * stature, rel=0.06)


def test_ears_lie_low_and_behind_the_middle_of_the_head(motion: Motion) -> None:
    state = motion.state(np.array([0.2, 1.3]))
    points = landmark_points(state, 1.78)
    for side, sign in (("left", -1.0), ("right", 1.0)):
        offset = points[:, INDEX[f"{side}_ear"]] - state["head"]
        own = np.einsum("tki,tk->ti", state["head_axes"], offset)
        np.testing.assert_allclose(own, [[sign * 0.075, -0.012, -0.035]] * 2, atol=1e-9)


def test_far_arm_is_hidden_down_the_line_at_the_right_times(motion: Motion) -> None:
    track = truth_track(motion, CameraSpec.for_motion(motion, "dtl"), 60)
    address = int(np.argmin(np.abs(track.time_s - motion.position_times["address"])))
    for joint in ("elbow", "wrist"):
        assert track.visibility[address, INDEX[f"left_{joint}"]] < 0.3  # the far arm, behind the near one
        assert track.visibility[address, INDEX[f"right_{joint}"]] > 0.9
    level = int(np.argmin(np.abs(track.time_s - motion.position_times["lead_arm_level_back"])))
    assert track.visibility[level, INDEX["left_elbow"]] > 0.9
    face_on = truth_track(motion, CameraSpec.for_motion(motion, "fo"), 60)
    assert face_on.visibility[0, [INDEX[f"{side}_wrist"] for side in ("left", "right")]].min() > 0.9


def test_noise_has_the_stated_size_and_repeats(motion: Motion) -> None:
    still = simulate(GolferSpec(tempo=TempoSpec(pre_s=30.0, waggle=0.0)))
    camera = CameraSpec.for_motion(still, "fo")
    noise = NoiseSpec(dropout=0.0, hip_swap=0.0, far_arm=0.0)
    clean, noisy = truth_track(still, camera, 60), truth_track(still, camera, 60, noise=noise, seed=2)
    quiet = clean.time_s < 25.0
    middle = [0.5 * (clean.joint(f"left_{part}") + clean.joint(f"right_{part}"))[0] for part in ("shoulder", "hip")]
    torso = np.linalg.norm(middle[0] - middle[1])
    for name, size in (("left_wrist", 0.020), ("right_shoulder", 0.010), ("left_hip", 0.005), ("right_knee", 0.005)):
        error = (noisy.joint(name) - clean.joint(name))[quiet] / torso
        assert np.std(error) == pytest.approx(size, rel=0.2), name
    again = truth_track(still, camera, 60, noise=noise, seed=2)
    np.testing.assert_array_equal(again.points, noisy.points)
    other = truth_track(still, camera, 60, noise=noise, seed=3)
    assert not np.array_equal(other.points, noisy.points)
    # Half of the variance drifts: neighbours are alike.
    error = (noisy.joint("left_wrist") - clean.joint("left_wrist"))[quiet][:, 0]
    assert 0.25 < np.corrcoef(error[:-1], error[1:])[0, 1] < 0.65


def test_dropouts_and_swaps_come_as_asked(motion: Motion) -> None:
    camera = CameraSpec.for_motion(motion, "dtl")
    base = NoiseSpec(scale=0.0, dropout=0.0, hip_swap=0.0)
    clean = truth_track(motion, camera, 240)
    np.testing.assert_allclose(truth_track(motion, camera, 240, noise=base).points, clean.points)
    swapped = truth_track(motion, camera, 240, noise=NoiseSpec(scale=0.0, dropout=0.0, hip_swap=1.0))
    changed = np.flatnonzero(np.any(swapped.joint("left_hip") != clean.joint("left_hip"), axis=-1))
    after = clean.time_s[changed] - motion.position_times["impact"]
    assert len(changed) > 0
    assert after.min() > 0.07
    assert after.max() < 0.31
    lost = truth_track(motion, camera, 60, noise=NoiseSpec(dropout=0.2), seed=1)
    share = np.isnan(lost.joint("left_wrist")[:, 0]).mean()
    assert 0.05 < share < 0.4
    assert np.all(lost.visibility[:, INDEX["left_wrist"]][np.isnan(lost.joint("left_wrist")[:, 0])] == 0)
    with pytest.raises(InputError, match="wrist of the noise"):
        NoiseSpec(wrist=-1.0)


def test_club_angle_is_clockwise_from_the_right(motion: Motion) -> None:
    camera = CameraSpec.for_motion(motion, "fo")
    p = motion.position_times
    club = true_club(motion, camera, np.array([p["shaft_level_back"], p["impact"], p["shaft_level_through"]]))
    # Face on of a right-hander: level back points to the picture's left, impact down, level through to the right.
    assert abs(abs(club.angle_deg[0]) - 180.0) < 6.0
    assert abs(club.angle_deg[1] - 90.0) < 10.0
    assert abs(club.angle_deg[2]) < 6.0
    # Level back the shaft lies across the view: its full length at the distance of the hands.
    grip = motion.state(np.array([p["shaft_level_back"]]))["grip"][0]
    length = club.length_px[0] * (camera.position[1] - grip[1]) / camera.focal_px
    assert length == pytest.approx(motion.build.shaft, rel=0.02)


def test_camera_of_the_other_hand_is_refused(motion: Motion) -> None:
    with pytest.raises(InputError, match="left-handed player"):
        truth_track(motion, CameraSpec(handedness="left"), 60)
    with pytest.raises(InputError, match="make no clip"):
        truth_track(motion, CameraSpec(), 0.0)


@pytest.fixture(scope="module")
def session() -> object:
    spec = GolferSpec()
    return record(
        spec,
        [
            Act("walk", 4.0),
            Act("place_ball", 3.0),
            Act("rehearse", 3.0),
            Act("waggle", 2.0),
            Act("swing"),
            Act("stand", 2.5),
            Act("swing", swing=GolferSpec(tempo=TempoSpec(backswing_s=1.1), seed=2, variation=1.0)),
        ],
    )


def test_recording_keeps_bones_hands_and_true_times(session: object) -> None:
    times = np.arange(0.0, session.duration_s, 0.02)  # type: ignore[attr-defined]
    state = session.state(times)  # type: ignore[attr-defined]
    for a, b in BONES:
        assert np.ptp(np.linalg.norm(state[a] - state[b], axis=-1)) < 1e-9, (a, b)
    swings = session.swings  # type: ignore[attr-defined]
    assert len(swings) == 2
    assert swings[1]["address"] > swings[0]["finish"] + 2.0
    for swing in swings:
        at = session.state(np.array([swing["shaft_level_down"], swing["impact"]]))  # type: ignore[attr-defined]
        assert abs(at["shaft"][0, 2]) < 2e-3
        assert np.linalg.norm(at["club_head"][1] - at["ball"][1]) < 0.05
    # Nobody jumps: hands and pelvis never move faster than in a swing.
    speed = np.linalg.norm(np.gradient(state["pelvis"], times, axis=0), axis=-1)
    assert speed.max() < 3.0
    assert state["pelvis"][0, 0] < -3.0  # he came from the trail side
    assert min(state[f"{side}_toe"][:, 2].min() for side in ("left", "right")) > -0.01


def test_recording_gives_a_track_and_repeats_no_swing_elsewhere(session: object) -> None:
    camera = CameraSpec.for_motion(simulate(GolferSpec()), "fo", width_px=854)
    track = truth_track(session, camera, 30, noise=NoiseSpec(), seed=1)  # type: ignore[arg-type]
    assert track.time_s[-1] > 20.0
    assert session.joints(track.time_s[:3]).shape == (3, len(JOINTS), 3)  # type: ignore[attr-defined]
    assert session.posture(1.0).ball is None  # type: ignore[attr-defined]
    assert session.posture(session.swings[0]["address"]).ball is not None  # type: ignore[attr-defined]


def test_wrong_recordings_are_refused() -> None:
    with pytest.raises(InputError, match="at least one act"):
        record(GolferSpec(), [])
    with pytest.raises(InputError, match="holds one player"):
        record(GolferSpec(), [Act("swing", swing=GolferSpec(club="driver"))])
    with pytest.raises(InputError, match="is not an act"):
        Act("dance")  # type: ignore[arg-type]
