"""Models as the JSON that ``overlay model … --json`` prints; described in docs/models.md."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from overlay import __version__
from overlay.data import Band, Measure, Model, Swing
from overlay.documents import SCHEMA, filming_document, measure_document, swing_document, time_map_document
from overlay.models import Facts
from overlay.terms import View


def facts_document(facts: Facts) -> dict[str, Any]:
    """One line of the list."""
    if facts.problem:
        return {
            "name": facts.name,
            "file": str(facts.path),
            "bytes": facts.n_bytes,
            "shipped": facts.shipped,
            "problem": facts.problem,
        }
    return {
        "name": facts.name,
        "file": str(facts.path),
        "bytes": facts.n_bytes,
        "shipped": facts.shipped,
        "problem": None,
        "model": facts.kind,
        "views": list(facts.views),
        "handedness": facts.handedness,
        "positions": dict(facts.positions or {}),
        "swings": facts.n_swings,
        "pictures": dict(facts.pictures or {}),
        "club_kind": facts.club_kind,
        "player": facts.player,
        "made_at": facts.made_at,
        "label": facts.label,
    }


def library_document(folder: str, models: Sequence[Facts]) -> dict[str, Any]:
    """What ``overlay model list --json`` prints."""
    return {
        "schema": SCHEMA,
        "kind": "models",
        "overlay_version": __version__,
        "folder": folder,
        "models": [facts_document(facts) for facts in models],
    }


def band_document(band: Band | None) -> dict[str, Any] | None:
    """How much the swings behind a template vary; None without a band."""
    if band is None:
        return None
    return {
        "swings": band.n_swings,
        "of": band.of,
        "unit": "torso",
        "spreads": [
            {"phase": phase, "part": part, "sd": round(spread.sd, 5), "df": round(spread.df, 2)}
            for (phase, part), spread in band.spreads.items()
        ],
    }


def model_document(
    model: Model, seen: Mapping[View, Swing], measures: Mapping[View, Sequence[Measure]]
) -> dict[str, Any]:
    """What ``overlay model show --json`` prints.

    Parameters
    ----------
    model : Model
    seen : mapping view → Swing
        The swing in each view: kept, or of a swing in space as a well placed camera sees it.
    measures : mapping view → measures of that swing
    """
    made = model.provenance
    return {
        "schema": SCHEMA,
        "kind": "model",
        "overlay_version": __version__,
        "name": model.name,
        "model": model.kind,
        "label": made.label,
        "club_kind": model.club_kind,
        "player": model.player,
        "stature_m": None if model.space is None else model.space.stature_m,
        "provenance": {
            "made_at": made.made_at,
            "made_by": made.made_by,
            "pose_model": made.pose_model,
            "sources": list(made.sources),
            "left_out": list(made.left_out),
            "notes": list(made.notes),
        },
        "views": {
            view: {
                "swing": swing_document(swing),
                "measures": [measure_document(measure) for measure in measures.get(view, ())],
                "band": band_document(model.bands.get(view)),
                "filming": filming_document(model.filming.get(view)),
                "pictures": len(model.pictures[view].times_s) if view in model.pictures else 0,
            }
            for view, swing in seen.items()
        },
        "pair_map": None if model.pair_map is None else time_map_document(model.pair_map),
    }
