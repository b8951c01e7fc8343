"""What the cameras could explain, in a coach's words: the same sentences in the terminal and in the report."""

from __future__ import annotations

from overlay.data import CameraPart, Comparison, PhaseDifference
from overlay.explain.beyond import beyond, found, is_known, part_of
from overlay.explain.reference import in_usual_spread
from overlay.settings.explain import ExplainSettings
from overlay.settings.fit import FIT
from overlay.terms import words

PLURAL = ("hands", "shoulders")

AGAIN = "film again from the same place before believing it"

UNKNOWN = (
    "Where a camera stood could not be estimated: how much of the differences it could explain is not known, and "
    "nothing can be ruled out."
)


def _length(value: float) -> str:
    return f"{value:.2f}"


def camera_sentence(part: CameraPart, row: PhaseDifference | None = None, *, advice: bool = True) -> str:
    """One difference: how much of it the cameras could explain.

    ``row`` is the difference itself; without it its length is taken from the part. ``advice`` adds what to do where
    they could explain all of it.
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
        return f"The cameras could explain all of the {size} that {what}{f': {AGAIN}' if advice else ''}."
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
        parts = [part_of(comparison, row) for row in seen]
        if all(part is not None and part.share >= ExplainSettings().whole_share for part in parts):
            return f"The cameras could explain all of it: {AGAIN}."
        none = "the difference does not stand" if len(seen) == 1 else f"none of the {len(seen)} differences stands"
        return f"With the cameras taken into account {none} out from the noise: {AGAIN}."
    if len(left) == len(seen):
        stay = {1: "The difference stays", 2: "Both differences stay"}.get(len(seen))
        return f"{stay or f'All {len(seen)} differences stay'} when the cameras are taken into account."
    gone = len(seen) - len(left)
    rest = "one does" if gone == 1 else f"{gone} do"
    return (
        f"{len(left)} of {len(seen)} differences {'stays' if len(left) == 1 else 'stay'} when the cameras are taken "
        f"into account; the other {rest} not stand out any more. What is named first and as clearest is chosen among "
        "those that stay."
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
            lines.append(camera_sentence(part, row, advice=False))
    return tuple(lines)


def poor_fit(comparison: Comparison) -> str:
    """That a swing in space could not be brought near the student, "" when it could: then its differences are no news.

    The picture may be another view than was taken, the player of the other hand, or the pose unsure.
    """
    fit = comparison.fit
    if fit is None or fit.kind != "space" or not fit.residual > FIT.poor_residual:
        return ""
    return (
        "The model does not come near the student's address, so the differences may well come from that. Look whether "
        "view and hand were found rightly, and say them by hand if not."
    )


def first_caution(comparison: Comparison) -> str:
    """What to know before believing the difference that is named first; "" when there is nothing."""
    row = comparison.first
    if row is None:
        return ""
    part = part_of(comparison, row)
    said = [poor] if (poor := poor_fit(comparison)) else []
    if part is not None and (not is_known(part) or round(part.could_explain, 2) > 0):
        said.append(UNKNOWN if not is_known(part) else camera_sentence(part, row))
    if in_usual_spread(comparison, row):
        said.append("The template's own swings differ among themselves by as much.")
    return " ".join(said)
