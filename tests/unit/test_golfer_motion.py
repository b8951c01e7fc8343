"""The synthetic golfer's movement: bones, hands, feet, smoothness, true positions, mirror, faults, clocks."""

from __future__ import annotations

import dataclasses
import math
import pickle

import numpy as np
import pytest

from overlay.errors import DataError, InputError
from overlay.golfer import (
    BONES,
    FAULTS,
    JOINTS,
    BodySpec,
    GolferSpec,
    Motion,
    StyleSpec,
    TempoSpec,
    simulate,
    true_map,
)
from overlay.golfer.curves import Clock, Curves, monotone_cubic
from overlay.golfer.skeleton import two_bone
from overlay.terms import POSITION_NAMES

SPECS = {
    "iron": GolferSpec(),
    "driver": GolferSpec(club="driver"),
    "left": GolferSpec(handedness="left"),
    "short slow": GolferSpec(
        body=BodySpec(stature_m=1.6, arm=0.9, thigh=1.1), tempo=TempoSpec(backswing_s=1.3, downswing_s=0.3)
    ),
    "long limbs": GolferSpec(body=BodySpec(stature_m=1.95, arm=1.12, forearm=1.12, trunk=0.88, shoulders=1.12)),
    "varied": GolferSpec(seed=5, variation=1.0, style=StyleSpec(hands_height=0.1, shaft_top_deg=10.0)),
}


@pytest.fixture(scope="module", params=list(SPECS))
def motion(request: pytest.FixtureRequest) -> Motion:
    return simulate(SPECS[request.param])


@pytest.fixture(scope="module")
def usual() -> Motion:
    return simulate(GolferSpec())


def _times(motion: Motion, step_s: float = 0.004) -> np.ndarray:
    return np.arange(0.0, motion.duration_s, step_s)


def _bend_deg(state: dict[str, np.ndarray], a: str, b: str, c: str) -> np.ndarray:
    u, v = state[a] - state[b], state[c] - state[b]
    cosine = np.sum(u * v, -1) / np.linalg.norm(u, axis=-1) / np.linalg.norm(v, axis=-1)
    return 180.0 - np.degrees(np.arccos(np.clip(cosine, -1, 1)))


def test_bones_never_change_length(motion: Motion) -> None:
    joints = motion.joints(_times(motion))
    for a, b in BONES:
        length = np.linalg.norm(joints[:, JOINTS.index(a)] - joints[:, JOINTS.index(b)], axis=-1)
        assert np.ptp(length) < 1e-9, (a, b)


def test_both_hands_stay_on_the_grip(motion: Motion) -> None:
    state = motion.state(_times(motion))
    hand = motion.build.hand
    for side in ("left", "right"):
        gap = state[f"{side}_hand"] - state["grip"]
        along = np.sum(gap * state["shaft"], -1, keepdims=True)
        assert np.max(np.linalg.norm(gap - along * state["shaft"], axis=-1)) < 0.01
        assert np.max(np.abs(along)) < 0.06
        # The arm really ends there: it is not stretched to pretend so.
        np.testing.assert_allclose(np.linalg.norm(state[f"{side}_wrist"] - state[f"{side}_hand"], axis=-1), hand)
        reach = np.linalg.norm(state[f"{side}_wrist"] - state[f"{side}_shoulder"], axis=-1)
        assert np.max(reach) < motion.build.arm


def test_feet_stay_on_the_ground_where_they_were(motion: Motion) -> None:
    state = motion.state(_times(motion))
    lead, trail = ("left", "right") if motion.spec.handedness == "right" else ("right", "left")
    for side in (lead, trail):
        assert np.max(np.abs(state[f"{side}_toe"] - state[f"{side}_toe"][0])) < 1e-9
        assert np.min(state[f"{side}_heel"][:, 2]) > -0.002
    assert np.max(np.abs(state[f"{lead}_heel"][:, 2] - state[f"{lead}_heel"][0, 2])) < 1e-9
    finish = motion.state(np.array([motion.position_times["finish"]]))
    top = motion.state(np.array([motion.position_times["top"]]))
    assert top[f"{trail}_heel"][0, 2] < 0.005
    assert finish[f"{trail}_heel"][0, 2] > 0.15


