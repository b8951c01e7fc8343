"""Reading clips on other machines: waiting, sending, and what is taken back."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class ClusterSettings:
    """How a cluster is reached, fed and trusted. None of it changes what is read out of a clip."""

    connect_s: float = setting(15.0, "s", "a scheduler on the same network answers within a second; a busy one in five")
    wait_s: float = setting(60.0, "s", "workers that are started together with the command need some ten seconds")
    look_every_s: float = setting(0.5, "s", "how soon a dead or a new worker is noticed; a clip takes several seconds")
    silent_s: float = setting(
        180.0, "s", "a new worker on a busy machine takes a minute to say what it runs; thrice that"
    )
    answer_s: float = setting(120.0, "s", "a result that is ready takes under a second to come; a busy machine twenty")
    close_s: float = setting(20.0, "s", "leaving waits this long, at most, for what is under way to be put away")
    piece_bytes: int = setting(
        4_000_000, "bytes", "all that coach and scheduler hold of a clip at a time; 0.3 s on Wi-Fi of 100 Mbit/s"
    )
    most_bytes: int = setting(
        2_000_000_000, "bytes", "15 minutes at 18 Mbit/s: three minutes on such Wi-Fi; more by a shared disk"
    )
    spare_bytes: int = setting(500_000_000, "bytes", "a worker's disk keeps this much free beside the clip it is sent")
    lease_s: float = setting(
        900.0, "s", "a clip that was sent and that its coach no longer asks for is removed: he has gone"
    )
    most_losses: int = setting(2, "count", "workers lost over one clip before it is given up; as in local pools")
    most_swings: int = setting(2_000, "count", "a day's recording at one swing in 20 s")
    most_entries: int = setting(5_000, "count", "of any list of a result; the longest that overlay makes has some 100")
    most_text: int = setting(20_000, "characters", "the longest sentence of overlay itself has 300")
