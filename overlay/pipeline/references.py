"""What a student can be compared with: a clip, a saved track, a model file, or a model of the library by its name."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from overlay.data import FilmingReport, Measure, Model, ReferenceFit, SpaceTrack, Swing
from overlay.errors import InputError, MismatchError
from overlay.pipeline.clips import Closer, Inspection
from overlay.pipeline.kept import KeptReference, is_kept_name, kept_reference
from overlay.progress import SILENT, Progress
from overlay.terms import VIEW_WORDS, View


def find_reference(
    given: str | Path, *, models: Path | None = None, library: Path | None = None
) -> Path | Model | KeptReference:
    """What ``given`` means: a file or folder of that name, a swing of the library, else a model's name.

    Parameters
    ----------
    given : str or Path
        A clip, a saved track or a model file; ``best:PLAYER`` or ``swing:ID``; or a model's name.
    models : Path, optional
        The folder of the models; the user's own when left out.
    library : Path, optional
        The library's file; the user's own when left out.

    Raises
    ------
    InputError
        There is nothing of that name, or it cannot be read.
    """
    from overlay.models import Library, is_model_file, load_model

    path = Path(given)
    if path.exists():
        return load_model(path) if is_model_file(path) else path
    if is_kept_name(str(given)):
        return kept_reference(str(given), library)
    kept = Library(models)
    if str(given) in kept.names():
        return kept.get(str(given))
    raise InputError(
        f"There is no file {given}, and no model of that name.",
        "Give a clip, a name that `overlay model list` shows, or best:PLAYER for a best swing of the library.",
    )


def as_inspection(
    model: Model,
    student: Swing,
    *,
    second: Swing | None = None,
    filming: FilmingReport | None = None,
    fit: bool = True,
    progress: Progress = SILENT,
) -> Inspection:
    """A kept reference, as the inspection of a clip of the student's view would be.

    Parameters
    ----------
    model : Model
    student : Swing
        Its view is shown; a swing in space is posed on its player.
    second : Swing, optional
        The student's other view, which tells more of his build.
    filming : FilmingReport, optional
        How the student's clip was filmed.
    fit : bool
        False: as it was kept; not possible for a swing in space.

    Raises
    ------
    MismatchError
        The model holds no swing of the student's view.
    InputError
        A swing in space shall not be fitted.
    """
    from overlay.data import Marks
    from overlay.guides import guide_lines
    from overlay.measure import measure_swing

    fitted: ReferenceFit | None = None
    if model.space is not None:
        if not fit:
            raise InputError(
                f"{model.name} is a swing in space: it is only seen once it is posed on the student.",
                "Leave out --no-fit.",
            )
        fitted = _posed(model, student, second, filming, progress)
        swing = fitted.swing
    else:
        swing = model.swings[_view_of(model, student)]
    guides = guide_lines(swing)
    # Drawn is where the joints are; measured is what the student's pose model would have made of them.
    measured = swing if fitted is None else fitted.scored
    measures: tuple[Measure, ...] = measure_swing(measured, guide_lines(measured))
    filmed = model.filming.get(swing.view, FilmingReport(()))
    return Inspection(
        path=Path(model.name),
        clip=None,
        track=swing.pose,
        masks=None,
        swings=(swing,),
        marks=Marks(),
        closer={swing.swing_number: Closer(guides, measures, filmed)},
        model=model,
        fit=fitted,
    )


def _view_of(model: Model, student: Swing) -> View:
    if student.view in model.swings:
        return student.view
    if student.view == "other" and len(model.swings) == 1:
        return next(iter(model.swings))
    held = " and ".join(VIEW_WORDS[view] for view in model.swings)
    raise MismatchError(
        f"The student is filmed {VIEW_WORDS[student.view]}, and {model.name} is kept {held}.",
        "Compare the same view: leave out --second, or keep the model in both; if the student's view was taken "
        "wrongly, say so with --view.",
    )


def _posed(
    model: Model, student: Swing, second: Swing | None, filming: FilmingReport | None, progress: Progress
) -> ReferenceFit:
    from overlay.fit import fit_in_space

    assert model.space is not None
    if student.view == "other":
        raise MismatchError(
            f"The student is filmed {VIEW_WORDS['other']}, and {model.name} can be posed down the line and face on.",
            "Say the view with --view if it was not recognised.",
        )
    progress.stage("posing the reference on the student's build")
    fitted = fit_in_space(model.space, student, second=second, filming=filming, progress=progress)
    progress.done()
    return fitted


@lru_cache(maxsize=1)
def usual_swing() -> SpaceTrack:
    """The shipped swing in space that stands for "some usual swing" where only the camera is asked for.

    Raises
    ------
    SetupError
        The installation lacks it.
    """
    from overlay.errors import SetupError
    from overlay.models import load_model
    from overlay.shipped import shipped_folder

    space = load_model(shipped_folder("reference_models") / "mid_iron.swing").space
    if space is None:
        raise SetupError("The shipped model mid_iron is not a swing in space.", "Install overlay again.")
    return space
