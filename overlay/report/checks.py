"""What comes first, the checklist and the filming check as they are printed."""

from __future__ import annotations

import math
from typing import Any, Sequence

from overlay.checklist.wording import amount
from overlay.checklist.wording import number as bare
from overlay.compose.readings import WITH_POINTING, Reading
from overlay.compose.wording import first_parts, sentences
from overlay.data import Check, Checklist, FilmingFinding, FilmingReport, FirstThing, Measure
from overlay.draw.checks import is_marked, verdict_words
from overlay.report.page import data_uri
from overlay.terms import words

FILMING_WORDS = {"pass": "good", "warn": "could be better", "fail": "put it right", "not seen": "not seen"}
"""A verdict of the filming check as a player reads it."""

COUNTED = ("findings",)
"""Units of values that are told in the sentence and need no column."""


def first_box(checklist: Checklist | None, rows: Sequence[dict[str, Any]]) -> dict[str, Any] | None:
    """The box at the top: what to work on, why it comes first, what to look for, which measure to declare.

    ``rows`` are those of ``check_rows``, one of which has its stills.
    """
    if checklist is None:
        return None
    first = checklist.first
    lead, rest = first_parts(first)
    look_for, caution = first.look_for, ""
    said, wanted = sentences(rest), sentences(look_for)
    both = [sentence for sentence in wanted if sentence in said]
    if both and len(both) == len(wanted):
        # Of a camera the sentence already says what to do.
        look_for = ""
    elif both:
        # What is said for the player's safety stands in both, and once in a place of its own here.
        caution = " ".join(both)
        rest = " ".join(sentence for sentence in said if sentence not in both)
        look_for = " ".join(sentence for sentence in wanted if sentence not in both)
    return {
        "found": first.check is not None,
        "lead": lead,
        "rest": rest,
        "why": first.why,
        "look_for": look_for,
        "caution": caution,
        "figures": next((row["figures"] for row in rows if row["is_first"]), []),
        "focus": _focus(first),
    }


def _focus(first: FirstThing) -> str:
    """The measure to declare as focus: what it is, and the name by which it is declared."""
    if first.check is None or not first.focus or first.check.measure.unit in COUNTED:
        return ""
    return f"{first.check.title.rpartition(': ')[2]} ({first.focus})"


def _value(measure: Measure | None) -> str:
    if measure is None or not measure.valid or not math.isfinite(measure.value) or measure.unit in COUNTED:
        return ""
    return _short(amount(measure.value, measure.unit))


def _interval(measure: Measure | None) -> str:
    if measure is None or not measure.valid or measure.interval is None or measure.unit in COUNTED:
        return ""
    low, high = measure.interval
    if not (math.isfinite(low) and math.isfinite(high)):
        return ""
    return f"{bare(low, measure.unit)} to {bare(high, measure.unit)}"


def _tolerance(check: Check) -> str:
    low, high = check.tolerance
    unit = check.measure.unit
    if unit in COUNTED or (math.isinf(low) and math.isinf(high)):
        return ""
    if math.isinf(low):
        return f"up to {_short(amount(high, unit))}"
    if math.isinf(high):
        return f"{_short(amount(low, unit))} or more"
    return f"{bare(low, unit)} to {_short(amount(high, unit))}"


def _short(text: str) -> str:
    """For tables, whose head says what a torso is."""
    return text.replace(" torso lengths", "\N{NO-BREAK SPACE}torso")


def check_rows(
    checklist: Checklist | None, readings: Sequence[Reading], names: tuple[str, ...], quality: int
) -> list[dict[str, Any]]:
    """One row a check, with its small stills.

    ``names`` are the player's, and in a comparison the reference's.
    """
    if checklist is None:
        return []
    rows = []
    for i, check in enumerate(checklist.checks):
        # Stills that were made for another checklist, or for none, belong to no row.
        reading = readings[i] if i < len(readings) and readings[i].check == check else None
        images = (None, None) if reading is None else (reading.student, reading.reference)
        figures = [
            {"who": who, "name": name, "uri": data_uri(image, quality)}
            for who, name, image in zip(("student", "reference"), names, images)
            if image is not None
        ]
        difference = check.difference
        rows.append(
            {
                "row": check.row,
                "title": check.title,
                "position": words(check.measure.position),
                "verdict": verdict_words(check),
                "kind": _kind(check),
                "sentence": check.sentence,
                "value": _value(check.measure),
                "beside": bare(check.measure.value, check.measure.unit)
                if _value(check.measure) and _value(check.reference)
                else "",
                "interval": _interval(check.measure),
                "tolerance": _tolerance(check),
                "reference": _value(check.reference),
                "reference_interval": _interval(check.reference),
                "difference": _signed(difference),
                "difference_interval": _interval(difference),
                "is_first": checklist.first.check is not None
                and checklist.first.check.measure.name == check.measure.name,
                "figures": figures,
                "pointing": bool(figures) and check.measure.name in WITH_POINTING,
            }
        )
    return rows


def _kind(check: Check) -> str:
    """How a row looks: "marked", "close", "none" or "fine"."""
    if is_marked(check):
        return "marked"
    if check.verdict == "not measured":
        return "none"
    return "close" if check.verdict == "unclear" and not (check.difference and check.difference.valid) else "fine"


def _signed(measure: Measure | None) -> str:
    text = _value(measure)
    return f"+{text}" if text and measure is not None and measure.value > 0 else text


def summary(rows: Sequence[dict[str, Any]]) -> str:
    """How many rows there are of each kind, in a sentence; "" without rows."""
    if not rows:
        return ""
    counts: dict[str, int] = {}
    for row in rows:
        counts[row["verdict"]] = counts.get(row["verdict"], 0) + 1
    if len(rows) > 1:
        # The camera's row is no measure, and has words of its own.
        counts = {
            verdict: count for verdict, count in counts.items() if verdict not in FILMING_WORDS.values()
        } or counts
    return ", ".join(
        f"{count} {'differ' if verdict == 'differs' and count > 1 else verdict}"
        for verdict, count in sorted(counts.items(), key=lambda item: -item[1])
    )


def filming_part(report: FilmingReport, name: str) -> dict[str, Any]:
    """The filming check of one clip: what is not good one by one, what is good in one line."""
    findings = [_finding(finding) for finding in report.findings]
    return {
        "name": name,
        "verdict": FILMING_WORDS[report.verdict],
        "kind": report.verdict.replace(" ", ""),
        "wrong": [finding for finding in findings if finding["kind"] in ("fail", "warn")],
        "good": [finding for finding in findings if finding["kind"] == "pass"],
        "unseen": [finding for finding in findings if finding["kind"] == "notseen"],
    }


def _finding(finding: FilmingFinding) -> dict[str, str]:
    return {
        "name": words(finding.name).capitalize(),
        "kind": finding.verdict.replace(" ", ""),
        "verdict": FILMING_WORDS[finding.verdict],
        "sentence": finding.sentence,
        "advice": finding.advice,
    }


def camera_match(findings: Sequence[FilmingFinding]) -> list[dict[str, str]]:
    """How the two cameras differ, where that matters."""
    return [_finding(finding) for finding in findings if finding.verdict in ("warn", "fail")]
