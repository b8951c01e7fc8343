"""A season of an invented player as saved tracks, put into a library of its own and asked whether the change holds."""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from overlay.data import AIMS, Aim, ChangeAnswer
from overlay.errors import InputError, OutputError
from overlay.files import write_text
from overlay.progress import SILENT, Progress
from overlay.shipped import shipped_folder
from overlay.terms import View

if TYPE_CHECKING:
    from overlay.golfer import GolferSpec
    from overlay.library import Store

RATE_HZ = 60
MARK = "season.txt"
"""Says that the tracks and the library of a folder are the demo's own."""

START = "Start from a copy of demo/scenario/season.toml."


@dataclass(frozen=True)
class Day:
    """One session of the season."""

    date: datetime.date
    golfer: GolferSpec
    camera: Mapping[str, Any]
    """What ``CameraSpec.for_motion`` is told beside the view."""


@dataclass(frozen=True)
class Season:
    """Who practised when, and what changed from which day on."""

    place: str
    club: str
    view: View
    swings: int
    player: str
    stature_cm: float
    since: datetime.date
    worked_on: str
    focus: str
    aim: Aim
    days: tuple[Day, ...]


@dataclass(frozen=True)
class SeasonResult:
    """What the demo made: the library, the verdict and the pictures."""

    season: Season
    library: Path
    answer: ChangeAnswer
    n_swings: int
    trend: Path
    page: Path


def load_season(path: Path | None = None) -> Season:
    """Read a season file; None: the shipped one.

    Raises
    ------
    InputError
        The file cannot be read, or names something that does not exist.
    """
    from overlay.golfer import CameraSpec, GolferSpec

    path = path or shipped_folder("demo") / "season.toml"
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError(f"{path} cannot be read: {error}.", START) from error
    try:
        player, change, view = values["player"], values["change"], str(values["view"])
        if view not in ("dtl", "fo") or change["aim"] not in AIMS:
            raise ValueError(f"a view {view!r} with an aim {change['aim']!r}")
        days = []
        for number, day in enumerate(values["session"]):
            golfer = {**player["golfer"], "faults": dict(day.get("faults", {})), "seed": 100 * number}
            camera = {"view": view, **day.get("camera", {})}
            CameraSpec.from_dict(camera)
            days.append(Day(_date(day["date"]), GolferSpec.from_dict(golfer), camera))
        swings = int(values["swings"])
        if not 1 <= swings <= 99 or not days:
            raise ValueError(f"{swings} swings a session and {len(days)} sessions")
        return Season(
            place=str(values["place"]),
            club=str(values["club"]),
            view=cast("View", view),
            swings=swings,
            player=str(player["name"]),
            stature_cm=100.0 * float(player["stature_m"]),
            since=_date(change["since"]),
            worked_on=str(change["worked_on"]),
            focus=str(change["focus"]),
            aim=change["aim"],
            days=tuple(days),
        )
    except InputError as error:
        raise InputError(f"{path.name}: {error.message}", error.hint) from error
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise InputError(f"{path.name} is not complete ({error}).", START) from error


def _date(value: object) -> datetime.date:
    if type(value) is not datetime.date:
        raise ValueError(f"{value!r} is not a date such as 2026-05-04")
    return value


def film_season(
    season: Season, folder: Path, *, progress: Progress = SILENT
) -> tuple[tuple[Day, tuple[Path, ...]], ...]:
    """Write each swing as the track that a pose model would have given; one folder a day."""
    import dataclasses

    from overlay.golfer import CameraSpec, NoiseSpec, simulate, truth_track
    from overlay.pose import save_track

    made = []
    progress.stage("playing the season", len(season.days) * season.swings)
    for day in season.days:
        paths = []
        for number in range(season.swings):
            motion = simulate(dataclasses.replace(day.golfer, seed=day.golfer.seed + number))
            camera = CameraSpec.for_motion(motion, **day.camera)
            seed = day.golfer.seed + number
            track = truth_track(motion, camera, rate_hz=RATE_HZ, noise=NoiseSpec(), seed=seed)
            path = folder / day.date.isoformat() / f"swing-{number + 1:02d}.npz"
            save_track(path, track, view=season.view, handedness=day.golfer.handedness)
            paths.append(path)
            progress.advance()
        made.append((day, tuple(paths)))
    progress.done()
    return tuple(made)


def check_season_folder(folder: Path) -> None:
    """Refuse a folder that holds something of somebody's own.

    Raises
    ------
    OutputError
    """
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is a file.", "Choose another --out.")
    if folder.is_dir() and any(folder.iterdir()) and not (folder / MARK).exists():
        raise OutputError(
            f"{folder} is not empty, and no earlier demo made what is in it.", "Choose another --out, or empty it."
        )


def run_season(folder: Path, *, path: Path | None = None, progress: Progress = SILENT) -> SeasonResult:
    """Play a season, add it to a library in ``folder``, and ask whether the change holds.

    Raises
    ------
    InputError
        The season file cannot be read.
    OutputError
        The folder cannot be written, or holds what no demo made.
    """
    from overlay.batch import AddSpec, LocalPool, add_clips
    from overlay.files import write_bytes
    from overlay.library import open_store
    from overlay.pipeline.references import usual_swing
    from overlay.pipeline.session_pages import write_session_page
    from overlay.plots import trend_chart
    from overlay.trends import change_answer

    season = load_season(path)
    check_season_folder(folder)
    write_text(folder / MARK, "Made by `overlay demo --season`; everything here may be written over by it.\n")
    filmed = film_season(season, folder / "tracks", progress=progress)
    library = folder / "library.sqlite"
    n_swings = 0
    with open_store(library) as store, LocalPool() as pool:
        store.ensure_player(season.player, stature_cm=season.stature_cm)
        for day, paths in filmed:
            later = day.date >= season.since
            spec = AddSpec(
                player=season.player,
                date=day.date,
                club=season.club,
                place=season.place,
                worked_on=season.worked_on if later else None,
                focus=season.focus if later else None,
                aim=season.aim if later else None,
            )
            n_swings += sum(row.n_swings for row in add_clips(store, paths, spec, pool, progress=progress).rows)
        _mark_best(store, season)
        answer = change_answer(
            store, season.player, season.focus, since=season.since, view=season.view, space=usual_swing()
        )
        trend = folder / "trend.png"
        write_bytes(trend, trend_chart(answer))
        last = store.sessions(season.player)[0]
        page, _ = write_session_page(store, last.id, folder, progress=progress)
    return SeasonResult(season, library, answer, n_swings, trend, page)


def _mark_best(store: Store, season: Season) -> None:
    """One best swing of the first session and one of the last: by the focus, which way it is meant to go."""
    from overlay.library import SwingFilter

    sessions = store.sessions(season.player)
    for session in (sessions[-1], sessions[0]):
        swings = store.swings(
            SwingFilter(sessions=(session.id,)), sort=season.focus, descending=season.aim == "higher", limit=1
        )
        for swing in swings:
            store.mark_best(swing.id)
