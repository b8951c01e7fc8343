"""Everything that is kept of one clip, read out of it."""

from __future__ import annotations

import dataclasses
import hashlib
import math
from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from overlay.batch.engine import engine
from overlay.batch.jobs import ReadJob
from overlay.batch.tempo import tempo_measures
from overlay.data import FilmingReport, Model, PhaseDifference, Provenance, Swing
from overlay.data.record import ClipRead, SwingComparison, SwingRead
from overlay.errors import ContentError, InputError, OverlayError
from overlay.pipeline import (
    ClipOptions,
    Inspection,
    as_inspection,
    compare_inspections,
    inspect_clip,
    look_closer,
    looked_of,
)
from overlay.progress import SILENT, Progress, Stopped
from overlay.terms import VIEW_WORDS

if TYPE_CHECKING:
    from overlay.checklist import ChecklistSpec

UNEXPECTED = 70
"""EX_SOFTWARE of sysexits.h: a fault of overlay itself, as the command line says it."""


NO_ADDRESS = "the address was not told from a pause on the way back; mark it (`overlay mark CLIP --position address=…`)"


def read_clip(job: ReadJob, progress: Progress = SILENT) -> ClipRead:
    """Read a clip: every swing looked at closely, measured, and compared where a reference is given.

    Parameters
    ----------
    job : ReadJob
    progress : Progress

    Returns
    -------
    ClipRead
        Whatever is wrong with the clip is part of it (``problem``, ``hint``, ``problem_code``); no OverlayError is
        raised. A fault of overlay itself is told in the same way: one clip must not end a session of seventy.
    """
    from overlay.pipeline.told import told_text

    blank = {
        "content_hash": job.content_hash,
        "path": job.path,
        "size_bytes": job.size_bytes,
        "recorded_at": job.recorded_at,
        "inputs": job.inputs,
        "engine": engine(),
        "told": told_text(job.options),
        "marks": _marked(job.path),
    }
    try:
        return ClipRead(**blank, **_read(job, progress))  # type: ignore[arg-type]
    except Stopped:
        raise
    except OverlayError as error:
        said, hint, code = error.message, error.hint, error.exit_code
    except MemoryError:
        said, code = "The machine has not enough memory for this clip.", UNEXPECTED
        hint = "Cut the clip to the swing, film at a lower size, or give fewer --workers."
    except Exception as error:  # the clips beside it must not suffer
        said = f"overlay met something it did not expect ({type(error).__name__}: {error})."
        hint = "This is a fault of overlay: run `overlay inspect` on the clip with OVERLAY_DEBUG=1 and report it."
        code = UNEXPECTED
    return ClipRead(**blank, problem=said, hint=hint, problem_code=code)  # type: ignore[arg-type]


def _marked(path: Path) -> str:
    """What was marked by hand beside the clip, as it stands there; "" for nothing and for what cannot be read."""
    from overlay.marks import marks_path

    try:
        return marks_path(path).read_text(encoding="utf-8")
    except (OSError, ValueError):
        return ""


def _read(job: ReadJob, progress: Progress) -> dict[str, object]:
    inspection = inspect_clip(job.path, job.options, progress=progress)
    _check_same(job, inspection)
    spec = load_spec()
    notes = list(inspection.notes)
    swings = []
    for number in [swing.swing_number for swing in inspection.swings]:
        inspection = look_closer(inspection, number, job.options, progress=progress)
    for swing in inspection.swings:
        comparison, said = _compared(job, inspection, swing, spec, progress)
        if said:
            notes.append(said)
        swings.append(_swing(job, inspection, swing, spec, comparison))
    if not swings:
        raise ContentError(f"{job.path.name} shows no full swing.", "Film from address to finish.")
    clip, track = inspection.clip, inspection.track
    if clip is not None:
        size, duration_s, rate_hz = (clip.width, clip.height), clip.duration_s, float(clip.nominal_rate)
    else:
        size = track.image_size
        step_s = float(np.median(np.diff(track.time_s))) if len(track) > 1 else 0.0
        duration_s = float(track.time_s[-1] - track.time_s[0]) + step_s
        rate_hz = 1.0 / step_s if step_s > 0 else 0.0
    return {
        "width": int(size[0]),
        "height": int(size[1]),
        "duration_s": duration_s,
        "rate_hz": rate_hz,
        "swings": tuple(swings),
        "notes": tuple(dict.fromkeys(notes)),
    }


def _check_same(job: ReadJob, inspection: Inspection) -> None:
    """Refuse a file that is no longer the one that was asked for."""
    from overlay.files import sha256_of

    seen = sha256_of(job.path) if inspection.clip is None else inspection.clip.content_hash
    if job.content_hash and seen != job.content_hash:
        raise changed(job.path.name)


def changed(name: str) -> InputError:
    """The error for a file that changed while it was read."""
    return InputError(f"{name} changed while it was read.", "Wait until it is copied completely, then add it again.")


