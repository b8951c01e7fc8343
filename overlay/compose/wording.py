"""The comparison in sentences: the same words in the video, the stills and the report."""

from __future__ import annotations

import math
import re

from overlay.data import Band, Comparison, FirstThing, PhaseDifference
from overlay.terms import PHASES, View, words

PLURAL = ("hands", "shoulders")


def size_words(row: PhaseDifference) -> str:
    """How large a difference is: torso lengths, and centimetres where stature was given."""
    text = f"{row.value:.2f} torso lengths"
    if row.value_cm is not None and math.isfinite(row.value_cm):
        text += f" ({row.value_cm:.0f} cm)"
    return text


def direction_words(row: PhaseDifference, view: View) -> str:
    """Which way the student is off, "" when not known. A component under half of the whole is not named."""
    x, y = row.offset
    length = math.hypot(x, y)
    if not math.isfinite(length) or length == 0:
        return ""
    sideways = {
        "fo": ("towards the target", "away from the target"),
        "dtl": ("towards the ball", "away from the ball"),
    }.get(view, ("to the right", "to the left"))
    found = []
    if abs(y) >= length / 2:
        found.append("lower" if y > 0 else "higher")
    if abs(x) >= length / 2:
        found.append(sideways[0] if x > 0 else sideways[1])
    return " and ".join(found)


def difference_sentence(row: PhaseDifference, view: View, against: str = "the reference") -> str:
    """One difference as a sentence without judging it; ``against`` is how the other swing is called."""
    verb = "are" if row.part in PLURAL else "is"
    way = direction_words(row, view)
    text = f"In the {words(row.phase)} the {words(row.part)} {verb} {size_words(row)} from {against}"
    text += f", {way}" if way else ""
    return f"{text}: a {row.words} difference."


def headline(comparison: Comparison, against: str = "the reference") -> str:
    """The answer in one sentence: where the student first differs, and how much."""
    if comparison.first is not None:
        return difference_sentence(comparison.first, comparison.student.view, against)
    scored = {row.phase for row in comparison.differences if row.words != "not scored"}
    if not scored:
        return "Nothing could be scored."
    left_out = [words(phase.name) for phase in PHASES if phase.name not in scored]
    if left_out:
        return f"No difference detected. Not scored: {', '.join(left_out)}."
    return "No difference detected in any phase."


def largest_sentence(comparison: Comparison) -> str:
    """The largest difference, "" when it is the first one or there is none."""
    row = comparison.largest
    if row is None or row == comparison.first:
        return ""
    return difference_sentence(row, comparison.student.view)


def confidence_words(confidence: float) -> str:
    """A confidence from 0 to 1 as a word and a percentage."""
    word = "sure" if confidence >= 0.8 else "fairly sure" if confidence >= 0.5 else "unsure"
    return f"{word}, {confidence:.0%}"


def reference_name(comparison: Comparison, label: str = "") -> str:
    """How the reference is called in pictures: as told, else by the model's name."""
    model = comparison.reference_model
    return label or ("Reference" if model is None else model.name.replace("_", " "))


def reference_label(comparison: Comparison) -> str:
    """The sentence that is shown wherever the model is, "" when it has none."""
    model = comparison.reference_model
    return "" if model is None else model.provenance.label.strip()


def reference_band(comparison: Comparison) -> Band | None:
    """How far the swings behind the reference stray in the view that is shown; None where that is not known."""
    model = comparison.reference_model
    return None if model is None else model.bands.get(comparison.reference.view)


def sentences(text: str) -> list[str]:
    """The sentences of a text, each with its stop.

    >>> sentences("One thing. Is 0.5 another? Yes")
    ['One thing.', 'Is 0.5 another?', 'Yes']
    """
    return [sentence for sentence in re.split(r"(?<=[.!?]) +", text.strip()) if sentence]


def first_parts(first: FirstThing) -> tuple[str, str]:
    """What to work on first as a head line and the rest of its sentence.

    The head line names the thing, or says that there is nothing; the rest tells the numbers.
    """
    sentence = first.sentence.strip()
    if first.check is None:
        head, colon, rest = sentence.partition(": ")
        return (f"{head}.", rest[:1].upper() + rest[1:]) if colon else (sentence, "")
    head, *rest_of = sentences(sentence)
    return head, " ".join(rest_of)


def short_first(first: FirstThing) -> str:
    """What to work on first, as short as a moving picture allows: what it is, and what was read.

    The report holds the rest: tolerance, reference, what to look for.
    """
    head, rest = first_parts(first)
    if first.check is None:
        # The scores beside it may well show a difference: this is the checklist's word alone.
        return f"Checklist: {head[:1].lower()}{head[1:]}"
    if not rest:
        return head
    read = re.split(r"[;:] |(?<=[.!?]) +", rest)[0].rstrip(".!?")
    return f"{head} {read}."
