"""Writes docs/reference.md from the commands and settings themselves, so that the page cannot fall behind.

python tools/write_reference.py           # write
python tools/write_reference.py --check   # fail when the page differs
"""

from __future__ import annotations

import dataclasses
import importlib
import pkgutil
import sys
from pathlib import Path
from typing import Mapping

import click

PAGE = Path(__file__).resolve().parent.parent / "docs" / "reference.md"


def option_rows(command: click.Command) -> list[str]:
    rows = ["| option | meaning | default |", "|---|---|---|"]
    for parameter in command.params:
        if not isinstance(parameter, click.Option):
            continue
        names = ", ".join(f"`{name}`" for name in parameter.opts)
        kind = "" if parameter.is_flag else f" ({describe(parameter.type)})"
        default = parameter.default
        shown = "off" if parameter.is_flag else f"{default}" if isinstance(default, (str, int, float)) else "–"
        rows.append(f"| {names} | {(parameter.help or '').rstrip('.')}{kind} | {shown} |")
    return rows


def describe(kind: click.ParamType) -> str:
    if isinstance(kind, click.Choice):
        return ", ".join(str(choice) for choice in kind.choices)
    if isinstance(kind, (click.IntRange, click.FloatRange)):
        low = "" if kind.min is None else f"{kind.min}"
        high = "" if kind.max is None else f"{kind.max}"
        return f"{low}–{high}" if low and high else f"{low} or more" if low else f"up to {high}"
    return "path" if isinstance(kind, click.Path) else kind.name


def command_section(name: str, command: click.Command) -> list[str]:
    arguments = " ".join(p.human_readable_name.upper() for p in command.params if isinstance(p, click.Argument))
    if isinstance(command, click.Group):
        arguments = "COMMAND"
    lines = [f"## overlay {name}", "", f"`overlay {name} [options] {arguments}`".replace(" `", "`"), ""]
    lines += [" ".join(paragraph.split()) + "\n" for paragraph in (command.help or "").split("\n\n")]
    if any(isinstance(p, click.Option) for p in command.params):
        lines += [*option_rows(command), ""]
    return lines


def plain(value: object) -> str:
    """The value as text, the same in every run: sets have no order of their own."""
    if isinstance(value, (set, frozenset)):
        return ", ".join(sorted(str(item) for item in value))
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {inner}" for key, inner in value.items())
    return str(value)


def default_of(field: dataclasses.Field[object]) -> object:
    if field.default is not dataclasses.MISSING:
        return field.default
    return "–" if field.default_factory is dataclasses.MISSING else field.default_factory()


def settings_section() -> list[str]:
    import overlay.settings as package

    lines = ["## Settings", "", "Every threshold, its unit and why it is what it is.", ""]
    for found in sorted(pkgutil.iter_modules(package.__path__), key=lambda module: module.name):
        module = importlib.import_module(f"overlay.settings.{found.name}")
        for thing in vars(module).values():
            if not (
                isinstance(thing, type) and dataclasses.is_dataclass(thing) and thing.__module__ == module.__name__
            ):
                continue
            fields = [field for field in dataclasses.fields(thing) if "unit" in field.metadata]
            if not fields:
                continue
            lines += [f"### {thing.__name__} (`overlay.settings.{found.name}`)", ""]
            lines += ["| name | default | unit | reason |", "|---|---|---|---|"]
            for field in fields:
                default = plain(default_of(field)).replace("|", "\\|")
                reason = " ".join(str(field.metadata["reason"]).split()).replace("|", "\\|")
                lines.append(f"| `{field.name}` | {default} | {field.metadata['unit'] or '–'} | {reason} |")
            lines.append("")
    return lines


def exit_code_section() -> list[str]:
    from overlay import errors

    lines = [
        "## Exit codes",
        "",
        "| code | meaning |",
        "|---|---|",
        "| 0 | done |",
        "| 2 | the command was typed wrongly |",
    ]
    for thing in vars(errors).values():
        if isinstance(thing, type) and issubclass(thing, errors.OverlayError) and thing is not errors.OverlayError:
            first = " ".join((thing.__doc__ or "").split())
            lines.append(f"| {thing.exit_code} | {first} |")
    return [
        *lines,
        "| 70 | A fault of overlay itself. |",
        "| 130 | Stopped by the user. |",
        "| 141 | The reader of the output has gone. |",
        "",
    ]


def environment_section() -> list[str]:
    return [
        "## Environment variables",
        "",
        "| variable | meaning |",
        "|---|---|",
        "| `OVERLAY_MODELS` | where your models lie, instead of `overlay/models` in the platform's data folder |",
        "| `OVERLAY_DATA_DIR` | where the pose model lies, instead of the platform's data folder |",
        "| `OVERLAY_CACHE_DIR` | where pose tracks are kept, instead of the platform's cache folder |",
        "| `OVERLAY_POSE_MODEL` | a pose landmark `.task` file to use instead of the one that is made |",
        "| `OVERLAY_DEBUG` | set to anything: errors show a traceback |",
        "",
    ]


def page() -> str:
    from overlay.cli.main import COMMANDS, group

    lines = ["# Reference", "", "Made by `python tools/write_reference.py`; do not edit.", ""]
    context = click.Context(group)
    for name in COMMANDS:
        command = group.get_command(context, name)
        if command is not None:
            lines += command_section(name, command)
        if isinstance(command, click.Group):
            # A group of its own: its commands follow, each under its full name.
            for inner in command.list_commands(context):
                below = command.get_command(context, inner)
                if below is not None:
                    lines += command_section(f"{name} {inner}", below)
    lines += [*exit_code_section(), *environment_section(), *settings_section()]
    return "\n".join(lines).rstrip() + "\n"


def main() -> None:
    text = page()
    if "--check" in sys.argv[1:]:
        if not PAGE.exists() or PAGE.read_text(encoding="utf-8") != text:
            raise SystemExit("docs/reference.md is not up to date: run python tools/write_reference.py")
        return
    PAGE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
