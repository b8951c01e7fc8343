"""A real Dask cluster on this machine: the same results as here, and nothing lost when a part of it is killed."""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from batch_factory import still_track, write_track

import overlay
from overlay.batch import LocalPool, ReadJob, inputs_of, read_clip
from overlay.batch.cluster import ClusterPool
from overlay.batch.plain import plain_of
from overlay.data import Marks, PositionMark
from overlay.errors import SetupError
from overlay.files import sha256_of
from overlay.marks import save_marks
from overlay.pipeline import ClipOptions
from overlay.settings.cluster import ClusterSettings

distributed = pytest.importorskip("distributed")
pytestmark = [
    # All in one process: each test has a cluster of several processes of its own.
    pytest.mark.xdist_group("cluster"),
    pytest.mark.skipif(os.name != "posix", reason="pipes with names and kill -9 are of POSIX"),
]

PATIENCE_S = 240.0
"""A busy machine takes its time; nothing here waits longer than it must."""

PATIENT = ClusterSettings(connect_s=PATIENCE_S, wait_s=PATIENCE_S, silent_s=PATIENCE_S, answer_s=PATIENCE_S)
HASTY = replace(PATIENT, connect_s=2.0)
"""Where nobody shall answer."""


@dataclass
class Cluster:
    """Processes of a scheduler and its workers."""

    address: str
    folder: Path
    environment: dict[str, str]
    scheduler: subprocess.Popen[str]
    security: dict[str, str] = field(default_factory=dict)
    workers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    def add_worker(self, *options: str, **environment: str) -> None:
        number = len(self.workers)
        with open(self.folder / f"worker-{number}.log", "wb") as log:
            self.workers.append(
                subprocess.Popen(
                    [sys.executable, "-m", "distributed.cli.dask_worker", self.address, "--nthreads", "1",
                     "--no-dashboard", "--local-directory", str(self.folder / "scratch"), *options],
                    cwd=self.folder, env=self.environment | environment, stdout=log, stderr=log,
                )
            )  # fmt: skip

    @contextmanager
    def client(self) -> Iterator[Any]:
        security = distributed.Security(**self.security, require_encryption=bool(self.security))
        with distributed.Client(self.address, set_as_default=False, timeout=PATIENCE_S, security=security) as client:
            yield client

    def pids(self, at_least: int) -> dict[str, int]:
        """Address → process id of the workers (not of their nannies), once there are so many."""
        with self.client() as client:
            client.wait_for_workers(at_least, timeout=PATIENCE_S)
            pids: dict[str, int] = client.run(os.getpid)
            return pids

    def pid(self, address: str) -> int:
        with self.client() as client:
            (pid,) = client.run(os.getpid, workers=[address]).values()
            return int(pid)

    def left_behind(self) -> list[Path]:
        return sorted((self.folder / "scratch").rglob("overlay-clip-*"))


