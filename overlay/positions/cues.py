"""Candidate times of the positions inside one swing, one per visible sign.

A cue is a moment that can be read from the pose: the hands are highest, the lead arm passes level, the hands leave
their place at address. None is the position itself; how far each lies from it, and how much it can be trusted, is
the calibration's business (``overlay.positions.calibration``).
"""

from __future__ import annotations

import math

import numpy as np

from overlay.arrays import FloatArray
from overlay.kinematics import interpolated, mean_seen, median_seen
from overlay.positions.signals import BODY, SwingSignals
from overlay.settings.positions import PositionSettings

RISE_LEVELS = (0.10, 0.20, 0.30, 0.45, 0.60, 0.75, 0.90)
"""Shares of the hands' rise from strike to top at which their passage is timed."""

ARM_LEVELS = (-60.0, -40.0, -20.0, 0.0, 15.0)
"""Elevations of the lead arm at which its passage is timed, degrees."""

PLATEAU_LEVELS = (0.85, 0.95, 0.98)
"""Shares of the hands' greatest height between which they count as held high."""

MOVED_LEVELS = (0.04, 0.08, 0.15, 0.30, 0.50)
"""Distances from the place at address, torso lengths, at which the takeaway is timed."""

QUIET_LEVELS = (0.05, 0.10, 0.20, 0.35)
"""Shares of the mean backswing (for the finish: peak) hand speed at which stillness is timed."""

TAKEAWAY_LEVELS = (0.03, 0.05, 0.08, 0.15, 0.30)
LET_GO_LEVELS = (0.03, 0.05, 0.08, 0.12, 0.20)
"""Mean distance of the joints from their still places, torso lengths, up to which a departure is fitted."""

NO_HANDS = np.array([0.0 if joint.endswith(("wrist", "index", "pinky", "thumb")) else 1.0 for joint in BODY])
"""Weights that leave the hands out."""

LEAST_TREMBLE = 0.012
"""No joint is trusted to stand stiller than this, torso lengths: under 1 px in most clips."""

BAD_TREMBLE = 0.04
"""Joints that stand still to within this many torso lengths all count alike when a distance is measured."""

ARRIVED = 0.06
"""Mean distance of the joints from the held finish, torso lengths, below which the body has arrived there."""

LET_DOWN = 0.2
"""Share of their rise by which the hands have to sink before the club counts as let down."""

HELD_WITHIN = 0.12
"""A held finish may drift this far, mean distance of the joints in torso lengths."""

DEPARTURE_POWERS = (1.5, 2.0, 3.0)
"""How the body's way may grow with time where a movement begins: 2 is a constant acceleration."""

RELAX_LEVELS = (0.06, 0.12, 0.25)
"""Distances from the held end position, torso lengths, at which the relaxing is timed."""


def vertex(time_s: FloatArray, values: FloatArray, index: int) -> float:
    """Time of the extremum near grid ``index``, by the parabola through three points, s."""
    if not 0 < index < len(values) - 1:
        return float(time_s[index])
    a, b, c = values[index - 1 : index + 2]
    bend = a - 2 * b + c
    shift = 0.0 if bend == 0 else float(np.clip(0.5 * (a - c) / bend, -0.5, 0.5))
    return float(time_s[index] + shift * (time_s[1] - time_s[0]))


def crossing(time_s: FloatArray, values: FloatArray, level: float, start: int, stop: int, *, last: bool) -> float:
    """Time at which ``values`` first (or last) passes ``level`` upwards between two grid indices; NaN if never."""
    part = values[start : stop + 1] - level
    where = np.flatnonzero((part[:-1] < 0) & (part[1:] >= 0))
    if not len(where):
        return float("nan")
    i = int(where[-1 if last else 0])
    share = -part[i] / (part[i + 1] - part[i])
    return float(time_s[start + i] + share * (time_s[start + i + 1] - time_s[start + i]))


