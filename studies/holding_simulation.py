"""How often "holding" is said, rightly and wrongly, over sessions whose truth is known.

    python studies/holding_simulation.py [--quick]

A season is drawn: every session has its own level (spread B between sessions), every swing its own value about it (SD 1
within a session, the unit of everything here). Sessions differ in how many swings they have, neighbouring swings may
resemble each other, and what was worked on may change nothing, everything, one session, or something that fades. The
rule itself is ``overlay.holding``; nothing of it is written again here.
"""

from __future__ import annotations

import argparse
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from overlay import stats
from overlay.arrays import FloatArray
from overlay.files import write_text
from overlay.holding import Case, Within, judge_together, weigh, word_of
from overlay.settings.holding import HoldingSettings

OUT = Path(__file__).resolve().parent.parent / "docs" / "studies" / "holding_simulation.md"
SETTINGS = HoldingSettings()


@dataclass(frozen=True)
class Season:
    """What is drawn.

    Attributes
    ----------
    baseline, later : int
        Sessions.
    shift : sequence of float
        What each later session is truly changed by; one number for all of them alike.
    between : float
        SD of a session's level.
    swings : sequence of int
        Swings of each session, baseline first; one number for all.
    neighbours : float
        Correlation of a swing with the one before it in its session.
    sessions : float
        Correlation of a session's level with that of the session before it.
    heavy : bool
        Session levels from Student's t on 3 degrees of freedom (scaled to the same SD): now and then an odd day.
    drift : float
        What the level moves by from session to session, whatever is worked on.
    """

    baseline: int = 5
    later: int = 4
    shift: Sequence[float] = (0.0,)
    between: float = 0.4
    swings: Sequence[int] = (10,)
    neighbours: float = 0.0
    sessions: float = 0.0
    heavy: bool = False
    drift: float = 0.0

    @property
    def n_sessions(self) -> int:
        return self.baseline + self.later

    def of_each(self, values: Sequence[float], n: int) -> FloatArray:
        return np.full(n, float(values[0])) if len(values) == 1 else np.asarray(values, np.float64)

    def draw(self, runs: int, rng: np.random.Generator) -> FloatArray:
        """(runs, sessions) session means."""
        n = self.n_sessions
        level = rng.standard_t(3, (runs, n)) / math.sqrt(3.0) if self.heavy else rng.standard_normal((runs, n))
        for i in range(1, n):
            level[:, i] = self.sessions * level[:, i - 1] + math.sqrt(1 - self.sessions**2) * level[:, i]
        counts = self.of_each(self.swings, n)
        error = rng.standard_normal((runs, n)) * np.sqrt([mean_variance(int(k), self.neighbours) for k in counts])
        moved = np.concatenate([np.zeros(self.baseline), self.of_each(self.shift, self.later)])
        return np.asarray(self.between * level + error + moved + self.drift * np.arange(n), np.float64)


def mean_variance(n: int, neighbours: float) -> float:
    """Variance of the mean of n values of SD 1 of a first-order autoregression: (n + 2Σ(n − k)ρᵏ)/n²."""
    lags = np.arange(1, n)
    return float(n + 2 * np.sum((n - lags) * neighbours**lags)) / n**2


@dataclass
class Tally:
    """Shares of the runs."""

    runs: int
    words: Counter[str] = field(default_factory=Counter)
    significant: int = 0

    def share(self, word: str) -> float:
        return self.words[word] / self.runs


def run(season: Season, runs: int, seed: int, *, told: bool = True) -> Tally:
    """The words said over so many seasons. ``told``: the rule knows how many swings a session has."""
    rng = np.random.default_rng(seed)
    means = season.draw(runs, rng)
    counts = [int(n) for n in season.of_each(season.swings, season.n_sessions)]
    before, since = counts[: season.baseline], counts[season.baseline :]
    df = sum(counts) - len(counts)
    sds = np.sqrt(rng.chisquare(df, runs) / df)
    tally = Tally(runs)
    for row, sd in zip(means, sds):
        within = Within(float(sd), df, before, since) if told else None
        weighed = weigh(row[: season.baseline], row[season.baseline :], SETTINGS, within)
        gone = math.nan if weighed.gone is None else weighed.gone.p
        tally.words[word_of(weighed, weighed.p, gone, settings=SETTINGS)] += 1
        tally.significant += weighed.p < SETTINGS.level
    return tally


