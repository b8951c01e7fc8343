"""How much of a change between sessions could come from the camera standing elsewhere.

The filming check says for each session where its camera stood. Baseline and later sessions differ by a shift of the
camera, known within limits. A few usual swings are looked at through both cameras, and the very code that reads a clip
reads both pictures: the difference is what the shift alone does to the measure. ``docs/progress.md`` says what is left
out and what it is worth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np

from overlay.arrays import FloatArray
from overlay.data import CameraShift, DifferenceName, SessionCamera, SpaceTrack
from overlay.errors import DataError
from overlay.explain.session_looking import (
    DISTANCE_STATURES,
    Held,
    Moved,
    Values,
    cell_moved,
    films_the_view,
    measure_moved,
)
from overlay.explain.session_shift import FINDINGS, Shift, shifts_between
from overlay.explain.session_words import AGAIN, NO_TIME, sentence, unseen_words
from overlay.measure import DEFINITIONS
from overlay.settings.explain import SessionCameraSettings
from overlay.settings.filming import FilmingSettings
from overlay.terms import View

TIMES = ("tempo_ratio", "backswing_s", "downswing_s")
"""Measures of time."""


class Changed(Protocol):
    """A change with its 95 % interval, as a ``Holding`` has it."""

    @property
    def change(self) -> float: ...

    @property
    def interval(self) -> tuple[float, float]: ...


def camera_shift(
    measure: str,
    view: View,
    change: Changed,
    baseline: Sequence[SessionCamera],
    later: Sequence[SessionCamera],
    *,
    space: SpaceTrack,
    others: Sequence[SpaceTrack] | None = None,
    stature_cm: float | None = None,
    difference: tuple[float, float] | None = None,
    own_camera: bool = False,
    settings: SessionCameraSettings | None = None,
) -> CameraShift:
    """What of a change could be the camera's.

    Parameters
    ----------
    measure : str
        A measure's name, one of ``TIMES``, or a difference's (``hands.backswing.x``).
    view : View
    change : Holding or the like
        Its ``change`` (later minus baseline) and the 95 % ``interval`` of it, in the measure's unit.
    baseline, later : sequence of SessionCamera
        One a session. A session without findings counts as filmed from anywhere usual.
    space : SpaceTrack
        Some usual swing of the kind that was filmed, of either hand.
    others : sequence of SpaceTrack, optional
        Further ones, which say how far another swing shows another effect; the shipped models with another club when
        left out.
    stature_cm : float, optional
        What the filming check was told; the usual one when it was told nothing.
    difference : (right, down), optional
        For the size of a difference: the mean signed difference of the baseline sessions, torso lengths. Without it the
        cameras may have acted along it, which is then taken to be so.
    own_camera : bool
        For a difference to a swing in space: it was looked at through each clip's own camera, so that the shift itself
        drops out and only what is unsure about it stays.
    settings : SessionCameraSettings

    Returns
    -------
    CameraShift
        ``vetoes`` only where ``interval`` shows a change, and what the cameras leave of it, with both uncertainties
        together, is none. A finding that agrees within what the same marks give adds no uncertainty there: a camera
        put up on the same marks every time scatters about them, and that scatter the sessions show themselves.

    Raises
    ------
    DataError
        The stature is not that of a person, or the measure's name is a difference's and holds no part and phase.
    """
    settings = settings or SessionCameraSettings()
    if stature_cm is not None and not (math.isfinite(stature_cm) and 80 <= stature_cm <= 250):
        raise DataError(f"A stature of {stature_cm} cm is not possible.", "Give the player's height in centimetres.")
    name = DifferenceName.parse(measure)
    shifts = shifts_between(baseline, later, view, settings)
    told = tuple((shift.finding, shift.value, shift.sd, shift.unit) for shift in shifts if shift.is_seen)
    is_change = _is_change(change)
    if measure in TIMES:
        return CameraShift(told, 0.0, 0.0, 0.0, False, NO_TIME)
    looked = _looked(measure, view, name, shifts, space, others, stature_cm)
    whole = abs(change.change) if math.isfinite(change.change) else 0.0
    if not looked:
        return _unreadable(measure, told, shifts, whole, is_change, settings)
    share = settings.movement_shares.get(measure, settings.movement_share)
    acting = _effect(looked, shifts, name, difference, change.change, own_camera, stature_cm, share, settings)
    effect, sd = acting.effect, acting.sd
    along = math.copysign(1.0, change.change) * effect if whole else effect
    could = min(max(0.0, along + _quantile(settings.bound) * sd), whole)
    vetoes = is_change and _left_is_nothing(change, along, acting.sd_of_moved, settings)
    named = _named(shifts, acting.pulls, settings)
    text = sentence(
        measure, _unit(measure, name), view, shifts, named, change.change if whole else 0.0, effect, could, vetoes, name
    )
    return CameraShift(told, effect, sd, could, vetoes, text)


def _unit(measure: str, name: DifferenceName | None) -> str:
    return "torso" if name is not None else next(d.unit for d in DEFINITIONS if d.name == measure)


def _quantile(level: float) -> float:
    from statistics import NormalDist

    return NormalDist().inv_cdf(level)


def _is_change(change: Changed) -> bool:
    """Whether the interval says so: it holds no 0."""
    low, high = change.interval
    return math.isfinite(low) and math.isfinite(high) and math.isfinite(change.change) and (low > 0 or high < 0)


def _left_is_nothing(change: Changed, along: float, sd: float, settings: SessionCameraSettings) -> bool:
    """Whether the change less the cameras' effect is not beyond 0 in the change's own direction.

    The two are estimated from different things, swings and set-ups, so their uncertainties add as squares. A camera
    that hides part of a change makes what is left larger.
    """
    low, high = change.interval
    half = math.hypot((high - low) / 2, _quantile(0.5 + settings.level / 2) * sd)
    return abs(change.change) - along <= half


@lru_cache(maxsize=1)
def _shipped() -> tuple[SpaceTrack, ...]:
    from overlay.errors import OverlayError
    from overlay.models import load_model
    from overlay.shipped import shipped_folder

    try:
        folder = shipped_folder("reference_models")
        spaces = [load_model(path).space for path in sorted(folder.glob("*.swing"))]
    except OverlayError:
        return ()
    return tuple(space for space in spaces if space is not None)


def usual_swings(space: SpaceTrack, others: Sequence[SpaceTrack] | None = None) -> tuple[Held, ...]:
    """The swing itself and the others; the shipped models with another club where none are told."""
    if others is None:
        others = [other for other in _shipped() if other.club_kind != space.club_kind]
    return tuple(Held(one) for one in (space, *others))


def _looked(
    measure: str,
    view: View,
    name: DifferenceName | None,
    shifts: Sequence[Shift],
    space: SpaceTrack,
    others: Sequence[SpaceTrack] | None,
    stature_cm: float | None,
) -> tuple[Moved, ...]:
    """Each usual swing in which the measure can be read; none when it cannot be read in the first."""
    if view not in ("dtl", "fo"):
        return ()
    if name is None and not any(one.name == measure and one.view == view for one in DEFINITIONS):
        return ()
    base, later = _cameras(shifts, stature_cm)
    if not (films_the_view(base) and films_the_view(later)):
        return ()
    found: list[Moved] = []
    for held in usual_swings(space, others):
        if name is None:
            moved = measure_moved(held, view, measure, base, later)
        else:
            moved = cell_moved(held, view, name.part, name.phase, base, later)
        if moved is not None:
            found.append(moved)
        elif held.space is space:
            return ()
    return tuple(found)


def _scale(finding: str, stature_cm: float | None) -> float:
    """Shares of stature (or degrees) per unit of the finding: the check itself reckons in statures."""
    stature = stature_cm if stature_cm is not None else FilmingSettings().stature_cm
    return {"camera_height": 1 / stature, "camera_offset": 1 / stature, "camera_distance": 100 / stature}.get(
        finding, 1.0
    )


def _cameras(shifts: Sequence[Shift], stature_cm: float | None) -> tuple[Values, Values]:
    """Baseline and later camera; what was not seen stands where it is advised and does not move."""
    base, later = [], []
    for shift in shifts:
        usual = DISTANCE_STATURES if shift.finding == "camera_distance" else 0.0
        scale = _scale(shift.finding, stature_cm)
        at = shift.baseline * scale if math.isfinite(shift.baseline) else usual
        base.append(at)
        later.append(at + (shift.value * scale if shift.is_seen else 0.0))
    return tuple(base), tuple(later)


@dataclass(frozen=True)
class _Acting:
    """What the shift does to the measure.

    Attributes
    ----------
    effect, sd : float
    sd_of_moved : float
        The uncertainty without that of findings which agree.
    pulls : (5,) float
        What each finding's shift does.
    """

    effect: float
    sd: float
    sd_of_moved: float
    pulls: FloatArray


def _effect(
    looked: Sequence[Moved],
    shifts: Sequence[Shift],
    name: DifferenceName | None,
    difference: tuple[float, float] | None,
    change: float,
    own_camera: bool,
    stature_cm: float | None,
    movement_share: float,
    settings: SessionCameraSettings,
) -> _Acting:
    scales = np.array([_scale(shift.finding, stature_cm) for shift in shifts])
    effects = np.stack([one.effect for one in looked])
    slopes = np.stack([one.slopes for one in looked]) * scales[:, None]
    if name is not None and name.axis:
        axis = ("x", "y").index(name.axis)
        along = np.eye(2)[axis]
    elif name is not None:
        along = _direction(effects.mean(axis=0), difference, change)
    else:
        along = np.ones(1)
    effects, slopes = effects @ along, slopes @ along
    if own_camera:
        effects = np.zeros_like(effects)
    effect = float(effects.mean())
    parts = np.mean((slopes * np.array([shift.sd for shift in shifts])) ** 2, axis=0)
    moved = np.array([not _agrees(shift, settings) for shift in shifts])
    other_swing = max(movement_share * abs(effect), float(effects.std(ddof=1)) if len(effects) > 1 else 0.0)
    values = np.array([shift.value if shift.is_seen else 0.0 for shift in shifts])
    return _Acting(
        effect,
        math.sqrt(float(parts.sum()) + other_swing**2),
        math.sqrt(float(parts[moved].sum()) + other_swing**2),
        slopes.mean(axis=0) * values,
    )


def _agrees(shift: Shift, settings: SessionCameraSettings) -> bool:
    return shift.is_seen and abs(shift.value) <= settings.agree[shift.finding]


def _direction(effect: FloatArray, difference: tuple[float, float] | None, change: float) -> FloatArray:
    """(2,) along which the size of a difference grows."""
    size = math.hypot(*difference) if difference is not None else 0.0
    if difference is not None and size > 0:
        return np.array(difference) / size
    # Not known: as bad as can be, along the change.
    size = float(np.hypot(*effect))
    return math.copysign(1.0, change) * effect / size if size > 0 else np.array([1.0, 0.0])


def _named(shifts: Sequence[Shift], pulls: FloatArray, settings: SessionCameraSettings) -> tuple[Shift, ...]:
    """Shifts beyond what the same marks give, those that move the measure most first."""
    far = [(shift, abs(pull)) for shift, pull in zip(shifts, pulls) if shift.is_seen and not _agrees(shift, settings)]
    most = max((pull for _, pull in far), default=0.0)
    matter = [(shift, pull) for shift, pull in far if pull >= 0.1 * most]
    return tuple(shift for shift, _ in sorted(matter, key=lambda pair: -pair[1])[: settings.told])


def _unreadable(
    measure: str,
    told: tuple[tuple[str, float, float, str], ...],
    shifts: Sequence[Shift],
    whole: float,
    is_change: bool,
    settings: SessionCameraSettings,
) -> CameraShift:
    """What a camera does to it cannot be worked out: then only one that stood at the same place clears the change."""
    from overlay.explain.session_words import agreement

    same = all(_agrees(shift, settings) for shift in shifts)
    vetoes = is_change and not same
    said = "What a camera does to this measure cannot be worked out"
    if same:
        text = f"{said}; the cameras agree {agreement(shifts)}."
    else:
        text = " ".join(filter(None, (f"{said}, so all of the change could be the cameras'.", unseen_words(shifts))))
        if vetoes:
            text += f" {AGAIN[0].upper()}{AGAIN[1:]}."
    return CameraShift(told, math.nan, math.nan, whole, vetoes, text)


__all__ = ["FINDINGS", "TIMES", "Changed", "camera_shift"]