def strike_cues(signals: SwingSignals, top_s: float, impact_s: float) -> dict[str, float]:
    """Cues around top and impact, s; NaN where a sign is not there.

    ``top_…``: an extremum near the top (hands' height and side, arm, turn, least speed); ``plateau_…``: the hands
    reach and leave their high place; ``speeds_up_…``: the downswing gathers speed; ``low_…``: an extremum near the
    strike; ``fast``: greatest hand speed; ``arm_hangs``, ``arm_leans``: the lead arm is vertical, or 25° short of it.
    """
    time_s, unit = signals.time_s, signals.downswing_s
    top, low = signals.index(top_s), signals.index(impact_s)
    cues: dict[str, float] = {}
    a, b = signals.index(top_s - 1.2 * unit), signals.index(top_s + 0.45 * unit)
    cues["top_height"] = _peak(time_s, signals.height, a, b)
    cues["top_arm"] = _peak(time_s, signals.arm, a, b)
    cues["top_swing"] = _peak(time_s, signals.arm_direction, a, b)
    cues["top_side"] = _peak(time_s, -signals.hands[:, 0], a, b)
    cues["top_turn"] = _peak(time_s, signals.turn - signals.turn[low], a, b)
    cues["top_speed"] = _peak(time_s, -signals.speed, a, b)
    # Many players hold their hands high while the club still turns: both ends of that stretch are signs.
    bottom = signals.height[low]
    drop = (signals.height - bottom) / max(float(np.max(signals.height[a : b + 1])) - bottom, 1e-6)
    for level in PLATEAU_LEVELS:
        name = f"{round(100 * level):02d}"
        cues[f"plateau_from_{name}"] = crossing(time_s, drop, level, signals.index(top_s - 4 * unit), top, last=True)
        cues[f"plateau_to_{name}"] = crossing(time_s, -drop, -level, a, low, last=True)
    fast = float(np.max(signals.speed[top : low + 1]))
    for share in (0.15, 0.30, 0.50):
        cues[f"speeds_up_{round(100 * share):02d}"] = crossing(time_s, signals.speed, share * fast, a, low, last=True)
    c, d = signals.index(impact_s - 0.5 * unit), signals.index(impact_s + 0.5 * unit)
    cues["low_height"] = _peak(time_s, -signals.height, c, d)
    cues["low_arm"] = _peak(time_s, -signals.arm, c, d)
    cues["low_wrist"] = _peak(time_s, -signals.lead_wrist[:, 1], c, d)
    cues["fast"] = _peak(time_s, signals.speed, signals.index(top_s + 0.2 * unit), d)
    cues["arm_hangs"] = crossing(time_s, -signals.arm_direction, 0.0, top, d, last=False)
    cues["arm_leans"] = crossing(time_s, -signals.arm_direction, -25.0, top, d, last=False)
    return cues


def _peak(time_s: FloatArray, values: FloatArray, start: int, stop: int) -> float:
    """Time of the largest value strictly inside start…stop; NaN when it sits on an edge."""
    part = values[start : stop + 1]
    if len(part) < 3 or not np.all(np.isfinite(part)):
        return float("nan")
    i = int(np.argmax(part))
    if i in (0, len(part) - 1):
        return float("nan")
    return vertex(time_s, values, start + i)


