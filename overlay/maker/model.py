"""A reference model from a parameter file."""

from __future__ import annotations

from overlay import __version__
from overlay.data import Band, Model, Provenance
from overlay.errors import InputError
from overlay.maker.bands import band_of
from overlay.maker.make import make_swing
from overlay.maker.parameters import PARAMETERS, Parameters
from overlay.maker.plausible import unlikely
from overlay.progress import SILENT, Progress
from overlay.settings.maker import BANDS, MAKER, BandSettings, MakerSettings
from overlay.terms import View

LABEL = "Illustrative template, not a norm."
_VIEWS: tuple[View, ...] = ("dtl", "fo")


def make_model(
    parameters: Parameters,
    name: str,
    *,
    settings: MakerSettings = MAKER,
    bands: BandSettings | None = BANDS,
    made_at: str = "",
    progress: Progress = SILENT,
) -> Model:
    """Make the model of these numbers: a swing in space with a band for each view.

    Parameters
    ----------
    parameters : Parameters
        See ``load_parameters``.
    name : str
    bands : BandSettings or None
        None leaves the bands out: for a quick preview.
    made_at : str
        ISO 8601; left empty the same parameters give the same model.
    progress : Progress

    Returns
    -------
    Model
        ``kind`` "space", right-handed. What can be measured on it shows the parameters within
        ``Parameter.tolerance``; ``provenance.notes`` says of each where it comes from.

    Raises
    ------
    InputError
        The numbers cannot be had together, or what comes out is no human swing.
    """
    progress.stage("Solving the swing", None)
    made = make_swing(parameters, settings=settings)
    wrong = unlikely(made.space)
    progress.done()
    if wrong:
        raise InputError(
            f"These numbers together give no human swing: {wrong[0]}.", "Go nearer to the shipped model, step by step."
        )
    found: dict[View, Band] = {}
    if bands is not None:
        found = {view: band_of(made.spec, view, settings=bands, progress=progress) for view in _VIEWS}
    return Model(
        name=name,
        kind="space",
        bands=found,
        space=made.space,
        club_kind=parameters.kind,
        provenance=Provenance(
            made_at=made_at,
            made_by=f"overlay {__version__}",
            sources=(parameters.origin,) if parameters.origin else (),
            label=LABEL,
            notes=_notes(parameters, bands),
        ),
    )


def _notes(parameters: Parameters, bands: BandSettings | None) -> tuple[str, ...]:
    lines = []
    for parameter in PARAMETERS:
        unit = {"degrees": "°", "percent": " %"}.get(parameter.unit, f" {parameter.unit}")
        source = parameters.sources.get(parameter.name, "no source told")
        lines.append(f"{parameter.name} {parameters[parameter.name]:g}{unit}: {source.rstrip('.')}.")
    if bands is not None:
        lines.append(
            f"Bands: {bands.swings} simulated repeats of this swing, with the variation that gives the 7.4 % from "
            "swing to swing in the peak separation of shoulders and pelvis of Meister et al. 2011 (J Appl Biomech "
            "27:242), and with the errors of a pose model."
        )
    return tuple(lines)
