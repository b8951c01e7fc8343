"""Clips read by the workers of a Dask cluster that is already there; the library stays where this process runs.

Each worker gets one clip after the other, and the next one while it reads: the coach deals them, so that neither he
nor the scheduler ever holds more of a clip than one piece. A worker is used only when it runs the very same code and
pose model. What it answers is checked before it is believed (``plain``). The worker's side is ``cluster_worker``.

Dask's messages are pickles: whoever can reach the scheduler can run programs on every machine of the cluster, and the
cluster on this one. See ``docs/cluster.md``.
"""

from __future__ import annotations

import contextlib
import importlib.util
import logging
import re
import threading
import time
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from overlay.batch import cluster_worker
from overlay.batch.cluster_deal import Deal
from overlay.batch.cluster_link import Link, Peer
from overlay.batch.jobs import ReadJob, Told
from overlay.data.record import ClipRead
from overlay.errors import InputError, SetupError
from overlay.settings.cluster import ClusterSettings

INSTALL = 'pip install ".[cluster]" in the folder that overlay was installed from'

_ADDRESS = re.compile(r"(?:(?P<scheme>[a-z]+)://)?(?P<host>\[[0-9a-fA-F:.%]+\]|[A-Za-z0-9._-]+):(?P<port>[0-9]{1,5})/?")

LOGGERS = (
    "distributed",
    "distributed.client",
    "distributed.comm",
    "distributed.core",
    "tornado",
    "tornado.application",
    "tornado.general",
    "asyncio",
)
"""Whose words would reach the user's terminal."""


def checked_address(text: str) -> str:
    """The scheduler's address as ``tcp://host:port`` or ``tls://host:port``; a bare ``host:port`` is tcp.

    >>> checked_address("range-pc:8786")
    'tcp://range-pc:8786'

    Raises
    ------
    InputError
        It is no such address.
    """
    how = "Give it as the scheduler prints it, e.g. tcp://192.168.1.20:8786, or tls:// with certificates."
    found = _ADDRESS.fullmatch(text.strip())
    if found is None:
        raise InputError(f"{text!r} is no address of a scheduler.", how)
    scheme, port = found["scheme"] or "tcp", int(found["port"])
    if scheme not in ("tcp", "tls"):
        raise InputError(f"{text!r}: a scheduler is not reached by {scheme}://.", how)
    if not 1 <= port <= 65535:
        raise InputError(f"{text!r}: there is no port {port}.", how)
    return f"{scheme}://{found['host']}:{port}"


