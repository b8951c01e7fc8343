"""Movement in small pictures: what moves the whole picture is taken off, what is sudden is told from what is not."""

from __future__ import annotations

import math
from collections.abc import Iterator

import cv2
import numpy as np
import pytest

from overlay.activity import motion
from overlay.arrays import AnyArray
from overlay.settings.activity import ActivitySettings
from overlay.video import Glance

STEP_S = 1 / 30
HEIGHT, WIDTH = 192, 108
SETTINGS = ActivitySettings()


@pytest.fixture(scope="module")
def ground() -> AnyArray:
    """A textured place, larger than the picture, soft as a small picture is."""
    rough = np.random.default_rng(3).uniform(60, 190, (HEIGHT + 40, WIDTH + 40)).astype(np.float32)
    return np.asarray(cv2.GaussianBlur(rough, (0, 0), 2.0) * 3.0 - 250.0, np.float32)


def seen(ground: AnyArray, x: float = 0.0, y: float = 0.0, turn_deg: float = 0.0) -> AnyArray:
    """The picture of a camera that has moved by (x, y) px and turned."""
    matrix = cv2.getRotationMatrix2D((WIDTH / 2 + 20, HEIGHT / 2 + 20), turn_deg, 1.0)
    matrix[:, 2] -= (20 + x, 20 + y)
    return np.clip(cv2.warpAffine(ground, matrix, (WIDTH, HEIGHT), flags=cv2.INTER_CUBIC), 0, 255)


def measured(pictures: list[AnyArray], times: list[float] | None = None) -> motion.Activity:
    times = times or [STEP_S * i for i in range(len(pictures))]
    return motion.measure((Glance(t, p.astype(np.uint8)) for t, p in zip(times, pictures)), STEP_S, SETTINGS)


def with_bar(picture: AnyArray, x: float, width: int = 6, length: int = 60, level: float = 255.0) -> AnyArray:
    out = picture.copy()
    cv2.rectangle(out, (round(x), 60), (round(x) + width - 1, 60 + length - 1), level, -1)
    return out


def test_a_small_movement_of_the_whole_picture_and_of_its_light_leaves_next_to_nothing(ground: AnyArray) -> None:
    now = motion._Picture(seen(ground).astype(np.uint8))
    # Gain 1.06, offset 4, a shift of half a pixel and a roll of 0.2° together.
    other = motion._Picture(np.clip(1.06 * seen(ground, 0.5, -0.4, 0.2) + 4.0, 0, 255).astype(np.uint8))
    left = np.abs(motion.without_common(now, other))[4:-4, 4:-4]
    raw = np.abs(other.grey - now.grey)[4:-4, 4:-4]
    assert np.median(raw) > 8.0
    assert np.median(left) < 0.15 * np.median(raw)
    assert np.percentile(left, 99) < SETTINGS.level


def test_what_moves_on_its_own_does_not_draw_the_rest_after_it(ground: AnyArray) -> None:
    picture = seen(ground)
    now = motion._Picture(with_bar(picture, 30, width=20).astype(np.uint8))
    other = motion._Picture(with_bar(picture, 55, width=20).astype(np.uint8))
    left = np.abs(motion.without_common(now, other))
    assert np.median(left[:50]) < 1.0
    assert np.median(left[70:110, 33:47]) > 40.0


def test_a_bar_that_passes_is_swept_and_one_that_creeps_is_not(ground: AnyArray) -> None:
    picture = seen(ground)
    passing = measured([with_bar(picture, 15 + 12 * i) for i in range(7)])
    creeping = measured([with_bar(picture, 15 + i) for i in range(30)])
    # The bar's own area, less the rim that the demand for neighbours and the softness take away.
    area = 6 * 60 / (HEIGHT * WIDTH)
    assert 0.6 * area < np.median(passing.swept) < 1.6 * area
    assert np.max(creeping.swept) < 0.12 * area
    # That it moves at all is seen of both.
    assert np.nanmax(passing.moved) > area
    assert np.nanmax(creeping.moved) > 0.5 * area


def test_the_picture_before_and_after_must_differ_in_the_same_sense(ground: AnyArray) -> None:
    # Light that comes on in one place for good: there before and after are told apart, nothing is swept.
    picture = seen(ground)
    pictures = [picture, picture, picture, *[with_bar(picture, 40)] * 3]
    assert np.max(measured(pictures).swept) == 0.0
    # For one moment only it counts.
    assert np.max(measured([picture, picture, with_bar(picture, 40), picture, picture]).swept) > 0.01


def test_a_trembling_hand_and_flickering_light_move_nothing(ground: AnyArray) -> None:
    rng = np.random.default_rng(5)
    shaken = [
        (1.0 + 0.06 * math.sin(1.9 * i)) * seen(ground, *(float(v) for v in rng.normal(0, (0.35, 0.35, 0.1))))
        for i in range(24)
    ]
    activity = measured([np.clip(picture, 0, 255) for picture in shaken])
    assert np.nanmax(activity.swept) < SETTINGS.least
    assert np.nanmedian(activity.moved) < 0.004


def test_grains_of_noise_are_nothing(ground: AnyArray) -> None:
    rng = np.random.default_rng(6)
    noisy = [np.clip(seen(ground) + rng.normal(0, 6.0, (HEIGHT, WIDTH)), 0, 255) for _ in range(8)]
    assert np.nanmax(measured(noisy).swept) < 0.0005


def test_over_a_gap_no_speed_is_told(ground: AnyArray) -> None:
    picture = seen(ground)
    times = [0.0, STEP_S, 2 * STEP_S, 0.5, 0.5 + STEP_S, 0.5 + 2 * STEP_S]
    activity = measured([with_bar(picture, 15 + 12 * i) for i in range(6)], times)
    assert activity.time_s.tolist() == times[1:-1]
    assert np.isnan(activity.swept).tolist() == [False, True, True, False]


def test_few_pictures_are_held_at_once(ground: AnyArray) -> None:
    alive = 0
    most = 0

    class Counted(np.ndarray):
        def __del__(self) -> None:
            nonlocal alive
            alive -= 1

    def stream() -> Iterator[Glance]:
        nonlocal alive, most
        for i in range(60):
            alive += 1
            most = max(most, alive)
            yield Glance(i * STEP_S, seen(ground).astype(np.uint8).view(Counted))

    assert len(motion.measure(stream(), STEP_S, SETTINGS)) == 58
    assert most <= SETTINGS.moved_steps + 4
