"""Writes the model files of schema 1 that later versions of overlay have to read.

    python tests/contract/models/write.py

Not to be run again for schema 1: the files are what users have. A new schema gets files of its own beside them.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parents[1] / "unit")]

from model_factory import band, space_model, swing_model, with_pictures  # noqa: E402

from overlay.models import SCHEMA, save_model  # noqa: E402


def main() -> None:
    swing = with_pictures(swing_model("Kept long ago", rate=10), size=(24, 32))
    save_model(swing, HERE / f"schema{SCHEMA}_swing.swing")
    template = replace(swing_model("Made long ago", rate=10), kind="template", pair_map=None, bands={"dtl": band(8)})
    save_model(template, HERE / f"schema{SCHEMA}_template.swing")
    space = space_model("Space long ago")
    assert space.space is not None
    track = space.space
    thin = {name: getattr(track, name)[::10] for name in ("time_s", "points", "grip", "club_head")}
    save_model(replace(space, space=replace(track, **thin)), HERE / f"schema{SCHEMA}_space.swing")


if __name__ == "__main__":
    main()
