"""Shared by all tests: nothing touches the user's own folders, and real data is found by environment variable."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent


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
