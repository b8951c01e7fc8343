"""Templates from many recordings, and models from a coach's parameter file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from overlay import __version__
from overlay.data import Band, FilmingReport, Model, Provenance, Swing, TimeMap
from overlay.errors import ContentError, InputError
from overlay.models import is_model_file, kept_swing, load_model, tidy
from overlay.pipeline.clips import ClipOptions, inspect_clip
from overlay.pipeline.closer import look_closer
from overlay.pipeline.models import Told, now, pose_models, tidied
from overlay.progress import SILENT, Progress
from overlay.terms import VIEW_WORDS, View

if TYPE_CHECKING:
    from overlay.template import Template

Whose = Literal["", "one player", "several players"]


@dataclass(frozen=True)
class Given:
    """One swing that a template may be made of."""

    label: str
    swing: Swing
    filming: FilmingReport | None = None


def build_model(
    paths: Sequence[Path],
    told: Told,
    options: ClipOptions | None = None,
    *,
    whose: Whose = "",
    progress: Progress = SILENT,
) -> Model:
    """The middle of all swings of several recordings and model files, in each view in which there are two or more.

    Parameters
    ----------
    paths : sequence of Path
        Clips, folders of stills, saved tracks and model files (.swing); all swings of a recording count.
    told : Told
        No pictures are kept of a template: nobody looks like the middle of several.
    options : ClipOptions
        What holds for all clips.
    whose : "one player", "several players" or ""
        Whose swings they are; said beside the variation.
    progress : Progress

    Raises
    ------
    InputError
        A file cannot be read, there are fewer than two swings of every view, or a model is in space.
    ContentError
        Too few swings are left once those that do not belong are out; the message says which and why.
    """
    from overlay.template import build_template

    left_out: list[str] = []
    given: dict[View, list[Given]] = {"dtl": [], "fo": []}
    for one in _swings(paths, options or ClipOptions(), left_out, progress):
        if one.swing.view == "other":
            left_out.append(f"{one.label}: it is filmed from another angle than down the line or face on")
        else:
            given[one.swing.view].append(one)
    usable = {view: found for view, found in given.items() if len(found) > 1}
    if not usable:
        _too_few(given, left_out)
    for view, found in given.items():
        if len(found) == 1:
            left_out.append(f"{found[0].label}: it is the only swing filmed {VIEW_WORDS[view]}")
    made: dict[View, Template] = {}
    kept: dict[View, list[Given]] = {}
    filming: dict[View, FilmingReport] = {}
    for view, found in usable.items():
        template = build_template(
            [one.swing for one in found], [one.label for one in found], of=whose, progress=progress
        )
        made[view] = template
        kept[view] = [found[i] for i in template.kept]
        left_out += [tidy(f"{found[i].label}: {reason}", 1000) for i, reason in template.left_out]
        report = found[template.medoid].filming
        if report is not None:
            filming[view] = report
    swings = _of_one_hand({view: template.swing for view, template in made.items()})
    n = sum(len(found) for found in kept.values())
    return Model(
        name=told.name,
        kind="template",
        swings=swings,
        bands={view: _of(template.band, whose) for view, template in made.items()},
        filming=filming,
        pair_map=in_step(swings),
        club_kind=tidy(told.club_kind, 100),
        player=tidy(told.player, 100),
        provenance=Provenance(
            made_at=now(),
            made_by=f"overlay {__version__}",
            pose_model=pose_models([one.swing for found in kept.values() for one in found]),
            sources=tuple(one.label for found in kept.values() for one in found),
            left_out=tuple(left_out),
            label=f"The middle of {n} recorded swings{f' of {whose}' if whose else ''}, not a norm.",
            notes=(tidy(told.note, 1000),) if told.note.strip() else (),
        ),
    )


def _swings(paths: Sequence[Path], options: ClipOptions, left_out: list[str], progress: Progress) -> Iterator[Given]:
    """Every swing of every recording and model, looked at closely."""
    for number, path in enumerate(paths, 1):
        if is_model_file(path):
            model = load_model(path)
            if model.kind == "space":
                raise InputError(
                    f"{path.name} is a swing in space: it cannot be among those a template is made of.",
                    "Give swings that were filmed.",
                )
            for swing in model.swings.values():
                yield Given(tidy(f"{path.name}, {VIEW_WORDS[swing.view]}"), swing, model.filming.get(swing.view))
            continue
        told = _Counted(progress, f"{number} of {len(paths)}: ") if len(paths) > 1 else progress
        try:
            inspection = inspect_clip(path, options, progress=told)
        except ContentError as error:
            left_out.append(tidy(f"{path.name}: {error.message.removeprefix(f'{path.name}: ')}", 1000))
            continue
        for found in inspection.swings:
            label = tidy(f"{path.name}, swing {found.swing_number}")
            try:
                inspection = look_closer(inspection, found.swing_number, options, progress=told)
            except ContentError as error:
                left_out.append(tidy(f"{label}: {error.message}", 1000))
                continue
            closer = inspection.closer[found.swing_number]
            yield Given(label, kept_swing(inspection.chosen(found.swing_number)), tidied(closer.filming))


class _Counted:
    """Progress that says which of many clips it is about."""

    def __init__(self, inner: Progress, before: str) -> None:
        self._inner = inner
        self._before = before

    def stage(self, name: str, total: float | None = None) -> None:
        self._inner.stage(f"{self._before}{name}", total)

    def advance(self, amount: float = 1.0) -> None:
        self._inner.advance(amount)

    def done(self) -> None:
        self._inner.done()


def _too_few(given: dict[View, list[Given]], left_out: Sequence[str]) -> None:
    found = ", ".join(f"{len(swings)} {VIEW_WORDS[view]}" for view, swings in given.items())
    why = f" Left out: {'; '.join(left_out)}." if left_out else ""
    raise InputError(
        f"A template is made of two swings or more of one view; found were {found}.{why}",
        "Give more clips, or keep the one swing with `overlay model save`.",
    )


def _of(band: Band, whose: Whose) -> Band:
    return band if band.of == whose else replace(band, of=whose)


def _of_one_hand(swings: dict[View, Swing]) -> dict[View, Swing]:
    """Both views of one hand: the face-on one is mirrored where its middle happens to be of the other."""
    from overlay.template.members import mirrored

    if len({swing.handedness for swing in swings.values()}) < 2:
        return swings
    return {**swings, "fo": mirrored(swings["fo"])}


def in_step(swings: dict[View, Swing]) -> TimeMap | None:
    """Down-the-line → face-on time that brings the positions both have together; None with one view or none shared."""
    if not {"dtl", "fo"} <= set(swings):
        return None
    one, other = swings["dtl"].positions.times(), swings["fo"].positions.times()
    shared = [name for name in one if name in other]
    if len(shared) < 2:
        return None
    return TimeMap(
        np.array([one[name] for name in shared]),
        np.array([other[name] for name in shared]),
        {"one_swing": 0.0},
        notes=("Both views are in step at the positions.",),
    )


# --- a coach's own numbers ---


def derive_model(path: Path, told: Told, *, quick: bool = False, progress: Progress = SILENT) -> Model:
    """A swing in space made from a parameter file.

    ``quick`` leaves out how much such a swing varies, which takes longest and is not looked at in a preview.

    Raises
    ------
    InputError
        The file cannot be read, or its numbers are out of range or not possible together.
    """
    from overlay.maker import load_parameters, make_model

    parameters = load_parameters(path)
    model = (
        make_model(parameters, told.name, bands=None, progress=progress)
        if quick
        else make_model(parameters, told.name, progress=progress)
    )
    made = model.provenance
    return replace(
        model,
        player=tidy(told.player, 100) or model.player,
        club_kind=tidy(told.club_kind, 100) or model.club_kind,
        provenance=replace(
            made,
            made_at=made.made_at or now(),
            sources=made.sources or (tidy(path.name),),
            notes=(*made.notes, tidy(told.note, 1000)) if told.note.strip() else made.notes,
        ),
    )
