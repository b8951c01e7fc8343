"""The contract every reader keeps, and the table of backends that keep it."""

from __future__ import annotations

import abc
import importlib
import importlib.util
import math
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from types import TracebackType

import numpy as np

from overlay.arrays import AnyArray, Image
from overlay.data import Clip, Frame
from overlay.errors import DataError, InputError
from overlay.settings.video import ReaderSettings
from overlay.video.orientation import RIGHT_ANGLES

# Times are compared with this slack: far below any frame spacing, far above float rounding over hours.
TIME_SLACK_S = 1e-6


@dataclass(frozen=True)
class Glance:
    """A small grey picture (h, w) uint8, as it is stored: neither turned nor mirrored."""

    time_s: float
    grey: AnyArray


def spaced(glances: Iterable[Glance], step_s: float) -> Iterator[Glance]:
    """Those of ``glances`` that lie about ``step_s`` apart; a tenth less counts, as clocks jitter."""
    due = -math.inf
    for glance in glances:
        if glance.time_s >= due - 0.1 * step_s:
            # From the time it was due, not from its own: so that steps that do not fit the rate do not add up.
            due = max(due + step_s, glance.time_s + 0.5 * step_s) if math.isfinite(due) else glance.time_s + step_s
            yield glance


class Reader(abc.ABC):
    """An open recording. Use it as a context manager.

    Every backend keeps this contract:

    - ``clip.times_s`` is known without decoding the pictures; it starts at 0 and increases strictly.
    - Pictures are uint8 RGB (H, W, 3), C-contiguous, as they are to be shown: rotation, mirroring and non-square
      pixels are dealt with, once. The array is the caller's own.
    - A frame's ``time_s`` is ``clip.times_s[frame.index]``. A picture that cannot be decoded is left out, never
      invented; the indices then skip.
    - Several ``frames`` iterations of one reader may run side by side; nothing holds more than a few pictures.
    - Bad input raises InputError, never a library's own error.
    """

    clip: Clip

    makes_sizes = False
    """Whether ``in_sizes`` is there."""

    @abc.abstractmethod
    def _stream(self, first: int, last: int, max_side: int | None) -> Iterator[Frame]:
        """Frames with first ≤ index ≤ last, in order."""

    def frames(
        self, start_s: float | None = None, stop_s: float | None = None, *, max_side: int | None = None
    ) -> Iterator[Frame]:
        """Stream the frames with start_s ≤ time_s ≤ stop_s.

        Parameters
        ----------
        start_s, stop_s : float or None
            None is the start, or the end, of the clip. Starting late is cheap: decoding begins at the key frame
            before.
        max_side : int or None
            Deliver pictures whose longer side is at most so many px, averaged down while the colours are converted,
            which is cheaper than scaling later. ``Frame.image`` is then smaller than ``clip``; ``scale_of`` gives
            the factors back to the clip's pixels.

        Raises
        ------
        DataError
            A time is not a number, or ``max_side`` is below 1.
        """
        if max_side is not None and max_side < 1:
            raise DataError(f"A longest side of {max_side} px is not possible.", "Give a size of at least 1 px.")
        for value in (start_s, stop_s):
            if value is not None and math.isnan(value):
                raise DataError("A start or stop time is not a number.", "Give times in seconds.")
        times = self.clip.times_s
        first = 0 if start_s is None else int(np.searchsorted(times, start_s - TIME_SLACK_S, side="left"))
        last = len(times) if stop_s is None else int(np.searchsorted(times, stop_s + TIME_SLACK_S, side="right"))
        return self._stream(first, last - 1, max_side)

    def glances(self, step_s: float, *, max_side: int) -> Iterator[Glance]:
        """Small grey pictures about ``step_s`` apart, for finding where something happens in a long recording.

        Cheaper than ``frames``: the picture is not turned, it may be a little coarse, and frames in between are not
        even decoded where the decoder allows that.

        Parameters
        ----------
        step_s : float
            Wanted spacing; the clip's own where that is wider.
        max_side : int
            Longer side of the pictures, px.

        Raises
        ------
        DataError
            The spacing is negative or no number, or ``max_side`` is below 1.
        """
        if max_side < 1 or not step_s >= 0.0:
            raise DataError(f"Glances {step_s} s apart of {max_side} px are not possible.", "Give positive values.")
        return spaced(self._glances(step_s, max_side), step_s)

    def _glances(self, step_s: float, max_side: int) -> Iterator[Glance]:
        """Every picture that is cheap to have, in order."""
        del step_s
        import cv2

        for frame in self.frames(max_side=max_side):
            yield Glance(frame.time_s, np.asarray(cv2.cvtColor(frame.image, cv2.COLOR_RGB2GRAY), np.uint8))

    def in_sizes(
        self, first: int, last: int, sides_at: Callable[[int], Sequence[int]]
    ) -> Iterator[tuple[int, dict[int, Image]]]:
        """Frames with first ≤ index ≤ last in several sizes at once, each picture as ``frames`` makes it.

        Only readers that can make them from one decoded picture have it (``makes_sizes``); ``SharedReader`` asks.

        Parameters
        ----------
        first, last : int
        sides_at : index → longer sides wanted of that frame, px

        Yields
        ------
        (index, {longer side: picture})
        """
        raise NotImplementedError

    def frame_at(self, time_s: float, *, max_side: int | None = None) -> Frame:
        """The frame shown at ``time_s``: the last one whose time is not later; the first one before the start.

        Raises
        ------
        InputError
            No picture can be decoded there.
        """
        wanted = index_at(self.clip, time_s)
        # A picture that cannot be decoded keeps the one before it on the screen.
        for reach in (0, 30, wanted):
            last = deque(self._stream(max(0, wanted - reach), wanted, max_side), maxlen=1)
            if last:
                return last[0]
        return self._nothing_at(time_s)

    def _nothing_at(self, time_s: float) -> Frame:
        raise InputError(
            f"No picture of {self.clip.path} can be decoded at {time_s:.2f} s.",
            "Copy the clip from the camera again, or trim the broken part away.",
        )

    def close(self) -> None:  # noqa: B027 - a reader that holds nothing open has nothing to do
        """Let go of the file. Iterations that still run end by themselves."""

    def __enter__(self) -> Reader:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()


