"""The drawn figure: all joints inside it, near parts over far ones, lead and trail told apart, a club in its hands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from overlay.arrays import FloatArray
from overlay.draw import REFERENCE, STUDENT, ClubLine, Ghost, HandBand, Mannequin, Moment, Silhouette
from overlay.landmarks import INDEX, N_LANDMARKS
from overlay.terms import Handedness

SHAPE = (600, 400)


def standing(depth: FloatArray | None = None, handedness: Handedness = "right") -> Moment:
    """Seen face on: arms across the chest to hands below it, the lead arm to the picture's right."""
    points = np.full((N_LANDMARKS, 2), np.nan)

    def put(name: str, x: float, y: float) -> None:
        points[INDEX[name]] = (x, y)

    for side, sign in (("left", 1.0), ("right", -1.0)):
        put(f"{side}_shoulder", 200 + 45 * sign, 180)
        put(f"{side}_elbow", 200 + 20 * sign, 230)
        put(f"{side}_wrist", 200 + 6 * sign, 275)
        for joint in ("index", "pinky", "thumb"):
            put(f"{side}_{joint}", 200 + 4 * sign, 292)
        put(f"{side}_hip", 200 + 25 * sign, 300)
        put(f"{side}_knee", 200 + 35 * sign, 400)
        put(f"{side}_ankle", 200 + 40 * sign, 490)
        put(f"{side}_heel", 200 + 40 * sign, 500)
        put(f"{side}_foot_index", 200 + 55 * sign, 508)
        put(f"{side}_ear", 200 + 12 * sign, 120)
        put(f"{side}_eye", 200 + 7 * sign, 117)
        put(f"mouth_{side}", 200 + 6 * sign, 138)
    put("nose", 200, 128)
    return Moment(points, np.zeros(N_LANDMARKS, bool), handedness, depth=depth, size_px=120.0)


def figure(moment: Moment) -> tuple[np.ndarray, np.ndarray]:
    """Colours on black and alpha, whole pictures."""
    drawing = Mannequin(REFERENCE).drawing(SHAPE, moment)
    assert drawing is not None
    image = np.zeros((*SHAPE, 3), np.uint8)
    return drawing.lay(image), drawing.mask(SHAPE)


def test_every_joint_lies_inside_and_the_ground_outside() -> None:
    moment = standing()
    _, alpha = figure(moment)
    for name, i in INDEX.items():
        if np.isfinite(moment.points[i, 0]):
            x, y = moment.points[i].astype(int)
            assert alpha[y, x] == 255, name
    assert alpha[400, 200] == 0  # Between the knees.
    assert alpha[40, 200] == 0
    assert 0.05 < np.mean(alpha > 0) < 0.25


def test_nothing_of_the_figure_is_cut_off_at_its_box() -> None:
    moment = standing()
    points = moment.points.copy()
    # The face turned to the picture's right: the peak of the cap reaches furthest.
    points[INDEX["nose"]] = (250.0, 118.0)
    points[
        [INDEX[name] for name in INDEX if "elbow" in name or "wrist" in name or "foot" in name or "heel" in name]
    ] = np.nan
    drawing = Mannequin(REFERENCE).drawing(SHAPE, replace(moment, points=points))
    assert drawing is not None
    for rim in (drawing.alpha[0], drawing.alpha[-1], drawing.alpha[:, 0], drawing.alpha[:, -1]):
        assert not rim.any()


@pytest.mark.parametrize("near", ["trail", "lead"])
def test_near_arms_are_drawn_over_the_chest_and_far_ones_under_it(near: str) -> None:
    depth = np.zeros(N_LANDMARKS)
    for side, sign in (("left", 1.0 if near == "trail" else -1.0), ("right", -1.0 if near == "trail" else 1.0)):
        for joint in ("shoulder", "elbow", "wrist"):
            depth[INDEX[f"{side}_{joint}"]] = 60.0 * sign
    image, _ = figure(standing(depth))
    # The middle of each bare forearm lies on the chest: it is pale where it is in front of the blue shirt.
    pale = {side: int(image[252, 200 + 13 * sign].min()) for side, sign in (("lead", 1), ("trail", -1))}
    other = "lead" if near == "trail" else "trail"
    assert pale[near] > pale[other] + 25


