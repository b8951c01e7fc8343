"""What became of added clips, as JSON."""

from __future__ import annotations

from typing import Any

from overlay.batch.spec import AddReport, AddRow


def report_document(report: AddReport, *, stopped: bool = False) -> dict[str, Any]:
    """The whole report; described in docs/adding.md."""
    return {
        "schema": 1,
        "kind": "clips added",
        "stopped": stopped,
        "clips": [row_document(row) for row in report.rows],
        "counts": report.counts,
        "n_swings": report.n_swings,
        "reference": report.reference_name,
        "left_out": [{"path": str(path), "why": why} for path, why in report.left_out],
        "notes": list(report.notes),
    }


def row_document(row: AddRow) -> dict[str, Any]:
    """One clip."""
    return {
        "path": str(row.path),
        "state": row.state,
        "session": row.session_id,
        "date": None if row.date is None else row.date.isoformat(),
        "dated_by": row.dated_by,
        "n_swings": row.n_swings,
        "swings": list(row.swing_ids),
        "views": list(row.views),
        "first": row.first,
        "first_sentence": row.first_sentence,
        "problem": row.problem,
        "hint": row.hint,
        "code": row.code,
        "note": row.note,
        "seconds": round(row.seconds, 2),
    }
