"""``overlay model``: references that are kept under a name."""

from __future__ import annotations

import click

from overlay.cli.main import LazyGroup

COMMANDS = {
    "save": ("overlay.cli.model_save", "Keep a swing of a clip as a model, with its other view if there is one."),
    "build": ("overlay.cli.model_make:build", "Make a model of several swings: their middle, and how they vary."),
    "derive": ("overlay.cli.model_make:derive", "Make a model from your own numbers: a parameter file."),
    "preview": ("overlay.cli.model_make:preview", "Look at a parameter file or a model: stills or a moving figure."),
    "parameters": ("overlay.cli.model_make:parameters", "Write a parameter file to begin with."),
    "list": ("overlay.cli.model_library:list_models", "List the models there are."),
    "show": ("overlay.cli.model_library:show", "Show a model: its nine positions, its numbers, where it came from."),
    "remove": ("overlay.cli.model_library:remove", "Remove one of your own models."),
    "export": ("overlay.cli.model_library:export", "Write a model to a file of its own, to pass on or to keep."),
    "import": ("overlay.cli.model_library:import_", "Take a model file into the library."),
}


class ModelGroup(LazyGroup):
    """The commands of ``overlay model``."""

    table = COMMANDS


@click.group("model", cls=ModelGroup)
def command() -> None:
    """Keep references under a name: a swing of a clip, the middle of several, or one made from a coach's numbers.

    A model is one file. The models lie in a folder of yours (`--models`, or the environment variable
    OVERLAY_MODELS); those that come with overlay are listed beside them. docs/models.md says what is kept.
    """
