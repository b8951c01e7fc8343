"""Kept cut-outs: the person and nothing of the place, no larger and no more than asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from overlay.errors import DataError, InputError
from overlay.models import keep_pictures, kept_picture, kept_size, kept_times
from overlay.settings.models import KeptPictureSettings

SETTINGS = KeptPictureSettings()


def scene(seed: int = 0, size: tuple[int, int] = (200, 300)) -> tuple[np.ndarray, np.ndarray]:  # type: ignore[type-arg]
    """A grey person with soft edges on a loud, noisy ground."""
    import cv2

    rng = np.random.default_rng(seed)
    width, height = size
    picture = rng.integers(0, 256, (height, width, 3), dtype=np.uint8)
    alpha = np.zeros((height, width), np.uint8)
    cv2.ellipse(alpha, (width // 2, height // 2), (width // 6, height // 3), 0, 0, 360, 255, -1)
    alpha = cv2.GaussianBlur(alpha, (9, 9), 0)
    picture[alpha > 0] = (120, 130, 140)
    return picture, alpha


def test_the_place_is_black_and_the_person_is_there() -> None:
    picture, alpha = scene()
    kept = keep_pictures([(1.0, picture, alpha)])
    colour, soft = kept_picture(kept, 0)
    np.testing.assert_array_equal(soft, np.where(alpha < SETTINGS.least_alpha, 0, alpha))
    inside = soft > 250
    assert np.percentile(np.abs(colour[inside].astype(int) - (120, 130, 140)), 99) < 10
    import cv2

    # Beyond the rim only the traces of JPEG's blocks of 8 (16 for colour), and beyond those nothing at all.
    far = cv2.dilate((soft > 0).astype(np.uint8), np.ones((45, 45))) == 0
    assert far.mean() > 0.2
    assert colour[far].max() <= 3


def test_what_stands_beside_the_person_does_not_come_along() -> None:
    picture, alpha = scene()
    picture[:20] = 255
    kept = keep_pictures([(0.0, picture, alpha)])
    assert kept_picture(kept, 0)[0][:20].max() <= 3


def test_times_order_and_sizes() -> None:
    shots = [(0.1 * i, *scene(i)) for i in range(4)]
    kept = keep_pictures(shots)
    np.testing.assert_allclose(kept.times_s, [0.0, 0.1, 0.2, 0.3])
    assert kept.size == (200, 300)
    with pytest.raises(DataError, match="does not fit"):
        keep_pictures([*shots, (0.9, *scene(0, (100, 300)))])
    with pytest.raises(DataError, match="does not fit"):
        keep_pictures([(0.0, shots[0][1].astype(float), shots[0][2])])  # type: ignore[list-item]
    with pytest.raises(DataError, match="strictly increasing"):
        keep_pictures([shots[1], shots[0]])
    with pytest.raises(DataError, match="no picture"):
        keep_pictures([])
    with pytest.raises(DataError, match="larger than models keep"):
        keep_pictures([(0.0, *scene(0, (1000, 1200)))])


def test_the_size_is_that_of_a_pane() -> None:
    assert kept_size((1080, 1920)) == (304, 540)
    assert kept_size((1920, 1080)) == (960, 540)
    assert kept_size((3840, 1080)) == (960, 270)
    assert kept_size((354, 492)) == (354, 492)


def test_how_many_are_kept() -> None:
    frames = np.arange(481) / 120.0  # 4 s at 120 a second
    positions = [0.5, 1.2041, 2.0]
    assert len(kept_times(frames, positions, "none")) == 0
    np.testing.assert_allclose(kept_times(frames, positions, "positions"), [0.5, frames[144], 2.0])
    ghost = kept_times(frames, positions, "ghost")
    assert np.all(np.isin(kept_times(frames, positions, "positions"), ghost))
    # 60 a second of 4 s, both ends, and at most the positions between.
    assert 241 <= len(ghost) <= 241 + len(positions)
    assert np.all(np.diff(ghost) > 0)


def test_a_ghost_takes_every_frame_of_a_slower_clip_and_counts_real_seconds() -> None:
    frames = np.arange(120) / 30.0
    assert len(kept_times(frames, [], "ghost")) == 120
    slow = np.arange(960) / 30.0  # 4 s filmed at 240, played at 30
    assert len(kept_times(slow, [], "ghost", slow_factor=8.0)) == pytest.approx(240, abs=1)


def test_a_very_long_swing_is_thinned() -> None:
    frames = np.arange(60 * 60) / 60.0
    assert SETTINGS.max_moments * 0.9 <= len(kept_times(frames, [1.0, 2.0], "ghost")) <= SETTINGS.max_moments


def test_damaged_pictures_are_refused() -> None:
    kept = keep_pictures([(0.0, *scene())])
    with pytest.raises(InputError, match=r"at 0\.000 s is no JPEG"):
        kept_picture(replace(kept, colours=(b"x",)), 0)
    with pytest.raises(InputError, match="is no PNG"):
        kept_picture(replace(kept, alphas=(kept.colours[0],)), 0)
    with pytest.raises(InputError, match=r"200×300 px, not 201×300"):
        kept_picture(replace(kept, size=(201, 300)), 0)
    png = bytearray(kept.alphas[0])
    png[60:80] = bytes(20)
    with pytest.raises(InputError, match=r"decoded|more than a picture|cut off"):
        kept_picture(replace(kept, alphas=(bytes(png),)), 0)
    with pytest.raises(IndexError, match="no number 1"):
        kept_picture(kept, 1)
