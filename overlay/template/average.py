"""The mean swing: mean timing, then a robust mean of every joint at the same moment of the movement."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import PoseTrack, Position, Positions, Swing, TimeMap
from overlay.kinematics import interpolated
from overlay.score.parts import sample
from overlay.settings.template import TemplateSettings
from overlay.template.members import TORSO_PX, Member, joint_weight, positions_of, sampling_figure
from overlay.terms import POSITION_NAMES


@dataclass(frozen=True)
class Clock:
    """The mean timing of several swings.

    Attributes
    ----------
    time_s : (G,) float
        Template time, evenly spaced, 0 at the first frame.
    member_s : (n, G) float
        The same moment in each member, its own time.
    mark_s, old_s : (K,) float
        Template time of times ``old_s`` on the clock of the swing that the maps start from.
    """

    time_s: FloatArray
    member_s: FloatArray
    mark_s: FloatArray
    old_s: FloatArray

    def of_member(self, i: int, time_s: float) -> float:
        """Template time of a member's own time."""
        own = self.member_s[i]
        beyond = min(time_s - float(own[0]), 0.0) + max(time_s - float(own[-1]), 0.0)
        return float(np.interp(time_s, own, self.time_s)) + beyond


def mean_clock(centre: Swing, members: Sequence[Member], maps: Sequence[TimeMap], settings: TemplateSettings) -> Clock:
    """Mean timing: at every moment the mean of how fast the members run, so every duration is the mean of theirs.

    ``maps`` lead from the centre's time to each member's. Members whose clock is not known are first brought to the
    mean duration of those whose clock is, and so add the shape of their timing but not its pace.
    """
    start, stop = _span(centre, settings)
    old = np.linspace(start, stop, max(2, round((stop - start) * settings.rate_hz * 2) + 1))
    theirs = np.stack([time_map.to_reference(old) for time_map in maps])
    lengths = np.array([abs(float(np.diff(m.to_reference(_ends(centre)))[0])) for m in maps])
    known = np.array([member.clock_known for member in members])
    pace = np.ones(len(members))
    if np.any(known) and not np.all(known):
        pace = np.where(known, 1.0, float(lengths[known].mean()) / lengths)
    mean = np.mean((theirs - theirs[:, :1]) * pace[:, None], axis=0)
    # It begins and ends where enough of the members do.
    spans = np.array([(member.swing.start_s, member.swing.stop_s) for member in members])
    covered = np.mean((theirs >= spans[:, :1] - 1e-6) & (theirs <= spans[:, 1:] + 1e-6), axis=0)
    enough = np.flatnonzero(covered >= settings.measured_share - 1e-9)
    first, last = (enough[0], enough[-1]) if len(enough) > 1 else (0, len(old) - 1)
    mean = mean - mean[first]
    time = np.arange(0.0, float(mean[last]), 1.0 / settings.rate_hz)
    at = np.interp(time, mean, old)
    return Clock(time, np.stack([time_map.to_reference(at) for time_map in maps]), mean, old)


def _span(centre: Swing, settings: TemplateSettings) -> tuple[float, float]:
    address, finish = centre.positions.time("address"), centre.positions.time("finish")
    start = centre.start_s if address is None else address - settings.lead_in_s
    stop = centre.stop_s if finish is None else finish + settings.lead_in_s
    return start, stop


def _ends(swing: Swing) -> FloatArray:
    """Two moments far apart that most swings have: address or the first position, and impact or the last."""
    times = swing.positions.times()
    if not times:
        return np.array([swing.start_s, swing.stop_s])
    first, last = times.get("address", min(times.values())), times.get("impact", max(times.values()))
    return np.array([first, last]) if first < last else np.array([min(times.values()), max(times.values())])


def tapered(weight: FloatArray, seen: BoolArray, frames: int) -> FloatArray:
    """(G, J) weights that fade to nothing within ``frames`` of where a joint is lost, so that a mean does not jump."""
    from scipy.ndimage import minimum_filter1d, uniform_filter1d

    weight = np.where(seen, weight, 0.0)
    if frames < 1 or len(weight) < 3:
        return weight
    size = 2 * frames + 1
    # Beyond the track's ends nothing is lost: the nearest value goes on.
    low = minimum_filter1d(weight, size, axis=0, mode="nearest")
    faded = uniform_filter1d(low, size - 2, axis=0, mode="nearest")
    # Short glimpses would vanish altogether: they keep a little.
    return np.asarray(np.where(seen, np.maximum(faded, 1e-3 * weight), 0.0), np.float64)


