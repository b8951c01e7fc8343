"""What is written is read back: size, rate, tags, layout, likeness; and nothing is left of a failed attempt."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import textwrap
import threading
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from overlay.errors import DataError, OutputError
from overlay.video import VideoWriter, open_clip
from overlay.video.writer import check_whole, mp4_boxes


def scene(number: int, width: int = 120, height: int = 160) -> np.ndarray:
    """A smooth background with a bright bar that moves: what a comparison video is made of."""
    y, x = np.mgrid[:height, :width]
    image = np.stack([x * 200 // width, y * 200 // height, (x + y) * 100 // (width + height)], axis=-1).astype(np.uint8)
    left = (number * 4) % max(1, width - 10)
    image[height // 4 : height // 4 + 8, left : left + 10] = (255, 230, 40)
    return image


def write(path: Path, images: list[np.ndarray], rate: Fraction | float = 30, **options: Any) -> Path:
    height, width = images[0].shape[:2]
    with VideoWriter(path, width, height, rate, **options) as writer:
        for image in images:
            writer.write(image)
    return path


def psnr_db(a: np.ndarray, b: np.ndarray) -> float:
    return float(10 * np.log10(255**2 / np.mean((a.astype(float) - b.astype(float)) ** 2)))


@pytest.mark.parametrize("rate", [Fraction(30), Fraction(30000, 1001), 59.94, 24.0, 240])
def test_rate_and_count(tmp_path: Path, rate: Fraction | float) -> None:
    with open_clip(write(tmp_path / "a.mp4", [scene(i) for i in range(13)], rate)) as reader:
        clip = reader.clip
        assert clip.n_frames == 13
        assert not clip.is_variable_rate
        assert float(clip.nominal_rate) == pytest.approx(float(rate), rel=1e-5)
        np.testing.assert_allclose(clip.times_s, np.arange(13) / float(rate), atol=1e-4)
        assert clip.warnings == ()


def test_plays_on_phones_and_in_browsers(tmp_path: Path) -> None:
    import av

    path = write(tmp_path / "a.mp4", [scene(i) for i in range(40)])
    names = [name for name, _ in mp4_boxes(path)]
    assert names[0] == "ftyp"
    assert names.index("moov") < names.index("mdat"), "the index must stand in front for a browser to start at once"
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        assert stream.codec_context.name == "h264"
        assert stream.codec_context.pix_fmt == "yuv420p"
        assert stream.profile in ("High", "Main", "Constrained Baseline")
        assert (stream.width % 2, stream.height % 2) == (0, 0)
        first = next(container.decode(stream))
        assert (first.colorspace, first.color_range, first.color_trc, first.color_primaries) == (1, 1, 1, 1)
    with av.open(str(path)) as container:
        keys = [float(packet.pts * packet.time_base) for packet in container.demux(video=0) if packet.is_keyframe]
    assert keys[0] == 0.0
    assert max(np.diff(keys)) <= 0.5 + 1e-9, "players jump to key frames when scrubbing"


def test_likeness(tmp_path: Path) -> None:
    images = [scene(i) for i in range(20)]
    with open_clip(write(tmp_path / "a.mp4", images)) as reader:
        seen = [frame.image for frame in reader.frames()]
    assert min(psnr_db(a, b) for a, b in zip(seen, images)) > 34.0
    # No colour drifts: reading rounds down by about 1, a wrong matrix or range moves the mean by 5 or more.
    assert np.max(np.abs(np.mean(seen, axis=(0, 1, 2)) - np.mean(images, axis=(0, 1, 2)))) < 2.0
    with open_clip(write(tmp_path / "b.mp4", images, quality=4)) as reader:
        better = [frame.image for frame in reader.frames()]
    assert psnr_db(np.array(better), np.array(images)) > psnr_db(np.array(seen), np.array(images)) + 0.5
    assert (tmp_path / "b.mp4").stat().st_size > (tmp_path / "a.mp4").stat().st_size


@pytest.mark.parametrize(("width", "height"), [(121, 160), (120, 161), (121, 161), (1, 1), (17, 3), (2, 2)])
def test_odd_sizes_repeat_their_edge(tmp_path: Path, width: int, height: int) -> None:
    import av

    images = [scene(i, width, height) for i in range(4)]
    path = write(tmp_path / "a.mp4", images, quality=5)
    with av.open(str(path)) as container:
        seen = next(container.decode(video=0)).to_ndarray(format="rgb24")
    assert seen.shape == (height + height % 2, width + width % 2, 3)
    padded = np.pad(images[0], ((0, height % 2), (0, width % 2), (0, 0)), mode="edge")
    assert np.mean(np.abs(seen.astype(float) - padded)) < 12
    if width > 100:
        assert np.mean(np.abs(seen[:, -1].astype(float) - padded[:, -1])) < 12


def test_the_caller_may_draw_on_his_picture_again(tmp_path: Path) -> None:
    canvas = np.zeros((64, 64, 3), np.uint8)
    with VideoWriter(tmp_path / "a.mp4", 64, 64, 30) as writer:
        for shade in range(0, 240, 12):
            canvas[:] = shade
            writer.write(canvas)
    with open_clip(tmp_path / "a.mp4") as reader:
        shades = [int(frame.image.mean()) for frame in reader.frames()]
    np.testing.assert_allclose(shades, np.arange(0, 240, 12), atol=3)


def test_nothing_is_there_before_the_end(tmp_path: Path) -> None:
    with VideoWriter(tmp_path / "a.mp4", 64, 64, 30) as writer:
        writer.write(scene(0, 64, 64))
        assert not (tmp_path / "a.mp4").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["a.mp4"]


def test_an_exception_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / "a.mp4").write_bytes(b"the one from before")
    with pytest.raises(ZeroDivisionError), VideoWriter(tmp_path / "a.mp4", 64, 64, 30) as writer:  # noqa: PT012
        for i in range(20):
            writer.write(scene(i, 64, 64))
        raise ZeroDivisionError
    assert [path.name for path in tmp_path.iterdir()] == ["a.mp4"]
    assert (tmp_path / "a.mp4").read_bytes() == b"the one from before"
    assert not [thread for thread in threading.enumerate() if thread.name == "overlay-encode"]


@pytest.mark.parametrize("error", [KeyboardInterrupt, OutputError("Stop.", "Do."), OSError(errno.EIO, "not ours")])
def test_the_callers_own_error_comes_out(tmp_path: Path, error: Any) -> None:
    kind = error if isinstance(error, type) else type(error)
    with pytest.raises(kind) as caught, VideoWriter(tmp_path / "a.mp4", 64, 64, 30) as writer:  # noqa: PT012
        writer.write(scene(0, 64, 64))
        raise error
    assert type(caught.value) is kind
    assert list(tmp_path.iterdir()) == []


def test_no_picture(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="No picture was given"), VideoWriter(tmp_path / "a.mp4", 64, 64, 30):
        pass
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "image",
    [
        np.zeros((64, 66, 3), np.uint8),
        np.zeros((64, 64, 4), np.uint8),
        np.zeros((64, 64, 3)),
        np.zeros((64, 64), np.uint8),
    ],
)
def test_a_picture_that_does_not_fit(tmp_path: Path, image: np.ndarray) -> None:
    with pytest.raises(DataError, match="does not fit"), VideoWriter(tmp_path / "a.mp4", 64, 64, 30) as writer:
        writer.write(image)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("width", "height", "rate", "options", "match"),
    [
        (0, 64, 30, {}, "0×64"),
        (64, 64, 0, {}, "rate of 0"),
        (64, 64, float("nan"), {}, "rate of nan"),
        (64, 64, 1e6, {}, "rate of"),
        (64, 64, 30, {"quality": 99}, "quality of 99"),
    ],
)
def test_bad_options(tmp_path: Path, width: int, height: int, rate: float, options: dict[str, int], match: str) -> None:
    with pytest.raises(DataError, match=match):
        VideoWriter(tmp_path / "a.mp4", width, height, rate, **options)


def test_writing_outside_the_block(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="not open"):
        VideoWriter(tmp_path / "a.mp4", 64, 64, 30).write(scene(0, 64, 64))


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(OutputError, match="in the way"):
        write(tmp_path / "taken" / "a.mp4", [scene(0)])


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="the superuser may write everywhere")
def test_a_folder_that_is_read_only(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(OutputError, match="no permission"):
            write(tmp_path / "a.mp4", [scene(0)])
    finally:
        tmp_path.chmod(0o700)


def test_a_read_only_file_system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise OSError(errno.EROFS, "Read-only file system")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    with pytest.raises(OutputError, match="no permission"):
        write(tmp_path / "a.mp4", [scene(0)])


def test_the_encoder_meets_a_full_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The error of the encoding thread reaches the caller, as one he can act on."""
    import av

    from overlay.video import writer as module

    def full(self: VideoWriter, temporary: Path) -> None:
        raise av.error.OSError(errno.ENOSPC, "No space left on device", str(temporary))

    monkeypatch.setattr(module.VideoWriter, "_encode_to", full)
    with pytest.raises(OutputError, match="disk is full"):
        write(tmp_path / "a.mp4", [scene(i) for i in range(40)])
    assert list(tmp_path.iterdir()) == []


