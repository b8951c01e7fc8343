"""Finds the full swings in a recording and the nine positions of each, from the pose alone.

Everything is scaled by the player's torso and by the swing's own downswing time, so frame rate, slow motion,
picture size and body size need no settings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from overlay.data import Clip, PoseTrack, Positions, Swing
from overlay.errors import ContentError
from overlay.kinematics import BodySignals, Pass, body_height, body_signals, find_passes, torso_length
from overlay.positions.club_cues import club_candidates
from overlay.positions.cues import address_cues, finish_cues, passage_cues, strike_cues
from overlay.positions.estimate import candidate
from overlay.positions.fusion import Candidate, fuse
from overlay.positions.notes import (
    FINISH_AT_THE_END,
    FINISH_NEVER_HELD,
    OTHER_VIEW,
    slow_factor_estimate,
    timing_notes,
)
from overlay.positions.refine import refine, strike_candidates
from overlay.positions.signals import SwingSignals, swing_signals
from overlay.progress import SILENT, Progress
from overlay.settings.positions import PositionSettings
from overlay.terms import POSITION_NAMES, Handedness, View
from overlay.view import HandednessFinding, ViewFinding, handedness_from_cues, side_cues, view_from_cues

__all__ = [
    "Candidate",
    "club_candidates",
    "find_swings",
    "fuse",
    "measure_cues",
    "no_takeaway",
    "refine",
    "slow_factor_estimate",
    "strike_candidates",
]

FALL_TO_DOWNSWING = 0.75
"""Downswing time over the summed fall times of ``fall_unit``; only a scale, the calibration absorbs it."""

RISE_TO_UNIT = 0.25
"""Unit of time of the backswing over the summed times the hands take to rise; only a scale as well."""

ANCHOR_CUES = {
    "start": "depart_anchor",
    "early": "back_rise_20",
    "late": "back_rise_60",
    "top": "top_anchor",
    "high": "down_rise_75",
    "low": "low_anchor",
    "end": "end_anchor",
}

FILM_HINT = "Film the whole swing from address to finish with the whole body in the picture."


def find_swings(
    track: PoseTrack,
    clip: Clip | None = None,
    *,
    view: View | None = None,
    handedness: Handedness | None = None,
    settings: PositionSettings = PositionSettings(),  # noqa: B008
    progress: Progress = SILENT,
    stretches: Sequence[tuple[float, float]] | None = None,
) -> tuple[Swing, ...]:
    """Every full swing of a recording, in time order.

    Waggles, walking, ball placing and part swings are not swings; a slow or half rehearsal beside a full swing is
    left out. A swing whose address or finish lies outside the recording is kept, with that position missing.

    Parameters
    ----------
    track : PoseTrack
        Cleaned, the whole recording.
    clip : Clip or None
        What is known of the recording; its slow factor sets the margins.
    view, handedness : optional
        Given by a person; found otherwise.
    stretches : sequence of (start_s, stop_s), optional
        The stretches that ``track`` consists of, where it leaves out what lies between: nothing is bridged from one to
        the next, and which swings are full is still judged over all of them. None: it is one.

    Returns
    -------
    tuple of Swing, never empty

    Raises
    ------
    ContentError
        The recording is too short, the hands are never seen, or no full swing is in it.
    """
    progress.stage("finding swings")
    if len(track) < settings.least_frames:
        raise ContentError(
            f"The recording is too short for a swing: {len(track)} frames.",
            f"{FILM_HINT} At 30 frames per second a swing takes about 60 frames.",
        )
    parts = [track] if stretches is None else [track.between(a - 1e-6, b + 1e-6) for a, b in stretches]
    seen_parts = [(part, signals) for part in parts if (signals := _signals_of(part, len(parts) == 1, settings))]
    if not seen_parts:
        # None of them can be told from: the recording as a whole says why.
        seen_parts = [(track, _checked_signals(track, settings))]
    passes, rehearsals = _full_swings([signals for _, signals in seen_parts], settings)
    if not any(passes):
        raise ContentError(_why_no_swing(seen_parts[0][1], settings), FILM_HINT)
    clearest = max(
        range(len(passes)), key=lambda i: max((sweep.peak_speed * sweep.rises for sweep in passes[i]), default=0.0)
    )
    seen, hand = _sides(seen_parts[clearest][0], view, handedness)
    swings: list[Swing] = []
    for (part, _), sweeps in zip(seen_parts, passes):
        for i, sweep in enumerate(sweeps):
            start_s = sweeps[i - 1].after_s if i else float(part.time_s[0])
            stop_s = sweeps[i + 1].before_s if i + 1 < len(sweeps) else float(part.time_s[-1])
            number = len(swings) + 1
            swings.append(_swing(part, clip, sweep, start_s, stop_s, seen, hand, number, rehearsals, settings))
            progress.advance()
    progress.done()
    return tuple(swings)


def _signals_of(part: PoseTrack, alone: bool, settings: PositionSettings) -> BodySignals | None:
    """Of one stretch; None when nobody is followed in it, which of several stretches is no reason to stop."""
    if alone:
        return _checked_signals(part, settings)
    if len(part) < settings.least_frames:
        return None
    try:
        return _checked_signals(part, settings)
    except ContentError:
        return None


def _checked_signals(track: PoseTrack, settings: PositionSettings) -> BodySignals:
    if not math.isfinite(torso_length(track)):
        raise ContentError("Shoulders and hips are never seen together.", FILM_HINT)
    signals = body_signals(track)
    unseen = float(np.mean(signals.trust <= 0.0))
    if not np.all(np.isfinite(signals.hands)) or float(np.mean(signals.trust)) < settings.least_trust:
        raise ContentError(
            "The hands are hardly ever seen.",
            "Film with the hands in the picture from address to finish, in good light and with a short shutter time.",
        )
    if unseen > settings.most_unseen:
        raise ContentError(
            f"The hands are missing in {unseen:.0%} of the frames.",
            "Film with the hands in the picture from address to finish, in good light and with a short shutter time.",
        )
    return signals


def full_swings(signals: BodySignals, settings: PositionSettings) -> tuple[tuple[Pass, ...], int]:
    """The sweeps that are full swings, and how many slow or half ones beside them were left out."""
    (found,), left_out = _full_swings([signals], settings)
    return found, left_out


def _full_swings(parts: Sequence[BodySignals], settings: PositionSettings) -> tuple[list[tuple[Pass, ...]], int]:
    """As ``full_swings`` for each of several stretches; the fastest and highest swing of all is the measure."""
    strikes: list[tuple[BodySignals, list[Pass]]] = []
    for signals in parts:
        sweeps = find_passes(signals, high=settings.high, rise=settings.rise, still=settings.still)
        strikes.append((signals, _without_overlap([s for s in sweeps if _is_strike(signals, s, settings)])))
    everyone = [(signals, sweep) for signals, sweeps in strikes for sweep in sweeps]
    if not everyone:
        return [() for _ in parts], 0
    fastest = max(sweep.peak_speed for _, sweep in everyone)
    highest = max(signals.hands[sweep.first, 1] for signals, sweep in everyone)
    full = [
        tuple(
            sweep
            for sweep in sweeps
            if sweep.peak_speed >= settings.rehearsal_speed * fastest
            and signals.hands[sweep.first, 1] >= settings.rehearsal_height * highest
        )
        for signals, sweeps in strikes
    ]
    return full, len(everyone) - sum(map(len, full))


def _is_strike(signals: BodySignals, sweep: Pass, settings: PositionSettings) -> bool:
    height = signals.hands[:, 1]
    cut_off = sweep.last >= len(height) - 1
    if height[sweep.first] < settings.full_height or sweep.still_share > settings.still_share:
        return False
    if not cut_off and height[sweep.last] < settings.full_finish:
        return False
    if cut_off and height[sweep.last] - height[sweep.low] < settings.rise / 2:
        return False
    # Arms that come down and go up without the body turning (shading the eyes, a club lifted to the shoulder).
    turned = sweep.turned >= settings.turned
    half = (height[sweep.low] + height[sweep.first]) / 2
    down = sweep.first + np.flatnonzero(height[sweep.first : sweep.low + 1] > half)[-1]
    rising = np.flatnonzero(height[sweep.low : sweep.last + 1] > half)
    if not len(rising):
        return turned and cut_off
    # A strike made of bridged gaps is a guess.
    hidden = float(np.mean(signals.trust[sweep.first : sweep.low + int(rising[0]) + 1] <= 0.0))
    if hidden > settings.most_hidden:
        return False
    fall_s = signals.time_s[sweep.low] - signals.time_s[down]
    rise_s = signals.time_s[sweep.low + rising[0]] - signals.time_s[sweep.low]
    ratio = fall_s / max(rise_s, 1e-6)
    return turned and 1 / settings.rate_of_return < ratio < settings.rate_of_return


def _without_overlap(sweeps: list[Pass]) -> list[Pass]:
    """Of two sweeps that share a high point only the more pronounced is a strike.

    Between two swings the player addresses the ball again, so the end of one is never the top of the next.
    """
    kept: list[Pass] = []
    for sweep in sorted(sweeps, key=lambda s: s.peak_speed * s.rises, reverse=True):
        if all(sweep.before_s > other.after_s or sweep.after_s < other.before_s for other in kept):
            kept.append(sweep)
    return sorted(kept, key=lambda s: s.low_s)


def _why_no_swing(signals: BodySignals, settings: PositionSettings) -> str:
    risen = np.flatnonzero(signals.hands[:, 1] > settings.high)
    unseen = np.flatnonzero(signals.trust <= 0.0)
    unseen = unseen[unseen >= risen[0]] if len(risen) else unseen  # hidden at address is no reason
    stretches = np.split(unseen, np.flatnonzero(np.diff(unseen) > 1) + 1) if len(unseen) else []
    longest = max(stretches, key=len, default=unseen)
    if len(longest) >= settings.hidden_share * len(signals.time_s):
        first_s, last_s = signals.time_s[longest[0]], signals.time_s[longest[-1]]
        return f"No full swing is seen: the hands are hidden from {first_s:.1f} to {last_s:.1f} s."
    highest = float(np.max(signals.hands[:, 1]))
    if highest < settings.full_height:
        return "No full swing is seen: the hands never rise to the height of a full backswing."
    return "No full swing is seen: the hands never come down from the top, through the strike and up again."


def _sides(track: PoseTrack, view: View | None, handedness: Handedness | None) -> tuple[ViewFinding, HandednessFinding]:
    cues = side_cues(track)
    if view is not None:
        seen = ViewFinding(view, 1.0, "given")
    elif cues:
        seen = view_from_cues(cues[0])
    else:
        seen = ViewFinding("other", 0.0, "no sweep of the hands shows it")
    if handedness is not None:
        hand = HandednessFinding(handedness, 1.0, "given")
    elif cues:
        hand = handedness_from_cues(cues[0], seen.view)
    else:
        hand = HandednessFinding("right", 0.5, "not seen; most players are right-handed")
    return seen, hand


@dataclass(frozen=True)
class SwingCues:
    """All cues of one swing, and what the times are counted from.

    ``anchors`` are the moments of ``ANCHOR_CUES``; ``unit_s`` is about a downswing, ``back_unit_s`` the backswing's
    own measure; ``missing`` says why a position has no cue.
    """

    cues: dict[str, float]
    anchors: dict[str, float]
    unit_s: float
    back_unit_s: float
    missing: dict[str, str]
    signals: SwingSignals


def measure_cues(
    track: PoseTrack,
    sweep: Pass,
    start_s: float,
    stop_s: float,
    handedness: Handedness,
    settings: PositionSettings = PositionSettings(),  # noqa: B008
) -> SwingCues:
    """Cues of one swing between the neighbouring swings' ``start_s`` and ``stop_s``."""
    played = track if handedness == "right" else track.mirrored()
    unit = sweep.low_s - sweep.before_s
    start_s = max(start_s, sweep.before_s - settings.before_top * unit)
    stop_s = min(stop_s, sweep.low_s + settings.after_impact * unit)
    signals = swing_signals(played, start_s, stop_s, sweep.before_s, sweep.low_s, settings)
    cues = strike_cues(signals, sweep.before_s, sweep.low_s)
    top_s = cues["top_height"] if math.isfinite(cues["top_height"]) else sweep.before_s
    low_s = cues["low_height"] if math.isfinite(cues["low_height"]) else sweep.low_s
    missing: dict[str, str] = {}
    address, no_address = address_cues(signals, top_s, low_s, settings)
    finish, no_finish = finish_cues(signals, low_s, settings)
    cues.update(address)
    cues.update(finish)
    begin_s = cues.get("leave", float(signals.time_s[0]))
    end_s = cues.get("held", min(float(signals.time_s[-1]), low_s + 3 * unit))
    cues.update(passage_cues(signals, begin_s, top_s, low_s, end_s))
    if no_address:
        missing["address"] = no_address
    if no_finish:
        missing["finish"] = no_finish
    cues["top_anchor"], cues["low_anchor"] = _top_anchor(cues, top_s), low_s
    anchors = {anchor: cues[name] for anchor, name in ANCHOR_CUES.items() if math.isfinite(cues.get(name, math.nan))}
    unit_s = fall_unit(cues, low_s, low_s - top_s)
    rising = [anchors["top"] - cues[f"back_rise_{level}"] for level in ("20", "45", "75")]
    known = all(math.isfinite(rise) and rise > 0 for rise in rising)
    back_unit_s = RISE_TO_UNIT * sum(rising) if known else unit_s
    return SwingCues(cues, anchors, unit_s, back_unit_s, missing, signals)