def test_true_times_satisfy_their_definitions(motion: Motion) -> None:
    p = motion.position_times
    assert list(p) == list(POSITION_NAMES)
    assert all(b > a for a, b in zip(list(p.values()), list(p.values())[1:]))
    lead = "left" if motion.spec.handedness == "right" else "right"
    at = {name: {key: value[0] for key, value in motion.state(np.array([t])).items()} for name, t in p.items()}
    for name in ("shaft_level_back", "shaft_level_down", "shaft_level_through"):
        assert abs(at[name]["shaft"][2]) < 1e-3, name
    for name in ("lead_arm_level_back", "lead_arm_level_down"):
        assert abs(at[name][f"{lead}_wrist"][2] - at[name][f"{lead}_shoulder"][2]) < 1e-3, name
    # Impact: the head is where it lay at address, the ball is touched and not yet gone.
    still = motion.state(motion.time_of(np.array([-0.3])))["club_head"][0]
    assert np.linalg.norm(at["impact"]["club_head"] - still) < 0.004
    assert np.linalg.norm(at["impact"]["club_head"] - motion.ball_rest) < 0.045
    # Address and finish: 10 mm of club-head movement away from rest.
    assert abs(np.linalg.norm(at["address"]["club_head"] - still) - 0.010) < 1e-3
    # Top: the shaft turns one way before it and the other way after it.
    dt = 0.002
    around = motion.state(np.array([p["top"] - 10 * dt, p["top"], p["top"] + 10 * dt]))["shaft"]
    turn = np.cross(around[:-1], around[1:])
    assert np.dot(turn[0], turn[1]) < 0


def test_movement_is_smooth(motion: Motion) -> None:
    dt = 0.0005
    p = motion.position_times
    times = np.arange(p["address"] - 0.4, p["finish"] + 0.5, dt)
    joints = motion.joints(times)
    acceleration = np.diff(joints, 2, axis=0) / dt**2
    # A kink would double the acceleration from one half-millisecond to the next, whatever the step.
    jump = np.linalg.norm(np.diff(acceleration, axis=0), axis=-1).max(axis=0)
    peak = np.linalg.norm(acceleration, axis=-1).max(axis=0)
    assert np.all(jump < 0.12 * np.maximum(peak, 2.0)), [
        (JOINTS[i], jump[i], peak[i]) for i in np.flatnonzero(jump >= 0.12 * np.maximum(peak, 2.0))
    ]


def test_lead_arm_is_straight_until_after_impact_then_folds(motion: Motion) -> None:
    p = motion.position_times
    lead, trail = ("left", "right") if motion.spec.handedness == "right" else ("right", "left")
    swing = np.linspace(p["shaft_level_back"], p["shaft_level_through"], 200)
    assert np.max(_bend_deg(motion.state(swing), f"{lead}_shoulder", f"{lead}_elbow", f"{lead}_wrist")) < 13.0
    ends = motion.state(np.array([p["top"], p["impact"], p["finish"]]))
    assert _bend_deg(ends, f"{lead}_shoulder", f"{lead}_elbow", f"{lead}_wrist")[2] > 90.0
    folded = _bend_deg(ends, f"{trail}_shoulder", f"{trail}_elbow", f"{trail}_wrist")
    assert folded[0] > 55.0


def test_shape_of_a_good_swing(usual: Motion) -> None:
    s = usual.state(np.array(list(usual.position_times.values())))
    order = {name: i for i, name in enumerate(usual.position_times)}
    top, impact, finish = order["top"], order["impact"], order["finish"]
    assert s["shaft"][top][0] > 0.95  # near parallel to the target line, pointing to the target
    assert s["grip"][top][2] > s["right_shoulder"][top][2]
    assert s["grip"][impact][0] > s["club_head"][impact][0] + 0.05  # hands ahead of the club head
    assert s["pelvis"][impact][0] > s["pelvis"][0][0] + 0.10
    assert s["thorax_axes"][finish][0, 1] > 0.85  # chest to the target
    assert s["grip"][finish][2] > s["left_shoulder"][finish][2]
    # In the downswing the wrist angle is kept: the shaft is at most square to the arm at lead arm level down.
    arm = s["left_wrist"] - s["left_shoulder"]
    angle = np.degrees(np.arccos(np.sum(arm * s["shaft"], -1) / np.linalg.norm(arm, axis=-1)))
    assert angle[order["lead_arm_level_down"]] > 85.0
    assert angle[impact] < 35.0


def test_club_head_is_fastest_near_the_ball_and_never_under_the_turf(motion: Motion) -> None:
    times = np.arange(0.0, motion.duration_s, 0.001)
    head = motion.state(times)["club_head"]
    speed = np.linalg.norm(np.gradient(head, times, axis=0), axis=-1)
    slow = motion.spec.tempo.downswing_s / 0.27
    assert abs(times[np.argmax(speed)] - motion.position_times["impact"]) < 0.02
    assert 27.0 < speed.max() * slow < 50.0
    assert head[:, 2].min() > -0.01


