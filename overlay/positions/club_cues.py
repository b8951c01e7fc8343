"""Candidate times of the positions from the club's track.

Read only where the shaft was seen or marked; an interpolated row is nobody's observation. What is read is what defines
the position: the shaft passes level, changes direction, leaves the place where it was still. Little is learned
(a mean lead or lag and the spread that is left, ``club_calibration.json``), so little can mislead on a swing unlike
those it was learned on.
"""

from __future__ import annotations

import json
import math
from functools import cache
from importlib import resources

import numpy as np

from overlay.data import Swing
from overlay.positions.club_moments import LEVELS, ClubSeries, held_until, leaving, level_passage, turning
from overlay.positions.fusion import Candidate
from overlay.settings.positions import ClubCueSettings
from overlay.terms import POSITION_NAMES

SETTINGS = ClubCueSettings()


def club_series(swing: Swing, settings: ClubCueSettings = SETTINGS) -> ClubSeries | None:
    """The club's rows that were seen or marked; None when there are too few or the swing has no unit of time."""
    club = swing.club
    if club is None:
        return None
    seen = club.scored & np.isfinite(club.angle_deg) & np.isfinite(club.length_px)
    if int(seen.sum()) < settings.least_rows:
        return None
    frame_s = float(np.median(np.diff(club.time_s)))
    unit_s = _unit_s(swing, frame_s)
    if unit_s is None or not unit_s > 0:
        return None
    side = 1.0 if swing.handedness == "right" else -1.0
    angle, length = np.radians(club.angle_deg[seen]), club.length_px[seen]
    full = float(np.percentile(length, settings.full_percentile))
    if not full > 0:
        return None
    shaft = np.stack([side * np.cos(angle), -np.sin(angle)], 1) * (length / full)[:, None]
    sd = np.where(np.isfinite(club.angle_sd_deg[seen]), club.angle_sd_deg[seen], settings.usual_sd_deg)
    return ClubSeries(club.time_s[seen], shaft, np.maximum(sd, settings.least_sd_deg), frame_s, unit_s)


def _unit_s(swing: Swing, frame_s: float) -> float | None:
    top, impact = swing.positions.time("top"), swing.positions.time("impact")
    if top is not None and impact is not None:
        return impact - top
    frames = swing.quality.get("frames_per_downswing", math.nan)
    return frames * frame_s if math.isfinite(frames) and frames > 0 else None


@cache
def club_calibration() -> dict[tuple[str, str], tuple[float, float]]:
    """(view, position) → (late, sd) in downswings: what is read lies so much too late, and spreads so far."""
    source = resources.files("overlay.positions").joinpath("club_calibration.json")
    table = json.loads(source.read_text(encoding="utf-8"))
    return {
        (view, name): (row["late"], row["sd"]) for view, rows in table["views"].items() for name, row in rows.items()
    }


def read_club(swing: Swing, settings: ClubCueSettings = SETTINGS) -> tuple[dict[str, tuple[float, float]], float]:
    """Position → (time as read, its standard deviation by the rows it was read from), s; and the unit of time, s.

    Before the calibration: what ``club_candidates`` is made from.
    """
    series = club_series(swing, settings)
    if series is None or swing.view not in ("dtl", "fo"):
        return {}, math.nan
    positions, unit_s = swing.positions, series.unit_s
    found: dict[str, tuple[float, float] | None] = {}
    for name in LEVELS:
        near = positions.get(name)
        if near is not None:
            reach_s = max(settings.reach_sd * (near.sd_s or 0.0), settings.reach * unit_s)
            found[name] = level_passage(series, swing.view, name, near.time_s, reach_s, settings)
    top = positions.get("top")
    if top is not None and swing.view == "fo":
        reach_s = max(settings.reach_sd * (top.sd_s or 0.0), settings.top_reach * unit_s)
        found["top"] = turning(series, top.time_s, reach_s, settings)
    address, back = positions.time("address"), positions.time("shaft_level_back")
    if address is not None and back is not None:
        found["address"] = leaving(series, swing.view, "address", address, swing.start_s, back, settings)
    finish, impact = positions.time("finish"), positions.time("impact")
    if finish is not None and impact is not None:
        begin_s = impact + settings.finish_after * unit_s
        held_s = held_until(series, begin_s, finish + unit_s, settings)
        if held_s is not None:
            found["finish"] = leaving(series, swing.view, "finish", held_s, begin_s, swing.stop_s, settings)
    return {name: read for name, read in found.items() if read is not None}, unit_s


def club_candidates(swing: Swing, settings: ClubCueSettings = SETTINGS) -> tuple[Candidate, ...]:
    """Candidates for the positions that the club's track shows; none when the club is not tracked.

    Impact is not among them: the club through the ball is one of the clues of ``strike_candidates``.

    Parameters
    ----------
    swing : Swing
        With ``club``; its positions say where to look.

    Returns
    -------
    tuple of Candidate
        In the order of the swing, source "club".
    """
    read, unit_s = read_club(swing, settings)
    calibration = club_calibration()
    candidates = []
    for name in POSITION_NAMES:
        known = calibration.get((swing.view, name))
        if name not in read or known is None:
            continue
        (time_s, rows_sd_s), (late, sd) = read[name], known
        time_s -= late * unit_s
        if swing.start_s <= time_s <= swing.stop_s:
            candidates.append(Candidate(name, time_s, math.hypot(rows_sd_s, sd * unit_s), "club"))
    return tuple(candidates)
