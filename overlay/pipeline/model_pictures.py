"""What a model looks like: its nine positions in every view, and the moving figure."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from overlay.data import Model, Swing
from overlay.terms import POSITION_NAMES, VIEW_WORDS, View

if TYPE_CHECKING:
    from overlay.arrays import Image
    from overlay.compose import Source


def write_model_sheet(model: Model, seen: Mapping[View, Swing], out: Path) -> None:
    """Write a PNG with the nine positions of every view, drawn or as the cut-outs that were kept.

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    from overlay.video import write_png

    write_png(out, model_sheet(model, seen))


def model_sheet(model: Model, seen: Mapping[View, Swing]) -> Image:
    """The nine positions of every view under one another, (H, W, 3) uint8."""
    from overlay.compose import ComposeOptions
    from overlay.compose.framing import frame_one
    from overlay.compose.player import Player
    from overlay.compose.stills import compose_nine, player_stills
    from overlay.draw import REFERENCE, put_text
    from overlay.draw.palette import INK, QUIET
    from overlay.draw.panels import panel
    from overlay.draw.text import fitted
    from overlay.settings.draw import DRAW

    options = ComposeOptions()
    sheets = []
    for view, swing in seen.items():
        height = options.settings.still_px
        framing = frame_one(swing, with_picture=False, least_px=height, most_px=height, settings=options.settings)
        text_px = round(max(DRAW.least_text, 0.03 * height))
        place = framing.places[0]
        player = Player(swing, _source(model, view), REFERENCE, place, framing.feet_y, options, text_px=text_px)
        found, _ = player_stills(player)
        stills = [found[name] for name in POSITION_NAMES]
        sheets.append((view, compose_nine(framing.pane_size, stills, options.style)))
    wide = max(sheet.shape[1] for _, sheet in sheets)
    size = round(max(DRAW.least_text, 0.022 * wide))
    gap = max(4, size // 2)
    label = model.provenance.label
    rows = []
    for i, (view, sheet) in enumerate(sheets):
        head = panel(wide, round(size * (4.2 if i == 0 and label else 2.6)), INK)
        title = f"{model.name}: {VIEW_WORDS[view]}, {seen[view].handedness}-handed"
        put_text(head, fitted(title, size, wide - 2 * gap, True), gap, round(1.3 * size), size, bold=True)
        if i == 0 and label:
            put_text(head, fitted(label, size, wide - 2 * gap), gap, round(2.9 * size), size, colour=QUIET)
        beside = panel(wide, sheet.shape[0], INK)
        beside[:, : sheet.shape[1]] = sheet
        rows += [head, beside]
    return np.concatenate(rows)


def _source(model: Model, view: View) -> Source:
    from overlay.compose import Source

    return Source(label=model.name)
