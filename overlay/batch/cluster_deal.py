"""Dealing clips to the workers of a cluster: who reads what, what is sent, and what happens when one of them is gone.

One thread for each worker (``_Lane``) sends it a clip, lets it read, sends the next one meanwhile, and takes the
answer. One thread (``Deal._watch``) looks who is there. The caller's thread draws the jobs and gives out the results,
so that whatever makes jobs and keeps results runs in one thread alone.
"""

from __future__ import annotations

import contextlib
import dataclasses
import queue
import threading
import time
import uuid
import warnings
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from overlay.batch import cluster_worker
from overlay.batch.engine import engine
from overlay.batch.jobs import ReadJob, Told
from overlay.batch.plain import read_of
from overlay.batch.reading import changed
from overlay.data.record import ClipRead
from overlay.errors import DataError, InputError, OverlayError, SetupError
from overlay.settings.cluster import ClusterSettings

UNEXPECTED = 70
"""EX_SOFTWARE of sysexits.h."""

HERE = ("running", "paused", "init")
"""States of a worker that is alive; a paused one waits for memory and goes on."""


class Lost(Exception):
    """The scheduler is gone."""


class Gone(Exception):
    """This worker is gone, or will not do."""

    def __init__(self, why: str, *, for_good: bool = False) -> None:
        super().__init__(why)
        self.why = why
        self.for_good = for_good


class _Stop(Exception):
    """Nobody wants the results any more."""


@dataclass(frozen=True)
class Peer:
    """A worker of the cluster. ``name`` is never used twice, an address may be."""

    name: str
    address: str


class Link:
    """What is asked of the cluster, with its errors told apart: scheduler lost, worker gone."""

    def __init__(self, client: Any, settings: ClusterSettings) -> None:
        self._client = client
        self._settings = settings

    def check(self) -> None:
        """Raise Lost when there is no connection any more. It is not waited for: all that was running is cancelled."""
        if self._client is None or self._client.status != "running":
            raise Lost

    def peers(self) -> dict[str, Peer]:
        """Name → worker that is there now."""
        self.check()
        try:
            # All of them: newer versions show the first few alone unless asked.
            told = self._client.scheduler_info(n_workers=-1)["workers"]
        except Exception as error:
            raise Lost from error
        self.check()
        found = [
            Peer(f"{address} {worker.get('local_directory', '')}", address)
            for address, worker in told.items()
            if worker.get("status", "running") in HERE
        ]
        return {peer.name: peer for peer in found}

    def ask(self, function: Callable[..., Any], addresses: list[str], *arguments: Any, **named: Any) -> dict[str, Any]:
        """Address → what ``function`` gave there at once, beside what it is reading; or the exception it met."""
        self.check()
        try:
            answers: dict[str, Any] = self._client.run(
                function, *arguments, workers=addresses, on_error="return", **named
            )
            return answers
        except Exception as error:
            raise Lost from error

    def one(self, function: Callable[..., Any], peer: Peer, *arguments: Any) -> Any:
        """As ``ask``, of one worker. Raises Gone when it does not answer."""
        answer = self.ask(function, [peer.address], *arguments).get(peer.address, Gone("it does not answer"))
        if isinstance(answer, (OSError, Gone)):
            raise Gone("it does not answer") from answer
        if isinstance(answer, BaseException):
            raise Gone(f"{type(answer).__name__}: {answer}"[:200], for_good=True) from answer
        return answer

    def submit(self, peer: Peer, token: str, *arguments: Any) -> Any:
        """Future of ``read_placed`` on that worker and no other."""
        self.check()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a reference of some megabytes is called a large graph
            return self._client.submit(
                cluster_worker.read_placed, token, *arguments, key=f"overlay-{token}", workers=[peer.address],
                allow_other_workers=False, pure=False, retries=0,
            )  # fmt: skip


@dataclass(eq=False)
class _Item:
    """A clip on its way."""

    job: ReadJob
    losses: list[str] = field(default_factory=list)
    """Why it was not read before, one for each worker."""


@dataclass
class _Copy:
    """A clip as one worker has it."""

    item: _Item
    token: str
    visible: str = ""
    whole: bool = False


