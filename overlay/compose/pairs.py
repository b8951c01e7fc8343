"""Both views of a swing in one video and on one sheet: down the line and face on, in step, in the student's time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from pathlib import Path

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.compose.framing import frame_one
from overlay.compose.options import ComposeOptions, Layout
from overlay.compose.pair_stills import (
    VIEWS,
    PairRow,
    PairStills,
    check_views,
    compose_pair_sheet,
    pair_sheet,
    pair_stills,
    shown_swings,
)
from overlay.compose.player import Player
from overlay.compose.sources import Pictures, Source
from overlay.compose.timing import output_rate, phase_at, title_at
from overlay.compose.video import Box, Canvas, even
from overlay.compose.wording import confidence_words, short_first
from overlay.data import Comparison, FirstThing, Swing, ViewPair
from overlay.draw import STUDENT, Caption, FirstStrip, Heading, Label, Notice, TimeBar, put_text
from overlay.draw.palette import INK, PANEL, PAPER, QUIET
from overlay.draw.panels import panel
from overlay.draw.text import fitted, wrapped
from overlay.errors import InputError
from overlay.progress import SILENT, Progress
from overlay.terms import PARTS, VIEW_WORDS, View, words

__all__ = [
    "PairCanvas",
    "PairPlan",
    "PairRow",
    "PairStills",
    "compose_pair_sheet",
    "pair_sheet",
    "pair_stills",
    "plan_pair",
    "render_pair_video",
    "shown_swings",
]

ROWS: Mapping[Layout, tuple[str, ...]] = {
    "side by side": ("student", "reference"),
    "ghost": ("ghost",),
    "both": ("student", "ghost"),
}
"""What stands under each other in the column of each view. ``both`` leaves the reference to the ghost: six panes would
be too small on a phone."""
PANE_PX: Mapping[int, int] = {1: 720, 2: 560}
"""Number of rows → height of a pane, px: the whole is no taller than a phone held upright is."""


@dataclass(frozen=True)
class PairPlan:
    """The shots of the video, one each output frame, in the time of the down-the-line student.

    Attributes
    ----------
    rate : Fraction
    times_s : mapping view → (student, reference) of (N,) float, s on each clip's own clock
        The reference's are the student's where there is none.
    held : tuple of N names or None
    lead : Swing
        The down-the-line student with the positions that are shown: of both views where it is one swing.
    """

    rate: Fraction
    times_s: Mapping[View, tuple[FloatArray, FloatArray]]
    held: tuple[str | None, ...]
    lead: Swing

    def __len__(self) -> int:
        return len(self.held)


def plan_pair(comparisons: Mapping[View, Comparison], pair: ViewPair, options: ComposeOptions) -> PairPlan:
    """Lay out the video.

    Raises
    ------
    InputError
        A speed that is not positive or a negative hold.
    """
    if not (np.isfinite(options.speed) and options.speed > 0):
        raise InputError(f"A speed of {options.speed} cannot be played.", "Give a number above 0, for example 0.25.")
    if not (np.isfinite(options.hold_s) and options.hold_s >= 0):
        raise InputError(f"The picture cannot be held for {options.hold_s} s.", "Give 0, or some seconds.")
    swings = shown_swings(pair)
    lead = swings["dtl"]
    rate = max(output_rate(pair.dtl, options.settings), output_rate(pair.fo, options.settings))
    start, stop = _shown_stretch(lead, pair)
    step_s = options.speed / float(rate)
    times = [(start + k * step_s, None) for k in range(max(2, int((stop - start) / step_s + 1e-6) + 1))]
    n_held = round(options.hold_s * float(rate))
    marks: list[tuple[float, str | None]] = [
        (position.time_s, position.name)
        for position in lead.positions.found
        if start <= position.time_s <= stop
        for _ in range(n_held)
    ]
    shots = sorted([*times, *marks], key=lambda shot: shot[0])
    dtl_s = np.array([time_s for time_s, _ in shots])
    fo_s = np.asarray(pair.time_map.to_reference(dtl_s), np.float64)
    table: dict[View, tuple[FloatArray, FloatArray]] = {}
    for view, student_s in (("dtl", dtl_s), ("fo", fo_s)):
        comparison = comparisons.get(view)  # type: ignore[call-overload]
        theirs = student_s if comparison is None else comparison.time_map.to_reference(student_s)
        table[view] = (student_s, np.asarray(theirs, np.float64))  # type: ignore[index]
    return PairPlan(rate, table, tuple(name for _, name in shots), lead)


def _shown_stretch(lead: Swing, pair: ViewPair) -> tuple[float, float]:
    """From where to where both clips show the swing; every position is in it."""
    ends = [float(pair.time_map.to_student(edge)) for edge in (pair.fo.start_s, pair.fo.stop_s)]
    start, stop = max(lead.start_s, ends[0]), min(lead.stop_s, ends[1])
    times = [position.time_s for position in lead.positions.found]
    if times:
        start, stop = min(start, min(times)), max(stop, max(times))
    return (start, stop) if stop > start else (lead.start_s, lead.stop_s)


class _View:
    """The panes of one view: its student alone, or with the reference as the layout asks."""

    def __init__(
        self,
        view: View,
        swing: Swing,
        comparison: Comparison | None,
        sources: Sequence[Source],
        options: ComposeOptions,
        height: int,
    ) -> None:
        self.view, self.swing, self.sources = view, swing, tuple(sources)
        self.comparison = comparison
        settings = replace(
            options.settings, least_pane_px=height, most_pane_px=height, most_small_pane_px=height,
            single_least_px=height, single_pane_px=height,
        )  # fmt: skip
        # The canvas of a ghost alone takes its letters from one pane's width; here two stand beside each other.
        letters = 2.0 * options.style.text if options.layout == "ghost" else options.style.text
        style = replace(options.style, text=letters)
        options = replace(options, settings=settings, style=style, lead="student")
        self._canvas: Canvas | None = None
        self._player: Player | None = None
        self._last: float | None = None
        if comparison is not None and len(self.sources) > 1:
            # Its strip would be this view's first thing; the video has one for both.
            shown = replace(comparison, student=replace(comparison.student, positions=swing.positions), checklist=None)
            self._canvas = Canvas(shown, self.sources[0], self.sources[1], options)
            places = self._canvas.places
            boxes = {"student": places.student, "reference": places.reference, "ghost": places.ghost}
            self.boxes: dict[str, Box] = {name: box for name, box in boxes.items() if box is not None}
            self.size = self._canvas.framing.pane_size
            return
        framing = frame_one(
            swing,
            with_picture=self.sources[0].clip_path is not None,
            least_px=height,
            most_px=height,
            settings=settings,
        )
        self.size = framing.pane_size
        text_px = max(style.least_text, style.text * (1 if options.layout == "ghost" else 2) * self.size[0])
        self._player = Player(
            swing,
            self.sources[0],
            STUDENT,
            framing.places[0],
            framing.feet_y,
            options,
            text_px=round(text_px * options.style.guide_text),
        )
        self._pane = np.zeros((self.size[1], self.size[0], 3), np.uint8)
        self._label = Label(self.sources[0].label or "Student", round(text_px), swatch=STUDENT.strong)
        self.boxes = {"student": (0, 0, *self.size)}

    @property
    def max_sides(self) -> tuple[int | None, ...]:
        """Longest side the pictures need to have, of student and reference."""
        if self._canvas is not None:
            return tuple(player.max_side for player in self._canvas.players)
        assert self._player is not None
        return (self._player.max_side,)

    @property
    def caption(self) -> Caption | None:
        """The sentence that goes with the reference."""
        return None if self._canvas is None else self._canvas.caption

    def draw(self, times_s: Sequence[float], pictures: Sequence[Image | None], held: str | None) -> bool:
        """Draw one instant; whether anything changed."""
        if self._canvas is not None:
            self._canvas.draw((times_s[0], times_s[1]), (pictures[0], pictures[1]), held)
            return self._canvas.is_new
        assert self._player is not None
        if self._last == times_s[0]:
            return False
        self._last = times_s[0]
        moment = self._player.moment(times_s[0])
        self._pane[:] = self._player.clean(pictures[0], moment)
        self._player.annotate(self._pane, moment)
        self._label.draw(self._pane)
        return True

    def pane(self, name: str) -> Image:
        """One of the panes of the last instant drawn."""
        left, top, width, height = self.boxes[name]
        image = self._pane if self._canvas is None else self._canvas.image
        return image[top : top + height, left : left + width]


class PairCanvas:
    """Draws both views under one heading and over one time bar; only what changed is drawn again."""

    def __init__(
        self,
        comparisons: Mapping[View, Comparison],
        sources: Mapping[View, Sequence[Source]],
        pair: ViewPair,
        plan: PairPlan,
        options: ComposeOptions,
        first: FirstThing | None,
    ) -> None:
        swings = shown_swings(pair)
        with_reference = [view for view in VIEWS if view in comparisons and len(sources[view]) > 1]
        self._names = ROWS[options.layout] if with_reference else ("student",)
        height = PANE_PX[len(self._names)]
        self.views = [
            _View(view, swings[view], comparisons.get(view), sources[view], options, height) for view in VIEWS
        ]
        self._pair, self._plan, self._options = pair, plan, options
        gap = even(max(4, 0.012 * height))
        style = options.style
        self._columns = [0, self.views[0].size[0] + gap]
        self.width = even(self._columns[1] + self.views[1].size[0])
        self.text_px = round(max(style.least_text, style.text * self.width))
        heading_px = round(max(style.least_text * 1.4, style.heading * self.width))
        self._heading_px = heading_px
        head = even(2.0 * heading_px)
        sentence = "" if first is None else short_first(first)
        strip = even(FirstStrip(self.text_px).needed_height(self.width, sentence)) if sentence else 0
        title = even(2.0 * self.text_px)
        top = head + strip + title
        self._tops = [top + i * (height + gap) for i in range(len(self._names))]
        under = self._tops[-1] + height
        # What differs in this phase, two lines a view; nothing to say without a reference.
        self._lines = even(3.1 * self.text_px) if with_reference else 0
        bar = even(2.2 * self.text_px)
        self.height = even(under + self._lines + bar)
        self._heading_box: Box = (0, 0, self.width, head)
        self._lines_box: Box = (0, under, self.width, self._lines)
        self._bar_box: Box = (0, under + self._lines, self.width, bar)
        self.image = panel(self.width, self.height, INK)
        if sentence and first is not None:
            picture = FirstStrip(self.text_px).picture(self.width, strip, sentence, found=first.check is not None)
            self.image[head : head + strip] = picture
        for view, left in zip(self.views, self._columns):
            self._view_title(view, left, head + strip, title)
        lead = plan.lead
        start_s, stop_s = float(plan.times_s["dtl"][0][0]), float(plan.times_s["dtl"][0][-1])
        ticks = tuple((position.name, position.time_s) for position in lead.positions.found)
        self._bar = TimeBar(start_s, stop_s, ticks, self.text_px, STUDENT.strong)
        self._bar_base = self._bar.base(self.width, bar)
        self._heading = lru_cache(maxsize=64)(self._make_heading)
        self._shown: dict[str, object] = {}
        self.is_new = False
        """Whether the last ``draw`` changed anything."""

    def _view_title(self, view: _View, left: int, top: int, height: int) -> None:
        part = self.image[top : top + height, left : left + view.size[0]]
        part[:] = PANEL
        text = fitted(VIEW_WORDS[view.view].capitalize(), self.text_px, view.size[0] - self.text_px, True)
        put_text(part, text, 0.6 * self.text_px, height / 2, self.text_px, bold=True)

    def draw(
        self,
        times_s: Mapping[View, Sequence[float]],
        pictures: Mapping[View, Sequence[Image | None]],
        held: str | None,
        lead_s: float,
    ) -> Image:
        """The canvas at one instant, (height, width, 3). The same array is used again by the next call.

        Parameters
        ----------
        times_s, pictures : mapping view → of student and reference
            Times of the shown frames, and the frames; None without a clip.
        held : name of the position at which the picture is held
        lead_s : wanted time on the down-the-line student's clock
        """
        self.is_new = False
        for view, left in zip(self.views, self._columns):
            # The canvas of a view also draws panels of its own; whether those changed does not matter here.
            moments = (tuple(times_s[view.view]),)
            if not self._changed(view.view, moments):
                continue
            view.draw(times_s[view.view], pictures[view.view], None)
            for name, top in zip(self._names, self._tops):
                width, height = view.size
                target = self.image[top : top + height, left : left + width]
                if name in view.boxes:
                    target[:] = view.pane(name)
                    # The canvas writes it into the reference's pane, which is not shown beside a ghost.
                    if name == "ghost" and "reference" not in self._names and view.caption is not None:
                        view.caption.draw(target)
                else:
                    target[:] = self._no_reference(view.size)
        title = title_at(self._plan.lead, lead_s, held)
        if self._changed("heading", (title, held)):
            self._part(self._heading_box)[:] = self._heading(title, held)
        if self._lines and self._changed("lines", phase_at(self._plan.lead, lead_s, held)):
            self._draw_lines(phase_at(self._plan.lead, lead_s, held))
        if self._changed("bar", (round(lead_s, 4), held)):
            part = self._part(self._bar_box)
            part[:] = self._bar_base
            self._bar.draw(part, lead_s, held)
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

    def _no_reference(self, size: tuple[int, int]) -> Image:
        return Notice(self.text_px).picture(*size, "No reference was filmed from this side.")

    def _make_heading(self, title: str, held: str | None) -> Image:
        _, _, width, height = self._heading_box
        right = "one swing, two cameras" if self._pair.one_swing else "two swings, in step"
        if held is not None:
            position = self._plan.lead.positions.get(held)
            right = right if position is None else confidence_words(position.confidence)
        elif self._options.speed != 1:
            right += f" · speed ×{self._options.speed:g}"
        heading = Heading(self._heading_px, round(0.8 * self.text_px))
        return heading.picture(width, height, title, held is not None, right)

    def _draw_lines(self, phase: str | None) -> None:
        part = self._part(self._lines_box)
        part[:] = PANEL
        for view, left in zip(self.views, self._columns):
            text = differing(view.comparison, phase)
            room = view.size[0] - round(1.2 * self.text_px)
            colour = PAPER if text.startswith("Differs") else QUIET
            lines = wrapped(text, self.text_px, room, 2)
            for i, line in enumerate(lines):
                y = self._lines / 2 + (i - (len(lines) - 1) / 2) * 1.35 * self.text_px
                put_text(part, line, left + 0.6 * self.text_px, y, self.text_px, colour=colour)


def differing(comparison: Comparison | None, phase: str | None) -> str:
    """Which parts of one view differ from the reference in a phase, the clearest first."""
    if comparison is None or phase is None:
        return ""
    rows = [row for row in comparison.differences if row.phase == phase]
    found = [row for row in rows if row.words not in ("no difference detected", "not scored")]
    if not found:
        scored = any(row.words != "not scored" for row in rows)
        return "No difference detected" if scored else "Not scored"
    said = []
    for size in ("very large", "large", "moderate", "small"):
        parts = [words(part) for part in PARTS for row in found if (row.part, row.words) == (part, size)]
        if parts:
            said.append(f"{', '.join(parts)} ({size})")
    return f"Differs: {'; '.join(said)}"


def render_pair_video(
    comparisons: Mapping[View, Comparison],
    sources: Mapping[View, Sequence[Source]],
    pair: ViewPair,
    out: Path,
    *,
    first: FirstThing | None = None,
    options: ComposeOptions | None = None,
    progress: Progress = SILENT,
) -> Path:
    """Write both views as one H.264 MP4 in the student's time.

    Parameters
    ----------
    comparisons : mapping view → Comparison
        The students are those of the pair. Empty: the students alone; a view that is left out has no reference.
    sources : mapping view → (student, reference) or (student,)
        Where the pictures of both views come from.
    pair : ViewPair
    out : Path
        Ends in ``.mp4``; written whole or not at all.
    first : FirstThing or None
        What stands under the heading: ``overlay.pair.joint_first`` of both checklists.
    options : ComposeOptions
        ``lead`` is not used: the student of the down-the-line clip plays in his own time.
    progress : Progress

    Raises
    ------
    InputError
        A clip cannot be read, or the options make no sense.
    MismatchError
        The source of a view is missing, or a comparison is of another view.
    OutputError
        ``out`` cannot be written.
    """
    from overlay.video import VideoWriter

    options = options or ComposeOptions()
    check_views(comparisons, sources)
    plan = plan_pair(comparisons, pair, options)
    canvas = PairCanvas(comparisons, sources, pair, plan, options, first)
    progress.stage("drawing both views", float(len(plan)))
    lead_s = plan.times_s["dtl"][0]
    with ExitStack() as stack:
        walks = []
        for view in canvas.views:
            swings = [view.swing]
            if view.comparison is not None and len(view.sources) > 1:
                swings.append(view.comparison.reference)
            for which, swing in enumerate(swings):
                pictures = stack.enter_context(Pictures(view.sources[which], swing))
                shown = pictures.nearest(plan.times_s[view.view][which])
                walks.append((view.view, pictures.walk(shown, max_side=view.max_sides[which])))
        with VideoWriter(out, canvas.width, canvas.height, plan.rate) as writer:
            for i, held in enumerate(plan.held):
                times_s: dict[View, list[float]] = {"dtl": [], "fo": []}
                shots: dict[View, list[Image | None]] = {"dtl": [], "fo": []}
                for view_name, walk in walks:
                    time_s, picture = next(walk)
                    times_s[view_name].append(time_s)
                    shots[view_name].append(picture)
                image = canvas.draw(times_s, shots, held, float(lead_s[i]))
                if canvas.is_new:
                    writer.write(image)
                else:
                    writer.repeat()
                progress.advance()
    progress.done()
    return out
