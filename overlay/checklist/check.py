"""Measures held against a checklist, and the one thing that comes first.

A check is *out* when its 95 % interval lies outside the tolerance and it stays so with all checks of the swing held
together (Holm 1979, Scand J Stat 6:65): the chance of any false "out" in one swing is then at most 10 %, however many
rows there are. Against a reference the same is done with the differences, whose noise is that of both measures and
of a player who repeats his own swing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

from overlay import stats
from overlay.checklist import wording
from overlay.checklist.spec import CAMERA, ChecklistSpec, MeasureSpec, RowSpec, Side
from overlay.data import Check, Checklist, FilmingFinding, FilmingReport, FirstThing, Measure, Verdict
from overlay.settings.checklist import MEASURES, ChecklistSettings
from overlay.terms import VIEW_WORDS, View

LIMITS = {
    "dtl": (
        "One camera sees two dimensions. Down the line, a lens 15 cm beside the hand line moves the hands by up to "
        "0.05 torso lengths, a lens 5° further round by up to 0.12, and the club by more; a shaft that points at the "
        "lens or away from it looks short and its direction is unsure."
    ),
    "fo": (
        "One camera sees two dimensions. Face on, what turns looks narrower and what leans to the lens or away from it "
        "looks shorter: offsets along the target line are sound, angles of turned shoulders and arms are as the "
        "picture shows them."
    ),
}
"""What a single view cannot tell; the figures are from docs/scores.md."""


def check_swing(
    measures: Sequence[Measure],
    view: View,
    spec: ChecklistSpec,
    *,
    reference: Sequence[Measure] | None = None,
    filming: FilmingReport | None = None,
    settings: ChecklistSettings | None = None,
) -> Checklist:
    """Every row that this view shows, and what comes first.

    Parameters
    ----------
    measures : sequence of Measure
        Of the swing; the checklist takes those it names and leaves the others.
    view : "dtl", "fo" or "other"
    spec : ChecklistSpec
    reference : sequence of Measure, optional
        Of the swing it is compared with. First is then the earliest row that differs from it, tolerances or not.
    filming : FilmingReport, optional
        Of the swing's clip; a camera that fails comes before everything.
    settings : ChecklistSettings

    Returns
    -------
    Checklist
        Checks in order. Rows of the other view are left out, and the notes say so.
    """
    settings = settings or ChecklistSettings()
    own = {measure.name: measure for measure in measures}
    other = None if reference is None else {measure.name: measure for measure in reference}
    camera: list[Check] = []
    failing: tuple[FilmingFinding, ...] = ()
    lines: list[_Line] = []
    for row in spec.rows:
        if not row.on or not (row.view == "both" or row.view == view):
            continue
        if row.filming:
            failing = (
                tuple(f for f in filming.findings if f.verdict == "fail" and f.name not in row.ignore)
                if filming
                else ()
            )
            camera.append(_camera(row, filming, failing))
            continue
        for part in row.measures:
            if part.on and MEASURES[part.name].view == view:
                lines.append(_Line(row, part, _taken(own, part), None if other is None else other.get(part.name)))
    _judge(lines, settings)
    if other is not None:
        _compare(lines, settings)
    checks = tuple(sorted((*camera, *(line.check(other is not None) for line in lines)), key=lambda check: check.row))
    first = _first(checks, lines, failing, view, other is not None, settings)
    return Checklist(checks, first, spec.source, _notes(spec, view, filming))


@dataclass
class _Line:
    """One check while it is worked out."""

    row: RowSpec
    part: MeasureSpec
    measure: Measure
    reference: Measure | None
    verdict: Verdict = "not measured"
    side: Side | None = None
    difference: Measure | None = None
    differs: bool = False
    beyond: float = math.nan

    @property
    def title(self) -> str:
        return f"{self.row.title}: {self.part.title}"

    def check(self, compared: bool) -> Check:
        if compared:
            assert self.difference is not None
            sentence = wording.against_reference(
                self.part,
                self.measure,
                self.reference,
                self.difference,
                self.differs,
                self.beyond,
                self.verdict,
                self.side,
            )
            # Care comes before tact: what may hurt is said even where the reference does the same.
            caution = self.part.caution(self.side) if self.verdict == "out" and self.side else ""
            if caution and caution not in sentence:
                sentence += f" {caution}"
        else:
            sentence = wording.against_tolerance(self.part, self.measure, self.verdict, self.side)
        return Check(
            row=self.row.number,
            title=self.title,
            measure=self.measure,
            tolerance=(self.part.low, self.part.high),
            verdict=self.verdict,
            sentence=sentence,
            reference=self.reference,
            difference=self.difference,
            differs=self.differs,
        )


def _taken(measures: dict[str, Measure], part: MeasureSpec) -> Measure:
    """The measure the row asks for; an invalid one with the reason where it cannot be had."""
    measure = measures.get(part.name)
    if measure is None:
        return _absent(part, "this swing gives no such measure")
    if measure.valid and not math.isfinite(measure.value):
        return replace(measure, valid=False, reason=measure.reason or "the value is not a number")
    if measure.valid and measure.unit != part.unit:
        return _absent(part, f"it is measured in {measure.unit} and not in {part.unit}")
    return measure


def _absent(part: MeasureSpec, reason: str) -> Measure:
    return Measure(part.name, math.nan, part.unit, valid=False, reason=reason)


def _sd(measure: Measure, settings: ChecklistSettings, towards: float = 0.0) -> float:
    """Standard deviation that the interval stands for; of its half on one side where ``towards`` is not 0."""
    if measure.interval is None:
        return math.inf
    low, high = measure.interval
    half = measure.value - low if towards < 0 else high - measure.value if towards > 0 else (high - low) / 2
    return max(half, 0.0) / NormalDist().inv_cdf((1 + settings.interval) / 2)


def _tail(distance: float, sd: float) -> float:
    """Chance that noise of this sd reaches so far to one side."""
    if sd == 0.0:
        return 0.0 if distance > 0 else 1.0
    return 0.5 * math.erfc(distance / sd / math.sqrt(2)) if math.isfinite(sd) else 0.5


def _judge(lines: Sequence[_Line], settings: ChecklistSettings) -> None:
    """Verdicts against the tolerances, all checks held together."""
    valid = [line for line in lines if line.measure.valid]
    chances = []
    for line in valid:
        value, low, high = line.measure.value, line.part.low, line.part.high
        line.side = "below" if value < low else "above" if value > high else None
        # The noise that matters is the one that could have brought the value over the edge.
        beyond = low - value if line.side == "below" else value - high
        sd = _sd(line.measure, settings, 1.0 if line.side == "below" else -1.0)
        chances.append(_tail(beyond, sd) if line.side else 1.0)
    held = stats.holm(chances) if valid else ()
    alone = (1 - settings.interval) / 2
    for line, chance, together in zip(valid, chances, held):
        low, high = line.measure.interval or (line.measure.value, line.measure.value)
        if line.side is not None:
            line.verdict = "out" if chance <= alone and together <= settings.level else "unclear"
        else:
            line.verdict = "in" if line.part.low <= low and high <= line.part.high else "unclear"


def _compare(lines: Sequence[_Line], settings: ChecklistSettings) -> None:
    """Differences from the reference, all of them held together."""
    pairs: list[tuple[_Line, float, float]] = []
    for line in lines:
        mine, theirs, unit = line.measure, line.reference, line.part.unit
        if theirs is None or not theirs.valid or not math.isfinite(theirs.value) or theirs.unit != unit:
            reason = "it gives no such measure" if theirs is None else theirs.reason or "it has no value there"
            line.difference = _absent(line.part, f"not read in your reference: {reason}")
            continue
        if not mine.valid:
            line.difference = _absent(line.part, mine.reason)
            continue
        value = mine.value - theirs.value
        # Of intervals that are not alike to both sides the halves that face each other count.
        facing = -1.0 if value > 0 else 1.0
        sd = math.sqrt(
            _sd(mine, settings, facing) ** 2
            + _sd(theirs, settings, -facing) ** 2
            + 2 * settings.repeat_sd[line.part.name] ** 2
        )
        half = NormalDist().inv_cdf((1 + settings.interval) / 2) * sd
        interval = (value - half, value + half) if math.isfinite(half) else None
        line.difference = Measure(mine.name, value, unit, interval, True, "", mine.position, mine.time_s)
        pairs.append((line, sd, 2 * _tail(abs(value), sd)))
    if not pairs:
        return
    held = stats.holm([min(1.0, chance) for _, _, chance in pairs])
    left = len(pairs)
    for (line, sd, _), together in sorted(zip(pairs, held), key=lambda item: float(item[1])):
        line.differs = bool(together <= settings.level)
        # What noise may give: the size that this difference would have had to pass, those that passed left out.
        line.beyond = NormalDist().inv_cdf(1 - settings.level / (2 * left)) * sd
        left -= line.differs


def _camera(row: RowSpec, filming: FilmingReport | None, failing: Sequence[FilmingFinding]) -> Check:
    """The filming check as a row: how many findings fail."""
    seen = (
        [] if filming is None else [f for f in filming.findings if f.verdict != "not seen" and f.name not in row.ignore]
    )
    verdict: Verdict
    if not seen:
        reason = "the camera was not checked" if filming is None else "nothing of the camera could be told"
        measure = Measure(CAMERA, math.nan, "findings", valid=False, reason=reason, position=row.position)
        verdict, sentence = "not measured", f"Not measured: {reason}."
    else:
        warned = [f for f in seen if f.verdict == "warn"]
        measure = Measure(CAMERA, float(len(failing)), "findings", position=row.position)
        verdict = "out" if failing else "in"
        if failing:
            sentence = wording.filming(failing)
        elif warned:
            sentence = f"The camera can be used; it could stand better. {wording.filming(warned)}"
        else:
            sentence = wording.STANDS_WELL
    return Check(row.number, row.title, measure, (-math.inf, 0.0), verdict, sentence)


def _first(
    checks: Sequence[Check],
    lines: Sequence[_Line],
    failing: Sequence[FilmingFinding],
    view: View,
    compared: bool,
    settings: ChecklistSettings,
) -> FirstThing:
    """The earliest row that is out or differs, the camera before all."""
    if failing:
        check = next(check for check in checks if check.measure.name == CAMERA)
        return FirstThing(
            sentence="Set the camera right first; what is said of the swing may be the camera's doing. "
            + check.sentence,
            check=check,
            why="A camera that stands wrong makes a good swing look like a fault, so it comes before the swing.",
            look_for=wording.filming([failing[0]]) if not failing[0].advice else wording.stop(failing[0].advice),
            focus=CAMERA,
        )
    if not lines:
        if view not in LIMITS:
            return FirstThing(
                f"The clip was filmed {VIEW_WORDS['other']} than down the line or face on, so no row could be checked."
            )
        return FirstThing(f"The checklist has no row for a clip filmed {VIEW_WORDS[view]}, so nothing was checked.")
    found = [line for line in lines if (line.differs if compared else line.verdict == "out")]
    lead = "The first thing that differs from your reference" if compared else "Work on this first"
    if compared and not found:
        # A reference that does not show a thing says nothing of it: only there the tolerance speaks.
        found = [line for line in lines if line.verdict == "out" and line.difference and not line.difference.valid]
        lead = "Work on this first, though your reference does not show it"
    if not found:
        return FirstThing(_nothing(lines, compared, settings))
    line = min(found, key=lambda entry: entry.row.number)
    check = line.check(compared)
    side: Side = line.side or "above"
    if line.differs:
        assert line.difference is not None
        side = "above" if line.difference.value > 0 else "below"
    title = f"{line.part.title} ({line.row.title[0].lower()}{line.row.title[1:]})"
    why = line.row.why
    missed = [_name(entry) for entry in lines if entry.row.number < line.row.number and _blank(entry, compared)]
    if missed:
        why += f" What comes before it but could not be read: {_some(missed, settings)}."
    look_for = line.part.look_for(side)
    caution = line.part.caution(side)
    if caution and caution in check.sentence:
        look_for += f" {caution}"
    sentence = f"{lead}: {title}. {check.sentence}"
    if compared and not line.differs:
        sentence += " Nothing that could be compared differs from your reference."
    return FirstThing(sentence, check, why, look_for, line.part.name)


def _blank(line: _Line, compared: bool) -> bool:
    """Nothing could be said of it."""
    return line.verdict == "not measured" or bool(compared and line.difference and not line.difference.valid)


def _name(line: _Line) -> str:
    return f"{line.part.title} (row {line.row.number})"


def _some(names: Sequence[str], settings: ChecklistSettings) -> str:
    if len(names) <= settings.named:
        return wording.listed(names)
    return f"{', '.join(names[: settings.named])} and {len(names) - settings.named} more"


def _nothing(lines: Sequence[_Line], compared: bool, settings: ChecklistSettings) -> str:
    """That nothing was found, and what could not be told."""
    blank = [line for line in lines if _blank(line, compared)]
    read = len(lines) - len(blank)
    if not read:
        done = "compared" if compared else "read"
        return f"Nothing can be said: none of the {len(lines)} measures of this view could be {done}."
    counted = "the one measure" if read == 1 else f"all {read} measures"
    near = [_name(line) for line in lines if line.verdict == "unclear" and line.side is not None]
    unsure = sum(line.verdict == "unclear" for line in lines)
    if compared:
        same = "shows no difference" if read == 1 else "show no difference"
        found = f"{counted} that could be compared {same} from your reference beyond the noise."
    elif near:
        found = (
            f"none of the {read} measures that could be read is surely out of its tolerance; outside by their value "
        )
        found += f"but too near an edge to call: {_some(near, settings)}."
    else:
        inside = "lies inside its tolerance" if read == 1 else "lie inside their tolerances"
        found = f"{counted} that could be read {inside}"
        found += f", {unsure} of them as far as this clip can tell." if unsure else "."
    told = f"Nothing to work on was found: {found}"
    if blank:
        names = _some([_name(line) for line in blank], settings)
        told += f" Could not be {'compared' if compared else 'measured'}: {names}."
    return told


def _notes(spec: ChecklistSpec, view: View, filming: FilmingReport | None) -> tuple[str, ...]:
    notes = []
    for other, here in (("fo", "dtl"), ("dtl", "fo")):
        unseen = [row for row in spec.rows if row.on and row.view == other]
        if unseen and view != other:
            seen = (
                f"this clip is filmed {VIEW_WORDS[view]}" if view == here else "this clip shows neither view squarely"
            )
            which = wording.listed([f"{row.number} ({row.title})" for row in unseen])
            one = len(unseen) == 1
            notes.append(
                f"{'Row' if one else 'Rows'} {which} {'is' if one else 'are'} seen {VIEW_WORDS[other]}; {seen}."
            )
    off = [row for row in spec.rows if not row.on]
    if off:
        notes.append(f"Switched off: {wording.listed([f'row {row.number} ({row.title})' for row in off])}.")
    if view in LIMITS:
        notes.append(LIMITS[view])
    notes.append("The tolerances are common practice without a published source; a coach may keep his own.")
    return tuple(notes)
