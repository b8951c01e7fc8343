"""The report of one swing: what to work on first, checklist, filming, positions."""

from __future__ import annotations

from pathlib import Path
from typing import Sequence

from overlay.compose import ComposeOptions, InspectionStills, Source, inspection_stills
from overlay.data import Checklist, FilmingReport, Guide, Swing
from overlay.draw.guides import NAMES
from overlay.draw.text import clean_text
from overlay.files import write_text
from overlay.guides import guide_lines
from overlay.report.checks import check_rows, filming_part, first_box, summary
from overlay.report.page import (
    data_uri,
    file_name,
    position_cell,
    shown_words,
    strike_text,
    template,
    tempo,
    uncertain_text,
)
from overlay.terms import POSITION_NAMES, VIEW_WORDS, words

CARE = (
    "This page says what one camera saw of one swing. Outside a range is not the same as wrong: bodies differ, and "
    "good swings differ."
)


def write_inspection_report(
    swing: Swing,
    out: Path,
    *,
    source: Source,
    checklist: Checklist | None = None,
    filming: FilmingReport | None = None,
    guides: Sequence[Guide] | None = None,
    options: ComposeOptions | None = None,
    stills: InspectionStills | None = None,
) -> Path:
    """Write the report of one swing as HTML, whole or not at all.

    Parameters
    ----------
    swing : Swing
    out : Path
    source : Source
        Where the pictures come from.
    checklist : Checklist or None
        What was checked and comes first.
    filming : FilmingReport or None
    guides : sequence of Guide or None
        The swing's guide lines, for those that could not be drawn; None: they are taken from the swing.
    options : ComposeOptions
        What is drawn on the stills.
    stills : InspectionStills or None
        From ``compose.inspection_stills``; they spare reading the clip again.

    Raises
    ------
    InputError
        The clip cannot be read.
    OutputError
        ``out`` cannot be written.
    """
    html = inspection_html(
        swing, source=source, checklist=checklist, filming=filming, guides=guides, options=options, stills=stills
    )
    write_text(out, html)
    return out


def inspection_html(
    swing: Swing,
    *,
    source: Source,
    checklist: Checklist | None = None,
    filming: FilmingReport | None = None,
    guides: Sequence[Guide] | None = None,
    options: ComposeOptions | None = None,
    stills: InspectionStills | None = None,
) -> str:
    """The report of one swing as one HTML document. Everything that comes from files is escaped."""
    options = options or ComposeOptions()
    if stills is None:
        height = options.settings.report_still_px
        stills = inspection_stills(swing, source=source, checklist=checklist, options=options, height_px=height)
    quality = options.settings.jpeg_quality
    name = clean_text(source.label) or "Player"
    checks = check_rows(checklist, stills.readings, (name,), quality)
    lines = guide_lines(swing) if guides is None else guides
    strike, unsure = strike_text(swing), uncertain_text(swing)
    return template("inspection.html").render(
        care=CARE,
        name=name,
        file=file_name(source),
        swing_number=swing.swing_number,
        view=VIEW_WORDS[swing.view],
        hand=swing.handedness,
        tempo=tempo(swing),
        pane=stills.pane_size,
        first=first_box(checklist, checks),
        checks=checks,
        checks_summary=summary(checks),
        checks_source="" if checklist is None else checklist.source,
        checks_notes=() if checklist is None else checklist.notes,
        filming=[] if filming is None else [filming_part(filming, "This clip")],
        camera_match=[],
        strikes=[strike] if strike else [],
        shown=shown_words((swing,), options),
        stills=[
            {
                "number": number,
                "name": words(still.name),
                "uri": None if still.image is None else data_uri(still.image, quality),
                "caption": still.caption,
                "reason": still.reason,
            }
            for number, still in enumerate(stills.stills, start=1)
        ],
        positions=[{"name": words(name), "cell": position_cell(swing, name)} for name in POSITION_NAMES],
        uncertain=unsure[0].upper() + unsure[1:],
        notes=swing.notes,
        guides=[
            {"name": NAMES[guide.name], "reason": guide.reason.rstrip(".")}
            for guide in lines
            if guide.reason and guide.name in options.guides
        ],
    )
