"""The difference score on stick figures whose differences are known by algebra."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from overlay.data import Clip, PhaseDifference, PoseTrack, Position, Positions, Swing, TimeMap
from overlay.errors import ContentError
from overlay.landmarks import INDEX, LANDMARKS, N_LANDMARKS
from overlay.score import score, score_of, sharpness_sentence, size_words
from overlay.settings.score import ScoreSettings
from overlay.terms import PARTS, PHASES, POSITION_NAMES

TORSO_PX = 100.0
TIMES = dict(zip(POSITION_NAMES, (0.6, 1.1, 1.25, 1.5, 1.6, 1.68, 1.75, 1.82, 2.3)))

# A right-hander face on, px; y down. Lead is on the right of the picture.
STANDING = {
    "nose": (200, 60), "left_ear": (210, 55), "right_ear": (190, 55), "left_shoulder": (240, 100),
    "right_shoulder": (160, 100), "left_elbow": (235, 160), "right_elbow": (165, 160), "left_wrist": (205, 210),
    "right_wrist": (200, 212), "left_index": (203, 220), "right_index": (201, 222), "left_pinky": (205, 221),
    "right_pinky": (199, 223), "left_hip": (225, 200), "right_hip": (175, 200), "left_knee": (232, 290),
    "right_knee": (168, 290), "left_ankle": (240, 380), "right_ankle": (160, 380), "left_foot_index": (255, 395),
    "right_foot_index": (145, 395), "left_heel": (238, 390), "right_heel": (162, 390),
}  # fmt: skip

# Fixed here, so that these tests stand whatever the calibrated noise is.
SD = {"hands": 0.035, "lead_arm": 0.035, "trail_arm": 0.035, "shoulders": 0.035, "head": 0.03, "spine": 0.03,
      "pelvis": 0.025, "lead_leg": 0.03, "trail_leg": 0.03}  # fmt: skip
SETTINGS = ScoreSettings(prior_sd=SD, prior_df=8.0)

Change = Callable[[np.ndarray, np.ndarray], None]


def figure(time_s: np.ndarray) -> np.ndarray:
    """(T, J, 2): the standing pose with the hands and elbows on a fast arc."""
    points = np.full((len(time_s), N_LANDMARKS, 2), np.nan)
    for name, place in STANDING.items():
        points[:, INDEX[name]] = place
    back = np.clip((time_s - 0.6) / 0.9, 0, 1)
    through = np.clip((time_s - 1.5) / 0.5, 0, 1)
    smooth = lambda u: u * u * (3 - 2 * u)  # noqa: E731
    angle = -2.4 * smooth(back) + 4.8 * smooth(through)
    for name, share in (("wrist", 1.0), ("index", 1.0), ("pinky", 1.0), ("elbow", 0.5)):
        for side in ("left", "right"):
            joint = INDEX[f"{side}_{name}"]
            arm = points[:, joint] - (200, 100)
            c, s = np.cos(share * angle), np.sin(share * angle)
            points[:, joint, 0] = 200 + c * arm[:, 0] + s * arm[:, 1]
            points[:, joint, 1] = 100 - s * arm[:, 0] + c * arm[:, 1]
    return points


def swing(
    change: Change | None = None,
    *,
    rate: float = 60.0,
    noise_px: float = 0.0,
    seed: int = 0,
    zoom: float = 1.0,
    shift: tuple[float, float] = (0.0, 0.0),
    left_handed: bool = False,
    missing: tuple[str, ...] = (),
    slow: float = 1.0,
    visibility: np.ndarray | None = None,
    filled: np.ndarray | None = None,
    clip: Clip | None = None,
) -> Swing:
    real_s = np.arange(0.1, 2.8, 1 / rate)
    points = figure(real_s)
    if change is not None:
        change(points, real_s)
    points = points * zoom + shift + np.random.default_rng(seed).normal(0, 1, points.shape) * noise_px
    track = PoseTrack(
        points,
        np.full(points.shape[:2], np.nan),
        np.where(np.isfinite(points[..., 0]), 0.99, 0.0) if visibility is None else visibility,
        real_s * slow,
        (400, 480),
        "made",
        filled=np.zeros((0, 0), bool) if filled is None else filled,
    )
    if left_handed:
        track = track.mirrored()
    found = tuple(Position(name, TIMES[name] * slow, 0.9) for name in POSITION_NAMES if name not in missing)
    return Swing(
        clip,
        track,
        "fo",
        1.0,
        "left" if left_handed else "right",
        1.0,
        Positions(found, dict.fromkeys(missing, "not seen.")),
    )


def same_time(one: Swing, other: Swing) -> TimeMap:
    both = [name for name in POSITION_NAMES if one.positions.time(name) and other.positions.time(name)]
    return TimeMap(
        np.array([one.positions.time(name) for name in both]), np.array([other.positions.time(name) for name in both])
    )


def compare(one: Swing, other: Swing, **options: object):  # type: ignore[no-untyped-def]
    options.setdefault("settings", SETTINGS)
    return score(one, other, same_time(one, other), **options)  # type: ignore[arg-type]


def rows(comparison) -> dict[tuple[str, str], PhaseDifference]:  # type: ignore[no-untyped-def]
    return {(row.phase, row.part): row for row in comparison.differences}


def moved(joints: tuple[str, ...], by: tuple[float, float], start: str, end: str) -> Change:
    """A plateau displacement of ``by`` px between two positions, with 30 ms ramps well outside."""

    def change(points: np.ndarray, time_s: np.ndarray) -> None:
        up = np.clip((time_s - TIMES[start] + 0.05) / 0.03, 0, 1)
        down = np.clip((TIMES[end] + 0.05 - time_s) / 0.03, 0, 1)
        for name in joints:
            points[:, INDEX[name]] += np.minimum(up, down)[:, None] * by

    return change


def test_one_row_for_every_phase_and_part_in_order() -> None:
    comparison = compare(swing(), swing())
    assert [(row.phase, row.part) for row in comparison.differences] == [
        (phase.name, part) for phase in PHASES for part in PARTS
    ]
    assert [timing.phase for timing in comparison.timings] == [phase.name for phase in PHASES]


def test_identical_swings_differ_by_nothing() -> None:
    comparison = compare(swing(), swing())
    for row in comparison.differences:
        assert row.value == 0.0
        assert row.words == "no difference detected"
        assert row.score == 100.0
        assert row.interval[0] == 0.0
    assert comparison.first is None
    assert comparison.largest is None


@pytest.mark.parametrize(
    ("part", "joints"),
    [
        ("pelvis", ("left_hip", "right_hip")),
        ("head", ("nose", "left_ear", "right_ear")),
        ("lead_leg", ("left_knee",)),
        ("trail_arm", ("right_elbow",)),
    ],
)
def test_a_planted_displacement_is_measured_and_named(part: str, joints: tuple[str, ...]) -> None:
    """40 px of 100 px torso over exactly the backswing: 0.40 T there, and the part is the largest."""
    changed = swing(moved(joints, (-40.0, 0.0), "shaft_level_back", "top"))
    comparison = compare(changed, swing())
    row = rows(comparison)["backswing", part]
    variance = 2 * SD[part] ** 2
    if part != "trail_arm":  # the elbow moves fast enough that some of the along-path share is left out
        assert row.offset == pytest.approx((-0.40, 0.0), abs=2e-3)
        assert row.value == pytest.approx(np.sqrt(0.16 - 2 * variance), abs=2e-3)
    assert comparison.largest is not None
    assert (comparison.largest.phase, comparison.largest.part) == ("backswing", part)
    assert row.interval[0] < row.value < row.interval[1]
    assert row.score_interval[0] < row.score < row.score_interval[1]
    assert row.score == pytest.approx(score_of(row.value))


def test_first_is_the_earliest_phase_and_largest_the_largest() -> None:
    early = moved(("left_hip", "right_hip"), (-35.0, 0.0), "address", "shaft_level_back")
    late = moved(("nose", "left_ear", "right_ear"), (0.0, -60.0), "impact", "shaft_level_through")

    def both(points: np.ndarray, time_s: np.ndarray) -> None:
        early(points, np.where(time_s < TIMES["address"] + 0.06, 0.0, time_s))
        late(points, time_s)

    comparison = compare(swing(both), swing())
    assert comparison.first is not None
    assert comparison.largest is not None
    assert (comparison.first.phase, comparison.first.part) == ("takeaway", "pelvis")
    assert (comparison.largest.phase, comparison.largest.part) == ("release", "head")


def test_size_distance_place_hand_and_set_up_cancel() -> None:
    """Another zoom, another place in the picture, a left-hander, and a wider stance from the start: no difference."""

    def wider(points: np.ndarray, time_s: np.ndarray) -> None:
        for side, sign in (("left", 1.0), ("right", -1.0)):
            for joint, share in (("ankle", 1.0), ("knee", 0.5)):
                points[:, INDEX[f"{side}_{joint}"], 0] += sign * share * 20.0

    plain = swing()
    for other in (
        swing(zoom=1.7, shift=(-90.0, 40.0)),
        swing(left_handed=True),
        swing(wider),
        swing(rate=240.0),
        swing(rate=240.0, slow=8.0),
    ):
        comparison = compare(plain, other)
        assert max(row.value for row in comparison.differences) == 0.0, other.pose.log
        assert comparison.largest is None


def test_a_longer_arm_is_no_difference() -> None:
    """Elbow and hands 12 % further from the shoulders all through: proportions, not movement."""

    def longer(points: np.ndarray, time_s: np.ndarray) -> None:
        for side in ("left", "right"):
            shoulder = points[:, INDEX[f"{side}_shoulder"]].copy()
            for joint in ("elbow", "wrist", "index", "pinky"):
                i = INDEX[f"{side}_{joint}"]
                points[:, i] = shoulder + 1.12 * (points[:, i] - shoulder)

    raw = compare(swing(longer), swing(), settings=dataclasses.replace(SETTINGS, proportion_slack=9.0))
    comparison = compare(swing(longer), swing())
    before = max(np.hypot(*row.offset) for row in raw.differences if row.part == "hands")
    after = max(np.hypot(*row.offset) for row in comparison.differences if row.part == "hands")
    assert after < 0.35 * before
    assert comparison.largest is None


def test_a_time_error_does_not_look_like_a_path_error() -> None:
    """The reference mapped 15 ms late: the hands travel far in that time, yet their path is the same."""
    one = swing()
    late = TimeMap(one.pose.time_s[[0, -1]], one.pose.time_s[[0, -1]] + 0.015)
    hands = {row.phase: row for row in score(one, swing(), late).differences if row.part == "hands"}
    counted = np.hypot(*hands["downswing"].offset)
    everything = np.hypot(
        *next(
            row.offset
            for row in score(one, swing(), late, settings=dataclasses.replace(SETTINGS, timing_sd_s=0.0)).differences
            if (row.phase, row.part) == ("downswing", "hands")
        )
    )
    assert everything > 0.10
    assert counted < everything / 3


def test_filled_and_hidden_values_are_never_scored() -> None:
    time_s = np.arange(0.1, 2.8, 1 / 60)
    in_backswing = (time_s > TIMES["shaft_level_back"]) & (time_s < TIMES["top"])
    filled = np.zeros((len(time_s), N_LANDMARKS), bool)
    filled[np.ix_(in_backswing, [INDEX["left_elbow"]])] = True
    visibility = np.full((len(time_s), N_LANDMARKS), 0.99)
    visibility[np.ix_(in_backswing, [INDEX["right_elbow"]])] = 0.1
    wild = moved(("left_elbow", "right_elbow"), (300.0, 300.0), "shaft_level_back", "top")
    comparison = compare(swing(wild, filled=filled, visibility=visibility), swing())
    for part in ("lead_arm", "trail_arm"):
        row = rows(comparison)["backswing", part]
        assert row.words == "not scored"
        assert "of the phase in the student" in row.reason
        assert np.isnan(row.value)
        assert np.isnan(row.score)
    assert rows(comparison)["delivery", "lead_arm"].words == "no difference detected"


def test_a_missing_position_takes_its_phases_along() -> None:
    comparison = compare(swing(missing=("shaft_level_down",)), swing())
    table = rows(comparison)
    for phase in ("downswing", "delivery"):
        assert all(table[phase, part].words == "not scored" for part in PARTS)
        assert "shaft level down was not found in the student's swing: not seen." in table[phase, "hands"].reason
    assert all(table[phase, "hands"].words != "not scored" for phase in ("takeaway", "backswing", "release"))
    timing = {timing.phase: timing for timing in comparison.timings}
    assert np.isnan(timing["downswing"].difference_ms)
    assert timing["downswing"].reason


def test_without_address_movement_starts_at_the_first_position_both_have() -> None:
    comparison = compare(swing(missing=("address",)), swing())
    table = rows(comparison)
    assert table["takeaway", "pelvis"].words == "not scored"
    assert table["backswing", "pelvis"].words == "no difference detected"
    assert any("shaft level back" in note for note in comparison.notes)


def test_repeats_set_the_noise_and_sharpen() -> None:
    change = moved(("left_hip", "right_hip"), (-14.0, 0.0), "shaft_level_back", "top")
    alone = compare(swing(change), swing())
    many = compare(
        swing(change),
        swing(),
        student_repeats=[swing(change, noise_px=1.0, seed=i) for i in range(1, 5)],
        reference_repeats=[swing(noise_px=1.0, seed=i) for i in range(11, 15)],
    )
    before, after = rows(alone)["backswing", "pelvis"], rows(many)["backswing", "pelvis"]
    assert before.words == "no difference detected"
    assert after.words != "no difference detected"
    assert after.detectable < before.detectable / 2
    # Eight repeats without noise worth naming pull s² to half the prior: (8·s₀² + ~0)/(8 + 8).
    expected = 2 * SD["pelvis"] ** 2 / 2 / 5
    size_sq = after.offset[0] ** 2 + after.offset[1] ** 2
    assert size_sq - after.value**2 == pytest.approx(2 * expected, rel=0.1)


def test_centimetres_follow_stature() -> None:
    changed = swing(moved(("left_hip", "right_hip"), (-40.0, 0.0), "shaft_level_back", "top"))
    row = rows(compare(changed, swing(), stature_cm=180.0))["backswing", "pelvis"]
    assert row.value_cm is not None
    # The leg of the standing figure is √(90² + 7²) + √(90² + 8²) = 180.6 px and .491 of stature.
    assert row.value_cm == pytest.approx(row.value * 100.0 / 180.6 * 0.491 * 180.0, rel=0.01)
    assert rows(compare(changed, swing()))["backswing", "pelvis"].value_cm is None


def test_a_swing_without_a_torso_is_refused() -> None:
    def gone(points: np.ndarray, time_s: np.ndarray) -> None:
        points[:, [INDEX["left_hip"], INDEX["right_hip"]]] = np.nan

    with pytest.raises(ContentError, match="student's torso is not seen"):
        compare(swing(gone), swing())


def test_words_and_scores() -> None:
    """Words and score values of the method notes: E = .05 → 96, .10 → 84, .20 → 50, .40 → 6."""
    assert [round(score_of(e)) for e in (0.0, 0.05, 0.10, 0.20, 0.40)] == [100, 96, 84, 50, 6]
    assert [size_words(m) for m in (0.5, 1.5, 3.0, 5.0)] == ["small", "moderate", "large", "very large"]


def test_sharpness_says_how_many_swings() -> None:
    one, five = sharpness_sentence(1, 1), sharpness_sentence(5, 5)
    assert one.startswith("1 swing against 1:")
    assert "five swings each" in one
    assert five.startswith("5 swings against 5:")
    assert "five swings" not in five


def clip_of(capture: int | None, rate: int = 30) -> Clip:
    return Clip(
        Path("made.mp4"), "", 400, 480, 0, False, np.arange(3) / rate, Fraction(rate),
        None if capture is None else Fraction(capture), False, False,
    )  # fmt: skip


def test_timing_is_in_real_milliseconds() -> None:
    """240 frames/s played at 30: eight times as long on the clip's clock, the same in reality."""
    slow = swing(rate=240.0, slow=8.0, clip=clip_of(240))
    comparison = compare(slow, swing())
    for timing in comparison.timings:
        assert timing.reason == ""
        assert timing.difference_ms == pytest.approx(0.0, abs=1e-6)
        assert timing.uncertainty_ms > 0
    takeaway = comparison.timings[0]
    assert takeaway.student_s == pytest.approx(0.5)


