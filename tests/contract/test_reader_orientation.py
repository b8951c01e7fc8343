"""Rotation and mirroring are applied exactly once: four rotations × mirrored × every way to state them × backend."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import video_clips as clips

from overlay.video import open_clip, read_image, write_png

WIDTH, HEIGHT = 96, 64  # stored; not square, so that a rotation shows in the size
STORED = clips.numbered(5, WIDTH, HEIGHT)
EXIF_OF_TURN = {0: 1, 90: 6, 180: 3, 270: 8}  # EXIF 2.32, 4.6.4


def matrix_through_library(folder: Path, turn: int) -> Path:
    a, b, c, d = (65536 * value for value in clips.TURN_MATRIX[turn])
    return clips.encode(
        folder / "clip.mp4",
        [STORED] * 5,
        setup=lambda _, stream: stream.set_display_matrix([a, b, 0, c, d, 0, 0, 0, 1 << 30]),
    )


def matrix_in_bytes(folder: Path, turn: int) -> Path:
    path = clips.encode(folder / "clip.mp4", [STORED] * 5)
    clips.set_track_matrix(path, clips.TURN_MATRIX[turn])
    return path


def matrix_in_quicktime(folder: Path, turn: int) -> Path:
    path = clips.encode(folder / "clip.mov", [STORED] * 5, codec="libx265")
    clips.set_track_matrix(path, clips.TURN_MATRIX[turn])
    return path


def exif_in_jpeg(folder: Path, turn: int) -> Path:
    return stills(folder, ".jpg", EXIF_OF_TURN[turn])


def exif_in_png(folder: Path, turn: int) -> Path:
    return stills(folder, ".png", EXIF_OF_TURN[turn])


def stills(folder: Path, suffix: str, exif_value: int) -> Path:
    from PIL import Image

    tags = Image.Exif()
    tags[0x0112] = exif_value
    for i in range(3):
        Image.fromarray(STORED).save(folder / f"{i}{suffix}", exif=tags, quality=95)
    return folder


STATED: dict[str, Callable[[Path, int], Path]] = {
    make.__name__: make
    for make in (matrix_through_library, matrix_in_bytes, matrix_in_quicktime, exif_in_jpeg, exif_in_png)
}


def assert_shown(image: np.ndarray, turn: int, flipped: bool) -> None:
    wanted = clips.shown(STORED, turn, flipped)
    assert image.shape == wanted.shape
    assert image.flags.c_contiguous
    assert clips.apart(image, wanted) < 6.0
    # The right picture is the only one of the eight that fits.
    others = [clips.shown(STORED, t, f) for t in (0, 90, 180, 270) for f in (False, True) if (t, f) != (turn, flipped)]
    assert min(clips.apart(image, other) for other in others if other.shape == image.shape) > 12.0


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turn", [0, 90, 180, 270])
@pytest.mark.parametrize("stated", sorted(STATED))
def test_stated_in_the_file(tmp_path: Path, stated: str, turn: int, mirrored: bool) -> None:
    with open_clip(STATED[stated](tmp_path, turn), mirrored=mirrored) as reader:
        clip = reader.clip
        assert (clip.rotation_deg, clip.mirrored) == (turn, mirrored)
        assert (clip.width, clip.height) == ((WIDTH, HEIGHT) if turn in (0, 180) else (HEIGHT, WIDTH))
        for frame in reader.frames():
            assert_shown(frame.image, turn, mirrored)
        assert_shown(reader.frame_at(0.05).image, turn, mirrored)
        small = reader.frame_at(0.05, max_side=48).image
        assert small.shape == (clip.height // 2, clip.width // 2, 3)
        assert clips.apart(small, clips.shown(STORED, turn, mirrored)[::2, ::2]) < 12.0


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("asked", [0, 90, 180, 270])
@pytest.mark.parametrize("stated", ["matrix_in_bytes", "exif_in_jpeg"])
def test_the_users_rotation_replaces_the_files(tmp_path: Path, stated: str, asked: int, mirrored: bool) -> None:
    with open_clip(STATED[stated](tmp_path, 90), rotation_deg=asked, mirrored=mirrored) as reader:
        assert (reader.clip.rotation_deg, reader.clip.mirrored) == (asked, mirrored)
        assert_shown(next(reader.frames()).image, asked, mirrored)


# All eight ways a rectangle can lie, as track matrices: a stored point (p, q) is shown at (a·p + c·q, b·p + d·q).
MATRICES = [
    (1, 0, 0, 1),
    (-1, 0, 0, 1),
    (1, 0, 0, -1),
    (-1, 0, 0, -1),
    (0, 1, 1, 0),
    (0, 1, -1, 0),
    (0, -1, 1, 0),
    (0, -1, -1, 0),
]


def by_matrix(image: np.ndarray, matrix: tuple[int, int, int, int]) -> np.ndarray:
    """Move every pixel as the matrix says, in whole-pixel arithmetic."""
    a, b, c, d = matrix
    q, p = np.mgrid[: image.shape[0], : image.shape[1]]
    x, y = a * p + c * q, b * p + d * q
    x, y = x - x.min(), y - y.min()
    out = np.zeros((y.max() + 1, x.max() + 1, 3), np.uint8)
    out[y, x] = image
    return out


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("matrix", MATRICES)
def test_flips_in_the_display_matrix(tmp_path: Path, matrix: tuple[int, int, int, int], mirrored: bool) -> None:
    path = clips.encode(tmp_path / "clip.mp4", [STORED] * 3)
    clips.set_track_matrix(path, matrix)
    wanted = by_matrix(STORED, matrix)
    with open_clip(path, mirrored=mirrored) as reader:
        image = next(reader.frames()).image
        clip = reader.clip
        assert clip.mirrored == mirrored
    # What a later stage does: it opens the file again as the clip says it was opened.
    with open_clip(path, mirrored=clip.mirrored, rotation_deg=clip.rotation_deg) as again:
        assert np.array_equal(next(again.frames()).image, image)
    assert clips.apart(image, wanted[:, ::-1] if mirrored else wanted) < 6.0


@pytest.mark.parametrize("value", range(1, 9))
def test_all_exif_orientations(tmp_path: Path, value: int) -> None:
    """Against Pillow's own transposition, another implementation of the same table."""
    from PIL import Image, ImageOps

    folder = stills(tmp_path, ".png", value)
    wanted = np.asarray(ImageOps.exif_transpose(Image.open(folder / "0.png")))
    with open_clip(folder) as reader:
        assert np.array_equal(next(reader.frames()).image, wanted)
    assert np.array_equal(read_image(folder / "0.png"), wanted)


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_against_opencv(tmp_path: Path, turn: int) -> None:
    """OpenCV's own FFmpeg build, which turns pictures by itself, shows the same."""
    import cv2

    path = matrix_in_bytes(tmp_path, turn)
    capture = cv2.VideoCapture(str(path), cv2.CAP_FFMPEG)
    capture.set(cv2.CAP_PROP_ORIENTATION_AUTO, 1)
    found, picture = capture.read()
    capture.release()
    assert found
    with open_clip(path) as reader:
        assert clips.apart(next(reader.frames()).image, picture[..., ::-1]) < 3.0


