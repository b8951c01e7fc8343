"""The documented JSON of the record: players, sessions, clips, swings, notes, and the verdict on a change.

As ``overlay.documents``: plain dictionaries with a schema number, NaN becomes null. Described in docs/record-json.md.
"""

from __future__ import annotations

import datetime
import math
import re
import unicodedata
from collections.abc import Mapping, Sequence
from typing import Any

from overlay import __version__, documents
from overlay.data.change import CameraShift, ChangeAnswer, Holding, SessionMean
from overlay.data.record import (
    KeptClip,
    KeptSwing,
    MeasureSeries,
    Note,
    Player,
    Session,
    SessionCamera,
    SwingComparison,
)
from overlay.terms import View

SCHEMA = 1


def headed(kind: str, fields: Mapping[str, Any]) -> dict[str, Any]:
    """A document: schema, kind and version, then its own fields."""
    return {"schema": SCHEMA, "kind": kind, "overlay_version": __version__, **fields}


def number(value: float | None, digits: int = 4) -> float | None:
    """Rounded; None for what is missing."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits)


def pair(values: Sequence[float]) -> list[float | None]:
    """Both ends of an interval; an open or unknown one is null."""
    return [number(value) for value in values]


def moment(seconds: float | None) -> str | None:
    """ISO 8601 in UTC of seconds since 1970; None where it is not known or no date."""
    if seconds is None or not math.isfinite(seconds):
        return None
    try:
        return datetime.datetime.fromtimestamp(seconds, datetime.UTC).isoformat(timespec="seconds")
    except (OverflowError, OSError, ValueError):
        return None


def player_document(
    player: Player, *, sessions: int = 0, swings: int = 0, last: datetime.date | None = None
) -> dict[str, Any]:
    """A player with how much is kept of him; ``last`` is the day of the newest session."""
    return {
        "id": player.id,
        "name": player.name,
        "handedness": player.handedness,
        "stature_cm": number(player.stature_cm),
        "reference": player.reference,
        "sessions": sessions,
        "swings": swings,
        "last_date": None if last is None else last.isoformat(),
    }


def session_document(session: Session, by_view: Mapping[View, int] | None = None) -> dict[str, Any]:
    """A session; ``by_view`` counts its swings, null where it was not asked for."""
    return {
        "id": session.id,
        "player": session.player,
        "date": session.date.isoformat(),
        "club": session.club,
        "place": session.place,
        "worked_on": session.worked_on,
        "focus": session.focus,
        "aim": session.aim,
        "clips": session.n_clips,
        "failed": session.n_failed,
        "swings": session.n_swings,
        "swings_by_view": None if by_view is None else {view: by_view.get(view, 0) for view in ("dtl", "fo", "other")},
        "tags": list(session.tags),
    }


def kept_clip_document(clip: KeptClip, *, present: bool | None = None) -> dict[str, Any]:
    """A clip of the library; ``present`` says whether its file is where it was seen last."""
    return {
        "id": clip.id,
        "session_id": clip.session_id,
        "sha256": clip.content_hash,
        "path": str(clip.path),
        "bytes": clip.size_bytes,
        "recorded_at": moment(clip.recorded_at),
        "state": "failed" if clip.problem else "read",
        "problem": clip.problem,
        "hint": clip.hint,
        "swings": clip.n_swings,
        "present": present,
    }


def kept_swing_document(swing: KeptSwing) -> dict[str, Any]:
    """A swing as a table shows it, with the measures that were asked for."""
    return {
        "id": swing.id,
        "clip_id": swing.clip_id,
        "session_id": swing.session_id,
        "player": swing.player,
        "date": swing.date.isoformat(),
        "club": swing.club,
        "path": str(swing.path),
        "number": swing.number,
        "view": swing.view,
        "handedness": swing.handedness,
        "impact_s": number(swing.impact_s),
        "slow_factor": number(swing.slow_factor),
        "tempo_ratio": number(swing.tempo_ratio, 2),
        "first": swing.first,
        "filming": swing.filming,
        "best": swing.is_best,
        "tags": list(swing.tags),
        "values": {name: number(value) for name, value in swing.values.items()},
    }


def note_document(note: Note) -> dict[str, Any]:
    """A remark and what it is on."""
    return {
        "id": note.id,
        "target": note.target,
        "target_id": note.target_id,
        "made_at": note.made_at,
        "text": note.text,
    }


def kept_comparison_document(comparison: SwingComparison | None) -> dict[str, Any] | None:
    """How one swing differs from a kept reference; None when it was compared with none."""
    if comparison is None:
        return None
    return {
        "reference_key": comparison.reference_key,
        "reference": comparison.reference_name,
        "differences": [documents.difference_document(row) for row in comparison.differences],
        "first": comparison.first,
        "sharpness": comparison.sharpness,
    }


def series_document(series: MeasureSeries) -> dict[str, Any]:
    """One measure over time: every swing's value, oldest first."""
    reference = series.reference
    return {
        "name": series.name,
        "unit": series.unit,
        "view": series.view,
        "sessions": [session_document(session) for session in series.sessions],
        "values": [
            {
                "swing_id": int(series.swing_id[i]),
                "session_id": int(series.session_id[i]),
                "value": number(float(series.value[i])),
                "interval": pair((float(series.low[i]), float(series.high[i]))),
            }
            for i in range(len(series.value))
        ],
        "reference": None
        if reference is None
        else {"value": number(reference[0]), "interval": pair((reference[1], reference[2]))},
    }