def test_timing_is_withheld_when_the_speed_is_not_known() -> None:
    comparison = compare(swing(rate=240.0, slow=8.0), swing())
    for timing in comparison.timings:
        assert np.isnan(timing.difference_ms)
        assert np.isnan(timing.student_s)
        assert "real speed" in timing.reason


def test_timing_uncertainty_is_the_root_sum_of_its_parts() -> None:
    """Confidence .9 = within 1.15 s/30 = 38.3 ms in 90 % of cases: SD 38.3/1.6449 = 23.3 ms; four such positions and
    four frames of 16.7 ms: 1.96·√(4·(23.3² + 16.7²/12)) ms."""
    expected = 1.96 * np.sqrt(4 * ((1000 * 1.15 / 30 / 1.644854) ** 2 + (1000 / 60) ** 2 / 12))
    assert compare(swing(), swing()).timings[2].uncertainty_ms == pytest.approx(expected, rel=1e-5)


def test_every_setting_has_unit_and_reason() -> None:
    for field in dataclasses.fields(ScoreSettings):
        assert field.metadata["unit"]
        assert field.metadata["reason"]


def test_landmarks_of_the_figure_exist() -> None:
    assert set(STANDING) <= set(LANDMARKS)


def test_address_posture_is_told_apart_from_movement() -> None:
    """Standing wider and tilted from the start: no phase differs, the set-up says so."""

    def other_setup(points: np.ndarray, time_s: np.ndarray) -> None:
        points[:, INDEX["left_ankle"], 0] += 30.0
        hips = (points[:, INDEX["left_hip"]] + points[:, INDEX["right_hip"]]) / 2
        angle = np.radians(-12.0)
        c, s = np.cos(angle), np.sin(angle)
        for name in LANDMARKS[:23]:
            if name in STANDING and "hip" not in name:
                d = points[:, INDEX[name]] - hips
                points[:, INDEX[name]] = hips + np.stack([c * d[:, 0] - s * d[:, 1], s * d[:, 0] + c * d[:, 1]], 1)

    comparison = compare(swing(other_setup), swing())
    setup = {measure.name: measure for measure in comparison.setup}
    assert setup["spine_side_bend"].value == pytest.approx(12.0, abs=0.01)
    assert setup["stance_width"].value == pytest.approx(0.30, abs=1e-6)
    assert any("tilted more away from the target (12°)" in note for note in comparison.notes)
    assert any("wider (0.30 torso lengths)" in note for note in comparison.notes)
    legs_and_pelvis = [
        row for row in comparison.differences if row.part in ("pelvis", "lead_leg", "spine", "shoulders")
    ]
    assert {row.words for row in legs_and_pelvis} == {"no difference detected"}
    assert compare(swing(), swing()).setup[0].value == 0.0


