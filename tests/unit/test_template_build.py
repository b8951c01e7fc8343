"""Templates of stick figures whose middle is known, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import comparison_factory as factory
import numpy as np
import pytest

from overlay.align import align
from overlay.data import Clip, ClubTrack, Swing
from overlay.errors import ContentError, InputError, MismatchError
from overlay.landmarks import INDEX
from overlay.score import score
from overlay.score.parts import figure_of
from overlay.settings.score import ScoreSettings
from overlay.template import Template, build_template
from overlay.template.members import at_rest, mirrored, placed, retimed

JOINTS = [INDEX[f"{side}_{joint}"] for side in ("left", "right") for joint in ("shoulder", "elbow", "wrist", "hip",
          "knee", "ankle")]  # fmt: skip


def noisy(swing: Swing, seed: int, size: float = 0.01) -> Swing:
    """Slowly wandering errors, as two swings of one player differ."""
    rng = np.random.default_rng(seed)
    n = len(swing.pose)
    waves = sum(
        rng.normal(0, 1, (1, 33, 2)) * np.sin(np.arange(n)[:, None, None] * f + rng.uniform(0, 6.28, (1, 33, 2)))
        for f in (0.05, 0.11, 0.17)
    )
    points = swing.pose.points + waves * size * swing.torso_px
    return replace(swing, pose=replace(swing.pose, points=points))


def group(count: int, **changes: object) -> list[Swing]:
    made = []
    for i in range(count):
        length = 1.5 + 0.05 * ((i * 7) % 5 - 2)
        made.append(noisy(factory.make_swing(rate=60, length_s=length, **changes), i))  # type: ignore[arg-type]
    return made


def names(count: int) -> list[str]:
    return [f"clip {i}" for i in range(count)]


@pytest.fixture(scope="module")
def five() -> tuple[list[Swing], Template]:
    swings = group(5)
    return swings, build_template(swings, names(5), of="one player")


def off_truth(template: Template, truth: Swing) -> float:
    """RMS distance to the truth at the same moment, torso lengths."""
    time_map = align(template.swing, truth)
    times = np.arange(template.swing.positions.times()["address"], template.swing.positions.times()["finish"], 0.02)

    def at(swing: Swing, when: np.ndarray) -> np.ndarray:
        flat = swing.pose.points[:, JOINTS].reshape(len(swing.pose), -1)
        return np.stack([np.interp(when, swing.pose.time_s, column) for column in flat.T], axis=1)

    gap = at(template.swing, times) - at(truth, time_map.to_reference(times))
    return float(np.sqrt(np.mean(gap**2) * 2)) / truth.torso_px


def test_the_middle_is_nearer_to_the_truth_than_any_swing(five: tuple[list[Swing], Template]) -> None:
    swings, template = five
    truth = factory.make_swing(rate=240, length_s=1.5)
    own = [np.sqrt(np.mean((s.pose.points - factory.make_swing(rate=60, length_s=1.5 + 0.05 * ((i * 7) % 5 - 2)).pose.points)[:, JOINTS] ** 2) * 2) / 60 for i, s in enumerate(swings)]  # fmt: skip  # noqa: E501
    assert off_truth(template, truth) < 0.75 * min(own)
    times = template.swing.positions.times()
    assert times["top"] - times["address"] == pytest.approx(0.75, rel=0.02)


def test_what_a_template_is(five: tuple[list[Swing], Template]) -> None:
    swings, template = five
    swing = template.swing
    assert template.kept == (0, 1, 2, 3, 4)
    assert template.left_out == ()
    assert swing.clip is None
    assert swing.slow_factor == 1.0
    assert swing.view == "dtl"
    assert swing.pose.image_size == swings[template.medoid].pose.image_size
    assert swing.pose.time_s[0] == 0.0
    assert swing.torso_px == pytest.approx(60.0, rel=0.03)
    assert swing.quality["swings"] == 5.0
    assert template.band.n_swings == 5
    assert template.band.of == "one player"
    # Where the medoid stands, not where the common frame has its origin.
    mine, its = (s.pose.points[:20, INDEX["left_ankle"]].mean(axis=0) for s in (swing, swings[template.medoid]))
    assert mine == pytest.approx(its, abs=1.5)
    for index, time_map in zip(template.kept, template.maps):
        times, own = swing.positions.times(), swings[index].positions.times()
        assert float(time_map.to_reference(times["impact"])) == pytest.approx(own["impact"], abs=0.03)


def test_the_band_is_what_the_swings_vary_by(five: tuple[list[Swing], Template]) -> None:
    """Three waves of 1 % each: a phase mean of one joint varies by at most √(3/2)·1 %, an origin adds its own."""
    spreads = [spread.sd for spread in five[1].band.spreads.values()]
    assert len(spreads) > 40
    assert 0.002 < np.median(spreads) < 0.03
    assert {spread.df for spread in five[1].band.spreads.values()} == {4.0}


def test_everything_downstream_works_on_it(five: tuple[list[Swing], Template], tmp_path: Path) -> None:
    from overlay.compose.framing import frame_players
    from overlay.guides import guide_lines
    from overlay.measure import measure_swing

    template = five[1]
    student = noisy(factory.make_swing(rate=60, length_s=1.7, torso=80.0, feet=(160.0, 330.0), size=(300, 400)), 99)
    time_map = align(student, template.swing)
    comparison = score(student, template.swing, time_map, band=template.band)
    assert comparison.first is None, "a swing of the same kind does not differ"
    assert "against a template of 5" in comparison.sharpness
    guides = guide_lines(template.swing)
    assert any(not guide.reason for guide in guides)
    measures = {measure.name: measure for measure in measure_swing(template.swing, guides)}
    assert any(measure.valid for measure in measures.values())
    framing = frame_players(student, template.swing, with_pictures=(False, False), least_px=600, most_px=600)
    assert framing.pane_size[0] > 0


def test_any_hand_size_rate_and_speed_make_one_template() -> None:
    """A left-hander, another picture, 30 frames/s, fourfold slow motion that says so: the same middle."""
    plain = group(3)
    left = noisy(factory.make_swing(rate=60, handedness="left"), 11)
    small = noisy(factory.make_swing(rate=30, torso=120.0, feet=(300.0, 520.0), size=(480, 640)), 12)
    slow = retimed(noisy(factory.make_swing(rate=240), 13), 4.0)
    clip = Clip(
        Path("slow.mp4"), "a" * 64, 240, 320, 0, False, np.arange(600) / 60, Fraction(60), Fraction(240), False, False
    )
    swings = [*plain, left, small, replace(slow, clip=clip)]
    template = build_template(swings, names(6))
    assert template.kept == (0, 1, 2, 3, 4, 5)
    times = template.swing.positions.times()
    assert times["top"] - times["address"] == pytest.approx(0.5 * np.mean([1.4, 1.5, 1.6, 1.6, 1.6, 1.6]), rel=0.03)
    torso = figure_of(template.swing, ScoreSettings()).torso_px
    assert torso == pytest.approx(swings[template.medoid].torso_px, rel=0.03)
    slow_map = template.maps[5]
    own = swings[5].positions.times()
    assert float(slow_map.to_reference(times["top"])) == pytest.approx(own["top"], abs=0.1)
    assert off_truth(template, scaled_truth(swings[template.medoid])) < 0.02


def scaled_truth(like: Swing) -> Swing:
    x, y = like.pose.points[:10, [INDEX["left_ankle"], INDEX["right_ankle"]]].mean(axis=(0, 1))
    if like.handedness == "left":
        x = like.pose.image_size[0] - x
    return factory.make_swing(
        rate=240, length_s=1.5, torso=like.torso_px, feet=(x + 0.02 * like.torso_px, y), handedness=like.handedness,
        size=like.pose.image_size,
    )  # fmt: skip


def test_left_handers_make_a_left_handed_template() -> None:
    swings = group(3, handedness="left")
    template = build_template(swings, names(3))
    assert template.swing.handedness == "left"
    right = build_template([mirrored(swing) for swing in swings], names(3))
    there = mirrored(right.swing).pose.points
    assert np.nanmax(np.abs(template.swing.pose.points - there)) < 0.01


def test_joints_and_positions_that_some_swings_miss() -> None:
    """A wrist that two of three swings do not show is drawn but not scored; what nobody shows stays missing."""
    swings = group(3)
    wrist, thumb = INDEX["left_wrist"], INDEX["left_thumb"]
    for i in (0, 1):
        points, visibility = np.array(swings[i].pose.points), np.array(swings[i].pose.visibility)
        points[40:70, wrist], visibility[40:70, wrist] = np.nan, 0.0
        swings[i] = replace(swings[i], pose=replace(swings[i].pose, points=points, visibility=visibility))
    template = build_template(swings, names(3))
    middle = len(template.swing.pose) // 2
    track = template.swing.pose
    assert np.isnan(track.points[:, thumb]).all()
    hidden = track.filled[:, wrist]
    assert hidden.any()
    assert np.isfinite(track.points[hidden][:, wrist]).all()
    assert not track.filled[middle + 40 :, wrist].any()
    steps = np.linalg.norm(np.diff(track.points[:, wrist], axis=0), axis=-1)
    right = np.linalg.norm(np.diff(track.points[:, INDEX["right_wrist"]], axis=0), axis=-1)
    assert steps.max() < 1.6 * right.max(), "the mean does not jump where swings leave it"


def test_the_club_goes_with_the_hands() -> None:
    swings = []
    for swing in group(3):
        n = len(swing.pose)
        grip = (swing.pose.joint("left_wrist") + swing.pose.joint("right_wrist")) / 2
        angle = np.linspace(60.0, 300.0, n)
        swings.append(
            replace(swing, club=ClubTrack(swing.pose.time_s, grip, angle, np.full(n, 90.0), ("measured",) * n))
        )
    template = build_template(swings, names(3))
    club = template.swing.club
    assert club is not None
    hands = (template.swing.pose.joint("left_wrist") + template.swing.pose.joint("right_wrist")) / 2
    assert np.nanmedian(np.linalg.norm(club.grip - hands, axis=1)) < 0.01 * 60
    assert np.nanmedian(club.length_px) == pytest.approx(90.0, rel=0.03)
    assert club.scored[60:180].all()


def test_a_template_of_one_pose_model_is_measured_as_its_joints() -> None:
    """Measures take known biases off by the pose model's name, so the middle of its swings must bear it."""
    swings = group(3)
    of_one = [replace(swing, pose=replace(swing.pose, source="mediapipe")) for swing in swings]
    assert build_template(of_one, names(3)).swing.pose.source == "mediapipe"
    mixed = [*of_one[:2], replace(swings[2], pose=replace(swings[2].pose, source="other.csv"))]
    assert build_template(mixed, names(3)).swing.pose.source == "template"


