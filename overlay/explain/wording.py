"""What the cameras could explain, in a coach's words: the same sentences in the terminal and in the report."""

from __future__ import annotations

from overlay.data import CameraPart, Comparison, PhaseDifference
from overlay.explain.beyond import beyond, found, is_known, part_of
from overlay.settings.explain import ExplainSettings
from overlay.terms import words

PLURAL = ("hands", "shoulders")

AGAIN = "film again from the same place before believing it"

UNKNOWN = (
    "Where a camera stood could not be estimated: how much of the differences it could explain is not known, and "
    "nothing can be ruled out."
)


def _length(value: float) -> str:
    return f"{value:.2f}"


def camera_sentence(part: CameraPart, row: PhaseDifference | None = None) -> str:
    """One difference: how much of it the cameras could explain.

    ``row`` is the difference itself; without it its length is taken from the part.
    """
    verb = "differ" if part.part in PLURAL else "differs"
    what = f"the {words(part.part)} {verb} in the {words(part.phase)}"
    whole = row.value if row is not None else part.could_explain / part.share if part.share > 0 else 0.0
    size = f"{_length(whole)} torso lengths"
    if not is_known(part):
        return (
            f"Of the {size} that {what}, nobody can say what the cameras explain: one of them could not be estimated."
        )
    settings = ExplainSettings()
    if part.share >= settings.whole_share:
        return f"The cameras could explain all of the {size} that {what}: {AGAIN}."
    if round(part.could_explain, 2) <= 0:
        return f"Of the {size} that {what}, the cameras explain nothing: they would show it smaller."
    return f"Of the {size} that {what}, the cameras could explain up to {_length(part.could_explain)}."


def cameras_note(comparison: Comparison, left: tuple[PhaseDifference, ...] | None = None) -> str:
    """The cameras' part of the whole comparison in one or two sentences; "" when there is nothing to say.

    ``left`` are the differences beyond the cameras, where they are known already.
    """
    seen = found(comparison)
    if not comparison.camera_parts or not seen:
        return ""
    if not any(is_known(part) for part in comparison.camera_parts):
        return UNKNOWN
    left = beyond(comparison) if left is None else left
    if not left:
        them = "the difference" if len(seen) == 1 else f"all {len(seen)} differences"
        return f"The cameras could explain {them}: {AGAIN}."
    if len(left) == len(seen):
        one = "The difference stays" if len(seen) == 1 else f"All {len(seen)} differences stay"
        return f"{one} when the cameras are taken into account."
    gone = len(seen) - len(left)
    return (
        f"{len(left)} of {len(seen)} differences {'stays' if len(left) == 1 else 'stay'} when the cameras are taken "
        f"into account; the cameras could explain the other{'' if gone == 1 else f' {gone}'}. What is named first and "
        "as clearest is chosen among those that stay."
    )


def camera_lines(comparison: Comparison, settings: ExplainSettings | None = None) -> tuple[str, ...]:
    """Summary and a sentence for the differences that matter most: the first, the clearest, the most explained."""
    settings = settings or ExplainSettings()
    note = cameras_note(comparison)
    if not note or note == UNKNOWN:
        return (note,) if note else ()
    seen = found(comparison)
    most = sorted(seen, key=lambda row: -getattr(part_of(comparison, row), "share", 0.0))
    named = [row for row in (comparison.first, comparison.largest, *most) if row is not None]
    lines = [note]
    for row in dict.fromkeys(named):
        part = part_of(comparison, row)
        if part is not None and len(lines) <= settings.told:
            lines.append(camera_sentence(part, row))
    return tuple(lines)
