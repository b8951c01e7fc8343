"""Limits and patience of the library."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class LibrarySettings:
    """How long the library waits for another program, what texts may be, and when two readings are of one swing."""

    patience_s: float = setting(
        60.0,
        "s",
        "another program's transaction is one clip, well under 1 s; a whole folder of them kept by two programs that "
        "take turns never waits this long, a program that hangs does",
    )
    busy_step_s: float = setting(0.5, "s", "how long one try waits, so that Ctrl-C is heard in between")
    cache_mb: int = setting(64, "MB", "pages of one measure over 100,000 swings, its index and the sessions: 20 MB")
    max_name: int = setting(200, "characters", "names, places, clubs; longer ones are pasted by mistake")
    max_tag: int = setting(60, "characters", "a tag is a word or two")
    max_note: int = setting(20_000, "characters", "several pages; longer ones are pasted by mistake")
    same_swing_s: float = setting(
        0.5,
        "s",
        "of real time; two readings of one clip whose positions lie this near are of one swing. Another state of the "
        "code moves an impact by hundredths of a second; two swings of one recording lie seconds apart",
    )
    few_swings: int = setting(
        3000,
        "count",
        "so many values of a measure are looked up one by one and sorted in a tenth of the time that walking the order "
        "of all 100,000 takes",
    )
    backup_pages: int = setting(4096, "pages", "16 MB a step: progress is told and Ctrl-C heard in between")
    leftover_s: float = setting(
        3600.0, "s", "an unfinished copy beside the library that was not written to for this long is nobody's work"
    )
    max_findings: int = setting(200, "count", "sentences of a check; more of the same kind help nobody")
