"""The one thing to work on over both views of a swing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from overlay.data import Checklist, FirstThing
from overlay.errors import DataError
from overlay.terms import VIEW_WORDS, View

ORDER: tuple[View, ...] = ("dtl", "fo", "other")
"""Of two views that find something in the same row the first of these is named."""


def joint_first(checklists: Mapping[View, Checklist]) -> FirstThing:
    """What comes first over both views: the earliest row decides, wherever it is seen.

    A camera that is set wrong (row 1) comes before the swing, but only for the view it films: when the other view
    stands well and finds something, that is still told after it.

    Parameters
    ----------
    checklists : mapping view → Checklist

    Returns
    -------
    FirstThing
        The check, its reasons and what to look for are those of the view that found it, and the sentence names the
        view.

    Raises
    ------
    DataError
        There is no checklist.
    """
    if not checklists:
        raise DataError("There is no checklist to choose from.", "Give that of one view at least.")
    views = [view for view in ORDER if view in checklists]
    if len(views) == 1:
        return checklists[views[0]].first
    found: list[tuple[int, int, View, FirstThing]] = []
    for place, view in enumerate(views):
        first = checklists[view].first
        if first.check is not None:
            found.append((first.check.row, place, view, first))
    if not found:
        told = " ".join(_told(view, checklists[view]) for view in views)
        return FirstThing(f"{_nothing(checklists, views)}: {told[:1].lower()}{told[1:]}")
    _, _, view, first = min(found, key=lambda entry: entry[:2])
    why = first.why
    other = next(name for name in views if name != view)
    if checklists[other].first.check is None:
        why = f"{why} {_told(other, checklists[other])}".strip()
    return replace(first, sentence=f"{first.sentence} (Seen {VIEW_WORDS[view]}.)", why=why)


def _nothing(checklists: Mapping[View, Checklist], views: list[View]) -> str:
    """The head line where no view found anything."""
    if any(checklists[view].checks for view in views):
        return "Nothing to work on was found in either view"
    return "Nothing could be checked in either view"


def _told(view: View, checklist: Checklist) -> str:
    """What one view says where it found nothing, as one sentence or more that names the view."""
    told = checklist.first.sentence
    lead = "Nothing to work on was found: "
    told = told.removeprefix(lead)
    return f"{VIEW_WORDS[view].capitalize()}, {told[:1].lower()}{told[1:]}"
