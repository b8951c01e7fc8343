"""The renderer: same bytes for same arguments, the drawn body where the joints are, blur, ball, errors."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from overlay.errors import DataError, InputError
from overlay.golfer import CameraSpec, GolferSpec, Motion, simulate
from overlay.golfer.looks import LOOKS, Look, find_look, linear
from overlay.golfer.render import (
    Bystander,
    Film,
    Studio,
    _Layers,
    exposure_postures,
    lead_side,
    render_clip,
    render_frame,
)
from overlay.golfer.render_body import shapes
from overlay.golfer.render_lens import lens_of

WIDTH, HEIGHT = 160, 284
QUIET = Film(noise=0.0)


@pytest.fixture(scope="module")
def motion() -> Motion:
    return simulate(GolferSpec())


@pytest.fixture(scope="module")
def left_motion() -> Motion:
    return simulate(GolferSpec(handedness="left"))


def camera_of(motion: Motion, view: str = "fo", **changes: object) -> CameraSpec:
    return CameraSpec.for_motion(motion, view, **({"width_px": WIDTH, "height_px": HEIGHT} | changes))


@pytest.fixture(scope="module")
def studios(motion: Motion) -> dict[str, Studio]:
    return {view: Studio(camera_of(motion, view), "rowan", film=QUIET) for view in ("dtl", "fo")}


def at(motion: Motion, name: str) -> float:
    return motion.position_times[name]


def changed(studio: Studio, image: np.ndarray, level: float = 10.0) -> np.ndarray:
    """Where a picture differs from the empty range."""
    return np.asarray(np.abs(image.astype(float) - studio.backdrop).max(axis=-1) > level)


# Lens ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_the_lens_sees_what_the_camera_sees(motion: Motion, view: str) -> None:
    camera = camera_of(motion, view, yaw_deg=9.0, pitch_deg=-3.0, roll_deg=2.0, offset_m=0.1)
    lens = lens_of(camera)
    points = np.random.default_rng(0).uniform([-1, -0.6, 0], [1, 1, 1.8], (40, 3))
    pixels, _ = lens.project(points)
    np.testing.assert_allclose(pixels, camera.project(points), atol=1e-4)
    np.testing.assert_allclose(lens.position, camera.position, atol=1e-5)
    np.testing.assert_allclose(lens.axes @ lens.axes.T, np.eye(3), atol=1e-8)


def test_rays_go_back_through_the_points(motion: Motion) -> None:
    lens = lens_of(camera_of(motion, "dtl"))
    point = np.array([0.2, 0.4, 1.1])
    pixel, depth = lens.project(point)
    back = lens.position + lens.rays(pixel[..., 0], pixel[..., 1]) * depth
    np.testing.assert_allclose(back, point, atol=1e-9)


def test_a_camera_that_is_no_pinhole_is_refused() -> None:
    class Fisheye:
        width_px, height_px = 100, 100

        def project(self, points: np.ndarray) -> np.ndarray:
            return np.asarray(50 + 20 * np.arctan(points[..., :2] * 3.0) + points[..., 2:] ** 2)

    with pytest.raises(DataError, match="does not project like a pinhole"):
        lens_of(Fisheye())  # type: ignore[arg-type]


# Looks -----------------------------------------------------------------------------------------------------


def test_linear_light_of_mid_grey() -> None:
    # IEC 61966-2-1: code 188 of 255 is 0.5029 of full light, to four places.
    np.testing.assert_allclose(linear("#bcbcbc"), 0.5029, atol=5e-5)


def test_an_unknown_look_names_the_known_ones() -> None:
    with pytest.raises(InputError, match="'nobody' is not a look") as caught:
        find_look("nobody")
    assert all(name in caught.value.hint for name in LOOKS)


def test_looks_are_several_and_differ() -> None:
    assert len(LOOKS) >= 3
    assert {look.woman for look in LOOKS.values()} == {True, False}
    assert len({look.shirt for look in LOOKS.values()}) == len(LOOKS)


# Pictures --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("view", ["dtl", "fo"])
@pytest.mark.parametrize("position", ["address", "top", "shaft_level_down", "finish"])
def test_the_body_is_drawn_where_the_joints_are(
    motion: Motion, studios: dict[str, Studio], view: str, position: str
) -> None:
    studio = studios[view]
    posture = motion.posture(at(motion, position))
    image = studio.frame((posture,), ball=False)
    body = changed(studio, image, 14.0)
    camera = camera_of(motion, view)
    seen = 0
    names = (
        "head",
        "pelvis",
        "thorax",
        "left_knee",
        "right_knee",
        "left_ankle",
        "right_ankle",
        "left_hand",
        "right_elbow",
    )
    for name in names:
        x, y = camera.project(posture.joints[name])
        if 1 <= x < WIDTH - 1 and 1 <= y < HEIGHT - 1:
            seen += 1
            assert body[int(y) - 1 : int(y) + 2, int(x) - 1 : int(x) + 2].any(), f"{name} is outside the drawn body"
    assert seen >= 7
    # Nothing is drawn high above the person and his club.
    pixels = np.array([camera.project(p) for p in posture.joints.values()])
    torso = float(np.linalg.norm(camera.project(posture.joints["neck"]) - camera.project(posture.joints["pelvis"])))
    rows = np.flatnonzero(body.any(axis=1))
    highest = min(pixels[:, 1].min(), camera.project(posture.club_head)[1], camera.project(posture.grip)[1])
    assert rows[0] > highest - 0.45 * torso


def test_the_drawn_hips_are_covered_and_the_gap_between_the_feet_is_not(
    motion: Motion, studios: dict[str, Studio]
) -> None:
    studio, camera = studios["fo"], camera_of(motion, "fo")
    posture = motion.posture(at(motion, "address"))
    body = changed(studio, studio.frame((posture,), ball=False), 14.0)
    ankles = [camera.project(posture.joints[f"{side}_ankle"]) for side in ("left", "right")]
    y = float(np.mean(ankles, axis=0)[1])
    # Straight above the middle of the ankles, a hand's breadth off the club, the range is seen between the shins.
    between = body[int(y) - 22 : int(y) - 6, int(min(a[0] for a in ankles)) : int(max(a[0] for a in ankles))]
    assert not between.all(axis=0).all()
    assert between.any()


def bones(motion: Motion, studio: Studio, time: float, lower: bool) -> list[float]:
    """Width of both shanks (or thighs) in the picture, px: drawn alone, measured across the bone."""
    posture = motion.posture(time)
    built = studio._shapes(posture)
    widths = []
    for side in ("left", "right"):
        ends = ("knee", "ankle") if lower else ("hip", "knee")
        a, b = (posture.joints[f"{side}_{name}"] for name in ends)
        if not lower:
            # The renderer's hips are nearer to each other than the outer breadth of the table.
            a = a + 0.4 * (0.5 * (posture.joints["left_hip"] + posture.joints["right_hip"]) - a)

        def gap(points: np.ndarray, a: np.ndarray = a, b: np.ndarray = b) -> np.ndarray:
            share = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0.0, 1.0)
            return np.asarray(np.linalg.norm(points - a - share[:, None] * (b - a), axis=1))

        rows = built.primitives
        own = (gap(rows[:, 4:7]) < 0.06) & (gap(rows[:, 7:10]) < 0.06) & ((rows[:, 1] < 6) | (rows[:, 1] > 9))
        part = dataclasses.replace(built, primitives=rows[own])
        shadow, grid = studio._shadow(part)
        layers = _Layers(0, 0, WIDTH, HEIGHT)
        studio._trace(layers, part, shadow, grid, None, layers.body, layers.depth)
        y, x = np.nonzero(layers.body[..., 3] > 0.5)
        (ax, ay), (bx, by) = studio.lens.project(np.array([a, b]))[0]
        across = ((x - ax) * (by - ay) - (y - ay) * (bx - ax)) / np.hypot(bx - ax, by - ay)
        assert own.any()
        widths.append(float(across.max() - across.min()))
    return widths


@pytest.fixture(scope="module")
def bent_motion() -> Motion:
    return simulate(GolferSpec(faults={"sway": 1.5, "posture_loss": 1.5}))


@pytest.mark.parametrize("view", ["dtl", "fo"])
@pytest.mark.parametrize("look", sorted(LOOKS))
def test_shanks_are_thinner_than_thighs_all_through_a_bad_swing(bent_motion: Motion, look: str, view: str) -> None:
    studio = Studio(camera_of(bent_motion, view), look, film=QUIET)
    start, stop = at(bent_motion, "address"), at(bent_motion, "finish")
    thigh = max(bones(bent_motion, studio, start, lower=False))
    for time in np.linspace(start, stop, 9):
        assert max(bones(bent_motion, studio, float(time), lower=True)) < 1.0 * thigh, f"at {time:.2f} s"


@pytest.mark.parametrize("look", sorted(LOOKS))
def test_shapes_stand_in_square_frames(motion: Motion, bent_motion: Motion, look: str) -> None:
    # A frame that is not square leaves a direction in which an ellipsoid has no end.
    for moves in (motion, bent_motion):
        for posture in moves.postures(np.linspace(0.0, moves.duration_s, 25)):
            frames = shapes([(posture, LOOKS[look], "left")]).primitives[:, 11:20].reshape(-1, 3, 3)
            np.testing.assert_allclose(frames @ frames.transpose(0, 2, 1), np.tile(np.eye(3), (len(frames), 1, 1)),
                                       atol=1e-9)  # fmt: skip


@pytest.mark.parametrize("view", ["dtl", "fo"])
def test_the_range_does_not_shine_through_the_body(motion: Motion, view: str) -> None:
    # Rays that graze an arm must go on until they meet the chest behind it.
    camera = CameraSpec.for_motion(motion, view)
    studio = Studio(camera, "tobin", film=QUIET)
    built = studio._shapes(motion.posture(at(motion, "lead_arm_level_back")))
    shadow, grid = studio._shadow(built)
    layers = _Layers(0, 0, camera.width_px, camera.height_px)
    studio._trace(layers, built, shadow, grid, None, layers.body, layers.depth)
    open_range = layers.body[..., 3] < 0.05
    near = np.zeros_like(open_range)
    for dy in range(-3, 4):
        for dx in range(-3, 4):
            near |= np.roll(open_range, (dy, dx), axis=(0, 1))
    leaks = (layers.body[..., 3] < 0.99) & ~near
    assert (layers.body[..., 3] == 1.0).sum() > 20_000
    assert leaks.sum() <= 4


def test_same_arguments_same_bytes(motion: Motion) -> None:
    camera = camera_of(motion, "dtl")
    posture = motion.posture(at(motion, "top"))
    film = Film(seed=4)
    first = render_frame(posture, camera, "idris", film=film, frame_index=7)
    again = render_frame(posture, camera, "idris", film=film, frame_index=7)
    assert first.dtype == np.uint8
    assert first.shape == (HEIGHT, WIDTH, 3)
    assert np.array_equal(first, again)
    assert not np.array_equal(first, render_frame(posture, camera, "idris", film=Film(seed=5), frame_index=7))
    assert not np.array_equal(first, render_frame(posture, camera, "idris", film=film, frame_index=8))


def test_noise_has_the_size_asked_for(motion: Motion) -> None:
    camera = camera_of(motion, "dtl")
    posture = motion.posture(0.5)
    clean = render_frame(posture, camera, film=QUIET).astype(float)
    spread = [
        float(np.std(render_frame(posture, camera, film=Film(noise=factor)).astype(float) - clean))
        for factor in (1.0, 3.0)
    ]
    assert 0.8 < spread[0] < 3.0
    assert spread[1] / spread[0] == pytest.approx(3.0, rel=0.15)


def test_evening_is_darker_and_contrast_widens(motion: Motion) -> None:
    camera, posture = camera_of(motion, "fo"), motion.posture(0.5)
    day = render_frame(posture, camera, film=QUIET).astype(float)
    evening = render_frame(posture, camera, film=Film(light="evening", noise=0.0)).astype(float)
    flat = render_frame(posture, camera, film=Film(contrast=0.5, noise=0.0)).astype(float)
    assert evening.mean() < 0.75 * day.mean()
    assert flat.std() == pytest.approx(0.5 * day.std(), rel=0.1)


def test_the_player_darkens_the_ground_away_from_the_sun(motion: Motion, studios: dict[str, Studio]) -> None:
    studio = studios["fo"]
    posture = motion.posture(at(motion, "address"))
    image = studio.frame((posture,), ball=False).astype(float)
    head = posture.joints["head"]
    shadow = head - studio.sun * head[2] / studio.sun[2]
    (x, y), _ = studio.lens.project(shadow)
    assert 0 <= x < WIDTH
    assert 0 <= y < HEIGHT
    assert image[int(y), int(x)].mean() < 0.85 * studio.backdrop[int(y), int(x)].mean()


def test_left_hander_is_the_mirror_image(motion: Motion, left_motion: Motion) -> None:
    right = Studio(camera_of(motion, "fo"), "rowan", film=QUIET)
    left = Studio(camera_of(left_motion, "fo"), "rowan", film=QUIET, lead="right")
    assert lead_side(motion.posture(0.5)) == "left"
    assert lead_side(left_motion.posture(0.5)) == "right"
    time = at(motion, "top")
    a = changed(right, right.frame((motion.posture(time),), ball=False), 14.0)
    b = changed(left, left.frame((left_motion.posture(time),), ball=False), 14.0)[:, ::-1]
    assert (a & b).sum() / (a | b).sum() > 0.93


def test_a_bystander_adds_a_second_figure(motion: Motion, studios: dict[str, Studio]) -> None:
    posture = motion.posture(0.5)
    alone = changed(studios["fo"], studios["fo"].frame((posture,)), 14.0)
    pair = Studio(camera_of(motion, "fo"), "rowan", film=QUIET, bystanders=[Bystander(posture, "mara", (-1.0, -2.5))])
    both = changed(pair, pair.frame((posture,)), 14.0)
    assert both.sum() > 1.25 * alone.sum()


def test_a_trembling_camera_moves_body_and_range_together(motion: Motion) -> None:
    camera = camera_of(motion, "fo", shake_deg=0.6, shake_seed=2)
    posture = motion.posture(0.7)
    image = render_frame(posture, camera, film=QUIET, ball=False).astype(float)
    turned = Studio(camera.at(0.7), "rowan", film=QUIET).frame((posture,), ball=False).astype(float)
    still = Studio(camera_of(motion, "fo"), "rowan", film=QUIET).frame((posture,), ball=False).astype(float)
    shift = camera.at(0.7).project(posture.joints["head"]) - camera_of(motion, "fo").project(posture.joints["head"])
    assert np.linalg.norm(shift) > 1.0
    assert np.abs(image - turned).mean() < 2.5
    assert np.abs(image - still).mean() > 2.0 * np.abs(image - turned).mean()


# Exposure --------------------------------------------------------------------------------------------------


def test_a_long_exposure_smears_the_club_along_its_way(motion: Motion, studios: dict[str, Studio]) -> None:
    studio, camera = studios["fo"], camera_of(motion, "fo")
    time = at(motion, "impact") - 0.012
    sharp = studio.frame(exposure_postures(motion, time, 1e-5), ball=False)
    smeared = studio.frame(exposure_postures(motion, time, 1 / 120), ball=False)
    ends = [camera.project(motion.posture(time + s / 240).club_head) for s in (-1.0, 1.0)]
    middle = camera.project(motion.posture(time).club_head)
    way = ends[1] - ends[0]
    assert np.linalg.norm(way) > 15
    diff = np.abs(smeared.astype(float) - sharp).max(axis=-1) > 4
    for share in (0.2, 0.4, 0.6, 0.8):
        x, y = ends[0] + share * way
        assert diff[int(y) - 2 : int(y) + 3, int(x) - 2 : int(x) + 3].any(), f"no smear at {share}"
    # Across the way and below it there is nothing to smear.
    across = np.array([-way[1], way[0]]) / np.linalg.norm(way)
    across *= np.sign(across[1])
    x, y = middle + 14.0 * across
    assert not diff[int(y) - 1 : int(y) + 2, int(x) - 1 : int(x) + 2].any()


def test_a_short_exposure_of_a_still_player_equals_a_still(motion: Motion, studios: dict[str, Studio]) -> None:
    posture = motion.posture(0.4)
    still = studios["dtl"].frame((posture,))
    exposed = studios["dtl"].frame((posture, posture, posture))
    assert np.array_equal(still, exposed)


def test_exposure_is_about_the_frame_time(motion: Motion) -> None:
    times = [posture.time_s for posture in exposure_postures(motion, 1.0, 1 / 60)]
    assert times[0] == pytest.approx(1.0 - 1 / 120)
    assert times[-1] == pytest.approx(1.0 + 1 / 120)
    assert times[len(times) // 2] == pytest.approx(1.0)


def test_the_ball_lies_there_until_struck(motion: Motion, studios: dict[str, Studio]) -> None:
    studio, camera = studios["fo"], camera_of(motion, "fo")
    place = motion.posture(0.2).ball
    assert place is not None
    x, y = (int(v) for v in camera.project(place))

    def whiteness(time: float, ball: bool = True) -> float:
        patch = studio.frame((motion.posture(time),), ball=ball)[y - 1 : y + 2, x - 1 : x + 2]
        return float(patch.min(axis=-1).max())

    top, gone = at(motion, "top"), at(motion, "finish")
    assert whiteness(top) > whiteness(top, ball=False) + 50
    assert abs(whiteness(gone) - whiteness(gone, ball=False)) < 1
    assert whiteness(top) > whiteness(gone) + 50


# Clips -----------------------------------------------------------------------------------------------------


def test_one_thread_and_two_write_the_same_frames(motion: Motion, tmp_path: Path) -> None:
    from overlay.video import open_clip

    camera = camera_of(motion, "dtl")
    start = at(motion, "impact") - 0.05
    frames = []
    for threads in (1, 2):
        path = render_clip(motion, camera, tmp_path / f"{threads}.mp4", rate_hz=120, shutter_s=1 / 500, threads=threads,
                           start_s=start, stop_s=start + 0.1, seed=3)  # fmt: skip
        with open_clip(path) as reader:
            assert reader.clip.width == WIDTH
            frames.append([frame.image for frame in reader.frames()])
    assert len(frames[0]) == len(frames[1]) == 13
    assert all(np.array_equal(a, b) for a, b in zip(*frames))


def test_slow_motion_plays_slower(motion: Motion, tmp_path: Path) -> None:
    from overlay.video import open_clip

    path = render_clip(motion, camera_of(motion, "fo"), tmp_path / "slow.mp4", rate_hz=240, shutter_s=1 / 1000,
                       playback_rate=30, start_s=1.0, stop_s=1.05)  # fmt: skip
    with open_clip(path) as reader:
        assert reader.clip.n_frames == 13
        assert reader.clip.times_s[-1] == pytest.approx(12 / 30, abs=1e-3)


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        ({"rate_hz": 0.0}, "picture rate of 0.0"),
        ({"rate_hz": 60.0, "shutter_s": 1 / 30}, "does not fit 60 pictures"),
        ({"shutter_s": float("nan")}, "shutter of nan"),
        ({"playback_rate": 0.0}, "playback rate of 0.0"),
        ({"start_s": 90.0}, "holds no frame"),
        ({"look": "nobody"}, "is not a look"),
    ],
)
def test_wrong_requests_are_refused(motion: Motion, tmp_path: Path, options: dict[str, float], complaint: str) -> None:
    with pytest.raises(InputError, match=complaint):
        render_clip(motion, camera_of(motion), tmp_path / "never.mp4", **options)  # type: ignore[arg-type]
    assert not list(tmp_path.iterdir())


def test_wrong_film_is_refused() -> None:
    with pytest.raises(InputError, match="'noon' is not a light"):
        Film(light="noon")
    with pytest.raises(InputError, match="contrast of the picture"):
        Film(contrast=float("inf"))


def test_a_look_of_ones_own(motion: Motion) -> None:
    posture, camera = motion.posture(0.5), camera_of(motion, "fo")
    red = dataclasses.replace(LOOKS["rowan"], name="Someone", shirt="#c02020")
    assert isinstance(red, Look)
    image = render_frame(posture, camera, red, film=QUIET).astype(float)
    chest = posture.joints["thorax"] + 0.1 * posture.thorax_axes[:, 1]
    x, y = (int(v) for v in camera.project(chest))
    r, g, b = image[y, x]
    assert r > 1.6 * g
    assert r > 1.6 * b
