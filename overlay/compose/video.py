"""The comparison video: both players in one framing and one time, one streaming pass over both clips."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from overlay.arrays import Image
from overlay.compose.framing import Framing, frame_players
from overlay.compose.ghosts import ReferenceGhost
from overlay.compose.options import LAYOUTS, ComposeOptions, Layout
from overlay.compose.player import Player
from overlay.compose.sources import Pictures, Source
from overlay.compose.timing import Plan, phase_at, plan_video, title_at
from overlay.compose.wording import (
    confidence_words,
    headline,
    reference_band,
    reference_label,
    reference_name,
    short_first,
)
from overlay.data import Comparison
from overlay.draw import REFERENCE, STUDENT, Caption, FirstStrip, Heading, Label, Moment, ScorePanel, TimeBar, put_text
from overlay.draw.palette import INK, PAPER, QUIET
from overlay.draw.panels import panel
from overlay.draw.text import text_width, wrapped
from overlay.progress import SILENT, Progress
from overlay.settings.compose import ComposeSettings
from overlay.settings.draw import DRAW, DrawSettings
from overlay.terms import PARTS

Box = tuple[int, int, int, int]
"""left, top, width, height, px."""


@dataclass(frozen=True)
class Places:
    """Where everything stands on the canvas."""

    width: int
    height: int
    text_px: int
    heading_px: int
    heading: Box
    time_bar: Box
    scores: Box
    student: Box | None = None
    reference: Box | None = None
    ghost: Box | None = None
    first: Box | None = None


def even(value: float) -> int:
    """The next even number: H.264 with 4:2:0 colour has no odd sizes."""
    return int(np.ceil(value / 2) * 2)


def place(layout: Layout, pane: tuple[int, int], style: DrawSettings = DRAW, first: str = "") -> Places:
    """Lay out the canvas for panes of one size.

    ``first`` is the sentence of what is worked on first; it gets a strip under the heading, as tall as it needs.

    ``both`` is two panes over two: about as tall and narrow as a phone held upright, with the scores beside the
    ghost. The other layouts have the scores under the picture.
    """
    width, height = pane
    gap = even(max(4, 0.012 * height))
    wide = width if layout == "ghost" else 2 * width + gap
    text_px = round(max(style.least_text, style.text * wide))
    heading_px = round(max(style.least_text * 1.4, style.heading * wide))
    head_height = even(heading_px * 2.0)
    strip = even(FirstStrip(text_px).needed_height(wide, first)) if first else 0
    top = head_height + strip
    bar = even(text_px * 2.2)
    scores = ScorePanel(text_px)
    head = (0, 0, wide, head_height)
    under = (0, head_height, wide, strip) if strip else None
    if layout == "both":
        second = top + height + gap
        bar_y = second + height
        return Places(
            wide,
            bar_y + bar,
            text_px,
            heading_px,
            head,
            (0, bar_y, wide, bar),
            (width + gap, second, width, height),
            (0, top, width, height),
            (width + gap, top, width, height),
            (0, second, width, height),
            first=under,
        )
    bar_y = top + height
    tall = even(scores.needed_height(wide, len(PARTS)))
    boxes = (0, bar_y, wide, bar), (0, bar_y + bar, wide, tall)
    total = bar_y + bar + tall
    if layout == "ghost":
        return Places(wide, total, text_px, heading_px, head, *boxes, ghost=(0, top, width, height), first=under)
    return Places(
        wide,
        total,
        text_px,
        heading_px,
        head,
        *boxes,
        student=(0, top, width, height),
        reference=(width + gap, top, width, height),
        first=under,
    )


def pane_limits(layout: Layout, settings: ComposeSettings) -> tuple[int, int]:
    """Least and greatest pane height, px."""
    return {
        "side by side": (settings.least_pane_px, settings.most_pane_px),
        "ghost": (settings.single_least_px, settings.single_pane_px),
        "both": (settings.least_pane_px, settings.most_small_pane_px),
    }[layout]


LEGEND = (
    "Strong lines: lead side. Light lines: trail side. Dashed and hollow: a guess. Thin pale lines: guide lines from "
    "each player's own address."
)


class Canvas:
    """Draws one frame after another on the same picture; only what changed is drawn again."""

    def __init__(
        self,
        comparison: Comparison,
        student: Source,
        reference: Source,
        options: ComposeOptions,
        framing: Framing | None = None,
    ) -> None:
        self.comparison = comparison
        self.options = options
        least, most = pane_limits(options.layout, options.settings)
        self.framing = framing or frame_players(
            comparison.student,
            comparison.reference,
            with_pictures=(student.clip_path is not None, reference.clip_path is not None),
            least_px=least,
            most_px=most,
            fit=comparison.fit,
            settings=options.settings,
        )
        checklist = comparison.checklist
        sentence = "" if checklist is None else short_first(checklist.first)
        self.places = place(options.layout, self.framing.pane_size, options.style, sentence)
        size = self.places.text_px
        name = reference_name(comparison, reference.label)
        reference_title = Label(name + (" (mirrored)" if self.framing.mirrored else ""), size, swatch=REFERENCE.strong)
        written = self._caption_for(reference_title)
        self.players = tuple(
            Player(
                swing,
                source,
                family,
                place,
                self.framing.feet_y,
                options,
                text_px=round(self.places.text_px * options.style.guide_text),
                band=band,
                written_px=written if family is REFERENCE else (0, 0),
            )
            for swing, source, family, place, band in zip(
                (comparison.student, comparison.reference),
                (student, reference),
                (STUDENT, REFERENCE),
                self.framing.places,
                (None, reference_band(comparison)),
            )
        )
        self.image = panel(self.places.width, self.places.height, INK)
        self._ghost = ReferenceGhost(comparison, self.players[0], self.players[1], self.framing, options)
        if self.places.first is not None and checklist is not None:
            # It stays the whole video through: drawn once.
            _, _, width, height = self.places.first
            strip = FirstStrip(size).picture(width, height, sentence, found=checklist.first.check is not None)
            self._part(self.places.first)[:] = strip
        student_name = student.label or "Student"
        self._labels = {
            "student": Label(student_name, size, swatch=STUDENT.strong),
            "reference": reference_title,
            "ghost": Label(self._ghost_name(name, student_name, size), size),
        }
        lead = comparison.student if options.lead == "student" else comparison.reference
        self._lead = lead
        self._bar = TimeBar(
            lead.start_s,
            lead.stop_s,
            tuple((position.name, position.time_s) for position in lead.positions.found),
            size,
            STUDENT.strong if options.lead == "student" else REFERENCE.strong,
        )
        _, _, bar_width, bar_height = self.places.time_bar
        self._bar_base = self._bar.base(bar_width, bar_height)
        self._heading = lru_cache(maxsize=64)(self._make_heading)
        self._scores = lru_cache(maxsize=32)(self._make_scores)
        self._shown: dict[str, object] = {}
        self._clean: list[Image | None] = [None, None]
        self._moments: list[Moment | None] = [None, None]
        self.is_new = False
        """Whether the last ``draw`` changed anything: while the picture is held it does not."""

    @property
    def caption(self) -> Caption | None:
        """The sentence that is shown wherever the reference is, None where it has none."""
        return self._caption

    def _caption_for(self, title: Label) -> tuple[int, int]:
        """Make the caption of the reference's pane; the heights written there, at the top and at the foot.

        Down the line hands and club come to the top of the pane, face on the club head to the middle of its foot.
        """
        told = reference_label(self.comparison)
        small = max(round(self.options.style.least_text), round(0.8 * self.places.text_px))
        at_top = self.comparison.reference.view == "fo"
        self._caption = Caption(told, small, title.height_px if at_top else None) if told else None
        if self._caption is None:
            return 0, 0
        tall = self._caption.height_px(self.framing.pane_size[0])
        return (title.height_px + tall, 0) if at_top else (0, tall)

    def _ghost_name(self, reference: str, student: str, size_px: int) -> str:
        """The longest of several captions that fits into the ghost's pane."""
        pane = self.places.ghost
        room = (pane[2] if pane is not None else self.places.width) - 2.5 * size_px
        captions = (
            f"{reference} (blue) over {student}",
            f"Ghost (blue): {reference}",
            f"Blue: {reference}",
            f"Ghost: {self.options.called[1].removeprefix('the ')} in blue",
            "Ghost",
        )
        return next((text for text in captions if text_width(text, size_px, bold=True) <= room), captions[-1])

    def draw(
        self,
        times_s: tuple[float, float],
        pictures: tuple[Image | None, Image | None],
        held: str | None = None,
    ) -> Image:
        """The canvas at one instant, (height, width, 3). The same array is used again by the next call.

        Parameters
        ----------
        times_s : times of the shown frames of student and reference
        pictures : their pictures, None without a clip
        held : name of the position at which the picture is held
        """
        names = ("student", "reference")
        self.is_new = False
        changed = [self._changed(f"{name} time", time_s) for name, time_s in zip(names, times_s)]
        for i, player in enumerate(self.players):
            if not changed[i]:
                continue
            moment = player.moment(times_s[i])
            clean = player.clean(pictures[i], moment)
            self._moments[i], self._clean[i] = moment, clean
            box = self.places.student if i == 0 else self.places.reference
            if box is not None:
                part = self._part(box)
                part[:] = clean
                player.annotate(part, moment)
                self._labels[names[i]].draw(part)
                if i == 1 and self._caption is not None:
                    self._caption.draw(part)
        if self.places.ghost is not None and any(changed):
            self._draw_ghost(times_s)
        lead_s = times_s[0] if self.options.lead == "student" else times_s[1]
        self._draw_panels(lead_s, held)
        return self.image

    def _changed(self, what: str, value: object) -> bool:
        if what in self._shown and self._shown[what] == value:
            return False
        self._shown[what] = value
        self.is_new = True
        return True

    def _part(self, box: Box) -> Image:
        left, top, width, height = box
        return self.image[top : top + height, left : left + width]

    def _draw_ghost(self, times_s: tuple[float, float]) -> None:
        assert self.places.ghost is not None
        part = self._part(self.places.ghost)
        below, above = self._clean
        moments = self._moments
        assert below is not None
        assert above is not None
        assert moments[0] is not None
        assert moments[1] is not None
        part[:] = below
        self._ghost.lay(part, self._ghost.at(times_s[0], times_s[1], above, moments[1]))
        self.players[0].annotate(part, moments[0], fine=True)
        self._labels["ghost"].draw(part)
        if self.places.reference is None and self._caption is not None:
            self._caption.draw(part)

    def _draw_panels(self, lead_s: float, held: str | None) -> None:
        title = title_at(self._lead, lead_s, held)
        if self._changed("heading", (title, held)):
            self._part(self.places.heading)[:] = self._heading(title, held)
        phase = phase_at(self._lead, lead_s, held)
        if self._changed("scores", phase):
            self._part(self.places.scores)[:] = self._scores(phase)
        if self._changed("bar", (lead_s, held)):
            part = self._part(self.places.time_bar)
            part[:] = self._bar_base
            self._bar.draw(part, lead_s, held)

    def _make_heading(self, title: str, held: str | None) -> Image:
        _, _, width, height = self.places.heading
        if held is not None:
            position = self._lead.positions.get(held)
            right = "" if position is None else confidence_words(position.confidence)
        else:
            right = f"in {self.options.called[self.options.lead == 'reference']}'s time"
            if self.options.speed != 1:
                right += f" · speed ×{self.options.speed:g}"
        heading = Heading(self.places.heading_px, round(self.places.text_px * 0.8))
        return heading.picture(width, height, title, held is not None, right)

    def _make_scores(self, phase: str | None) -> Image:
        _, _, width, height = self.places.scores
        size = self.places.text_px
        if phase is not None:
            rows = [
                row for part in PARTS for row in self.comparison.differences if (row.phase, row.part) == (phase, part)
            ]
            return ScorePanel(size).picture(width, height, phase, rows)
        image = panel(width, height)
        margin = size * 0.7
        put_text(image, "Where it first differs", margin, size * 1.15, size, bold=True)
        y = size * 2.8
        for line in wrapped(headline(self.comparison, self.options.called[1]), size, int(width - 2 * margin), 10):
            put_text(image, line, margin, y, size, colour=PAPER)
            y += size * 1.4
        if y + size * 4 < height:
            y += size * 0.8
            small = round(size * 0.85)
            for line in wrapped(self.comparison.sharpness, small, int(width - 2 * margin), 10):
                if y + small > height:
                    break
                put_text(image, line, margin, y, small, colour=QUIET)
                y += small * 1.4
            y += small * 0.8
            for line in wrapped(LEGEND, small, int(width - 2 * margin), 10):
                if y + small > height:
                    break
                put_text(image, line, margin, y, small, colour=QUIET)
                y += small * 1.4
        return image


