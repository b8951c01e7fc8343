"""Figure layers draw where they should and nowhere else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from overlay.arrays import FloatArray
from overlay.draw import STUDENT, Club, ClubLine, HandPath, Moment, Silhouette, Skeleton, Stack
from overlay.draw.figure import dashes, figure_mask, head_circle, torso_px, unit_px
from overlay.draw.palette import INK
from overlay.errors import DataError
from overlay.landmarks import EDGES, INDEX, N_LANDMARKS


def standing(scale: float = 1.0, shift: tuple[float, float] = (0.0, 0.0)) -> FloatArray:
    """A person seen from the front; every joint known that the skeleton uses."""
    points = np.full((N_LANDMARKS, 2), np.nan)
    half = {
        "ear": (12, 60), "shoulder": (40, 110), "elbow": (60, 160), "wrist": (55, 210), "hip": (25, 210),
        "knee": (28, 290), "ankle": (30, 370), "heel": (28, 380), "foot_index": (45, 385),
    }  # fmt: skip
    for joint, (x, y) in half.items():
        points[INDEX[f"left_{joint}"]] = (200 + x, y)
        points[INDEX[f"right_{joint}"]] = (200 - x, y)
    points[INDEX["nose"]] = (200, 66)
    return points * scale + shift


def moment_of(points: FloatArray, **changes: object) -> Moment:
    return replace(Moment(points, np.zeros(N_LANDMARKS, bool), "right"), **changes)  # type: ignore[arg-type]


def blank(height: int = 400, width: int = 400) -> np.ndarray:
    return np.full((height, width, 3), 128, np.uint8)


def touched(image: np.ndarray) -> np.ndarray:
    return np.any(image != 128, axis=-1)


def near_bones(points: FloatArray, shape: tuple[int, int], reach: float) -> np.ndarray:
    ys, xs = np.mgrid[: shape[0], : shape[1]]
    grid = np.stack([xs, ys], axis=-1).astype(float)
    near = np.zeros(shape, bool)
    for a, b in EDGES:
        start, end = points[INDEX[a]], points[INDEX[b]]
        along = np.clip(((grid - start) @ (end - start)) / np.sum((end - start) ** 2), 0, 1)
        near |= np.linalg.norm(grid - (start + along[..., None] * (end - start)), axis=-1) <= reach
    centre, radius = head_circle(points, torso_px(points))  # type: ignore[misc]
    near |= np.abs(np.linalg.norm(grid - centre, axis=-1) - radius) <= reach
    return near


def test_a_skeleton_covers_its_bones_and_only_them() -> None:
    image, points = blank(), standing()
    Skeleton().draw(image, moment_of(points))
    drawn = touched(image)
    for a, b in EDGES:
        for share in (0.1, 0.5, 0.9):
            x, y = np.rint(points[INDEX[a]] + share * (points[INDEX[b]] - points[INDEX[a]])).astype(int)
            assert drawn[y, x], (a, b, share)
    assert not np.any(drawn & ~near_bones(points, drawn.shape, 2.2 * unit_px(image)))


def test_lead_and_trail_sides_differ_in_colour_and_follow_the_hand() -> None:
    points = standing()
    x, y = np.rint((points[INDEX["left_hip"]] + points[INDEX["left_knee"]]) / 2).astype(int)
    right, left = blank(), blank()
    Skeleton().draw(right, moment_of(points))
    Skeleton().draw(left, moment_of(points, handedness="left"))
    assert tuple(right[y, x]) == STUDENT.strong
    assert tuple(left[y, x]) == STUDENT.light


def test_guessed_joints_are_hollow_and_their_bones_dashed() -> None:
    points = standing(2.0)
    guessed = np.zeros(N_LANDMARKS, bool)
    guessed[INDEX["left_knee"]] = True
    image = blank(800, 800)
    Skeleton().draw(image, moment_of(points, guessed=guessed))
    knee, hip, ankle = (np.rint(points[INDEX[f"left_{name}"]]).astype(int) for name in ("knee", "hip", "ankle"))
    assert tuple(image[knee[1], knee[0]]) == INK
    assert tuple(image[ankle[1], ankle[0]]) != INK
    along = [image[tuple(np.rint(hip + s * (knee - hip)).astype(int)[::-1])] for s in np.linspace(0.1, 0.9, 200)]
    gaps = [tuple(pixel) == (128, 128, 128) for pixel in along]
    assert 0.1 < np.mean(gaps) < 0.6
    other = [np.rint(points[INDEX[f"right_{name}"]]).astype(int) for name in ("knee", "hip")]
    whole = [
        image[tuple(np.rint(other[1] + s * (other[0] - other[1])).astype(int)[::-1])] for s in np.linspace(0, 1, 99)
    ]
    assert not any(tuple(pixel) == (128, 128, 128) for pixel in whole)


def test_missing_joints_draw_nothing() -> None:
    image = blank()
    everything = moment_of(np.full((N_LANDMARKS, 2), np.nan), path=np.full((5, 2), np.nan), path_age_s=np.zeros(5))
    Stack((Silhouette(), HandPath(), Club(), Skeleton())).draw(image, everything)
    assert not touched(image).any()


def test_joints_far_outside_do_not_overflow() -> None:
    image, points = blank(), standing()
    points[INDEX["left_wrist"]] = (1e7, -1e7)
    Skeleton().draw(image, moment_of(points))
    assert touched(image).any()


def test_line_width_follows_the_size_of_the_picture() -> None:
    shares = []
    for scale in (2.0, 3.0, 4.0):
        image = blank(round(400 * scale), round(400 * scale))
        Skeleton(head=False).draw(image, moment_of(standing(scale)))
        shares.append(touched(image).mean())
    # Widths are whole pixels, so a few per cent remain.
    assert max(shares) < 1.15 * min(shares)


def test_the_hand_path_fades_with_age_and_is_thin_where_guessed() -> None:
    x = np.linspace(50, 350, 61)
    path = np.column_stack([x, np.full(61, 200.0)])
    image = blank()
    HandPath().draw(image, moment_of(standing(), path=path, path_age_s=np.linspace(2.0, 0.0, 61)))
    old, new = image[200, 80].astype(int), image[200, 345].astype(int)
    strong = np.asarray(STUDENT.strong)
    assert np.abs(new - strong).sum() < 40 < np.abs(old - strong).sum()
    assert tuple(image[200, 80]) != (128, 128, 128)
    assert not touched(image)[:190].any()
    thin = blank()
    HandPath().draw(thin, moment_of(standing(), path=path, path_age_s=np.zeros(61), path_guessed=np.ones(61, bool)))
    thick = blank()
    HandPath().draw(thick, moment_of(standing(), path=path, path_age_s=np.zeros(61)))
    assert touched(thin)[:, 200].sum() < touched(thick)[:, 200].sum()


def test_a_gap_in_the_hand_path_stays_open() -> None:
    path = np.column_stack([np.linspace(50, 350, 61), np.full(61, 200.0)])
    path[25:36] = np.nan
    image = blank()
    HandPath().draw(image, moment_of(standing(), path=path, path_age_s=np.zeros(61)))
    assert touched(image)[200, 100]
    assert not touched(image)[200, 195:206].any()


@pytest.mark.parametrize(
    ("state", "share"), [("measured", (0.99, 1.0)), ("marked", (0.99, 1.0)), ("interpolated", (0.3, 0.9))]
)
def test_the_club_looks_as_it_is_known(state: str, share: tuple[float, float]) -> None:
    image = blank()
    Club().draw(image, moment_of(standing(), club=ClubLine((50.0, 300.0), (350.0, 300.0), state)))  # type: ignore[arg-type]
    drawn = touched(image)
    assert share[0] <= drawn[300, 55:345].mean() <= share[1]
    # Only a marked club carries dots, one at each end.
    for end in (50, 350):
        assert (drawn[:, end].sum() > drawn[:, 100:300].sum(axis=0).max() + 4) == (state == "marked")


def test_a_hidden_club_is_not_drawn() -> None:
    image = blank()
    Club().draw(image, moment_of(standing(), club=ClubLine((50.0, 300.0), (350.0, 300.0), "hidden")))
    assert not touched(image).any()


def test_dashes_begin_and_end_on_the_line() -> None:
    pieces = dashes(np.array([0.0, 0.0]), np.array([100.0, 0.0]), 10.0, 12.0)
    assert pieces[0][0] == pytest.approx([0.0, 0.0])
    assert pieces[-1][1] == pytest.approx([100.0, 0.0])
    # (100 + 12) / 22 = 5.09: 5 dashes of 10 and 4 gaps of 12 are 98 and are stretched to 100.
    lengths = [float(np.linalg.norm(end - start)) for start, end in pieces]
    assert lengths == pytest.approx([10 * 100 / 98] * 5)
    assert dashes(np.array([np.nan, 0.0]), np.array([1.0, 1.0]), 2.0, 2.0) == []
    assert len(dashes(np.zeros(2), np.zeros(2), 2.0, 2.0)) == 1


def test_the_filled_figure_holds_every_joint() -> None:
    points = standing()
    mask = figure_mask((400, 400), points)
    for name in ("left_knee", "right_elbow", "nose", "left_hip", "right_ankle"):
        x, y = np.rint(points[INDEX[name]]).astype(int)
        assert mask[y, x] == 255
    assert mask[:30].max() == 0
    # Lead and trail limbs together with the trunk are the whole figure.
    both = np.maximum(figure_mask((400, 400), points, "trail"), figure_mask((400, 400), points, "lead"))
    assert np.count_nonzero((both > 127) != (mask > 127)) < 0.002 * np.count_nonzero(mask)


def test_a_figure_of_the_wrong_shape_is_refused() -> None:
    with pytest.raises(DataError, match="A figure has"):
        Moment(np.zeros((13, 2)), np.zeros(13, bool), "right")
    with pytest.raises(DataError, match="hand path"):
        moment_of(standing(), path=np.zeros((3, 2)), path_age_s=np.zeros(2))


def test_the_head_keeps_its_size_when_the_player_bends() -> None:
    points = standing()
    bent = points.copy()
    for side in ("left", "right"):
        bent[INDEX[f"{side}_shoulder"], 1] += 40
    widths = []
    for figure, size in ((points, 100.0), (bent, 100.0), (bent, None)):
        image = blank()
        Skeleton().draw(image, moment_of(figure, size_px=size))
        columns = np.flatnonzero(touched(image)[60:64].any(axis=0))
        widths.append(int(columns.max() - columns.min()))
    assert widths[0] == widths[1] > widths[2]
