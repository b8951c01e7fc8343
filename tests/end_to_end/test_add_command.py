"""``overlay add`` as a user calls it: tables, exit codes, Ctrl-C, death at any moment, two programs at once."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from batch_factory import still_track, write_track

from overlay.library import open_store

Command = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture(scope="module")
def originals(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("originals")
    return [write_track(folder / f"swing{i}.npz", i, "fo" if i == 2 else "dtl") for i in range(4)]


@pytest.fixture
def folder(tmp_path: Path, originals: list[Path]) -> Path:
    place = tmp_path / "range"
    place.mkdir()
    for path in originals:
        shutil.copy2(path, place)
    return place


@pytest.fixture
def library(tmp_path: Path) -> Path:
    return tmp_path / "library.sqlite"


def test_a_session_is_added_and_added_again(
    overlay_command: Command, folder: Path, library: Path, tmp_path: Path
) -> None:
    still_track(folder / "practice.npz")
    (folder / "notes.txt").write_text("windy")
    told = ("--player", "Rowan Vale", "--club", "7 iron", "--date", "2026-05-03", "--library", library)
    done = overlay_command("add", folder, *told, "--place", "Larkspur Range", "--tag", "wind", "--workers", 2)
    assert done.returncode == 4, done.stderr
    assert "5 clips: 4 added, 1 failed; 4 swings read. Session 1." in done.stdout
    assert "practice.npz: No full swing is seen" in done.stdout
    assert "Left out: 1 × no clip." in done.stdout
    assert "overlay session 1" in done.stdout
    # The file's own day was not needed.
    assert "*" not in done.stdout
    assert done.stderr.count("added: 1 swing") == 4
    again = overlay_command("add", folder, *told, "--json", "--quiet")
    assert again.returncode == 4
    assert again.stderr == ""
    document = json.loads(again.stdout)
    assert document["kind"] == "clips added"
    assert document["counts"] == {"known": 4, "failed": 1}
    assert {row["date"] for row in document["clips"]} == {"2026-05-03"}
    (folder / "practice.npz").unlink()
    assert overlay_command("add", folder, *told, "--quiet").returncode == 0
    with open_store(library) as store:
        (session,) = store.sessions("rowan vale")
        assert (session.place, session.n_swings, session.n_failed) == ("Larkspur Range", 4, 1)
        assert store.check() == ()
    # The next command that is named is one there is.
    assert overlay_command("session", 1, "--library", library).returncode == 0


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("nothing.mp4", "--player", "Rowan"), 3, "There is no file or folder nothing.mp4."),
        ((".", "--player", "Rowan"), 4, "There is no clip in what was given."),
        ((".",), 2, "--player NAME"),
        (("--player", "Rowan"), 2, "Give clips or folders of clips."),
        ((".", "--outdated", "--player", "Rowan"), 2, "without PATHS"),
        (("--outdated",), 3, "no library"),
        ((".", "--player", "Rowan", "--focus", "hand_dept_top"), 3, "There is no measure"),
        ((".", "--player", "Rowan", "--date", "3/5/2026"), 2, "two days"),
        ((".", "--player", "Rowan", "--date", "2126-05-03"), 2, "still to come"),
        ((".", "--player", "Rowan", "--workers", "0"), 2, "--workers"),
        ((".", "--player", "Rowan", "--cluster", "nowhere"), 3, "nowhere"),
    ],
)
def test_what_cannot_be_done_is_told_in_two_lines(
    overlay_command: Command, library: Path, arguments: tuple[str, ...], code: int, said: str
) -> None:
    done = overlay_command("add", *arguments, "--library", library)
    assert done.returncode == code, done.stderr
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 2
    assert done.stdout == ""


def test_a_library_that_cannot_be_opened_is_told_before_any_work(
    overlay_command: Command, folder: Path, tmp_path: Path
) -> None:
    (tmp_path / "text.sqlite").write_text("no library at all, but a text of some length" * 50)
    (tmp_path / "file").write_text("x")
    for library in (tmp_path / "text.sqlite", tmp_path / "file" / "library.sqlite"):
        done = overlay_command("add", folder, "--player", "Rowan", "--library", library)
        assert done.returncode in (3, 6)
        assert len(done.stderr.strip().splitlines()) == 2
    assert (tmp_path / "text.sqlite").read_text().startswith("no library")


class Running:
    """``overlay …`` in a process of its own, whose words are read as they come."""

    def __init__(self, arguments: list[str], environment: dict[str, str], where: Path, *given: object) -> None:
        self.process = subprocess.Popen(
            [*arguments, *map(str, given)],
            env=environment,
            cwd=where,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            # A test runner in the background may ignore Ctrl-C, and its children then would too.
            preexec_fn=_hear_interrupts if os.name == "posix" else None,
        )
        self.said: list[str] = []
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        assert self.process.stderr is not None
        for line in self.process.stderr:
            self.said.append(line.rstrip())

    def wait_for(self, word: str, times: int = 1) -> None:
        """Until ``word`` was said so often; a run that ends before fails the test."""
        for _ in range(2400):
            if sum(word in line for line in self.said) >= times:
                return
            if self.process.poll() is not None:
                break
            time.sleep(0.05)
        self._reader.join(5)
        assert sum(word in line for line in self.said) >= times, self.said

    def end(self, number: int) -> tuple[int, str]:
        """Exit code and standard output after a signal."""
        self.process.send_signal(number)
        assert self.process.stdout is not None
        output = self.process.stdout.read()
        code = self.process.wait(120)
        self._reader.join(5)
        return code, output

    def names(self) -> set[str]:
        """Of clips that were told as added."""
        return {line.split("] ")[1].split(":")[0] for line in self.said if ": added" in line}


def _hear_interrupts() -> None:
    signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_stopping_keeps_what_is_done_and_says_how_to_go_on(
    overlay_arguments: list[str],
    overlay_environment: dict[str, str],
    overlay_command: Command,
    folder: Path,
    library: Path,
    tmp_path: Path,
    number: int,
) -> None:
    told = ("add", folder, "--player", "Rowan Vale", "--library", library, "--workers", 1)
    running = Running(overlay_arguments, overlay_environment, tmp_path, *told)
    running.wait_for(": added")
    code, output = running.end(number)
    assert code == 130
    assert "the same command goes on with the rest" in running.said[-1]
    assert "added" in output
    with open_store(library) as store:
        assert {clip.path.name for clip in store.clips()} >= running.names()
        assert store.check() == ()
    done = overlay_command(*told)
    assert done.returncode == 0, done.stderr
    assert "4 clips: " in done.stdout
    with open_store(library) as store:
        assert store.count_swings() == 4


@pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")
def test_death_in_the_middle_leaves_nothing_half_recorded(
    overlay_arguments: list[str], overlay_environment: dict[str, str], folder: Path, library: Path, tmp_path: Path
) -> None:
    told = ("add", folder, "--player", "Rowan Vale", "--library", library, "--workers", 2)
    added: set[str] = set()
    for n in (1, 1):
        running = Running(overlay_arguments, overlay_environment, tmp_path, *told)
        running.wait_for(": added", n)
        code, _ = running.end(signal.SIGKILL)
        assert code == -signal.SIGKILL
        added |= running.names()
        with open_store(library) as store:
            assert store.check() == ()
            assert {clip.path.name for clip in store.clips()} >= added
            assert all(clip.n_swings == 1 for clip in store.clips())
    assert len(added) >= 2
    last = Running(overlay_arguments, overlay_environment, tmp_path, *told)
    assert last.process.wait(120) == 0
    with open_store(library) as store:
        assert store.count_swings() == 4
        assert len(store.sessions()) == 1


def test_two_programs_add_the_same_folder_at_once(
    overlay_arguments: list[str], overlay_environment: dict[str, str], folder: Path, library: Path, tmp_path: Path
) -> None:
    told = ("add", folder, "--player", "Rowan Vale", "--library", library, "--workers", 1, "--json")
    both = [Running(overlay_arguments, overlay_environment, tmp_path, *told) for _ in range(2)]
    documents = []
    for one in both:
        assert one.process.stdout is not None
        documents.append(json.loads(one.process.stdout.read()))
        assert one.process.wait(120) == 0
    for document in documents:
        assert sum(document["counts"].values()) == 4
        assert set(document["counts"]) <= {"added", "known"}
    with open_store(library) as store:
        assert len(store.clips()) == 4
        assert store.count_swings() == 4
        assert len(store.sessions()) == 1
        assert store.check() == ()