class ClusterPool:
    """Reads clips on a Dask cluster; keeps the ``Pool`` protocol.

    Parameters
    ----------
    address : str
        Of the scheduler: ``tcp://host:port``, ``tls://host:port`` or ``host:port``.
    tls_ca, tls_cert, tls_key : Path or None
        Certificates for ``tls://``: the authority's, one's own, and its key (None: in the same file). Without them
        those of Dask's own configuration are used.
    wait_s : float or None
        How long to wait for a worker when there is none, at the start and in the middle. None: of the settings.
    most_bytes : int or None
        Larger clips are not sent. They are read all the same where a worker sees the same file under the same path.
        None: of the settings.
    share_disk : bool
        False: always send, do not look whether the worker sees the file.
    say : callable
        Told sentences for the user while it waits, or when a worker is left out.
    settings : ClusterSettings

    Raises
    ------
    InputError
        The address is none, or a certificate is not there.
    SetupError
        Dask is not installed; the scheduler does not answer; no worker came in time; a worker runs other code. On
        ``open``, which ``with`` and ``run`` call.
    """

    def __init__(
        self,
        address: str,
        *,
        tls_ca: Path | None = None,
        tls_cert: Path | None = None,
        tls_key: Path | None = None,
        wait_s: float | None = None,
        most_bytes: int | None = None,
        share_disk: bool = True,
        say: Callable[[str], None] = lambda text: None,
        settings: ClusterSettings | None = None,
    ) -> None:
        self.address = checked_address(address)
        self.settings = settings or ClusterSettings()
        self._certificates = _certificates(self.address, tls_ca, tls_cert, tls_key)
        self._wait_s = self.settings.wait_s if wait_s is None else wait_s
        self._most_bytes = self.settings.most_bytes if most_bytes is None else most_bytes
        self._share_disk = share_disk
        self._say = self._announce = say
        self._quiet = contextlib.ExitStack()
        self._client: Any = None
        self._peers: dict[str, Peer] = {}
        self._left_out: dict[str, str] = {}
        self._opening = threading.Lock()

    @property
    def workers(self) -> int:
        return max(1, len(self._peers))

    def __enter__(self) -> Self:
        self.open()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def open(self) -> None:
        """Connect, wait for a worker, and make sure that all of them run the code that runs here. Twice is once.

        Raises
        ------
        SetupError
            See the class.
        """
        with self._opening:
            if self._client is not None:
                return
            if importlib.util.find_spec("distributed") is None:
                raise SetupError("A cluster needs Dask, which is not installed.", f"Install it: {INSTALL}")
            self._quiet.enter_context(_hushed())
            try:
                self._client = self._connected()
                self._first_workers()
            except BaseException:
                self._shut()
                raise

    def close(self) -> None:
        """Leave the cluster, which stays as it is."""
        with self._opening:
            self._shut()

    def run(self, jobs: Iterable[ReadJob], told: Told | None = None) -> Iterator[ClipRead]:
        """Read the clips, in order of completion. Raises as ``Pool.run``; what was given back before stays good."""
        self.open()
        deal = Deal(
            Link(self._client, self.settings),
            self._look,
            say=self._say,
            wait_s=self._wait_s,
            most_bytes=self._most_bytes,
            share_disk=self._share_disk,
            settings=self.settings,
        )
        # Sentences for the user come from the caller's thread, as results do.
        self._announce = deal.say
        try:
            yield from deal.results(jobs, told)
        finally:
            self._announce = self._say

    # Connecting -----------------------------------------------------------------------------------------------------

    def _connected(self) -> Any:
        import distributed

        start = f"Start it (dask scheduler), check the address, and that no firewall closes port {self._port}."
        try:
            security = distributed.Security(**self._certificates)
            with warnings.catch_warnings():
                # That versions of Python or Dask differ; ours are compared by what they read.
                warnings.simplefilter("ignore")
                return distributed.Client(
                    self.address,
                    timeout=self.settings.connect_s,
                    security=security,
                    set_as_default=False,
                    name="overlay",
                )
        except (OSError, TimeoutError) as error:  # a wrong certificate is an OSError too
            if self.address.startswith("tls://") and "ssl" in f"{type(error.__cause__)}{error}".lower():
                raise SetupError(
                    f"The scheduler at {self.address} and this computer do not accept each other's certificates.",
                    "Use certificates that the same authority signed on both sides; docs/cluster.md shows how.",
                ) from error
            raise SetupError(f"No scheduler answers at {self.address}.", start) from error
        except (TypeError, ValueError, RuntimeError) as error:
            if self.address.startswith("tls://"):
                raise SetupError(
                    f"{self.address} needs certificates: {_first_line(error)}",
                    "Give the authority's certificate and your own, or name them in Dask's configuration.",
                ) from error
            raise SetupError(f"No connection to {self.address}: {_first_line(error)}", start) from error
        except ImportError as error:
            raise SetupError(
                f"The scheduler at {self.address} runs a Dask that this one cannot talk to: {_first_line(error)}",
                "Install the same version of distributed on all machines.",
            ) from error

    @property
    def _port(self) -> str:
        return self.address.rsplit(":", 1)[1]

    def _first_workers(self) -> None:
        until = time.monotonic() + self._wait_s
        said = False
        while not self._look():
            if self._left_out:
                raise self._refusal()
            if not said:
                said = True
                self._say(f"Waiting up to {self._wait_s:g} s for a worker at {self.address} …")
            if time.monotonic() >= until:
                raise no_worker(self.address, self._wait_s)
            time.sleep(self.settings.look_every_s)
        if self._left_out:
            raise self._refusal()

    def _refusal(self) -> SetupError:
        mine = cluster_worker.describe()
        lines = [f"{address} ({why})" for address, why in sorted(self._left_out.items())]
        return SetupError(
            f"These workers would not read clips as this computer does: {', '.join(lines)}.",
            f"Install overlay {mine['version']} from the same release there, with the same pose model, and start "
            "them again.",
        )

    def _look(self) -> tuple[Peer, ...]:
        """The workers that are there now and run our code; new ones are asked once.

        Raises
        ------
        Lost
            The scheduler is gone.
        """
        link = Link(self._client, self.settings)
        there = link.peers()
        new = [peer for name, peer in there.items() if name not in self._peers and peer.address not in self._left_out]
        if new:
            mine = cluster_worker.describe()
            answers = link.ask(cluster_worker.describe, [peer.address for peer in new])
            for peer in new:
                answer = answers.get(peer.address)
                if isinstance(answer, OSError):
                    continue  # it is just leaving: should it stay, it is asked again
                why = differs(mine, answer)
                if why:
                    self._left_out[peer.address] = why
                    self._announce(f"The worker {peer.address} is not used: {why}.")
                else:
                    self._peers[peer.name] = peer
        addresses = {peer.address for peer in there.values()}
        self._peers = {name: peer for name, peer in self._peers.items() if name in there}
        self._left_out = {name: why for name, why in self._left_out.items() if name in addresses}
        return tuple(self._peers.values())

    def _shut(self) -> None:
        client, self._client = self._client, None
        self._peers = {}
        if client is not None:
            with contextlib.suppress(Exception):  # it may be gone already
                client.close(timeout=self.settings.close_s)
        self._quiet.close()


