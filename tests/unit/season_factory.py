"""A season in a library, of an invented player filmed as saved tracks: read once, kept as often as needed."""

from __future__ import annotations

import dataclasses
import datetime
import hashlib
from functools import lru_cache
from pathlib import Path

import numpy as np
from batch_factory import write_track

from overlay.batch import ReadJob, read_clip
from overlay.data import ClipRead, PhaseDifference
from overlay.data.record import SwingComparison
from overlay.files import sha256_of
from overlay.library import Store
from overlay.terms import PARTS, PHASES, View

PLAYER = "Robin <b>Sparrow</b>"
REFERENCE = b"a kept reference"
KEY = hashlib.sha256(REFERENCE).hexdigest()
FIRST_DAY = datetime.date(2031, 3, 4)
FOCUS = "hips_line_release"


@lru_cache(maxsize=4)
def read_once(path: Path) -> ClipRead:
    """What is read of a saved track."""
    return read_clip(ReadJob(path, sha256_of(path), size_bytes=path.stat().st_size))


def another(
    read: ClipRead, name: str, level: float, first: str, rng: np.random.Generator, *, compared: bool
) -> ClipRead:
    """The same swing with other values, as another clip."""
    swings = []
    for swing in read.swings:
        measures = []
        for one in swing.measures:
            value = (level if one.name == FOCUS else one.value) + rng.normal(0, 0.02)
            measures.append(
                dataclasses.replace(one, value=value, interval=(value - 0.1, value + 0.1)) if one.valid else one
            )
        swings.append(
            dataclasses.replace(
                swing,
                measures=tuple(measures),
                first_focus=first,
                comparison=comparison(rng) if compared else None,
            )
        )
    return dataclasses.replace(
        read,
        content_hash=hashlib.sha256(name.encode()).hexdigest(),
        path=Path(f"/range/{name}.npz"),
        swings=tuple(swings),
    )


def comparison(rng: np.random.Generator) -> SwingComparison:
    """Differences whose spread is known: hands 0.01 in the takeaway, trail leg ten times as much in the release."""
    rows = []
    for phase in PHASES:
        for part in PARTS:
            sd = 0.03
            if (part, phase.name) == ("hands", "takeaway"):
                sd = 0.003
            if (part, phase.name) == ("trail_leg", "release"):
                sd = 0.3
            x, y = rng.normal(0.1, sd, 2)
            size = float(np.hypot(x, y))
            rows.append(
                PhaseDifference(
                    phase.name, part, size, (0.0, 2 * size), (float(x), float(y)), "small", 80.0, (70.0, 90.0), 0.05
                )
            )
    return SwingComparison(KEY, "Larkspur model", "engine", tuple(rows))


def failed(name: str) -> ClipRead:
    """A clip from which nothing could be read."""
    return ClipRead(
        hashlib.sha256(name.encode()).hexdigest(), Path(f"/range/{name}.npz"), 10, None, "", "engine",
        problem="Nobody is seen.", hint="Film in <i>daylight</i>.", problem_code=4,
    )  # fmt: skip


def fill_season(store: Store, folder: Path, *, sessions: int = 8, since: int = 5, swings: int = 6) -> list[int]:
    """Sessions of one player with the 7 iron; from number ``since`` on the focus lies lower. Returns their ids.

    First and last session hold a saved track that exists, marked as best; the others' files are gone.
    """
    rng = np.random.default_rng(7)
    player = store.ensure_player(PLAYER, handedness="right", stature_cm=176)
    store.keep_reference(KEY, "Larkspur model", REFERENCE)
    ids, day = [], FIRST_DAY
    for k in range(sessions):
        later = k >= since
        session = store.ensure_session(
            player.id,
            day,
            "7 iron",
            place="Larkspur Range",
            worked_on="hips <script>alert(1)</script>" if later else "",
            focus=FOCUS if later else None,
            aim="lower" if later else None,
        )
        ids.append(session.id)
        read = read_once(write_track(folder / f"swing-{int(later)}.npz", int(later)))
        for i in range(swings):
            kept = another(
                read, f"s{k}-{i}", -0.2 if later else 0.1, FOCUS if i % 2 else "", rng, compared=k == sessions - 1
            )
            if i == 0 and k in (0, sessions - 1):
                kept = dataclasses.replace(kept, content_hash=read.content_hash, path=read.path)
            store.keep(session.id, kept)
        day += datetime.timedelta(days=5)
    store.keep(ids[-1], failed("dark"))
    return ids


def real_swing(store: Store, session_id: int, view: View = "dtl") -> int:
    """The swing of a session whose file exists."""
    from overlay.library import SwingFilter

    found = store.swings(SwingFilter(sessions=(session_id,), views=(view,)))
    return next(swing.id for swing in found if swing.path.exists())