def test_two_swings_make_a_template_that_says_how_little_it_knows() -> None:
    template = build_template(group(2), names(2))
    assert template.kept == (0, 1)
    assert {spread.df for spread in template.band.spreads.values()} == {1.0}
    assert "known only roughly" in template.swing.notes[-1]


def test_another_movement_is_named_and_left_out() -> None:
    swings = group(6)
    points = np.array(swings[2].pose.points)
    n = len(points)
    bump = np.exp(-(((np.arange(n) - 0.45 * n) / (0.12 * n)) ** 2))[:, None] * np.array([-0.35 * 60, 0.0])
    for name in ("left_hip", "right_hip"):
        points[:, INDEX[name]] += bump
    swings[2] = replace(swings[2], pose=replace(swings[2].pose, points=points))
    template = build_template(swings, names(6))
    assert template.kept == (0, 1, 3, 4, 5)
    ((index, reason),) = template.left_out
    assert index == 2
    assert reason.startswith("another movement: the pelvis is 0.")
    assert reason.endswith("torso lengths away from the others' in the backswing")


def test_players_may_differ_in_a_part_where_one_player_may_not() -> None:
    """A head that moves forward through the release: another swing of one player, one more player among several."""
    swings = group(5)
    points = np.array(swings[2].pose.points)
    n = len(points)
    bump = np.exp(-(((np.arange(n) - 0.62 * n) / (0.05 * n)) ** 2))[:, None] * np.array([0.3 * 60, 0.0])
    for name in ("nose", "left_ear", "right_ear"):
        points[:, INDEX[name]] += bump
    swings[2] = replace(swings[2], pose=replace(swings[2].pose, points=points))
    one = build_template(swings, names(5), of="one player")
    assert [index for index, _ in one.left_out] == [2]
    assert "the head is 0." in one.left_out[0][1]
    assert build_template(swings, names(5), of="several players").kept == (0, 1, 2, 3, 4)


