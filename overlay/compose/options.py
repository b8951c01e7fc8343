"""What a person may wish of the pictures: panes, who leads, what is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from overlay.compose.timing import Lead
from overlay.errors import InputError
from overlay.settings.compose import COMPOSE, ComposeSettings
from overlay.settings.draw import DRAW, DrawSettings
from overlay.terms import GUIDE_NAMES

Layout = Literal["side by side", "ghost", "both"]
LAYOUTS: tuple[Layout, ...] = ("side by side", "ghost", "both")

DEFAULT_GUIDES = frozenset({"shaft_plane", "hand_depth", "trail_leg_line", "head_line"})
"""Two or three lines in each view: the ones a coach draws first. More of them hide the player."""


@dataclass(frozen=True)
class ComposeOptions:
    """How the video looks and plays, and what is drawn on all pictures.

    Attributes
    ----------
    layout : "side by side", "ghost" or "both"
    lead : who plays in his own time; the other follows
    speed : clip seconds per video second, usually 0.125–1
    hold_s : seconds the picture stands still at each position, 0 for none
    guides : names of ``terms.GUIDE_NAMES``
        Guide lines to draw; those of the other view are passed over. Empty: none.
    skeleton, club, hand_path : bool
        Whether each is drawn.
    club_trail : bool
        Whether the club head leaves a faint trail; only with ``club``.
    band : bool
        Whether a veil about a template's hand path shows how far its swings stray.
    called : (student, reference)
        How the two swings are called in sentences, where they are not a student and a reference.
    """

    layout: Layout = "both"
    lead: Lead = "student"
    speed: float = 1.0
    hold_s: float = COMPOSE.hold_s
    style: DrawSettings = DRAW
    settings: ComposeSettings = COMPOSE
    guides: frozenset[str] = DEFAULT_GUIDES
    skeleton: bool = True
    club: bool = True
    hand_path: bool = True
    club_trail: bool = True
    band: bool = True
    called: tuple[str, str] = ("the student", "the reference")

    def __post_init__(self) -> None:
        if self.layout not in LAYOUTS:
            raise InputError(f"There is no layout {self.layout!r}.", f"Choose one of {', '.join(LAYOUTS)}.")
        if self.lead not in ("student", "reference"):
            raise InputError(f"{self.lead!r} cannot lead.", "Choose student or reference.")
        unknown = sorted(set(self.guides) - set(GUIDE_NAMES))
        if unknown:
            raise InputError(
                f"There is no guide line {', '.join(map(repr, unknown))}.", f"Choose from {', '.join(GUIDE_NAMES)}."
            )