def render_video(
    comparison: Comparison,
    out: Path,
    *,
    student: Source,
    reference: Source,
    options: ComposeOptions | None = None,
    progress: Progress = SILENT,
) -> Path:
    """Write the comparison as an H.264 MP4.

    Parameters
    ----------
    comparison : Comparison
    out : Path
        Ends in ``.mp4``; written whole or not at all.
    student, reference : Source
        Where the pictures come from.
    options : ComposeOptions
    progress : Progress

    Raises
    ------
    InputError
        A clip cannot be read, or the options make no sense.
    OutputError
        ``out`` cannot be written.
    """
    from overlay.video import VideoWriter

    options = options or ComposeOptions()
    plan = plan_video(
        comparison, lead=options.lead, speed=options.speed, hold_s=options.hold_s, settings=options.settings
    )
    canvas = Canvas(comparison, student, reference, options)
    progress.stage("drawing the video", float(len(plan)))
    with Pictures(student, comparison.student) as one, Pictures(reference, comparison.reference) as other:
        shots = zip(
            one.walk(one.nearest(plan.student_s), max_side=canvas.players[0].max_side),
            other.walk(other.nearest(plan.reference_s), max_side=canvas.players[1].max_side),
            plan.held,
        )
        with VideoWriter(out, canvas.places.width, canvas.places.height, plan.rate) as writer:
            for (student_s, student_picture), (reference_s, reference_picture), held in shots:
                image = canvas.draw((student_s, reference_s), (student_picture, reference_picture), held)
                if canvas.is_new:
                    writer.write(image)
                else:
                    writer.repeat()
                progress.advance()
    progress.done()
    return out


__all__ = ["LAYOUTS", "Canvas", "ComposeOptions", "Layout", "Places", "Plan", "place", "render_video"]
