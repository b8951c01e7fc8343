"""Clips as they were read, made by hand, and a small library of two invented players, for what lists and exports."""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
from check_factory import with_club
from comparison_factory import make_swing

from overlay.data import FilmingFinding, FilmingReport, Measure, Model, PhaseDifference
from overlay.data.record import ClipRead, SwingComparison, SwingRead
from overlay.library import Store
from overlay.models import kept_swing, model_bytes
from overlay.terms import PARTS, PHASES, View

REFERENCE = b"a model's content"
REFERENCE_KEY = hashlib.sha256(REFERENCE).hexdigest()
FIRST_DAY = datetime.date(2031, 5, 3)


@lru_cache(maxsize=8)
def kept_model(view: View) -> bytes:
    """A swing as it is kept, with joints missing and a club."""
    swing = with_club(replace(make_swing(view=view), clip=None))
    points = swing.pose.points.copy()
    points[3, 5] = np.nan
    return model_bytes(
        Model("swing", "swing", {view: kept_swing(replace(swing, pose=replace(swing.pose, points=points)))})
    )


def measures(tempo: float, hips: float | None) -> tuple[Measure, ...]:
    """Tempo, one measure at a position, one that could not be given."""
    lost = Measure("hips_line_release", float("nan"), "torso", None, False, "the hips are not seen", "", None)
    return (
        Measure("tempo_ratio", tempo, "ratio", (tempo - 0.2, tempo + 0.2)),
        Measure("backswing_s", 0.9, "s", (0.88, 0.92)),
        Measure("spine_side_bend_top", -12.5, "deg", (-17.5, -7.5), True, "", "top", 1.2),
        lost
        if hips is None
        else Measure("hips_line_release", hips, "torso", (hips - 0.05, hips + 0.05), True, "", "impact", 1.4),
    )


def comparison(value: float) -> SwingComparison:
    """Two rows: one that was found and one that was not scored."""
    nan = float("nan")
    found = PhaseDifference(
        PHASES[1].name,
        PARTS[0],
        value,
        (value - 0.05, value + 0.05),
        (-value, 0.0),
        "large",
        50.0,
        (21.0, 84.0),
        0.08,
        10.2,
    )
    lost = PhaseDifference(
        PHASES[4].name, PARTS[1], nan, (nan, nan), (nan, nan), "not scored", nan, (nan, nan), nan, None, "hidden"
    )
    return SwingComparison(
        REFERENCE_KEY, "Larkspur model", "engine 1", (found, lost), "The hands differ first.", "fine"
    )


def swing_read(
    number: int = 1,
    view: View = "dtl",
    *,
    tempo: float = 3.0,
    hips: float | None = 0.1,
    compared: bool = False,
    impact_shift_s: float = 0.0,
) -> SwingRead:
    """A swing as it was read."""
    swing = make_swing(view=view, start_s=impact_shift_s)
    filming = FilmingReport((FilmingFinding("roll", 1.0, "deg", (0.0, 2.0), "pass", "level", ""),))
    return SwingRead(
        number,
        view,
        "right",
        swing.positions,
        kept_model(view),
        measures(tempo, hips),
        filming,
        "hips_line_release" if hips is not None else "",
        "The hips come off their line." if hips is not None else "",
        1.0,
        comparison(0.2 + 0.01 * number) if compared else None,
    )


def clip_read(path: Path, swings: Sequence[SwingRead] = (), problem: str = "", hint: str = "") -> ClipRead:
    """A clip as it was read; its hash is that of its name."""
    content = path.name.encode("utf-8", "surrogateescape")
    return ClipRead(
        hashlib.sha256(content).hexdigest(),
        path,
        1000,
        1_900_000_000.0,
        "inputs",
        "engine 1",
        480,
        854,
        3.0,
        60.0,
        tuple(swings),
        (),
        problem,
        hint,
        4 if problem else 0,
    )


def fill(
    store: Store, folder: Path, wren: str = "Wren Aldous", idris: str = "Idris Holm", club: str = "7 iron"
) -> None:
    """Two players; Wren has two sessions, the first with a clip that could not be read. Seven swings in all."""
    store.keep_reference(REFERENCE_KEY, "Larkspur model", REFERENCE)
    first = store.ensure_session(
        store.ensure_player(wren, handedness="right", stature_cm=168.0).id,
        FIRST_DAY,
        club,
        place="Larkspur Range",
        worked_on="hips",
        focus="hips_line_release",
        aim="lower",
    )
    store.keep(
        first.id,
        clip_read(
            folder / "a.mp4",
            [
                swing_read(1, tempo=2.9, hips=0.2, compared=True),
                swing_read(2, tempo=3.4, hips=0.1, compared=True, impact_shift_s=8.0),
            ],
        ),
    )
    store.keep(first.id, clip_read(folder / "b.mp4", [swing_read(1, "fo", tempo=3.0, hips=None)]))
    store.keep(first.id, clip_read(folder / "dark.mp4", problem="Nobody is seen.", hint="Film in daylight."))
    second = store.ensure_session(store.player(wren).id, FIRST_DAY + datetime.timedelta(days=9), club)
    store.keep(second.id, clip_read(folder / "c.mp4", [swing_read(1, tempo=3.1, hips=0.05)]))
    third = store.ensure_session(store.ensure_player(idris).id, FIRST_DAY, "driver")
    for i in range(3):
        store.keep(third.id, clip_read(folder / f"d{i}.mp4", [swing_read(1, tempo=2.5 + 0.1 * i, hips=0.3)]))