def _top_anchor(cues: dict[str, float], top_s: float) -> float:
    """Midway between the highest hands and the end of their stay up there: the club turns late in a long stay."""
    left = cues["plateau_to_95"]
    return (top_s + left) / 2 if math.isfinite(left) else top_s


def fall_unit(cues: dict[str, float], low_s: float, otherwise_s: float) -> float:
    """The swing's unit of time, s: about one downswing, from how long the hands fall.

    Counted from three heights on the way down, not from the highest hands: hands held high before the club turns
    would stretch it.
    """
    falls = [low_s - cues[f"down_rise_{level}"] for level in ("30", "60", "90")]
    if not all(math.isfinite(fall) and fall > 0 for fall in falls):
        return otherwise_s
    return FALL_TO_DOWNSWING * sum(falls)


def _swing(
    track: PoseTrack,
    clip: Clip | None,
    sweep: Pass,
    start_s: float,
    stop_s: float,
    seen: ViewFinding,
    hand: HandednessFinding,
    number: int,
    rehearsals: int,
    settings: PositionSettings,
) -> Swing:
    measured = measure_cues(track, sweep, start_s, stop_s, hand.handedness, settings)
    signals, cues, missing = measured.signals, measured.cues, dict(measured.missing)
    candidates = []
    for name in POSITION_NAMES:
        if name in missing:
            continue
        found = candidate(name, cues, seen.view, measured.anchors, measured.unit_s, measured.back_unit_s, signals)
        if found is None:
            missing[name] = _why_missing(name, signals, measured)
        elif not signals.time_s[0] - signals.frame_s <= found.time_s <= signals.time_s[-1] + signals.frame_s:
            missing[name] = "the clip does not show the moment"
        else:
            # Less than a frame outside the recording is inside it, as far as anyone can tell.
            inside_s = min(max(found.time_s, float(signals.time_s[0])), float(signals.time_s[-1]))
            candidates.append(replace(found, time_s=inside_s))
    if _begun_before(candidates, signals, measured.back_unit_s):
        candidates = [found for found in candidates if found.name != "address"]
        missing["address"] = "the clip starts after the swing has begun"
    positions = fuse(candidates, missing, frame_s=signals.frame_s, swing_s=4.2 * measured.unit_s, settings=settings)
    slow = slow_factor_estimate(positions.times(), measured.unit_s, settings)
    speed = slow if clip is None or clip.capture_rate is None else clip.slow_factor
    margin_s = settings.margin_s * max(speed, 1.0)
    times = positions.times()
    first_s = times.get("address", start_s if start_s > signals.time_s[0] else float(signals.time_s[0]))
    last_s = times.get("finish", float(signals.time_s[-1]))
    pose = track.between(max(start_s, first_s - margin_s), min(stop_s, last_s + margin_s))
    notes = _notes(positions.times(), slow, clip, rehearsals, seen, settings)
    if "clip_end" in cues and "finish" in positions.times():
        notes = (*notes, FINISH_AT_THE_END)
    if "never_held" in cues and "finish" in positions.times():
        notes = (*notes, FINISH_NEVER_HELD)
    lengths = body_height(pose)
    at_address = lengths[np.argmin(np.abs(pose.time_s - first_s))] if len(pose) else float("nan")
    return Swing(
        clip=clip,
        pose=pose,
        view=seen.view,
        view_confidence=round(seen.confidence, 3),
        handedness=hand.handedness,
        handedness_confidence=round(hand.confidence, 3),
        positions=positions,
        swing_number=number,
        torso_px=signals.scale_px,
        quality={
            "hands_seen": round(float(np.mean(signals.seen)), 3),
            "slow_factor_estimate": round(slow, 3),
            "frames_per_downswing": round(measured.unit_s / signals.frame_s, 1),
            "filled_share": round(float(np.mean(pose.filled)), 3) if len(pose) else 0.0,
            "person_height_px": round(float(at_address), 1),
        },
        notes=notes,
    )