def session_mean_document(mean: SessionMean) -> dict[str, Any]:
    """One session of one measure."""
    return {
        "session_id": mean.session_id,
        "date": mean.date.isoformat(),
        "n": mean.n,
        "mean": number(mean.mean),
        "sd": number(mean.sd),
        "interval": pair(mean.interval),
    }


def holding_document(holding: Holding) -> dict[str, Any]:
    """The verdict on a change, with its numbers."""
    return {
        "word": holding.word,
        "sentence": holding.sentence,
        "reason": holding.reason,
        "change": number(holding.change),
        "interval": pair(holding.interval),
        "p": number(holding.p, 6),
        "p_adjusted": number(holding.p_adjusted, 6),
        "baseline_sessions": holding.n_baseline,
        "later_sessions": holding.n_later,
        "more_baseline": holding.more_baseline,
        "more_later": holding.more_later,
        "detectable": number(holding.detectable),
        "last_two": list(holding.last_two),
        "aim": holding.aim,
        "is_focus": holding.is_focus,
    }


def camera_shift_document(shift: CameraShift | None) -> dict[str, Any] | None:
    """What the cameras' other places may have done; None where nothing needed to be weighed."""
    if shift is None:
        return None
    return {
        "shifts": [
            {"name": name, "difference": number(difference), "sd": number(sd), "unit": unit}
            for name, difference, sd, unit in shift.shifts
        ],
        "effect": number(shift.effect),
        "sd": number(shift.sd),
        "could_explain": number(shift.could_explain),
        "vetoes": shift.vetoes,
        "sentence": shift.sentence,
    }


def change_document(answer: ChangeAnswer) -> dict[str, Any]:
    """Everything said about one measure of one player across sessions."""
    return {
        "player": answer.player,
        "measure": answer.measure,
        "title": answer.title,
        "unit": answer.unit,
        "since": answer.since.isoformat(),
        "view": answer.series.view,
        "holding": holding_document(answer.holding),
        "camera": camera_shift_document(answer.camera),
        "means": [session_mean_document(mean) for mean in answer.means],
        "series": series_document(answer.series),
        "notes": list(answer.notes),
    }


def session_camera_document(camera: SessionCamera) -> dict[str, Any]:
    """How the clips of one session and view were filmed, taken together."""
    return {
        "session_id": camera.session_id,
        "view": camera.view,
        "clips": camera.n_clips,
        "findings": [
            {"name": name, "value": number(value), "sd": number(camera.sds[name])}
            for name, value in camera.values.items()
        ],
    }


_RAW = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


def to_json(document: dict[str, Any]) -> str:
    """Strict JSON text (no NaN), two-space indent. What a terminal could act on is written as an escape.

    Names and remarks are anybody's; JSON escapes only the oldest control characters of its own accord.
    """
    return re.sub(r"[^\n -~]", _harmless, documents.to_json(document))


def _harmless(match: re.Match[str]) -> str:
    letter = match.group()
    if unicodedata.category(letter) not in _RAW:
        return letter
    units = letter.encode("utf-16-be", "surrogatepass")
    return "".join(f"\\u{units[i]:02x}{units[i + 1]:02x}" for i in range(0, len(units), 2))
