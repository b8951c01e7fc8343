"""What the filming check reads from pixels, on pictures drawn for it."""

from __future__ import annotations

import dataclasses
import functools
import math
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from overlay.data import Clip, ClubTrack, Frame, PoseTrack, Position, Positions, Swing
from overlay.errors import DataError
from overlay.filming import blur, picture
from overlay.filming.scene import Scene, gather
from overlay.landmarks import N_LANDMARKS
from overlay.pose import MaskTrack
from overlay.pose.masks import pack
from overlay.settings.filming import FilmingSettings
from overlay.terms import POSITION_NAMES
from overlay.video import Reader

WIDTH, HEIGHT, RATE = 320, 480, 60
TIMES = {name: 0.5 + 0.1 * i for i, name in enumerate(POSITION_NAMES)} | {
    "address": 0.20, "top": 1.0, "lead_arm_level_down": 1.13, "shaft_level_down": 1.20, "impact": 1.25,
    "shaft_level_through": 1.30, "finish": 1.60,
}  # fmt: skip


class Drawn(Reader):
    """A reader of pictures made by a function of time."""

    def __init__(self, draw: Any) -> None:
        self.draw = draw
        times = np.arange(0.0, 1.7, 1 / RATE)
        self.clip = Clip(
            path=Path("drawn.mp4"), content_hash="0", width=WIDTH, height=HEIGHT, rotation_deg=0, mirrored=False,
            times_s=times, nominal_rate=Fraction(RATE), capture_rate=None, is_variable_rate=False, has_audio=False,
        )  # fmt: skip

    def _stream(self, first: int, last: int, max_side: int | None) -> Any:
        for index in range(first, last + 1):
            time_s = float(self.clip.times_s[index])
            yield Frame(index, time_s, self.draw(time_s))


def person(box: tuple[int, int, int, int] = (110, 100, 210, 440)) -> np.ndarray:
    mask = np.zeros((HEIGHT, WIDTH), np.uint8)
    mask[box[1] : box[3], box[0] : box[2]] = 255
    return mask


def scene_of(draw: Any, mask: np.ndarray | None = None, club: ClubTrack | None = None, view: str = "fo") -> Scene:
    reader = Drawn(draw)
    times = reader.clip.times_s
    points = np.full((len(times), N_LANDMARKS, 2), 200.0)
    for name, y in (("shoulder", 200.0), ("hip", 300.0)):
        from overlay.landmarks import INDEX

        points[:, [INDEX[f"left_{name}"], INDEX[f"right_{name}"]], 1] = y
    track = PoseTrack(
        points, np.zeros(points.shape[:2]), np.ones(points.shape[:2]), times, (WIDTH, HEIGHT), source="drawn"
    )
    found = tuple(Position(name, TIMES[name], 1.0) for name in sorted(POSITION_NAMES, key=lambda name: TIMES[name]))
    swing = Swing(
        clip=reader.clip, pose=track, view=view, view_confidence=1.0, handedness="right",  # type: ignore[arg-type]
        handedness_confidence=1.0, positions=Positions(found), torso_px=100.0, club=club,
    )  # fmt: skip
    masks = None
    if mask is not None:
        masks = MaskTrack(times, (WIDTH, HEIGHT), (WIDTH, HEIGHT), (pack(mask),) * len(times))
    return gather(reader, track, swing, masks, None, None, FilmingSettings())


def flat(player: int, around: int) -> np.ndarray:
    image = np.full((HEIGHT, WIDTH, 3), around, np.uint8)
    image[person() > 0] = player
    return image


@pytest.mark.parametrize(
    ("player", "around", "exposure", "contrast"),
    [
        (120, 60, "pass", "pass"),
        (30, 60, "warn", "pass"),
        (12, 230, "fail", "pass"),
        (255, 100, "fail", "pass"),
        (120, 123, "pass", "fail"),
    ],
)
def test_light_on_flat_pictures(player: int, around: int, exposure: str, contrast: str) -> None:
    """Brightness is that of the picture's own levels: 120 of 255 is 47 %."""
    image = flat(player, around)
    light, edge = picture.light_findings(scene_of(lambda _: image, person()), image)
    assert light.value == pytest.approx(100 * player / 255, abs=0.5)
    assert (light.verdict, edge.verdict) == (exposure, contrast)
    assert bool(light.advice) == (exposure != "pass")


def test_a_player_against_the_light_is_told_to_turn_round() -> None:
    image = flat(25, 230)
    light, _ = picture.light_findings(scene_of(lambda _: image, person()), image)
    assert "bright background" in light.sentence
    assert "behind the camera" in light.advice


def test_without_pictures_or_outline_light_is_not_seen() -> None:
    image = flat(120, 60)
    for scene, shown in ((scene_of(lambda _: image, person()), None), (scene_of(lambda _: image), image)):
        assert {one.verdict for one in picture.light_findings(scene, shown)} == {"not seen"}


