"""A season in a library, made by hand: swings with measures whose truth is known, filmed from known places."""

from __future__ import annotations

import datetime
import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from library_factory import clip_read, comparison, swing_read

from overlay.data import Aim, ClipRead, FilmingFinding, FilmingReport, Measure
from overlay.library import Store
from overlay.terms import View

FIRST = datetime.date(2031, 3, 2)
UNITS = {"hips_line_release": "torso", "hand_depth_back": "torso", "shoulders_to_spine_top": "deg",
         "tempo_ratio": "ratio", "hand_height_back": "fraction"}  # fmt: skip
SPREAD = {"torso": 0.03, "deg": 2.5, "ratio": 0.12, "fraction": 0.05}
"""SD of one swing within a session."""


@dataclass(frozen=True)
class Day:
    """One session to be kept.

    Attributes
    ----------
    levels : mapping measure → level of that day
    n : int
        Swings, one clip each.
    day : int
        Days after the first.
    height_cm, offset_cm : float
        Where the camera stands, from where it is advised.
    filming_fails : bool
    """

    levels: Mapping[str, float]
    day: int
    n: int = 8
    club: str = "7 iron"
    focus: str = ""
    aim: Aim = "either"
    view: View = "dtl"
    height_cm: float = 0.0
    offset_cm: float = 0.0
    filming_fails: bool = False
    compared: Sequence[float] = ()
    references: Sequence[str] = field(default=("Model one",))


def finding(name: str, value: float, unit: str, sd: float, fails: bool = False) -> FilmingFinding:
    return FilmingFinding(
        name, value, unit, (value - 1.96 * sd, value + 1.96 * sd), "fail" if fails else "pass", "Seen.", ""
    )


def filmed(day: Day, rng: np.random.Generator) -> FilmingReport:
    """Every finding about the camera, with the error of one clip."""
    return FilmingReport(
        (
            finding("camera_height", day.height_cm + rng.normal(0, 1.5), "cm", 2.0, day.filming_fails),
            finding("camera_offset", day.offset_cm + rng.normal(0, 1.5), "cm", 2.0),
            finding("yaw", rng.normal(0, 0.4), "deg", 0.5),
            finding("roll", rng.normal(0, 0.2), "deg", 0.3),
            finding("camera_distance", 4.0 + rng.normal(0, 0.03), "m", 0.05),
        )
    )


def clips_of(day: Day, number: int, seed: int) -> list[ClipRead]:
    rng = np.random.default_rng((seed, number))
    found = []
    for i in range(day.n):
        measures = []
        for name, level in day.levels.items():
            unit = UNITS[name]
            value = level + rng.normal(0, SPREAD[unit])
            measures.append(
                Measure(name, value, unit, (value - SPREAD[unit], value + SPREAD[unit]))
                if math.isfinite(level)
                else Measure(name, math.nan, unit, None, False, "the hips are not seen")
            )
        compared = None
        if day.compared:
            name = day.references[i % len(day.references)]
            compared = comparison(abs(day.compared[i % len(day.compared)]), name.encode(), name)
        swing = replace(
            swing_read(1, view=day.view, compared=compared), measures=tuple(measures), filming=filmed(day, rng)
        )
        stem = f"day{number:03d}_{i:02d}"
        clip = clip_read(stem, swing, recorded_at=1.9e9 + 86400.0 * day.day + 100.0 * i)
        found.append(replace(clip, content_hash=hashlib.sha256(f"{stem}/{seed}/{day.view}".encode()).hexdigest()))
    return found


def keep_season(store: Store, days: Sequence[Day], player: str = "Robin Sparrow", seed: int = 1) -> None:
    """Keep every day as a session with its clips."""
    who = store.ensure_player(player)
    for number, day in enumerate(days):
        session = store.ensure_session(
            who.id,
            FIRST + datetime.timedelta(days=day.day),
            day.club,
            place="Larkspur Range",
            focus=day.focus or None,
            aim=day.aim if day.focus else None,
        )
        for clip in clips_of(day, number, seed):
            store.keep(session.id, clip)


def season(
    change: float = -0.12,
    *,
    before: int = 5,
    since: int = 4,
    levels: Sequence[float] | None = None,
    seed: int = 1,
    between: float = 0.012,
    n: int = 8,
    camera_cm: float = 0.0,
    focus: str = "hips_line_release",
    aim: Aim = "lower",
) -> list[Day]:
    """``before`` sessions at 0.15 and ``since`` ones changed; three other measures that do not change."""
    rng = np.random.default_rng(seed)
    days = []
    for i in range(before + since):
        later = i >= before
        moved = (levels[i - before] if levels is not None else change) if later else 0.0
        days.append(
            Day(
                {
                    "hips_line_release": 0.15 + moved + rng.normal(0, between),
                    "hand_depth_back": -0.05 + rng.normal(0, between),
                    "shoulders_to_spine_top": 92.0 + rng.normal(0, 1.0),
                    "tempo_ratio": 3.1 + rng.normal(0, 0.05),
                },
                day=5 * i,
                n=n,
                focus=focus if later else "",
                aim=aim,
                height_cm=camera_cm if later else 0.0,
            )
        )
    return days


def library(folder: Path, days: Sequence[Day], *, player: str = "Robin Sparrow", seed: int = 1) -> Path:
    """A library with that season in ``folder``."""
    from overlay.library import open_store

    path = folder / "library.sqlite"
    with open_store(path) as store:
        keep_season(store, days, player, seed)
    return path
