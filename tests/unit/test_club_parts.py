"""The parts of the shaft tracker: rays and the fitted line, background, path, bridging and resting."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from club_factory import HEIGHT, WIDTH, Pictures, draw_shaft, swing_of, texture

from overlay.arrays import AnyArray, FloatArray
from overlay.club.background import Background, learn, spaced_by_path
from overlay.club.hands import hand_path, hands_seen
from overlay.club.look import frame_channels, small_side
from overlay.club.path import find_path
from overlay.club.rays import FrameEvidence, Rays
from overlay.club.settle import bridge, settle_still, wrapped
from overlay.errors import DataError
from overlay.landmarks import INDEX
from overlay.settings.club import ClubSettings

S = ClubSettings()
GRIP = np.array([180.0, 240.0])


def evidence(image: AnyArray, background: AnyArray, grip: FloatArray = GRIP, wide: bool = False) -> FrameEvidence:
    known = np.full(image.shape[:2], 255, np.uint8)
    behind = Background(background, np.full(image.shape[:2], 6, np.uint8), known)
    channels = frame_channels(image, behind, None, np.full((2, 2, 2), np.nan), 100.0, S)
    rays = Rays(S, 100.0, wide=wide)
    return rays.evidence(rays.canvas(channels, grip))


@pytest.mark.parametrize("angle", [0.0, 37.3, 90.9, 181.0, 222.2, 300.5])
def test_a_drawn_line_is_measured(angle: float) -> None:
    """The line is drawn at that angle, 4 px beside the hands: the answer is known by construction."""
    scene = texture()
    beside = GRIP + 4.0 * np.array([-np.sin(np.radians(angle)), np.cos(np.radians(angle))])
    lines = evidence(draw_shaft(scene, beside, angle, 130.0), scene).lines
    assert wrapped(lines[0].angle_deg - angle) == pytest.approx(0.0, abs=0.25)
    assert lines[0].offset_px == pytest.approx(4.0, abs=0.5)
    assert lines[0].stop_px == pytest.approx(130.0, abs=5.0)
    assert lines[0].evidence > 0.8
    assert lines[0].sd_deg < 0.5
    assert lines[0].score > S.least_score


def test_hands_seen_badly_are_looked_around_further() -> None:
    scene = texture()
    image = draw_shaft(scene, GRIP, 60.0, 130.0)
    away = GRIP + 45.0 * np.array([np.sin(np.pi / 3), -np.cos(np.pi / 3)])
    assert not [line for line in evidence(image, scene, away).lines if line.score > S.least_score]
    best = evidence(image, scene, away, wide=True).lines[0]
    assert wrapped(best.angle_deg - 60.0) == pytest.approx(0.0, abs=0.4)
    assert best.offset_px == pytest.approx(45.0, abs=1.0)


def test_without_a_shaft_nothing_is_believed() -> None:
    scene = texture()
    grain = np.random.default_rng(4).normal(0, 2.5, scene.shape)
    noisy = np.clip(scene + grain, 0, 255).astype(np.uint8)
    assert all(line.score < S.short_score for line in evidence(noisy, scene).lines)


def test_what_always_lies_there_is_no_shaft() -> None:
    """A stick on the ground is background; so is it when the camera gain drifts by 2 levels."""
    scene = draw_shaft(texture(), GRIP, 45.0, 140.0)
    assert all(line.score < S.short_score for line in evidence(np.minimum(scene, 253) + 2, scene).lines)


def test_evidence_ends_at_the_edge_of_the_picture() -> None:
    scene = texture()
    lines = evidence(draw_shaft(scene, GRIP, 0.0, 400.0), scene).lines
    assert lines[0].stop_px == pytest.approx(WIDTH - 180.0 - S.rim * 100.0, abs=4.0)


def test_the_background_is_what_stays_when_the_player_is_left_out() -> None:
    """A bright block stands at one place in most frames and is masked there."""
    scene = texture(5)
    times = np.arange(20) / 30.0

    def picture(index: int) -> AnyArray:
        out = scene.copy()
        left = 100 if index < 13 else 200
        out[100:200, left : left + 50] = 255
        return out

    def person(time_s: float, shape: tuple[int, int]) -> AnyArray:
        mask = np.zeros(shape, np.uint8)
        left = 100 if round(time_s * 30) < 13 else 200
        mask[95:205, left - 5 : left + 55] = 255
        return mask

    found = learn(Pictures(times, picture, (WIDTH, HEIGHT)), times, HEIGHT, person, None, S)
    assert found is not None
    assert np.array_equal(found.picture[100:200, 110:140], scene[100:200, 110:140])
    assert found.known.all()
    always = learn(
        Pictures(times, lambda _: picture(0), (WIDTH, HEIGHT)), times, HEIGHT, lambda _, n: person(0.0, n), None, S
    )
    assert always is not None
    assert not always.known[150, 125]
    assert always.known[20, 20]


def test_too_few_pictures_make_no_background() -> None:
    times = np.arange(2) / 30.0
    none = Pictures(times, lambda _: texture(), (WIDTH, HEIGHT))
    assert learn(none, times, HEIGHT, lambda _, shape: np.zeros(shape, np.uint8), None, S) is None


def test_background_frames_are_spread_along_the_way_of_the_hands() -> None:
    path = np.concatenate([np.zeros((200, 2)), np.linspace([0, 0], [400, 0], 40), np.tile([400.0, 0.0], (160, 1))])
    rows = spaced_by_path(path, 20)
    assert len(rows) <= 20
    assert np.sum((rows >= 200) & (rows < 240)) >= 14
    assert spaced_by_path(path[:5], 20).tolist() == [0, 1, 2, 3, 4]


def ray_scores(angles: FloatArray, height: float = 0.9) -> FloatArray:
    """(T, 180): a peak of three directions in each frame."""
    out = np.zeros((len(angles), 180))
    for t, angle in enumerate(angles):
        if np.isfinite(angle):
            b = round(angle / 2) % 180
            out[t, [b - 1, b, (b + 1) % 180]] = 0.7 * height, height, 0.7 * height
    return out


def follow(scores: FloatArray, rate: float = 60.0, hand: float = 0.05) -> tuple[FloatArray, FloatArray, FloatArray]:
    n = len(scores)
    path = find_path(scores, np.full(n, 1 / rate), np.full(n, hand), S)
    return np.asarray(path.bins * 2.0), np.asarray(path.seen), path.margin


def test_the_path_goes_through_the_peaks() -> None:
    angles = 90.0 + 0.02 * np.arange(60) ** 2
    found, seen, margin = follow(ray_scores(angles))
    assert np.max(np.abs(found - angles)) <= 1.0
    assert seen.all()
    assert margin.min() > 0.1


def test_a_stronger_line_elsewhere_in_one_frame_is_passed_by() -> None:
    """A shaft cannot be there: going and coming back would need 100° in a frame."""
    angles = np.full(30, 90.0)
    scores = ray_scores(angles)
    scores[15, 95] = 1.3
    found, _, _ = follow(scores)
    assert np.all(found == 90.0)


def test_a_flip_through_the_line_of_sight_is_hidden_not_wrong() -> None:
    angles = np.concatenate([np.full(15, 50.0), np.full(5, np.nan), np.full(15, 230.0)])
    found, seen, margin = follow(ray_scores(angles), rate=30.0)
    assert np.all(found[:15] == 50.0)
    assert np.all(found[20:] == 230.0)
    assert not seen[15:20].any()
    assert margin[:15].min() > 0.1
    assert margin[15:20].max() < 0.1


def test_a_shaft_does_not_hop() -> None:
    """It turns by 10° a frame; every other frame holds a slightly stronger line 8° further on."""
    angles = 60.0 + 10.0 * np.arange(25)
    scores = ray_scores(angles)
    for t in range(1, 25, 2):
        scores[t, round((angles[t] + 8) / 2) % 180] = 0.93
    found, _, _ = follow(scores, hand=0.15)
    assert np.max(np.abs((found - angles + 180) % 360 - 180)) <= 2.0


def test_resting_hands_hold_a_resting_shaft() -> None:
    """Something stronger sweeps by at 20° a frame while the hands do not move."""
    scores = ray_scores(np.full(16, 90.0))
    sweeping = 100.0 + 20.0 * np.arange(16)
    scores = np.maximum(scores, ray_scores(sweeping, 0.95))
    still, _, _ = follow(scores, hand=0.0)
    moving, _, _ = follow(scores, hand=0.25)
    assert np.all(still == 90.0)
    assert np.max(np.abs((moving - sweeping + 180) % 360 - 180)) <= 2.0


def test_a_forbidden_direction_is_never_taken() -> None:
    scores = ray_scores(np.full(20, 90.0))
    scores[10] = -np.inf
    scores[10, 55:58] = 1.0
    found, _, _ = follow(scores, rate=30.0)
    assert 110.0 <= found[10] <= 114.0


def test_two_lines_alike_are_not_believed() -> None:
    scores = ray_scores(np.full(20, 90.0))
    scores[:, 94:97] = [0.6, 0.9, 0.6]  # 100° away
    assert follow(scores)[2].max() < 0.1


def test_an_empty_score_is_refused() -> None:
    with pytest.raises(DataError, match="do not fit"):
        find_path(np.zeros((0, 180)), np.zeros(0), np.zeros(0), S)
    with pytest.raises(DataError, match="do not fit"):
        find_path(np.zeros((4, 180)), np.zeros(3), np.zeros(4), S)


def test_a_gap_is_bridged_by_the_vector() -> None:
    """Two seen ends, 50° and 230°, equally long: half-way the shaft points at the camera, before and after it keeps
    its side. By algebra the vector runs straight through nothing."""
    times = np.arange(5) / 60.0
    angle = np.array([50.0, 0.0, 0.0, 0.0, 230.0])
    length = np.array([80.0, np.nan, np.nan, np.nan, 80.0])
    known = np.array([True, False, False, False, True])
    made = bridge(times, angle, length, known, 100.0)
    assert made.length == pytest.approx([80, 40, 0, 40, 80], abs=18)  # a cubic with level ends
    assert wrapped(made.angle[1] - 50.0) == pytest.approx(0.0, abs=1e-6)
    assert wrapped(made.angle[3] - 230.0) == pytest.approx(0.0, abs=1e-6)
    assert made.sd[2] > 60.0 > made.sd[1]
    assert made.gap_s[1:4] == pytest.approx(4 / 60)


def test_a_long_gap_is_less_sure() -> None:
    times = np.arange(41) / 60.0
    known = np.zeros(41, bool)
    known[[0, 2, 40]] = True
    made = bridge(times, np.full(41, 90.0), np.full(41, 100.0), known, 100.0)
    assert made.sd[21] > 5 * made.sd[1]
    assert made.angle == pytest.approx(np.full(41, 90.0))
    alone = np.arange(41) == 10
    after = bridge(times, np.full(41, 90.0), np.full(41, 100.0), alone, 100.0)
    assert after.gap_s[16] == pytest.approx(2 * 6 / 60)


def test_a_resting_shaft_is_averaged_and_a_drift_is_not_shifted() -> None:
    rng = np.random.default_rng(1)
    times = np.arange(60) / 60.0
    truth = 44.0 + 0.6 * times
    noisy = truth + rng.normal(0, 0.1, 60)
    out, count = settle_still(times, noisy[:, None], noisy, np.ones(60, bool), S)
    inner = slice(8, 52)
    assert np.std(out[inner, 0] - truth[inner]) < 0.6 * np.std(noisy[inner] - truth[inner])
    assert abs(np.mean(out[inner, 0] - truth[inner])) < 0.03
    assert count[30] >= 9
    fast = 44.0 + 200.0 * times
    _, alone = settle_still(times, fast[:, None], fast, np.ones(60, bool), S)
    assert np.all(alone == 1)


def test_the_hands_are_the_knuckles_that_are_seen() -> None:
    times = np.arange(6) / 30.0
    swing = swing_of(np.tile([100.0, 200.0], (6, 1)), times)
    points, seen = swing.pose.points.copy(), swing.pose.visibility.copy()
    points[:, [INDEX["left_index"], INDEX["left_pinky"]]] = [160.0, 200.0]
    seen[:, [INDEX["left_index"], INDEX["left_pinky"]]] = 0.0
    points[2:4, [INDEX[f"{side}_{j}"] for side in ("left", "right") for j in ("index", "pinky", "wrist")]] = np.nan
    pose = type(swing.pose)(points, swing.pose.depth, seen, times, swing.pose.image_size, "synthetic")
    path = hand_path(pose)
    assert path == pytest.approx(np.tile([100.0, 200.0], (6, 1)), abs=0.2)
    assert hands_seen(pose)[0] == pytest.approx(0.95)
    assert hands_seen(pose)[2] == 0.0


def test_the_small_picture_has_a_torso_of_a_hundred() -> None:
    swing = swing_of(np.tile(GRIP, (3, 1)), np.arange(3) / 30.0, (1080, 1920))
    assert small_side(swing, S) == S.most_side_px
    assert small_side(replace(swing, torso_px=400.0), S) == 480
