"""Short gaps filled by a curve through what stands on both sides; long ones stay gaps."""

from __future__ import annotations

import numpy as np

from overlay.arrays import BoolArray
from overlay.clean.jumps import runs
from overlay.clean.work import REGIONS, Work, counted
from overlay.settings.clean import CleanSettings


def fill_gaps(work: Work, settings: CleanSettings) -> None:
    """Fill gaps no longer than the region's limit, and note them in ``filled``."""
    where = np.zeros(work.visibility.shape, bool)
    for region, joints in REGIONS.items():
        longest = settings.fill_hand_s if region in ("hand", "elbow") else settings.fill_body_s
        for joint in joints:
            where[:, joint] = _fill_joint(work, joint, longest)
    work.filled |= where
    if where.any():
        work.log.append(f"short gaps: filled {counted(where)}")


def _fill_joint(work: Work, joint: int, longest_s: float) -> BoolArray:
    from scipy.interpolate import Akima1DInterpolator

    seen = np.isfinite(work.points[:, joint, 0])
    filled = np.zeros(len(seen), bool)
    gaps = [(a, b) for a, b in runs(~seen) if a > 0 and b < len(seen) and _missing_s(work, a, b) <= longest_s + 1e-9]
    if not gaps or seen.sum() < 2:
        return filled
    for a, b in gaps:
        filled[a:b] = True
    # Modified Akima: local, hardly overshoots, and keeps the bend of a fast arc, which a monotone curve cuts off.
    curve = Akima1DInterpolator(work.real_s[seen], work.points[seen, joint], axis=0, method="makima")
    work.points[filled, joint] = curve(work.real_s[filled])
    return filled


def _missing_s(work: Work, first: int, after: int) -> float:
    """How long nothing is known: from the last frame seen to the next, less one frame's step."""
    return float(work.real_s[after] - work.real_s[first - 1]) - work.step_s