def blip(later: int, place: int, size: float) -> tuple[float, ...]:
    return tuple(size if i == place else 0.0 for i in range(later))


def fade(later: int, size: float) -> tuple[float, ...]:
    """From the whole change in the first later session to nothing in the last."""
    return tuple(float(value) for value in np.linspace(size, 0.0, later))


def gone(later: int, size: float) -> tuple[float, ...]:
    """The whole change, and nothing of it in the last two sessions."""
    return tuple(size if i < later - 2 else 0.0 for i in range(later))


def percent(share: float) -> str:
    return f"{100 * share:.1f}"


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    lines = ["| " + " | ".join(heads) + " |", "|" + "---|" * len(heads)]
    return [*lines, *("| " + " | ".join(row) + " |" for row in rows), ""]


def words_row(name: str, season: Season, runs: int, seed: int) -> list[str]:
    tally = run(season, runs, seed)
    print(name, dict(tally.words), flush=True)
    return [name, *(percent(tally.share(word)) for word in ("holding", "faded", "not holding"))]


HEADS = ("what is true", "holding", "faded", "not holding")


def main_table(runs: int, baseline: int, later: int) -> tuple[list[list[str]], dict[str, float]]:
    """The figures asked for, for one number of sessions."""
    rows = [words_row("nothing changed", Season(baseline, later), runs, 1)]
    figures = {"nothing": float(rows[0][1])}
    worst = 0.0
    for size in (1.0, 2.0, 3.0):
        for place, name in ((0, "first"), (later - 2, "last but one"), (later - 1, "last")):
            row = words_row(
                f"one session off by {size:g}, the {name}",
                Season(baseline, later, blip(later, place, size)),
                runs,
                2 + place,
            )
            worst = max(worst, float(row[1]) if size >= 2 else 0.0)
            rows.append(row)
    figures["blip"] = worst
    for size in (1.5, 2.0, 3.0):
        rows.append(
            words_row(
                f"a change of {size:g} that fades to nothing", Season(baseline, later, fade(later, size)), runs, 9
            )
        )
        figures[f"fade {size:g}"] = float(rows[-1][1])
    rows.append(
        words_row("a change of 2 that is gone in the last two", Season(baseline, later, gone(later, 2.0)), runs, 10)
    )
    for size in (1.0, 1.5, 2.0):
        rows.append(words_row(f"a lasting change of {size:g}", Season(baseline, later, (size,)), runs, 11))
        figures[f"lasting {size:g}"] = float(rows[-1][1])
    return rows, figures


def spread_table(runs: int) -> list[str]:
    rows = []
    for between in (0.2, 0.4, 0.7, 1.0):
        for n in (3, 10, 30):
            none = run(Season(between=between, swings=(n,)), runs, 20)
            fading = run(Season(shift=fade(4, 2.0), between=between, swings=(n,)), runs, 21)
            lasting = run(Season(shift=(2.0,), between=between, swings=(n,)), runs, 22)
            rows.append([f"{between:g}", str(n), *(percent(each.share("holding")) for each in (none, fading, lasting))])
            print("spread", rows[-1], flush=True)
    return table(("B", "swings a session", "nothing changed", "fades from 2", "lasting change of 2"), rows)


def sessions_table(runs: int) -> list[str]:
    rows = []
    for baseline, later in ((3, 2), (3, 3), (5, 2), (5, 3), (5, 4), (5, 6), (8, 8), (10, 20)):
        cells = [f"{baseline} + {later}"]
        for shift in ((0.0,), fade(later, 2.0), (1.0,), (1.5,), (2.0,)):
            tally = run(Season(baseline, later, shift), runs, 30)
            cells.append(percent(tally.share("holding")))
            if shift == (0.0,):
                cells.append(percent(tally.share("faded")))
        sd = math.sqrt(0.4**2 + 1 / 10)
        cells.append(f"{stats.detectable_difference(sd, baseline, later):.2f}")
        rows.append(cells)
        print("sessions", cells, flush=True)
    heads = ("sessions", "nothing changed", "… said to have faded", "fades from 2", "lasting 1", "lasting 1.5",
             "lasting 2", "change found 19 times in 20")  # fmt: skip
    return table(heads, rows)