def passage_cues(
    signals: SwingSignals, start_s: float, top_s: float, impact_s: float, stop_s: float
) -> dict[str, float]:
    """Times at which hands and lead arm pass set heights: ``back_…`` going up, ``down_…`` and ``through_…``, s."""
    time_s = signals.time_s
    start, top, low, stop = (signals.index(t) for t in (start_s, top_s, impact_s, stop_s))
    bottom, peak = signals.height[low], signals.height[top]
    rise = (signals.height - bottom) / max(peak - bottom, 1e-6)
    after = signals.height[low : stop + 1]
    through = (signals.height - bottom) / max(float(np.max(after)) - bottom, 1e-6)
    cues: dict[str, float] = {}
    for level in RISE_LEVELS:
        name = f"{round(100 * level):02d}"
        cues[f"back_rise_{name}"] = crossing(time_s, rise, level, start, top, last=True)
        cues[f"down_rise_{name}"] = crossing(time_s, -rise, -level, top, low, last=True)
        cues[f"through_rise_{name}"] = crossing(time_s, through, level, low, stop, last=False)
    for elevation in ARM_LEVELS:
        name = f"{'m' if elevation < 0 else 'p'}{abs(round(elevation)):02d}"
        cues[f"back_arm_{name}"] = crossing(time_s, signals.arm, elevation, start, top, last=True)
        cues[f"down_arm_{name}"] = crossing(time_s, -signals.arm, -elevation, top, low, last=False)
        cues[f"through_arm_{name}"] = crossing(time_s, signals.arm, elevation, low, stop, last=False)
    if np.all(np.isfinite(signals.club_hint)):
        for elevation in (-30.0, 0.0):
            name = f"{'m' if elevation < 0 else 'p'}{abs(round(elevation)):02d}"
            cues[f"back_knuckles_{name}"] = crossing(time_s, signals.club_hint, elevation, start, top, last=True)
            cues[f"down_knuckles_{name}"] = crossing(time_s, -signals.club_hint, -elevation, top, low, last=True)
            cues[f"through_knuckles_{name}"] = crossing(time_s, signals.club_hint, elevation, low, stop, last=False)
    return cues


def departure(
    signals: SwingSignals, still_s: float, leave_s: float, moved_s: float, *, hands: bool = True
) -> dict[float, float]:
    """When the whole body begins to leave a still posture, for each assumed power of the movement's start.

    Every joint's way from its still place to its place at ``moved_s`` is known, so the share of that way it has gone
    is measured by projection, over all joints at once: far less noisy than the hands alone. A still stretch followed
    by a power of time is then fitted to that share by least squares over all frames from ``still_s`` to ``moved_s``.

    Parameters
    ----------
    still_s, leave_s : float
        A stretch in which the body is still.
    moved_s : float
        When the movement is well under way.
    hands : bool
        False leaves hands and wrists out: at the finish they are behind the head and only guessed.

    Returns
    -------
    dict
        Power → time of departure, s; NaN where it cannot be fitted.
    """
    time_s, body = signals.frame_time_s, signals.body
    unit = signals.downswing_s
    nothing = dict.fromkeys(DEPARTURE_POWERS, float("nan"))
    before = (time_s >= still_s - 1e-9) & (time_s <= leave_s + 1e-9)
    after = np.abs(time_s - moved_s) <= max(0.12 * unit, 0.6 * signals.frame_s)
    fitted = (time_s >= still_s - 1e-9) & (time_s <= moved_s + 1e-9)
    if before.sum() < 2 or not after.any() or fitted.sum() < 5:
        return nothing
    place, counts = _still_place(signals, still_s, leave_s, LEAST_TREMBLE, hands)
    target = mean_seen(body[after])
    way = np.nan_to_num(target - place)
    offset = body[fitted] - place
    usable = np.isfinite(offset) & (way != 0)
    length = np.sum(np.where(usable, counts * way**2, 0.0), axis=(1, 2))
    share = np.sum(np.where(usable, counts * offset * way, 0.0), axis=(1, 2)) / np.maximum(length, 1e-12)
    seen = length > 0.3 * np.sum(counts * way**2)
    times, share = time_s[fitted][seen], share[seen]
    if len(times) < 5:
        return nothing
    starts = np.linspace(times[0], times[-1] - 0.1 * (times[-1] - times[0]), 60)
    found = {}
    for power in DEPARTURE_POWERS:
        shape = np.maximum(times[None, :] - starts[:, None], 0.0) ** power
        # Closed-form least squares of base + factor × shape for every start at once.
        centred = shape - shape.mean(axis=1, keepdims=True)
        energy = np.maximum(np.sum(centred**2, axis=1), 1e-30)
        explained = (centred @ (share - share.mean())) ** 2 / energy
        best = int(np.argmax(explained))  # ``vertex`` refines between the starts tried
        found[power] = vertex(starts, explained, best) if 0 < best < len(starts) - 1 else float("nan")
    return found


