"""When the club passes the ball, from the shaft's angle on both sides of the strike."""

from __future__ import annotations

import numpy as np

from overlay.data import ClubTrack
from overlay.settings.strike import ClubStrikeSettings


def club_through(
    club: ClubTrack, place: tuple[float, float], near_s: float, slow: float, settings: ClubStrikeSettings
) -> tuple[float, float] | None:
    """Time and standard deviation of the shaft passing the line from the grip to the ball.

    Only where the shaft was measured or marked on both sides, and sweeps across the ball: seen along the swing plane
    it comes end-on and tells no instant. That is why ``find_strike`` does not ask it down the line.

    Parameters
    ----------
    club : ClubTrack
    place : (x, y) px of the ball, on the frames of the club
    near_s : float
        About when, s.
    slow : float
        Playback seconds per real second.

    Returns
    -------
    (time_s, sd_s) or None
    """
    from scipy.interpolate import PchipInterpolator

    rows = np.flatnonzero(club.scored & (np.abs(club.time_s - near_s) <= settings.reach_s * slow))
    if len(rows) < 2 * settings.least_rows:
        return None
    times = club.time_s[rows]
    gap = np.asarray(place) - club.grip[rows]
    ball_deg = np.degrees(np.arctan2(gap[:, 1], gap[:, 0]))
    off = (club.angle_deg[rows] - ball_deg + 180.0) % 360.0 - 180.0
    known = np.isfinite(off)
    times, off = times[known], off[known]
    signs = np.flatnonzero((off[:-1] * off[1:] <= 0) & (np.abs(off[1:] - off[:-1]) < 150.0))
    least = settings.least_rows
    crossings = [int(k) for k in signs if k + 1 >= least and len(off) - k - 1 >= least]
    if not crossings:
        return None
    i = min(crossings, key=lambda k: abs(0.5 * (times[k] + times[k + 1]) - near_s))
    part = slice(max(0, i - 2), i + 4)
    t, values = times[part], off[part]
    sweep = np.sign(off[i + 1] - off[i])
    if not np.all(np.sign(np.diff(values)) == sweep):
        t, values = times[i : i + 2], off[i : i + 2]
        if off[i] == off[i + 1]:
            return None
    order = np.argsort(values)
    crossing = PchipInterpolator(values[order], t[order]) if len(t) > 2 else None
    at = float(crossing(0.0)) if crossing is not None else float(np.interp(0.0, values[order], t[order]))
    width = float(times[i + 1] - times[i])
    rate = abs(float(off[i + 1] - off[i])) / width
    own = club.angle_sd_deg[rows][known][i : i + 2]
    angle_sd = np.hypot(settings.angle_sd_deg, np.nanmean(own) if np.isfinite(own).any() else 0.0)
    if rate * slow < settings.least_rate_deg_s:
        return None
    return at - settings.late_s * slow, float(np.hypot(angle_sd / rate, settings.gap_share * width))
