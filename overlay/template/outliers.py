"""Which swings do not belong to the others, and what a coach would say of them.

Every swing is held against the middle of all of them by the same numbers that the score tests, in multiples of how
far the swings lie apart: a group of several players is wider than one player's swings, and is judged by its own width.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from overlay.arrays import BoolArray, FloatArray
from overlay.data import Position, Positions, Swing, TimeMap
from overlay.landmarks import INDEX
from overlay.score.band import CELLS
from overlay.score.parts import figure_of, sample
from overlay.settings.template import TemplateSettings
from overlay.template.average import weighted_median
from overlay.template.members import BODY, TORSO_PX, Member
from overlay.terms import words

_DOUBTED = "found at another moment than in the other swings"


def multiples(offsets: FloatArray, settings: TemplateSettings) -> tuple[FloatArray, float]:
    """(n, 54) how far each swing lies from the middle of all in each cell, in spreads; NaN where not compared.

    And how much wider the group is than one player's swings usually are, 1 at the least.

    The spread of a cell is the median distance from the middle, drawn to the usual spread of that part times how much
    wider this group is than usual as a whole, and never below the usual.
    """
    n = len(offsets)
    seen = np.isfinite(offsets[..., 0])
    weight = seen.astype(float)
    filled = np.nan_to_num(offsets)
    centre = np.stack([weighted_median(filled[..., k], weight) for k in (0, 1)], axis=-1)
    distance = np.hypot(*np.moveaxis(filled - centre, -1, 0))
    usual = np.array([settings.score.prior(part, phase) for phase, part in CELLS])
    small = math.sqrt(n / max(n - 1, 1))
    found = weighted_median(distance, weight) / 1.177 * small
    many = seen.sum(axis=0) >= 2
    wider = max(1.0, float(np.median(found[many] / usual[many]))) if np.any(many) else 1.0
    count = seen.sum(axis=0)
    pulled = (settings.spread_df * (wider * usual) ** 2 + count * found**2) / (settings.spread_df + count)
    spread = np.maximum(usual, np.sqrt(pulled))
    return np.asarray(np.where(seen & many, distance * small / spread, np.nan), np.float64), wider


def judge(
    template: Swing,
    members: Sequence[Member],
    maps: Sequence[TimeMap],
    offsets: FloatArray,
    settings: TemplateSettings,
    of: str = "",
) -> list[str]:
    """For each member the reason why it is another swing, "" when it belongs.

    Among one player's swings a single part that lies elsewhere makes another swing. Players differ in single parts, so
    among several (told by ``of``, or seen by how wide the group is) only a swing that is far off on the whole is one.
    """
    away, wider = multiples(offsets, settings)
    several = of == "several players" or (of != "one player" and wider > settings.wide_group)
    tempo = _tempo_reasons(template, members, maps, settings)
    tracked = _tracking_reasons(template, members, maps, settings)
    shorter = _height_reasons(template, members, maps, settings)
    seen = np.isfinite(away)
    mean = np.sqrt(np.sum(np.where(seen, away, 0.0) ** 2, axis=1) / np.maximum(2 * seen.sum(axis=1), 1))
    # Of fewer than four no swing can be said to lie further out than the others do.
    limit = max(settings.least_mean, settings.mean_ratio * float(np.median(mean))) if len(members) > 3 else math.inf
    reasons = []
    for i, time_map in enumerate(maps):
        reason = tracked[i] or shorter[i] or tempo[i]
        reason = reason or _movement_reason(away[i], mean[i] > limit, several, offsets[i], offsets, settings)
        if not reason and time_map.diagnostics.get("explained_share", 1.0) < settings.explained:
            share = 100 * max(0.0, time_map.diagnostics["explained_share"])
            reason = f"another movement: the others share only {share:.0f} % of it"
        reasons.append(reason)
    return reasons


def _movement_reason(
    away: FloatArray,
    far_on_the_whole: bool,
    several_players: bool,
    own: FloatArray,
    all_of: FloatArray,
    settings: TemplateSettings,
) -> str:
    known = away[np.isfinite(away)]
    if not len(known):
        return "it shares no phase of the swing with the others"
    one_part = known.max() > settings.cell_limit or np.sum(known > settings.two_cell_limit) >= 2
    if not (far_on_the_whole or (one_part and not several_players)):
        return ""
    k = int(np.nanargmax(away))
    phase, part = CELLS[k]
    others = all_of[np.isfinite(all_of[:, k, 0]), k]
    size = float(np.hypot(*(own[k] - np.median(others, axis=0))))
    verb = "are" if part in ("hands", "shoulders") else "is"
    return (
        f"another movement: the {words(part)} {verb} {size:.2f} torso lengths away from the others' in the "
        f"{words(phase)}"
    )


def doubt_addresses(members: Sequence[Member], settings: TemplateSettings) -> list[Member]:
    """The members, the address dropped where it makes a backswing of quite another length than the others'.

    Address is the position that is most often found at the wrong moment; whether the swing really is a hurried one is
    then told by its alignment, which does not lean on it.
    """
    lengths = np.array([_own_durations(member)[0] for member in members])
    far = _far_off(lengths, np.array([member.clock_known for member in members]), settings)
    return [_without_address(member) if far[i] else member for i, member in enumerate(members)]


def _without_address(member: Member) -> Member:
    positions = member.swing.positions
    found = tuple(position for position in positions.found if position.name != "address")
    missing = {**positions.missing, "address": _DOUBTED}
    return replace(member, swing=replace(member.swing, positions=Positions(found, missing)))


def address_by_alignment(template: Swing, member: Member, time_map: TimeMap) -> Member:
    """The member with a dropped address put where the template's falls in it: movement is measured from there."""
    positions, address = member.swing.positions, template.positions.time("address")
    if positions.missing.get("address") != _DOUBTED or address is None:
        return member
    time_s = float(time_map.to_reference(address))
    if not member.swing.start_s <= time_s < positions.found[0].time_s:
        return member
    missing = {name: reason for name, reason in positions.missing.items() if name != "address"}
    found = (Position("address", time_s, 0.3), *positions.found)
    return replace(member, swing=replace(member.swing, positions=Positions(found, missing)))