def index_at(clip: Clip, time_s: float) -> int:
    """Index of the frame shown at ``time_s``; 0 before the start.

    Raises
    ------
    DataError
        The time is not a number.
    """
    if math.isnan(time_s):
        raise DataError("A time is not a number.", "Give times in seconds.")
    return max(0, int(np.searchsorted(clip.times_s, time_s + TIME_SLACK_S, side="right")) - 1)


def scale_of(frame: Frame, clip: Clip) -> tuple[float, float]:
    """Clip pixels per pixel of ``frame.image``, in x and y; (1.0, 1.0) when the frame was not scaled down."""
    height, width = frame.image.shape[:2]
    return clip.width / width, clip.height / height


def fitted_size(width: int, height: int, max_side: int | None) -> tuple[int, int]:
    """(width, height) scaled down so that the longer side is at most ``max_side``; never scaled up."""
    factor = 1.0 if max_side is None else min(1.0, max_side / max(width, height))
    return max(1, round(width * factor)), max(1, round(height * factor))


@dataclass(frozen=True)
class Backend:
    """One row of the table: where a reader lives, what it reads, what it needs and how that is installed."""

    module: str
    attribute: str
    reads: str
    needs: str
    install: str


BACKENDS: dict[str, Backend] = {
    "pyav": Backend("overlay.video.pyav_reader", "PyAVReader", "video files", "av", "pip install av"),
    "stills": Backend(
        "overlay.video.stills_reader",
        "StillsReader",
        "folders of PNG or JPEG stills",
        "cv2",
        "pip install opencv-python-headless",
    ),
}


def open_clip(
    path: Path | str,
    *,
    mirrored: bool = False,
    rotation_deg: int | None = None,
    capture_rate: Fraction | float | None = None,
    backend: str | None = None,
    stills_rate: Fraction | float | None = None,
    settings: ReaderSettings | None = None,
) -> Reader:
    """Open a recording: a video file, or a folder of stills.

    Parameters
    ----------
    path : Path
    mirrored : bool
        Flip left and right, on top of any flip the file itself asks for.
    rotation_deg : int or None
        Clockwise rotation (0, 90, 180, 270) to use instead of the one the file states.
    capture_rate : Fraction or float or None
        Frames per second when filmed, for slow motion. None: what the file states, if it does.
    backend : str or None
        A name from ``BACKENDS``. None: by what ``path`` is.
    stills_rate : Fraction or float or None
        Pictures per second of a folder of stills that states no times itself.
    settings : ReaderSettings

    Raises
    ------
    InputError
        The recording cannot be read, or an option makes no sense.
    """
    path = Path(path)
    if rotation_deg is not None and rotation_deg not in RIGHT_ANGLES:
        raise InputError(f"A rotation of {rotation_deg}° is not possible.", "Use 0, 90, 180 or 270 degrees clockwise.")
    try:
        is_there, is_folder = path.exists(), path.is_dir()
    except (OSError, ValueError):  # a name that no file can have
        is_there = is_folder = False
    name = backend or ("stills" if is_folder else "pyav")
    entry = BACKENDS.get(name)
    if entry is None:
        raise InputError(f"There is no reader called {name!r}.", f"Use one of: {', '.join(sorted(BACKENDS))}.")
    if not is_there:
        raise InputError(f"{path} does not exist.", "Check the name and the folder.")
    if importlib.util.find_spec(entry.needs) is None:
        raise InputError(
            f"Reading {entry.reads} needs {entry.needs}, which is not installed.", f"Install it with: {entry.install}"
        )
    kind = getattr(importlib.import_module(entry.module), entry.attribute)
    options = {"stills_rate": stills_rate} if name == "stills" else {}
    reader = kind(
        path,
        mirrored=mirrored,
        rotation_deg=rotation_deg,
        capture_rate=capture_rate,
        settings=settings or ReaderSettings(),
        **options,
    )
    assert isinstance(reader, Reader)
    return reader
