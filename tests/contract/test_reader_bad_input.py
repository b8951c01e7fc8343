"""Files that are broken, cut off or no clips at all: two clear sentences, never a library's own error or chatter."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest
import video_clips as clips
from hypothesis import given
from hypothesis import strategies as st

from overlay.errors import InputError
from overlay.video import follow, open_clip, write_png


def moving(n: int = 60) -> list[np.ndarray]:
    """Pictures with detail that moves, so that every frame costs some bytes."""
    texture = np.random.default_rng(7).integers(0, 255, (32, 24, 3), np.uint8).repeat(4, 0).repeat(4, 1)
    return [np.roll(texture, 3 * i, axis=0) for i in range(n)]


@pytest.fixture(scope="module")
def fast_start(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    path = tmp_path_factory.mktemp("whole") / "clip.mp4"
    return clips.encode(path, moving(), container_options={"movflags": "+faststart"}).read_bytes()


@pytest.fixture(scope="module")
def index_last(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    return clips.encode(tmp_path_factory.mktemp("whole") / "clip.mp4", moving()).read_bytes()


def assert_refused(path: Path, match: str, capfd: pytest.CaptureFixture[str] | None = None) -> InputError:
    with pytest.raises(InputError, match=match) as caught:
        open_clip(path)
    error = caught.value
    for sentence in (error.message, error.hint):
        assert sentence.endswith(".")
        assert "\n" not in sentence
        assert "Errno" not in sentence
        assert "avcodec" not in sentence
    if capfd is not None:
        said = capfd.readouterr()
        assert said.err == ""
        assert said.out == ""
    return error


def test_empty_file(tmp_path: Path) -> None:
    (tmp_path / "clip.mp4").touch()
    assert_refused(tmp_path / "clip.mp4", "is empty")


@pytest.mark.parametrize(
    "content",
    [
        b"quiet hands, long lead arm\n" * 200,
        bytes(10_000),
        np.random.default_rng(3).bytes(20_000),
        b"\x00\x00\x00\x18ftypisom" + bytes(2000),
        b"#EXTM3U\n#EXTINF:10,\nhttp://127.0.0.1:9/part.ts\n#EXT-X-ENDLIST\n",
        b"ffconcat version 1.0\nfile other.mp4\n",
    ],
)
def test_not_a_video(tmp_path: Path, content: bytes, capfd: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "clip.mp4"
    path.write_bytes(content)
    assert_refused(path, "not a video|holds no pictures|No picture", capfd)


def test_sound_only(tmp_path: Path) -> None:
    path = tmp_path / "clip.wav"
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(8000)
        out.writeframes(bytes(16000))
    assert_refused(path, "holds sound but no pictures")


def test_single_picture(tmp_path: Path) -> None:
    write_png(tmp_path / "still.png", clips.numbered(1))
    assert_refused(tmp_path / "still.png", "single picture")


def test_folder_without_pictures(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("nothing")
    (tmp_path / "._still1.png").write_bytes(b"left behind by a file manager")
    assert_refused(tmp_path, "holds no PNG or JPEG")


def test_wrong_backend(tmp_path: Path) -> None:
    (tmp_path / "clip.mp4").write_bytes(b"x")
    with pytest.raises(InputError, match="is a folder"):
        open_clip(tmp_path, backend="pyav")
    with pytest.raises(InputError, match="is not a folder"):
        open_clip(tmp_path / "clip.mp4", backend="stills")


def test_one_pixel(tmp_path: Path) -> None:
    assert_refused(
        clips.encode(tmp_path / "clip.avi", [np.zeros((1, 1, 3), np.uint8)] * 3, codec="ffv1", pixel_format="yuv444p"),
        "only 1×1 px",
    )
    write_png(tmp_path / "stills" / "a.png", np.zeros((1, 1, 3), np.uint8))
    assert_refused(tmp_path / "stills", "only 1×1 px")


def test_index_missing_because_cut_off(tmp_path: Path, index_last: bytes, capfd: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "clip.mp4"
    path.write_bytes(index_last[: len(index_last) // 2])
    assert "cut off" in assert_refused(path, "not a video", capfd).hint


@pytest.mark.parametrize("share", [0.35, 0.6, 0.95])
def test_cut_off_but_partly_there(
    tmp_path: Path, fast_start: bytes, share: float, capfd: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "clip.mp4"
    path.write_bytes(fast_start[: int(len(fast_start) * share)])
    with open_clip(path) as reader:
        assert any("cut off" in warning for warning in reader.clip.warnings)
        frames = list(reader.frames())
        assert 0 < len(frames) <= reader.clip.n_frames < 60
        assert reader.frame_at(99.0).index == frames[-1].index
    assert capfd.readouterr().err == ""


def test_cut_off_matroska(tmp_path: Path) -> None:
    path = clips.encode(tmp_path / "clip.mkv", moving())
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    with open_clip(path) as reader:
        assert any("cut off" in warning for warning in reader.clip.warnings)
        assert 0 < len(list(reader.frames())) <= reader.clip.n_frames < 60


def test_nothing_decodes(tmp_path: Path, fast_start: bytes, capfd: pytest.CaptureFixture[str]) -> None:
    start = fast_start.index(b"mdat") + 4
    path = tmp_path / "clip.mp4"
    path.write_bytes(fast_start[:start] + np.random.default_rng(5).bytes(len(fast_start) - start))
    assert_refused(path, "No picture of .* can be decoded", capfd)


def test_damaged_start_is_told(tmp_path: Path, fast_start: bytes) -> None:
    content = bytearray(fast_start)
    start = content.index(b"mdat") + 4
    content[start + 20 : start + 1500] = np.random.default_rng(5).bytes(1480)
    path = tmp_path / "clip.mp4"
    path.write_bytes(bytes(content))
    with open_clip(path) as reader:
        assert any("first" in warning and "cannot be decoded" in warning for warning in reader.clip.warnings)
        times = [frame.time_s for frame in reader.frames()]
        assert times[0] == 0.0
        assert len(times) == reader.clip.n_frames < 60


def test_pictures_lost_in_the_middle(tmp_path: Path) -> None:
    """A frame that cannot be decoded is left out, and the one before stays on the screen."""
    path = clips.encode(
        tmp_path / "clip.avi", [clips.numbered(i) for i in range(20)], codec="mjpeg", pixel_format="yuvj420p"
    )
    content = bytearray(path.read_bytes())
    pictures_at = content.index(b"movi")
    places = [i for i in range(pictures_at, len(content) - 8) if content[i : i + 4] == b"00dc"][:20]
    size = int.from_bytes(content[places[7] + 4 : places[7] + 8], "little")
    content[places[7] + 8 : places[7] + 8 + size] = bytes(size)
    path.write_bytes(bytes(content))
    with open_clip(path) as reader:
        assert reader.clip.n_frames == 20
        assert [frame.index for frame in reader.frames()] == [i for i in range(20) if i != 7]
        lost_s = float(reader.clip.times_s[7])
        assert reader.frame_at(lost_s).index == 6
        assert [frame.index for frame in follow(reader, [lost_s, lost_s + 0.034])] == [6, 8]


def test_absurd_times(tmp_path: Path) -> None:
    from fractions import Fraction

    pictures = [clips.numbered(i) for i in range(6)]
    slow = clips.encode(
        tmp_path / "slow.mp4",
        pictures,
        pts=[i * 90_000 * 60 for i in range(6)],
        time_base=Fraction(1, 90_000),
        options={"bf": "0"},
    )
    assert_refused(slow, "make no sense")
    days = clips.encode(
        tmp_path / "days.mkv",
        pictures,
        pts=[0, 33, 66, 99, 133, 10**9],
        time_base=Fraction(1, 1000),
        options={"bf": "0"},
    )
    assert_refused(days, "make no sense")


def test_stills_that_do_not_fit(tmp_path: Path) -> None:
    write_png(tmp_path / "1.png", clips.numbered(1))
    write_png(tmp_path / "2.png", clips.numbered(2, 80, 64))
    assert_refused(tmp_path, "80×64 px, the first still 96×64 px")
    (tmp_path / "2.png").write_bytes(b"no picture")
    assert_refused(tmp_path, "not a picture")


def test_a_still_broken_inside(tmp_path: Path) -> None:
    write_png(tmp_path / "1.png", clips.numbered(1))
    write_png(tmp_path / "2.png", clips.numbered(2))
    content = (tmp_path / "2.png").read_bytes()
    (tmp_path / "2.png").write_bytes(content[:60])
    with open_clip(tmp_path) as reader, pytest.raises(InputError, match="not a picture"):
        list(reader.frames())


@pytest.mark.parametrize(
    ("name", "content", "match"),
    [
        ("clip.json", "{rate: 60", "not JSON"),
        ("clip.json", "[60]", "does not describe"),
        ("clip.json", '{"rate": -5}', "makes no sense"),
        ("clip.json", '{"rate": "fast"}', "makes no sense"),
        ("clip.json", '{"rate": 30, "capture_rate": "many"}', "capture rate"),
        ("times.csv", "0\n", "1 times for 2 stills"),
        ("times.csv", "file,time_s\n1.png,0\n", "no time for 2.png"),
        ("times.csv", "1.png,0\n2.png,soon\n", "without a time"),
        ("times.csv", "0\n1e9\n", "make no sense"),
    ],
)
def test_bad_side_files(tmp_path: Path, name: str, content: str, match: str) -> None:
    for i in (1, 2):
        write_png(tmp_path / f"{i}.png", clips.numbered(i))
    (tmp_path / name).write_text(content)
    assert_refused(tmp_path, match)


@given(cuts=st.data())
def test_any_damage_gives_frames_or_an_input_error(
    fast_start: bytes, tmp_path_factory: pytest.TempPathFactory, cuts: st.DataObject
) -> None:
    """Whatever bytes are cut or overwritten: either a clip that keeps the contract, or InputError."""
    content = bytearray(fast_start)
    for _ in range(cuts.draw(st.integers(1, 4))):
        at = cuts.draw(st.integers(0, len(content) - 1))
        if cuts.draw(st.booleans()):
            del content[at : at + cuts.draw(st.integers(1, 3000))]
        else:
            junk = cuts.draw(st.binary(min_size=1, max_size=40))
            content[at : at + len(junk)] = junk
        if not content:
            content = bytearray(b"\0")
    path = tmp_path_factory.mktemp("damaged") / "clip.mp4"
    path.write_bytes(bytes(content))
    try:
        reader = open_clip(path)
    except InputError:
        return
    with reader:
        last = -1
        for frame in reader.frames():
            assert frame.index > last
            assert frame.image.shape == (reader.clip.height, reader.clip.width, 3)
            last = frame.index
        wanted_s = reader.clip.duration_s / 2
        try:
            assert reader.frame_at(wanted_s).time_s <= wanted_s + 1e-6
        except InputError:
            # Only when nothing up to there can be decoded.
            assert next(reader.frames(stop_s=wanted_s), None) is None
