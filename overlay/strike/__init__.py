"""The strike: where the ball lay, when it left, what was heard, and the one instant that follows from it.

``find_strike`` looks at the ball's place around the impact of the pose, listens to the sound track there, and asks the
club track when the shaft passed the ball. See ``docs/strike.md``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from overlay.data import Ball, CameraMotion, ClubTrack, Strike, StrikeClue, Swing
from overlay.pose.masks import MaskTrack
from overlay.settings.strike import BallSettings, StrikeSettings
from overlay.strike.area import Area, Stack, read_stack, search_area, stack_side
from overlay.strike.ball import Sighting, find_staying, find_vanished
from overlay.strike.click import Click, clicks, strike_click, travel, usable
from overlay.strike.crossing import club_through
from overlay.strike.fuse import fuse
from overlay.video import Reader, Sound

__all__ = ["Click", "clicks", "club_through", "find_strike", "fuse", "pictures_wanted", "strike_click", "travel"]


@dataclass(frozen=True)
class _Expected:
    """When the pose expects the strike: s of playback, its SD, and playback seconds per real second."""

    time_s: float
    sd_s: float
    slow: float


def find_strike(
    reader: Reader,
    swing: Swing,
    masks: MaskTrack | None,
    *,
    club: ClubTrack | None,
    sound: Sound | None,
    motion: CameraMotion | None = None,
    settings: StrikeSettings | None = None,
) -> Strike:
    """Find the ball and the strike of one swing.

    Parameters
    ----------
    reader : Reader
        The clip of the swing.
    swing : Swing
        Its positions say where to look; only "impact" or "top" is needed.
    masks : MaskTrack or None
        Not needed: what the body hides changes slowly, and is told from a ball by that.
    club : ClubTrack or None
        Where it was seen at address the ball is looked for at its end; where it was seen on both sides of the strike
        it sharpens the instant.
    sound : Sound or None
        Of the clip, about the swing. Left aside in slow motion, where sound and picture do not keep step.
    motion : CameraMotion or None
        None: the camera stands still.
    settings : StrikeSettings

    Returns
    -------
    Strike
        ``time_s`` is NaN when neither ball, sound nor club tell anything, and for a rehearsal.
    """
    settings = settings or StrikeSettings()
    expected = _expected(swing, settings)
    if expected is None:
        return Strike(math.nan, math.nan, None, reason="The swing has no downswing to look for a strike in.")
    area = search_area(swing, club, expected.time_s, expected.slow, settings.ball)
    left, stays, why_not = _look(reader, area, expected, motion, settings)
    heard, heard_note = _listen(sound, expected, left, settings)
    seen = left or stays
    ball = None if seen is None else _ball(seen)
    if left is None and stays is not None:
        note = "The ball lies where it lay after the swing: a rehearsal."
        return Strike(math.nan, math.nan, False, ball, (), note)
    clues: list[StrikeClue] = []
    interval: tuple[float, float] | None = None
    if left is not None:
        interval = (left.last_seen_s, left.gone_s)
        clues.append(StrikeClue("ball", sum(interval) / 2, _uniform_sd(interval, settings)))
    others: list[StrikeClue] = []
    if heard is not None:
        others.append(heard)
    if club is not None and left is not None and swing.view != "dtl":
        crossed = _crossed(club, left, motion, expected, settings)
        if crossed is not None:
            others.append(crossed)
    time_s, sd_s = fuse(others, interval, settings)
    clues.extend(clue for clue in others if abs(clue.time_s - time_s) <= 4 * clue.sd_s)
    if left is not None:
        words = f"The ball lies still until {left.last_seen_s:.3f} s and is gone at {left.gone_s:.3f} s."
        return Strike(time_s, sd_s, True, ball, tuple(clues), f"{words} {heard_note}".strip())
    if heard is not None:
        return Strike(time_s, sd_s, True, None, tuple(clues), f"{why_not} {heard_note}".strip())
    quiet = sound is not None and usable(sound, settings.sound) and not _slowed(expected.slow, settings)
    if quiet and why_not == _NO_BALL:
        return Strike(math.nan, math.nan, False, None, (), f"{why_not} {heard_note} It is taken for a rehearsal.")
    return Strike(math.nan, math.nan, None, None, (), f"{why_not} {heard_note}".strip())


def pictures_wanted(
    reader: Reader, swing: Swing, settings: StrikeSettings | None = None
) -> tuple[float, float, int] | None:
    """Start, stop (s) and longest side (px) of the pictures that ``find_strike`` will ask for; None when it needs none.

    For those who decode a swing once for several that look at it.
    """
    settings = settings or StrikeSettings()
    expected = _expected(swing, settings)
    area = None if expected is None else search_area(swing, None, expected.time_s, expected.slow, settings.ball)
    if expected is None or area is None:
        return None
    return (*_window(expected, settings.ball), stack_side(reader.clip, area.ball_px, settings.ball))


def _window(expected: _Expected, ball: BallSettings) -> tuple[float, float]:
    """From when to when the ball's place is looked at, s."""
    return (
        expected.time_s + (ball.before_s[0] - 0.02) * expected.slow,
        expected.time_s + (ball.after_s[1] + 0.02) * expected.slow,
    )