def dependence_table(runs: int) -> list[str]:
    cases = (
        ("neighbouring swings correlated .3", {"neighbours": 0.3}),
        ("neighbouring swings correlated .6", {"neighbours": 0.6}),
        ("neighbouring swings correlated .9", {"neighbours": 0.9}),
        ("an odd day now and then (t on 3 degrees)", {"heavy": True}),
        ("neighbouring sessions correlated .3", {"sessions": 0.3}),
        ("neighbouring sessions correlated .6", {"sessions": 0.6}),
        ("all sessions drift by 0.1 each", {"drift": 0.1}),
        ("all sessions drift by 0.2 each", {"drift": 0.2}),
    )
    rows = []
    for name, values in cases:
        fields: dict[str, Any] = dict(values)
        none = run(Season(**fields), runs, 40)
        lasting = run(Season(shift=(2.0,), **fields), runs, 41)
        rows.append(
            [
                name,
                percent(none.significant / runs),
                percent(none.share("holding")),
                percent(none.share("faded")),
                percent(lasting.share("holding")),
            ]
        )
        print("dependence", rows[-1], flush=True)
    return table(
        ("", "nothing changed: p < .05", "… holding", "… faded", "lasting change of 2: holding"),
        rows,
    )


def unequal_table(runs: int) -> list[str]:
    rows = []
    for baseline, later, before, since in (
        (5, 4, 10, 10), (5, 4, 2, 20), (5, 4, 20, 2), (8, 3, 20, 2), (8, 3, 2, 20), (8, 3, 10, 3), (8, 3, 10, 2),
        (3, 8, 2, 20), (3, 8, 20, 2), (10, 2, 20, 2), (10, 2, 20, 1),
    ):  # fmt: skip
        swings = (before,) * baseline + (since,) * later
        rows.append(unequal_row(f"{before} and {since}", baseline, later, swings, runs))
    mixed = (1, 30, 3, 12, 8, 25, 2, 14, 6)
    rows.append(unequal_row(", ".join(map(str, mixed)), 5, 4, mixed, runs))
    heads = ("sessions", "swings a session, before and since", "p < .05, sizes not told", "p < .05", "holding",
             "lasting change of 2: holding")  # fmt: skip
    return table(heads, rows)


def unequal_row(name: str, baseline: int, later: int, swings: Sequence[int], runs: int) -> list[str]:
    none = Season(baseline, later, swings=swings)
    blind, told = run(none, runs, 50, told=False), run(none, runs, 50)
    lasting = run(Season(baseline, later, (2.0,), swings=swings), runs, 51)
    cells = [blind.significant / runs, told.significant / runs, told.share("holding"), lasting.share("holding")]
    row = [f"{baseline} + {later}", name, *map(percent, cells)]
    print("unequal", row, flush=True)
    return row


def pooled_table(runs: int) -> list[str]:
    """What a t test on all swings together would say, if one were made."""
    rows = []
    rng = np.random.default_rng(60)
    for between in (0.2, 0.4, 0.7, 1.0):
        level = between * rng.standard_normal((runs, 9, 1)) + rng.standard_normal((runs, 9, 10))
        before, since = level[:, :5].reshape(runs, -1), level[:, 5:].reshape(runs, -1)
        hits = sum(stats.two_sample_t(a, b).p < SETTINGS.level for a, b in zip(before, since))
        means = level.mean(axis=2)
        on_means = sum(stats.two_sample_t(row[:5], row[5:]).p < SETTINGS.level for row in means)
        rows.append([f"{between:g}", percent(hits / runs), percent(on_means / runs)])
        print("pooled", rows[-1], flush=True)
    return table(("B", "t test on all swings", "t test on session means"), rows)


def together(runs: int, seed: int, n: int, alike: float, *, focus: bool = False) -> tuple[float, float, float, float]:
    """Shares of seasons in which any of n unchanged measures is said to hold, or to have changed or faded.

    By Holm (holding, holding or faded) and each by itself (the same). ``alike`` is the correlation between measures.
    """
    rng = np.random.default_rng(seed)
    season = Season()
    any_holm = any_either = alone = alone_either = 0
    for _ in range(runs):
        common = season.draw(1, rng)
        rows = math.sqrt(alike) * common + math.sqrt(1 - alike) * season.draw(n, rng)
        cases = [Case(row[:5], row[5:], is_focus=focus and i == 0) for i, row in enumerate(rows)]
        words = [holding.word for holding in judge_together(cases)]
        any_holm += "holding" in words
        any_either += "holding" in words or "faded" in words
        by_itself = []
        for row in rows:
            weighed = weigh(row[:5], row[5:], SETTINGS)
            by_itself.append(
                word_of(weighed, weighed.p, math.nan if weighed.gone is None else weighed.gone.p, settings=SETTINGS)
            )
        alone += "holding" in by_itself
        alone_either += "holding" in by_itself or "faded" in by_itself
    return any_holm / runs, any_either / runs, alone / runs, alone_either / runs


