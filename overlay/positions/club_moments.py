"""Moments read from rows of a club track: the shaft passes level, turns round at the top, leaves a still place.

Face on, the shaft lies about in the picture plane and its angle tells how far it is from level. Down the line it comes
towards the camera there, and its angle jumps; but how far the club head is above or below the grip shrinks steadily
through zero, seen from the rows on either side of the moment.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray
from overlay.settings.positions import ClubCueSettings, LevelWindow

SETTINGS = ClubCueSettings()
LEVELS = {"shaft_level_back": 1, "shaft_level_down": -1, "shaft_level_through": 1}
"""Whether the club head rises (1) or falls (-1) past the height of the grip."""
TRAIL_SIDE = ("shaft_level_back", "shaft_level_down")
"""Face on the club head then lies on the trail side of the grip."""


@dataclass(frozen=True)
class ClubSeries:
    """The rows of a club track that were seen, as of a right-hander.

    Attributes
    ----------
    time_s : (N,) float
    shaft : (N, 2) float
        Grip → club head, x right, y up, in lengths of the whole shaft in the picture.
    angle_sd_deg : (N,) float
    frame_s, unit_s : float
        Spacing of the frames, and the swing's downswing time.
    """

    time_s: FloatArray
    shaft: FloatArray
    angle_sd_deg: FloatArray
    frame_s: float
    unit_s: float


def elevation(
    series: ClubSeries, view: str, name: str, settings: ClubCueSettings = SETTINGS
) -> tuple[FloatArray, FloatArray]:
    """(N,) how far the shaft points above level, degrees, and its standard deviation.

    Face on on the side of the grip where the club head has to be (beyond ±90° it is on the other); else from the
    height of the club head over the grip, ±90.
    """
    x, y = series.shaft.T
    if view == "fo":
        outward = -x if name in TRAIL_SIDE else x
        return np.degrees(np.arctan2(y, outward)), series.angle_sd_deg
    rise = np.clip(y, -0.999, 0.999)
    # The angle's error moves the club head across the shaft; the visible length is known to some per cent.
    across = np.abs(x) * np.radians(series.angle_sd_deg)
    along = settings.length_share * np.abs(y)
    sd = np.hypot(across, along) / np.sqrt(1 - rise**2)
    return np.degrees(np.arcsin(rise)), np.maximum(np.degrees(sd), settings.least_sd_deg)


def level_passage(
    series: ClubSeries, view: str, name: str, near_s: float, reach_s: float, settings: ClubCueSettings = SETTINGS
) -> tuple[float, float] | None:
    """When the shaft passes level, and the standard deviation of that by the rows around it; None when not seen.

    Parameters
    ----------
    near_s, reach_s : float
        Where it is looked for.
    """
    window = _window(view, name, settings)
    time_s = series.time_s
    height, sd = elevation(series, view, name, settings)
    height = LEVELS[name] * height
    middle, bracket = _bracket(series, height, window, near_s, reach_s, settings)
    if middle is None:
        return None
    unit_s = series.unit_s
    first_s, last_s = float(time_s[bracket[0]]), float(time_s[bracket[-1]])
    before = (height < 0) & (height >= -window.before_deg) & (time_s >= first_s - window.before * unit_s)
    after = (height >= 0) & (height <= window.after_deg) & (time_s <= last_s + window.after * unit_s)
    rows = (before & (time_s <= middle)) | (after & (time_s >= middle))
    if window.after == 0.0:
        # Not those of the way down to the lowest club.
        lower = np.flatnonzero((height < -window.before_deg) & (time_s < middle))
        rows[: (int(lower[-1]) + 1 if len(lower) else 0)] = False
        rows &= np.gradient(height, time_s) > 0
    rows[list(bracket)] = True
    chosen = np.flatnonzero(rows)
    early, late = int((time_s[chosen] <= middle).sum()), int((time_s[chosen] > middle).sum())
    one_sided = window.after == 0.0
    if one_sided:
        degree = 1
        if early < 2:
            return None
    else:
        degree = 2 if early >= 3 and late >= 3 else 1
        if degree == 1:
            chosen = np.concatenate([chosen[:early][-2:], chosen[early:][:2]])
    found = _root(time_s[chosen], height[chosen], sd[chosen], degree, middle, unit_s)
    if found is None:
        return None
    root_s, sd_s = found
    if one_sided:
        beyond_s = root_s - float(time_s[chosen[-1]])
        if not -series.frame_s <= beyond_s <= window.gap * unit_s or abs(root_s - near_s) > reach_s:
            return None
        return root_s, math.hypot(
            sd_s, settings.beyond_share * max(beyond_s, 0.0), settings.frame_share * series.frame_s
        )
    gap_s = last_s - first_s
    if not first_s - 0.5 * gap_s <= root_s <= last_s + 0.5 * gap_s:
        return None
    return root_s, math.hypot(
        sd_s, settings.gap_share * max(gap_s - series.frame_s, 0.0), settings.frame_share * series.frame_s
    )


def _window(view: str, name: str, settings: ClubCueSettings) -> LevelWindow:
    if view == "fo":
        return settings.level_fo
    return {
        "shaft_level_back": settings.level_dtl_back,
        "shaft_level_down": settings.level_dtl_down,
        "shaft_level_through": settings.level_dtl_through,
    }[name]


def _bracket(
    series: ClubSeries,
    height: FloatArray,
    window: LevelWindow,
    near_s: float,
    reach_s: float,
    settings: ClubCueSettings,
) -> tuple[float | None, tuple[int, ...]]:
    """About when level is passed, and the rows next to it."""
    time_s = series.time_s
    if window.after == 0.0:
        # The rows that rise towards level and are the last before the shaft is lost behind the body.
        rising = (
            (height < -settings.least_below_deg) & (height >= -window.before_deg) & (np.gradient(height, time_s) > 0)
        )
        rising &= (time_s >= near_s - reach_s - window.before * series.unit_s) & (time_s <= near_s + reach_s)
        if rising.sum() < 2:
            return None, ()
        last = int(np.flatnonzero(rising)[-1])
        return float(time_s[last]) + 1e-9, (last,)
    limit = settings.level_deg
    passes = (height[:-1] < 0) & (height[1:] >= 0) & (height[:-1] > -limit) & (height[1:] < limit)
    passes &= np.diff(time_s) <= max(window.gap * series.unit_s, 1.5 * series.frame_s)
    middle = (time_s[:-1] + time_s[1:]) / 2
    passes &= np.abs(middle - near_s) <= reach_s
    if not passes.any():
        return None, ()
    at = int(np.flatnonzero(passes)[np.argmin(np.abs(middle[passes] - near_s))])
    return float(middle[at]), (at, at + 1)


def turning(
    series: ClubSeries, near_s: float, reach_s: float, settings: ClubCueSettings = SETTINGS
) -> tuple[float, float] | None:
    """When the shaft changes direction at the top, face on, and the standard deviation by the rows around it.

    The extreme of a cubic through the shaft's angle: the way down is quicker than the way up, which bends a parabola.
    """
    time_s, unit_s = series.time_s, series.unit_s
    x, y = series.shaft.T
    # Counter-clockwise from the target's side: up the shaft comes over 90°, to about 0° or a little less, and back.
    angle = np.degrees(np.arctan2(y, x))
    angle = np.where(angle < -120.0, angle + 360.0, angle)
    near = np.flatnonzero(np.abs(time_s - near_s) <= reach_s)
    if len(near) < 4:
        return None
    calm = np.array([np.median(angle[max(0, i - 1) : i + 2]) for i in near])
    peak = int(near[np.argmin(calm)])
    low, at_s = float(calm.min()), float(time_s[peak])
    rows = (angle <= low + settings.top_deg) & (angle > low - settings.top_deg)
    rows &= (time_s >= at_s - settings.top_before * unit_s) & (time_s <= at_s + settings.top_after * unit_s)
    chosen = np.flatnonzero(rows)
    if (chosen < peak).sum() < 2 or (chosen > peak).sum() < 2 or not rows[peak]:
        return None
    gap_s = float(np.max(np.diff(time_s[chosen])))
    if gap_s > settings.top_gap * unit_s:
        return None
    fitted = _fit((time_s[chosen] - at_s) / unit_s, angle[chosen], series.angle_sd_deg[chosen], min(3, len(chosen) - 2))
    if fitted is None:
        return None
    solution, covariance = fitted
    slope = np.polynomial.polynomial.polyder(solution)
    turn = _rising_root(np.asarray(slope, np.float64))
    if turn is None:
        return None
    bend = float(np.polynomial.polynomial.polyval(turn, np.polynomial.polynomial.polyder(slope)))
    if not time_s[chosen[0]] < at_s + turn * unit_s < time_s[chosen[-1]]:
        return None
    gradient = np.array([k * turn ** (k - 1) if k else 0.0 for k in range(len(solution))])
    sd = math.sqrt(float(gradient @ covariance @ gradient)) / bend
    if abs(turn) > settings.top_before:
        return None
    return at_s + turn * unit_s, math.hypot(sd * unit_s, settings.gap_share * max(gap_s - series.frame_s, 0.0))


def leaving(
    series: ClubSeries,
    view: str,
    name: str,
    near_s: float,
    start_s: float,
    stop_s: float,
    settings: ClubCueSettings = SETTINGS,
) -> tuple[float, float] | None:
    """When the club begins to leave its still place for good, and the standard deviation by the frames it has.

    A still stretch followed by a power of time is fitted to the share of its way that the club has gone. The stretch
    is taken before what the round before found: a waggle or a new setting of the club before it is another still place
    and does not count.

    Parameters
    ----------
    near_s : float
        First guess.
    start_s, stop_s : float
        The club is still after the start, and moves well before the stop.
    """
    if name == "address" and view != "fo":
        # Down the line the club leaves along the line of sight: when that shows depends on the player, by 0.3
        # downswings in a real clip and 0.9 to 1.2 in drawn ones.
        return None
    plan = settings.leave_address if name == "address" else settings.leave_finish
    unit_s = series.unit_s
    inside = (series.time_s >= start_s) & (series.time_s <= stop_s)
    time_s = series.time_s[inside]
    place_of = series.shaft[inside]
    if plan.of == "direction":
        place_of = place_of / np.maximum(np.linalg.norm(place_of, axis=1), 1e-9)[:, None]
    if len(time_s) < settings.least_rows:
        return None
    leave_s = near_s
    gap_s = 0.0
    for _ in range(settings.rounds):
        still = (time_s >= leave_s - settings.still_for * unit_s) & (time_s <= leave_s - settings.still_until * unit_s)
        if still.sum() < 3:
            return None
        place = np.median(place_of[still], axis=0)
        away = np.linalg.norm(place_of - place, axis=1)
        if float(np.median(away[still])) > settings.still_within:
            return None
        moved = _moved(time_s, away, leave_s, plan.far, name, unit_s)
        if moved is None:
            return None
        way = place_of[moved] - place
        share = (place_of - place) @ way / float(way @ way)
        # Fitted from the last time it came to rest: on the way into the finish, or from a waggle.
        moving = np.flatnonzero((away > settings.moving) & (time_s < leave_s - settings.still_until * unit_s))
        from_s = float(time_s[moving[-1]]) if len(moving) else float(time_s[0])
        begin_s = max(from_s, leave_s - settings.fitted_for * unit_s, near_s - plan.before * unit_s)
        fitted = (time_s > from_s) & (time_s >= begin_s) & (time_s <= time_s[moved])
        if fitted.sum() < 5:
            return None
        if float(np.max(np.abs(np.diff(share[fitted])))) > settings.most_jump:
            return None  # no club moves so: one of the two places is not the club
        found = _onset(time_s[fitted], share[fitted], plan.power, unit_s)
        if found is None:
            return None
        gap_s = float(np.max(np.diff(time_s[fitted])))
        settled = abs(found - leave_s) < 0.02 * unit_s
        leave_s = found
        if settled:
            break
    if gap_s > settings.onset_gap * unit_s:
        return None
    return leave_s, math.hypot(
        settings.gap_share * max(gap_s - series.frame_s, 0.0), settings.onset_frame_share * series.frame_s
    )


def held_until(
    series: ClubSeries, start_s: float, latest_s: float, settings: ClubCueSettings = SETTINGS
) -> float | None:
    """About when the club is let down from the last position it is held in that begins before ``latest_s``.

    A held club may sink slowly as the player settles; what counts is that its direction hardly changes within half a
    downswing.
    """
    after = np.flatnonzero(series.time_s >= start_s)
    if len(after) < settings.least_rows:
        return None
    time_s = series.time_s[after]
    way = series.shaft[after] / np.maximum(np.linalg.norm(series.shaft[after], axis=1), 1e-9)[:, None]
    ahead_s = settings.held_over * series.unit_s
    later = np.stack([np.interp(time_s + ahead_s, time_s, way[:, axis]) for axis in (0, 1)], 1)
    known = time_s + ahead_s <= time_s[-1]
    still = known & (np.linalg.norm(later - way, axis=1) < settings.held_turn)
    ends: list[int] = []
    begin = -1
    for i, calm in enumerate([*still, False]):
        if calm and begin < 0:
            begin = i
        elif not calm and begin >= 0:
            long = time_s[i - 1] - time_s[begin] >= settings.held_least * series.unit_s
            if long and time_s[begin] <= latest_s:
                ends.append(i - 1)
            begin = -1
    return float(time_s[ends[-1]]) + ahead_s / 2 if ends else None


def _moved(time_s: FloatArray, away: FloatArray, leave_s: float, far: float, name: str, unit_s: float) -> int | None:
    """First row at which the club is well under way."""
    if name == "address":
        # It never comes back before the swing is over, so it is the last time that it was near.
        near = np.flatnonzero(away < far)
        moved = int(near[-1]) + 1 if len(near) else len(away)
    else:
        gone = np.flatnonzero((away > far) & (time_s > leave_s - 0.3 * unit_s))
        moved = int(gone[0]) if len(gone) else len(away)
    return moved if moved < len(away) else None


def _onset(time_s: FloatArray, share: FloatArray, power: float, unit_s: float) -> float | None:
    """Start of the power of time that fits best by least squares, after a constant; None when it is an edge's."""
    starts = np.linspace(time_s[0], time_s[-1] - 0.02 * unit_s, 80)
    if starts[-1] <= starts[0]:
        return None
    shape = np.maximum(time_s[None] - starts[:, None], 0.0) ** power
    shape -= shape.mean(axis=1, keepdims=True)
    explained = (shape @ (share - share.mean())) ** 2 / np.maximum(np.sum(shape**2, axis=1), 1e-30)
    best = int(np.argmax(explained))
    if best in (0, len(starts) - 1):
        return None
    a, b, c = explained[best - 1 : best + 2]
    bend = a - 2 * b + c
    shift = 0.0 if bend == 0 else float(np.clip(0.5 * (a - c) / bend, -0.5, 0.5))
    return float(starts[best] + shift * (starts[1] - starts[0]))