def _swing(
    job: ReadJob, inspection: Inspection, swing: Swing, spec: ChecklistSpec, comparison: SwingComparison | None
) -> SwingRead:
    from overlay.models import model_bytes, real_factor
    from overlay.positions import no_takeaway

    closer = inspection.closer[swing.swing_number]
    looked = looked_of(inspection, swing.swing_number, spec)
    first = None if looked.checklist is None else looked.checklist.first
    measures = (*closer.measures, *tempo_measures(swing))
    filming = closer.filming
    if no_takeaway(swing.positions):
        # Everything is measured from the address; one such swing would spoil the mean of its session.
        measures = tuple(dataclasses.replace(measure, valid=False, reason=NO_ADDRESS) for measure in measures)
        filming, first = FilmingReport(()), None
    return SwingRead(
        number=swing.swing_number,
        view=swing.view,
        handedness=swing.handedness,
        positions=swing.positions,
        model=model_bytes(swing_model(job, inspection, swing)),
        measures=measures,
        filming=filming,
        first_focus="" if first is None else first.focus,
        first_sentence="" if first is None else first.sentence,
        slow_factor=real_factor(swing),
        comparison=comparison,
    )


def swing_model(job: ReadJob, inspection: Inspection, swing: Swing) -> Model:
    """The swing as a model: what the library keeps of it. The same clip gives the same model on every machine."""
    from overlay import __version__
    from overlay.models import kept_swing, tidy
    from overlay.pipeline.models import pose_models, tidied

    kept = kept_swing(swing)
    made = Provenance(
        made_by=f"overlay {__version__}",
        pose_model=pose_models([kept]),
        sources=(tidy(f"{job.path.name}, swing {swing.swing_number}"),),
    )
    return Model(
        name=f"swing {swing.swing_number}",
        kind="swing",
        swings={kept.view: kept},
        filming={kept.view: tidied(inspection.closer[swing.swing_number].filming)},
        provenance=made,
    )


@lru_cache(maxsize=4)
def _reference(content: bytes, name: str) -> Model:
    from overlay.models import model_of

    return model_of(content, name)


def reference_key(content: bytes) -> str:
    """What a reference is known by: hex SHA-256 of its model file."""
    return hashlib.sha256(content).hexdigest()


def _compared(
    job: ReadJob, inspection: Inspection, swing: Swing, spec: ChecklistSpec, progress: Progress
) -> tuple[SwingComparison | None, str]:
    """The swing held against the reference; or None, and why not ("" where there is no reference)."""
    from overlay.compose.wording import headline
    from overlay.positions import no_takeaway

    if job.reference is None:
        return None, ""
    if no_takeaway(swing.positions):
        return None, f"Swing {swing.swing_number} is not measured and not compared: {NO_ADDRESS}."
    try:
        model = _reference(job.reference, job.reference_name or "the reference")
    except InputError as error:
        return None, f"Not compared: {error.message}"
    if (
        model.space is None
        and swing.view not in model.swings
        and not (swing.view == "other" and len(model.swings) == 1)
    ):
        return None, f"Not compared with {job.reference_name}: it holds no swing {VIEW_WORDS[swing.view]}."
    # One swing by itself: the mean over the recording's swings would be the same for each of them.
    alone = dataclasses.replace(
        inspection,
        swings=(swing,),
        closer={swing.swing_number: inspection.closer[swing.swing_number]},
    )
    try:
        theirs = as_inspection(model, swing, filming=inspection.closer[swing.swing_number].filming, progress=progress)
        comparison = compare_inspections(
            alone,
            theirs,
            stature_cm=job.options.stature_cm,
            checklist=spec,
            same_player=job.same_player and model.space is None,
            progress=progress,
        )
    except OverlayError as error:
        return None, f"Swing {swing.swing_number} was not compared with {job.reference_name}: {error.message}"
    if _is_itself(comparison.differences):
        # Kept, its zeros would count as a swing that met the reference wholly.
        return None, f"Swing {swing.swing_number} is the reference itself and was not compared."
    kept = SwingComparison(
        reference_key=reference_key(job.reference),
        reference_name=job.reference_name or model.name,
        engine=engine(),
        differences=comparison.differences,
        first=headline(comparison),
        sharpness=comparison.sharpness,
    )
    return kept, ""


def _is_itself(differences: Sequence[PhaseDifference]) -> bool:
    """Whether nothing at all differs, which two swings never do, not even two readings of one."""
    offsets = [part for one in differences for part in one.offset if math.isfinite(part)]
    return bool(offsets) and max(map(abs, offsets)) < 1e-9


def compare_kept(
    model: Model, reference: bytes, reference_name: str, *, same_player: bool = False, stature_cm: float | None = None
) -> SwingComparison | None:
    """A swing of the library held against a reference, from what was kept of it; None where that is not possible.

    Parameters
    ----------
    model : Model
        The kept swing, of one view.
    reference : bytes
        Content of the reference's model file.
    reference_name : str
    same_player : bool
    stature_cm : float, optional
    """
    (swing,) = model.swings.values()
    job = ReadJob(
        path=Path(model.name),
        content_hash="",
        options=ClipOptions(stature_cm=stature_cm),
        reference=reference,
        reference_name=reference_name,
        same_player=same_player,
    )
    comparison, _ = _compared(job, as_inspection(model, swing), swing, load_spec(), SILENT)
    return comparison


def load_spec() -> ChecklistSpec:
    """The checklist that comes with overlay: what is kept must not depend on which one a coach uses today."""
    from overlay.checklist import load_checklist

    return load_checklist()
