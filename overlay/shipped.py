"""Where the files that come with the package lie: inside the wheel, or beside the sources in a checkout."""

from __future__ import annotations

from pathlib import Path

from overlay.errors import SetupError

_PACKAGE = Path(__file__).resolve().parent
_IN_CHECKOUT = {"demo": _PACKAGE.parent / "demo" / "scenario", "reference_models": _PACKAGE.parent / "reference_models"}


def shipped_folder(name: str) -> Path:
    """The folder ``demo`` or ``reference_models``.

    Raises
    ------
    SetupError
        The installation lacks it.
    """
    for folder in (_PACKAGE / "_shipped" / name, _IN_CHECKOUT[name]):
        if folder.is_dir():
            return folder
    raise SetupError(f"This installation lacks its folder {name}.", "Install overlay again from its wheel.")
