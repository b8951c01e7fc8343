"""``overlay mark`` as a person uses it: mark, see what changed, correct, read pixels off a still."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

Run = Callable[..., "subprocess.CompletedProcess[str]"]
WIDTH, HEIGHT, RATE, FRAMES = 96, 64, 10, 100


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Ten seconds of a white dot that moves one pixel a frame along row 20."""
    from overlay.video import VideoWriter

    path = tmp_path_factory.mktemp("clip") / "swing.mp4"
    with VideoWriter(path, WIDTH, HEIGHT, RATE) as writer:
        for i in range(FRAMES):
            image = np.full((HEIGHT, WIDTH, 3), 40, np.uint8)
            image[19:22, max(0, i - 1) : i + 2] = 255
            writer.write(image)
    return path


@pytest.fixture
def clip(recorded: Path, tmp_path: Path) -> Path:
    path = tmp_path / "swing.mp4"
    path.write_bytes(recorded.read_bytes())
    return path


def ok(done: subprocess.CompletedProcess[str]) -> str:
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout


def refused(done: subprocess.CompletedProcess[str], code: int) -> str:
    assert done.returncode == code, done.stdout + done.stderr
    lines = done.stderr.strip().splitlines()
    assert len(lines) == 2, done.stderr
    assert lines[0].startswith("error: ")
    return done.stderr


def test_marking_correcting_and_forgetting(overlay_command: Run, clip: Path) -> None:
    assert "nothing is marked" in ok(overlay_command("mark", clip))
    out = ok(
        overlay_command(
            "mark",
            clip,
            "--position",
            "top=3.91",
            "--position",
            "shaft-level-back=f25",
            "--view",
            "dtl",
            "--hand",
            "left",
            "--club",
            "f25:20,30:60,10",
            "--club",
            "3.95:10,10:50,60",
        )
    )
    assert "top: 3.910 s (new)" in out
    assert "hand: left-handed (new)" in out
    table = out[out.index("Marks of swing.mp4") :]
    assert [line.split()[0] for line in table.splitlines()[2:]] == ["view", "hand", "shaft", "top", "club", "club"]
    # The pixels belong to the frame that was shown at 3.95 s: the one of 3.9 s.
    assert "club              3.900    f39    grip 10, 10 · head 50, 60 px" in table
    out = ok(overlay_command("mark", clip, "--position", "top=4.0", "--remove", "club=f25", "--remove", "hand"))
    assert "top: 3.910 s → 4.000 s" in out
    assert "club: at 2.500 s grip 20, 30 and head 60, 10 removed" in out
    assert "hand: left-handed removed" in out
    assert "Nothing changed" in ok(overlay_command("mark", clip, "--view", "dtl"))
    saved = json.loads((clip.parent / "swing.mp4.marks.json").read_text())
    assert saved["positions"] == [{"name": "shaft_level_back", "time_s": 2.5}, {"name": "top", "time_s": 4.0}]
    assert saved["picture"] == {"width": WIDTH, "height": HEIGHT, "rotation_deg": 0, "mirrored": False}
    assert "nothing is marked" in ok(overlay_command("mark", clip, "--remove", "all"))
    assert [path.name for path in clip.parent.iterdir()] == ["swing.mp4"]


def test_json_holds_marks_and_changes(overlay_command: Run, clip: Path) -> None:
    done = json.loads(ok(overlay_command("mark", clip, "--position", "impact=5", "--position", "top=5.2", "--json")))
    assert (done["schema"], done["kind"]) == (1, "mark")
    assert done["file"].endswith("swing.mp4.marks.json")
    assert done["changes"][0] == {"what": "impact", "before": None, "after": "5.000 s"}
    assert "one of the two times is wrong" in done["notes"][0]
    assert done["marks"] == json.loads((clip.parent / "swing.mp4.marks.json").read_text())


def test_a_mirrored_clip_shows_mirrored_marks(overlay_command: Run, clip: Path) -> None:
    ok(overlay_command("mark", clip, "--club", "f3:20,30:60,10", "--hand", "right"))
    out = ok(overlay_command("mark", clip, "--mirrored"))
    assert f"grip {WIDTH - 20}, 30 · head {WIDTH - 60}, 10 px" in out
    assert "left-handed" in out
    assert "turned by 90°" in refused(overlay_command("mark", clip, "--rotate", "90"), 3)


@pytest.mark.parametrize(
    ("arguments", "code", "complaint"),
    [
        (("--position", "tops=3"), 2, "'tops' is no position"),
        (("--position", "top"), 2, "gives no moment"),
        (("--position", "top=-1"), 2, "gives no moment"),
        (("--position", "top=nan"), 2, "gives no moment"),
        (("--position", "top=99"), 3, "ends at 10.00 s, before 99 s"),
        (("--position", "top=f100"), 3, "has the frames f0 to f99, so there is no f100"),
        (("--club", "3:1,2"), 2, "is no club mark"),
        (("--club", "3:1,2:300,4"), 3, "club head at 300, 4 lies outside the picture of 96×64 px"),
        (("--club", "3:-5,2:30,4"), 3, "grip at -5, 2 lies outside"),
        (("--club", "3:1,2:1,2"), 3, "fall together"),
        (("--remove", "head"), 2, "cannot be removed"),
        (("--remove", "view"), 3, "The view is not marked"),
        (("--remove", "top=4"), 3, "Top is not marked near 4.000 s"),
        (("--list", "--view", "fo"), 2, "--list changes nothing"),
        (("--still", "3"), 2, "belong together"),
        (("--window", "0,0,9,9"), 2, "--window is for --still"),
        (("--still", "3", "--out", "a.png", "--window", "200,0,300,9"), 3, "shows nothing of a picture"),
        (("--view", "behind"), 2, "behind"),
    ],
)
def test_what_is_wrong_is_said_in_two_lines(
    clip: Path, arguments: tuple[str, ...], code: int, complaint: str, capsys: pytest.CaptureFixture[str]
) -> None:
    from overlay.cli.main import run

    # In this process: starting the command anew for every mistake would take a minute.
    returned = run(["mark", str(clip), *arguments])
    told = capsys.readouterr()
    assert complaint in refused(subprocess.CompletedProcess([], returned, told.out, told.err), code)
    assert [path.name for path in clip.parent.iterdir()] == ["swing.mp4"]