_NO_BALL = "No ball was seen."
_OUTSIDE = "The place where the ball would lie is not wholly in the picture."
_FEW = "The clip shows too little before or after the strike to see the ball leave."


def _expected(swing: Swing, settings: StrikeSettings) -> _Expected | None:
    told = swing.clip is not None and swing.clip.capture_rate is not None
    slow = swing.slow_factor if told else float(swing.quality.get("slow_factor_estimate", 1.0))
    slow = slow if math.isfinite(slow) and slow > 0 else 1.0
    impact = swing.positions.get("impact")
    if impact is not None:
        sd = impact.sd_s if impact.sd_s is not None and impact.sd_s > 0 else settings.sound.pose_sd_s * slow
        return _Expected(impact.time_s, sd, slow)
    # Without an impact the positions next to it must do.
    for name, later_s, sd_s in (
        ("shaft_level_down", 0.04, 0.03),
        ("shaft_level_through", -0.05, 0.03),
        ("lead_arm_level_down", 0.10, 0.04),
        ("top", 0.27, 0.06),
    ):
        time_s = swing.positions.time(name)
        if time_s is not None:
            return _Expected(time_s + later_s * slow, sd_s * slow, slow)
    return None


def _look(
    reader: Reader, area: Area | None, expected: _Expected, motion: CameraMotion | None, settings: StrikeSettings
) -> tuple[Sighting | None, Sighting | None, str]:
    """The ball that left, else the one that stays, else why neither is known."""
    if area is None:
        return None, None, "The feet are not seen, so it is not known where the ball would lie."
    ball = settings.ball
    start_s, stop_s = _window(expected, ball)
    stack = read_stack(
        reader,
        area,
        start_s,
        stop_s,
        motion,
        ball,
        dense=(expected.time_s - ball.dense_s * expected.slow, expected.time_s + ball.dense_s * expected.slow),
    )
    if stack is None:
        return None, None, _OUTSIDE
    search_s = ball.search_s * expected.slow + 3 * expected.sd_s
    left = find_vanished(stack, area, expected.time_s, search_s, expected.slow, ball)
    if left is not None and left.score >= ball.least_score:
        return left, None, ""
    stays = find_staying(stack, area, expected.time_s, expected.slow, ball)
    if stays is not None:
        return None, stays, ""
    if not _covers(stack, area, settings):
        return None, None, _OUTSIDE
    away = (stack.time_s - expected.time_s) / expected.slow
    if min(np.sum(away < ball.before_s[1]), np.sum(away > ball.after_s[0])) < ball.least_frames:
        return None, None, _FEW
    return None, None, _NO_BALL


def _covers(stack: Stack, area: Area, settings: StrikeSettings) -> bool:
    """Whether the picture shows nearly all of where the ball can lie; around the end of the club when that is known."""
    left, top = stack.to_clip(0, 0)
    right, bottom = stack.to_clip(stack.known.shape[1] - 1, stack.known.shape[0] - 1)
    x0, y0, x1, y1 = area.box
    if area.club_end is not None:
        reach = 2 * settings.ball.club_reach * area.torso_px
        (x, y) = area.club_end
        x0, y0, x1, y1 = x - reach, y - reach, x + reach, y + reach
    shown = max(0.0, min(right, x1) - max(left, x0)) * max(0.0, min(bottom, y1) - max(top, y0))
    return shown >= settings.ball.shown * (x1 - x0) * (y1 - y0)


def _ball(seen: Sighting) -> Ball:
    return Ball(seen.place, seen.diameter_px, seen.score, seen.last_seen_s, seen.gone_s)


def _uniform_sd(interval: tuple[float, float], settings: StrikeSettings) -> float:
    return math.hypot((interval[1] - interval[0]) / math.sqrt(12.0), settings.edge_sd_s)


def _slowed(slow: float, settings: StrikeSettings) -> bool:
    return not 1 / settings.sound.slowed <= slow <= settings.sound.slowed


def _listen(
    sound: Sound | None, expected: _Expected, left: Sighting | None, settings: StrikeSettings
) -> tuple[StrikeClue | None, str]:
    if sound is None:
        return None, ""
    if _slowed(expected.slow, settings):
        return None, "The clip is slowed, so its sound is left aside."
    if not usable(sound, settings.sound):
        return None, "The sound track is silent."
    found = clicks(sound, settings.sound) if sound.rate >= 2000 else ()
    if left is None:
        at, sd = expected.time_s, expected.sd_s
    else:
        at, sd = (left.last_seen_s + left.gone_s) / 2, _uniform_sd((left.last_seen_s, left.gone_s), settings)
    strike = strike_click(found, at, sd, settings.sound, alone=left is None)
    if strike is None:
        return None, "No strike was heard."
    _, time_s, spread = strike
    return StrikeClue("sound", time_s, spread), f"The strike was heard, which puts it at {time_s:.3f} s."


def _crossed(
    club: ClubTrack, left: Sighting, motion: CameraMotion | None, expected: _Expected, settings: StrikeSettings
) -> StrikeClue | None:
    near = (left.last_seen_s + left.gone_s) / 2
    place = np.array(left.place)
    if motion is not None:
        place = motion.from_reference(place, near)
    crossed = club_through(club, (float(place[0]), float(place[1])), near, expected.slow, settings.club)
    return None if crossed is None else StrikeClue("club", *crossed)