def _still_place(
    signals: SwingSignals, still_s: float, leave_s: float, least: float, hands: bool
) -> tuple[FloatArray, FloatArray]:
    """Where the joints are between two times, (K, 2), and how much each counts, (K, 1) with mean 1.

    A joint that trembles in the still stretch (an arm hidden behind the head is only guessed) counts by the inverse
    of its variance, but none as if it stood stiller than ``least`` torso lengths.
    """
    time_s, body = signals.frame_time_s, signals.body
    still = (time_s >= still_s - 1e-9) & (time_s <= leave_s + 1e-9)
    if still.sum() < 2:
        still[np.argsort(np.abs(time_s - leave_s))[:2]] = True
    place = median_seen(body[still])
    spread = mean_seen(np.sum((body[still] - place) ** 2, axis=2))
    counts = np.where(np.isfinite(spread), 1.0 / (spread + least**2), 0.0)
    if not hands:
        counts = counts * NO_HANDS
    return place, np.asarray(counts / max(float(counts.mean()), 1e-12), np.float64)[:, None]


def body_distance(signals: SwingSignals, still_s: float, leave_s: float, *, hands: bool = True) -> FloatArray:
    """(G,) root mean square distance of the joints from where they are between two times, torso lengths.

    All joints that can be trusted, not the hands alone: down the line the hands hardly move in the picture when the
    club is taken back or let down, the elbows and shoulders do.
    """
    from scipy.ndimage import gaussian_filter1d

    time_s = signals.frame_time_s
    place, counts = _still_place(signals, still_s, leave_s, BAD_TREMBLE, hands)
    away = np.sum((signals.body - place) ** 2, axis=2)
    seen = np.isfinite(away)
    counted = np.where(seen, counts[:, 0], 0.0).sum(axis=1)
    with np.errstate(invalid="ignore", divide="ignore"):
        square = np.where(counted > 0, (np.nan_to_num(away) * counts[:, 0]).sum(axis=1) / counted, np.nan)
    square = np.nan_to_num(interpolated(square, time_s))
    sigma = max(0.08 * signals.downswing_s / signals.frame_s, 0.5)
    distance = np.sqrt(np.maximum(gaussian_filter1d(square, sigma), 0.0))
    return np.asarray(np.interp(signals.time_s, time_s, distance), np.float64)


def departures(
    signals: SwingSignals,
    still_s: float,
    leave_s: float,
    moved: dict[str, float],
    name: str,
    earliest_s: float,
    *,
    hands: bool = True,
) -> dict[str, float]:
    """Cues ``<name>_<round>_<how far>_<power>`` of one beginning movement, s.

    The hands alone say too late that a movement along the line of sight begins, so what first counts as still may
    already move. Each later round takes its still stretch before the departure the round before has found.

    Parameters
    ----------
    still_s, leave_s : float
        First guess of a still stretch.
    moved : dict
        How far → time at which the body is that far under way, NaN where it never is.
    earliest_s : float
        The still stretch does not begin before this.
    """
    unit = signals.downswing_s
    cues: dict[str, float] = {}
    begin_s, end_s = still_s, leave_s
    for turn in (1, 2, 3):
        starts = []
        for far, moved_s in moved.items():
            if math.isnan(moved_s):
                continue
            for power, time_s in departure(signals, begin_s, end_s, moved_s, hands=hands).items():
                cues[f"{name}_{turn}_{far}_{power:.1f}"] = time_s
                starts.append(time_s)
        known = [time_s for time_s in starts if not math.isnan(time_s)]
        start_s = float(np.median(known)) if known else end_s - 0.6 * unit
        begin_s = max(earliest_s, start_s - 1.3 * unit)
        end_s = max(begin_s + 0.1 * unit, start_s - 0.3 * unit)
    middle = [cues[f"{name}_3_{far}_2.0"] for far in moved if not math.isnan(cues.get(f"{name}_3_{far}_2.0", math.nan))]
    cues[f"{name}_anchor"] = float(np.median(middle)) if middle else leave_s
    return cues