def test_another_tempo_a_shorter_swing_and_bad_tracking_are_called_so() -> None:
    swings = group(7)
    hurried = noisy(factory.make_swing(rate=60, length_s=1.05), 20)
    swings[1] = hurried
    low = np.array(swings[3].pose.points)
    for name in ("wrist", "index"):
        for side in ("left", "right"):
            rows = low[:, INDEX[f"{side}_{name}"], 1]
            shoulder = low[:, INDEX[f"{side}_shoulder"], 1]
            rows[:] = np.where(rows < shoulder + 25, shoulder + 25, rows)
    swings[3] = replace(swings[3], pose=replace(swings[3].pose, points=low))
    shaking = swings[5].pose.points + np.random.default_rng(4).normal(0, 0.08 * 60, swings[5].pose.points.shape)
    swings[5] = replace(swings[5], pose=replace(swings[5].pose, points=shaking))
    template = build_template(swings, names(7))
    reasons = dict(template.left_out)
    assert set(reasons) == {1, 3, 5}
    assert reasons[1].startswith("another tempo: its backswing takes 0.5")
    assert reasons[3].startswith("a shorter swing: at the top its hands are")
    assert reasons[5].startswith("badly tracked: its joints jump")


def test_an_address_found_late_costs_the_swing_its_address_not_its_place() -> None:
    swings = group(6)
    found = tuple(replace(p, time_s=p.time_s + 0.25) if p.name == "address" else p for p in swings[4].positions.found)
    swings[4] = replace(swings[4], positions=replace(swings[4].positions, found=found))
    template = build_template(swings, names(6))
    assert template.kept == (0, 1, 2, 3, 4, 5)
    times = template.swing.positions.times()
    assert times["top"] - times["address"] == pytest.approx(0.75, rel=0.02)


