"""Dealing clips to the workers of a cluster: who is there, who reads what, and what is given out.

One thread for each worker (``Lane``) sends it a clip, lets it read, sends the next one meanwhile, and takes the
answer. One thread (``Deal._watch``) looks who is there. The caller's thread draws the jobs and gives out the results,
so that whatever makes jobs and keeps results runs in one thread alone.
"""

from __future__ import annotations

import queue
import threading
import time
import uuid
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from overlay.batch.cluster_lane import Copy, Item, Lane, given_up
from overlay.batch.cluster_link import Gone, Link, Lost, Peer
from overlay.batch.jobs import ReadJob, Told
from overlay.data.record import ClipRead
from overlay.errors import SetupError
from overlay.settings.cluster import ClusterSettings


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
        self.changed = threading.Condition()
        self._pending: deque[Item] = deque()
        self._lanes: dict[str, Lane] = {}
        self._started: list[Lane] = []
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
                        self._add(Item(job))
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
            with self.changed:
                self.changed.notify_all()
                # Also those that are just leaving: they have what was sent removed.
                lanes = list(self._started)
            until = time.monotonic() + self.settings.close_s
            for lane in lanes:
                lane.wake.set()
                lane.join(max(0.0, until - time.monotonic()))

    def _add(self, item: Item) -> None:
        self._open += 1
        with self.changed:
            self._pending.append(item)
            self.changed.notify_all()

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
            self.fail(
                SetupError(
                    f"Looking after the workers failed ({type(error).__name__}: {error}).",
                    "This is a fault of overlay: report it. What was read is kept; without --cluster it goes on here.",
                )
            )

    def _meet(self, peers: dict[str, Peer]) -> None:
        with self.changed:
            for name, lane in self._lanes.items():
                if name not in peers:
                    lane.gone.set()
                    lane.wake.set()
                    self.changed.notify_all()
            for name, peer in peers.items():
                if name not in self._lanes and name not in self._retired and not self.stop.is_set():
                    lane = Lane(self, peer)
                    self._lanes[name] = lane
                    self._started.append(lane)
                    lane.start()

    # What the lanes call ----------------------------------------------------------------------------------------------

    def take(self, lane: Lane) -> Copy | None:
        """The next clip for an idle lane: its own that was sent ahead, one that waits, or one sent ahead to another."""
        with self.changed:
            while not self.stop.is_set() and not lane.gone.is_set():
                if lane.ahead is not None:
                    copy, lane.ahead = lane.ahead, None
                    return copy
                if self._pending:
                    return Copy(self._pending.popleft(), uuid.uuid4().hex)
                others = [one for one in self._lanes.values() if one is not lane and one.ahead is not None]
                if others:
                    # The last clips must not wait behind each other while somebody has nothing to do.
                    other = others[0]
                    theirs, other.ahead = other.ahead, None
                    assert theirs is not None
                    other.unwanted.put(theirs)
                    return Copy(theirs.item, uuid.uuid4().hex)
                self.changed.wait(self.settings.look_every_s)
            return None

    def take_ahead(self, lane: Lane) -> Copy | None:
        """A clip to send while ``lane``'s worker is reading; None when none waits."""
        with self.changed:
            if self._pending and not self.stop.is_set():
                lane.ahead = Copy(self._pending.popleft(), uuid.uuid4().hex)
                # Somebody idle may want it more.
                self.changed.notify_all()
            return lane.ahead

    def say(self, text: str) -> None:
        self._events.put(("say", text, None))

    def told(self, job: ReadJob, stage: str) -> None:
        self._events.put(("told", job, stage))

    def give(self, read: ClipRead) -> None:
        self._events.put(("read", read, None))

    def fail(self, error: BaseException) -> None:
        self._events.put(("failed", error, None))

    def back(self, item: Item, why: str = "") -> None:
        """A clip that was not read goes to the next worker; given up when too many were lost over it.

        ``why`` is "" when the clip itself had no part in it.
        """
        if why:
            item.losses.append(why)
        if len(item.losses) >= self.settings.most_losses:
            self.give(given_up(item.job, item.losses))
            return
        with self.changed:
            self._pending.appendleft(item)
            self.changed.notify_all()

    def leave(self, lane: Lane, gone: Gone | None) -> None:
        """A lane ends."""
        with self.changed:
            self._lanes.pop(lane.peer.name, None)
            if gone is not None and gone.for_good:
                self._retired.add(lane.peer.name)
                self.say(f"The worker {lane.peer.address} is not used: {gone.why}.")
