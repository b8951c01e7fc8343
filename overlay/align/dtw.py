"""Dynamic time warping of two series of features, through dtaidistance's C code."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from overlay.arrays import FloatArray, IntArray
from overlay.errors import DataError


@dataclass(frozen=True)
class Path:
    """Which point of the reference belongs to which of the student.

    Attributes
    ----------
    steps : (P, 2) int
        Pairs (student index, reference index); each step moves one or both on by one.
    cost : float
        Sum of squared Euclidean distances along the path.
    """

    steps: IntArray
    cost: float


def dtw_path(student: FloatArray, reference: FloatArray) -> Path:
    """The path of least summed squared Euclidean distance, steps (1, 0), (0, 1) and (1, 1) of equal weight.

    No band: on real pairs a fixed one cuts off the right path. Source: Sakoe & Chiba 1978; Müller 2007, ch. 4.

    Parameters
    ----------
    student : (N, D) float, finite
    reference : (M, D) float, finite

    Raises
    ------
    DataError
        The series differ in D, are empty or hold values that are not finite.
    """
    a = np.ascontiguousarray(student, np.float64)
    b = np.ascontiguousarray(reference, np.float64)
    if a.ndim != 2 or b.ndim != 2 or a.shape[1] != b.shape[1] or not len(a) or not len(b):
        raise DataError(
            f"Series of shapes {a.shape} and {b.shape} cannot be warped onto each other.",
            "Give two series of the same number of features, each with one row or more.",
        )
    if not (np.all(np.isfinite(a)) and np.all(np.isfinite(b))):
        raise DataError("A series to be warped holds values that are not finite.", "Bridge the gaps first.")
    from dtaidistance.dtw import warping_path_fast

    if a.shape[1] == 1:
        # The library takes a single column for a series of scalars and would refuse the second axis.
        a, b = np.repeat(a, 2, axis=1) / np.sqrt(2.0), np.repeat(b, 2, axis=1) / np.sqrt(2.0)
    steps, distance = warping_path_fast(a, b, include_distance=True, use_ndim=True)
    return Path(np.asarray(steps, np.int64), float(distance) ** 2)


@dataclass(frozen=True)
class OpenEnds:
    """Which ends of the swing either recording may have cut off: it starts after address or stops before the finish."""

    student_starts_late: bool = False
    reference_starts_late: bool = False
    student_stops_early: bool = False
    reference_stops_early: bool = False


def open_path(
    student: FloatArray,
    reference: FloatArray,
    ends: OpenEnds,
    shares: tuple[float, ...],
    least_points: int,
    marks: FloatArray | None = None,
    mark_points: float = 10.0,
) -> Path:
    """``dtw_path`` where a recording may lack one end of the swing.

    The other series is cut by each of ``shares`` of its length at that end, and the cut with the least cost per step
    is kept. (Leaving the ends open within one DTW instead minimises the *sum* of costs, which is least for the
    shortest path: it skips whatever it can.)

    Parameters
    ----------
    shares : tuple of float
        Cuts to try, 0 first.
    least_points : int
        Neither series is cut to fewer points.
    marks : (K, 2) float or None
        Points of both series that are likely the same moment: a cut whose path misses them by ``mark_points`` on
        average counts double, since a wrong cut can be cheap.
    """
    start = (0, 0)
    stop = (len(student), len(reference))

    def path_between(first: tuple[int, int], last: tuple[int, int]) -> Path:
        part = dtw_path(student[first[0] : last[0]], reference[first[1] : last[1]])
        return Path(part.steps + np.array(first), part.cost)

    def score(path: Path) -> float:
        each = path.cost / len(path.steps)
        if marks is None or not len(marks):
            return each
        off = np.abs(np.interp(marks[:, 0], path.steps[:, 0], path.steps[:, 1]) - marks[:, 1])
        return float(each * (1.0 + off.mean() / mark_points))

    best = path_between(start, stop)
    for at_start in (True, False):
        cuts: list[tuple[int, int]] = []
        for share in shares:
            if ends.student_starts_late if at_start else ends.student_stops_early:
                cuts.append((0, int(share * len(reference))))
            if ends.reference_starts_late if at_start else ends.reference_stops_early:
                cuts.append((int(share * len(student)), 0))
        for cut in cuts:
            first = cut if at_start else start
            last = stop if at_start else (len(student) - cut[0], len(reference) - cut[1])
            if last[0] - first[0] < least_points or last[1] - first[1] < least_points:
                continue
            trial = path_between(first, last)
            if score(trial) < score(best):
                best = trial
        start = (int(best.steps[0, 0]), int(best.steps[0, 1]))
    return best


def run_share(path: Path, side: int, least_points: int) -> float:
    """Share of the path's steps in which one series stands still for ``least_points`` steps or more.

    Parameters
    ----------
    side : int
        0: the student stands still, 1: the reference does.
    """
    still = np.diff(path.steps[:, side]) == 0
    if not len(still):
        return 0.0
    edges = np.flatnonzero(np.diff(np.concatenate([[False], still, [False]]).astype(int)))
    lengths = edges[1::2] - edges[::2]
    return float(lengths[lengths >= least_points].sum() / len(still))