def test_the_same_swing_given_twice_counts_once() -> None:
    swings = group(3)
    again = placed(retimed(swings[1], 1.0, 5.0), 1.5, np.array([20.0, 10.0]))
    template = build_template([*swings, again], [*names(3), "copy"])
    assert template.kept == (0, 1, 2)
    assert template.left_out == ((3, "the same swing as clip 1, counted once"),)
    with pytest.raises(ContentError, match=r"only 1 can be put together.*the same swing as clip 0"):
        build_template([swings[0], swings[0]], names(2))


def test_what_is_refused() -> None:
    swings = group(3)
    with pytest.raises(InputError, match="two swings or more, not of 1"):
        build_template(swings[:1], names(1))
    with pytest.raises(InputError, match="3 swings come with 2 labels"):
        build_template(swings, names(2))
    with pytest.raises(MismatchError, match="clip 2 is filmed face on, clip 0 down the line"):
        build_template([*swings[:2], replace(swings[2], view="fo")], names(3))
    unseen = [
        replace(s, pose=replace(s.pose, points=np.full_like(s.pose.points, np.nan)), torso_px=float("nan"))
        for s in swings[:2]
    ]
    with pytest.raises(ContentError, match=r"only 1 can be put together.*shows no torso"):
        build_template([*unseen, swings[2]], names(3))


def test_fewer_than_half_left_is_no_template() -> None:
    """Four swings, each of another kind: nothing to be the middle of."""
    swings = group(4)
    for i, part in enumerate(("hip", "knee", "shoulder")):
        points = np.array(swings[i].pose.points)
        n = len(points)
        bump = np.exp(-(((np.arange(n) - 0.45 * n) / (0.15 * n)) ** 2))[:, None]
        for side in ("left", "right"):
            points[:, INDEX[f"{side}_{part}"]] += bump * np.array([30.0 * (-1) ** i, 20.0])
        swings[i] = replace(swings[i], pose=replace(swings[i].pose, points=points))
    with pytest.raises(ContentError, match="Of 4 swings only"):
        build_template(swings, names(4))


def test_a_moving_picture_is_brought_to_rest() -> None:
    from overlay.data import CameraMotion

    swing = factory.make_swing(rate=60)
    time = swing.pose.time_s
    shift = np.stack([10 * np.sin(time), 5 * np.cos(time)], axis=1)
    matrices = np.tile(np.eye(2, 3), (len(time), 1, 1))
    matrices[:, :, 2] = -shift
    moved = replace(
        swing,
        pose=replace(swing.pose, points=swing.pose.points + shift[:, None]),
        camera_motion=CameraMotion(time, matrices),
    )
    assert np.nanmax(np.abs(at_rest(moved).pose.points - swing.pose.points)) < 1e-9