def test_left_hander_is_the_mirror_image(usual: Motion) -> None:
    left = simulate(GolferSpec(handedness="left"))
    times = np.linspace(0, usual.duration_s, 40)
    a, b = usual.state(times), left.state(times)
    flip = np.array([-1.0, 1.0, 1.0])
    for name in JOINTS:
        other = name.replace("left", "L").replace("right", "left").replace("L", "right")
        np.testing.assert_allclose(b[other], a[name] * flip, atol=1e-12)
    np.testing.assert_allclose(b["club_head"], a["club_head"] * flip, atol=1e-12)
    assert left.position_times == usual.position_times
    for axes in (a["head_axes"], b["head_axes"], a["pelvis_axes"], b["thorax_axes"]):
        np.testing.assert_allclose(axes.transpose(0, 2, 1) @ axes, np.broadcast_to(np.eye(3), axes.shape), atol=1e-12)
    # The player's right is on his right: a right-hander's right side is away from the target.
    assert a["pelvis_axes"][0][0, 0] < -0.9
    assert b["pelvis_axes"][0][0, 0] < -0.9
    assert np.dot(a["right_hip"][0] - a["left_hip"][0], a["pelvis_axes"][0][:, 0]) > 0
    assert np.dot(b["right_hip"][0] - b["left_hip"][0], b["pelvis_axes"][0][:, 0]) > 0


def test_ball_lies_until_impact_then_flies_to_the_target(usual: Motion) -> None:
    hit = usual.position_times["impact"]
    before, after = usual.posture(hit - 0.001).ball, usual.posture(hit + 0.05).ball
    assert before is not None
    assert after is not None
    np.testing.assert_allclose(before, usual.ball_rest)
    assert after[0] > usual.ball_rest[0] + 1.0
    assert after[2] > usual.ball_rest[2] + 0.2
    assert usual.posture(hit + 1.3).ball is None


# What each fault is about: (where it shows, at which position, along which axis of which point, at least how much).
PLANTED = {
    "sway": ("top", "pelvis", 0, -0.07),
    "over_the_top": ("lead_arm_level_down", "grip", 1, 0.07),
    "reverse_spine": ("top", "neck", 0, 0.07),
    "flat_shoulder_turn": ("top", "left_shoulder", 2, 0.05),
    "posture_loss": ("impact", "pelvis", 1, 0.06),
}


@pytest.mark.parametrize("fault", list(PLANTED))
def test_fault_moves_what_it_names(usual: Motion, fault: str) -> None:
    position, point, axis, least = PLANTED[fault]
    one = simulate(GolferSpec(faults={fault: 1.0}))

    def at(motion: Motion) -> float:
        return float(motion.state(np.array([motion.position_times[position]]))[point][0, axis])

    change = at(one) - at(usual)
    assert change * math.copysign(1, least) > abs(least)
    half = simulate(GolferSpec(faults={fault: 0.5}))
    assert 0.2 < (at(half) - at(usual)) / change < 0.8


@pytest.mark.parametrize(("fault", "sign"), [("laid_off", -1.0), ("across_the_line", 1.0)])
def test_shaft_faults_turn_the_shaft_at_the_top_alone(usual: Motion, fault: str, sign: float) -> None:
    one = simulate(GolferSpec(faults={fault: 1.0}))

    def heading(motion: Motion) -> float:
        shaft = motion.state(np.array([motion.position_times["top"]]))["shaft"][0]
        return math.degrees(math.atan2(shaft[1], shaft[0]))

    # The ball line (+Y) is on the right of a right-hander who looks at the target.
    assert sign * (heading(one) - heading(usual)) > 15.0
    for name in JOINTS:
        a, b = (m.state(np.array([m.position_times["top"]]))[name][0] for m in (usual, one))
        assert np.linalg.norm(a - b) < (0.05 if "wrist" in name or "hand" in name or "elbow" in name else 0.01), name


def test_early_release_loses_the_wrist_angle(usual: Motion) -> None:
    one = simulate(GolferSpec(faults={"early_release": 1.0}))

    def wrist(motion: Motion) -> float:
        s = motion.state(np.array([motion.position_times["lead_arm_level_down"]]))
        arm = s["left_wrist"][0] - s["left_shoulder"][0]
        return math.degrees(math.acos(float(arm @ s["shaft"][0]) / float(np.linalg.norm(arm))))

    assert wrist(one) < wrist(usual) - 25.0
    hands = [float(m.state(np.array([m.position_times["impact"]]))["grip"][0, 0]) for m in (usual, one)]
    assert hands[1] < hands[0] - 0.05


