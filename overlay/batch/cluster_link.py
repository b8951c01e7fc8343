"""What is asked of a Dask cluster, with what can go wrong told apart: the scheduler is lost, or one worker is gone."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from overlay.batch import cluster_worker
from overlay.settings.cluster import ClusterSettings

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
