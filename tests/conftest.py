"""Shared by all tests: nothing touches the user's own folders, and real data is found by environment variable."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import hypothesis
import pytest

ROOT = Path(__file__).resolve().parent.parent


# Speed is measured in studies, never by a test's deadline; derandomised so that a run can be repeated.
hypothesis.settings.register_profile("overlay", deadline=None, derandomize=True)
hypothesis.settings.load_profile("overlay")


def pytest_configure(config: pytest.Config) -> None:
    if os.environ.get("OVERLAY_EXPECT_INSTALLED"):
        import overlay

        where = Path(overlay.__file__).resolve()
        if ROOT / "overlay" in where.parents:
            raise pytest.UsageError(f"The tests are to run on the installed wheel, but overlay comes from {where}.")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    folder = os.environ.get("OVERLAY_REAL_DATA")
    if folder and Path(folder).is_dir():
        return
    skip = pytest.mark.skip(reason="OVERLAY_REAL_DATA names no folder of real swings")
    for item in items:
        if "real" in item.keywords:
            item.add_marker(skip)


@pytest.fixture(scope="session")
def repository() -> Path:
    """The checkout, for tests that read docs and sources."""
    return ROOT


@pytest.fixture(scope="session")
def real_data() -> Path:
    """The folder of real swings; only for tests marked ``real``."""
    folder = os.environ.get("OVERLAY_REAL_DATA")
    if not folder:
        pytest.skip("OVERLAY_REAL_DATA is not set")
    return Path(folder)


@pytest.fixture(scope="session")
def overlay_arguments() -> list[str]:
    """The command line's first words: the installed command when the wheel is under test."""
    if os.environ.get("OVERLAY_EXPECT_INSTALLED"):
        return [str(Path(sys.executable).with_name("overlay"))]
    return [sys.executable, "-m", "overlay"]


@pytest.fixture(scope="session")
def overlay_environment(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The environment of a command: its own cache, models and library, and the sources when no wheel is installed."""
    environment = dict(
        os.environ,
        OVERLAY_CACHE_DIR=str(tmp_path_factory.mktemp("cache")),
        OVERLAY_MODELS=str(tmp_path_factory.mktemp("models")),
        OVERLAY_LIBRARY=str(tmp_path_factory.mktemp("library") / "library.sqlite"),
    )
    environment.pop("OVERLAY_DEBUG", None)
    if not os.environ.get("OVERLAY_EXPECT_INSTALLED"):
        environment["PYTHONPATH"] = str(ROOT)
    return environment


@pytest.fixture(scope="session")
def overlay_command(
    overlay_arguments: list[str], overlay_environment: dict[str, str], tmp_path_factory: pytest.TempPathFactory
) -> Callable[..., subprocess.CompletedProcess[str]]:
    """Runs ``overlay …`` as a user would, in a folder of its own."""
    folder = tmp_path_factory.mktemp("work")

    def run(*arguments: object, environment: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*overlay_arguments, *map(str, arguments)],
            env={**overlay_environment, **(environment or {})},
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )

    return run
