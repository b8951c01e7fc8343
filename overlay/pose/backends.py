"""What a pose estimator must do, and the table of those there are.

To add one, write a class with ``label()`` and ``session()`` as in ``PoseBackend`` and register it:

    from overlay.pose import backends
    backends.register("mine", lambda: MyBackend())
    track_clip("clip.mp4", backend="mine")

The estimator gets one RGB picture at a time, in order, and answers with a ``Detection`` in pixels of that picture,
or None when it sees nobody. Scaling, caching, time stamps and masks' storage are done around it. An estimator that
runs elsewhere needs no code: its result can be given as a CSV of named joints (``overlay.pose.saved``).
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Protocol

from overlay.arrays import FloatArray, Image
from overlay.errors import InputError
from overlay.pose.masks import Mask
from overlay.progress import Progress
from overlay.settings.pose import PoseSettings


@dataclass(frozen=True)
class Detection:
    """One person in one picture.

    Attributes
    ----------
    points : (33, 2) float, px of the picture handed in; NaN where a joint is not known
    depth : (33,) float, px, towards the camera is negative; NaN where not known
    visibility : (33,) float, 0–1
    mask : uint8 (h, w) or None
        Person mask of the whole picture, of any size.
    """

    points: FloatArray
    depth: FloatArray
    visibility: FloatArray
    mask: Mask | None = None


class PoseSession(Protocol):
    """One pass over one clip; keeps what it tracks from frame to frame."""

    def detect(self, image: Image) -> Detection | None:
        """The person in the next picture, uint8 (H, W, 3) RGB."""


class PoseBackend(Protocol):
    """A pose estimator."""

    def label(self) -> str:
        """Name and version of the model; part of the cache key, so it changes when results do."""

    def session(self, settings: PoseSettings, *, masks: bool) -> AbstractContextManager[PoseSession]:
        """Start on a clip.

        Raises
        ------
        SetupError
            The machine lacks what the estimator needs.
        """


Factory = Callable[[Progress], PoseBackend]

_FACTORIES: dict[str, Factory] = {}


def register(name: str, factory: Factory) -> None:
    """Add an estimator, or replace one. ``factory`` gets a progress receiver: a model may have to be fetched."""
    _FACTORIES[name] = factory


def names() -> tuple[str, ...]:
    """The registered estimators."""
    return tuple(sorted(_FACTORIES))


def make(name: str, progress: Progress) -> PoseBackend:
    """The estimator of that name.

    Raises
    ------
    InputError
        There is none.
    """
    if name not in _FACTORIES:
        raise InputError(f"There is no pose backend {name!r}.", f"Use one of: {', '.join(names())}.")
    return _FACTORIES[name](progress)


def _mediapipe(progress: Progress) -> PoseBackend:
    from overlay.pose.mediapipe_backend import MediaPipeBackend

    return MediaPipeBackend(progress)


register("mediapipe", _mediapipe)