def robust_mean(values: FloatArray, weight: FloatArray, settings: TemplateSettings) -> tuple[FloatArray, FloatArray]:
    """Weighted mean over the first axis in which no single swing pulls without bound (Huber 1964).

    Solved by reweighting from the weighted median outwards. The spread by which a value counts as far is the weighted
    median distance over a fifth of a second, so that it does not flicker.

    Parameters
    ----------
    values : (n, G, J, 2) float, NaN where missing
    weight : (n, G, J) float, ≥ 0

    Returns
    -------
    mean : (G, J, 2) float, NaN where nobody has a value
    pull : (n, G, J) float, 0–1
        What reweighting left of each value's weight.
    """
    from scipy.ndimage import uniform_filter1d

    seen = np.isfinite(values[..., 0]) & (weight > 0)
    weight = np.where(seen, weight, 0.0)
    filled = np.where(seen[..., None], values, 0.0)
    total = weight.sum(axis=0)
    nobody = total <= 0
    pull = np.ones_like(weight)

    def mean_of(w: FloatArray) -> FloatArray:
        sums = np.maximum(w.sum(axis=0), 1e-300)[..., None]
        return np.asarray((w[..., None] * filled).sum(axis=0) / sums, np.float64)

    # Two values have no middle but their mean; three or more have a median to start from.
    many = len(values) > 2
    mean = np.stack([weighted_median(filled[..., k], weight) for k in (0, 1)], axis=-1) if many else mean_of(weight)
    if many:
        width = max(1, round(0.2 * settings.rate_hz))
        for _ in range(6):
            distance = np.linalg.norm(filled - mean, axis=-1)
            # The median of a 2D normal distance is 1.18 of the spread of one coordinate.
            spread = weighted_median(distance, weight) / 1.177
            spread = uniform_filter1d(np.where(nobody, 0.0, spread), width, axis=0, mode="nearest")
            limit = settings.huber * np.maximum(spread, settings.floor * TORSO_PX)
            pull = np.minimum(1.0, limit / np.maximum(distance, 1e-12))
            mean = mean_of(weight * pull)
    mean = np.where(nobody[..., None], np.nan, mean)
    return mean, np.where(seen, pull, 0.0)


