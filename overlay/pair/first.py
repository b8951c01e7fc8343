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
        return FirstThing(" ".join(f"{_seen(view)} {checklists[view].first.sentence}" for view in views))
    _, _, view, first = min(found, key=lambda entry: entry[:2])
    why = first.why
    missed = [other for other in views if other != view and checklists[other].first.check is None]
    if missed:
        told = checklists[missed[0]].first.sentence
        why = f"{why} {_seen(missed[0])} {told}".strip()
    return replace(first, sentence=f"{first.sentence} (Seen {VIEW_WORDS[view]}.)", why=why)


def _seen(view: View) -> str:
    return f"{VIEW_WORDS[view].capitalize()}:"
