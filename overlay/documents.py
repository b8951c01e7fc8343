"""The documented JSON that ``--json`` prints and that is saved beside a comparison.

Plain dictionaries of the data types, with a schema number that goes up when a field changes its meaning or goes
away; new fields may be added within a schema. NaN becomes null. Described in docs/json-schema.md.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import Any, Mapping, Sequence

import numpy as np

from overlay import __version__
from overlay.data import (
    CameraPart,
    Check,
    Checklist,
    Clip,
    ClubTrack,
    Comparison,
    FilmingFinding,
    FilmingReport,
    FirstThing,
    Guide,
    Measure,
    Model,
    PhaseDifference,
    PhaseTiming,
    Positions,
    ReferenceFit,
    Strike,
    Swing,
    TimeMap,
    ViewPair,
)
from overlay.terms import View

SCHEMA = 1


def _number(value: float | None, digits: int = 4) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), digits)


def _pair(values: Sequence[float]) -> list[float | None]:
    return [_number(value) for value in values]


def clip_document(clip: Clip | None, path: str) -> dict[str, Any]:
    """What is known of the recording; for a saved track only its path."""
    if clip is None:
        return {"path": path}
    return {
        "path": path,
        "sha256": clip.content_hash,
        "width": clip.width,
        "height": clip.height,
        "rotation_deg": clip.rotation_deg,
        "mirrored": clip.mirrored,
        "frames": clip.n_frames,
        "duration_s": _number(clip.duration_s),
        "nominal_rate": _number(float(clip.nominal_rate)),
        "capture_rate": None if clip.capture_rate is None else _number(float(clip.capture_rate)),
        "variable_rate": clip.is_variable_rate,
        "audio": clip.has_audio,
        "codec": clip.codec,
        "bit_depth": clip.bit_depth,
        "warnings": list(clip.warnings),
    }


def positions_document(positions: Positions) -> dict[str, Any]:
    """Found positions and missing ones with their reasons."""
    return {
        "positions": [
            {
                "name": position.name,
                "time_s": _number(position.time_s),
                "confidence": _number(position.confidence, 3),
                "source": position.source,
                "sd_s": _number(position.sd_s),
            }
            for position in positions.found
        ],
        "missing": [{"name": name, "reason": reason} for name, reason in positions.missing.items()],
    }


def club_document(club: ClubTrack | None) -> list[dict[str, Any]]:
    """One row a frame; empty where the club is not tracked."""
    if club is None:
        return []
    return [
        {
            "time_s": _number(time_s),
            "angle_deg": _number(angle_deg, 2),
            "grip_px": _pair(grip),
            "length_px": _number(length_px, 1),
            "state": state,
            "angle_sd_deg": _number(angle_sd_deg, 2),
        }
        for time_s, angle_deg, grip, length_px, state, angle_sd_deg in zip(
            club.time_s, club.angle_deg, club.grip, club.length_px, club.state, club.angle_sd_deg
        )
    ]


def strike_document(strike: Strike | None) -> dict[str, Any] | None:
    """When the ball was struck and from what that is known; None when it was not looked for."""
    if strike is None:
        return None
    ball = strike.ball
    return {
        "time_s": _number(strike.time_s),
        "sd_s": _number(strike.sd_s),
        "struck": strike.struck,
        "ball": None
        if ball is None
        else {
            "place_px": _pair(ball.place),
            "diameter_px": _number(ball.diameter_px, 1),
            "confidence": _number(ball.confidence, 3),
            "last_seen_s": _number(ball.last_seen_s),
            "gone_s": _number(ball.gone_s),
        },
        "clues": [
            {"source": clue.source, "time_s": _number(clue.time_s), "sd_s": _number(clue.sd_s)} for clue in strike.clues
        ],
        "reason": strike.reason,
    }


def guide_document(guide: Guide) -> dict[str, Any]:
    """A line or zone drawn from the address, px of the address frame."""
    return {
        "name": guide.name,
        "kind": guide.kind,
        "points_px": [_pair(point) for point in guide.points],
        "reason": guide.reason,
    }


def check_document(check: Check) -> dict[str, Any]:
    """One line of the checklist; an open end of a tolerance is null."""
    return {
        "row": check.row,
        "title": check.title,
        "measure": measure_document(check.measure),
        "tolerance": _pair(check.tolerance),
        "verdict": check.verdict,
        "sentence": check.sentence,
        "reference": None if check.reference is None else measure_document(check.reference),
        "difference": None if check.difference is None else measure_document(check.difference),
        "differs": check.differs,
    }


def first_document(first: FirstThing) -> dict[str, Any]:
    """The one thing to work on."""
    return {
        "sentence": first.sentence,
        "row": None if first.check is None else first.check.row,
        "measure": None if first.check is None else first.check.measure.name,
        "why": first.why,
        "look_for": first.look_for,
        "focus": first.focus,
    }


def checklist_document(checklist: Checklist | None) -> dict[str, Any] | None:
    """All checks in order and the one thing that comes first; None when the swing was not looked at closely."""
    if checklist is None:
        return None
    return {
        "source": checklist.source,
        "first": first_document(checklist.first),
        "checks": [check_document(check) for check in checklist.checks],
        "notes": list(checklist.notes),
    }


def finding_document(finding: FilmingFinding) -> dict[str, Any]:
    """One thing about how a clip was filmed, or how two cameras differ."""
    return {
        "name": finding.name,
        "value": _number(finding.value),
        "unit": finding.unit,
        "interval": None if finding.interval is None else _pair(finding.interval),
        "verdict": finding.verdict,
        "sentence": finding.sentence,
        "advice": finding.advice,
    }


def filming_document(report: FilmingReport | None) -> dict[str, Any] | None:
    """The filming check of a clip; None when it was not made."""
    if report is None:
        return None
    return {"verdict": report.verdict, "findings": [finding_document(finding) for finding in report.findings]}


def swing_document(swing: Swing) -> dict[str, Any]:
    """One swing of a recording."""
    return {
        "number": swing.swing_number,
        "start_s": _number(swing.start_s),
        "stop_s": _number(swing.stop_s),
        "view": swing.view,
        "view_confidence": _number(swing.view_confidence, 3),
        "handedness": swing.handedness,
        "handedness_confidence": _number(swing.handedness_confidence, 3),
        **positions_document(swing.positions),
        "tempo_ratio": _number(swing.tempo_ratio, 2),
        "torso_px": _number(swing.torso_px, 1),
        "quality": {name: _number(value) for name, value in swing.quality.items()},
        "notes": list(swing.notes),
        "strike": strike_document(swing.strike),
        "club": club_document(swing.club),
    }


@dataclass(frozen=True)
class Looked:
    """A swing with what a closer look at it gave; empty and None where there was none."""

    swing: Swing
    guides: Sequence[Guide] = ()
    measures: Sequence[Measure] = ()
    checklist: Checklist | None = None
    filming: FilmingReport | None = None


def looked_document(looked: Looked) -> dict[str, Any]:
    """One swing with guide lines, measures, checklist and filming check."""
    return {
        **swing_document(looked.swing),
        "guides": [guide_document(guide) for guide in looked.guides],
        "measures": [measure_document(measure) for measure in looked.measures],
        "checklist": checklist_document(looked.checklist),
        "filming": filming_document(looked.filming),
    }


def inspect_document(clip: Clip | None, path: str, swings: Sequence[Looked], notes: Sequence[str]) -> dict[str, Any]:
    """What ``overlay inspect --json`` prints."""
    return {
        "schema": SCHEMA,
        "kind": "inspect",
        "overlay_version": __version__,
        "clip": clip_document(clip, path),
        "swings": [looked_document(looked) for looked in swings],
        "notes": list(notes),
    }


def filming_check_document(clip: Clip | None, path: str, report: FilmingReport) -> dict[str, Any]:
    """What ``overlay filming --json`` prints."""
    return {
        "schema": SCHEMA,
        "kind": "filming",
        "overlay_version": __version__,
        "clip": clip_document(clip, path),
        "filming": filming_document(report),
    }


def time_map_document(time_map: TimeMap) -> dict[str, Any]:
    """Pairs of seconds (student, reference) every knot, and the diagnostics."""
    return {
        "pairs_s": [
            [_number(student_s), _number(reference_s)]
            for student_s, reference_s in zip(time_map.student_s, time_map.reference_s)
        ],
        "interpolation": "monotone cubic (PCHIP)",
        "outer_slope": _number(time_map.outer_slope),
        "diagnostics": {name: _number(value) for name, value in time_map.diagnostics.items()},
        "notes": list(time_map.notes),
    }


def difference_document(difference: PhaseDifference) -> dict[str, Any]:
    """One row of the score table."""
    return {
        "phase": difference.phase,
        "part": difference.part,
        "value": _number(difference.value),
        "unit": "torso",
        "interval": _pair(difference.interval),
        "offset": _pair(difference.offset),
        "value_cm": _number(difference.value_cm, 1),
        "words": difference.words,
        "score": _number(difference.score, 1),
        "score_interval": _pair(difference.score_interval),
        "smallest_detectable": _number(difference.detectable),
        "reason": difference.reason,
    }


def measure_document(measure: Measure) -> dict[str, Any]:
    """A named number and where it was read; for the set-up and differences, student minus reference."""
    return {
        "name": measure.name,
        "value": _number(measure.value),
        "unit": measure.unit,
        "interval": None if measure.interval is None else _pair(measure.interval),
        "valid": measure.valid,
        "reason": measure.reason,
        "position": measure.position,
        "time_s": _number(measure.time_s),
    }


def timing_document(timing: PhaseTiming) -> dict[str, Any]:
    """One row of the timing table."""
    return {
        "phase": timing.phase,
        "student_s": _number(timing.student_s),
        "reference_s": _number(timing.reference_s),
        "difference_ms": _number(timing.difference_ms, 1),
        "uncertainty_ms": _number(timing.uncertainty_ms, 1),
        "reason": timing.reason,
    }


def compare_document(comparison: Comparison, student_path: str, reference_path: str) -> dict[str, Any]:
    """What ``overlay compare --json`` prints and what is saved as comparison.json."""
    student, reference = comparison.student, comparison.reference
    return {
        "schema": SCHEMA,
        "kind": "compare",
        "overlay_version": __version__,
        "student": {"clip": clip_document(student.clip, student_path), **swing_document(student)},
        "reference": {"clip": clip_document(reference.clip, reference_path), **swing_document(reference)},
        "time_map": time_map_document(comparison.time_map),
        "differences": [difference_document(row) for row in comparison.differences],
        "timings": [timing_document(row) for row in comparison.timings],
        "setup": [measure_document(row) for row in comparison.setup],
        "first": None if comparison.first is None else difference_document(comparison.first),
        "largest": None if comparison.largest is None else difference_document(comparison.largest),
        "checklist": checklist_document(comparison.checklist),
        "filming": None
        if comparison.filming is None
        else {
            "student": filming_document(comparison.filming[0]),
            "reference": filming_document(comparison.filming[1]),
            "match": [finding_document(finding) for finding in comparison.camera_match],
        },
        "reference_model": model_facts_document(comparison.reference_model),
        "fit": fit_document(comparison.fit),
        "camera_parts": [camera_part_document(part) for part in comparison.camera_parts],
        "sharpness": comparison.sharpness,
        "notes": list(comparison.notes),
    }


def model_facts_document(model: Model | None) -> dict[str, Any] | None:
    """What a kept reference is and where it came from; its curves stay in its file."""
    if model is None:
        return None
    origin = model.provenance
    return {
        "name": model.name,
        "kind": model.kind,
        "views": list(model.views),
        "club": model.club_kind,
        "player": model.player,
        "swings": max((band.n_swings for band in model.bands.values()), default=1),
        "label": origin.label,
        "made_at": origin.made_at,
        "made_by": origin.made_by,
        "sources": list(origin.sources),
        "left_out": list(origin.left_out),
        "notes": list(origin.notes),
    }


def fit_document(fit: ReferenceFit | None) -> dict[str, Any] | None:
    """How the reference was brought to the student's build."""
    if fit is None:
        return None
    camera = fit.camera
    return {
        "kind": fit.kind,
        "factors": {name: _number(value) for name, value in fit.factors.items()},
        "sd_torso": {name: _number(value) for name, value in fit.sd.items()},
        "residual_torso": _number(fit.residual),
        "camera": None
        if camera is None
        else {
            "position_m": [_number(float(value)) for value in camera.position],
            "axes": [[_number(float(value)) for value in row] for row in camera.axes],
            "focal_px": _number(camera.focal_px),
            "principal_px": _pair(camera.principal_px),
            "sd": {name: _number(value) for name, value in fit.camera_sd.items()},
        },
        "notes": list(fit.notes),
    }


