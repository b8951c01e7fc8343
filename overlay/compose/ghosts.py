"""The reference as a ghost in the student's pane: as it was filmed, in the student's shoes, or warped to his build."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from overlay.arrays import FloatArray, Image
from overlay.compose.framing import Framing, inverted, transformed
from overlay.compose.guiding import stands_still
from overlay.compose.options import ComposeOptions
from overlay.compose.player import GhostPart, Player
from overlay.compose.sources import Source
from overlay.compose.warping import Warp
from overlay.data import Comparison
from overlay.draw import REFERENCE, Ghost, Moment


@dataclass(frozen=True)
class LaidGhost:
    """A ghost and the moment that is drawn with it, both in px of the student's pane."""

    part: GhostPart
    moment: Moment


class ReferenceGhost:
    """Puts the reference over the student.

    Parameters
    ----------
    comparison : Comparison
    student, reference : Player
    framing : Framing
    options : ComposeOptions
    """

    def __init__(
        self, comparison: Comparison, student: Player, reference: Player, framing: Framing, options: ComposeOptions
    ) -> None:
        self._reference = reference
        self._settings = options.settings
        self._ghost = Ghost(REFERENCE, settings=options.style)
        fit = comparison.fit
        self._shared = fit is not None and fit.in_student_picture
        self._motion = None if stands_still(comparison.student.camera_motion) else comparison.student.camera_motion
        self._place = student.place
        self._fitted: Player | None = None
        if fit is not None and framing.ghost is not None:
            # The fitted skeleton, its club and its hand path; the pictures stay those of the reference as filmed.
            self._fitted = Player(
                fit.swing, Source(), REFERENCE, framing.ghost, framing.feet_y, options, band=reference.band
            )

    def at(self, student_s: float, reference_s: float, clean: Image, moment: Moment) -> LaidGhost:
        """The ghost at a moment of both.

        Parameters
        ----------
        student_s, reference_s : the times of the shown frames
        clean : the reference's pane without drawings
        moment : of the reference, in his own pane
        """
        shape = (clean.shape[0], clean.shape[1])
        if self._shared:
            carried = self._carried(moment, student_s)
            return LaidGhost(self._reference.drawn_ghost(shape, carried), carried)
        part = self._reference.ghost_of(clean, reference_s, moment)
        if self._fitted is None:
            return LaidGhost(part, moment)
        fitted = self._fitted.moment(reference_s)
        if part.picture is None:
            return LaidGhost(self._fitted.drawn_ghost(shape, fitted), fitted)
        warp = Warp(moment.points, fitted.points, moment.torso_px, part.alpha, self._settings)
        return LaidGhost(GhostPart(warp.bring(part.alpha), warp.bring(part.picture)), fitted)

    def lay(self, pane: Image, laid: LaidGhost) -> Image:
        """Lay the ghost and what goes with it over the student's pane (H, W, 3), in place."""
        laid.part.lay(pane, self._ghost)
        return self._reference.annotate_ghost(pane, laid.moment, laid.part)

    def _carried(self, moment: Moment, student_s: float) -> Moment:
        """A moment in px of the student's address frame as it lies in his frame at ``student_s``."""
        if self._motion is None:
            return moment
        # Pane → picture of the address → picture of this frame → pane, as one matrix.
        to_picture, to_pane = _square(inverted(self._place.matrix)), _square(self._place.matrix)
        matrix = (to_pane @ np.linalg.inv(_square(self._motion.at(student_s))) @ to_picture)[:2]
        club = moment.club
        if club is not None:
            grip, head = transformed(np.array([club.grip, club.head]), matrix)
            club = replace(club, grip=(float(grip[0]), float(grip[1])), head=(float(head[0]), float(head[1])))
        return replace(
            moment,
            points=transformed(moment.points, matrix),
            path=transformed(moment.path, matrix),
            trail=transformed(moment.trail, matrix),
            club=club,
        )


def _square(matrix: FloatArray) -> FloatArray:
    return np.vstack([matrix, [0.0, 0.0, 1.0]])
