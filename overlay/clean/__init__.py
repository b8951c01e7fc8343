"""Makes a raw pose track fit for measuring, in the order gating → collapses → swaps → jumps → gaps → low-pass.

Swaps are repaired before jumps are looked for: an exchanged pair is good data under wrong names and would be thrown
away as a jump. Every step notes in the track's log what it did. Missing stays NaN; what is filled in is marked in
``filled`` and never scored.
"""

from __future__ import annotations

from overlay.clean.gaps import fill_gaps
from overlay.clean.gating import gate
from overlay.clean.jumps import drop_collapses, drop_jumps
from overlay.clean.lowpass import chosen_cutoff_hz, low_pass, residuals, smooth
from overlay.clean.swaps import repair_swaps
from overlay.clean.work import begin, finish
from overlay.data import PoseTrack
from overlay.settings.clean import CleanSettings

__all__ = ["chosen_cutoff_hz", "clean", "low_pass", "residuals"]


def clean(track: PoseTrack, *, slow_factor: float = 1.0, settings: CleanSettings | None = None) -> PoseTrack:
    """Clean a track.

    Parameters
    ----------
    track : PoseTrack
    slow_factor : float
        Playback seconds per real second: thresholds and cut-offs are in real seconds and Hz.
    settings : CleanSettings

    Returns
    -------
    PoseTrack
        Same frames and times. Hidden, impossible and outside values are NaN, short gaps filled and marked.

    Raises
    ------
    DataError
        ``slow_factor`` is not positive.
    """
    settings = settings or CleanSettings()
    work = begin(track, slow_factor)
    if len(track) > 1:
        gate(work, settings)
        drop_collapses(work, settings)
        repair_swaps(work, settings)
        drop_jumps(work, settings)
        fill_gaps(work, settings)
        smooth(work, settings)
    return finish(work, track)