def test_a_moving_camera_is_noticed() -> None:
    def pan(points: np.ndarray, time_s: np.ndarray) -> None:
        points[..., 0] += (20.0 * (time_s - 0.6))[:, None]

    comparison = compare(swing(pan), swing())
    # From the middle of the still moment (0.125 s before address) to impact: 1.275 s × 20 px/s = 25 px.
    note = next(note for note in comparison.notes if "lead foot" in note)
    assert re.search(r"student.s lead foot lies 0\.2[56] torso lengths elsewhere", note)
    assert not any("reference's lead foot" in note for note in comparison.notes)


def test_a_misplaced_joint_is_no_posture() -> None:
    def far_ankle(points: np.ndarray, time_s: np.ndarray) -> None:
        points[:, INDEX["left_ankle"], 0] += 150.0

    comparison = compare(swing(far_ankle), swing())
    width = next(measure for measure in comparison.setup if measure.name == "stance_width")
    assert not width.valid
    assert width.reason
    assert not any("wider" in note for note in comparison.notes)


def test_alignment_and_positions_that_contradict_are_noted() -> None:
    one = swing()
    knots = np.array([0.1, 1.5, 2.7])
    comparison = score(one, swing(), TimeMap(knots, np.array([0.1, 1.65, 2.7])))
    note = next(note for note in comparison.notes if note.startswith("Positions and alignment"))
    assert "top (150 ms)" in note
    assert "address" not in note
    assert not any(note.startswith("Positions and alignment") for note in compare(one, swing()).notes)


