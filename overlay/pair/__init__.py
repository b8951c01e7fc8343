"""Two views of one swing, or of two swings of one player: recognised, brought to one time, measured together.

Method, figures and limits: docs/both-views.md.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import FilmingReport, Swing, TimeMap, ViewPair
from overlay.errors import DataError, MismatchError
from overlay.pair.clips import ClipFacts, find_pairs
from overlay.pair.clock import Clock, Shared, clock_of, shared_positions
from overlay.pair.evidence import Clue, Movement, combined, movement_says, points_of, recorded_clue
from overlay.pair.first import joint_first
from overlay.pair.measures import pair_measures
from overlay.pair.positions import fused_positions, stepped_map
from overlay.pair.sounds import SoundMatch, match_sounds
from overlay.settings.pair import PairSettings
from overlay.terms import VIEW_WORDS
from overlay.video import Sound

__all__ = [
    "ClipFacts",
    "PairSettings",
    "SoundMatch",
    "find_pairs",
    "fused_positions",
    "joint_first",
    "match_sounds",
    "pair_measures",
    "pair_views",
]

PAIR = PairSettings()
"""The defaults."""


def pair_views(
    one: Swing,
    other: Swing,
    *,
    sounds: tuple[Sound | None, Sound | None] = (None, None),
    recorded_at: tuple[float | None, float | None] = (None, None),
    offset_s: float | None = None,
    filming: tuple[FilmingReport | None, FilmingReport | None] = (None, None),
    settings: PairSettings = PAIR,
) -> ViewPair:
    """Pair a swing seen down the line with one seen face on.

    Parameters
    ----------
    one, other : Swing
        In any order; one down the line and one face on, of one hand.
    sounds : two Sound or None
        Of the clips of ``one`` and ``other``, on their clocks.
    recorded_at : two float or None
        When the first picture of each was taken, s since 1970 (``overlay.video.recorded.recorded_at``).
    offset_s : float or None
        Told by hand: time on the face-on clip at time 0 of the down-the-line clip, s of its playback (+ when the
        face-on camera was started first).
    filming : two FilmingReport or None
        Of the clips; directions of the cameras for the measures.
    settings : PairSettings

    Returns
    -------
    ViewPair
        ``one_swing`` is only said when the evidence is 95 % sure and the movements agree.

    Raises
    ------
    MismatchError
        The views are not one of each, or the hands differ.
    DataError
        ``offset_s`` or a time of recording is not a number.
    """
    if offset_s is not None and not math.isfinite(offset_s):
        raise DataError(f"An offset of {offset_s} s between the clips is not a number.", "Give seconds, such as 0.35.")
    if any(at is not None and not math.isfinite(at) for at in recorded_at):
        raise DataError("A time of recording is not a number.", "Give seconds since 1970, or None.")
    dtl, fo, flipped = _ordered(one, other)
    if flipped:
        sounds, recorded_at, filming = sounds[::-1], recorded_at[::-1], filming[::-1]
    clocks = clock_of(dtl), clock_of(fo)
    shared = shared_positions(dtl, fo, settings)
    movement = _movement(dtl, fo, clocks, shared, settings)
    clues, sentences = _clues(movement, dtl, fo, clocks, shared, sounds, recorded_at, offset_s, settings)
    refusal = _refusal(movement, clues, settings)
    if refusal and movement is not None and movement.chance < settings.contradiction:
        sentences = [line for line in sentences if line != _movement_said(movement)]
    offset, sd, odds = combined([_agreeing(clue, movement, settings) for clue in clues])
    one_swing = not refusal and odds >= settings.odds and math.isfinite(offset)
    if one_swing:
        sd = math.hypot(sd, settings.least_sd_s)
        rate = movement.rate if movement is not None else 1.0
        around = _impact_s(dtl, clocks[0], shared)
        time_map = _affine_map(dtl, clocks, offset, rate, around)
        sentences.insert(0, f"One swing under two cameras: the clocks are known to {1000 * sd:.0f} ms.")
    else:
        time_map, sd = stepped_map(dtl, fo, clocks, shared, settings)
        sentences.insert(0, refusal or _undecided(clues, odds, movement, clocks))
        sentences.insert(0, "Shown as two swings of the same player, in step at the positions.")
    pair = ViewPair(dtl, fo, time_map, one_swing, sd, tuple(sentences))
    found = pair_measures(pair, filming=filming, settings=settings)
    return dataclasses.replace(pair, measures=found)


def _ordered(one: Swing, other: Swing) -> tuple[Swing, Swing, bool]:
    views = {one.view, other.view}
    if views != {"dtl", "fo"}:
        raise MismatchError(
            f"One clip is filmed {VIEW_WORDS[one.view]} and the other {VIEW_WORDS[other.view]}; a pair is one down the "
            "line and one face on.",
            "Give one clip of each view; if a view was taken wrongly, say so with --view.",
        )
    if one.handedness != other.handedness:
        raise MismatchError(
            f"One player is {one.handedness}-handed, the other {other.handedness}-handed: they are not the same swing.",
            "Check whether one of the clips is mirrored (--mirrored).",
        )
    return (one, other, False) if one.view == "dtl" else (other, one, True)


def _impact_s(dtl: Swing, clock: Clock, shared: Shared) -> float:
    """Down-the-line real time of impact, or of what is shown by both instead."""
    impact = dtl.positions.time("impact")
    if impact is not None:
        return float(clock.real(impact))
    if len(shared.names):
        return float(np.mean(shared.dtl_s))
    return float(clock.real(0.5 * (dtl.start_s + dtl.stop_s)))


def _movement(
    dtl: Swing, fo: Swing, clocks: tuple[Clock, Clock], shared: Shared, settings: PairSettings
) -> Movement | None:
    points = points_of(shared)
    times = dict(zip(shared.names, shared.dtl_s))
    impact = float(times.get("impact", _impact_s(dtl, clocks[0], shared)))
    top = float(times.get("top", impact))
    known = all(clock.known for clock in clocks)
    found = movement_says(points, impact, top, known, settings)
    told = any(swing.clip is not None and swing.clip.capture_rate is not None for swing in (dtl, fo))
    if found is None or not known or told or found.chance >= settings.contradiction:
        return found
    # Both may be real time, yet one need not be: a slowed clip within the range of human tempo.
    free = movement_says(points, impact, top, False, settings)
    slowed = free is not None and free.chance > 0.01 and abs(math.log(max(free.rate, 1e-6))) > settings.other_rate
    return free if slowed else found


def _clues(
    movement: Movement | None,
    dtl: Swing,
    fo: Swing,
    clocks: tuple[Clock, Clock],
    shared: Shared,
    sounds: tuple[Sound | None, Sound | None],
    recorded_at: tuple[float | None, float | None],
    offset_s: float | None,
    settings: PairSettings,
) -> tuple[list[Clue], list[str]]:
    """All clues there are, and what they say to the user."""
    clues: list[Clue] = []
    if movement is not None:
        clues.append(Clue("movement", movement.offset_s, movement.sd_s, movement.odds, _movement_said(movement)))
    if offset_s is not None:
        said = f"Told by hand: the face-on clip is {abs(offset_s):.3f} s {'ahead' if offset_s >= 0 else 'behind'}."
        # Told for the first picture; at impact it is worth what the clips' speeds are known to.
        impact, rate, rate_sd = _impact_s(dtl, clocks[0], shared), 1.0, 0.0
        if movement is not None:
            rate, rate_sd = movement.rate, movement.rate_sd
        told_s = float(clocks[1].real(offset_s)) + (rate - 1.0) * impact
        clues.append(Clue("told", told_s, math.hypot(settings.told_sd_s, rate_sd * impact), settings.told_odds, said))
    first, second = sounds
    if first is not None and second is not None:
        expected = movement.offset_s if movement is not None else None
        impact = _impact_s(dtl, clocks[0], shared)
        heard = match_sounds(
            first,
            second,
            slow=(clocks[0].slow, clocks[1].slow),
            expected_s=expected,
            expected_sd_s=0.0 if movement is None else movement.sd_s,
            strikes_s=None if expected is None else (impact, impact + expected),
            settings=settings.sound,
        )
        if heard is not None:
            # Sounds that do not look the same tell no time either: what falls together in them is chance.
            offset = heard.offset_s if heard.odds >= 0.0 else math.nan
            clues.append(Clue("sound", offset, heard.sd_s, heard.odds, heard.sentence))
    if recorded_at[0] is not None and recorded_at[1] is not None and movement is not None:
        clues.append(recorded_clue(recorded_at[1] + movement.offset_s - recorded_at[0], settings))
    return clues, [clue.sentence for clue in clues if clue.sentence]


def _movement_said(movement: Movement) -> str:
    if movement.stretches < 2:
        return "Only one moment is shown by both clips, so the movement cannot say whether it is one swing."
    if abs(movement.rate - 1.0) > 0.05 and movement.chance >= 0.01:
        return (
            f"The movements agree within {1000 * movement.spread_s:.0f} ms when the face-on clip is taken to play "
            f"{movement.rate:.2f} times as long as its rate says."
        )
    if movement.chance >= 0.01:
        return f"The movements agree within {1000 * movement.spread_s:.0f} ms through the whole swing."
    return (
        f"The movements differ by {1000 * movement.spread_s:.0f} ms, most at {movement.worst}, which two views of one "
        "swing hardly ever do."
    )


def _refusal(movement: Movement | None, clues: list[Clue], settings: PairSettings) -> str:
    """Why it cannot be one swing, "" when it can."""
    if movement is None:
        return ""
    if movement.chance < settings.contradiction:
        return (
            f"It is not one swing: the tempo differs by {1000 * movement.spread_s:.0f} ms between the clips, most at "
            f"{movement.worst}."
        )
    for clue in clues:
        if clue.name == "movement" or not math.isfinite(clue.offset_s):
            continue
        apart = clue.offset_s - movement.offset_s
        if abs(apart) > settings.disagreement * math.hypot(clue.sd_s, movement.sd_s):
            if clue.name == "told":
                return (
                    f"It is not one swing at the offset that was told: with it the movements are {abs(apart):.2f} s "
                    f"apart; they fall together at {movement.offset_s:+.3f} s."
                )
            if clue.odds < 1.0:
                continue
            return f"It is not one swing: the sounds fall together {abs(apart):.2f} s away from where the movements do."
    return ""


def _agreeing(clue: Clue, movement: Movement | None, settings: PairSettings) -> Clue:
    """The clue without its offset where the movement contradicts it: it then tells no time."""
    if movement is None or not math.isfinite(clue.offset_s):
        return clue
    apart = abs(clue.offset_s - movement.offset_s)
    if apart <= settings.disagreement * math.hypot(clue.sd_s, movement.sd_s):
        return clue
    return dataclasses.replace(clue, offset_s=math.nan)


def _undecided(clues: list[Clue], odds: float, movement: Movement | None, clocks: tuple[Clock, Clock]) -> str:
    sure = 100.0 / (1.0 + math.exp(-odds))
    if odds <= -2.94:
        return f"The clips show two different swings ({100 - sure:.0f} % sure)."
    # Down, not to the nearest: 94.8 % are not the 95 that are asked for.
    said = f"Nothing says surely that it is one swing ({math.floor(sure):d} %; 95 % are asked for)."
    if movement is None or any(clue.name == "told" for clue in clues):
        return said
    # Who knows that it is need not measure it: the movement has found the offset, but cannot prove the swing.
    at_start = (movement.offset_s - (movement.rate - 1.0) * movement.middle_s) * clocks[1].slow
    at_start = round(at_start, 2) + 0.0  # no −0.00
    return f"{said} If it is, tell the offset {at_start:+.2f} s by hand."


def _affine_map(dtl: Swing, clocks: tuple[Clock, Clock], offset: float, rate: float, around_s: float) -> TimeMap:
    """The straight line from one clock to the other through (around, around + offset), playback s."""
    slope = rate * clocks[1].slow / clocks[0].slow
    ends = np.array([dtl.start_s, dtl.stop_s])
    there: FloatArray = (around_s + offset + rate * (ends / clocks[0].slow - around_s)) * clocks[1].slow
    return TimeMap(ends, there, {"offset_s": offset, "rate": rate}, outer_slope=slope)
