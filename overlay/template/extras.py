"""What else a template carries: the mean shaft, and the ball and the strike."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import Ball, ClubState, ClubTrack, Positions, Strike
from overlay.settings.template import TemplateSettings
from overlay.template.average import Clock, weighted_median
from overlay.template.members import Member, club_of


def mean_club(members: Sequence[Member], clock: Clock, settings: TemplateSettings) -> ClubTrack | None:
    """The mean shaft: circular mean of the angles, mean of grip and visible length; None when nobody has one.

    "measured" only where at least half of the swings that have a shaft, and two at the least, were measured or marked
    there; "interpolated" where fewer were, "hidden" where none shows it.
    """
    clubs = [(i, club) for i, member in enumerate(members) if (club := club_of(member)) is not None]
    if not clubs:
        return None
    n = len(clock.time_s)
    unit, weight, grip, length, sure = [], [], [], [], []
    for i, club in clubs:
        at = clock.member_s[i]
        angle, ok, scored = _angle_at(club, at, settings)
        sd = np.where(np.isfinite(club.angle_sd_deg), club.angle_sd_deg, settings.club_sd_deg)
        w = 1.0 / (np.interp(at, club.time_s, sd) ** 2 + settings.club_sd_deg**2)
        # Where it was only carried over a gap it counts little.
        weight.append(np.where(ok, np.where(scored, 1.0, settings.filled_weight) * w, 0.0))
        unit.append(np.where(ok[:, None], np.stack([np.cos(angle), np.sin(angle)], axis=-1), 0.0))
        grip.append(_linear(club.grip, club.time_s, at))
        length.append(_linear(club.length_px[:, None], club.time_s, at)[:, 0])
        sure.append(ok & scored)
    w, u = np.stack(weight), np.stack(unit)
    angle_rad, spread = _circular_mean(u, w, settings)
    n_scored = np.sum(sure, axis=0)
    enough = n_scored >= max(min(2, len(clubs)), settings.measured_share * len(clubs) - 1e-9)
    any_seen = np.sum(w > 0, axis=0) > 0
    states: tuple[ClubState, ...] = tuple(
        "hidden" if not known else "measured" if many else "interpolated" for known, many in zip(any_seen, enough)
    )
    held = np.where(w > 0, w, 0.0)
    return ClubTrack(
        time_s=clock.time_s,
        grip=_weighted(np.stack(grip), np.ones((len(clubs), n))),
        angle_deg=np.where(any_seen, np.degrees(angle_rad), np.nan),
        length_px=np.where(any_seen, _weighted(np.stack(length)[..., None], held)[:, 0], np.nan),
        state=states,
        angle_sd_deg=np.where(any_seen, np.degrees(spread) / np.sqrt(np.maximum(np.sum(w > 0, axis=0), 1)), np.nan),
    )


def _angle_at(club: ClubTrack, at: FloatArray, settings: TemplateSettings) -> tuple[FloatArray, BoolArray, BoolArray]:
    """Angle (rad) at other times between two neighbouring frames that show it; whether it is there; whether scored."""
    time, n = club.time_s, len(club.time_s)
    i = np.clip(np.searchsorted(time, at, side="right") - 1, 0, n - 2)
    share = np.clip((at - time[i]) / (time[i + 1] - time[i]), 0.0, 1.0)
    a, b = np.radians(club.angle_deg[i]), np.radians(club.angle_deg[i + 1])
    turn = np.angle(np.exp(1j * (b - a)))
    inside = (at >= time[0] - 0.02) & (at <= time[-1] + 0.02)
    close = time[i + 1] - time[i] <= settings.score.max_gap_s
    known = np.isfinite(a) & np.isfinite(b) & inside & close
    scored = club.scored
    return a + share * np.nan_to_num(turn), known, scored[i] & scored[i + 1]


def _linear(values: FloatArray, time_s: FloatArray, at: FloatArray) -> FloatArray:
    """(T, C) at other times by straight lines over the frames that have it; NaN beyond them."""
    columns = []
    for column in values.T:
        seen = np.isfinite(column)
        if seen.sum() < 2:
            columns.append(np.full(len(at), np.nan))
            continue
        columns.append(np.interp(at, time_s[seen], column[seen], left=np.nan, right=np.nan))
    return np.stack(columns, axis=1)


def _weighted(values: FloatArray, weight: FloatArray) -> FloatArray:
    """(n, G, C) → (G, C): weighted mean of what is there, NaN where nothing is."""
    w = np.where(np.isfinite(values[..., 0]), weight, 0.0)
    total = w.sum(axis=0)
    mean = (w[..., None] * np.nan_to_num(values)).sum(axis=0) / np.maximum(total, 1e-300)[:, None]
    return np.asarray(np.where((total > 0)[:, None], mean, np.nan), np.float64)


def _circular_mean(unit: FloatArray, weight: FloatArray, settings: TemplateSettings) -> tuple[FloatArray, FloatArray]:
    """(n, G, 2), (n, G) → angle (G,) rad and its spread (G,) rad, no single shaft pulling without bound."""
    total = (weight[..., None] * unit).sum(axis=0)
    mean = np.arctan2(total[:, 1], total[:, 0])
    angles = np.arctan2(unit[..., 1], unit[..., 0])
    for _ in range(5):
        off = np.angle(np.exp(1j * (angles - mean)))
        spread = weighted_median(np.abs(off), weight) * 1.483
        limit = settings.huber * np.maximum(spread, math.radians(settings.club_sd_deg))
        w = weight * np.minimum(1.0, limit / np.maximum(np.abs(off), 1e-12))
        mean = mean + (w * off).sum(axis=0) / np.maximum(w.sum(axis=0), 1e-300)
    off = np.angle(np.exp(1j * (angles - mean)))
    variance = (w * off**2).sum(axis=0) / np.maximum(w.sum(axis=0), 1e-300)
    return mean, np.maximum(np.sqrt(variance), math.radians(1.0))


def mean_strike(members: Sequence[Member], positions: Positions, settings: TemplateSettings) -> Strike | None:
    """Where the ball lay and when it was struck, on the template's clock; None when no swing tells of a strike.

    A ball is there when at least half of the swings show one; it was struck when most of those that can tell say so.
    """
    told = [(member, member.swing.strike) for member in members if member.swing.strike is not None]
    if not told:
        return None
    balls = [(m, s.ball) for m, s in told if s is not None and s.ball is not None]
    struck = [s.struck for _, s in told if s is not None and s.struck is not None]
    impact = positions.get("impact")
    time_s = float("nan") if impact is None else impact.time_s
    sds = [s.sd_s for _, s in told if s is not None and math.isfinite(s.sd_s)]
    ball = None
    if len(balls) >= max(1.0, settings.measured_share * len(members)):
        places = np.array([b.place for _, b in balls])
        even = np.ones(len(places))
        centre = np.array([float(weighted_median(places[:, k], even)) for k in (0, 1)])
        off = np.hypot(*(places - centre).T)
        near = off <= max(settings.huber * 1.5 * float(np.median(off)), settings.floor * 1000)
        x, y = places[near].mean(axis=0)
        times = []
        for member, b in balls:
            own = member.swing.positions.time("impact")
            if own is not None:
                times.append((b.last_seen_s - own, b.gone_s - own))
        gaps = np.array(times) if times else np.full((1, 2), np.nan)
        seen = gaps[np.all(np.isfinite(gaps), axis=1)]
        last, gone = (np.median(seen, axis=0) + time_s) if len(seen) else (float("nan"), float("nan"))
        ball = Ball(
            (float(x), float(y)),
            float(np.median([b.diameter_px for _, b in balls])),
            float(np.mean([b.confidence for _, b in balls])),
            float(last),
            float(gone),
        )
    return Strike(
        time_s,
        float(np.median(sds)) / math.sqrt(len(sds)) if sds else float("nan"),
        None if not struck else sum(struck) * 2 > len(struck),
        ball,
        (),
        f"The mean of {len(told)} swings; a ball in {len(balls)} of them.",
    )