FULL = """
    import os, sys
    import numpy as np
    from overlay.errors import OutputError
    from overlay.video import VideoWriter
    {limit}
    noise = np.random.default_rng(0)
    try:
        with VideoWriter(os.path.join(sys.argv[1], "a.mp4"), 160, 120, 30) as writer:
            for _ in range({n}):
                writer.write(noise.integers(0, 255, (120, 160, 3), np.uint8))
    except OutputError as error:
        print(error.message)
    print(sorted(os.listdir(sys.argv[1])))
"""


def run_full(folder: Path, n: int, limit: str = "") -> subprocess.CompletedProcess[str]:
    script = textwrap.dedent(FULL).format(n=n, limit=limit)
    environment = dict(os.environ, PYTHONPATH=os.pathsep.join(path for path in sys.path if path))
    return subprocess.run(
        [sys.executable, "-c", script, str(folder)], capture_output=True, text=True, check=False, env=environment
    )


@pytest.mark.skipif(sys.platform != "linux", reason="limits the size of a file as Linux does")
@pytest.mark.parametrize("n", [12, 60])
def test_the_system_refuses_more_bytes(tmp_path: Path, n: int) -> None:
    """A real refusal by the system while encoding or while moving the index to the front."""
    limit = "import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))"
    done = run_full(tmp_path, n, limit)
    assert done.returncode == 0, done.stderr
    assert "a.mp4 cannot be written" in done.stdout
    assert done.stdout.splitlines()[-1] == "[]"
    assert done.stderr == ""


