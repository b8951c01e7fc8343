"""One self-contained HTML page that answers the comparison: no script, nothing loaded from elsewhere."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Sequence

from overlay.compose import ComposeOptions, Source, Stills, comparison_stills
from overlay.compose.wording import headline, largest_sentence
from overlay.data import Comparison, PhaseDifference, PhaseTiming
from overlay.draw.panels import STEPS
from overlay.draw.text import clean_text
from overlay.explain import first_caution
from overlay.files import write_text
from overlay.report.cameras import (
    CellCare,
    Cells,
    cell_care,
    is_grave,
    parts_table,
    reference_part,
    staying,
    summary_lines,
)
from overlay.report.checks import camera_match, check_rows, filming_part, first_box, summary
from overlay.report.curves import hand_height_and_turn
from overlay.report.inspection import inspection_html, write_inspection_report
from overlay.report.page import (
    data_uri,
    file_name,
    filled_share,
    ghost_words,
    has_pictures,
    in_space,
    number,
    position_cell,
    reference_name,
    shown_words,
    span,
    strike_text,
    template,
    tempo,
    uncertain_text,
)
from overlay.terms import PARTS, PHASES, POSITION_NAMES, VIEW_WORDS, words

if TYPE_CHECKING:
    from overlay.compose.stills import Row

__all__ = [
    "data_uri",
    "filled_share",
    "inspection_html",
    "report_html",
    "write_inspection_report",
    "write_report",
]

CARE = (
    "This page says how the student differs from this reference. That is not the same as wrong: bodies differ, and "
    "good swings differ."
)


def write_report(
    comparison: Comparison,
    out: Path,
    *,
    student: Source,
    reference: Source,
    options: ComposeOptions | None = None,
    stills: Stills | None = None,
) -> Path:
    """Write the report as HTML, whole or not at all.

    ``stills`` from ``compose.comparison_stills`` spare reading the clips again.

    Raises
    ------
    InputError
        A clip cannot be read.
    OutputError
        ``out`` cannot be written.
    """
    html = report_html(comparison, student=student, reference=reference, options=options, stills=stills)
    write_text(out, html)
    return out


def report_html(
    comparison: Comparison,
    *,
    student: Source,
    reference: Source,
    options: ComposeOptions | None = None,
    stills: Stills | None = None,
) -> str:
    """The report as one HTML document. Everything that comes from files is escaped."""
    from markupsafe import Markup

    options = options or ComposeOptions()
    if stills is None:
        height = options.settings.report_still_px
        stills = comparison_stills(comparison, student=student, reference=reference, options=options, height_px=height)
    pane, rows = stills.pane_size, stills.rows
    names = (clean_text(student.label) or "Student", clean_text(reference.label) or "Reference")
    curves = hand_height_and_turn(comparison, names)
    quality = options.settings.jpeg_quality
    checklist = comparison.checklist
    checks = check_rows(checklist, stills.readings, names, quality)
    left = staying(comparison)
    first = first_box(checklist, checks)
    cameras = summary_lines(comparison)
    shown = [_still_row(number, row, names, quality) for number, row in enumerate(rows, 1)]
    phases = [_phase(comparison, phase.name, left) for phase in PHASES]
    return template("template.html").render(
        care=CARE,
        first=first,
        key_still=None if first and first["figures"] else _key_still(comparison, rows, shown),
        checks=checks,
        checks_summary=summary(checks),
        checks_source="" if checklist is None else checklist.source,
        checks_notes=() if checklist is None else checklist.notes,
        filming=[filming_part(report, name) for report, name in zip(comparison.filming or (), names)],
        camera_match=camera_match(comparison.camera_match),
        strikes=_strikes(comparison, names),
        shown=shown_words((comparison.student, comparison.reference), options),
        names=names,
        files=[file_name(student), reference_name(comparison, reference)],
        reference=reference_part(comparison),
        caution=first_caution(comparison),
        grave=is_grave(comparison),
        cameras=cameras,
        camera_table=parts_table(comparison, left),
        ghost_words=ghost_words(comparison),
        view=VIEW_WORDS[comparison.student.view],
        answer=headline(comparison),
        largest=largest_sentence(comparison),
        sharpness=comparison.sharpness.replace(" %", "\N{NO-BREAK SPACE}%"),
        tempo=[tempo(swing) for swing in (comparison.student, comparison.reference)],
        mirrored=comparison.student.handedness != comparison.reference.handedness,
        stills=shown,
        pane=pane,
        drawn=[
            name for name, source in zip(("student", "reference"), (student, reference)) if not has_pictures(source)
        ],
        phases=phases,
        parts=[words(part) for part in PARTS],
        matrix=_matrix(comparison, left),
        has_cameras=any(cell.camera for phase in phases for cell in phase["cells"]),
        has_spread=any(cell.in_spread for phase in phases for cell in phase["cells"]),
        has_cm=any(row.value_cm is not None for row in comparison.differences),
        untimed=_untimed(comparison),
        timings=[_timing(timing) for timing in comparison.timings],
        curves=[{"title": title, "note": note, "svg": Markup(svg)} for title, note, svg in curves],
        marks=[
            {"number": number, "name": words(position.name)}
            for number, position in enumerate(comparison.student.positions.found, start=1)
        ],
        positions=[_position(comparison, name) for name in POSITION_NAMES],
        uncertain=_uncertain(comparison),
        # What the section on cameras says is not said again.
        notes=[note for note in comparison.notes if note not in cameras],
    )


def _strikes(comparison: Comparison, names: tuple[str, str]) -> list[str]:
    """What is known of ball and strike of both, each with the player's name; a swing in space strikes by its making."""
    swings = (comparison.student,) if in_space(comparison) else (comparison.student, comparison.reference)
    texts = [strike_text(swing) for swing in swings]
    return [f"{name}: {text}" for name, text in zip(names, texts) if text]


