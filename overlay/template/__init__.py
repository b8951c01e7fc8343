"""One swing made of several: the middle of them, in real seconds, and how much they vary.

Medoid → every swing aligned to it → mean timing and robust mean of every joint → aligned again to that mean. Swings
that do not belong are named with a reason and left out. Method and figures: docs/templates.md.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Mapping

import numpy as np

from overlay.align import align
from overlay.data import Band, Swing, TimeMap
from overlay.errors import ContentError, InputError, MismatchError, OverlayError
from overlay.kinematics import body_height, torso_length
from overlay.models.keeping import REAL_TIME
from overlay.progress import SILENT, Progress
from overlay.score.band import band_of, cell_offsets
from overlay.settings.template import TemplateSettings
from overlay.template.average import Clock, mean_clock, mean_pose, mean_positions
from overlay.template.extras import mean_club, mean_strike
from overlay.template.medoid import medoid, same_recording, swing_distances
from overlay.template.members import Member, fitted_to, member_of, mirrored, placed, put_together, still_pose
from overlay.template.outliers import address_by_alignment, doubt_addresses, judge
from overlay.terms import VIEW_WORDS

__all__ = ["Template", "build_template"]


@dataclass(frozen=True)
class Template:
    """A template and what it was made of.

    Attributes
    ----------
    swing : Swing
        The mean: clip None, real seconds from 0, view and hand of the medoid, px of the medoid's picture.
    band : Band
    kept : tuple of int
        Which of the given swings are in it.
    left_out : tuple of (index, reason)
        Which are not, and why, in a coach's words.
    medoid : int
        Which of the given swings lies in the middle; its picture is the template's.
    maps : tuple of TimeMap
        Template time to the clip time of each kept swing.
    diagnostics : mapping
        Named numbers.
    """

    swing: Swing
    band: Band
    kept: tuple[int, ...]
    left_out: tuple[tuple[int, str], ...] = ()
    medoid: int = 0
    maps: tuple[TimeMap, ...] = ()
    diagnostics: Mapping[str, float] = field(default_factory=dict)


def build_template(
    swings: Sequence[Swing],
    labels: Sequence[str],
    *,
    of: str = "",
    settings: TemplateSettings | None = None,
    progress: Progress = SILENT,
) -> Template:
    """The middle of several swings of one view.

    Parameters
    ----------
    swings : sequence of Swing
        Two or more, cleaned, with positions; of any size, hand, place of the camera, frame rate and slow factor. With
        ``club`` and ``strike`` where they are known.
    labels : sequence of str
        How each is named when something is said of it.
    of : "one player", "several players" or ""
        Whose swings they are: players may differ in single parts, one player's swings may not. Goes into the band.

    Raises
    ------
    InputError
        Fewer than two different swings, or not one label a swing.
    MismatchError
        The views differ.
    ContentError
        Too few swings are left once those that do not belong are out; the message says which and why.
    """
    settings = settings or TemplateSettings()
    _check(swings, labels)
    out: dict[int, str] = {}
    usable = _members(swings, labels, out, settings)
    members = _distinct(usable, out, settings)
    if len(members) < 2:
        _refuse(out, labels, len(swings), len(members))
    distinct = len(swings) - (len(usable) - len(members))
    progress.stage("making the template", total=float(settings.rounds + 1))
    middle, centre, members, maps = _first(members, out, labels, distinct, of, settings, progress)
    clock, template = _average(centre, members, maps, settings, finer=True)
    for _ in range(settings.rounds - 1):
        members = _placed_on(template, members, settings)
        maps = _aligned(template, members, settings)
        clock, template = _average(template, members, maps, settings, finer=True)
        progress.advance()
    maps = tuple(_member_map(clock, i) for i in range(len(members)))
    offsets = cell_offsets(template, [m.swing for m in members], maps, settings=settings.score)
    band = band_of(offsets, of=of, settings=settings.score)
    swing = _finished(template, clock, members, middle, settings)
    progress.done()
    return Template(
        swing,
        band,
        tuple(member.index for member in members),
        tuple(sorted(out.items())),
        middle.index,
        tuple(
            TimeMap(m.student_s, m.reference_s * member.slow_factor, outer_slope=member.slow_factor)
            for m, member in zip(maps, members)
        ),
        _diagnostics(maps, offsets, members),
    )


def _check(swings: Sequence[Swing], labels: Sequence[str]) -> None:
    if len(swings) != len(labels):
        raise InputError(f"{len(swings)} swings come with {len(labels)} labels.", "Give one label a swing.")
    if len(swings) < 2:
        raise InputError(
            f"A template is made of two swings or more, not of {len(swings)}.",
            "Give more swings, or keep the one as a model of its own.",
        )
    for swing, label in zip(swings, labels):
        if swing.view != swings[0].view:
            raise MismatchError(
                f"{label} is filmed {VIEW_WORDS[swing.view]}, {labels[0]} {VIEW_WORDS[swings[0].view]}.",
                "Make one template a view; if a view was taken wrongly, say so.",
            )


def _members(
    swings: Sequence[Swing], labels: Sequence[str], out: dict[int, str], settings: TemplateSettings
) -> list[Member]:
    members = []
    for i, (swing, label) in enumerate(zip(swings, labels)):
        try:
            members.append(member_of(i, label, swing, settings))
        except ContentError as error:
            out[i] = f"it {error.message}"
    return members


def _distinct(members: list[Member], out: dict[int, str], settings: TemplateSettings) -> list[Member]:
    """The members without those that were given before."""
    kept: list[Member] = []
    for member in members:
        twin = next((other for other in kept if same_recording(other.given, member.given, settings)), None)
        if twin is None:
            kept.append(member)
        else:
            out[member.index] = f"the same swing as {twin.label}, counted once"
    return kept


def _refuse(out: Mapping[int, str], labels: Sequence[str], given: int, left: int) -> None:
    said = "; ".join(f"{labels[i]}: {reason}" for i, reason in sorted(out.items()))
    only = "none" if left == 0 else f"only {left}"
    raise ContentError(
        f"Of {given} swings {only} can be put together. {said}.",
        "Give swings of one kind, each once, filmed from the same side with the whole body in the picture.",
    )


def _aligned(centre: Swing, members: Sequence[Member], settings: TemplateSettings) -> tuple[TimeMap, ...]:
    return tuple(align(centre, member.swing, settings=settings.align) for member in members)


def _placed_on(template: Swing, members: Sequence[Member], settings: TemplateSettings) -> list[Member]:
    pose = still_pose(template, settings)
    return [put_together(member, pose, settings) for member in members]


def _average(
    centre: Swing,
    members: Sequence[Member],
    maps: Sequence[TimeMap],
    settings: TemplateSettings,
    *,
    finer: bool = False,
) -> tuple[Clock, Swing]:
    """The mean of the members as the maps lay them on each other, a swing in the common frame.

    ``finer``: the centre is a mean already, on which what is left of each member is laid.
    """
    clock = mean_clock(centre, members, maps, settings)
    mean = mean_pose(members, clock, settings, centre.pose if finer else None)
    positions = mean_positions(members, clock, settings)
    swing = replace(
        members[0].swing,
        pose=mean.pose,
        positions=positions,
        club=None,
        strike=None,
        quality={},
        notes=(),
        torso_px=torso_length(mean.pose),
        swing_number=1,
    )
    return clock, swing


def _first(
    members: list[Member],
    out: dict[int, str],
    labels: Sequence[str],
    distinct: int,
    of: str,
    settings: TemplateSettings,
    progress: Progress,
) -> tuple[Member, Swing, list[Member], tuple[TimeMap, ...]]:
    """The middle swing and a first mean of those that belong together; the others are put into ``out``.

    The worst are taken out first and the rest judged again, since a swing that does not belong widens the spread and
    draws the middle.
    """
    given = members = doubt_addresses(members, settings)
    apart = swing_distances(given, settings)
    fits: dict[tuple[int, int], Member] = {}
    while True:
        rows = [given.index(member) for member in members]
        middle = members[medoid(members, apart[np.ix_(rows, rows)])]
        for member in members:
            if (middle.index, member.index) not in fits:
                fits[middle.index, member.index] = fitted_to(middle, member, settings)
        fitted = [fits[middle.index, member.index] for member in members]
        placed_on = _placed_on(middle.swing, fitted, settings)
        usable, maps = [], []
        for member in placed_on:
            try:
                maps.append(align(middle.swing, member.swing, settings=settings.align))
                usable.append(member)
            except OverlayError as error:
                out[member.index] = f"it cannot be aligned to the others: {error.message}"
        members = usable
        if len(members) < max(2, math.ceil(distinct / 2)):
            _refuse(out, labels, len(labels), len(members))
        _, template = _average(middle.swing, members, maps, settings)
        members = _placed_on(template, members, settings)
        found = _aligned(template, members, settings)
        members = [address_by_alignment(template, member, own) for member, own in zip(members, found)]
        offsets = cell_offsets(template, [m.swing for m in members], found, settings=settings.score)
        reasons = judge(template, members, found, offsets, settings, of)
        progress.advance()
        if not any(reasons):
            return next(m for m in members if m.index == middle.index), template, members, found
        out.update({member.index: reason for member, reason in zip(members, reasons) if reason})
        # Judged again from how they came: another swing may lie in the middle now.
        members = [m for m in given if m.index not in out]
        if len(members) < max(2, math.ceil(distinct / 2)):
            _refuse(out, labels, len(labels), len(members))


def _member_map(clock: Clock, i: int) -> TimeMap:
    """Template time to the member's, a knot every 25 ms."""
    step = max(1, round(0.025 / (clock.time_s[1] - clock.time_s[0])))
    return TimeMap(clock.time_s[::step], clock.member_s[i, ::step])


