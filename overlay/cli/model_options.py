"""Options that the commands of ``overlay model`` share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

if TYPE_CHECKING:
    from overlay.models import Facts, Library

Command = TypeVar("Command", bound=Callable[..., Any])

FILE = click.Path(path_type=Path)


def models_option(command: Command) -> Command:
    """--models: where the library lies."""
    return click.option(
        "--models",
        "folder",
        type=click.Path(path_type=Path, file_okay=False),
        help="The folder your models lie in, instead of OVERLAY_MODELS or the platform's own.",
    )(command)


def name_option(command: Command) -> Command:
    """--name, --replace: what a new model is called."""
    for option in (
        click.option("--replace", is_flag=True, help="Replace your model of that name, if there is one."),
        click.option("--name", required=True, help="What the model is called, up to 60 characters."),
    ):
        command = option(command)
    return command


def library_of(folder: Path | None) -> Library:
    """The library a command works on."""
    from overlay.models import Library

    return Library(folder)


def kept_sentence(facts: Facts) -> str:
    """What was kept, in one line."""
    from overlay.terms import VIEW_WORDS

    views = " and ".join(VIEW_WORDS[view] for view in facts.views)
    found = ", ".join(dict.fromkeys(f"{count} of 9 positions" for count in (facts.positions or {}).values()))
    pictures = sum((facts.pictures or {}).values())
    shown = "no pictures" if not pictures else "1 cut-out" if pictures == 1 else f"{pictures} cut-outs"
    return f"{views}, {found}, {shown}, {size_words(facts.n_bytes)}"


def size_words(n_bytes: int) -> str:
    """Bytes as a person reads them."""
    return f"{n_bytes / 1e6:.1f} MB" if n_bytes >= 1_000_000 else f"{max(1, round(n_bytes / 1e3))} kB"