def address_cues(
    signals: SwingSignals, top_s: float, impact_s: float, settings: PositionSettings
) -> tuple[dict[str, float], str]:
    """Cues of the takeaway's start, s, and the reason why the address cannot be placed ("" when it can).

    Going back from a third of the way up, the hands are still where their speed is a small share of the backswing's;
    the last such moment splits address from takeaway, so an earlier waggle does not count.
    """
    time_s, unit = signals.time_s, signals.downswing_s
    top, low = signals.index(top_s), signals.index(impact_s)
    bottom, peak = signals.height[low], signals.height[top]
    rise = (signals.height - bottom) / max(peak - bottom, 1e-6)
    below = np.flatnonzero(rise[: top + 1] < 0.4)
    if not len(below):
        return {}, "the clip starts after the swing has begun"
    lift = int(below[-1])
    travel = float(np.mean(signals.speed[lift : top + 1])) if top > lift else float("nan")
    quiet = np.array([], np.int64)
    for share in (settings.still_speed, 1.7 * settings.still_speed, 2.5 * settings.still_speed):
        # Hands in a small or shaky picture never seem quite still.
        quiet = np.flatnonzero(signals.speed[: lift + 1] < share * travel)
        if len(quiet):
            break
    cut = signals.starts_with_clip
    if not len(quiet):
        return {}, (
            "the clip starts after the swing has begun" if cut else "the hands are never still before the takeaway"
        )
    leave = int(quiet[-1])
    if rise[leave] > 0.35:
        # Still hands with the club part-way up: a stop in the backswing, or a start from there.
        return {}, "the hands are never still at the ball before the takeaway"
    step_s = time_s[1] - time_s[0]
    window = max(3, int(0.5 * unit / step_s))
    first = max(0, leave - window)
    place = np.median(signals.hands[first : leave + 1], axis=0)
    distance = np.linalg.norm(signals.hands - place, axis=1)
    cues: dict[str, float] = {"leave": float(time_s[leave])}
    for level in MOVED_LEVELS:
        cues[f"moved_{round(100 * level):02d}"] = crossing(time_s, distance, level, first, top, last=False)
    for share in QUIET_LEVELS:
        cues[f"quiet_{round(100 * share):02d}"] = crossing(
            time_s, signals.speed, share * travel, first, lift, last=True
        )
    body = body_distance(signals, float(time_s[first]), float(time_s[leave]))
    moved = {f"{level:.2f}": crossing(time_s, body, level, leave, top, last=False) for level in TAKEAWAY_LEVELS}
    cues.update(departures(signals, float(time_s[first]), float(time_s[leave]), moved, "depart", float(time_s[0])))
    if cut and leave * step_s < settings.still_at_edge_s and float(signals.speed[0]) > settings.still_speed * travel:
        return {}, "the clip starts after the swing has begun"
    return cues, ""


def _last_held(signals: SwingSignals, held: int, end: int, slack: float) -> int:
    """Grid index of the last still moment before the body leaves its place at ``held``.

    A player may hold his finish for seconds and drift a little; the stillest moment may lie at the start of that.
    """
    from scipy.ndimage import gaussian_filter1d

    time_s, unit = signals.time_s, signals.downswing_s
    away = body_distance(signals, float(time_s[held]) - 0.15 * unit, float(time_s[held]) + 0.15 * unit, hands=False)
    gone = np.flatnonzero(away[held : end + 1] > HELD_WITHIN)
    out = held + int(gone[0]) if len(gone) else end
    calm = gaussian_filter1d(signals.body_speed, 0.15 * unit / signals.step_s)[held : out + 1]
    still = np.flatnonzero(calm <= max(1.3 * float(calm.min()), slack))
    return held + int(still[-1]) if len(still) else held


