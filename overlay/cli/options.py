"""Options that several commands share, and how their values are read."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any, TypeVar

import click

from overlay.pipeline import ClipOptions
from overlay.terms import GUIDE_NAMES, Handedness, View

Command = TypeVar("Command", bound=Callable[..., Any])

VIEWS = click.Choice(["dtl", "fo"])
HANDS = click.Choice(["right", "left"])


class Rate(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 only
    """Frames per second: 240, 239.76 or 240000/1001, from 1 to 10000."""

    name = "rate"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Fraction:
        try:
            rate = Fraction(str(value))
        except (ValueError, ZeroDivisionError):
            self.fail(f"{value!r} is not a frame rate such as 240 or 240000/1001", param, ctx)
        if not 1 <= rate <= 10_000:
            self.fail(f"{value} frames per second is outside 1–10000", param, ctx)
        return rate


CLIP = click.Path(path_type=Path)


def clip_options(prefix: str = "", what: str = "the clip") -> Callable[[Command], Command]:
    """--view, --hand, --swing, --capture-rate, --mirrored, --rotate; ``prefix`` is for a second clip."""
    dash = f"{prefix}-" if prefix else ""

    def decorate(command: Command) -> Command:
        for option in (
            click.option(
                f"--{dash}rotate",
                type=click.Choice(["0", "90", "180", "270"]),
                help=f"Turn {what} clockwise by this instead of what the file says.",
            ),
            click.option(f"--{dash}mirrored", is_flag=True, help=f"Flip {what} left-right (a mirror selfie)."),
            click.option(
                f"--{dash}capture-rate",
                type=Rate(),
                help=f"Frames per second when {what} was filmed, for slow motion.",
            ),
            click.option(
                f"--{dash}swing",
                type=click.IntRange(min=1),
                help=f"Which swing of {what}, counted from 1. Default: the last one.",
            ),
            click.option(f"--{dash}hand", type=HANDS, help=f"Say the player's hand in {what} instead of finding it."),
            click.option(
                f"--{dash}view", type=VIEWS, help=f"Say the view of {what}: dtl (down the line) or fo (face on)."
            ),
        ):
            command = option(command)
        return command

    return decorate


def read_clip_options(
    values: dict[str, Any],
    prefix: str = "",
    *,
    use_cache: bool,
    allow_others: bool,
    stature_cm: float | None = None,
) -> ClipOptions:
    """``ClipOptions`` from click's keyword values."""
    under = f"{prefix}_" if prefix else ""
    view: View | None = values[f"{under}view"]
    hand: Handedness | None = values[f"{under}hand"]
    rotate = values[f"{under}rotate"]
    return ClipOptions(
        view=view,
        handedness=hand,
        capture_rate=values[f"{under}capture_rate"],
        mirrored=values[f"{under}mirrored"],
        rotation_deg=None if rotate is None else int(rotate),
        swing=values[f"{under}swing"],
        use_cache=use_cache,
        allow_others=allow_others,
        stature_cm=stature_cm,
        everywhere=bool(values.get("everywhere")),
    )


class Guides(click.ParamType):  # type: ignore[type-arg]  # generic since click 8.3 only
    """``all``, ``none``, or names of guide lines separated by commas."""

    name = "names"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> frozenset[str]:
        if isinstance(value, frozenset):
            return value
        if value in ("all", "none"):
            return frozenset(GUIDE_NAMES if value == "all" else ())
        names = frozenset(name.strip().replace("-", "_") for name in str(value).split(",") if name.strip())
        unknown = sorted(names - set(GUIDE_NAMES))
        if unknown or not names:
            known = ", ".join(GUIDE_NAMES)
            self.fail(f"{', '.join(unknown) or 'nothing'} is no guide line; use all, none, or of {known}", param, ctx)
        return names


def reference_options(command: Command) -> Command:
    """--models, --no-fit, --own."""
    for option in (
        click.option(
            "--own",
            is_flag=True,
            help="The reference is of the student himself: one build, so nothing is fitted; a template's spread is his "
            "own, and the difference of the two cameras is known better.",
        ),
        click.option(
            "--no-fit", is_flag=True, help="Compare with the reference as it is, not brought to the student's build."
        ),
        models_option,
    ):
        command = option(command)
    return command


second_offset_option = click.option(
    "--second-offset",
    type=float,
    metavar="SECONDS",
    help="Time on the face-on clip of the moment at second 0 of the down-the-line clip, where it cannot be found.",
)

models_option = click.option(
    "--models",
    type=click.Path(path_type=Path, file_okay=False),
    help="The folder your models lie in, instead of OVERLAY_MODELS or the platform's own.",
)

everywhere_option = click.option(
    "--everywhere",
    is_flag=True,
    help="Look for the body in every frame of a long clip, not only where somebody moves as in a swing.",
)

library_option = click.option(
    "--library",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The library's file, instead of OVERLAY_LIBRARY or the platform's own place.",
)


LAYERS = ("skeleton", "club", "hand-path")


def picture_options(command: Command) -> Command:
    """--guides, --hide: what is drawn on the pictures."""
    for option in (
        click.option(
            "--hide",
            type=click.Choice(LAYERS),
            multiple=True,
            help="Leave this out of the pictures; may be given more than once.",
        ),
        click.option(
            "--guides",
            type=Guides(),
            help="Guide lines to draw: all, none, or names separated by commas. Default: shaft plane, hand depth, "
            "trail leg, head, and the lines of what comes first.",
        ),
    ):
        command = option(command)
    return command


def check_options(command: Command) -> Command:
    """--checklist, --stature-cm."""
    for option in (
        click.option(
            "--stature-cm",
            type=click.FloatRange(80, 240),
            help="The player's body height; lengths are then in cm too, and the camera's place is surer.",
        ),
        click.option(
            "--checklist",
            type=click.Path(path_type=Path),
            help="Your own checklist (TOML, docs/checklist.md) instead of the default one.",
        ),
    ):
        command = option(command)
    return command


def shared_options(command: Command) -> Command:
    """--json, --quiet, --no-cache, --everywhere, --allow-others."""
    for option in (
        click.option("--allow-others", is_flag=True, help="Go on when a second person is in the picture."),
        everywhere_option,
        click.option("--no-cache", is_flag=True, help="Run the pose model again even if this clip is known."),
        click.option("--quiet", "-q", is_flag=True, help="No progress."),
        click.option("--json", "as_json", is_flag=True, help="Print the result as JSON (docs/json-schema.md)."),
    ):
        command = option(command)
    return command
