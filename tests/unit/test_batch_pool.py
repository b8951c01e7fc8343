"""Worker processes: they stream, they may die, and they never outlive the program that started them."""

from __future__ import annotations

import dataclasses
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from batch_factory import still_track, write_track

from overlay.batch import LocalPool, ReadJob, read_clip
from overlay.batch.pool import lost
from overlay.data import ClipRead
from overlay.errors import OutputError, SetupError
from overlay.files import sha256_of
from overlay.settings.batch import PoolSettings

pytestmark = pytest.mark.skipif(os.name != "posix", reason="signals as POSIX has them")

WAIT_S = 60.0
"""Far more than anything here takes: only a hang reaches it."""


def job_of(path: Path) -> ReadJob:
    return ReadJob(path, sha256_of(path), size_bytes=path.stat().st_size)


def is_alive(pid: int) -> bool:
    """Whether a process runs; one that has ended and was not asked after yet does not."""
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except FileNotFoundError:
        return False
    except OSError:
        return True


def gone(pids: list[int]) -> bool:
    until = time.monotonic() + WAIT_S
    while time.monotonic() < until:
        if not any(is_alive(pid) for pid in pids):
            return True
        time.sleep(0.05)
    return False


@pytest.fixture(scope="module")
def tracks(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    folder = tmp_path_factory.mktemp("tracks")
    return [write_track(folder / f"swing{i}.npz", i, "dtl" if i else "fo") for i in range(3)]


@pytest.fixture(scope="module")
def pool() -> Iterator[LocalPool]:
    with LocalPool(2) as workers:
        yield workers


def same(one: ClipRead, other: ClipRead) -> None:
    """Equal to the last digit, NaN among them."""
    assert repr(dataclasses.replace(one, engine="")) == repr(dataclasses.replace(other, engine=""))


def test_a_worker_reads_what_is_read_here(pool: LocalPool, tracks: list[Path], tmp_path: Path) -> None:
    jobs = [job_of(path) for path in (*tracks, still_track(tmp_path / "still.npz"))]
    stages: dict[str, list[str]] = {}
    found = {
        read.path.name: read
        for read in pool.run(jobs, lambda job, stage: stages.setdefault(job.path.name, []).append(stage))
    }
    assert set(found) == {"swing0.npz", "swing1.npz", "swing2.npz", "still.npz"}
    for job in jobs:
        same(found[job.path.name], read_clip(job))
    assert found["swing0.npz"].swings[0].view == "fo"
    assert found["still.npz"].problem_code == 4
    assert stages["swing1.npz"][:3] == ["", "finding the swing", "measuring"]
    assert len(pool.processes()) == 2


def test_workers_stay_for_the_next_run(pool: LocalPool, tracks: list[Path]) -> None:
    list(pool.run([job_of(tracks[0])]))
    before = pool.processes()
    assert [read.problem for read in pool.run([job_of(tracks[1])])] == [""]
    assert pool.processes() == before


def test_jobs_are_drawn_as_workers_become_free(pool: LocalPool, tracks: list[Path]) -> None:
    drawn = 0

    def source() -> Iterator[ReadJob]:
        nonlocal drawn
        for i in range(8):
            drawn += 1
            yield job_of(tracks[i % 3])

    most = 0
    for done, _ in enumerate(pool.run(source())):
        most = max(most, drawn - done)
    assert drawn == 8
    assert most <= 2 + PoolSettings().ahead + 1


def test_a_worker_that_dies_costs_a_retry(tracks: list[Path]) -> None:
    begun: list[str] = []
    with LocalPool(1) as pool:

        def kill_first(job: ReadJob, stage: str) -> None:
            if stage:
                return
            begun.append(job.path.name)
            if begun.count("swing1.npz") == 1 and begun[-1] == "swing1.npz":
                os.kill(pool.processes()[0], signal.SIGKILL)

        reads = list(pool.run([job_of(path) for path in tracks], kill_first))
    assert begun.count("swing1.npz") == 2
    assert sorted(read.path.name for read in reads) == ["swing0.npz", "swing1.npz", "swing2.npz"]
    assert [read.problem for read in reads] == ["", "", ""]


def test_a_clip_that_ends_two_workers_fails_and_the_others_do_not(tracks: list[Path]) -> None:
    begun: list[str] = []
    with LocalPool(1) as pool:

        def kill(job: ReadJob, stage: str) -> None:
            if not stage:
                begun.append(job.path.name)
                if job.path.name == "swing1.npz":
                    os.kill(pool.processes()[0], signal.SIGSEGV)

        reads = {read.path.name: read for read in pool.run([job_of(path) for path in tracks], kill)}
    assert begun.count("swing1.npz") == 2
    assert "ended 2 times" in reads["swing1.npz"].problem
    assert "SIGSEGV" in reads["swing1.npz"].problem
    assert reads["swing1.npz"].problem_code == 70
    assert reads["swing1.npz"].content_hash == sha256_of(tracks[1])
    assert [reads[name].problem for name in ("swing0.npz", "swing2.npz")] == ["", ""]


def test_a_kill_by_the_system_is_said_to_be_one() -> None:
    read = lost(ReadJob(Path("/a/clip.mp4"), "0" * 64), 2, "the system ended it, most likely for lack of memory")
    assert "lack of memory" in read.problem
    assert "--workers" in read.hint


def test_a_silent_worker_is_given_up(tracks: list[Path]) -> None:
    """One that was stopped says nothing, and would not for ever."""
    with LocalPool(1, PoolSettings(silent_s=0.5, poll_s=0.05, stop_s=0.2)) as pool:

        def stop(job: ReadJob, stage: str) -> None:
            if not stage:
                os.kill(pool.processes()[0], signal.SIGSTOP)

        (read,) = pool.run([job_of(tracks[0])], stop)
    assert "ended 2 times" in read.problem


def test_leaving_early_ends_what_is_running(tracks: list[Path]) -> None:
    with LocalPool(2, PoolSettings(stop_s=0.5)) as pool:
        pids: dict[str, int] = {}

        def stop(job: ReadJob, stage: str) -> None:
            if not stage:
                (pids[job.path.name],) = (
                    worker.process.pid for worker in pool._crew if worker.task is not None and worker.task.job is job
                )
                if job.path.name == "swing0.npz":
                    os.kill(pids["swing0.npz"], signal.SIGSTOP)

        running = pool.run([job_of(path) for path in tracks[:2]], stop)
        assert next(running).path.name == "swing1.npz"
        running.close()  # type: ignore[attr-defined]
        assert pool.processes() == (pids["swing1.npz"],)
    assert gone(list(pids.values()))


def test_no_worker_can_be_started(monkeypatch: pytest.MonkeyPatch, tracks: list[Path]) -> None:
    monkeypatch.setattr("overlay.batch.pool.sys.executable", "/bin/false")
    with LocalPool(1) as pool, pytest.raises(SetupError, match="end as soon as they are started"):
        list(pool.run([job_of(tracks[0])]))
    monkeypatch.setattr("overlay.batch.pool.sys.executable", "/nowhere/python")
    with LocalPool(1) as pool, pytest.raises(SetupError, match="No worker process can be started"):
        list(pool.run([job_of(tracks[0])]))


PARENT = """
import os, sys, time
from pathlib import Path
from overlay.batch import LocalPool, ReadJob
def begun(job, stage):
    print(*pool.processes(), flush=True)
pool = LocalPool(2)
for _ in pool.run([ReadJob(Path(path), "0" * 64) for path in sys.argv[1:]], begun):
    pass
"""


def test_workers_end_with_the_program_that_started_them(
    tracks: list[Path], tmp_path: Path, overlay_environment: dict[str, str]
) -> None:
    """Killed so that it can do nothing any more, while both workers are in the middle of a clip."""
    parent = subprocess.Popen(
        [sys.executable, "-c", PARENT, *map(str, tracks[:2])],
        env=overlay_environment,
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert parent.stdout is not None
    try:
        parent.stdout.readline()
        pids = [int(pid) for pid in parent.stdout.readline().split()]
    finally:
        parent.kill()
        parent.wait()
        parent.stdout.close()
    assert len(pids) == 2
    assert gone(pids)


def test_a_worker_that_must_end_at_once_leaves_no_half_written_file(tmp_path: Path) -> None:
    from overlay.files import atomic_path, remove_temporaries

    def end_at_once() -> None:
        with atomic_path(tmp_path / "a.npz") as temporary:
            assert temporary.is_file()
            remove_temporaries()
            assert list(tmp_path.iterdir()) == []

    with pytest.raises(OutputError):
        end_at_once()
    assert list(tmp_path.iterdir()) == []