def test_the_through_swing_has_the_wider_prior() -> None:
    """Twice the prior there, so what can be seen is twice as large; identical swings, one swing each."""
    table = rows(compare(swing(), swing()))
    ratio = table["through_swing", "head"].detectable / table["release", "head"].detectable
    assert ratio == pytest.approx(SETTINGS.through_factor)


def test_hands_are_scored_when_address_and_phase_show_different_hands() -> None:
    """Lead hand hidden at address, trail hand hidden in the backswing: the planted 30 px still come out."""
    time_s = np.arange(0.1, 2.8, 1 / 60)
    visibility = np.full((len(time_s), N_LANDMARKS), 0.99)
    early, back = time_s < 0.9, (time_s > 1.0) & (time_s < 1.6)
    for joint in ("wrist", "index", "pinky"):
        visibility[early, INDEX[f"left_{joint}"]] = 0.1
        visibility[back, INDEX[f"right_{joint}"]] = 0.1
    hands = tuple(f"left_{joint}" for joint in ("wrist", "index", "pinky"))
    changed = swing(moved(hands, (0.0, -30.0), "shaft_level_back", "top"), visibility=visibility)
    settings = dataclasses.replace(SETTINGS, timing_sd_s=0.0, proportion_slack=9.0)  # the planted 30 px stretch the arm
    row = rows(compare(changed, swing(visibility=visibility), settings=settings))["backswing", "hands"]
    assert row.reason == ""
    assert row.offset == pytest.approx((0.0, -0.30), abs=5e-3)
