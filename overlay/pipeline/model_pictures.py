"""What a model looks like: its nine positions in every view, and the moving figure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from overlay.data import Model, Swing
from overlay.progress import SILENT, Progress
from overlay.terms import POSITION_NAMES, VIEW_WORDS, View

if TYPE_CHECKING:
    from overlay.arrays import Image
    from overlay.compose.framing import Framing
    from overlay.compose.player import Player

RATE = 30
"""Pictures a second of a preview."""


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
    """The nine positions of every view, the views beside each other, (H, W, 3) uint8."""
    from overlay.compose.stills import compose_nine, player_stills
    from overlay.draw import put_text
    from overlay.draw.palette import INK, QUIET
    from overlay.draw.panels import panel
    from overlay.draw.text import fitted
    from overlay.settings.draw import DRAW

    sheets = []
    for view, swing in seen.items():
        player, framing = _player(model, view, swing, stills=True)
        found, _ = player_stills(player)
        sheets.append((view, compose_nine(framing.pane_size, [found[name] for name in POSITION_NAMES], DRAW)))
    tall = max(sheet.shape[0] for _, sheet in sheets)
    size = round(max(DRAW.least_text, 0.022 * sheets[0][1].shape[1]))
    gap = max(4, size // 2)
    columns = []
    for view, sheet in sheets:
        wide = sheet.shape[1]
        head = panel(wide, round(2.6 * size), INK)
        title = f"{VIEW_WORDS[view].capitalize()}, {seen[view].handedness}-handed"
        put_text(head, fitted(title, size, wide - 2 * gap), gap, round(1.3 * size), size)
        below = panel(wide, tall, INK)
        below[: sheet.shape[0]] = sheet
        columns.append(np.concatenate([head, below]))
    body = np.concatenate(columns, axis=1)
    wide, label = body.shape[1], model.provenance.label
    top = panel(wide, round(size * (4.0 if label else 2.4)), INK)
    put_text(top, fitted(model.name, size, wide - 2 * gap, True), gap, round(1.4 * size), size, bold=True)
    if label:
        put_text(top, fitted(label, size, wide - 2 * gap), gap, round(3.0 * size), size, colour=QUIET)
    return np.concatenate([top, body])


def write_model_video(
    model: Model,
    seen: Mapping[View, Swing],
    out: Path,
    *,
    speed: float = 0.5,
    progress: Progress = SILENT,
) -> None:
    """Write an MP4 of the moving figure, all views beside each other.

    Parameters
    ----------
    model : Model
    seen : mapping view → Swing
    out : Path
    speed : float
        Swing seconds per video second.
    progress : Progress

    Raises
    ------
    OutputError
        The file cannot be written.
    """
    from overlay.compose.timing import title_at
    from overlay.draw import Label
    from overlay.draw.panels import Heading
    from overlay.settings.draw import DRAW
    from overlay.video import VideoWriter

    panes = [_Pane.of(model, view, swing) for view, swing in seen.items()]
    first = panes[0].player.swing
    slow = max(1.0, float(first.quality.get("slow_factor_estimate", 1.0)))
    times_s = np.arange(first.start_s, first.stop_s, speed * slow / RATE)
    width, height = sum(pane.size[0] for pane in panes), panes[0].size[1]
    size_px = round(max(DRAW.least_text, 0.032 * height))
    head_px = 2 * round(1.3 * size_px)
    heading = Heading(size_px, round(0.7 * size_px))
    progress.stage("drawing the moving figure", total=len(times_s))
    with VideoWriter(out, width, head_px + height, RATE) as video:
        for time_s in times_s:
            title = title_at(first, float(time_s))
            row = [pane.at(_other_clock(model, panes[0], pane, float(time_s))) for pane in panes]
            for pane, picture in zip(panes, row):
                Label(VIEW_WORDS[pane.view].capitalize(), size_px).draw(picture)
            head = heading.picture(width, head_px, title, False, model.name)
            video.write(np.concatenate([head, np.concatenate(row, axis=1)]))
            progress.advance()
    progress.done()


def _other_clock(model: Model, leading: _Pane, pane: _Pane, time_s: float) -> float:
    """The time on a pane's own clock; both views of a swing in space have one."""
    if pane is leading or model.space is not None or model.pair_map is None:
        return time_s
    to = model.pair_map.to_reference if leading.view == "dtl" else model.pair_map.to_student
    return float(to(time_s))


@dataclass(frozen=True)
class _Pane:
    """One view in the moving picture."""

    view: View
    player: Player
    size: tuple[int, int]

    @classmethod
    def of(cls, model: Model, view: View, swing: Swing) -> _Pane:
        player, framing = _player(model, view, swing, stills=False)
        return cls(view, player, framing.pane_size)

    def at(self, time_s: float) -> Image:
        moment = self.player.moment(time_s)
        return self.player.annotate(self.player.clean(None, moment), moment)


def _player(model: Model, view: View, swing: Swing, *, stills: bool) -> tuple[Player, Framing]:
    """The figure of one view in the reference's colours, and how it is framed."""
    from overlay.compose import ComposeOptions, Source
    from overlay.compose.framing import frame_one
    from overlay.compose.player import Player
    from overlay.draw import REFERENCE
    from overlay.settings.draw import DRAW

    options = ComposeOptions()
    height = options.settings.still_px
    # No picture ends above the figure: the club is not cut off where it stands up, at lead arm level.
    roomy = replace(options.settings, hand_reach_up=options.settings.hand_reach)
    framing = frame_one(swing, with_picture=False, least_px=height, most_px=height, settings=roomy)
    text_px = round(max(DRAW.least_text, 0.03 * height))
    place = framing.places[0]
    source = Source(label=model.name, kept=model.pictures.get(view))
    player = Player(
        swing,
        source,
        REFERENCE,
        place,
        framing.feet_y,
        options,
        text_px=text_px,
        band=model.bands.get(view),
        stills=stills,
    )
    return player, framing