def _finished(
    template: Swing, clock: Clock, members: Sequence[Member], middle: Member, settings: TemplateSettings
) -> Swing:
    """The template with club and strike, in the medoid's picture."""
    swing = replace(
        template,
        club=mean_club(members, clock, settings),
        strike=mean_strike(members, template.positions, settings),
    )
    middle = put_together(middle, still_pose(template, settings), settings)
    swing = placed(swing, 1.0 / middle.scale, -middle.shift / middle.scale)
    swing = replace(swing, pose=replace(swing.pose, image_size=middle.given.pose.image_size))
    if middle.given.handedness == "left":
        swing = mirrored(swing)
    address = swing.positions.time("address")
    heights = body_height(swing.pose)
    at = 0 if address is None else int(np.argmin(np.abs(swing.pose.time_s - address)))
    known = any(member.clock_known for member in members)
    notes = [] if known else ["No clip says how fast it was filmed: the template's times are judged from its tempo."]
    few = len(members) < 5
    if few:
        seen = VIEW_WORDS[swing.view]
        notes.append(f"Made of {len(members)} swings {seen}: how much they vary is known only roughly.")
    return replace(
        swing,
        view_confidence=float(np.mean([m.given.view_confidence for m in members])),
        handedness_confidence=float(np.mean([m.given.handedness_confidence for m in members])),
        torso_px=torso_length(swing.pose),
        quality={
            "swings": float(len(members)),
            "slow_factor_estimate": 1.0,
            "filled_share": round(float(np.mean(swing.pose.filled)), 3),
            "person_height_px": round(float(heights[at]), 1),
            REAL_TIME: float(known),
        },
        notes=tuple(notes),
        pose=replace(swing.pose, model=middle.given.pose.model, log=(f"mean of {len(members)} swings",)),
    )


def _diagnostics(maps: Sequence[TimeMap], offsets: np.ndarray, members: Sequence[Member]) -> dict[str, float]:  # type: ignore[type-arg]
    slopes = [time_map.slopes() for time_map in maps]
    seen = offsets[np.isfinite(offsets[..., 0])]
    return {
        "swings": float(len(members)),
        "slope_min": float(min(s.min() for s in slopes)),
        "slope_max": float(max(s.max() for s in slopes)),
        "spread": float(np.sqrt(np.mean(seen**2))) if len(seen) else float("nan"),
        "clocks_known": float(sum(member.clock_known for member in members)),
    }
