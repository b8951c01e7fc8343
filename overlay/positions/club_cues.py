"""Candidate times of the positions from the club's track."""

from __future__ import annotations

from overlay.data import Swing
from overlay.positions.fusion import Candidate


def club_candidates(swing: Swing) -> tuple[Candidate, ...]:
    """Candidates from ``swing.club``; none when the club is not tracked."""
    return ()
