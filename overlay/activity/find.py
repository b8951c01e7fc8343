"""From movement over time to the stretches of a recording that may hold a swing."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from overlay.activity.motion import Activity, measure
from overlay.arrays import BoolArray, FloatArray
from overlay.progress import SILENT, Progress
from overlay.settings.activity import ActivitySettings

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from overlay.data import Clip
    from overlay.video import Glance, Reader

Span = tuple[float, float]


@dataclass(frozen=True)
class Stretches:
    """Where to look for swings.

    Attributes
    ----------
    stretches : tuple of (start_s, stop_s)
        Times of the first and last frame of each, in time order, a second or more apart. Never empty.
    whole : bool
        The whole recording is one stretch.
    why : str
        A sentence: why all of it, or how much was left out.
    activity : Activity or None
        What it was judged from; None where nothing was looked at.
    """

    stretches: tuple[Span, ...]
    whole: bool
    why: str
    activity: Activity | None = None

    def to_text(self) -> str:
        """Without the activity; ``from_text`` reads it."""
        return json.dumps({"stretches": self.stretches, "whole": self.whole, "why": self.why})

    @classmethod
    def from_text(cls, text: str, clip: Clip) -> Stretches | None:
        """What ``to_text`` wrote; None when it is not of such a clip."""
        try:
            told = json.loads(text)
            spans = tuple((float(start), float(stop)) for start, stop in told["stretches"])
            found = cls(spans, bool(told["whole"]), str(told["why"]))
        except (ValueError, KeyError, TypeError):
            return None
        times = np.array(spans, np.float64).reshape(-1)
        inside = len(times) > 0 and times[0] >= clip.times_s[0] and times[-1] <= clip.times_s[-1]
        return found if inside and bool(np.all(np.diff(times) >= 0)) else None

    @property
    def length_s(self) -> float:
        """Of all stretches together."""
        return float(sum(stop - start for start, stop in self.stretches))


def find_stretches(
    reader: Reader, settings: ActivitySettings | None = None, *, progress: Progress = SILENT
) -> Stretches:
    """The stretches of a recording that may hold a swing, found without a pose model.

    A swing missed is a rep lost, so that anything as sudden as a quarter of the most sudden movement is kept, with the
    standing before it and the held finish after it; and where it cannot be told, the whole recording is.

    Parameters
    ----------
    reader : Reader
    settings : ActivitySettings
    progress : Progress

    Returns
    -------
    Stretches
        The whole recording when it is short, when little would be left out, when nothing in it looks like a swing, or
        when its movements are slowed and it is not known by how much.
    """
    s = settings or ActivitySettings()
    clip = reader.clip
    slow = max(1.0, clip.slow_factor)
    length_s = float(clip.times_s[-1] - clip.times_s[0])
    if length_s <= s.short_s * slow:
        return _all_of(clip, "The recording is short.")
    # A picture rate below the wanted one is taken as it is.
    step_s = max(s.step_s * slow, float(np.median(np.diff(clip.times_s))))
    longer = max(clip.width, clip.height) / min(clip.width, clip.height)
    side = round(s.side_px * min(longer, 3.0))
    progress.stage("looking for swings", max(1, round(length_s / step_s)))
    activity = measure(_counted(reader.glances(step_s, max_side=side), progress), step_s, s)
    progress.done()
    return judge(clip, activity, slow, s)


def _counted(glances: Iterable[Glance], progress: Progress) -> Iterator[Glance]:
    for glance in glances:
        progress.advance()
        yield glance


def _all_of(clip: Clip, why: str, activity: Activity | None = None) -> Stretches:
    return Stretches(((float(clip.times_s[0]), float(clip.times_s[-1])),), True, why, activity)


def judge(clip: Clip, activity: Activity, slow: float, settings: ActivitySettings) -> Stretches:
    """The stretches, from movement already measured.

    Parameters
    ----------
    clip : Clip
        For its frame times.
    activity : Activity
    slow : float
        Playback seconds per real second.
    settings : ActivitySettings
    """
    s = settings
    swept = np.nan_to_num(activity.swept)
    if not len(swept) or float(swept.max()) < s.least:
        return _all_of(clip, "Nothing moves as suddenly as a swing.", activity)
    short = _short_bursts(activity.time_s, swept, slow, s)
    # Whatever is the strongest: one burst as sudden as only real time has them is enough.
    if not any(swept[at] >= s.sharp * _moved_about(activity, activity.time_s[at], 0.3 * slow) for at in short):
        return _all_of(clip, "Nothing moves as suddenly as a swing in real time.", activity)
    level = float(np.clip(s.share * swept[short[0]], s.least, s.most))
    bursts = _runs(activity.time_s, np.asarray(swept >= level, bool), s.joined_s * slow)
    first_s, last_s = float(clip.times_s[0]), float(clip.times_s[-1])
    spans = [_about(activity, burst, slow, s) for burst in bursts]
    joined = _joined(spans, s.apart_s * slow, first_s, last_s)
    kept = tuple(_on_frames(clip.times_s, span) for span in joined)
    length_s = sum(stop - start for start, stop in kept)
    if length_s >= s.most_share * (last_s - first_s):
        return _all_of(clip, "Little would be left out.", activity)
    why = f"{length_s:.0f} of {last_s - first_s:.0f} s may hold a swing."
    return Stretches(kept, False, why, activity)


def _short_bursts(times: FloatArray, swept: FloatArray, slow: float, settings: ActivitySettings) -> list[int]:
    """Where it peaks: every burst that is halved again in a short time, the strongest first, down to a share of it."""
    s = settings
    left = swept.copy()
    low_of = s.least
    found: list[int] = []
    while True:
        at = int(np.argmax(left))
        if left[at] < low_of:
            return found
        low = np.flatnonzero(swept < 0.5 * swept[at])
        after = int(np.searchsorted(low, at))
        start = int(low[after - 1]) + 1 if after > 0 else 0
        stop = int(low[after]) - 1 if after < len(low) else len(swept) - 1
        if times[stop] - times[start] <= s.short_burst_s * slow:
            low_of = max(low_of, s.share * float(swept[at])) if not found else low_of
            found.append(at)
        left[start : stop + 1] = 0.0


def _moved_about(activity: Activity, time_s: float, reach_s: float) -> float:
    """The most that moves within ``reach_s`` of a time; 0 where nothing is known."""
    near = np.abs(activity.time_s - time_s) <= reach_s
    return float(np.max(np.nan_to_num(activity.moved[near]), initial=0.0))


def _runs(times: FloatArray, over: BoolArray, joined_s: float) -> list[Span]:
    """(first, last) time of each run of True; runs no further apart than ``joined_s`` are one."""
    at = times[over]
    if not len(at):
        return []
    breaks = np.flatnonzero(np.diff(at) > joined_s)
    return [(float(at[a]), float(at[b])) for a, b in zip(np.append(0, breaks + 1), np.append(breaks, len(at) - 1))]


def _about(activity: Activity, burst: Span, slow: float, settings: ActivitySettings) -> Span:
    """The burst with the address before it and the held finish after it."""
    s = settings
    times = activity.time_s
    inside = (times >= burst[0]) & (times <= burst[1])
    limit = s.quiet * float(np.max(np.nan_to_num(activity.moved[inside]), initial=0.0))
    # A burst cut short by a gap in the clip has nothing to compare with: nothing is quiet then.
    quiet = np.nan_to_num(activity.moved, nan=math.inf) <= limit
    still = _stretches_of(times, np.asarray(quiet, bool))
    addresses = [stop for start, stop in still if stop <= burst[0] + 1e-9 and stop - start >= s.quiet_s * slow]
    start = addresses[-1] - s.before_quiet_s * slow if addresses else -math.inf
    start = min(max(start, burst[0] - s.most_before_s * slow), burst[0] - s.least_before_s * slow)
    # The finish is held, and then left: what is read off it is the end of the hold.
    holds = [stop for start, stop in still if start >= burst[1] - 1e-9 and stop - start >= s.hold_s * slow]
    stop = holds[0] + s.after_hold_s * slow if holds else math.inf
    stop = max(min(stop, burst[1] + s.most_after_s * slow), burst[1] + s.least_after_s * slow)
    return start, stop


def _stretches_of(times: FloatArray, flags: BoolArray) -> list[Span]:
    """(first, last) time of every run of True, nothing joined."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [(float(times[a]), float(times[b - 1])) for a, b in zip(edges[::2], edges[1::2])]