def _still_row(number: int, row: Row, names: tuple[str, str], quality: int) -> dict[str, Any]:
    cells = []
    for who, name, still in (("student", names[0], row.student), ("reference", names[1], row.reference)):
        cells.append(
            {
                "who": who,
                "name": name,
                "uri": None if still.image is None else data_uri(still.image, quality),
                "caption": still.caption,
                "reason": still.reason,
            }
        )
    cells.append(
        {
            "who": "ghost",
            "name": "Ghost",
            "uri": None if row.ghost is None else data_uri(row.ghost, quality),
            "caption": "",
            "reason": row.ghost_reason,
        }
    )
    return {"number": number, "name": words(row.name).capitalize(), "cells": cells}


def _key_still(comparison: Comparison, rows: Sequence[Row], shown: list[dict[str, Any]]) -> dict[str, Any] | None:
    """The row of pictures that belongs to the answer: where the first difference has grown, else the top."""
    first = comparison.first
    wanted = "top" if first is None else next(phase.end for phase in PHASES if phase.name == first.phase)
    for row, still in zip(rows, shown):
        if row.name == wanted and all(cell["uri"] for cell in still["cells"][:2]):
            return still
    return None


def _row_of(comparison: Comparison, phase: str, part: str) -> PhaseDifference | None:
    return next((row for row in comparison.differences if (row.phase, row.part) == (phase, part)), None)


@dataclass(frozen=True)
class Cell:
    """One difference as it is printed."""

    part: str
    words: str
    steps: int | None
    value: str
    interval: str
    cm: str
    score: str
    score_interval: str
    detectable: str
    reason: str
    care: CellCare = field(default_factory=CellCare)

    @property
    def camera(self) -> str:
        """What of it the cameras could explain, "" where nothing was detected."""
        return self.care.camera

    @property
    def in_spread(self) -> bool:
        return self.care.in_spread

    @property
    def dots(self) -> str:
        """Four dots, as many filled as the word says."""
        return "" if self.steps is None else "●" * self.steps + "○" * (4 - self.steps)


def _cell(comparison: Comparison, row: PhaseDifference | None, part: str, left: Cells) -> Cell:
    if row is None:
        return Cell(words(part), "not scored", None, "", "", "", "", "", "", "no score was made")
    return Cell(
        part=words(part),
        words=row.words,
        steps=STEPS.get(row.words),
        value=number(row.value, 2),
        interval=span(row.interval, 2),
        cm="" if row.value_cm is None else number(row.value_cm, 0),
        score=number(row.score, 0),
        score_interval=span(row.score_interval, 0),
        detectable=number(row.detectable, 2),
        reason=row.reason,
        care=cell_care(comparison, row, left),
    )


def _phase(comparison: Comparison, name: str, left: Cells) -> dict[str, Any]:
    cells = [_cell(comparison, _row_of(comparison, name, part), part, left) for part in PARTS]
    found = [cell for cell in cells if cell.steps]
    scored = [cell for cell in cells if cell.steps is not None]
    if found:
        summary = f"{len(found)} of {len(scored)} scored parts differ"
    else:
        summary = "no difference detected" if scored else "not scored"
    return {"name": words(name).capitalize(), "cells": cells, "summary": summary}


def _matrix(comparison: Comparison, left: Cells) -> list[dict[str, Any]]:
    return [
        {
            "part": words(part),
            "cells": [_cell(comparison, _row_of(comparison, phase.name, part), part, left) for phase in PHASES],
        }
        for part in PARTS
    ]


def _untimed(comparison: Comparison) -> list[str]:
    """The reasons, each once, when no phase can be timed; else nothing, and the reasons stand in the table."""
    if any(math.isfinite(timing.difference_ms) for timing in comparison.timings):
        return []
    reasons = [part.strip() for timing in comparison.timings for part in timing.reason.split(";") if part.strip()]
    return list(dict.fromkeys(reasons)) or ["no phase could be timed"]


def _timing(timing: PhaseTiming) -> dict[str, str]:
    known = math.isfinite(timing.difference_ms)
    sign = "longer" if known and timing.difference_ms > 0 else "shorter"
    clear = known and abs(timing.difference_ms) > timing.uncertainty_ms
    return {
        "phase": words(timing.phase).capitalize(),
        "student": "" if not math.isfinite(timing.student_s) else f"{1000 * timing.student_s:.0f}",
        "reference": "" if not math.isfinite(timing.reference_s) else f"{1000 * timing.reference_s:.0f}",
        "difference": "" if not known else f"{timing.difference_ms:+.0f}",
        "uncertainty": "" if not math.isfinite(timing.uncertainty_ms) else f"± {timing.uncertainty_ms:.0f}",
        "words": timing.reason or (f"{sign} than the reference" if clear else "no difference detected"),
    }


def _position(comparison: Comparison, name: str) -> dict[str, Any]:
    cells = [position_cell(swing, name) for swing in (comparison.student, comparison.reference)]
    return {"name": words(name), "cells": cells}


def _uncertain(comparison: Comparison) -> list[dict[str, str]]:
    told = [{"who": "Student", "text": uncertain_text(comparison.student)}]
    if not in_space(comparison):
        told.append({"who": "Reference", "text": uncertain_text(comparison.reference)})
    return told