@pytest.fixture
def small_disk(tmp_path: Path) -> Any:
    place = tmp_path / "disk"
    place.mkdir()
    if sys.platform != "linux" or os.geteuid() != 0:
        pytest.skip("mounting a small disk needs the superuser")
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=128k", "tmpfs", str(place)], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("a small disk cannot be mounted here")
    yield place
    subprocess.run(["umount", str(place)], check=True)


@pytest.mark.parametrize("n", [8, 10, 12, 14, 60])
def test_a_really_full_disk(small_disk: Path, n: int) -> None:
    done = run_full(small_disk, n)
    assert done.stderr == ""
    # Around the size of the disk either is right, but never a half-written file that is taken for a whole one.
    if n < 60 and done.stdout.splitlines() == ["['a.mp4']"]:
        check_whole(small_disk / "a.mp4")
        return
    assert "The disk is full" in done.stdout
    assert done.stdout.splitlines()[-1] == "[]"


def test_an_incomplete_file_is_noticed(tmp_path: Path) -> None:
    path = write(tmp_path / "a.mp4", [scene(i) for i in range(10)])
    check_whole(path)
    content = path.read_bytes()
    path.write_bytes(content[:-50])
    with pytest.raises(OSError, match="incomplete") as caught:
        check_whole(path)
    assert caught.value.errno == errno.ENOSPC
    path.write_bytes(content[: content.index(b"moov") - 4])
    with pytest.raises(OSError, match="not finished"):
        check_whole(path)


def test_an_incomplete_file_does_not_appear(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A muxer that says nothing of a full disk is found out before the file takes its name."""

    def incomplete(path: Path) -> None:
        path.write_bytes(path.read_bytes()[:-100])
        check_whole(path)

    monkeypatch.setattr("overlay.video.writer.check_whole", incomplete)
    with pytest.raises(OutputError, match="disk is full"):
        write(tmp_path / "a.mp4", [scene(0)])
    assert list(tmp_path.iterdir()) == []


def test_encoding_says_nothing(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    write(tmp_path / "a.mp4", [scene(i) for i in range(5)])
    said = capfd.readouterr()
    assert said.err == ""
    assert said.out == ""


def test_composing_and_encoding_overlap(tmp_path: Path) -> None:
    """write() hands over and returns: pictures are taken while the encoder is still waiting."""
    with VideoWriter(tmp_path / "a.mp4", 64, 64, 30) as writer:
        assert writer._thread is not None
        assert writer._thread is not threading.current_thread()
        for i in range(3):
            writer.write(scene(i, 64, 64))
        assert writer.n_written == 3


def test_a_repeated_picture_is_the_same_as_one_written_twice(tmp_path: Path) -> None:
    from overlay.video import open_clip

    rng = np.random.default_rng(4)
    images = [np.kron(rng.integers(0, 255, (8, 6, 3)), np.ones((8, 8, 1))).astype(np.uint8) for _ in range(3)]
    for name, again in (("repeat", True), ("twice", False)):
        with VideoWriter(tmp_path / f"{name}.mp4", 48, 64, 30) as writer:
            for image in images:
                writer.write(image)
                for _ in range(4):
                    if again:
                        writer.repeat()
                    else:
                        writer.write(image)
    frames = []
    for name in ("repeat", "twice"):
        with open_clip(tmp_path / f"{name}.mp4") as reader:
            frames.append([frame.image for frame in reader.frames()])
    assert len(frames[0]) == len(frames[1]) == 15
    for one, other in zip(*frames):
        np.testing.assert_array_equal(one, other)


def test_nothing_can_be_repeated_before_the_first_picture(tmp_path: Path) -> None:
    with pytest.raises(DataError, match="no picture to repeat"), VideoWriter(tmp_path / "a.mp4", 48, 64, 30) as writer:
        writer.repeat()
    assert list(tmp_path.iterdir()) == []