def _joined(spans: list[Span], apart_s: float, first_s: float, last_s: float) -> list[Span]:
    """Spans in order, those that overlap or nearly touch made one, and carried to an end of the recording near them."""
    out: list[Span] = []
    for start, stop in sorted(spans):
        start = first_s if start - first_s < apart_s else start
        stop = last_s if last_s - stop < apart_s else stop
        if out and start - out[-1][1] < apart_s:
            out[-1] = (out[-1][0], max(stop, out[-1][1]))
        else:
            out.append((start, stop))
    return out


def _on_frames(times_s: FloatArray, span: Span) -> Span:
    """The span from frame to frame."""
    first = int(np.searchsorted(times_s, span[0] - 1e-9))
    last = int(np.searchsorted(times_s, span[1] + 1e-9, side="right")) - 1
    return float(times_s[min(first, len(times_s) - 1)]), float(times_s[max(last, 0)])


def widened(stretches: Stretches, clip: Clip, which: int, before_s: float, after_s: float) -> Stretches:
    """One stretch made longer on either side, joined with those it then comes near to.

    Parameters
    ----------
    which : int
        Index of the stretch.
    before_s, after_s : float
        Seconds of playback to add.
    """
    first_s, last_s = float(clip.times_s[0]), float(clip.times_s[-1])
    spans = list(stretches.stretches)
    start, stop = spans[which]
    spans[which] = (max(first_s, start - before_s), min(last_s, stop + after_s))
    kept = tuple(_on_frames(clip.times_s, span) for span in _joined(spans, ActivitySettings().apart_s, first_s, last_s))
    whole = len(kept) == 1 and kept[0] == (first_s, last_s)
    return Stretches(kept, whole, stretches.why, stretches.activity)