def _far_off(values: FloatArray, usable: BoolArray, settings: TemplateSettings) -> BoolArray:
    """(n,) which durations (n,) are quite others than the middle one; none of fewer than three."""
    usable = usable & np.isfinite(values)
    if usable.sum() < 3:
        return np.zeros(len(values), bool)
    logs = np.log(np.where(usable, values, 1.0))
    off = np.abs(logs - np.median(logs[usable]))
    limit = max(math.log1p(settings.tempo_limit), settings.tempo_ratio * 1.483 * float(np.median(off[usable])))
    return np.asarray(usable & (off > limit), np.bool_)


def _own_durations(member: Member) -> tuple[float, float]:
    address, top, impact = (member.swing.positions.time(name) for name in ("address", "top", "impact"))
    back = math.nan if address is None or top is None else top - address
    down = math.nan if top is None or impact is None else impact - top
    return back, down


def _durations(template: Swing, member: Member, time_map: TimeMap) -> tuple[float, float]:
    """Address → top and top → impact by its own positions, by the alignment where one of them is missing."""
    own = _own_durations(member)
    names = ("address", "top", "impact")
    at = [template.positions.time(name) for name in names]
    mapped = [math.nan if t is None else float(time_map.to_reference(t)) for t in at]
    carried = mapped[1] - mapped[0], mapped[2] - mapped[1]
    return own[0] if math.isfinite(own[0]) else carried[0], own[1] if math.isfinite(own[1]) else carried[1]


def _tempo_reasons(
    template: Swing, members: Sequence[Member], maps: Sequence[TimeMap], settings: TemplateSettings
) -> list[str]:
    """A backswing or downswing of quite another length; of clips at unknown speed only their ratio tells anything."""
    reasons = [""] * len(members)
    times = np.array([_durations(template, member, time_map) for member, time_map in zip(members, maps)])
    times = np.where(times > 0, times, np.nan)
    known = np.array([member.clock_known for member in members])
    ratio = times[:, 0] / times[:, 1]
    for name, values, usable, asked in (
        ("backswing", times[:, 0], known, known),
        ("downswing", times[:, 1], known, known),
        ("tempo ratio", ratio, np.ones(len(members), bool), ~known),
    ):
        far = _far_off(values, usable, settings)
        middle = float(np.median(values[usable & np.isfinite(values)])) if np.any(usable & np.isfinite(values)) else 0.0
        for i in np.flatnonzero(far & asked):
            own = float(values[i])
            if name == "tempo ratio":
                said = f"is {own:.1f} to 1, the others' {middle:.1f} to 1"
            else:
                said = f"takes {own:.2f} s, the others' {middle:.2f} s"
            reasons[i] = reasons[i] or f"another tempo: its {name} {said}"
    return reasons