def weighted_median(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Over the first axis: the value at which half of the weight is passed, between the two nearest when it falls even.

    >>> weighted_median(np.array([1.0, 2.0, 10.0]), np.array([1.0, 1.0, 1.0])).item()
    2.0
    """
    order = np.argsort(values, axis=0)
    ranked, mass = np.take_along_axis(values, order, axis=0), np.take_along_axis(weight, order, axis=0)
    passed = np.cumsum(mass, axis=0)
    half = passed[-1:] / 2
    low = np.argmax(passed >= half * (1 - 1e-9), axis=0)[None]
    high = np.argmax(passed > half * (1 + 1e-9), axis=0)[None]
    high = np.maximum(high, low)
    middle = (np.take_along_axis(ranked, low, axis=0) + np.take_along_axis(ranked, high, axis=0))[0] / 2
    return np.asarray(middle, np.float64)


@dataclass(frozen=True)
class Mean:
    """The averaged track and what each member had in it."""

    pose: PoseTrack
    pull: FloatArray
    """(n, G, J) 0–1, what was left of each value's weight."""


def mean_pose(
    members: Sequence[Member], clock: Clock, settings: TemplateSettings, before: PoseTrack | None = None
) -> Mean:
    """Every joint's robust mean at every moment, with how well it was seen and where too few swings showed it.

    Parameters
    ----------
    before : PoseTrack, optional
        The mean so far, on the clock's old time. Each member is then interpolated between its frames as *that mean plus
        what is left*, which changes slowly: so the frames of all swings, which fall on different moments, together show
        a fast hand finer than any one of them does.
    """
    points, weight, visible, depth, measured = [], [], [], [], []
    frames = round(settings.taper_s * settings.rate_hz)
    for i, (member, at) in enumerate(zip(members, clock.member_s)):
        track = member.swing.pose
        place, ok = sample(sampling_figure(track), at, settings.score)
        if before is not None:
            finer = _on_top(track, before, clock, i, settings)
            place = np.where(np.isfinite(finer), finer, place)
        given = _between(joint_weight(track, settings), track.time_s, at)
        points.append(place)
        weight.append(tapered(given, ok, frames))
        visible.append(_between(track.visibility, track.time_s, at))
        depth.append(_between(_bridged(track.depth, track.time_s), track.time_s, at))
        measured.append(ok & (_between(track.filled.astype(float), track.time_s, at) < 0.5))
    w, shown = np.stack(weight), np.stack(measured)
    mean, pull = robust_mean(np.stack(points), w, settings)
    share = shown.mean(axis=0)
    total = np.maximum(w.sum(axis=0), 1e-300)
    visibility = np.where(np.isfinite(mean[..., 0]), (w * np.stack(visible)).sum(axis=0) / total, 0.0)
    deep = (w * np.nan_to_num(np.stack(depth))).sum(axis=0) / total
    # A mean over fewer swings than wanted is drawn, and marked like a filled value so that it is never scored.
    filled = (share < settings.measured_share - 1e-9) & np.isfinite(mean[..., 0])
    sources = {member.swing.pose.source for member in members}
    pose = PoseTrack(
        points=mean,
        depth=np.where(np.isfinite(mean[..., 0]), deep, np.nan),
        visibility=np.clip(visibility, 0.0, 1.0),
        time_s=clock.time_s,
        image_size=members[0].swing.pose.image_size,
        # What one pose model is known to be off by, its mean is off by too: measures ask for the name.
        source=sources.pop() if len(sources) == 1 else "template",
        filled=filled,
    )
    return Mean(pose, pull)


def _on_top(track: PoseTrack, before: PoseTrack, clock: Clock, i: int, settings: TemplateSettings) -> FloatArray:
    """(G, J, 2): the mean so far plus what this member differs from it by, interpolated between its frames."""

    def mean_at(time_s: FloatArray) -> FloatArray:
        old = np.interp(time_s, clock.mark_s, clock.old_s)
        return sample(sampling_figure(before), old, settings.score)[0]

    own = np.interp(track.time_s, clock.member_s[i], clock.time_s)
    inside = (track.time_s >= clock.member_s[i, 0]) & (track.time_s <= clock.member_s[i, -1])
    rest = np.where(inside[:, None, None], track.points - mean_at(own), np.nan)
    left, _ = sample(sampling_figure(replace(track, points=rest)), clock.member_s[i], settings.score)
    return np.asarray(mean_at(clock.time_s) + left, np.float64)


def _bridged(values: FloatArray, time_s: FloatArray) -> FloatArray:
    return np.stack([interpolated(column, time_s) for column in values.T], axis=1)


def _between(values: FloatArray, time_s: FloatArray, at: FloatArray) -> FloatArray:
    """(T, C) at other times, by straight lines; the ends are held."""
    place = np.clip(np.interp(at, time_s, np.arange(len(time_s))), 0, len(time_s) - 1)
    left = np.minimum(place.astype(int), max(len(time_s) - 2, 0))
    share = (place - left)[:, None]
    right = np.minimum(left + 1, len(time_s) - 1)
    return np.asarray(values[left] * (1 - share) + values[right] * share, np.float64)


def mean_positions(members: Sequence[Member], clock: Clock, settings: TemplateSettings) -> Positions:
    """Each position where the members' own lie on average; missing where fewer than half of the members have it.

    Its SD is that of a mean: what each was unsure of and how far they lie apart, together, by the root of their number.
    """
    found: list[Position] = []
    missing: dict[str, str] = {}
    for name in POSITION_NAMES:
        pairs = positions_of(members, name)
        if len(pairs) < max(1.0, settings.measured_share * len(members)):
            missing[name] = f"found in only {len(pairs)} of the {len(members)} swings"
            continue
        times = np.array([clock.of_member(i, position.time_s) for i, position in pairs])
        weight = np.array([max(position.confidence, 0.05) for _, position in pairs])
        centre = float(weighted_median(times, weight))
        spread = max(float(weighted_median(np.abs(times - centre), weight)) * 1.483, 0.003)
        pull = weight * np.minimum(1.0, settings.huber * spread / np.maximum(np.abs(times - centre), 1e-12))
        time_s = float(np.sum(pull * times) / np.sum(pull))
        sources = [position.source for _, position in pairs]
        source = max(sorted(set(sources)), key=sources.count)
        told = [position.sd_s for _, position in pairs if position.sd_s is not None]
        apart = float(np.std(times, ddof=1)) if len(times) > 1 else 0.0
        sd = max(apart, float(np.median(told)) if told else 0.0) / np.sqrt(len(times))
        confidence = float(np.average([position.confidence for _, position in pairs], weights=weight))
        if found and time_s <= found[-1].time_s + 0.5 / settings.rate_hz:
            missing[name] = "the swings do not agree on its order"
            continue
        found.append(Position(name, time_s, min(1.0, confidence), source, sd if sd > 0 else None))
    return Positions(tuple(found), missing)
