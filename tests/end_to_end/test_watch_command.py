"""``overlay watch`` as a user calls it: clips come in while it runs, the newest comparison is shown and written."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from batch_factory import still_track, write_track

from overlay.library import open_store

Command = Callable[..., subprocess.CompletedProcess[str]]

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")


class Watch:
    """A running ``overlay watch``; its words are read as they come."""

    def __init__(self, arguments: list[str], environment: dict[str, str], where: Path, *given: object) -> None:
        self.process = subprocess.Popen(
            [*arguments, "watch", *map(str, given)],
            env=environment,
            cwd=where,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        )
        self.said: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said.append(line.rstrip())

    @property
    def text(self) -> str:
        return "\n".join(self.said)

    def wait_for(self, word: str) -> None:
        for _ in range(2400):
            if word in self.text:
                return
            if self.process.poll() is not None:
                break
            time.sleep(0.05)
        assert word in self.text, self.text

    def stop(self) -> int:
        self.process.send_signal(signal.SIGINT)
        code = self.process.wait(120)
        self._reader.join(5)
        return code


@pytest.fixture
def started(
    overlay_arguments: list[str], overlay_environment: dict[str, str], tmp_path: Path
) -> Iterator[Callable[..., Watch]]:
    running: list[Watch] = []

    def start(*given: object) -> Watch:
        running.append(Watch(overlay_arguments, overlay_environment, tmp_path, *given))
        return running[-1]

    yield start
    for one in running:
        if one.process.poll() is None:
            one.process.kill()
            one.process.wait()


def test_clips_are_read_as_they_come_and_the_newest_is_compared(started: Callable[..., Watch], tmp_path: Path) -> None:
    folder, out, library = tmp_path / "phone", tmp_path / "phone" / "newest", tmp_path / "library.sqlite"
    folder.mkdir()
    reference = write_track(tmp_path / "reference.npz", 7)
    write_track(folder / "first.npz", 0)
    watch = started(
        *(folder, "--player", "Rowan Vale", "--reference", reference, "--out", out, "--no-video"),
        *("--library", library, "--still", "0.2", "--workers", "1"),
    )
    watch.wait_for("first.npz compared")
    assert "Against reference: " in watch.text
    assert "First: " in watch.text
    assert "Filming" in watch.text
    before = (out / "report.html").read_bytes()
    assert {path.name for path in out.iterdir()} == {"stills.png", "report.html", "comparison.json"}
    assert "first.npz" in (out / "comparison.json").read_text()

    # Half-copied, then whole under its own name; one without a swing; one that holds another view.
    whole = write_track(tmp_path / "second.npz", 1)
    (folder / "second.npz.part").write_bytes(whole.read_bytes()[:5000])
    still_track(folder / "practice.npz")
    watch.wait_for("practice.npz: failed")
    shutil.copy(whole, folder / "second.npz.part")
    (folder / "second.npz.part").rename(folder / "second.npz")
    watch.wait_for("second.npz compared")
    assert "second.npz" in (out / "comparison.json").read_text()
    assert (out / "report.html").read_bytes() != before
    write_track(folder / "other.npz", 2, "fo")
    watch.wait_for("No pictures of other.npz")
    assert "Not compared with reference: it holds no swing face on." in watch.text
    assert {path.name for path in out.iterdir()} == {"stills.png", "report.html", "comparison.json"}

    assert watch.stop() == 4
    assert "4 clips: 3 added, 1 failed; 3 swings read." in watch.text
    with open_store(library) as store:
        assert store.check() == ()
        assert store.count_swings() == 3


def test_a_file_that_is_not_finished_is_named_at_the_end(started: Callable[..., Watch], tmp_path: Path) -> None:
    folder = tmp_path / "phone"
    folder.mkdir()
    write_track(folder / "whole.npz", 0)
    (folder / "half.mp4").write_bytes((100_000).to_bytes(4, "big") + b"mdat" + bytes(500))
    given = ("--player", "Rowan Vale", "--library", tmp_path / "l.sqlite", "--still", "0.2")
    watch = started(folder, *given)
    watch.wait_for("whole.npz: added")
    assert watch.stop() == 0
    assert "Left out: 1 × not whole." in watch.text
    with open_store(tmp_path / "l.sqlite") as store:
        assert [clip.path.name for clip in store.clips()] == ["whole.npz"]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("nowhere", "--player", "Rowan"), 3, "There is no folder nowhere."),
        ((".",), 2, "--player NAME"),
        ((".", "--player", "Rowan", "--out", "."), 3, "is the folder that is watched"),
        ((".", "--player", "Rowan", "--no-video"), 2, "--no-video is for --out"),
        ((".", "--player", "Rowan", "--reference", "nobody"), 3, "There is no file nobody"),
    ],
)
def test_what_cannot_be_watched_is_told_in_two_lines(
    overlay_command: Command, tmp_path: Path, arguments: tuple[str, ...], code: int, said: str
) -> None:
    done = overlay_command("watch", *arguments, "--library", tmp_path / "l.sqlite")
    assert done.returncode == code, done.stderr
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 2
