"""Where the camera stands and which way round the player swings, from the pose alone.

Three cues, all from one swing, separate down the line from face on: how far the hands travel sideways through the
strike (far in face on), how wide shoulders and hips look at address (wide in face on) and how far in front of the
hips the hands hang (far in down the line). Which side of the player is seen then follows from the shoulder line:
in both usual views the chest turns away from the camera between top and finish, in the views from the target or
from behind it turns towards it.

Handedness needs no joint labels in the two usual views: down the line a right-handed player faces the right of the
picture; face on, the hands of a right-handed player go to the left of the picture in the backswing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.data import PoseTrack
from overlay.errors import ContentError
from overlay.kinematics import BodySignals, Pass, body_signals, find_passes
from overlay.settings.view import ViewSettings
from overlay.terms import Handedness, View

HIDDEN_COUNTS = 0.4
"""Weight of the sideways travel where the hands are hidden at one end of it."""


@dataclass(frozen=True)
class ViewFinding:
    """The view, how sure (0–1), and what spoke for it."""

    view: View
    confidence: float
    reason: str


@dataclass(frozen=True)
class HandednessFinding:
    """Right- or left-handed, how sure (0–1), and what spoke for it."""

    handedness: Handedness
    confidence: float
    reason: str


@dataclass(frozen=True)
class SideCues:
    """What one swing tells about camera and player, torso lengths in the picture.

    Attributes
    ----------
    sweep : float
        Sideways travel of the hands from half height before the strike to half height after it, signed.
    sweep_seen : bool
        False when the hands are hidden at one of the two, so that ``sweep`` comes from bridged places.
    width : float
        Mean of apparent shoulder and hip width while the hands hang before the swing.
    reach : float
        Offset of the hanging hands from the hips, x, signed.
    facing : float
        Signed shoulder and hip width at address: positive when the chest is seen.
    turn_at_top : float
        Signed shoulder width at the top: positive when the chest is seen.
    turn_change : float
        Change of the signed shoulder width from top to finish.
    away : float
        x of the hands at the top minus x at the strike.
    """

    sweep: float
    sweep_seen: bool
    width: float
    reach: float
    facing: float
    turn_at_top: float
    turn_change: float
    away: float


def side_cues(track: PoseTrack, settings: ViewSettings = ViewSettings()) -> tuple[SideCues, ...]:  # noqa: B008
    """The cues of every swing-like sweep of the hands, the most pronounced first; () when there is none."""
    signals = body_signals(track)
    if not _usable(signals):
        return ()
    passes = [
        sweep
        for sweep in find_passes(signals, high=settings.high, rise=settings.rise, still=settings.still)
        if sweep.still_share < settings.still_share
    ]
    passes.sort(key=lambda sweep: sweep.peak_speed * sweep.rises, reverse=True)
    return tuple(_cues(signals, sweep) for sweep in passes)


def _usable(signals: BodySignals) -> bool:
    return bool(np.all(np.isfinite(signals.hands)) and np.all(np.isfinite(signals.turn)))


def _cues(signals: BodySignals, sweep: Pass) -> SideCues:
    hands, turn, hip_turn = signals.hands, signals.turn, signals.hip_turn
    height = hands[:, 1]
    half = (height[sweep.low] + min(height[sweep.first], height[sweep.last])) / 2
    down = sweep.first + np.flatnonzero(height[sweep.first : sweep.low + 1] > half)[-1]
    rising = np.flatnonzero(height[sweep.low : sweep.last + 1] > half)
    up = sweep.low + int(rising[0]) if len(rising) else sweep.last
    # The address lies within about six downswings before the top, with the hands about as low as at the strike.
    earliest = sweep.first - 6 * (sweep.low - sweep.first)
    hanging = np.flatnonzero(height[: sweep.first] < height[sweep.low] + 0.35)
    hanging = hanging[hanging >= earliest]
    if not len(hanging):
        hanging = np.array([sweep.low])
    after = slice(up, sweep.last + 1)
    seen = bool(min(signals.trust[down], signals.trust[up]) > 0)
    return SideCues(
        sweep=float(hands[up, 0] - hands[down, 0]),
        sweep_seen=seen,
        width=float(np.median((np.abs(turn) + np.abs(hip_turn))[hanging]) / 2),
        reach=float(np.median(hands[hanging, 0])),
        facing=float(np.median((turn + hip_turn)[hanging]) / 2),
        turn_at_top=float(np.median(turn[max(0, sweep.first - 1) : sweep.first + 2])),
        turn_change=float(np.median(turn[after]) - turn[sweep.first]),
        away=float(hands[sweep.first, 0] - hands[sweep.low, 0]),
    )


def _face_on_evidence(cues: SideCues, settings: ViewSettings) -> float:
    """Positive for face on, negative for down the line; each cue counts at most 2.5 either way."""
    parts = (
        ((abs(cues.sweep) - settings.sweep_middle) / settings.sweep_scale, 1.0 if cues.sweep_seen else HIDDEN_COUNTS),
        ((cues.width - settings.width_middle) / settings.width_scale, 1.0),
        ((settings.reach_middle - abs(cues.reach)) / settings.reach_scale, 1.0),
    )
    return float(sum(weight * max(-2.5, min(2.5, part)) for part, weight in parts))


def _logistic(evidence: float) -> float:
    return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, evidence))))


def find_view(track: PoseTrack, settings: ViewSettings = ViewSettings()) -> ViewFinding:  # noqa: B008
    """Down the line, face on, or neither.

    Parameters
    ----------
    track : PoseTrack
        Cleaned; a whole recording or one swing.

    Returns
    -------
    ViewFinding
        "other" when the camera stands between the two views, on the target side, or behind the player's back.

    Raises
    ------
    ContentError
        No swing is seen, so there is nothing to judge from.
    """
    found = side_cues(track, settings)
    if not found:
        raise ContentError(
            "The camera view cannot be told: no swing is seen.",
            "Use a clip that shows one full swing, from address to finish, or give the view with --view.",
        )
    return view_from_cues(found[0], settings)


def view_from_cues(cues: SideCues, settings: ViewSettings = ViewSettings()) -> ViewFinding:  # noqa: B008
    """``find_view`` for cues already measured."""
    evidence = _face_on_evidence(cues, settings)
    sure = _logistic(abs(evidence))
    if evidence > 0:
        seen = f"hands travel {abs(cues.sweep):.1f} torso lengths across the picture through the strike"
        if cues.facing < -settings.turn_scale and cues.turn_change > 0:
            return ViewFinding("other", min(sure, 0.8), f"{seen}, and the player's back is seen at address")
        view: View = "fo"
    else:
        seen = f"hands hang {abs(cues.reach):.1f} torso lengths beside the hips and strike on the same side"
        if cues.turn_at_top < -settings.turn_scale / 2 and cues.turn_change > settings.turn_scale:
            return ViewFinding("other", min(sure, 0.8), f"{seen}, but the back is seen at the top: target side")
        view = "dtl"
    if abs(evidence) < settings.diagonal:
        return ViewFinding("other", 1.0 - sure / 2, "the camera stands between down the line and face on")
    return ViewFinding(view, sure, seen)


def find_handedness(
    track: PoseTrack,
    view: View,
    settings: ViewSettings = ViewSettings(),  # noqa: B008
) -> HandednessFinding:
    """Right- or left-handed.

    Parameters
    ----------
    track : PoseTrack
        Cleaned; a whole recording or one swing.
    view : View
        Where the camera stands.

    Raises
    ------
    ContentError
        No swing is seen.
    """
    found = side_cues(track, settings)
    if not found:
        raise ContentError(
            "Handedness cannot be told: no swing is seen.",
            "Use a clip that shows one full swing, from address to finish, or give it with --hand.",
        )
    return handedness_from_cues(found[0], view, settings)


def handedness_from_cues(
    cues: SideCues,
    view: View,
    settings: ViewSettings = ViewSettings(),  # noqa: B008
) -> HandednessFinding:
    """``find_handedness`` for cues already measured."""
    if view == "dtl":
        evidence = cues.reach / settings.reach_scale
        reason = f"down the line, the player faces the {'right' if evidence > 0 else 'left'} of the picture"
    elif view == "fo":
        evidence = (cues.sweep if cues.sweep_seen else -cues.away) / settings.sweep_scale
        reason = f"face on, the hands swing through to the {'right' if evidence > 0 else 'left'} of the picture"
    else:
        # The swing carries the hands from the trail to the lead side; which picture side that is depends on
        # whether the chest or the back is seen, which only the joint labels tell.
        side = 1.0 if cues.facing >= 0 else -1.0
        if abs(cues.sweep) > settings.sweep_middle / 2:
            evidence = side * cues.sweep / settings.sweep_scale / 2
            reason = f"the hands swing through to the {'right' if cues.sweep > 0 else 'left'} of the picture"
        else:
            target_side = -1.0 if cues.turn_change > 0 else 1.0
            evidence = target_side * cues.reach / settings.reach_scale / 2
            reason = f"the player faces the {'right' if cues.reach > 0 else 'left'} of the picture"
    handedness: Handedness = "right" if evidence > 0 else "left"
    return HandednessFinding(handedness, _logistic(abs(evidence)), reason)
