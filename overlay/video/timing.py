"""From a file's raw timestamps to seconds: rebased to 0, strictly increasing, with what had to be repaired."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from overlay.arrays import FloatArray, IntArray
from overlay.errors import InputError
from overlay.settings.video import ReaderSettings

# Rates cameras and containers really use, 1/s.
STANDARD_RATES = tuple(
    sorted(
        [Fraction(n) for n in (12, 15, 24, 25, 30, 48, 50, 60, 90, 100, 120, 200, 240, 300, 400, 480, 960, 1000)]
        + [Fraction(n * 1000, 1001) for n in (24, 30, 48, 60, 120, 240)]
    )
)


@dataclass(frozen=True)
class Timing:
    """When the pictures of a recording are shown.

    Attributes
    ----------
    times_s : (N,) float, strictly increasing, first is 0
    pts : (N,) int or None
        The raw timestamp of each time. None when pictures must be matched to times by their order instead.
    nominal_rate : Fraction
        Pictures per second.
    is_variable_rate : bool
    warnings : tuple of str
    """

    times_s: FloatArray
    pts: IntArray | None
    nominal_rate: Fraction
    is_variable_rate: bool
    warnings: tuple[str, ...] = ()


def timing_of(
    name: str,
    pts: Sequence[int | None],
    dts: Sequence[int | None],
    time_base: Fraction,
    stated_rate: Fraction | None,
    *,
    reorders: bool,
    settings: ReaderSettings,
) -> Timing:
    """Times of a stream's pictures from its packets.

    Parameters
    ----------
    name : str
        File name, for messages.
    pts, dts : sequences of int or None, one a packet, in file order
        Presentation and decoding timestamps in ``time_base`` units.
    time_base : Fraction
        Seconds per unit.
    stated_rate : Fraction or None
        Pictures per second as the container states it.
    reorders : bool
        Whether the codec may show pictures in another order than they are stored in.
    settings : ReaderSettings

    Raises
    ------
    InputError
        The times make no sense.
    """
    warnings: list[str] = []
    known = [value for value in pts if value is not None]
    kept: IntArray | None = None
    if len(known) < len(pts):
        times = _without_pts(pts, dts, time_base, stated_rate, reorders=reorders, settings=settings)
        warnings.append(
            f"{len(pts) - len(known)} of {len(pts)} frames carry no presentation time; it was worked out from "
            "their order."
        )
    else:
        raw = np.array(known, np.int64)
        if reorders:
            kept = np.unique(raw)
        else:
            # Shown in file order: a time that does not go forward cannot be honoured.
            highest = np.maximum.accumulate(raw)
            kept = raw[np.concatenate(([True], raw[1:] > highest[:-1]))]
        lost = len(raw) - len(kept)
        if lost > settings.max_repeated * len(raw):
            times = np.arange(len(raw)) / float(stated_rate or settings.stills_rate)
            kept = None
            warnings.append("Most frame times repeat or run backwards; frames are taken as evenly spaced.")
        else:
            # Integer differences first: a float of a large timestamp would lose the small ones.
            times = (kept - kept[0]).astype(np.float64) * float(time_base)
            if lost:
                warnings.append(f"{lost} of {len(raw)} frame times repeat or run backwards; those frames are left out.")
    return judged(name, times, kept, float(time_base), stated_rate, warnings, settings)


def judged(
    name: str,
    times_s: FloatArray,
    pts: IntArray | None,
    tick_s: float,
    stated_rate: Fraction | None,
    warnings: Sequence[str],
    settings: ReaderSettings,
) -> Timing:
    """Check increasing times for sense, and find the rate and whether it varies.

    Parameters
    ----------
    name : str
    times_s : (N,) float, strictly increasing
    pts : (N,) int or None
    tick_s : float
        Grid the times are rounded to, s (0 when none).
    stated_rate : Fraction or None
    warnings : sequence of str
        What was repaired so far.
    settings : ReaderSettings

    Raises
    ------
    InputError
        The times make no sense.
    """
    times = np.asarray(times_s, np.float64)
    notes = list(warnings)
    if len(times) < 2:
        rate = stated_rate if stated_rate and stated_rate > 0 else Fraction(settings.stills_rate)
        return Timing(times, pts, rate, False, tuple(notes))
    steps = np.diff(times)
    # The lower median is one of the steps, so that the band around it is never empty.
    middle = float(np.partition(steps, (len(steps) - 1) // 2)[(len(steps) - 1) // 2])
    if times[-1] - times[0] > settings.max_duration_s or not settings.min_spacing_s <= middle <= settings.max_spacing_s:
        raise InputError(
            f"The timestamps of {name} make no sense: {len(times)} frames over {times[-1] - times[0]:.6g} s.",
            "Export the clip again from the phone or an editor, as a plain video at a constant rate.",
        )
    typical = float(np.mean(steps[np.abs(steps - middle) <= 0.25 * middle]))
    variable = bool(np.any(np.abs(steps - typical) > max(1.01 * tick_s, settings.variable_tolerance * typical)))
    longest = int(np.argmax(steps))
    if steps[longest] > settings.gap_spacings * typical:
        notes.append(
            f"Frames are missing: the longest gap is {steps[longest]:.2f} s, at {times[longest]:.2f} s, where one "
            f"frame lasts {typical:.3f} s."
        )
    return Timing(times, pts, nominal_rate(1.0 / typical, stated_rate, settings), variable, tuple(notes))


def nominal_rate(measured: float, stated: Fraction | None, settings: ReaderSettings) -> Fraction:
    """The container's rate when the spacing of the frames agrees with it, else the measured one.

    A container's average is off when frames were dropped; a measured rate is off by the rounding of its ticks.

    Parameters
    ----------
    measured : float
        Pictures per second from the usual spacing.
    stated : Fraction or None
    settings : ReaderSettings
    """
    if stated is not None and stated > 0 and abs(float(stated) - measured) <= settings.rate_agreement * measured:
        nearest = _nearest_standard(float(stated))
        # Averages over a whole file miss the true rate by less than one frame in a few thousand.
        return nearest if abs(float(nearest / stated) - 1.0) < 2e-4 else stated.limit_denominator(10_000)
    nearest = _nearest_standard(measured)
    if abs(float(nearest) - measured) <= settings.rate_agreement * measured:
        return nearest
    return Fraction(measured).limit_denominator(1000)


def _nearest_standard(rate: float) -> Fraction:
    return min(STANDARD_RATES, key=lambda standard: abs(float(standard) - rate))


def _without_pts(
    pts: Sequence[int | None],
    dts: Sequence[int | None],
    time_base: Fraction,
    stated_rate: Fraction | None,
    *,
    reorders: bool,
    settings: ReaderSettings,
) -> FloatArray:
    """Times in order of showing, where some or all presentation timestamps are absent.

    Decoding timestamps are the presentation ones in another order and shifted, so sorted and rebased they are the
    same list. Without them, a stream that is shown in file order is filled in between its known times.
    """
    n = len(pts)
    decoding = [value for value in dts if value is not None]
    if len(decoding) == n and len(set(decoding)) == n:
        raw = np.sort(np.array(decoding, np.int64))
        return (raw - raw[0]).astype(np.float64) * float(time_base)
    spacing = 1.0 / float(stated_rate or settings.stills_rate)
    at = np.array([i for i, value in enumerate(pts) if value is not None], np.int64)
    raw = np.array([value for value in pts if value is not None], np.int64)
    if not reorders and len(raw) >= 2 and np.all(np.diff(raw) > 0):
        seconds = (raw - raw[0]).astype(np.float64) * float(time_base)
        inside = np.interp(np.arange(n), at, seconds)
        before = np.minimum(np.arange(n) - at[0], 0) * spacing
        after = np.maximum(np.arange(n) - at[-1], 0) * spacing
        times = inside + before + after
        return np.asarray(times - times[0], np.float64)
    return np.asarray(np.arange(n) * spacing, np.float64)
