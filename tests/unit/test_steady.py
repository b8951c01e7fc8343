"""The movement of the picture: known shifts and turns are found again, a still picture is still exactly."""

from __future__ import annotations

import numpy as np
import pytest
from club_factory import HEIGHT, WIDTH, Pictures, swing_of, texture

from overlay.arrays import FloatArray, Image
from overlay.data import CameraMotion
from overlay.errors import DataError
from overlay.steady import PersonArea, camera_motion, fit_similarity, row_of, stands_still

TIMES = np.arange(12) / 30.0
HANDS = np.tile([150.0, 250.0], (12, 1))


def turned(deg: float, scale: float, shift: tuple[float, float]) -> FloatArray:
    """(2, 3), about the middle of the picture."""
    c, s = scale * np.cos(np.radians(deg)), scale * np.sin(np.radians(deg))
    middle = np.array([WIDTH / 2, HEIGHT / 2])
    linear = np.array([[c, -s], [s, c]])
    return np.column_stack([linear, middle - linear @ middle + shift])


def filmed(matrices: FloatArray, scene: Image | None = None, noise: float = 1.5) -> Pictures:
    """Pictures of a still scene, each moved by its matrix (T, 2, 3), with noise of its own."""
    import cv2

    still = texture() if scene is None else scene

    def picture(index: int) -> Image:
        moved = cv2.warpAffine(still, matrices[index], (WIDTH, HEIGHT), borderMode=cv2.BORDER_REFLECT)
        grain = np.random.default_rng(index).normal(0, noise, moved.shape)
        return np.asarray(np.clip(moved + grain, 0, 255), np.uint8)

    return Pictures(TIMES, picture, (WIDTH, HEIGHT))


def test_a_similarity_is_found_from_its_own_points() -> None:
    """By algebra: points turned by 30°, doubled and moved give back exactly that."""
    source = np.array([[0.0, 0.0], [10.0, 0.0], [0.0, 7.0], [3.0, -4.0]])
    truth = np.array([[2 * np.cos(np.pi / 6), -2 * 0.5, 5.0], [2 * 0.5, 2 * np.cos(np.pi / 6), -3.0]])
    assert fit_similarity(source, source @ truth[:, :2].T + truth[:, 2]) == pytest.approx(truth)


@pytest.mark.parametrize("points", [np.zeros((1, 2)), np.ones((4, 2))])
def test_too_few_points_are_refused(points: FloatArray) -> None:
    with pytest.raises(DataError, match="two or more pairs"):
        fit_similarity(points, points)


def test_a_moving_picture_is_brought_back() -> None:
    moves = np.stack([turned(0.15 * k, 1 + 0.001 * k, (0.8 * k, -0.5 * k)) for k in range(12)])
    motion = camera_motion(filmed(moves), swing_of(HANDS, TIMES), None)
    points = np.array([[20.0, 60.0], [300.0, 80.0], [180.0, 440.0]])
    for k in range(12):
        here = points @ moves[k, :, :2].T + moves[k, :, 2]
        assert motion.to_reference(here, float(TIMES[k])) == pytest.approx(points, abs=0.25)
        assert motion.from_reference(points, float(TIMES[k])) == pytest.approx(here, abs=0.25)


def test_the_reference_is_the_address_unless_another_time_is_asked_for() -> None:
    moves = np.stack([turned(0.0, 1.0, (1.0 * k, 0.0)) for k in range(12)])
    motion = camera_motion(filmed(moves), swing_of(HANDS, TIMES), None, reference_s=float(TIMES[4]))
    assert motion.to_reference(np.array([100.0, 100.0]), float(TIMES[4])) == pytest.approx([100, 100], abs=0.1)
    assert motion.to_reference(np.array([100.0, 100.0]), float(TIMES[10])) == pytest.approx([94, 100], abs=0.2)
    with pytest.raises(DataError, match="reference at nan"):
        camera_motion(filmed(moves), swing_of(HANDS, TIMES), None, reference_s=float("nan"))


def test_a_tripod_gives_exactly_the_identity() -> None:
    still = np.tile(np.eye(2, 3), (12, 1, 1))
    motion = camera_motion(filmed(still, noise=4.0), swing_of(HANDS, TIMES), None)
    assert np.array_equal(motion.matrices, still)


