"""Positions sharpened by other sources and corrected by a person, with everything that hangs on them kept right."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace
from statistics import NormalDist

import numpy as np

from overlay.data import ClubTrack, Marks, PoseTrack, Position, PositionMark, Positions, Swing
from overlay.errors import InputError
from overlay.kinematics import body_height
from overlay.positions.fusion import MARKED_SD_S, Candidate, fuse
from overlay.positions.notes import (
    FINISH_NOTES,
    OTHER_VIEW,
    slow_factor_estimate,
    timing_notes,
    without_timing_notes,
)
from overlay.settings.positions import PositionSettings
from overlay.terms import POSITION_NAMES, words

AGAINST_A_MARK = "the time found contradicts a mark set by hand"


def refine(
    swing: Swing,
    *,
    candidates: Sequence[Candidate] = (),
    marks: Marks = Marks(),  # noqa: B008
    track: PoseTrack | None = None,
    others: Sequence[Swing] = (),
    settings: PositionSettings = PositionSettings(),  # noqa: B008
) -> Swing:
    """The swing with its positions joined with further candidates, and set where a person marked them.

    Each position the swing has counts as a candidate of its own, so a source must be given once only. A position
    without a time may be gained. A mark wins against everything; what contradicts its order is left out and says so.
    View and hand are set as marked, but the times found from the pose stay those of the view it was searched with:
    give ``find_swings`` the marked view as well.

    Parameters
    ----------
    swing : Swing
    candidates : sequence of Candidate
        From ``club_candidates`` and ``strike_candidates``.
    marks : Marks
        Of the whole recording. Those of this swing are taken: the ones that lie nearer to it than to any of
        ``others``, and within its stretch unless ``track`` is given.
    track : PoseTrack or None
        The cleaned track of the whole recording: with it the swing's stretch grows where a marked address or finish
        lies near its edge or beyond. Not used once the club is tracked.
    others : sequence of Swing
        All swings of the recording; this one may be among them.

    Returns
    -------
    Swing
        Pose (and club) cut to the new address and finish with the usual margin; slow factor, body height and notes
        as the new times say.

    Raises
    ------
    InputError
        Two marks of one swing contradict each other, or one lies beyond the end of ``track``.
    """
    frame_s = float(np.median(np.diff(swing.pose.time_s)))
    if track is not None:
        _check_within(marks, track)
    # A tracked club has its rows on the pose's frames, so from then on the stretch can only shrink.
    whole = None if swing.club is not None else track
    marked = _marks_of(swing, marks, others, anywhere=whole is not None)
    known = [_as_candidate(position, swing, frame_s, settings) for position in swing.positions.found]
    fixed = {c.name: c for c in known if c.source == "marked"}
    fixed |= {mark.name: Candidate(mark.name, mark.time_s, MARKED_SD_S, "marked") for mark in marked}
    if not (candidates or fixed or marks):
        return swing
    order = sorted(fixed.values(), key=lambda c: POSITION_NAMES.index(c.name))
    for one, other in itertools.pairwise(order):
        if other.time_s <= one.time_s:
            raise InputError(
                f"The marks contradict each other: {words(other.name)} at {other.time_s:.3f} s is not after "
                f"{words(one.name)} at {one.time_s:.3f} s.",
                "Correct or remove one of them with `overlay mark`.",
            )
    missing = dict(swing.positions.missing)
    free = []
    for found in (*known, *candidates):
        if found.name in fixed:
            continue
        if _contradicts(found, order):
            missing[found.name] = AGAINST_A_MARK
        else:
            free.append(found)
    unit_s = swing.quality.get("frames_per_downswing", math.nan) * frame_s
    swing_s = 4.2 * unit_s if math.isfinite(unit_s) and unit_s > 0 else None
    joined = fuse([*order, *free], missing, frame_s=frame_s, swing_s=swing_s, settings=settings)
    positions = Positions(
        tuple(replace(p, confidence=1.0) if p.source == "marked" else p for p in joined.found), joined.missing
    )
    return _consistent(swing, positions, marks, unit_s, whole, others, settings)


def strike_candidates(swing: Swing) -> tuple[Candidate, ...]:
    """The strike as a candidate for impact, named after its surest clue; none when nothing was seen or heard.

    One candidate, not one a clue: the clues are weighed against each other where they are found.
    """
    strike = swing.strike
    if strike is None or not (math.isfinite(strike.time_s) and math.isfinite(strike.sd_s) and strike.sd_s > 0):
        return ()
    clues = [clue for clue in strike.clues if math.isfinite(clue.sd_s) and clue.sd_s > 0]
    near = [clue for clue in clues if abs(clue.time_s - strike.time_s) <= 3.0 * math.hypot(clue.sd_s, strike.sd_s)]
    source = min(near or clues, key=lambda clue: clue.sd_s).source if clues else "ball"
    return (Candidate("impact", strike.time_s, strike.sd_s, source),)


def _check_within(marks: Marks, track: PoseTrack) -> None:
    """Refuse a mark that no picture of the recording can show, such as one typed wrongly into the file."""
    # The last picture is on the screen for a while after its time.
    end_s = float(track.time_s[-1]) + 2.0 * float(np.median(np.diff(track.time_s)))
    for name, time_s in [*((m.name, m.time_s) for m in marks.positions), *(("club", m.time_s) for m in marks.club)]:
        if time_s > end_s:
            raise InputError(
                f"{words(name).capitalize()} is marked at {time_s:.3f} s, but the recording ends at "
                f"{track.time_s[-1]:.3f} s.",
                f"Remove that mark (`overlay mark CLIP --remove {name}={time_s:.3f}`) and set it again.",
            )


def _marks_of(swing: Swing, marks: Marks, others: Sequence[Swing], *, anywhere: bool) -> list[PositionMark]:
    """The position marks that belong to this swing, one a name."""
    rivals = [other for other in others if other.swing_number != swing.swing_number]
    mine: dict[str, PositionMark] = {}
    for mark in marks.positions:
        inside = swing.start_s <= mark.time_s <= swing.stop_s
        nearest = all(_away(swing, mark.time_s) <= _away(other, mark.time_s) for other in rivals)
        if not nearest or not (inside or anywhere):
            continue
        if mark.name in mine:
            raise InputError(
                f"{words(mark.name).capitalize()} is marked twice in one swing, at {mine[mark.name].time_s:.3f} and "
                f"{mark.time_s:.3f} s.",
                f"Remove one of them: `overlay mark CLIP --remove {mark.name}={mark.time_s:.3f}`.",
            )
        mine[mark.name] = mark
    return list(mine.values())


def _away(swing: Swing, time_s: float) -> float:
    """Seconds between a time and the swing from address to finish, 0 inside it."""
    times = swing.positions.times()
    first, last = times.get("address", swing.start_s), times.get("finish", swing.stop_s)
    return max(first - time_s, time_s - last, 0.0)


def _as_candidate(position: Position, swing: Swing, frame_s: float, settings: PositionSettings) -> Candidate:
    sd_s = position.sd_s
    if sd_s is None or not sd_s > 0:
        # The confidence is the chance to lie within the tolerance, so it gives the spread back.
        times = swing.positions.times()
        span = times["impact"] - times["address"] if {"address", "impact"} <= times.keys() else 0.0
        chance = min(max(position.confidence, 1e-3), 0.999)
        sd_s = max(frame_s, settings.tolerance * span) / NormalDist().inv_cdf((1 + chance) / 2)
    return Candidate(position.name, position.time_s, sd_s, position.source)


def _contradicts(found: Candidate, fixed: Sequence[Candidate]) -> bool:
    place = POSITION_NAMES.index(found.name)
    for mark in fixed:
        before = POSITION_NAMES.index(mark.name) < place
        if found.time_s <= mark.time_s if before else found.time_s >= mark.time_s:
            return True
    return False


def _consistent(
    swing: Swing,
    positions: Positions,
    marks: Marks,
    unit_s: float,
    track: PoseTrack | None,
    others: Sequence[Swing],
    settings: PositionSettings,
) -> Swing:
    """Everything of the swing that depends on its positions."""
    times, before = positions.times(), swing.positions
    quality = dict(swing.quality)
    slow = quality.get("slow_factor_estimate", 1.0)
    if {"top", "impact"} <= times.keys() or (math.isfinite(unit_s) and unit_s > 0):
        slow = slow_factor_estimate(times, unit_s, settings)
    pose = _cut(swing, times, slow, track, others, settings)
    quality["slow_factor_estimate"] = round(slow, 3)
    quality["filled_share"] = round(float(np.mean(pose.filled)), 3)
    if times.get("address") != before.time("address"):
        lengths = body_height(pose)
        quality["person_height_px"] = round(
            float(lengths[np.argmin(np.abs(pose.time_s - times.get("address", pose.time_s[0])))]), 1
        )
    notes = [*timing_notes(times, slow, swing.clip, settings), *without_timing_notes(swing.notes)]
    finish = positions.get("finish")
    if finish is None or finish.source != "pose":
        notes = [note for note in notes if note not in FINISH_NOTES]
    view, hand = marks.view, marks.handedness
    if view is not None:
        notes = [note for note in notes if not note.startswith(OTHER_VIEW)]
    return replace(
        swing,
        pose=pose,
        club=swing.club if swing.club is None else _rows(swing.club, pose),
        positions=positions,
        quality=quality,
        notes=tuple(notes),
        view=swing.view if view is None else view,
        view_confidence=swing.view_confidence if view is None else 1.0,
        handedness=swing.handedness if hand is None else hand,
        handedness_confidence=swing.handedness_confidence if hand is None else 1.0,
    )


def _cut(
    swing: Swing,
    times: dict[str, float],
    slow: float,
    track: PoseTrack | None,
    others: Sequence[Swing],
    settings: PositionSettings,
) -> PoseTrack:
    """The pose from the margin before address to the margin after the finish, where these have changed.

    An end whose position is missing stays where it is.
    """
    known = swing.clip is not None and swing.clip.capture_rate is not None
    margin_s = settings.margin_s * max(swing.slow_factor if known else slow, 1.0)
    old = swing.positions
    start_s, stop_s = swing.start_s, swing.stop_s
    if "address" in times and times["address"] != old.time("address"):
        start_s = times["address"] - margin_s
        earlier = [o.positions.times().get("finish", o.stop_s) for o in others if o.swing_number < swing.swing_number]
        start_s = max([start_s, *(end for end in earlier if end < times["address"])])
    if "finish" in times and times["finish"] != old.time("finish"):
        stop_s = times["finish"] + margin_s
        later = [o.positions.times().get("address", o.start_s) for o in others if o.swing_number > swing.swing_number]
        stop_s = min([stop_s, *(begin for begin in later if begin > times["finish"])])
    # Every position must be in the stretch, whichever end was moved.
    start_s = min([start_s, *times.values()])
    stop_s = max([stop_s, *times.values()])
    if (start_s, stop_s) == (swing.start_s, swing.stop_s):
        return swing.pose
    cut = (swing.pose if track is None else track).between(start_s, stop_s)
    return cut if len(cut) >= 2 else swing.pose


def _rows(club: ClubTrack, pose: PoseTrack) -> ClubTrack:
    """The club on the frames of the pose."""
    keep = np.isin(club.time_s, pose.time_s)
    if np.all(keep):
        return club
    return replace(
        club,
        time_s=club.time_s[keep],
        grip=club.grip[keep],
        angle_deg=club.angle_deg[keep],
        length_px=club.length_px[keep],
        state=tuple(word for word, kept in zip(club.state, keep, strict=True) if kept),
        angle_sd_deg=club.angle_sd_deg[keep],
    )