def _begun_before(candidates: list[Candidate], signals: SwingSignals, back_unit_s: float) -> bool:
    """Whether the recording starts in mid-takeaway: the takeaway's other positions come at once, before any address."""
    times = {found.name: found.time_s for found in candidates}
    later = [time_s for name, time_s in times.items() if name != "address"]
    if "address" not in times or not later or not signals.starts_with_clip:
        return False
    return times["address"] >= min(later) and min(later) - float(signals.time_s[0]) < back_unit_s


def no_takeaway(positions: Positions, settings: PositionSettings | None = None) -> bool:
    """Whether the address found lies so near to shaft level back that there would be no takeaway between them.

    The hands paused on their way back then, and the pause was taken for the address: what is measured from it is wrong.
    """
    settings = settings or PositionSettings()
    times = positions.times()
    if not {"address", "shaft_level_back", "top"} <= times.keys():
        return False
    share = settings.least_takeaway * (times["top"] - times["address"])
    return times["shaft_level_back"] - times["address"] < share


def _why_missing(name: str, signals: SwingSignals, measured: SwingCues) -> str:
    back = ("address", "shaft_level_back", "lead_arm_level_back", "top")
    if name in back and signals.starts_with_clip and "address" in measured.missing:
        return "the clip starts after the moment"
    if name in ("shaft_level_through", "finish") and signals.ends_with_clip and "finish" in measured.missing:
        return "the clip ends before the moment"
    return "the hands are not seen well enough around the moment"


def _notes(
    times: dict[str, float],
    slow: float,
    clip: Clip | None,
    rehearsals: int,
    seen: ViewFinding,
    settings: PositionSettings,
) -> tuple[str, ...]:
    notes = list(timing_notes(times, slow, clip, settings))
    if seen.view == "other":
        notes.append(f"{OTHER_VIEW}{seen.reason}.")
    if rehearsals:
        taken = "swing was taken for a practice swing" if rehearsals == 1 else "swings were taken for practice swings"
        notes.append(f"In the recording {rehearsals} slower or shorter {taken}.")
    return tuple(notes)
