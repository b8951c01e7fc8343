"""A stick figure's swing as pictures in memory: a known line turns about known hands before a still background."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.data import Clip, Frame, PoseTrack, Positions, Swing
from overlay.data.swing import Position
from overlay.landmarks import INDEX, N_LANDMARKS
from overlay.terms import POSITION_NAMES
from overlay.video import Reader, fitted_size

WIDTH, HEIGHT, TORSO = 360, 480, 100.0


class Pictures(Reader):
    """A reader of pictures that a function makes; those it gives as None cannot be decoded."""

    def __init__(self, times_s: FloatArray, picture: Callable[[int], Image | None], size: tuple[int, int]) -> None:
        width, height = size
        self.clip = Clip(
            path=Path("pictures.mp4"), content_hash="0" * 64, width=width, height=height, rotation_deg=0,
            mirrored=False, times_s=times_s, nominal_rate=Fraction(60), capture_rate=None, is_variable_rate=False,
            has_audio=False, codec="none", pixel_format="rgb24", bit_depth=8,
        )  # fmt: skip
        self._picture = picture

    def _stream(self, first: int, last: int, max_side: int | None) -> Iterator[Frame]:
        import cv2

        for index in range(first, last + 1):
            image = self._picture(index)
            if image is None:
                continue
            size = fitted_size(self.clip.width, self.clip.height, max_side)
            if size != (self.clip.width, self.clip.height):
                image = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
            yield Frame(index, float(self.clip.times_s[index]), np.ascontiguousarray(image))


def texture(seed: int = 0, width: int = WIDTH, height: int = HEIGHT) -> Image:
    """A lawn-like background with some strong corners."""
    import cv2

    rng = np.random.default_rng(seed)
    grain = cv2.GaussianBlur(rng.normal(0, 60, (height, width)).astype(np.float32), (0, 0), 2.0)
    picture = np.stack([90 + grain, 120 + grain, 70 + grain], -1)
    for _ in range(40):
        x, y = rng.integers(0, width), rng.integers(0, height)
        picture[y : y + 9, x : x + 7] += rng.normal(0, 40)
    return np.asarray(np.clip(picture, 0, 255), np.uint8)


def swing_of(hands: FloatArray, times_s: FloatArray, size: tuple[int, int] = (WIDTH, HEIGHT)) -> Swing:
    """A swing whose only moving joints are the hands (T, 2); the body stands at the left."""
    n = len(times_s)
    points = np.full((n, N_LANDMARKS, 2), np.nan)
    body = {"nose": (60, 90), "shoulder": (60, 120), "hip": (60, 220), "knee": (60, 300), "ankle": (60, 380)}
    for name, place in body.items():
        for joint in ("nose",) if name == "nose" else (f"left_{name}", f"right_{name}"):
            points[:, INDEX[joint]] = place
    for side in ("left", "right"):
        for joint in ("wrist", "index", "pinky", "thumb"):
            points[:, INDEX[f"{side}_{joint}"]] = hands
    pose = PoseTrack(
        points=points, depth=np.zeros((n, N_LANDMARKS)), visibility=np.full((n, N_LANDMARKS), 0.95), time_s=times_s,
        image_size=size, source="synthetic",
    )  # fmt: skip
    found = (Position("address", float(times_s[0]), 0.9),)
    missing = {name: "not looked for" for name in POSITION_NAMES if name != "address"}
    return Swing(
        clip=None, pose=pose, view="fo", view_confidence=1.0, handedness="right", handedness_confidence=1.0,
        positions=Positions(found, missing), torso_px=TORSO,
    )  # fmt: skip


def draw_shaft(picture: Image, grip: FloatArray, angle_deg: float, length_px: float, shade: int = 30) -> Image:
    """A smooth dark line three px wide."""
    import cv2

    out = picture.copy()
    a = np.radians(angle_deg)
    ends = np.stack([grip, grip + length_px * np.array([np.cos(a), np.sin(a)])])
    fixed = np.round(ends * 16).astype(int)
    cv2.line(out, tuple(fixed[0].tolist()), tuple(fixed[1].tolist()), (shade,) * 3, 3, cv2.LINE_AA, 4)
    return np.asarray(out, np.uint8)