def test_a_long_pan_goes_on_past_the_first_picture() -> None:
    """So far that no corner of the reference is still in view."""
    wide = texture(3, width=3 * WIDTH)

    def picture(index: int) -> Image:
        return np.ascontiguousarray(wide[:, 32 * index : 32 * index + WIDTH])

    motion = camera_motion(Pictures(TIMES, picture, (WIDTH, HEIGHT)), swing_of(HANDS, TIMES), None)
    assert motion.matrices[11, :, 2] == pytest.approx([32 * 11, 0], abs=1.5)
    assert motion.matrices[11, :, :2] == pytest.approx(np.eye(2), abs=0.01)


def test_a_sudden_jump_is_followed() -> None:
    """Somebody kicks the tripod: 45 px from one frame to the next, more than a fine lawn lets corners be followed."""
    moves = np.stack([turned(0.0, 1.0, (45.0, 30.0) if k >= 6 else (0.0, 0.0)) for k in range(12)])
    motion = camera_motion(filmed(moves), swing_of(HANDS, TIMES), None)
    assert motion.matrices[5, :, 2] == pytest.approx([0, 0], abs=0.1)
    assert motion.matrices[11, :, 2] == pytest.approx([-45, -30], abs=0.2)


def test_what_moves_in_a_part_of_the_picture_does_not_count() -> None:
    """A flag of 60 × 200 px blows about; everything else stands still."""
    scene, flag = texture(1), texture(9, 60, 200)

    def picture(index: int) -> Image:
        out = scene.copy()
        out[40:240, 250 + 4 * (index % 5) : 310 + 4 * (index % 5)] = flag
        return out

    motion = camera_motion(Pictures(TIMES, picture, (WIDTH, HEIGHT)), swing_of(HANDS, TIMES), None)
    assert np.array_equal(motion.matrices, np.tile(np.eye(2, 3), (12, 1, 1)))


def test_a_bare_wall_tells_nothing() -> None:
    grey = np.full((HEIGHT, WIDTH, 3), 128, np.uint8)
    motion = camera_motion(Pictures(TIMES, lambda _: grey, (WIDTH, HEIGHT)), swing_of(HANDS, TIMES), None)
    assert np.all(np.isnan(motion.matrices))
    assert motion.at(0.1) == pytest.approx(np.eye(2, 3))


def test_an_undecodable_frame_is_not_told() -> None:
    moves = np.stack([turned(0.0, 1.0, (2.0 * k, 0.0)) for k in range(12)])
    whole = filmed(moves)

    def picture(index: int) -> Image | None:
        return None if index == 5 else whole._picture(index)

    motion = camera_motion(Pictures(TIMES, picture, (WIDTH, HEIGHT)), swing_of(HANDS, TIMES), None)
    assert np.all(np.isnan(motion.matrices[5]))
    assert np.all(np.isfinite(motion.matrices[[4, 6]]))


def test_standing_still_is_a_matter_of_the_largest_lasting_movement() -> None:
    rng = np.random.default_rng(0)
    matrices = np.tile(np.eye(3), (60, 1, 1))
    matrices[:, :2, 2] += rng.normal(0, 0.05, (60, 2))
    assert stands_still(matrices, (WIDTH, HEIGHT))
    matrices[30, 0, 2] += 5.0  # one frame wrong
    assert stands_still(matrices, (WIDTH, HEIGHT))
    matrices[40:46, 0, 2] += 1.0  # knocked against for a while
    assert not stands_still(matrices, (WIDTH, HEIGHT))
    matrices[:] = np.nan
    assert not stands_still(matrices, (WIDTH, HEIGHT))


def test_rows_are_found_by_time() -> None:
    assert [row_of(TIMES, float(t)) for t in (0.0, TIMES[3] + 1e-6, TIMES[3] + 0.01, 9.0)] == [0, 3, None, None]


def test_the_person_is_where_the_joints_are() -> None:
    area = PersonArea(swing_of(HANDS, TIMES), None, 0.12).at(0.0, (HEIGHT, WIDTH))
    assert area[220, 60]
    assert area[170, 66]
    assert not area[250, 300]
    assert not area[20, 20]


def test_motion_holds_the_swings_rows() -> None:
    motion = camera_motion(filmed(np.tile(np.eye(2, 3), (12, 1, 1))), swing_of(HANDS, TIMES), None)
    assert isinstance(motion, CameraMotion)
    assert motion.time_s == pytest.approx(TIMES)
