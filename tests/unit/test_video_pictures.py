"""PNG and GIF: read back what is written, keep the speed, leave nothing half-written."""

from __future__ import annotations

import errno
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from overlay.errors import DataError, InputError, OutputError
from overlay.video import read_image, write_gif, write_png


def picture(shade: int = 0, width: int = 40, height: int = 24) -> np.ndarray:
    image = np.zeros((height, width, 3), np.uint8)
    image[:, :, 0] = np.arange(width, dtype=np.uint8) * 5
    image[: height // 2, :, 1] = shade
    return image


@pytest.mark.parametrize("size", [(40, 24), (41, 23), (1, 1)])
def test_png_round_trip(tmp_path: Path, size: tuple[int, int]) -> None:
    image = picture(9, *size)
    write_png(tmp_path / "deep" / "a.png", image)
    assert np.array_equal(read_image(tmp_path / "deep" / "a.png"), image)
    assert [path.name for path in (tmp_path / "deep").iterdir()] == ["a.png"]


def test_png_of_a_strided_view_and_with_alpha(tmp_path: Path) -> None:
    image = picture(9)
    write_png(tmp_path / "a.png", image[:, ::-1])
    assert np.array_equal(read_image(tmp_path / "a.png"), image[:, ::-1])
    write_png(tmp_path / "b.png", np.dstack([image, np.full((24, 40), 128, np.uint8)]))
    assert read_image(tmp_path / "b.png").shape == (24, 40, 3)


@pytest.mark.parametrize(
    "image",
    [np.zeros((4, 4, 3)), np.zeros((4, 4), np.uint8), np.zeros((4, 4, 2), np.uint8), np.zeros((0, 4, 3), np.uint8)],
)
def test_png_of_something_else(tmp_path: Path, image: np.ndarray) -> None:
    with pytest.raises(DataError, match="cannot be saved"):
        write_png(tmp_path / "a.png", image)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("content", [None, b"", b"no picture at all", b"\x89PNG\r\n\x1a\n" + bytes(30)])
def test_read_image_refuses(tmp_path: Path, content: bytes | None) -> None:
    path = tmp_path / "a.png"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(InputError, match="does not exist" if content is None else "not a picture"):
        read_image(path)


def delays_ms(path: Path) -> list[int]:
    from PIL import Image, ImageSequence

    with Image.open(path) as opened:
        return [frame.info["duration"] for frame in ImageSequence.Iterator(opened)]


@pytest.mark.parametrize("rate", [10, Fraction(30000, 1001), 24, 50, 60, 240])
def test_gif_keeps_its_speed(tmp_path: Path, rate: Fraction | int) -> None:
    n = 48
    write_gif(tmp_path / "a.gif", (picture(5 * i) for i in range(n)), rate)
    delays = delays_ms(tmp_path / "a.gif")
    assert min(delays) >= 20
    # To the nearest 1/100 s, and never shorter than one frame's least delay.
    assert sum(delays) == pytest.approx(1000 * n / float(rate), abs=20)
    if rate <= 50:
        assert len(delays) == n


def test_gif_pictures(tmp_path: Path) -> None:
    import imageio.v3 as iio

    write_gif(tmp_path / "a.gif", [picture(0), picture(200)], 10)
    shown = iio.imread(tmp_path / "a.gif", plugin="pillow", mode="RGB")
    assert shown.shape == (2, 24, 40, 3)
    assert np.max(np.abs(shown[1].astype(int) - picture(200))) <= 4
    assert iio.immeta(tmp_path / "a.gif", plugin="pillow")["loop"] == 0


def test_gif_refuses(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="No picture"):
        write_gif(tmp_path / "a.gif", [], 10)
    with pytest.raises(DataError, match="differ in size"):
        write_gif(tmp_path / "a.gif", [picture(), picture(0, 42)], 10)
    for rate in (0, -1, float("nan"), float("inf")):
        with pytest.raises(DataError, match="rate of"):
            write_gif(tmp_path / "a.gif", [picture()], rate)
    assert list(tmp_path.iterdir()) == []


def test_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> None:
    write_png(tmp_path / "a.png", picture(1))

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OutputError, match="disk is full"):
        write_png(tmp_path / "a.png", picture(2))
    with pytest.raises(OutputError, match="disk is full"):
        write_gif(tmp_path / "a.gif", [picture()], 10)
    assert np.array_equal(read_image(tmp_path / "a.png"), picture(1)), "what was there before stays"
    assert [path.name for path in tmp_path.iterdir()] == ["a.png"]
    assert capfd.readouterr().err == ""
