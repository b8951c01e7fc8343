"""``overlay model build|derive|preview|parameters``: models from several swings, and from a coach's numbers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from overlay.cli.model_options import FILE, kept_sentence, library_of, models_option, name_option
from overlay.cli.options import CLIP, HANDS, VIEWS, Rate, shared_options
from overlay.cli.show import console, progress_display

if TYPE_CHECKING:
    from overlay.data import Model


@click.command("build")
@click.argument("clips", type=CLIP, nargs=-1, required=True)
@name_option
@click.option(
    "--of",
    "whose",
    type=click.Choice(["one", "several"]),
    help="Whether the swings are of one player or of several; said beside how much they vary.",
)
@click.option("--player", default="", help="How the player is called in lists and reports; may be left out.")
@click.option("--club", default="", help="The club: mid iron, driver, or your own words.")
@click.option("--note", default="", help="A remark that is kept with the model.")
@models_option
@click.option("--view", type=VIEWS, help="Say the view of all clips: dtl (down the line) or fo (face on).")
@click.option("--hand", type=HANDS, help="Say the player's hand in all clips.")
@click.option("--capture-rate", type=Rate(), help="Frames per second when the clips were filmed, for slow motion.")
@click.option("--mirrored", is_flag=True, help="Flip all clips left-right (a mirror selfie).")
@click.option("--rotate", type=click.Choice(["0", "90", "180", "270"]), help="Turn all clips clockwise by this.")
@shared_options
def build(
    clips: tuple[Path, ...],
    name: str,
    replace: bool,
    whose: str | None,
    player: str,
    club: str,
    note: str,
    folder: Path | None,
    view: Any,
    hand: Any,
    capture_rate: Any,
    mirrored: bool,
    rotate: str | None,
    as_json: bool,
    quiet: bool,
    no_cache: bool,
    everywhere: bool,
    allow_others: bool,
) -> None:
    """Make one model of the swings of several CLIPS: their middle, and how much they vary part by part.

    CLIPS are videos, saved tracks and model files (.swing); every swing of a recording counts. Swings down the line
    and face on may be given together: the model then has both views. A swing that does not belong to the others is
    left out and named, with the reason. Players of any size, hand and distance from the camera can be mixed.
    """
    from overlay.pipeline import ClipOptions
    from overlay.pipeline.model_making import Whose, build_model
    from overlay.pipeline.models import Told

    library = library_of(folder)
    name = library.check_free(name, replace)
    options = ClipOptions(
        view=view,
        handedness=hand,
        capture_rate=capture_rate,
        mirrored=mirrored,
        rotation_deg=None if rotate is None else int(rotate),
        use_cache=not no_cache,
        allow_others=allow_others,
        everywhere=everywhere,
    )
    said: dict[str | None, Whose] = {None: "", "one": "one player", "several": "several players"}
    with progress_display(quiet) as progress:
        model = build_model(clips, Told(name, player, club, note), options, whose=said[whose], progress=progress)
        path = library.add(model, replace)
    _tell(model, path, as_json)


@click.command("derive")
@click.argument("parameters", type=FILE)
@name_option
@click.option("--player", default="", help="A name that is shown with the model; may be left out.")
@click.option("--note", default="", help="A remark that is kept with the model.")
@models_option
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
@click.option("--json", "as_json", is_flag=True, help="Print the result as JSON (docs/models.md).")
def derive(
    parameters: Path,
    name: str,
    replace: bool,
    player: str,
    note: str,
    folder: Path | None,
    quiet: bool,
    as_json: bool,
) -> None:
    """Make a model in space from your own numbers: the parameter file PARAMETERS (TOML).

    `overlay model parameters FILE` writes one to begin with. The model is posed on each student's body and seen from
    his camera when it is compared with.
    """
    from overlay.pipeline.model_making import derive_model
    from overlay.pipeline.models import Told

    library = library_of(folder)
    name = library.check_free(name, replace)
    with progress_display(quiet) as progress:
        model = derive_model(parameters, Told(name, player, "", note), progress=progress)
        path = library.add(model, replace)
    _tell(model, path, as_json)


@click.command("preview")
@click.argument("what", metavar="PARAMETERS|NAME")
@click.option("--out", type=FILE, required=True, help="PNG (the nine positions) or MP4 (the moving figure) to write.")
@click.option(
    "--speed",
    type=click.FloatRange(0.05, 2.0),
    default=0.5,
    help="Of an MP4: swing seconds per video second.",
)
@models_option
@click.option("--quiet", "-q", is_flag=True, help="No progress.")
def preview(what: str, out: Path, speed: float, folder: Path | None, quiet: bool) -> None:
    """Show what a parameter file (.toml) or a model looks like, in every view, without keeping anything."""
    from overlay.files import check_writable, refuse_to_overwrite
    from overlay.pipeline.model_making import derive_model
    from overlay.pipeline.model_pictures import write_model_sheet, write_model_video
    from overlay.pipeline.models import Told, find_model, seen_swings

    kind = out.suffix.lower()
    if kind not in (".png", ".mp4"):
        raise click.UsageError(f"{out.name} is neither a PNG nor an MP4; end it in .png or .mp4.")
    check_writable([out])
    with progress_display(quiet) as progress:
        if what.lower().endswith(".toml"):
            refuse_to_overwrite([out], [Path(what)])
            model = derive_model(Path(what), Told(Path(what).stem[:60] or "preview"), quick=True, progress=progress)
        else:
            model = find_model(what, library_of(folder))
        seen = seen_swings(model)
        if kind == ".png":
            write_model_sheet(model, seen, out)
        else:
            write_model_video(model, seen, out, speed=speed, progress=progress)
    click.echo(f"{'stills' if kind == '.png' else 'video'}: {out}")


@click.command("parameters")
@click.argument("file", type=FILE)
@click.option(
    "--club",
    type=click.Choice(["mid iron", "driver"]),
    default="mid iron",
    help="The shipped model whose numbers stand in it.",
)
@click.option("--replace", is_flag=True, help="Replace FILE if it is there.")
def parameters(file: Path, club: str, replace: bool) -> None:
    """Write a parameter file (TOML) to begin with: the numbers of a shipped model, each with its range and source."""
    from overlay.errors import OutputError
    from overlay.files import write_text
    from overlay.maker import start_parameters

    if file.suffix.lower() != ".toml":
        raise click.UsageError(f"{file.name} is no name for a parameter file; end it in .toml.")
    if file.exists() and not (replace and file.is_file()):
        raise OutputError(f"{file} is there already.", "Choose another name, or give --replace to replace it.")
    write_text(file, start_parameters(club))
    click.echo(f"parameters: {file}")


def _tell(model: Model, path: Path, as_json: bool) -> None:
    """What was kept and what was left out."""
    from overlay import documents
    from overlay.models import load_facts
    from overlay.pipeline.model_documents import facts_document

    facts = load_facts(path)
    made = model.provenance
    if as_json:
        document = {
            "schema": 1,
            "kind": "model saved",
            **facts_document(facts),
            "sources": list(made.sources),
            "left_out": list(made.left_out),
        }
        click.echo(documents.to_json(document), nl=False)
        return
    out = console()
    out.print(f"Kept as {facts.name}: {kept_sentence(facts)}", markup=False)
    if made.label:
        out.print(made.label, markup=False)
    if model.kind == "template":
        for source in made.sources:
            out.print(f"in it: {source}", markup=False)
    for line in made.left_out:
        out.print(f"left out: {line}", markup=False)
    for swing in model.swings.values():
        for line in swing.notes:
            out.print(f"note: {line}", markup=False)
    out.print(f"file: {path}", markup=False)
