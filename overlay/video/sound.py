"""The sound of a recording on the clock of its pictures: the first picture is at 0, as in ``Clip.times_s``."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from overlay.arrays import AnyArray
from overlay.data.checks import frozen
from overlay.errors import DataError, InputError
from overlay.settings.video import SoundReaderSettings
from overlay.video.facts import load_av

Samples = NDArray[np.float32]


@dataclass(frozen=True)
class Sound:
    """One channel of sound.

    Attributes
    ----------
    samples : (N,) float32
        −1 … 1 is full scale. Where the file holds nothing, 0.
    rate : float
        Samples a second.
    start_s : float
        When the first sample is heard, on the clock of the clip: 0 is its first picture.
    """

    samples: Samples
    rate: float
    start_s: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "samples", frozen(self.samples, np.float32, (None,), "samples"))
        if not (math.isfinite(self.rate) and self.rate > 0 and math.isfinite(self.start_s)):
            raise DataError(f"A sound of {self.rate} samples a second is not possible.", "Give a rate above 0.")

    @property
    def duration_s(self) -> float:
        return len(self.samples) / self.rate

    @property
    def stop_s(self) -> float:
        return self.start_s + self.duration_s


def read_sound(
    path: Path | str,
    start_s: float | None = None,
    stop_s: float | None = None,
    *,
    settings: SoundReaderSettings | None = None,
) -> Sound | None:
    """The sound between two times of a clip, all channels averaged.

    Only the wanted part is decoded and held: 48,000 samples a second are 0.2 MB.

    Parameters
    ----------
    path : Path
        A video file; a folder of stills has no sound.
    start_s, stop_s : float or None
        Seconds on the clock of the clip (its first picture is 0). None: the start or the end of the sound. What is
        longer than ``settings.longest_s`` is cut there.
    settings : SoundReaderSettings

    Returns
    -------
    Sound or None
        None when there is no sound track, or none that can be decoded there. A damaged track gives what can be read.

    Raises
    ------
    InputError
        The file cannot be opened at all.
    DataError
        A time is not a number, or the part is empty.
    """
    settings = settings or SoundReaderSettings()
    path = Path(path)
    for value in (start_s, stop_s):
        if value is not None and not math.isfinite(value):
            raise DataError("A start or stop time is not a number.", "Give times in seconds.")
    if start_s is not None and stop_s is not None and stop_s <= start_s:
        raise DataError(f"There is no sound from {start_s:g} s to {stop_s:g} s.", "Give a start before the stop.")
    if path.is_dir():
        return None
    zero_s = _first_picture_s(path)
    from_s = None if start_s is None else start_s + zero_s
    to_s = None if stop_s is None else stop_s + zero_s
    found = None
    if from_s is not None:
        found = _read(path, zero_s, from_s, to_s, True, settings)
    if found is None or found.start_s > (start_s or 0.0) + settings.late_s:
        # Asked from the start, or the seek landed too late, which some containers do.
        found = _read(path, zero_s, from_s, to_s, False, settings)
    return found


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    av = load_av()
    try:
        container = av.open(f"file:{path}", options={"protocol_whitelist": "file"}, metadata_errors="replace")
    except (av.FFmpegError, ValueError, OSError, IndexError) as error:
        raise InputError(f"{path} is not a video that can be read.", "Give the clip of the swing.") from error
    with container:
        yield container


def _read(
    path: Path, zero_s: float, from_s: float | None, to_s: float | None, seek: bool, settings: SoundReaderSettings
) -> Sound | None:
    with _opened(path) as container:
        stream = _stream(container)
        if stream is None:
            return None
        if seek and from_s is not None:
            _go_to(container, stream, from_s, settings)
        return _gathered(_decoded(container, stream, to_s), zero_s, from_s, to_s, settings)


def _stream(container: Any) -> Any:
    """The sound track: the one marked to be played, else the first that can be decoded."""
    default = load_av().stream.Disposition.default
    known = [stream for stream in container.streams.audio if stream.codec_context is not None]
    return max(known, key=lambda stream: bool(stream.disposition & default), default=None)


def _first_picture_s(path: Path) -> float:
    """When the first picture is shown on the container's own clock, s."""
    av = load_av()
    attached = av.stream.Disposition.attached_pic
    with _opened(path) as container:
        streams = [s for s in container.streams.video if s.codec_context is not None and not s.disposition & attached]
        if not streams:
            return 0.0
        stream = max(streams, key=lambda s: int(s.codec_context.width or 0) * int(s.codec_context.height or 0))
        try:
            first = next(iter(container.decode(stream)), None)
        except (av.FFmpegError, ValueError):
            first = None
        if first is not None and first.pts is not None:
            return float(first.pts * stream.time_base)
        return float(stream.start_time * stream.time_base) if stream.start_time is not None else 0.0


