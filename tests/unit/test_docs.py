"""The documents keep up with the code: generated pages, links, code blocks, doctests."""

from __future__ import annotations

import doctest
import importlib
import pkgutil
import re
import subprocess
import sys
from pathlib import Path

import pytest

WITH_COMMANDS = ("how-to", "tutorial", "models", "record")
MODULES_WITH_EXAMPLES = ("overlay.landmarks", "overlay.doctor", "overlay.kinematics")


def test_the_reference_is_what_the_code_says(repository: Path) -> None:
    done = subprocess.run(
        [sys.executable, str(repository / "tools" / "write_reference.py"), "--check"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr


def test_links_between_documents_lead_somewhere(repository: Path) -> None:
    broken = []
    for page in [repository / "README.md", repository / "DEVELOPERS.md", *sorted((repository / "docs").rglob("*.md"))]:
        for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            if not (page.parent / target).exists():
                broken.append(f"{page.name} → {target}")
    assert broken == []


def test_commands_in_documents_exist(repository: Path) -> None:
    import click

    from overlay.cli.main import COMMANDS, group

    context = click.Context(group)
    wrong = []
    for page in [repository / "README.md", *(repository / "docs" / f"{name}.md" for name in WITH_COMMANDS)]:
        for line in page.read_text(encoding="utf-8").splitlines():
            match = re.match(r"\s{4}(?:\.venv/bin/)?overlay ([\w-]+)(.*)", line)
            if match is None:
                continue
            name, rest = match.groups()
            command = group.get_command(context, name) if name in COMMANDS else None
            if isinstance(command, click.Group):
                inner = re.match(r"\s+(\w+)(.*)", rest)
                command = None if inner is None else command.get_command(context, inner.group(1))
                rest = "" if inner is None else inner.group(2)
            if command is None:
                wrong.append(f"{page.name}: {line.strip()}")
                continue
            known = {option for parameter in command.params for option in parameter.opts}
            wrong += [f"{page.name}: {option}" for option in re.findall(r"--[a-z-]+", rest) if option not in known]
    assert wrong == []


@pytest.mark.parametrize("name", MODULES_WITH_EXAMPLES)
def test_examples_in_docstrings(name: str) -> None:
    result = doctest.testmod(importlib.import_module(name))
    assert result.attempted > 0
    assert result.failed == 0


def test_every_public_function_says_what_it_does() -> None:
    import inspect

    import overlay

    silent = []
    for found in pkgutil.walk_packages(overlay.__path__, "overlay."):
        if ".cli" in found.name or "kernels" in found.name or found.name.endswith("__main__"):
            continue
        module = importlib.import_module(found.name)
        if not module.__doc__:
            silent.append(found.name)
        for name, thing in vars(module).items():
            own = getattr(thing, "__module__", None) == found.name
            public = own and not name.startswith("_") and (inspect.isfunction(thing) or inspect.isclass(thing))
            if public and not thing.__doc__:
                silent.append(f"{found.name}.{name}")
    assert silent == []


def test_every_setting_has_a_unit_and_a_reason() -> None:
    import dataclasses

    import overlay.settings as package

    bare = []
    for found in pkgutil.iter_modules(package.__path__):
        module = importlib.import_module(f"overlay.settings.{found.name}")
        for thing in vars(module).values():
            if isinstance(thing, type) and dataclasses.is_dataclass(thing) and thing.__module__ == module.__name__:
                # A settings object within a settings object explains itself.
                bare += [
                    f"{thing.__name__}.{field.name}"
                    for field in dataclasses.fields(thing)
                    if not field.metadata.get("reason") and not dataclasses.is_dataclass(field.default)
                ]
    assert bare == []