def test_one_wrong_change_changes_nothing(overlay_command: Run, clip: Path) -> None:
    ok(overlay_command("mark", clip, "--position", "top=3.9"))
    before = (clip.parent / "swing.mp4.marks.json").read_bytes()
    refused(overlay_command("mark", clip, "--view", "fo", "--position", "top=9"), 3)
    assert (clip.parent / "swing.mp4.marks.json").read_bytes() == before
    out = ok(overlay_command("mark", clip, "--also", "top=9"))
    assert out.count("top") == 3  # what changed, and both in the table


def test_a_mark_beyond_the_end_can_be_forgotten(overlay_command: Run, clip: Path) -> None:
    ok(overlay_command("mark", clip, "--position", "top=3.9", "--club", "f20:5,6:30,40"))
    marks = clip.parent / "swing.mp4.marks.json"
    text = marks.read_text().replace('"time_s": 3.9', '"time_s": 390.0').replace('"time_s": 2.0', '"time_s": 200.0')
    marks.write_text(text)
    assert ok(overlay_command("mark", clip)).count("after the end") == 2
    assert "removed" in ok(overlay_command("mark", clip, "--remove", "top=390"))
    assert "removed" in ok(overlay_command("mark", clip, "--remove", "club=200"))
    assert not marks.exists()


def test_marks_of_another_recording_and_broken_ones_are_refused(overlay_command: Run, clip: Path) -> None:
    ok(overlay_command("mark", clip, "--position", "top=3.9"))
    marks = clip.parent / "swing.mp4.marks.json"
    before = marks.read_bytes()
    with open(clip, "ab") as file:
        file.write(b"\0\0\0\x08free")
    assert "another recording" in refused(overlay_command("mark", clip, "--view", "fo"), 3)
    assert marks.read_bytes() == before
    marks.write_bytes(before[:-40])
    assert "not JSON" in refused(overlay_command("mark", clip, "--view", "fo"), 3)
    assert marks.read_bytes() == before[:-40]


def test_a_still_shows_pixels_where_they_are(overlay_command: Run, clip: Path, tmp_path: Path) -> None:
    import imageio.v3 as iio

    def dot(*arguments: object) -> tuple[float, float, float, float]:
        """Left, top, width and height of the white dot on the still, below the title and beside the numbers."""
        out = ok(overlay_command("mark", clip, "--still", *arguments, "--out", tmp_path / "still.png"))
        assert "still: " in out
        still = np.asarray(iio.imread(tmp_path / "still.png"))[..., :3].astype(int)
        white = np.argwhere((still > 200).all(axis=2))
        assert (white[:, 0] < 65).sum() > 50
        white = white[(white[:, 0] > 65) & (white[:, 1] > 60) & (white[:, 1] < still.shape[1] - 30)]
        (top, left), (bottom, right) = white.min(axis=0), white.max(axis=0)
        return left, top, right - left + 1, bottom - top + 1

    # 96 px are shown 12 times as large, and the dot of three by three pixels moves one to the right a frame.
    left, top, width, height = dot("f40")
    assert (width, height) == pytest.approx((36, 36), abs=3)
    assert dot("f50")[:2] == pytest.approx((left + 120, top), abs=3)
    # A window that begins at 30, 10 shows it so much further left and higher; the rulers keep their place.
    assert dot("f40", "--window", "30,10,90,60")[:2] == pytest.approx((left - 360, top - 120), abs=12)
    assert not (clip.parent / "swing.mp4.marks.json").exists()


def test_a_still_never_goes_over_the_clip_or_its_marks(overlay_command: Run, clip: Path) -> None:
    before = clip.read_bytes()
    assert "which it is made from" in refused(overlay_command("mark", clip, "--still", "1", "--out", clip), 6)
    assert clip.read_bytes() == before


def test_a_saved_track_is_marked_too(overlay_command: Run, tmp_path: Path) -> None:
    track = tmp_path / "swing.csv"
    rows = "\n".join(f"{i / 30:.4f},nose,{100 + i},50" for i in range(60))
    track.write_text(f"# width=480, height=854\ntime_s,joint,x_px,y_px\n{rows}\n")
    assert "top: 1.000 s (new)" in ok(overlay_command("mark", track, "--position", "top=f30"))
    assert "no picture to show" in refused(
        overlay_command("mark", track, "--still", "1", "--out", tmp_path / "a.png"), 3
    )
    assert "saved track" in refused(overlay_command("mark", track, "--rotate", "90"), 3)
