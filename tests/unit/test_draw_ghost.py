"""The ghost: cut out along edges, tinted, translucent, and the background of its own picture left behind."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from overlay.draw import REFERENCE, Ghost, person_alpha
from overlay.errors import DataError
from overlay.settings.compose import COMPOSE


def scene() -> tuple[np.ndarray, np.ndarray]:
    """A dark disc of radius 60 on a light ground, 200×240, and where it is."""
    ys, xs = np.mgrid[:240, :200]
    disc = (xs - 100) ** 2 + (ys - 120) ** 2 <= 60**2
    picture = np.full((240, 200, 3), 200, np.uint8)
    picture[disc] = (40, 60, 50)
    return picture, disc


def coarse_mask(disc: np.ndarray, factor: int = 8) -> np.ndarray:
    height, width = disc.shape[0] // factor, disc.shape[1] // factor
    blocks = disc[: height * factor, : width * factor].reshape(height, factor, width, factor)
    return (255 * blocks.mean(axis=(1, 3))).astype(np.uint8)


MATRIX = np.array([[8.0, 0.0, 0.0], [0.0, 8.0, 0.0]])


def test_a_coarse_mask_finds_the_edge_in_the_picture() -> None:
    # He & Sun 2015: where the picture has an edge, alpha takes it over. The mask is 3 px off, on purpose.
    ys, xs = np.mgrid[:720, :480]
    disc = (xs - 240) ** 2 + (ys - 360) ** 2 <= 150**2
    picture = np.full((720, 480, 3), 200, np.uint8)
    picture[disc] = (40, 60, 50)
    mask, matrix = coarse_mask(np.roll(disc, 3, axis=1), 4), np.array([[4.0, 0.0, 0.0], [0.0, 4.0, 0.0]])
    alpha = person_alpha(mask, picture, matrix)
    wrong = np.mean((alpha > 127) != disc)
    # A huge epsilon makes the filter a plain blur that knows nothing of the picture.
    blurred = np.mean((person_alpha(mask, picture, matrix, replace(COMPOSE, guide_eps=1e3)) > 127) != disc)
    assert blurred > 0.002
    assert wrong < 0.1 * blurred
    assert alpha[0, 0] == 0
    assert alpha[360, 240] == 255


def test_an_empty_mask_gives_nothing() -> None:
    picture, _ = scene()
    assert not person_alpha(np.zeros((30, 25), np.uint8), picture, MATRIX).any()
    with pytest.raises(DataError, match="person mask has shape"):
        person_alpha(np.zeros((30, 25, 3), np.uint8), picture, MATRIX)


def test_a_mask_moved_out_of_the_pane_gives_nothing() -> None:
    picture, disc = scene()
    far = MATRIX + np.array([[0, 0, 5000.0], [0, 0, 0]])
    assert not person_alpha(coarse_mask(disc), picture, far).any()


def test_the_ghost_is_bluish_translucent_and_only_where_the_figure_is() -> None:
    picture, disc = scene()
    under = np.full((240, 200, 3), 150, np.uint8)
    under[:, ::2] = 90
    image = under.copy()
    Ghost().draw(image, picture, (255 * disc).astype(np.uint8))
    centre = image[110:130, 90:110].astype(int)
    assert (centre[..., 2] - centre[..., 0]).min() > 20
    # What lies under it still shows: the stripes keep part of their contrast.
    assert 10 < abs(centre[0, 0].sum() - centre[0, 1].sum()) / 3 < 60
    outside = np.hypot(*(np.mgrid[:240, :200] - np.array([120, 100])[:, None, None])) > 64
    assert np.array_equal(image[outside], under[outside])


def test_a_drawn_ghost_has_the_reference_s_colour() -> None:
    _, disc = scene()
    image = np.full((240, 200, 3), 255, np.uint8)
    Ghost().draw_flat(image, (255 * disc).astype(np.uint8))
    pixel = image[120, 100].astype(int)
    strong = np.asarray(REFERENCE.strong)
    assert np.all(np.abs(pixel - strong) < np.abs(255 - strong) + 1)
    assert pixel[2] > pixel[0] + 60
    assert tuple(image[5, 5]) == (255, 255, 255)
    edge = image[120, 158:162].astype(int)
    assert np.abs(edge - strong).sum(axis=-1).min() < 60