def test_the_lead_side_is_lighter_and_wears_the_glove() -> None:
    for handedness, lead in (("right", 1), ("left", -1)):
        depth = np.zeros(N_LANDMARKS)
        image, _ = figure(standing(depth, handedness))  # type: ignore[arg-type]
        thighs = [int(image[350, 200 + sign * 30 * lead].astype(int).sum()) for sign in (1, -1)]
        assert thighs[0] > thighs[1] + 60


def test_the_figure_holds_a_club_that_was_seen_and_no_other() -> None:
    club = ClubLine((200.0, 290.0), (330.0, 520.0), "measured")
    on = [figure(replace(standing(), club=replace(club, state=state)))[1] for state in ("measured", "interpolated")]  # type: ignore[arg-type]
    assert on[0][427, 277] > 0
    assert on[1][427, 277] == 0
    without = Mannequin(REFERENCE).drawing(SHAPE, replace(standing(), club=club), club=False)
    assert without is not None
    assert without.mask(SHAPE)[427, 277] == 0


def test_missing_joints_leave_out_their_parts() -> None:
    moment = standing()
    points = moment.points.copy()
    points[[INDEX["left_wrist"], INDEX["right_knee"], INDEX["nose"], INDEX["left_ear"]]] = np.nan
    _, alpha = figure(replace(moment, points=points))
    assert alpha[350, 230] == 255
    assert alpha[400, 165] == 0
    nothing = replace(moment, points=np.full((N_LANDMARKS, 2), np.nan))
    assert Mannequin(REFERENCE).drawing(SHAPE, nothing) is None
    assert Mannequin(REFERENCE).drawing(SHAPE, replace(nothing, size_px=None)) is None
    image = np.full((*SHAPE, 3), 9, np.uint8)
    assert np.array_equal(Silhouette(STUDENT).draw(image.copy(), nothing), image)


def test_far_outside_the_picture_nothing_is_drawn_and_nothing_breaks() -> None:
    moment = standing()
    assert Mannequin(REFERENCE).drawing(SHAPE, replace(moment, points=moment.points + 5000.0)) is None
    huge = replace(moment, points=moment.points * 1e7, size_px=1e9)
    image = np.zeros((*SHAPE, 3), np.uint8)
    Silhouette(STUDENT).draw(image, huge)


def test_a_drawn_ghost_lets_the_picture_through_and_has_an_edge() -> None:
    ground = np.full((*SHAPE, 3), 200, np.uint8)
    drawing = Mannequin(REFERENCE).drawing(SHAPE, standing())
    assert drawing is not None
    image = Ghost(opacity=0.5).draw_figure(ground.copy(), drawing)
    solid = drawing.lay(np.zeros_like(ground))
    # Half of each, to rounding, in the middle of the chest.
    assert np.allclose(image[215, 200], (200 + solid[215, 200].astype(int)) / 2, atol=2)
    assert np.array_equal(image[40], ground[40])
    edge = np.all(np.abs(image.astype(int) - np.array(REFERENCE.strong)) < 30, axis=-1)
    assert np.count_nonzero(edge) > 500


def test_the_band_is_as_wide_as_it_says_on_each_side() -> None:
    path = np.stack([np.full(20, 150.0), np.linspace(100, 300, 20)], axis=-1)
    moment = replace(standing(), path=path, path_age_s=np.zeros(20), path_band_px=np.full(20, 12.0))
    image = HandBand(REFERENCE).draw(np.zeros((*SHAPE, 3), np.uint8), moment)
    columns = np.flatnonzero(image[200].any(axis=-1))
    assert columns[0] == pytest.approx(138, abs=2)
    assert columns[-1] == pytest.approx(162, abs=2)
    assert image.max() < 90  # A veil.
    none = replace(moment, path_band_px=np.zeros(0))
    assert not HandBand(REFERENCE).draw(np.zeros((*SHAPE, 3), np.uint8), none).any()