class Deal:
    """One run over many clips.

    Parameters
    ----------
    link : Link
    look : callable
        The workers that may be used now; raises Lost.
    say, wait_s, most_bytes, share_disk, settings
        As ``ClusterPool``.
    """

    def __init__(
        self,
        link: Link,
        look: Callable[[], tuple[Peer, ...]],
        *,
        say: Callable[[str], None],
        wait_s: float,
        most_bytes: int,
        share_disk: bool,
        settings: ClusterSettings,
    ) -> None:
        self.link = link
        self.most_bytes = most_bytes
        self.share_disk = share_disk
        self.settings = settings
        self.stop = threading.Event()
        self._look = look
        self._say = say
        self._wait_s = wait_s
        self._events: queue.SimpleQueue[tuple[str, Any, Any]] = queue.SimpleQueue()
        self._changed = threading.Condition()
        self._pending: deque[_Item] = deque()
        self._lanes: dict[str, _Lane] = {}
        self._retired: set[str] = set()
        self._open = 0
        self._seen_at = time.monotonic()

    # The caller's thread ----------------------------------------------------------------------------------------------

    def results(self, jobs: Iterable[ReadJob], told: Told | None) -> Iterator[ClipRead]:
        """Results in order of completion. Raises SetupError when scheduler or workers are lost for good."""
        source = iter(jobs)
        more, n_given = True, 0
        watch = threading.Thread(target=self._watch, name="overlay-cluster-watch", daemon=True)
        self._seen_at = time.monotonic()
        watch.start()
        try:
            while True:
                while more and self._open < 2 * max(1, len(self._lanes)) + 1:
                    job = next(source, None)
                    more = job is not None
                    if job is not None:
                        self._add(_Item(job))
                if not more and self._open == 0:
                    return
                try:
                    kind, what, detail = self._events.get(timeout=self.settings.look_every_s)
                except queue.Empty:
                    if time.monotonic() - self._seen_at > self.settings.silent_s:
                        raise self._lost(n_given) from None
                    continue
                if kind == "told" and told is not None:
                    told(what, detail)
                elif kind == "read":
                    self._open -= 1
                    n_given += 1
                    yield what
                elif kind == "say":
                    self._say(what)
                elif kind == "failed":
                    if isinstance(what, Lost):
                        raise self._lost(n_given) from what
                    raise what
        finally:
            self.stop.set()
            with self._changed:
                self._changed.notify_all()
                lanes = list(self._lanes.values())
            until = time.monotonic() + self.settings.close_s
            for lane in lanes:
                lane.wake.set()
                lane.join(max(0.0, until - time.monotonic()))

    def _add(self, item: _Item) -> None:
        self._open += 1
        with self._changed:
            self._pending.append(item)
            self._changed.notify_all()

    def _lost(self, n_given: int) -> SetupError:
        done = "no clip was read" if n_given == 0 else f"{n_given} clip{'s were' if n_given > 1 else ' was'} read"
        return SetupError(
            f"The connection to the scheduler was lost; {done} before.",
            "What was read is kept: start the scheduler again and repeat the command, which goes on where it stopped.",
        )

    # Who is there -----------------------------------------------------------------------------------------------------

    def _watch(self) -> None:
        alone_since: float | None = None
        try:
            while not self.stop.is_set():
                peers = {peer.name: peer for peer in self._look()}
                self._seen_at = time.monotonic()
                self._meet(peers)
                if self._lanes:
                    alone_since = None
                elif alone_since is None:
                    alone_since = time.monotonic()
                    self.say(f"No worker is left; waiting up to {self._wait_s:g} s for one …")
                elif time.monotonic() - alone_since > self._wait_s:
                    raise SetupError(
                        f"The scheduler has had no worker for {self._wait_s:g} s.",
                        "What was read is kept: start workers (dask worker ADDRESS --nthreads 1) and run it again.",
                    )
                self.stop.wait(self.settings.look_every_s)
        except (Lost, SetupError) as error:
            self._events.put(("failed", error, None))
        except Exception as error:  # nothing may end this thread in silence
            self._events.put(("failed", Lost(str(error)), None))

    def _meet(self, peers: dict[str, Peer]) -> None:
        with self._changed:
            for name, lane in self._lanes.items():
                if name not in peers:
                    lane.gone.set()
                    lane.wake.set()
                    self._changed.notify_all()
            for name, peer in peers.items():
                if name not in self._lanes and name not in self._retired and not self.stop.is_set():
                    lane = _Lane(self, peer)
                    self._lanes[name] = lane
                    lane.start()

    # What the lanes call ----------------------------------------------------------------------------------------------

    def take(self, lane: _Lane) -> _Copy | None:
        """The next clip for an idle lane: its own that was sent ahead, one that waits, or one sent ahead to another."""
        with self._changed:
            while not self.stop.is_set() and not lane.gone.is_set():
                if lane.ahead is not None:
                    copy, lane.ahead = lane.ahead, None
                    return copy
                if self._pending:
                    return _Copy(self._pending.popleft(), uuid.uuid4().hex)
                others = [one for one in self._lanes.values() if one is not lane and one.ahead is not None]
                if others:
                    # The last clips must not wait behind each other while somebody has nothing to do.
                    other = others[0]
                    theirs, other.ahead = other.ahead, None
                    assert theirs is not None
                    other.unwanted.put(theirs)
                    return _Copy(theirs.item, uuid.uuid4().hex)
                self._changed.wait(self.settings.look_every_s)
            return None

    def take_ahead(self, lane: _Lane) -> _Copy | None:
        """A clip to send while ``lane``'s worker is reading; None when none waits."""
        with self._changed:
            if self._pending and not self.stop.is_set():
                lane.ahead = _Copy(self._pending.popleft(), uuid.uuid4().hex)
                # Somebody idle may want it more.
                self._changed.notify_all()
            return lane.ahead

    def say(self, text: str) -> None:
        self._events.put(("say", text, None))

    def told(self, job: ReadJob, stage: str) -> None:
        self._events.put(("told", job, stage))

    def give(self, read: ClipRead) -> None:
        self._events.put(("read", read, None))

    def fail(self, error: BaseException) -> None:
        self._events.put(("failed", error, None))

    def back(self, item: _Item, why: str = "") -> None:
        """A clip that was not read goes to the next worker; given up when too many were lost over it.

        ``why`` is "" when the clip itself had no part in it.
        """
        if why:
            item.losses.append(why)
        if len(item.losses) >= self.settings.most_losses:
            self.give(given_up(item.job, item.losses))
            return
        with self._changed:
            self._pending.appendleft(item)
            self._changed.notify_all()

    def leave(self, lane: _Lane, gone: Gone | None) -> None:
        """A lane ends."""
        with self._changed:
            self._lanes.pop(lane.peer.name, None)
            if gone is not None and gone.for_good:
                self._retired.add(lane.peer.name)
                self.say(f"The worker {lane.peer.address} is not used: {gone.why}.")


