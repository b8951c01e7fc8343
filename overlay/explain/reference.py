"""The reference in sentences: what it is, how it was made, how it was brought to the student's build and camera."""

from __future__ import annotations

import math
from collections.abc import Mapping

from overlay.data import Camera, Comparison, Model, PhaseDifference, ReferenceFit
from overlay.settings.explain import ExplainSettings
from overlay.terms import View, words

SEGMENT_WORDS: Mapping[str, str] = {
    "upper_arm": "upper arms",
    "forearm": "forearms",
    "hand": "hands",
    "thigh": "thighs",
    "shank": "lower legs",
    "foot": "feet",
    "shoulder_width": "shoulders",
    "hip_width": "hips",
}
"""A segment of the body as a person reads it; others by their name."""

BREADTHS = ("shoulders", "hips", "shoulder_width", "hip_width")


def model_kind(model: Model, view: View) -> str:
    """What kind of reference it is: "one kept swing", "a template of 10 swings", "a swing in space"."""
    if model.kind == "space":
        return "a swing in space, posed on the student's body"
    if model.kind == "swing":
        return "one kept swing"
    band = model.bands.get(view)
    if band is None:
        return "a template of several swings"
    of = f" of {band.of}" if band.of else ""
    return f"a template of {band.n_swings} swing{'' if band.n_swings == 1 else 's'}{of}"


def model_line(model: Model, view: View) -> str:
    """Name, kind and label of a reference in one line."""
    parts = [model_kind(model, view)]
    if model.club_kind and model.club_kind != words(model.name):
        parts.append(model.club_kind)
    if model.player:
        parts.append(f"player: {model.player}")
    label = model.provenance.label.strip()
    said = f"{model.name}: {', '.join(parts)}."
    return f"{said} {label if not label or label[-1] in '.!?' else label + '.'}".strip()


def model_sentences(model: Model) -> tuple[str, ...]:
    """How the reference was made, as far as it is known; without name, kind, label and notes."""
    told = model.provenance
    lines = []
    if told.made_by or told.made_at:
        by = f" by {told.made_by}" if told.made_by else ""
        lines.append(f"Made{by}{f' on {told.made_at[:10]}' if told.made_at else ''}.")
    if told.pose_model:
        lines.append(f"Joints from {told.pose_model}.")
    if told.sources:
        lines.append(f"{'Made from' if model.kind != 'space' else 'Sources'}: {', '.join(told.sources)}.")
    lines.extend(f"Left out: {swing.rstrip('.')}." for swing in told.left_out)
    return tuple(lines)


def model_notes(model: Model) -> tuple[str, ...]:
    """What its maker noted: where its numbers come from, a coach's remarks. A shipped model has dozens."""
    notes = (note.strip() for note in model.provenance.notes)
    return tuple(note if note[-1] in ".!?" else f"{note}." for note in notes if note)


def factors_sentence(factors: Mapping[str, float], settings: ExplainSettings | None = None) -> str:
    """How the reference's build was changed: "upper arms 6 % longer, hips 4 % narrower"."""
    settings = settings or ExplainSettings()
    changed = {name: value for name, value in factors.items() if math.isfinite(value) and value > 0}
    if not changed:
        return ""
    told = sorted(
        ((name, value - 1.0) for name, value in changed.items() if abs(value - 1.0) >= settings.build_told),
        key=lambda item: -abs(item[1]),
    )
    if not told:
        return "The reference's build is taken as the student's: no length was changed."
    said = ", ".join(
        f"{SEGMENT_WORDS.get(name, words(name))} {abs(100 * by):.0f} % {_way(name, by)}" for name, by in told
    )
    rest = "; the rest stayed" if len(told) < len(changed) else ""
    return f"The reference was brought to the student's build: {said}{rest}."


def _way(name: str, by: float) -> str:
    if name in BREADTHS:
        return "wider" if by > 0 else "narrower"
    return "longer" if by > 0 else "shorter"


def camera_words(camera: Camera, view: View, sd: Mapping[str, float] | None = None) -> str:
    """Where a camera stands: height, distance, and how far round, each with its 95 % interval where it is told."""
    sd = sd or {}

    def within(name: str, unit: str, digits: int) -> str:
        value = sd.get(name, math.nan)
        return f" ± {1.96 * value:.{digits}f}{unit}" if math.isfinite(value) else ""

    far = math.hypot(camera.position[0], camera.position[1])
    said = (
        f"{camera.position[2]:.2f} m{within('height_m', ' m', 2)} high, {far:.1f} m{within('distance_m', ' m', 1)} away"
    )
    if view in ("dtl", "fo"):
        forward = camera.axes[2]
        line = (math.copysign(1.0, forward[0]), 0.0) if view == "dtl" else (0.0, -1.0)
        across = abs(line[0] * forward[1] - line[1] * forward[0])
        turned = math.degrees(math.atan2(across, line[0] * forward[0] + line[1] * forward[1]))
        to = "the target line" if view == "dtl" else "square to it"
        said += f", turned {turned:.0f}°{within('yaw_deg', '°', 0)} from {to}"
    return said


def fit_sentences(fit: ReferenceFit, view: View, settings: ExplainSettings | None = None) -> tuple[str, ...]:
    """How the reference was brought to the student: build, camera, what is left, and what could not be fitted."""
    lines = []
    if fit.in_student_picture:
        lines.append("The reference is a swing in space: it was posed on the student's body and seen by his camera.")
    build = factors_sentence(fit.factors, settings)
    if build:
        lines.append(build)
    if fit.camera is not None:
        lines.append(
            f"The student's camera as estimated from his clip: {camera_words(fit.camera, view, fit.camera_sd)}."
        )
    if math.isfinite(fit.residual):
        lines.append(f"At address the joints of the two then lie {fit.residual:.2f} torso lengths apart (median).")
    lines.extend(note for note in fit.notes if note.strip())
    return tuple(lines)


def usual_spread(comparison: Comparison, row: PhaseDifference, settings: ExplainSettings | None = None) -> float:
    """Within this many torso lengths lie 95 % of the swings behind the template; NaN where it is not known.

    A swing's offset from the middle has two coordinates of SD σ each, estimated on df degrees of freedom, so its length
    stays below σ·√(2·F(2, df)) with the chance of the level.
    """
    from scipy.special import fdtri

    settings = settings or ExplainSettings()
    model = comparison.reference_model
    band = None if model is None else model.bands.get(comparison.student.view)
    spread = None if band is None else band.get(row.phase, row.part)
    if spread is None:
        return math.nan
    return spread.sd * math.sqrt(2.0 * float(fdtri(2.0, spread.df, settings.level)))


def in_usual_spread(comparison: Comparison, row: PhaseDifference) -> bool:
    """Whether a difference that was detected is one that the template's own swings show among themselves."""
    limit = usual_spread(comparison, row)
    return bool(
        math.isfinite(limit) and row.words not in ("no difference detected", "not scored") and row.value <= limit
    )


__all__ = [
    "camera_words",
    "factors_sentence",
    "fit_sentences",
    "in_usual_spread",
    "model_kind",
    "model_line",
    "model_notes",
    "model_sentences",
    "usual_spread",
]