def _go_to(container: Any, stream: Any, from_s: float, settings: SoundReaderSettings) -> None:
    """To a little before the wanted part, so that the decoder has settled when it comes."""
    wanted = (from_s - settings.lead_in_s) / float(stream.time_base)
    if wanted <= int(stream.start_time or 0):
        return
    try:
        container.seek(int(wanted), stream=stream, backward=True)
    except load_av().FFmpegError:
        # Not every container can be sought; then the sound is decoded from where the reading stands.
        return


def _decoded(container: Any, stream: Any, to_s: float | None) -> Iterator[tuple[float, float, AnyArray]]:
    """(time on the container's clock, samples a second, (N,) float32) of one decoded piece after the other."""
    av = load_av()
    expected: float | None = None
    packets = container.demux(stream)
    while True:
        try:
            packet = next(packets)
        except (StopIteration, av.FFmpegError, ValueError):
            return
        try:
            pieces = packet.decode()
        except (av.FFmpegError, ValueError):
            continue
        for piece in pieces:
            values = _mono(piece)
            rate = float(piece.sample_rate or 0)
            if values is None or rate <= 0:
                continue
            at = float(piece.pts * piece.time_base) if piece.pts is not None and piece.time_base else expected
            if at is None:
                at = float((stream.start_time or 0) * stream.time_base)
            expected = at + len(values) / rate
            if to_s is not None and at > to_s:
                return
            yield at, rate, values


def _mono(piece: Any) -> Samples | None:
    """The mean of all channels, −1 … 1; None for a kind of sample that is not known."""
    try:
        values = piece.to_ndarray()
        channels = int(piece.layout.nb_channels)
        planar = bool(piece.format.is_planar)
    except (ValueError, AttributeError, TypeError):
        return None
    values = np.atleast_2d(values)
    if not planar:
        if channels < 1 or values.size % channels:
            return None
        values = values.reshape(-1, channels).T
    if values.dtype == np.uint8:
        values = (values.astype(np.float32) - 128.0) / 128.0
    elif np.issubdtype(values.dtype, np.integer):
        values = values.astype(np.float32) / float(-np.iinfo(values.dtype).min)
    mixed = np.asarray(values, np.float32).mean(axis=0, dtype=np.float32)
    return np.nan_to_num(mixed, nan=0.0, posinf=0.0, neginf=0.0)


def _gathered(
    pieces: Iterator[tuple[float, float, AnyArray]],
    zero_s: float,
    from_s: float | None,
    to_s: float | None,
    settings: SoundReaderSettings,
) -> Sound | None:
    """One run of samples on one grid: gaps are silence, what overlaps counts once."""
    run: list[AnyArray] = []
    rate, begin, n = 0.0, 0.0, 0
    for at, own_rate, values in pieces:
        if not rate:
            rate = own_rate
        elif own_rate != rate:
            # A track that changes its rate half-way: rare, and good enough by straight lines.
            length = max(1, round(len(values) * rate / own_rate))
            values = np.interp(np.arange(length) / rate, np.arange(len(values)) / own_rate, values).astype(np.float32)
        stop = at + len(values) / rate
        if from_s is not None and stop <= from_s:
            continue
        if not run:
            skip = 0 if from_s is None else max(0, round((from_s - at) * rate))
            values = values[skip:]
            begin = at + skip / rate
        else:
            gap = round((at - begin) * rate) - n
            if gap > settings.longest_s * rate:
                break
            if abs(gap) <= max(2, settings.jitter_s * rate):
                gap = 0  # rounding of the container's clock: going on sample by sample is nearer to the truth
            if gap > 0:
                run.append(np.zeros(gap, np.float32))
                n += gap
            elif gap < 0:
                values = values[-gap:]
        run.append(values)
        n += len(values)
        if n / rate >= settings.longest_s:
            break
    if not n:
        return None
    most = n if to_s is None else min(n, max(0, math.ceil((to_s - begin) * rate)))
    most = min(most, int(settings.longest_s * rate))
    if most < 1:
        return None
    return Sound(np.concatenate(run)[:most], rate, begin - zero_s)