def camera_part_document(part: CameraPart) -> dict[str, Any]:
    """What of one difference the two cameras could explain."""
    return {
        "phase": part.phase,
        "part": part.part,
        "offset_torso": _pair(part.offset),
        "sd_torso": _number(part.sd),
        "could_explain_torso": _number(part.could_explain),
        "share": _number(part.share),
    }


def pair_document(pair: ViewPair) -> dict[str, Any]:
    """How both views belong together, and what only both measure."""
    return {
        "one_swing": pair.one_swing,
        "sd_s": _number(pair.sd_s),
        "evidence": list(pair.evidence),
        "time_map": time_map_document(pair.time_map),
        "measures": [measure_document(measure) for measure in pair.measures],
    }


def both_views_document(
    views: Mapping[View, dict[str, Any]], pair: ViewPair, first: FirstThing, reference_pair: ViewPair | None = None
) -> dict[str, Any]:
    """What is printed and saved of both views: the document of each view, and what is said over both."""
    return {
        "schema": SCHEMA,
        "kind": "both views",
        "overlay_version": __version__,
        "first": first_document(first),
        "pair": pair_document(pair),
        "reference_pair": None if reference_pair is None else pair_document(reference_pair),
        "views": dict(views),
    }


def to_json(document: dict[str, Any]) -> str:
    """Strict JSON text (no NaN), two-space indent."""
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False, default=_plain) + "\n"


def _plain(value: Any) -> Any:
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"{type(value).__name__} has no JSON form")
