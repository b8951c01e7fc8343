"""Limits of reading many clips at once, and of waiting for clips that are being copied."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class PoolSettings:
    """How worker processes are kept."""

    threads: int = setting(1, "count", "of the numeric libraries in each worker: the clips side by side fill the cores")
    ahead: int = setting(1, "count", "jobs prepared before a worker is free: the next file's hash takes 0.2 s")
    deaths: int = setting(2, "count", "workers that may end over one clip before the clip is said to be at fault")
    starts: int = setting(3, "count", "workers in a row that may end before they are ready: then none will start")
    silent_s: float = setting(
        900.0, "s", "without a word from a worker; the longest silent step, following one swing's club, takes 5–20 s"
    )
    start_s: float = setting(120.0, "s", "until a new worker is ready; the imports take 2 s, from a cold disk 20 s")
    stop_s: float = setting(3.0, "s", "given to a worker to leave its work in order before it is killed")
    poll_s: float = setting(0.2, "s", "between looks at silent workers while nothing arrives; costs nothing")


@dataclass(frozen=True)
class WatchSettings:
    """When a file in a watched folder is taken for whole."""

    poll_s: float = setting(1.0, "s", "between looks at the folder: a clip takes ten seconds to read")
    still_s: float = setting(
        3.0, "s", "that size and time of change stand still; phones write in bursts of under a second"
    )
    patience_s: float = setting(60.0, "s", "after which a file that does not become whole is told, once")