def test_a_slanted_matrix_is_told(tmp_path: Path) -> None:
    path = clips.encode(tmp_path / "clip.mp4", [STORED] * 3, setup=lambda _, stream: stream.set_display_rotation(-80.0))
    with open_clip(path) as reader:
        assert reader.clip.rotation_deg == 90
        assert any("10° away from a right angle" in warning for warning in reader.clip.warnings)


@pytest.mark.parametrize(("aspect", "size"), [((2, 1), (192, 64)), ((4, 3), (128, 64)), ((1, 2), (48, 64))])
@pytest.mark.parametrize("turn", [0, 90])
def test_non_square_pixels(tmp_path: Path, aspect: tuple[int, int], size: tuple[int, int], turn: int) -> None:
    def setup(_: object, stream: object) -> None:
        stream.codec_context.sample_aspect_ratio = Fraction(*aspect)  # type: ignore[attr-defined]

    path = clips.encode(tmp_path / "clip.mp4", [STORED] * 3, setup=setup)
    clips.set_track_matrix(path, clips.TURN_MATRIX[turn])
    with open_clip(path) as reader:
        assert (reader.clip.width, reader.clip.height) == (size if turn == 0 else size[::-1])
        frame = next(reader.frames())
    assert frame.image.shape == (reader.clip.height, reader.clip.width, 3)
    upright = np.rot90(frame.image, k=turn // 90)
    columns = ((np.arange(size[0]) + 0.5) * WIDTH / size[0]).astype(int)
    assert clips.apart(upright, STORED[:, columns]) < 8.0


def test_an_absurd_pixel_shape_is_ignored_and_told(tmp_path: Path) -> None:
    def setup(_: object, stream: object) -> None:
        stream.codec_context.sample_aspect_ratio = Fraction(50, 1)  # type: ignore[attr-defined]

    with open_clip(clips.encode(tmp_path / "clip.mp4", [STORED] * 3, setup=setup)) as reader:
        assert (reader.clip.width, reader.clip.height) == (WIDTH, HEIGHT)
        assert any("that is ignored" in warning for warning in reader.clip.warnings)


@pytest.mark.parametrize(("width", "height"), [(97, 65), (33, 48), (48, 33)])
def test_odd_sizes(tmp_path: Path, width: int, height: int) -> None:
    picture = clips.numbered(9, width, height)
    path = clips.encode(tmp_path / "clip.mp4", [picture] * 3, pixel_format="yuv444p")
    for i in range(3):
        write_png(tmp_path / "stills" / f"{i}.png", picture)
    for source in (path, tmp_path / "stills"):
        for turn in (0, 90):
            with open_clip(source, rotation_deg=turn, mirrored=True) as reader:
                image = next(reader.frames()).image
            assert clips.apart(image, clips.shown(picture, turn, True)) < 8.0