@pytest.mark.parametrize("fault", list(FAULTS))
def test_fault_leaves_address_and_finish_alone(usual: Motion, fault: str) -> None:
    one = simulate(GolferSpec(faults={fault: 1.0}))
    for name in ("address", "finish"):
        a = usual.joints(np.array([usual.position_times[name]]))
        b = one.joints(np.array([one.position_times[name]]))
        assert np.max(np.abs(a - b)) < 0.005, name
    for name in POSITION_NAMES:
        assert abs(one.position_times[name] - usual.position_times[name]) < 0.05, name


@pytest.mark.parametrize("fault", list(FAULTS))
@pytest.mark.parametrize("club", ["mid_iron", "driver"])
def test_gross_faults_still_reach_the_ball(fault: str, club: str) -> None:
    one = simulate(GolferSpec(faults={fault: 2.0}, club=club))  # type: ignore[arg-type]
    state = one.state(np.array([one.position_times["impact"]]))
    assert np.linalg.norm(state["club_head"][0] - one.ball_rest) < 0.045


def test_true_map_between_tempos_is_exact() -> None:
    a = simulate(GolferSpec(faults={"sway": 1.0}))
    b = simulate(GolferSpec(faults={"sway": 1.0}, tempo=TempoSpec(backswing_s=1.2, downswing_s=0.33, pre_s=2.0)))
    to_b, to_a = true_map(a, b), true_map(b, a)
    for name in POSITION_NAMES:
        assert to_b(np.array([a.position_times[name]]))[0] == pytest.approx(b.position_times[name], abs=1e-9)
    times = np.linspace(a.position_times["address"] - 0.2, a.position_times["finish"], 60)
    np.testing.assert_allclose(to_a(to_b(times)), times, atol=1e-9)
    np.testing.assert_allclose(b.joints(to_b(times)), a.joints(times), atol=1e-9)
    assert b.position_times["top"] - b.position_times["address"] == pytest.approx(1.2, abs=1e-6)
    assert b.position_times["impact"] - b.position_times["top"] == pytest.approx(0.33, abs=1e-6)


def test_warped_motion_follows_its_map(usual: Motion) -> None:
    def older(t: np.ndarray) -> np.ndarray:
        return t * 0.8 + 0.05 * np.sin(2 * t)

    warped = usual.warped(older, 4.5)
    for name in POSITION_NAMES:
        assert older(np.array([warped.position_times[name]]))[0] == pytest.approx(usual.position_times[name], abs=1e-9)
    times = np.linspace(0.5, 4.0, 30)
    np.testing.assert_allclose(warped.joints(times), usual.joints(older(times)), atol=1e-9)
    with pytest.raises(DataError, match="not strictly increasing"):
        usual.warped(lambda t: np.sin(t), 4.0)


def test_variation_is_the_seed_alone_and_of_the_stated_size() -> None:
    phase = np.linspace(0.0, 1.7, 60)
    hands = []
    for seed in range(12):
        motion = simulate(GolferSpec(seed=seed, variation=1.0))
        hands.append(motion.state(motion.time_of(phase))["grip"])
    again = simulate(GolferSpec(seed=3, variation=1.0))
    np.testing.assert_array_equal(again.state(again.time_of(phase))["grip"], hands[3])
    spread = np.sqrt(((np.array(hands) - np.mean(hands, axis=0)) ** 2).sum(-1).mean())
    torso = GolferSpec().body.lengths_m()["trunk"]
    assert 0.02 < spread / torso < 0.045


def test_random_bodies_and_styles_can_swing() -> None:
    rng = np.random.default_rng(4)
    scales = ["arm", "forearm", "hand", "thigh", "shank", "trunk", "shoulders", "hips", "head", "foot"]
    for i in range(16):
        body = BodySpec(
            stature_m=float(rng.uniform(1.55, 1.98)), **{name: float(rng.uniform(0.88, 1.12)) for name in scales}
        )
        style = StyleSpec(
            shoulder_turn_deg=float(rng.uniform(-10, 10)),
            hands_height=float(rng.uniform(-0.1, 0.1)),
            stance_width=float(rng.uniform(-0.2, 0.2)),
            plane_deg=float(rng.uniform(-4, 4)),
        )
        motion = simulate(GolferSpec(body=body, style=style, club="driver" if i % 2 else "mid_iron", seed=i))
        assert len(motion.position_times) == 9


