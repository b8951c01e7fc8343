"""What is said of a swing's times (tempo, playing speed, finish): in one place, since times may be corrected."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from overlay.data import Clip
from overlay.settings.positions import PositionSettings

FINISH_AT_THE_END = "The recording ends while the finish is still held; its last frame is taken as the finish."
FINISH_NEVER_HELD = "The finish is not held; its stillest moment is taken, which is unsure."
FINISH_NOTES = (FINISH_AT_THE_END, FINISH_NEVER_HELD)

_SLOWED = "The clip seems to play about "
_SPED_UP = "The clip seems to play faster than life; times are on the clip's own clock."
_NOT_THE_RATE = "The swing's tempo does not fit the capture rate; check the capture rate."
_TEMPO = "Tempo ratio "
OTHER_VIEW = "The camera stands neither down the line nor face on: "


def slow_factor_estimate(times: Mapping[str, float], unit_s: float, settings: PositionSettings) -> float:
    """Playback seconds per real second, judged from the swing's tempo; 1.0 when it could be real time.

    The geometric mean of downswing and backswing over the medians of real-time swings; the downswing counts double,
    since it varies half as much between players (5–95 %: 0.20–0.30 s against 0.67–1.40 s).
    """
    top, impact, address = times.get("top"), times.get("impact"), times.get("address")
    downswing = impact - top if top is not None and impact is not None else unit_s
    logs = [math.log(downswing / settings.downswing_s)] * 2
    if address is not None and top is not None:
        logs.append(math.log((top - address) / settings.backswing_s))
    factor = math.exp(sum(logs) / len(logs))
    return 1.0 if settings.real_time_low <= factor <= settings.real_time_high else factor


def timing_notes(
    times: Mapping[str, float], slow: float, clip: Clip | None, settings: PositionSettings
) -> tuple[str, ...]:
    """Sentences on playing speed and tempo, where they are out of the ordinary."""
    notes = []
    known = clip is not None and clip.capture_rate is not None
    if not known and slow > settings.real_time_high:
        notes.append(
            f"{_SLOWED}{slow:.1f} times slower than life; times are on the clip's own clock. "
            "Give the frame rate it was filmed at (--capture-rate 240) for times in real seconds."
        )
    elif not known and slow < settings.real_time_low:
        notes.append(_SPED_UP)
    elif clip is not None and known and not 1 / 1.9 < slow / clip.slow_factor < 1.9:
        notes.append(_NOT_THE_RATE)
    if {"address", "top", "impact"} <= times.keys():
        ratio = (times["top"] - times["address"]) / (times["impact"] - times["top"])
        if not settings.tempo_low <= ratio <= settings.tempo_high:
            notes.append(
                f"{_TEMPO}{ratio:.1f} is outside {settings.tempo_low:g}–{settings.tempo_high:g}: slow motion or "
                "speed-ramped; trust ratios of time, not times."
            )
    return tuple(notes)


def without_timing_notes(notes: Iterable[str]) -> tuple[str, ...]:
    """The notes that do not depend on the times of the positions."""
    return tuple(note for note in notes if not note.startswith((_SLOWED, _SPED_UP, _NOT_THE_RATE, _TEMPO)))
