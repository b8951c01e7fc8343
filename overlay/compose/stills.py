"""Stills at the positions: each player at his own position, and the ghost of both, as pictures and as one sheet."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Sequence

import numpy as np

from overlay.arrays import Image
from overlay.compose.framing import Framing, frame_one, frame_players
from overlay.compose.ghosts import ReferenceGhost
from overlay.compose.options import ComposeOptions
from overlay.compose.player import Player
from overlay.compose.readings import ReadAt, Reading, wanted
from overlay.compose.sources import Pictures, Source
from overlay.compose.wording import (
    confidence_words,
    reference_band,
    reference_label,
    reference_name,
    short_first,
)
from overlay.data import Band, Checklist, Comparison, Swing
from overlay.draw import REFERENCE, STUDENT, CheckRows, Family, FirstStrip, Label, Moment, Notice, put_text
from overlay.draw.palette import INK, PANEL, QUIET
from overlay.draw.panels import panel
from overlay.draw.text import fitted, wrapped
from overlay.settings.draw import DrawSettings
from overlay.terms import POSITION_NAMES, words


@dataclass(frozen=True)
class Still:
    """One player at one position.

    Attributes
    ----------
    name : str
    image : (H, W, 3) with skeleton, or None when the position was not found
    clean : the same without drawings
    moment : what was drawn
    time_s, confidence : of the position, NaN when missing
    shown_s : of the frame that is shown, NaN when missing
    reason : why it is missing, "" otherwise
    """

    name: str
    image: Image | None
    clean: Image | None
    moment: Moment | None
    time_s: float
    confidence: float
    reason: str
    shown_s: float = float("nan")

    @property
    def caption(self) -> str:
        """When and how sure."""
        if self.image is None:
            return "not found"
        return f"{self.time_s:.2f} s, {confidence_words(self.confidence)}"


@dataclass(frozen=True)
class Row:
    """One position of both players, and the ghost where both were found."""

    name: str
    student: Still
    reference: Still
    ghost: Image | None

    @property
    def ghost_reason(self) -> str:
        """Why there is no ghost, "" when there is one."""
        if self.ghost is not None:
            return ""
        missing = [name for name, still in (("student", self.student), ("reference", self.reference)) if still.reason]
        return f"No ghost: not found for {' and '.join(missing)}."


@dataclass(frozen=True)
class Stills:
    """The stills of a comparison.

    Attributes
    ----------
    pane_size : (width, height) px of each
    rows : one a position, in time order
    readings : one a check of the comparison's checklist, in its order; empty without one
    """

    pane_size: tuple[int, int]
    rows: list[Row]
    readings: list[Reading] = field(default_factory=list)


@dataclass(frozen=True)
class InspectionStills:
    """The stills of one swing: (width, height) px of each, the nine positions in order, one reading a check."""

    pane_size: tuple[int, int]
    stills: list[Still]
    readings: list[Reading]


def player_stills(
    player: Player, readings: Sequence[ReadAt | None] = ()
) -> tuple[dict[str, Still], list[Image | None]]:
    """Every position of one player, by name, and the moments that were read, in order; one pass over the clip."""
    swing = player.swing
    found: dict[str, Still] = {}
    asked = [position.time_s for position in swing.positions.found]
    asked.extend(reading.time_s for reading in readings if reading is not None)
    framed: dict[float, tuple[float, Moment, Image]] = {}
    with Pictures(player.source, swing) as pictures:
        nearest = pictures.nearest(np.array(asked, np.float64))
        times_s = np.unique(nearest)
        for wanted_s, (time_s, picture) in zip(times_s, pictures.walk(times_s, max_side=player.max_side, depth=2)):
            # Framed at once: whole pictures of a large clip would fill the memory.
            moment = player.moment(time_s)
            framed[float(wanted_s)] = time_s, moment, player.clean(picture, moment)
    shown_at = dict(zip(asked, (framed[float(time_s)] for time_s in nearest)))
    for position in swing.positions.found:
        time_s, moment, clean = shown_at[position.time_s]
        image = player.annotate(clean.copy(), moment)
        found[position.name] = Still(
            position.name,
            image,
            clean,
            moment,
            position.time_s,
            position.confidence,
            "",
            time_s,
        )
    nan = float("nan")
    for name, reason in swing.positions.missing.items():
        found[name] = Still(name, None, None, None, nan, nan, reason or "not found")
    read: list[Image | None] = []
    for reading in readings:
        if reading is None:
            read.append(None)
            continue
        _, moment, clean = shown_at[reading.time_s]
        image = player.annotate(clean.copy(), moment, guides=reading.guides, paths=reading.paths)
        read.append(player.point(image, moment) if reading.pointing else image)
    return found, read


def comparison_stills(
    comparison: Comparison,
    *,
    student: Source,
    reference: Source,
    options: ComposeOptions | None = None,
    height_px: int | None = None,
) -> Stills:
    """Stills of all nine positions; reads both clips once."""
    options = options or ComposeOptions()
    height = options.settings.still_px if height_px is None else height_px
    framing = frame_players(
        comparison.student,
        comparison.reference,
        with_pictures=(student.clip_path is not None, reference.clip_path is not None),
        least_px=height,
        most_px=height,
        fit=comparison.fit,
        settings=options.settings,
    )
    players = [
        _player(swing, source, family, framing, i, options, reference_band(comparison) if i else None)
        for i, (swing, source, family) in enumerate(
            ((comparison.student, student, STUDENT), (comparison.reference, reference, REFERENCE))
        )
    ]
    checklist = comparison.checklist
    one_read, other_read = (
        wanted(checklist, swing, reference=which == 1)
        for which, swing in enumerate((comparison.student, comparison.reference))
    )
    drawn = [player_stills(player, moments) for player, moments in zip(players, (one_read, other_read))]
    stills = [found for found, _ in drawn]
    ghost = ReferenceGhost(comparison, players[0], players[1], framing, options)
    rows = []
    for name in POSITION_NAMES:
        one, other = stills[0][name], stills[1][name]
        over: Image | None = None
        if one.clean is not None and one.moment is not None and other.clean is not None and other.moment is not None:
            over = one.clean.copy()
            ghost.lay(over, ghost.at(one.shown_s, other.shown_s, other.clean, other.moment))
            players[0].annotate(over, one.moment, fine=True)
        rows.append(Row(name, one, other, over))
    readings = [
        Reading(check, mine, theirs)
        for check, mine, theirs in zip(() if checklist is None else checklist.checks, drawn[0][1], drawn[1][1])
    ]
    return Stills(framing.pane_size, rows, readings)


def _player(
    swing: Swing,
    source: Source,
    family: Family,
    framing: Framing,
    which: int,
    options: ComposeOptions,
    band: Band | None = None,
) -> Player:
    return Player(
        swing,
        source,
        family,
        framing.places[which],
        framing.feet_y,
        options,
        text_px=round(max(options.style.least_text, 0.03 * framing.pane_size[1])),
        band=band,
        stills=True,
    )


def render_sheet(
    comparison: Comparison,
    out: Path,
    *,
    student: Source,
    reference: Source,
    options: ComposeOptions | None = None,
    stills: Stills | None = None,
) -> Path:
    """Write the stills sheet as PNG: one row a position; student, reference, ghost. With a checklist what comes first
    stands above them and its rows under them.

    ``stills`` from ``comparison_stills`` spare reading the clips again.

    Raises
    ------
    InputError
        A clip cannot be read.
    OutputError
        ``out`` cannot be written.
    """
    from overlay.video import write_png

    options = options or ComposeOptions()
    stills = stills or comparison_stills(comparison, student=student, reference=reference, options=options)
    mirrored = comparison.student.handedness != comparison.reference.handedness
    names = (
        student.label or "Student",
        reference_name(comparison, reference.label) + (" (mirrored)" if mirrored else ""),
        "Ghost: both",
    )
    told = reference_label(comparison)
    told = f"{reference_name(comparison, reference.label)}: {told}" if told else ""
    sheet = compose_sheet(stills.pane_size, stills.rows, names, options.style, told)
    write_png(out, with_checklist(sheet, comparison.checklist, options.style))
    return out


def compose_sheet(
    pane: tuple[int, int], rows: list[Row], names: tuple[str, str, str], style: DrawSettings, told: str = ""
) -> Image:
    """The sheet as a picture, (H, W, 3); ``told`` is what is said of the reference under the names."""
    width, height = pane
    gap = max(4, round(0.012 * height))
    wide = 3 * width + 4 * gap
    size = round(max(style.least_text, 0.022 * wide))
    small = round(size * 0.82)
    head, title, foot = round(size * 2.4), round(size * 2.2), round(small * 2.0)
    lines = wrapped(told, small, wide - 2 * gap, 2) if told else []
    top = head + round(1.5 * small * len(lines)) + (round(0.5 * small) if lines else 0)
    image = panel(wide, top + len(rows) * (title + height + foot), INK)
    lefts = [gap + i * (width + gap) for i in range(3)]
    for i, said in enumerate(lines):
        put_text(image, said, gap, head + (0.75 + 1.5 * i) * small, small, colour=QUIET)
    for left, name, colour in zip(lefts, names, (STUDENT.strong, REFERENCE.strong, QUIET)):
        bar = max(3, size // 4)
        image[round(head * 0.25) : round(head * 0.75), left : left + bar] = colour
        put_text(image, fitted(name, size, width - 3 * bar, True), left + 2 * bar, head / 2, size, bold=True)
    y = top
    for number, row in enumerate(rows, start=1):
        image[y : y + title] = PANEL
        put_text(image, f"{number}  {words(row.name).capitalize()}", gap, y + title / 2, size, bold=True)
        cells = (
            (row.student.image, row.student.reason, row.student.caption),
            (row.reference.image, row.reference.reason, row.reference.caption),
            (row.ghost, row.ghost_reason, ""),
        )
        for left, (picture, reason, caption) in zip(lefts, cells):
            if picture is None:
                picture = Notice(size).picture(
                    width, height, reason if row.ghost_reason == reason else f"Not found: {reason}"
                )
            image[y + title : y + title + height, left : left + width] = picture
            put_text(image, fitted(caption, small, width), left, y + title + height + foot / 2, small, colour=QUIET)
        y += title + height + foot
    return image


def inspection_stills(
    swing: Swing,
    *,
    source: Source,
    checklist: Checklist | None = None,
    options: ComposeOptions | None = None,
    height_px: int | None = None,
) -> InspectionStills:
    """Stills of the nine positions of one swing and of the moments its checklist was read at; reads the clip once."""
    options = options or ComposeOptions()
    height = options.settings.still_px if height_px is None else height_px
    framing = frame_one(
        swing,
        with_picture=source.clip_path is not None,
        least_px=height,
        most_px=height,
        settings=options.settings,
    )
    player = _player(swing, source, STUDENT, framing, 0, options)
    found, read = player_stills(player, wanted(checklist, swing))
    checks = () if checklist is None else checklist.checks
    readings = [Reading(check, image) for check, image in zip(checks, read)]
    return InspectionStills(framing.pane_size, [found[name] for name in POSITION_NAMES], readings)


def inspect_sheet(
    swing: Swing,
    out: Path,
    *,
    source: Source,
    options: ComposeOptions | None = None,
    checklist: Checklist | None = None,
    stills: InspectionStills | None = None,
) -> Path:
    """Write the nine positions of one clip as a PNG, three beside each other, with guide lines, club, skeleton, time
    and confidence; with a checklist what comes first above them and its rows under them.

    ``stills`` from ``inspection_stills`` spare reading the clip again.

    Raises
    ------
    InputError
        The clip cannot be read.
    OutputError
        ``out`` cannot be written.
    """
    from overlay.video import write_png

    options = options or ComposeOptions()
    stills = stills or inspection_stills(swing, source=source, options=options)
    write_png(
        out, with_checklist(compose_nine(stills.pane_size, stills.stills, options.style), checklist, options.style)
    )
    return out


def with_checklist(sheet: Image, checklist: Checklist | None, style: DrawSettings) -> Image:
    """A sheet (H, W, 3) between what comes first and the rows of the checklist."""
    if checklist is None:
        return sheet
    wide = sheet.shape[1]
    size = round(max(style.least_text, 0.022 * wide))
    strip, rows = FirstStrip(size), CheckRows(size)
    sentence = short_first(checklist.first)
    return np.concatenate(
        [
            strip.picture(wide, strip.needed_height(wide, sentence), sentence, checklist.first.check is not None),
            sheet,
            rows.picture(wide, checklist.checks),
        ]
    )


def compose_nine(pane: tuple[int, int], stills: list[Still], style: DrawSettings) -> Image:
    """Nine stills in three rows as a picture, (H, W, 3)."""
    width, height = pane
    gap = max(4, round(0.012 * height))
    wide = 3 * width + 4 * gap
    size = round(max(style.least_text, 0.020 * wide))
    foot = round(size * 2.0)
    image = panel(wide, 3 * (height + foot + gap) + gap, INK)
    for i, still in enumerate(stills):
        left, top = gap + (i % 3) * (width + gap), gap + (i // 3) * (height + foot + gap)
        picture = still.image
        if picture is None:
            picture = Notice(size).picture(width, height, f"Not found: {still.reason}")
        else:
            picture = picture.copy()
        Label(f"{i + 1}  {words(still.name)}", size).draw(picture)
        image[top : top + height, left : left + width] = picture
        put_text(image, fitted(still.caption, size, width), left, top + height + foot / 2, size, colour=QUIET)
    return image