def together_table(runs: int) -> list[str]:
    rows = []
    for n, alike in ((24, 0.0), (24, 0.5), (12, 0.5)):
        shares = together(runs, 70, n, alike)
        rows.append([str(n), f"{alike:g}", *(percent(share) for share in shares)])
        print("together", rows[-1], flush=True)
    return table(
        ("measures", "correlation", "Holm: any holding", "… or faded", "each by itself: any holding", "… or faded"),
        rows,
    )


def page(runs: int) -> str:
    rows, figures = main_table(runs, 5, 4)
    asked = [
        ("nothing changed: holding", "≤ 5 %", figures["nothing"], figures["nothing"] <= 5),
        ("one session off by 2 or 3, the worst place: holding", "≤ 3 %", figures["blip"], figures["blip"] <= 3),
        ("a change of 2 that fades: holding", "≤ 10 %", figures["fade 2"], figures["fade 2"] <= 10),
        ("a lasting change of 2: holding", "≥ 93 %", figures["lasting 2"], figures["lasting 2"] >= 93),
    ]
    half = 196 * math.sqrt(0.05 * 0.95 / runs)
    lines = [
        "# Is it holding: what the verdict is worth",
        "",
        "Made by `python studies/holding_simulation.py`.",
        "",
        __doc__.split("\n\n")[2].strip().replace("\n", " ").replace("``", "`"),
        "",
        f"{runs} seasons a line; a share of 5 % is known to ±{half:.1f} points (95 %). All in per cent of the seasons; "
        "sizes in standard deviations within a session. B is the spread between sessions: 0.4 where nothing else is "
        "said, with 10 swings a session.",
        "",
        "## Asked for, with 5 baseline and 4 later sessions",
        "",
        *table(
            ("", "asked for", "found", ""),
            [
                [name, bound, f"{found:.1f} %", "reached" if good else "**missed**"]
                for name, bound, found, good in asked
            ],
        ),
        *table(HEADS, rows),
        "## How many sessions",
        "",
        "Holding, and in the last column the change that the t test finds 19 times in 20.",
        "",
        *sessions_table(runs),
        "## Spread between sessions and swings a session",
        "",
        "5 + 4 sessions, holding. Where sessions differ by as much as swings do (B = 1), more swings a session help "
        "little: more sessions do.",
        "",
        *spread_table(runs),
        "## What is not as the test takes it to be",
        "",
        "Neighbouring swings that resemble each other change nothing in the false alarms, since a session counts once. "
        "Neighbouring *sessions* that resemble each other do, and so does a player who is on the move anyway: no test "
        "on so few sessions can tell that from a change.",
        "",
        *dependence_table(runs),
        "## Unequal sessions",
        "",
        "A session mean of few swings scatters more. As long as both sides have about the same mixture that does no "
        "harm; where the side with *fewer sessions* is also the one with few swings, the plain test calls a change far "
        "too often (sizes not told). The rule knows the sizes and widens the error there; nothing changed, then:",
        "",
        *unequal_table(runs),
        "## Why session means",
        "",
        f"Seasons without any change ({runs // 2} a line), 5 + 4 sessions of 10 swings, tested both ways: p < .05.",
        "",
        *pooled_table(runs // 2),
        "## Many measures at once",
        "",
        f"No measure changed; in how many seasons ({max(200, runs // 4)} a line) is at least one said to have? "
        "Correlation is that between measures.",
        "",
        *together_table(max(200, runs // 4)),
    ]
    return "\n".join(lines).rstrip() + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="few seasons; nothing is written")
    options = parser.parse_args()
    text = page(300 if options.quick else 12_000)
    if options.quick:
        print(text)
    else:
        write_text(OUT, text)


if __name__ == "__main__":
    main()
