"""The report of both views of a swing: one page, what comes first over both, what both measure, then each view."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from overlay.compose import ComposeOptions, Source, Stills, comparison_stills, inspection_stills
from overlay.compose.pairs import PairStills, pair_stills
from overlay.compose.readings import Reading
from overlay.data import Checklist, Comparison, FilmingReport, FirstThing, Measure, Swing, ViewPair
from overlay.draw.text import clean_text
from overlay.files import write_text
from overlay.pair import joint_first
from overlay.pair.wording import interval_words, title_of, value_words
from overlay.report import report_html
from overlay.report.cameras import reference_part
from overlay.report.checks import check_rows, first_box
from overlay.report.inspection import inspection_html
from overlay.report.page import data_uri, file_name, template
from overlay.terms import VIEW_WORDS, View, words

VIEWS: tuple[View, View] = ("dtl", "fo")
CARE = (
    "This page says what two cameras saw of a swing. Outside a range, or different from a reference, is not the same "
    "as wrong: bodies differ, and good swings differ."
)
LIMITS = (
    "Turns and planes in space rest on where both cameras are taken to stand: about along the target line and square "
    "to it. Where the filming check could tell their direction, that was used; the intervals hold a doubt of 5° a "
    "camera and the errors of the joints.",
    "Lengths are in torso lengths of the player in space, shoulders to hips.",
)


def write_pair_report(
    comparisons: Mapping[View, Comparison],
    pair: ViewPair,
    out: Path,
    *,
    sources: Mapping[View, Sequence[Source]],
    checklists: Mapping[View, Checklist] | None = None,
    filming: Mapping[View, FilmingReport] | None = None,
    options: ComposeOptions | None = None,
    stills: PairStills | None = None,
) -> Path:
    """Write the report of both views as one HTML file that loads nothing, whole or not at all.

    Parameters
    ----------
    comparisons : mapping view → Comparison
        Empty: the students alone.
    pair : ViewPair
    out : Path
    sources : mapping view → (student, reference) or (student,)
    checklists : mapping view → Checklist or None
        Of a view without a comparison; those of comparisons are their own.
    filming : mapping view → FilmingReport or None
        Of a view without a comparison.
    options : ComposeOptions
    stills : PairStills or None
        From ``compose.pairs.pair_stills``; they spare reading the clips again.

    Raises
    ------
    InputError
        A clip cannot be read.
    MismatchError
        Sources and comparisons do not belong together.
    OutputError
        ``out`` cannot be written.
    """
    html = pair_html(
        comparisons,
        pair,
        sources=sources,
        checklists=checklists,
        filming=filming,
        options=options,
        stills=stills,
    )
    write_text(out, html)
    return out


def pair_html(
    comparisons: Mapping[View, Comparison],
    pair: ViewPair,
    *,
    sources: Mapping[View, Sequence[Source]],
    checklists: Mapping[View, Checklist] | None = None,
    filming: Mapping[View, FilmingReport] | None = None,
    options: ComposeOptions | None = None,
    stills: PairStills | None = None,
) -> str:
    """The report of both views as one HTML document. Everything that comes from files is escaped."""
    from markupsafe import Markup

    options = options or ComposeOptions()
    height = options.settings.report_still_px
    stills = stills or pair_stills(comparisons, sources, pair, options=options, height_px=height)
    told = {view: checklist for view in VIEWS if (checklist := _checklist(view, comparisons, checklists)) is not None}
    parts, readings = [], {}
    for view in VIEWS:
        swing = pair.dtl if view == "dtl" else pair.fo
        page, readings[view] = _view_page(
            view, swing, comparisons.get(view), sources[view], told.get(view), (filming or {}).get(view), options
        )
        parts.append({"name": VIEW_WORDS[view], "html": Markup(section_of(page, view))})
    quality = options.settings.jpeg_quality
    names = tuple(
        clean_text(source.label) or fallback for source, fallback in zip(sources["dtl"], ("Student", "Reference"))
    )
    sizes = stills.sizes
    return template("pairs.html").render(
        care=CARE,
        limits=LIMITS,
        name=names[0],
        names=names,
        files=[file_name(sources[view][0]) for view in VIEWS],
        reference=next((line for each in comparisons.values() if (line := reference_part(each)["line"])), ""),
        one_swing=pair.one_swing,
        evidence=pair.evidence,
        pane=sizes[0],
        first=_first(told, readings, names, quality),
        measures=[_measure_row(measure) for measure in pair.measures if measure.valid],
        missing=[
            {"title": title_of(measure), "reason": measure.reason} for measure in pair.measures if not measure.valid
        ],
        rows=[
            {
                "number": number,
                "name": words(row.name).capitalize(),
                "cells": [
                    {
                        "who": what,
                        "uri": None if still is None or still.image is None else data_uri(still.image, quality),
                        "size": sizes[which],
                        "caption": "" if still is None else still.caption,
                        "reason": reason or "not found",
                    }
                    for which, (what, still, _, reason) in enumerate(row.cells)
                ],
                "measures": [_measure_row(measure) for measure in row.measures if measure.valid],
            }
            for number, row in enumerate(stills.rows, start=1)
        ],
        views=parts,
    )


def _checklist(
    view: View, comparisons: Mapping[View, Comparison], checklists: Mapping[View, Checklist] | None
) -> Checklist | None:
    if view in comparisons and comparisons[view].checklist is not None:
        return comparisons[view].checklist
    return None if checklists is None else checklists.get(view)


def _view_page(
    view: View,
    swing: Swing,
    comparison: Comparison | None,
    sources: Sequence[Source],
    checklist: Checklist | None,
    filming: FilmingReport | None,
    options: ComposeOptions,
) -> tuple[str, Sequence[Reading]]:
    """The whole page of one view, and the stills its checks were read at."""
    height = options.settings.report_still_px
    if comparison is not None and len(sources) > 1:
        made: Stills = comparison_stills(
            comparison, student=sources[0], reference=sources[1], options=options, height_px=height
        )
        page = report_html(comparison, student=sources[0], reference=sources[1], options=options, stills=made)
        return page, made.readings
    alone = inspection_stills(swing, source=sources[0], checklist=checklist, options=options, height_px=height)
    page = inspection_html(
        swing, source=sources[0], checklist=checklist, filming=filming, options=options, stills=alone
    )
    return page, alone.readings


def section_of(page: str, view: View) -> str:
    """What stands in a view's own page, without its title, its first box, the care box and the last line.

    The names of its sections get the view's name before them, so that both can stand on one page.
    """
    start, stop = page.find("<main>"), page.rfind("</main>")
    inner = page[start + len("<main>") : stop] if 0 <= start < stop else page
    inner = re.sub(r"<header>.*?</header>", "", inner, count=1, flags=re.DOTALL)
    inner = re.sub(r'<section class="first.*?</section>', "", inner, count=1, flags=re.DOTALL)
    inner = re.sub(r'<section aria-labelledby="care">.*?</section>', "", inner, count=1, flags=re.DOTALL)
    last = inner.rfind("</section>")
    inner = inner[: last + len("</section>")] if last >= 0 else inner
    # Figures point at their own marks: what points must be renamed with what it points at.
    return re.sub(r'(\b(?:id|aria-labelledby)="|href="#|url\(#)', rf"\g<1>{view}-", inner)


def _first(
    told: Mapping[View, Checklist],
    readings: Mapping[View, Sequence[Reading]],
    names: tuple[str, ...],
    quality: int,
) -> dict[str, Any] | None:
    """The box at the top: the earliest row over both checklists, with the stills of the view that found it."""
    if not told:
        return None
    first: FirstThing = joint_first(told)
    for view, checklist in told.items():
        if first.check is not None and checklist.first.check is first.check:
            rows = check_rows(checklist, readings[view], names, quality)
            return first_box(replace(checklist, first=first), rows)
    return first_box(Checklist((), first), [])


def _measure_row(measure: Measure) -> dict[str, str]:
    return {
        "title": title_of(measure),
        "position": words(measure.position).capitalize(),
        "value": value_words(measure),
        "interval": interval_words(measure),
        "note": measure.reason,
    }