def fence(turn_deg: float, slope_deg: float = 0.0) -> np.ndarray:
    """Posts and a rail at the middle row, turned about the picture's middle; a slope leans the posts alone."""
    import cv2

    image = np.full((HEIGHT, WIDTH), 90, np.uint8)
    middle = np.array([WIDTH / 2, HEIGHT / 2])
    lines = [((x, 60), (x, 220)) for x in range(20, 310, 40)] + [((0, 240), (320, 240)), ((0, 250), (320, 250))]
    for i, ends in enumerate(lines):
        a = math.radians(turn_deg + (slope_deg if i < 8 else 0.0))
        turn = np.array([[math.cos(a), -math.sin(a)], [math.sin(a), math.cos(a)]])
        one, other = (tuple(int(v * 16) for v in turn @ (np.array(end) - middle) + middle) for end in ends)
        cv2.line(image, one, other, 200, 2, cv2.LINE_AA, 4)
    return np.repeat(image[..., None], 3, axis=2)


@pytest.mark.parametrize("turn_deg", [-4.0, 0.0, 2.5])
def test_the_background_tells_the_tilt(turn_deg: float) -> None:
    """A picture turned clockwise by a was taken by a camera turned anticlockwise by a."""
    image = fence(turn_deg)
    told = picture.background_tilt(scene_of(lambda _: image, person((140, 200, 180, 400))), image)
    assert told is not None
    assert told.value == pytest.approx(-turn_deg, abs=0.3)
    assert told.sd < 1.0


def test_a_background_of_two_minds_is_less_sure() -> None:
    sure, torn = (
        picture.background_tilt(scene_of(lambda _, image=image: image), image)
        for image in (fence(0.0), fence(0.0, 5.0))
    )
    assert sure is not None
    assert torn is not None
    assert torn.sd > 1.5 * sure.sd


def test_no_lines_no_tilt() -> None:
    image = flat(120, 60)
    assert picture.background_tilt(scene_of(lambda _: image, person()), image) is None
    assert picture.background_tilt(scene_of(lambda _: image), None) is None


GRIP = np.array([170.0, 160.0])
LENGTH = 200.0


def shaft_angle(time_s: float) -> float:
    """Degrees clockwise from +x: turns at 1500°/s about impact, still before the top."""
    return 90.0 - 1500.0 * (time_s - 1.25) if time_s > 1.1 else 315.0


@functools.cache
def swung(shutter_s: float) -> Any:
    """Pictures of a bright shaft smeared over what it turns while the shutter is open."""
    import cv2

    @functools.cache
    def draw(time_s: float) -> np.ndarray:
        canvas = np.zeros((HEIGHT, WIDTH), np.float64)
        moments = time_s + np.linspace(-0.5, 0.5, 30) * shutter_s
        for moment in moments:
            one = np.zeros((HEIGHT, WIDTH), np.uint8)
            a = math.radians(shaft_angle(float(moment)))
            end = GRIP + LENGTH * np.array([math.cos(a), math.sin(a)])
            cv2.line(one, tuple(int(v * 16) for v in GRIP), tuple(int(v * 16) for v in end), 255, 3, cv2.LINE_AA, 4)
            canvas += one / len(moments)
        return np.repeat(np.clip(50 + 0.8 * canvas, 0, 255).astype(np.uint8)[..., None], 3, axis=2)

    return draw


def club_track() -> ClubTrack:
    times = np.arange(0.0, 1.7, 1 / RATE)
    n = len(times)
    return ClubTrack(
        times, np.tile(GRIP, (n, 1)), np.array([shaft_angle(float(t)) for t in times]), np.full(n, LENGTH),
        ("measured",) * n,
    )  # fmt: skip


@pytest.mark.parametrize("shutter_s", [1 / 125, 1 / 250])
def test_the_fan_tells_the_shutter(shutter_s: float) -> None:
    """A shaft turning at ω draws a fan of ω·T: 1500°/s × 1/125 s = 12°."""
    scene = scene_of(swung(shutter_s), club=club_track())
    told = blur.shutter_times(scene)
    assert len(told) >= 3
    assert float(np.median(told)) == pytest.approx(shutter_s, rel=0.2)
    finding = blur.shutter_finding(scene)
    assert finding.value == pytest.approx(2000 * shutter_s, rel=0.2)
    assert finding.verdict == ("fail" if shutter_s > 1 / 140 else "warn")
    assert "1/1000" in finding.advice


def test_a_short_shutter_is_good() -> None:
    finding = blur.shutter_finding(scene_of(swung(1 / 4000), club=club_track()))
    assert finding.verdict == "pass"
    assert finding.value < 4.0
    assert "is a line" in finding.sentence


def test_without_a_club_the_shutter_is_not_seen() -> None:
    assert blur.shutter_finding(scene_of(swung(1 / 250))).verdict == "not seen"
    down = scene_of(swung(1 / 250), view="dtl")
    assert "Down the line" in blur.shutter_finding(down).sentence
    assert "no pictures" in blur.shutter_finding(dataclasses.replace(down, reader=None)).sentence


def test_a_club_track_of_another_length_is_refused() -> None:
    track = club_track()
    with pytest.raises(DataError, match="grip has shape"):
        dataclasses.replace(track, grip=track.grip[:-1])
