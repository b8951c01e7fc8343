"""When a change across sessions is called holding, and what is advised."""

from __future__ import annotations

from dataclasses import dataclass

from overlay.settings import setting


@dataclass(frozen=True)
class HoldingSettings:
    """The rule of docs/holding.md; its figures are in docs/studies/holding_simulation.md."""

    level: float = setting(0.05, "fraction", "chance of calling a change where there is none; common practice")
    interval: float = setting(0.95, "fraction", "common practice")
    least_baseline: int = setting(3, "count", "sessions before the change: with fewer the scatter is not known at all")
    least_later: int = setting(2, "count", "sessions since: one good day is no change; both are asked to show it")
    share: float = setting(
        0.5, "fraction", "of the change that a session must show: nearer to the change than to the baseline"
    )
    last: int = setting(
        2, "count", "of the newest sessions must all show it: one may be chance, three cost a lasting change too often"
    )
    least_shown: int = setting(
        2, "count", "sessions that must have shown a change before it can have faded: one session is a good day"
    )
    chance: float = setting(
        0.95, "fraction", "of finding the change that 'could have been missed': as for the phases of one comparison"
    )
    least_within_df: float = setting(
        4.0,
        "count",
        "degrees of freedom of the swings within sessions, where they alone stand for the scatter: an SD of one is "
        "anything from half to 32 times the true one (95 %), of four from 0.6 to 2.9 times",
    )
    advised_baseline: int = setting(5, "count", "a change of 2 SD within a session is then found 19 times in 20")
    advised_later: int = setting(3, "count", "as advised_baseline; docs/studies/holding_simulation.md")
    advised_swings: int = setting(
        10, "count", "swings a session: with more the scatter between sessions is what is left, not that of the mean"
    )
    thin_swings: int = setting(3, "count", "a session with fewer valid swings is used, and told")
    unequal_swings: float = setting(
        4.0,
        "ratio",
        "swings a session on one side over the other: from here on the mean's own scatter differs enough to be told; "
        "docs/studies/holding_simulation.md, Unequal sessions",
    )
    near_names: int = setting(3, "count", "names offered for a measure that is not known")