def differs(mine: Mapping[str, str], theirs: Any) -> str:
    """Why a worker is not used, in a few words; "" when it runs what runs here."""
    if isinstance(theirs, (ImportError, AttributeError)):
        return "overlay is not installed there, or another version of it"
    if not isinstance(theirs, dict) or not all(isinstance(theirs.get(name), str) for name in mine):
        return "it does not say what it would read clips with"
    if theirs["version"] != mine["version"]:
        return f"overlay {theirs['version'][:40]} instead of {mine['version']}"
    if theirs["pose"] != mine["pose"]:
        return f"the pose model {theirs['pose'][:60]} instead of {mine['pose']}"
    if theirs["engine"] != mine["engine"]:
        return "another state of the code under the same version"
    return ""


def no_worker(address: str, wait_s: float) -> SetupError:
    """The error when nobody is there to read."""
    return SetupError(
        f"The scheduler at {address} has had no worker for {wait_s:g} s.",
        f"Start one on each machine that shall help: dask worker {address} --nthreads 1",
    )


def _certificates(address: str, ca: Path | None, cert: Path | None, key: Path | None) -> dict[str, Any]:
    given = {"tls_ca_file": ca, "tls_client_cert": cert, "tls_client_key": key}
    if not any(given.values()):
        return {}
    if not address.startswith("tls://"):
        raise InputError(f"Certificates were given, but {address} is not encrypted.", "Use a tls:// address.")
    for path in given.values():
        if path is not None and not Path(path).is_file():
            raise InputError(f"There is no certificate {path}.", "Check the name.")
    if ca is None or cert is None:
        raise InputError(
            "One certificate alone is not enough for tls://.", "Give the authority's certificate and your own."
        )
    named = {name: str(path) for name, path in given.items() if path is not None}
    return {"tls_client_key": str(cert), "require_encryption": True, **named}


@contextlib.contextmanager
def _hushed() -> Iterator[None]:
    """Keep the libraries' own words off the terminal; what matters is told in ours."""
    import distributed  # noqa: F401 - it sets its loggers up when it is loaded

    kept = {name: logging.getLogger(name).level for name in LOGGERS}
    try:
        for name in LOGGERS:
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)
        yield
    finally:
        for name, level in kept.items():
            logging.getLogger(name).setLevel(level)


def _first_line(error: BaseException) -> str:
    lines = str(error).strip().splitlines()
    return (lines[0] if lines else type(error).__name__)[:200].rstrip(".") + "."


__all__ = ["ClusterPool", "checked_address", "differs", "no_worker"]