@contextmanager
def cluster(folder: Path, *, scheduler: tuple[str, ...] = (), protocol: str = "tcp") -> Iterator[Cluster]:
    """A scheduler on a free port of the loopback; workers are added to it."""
    folder.mkdir()
    home = str(Path(overlay.__file__).resolve().parent.parent)
    environment = os.environ | {
        "PYTHONPATH": home,
        "DASK_CONFIG": str(folder / "no-config"),
        "OVERLAY_CACHE_DIR": str(folder / "cache"),
        "OVERLAY_LIBRARY": str(folder / "library.sqlite"),
    }
    started = subprocess.Popen(
        [sys.executable, "-m", "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0",
         "--protocol", protocol, "--no-dashboard", *scheduler],
        cwd=folder, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert started.stderr is not None
    said: list[str] = []
    made = None
    try:
        for line in started.stderr:
            said.append(line)
            if found := re.search(r"Scheduler at:\s+(\S+)", line):
                made = Cluster(found[1], folder, environment, started)
                break
        assert made is not None, "".join(said)
        threading.Thread(target=started.stderr.read, daemon=True).start()
        yield made
    finally:
        everyone = [*(made.workers if made else ()), started]
        for process in everyone:
            process.terminate()
        for process in everyone:
            try:
                process.wait(10.0)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()


def job_of(path: Path, **changes: Any) -> ReadJob:
    options = ClipOptions()
    job = ReadJob(path, sha256_of(path), options, path.stat().st_size, 1_790_000_000.25, inputs_of(path, options))
    return replace(job, **changes)


def blocked(path: Path, real: Path) -> ReadJob:
    """A clip whose worker waits for ever: a pipe that nobody writes to. Its hash is that of ``real``."""
    os.mkfifo(path)
    return ReadJob(path, sha256_of(real), ClipOptions(), 0, None, "")


def _note(stages: list[tuple[str, str]], job: ReadJob, stage: str) -> None:
    stages.append((job.path.name, stage))


@pytest.fixture(autouse=True)
def _own_folders(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("OVERLAY_CACHE_DIR", str(tmp_path / "cache"))
    monkeypatch.setenv("OVERLAY_LIBRARY", str(tmp_path / "library.sqlite"))
    monkeypatch.setenv("DASK_CONFIG", str(tmp_path / "no-config"))


def test_the_same_results_as_here_and_the_scheduler_killed(
    tmp_path: Path, overlay_arguments: list[str], capfd: pytest.CaptureFixture[str]
) -> None:
    clips = tmp_path / "clips"
    first, second = write_track(clips / "one swing.npz", 0), write_track(clips / "another — fo.npz", 1, "fo")
    still = still_track(clips / "still.npz")
    broken = clips / "broken.csv"
    broken.write_text("time_s,joint,x_px,y_px\n0.0,nose,1,2\n0.1,nosse,1,2\n", encoding="utf-8")
    marked = write_track(clips / "marked.npz", 2)
    save_marks(marked, Marks(positions=(PositionMark("top", 2.45),)), sha256_of(marked))
    reference = read_clip(job_of(write_track(tmp_path / "reference.npz", 5))).swings[0].model
    jobs = [job_of(path, reference=reference, reference_name="the first") for path in (first, second, still, marked)]
    jobs.append(job_of(broken))
    changed = replace(job_of(first), path=Path(shutil.copy2(second, clips / "changed.npz")), size_bytes=1)
    expected = {job.path: read_clip(job) for job in jobs}
    with LocalPool(1, cores=1) as pool:
        for read in pool.run(jobs):
            assert repr(plain_of(read)) == repr(plain_of(expected[read.path]))
    assert [len(read.swings) for read in expected.values()] == [1, 1, 0, 1, 0]
    assert expected[first].swings[0].comparison is not None
    assert expected[marked].swings[0].positions.get("top").source == "marked"  # type: ignore[union-attr]

    with cluster(tmp_path / "cluster") as made:
        made.add_worker("--no-nanny")
        made.add_worker("--no-nanny")
        addresses = set(made.pids(2))
        for share_disk in (False, True):
            stages: list[tuple[str, str]] = []
            told = partial(_note, stages)
            with ClusterPool(made.address, share_disk=share_disk, settings=PATIENT) as pool:
                assert pool.workers == 2
                got = list(pool.run(iter([*jobs, changed]), told))
            assert {read.path for read in got} == {*expected, changed.path}
            for read in got:
                if read.path == changed.path:
                    assert read.problem == "changed.npz changed while it was read."
                else:
                    # Not by ==: NaN is what is missing, and both must miss the same.
                    assert repr(plain_of(read)) == repr(plain_of(expected[read.path])), read.path
                    assert replace(read, swings=()) == replace(expected[read.path], swings=()) if read.problem else True
                    assert [swing.model for swing in read.swings] == [
                        swing.model for swing in expected[read.path].swings
                    ]
            assert str(broken) in next(read.problem for read in got if read.path == broken)
            assert {name for name, stage in stages if stage == ""} == {path.name for path in (*expected, changed.path)}
            # One of them may be quick enough to read all.
            assert {stage for _, stage in stages if stage} <= {f"reading on {address}" for address in addresses}
            assert {name for name, stage in stages if stage} == {path.name for path in (*expected, changed.path)}
            assert made.left_behind() == []
        assert not (made.folder / "cache").exists(), "a worker keeps nothing of a clip"

        # The command, and not a word of Dask's.
        done = subprocess.run(
            [*overlay_arguments, "add", str(first), str(second), "--player", "Wren Aldous", "--cluster", made.address,
             "--json"],
            capture_output=True, text=True, timeout=PATIENCE_S, check=False, cwd=made.folder,
            env=made.environment | {"OVERLAY_LIBRARY": str(tmp_path / "wren.sqlite")},
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        assert re.search("(?i)dask|distributed|tornado|asyncio|Traceback", done.stderr) is None
        assert [row["state"] for row in json.loads(done.stdout)["clips"]] == ["added", "added"]

        # Too large to be sent.
        with ClusterPool(made.address, share_disk=False, most_bytes=1000, settings=PATIENT) as pool:
            (read,) = pool.run([jobs[0]])
        assert read.problem.startswith("one swing.npz has 0 MB; a worker is sent up to 0 MB")
        assert read.path == first
        assert "without --cluster" in read.hint

        # The scheduler dies while a worker is at work: what was given out before stays good.
        with ClusterPool(made.address, settings=PATIENT) as pool:
            coming = pool.run([blocked(tmp_path / "waits.npz", first), jobs[0]])
            assert len(next(coming).swings) == 1
            made.scheduler.kill()
            with pytest.raises(SetupError) as lost:
                next(coming)
        assert lost.value.message == "The connection to the scheduler was lost; 1 clip was read before."
        assert "repeat the command" in lost.value.hint
        for worker in made.workers:
            worker.kill()
    said = capfd.readouterr()
    assert (said.out, said.err) == ("", "")


def test_a_killed_worker_costs_a_retry_and_not_the_clip(tmp_path: Path) -> None:
    clips = tmp_path / "clips"
    paths = [write_track(clips / f"swing {number}.npz", number) for number in range(3)]
    real = write_track(tmp_path / "elsewhere.npz", 3)
    unlucky, deadly = blocked(clips / "unlucky.npz", real), blocked(clips / "deadly.npz", real)
    with cluster(tmp_path / "cluster") as made:
        made.add_worker("--nanny")
        made.add_worker("--nanny")
        made.pids(2)
        killed: list[tuple[str, str]] = []

        def kill(job: ReadJob, stage: str) -> None:
            if not stage or job.path not in (unlucky.path, deadly.path):
                return
            address = stage.removeprefix("reading on ")
            if job.path == unlucky.path:
                if killed:
                    return
                # From now on it is a clip like any other.
                fifo = clips / "was a pipe"
                unlucky.path.rename(fifo)
                shutil.copy2(real, unlucky.path)
            killed.append((job.path.name, address))
            os.kill(made.pid(address), signal.SIGKILL)

        with ClusterPool(made.address, settings=PATIENT) as pool:
            got = {read.path.name: read for read in pool.run([unlucky, *map(job_of, paths)], kill)}
            assert len(killed) == 1
            assert {name: len(read.swings) for name, read in got.items()} == {
                "unlucky.npz": 1, **{path.name: 1 for path in paths},
            }  # fmt: skip
            assert [swing.model for swing in got["unlucky.npz"].swings] == [
                swing.model for swing in read_clip(replace(job_of(real), path=unlucky.path)).swings
            ]

            killed.clear()
            got = {read.path.name: read for read in pool.run([*map(job_of, paths), deadly], kill)}
        assert [name for name, _ in killed] == ["deadly.npz", "deadly.npz"]
        (one, other) = (address for _, address in killed)
        assert got["deadly.npz"].problem == (
            f"deadly.npz was given to 2 workers and read by none: {one}: it ended; {other}: it ended."
        )
        assert got["deadly.npz"].problem_code == 70
        assert [len(got[path.name].swings) for path in paths] == [1, 1, 1]


def test_what_a_killed_worker_was_sent_is_gone_when_the_next_one_starts(tmp_path: Path) -> None:
    """And a worker that will not take a clip for lack of room costs no clip either."""
    path = write_track(tmp_path / "clips" / "swing.npz", 0)
    with cluster(tmp_path / "cluster") as made:
        made.add_worker("--nanny")
        ((address, pid),) = made.pids(1).items()
        from overlay.batch import cluster_worker

        with made.client() as client:
            for function, arguments in (
                (cluster_worker.make_place, ("token", path.name, 3, b"{}", ClusterSettings())),
                (cluster_worker.add_piece, ("token", 0, b"abc", ClusterSettings())),
            ):
                assert client.run(function, *arguments, workers=[address]) == {address: ""}
            (folder,) = made.left_behind()
            assert folder.stat().st_mode & 0o777 == 0o700
            assert (folder / "swing.npz").read_bytes() == b"abc"
            assert (folder / "swing.npz").stat().st_mode & 0o777 == 0o600
        os.kill(pid, signal.SIGKILL)
        with ClusterPool(made.address, settings=PATIENT):
            assert made.left_behind() == []

        said: list[str] = []
        crammed = replace(PATIENT, spare_bytes=10**18)
        with (
            ClusterPool(made.address, share_disk=False, wait_s=0.2, say=said.append, settings=crammed) as pool,
            pytest.raises(SetupError, match=r"no worker for 0\.2 s"),
        ):
            list(pool.run([job_of(path)]))
        assert any(re.fullmatch(r"The worker tcp://\S+ is not used: its disk is full\.", line) for line in said)
        assert made.left_behind() == []


def test_workers_that_would_read_otherwise_are_refused(tmp_path: Path) -> None:
    import zipfile

    other_model = tmp_path / "other.task"
    with zipfile.ZipFile(other_model, "w") as bundle:
        for name in ("pose_detector.tflite", "pose_landmarks_detector.tflite"):
            bundle.writestr(name, b"another model")
    with cluster(tmp_path / "cluster") as made:
        said: list[str] = []
        with (
            pytest.raises(SetupError) as alone,
            ClusterPool(made.address, wait_s=0.01, say=said.append, settings=PATIENT),
        ):
            pass
        assert alone.value.message == f"The scheduler at {made.address} has had no worker for 0.01 s."
        assert "dask worker" in alone.value.hint
        assert said == [f"Waiting up to 0.01 s for a worker at {made.address} …"]

        made.add_worker("--no-nanny", OVERLAY_POSE_MODEL=str(other_model))
        made.add_worker("--no-nanny")
        made.pids(2)
        with pytest.raises(SetupError, match="would not read clips as this computer does") as refused:
            ClusterPool(made.address, settings=PATIENT).open()
        assert len(re.findall("tcp://", refused.value.message)) == 1
        assert "the pose model" in refused.value.message
        assert f"overlay {overlay.__version__}" in refused.value.hint
    with pytest.raises(SetupError, match="No scheduler answers at tcp://127"):
        ClusterPool(made.address, settings=HASTY).open()


@pytest.mark.skipif(shutil.which("openssl") is None, reason="makes certificates with openssl")
def test_an_encrypted_cluster_takes_its_own_certificates_alone(tmp_path: Path, overlay_arguments: list[str]) -> None:
    def certificate(name: str) -> tuple[Path, Path]:
        """One that signs itself: its own authority."""
        cert, key = tmp_path / f"{name}.pem", tmp_path / f"{name}.key"
        subprocess.run(
            ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
             "-days", "2", "-subj", "/CN=range", "-keyout", str(key), "-out", str(cert)],
            check=True, capture_output=True,
        )  # fmt: skip
        return cert, key

    cert, key = certificate("range")
    strange, strange_key = certificate("strange")
    options = ("--tls-ca-file", str(cert), "--tls-cert", str(cert), "--tls-key", str(key))
    path = write_track(tmp_path / "clips" / "swing.npz", 0)
    with cluster(tmp_path / "cluster", scheduler=options, protocol="tls") as made:
        assert made.address.startswith("tls://")
        made.add_worker("--no-nanny", *options)
        with ClusterPool(made.address, tls_ca=cert, tls_cert=cert, tls_key=key, settings=PATIENT) as pool:
            (read,) = pool.run([job_of(path)])
        assert repr(plain_of(read)) == repr(plain_of(read_clip(job_of(path))))
        done = subprocess.run(
            [*overlay_arguments, "add", str(path), "--player", "Wren Aldous", "--cluster", made.address, "--json"],
            capture_output=True, text=True, timeout=PATIENCE_S, check=False, cwd=made.folder,
            env=made.environment | {
                "DASK_DISTRIBUTED__COMM__TLS__CA_FILE": str(cert),
                "DASK_DISTRIBUTED__COMM__TLS__CLIENT__CERT": str(cert),
                "DASK_DISTRIBUTED__COMM__TLS__CLIENT__KEY": str(key),
            },
        )  # fmt: skip
        assert [row["state"] for row in json.loads(done.stdout)["clips"]] == ["added"], done.stderr
        with pytest.raises(SetupError, match="do not accept each other's certificates"):
            ClusterPool(made.address, tls_ca=strange, tls_cert=strange, tls_key=strange_key, settings=HASTY).open()
        with pytest.raises(SetupError, match="needs certificates"):
            ClusterPool(made.address, settings=HASTY).open()
        with pytest.raises(SetupError, match="No scheduler answers"):
            ClusterPool(made.address.replace("tls://", "tcp://"), settings=HASTY).open()