def test_spec_survives_dictionary_and_pickle() -> None:
    spec = GolferSpec(
        body=BodySpec(stature_m=1.7, build="slim"), faults={"sway": 1.0}, handedness="left", club="driver", seed=3
    )
    assert GolferSpec.from_dict(spec.to_dict()) == spec
    assert pickle.loads(pickle.dumps(spec)) == spec
    assert GolferSpec.from_dict({"tempo": {"backswing_s": 1.0}}).tempo.backswing_s == 1.0


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"body": {"stature_m": 5.0}}, "stature_m of the golfer is 5"),
        ({"body": {"neck": 1.0}}, "body of the golfer has no neck"),
        ({"colour": "red"}, "A golfer has no colour"),
        ({"faults": {"slice": 1.0}}, "'slice' is not a fault"),
        ({"faults": {"sway": 3.0}}, "Fault sway has size 3"),
        ({"tempo": {"backswing_s": "fast"}}, "not a number"),
        ({"tempo": 3}, "tempo of the golfer is not a table"),
        ({"handedness": "both"}, "handedness of the golfer is 'both'"),
        ({"club": "spoon"}, "club of the golfer is 'spoon'"),
        ({"style": {"plane_deg": 90.0}}, "plane_deg of the golfer is 90"),
        ({"seed": -1}, "seed of the golfer"),
    ],
)
def test_wrong_specs_are_refused(values: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        GolferSpec.from_dict(values)


def test_a_body_that_cannot_reach_the_ball_is_refused() -> None:
    body = BodySpec(stature_m=2.2, thigh=1.2, shank=1.2, arm=0.8, forearm=0.8)
    with pytest.raises(InputError, match="reach"):
        simulate(GolferSpec(body=body))


def test_two_bones_make_a_right_angle() -> None:
    # Bones of 3 and 4 to a point 5 away: Pythagoras.
    middle = two_bone(np.zeros((1, 3)), np.array([[5.0, 0, 0]]), 3.0, 4.0, np.array([[0.0, 0, 1]]))
    np.testing.assert_allclose(middle, [[1.8, 0.0, 2.4]], atol=1e-12)


def test_monotone_cubic_keeps_keys_and_never_overshoots() -> None:
    x, y = np.array([0.0, 1.0, 2.0, 5.0]), np.array([0.0, 10.0, 10.5, 0.0])
    np.testing.assert_allclose(monotone_cubic(x, y, x), y)
    fine = monotone_cubic(x, y, np.linspace(0, 5, 500))
    assert fine.max() <= 10.5
    with pytest.raises(DataError, match="strictly increasing"):
        monotone_cubic(np.array([0.0, 0.0]), np.array([1.0, 2.0]), x)


def test_curve_of_constant_keys_is_constant() -> None:
    curves = Curves(0.0, 1.0)
    curves.add("a", [(0.0, 2.5), (1.0, 2.5)], 0.02)
    np.testing.assert_allclose(curves.at(np.linspace(-1, 2, 50))["a"], 2.5)


def test_clock_passes_its_knots_and_inverts() -> None:
    clock = Clock([0.0, 1.0, 1.3, 4.0], [0.0, 0.5, 1.5, 2.0])
    np.testing.assert_allclose(clock(clock.x), clock.y)
    t = np.linspace(-1, 5, 400)
    assert np.all(np.diff(clock(t)) > 0)
    np.testing.assert_allclose(clock.inverse(clock(t)), t, atol=1e-9)
    fine = np.linspace(-1, 5, 60001)
    np.testing.assert_allclose(clock.rate(fine)[2:-2], np.gradient(clock(fine), fine)[2:-2], atol=1e-3)
    with pytest.raises(DataError, match="both increasing"):
        Clock([0.0, 1.0], [1.0, 1.0])


def test_postures_carry_what_the_drawing_needs(usual: Motion) -> None:
    posture = usual.posture(usual.position_times["top"])
    assert set(posture.joints) == set(JOINTS)
    assert posture.club_kind == "mid_iron"
    assert posture.handedness == "right"
    assert posture.grip.shape == posture.club_head.shape == (3,)
    broad = simulate(dataclasses.replace(GolferSpec(), body=BodySpec(build="broad")))
    assert broad.posture(0.0).build == "broad"
