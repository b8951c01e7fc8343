"""``overlay model save``: a swing of a clip becomes a model."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from overlay.cli.model_options import kept_sentence, library_of, models_option, name_option
from overlay.cli.options import CLIP, clip_options, read_clip_options, second_offset_option, shared_options
from overlay.cli.show import console, progress_display

PICTURES = click.Choice(["none", "positions", "ghost"])


@click.command("save")
@click.argument("clip", type=CLIP)
@name_option
@click.option("--second", type=CLIP, help="The other view of the same swing, or of another swing of the same player.")
@second_offset_option
@click.option(
    "--pictures",
    type=PICTURES,
    default="none",
    help="What is kept of the player beside the drawn figure: none; cut-outs of the nine positions; or the cut-outs "
    "that a ghost in the video needs.",
)
@click.option("--player", default="", help="How the player is called in lists and reports; may be left out.")
@click.option("--club", default="", help="The club: mid iron, driver, or your own words.")
@click.option("--note", default="", help="A remark that is kept with the model.")
@models_option
@clip_options()
@clip_options("second", "the second clip")
@shared_options
def command(
    clip: Path,
    name: str,
    replace: bool,
    second: Path | None,
    second_offset: float | None,
    pictures: Any,
    player: str,
    club: str,
    note: str,
    folder: Path | None,
    as_json: bool,
    quiet: bool,
    no_cache: bool,
    allow_others: bool,
    **values: Any,
) -> None:
    """Keep a swing of CLIP under a name, to compare other swings with.

    CLIP is a video, a folder of stills, or a saved track. Kept are the joints, the club, the positions, how it was
    filmed, and no picture unless --pictures says so. The file names of the clips are kept, their folders are not.
    """
    from overlay import documents
    from overlay.models import load_facts
    from overlay.pipeline.model_documents import facts_document
    from overlay.pipeline.models import Told, keep_clip

    library = library_of(folder)
    # Told now, not after minutes of work.
    name = library.check_free(name, replace)
    given = _second_options(values) or ("" if second_offset is None else "--second-offset")
    if second is None and given:
        raise click.UsageError(f"{given} is for --second.")
    options, second_options = (
        read_clip_options(values, prefix, use_cache=not no_cache, allow_others=allow_others)
        for prefix in ("", "second")
    )
    with progress_display(quiet) as progress:
        model = keep_clip(
            clip,
            Told(name, player, club, note, pictures),
            options,
            second=second,
            second_options=second_options,
            offset_s=second_offset,
            progress=progress,
        )
        path = library.add(model, replace)
    facts = load_facts(path)
    if as_json:
        click.echo(documents.to_json({"schema": 1, "kind": "model saved", **facts_document(facts)}), nl=False)
        return
    out = console()
    out.print(f"Kept as {facts.name}: {kept_sentence(facts)}", markup=False)
    for swing in model.swings.values():
        for note_line in swing.notes:
            out.print(f"note: {note_line}", markup=False)
    if model.pair_map is not None:
        for line in model.pair_map.notes:
            out.print(f"pair: {line}", markup=False)
    if model.pictures:
        out.print("note: The model shows the player; ask before you pass it on, for a minor the parents.", markup=False)
    out.print(f"file: {path}", markup=False)


def _second_options(values: dict[str, Any]) -> str:
    """An option of the second clip that was given, "" when none was."""
    for name, value in values.items():
        if name.startswith("second_") and value:
            return f"--{name.replace('_', '-')}"
    return ""
