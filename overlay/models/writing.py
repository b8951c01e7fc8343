"""A model as a JSON document with arrays and pictures beside it.

Everything that is not an array stands in the document. NaN and the infinities are written as words, since JSON has no
form for them; null is for what was never there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from overlay.arrays import AnyArray, FloatArray
from overlay.data import (
    CLUB_STATES,
    Band,
    FilmingFinding,
    KeptPictures,
    Model,
    Positions,
    SpaceTrack,
    Strike,
    Swing,
    TimeMap,
)

SCHEMA = 1
KIND = "overlay model"


def written(model: Model) -> tuple[dict[str, Any], dict[str, AnyArray], dict[str, bytes]]:
    """The document of a model, its arrays and its pictures, each by the name of its part."""
    arrays: dict[str, AnyArray] = {}
    pictures: dict[str, bytes] = {}
    made = model.provenance
    document = {
        "kind": KIND,
        "schema": SCHEMA,
        "name": model.name,
        "model": model.kind,
        "club_kind": model.club_kind,
        "player": model.player,
        "provenance": {
            "made_at": made.made_at,
            "made_by": made.made_by,
            "pose_model": made.pose_model,
            "sources": list(made.sources),
            "left_out": list(made.left_out),
            "label": made.label,
            "notes": list(made.notes),
        },
        "swings": {view: _swing(view, swing, arrays) for view, swing in model.swings.items()},
        "bands": {view: _band(band) for view, band in model.bands.items()},
        "space": None if model.space is None else _space(model.space, arrays),
        "pictures": {view: _pictures(view, kept, arrays, pictures) for view, kept in model.pictures.items()},
        "filming": {view: [_finding(one) for one in report.findings] for view, report in model.filming.items()},
        "pair_map": None if model.pair_map is None else _time_map(model.pair_map, arrays),
    }
    return document, arrays, pictures


def _real(value: float) -> float | str:
    value = float(value)
    if math.isfinite(value):
        return value
    return "nan" if math.isnan(value) else "inf" if value > 0 else "-inf"


def _maybe(value: float | None) -> float | str | None:
    return None if value is None else _real(value)


def _reals(values: Sequence[float] | FloatArray) -> list[float | str]:
    return [_real(value) for value in values]


def _swing(view: str, swing: Swing, arrays: dict[str, AnyArray]) -> dict[str, Any]:
    pose, club, motion = swing.pose, swing.club, swing.camera_motion
    for name in ("points", "depth", "visibility", "time_s", "filled"):
        arrays[f"{view}.pose.{name}"] = getattr(pose, name)
    if club is not None:
        for name in ("time_s", "grip", "angle_deg", "length_px", "angle_sd_deg"):
            arrays[f"{view}.club.{name}"] = getattr(club, name)
        arrays[f"{view}.club.state"] = np.array([CLUB_STATES.index(word) for word in club.state], np.uint8)
    if motion is not None:
        arrays[f"{view}.camera.time_s"] = motion.time_s
        arrays[f"{view}.camera.matrices"] = motion.matrices
    return {
        "view": swing.view,
        "view_confidence": _real(swing.view_confidence),
        "handedness": swing.handedness,
        "handedness_confidence": _real(swing.handedness_confidence),
        "swing_number": int(swing.swing_number),
        "torso_px": _real(swing.torso_px),
        "quality": {name: _real(value) for name, value in swing.quality.items()},
        "notes": list(swing.notes),
        "pose": {
            "frames": len(pose),
            "image_size": [int(side) for side in pose.image_size],
            "source": pose.source,
            "model": pose.model,
            "log": list(pose.log),
        },
        "club": None if club is None else {"frames": len(club.time_s)},
        "camera_motion": None if motion is None else {"frames": len(motion.time_s)},
        "positions": _positions(swing.positions),
        "strike": None if swing.strike is None else _strike(swing.strike),
    }


def _positions(positions: Positions) -> dict[str, Any]:
    return {
        "found": [
            {
                "name": position.name,
                "time_s": _real(position.time_s),
                "confidence": _real(position.confidence),
                "source": position.source,
                "sd_s": _maybe(position.sd_s),
            }
            for position in positions.found
        ],
        "missing": dict(positions.missing),
    }


def _strike(strike: Strike) -> dict[str, Any]:
    ball = strike.ball
    return {
        "time_s": _real(strike.time_s),
        "sd_s": _real(strike.sd_s),
        "struck": None if strike.struck is None else bool(strike.struck),
        "reason": strike.reason,
        "ball": None
        if ball is None
        else {
            "place": _reals(ball.place),
            "diameter_px": _real(ball.diameter_px),
            "confidence": _real(ball.confidence),
            "last_seen_s": _real(ball.last_seen_s),
            "gone_s": _real(ball.gone_s),
        },
        "clues": [
            {"source": clue.source, "time_s": _real(clue.time_s), "sd_s": _real(clue.sd_s)} for clue in strike.clues
        ],
    }


def _band(band: Band) -> dict[str, Any]:
    return {
        "n_swings": int(band.n_swings),
        "of": band.of,
        "spreads": [
            {"phase": phase, "part": part, "sd": _real(spread.sd), "df": _real(spread.df)}
            for (phase, part), spread in band.spreads.items()
        ],
    }


def _space(space: SpaceTrack, arrays: dict[str, AnyArray]) -> dict[str, Any]:
    for name in ("time_s", "points", "grip", "club_head"):
        arrays[f"space.{name}"] = getattr(space, name)
    return {
        "frames": len(space),
        "ball": None if space.ball is None else _reals(space.ball),
        "handedness": space.handedness,
        "stature_m": _real(space.stature_m),
        "club_kind": space.club_kind,
        "positions": _positions(space.positions),
    }


def _pictures(view: str, kept: KeptPictures, arrays: dict[str, AnyArray], pictures: dict[str, bytes]) -> dict[str, Any]:
    arrays[f"{view}.pictures.time_s"] = kept.times_s
    for i, (colour, alpha) in enumerate(zip(kept.colours, kept.alphas)):
        pictures[f"{view}.{i:04d}.jpg"] = bytes(colour)
        pictures[f"{view}.{i:04d}.png"] = bytes(alpha)
    return {"count": len(kept.times_s), "size": [int(side) for side in kept.size]}


def _finding(finding: FilmingFinding) -> dict[str, Any]:
    return {
        "name": finding.name,
        "value": _real(finding.value),
        "unit": finding.unit,
        "interval": None if finding.interval is None else _reals(finding.interval),
        "verdict": finding.verdict,
        "sentence": finding.sentence,
        "advice": finding.advice,
    }


def _time_map(time_map: TimeMap, arrays: dict[str, AnyArray]) -> dict[str, Any]:
    arrays["pair_map.dtl_s"] = time_map.student_s
    arrays["pair_map.fo_s"] = time_map.reference_s
    return {
        "knots": len(time_map.student_s),
        "outer_slope": _real(time_map.outer_slope),
        "diagnostics": {name: _real(value) for name, value in time_map.diagnostics.items()},
        "notes": list(time_map.notes),
    }
