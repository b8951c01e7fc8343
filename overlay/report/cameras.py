"""What the cameras could explain, and the reference with its fit, as they are printed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from overlay.data import Comparison, PhaseDifference
from overlay.explain import (
    beyond,
    camera_lines,
    fit_sentences,
    in_usual_spread,
    model_line,
    model_notes,
    model_sentences,
    poor_fit,
    usual_spread,
)
from overlay.explain.beyond import found, is_known, part_of
from overlay.settings.explain import ExplainSettings
from overlay.terms import words


@dataclass(frozen=True)
class CellCare:
    """What to know of one difference before believing it."""

    camera: str = ""
    """What of it the cameras could explain; "" where nothing was detected or nothing was worked out."""
    by_camera: bool = False
    """It does not stay when the cameras are taken into account."""
    in_spread: bool = False
    """The template's own swings differ as much."""


Cells = frozenset[tuple[str, str]]


def staying(comparison: Comparison) -> Cells:
    """(phase, part) of the differences beyond the cameras."""
    return frozenset((row.phase, row.part) for row in beyond(comparison))


def cell_care(comparison: Comparison, row: PhaseDifference, left: Cells) -> CellCare:
    """What stands beside one difference; ``left`` are those beyond the cameras."""
    if row.words in ("no difference detected", "not scored"):
        return CellCare()
    part = part_of(comparison, row)
    inside = in_usual_spread(comparison, row)
    if part is None:
        return CellCare(in_spread=inside)
    if not is_known(part):
        return CellCare("not known", False, inside)
    camera = "all of it" if part.share >= ExplainSettings().whole_share else _amount(part.could_explain)
    return CellCare(camera, (row.phase, row.part) not in left, inside)


def is_grave(comparison: Comparison) -> bool:
    """Whether what is said under the answer is a warning: half of it or more could come from elsewhere."""
    row = comparison.first
    part = None if row is None else part_of(comparison, row)
    by_camera = part is not None and (not is_known(part) or part.share >= ExplainSettings().grave_share)
    return by_camera or (row is not None and (in_usual_spread(comparison, row) or bool(poor_fit(comparison))))


def _amount(value: float) -> str:
    return "nothing" if round(value, 2) <= 0 else f"up to {value:.2f}"


def summary_lines(comparison: Comparison) -> tuple[str, ...]:
    """The section's sentences; none when there is nothing to say of cameras."""
    if comparison.fit is not None and comparison.fit.in_student_picture and found(comparison):
        return (
            "The reference is looked at through the student's own camera, so no second camera can make a difference. "
            "How unsure that camera and his build are is in the noise of every score.",
        )
    return camera_lines(comparison)


def parts_table(comparison: Comparison, left: Cells) -> list[dict[str, Any]]:
    """One row a detected difference: its length, what one movement would show between the cameras, the bound."""
    rows = []
    for row in found(comparison):
        part = part_of(comparison, row)
        if part is None or not is_known(part):
            continue
        whole = part.share >= ExplainSettings().whole_share
        lost = "could come from the cameras" if whole else "what is left lies within the noise"
        shown = (part.offset[0] ** 2 + part.offset[1] ** 2) ** 0.5
        rows.append(
            {
                "phase": words(row.phase).capitalize(),
                "part": words(row.part),
                "size": f"{row.value:.2f}",
                "shown": f"{shown:.2f} ± {1.96 * part.sd:.2f}",
                "could": f"{_amount(part.could_explain)} ({part.share:.0%})".replace("%", "\N{NO-BREAK SPACE}%"),
                "words": "stays" if (row.phase, row.part) in left else lost,
            }
        )
    return rows


def reference_part(comparison: Comparison) -> dict[str, Any]:
    """What the reference is, how it was made and how it was fitted."""
    model, view = comparison.reference_model, comparison.student.view
    fit = () if comparison.fit is None else fit_sentences(comparison.fit, view)
    if model is None:
        return {"line": "", "made": (), "notes": (), "fit": fit, "spread": ""}
    band = model.bands.get(view)
    inside = [row for row in found(comparison) if in_usual_spread(comparison, row)]
    spread = ""
    if band is not None and any(usual_spread(comparison, row) > 0 for row in comparison.differences):
        spread = (
            f"{len(inside)} of {len(found(comparison))} differences lie in the template's usual spread: "
            "95\N{NO-BREAK SPACE}% of the swings behind it lie as near to its middle."
            if found(comparison)
            else ""
        )
    return {
        "line": model_line(model, view),
        "made": model_sentences(model),
        "notes": model_notes(model),
        "fit": fit,
        "spread": spread,
    }