class _Lane(threading.Thread):
    """Deals clips to one worker."""

    def __init__(self, deal: Deal, peer: Peer) -> None:
        super().__init__(name=f"overlay-lane-{peer.address}", daemon=True)
        self.peer = peer
        self.gone = threading.Event()
        self.wake = threading.Event()
        self.ahead: _Copy | None = None
        """Guarded by the deal."""
        self.unwanted: queue.SimpleQueue[_Copy] = queue.SimpleQueue()
        """Copies whose clip another lane has taken over."""
        self._deal = deal
        self._link = deal.link
        self._settings = deal.settings
        self._copy: _Copy | None = None
        self._future: Any = None

    def run(self) -> None:
        gone: Gone | None = None
        try:
            while (copy := self._deal.take(self)) is not None:
                self._copy = copy
                self._one(copy)
                self._copy = None
                self._tidy()
        except Gone as error:
            gone = error
        except _Stop:
            pass
        except Lost as error:
            self._deal.fail(error)
        except Exception as error:  # a fault here must not leave the caller waiting
            self._deal.fail(
                SetupError(
                    f"Dealing clips to {self.peer.address} failed ({type(error).__name__}: {error}).",
                    "This is a fault of overlay: report it. What was read is kept; without --cluster it goes on here.",
                )
            )
        finally:
            self._leave(gone)

    def _leave(self, gone: Gone | None) -> None:
        self._deal.leave(self, gone)
        with self._deal._changed:
            ahead, self.ahead = self.ahead, None
        if self._copy is not None and not self._deal.stop.is_set():
            # It is a suspect only when the worker was at it.
            reading = self._future is not None
            why = (gone.why if gone is not None else "the worker left") if reading else ""
            self._deal.back(self._copy.item, why and f"{self.peer.address}: {why}")
        if ahead is not None and not self._deal.stop.is_set():
            self._deal.back(ahead.item)
        with contextlib.suppress(Exception):
            if self._future is not None:
                self._future.cancel()
            for copy in (self._copy, ahead):
                if copy is not None and not self.gone.is_set():
                    self._link.one(cluster_worker.drop, self.peer, copy.token)
            self._tidy()
        self._future = None

    def _one(self, copy: _Copy) -> None:
        job = copy.item.job
        self._deal.told(job, "")
        if not copy.whole and not self._send(copy):
            return
        self._deal.told(job, f"reading on {self.peer.address}")
        self._future = self._submit(copy)
        later = self._send_ahead()
        answer = self._answer()
        self._future = None
        if isinstance(answer, dict) and answer.get("send") is True and copy.visible:
            # What the worker sees under that name is another file.
            again = _Copy(copy.item, uuid.uuid4().hex)
            self._copy = again
            if not self._send(again, look=False):
                return
            self._future = self._submit(again)
            answer = self._answer()
            self._future = None
        self._finish(copy.item, answer)
        if later is not None:
            self._copy = None
            raise later

    def _send_ahead(self) -> Gone | None:
        """Send the next clip while this one is read. What is in the way of it must not cost this one its result."""
        following = self._deal.take_ahead(self)
        if following is None:
            return None
        try:
            self._send(following, ahead=True)
        except Gone as gone:
            if self._own(following):
                self._deal.back(following.item)
            return gone
        return None

    def _finish(self, item: _Item, answer: Any) -> None:
        if not isinstance(answer, dict) or set(answer) not in ({"read"}, {"lost"}):
            self._deal.back(item, f"{self.peer.address} answered something else")
            return
        if "lost" in answer:
            try:
                from overlay.files import sha256_of

                if sha256_of(item.job.path) != item.job.content_hash:
                    raise changed(item.job.path.name)
            except OverlayError as error:
                self._deal.give(failed(item.job, error))
                return
            self._deal.back(item, f"{self.peer.address}: {str(answer['lost'])[:200]}")
            return
        try:
            read = read_of(answer["read"], item.job, self._settings)
        except DataError as error:
            self._deal.back(item, f"{self.peer.address}: {error.message[:300].rstrip('.')}")
            return
        self._deal.give(read)

    # Sending ----------------------------------------------------------------------------------------------------------

    def _send(self, copy: _Copy, *, look: bool = True, ahead: bool = False) -> bool:
        """Make the clip readable for the worker. False: it is settled already, or no longer this lane's."""
        job = copy.item.job
        try:
            if look and self._deal.share_disk:
                path = str(job.path)
                if self._one_of(cluster_worker.is_visible, path, job.size_bytes):
                    copy.visible, copy.whole = path, True
                    return True
            self._pieces(copy, ahead=ahead)
        except OverlayError as error:
            if ahead and not self._own(copy):
                return False
            self._deal.give(failed(job, error))
            return False
        return copy.whole

    def _own(self, copy: _Copy) -> bool:
        """Take the copy out of ``ahead``; False when another lane has it."""
        with self._deal._changed:
            if self.ahead is not copy:
                return False
            self.ahead = None
            return True

    def _pieces(self, copy: _Copy, *, ahead: bool) -> None:
        job, settings = copy.item.job, self._settings
        if job.path.is_dir():
            raise InputError(f"{job.path.name} is a folder, which is not sent.", "Add it without --cluster.")
        try:
            size = job.path.stat().st_size
            if size > self._deal.most_bytes:
                raise InputError(
                    f"{job.path.name} has {size / 1e6:,.0f} MB; a worker is sent up to "
                    f"{self._deal.most_bytes / 1e6:,.0f} MB.",
                    "Put it on a disk that the workers see under the same path, cut it, or add it without --cluster.",
                )
            marks = _marks_of(job)
            self._expect(
                self._one_of(cluster_worker.make_place, copy.token, job.path.name, size, marks, settings), for_good=True
            )
            at = 0
            with open(job.path, "rb") as source:
                while content := source.read(settings.piece_bytes):
                    if at + len(content) > size:
                        raise changed(job.path.name)
                    self._expect(self._one_of(cluster_worker.add_piece, copy.token, at, content, settings))
                    at += len(content)
                    if ahead and self.ahead is not copy:
                        return  # another lane reads it; what was sent goes with the unwanted
        except OSError as error:
            raise InputError(
                f"{job.path} cannot be read: {error.strerror or error}.", "Check the name and the permissions."
            ) from error
        copy.whole = True

    def _expect(self, refused: Any, *, for_good: bool = False) -> None:
        if refused:
            raise Gone(str(refused)[:200], for_good=for_good)

    def _one_of(self, function: Callable[..., Any], *arguments: Any) -> Any:
        self._check()
        return self._link.one(function, self.peer, *arguments)

    def _tidy(self) -> None:
        with contextlib.suppress(queue.Empty):
            while True:
                copy = self.unwanted.get_nowait()
                self._link.one(cluster_worker.drop, self.peer, copy.token)

    # Reading ----------------------------------------------------------------------------------------------------------

    def _submit(self, copy: _Copy) -> Any:
        job = copy.item.job
        told = {one.name: getattr(job, one.name) for one in dataclasses.fields(job)}
        # Paths of one system cannot be made on another; and a worker keeps nothing of a clip.
        told["path"] = str(job.path)
        told["options"] = dataclasses.replace(job.options, use_cache=False)
        future = self._link.submit(self.peer, copy.token, told, copy.visible)
        future.add_done_callback(lambda _: self.wake.set())
        return future

    def _answer(self) -> Any:
        """What the worker gave back. Raises Gone, Lost or _Stop."""
        kept_at = time.monotonic()
        while True:
            self._check()
            if time.monotonic() - kept_at > self._settings.lease_s / 4:
                kept_at = time.monotonic()
                for copy in (self._copy, self.ahead):
                    if copy is not None and not copy.visible:
                        self._link.one(cluster_worker.keep, self.peer, copy.token, self._settings)
            status = self._future.status
            if status == "finished":
                try:
                    return self._future.result(timeout=self._settings.answer_s)
                except Exception as error:
                    # It died with the result in its hands.
                    self._link.check()
                    raise Gone("it ended before its result came") from error
            if status == "error":
                met = self._future.exception(timeout=self._settings.answer_s)
                if type(met).__name__ == "KilledWorker":
                    raise Gone("it ended")
                return {"lost": f"{type(met).__name__}: {met}"}
            if status in ("cancelled", "lost"):
                self._link.check()
                raise Gone("its task was cancelled")
            self.wake.wait(self._settings.look_every_s)
            self.wake.clear()

    def _check(self) -> None:
        if self._deal.stop.is_set():
            raise _Stop
        if self.gone.is_set():
            raise Gone("it ended")
        self._link.check()


def _marks_of(job: ReadJob) -> bytes | None:
    from overlay.marks import marks_path

    path = marks_path(job.path)
    return path.read_bytes() if path.is_file() else None


def failed(job: ReadJob, error: OverlayError) -> ClipRead:
    """A clip that could not be sent, and why."""
    return _without(job, error.message, error.hint, error.exit_code)


def given_up(job: ReadJob, losses: list[str]) -> ClipRead:
    """A clip over which one worker after the other was lost."""
    return _without(
        job,
        f"{job.path.name} was given to {len(losses)} workers and read by none: {'; '.join(losses)}.",
        "Add it without --cluster to see why; give the workers more memory if that is what they lack.",
        UNEXPECTED,
    )


def _without(job: ReadJob, problem: str, hint: str, code: int) -> ClipRead:
    from overlay.pipeline.told import told_text

    return ClipRead(
        content_hash=job.content_hash,
        path=job.path,
        size_bytes=job.size_bytes,
        recorded_at=job.recorded_at,
        inputs=job.inputs,
        engine=engine(),
        told=told_text(job.options),
        problem=problem,
        hint=hint,
        problem_code=code,
    )
