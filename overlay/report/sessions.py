"""The page of a session: what was worked on, what was seen, what came of it; as HTML and as one picture."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from overlay.arrays import Image
from overlay.compose import InspectionStills
from overlay.data import ChangeAnswer, Session
from overlay.draw.text import clean_text
from overlay.plots import (
    DESKTOP,
    PHONE,
    Form,
    MeasureWords,
    Repeat,
    Trend,
    caption,
    measure_words,
    repeatability_chart,
    repeatability_sentence,
    trend_chart,
)
from overlay.plots.blocks import Block, Gallery, Picture, Rows, Rule, Words, draw_blocks
from overlay.plots.repeatability import spread_words
from overlay.plots.words import change_words, unit_of, with_unit
from overlay.report.checks import FILMING_WORDS
from overlay.report.page import data_uri, template
from overlay.settings.compose import COMPOSE
from overlay.terms import VIEW_WORDS, View, words

CARE = (
    "This page says what one camera saw of one session. Outside a range is not the same as wrong: bodies differ, and "
    "good swings differ. A single session decides nothing: whether a change holds shows over several."
)

ABOUT_LAST = "One session beside another decides nothing; sessions differ by themselves."
ABOUT_CHANCE = (
    "Varies: standard deviation from swing to swing with its 95 % interval, the reading's own scatter among it. By "
    "chance: two single swings differ by up to this in 19 of 20 cases though nothing has changed."
)


@dataclass(frozen=True)
class MeasureLine:
    """One measure of a session.

    Attributes
    ----------
    name, unit : str
    n : int
        Swings with a valid value.
    mean : float
    repeat : Repeat or None
        Spread within the session; None with too few swings.
    last : float
        Mean of the session before; NaN for none.
    best : float
        Of the swing it is held against; NaN for none.
    """

    name: str
    unit: str
    n: int
    mean: float
    repeat: Repeat | None = None
    last: float = math.nan
    best: float = math.nan


@dataclass(frozen=True)
class SeenPart:
    """What one view of a session shows.

    Attributes
    ----------
    view : View
    n_swings : int
    measures : tuple of MeasureLine
    last_day : date or None
        Of the session that means are held against.
    best_name : str
        Which swing they are held against, "swing 12 of 3 May"; "" for none.
    verdicts : mapping filming verdict → swings
    findings : tuple of (verdict, sentence, advice, swings)
        What was not good in the filming, most frequent first.
    camera : tuple of str
        Whether the camera stood as last time, in sentences.
    repeats : tuple of Repeat
        Parts and phases, where the swings were compared; the measures otherwise.
    """

    view: View
    n_swings: int
    measures: tuple[MeasureLine, ...] = ()
    last_day: datetime.date | None = None
    best_name: str = ""
    verdicts: Mapping[str, int] = field(default_factory=dict)
    findings: tuple[tuple[str, str, str, int], ...] = ()
    camera: tuple[str, ...] = ()
    repeats: tuple[Repeat, ...] = ()


@dataclass(frozen=True)
class ShownSwing:
    """The swing that stands for the session.

    Attributes
    ----------
    title : str
    note : str
        What stands in for a picture that is missing; "" for nothing.
    stills : InspectionStills
    """

    title: str
    stills: InspectionStills
    note: str = ""


@dataclass(frozen=True)
class SessionPage:
    """Everything on the page.

    Attributes
    ----------
    session : Session
    firsts : tuple of (measure, swings)
        What the checklist put first, most frequent first; "" for nothing.
    failed : tuple of (file, problem, hint)
    seen : tuple of SeenPart
    trend : Trend or None
        Of the focus measure.
    answer : ChangeAnswer or None
        Whether its change holds.
    trend_note : str
        Why there is no trend or no answer.
    swing : ShownSwing or None
    notes : tuple of (what it is about, when, text)
    """

    session: Session
    firsts: tuple[tuple[str, int], ...] = ()
    failed: tuple[tuple[str, str, str], ...] = ()
    seen: tuple[SeenPart, ...] = ()
    trend: Trend | None = None
    answer: ChangeAnswer | None = None
    trend_note: str = ""
    swing: ShownSwing | None = None
    notes: tuple[tuple[str, str, str], ...] = ()


def day_title(day: datetime.date) -> str:
    """ "Tuesday, 4 March 2031"."""
    return f"{day:%A}, {day.day} {day:%B} {day.year}"


def session_html(page: SessionPage) -> str:
    """The page as one HTML document that loads nothing; everything that a person typed is escaped."""
    from markupsafe import Markup

    shown = page.swing
    quality = COMPOSE.jpeg_quality
    return template("sessions.html").render(
        care=CARE,
        **_head(page),
        failed=[{"name": clean_text(name), "problem": said, "hint": hint} for name, said, hint in page.failed],
        firsts=_firsts(page),
        trend=None
        if page.trend is None
        else {
            "verdict": page.trend.verdict,
            "title": page.trend.title,
            "summary": page.trend.summary,
            "wide": Markup(trend_chart(page.trend, form="svg", size=DESKTOP, heading=False, salt="tw").decode()),
            "narrow": Markup(trend_chart(page.trend, form="svg", size=PHONE, heading=False, salt="tn").decode()),
            "alt": caption(page.trend),
        },
        trend_lines=_trend_lines(page),
        seen=[_seen(part, i) for i, part in enumerate(page.seen)],
        about_last=ABOUT_LAST,
        about_chance=ABOUT_CHANCE,
        pane=(3, 4) if shown is None else shown.stills.pane_size,
        swing=None
        if shown is None
        else {
            "title": shown.title,
            "note": shown.note,
            "stills": [
                {
                    "number": number,
                    "name": words(still.name),
                    "uri": None if still.image is None else data_uri(still.image, quality),
                    "caption": still.caption,
                    "reason": still.reason,
                }
                for number, still in enumerate(shown.stills.stills, start=1)
            ],
        },
        notes=[{"about": about, "when": when, "text": text} for about, when, text in page.notes],
    )


def session_picture(page: SessionPage, *, dark: bool = False) -> Image:
    """The same content as one tall picture for a phone, (H, W, 3) uint8."""
    head = _head(page)
    form: Form = "dark png" if dark else "png"
    blocks: list[Block] = [
        Words(head["player"], 1.5, bold=True, lines=2),
        Words(head["line"], 1.05),
        *[Words(f"{name}: {value}") for name, value in head["facts"]],
        Words(head["counts"], bold=True),
    ]
    if page.failed:
        blocks += [Words(f"{clean_text(name)}: {said} {hint}", 0.88, quiet=True) for name, said, hint in page.failed]
    blocks += [Words(f"Tags: {', '.join(head['tags'])}", quiet=True)] if head["tags"] else []
    if page.notes:
        blocks.append(Rule("Notes"))
        blocks += [Words(f"{about}, {when}: {text}") for about, when, text in page.notes]
    blocks.append(Rule("What came first"))
    blocks += [Words(f"{row['name']}: {row['words']}") for row in _firsts(page)]
    blocks.append(Rule("The focus"))
    if page.trend is not None:
        blocks.append(Picture(trend_chart(page.trend, form=form, size=PHONE)))
    blocks += [Words(line, 0.9, quiet=page.trend is not None) for line in _trend_lines(page)]
    for part in page.seen:
        said = _seen_words(part)
        blocks += [Rule(f"Filming, {VIEW_WORDS[part.view]}"), Words(said["filming"], bold=True)]
        blocks += [Words(f"{row['sentence']} {row['advice']}".strip() + f" ({row['of']})") for row in said["findings"]]
        blocks += [Words(line) for line in part.camera]
    if page.swing is not None:
        blocks += [Rule("The swing"), Words(page.swing.title)]
        blocks += [Words(page.swing.note, 0.88, quiet=True)] if page.swing.note else []
        stills = [
            (still.image, f"{number} {words(still.name)}" + ("" if still.image is not None else ": not found"))
            for number, still in enumerate(page.swing.stills.stills, start=1)
        ]
        blocks.append(Gallery(tuple(stills)))
    for part in page.seen:
        said = _seen_words(part)
        blocks.append(Rule(f"Measures, {VIEW_WORDS[part.view]}"))
        blocks.append(Rows(tuple((row["title"], _cells(row, said)) for row in said["rows"])))
        blocks += [Words(line, 0.86, quiet=True) for line in said["about"]]
        if part.repeats:
            blocks.append(Picture(repeatability_chart(part.repeats, said["repeat_title"], form=form, size=PHONE)))
    blocks.append(Rule("Before you change anything"))
    blocks += [Words(line, 0.88, quiet=True) for line in (CARE, *_CARE_LINES)]
    return draw_blocks(blocks, size=PHONE, dark=dark)


_CARE_LINES = (
    "Pain means stop. Never force more range than the body has. This is no medical advice: for pain see a licensed "
    "health professional.",
    "Leaning back at the top or through impact is linked with low-back pain. Work on it with a PGA-qualified coach.",
    "Swing only with a clear circle of about two club lengths on every side and nobody in front.",
    "Clips of people are personal data: everything was made on this machine and nothing was sent anywhere; pass this "
    "on only with the consent of the people in it, and of a guardian for minors.",
)


def _head(page: SessionPage) -> dict[str, Any]:
    session = page.session
    focus = ""
    if session.focus:
        spoken = measure_words(session.focus)
        way = {"higher": f", to be {spoken.more}", "lower": f", to be {spoken.less}"}.get(session.aim, "")
        focus = f"{full_title(spoken)}{way}"
    facts = [("Worked on", clean_text(session.worked_on)), ("Focus", focus or "none was declared")]
    clips = session.n_clips + session.n_failed
    counts = f"{_of(session.n_swings, 'swing')} in {_of(clips, 'clip')}"
    counts += f", {session.n_failed} of which could not be read" if session.n_failed else ""
    where = [day_title(session.date), clean_text(session.club) or "club not told", clean_text(session.place)]
    return {
        "player": clean_text(session.player),
        "line": " · ".join(part for part in where if part),
        "facts": [(name, said) for name, said in facts if said],
        "counts": counts,
        "tags": [clean_text(tag) for tag in session.tags],
    }


def full_title(spoken: MeasureWords) -> str:
    """A measure with the row it belongs to."""
    return f"{spoken.title} ({spoken.where})" if spoken.where else spoken.title


def _of(n: int, what: str) -> str:
    return f"{n} {what}{'' if n == 1 else 's'}"


def _firsts(page: SessionPage) -> list[dict[str, str]]:
    total = sum(n for _, n in page.firsts)
    rows = []
    for name, n in page.firsts:
        title = full_title(measure_words(name)) if name else "Nothing stood out"
        if name == "camera_setup":
            title = "The camera, before any swing"
        rows.append({"name": title, "words": f"{n} of {_of(total, 'swing')}", "share": f"{100 * n / total:.0f}"})
    return rows


def _trend_lines(page: SessionPage) -> list[str]:
    """What is said under the trend: the verdict in full, the cameras, notes; or why there is none."""
    lines = [page.trend_note] if page.trend_note else []
    answer = page.answer
    if answer is not None:
        # Of a change that holds the chart's heading has said it all.
        lines += [answer.holding.sentence] if answer.holding.word != "holding" else []
        lines.append(answer.holding.reason)
        lines += [] if answer.camera is None else [answer.camera.sentence]
        lines += list(answer.notes)
    return [line for line in dict.fromkeys(lines) if line]


def _seen(part: SeenPart, i: int) -> dict[str, Any]:
    from markupsafe import Markup

    said = _seen_words(part)
    repeat = None
    if part.repeats:
        repeat = {
            "title": said["repeat_title"],
            "sentence": repeatability_sentence(part.repeats),
            "wide": Markup(_repeat_svg(part.repeats, DESKTOP, f"rw{i}")),
            "narrow": Markup(_repeat_svg(part.repeats, PHONE, f"rn{i}")),
        }
    return {**said, "camera": list(part.camera), "repeat": repeat}


def _repeat_svg(repeats: Sequence[Repeat], size: Any, salt: str) -> str:
    return repeatability_chart(repeats, form="svg", size=size, heading=False, salt=salt).decode()


def _seen_words(part: SeenPart) -> dict[str, Any]:
    last = "" if part.last_day is None else f"{part.last_day.day} {part.last_day:%B}"
    rows = [_measure_row(line) for line in part.measures]
    about = [ABOUT_LAST] if last else []
    about += [f"Best: {part.best_name}."] if part.best_name else []
    about.append(ABOUT_CHANCE)
    counted = {word: part.verdicts.get(word, 0) for word in ("pass", "warn", "fail", "not seen")}
    said = {"pass": "good", "warn": "could be better", "fail": "to be put right", "not seen": "not seen"}
    filming = ", ".join(f"{n} {said[word]}" for word, n in counted.items() if n)
    return {
        "view": VIEW_WORDS[part.view],
        "n": _of(part.n_swings, "swing"),
        "rows": rows,
        "last": last,
        "best": "best" if part.best_name else "",
        "about": about,
        "filming": f"Of {_of(part.n_swings, 'swing')}: {filming}." if filming else "The filming was not checked.",
        "findings": [
            {
                "kind": verdict.replace(" ", ""),
                "verdict": FILMING_WORDS.get(verdict, verdict),
                "sentence": sentence,
                "advice": advice,
                "of": f"{n} of {_of(part.n_swings, 'swing')}",
            }
            for verdict, sentence, advice, n in part.findings
        ],
        "repeat_title": f"What repeats, {VIEW_WORDS[part.view]}",
    }


def _measure_row(line: MeasureLine) -> dict[str, str]:
    spoken, unit, repeat = measure_words(line.name), unit_of(line.name, line.unit), line.repeat
    varies = chance = between = ""
    if repeat is not None:
        varies = spread_words(repeat.sd, unit)
        between = f"{spread_words(repeat.low, unit)} to {spread_words(repeat.high, unit)}"
        chance = spread_words(repeat.detectable, unit)
    return {
        "title": full_title(spoken),
        "n": str(line.n),
        "mean": _short(with_unit(line.mean, unit)),
        "varies": varies or "too few swings",
        "between": between,
        "last": _beside(line.mean - line.last, unit, spoken),
        "best": _beside(line.mean - line.best, unit, spoken),
        "chance": chance,
    }


def _beside(difference: float, unit: str, spoken: MeasureWords) -> str:
    """A difference in words, without the unit, which stands beside it; "" for none."""
    if not math.isfinite(difference):
        return ""
    said = change_words(difference, unit, spoken)
    if said.split()[0].strip("°0.") == "":
        return "the same"
    return said.replace(" torso lengths", "").replace(" seconds", " s")


def _short(text: str) -> str:
    return text.replace(" torso lengths", "\N{NO-BREAK SPACE}torso").replace(" seconds", "\N{NO-BREAK SPACE}s")


def _cells(row: Mapping[str, str], said: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    cells = [
        ("mean", row["mean"]),
        ("varies", f"{row['varies']} ({row['between']})" if row["between"] else row["varies"]),
    ]
    cells += [(f"against {said['last']}", row["last"])] if row["last"] else []
    cells += [(f"against {said['best']}", row["best"])] if row["best"] else []
    cells += [("by chance", row["chance"])] if row["chance"] else []
    return (*cells, ("swings", row["n"]))