def _fit(x: FloatArray, values: FloatArray, sd: FloatArray, degree: int) -> tuple[FloatArray, FloatArray] | None:
    """Polynomial (lowest power first) that bends to no outlier, and its covariance; None when it cannot be fitted."""
    design = np.vander(x, degree + 1, increasing=True)
    weight = 1.0 / sd**2
    solution: FloatArray = np.zeros(degree + 1)
    normal: FloatArray = np.eye(degree + 1)
    scale = 1.0
    for _ in range(6):
        normal = design.T @ (design * weight[:, None])
        try:
            solution = np.asarray(np.linalg.solve(normal, design.T @ (values * weight)), np.float64)
        except np.linalg.LinAlgError:
            return None
        away = np.abs(values - design @ solution) / sd
        spare = len(x) - degree - 1
        scale = max(1.0, 1.4826 * float(np.median(away)) * math.sqrt(len(x) / spare)) if spare > 0 else 1.0
        weight = np.minimum(1.0, 2.5 * scale / np.maximum(away, 1e-9)) / sd**2
    return np.asarray(solution, np.float64), np.asarray(np.linalg.pinv(normal) * scale**2, np.float64)


def _root(
    time_s: FloatArray, values: FloatArray, sd: FloatArray, degree: int, near_s: float, unit_s: float
) -> tuple[float, float] | None:
    """Where a polynomial through the rows rises through zero, and the standard deviation of that."""
    fitted = _fit((time_s - near_s) / unit_s, values, sd, degree)
    if fitted is None:
        return None
    solution, covariance = fitted
    root = _rising_root(solution)
    if root is None:
        return None
    slope = float(np.polynomial.polynomial.polyval(root, np.polynomial.polynomial.polyder(solution)))
    powers = root ** np.arange(degree + 1)
    return near_s + root * unit_s, math.sqrt(float(powers @ covariance @ powers)) / slope * unit_s


def _rising_root(line: FloatArray) -> float | None:
    """Where c + b x + a x² rises through zero; the form of the solution that stays exact when a is next to nothing."""
    c, b, a = (*line, 0.0)[:3]
    square = b * b - 4.0 * a * c
    if square <= 0.0 or b + math.sqrt(square) <= 0.0:
        return None
    return float(-2.0 * c / (b + math.sqrt(square)))
