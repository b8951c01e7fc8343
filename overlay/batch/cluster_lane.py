"""One worker of a cluster and the clips it is given: sent, read, taken back, and dealt to others when it is gone."""

from __future__ import annotations

import contextlib
import dataclasses
import queue
import threading
import time
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from overlay.batch import cluster_worker
from overlay.batch.cluster_link import Gone, Lost, Peer
from overlay.batch.jobs import ReadJob, unread
from overlay.batch.plain import read_of
from overlay.batch.reading import changed
from overlay.data.record import ClipRead
from overlay.errors import DataError, InputError, OverlayError, SetupError

if TYPE_CHECKING:
    from overlay.batch.cluster_deal import Deal

UNEXPECTED = 70
"""EX_SOFTWARE of sysexits.h."""


class _Stop(Exception):
    """Nobody wants the results any more."""


@dataclass(eq=False)
class Item:
    """A clip on its way."""

    job: ReadJob
    losses: list[str] = field(default_factory=list)
    """Why it was not read before, one for each worker."""


@dataclass
class Copy:
    """A clip as one worker has it."""

    item: Item
    token: str
    visible: str = ""
    whole: bool = False


class Lane(threading.Thread):
    """Deals clips to one worker."""

    def __init__(self, deal: Deal, peer: Peer) -> None:
        super().__init__(name=f"overlay-lane-{peer.address}", daemon=True)
        self.peer = peer
        self.gone = threading.Event()
        self.wake = threading.Event()
        self.ahead: Copy | None = None
        """Guarded by the deal."""
        self.unwanted: queue.SimpleQueue[Copy] = queue.SimpleQueue()
        """Copies whose clip another lane has taken over."""
        self._deal = deal
        self._link = deal.link
        self._settings = deal.settings
        self._copy: Copy | None = None
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
        with self._deal.changed:
            ahead, self.ahead = self.ahead, None
        if self._copy is not None and not self._deal.stop.is_set():
            # It is a suspect only when the worker was at it, and not when the worker reads nothing at all.
            reading = self._future is not None and not (gone is not None and gone.for_good)
            why = (gone.why if gone is not None else "the worker left") if reading else ""
            self._deal.back(self._copy.item, why and f"{self.peer.address}: {why}")
        if ahead is not None and not self._deal.stop.is_set():
            self._deal.back(ahead.item)
        with contextlib.suppress(Exception):
            if self._future is not None:
                self._future.cancel()
        for copy in (self._copy, ahead):
            if copy is not None and not copy.visible:
                self._drop(copy)
        self._tidy()
        self._future = None

    def _one(self, copy: Copy) -> None:
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
            again = Copy(copy.item, uuid.uuid4().hex)
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

    def _finish(self, item: Item, answer: Any) -> None:
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

    def _send(self, copy: Copy, *, look: bool = True, ahead: bool = False) -> bool:
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

    def _own(self, copy: Copy) -> bool:
        """Take the copy out of ``ahead``; False when another lane has it."""
        with self._deal.changed:
            if self.ahead is not copy:
                return False
            self.ahead = None
            return True

    def _pieces(self, copy: Copy, *, ahead: bool) -> None:
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
                self._drop(self.unwanted.get_nowait())

    def _drop(self, copy: Copy) -> None:
        """Have what was sent of it removed; a worker that does not answer does so by itself when the lease ends."""
        if not self.gone.is_set():
            with contextlib.suppress(Gone, Lost):
                self._link.one(cluster_worker.drop, self.peer, copy.token)

    # Reading ----------------------------------------------------------------------------------------------------------

    def _submit(self, copy: Copy) -> Any:
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
                if isinstance(met, SetupError):
                    raise Gone(met.message[:200].rstrip("."), for_good=True)
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
    """What lies beside the clip as its marks file; of one that is too long, enough to be refused there as here."""
    from overlay.marks import marks_path
    from overlay.settings.marks import MarkSettings

    path = marks_path(job.path)
    if not path.exists():
        return None
    if not path.is_file():
        raise InputError(f"{path} is not a file, so there are no marks in it.", "Rename it and mark the clip again.")
    with open(path, "rb") as source:
        return source.read(MarkSettings().max_bytes + 1)


def failed(job: ReadJob, error: OverlayError) -> ClipRead:
    """A clip that could not be sent, and why."""
    return unread(job, error.message, error.hint, error.exit_code)


def given_up(job: ReadJob, losses: list[str]) -> ClipRead:
    """A clip over which one worker after the other was lost."""
    return unread(
        job,
        f"{job.path.name} was given to {len(losses)} workers and read by none: {'; '.join(losses)}.",
        "Add it without --cluster to see why; give the workers more memory if that is what they lack.",
        UNEXPECTED,
    )
