"""Dealing clips to workers that are only pretended: who gets what, what is sent, and what becomes of bad answers."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from overlay.batch import ReadJob, cluster_worker
from overlay.batch.cluster_deal import Deal
from overlay.batch.cluster_link import Gone, Lost, Peer
from overlay.batch.engine import engine
from overlay.batch.plain import plain_of
from overlay.data.record import ClipRead
from overlay.errors import SetupError
from overlay.files import sha256_of
from overlay.pipeline import ClipOptions
from overlay.settings.cluster import ClusterSettings

PATIENCE_S = 60.0
SETTINGS = replace(ClusterSettings(), piece_bytes=4, spare_bytes=0, look_every_s=0.01)


class Answer:
    """A task that runs at once on a thread of its own."""

    def __init__(self, work: Callable[[], Any]) -> None:
        self.status = "pending"
        self._result: Any = None
        self._thread = threading.Thread(target=self._run, args=(work,), daemon=True)
        self._thread.start()

    def _run(self, work: Callable[[], Any]) -> None:
        try:
            self._result = work()
            self.status = "finished"
        except Exception as error:
            self._result = error
            self.status = "error"

    def result(self, timeout: float) -> Any:
        return self._result

    def exception(self, timeout: float) -> Any:
        return self._result

    def add_done_callback(self, done: Callable[[Any], None]) -> None:
        return None

    def cancel(self) -> None:
        self.status = "cancelled"


class Range:
    """A cluster of workers that run in this process; ``read`` says what each answers."""

    def __init__(self, folder: Path, names: tuple[str, ...] = ("a",)) -> None:
        self.folder = folder
        self.peers = {name: Peer(name, f"tcp://{name}:1") for name in names}
        self.lost = False
        self.asked: list[tuple[str, str]] = []
        self.told: list[dict[str, Any]] = []
        self.read: Callable[[str, ReadJob], Any] = lambda name, job: answered(job)

    # What a link does

    def check(self) -> None:
        if self.lost:
            raise Lost

    def one(self, function: Callable[..., Any], peer: Peer, *arguments: Any) -> Any:
        self.check()
        if peer.name not in self.peers:
            raise Gone("it does not answer")
        self.asked.append((peer.name, function.__name__))
        named = {"dask_worker": self} if function is cluster_worker.make_place else {}
        return function(*arguments, **named)

    def submit(self, peer: Peer, token: str, told: dict[str, Any], visible: str) -> Answer:
        self.told.append(told)

        def work() -> Any:
            def read(job: ReadJob) -> Any:
                return self.read(peer.name, job)

            return read_with(read, token, told, visible)

        return Answer(work)

    @property
    def local_directory(self) -> str:
        return str(self.folder)

    def deal(self, **changes: Any) -> Deal:
        chosen: dict[str, Any] = {"say": lambda text: None, "wait_s": PATIENCE_S, "most_bytes": 1000,
                                  "share_disk": False, "settings": SETTINGS}  # fmt: skip
        return Deal(self, lambda: tuple(self.peers.values()), **(chosen | changes))  # type: ignore[arg-type]

    def left_behind(self) -> list[Path]:
        return list(self.folder.glob("overlay-clip-*"))


_reading = threading.local()


def read_with(read: Callable[[ReadJob], Any], token: str, told: dict[str, Any], visible: str) -> Any:
    _reading.read = read
    return cluster_worker.read_placed(token, told, visible)


@pytest.fixture(autouse=True)
def _pretended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_worker, "_read", lambda job: _reading.read(job))


def answered(job: ReadJob) -> ClipRead:
    """What a worker found: here always the same problem, which names the file it read."""
    problem = f"{job.path} shows no swing but {job.path.read_bytes()!r}."
    return ClipRead("", job.path, 0, None, "", engine(), problem=problem, hint=f"In {job.path.parent}.", problem_code=4)


def jobs_of(folder: Path, n: int) -> list[ReadJob]:
    folder.mkdir(exist_ok=True)
    jobs = []
    for k in range(n):
        path = folder / f"clip {k}.mp4"
        path.write_bytes(b"picture %d" % k)
        jobs.append(ReadJob(path, sha256_of(path), ClipOptions(stature_cm=180.0), path.stat().st_size))
    return jobs


def test_clips_are_sent_in_pieces_and_answers_speak_of_the_coach_s_own_file(tmp_path: Path) -> None:
    place = Range(tmp_path)
    jobs = jobs_of(tmp_path / "clips", 5)
    got = {read.path: read for read in place.deal().results(jobs, None)}
    assert set(got) == {job.path for job in jobs}
    for k, job in enumerate(jobs):
        assert got[job.path].problem == f"{job.path} shows no swing but b'picture {k}'."
        assert got[job.path].hint == f"In {job.path.parent}."
        assert got[job.path].content_hash == job.content_hash
    assert place.asked.count(("a", "add_piece")) == 5 * 3, "nine bytes, four at a time"
    assert place.left_behind() == []
    for told in place.told:
        assert isinstance(told["path"], str)
        assert told["options"] == ClipOptions(stature_cm=180.0, use_cache=False), "a worker keeps nothing"


def test_a_file_the_worker_sees_is_not_sent(tmp_path: Path) -> None:
    place = Range(tmp_path)
    jobs = jobs_of(tmp_path / "clips", 2)
    # Of the same size, but not what was asked for: it is sent, and turns out to have changed.
    jobs.append(replace(jobs[0], content_hash=jobs[1].content_hash))
    got = list(place.deal(share_disk=True).results(jobs, None))
    assert ["changed while it was read" in read.problem for read in got].count(True) == 1
    assert place.asked.count(("a", "make_place")) == 1
    assert place.left_behind() == []


def test_a_bad_answer_is_asked_for_again_elsewhere_and_given_up_at_last(tmp_path: Path) -> None:
    place = Range(tmp_path, ("a", "b"))
    jobs = jobs_of(tmp_path / "clips", 4)
    tries: dict[str, int] = {}

    def read(name: str, job: ReadJob) -> Any:
        tries[job.path.name] = tries.get(job.path.name, 0) + 1
        if job.path.name == "clip 1.mp4" and tries[job.path.name] == 1:
            return {**plain_of(answered(job)), "width": -5}
        if job.path.name == "clip 2.mp4":
            return {"nothing": "of use"}
        return answered(job)

    place.read = read
    got = {read.path.name: read for read in place.deal().results(jobs, None)}
    assert tries == {"clip 0.mp4": 1, "clip 1.mp4": 2, "clip 2.mp4": 2, "clip 3.mp4": 1}
    assert "shows no swing" in got["clip 1.mp4"].problem
    assert got["clip 2.mp4"].problem.startswith("clip 2.mp4 was given to 2 workers and read by none: tcp://")
    assert got["clip 2.mp4"].problem.count("other fields than it should have") == 2
    assert got["clip 2.mp4"].problem_code == 70


def test_a_worker_that_reads_nothing_is_left_out_and_costs_no_clip(tmp_path: Path) -> None:
    place = Range(tmp_path, ("a", "b"))

    def read(name: str, job: ReadJob) -> Any:
        if name == "a":
            raise SetupError("The worker processes end as soon as they are started: x.", "Run `overlay doctor`.")
        return answered(job)

    place.read = read
    said: list[str] = []
    got = list(place.deal(say=said.append).results(jobs_of(tmp_path / "clips", 6), None))
    assert ["shows no swing" in one.problem for one in got] == [True] * 6
    assert len(said) <= 1
    assert all(line.startswith("The worker tcp://a:1 is not used: The worker processes end") for line in said)


def test_the_last_clips_do_not_wait_behind_a_slow_one(tmp_path: Path) -> None:
    place = Range(tmp_path, ("slow", "quick"))
    first, others = threading.Event(), threading.Event()
    waited: list[bool] = []

    def read(name: str, job: ReadJob) -> Any:
        if name == "slow":
            first.set()
            waited.append(others.wait(5.0))
        else:
            first.wait(PATIENCE_S)
        return answered(job)

    place.read = read
    jobs = jobs_of(tmp_path / "clips", 6)
    got = []
    for one in place.deal().results(jobs, None):
        got.append(one)
        if len(got) == 5:
            others.set()
    # All but the one the slow worker was at came first: also the one that was sent to it ahead.
    assert waited == [True]
    assert {one.path for one in got} == {job.path for job in jobs}
    assert place.left_behind() == []


def test_a_worker_that_goes_gives_its_clips_back(tmp_path: Path) -> None:
    place = Range(tmp_path, ("goes", "stays"))
    gone = threading.Event()

    def read(name: str, job: ReadJob) -> Any:
        if name == "goes":
            place.peers.pop("goes", None)
            gone.set()
            threading.Event().wait(PATIENCE_S)
        else:
            # Nobody is done before the other one has gone.
            gone.wait(PATIENCE_S)
        return answered(job)

    place.read = read
    jobs = jobs_of(tmp_path / "clips", 5)
    got = list(place.deal().results(jobs, None))
    assert {one.path for one in got} == {job.path for job in jobs}
    assert all("shows no swing" in one.problem for one in got)


def test_when_the_scheduler_is_lost_what_was_given_stays_good(tmp_path: Path) -> None:
    place = Range(tmp_path)
    coming = place.deal().results(jobs_of(tmp_path / "clips", 9), None)
    assert "shows no swing" in next(coming).problem
    place.lost = True
    with pytest.raises(SetupError, match="connection to the scheduler was lost") as lost:
        list(coming)
    assert "repeat the command" in lost.value.hint


def test_without_a_worker_it_is_waited_and_said(tmp_path: Path) -> None:
    place = Range(tmp_path, ())
    said: list[str] = []
    with pytest.raises(SetupError, match=r"had no worker for 0\.05 s"):
        list(place.deal(wait_s=0.05, say=said.append).results(jobs_of(tmp_path / "clips", 1), None))
    assert said == ["No worker is left; waiting up to 0.05 s for one …"]


def test_leaving_early_takes_away_what_was_sent_ahead(tmp_path: Path) -> None:
    place = Range(tmp_path)
    drawn = []

    def jobs() -> Any:
        for job in jobs_of(tmp_path / "clips", 30):
            drawn.append(job)
            yield job

    coming = place.deal().results(jobs(), None)
    next(coming)
    coming.close()
    assert len(drawn) <= 5, "jobs are drawn as they are needed"
    assert [path for path in place.left_behind() if (path / "clip 29.mp4").exists()] == []
    assert len(place.left_behind()) <= 1, "only what was being read just then"


def test_marks_go_along_and_odd_ones_are_refused_as_here(tmp_path: Path) -> None:
    from overlay.marks import marks_path
    from overlay.settings.marks import MarkSettings

    place = Range(tmp_path)
    seen: dict[str, bytes] = {}

    def read(name: str, job: ReadJob) -> Any:
        marks = marks_path(job.path)
        seen[job.path.name] = marks.read_bytes() if marks.exists() else b"none"
        return answered(job)

    place.read = read
    jobs = jobs_of(tmp_path / "clips", 4)
    marks_path(jobs[1].path).write_bytes(b"{}")
    marks_path(jobs[2].path).write_bytes(bytes(MarkSettings().max_bytes + 50))
    marks_path(jobs[3].path).mkdir()
    got = {one.path.name: one for one in place.deal().results(jobs, None)}
    assert (seen["clip 0.mp4"], seen["clip 1.mp4"]) == (b"none", b"{}")
    assert len(seen["clip 2.mp4"]) == MarkSettings().max_bytes + 1
    assert "is not a file, so there are no marks in it" in got["clip 3.mp4"].problem
    assert place.left_behind() == []


def test_what_cannot_be_sent_fails_alone(tmp_path: Path) -> None:
    place = Range(tmp_path)
    jobs = jobs_of(tmp_path / "clips", 4)
    jobs[0].path.write_bytes(bytes(1001))
    jobs[1].path.unlink()
    jobs[2].path.unlink()
    jobs[2].path.mkdir()
    got = {read.path.name: read for read in place.deal().results(jobs, None)}
    assert got["clip 0.mp4"].problem == "clip 0.mp4 has 0 MB; a worker is sent up to 0 MB."
    assert "cannot be read: No such file" in got["clip 1.mp4"].problem
    assert "is a folder" in got["clip 2.mp4"].problem
    assert "shows no swing" in got["clip 3.mp4"].problem
    assert {read.problem_code for read in got.values()} == {3, 4}


def test_a_worker_keeps_nothing_it_found_of_a_pose(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Pool:
        def __init__(self, workers: int, *, cores: int, environment: dict[str, str]) -> None:
            assert (workers, cores) == (1, 1)
            self.cache = Path(environment["OVERLAY_CACHE_DIR"])

        def run(self, jobs: list[ReadJob]) -> Any:
            assert list(self.cache.iterdir()) == []
            (self.cache / "pose").mkdir()
            (self.cache / "pose" / "x.masks.npz").write_bytes(b"a person's outline")
            if "bad" in jobs[0].path.name:
                raise SetupError("No worker process can be started.", "Close other programs.")
            return iter([answered(jobs[0])])

    monkeypatch.undo()
    monkeypatch.setattr(cluster_worker, "LocalPool", Pool)
    monkeypatch.setattr(cluster_worker, "_pool", None)
    monkeypatch.setattr(cluster_worker, "_cache", None)
    monkeypatch.setattr(cluster_worker, "_own_directory", lambda: tmp_path)
    good, bad = jobs_of(tmp_path / "clips", 2)
    bad = replace(bad, path=bad.path.rename(bad.path.with_name("bad.mp4")))
    for _ in range(2):
        assert "shows no swing" in cluster_worker._read(good).problem
        (cache,) = tmp_path.glob("overlay-cache-*")
        assert list(cache.iterdir()) == []
        assert cache.stat().st_mode & 0o077 == 0
    with pytest.raises(SetupError):
        cluster_worker._read(bad)
    assert list(cache.iterdir()) == []


def test_a_clip_nobody_asks_for_any_more_is_taken_away(tmp_path: Path) -> None:
    assert cluster_worker.make_place("late", "clip.mp4", 3, None, SETTINGS, dask_worker=Range(tmp_path)) == ""
    (folder,) = tmp_path.glob("overlay-clip-*")
    cluster_worker._sweep()
    assert folder.exists()
    cluster_worker._places["late"].until = 0.0
    cluster_worker._sweep()
    assert not folder.exists()
    assert cluster_worker.add_piece("late", 0, b"abc", SETTINGS) == "it has lost the clip"
    assert cluster_worker.read_placed("late", {"path": "/x"}, "") == {"lost": "it has lost the clip"}
    # One that is kept stays.
    assert cluster_worker.make_place("kept", "../clip.mp4", 3, None, SETTINGS, dask_worker=Range(tmp_path)) == ""
    cluster_worker.keep("kept", SETTINGS)
    cluster_worker._sweep()
    (folder,) = tmp_path.glob("overlay-clip-*")
    assert [path.name for path in folder.iterdir()] == ["clip.mp4"]
    cluster_worker.drop("kept")
    assert not folder.exists()
    full = replace(SETTINGS, spare_bytes=10**18)
    assert (
        cluster_worker.make_place("big", "clip.mp4", 3, None, full, dask_worker=Range(tmp_path)) == "its disk is full"
    )