def finish_cues(signals: SwingSignals, impact_s: float, settings: PositionSettings) -> tuple[dict[str, float], str]:
    """Cues of the end of the held finish, s, and the reason why it cannot be placed ("" when it can).

    The body comes to rest (``rest``), holds, and relaxes: the hands leave the held place for good. A clip that ends
    while the position is still held shows its last held frame at the clip's end (``clip_end`` is set then).
    """
    time_s, unit = signals.time_s, signals.downswing_s
    low = signals.index(impact_s)
    begin = signals.index(impact_s + 0.6 * unit)
    peak = float(np.max(signals.speed[signals.index(impact_s - unit) : low + 1]))
    bottom = signals.height[low]
    crest = low + int(np.argmax(signals.height[low : signals.index(impact_s + 4 * unit) + 1]))
    lowered = np.flatnonzero(signals.height[crest:] < bottom + 0.35 * (signals.height[crest] - bottom))
    end = crest + int(lowered[0]) if len(lowered) else len(time_s) - 1
    calm = np.array([], np.int64)
    for share in (settings.held_speed, 2 * settings.held_speed):
        calm = np.flatnonzero(signals.body_speed[begin : end + 1] < share * peak) + begin
        if len(calm):
            break
    if not len(calm):
        sunk = signals.height[crest:] < signals.height[crest] - LET_DOWN * (signals.height[crest] - bottom)
        if not np.any(sunk):
            return {}, "the clip ends before the finish is held"
        # Never held: the stillest moment between the highest hands and their way down stands for it.
        least = crest + int(np.argmin(signals.body_speed[crest : crest + int(np.argmax(sunk)) + 1]))
        return {"never_held": float(time_s[least])}, ""
    rest = int(calm[0])
    # The held place: where the body is slowest within the next downswings.
    stop = min(end, signals.index(time_s[rest] + 2.5 * unit))
    held = rest + int(np.argmin(signals.body_speed[rest : stop + 1]))
    cues: dict[str, float] = {"rest": float(time_s[rest]), "held": float(time_s[held])}
    width = max(2, int(0.15 * unit / signals.step_s))
    place = np.median(signals.hands[max(rest, held - width) : held + width + 1], axis=0)
    distance = np.linalg.norm(signals.hands - place, axis=1)
    leave = crossing(time_s, distance, settings.relaxed * 2, held, len(time_s) - 1, last=False)
    if np.isnan(leave):
        cues["clip_end"] = float(time_s[-1])
        return cues, ""
    out = signals.index(leave)
    for level in RELAX_LEVELS:
        cues[f"relax_{round(100 * level):02d}"] = crossing(time_s, distance, level, held, out + 1, last=True)
    # Without the hands: behind the head they are only guessed, and the guess moves while the player stands still.
    still = max(time_s[rest], time_s[held] - unit)
    body = body_distance(signals, float(still), float(time_s[held]), hands=False)
    arriving = np.flatnonzero(body[:held] > ARRIVED)
    settled_s = float(time_s[arriving[-1]]) if len(arriving) else float(time_s[rest])
    moved = {
        f"{level:.2f}": crossing(time_s, body, level, held, len(time_s) - 1, last=False) for level in LET_GO_LEVELS
    }
    cues.update(departures(signals, float(still), float(time_s[held]), moved, "let_down", settled_s, hands=False))
    # The same from the last still moment on, for a long hold with a drift in it.
    late = _last_held(signals, held, end, settings.still_again * peak)
    begin_s = max(float(time_s[rest]), float(time_s[late]) - unit)
    for far, moved_s in moved.items():
        if not math.isnan(moved_s) and moved_s > time_s[late]:
            for power, begun_s in departure(signals, begin_s, float(time_s[late]), moved_s, hands=False).items():
                cues[f"let_late_{far}_{power:.1f}"] = begun_s
    cues["last_held"] = float(time_s[late])
    # Of the first round: the later ones may run away along the drift of a long hold.
    first = [cues.get(f"let_down_1_{far}_2.0", math.nan) for far in moved]
    known = [time for time in first if not math.isnan(time)]
    cues["end_anchor"] = float(np.median(known)) if known else float(time_s[held])
    for share in QUIET_LEVELS:
        cues[f"hold_quiet_{round(100 * share):02d}"] = crossing(
            time_s, signals.body_speed, share * peak / 2, held, out, last=True
        )
    return cues, ""
