"""The ball on drawn pictures: a disc that vanishes in one step, among what moves slowly, passes by, or stays."""

from __future__ import annotations

import numpy as np
import pytest

from overlay.settings.strike import BallSettings
from overlay.strike.area import Area, Stack
from overlay.strike.ball import find_staying, find_vanished, presence

HEIGHT, WIDTH = 90, 140
PLACE = (88.0, 52.0)
BALL_PX = 10.0
GONE = 30  # first frame without it
RATE = 60.0


def disc(image: np.ndarray, x: float, y: float, diameter: float, colour: tuple[int, int, int]) -> None:
    yy, xx = np.mgrid[: image.shape[0], : image.shape[1]]
    inside = np.clip(0.5 * diameter + 0.5 - np.hypot(xx - x, yy - y), 0, 1)[..., None]
    image[:] = image * (1 - inside) + np.array(colour) * inside


def pictures(
    *,
    ball: str = "struck",
    club: bool = True,
    shadow: bool = True,
    stripe: bool = False,
    colour: tuple[int, int, int] = (235, 235, 230),
    foot: bool = False,
    ground: float = 1.0,
    seed: int = 0,
) -> Stack:
    """60 frames of a lawn; impact lies between frames 29 and 30."""
    rng = np.random.default_rng(seed)
    base = np.array([70.0, 120.0, 60.0]) * ground + 8 * rng.normal(size=(HEIGHT, WIDTH, 1))
    if stripe:
        base[45:60, 60:64] = 225
    frames = []
    for i in range(60):
        image = base.copy()
        if ball == "stays" or (ball == "struck" and i < GONE):
            disc(image, *PLACE, BALL_PX, colour)
        if shadow:  # an edge that creeps over the ball's place
            image[:, : int(40 + 1.6 * i)] *= 0.75
        if foot and i > 10:  # a shoe that lifts and turns, bright, for half a second
            disc(image, 30.0 + 0.5 * (i - 10), 20.0, 16.0, (210, 205, 200))
        if club and 26 <= i <= 33:  # a bright head that comes past
            disc(image, PLACE[0] + 9 * (i - 29.5), PLACE[1] - 1, 14.0, (200, 200, 205))
        frames.append(np.clip(image + 2.0 * rng.normal(size=image.shape), 0, 255).astype(np.uint8))
    times = (np.arange(60) - GONE) / RATE + 5.0
    return Stack(times, np.stack(frames), (0.5, 0.5), (1.0, 1.0), np.ones((HEIGHT, WIDTH), bool))


def area(**changes: object) -> Area:
    return Area((20.0, 10.0, 135.0, 85.0), BALL_PX, 110.0, **changes)  # type: ignore[arg-type]


def vanished(stack: Stack, expected_s: float = 5.0, slow: float = 1.0):  # type: ignore[no-untyped-def]
    return find_vanished(stack, area(), expected_s, 0.16, slow, BallSettings())


@pytest.mark.parametrize("seed", [0, 1, 2])
@pytest.mark.parametrize("off_s", [-0.05, 0.0, 0.05])
def test_the_ball_that_leaves_is_found_with_its_frame(seed: int, off_s: float) -> None:
    found = vanished(pictures(seed=seed), 5.0 + off_s)
    assert found is not None
    # Half a pixel: the grid's first pixel has its centre there.
    assert np.hypot(found.place[0] - PLACE[0] - 0.5, found.place[1] - PLACE[1] - 0.5) < 1.5
    assert found.diameter_px == pytest.approx(BALL_PX, rel=0.25)
    assert found.score > BallSettings().least_score
    # The head covers the place around the strike: one frame more or less on each side.
    assert 5.0 - 2.5 / RATE < found.last_seen_s < 5.0 + 0.5 / RATE
    assert found.last_seen_s < found.gone_s < 5.0 + 2.5 / RATE


def test_without_the_club_the_frame_is_exact() -> None:
    found = vanished(pictures(club=False))
    assert found is not None
    assert found.last_seen_s == pytest.approx(5.0 - 1 / RATE)
    assert found.gone_s == pytest.approx(5.0)


@pytest.mark.parametrize("colour", [(250, 230, 60), (240, 120, 60), (245, 245, 245)])
def test_a_coloured_ball_counts(colour: tuple[int, int, int]) -> None:
    found = vanished(pictures(colour=colour))
    assert found is not None
    assert found.score > BallSettings().least_score


def test_a_low_pass_of_the_clock_for_slow_motion() -> None:
    """Played four times slower, the same pictures give the same ball."""
    stack = pictures()
    slowed = Stack(5.0 + 4 * (stack.time_s - 5.0), stack.images, stack.origin, stack.step, stack.known)
    found = find_vanished(slowed, area(), 5.0, 0.64, 4.0, BallSettings())
    assert found is not None
    assert abs(0.5 * (found.last_seen_s + found.gone_s) - 5.0) < 4 * 1.5 / RATE


@pytest.mark.parametrize("changes", [{"ball": "none"}, {"ball": "none", "stripe": True}, {"ball": "stays"}])
def test_shadow_club_stripe_and_foot_are_no_ball(changes: dict[str, object]) -> None:
    found = vanished(pictures(foot=True, **changes))  # type: ignore[arg-type]
    assert found is None or found.score < BallSettings().least_score


def test_a_ball_that_stays_is_seen_to_stay() -> None:
    stack = pictures(ball="stays", shadow=False)
    found = find_staying(stack, area(), 5.0, 1.0, BallSettings())
    assert found is not None
    assert np.hypot(found.place[0] - PLACE[0], found.place[1] - PLACE[1]) < 3.0


@pytest.mark.parametrize("changes", [{}, {"stripe": True}])
def test_nothing_stays_where_there_is_no_ball(changes: dict[str, bool]) -> None:
    assert find_staying(pictures(ball="none", shadow=False, **changes), area(), 5.0, 1.0, BallSettings()) is None


def test_a_ball_far_from_the_club_at_address_is_another_ball() -> None:
    stack = pictures(ball="stays", shadow=False)
    far = area(club_end=(PLACE[0] - 200.0, PLACE[1]))
    assert find_staying(stack, far, 5.0, 1.0, BallSettings()) is None


def test_too_few_frames_after_the_strike_tell_nothing() -> None:
    stack = pictures()
    short = Stack(stack.time_s[:33], stack.images[:33], stack.origin, stack.step, stack.known)
    assert vanished(short) is None


def test_presence_says_nothing_behind_the_club() -> None:
    """1 before, −1 after, and neither while something of another colour covers the place."""
    stack = pictures(club=False, shadow=False)
    images = stack.images.copy()
    images[20:23, 40:64, 76:100] = (20, 20, 220)
    covered = Stack(stack.time_s, images, stack.origin, stack.step, stack.known)
    first, last = images[:20].mean(0).astype(np.float32), images[40:].mean(0).astype(np.float32)
    vote = presence(covered, *PLACE, 4.0, first, last, BallSettings())
    assert np.all(vote[:20] > 0.9)
    assert np.all(vote[20:23] == 0)
    assert np.all(vote[GONE:] < -0.9)


def test_places_on_the_feet_have_no_chance() -> None:
    shoes = area(feet=np.array([[[60.0, 40.0], [80.0, 45.0]]]))
    settings = BallSettings()
    on, off = np.array([70.0]), np.array([70.0])
    assert shoes.chance(on, np.array([43.0]), settings)[0] == 0.0
    assert shoes.chance(off, np.array([70.0]), settings)[0] > 0.3
    assert area().chance(np.array([5.0]), np.array([40.0]), settings)[0] == 0.0