def _height_reasons(
    template: Swing, members: Sequence[Member], maps: Sequence[TimeMap], settings: TemplateSettings
) -> list[str]:
    """Hands that stay much lower on the way back: a chip or a half swing."""
    heights = np.array([_hands_height(member.swing) for member in members])
    known = np.isfinite(heights)
    if known.sum() < 3:
        return [""] * len(members)
    middle = float(np.median(heights[known]))
    spread = 1.483 * float(np.median(np.abs(heights[known] - middle)))
    limit = max(settings.height_limit, settings.tempo_ratio * spread)
    return [
        f"a shorter swing: at the top its hands are {middle - height:.2f} torso lengths lower than the others'"
        if math.isfinite(height) and middle - height > limit
        else ""
        for height in heights
    ]


def _hands_height(swing: Swing) -> float:
    """Highest hands over the hips between address and impact, torso lengths; NaN without them."""
    track = swing.pose
    address, impact = swing.positions.time("address"), swing.positions.time("impact")
    start = swing.start_s if address is None else address
    stop = swing.stop_s if impact is None else impact
    inside = (track.time_s >= start) & (track.time_s <= stop)
    hips = (track.joint("left_hip") + track.joint("right_hip"))[inside, 1] / 2
    wrists = np.stack([track.points[inside, INDEX[f"{side}_wrist"], 1] for side in ("left", "right")])
    weight = np.stack([track.visibility[inside, INDEX[f"{side}_wrist"]] ** 2 for side in ("left", "right")])
    weight = np.where(np.isfinite(wrists), weight + 1e-6, 0.0)
    total = weight.sum(axis=0)
    height = hips - (weight * np.nan_to_num(wrists)).sum(axis=0) / np.maximum(total, 1e-12)
    usable = (total > 0) & np.isfinite(height)
    return float(np.quantile(height[usable], 0.97)) / TORSO_PX if usable.sum() >= 5 else math.nan


def _tracking_reasons(
    template: Swing, members: Sequence[Member], maps: Sequence[TimeMap], settings: TemplateSettings
) -> list[str]:
    """Joints that are mostly missing, or that shake much more than the others' do."""
    address, finish = template.positions.time("address"), template.positions.time("finish")
    start = template.start_s if address is None else address
    stop = template.stop_s if finish is None else finish
    times = np.arange(start, stop, 1.0 / 60.0)
    mean = sample(figure_of(template, settings.score), times, settings.score)[0][:, BODY]
    shares, unrest = [], []
    for member, time_map in zip(members, maps):
        figure = figure_of(member.swing, settings.score)
        points, ok = sample(figure, time_map.to_reference(times), settings.score)
        shares.append(float(np.mean(ok[:, BODY])))
        rest = points[:, BODY] - mean
        # What changes from one sixtieth of a second to the next, the slow difference taken out.
        jolts = rest[1:-1] - (rest[:-2] + rest[2:]) / 2
        usable = np.isfinite(jolts[..., 0])
        unrest.append(float(np.sqrt(np.mean(jolts[usable] ** 2))) / TORSO_PX if usable.sum() > 20 else math.nan)
    shaking = np.array(unrest)
    usual = float(np.nanmedian(shaking)) if np.any(np.isfinite(shaking)) else math.nan
    best = float(np.median(shares))
    reasons = []
    for share, shakes in zip(shares, shaking):
        reason = ""
        if share < settings.seen_share * best:
            reason = f"badly tracked: only {100 * share:.0f} % of its joints are seen, the others' {100 * best:.0f} %"
        elif len(members) > 2 and shakes > settings.jitter_ratio * max(usual, settings.jitter_floor):
            reason = f"badly tracked: its joints jump {shakes / usual:.0f} times as much as the others'"
        reasons.append(reason)
    return reasons
